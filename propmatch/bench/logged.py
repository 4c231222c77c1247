"""What a log and what is known beside it come to: one motor, its propellers and packs, and rows for the row model."""

import math
import os
from collections.abc import Mapping, Sequence
from functools import cache, lru_cache
from typing import TYPE_CHECKING, Any

import attrs
import numpy as np

from propmatch.bench.instruments import Instrument, instruments_of
from propmatch.bench.readings import BARE, Log, Reading
from propmatch.bench.rowmodel import QUANTITIES, MotorPrior, PackPrior, Row, RowModel
from propmatch.bench.saved import is_fitted
from propmatch.catalogue.plugins import LIMIT_VARIABLE
from propmatch.faults import Fault, InputFaults
from propmatch.models import motor as law
from propmatch.models.arrays import Floats
from propmatch.models.pack import chemistry_named
from propmatch.records.estimates import INPUT_W_PER_G, KV_LABEL_FACTOR, MEMORY, PRACTICE, Z80, Assumption, completed
from propmatch.records.fields import replace
from propmatch.records.motorfit import CONSTANTS, expected, no_load_speed_rad_s
from propmatch.records.parts import Motor, Pack, Propeller, Source
from propmatch.records.typed import looks_typed, read_part
from propmatch.tolerances.numbers import part_tolerances
from propmatch.units import KV_TO_K, MILLIOHM_OHM, RPM_RAD_S

if TYPE_CHECKING:
    from propmatch.catalogue.catalogue import Catalogue
    from propmatch.catalogue.plugins import PluginReport

__all__ = ["Bench", "bench_of"]

CHARGE = 0.85
"""Charge of a pack on the bench; the sd of ln of its volts carries 0.5 to 1."""
UNKNOWN_KV_SD, UNKNOWN_MASS_SD, UNKNOWN_PACK_SD = 0.3, 1.2, 0.8
"""sd of ln of what nobody states: common practice, no published source."""
LABEL_SAG_V, LABEL_OVER_USED, LEADS_OHM = 0.51, 4.0, 0.006
"""A LiPo cell sags by 0.51 V at the C of its label, of which the strongest row takes a quarter; leads."""
LEAST_CELL, MOST_CELL = 0.97, 1.03
"""Volts of a cell in the lightest row, over cut-off and full voltage, beyond which the cells are counted wrongly."""
UNLOADED = 1.1
"""Speed without load over that of the fastest row, where no label says it."""
SAME_LABEL = 0.02
"""How far two labels of one motor may differ, being rounded: common practice, no published source."""
SUPPLY_WITHIN, SUPPLY_DROPS = 0.02, 0.04
"""A supply at its limit: current within 2 % of the log's highest while the volts lie 4 % below its others."""


@attrs.frozen(kw_only=True, eq=False)
class Bench:
    """Everything a fit rests on.

    Attributes
    ----------
    motor : Motor
        As it is known without the log.
    prior : MotorPrior
        The same with every constant, and how sure each is.
    readings, rows : tuples
        The rows that are fitted, as read and as the row model takes them.
    aside : tuple of Reading
        Rows that are not, each with a fault.
    packs : tuple of PackPrior; pack_names : tuple of str
    instruments : tuple of str
    by_quantity : mapping of Instrument
    assumptions : tuple of Assumption
    faults : tuple of Fault
    """

    where: str
    motor: Motor
    prior: MotorPrior
    readings: tuple[Reading, ...]
    rows: tuple[Row, ...]
    aside: tuple[Reading, ...]
    packs: tuple[PackPrior, ...]
    pack_names: tuple[str, ...]
    instruments: tuple[str, ...]
    by_quantity: Mapping[str, Instrument]
    count: int
    density_kg_m3: float
    label_known: bool
    assumptions: tuple[Assumption, ...]
    faults: tuple[Fault, ...]

    def model(self, rows: Sequence[Row] | None = None, packs: Sequence[PackPrior] | None = None) -> RowModel:
        """The row model of these rows and packs, or others."""
        return RowModel(
            self.prior, self.rows if rows is None else rows, self.packs if packs is None else packs,
            self.by_quantity, count=self.count, density_kg_m3=self.density_kg_m3,
        )  # fmt: skip

    def at_bare_row(self, rpm: Floats) -> "Bench":
        """The same with an estimated no-load current stated at the speed found for a bare row that was read without."""
        for row, reading, found in zip(self.rows, self.readings, rpm, strict=True):
            if row.propeller is None and row.throttle == 1.0 and "volts" in row.given:
                if "rpm" in row.given:
                    break
                motor = _at_bare_speed(self.prior.motor, self.prior.estimated, replace(reading, rpm=float(found)))
                return attrs.evolve(self, prior=attrs.evolve(self.prior, motor=motor))
        return self


class _Found:
    """Collects what is wrong and what is assumed."""

    def __init__(self, log: Log, catalogue: "Catalogue | None") -> None:
        self.log, self.catalogue = log, catalogue
        self.faults: list[Fault] = list(log.faults)
        self.assumptions: list[Assumption] = []
        self.aside: list[Reading] = [*log.aside]

    def fault(self, rule: str, hint: str = "", *, line: int = 0, key: str = "", value: Any = None,
              kind: Any = "fault") -> None:  # fmt: skip
        where = f"{self.log.where}:{line}" if line else self.log.where
        self.faults.append(Fault(where, key, value, rule, hint, kind))

    def open_catalogue(self) -> "Catalogue":
        if self.catalogue is None:
            from propmatch.catalogue.catalogue import load_catalogue

            self.catalogue = load_catalogue()
        return self.catalogue


def bench_of(
    log: Log,
    *,
    motor: Motor | str | None = None,
    propellers: Mapping[str, Propeller] | Propeller | None = None,
    packs: Sequence[Pack] = (),
    instruments: str | Sequence[str] = (),
    count: int = 1,
    density_kg_m3: float = 1.225,
    catalogue: "Catalogue | None" = None,
) -> Bench:
    """Put together what a fit rests on; arguments as those of :func:`propmatch.bench.fit.fit_log`.

    Raises
    ------
    InputFaults
        No row is left, or the log holds several motors and ``motor`` names none of them.
    """
    found = _Found(log, catalogue)
    used, by_quantity = instruments_of(instruments)
    readings = _enough(found, _of_motor(found, motor))
    motor = motor if isinstance(motor, Motor) else _of_catalogue(found, readings)
    known = _propellers(found, readings, propellers)
    readings = tuple(each for each in readings if _name_of(each, propellers) in known)
    if "bench supply" in used:
        readings = _within_supply(found, readings)
    if not readings:
        raise InputFaults(found.faults or [Fault(log.where, rule="holds no row that can be fitted")])
    prior, known_motor, label_known = _motor_prior(found, readings, motor)
    names, priors, which = _packs(found, readings, packs, "bench supply" in used)
    temperatures = [each.temperature_c for each in readings if each.temperature_c is not None]
    mean = float(np.mean(temperatures)) if len(temperatures) == len(readings) else None
    seen = dict.fromkeys(which, 0)
    rows = []
    for reading, pack in zip(readings, which, strict=True):
        given = {q: float(v) for q in QUANTITIES if (v := getattr(reading, q)) is not None and (v > 0 or q == "amps")}
        rows.append(Row(
            given=given, propeller=known[_name_of(reading, propellers)], pack=pack, at=seen[pack],
            throttle=1.0 if reading.throttle is None else reading.throttle,
            kelvin=0.0 if mean is None or reading.temperature_c is None else reading.temperature_c - mean,
        ))  # fmt: skip
        seen[pack] += 1
    return Bench(
        where=log.where, motor=known_motor, prior=prior, readings=readings, rows=tuple(rows),
        aside=tuple(found.aside), packs=priors, pack_names=names, instruments=used, by_quantity=by_quantity,
        count=count, density_kg_m3=density_kg_m3, label_known=label_known, assumptions=tuple(found.assumptions),
        faults=tuple(found.faults),
    )  # fmt: skip


# ---------------------------------------------------------------- which rows


def _of_motor(found: _Found, motor: Motor | str | None) -> tuple[Reading, ...]:
    """The rows of one motor."""
    readings, where = found.log.readings, found.log.where
    names = _several(readings, "motor")
    name = motor.name if isinstance(motor, Motor) else motor
    if isinstance(motor, str) or len(names) > 1:
        readings = tuple(each for each in readings if each.motor == name)
        if not readings:
            rule = f"the log holds rows of {len(names)} motors, and {name or 'none'} is said to be meant"
            raise InputFaults([*found.faults, Fault(where, "motor", rule=rule, hint=f"say which: {', '.join(names)}")])
    for key, what in (("label_kv", "label kV"), ("mass_g", "mass")):
        values = _several(readings, key)
        if len(values) > 1 and not isinstance(motor, Motor):
            rule = f"the log holds rows of {len(values)} motors: {what} {', '.join(values[:6])}"
            hint = "fit them one at a time, named in a column motor"
            raise InputFaults([*found.faults, Fault(where, key, rule=rule, hint=hint)])
    return readings


def _of_catalogue(found: _Found, readings: Sequence[Reading]) -> Motor | None:
    """The motor of the catalogue that the log names, none of an earlier fit, whose rows would count twice."""
    name = next((each.motor for each in readings if each.motor), None)
    same = [] if name is None else [m for m in found.open_catalogue().named("motors", name) if not is_fitted(m)]
    label = next((each.label_kv for each in readings if each.label_kv is not None), None)
    if len(same) != 1:
        return None
    motor: Motor = same[0]
    other = label is not None and motor.kv_kind == "label" and abs(label / motor.kv_rpm_per_v - 1) > SAME_LABEL
    rule = f"what is known of it is that of {motor.id} in the catalogue"
    if other:
        rule = f"{motor.id} of the catalogue is another motor: its label says {motor.kv_rpm_per_v:g} rpm/V"
    found.fault(rule, key="motor", value=name, kind="note")
    return None if other else motor


def _several(readings: Sequence[Reading], key: str) -> list[str]:
    """The different values of a column, as text."""
    values = dict.fromkeys(v for each in readings if (v := getattr(each, key)) is not None)
    return [f"{each:g}" if isinstance(each, float) else str(each) for each in values]


def _enough(found: _Found, readings: Sequence[Reading]) -> tuple[Reading, ...]:
    """Rows that say something about the motor."""
    kept = []
    for each in readings:
        if each.throttle == 0.0:
            if each.volts is not None:
                kept.append(each)
        elif each.volts is None and each.rpm is None:
            found.fault("says neither volts nor rpm: nothing follows for the motor", line=each.line)
            found.aside.append(each)
        elif each.volts is not None and each.amps is None and each.rpm is None and each.thrust_gf is None:
            found.fault("says volts alone: add amps or rpm", line=each.line)
            found.aside.append(each)
        else:
            kept.append(each)
    return tuple(kept)


def _within_supply(found: _Found, readings: Sequence[Reading]) -> tuple[Reading, ...]:
    """Rows in which a supply is not at its current limit."""
    amps = [each.amps for each in readings if each.amps is not None]
    volts = [each.volts for each in readings if each.volts is not None and each.throttle != 0.0]
    if not amps or not volts:
        return tuple(readings)
    most, kept = max(amps), []
    for each in readings:
        same = [r.volts for r in readings if r.volts is not None and r.cells == each.cells]
        limited = (
            each.amps is not None and each.volts is not None and each.amps >= (1 - SUPPLY_WITHIN) * most
            and each.volts < (1 - SUPPLY_DROPS) * float(np.median(same))
        )  # fmt: skip
        if limited:
            rule = f"the supply is at its limit: {each.volts:.2f} V at {each.amps:.1f} A; the row is left out"
            found.fault(rule, "use a pack, a stronger supply, or less throttle", line=each.line, kind="warning")
            found.aside.append(each)
        else:
            kept.append(each)
    return tuple(kept)


# ---------------------------------------------------------------- propellers


def _name_of(reading: Reading, given: Mapping[str, Propeller] | Propeller | None) -> str:
    if reading.propeller is not None:
        return BARE if reading.propeller.strip().lower() in (BARE, "bare") else reading.propeller
    if reading.throttle == 0.0:
        return BARE
    return given.name if isinstance(given, Propeller) else ""


def _propellers(
    found: _Found, readings: Sequence[Reading], given: Mapping[str, Propeller] | Propeller | None
) -> dict[str, Propeller | None]:
    """Propeller of every name in the log that is known; None for a bare shaft."""
    known: dict[str, Propeller | None] = {BARE: None}
    stated = {given.name: given} if isinstance(given, Propeller) else {**(given or {})}
    lines: dict[str, list[Reading]] = {}
    for each in readings:
        lines.setdefault(_name_of(each, given), []).append(each)
    for name, of in lines.items():
        if name == BARE:
            continue
        if name == "":
            for each in of:
                found.fault("says no propeller", "'none' is a bare shaft", line=each.line, key="propeller")
        else:
            propeller, faults = _propeller(found, name, stated.get(name))
            found.faults += [
                attrs.evolve(fault, where=f"{found.log.where}:{of[0].line}", key="propeller") for fault in faults
            ]
            if propeller is not None:
                known[name] = propeller
                continue
        found.aside += of
    return known


def _propeller(found: _Found, name: str, stated: Propeller | None) -> tuple[Propeller | None, Sequence[Fault]]:
    """A propeller with its table: as stated, typed, or of the catalogue."""
    part = stated
    if part is None and looks_typed(name):
        typed = read_part(Propeller, name, "")
        if typed.part is None:
            return None, typed.faults
        part = typed.part
    if part is None:
        try:
            part = found.open_catalogue().find("propellers", name)
        except InputFaults as error:
            return None, error.faults
    if part.table is None:
        own = found.catalogue is None
        plugins = _plugins(os.environ.get(LIMIT_VARIABLE)) if own else found.open_catalogue().plugins
        try:
            part = _tabled(part, plugins)
        except InputFaults as error:
            return None, error.faults
        if part is None:
            return None, [Fault("", "", name, "has no coefficient table and no plugin answers one")]
    return part, ()


@cache
def _plugins(limit: str | None) -> "PluginReport":
    """The installed plugins, asked for tables again and again."""
    from propmatch.catalogue.catalogue import load_catalogue

    return load_catalogue().plugins


@lru_cache(maxsize=128)
def _tabled(part: Propeller, plugins: "PluginReport") -> Propeller | None:
    """A propeller with the table that a plugin answers."""
    from propmatch.catalogue.partsets import table_of

    answer = table_of(part, (), plugins)
    return None if answer is None else replace(part, table=answer.table, source=answer.source)


# ---------------------------------------------------------------- what is expected


def _motor_prior(found: _Found, readings: Sequence[Reading], motor: Motor | None) -> tuple[MotorPrior, Motor, bool]:
    """The motor with every constant and their sd of ln, as it is known, and whether a label says its kV."""
    logged: dict[str, Any] = {}
    for key in ("motor", "label_kv", "mass_g"):
        logged[key] = next((v for each in readings if (v := getattr(each, key)) is not None), None)
    extra = 0.0
    label_known = motor is not None or logged["label_kv"] is not None
    if motor is None:
        kv, mass = logged["label_kv"], logged["mass_g"]
        if kv is None:
            kv = _kv_of(readings)
            text = f"no label kV was stated: sought around {KV_LABEL_FACTOR * kv:.0f} rpm/V, as the rows suggest"
            found.assumptions.append(Assumption("motor", "kv_rpm_per_v", KV_LABEL_FACTOR * kv, "rpm/V", text))
        if mass is None:
            watts = max([e.volts * e.amps for e in readings if e.volts and e.amps], default=35.0)
            mass, extra = max(watts / INPUT_W_PER_G, 2.0), UNKNOWN_MASS_SD
            text = (
                f"no mass was stated: about {mass:.0f} g, {INPUT_W_PER_G:g} W of the strongest row per gram; {MEMORY}"
            )
            spread = math.exp(Z80 * extra)
            found.assumptions.append(Assumption("motor", "mass_g", mass, "g", text, mass / spread, mass * spread))
        source = Source(text=f"label, in {found.log.where}", kind="label")
        motor = Motor(name=logged["motor"] or "motor", kv_rpm_per_v=float(np.clip(kv, 20, 30000)), kv_kind="label",
                      mass_g=float(np.clip(mass, 0.5, 5000)), source=source)  # fmt: skip
    known = motor
    bare = next((r for r in readings if _name_of(r, None) == BARE and r.volts and r.throttle in (None, 1.0)), None)
    if motor.no_load_voltage_v is None and bare is not None and bare.volts:
        if bare.amps:  # says more than a label of which nobody knows the volts
            motor = replace(motor, no_load_current_a=None)
        if motor.no_load_current_a is None:
            motor = replace(motor, no_load_voltage_v=float(np.clip(bare.volts, 0.5, 80.0)))
    stated = {each.name: each.sd for each in part_tolerances(motor, "motor")}
    full, sd = expected(motor, stated)
    estimated = frozenset(name for name in CONSTANTS if getattr(motor, name) is None)
    full = _at_bare_speed(full, estimated, bare)
    if full.resistance_slope_ohm_s is None or not full.resistance_slope_ohm_s:
        sd[2] = 0.0
    if not label_known:
        sd[0] = UNKNOWN_KV_SD
    usual = [*sd]
    if motor.source.kind == "measured":
        label = Motor(name=motor.name, kv_rpm_per_v=motor.kv_rpm_per_v, kv_kind="label", mass_g=motor.mass_g,
                      source=Source(text="label", kind="label"))  # fmt: skip
        by_label = expected(label, {})[1]
        usual = [max(both) for both in zip(sd, by_label, strict=True)]
    for at, power in ((1, 5 / 3), (2, 1.25), (4, 1.0)):
        sd[at] = math.hypot(sd[at], power * extra)
    return MotorPrior(motor=full, sd=tuple(sd), usual=tuple(usual), estimated=estimated), known, label_known


def _at_bare_speed(full: Motor, estimated: frozenset[str], bare: Reading | None) -> Motor:
    """An estimated no-load current stated at the speed of the bare run, where that was read."""
    i0, r, b = full.no_load_current_a, full.resistance_ohm, full.resistance_slope_ohm_s or 0.0
    if "no_load_current_a" not in estimated or bare is None or not bare.rpm or i0 is None or r is None:
        return full
    w = bare.rpm * RPM_RAD_S * full.gear_ratio
    there = float(law.no_load_current_a(w, i0, no_load_speed_rad_s(full), full.no_load_exponent))
    volts = float(law.terminal_voltage_v(w, there, KV_TO_K / full.kv_rpm_per_v, law.resistance_at_speed(r, b, w)))
    sound = 0.5 <= volts <= 80 and there <= 50 and r * there < volts
    return replace(full, no_load_current_a=there, no_load_voltage_v=volts) if sound else full


def _kv_of(readings: Sequence[Reading]) -> float:
    """What a label would say of the fastest row for its volts."""
    shares = [e.rpm / e.volts / (e.throttle or 1.0) for e in readings if e.rpm and e.volts and e.throttle != 0.0]
    return UNLOADED / KV_LABEL_FACTOR * max(shares, default=1000.0 / UNLOADED)


def _packs(
    found: _Found, readings: Sequence[Reading], packs: Sequence[Pack], supply: bool
) -> tuple[tuple[str, ...], tuple[PackPrior, ...], list[int | None]]:
    """Packs of the log, one for each cell count, what is expected of them, and each row's."""
    if supply:
        return (), (), [None] * len(readings)
    by_cells = {pack.cells_series: pack for pack in packs}
    one = packs[0].cells_series if len(packs) == 1 else None
    keys = [one if each.cells is None else each.cells for each in readings]
    names: dict[int | None, tuple[str, PackPrior]] = {}
    for key in dict.fromkeys(keys):
        volts = [e.volts for e, k in zip(readings, keys, strict=True) if k == key and e.volts is not None]
        lines = [e.line for e, k in zip(readings, keys, strict=True) if k == key and e.volts is not None]
        names[key] = _pack_prior(found, key, by_cells.get(key) if key else None, volts, lines)
    order = list(names)
    return (
        tuple(name for name, _ in names.values()),
        tuple(prior for _, prior in names.values()),
        [order.index(key) for key in keys],
    )


def _pack_prior(
    found: _Found, cells: int | None, pack: Pack | None, volts: Sequence[float], lines: Sequence[int]
) -> tuple[str, PackPrior]:
    """What is expected of a pack, and whether its volts can be those of so many cells."""
    kind = chemistry_named(pack.chemistry if pack is not None else "lipo")
    cell_v = float(np.interp(CHARGE, kind.charge, kind.ocv_v))
    most, sd = max(volts, default=0.0), 0.03
    usual = float(np.median(volts)) if volts else 0.0
    guess = max(1, round(usual / cell_v + 0.2)) if most else 3
    if cells is not None and volts:
        least, full = LEAST_CELL * kind.cutoff_v, MOST_CELL * kind.full_v
        if guess != cells and not least < usual / cells < full:
            rule = f"{usual:.2f} V are not the volts of {cells} cells: they are those of {guess} in series ({guess}S)"
            found.fault(rule, f"write {guess} under cells", line=lines[0], key="cells", value=cells)
            cells, pack = guess, None
        for value, line in zip(volts, lines, strict=True):
            if not least * (usual <= least * cells) < value / cells < full:
                far = "more than {} full" if value / cells > least else "less than {} empty"
                rule = f"{value:.2f} V are {far.format(cells)} cell{'s' if cells > 1 else ''} hold"
                found.fault(rule, "check the reading", line=line, key="volts", kind="warning")
    if pack is not None:
        full, made = completed(pack)
        ohm = (
            full.cells_series / full.cells_parallel * full.cell_resistance_mohm + full.lead_resistance_mohm
        ) * MILLIOHM_OHM
        return pack.name, PackPrior(open_circuit_v=cell_v * pack.cells_series, resistance_ohm=max(ohm, 1e-4),
                                    resistance_sd=0.45 if made else 0.2)  # fmt: skip
    if cells is None:
        open_v, sd, cells = 1.03 * most if most else 12.0, 0.06, guess
    else:
        open_v = cell_v * cells
    amps = max([e.amps for e in found.log.readings if e.amps], default=10.0)
    ohm = cells * LABEL_SAG_V / (LABEL_OVER_USED * amps) + LEADS_OHM
    text = f"pack of {cells} cells not stated: resistance about {1e3 * ohm:.0f} mohm with leads; {PRACTICE}"
    spread = math.exp(Z80 * UNKNOWN_PACK_SD)
    found.assumptions.append(Assumption(f"{cells}S", "resistance_ohm", ohm, "ohm", text, ohm / spread, ohm * spread))
    return f"{cells}S", PackPrior(open_circuit_v=open_v, resistance_ohm=ohm, open_sd=sd, resistance_sd=UNKNOWN_PACK_SD)
