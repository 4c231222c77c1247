"""What a log says: constants with their intervals, what is left open, every row beside its fit."""

import math
from collections.abc import Callable, Mapping
from functools import cached_property
from itertools import combinations
from typing import Any

import attrs
import numpy as np

from propmatch.faults import Fault, InputFaults
from propmatch.models import propeller as blades
from propmatch.models.arrays import Floats
from propmatch.records.estimates import Assumption
from propmatch.records.fields import replace
from propmatch.records.motorfit import AIR_DENSITY_KG_M3, CONSTANTS, scaled_table, with_constants
from propmatch.records.parts import Motor, Propeller, Source
from propmatch.tolerances.numbers import MEASURED_TABLE_SD
from propmatch.units import GRAM_FORCE_N, INCH_M, RPM_RAD_S

__all__ = ["FITTED", "INTERVAL", "Z90", "Constant", "FittedRow", "LogFit", "Undetermined"]

INTERVAL, Z90 = 0.9, 1.6449
"""Share of true numbers that intervals hold, and half their width in standard deviations."""
FITTED = "bench log "
"""How the source of a fitted part begins."""
_LEAST_SD = 1e-9


@attrs.frozen(kw_only=True)
class Constant:
    """A number that the log determines: its most probable value, 90 % interval, and sd of its logarithm."""

    value: float
    low: float
    high: float
    sd_ln: float

    @classmethod
    def of(cls, ln: float, sd: float) -> "Constant":
        """From the logarithm."""
        return cls(value=math.exp(ln), low=math.exp(ln - Z90 * sd), high=math.exp(ln + Z90 * sd), sd_ln=sd)


@attrs.frozen
class Undetermined:
    """A constant that the log leaves open: why, with the row that would settle it."""

    constant: str
    why: str
    row: str = ""


@attrs.frozen(kw_only=True)
class FittedRow:
    """One row as it was read and as everything together says it should read; None where it was not read.

    Attributes
    ----------
    line : int
        Where it stands in the log.
    propeller, throttle, cells : as in the log
    volts, amps, rpm, thrust_gf, torque_nm : float or None
        As read.
    fit_volts, fit_amps, fit_rpm, fit_thrust_gf, fit_torque_nm : float or None
        As fitted, instruments included.
    off_sd : float or None
        The reading that fits worst, in its standard uncertainty.
    used : bool
        Whether the fit rests on the row.
    remark : str
        What is wrong with it; empty where nothing is.
    """

    line: int
    propeller: str | None
    throttle: float
    cells: int | None
    volts: float | None
    amps: float | None
    rpm: float | None
    thrust_gf: float | None
    torque_nm: float | None
    fit_volts: float | None = None
    fit_amps: float | None = None
    fit_rpm: float | None = None
    fit_thrust_gf: float | None = None
    fit_torque_nm: float | None = None
    off_sd: float | None = None
    used: bool = True
    remark: str = ""


@attrs.frozen(kw_only=True, eq=False, slots=False)
class LogFit:
    """Motor, propellers and packs as a log of bench readings has them.

    Attributes
    ----------
    where : str
        The log.
    known : Motor
        The motor as it was known before.
    constants : mapping of str to Constant
        Those of ``kv_rpm_per_v``, ``resistance_ohm`` (at ``at_rpm``), ``no_load_current_a`` (at
        ``no_load_voltage_v``) and ``resistance_slope_ohm_s`` that the log determines.
    at_rpm, no_load_rpm, no_load_voltage_v : float
        Motor speed of the rows, and motor speed and volts of the no-load current.
    packs : mapping of str to mapping
        Name of a pack to its ``resistance_ohm`` (with leads) and ``open_circuit_v``, as far as determined.
    propellers : mapping of str to mapping
        Name to ``ct0`` and ``cp0``, coefficients at rest at the speed of its rows, as far as determined.
    rows : tuple of FittedRow
    faults : tuple of Fault
    assumptions : tuple of Assumption
    names, ln, covariance : (N,), (N,), (N, N)
        The numbers that rows share, their logarithms (``fall_v``, ``zero`` and ``part_throttle_loss`` as they are) and
        covariance.
    contradicted : bool
        Whether the log contradicts itself as a whole: then it determines nothing, and the faults say why.
    chance : float
        Chance of rows fitting no better, were everything as it should be.
    """

    where: str
    known: Motor
    constants: Mapping[str, Constant]
    at_rpm: float
    no_load_rpm: float
    no_load_voltage_v: float
    packs: Mapping[str, Mapping[str, Constant]]
    propellers: Mapping[str, Mapping[str, Constant]]
    rows: tuple[FittedRow, ...]
    faults: tuple[Fault, ...]
    assumptions: tuple[Assumption, ...]
    instruments: tuple[str, ...]
    names: tuple[str, ...]
    ln: Floats
    covariance: Floats
    contradicted: bool
    chance: float
    expected: Motor
    tables: tuple[Propeller, ...]
    ask: Callable[[], tuple[Undetermined, ...]]
    warm_sd: float = 0.0

    @cached_property
    def undetermined(self) -> tuple[Undetermined, ...]:
        """What the rows leave open, why, and the row that would settle it; looked for when it is first asked."""
        return self.ask()

    @property
    def usable(self) -> bool:
        """Whether the log says enough for a motor, and does not contradict itself."""
        return not self.contradicted and {"kv_rpm_per_v", "resistance_ohm"} <= set(self.constants)

    @property
    def sd_ln(self) -> Mapping[str, float]:
        """sd of ln of each field of the motor."""
        made = dict(zip(CONSTANTS, map(float, np.sqrt(np.diag(self.covariance))), strict=False))
        made["resistance_ohm"] = math.hypot(made["resistance_ohm"], self.warm_sd)
        return made

    @property
    def correlations(self) -> tuple[tuple[str, str, float], ...]:
        """Fields of the motor two by two, and the correlation of their logarithms."""
        made = []
        for (i, one), (j, other) in combinations(enumerate(CONSTANTS), 2):
            spread = math.sqrt(self.covariance[i, i] * self.covariance[j, j])
            made.append((one, other, float(self.covariance[i, j] / spread) if spread else 0.0))
        return tuple(made)

    def _refuse(self) -> None:
        if not self.usable:
            said = [fault for fault in self.faults if fault.kind == "fault"] if self.contradicted else []
            open_ = [Fault(self.where, each.constant, rule=f"undetermined: {each.why}") for each in self.undetermined]
            raise InputFaults([*said, *open_] or [Fault(self.where, rule="says too little for a motor")])

    def part(self) -> Motor:
        """The motor with the constants of the log; its kV is measured.

        What the log leaves open stands at what goes best with the rest; :attr:`sd_ln` says how open it is.

        Raises
        ------
        InputFaults
            kV and resistance are undetermined, or the log contradicts itself.
        """
        self._refuse()
        found = {name: math.exp(self.ln[at]) for at, name in enumerate(CONSTANTS)}
        motor = with_constants(self.expected, found, self.no_load_rpm * math.pi / 30.0)
        used = sum(row.used for row in self.rows)
        name = self.where.replace("\\", "/").rpartition("/")[2]
        text = f"{FITTED}{name}, {used} row{'' if used == 1 else 's'}"
        motor = replace(motor, kv_kind="measured", id=None)
        sd = {name: min(sd, 1.0) for name, sd in self.sd_ln.items() if getattr(motor, name) and sd > _LEAST_SD}
        together = tuple(each for each in self.correlations if each[0] in sd and each[1] in sd)
        source = Source(text=text, kind="measured", sd_ln=sd, correlations=together)
        return replace(motor, source=source)

    def propeller_parts(self) -> tuple[Propeller, ...]:
        """The propellers of the log whose coefficients it determines, as measured parts.

        A propeller is its table times the factors found at rest; its deviations are no smaller than those of a measured
        table, as rest says less about flight. One whose table was predicted has the fastest row as its reading at rest.
        """
        made = []
        for at, propeller in enumerate(self.tables):
            if not self.propellers.get(propeller.id or propeller.name):
                continue
            i = len(CONSTANTS) + 2 * at
            ct, cp = (math.exp(each) for each in self.ln[i : i + 2])
            spread = self.covariance[i : i + 2, i : i + 2] + MEASURED_TABLE_SD**2 * np.eye(2)
            sd = np.sqrt(np.diag(spread))
            scaled = scaled_table(propeller, ct, cp, f"at rest, {self.part().source.text}", None)
            sure = dict(zip(("ct", "cp"), np.minimum(sd, 1.0).tolist(), strict=True))
            source = replace(
                scaled.source, kind="measured", uncertainty=float(f"{max(sure.values()):.4g}"), sd_ln=sure,
                correlations=[("ct", "cp", float(spread[0, 1] / (sd[0] * sd[1])))],
            )  # fmt: skip
            predicted = propeller.source.kind == "predicted" or propeller.read_rpm is not None
            made.append(replace(scaled, source=source, **(self._read_at_rest(propeller) if predicted else {})))
        return tuple(made)

    def _read_at_rest(self, propeller: Propeller) -> dict[str, float]:
        """Speed, shaft power and thrust of a propeller's fastest row as fitted, those that the log determines."""
        name = propeller.id or propeller.name
        rpm = max((row.fit_rpm for row in self.rows if row.propeller == name and row.fit_rpm), default=0.0)
        found, rev_s, size = self.propellers[name], rpm / 60.0, propeller.diameter_in * INCH_M
        if not rpm or not found:
            return {}
        read: dict[str, Any] = {"read_rpm": rpm}
        if "cp0" in found:
            torque_nm = blades.torque_nm(found["cp0"].value, AIR_DENSITY_KG_M3, rev_s, size)
            read["read_shaft_w"] = torque_nm * rpm * RPM_RAD_S
        if "ct0" in found:
            read["read_thrust_gf"] = blades.thrust_n(found["ct0"].value, AIR_DENSITY_KG_M3, rev_s, size) / GRAM_FORCE_N
        return {key: float(value) for key, value in read.items()}
