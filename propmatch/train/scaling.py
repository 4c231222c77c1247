"""Parts of other size from a given one: a propeller of other diameter or pitch, a motor wound for another kV.

Source: common practice, no published source.
"""

import math
from collections.abc import Iterable
from typing import Any

import attrs
import numpy as np

from propmatch.models.arrays import Number
from propmatch.models.tables import CoefficientTable
from propmatch.records.estimates import PRACTICE, Assumption, completed
from propmatch.records.fields import replace
from propmatch.records.parts import Motor, Propeller, Source
from propmatch.train.lanes import TrainLanes

__all__ = ["SAME_TABLE", "SAME_WINDING_SPACE", "PitchFit", "rewound", "rewound_lanes", "scaled_propeller"]

SAME_TABLE = Assumption(
    "scaled propeller", "table", float("nan"), "",
    "the coefficient table of the given propeller is kept while its diameter scales, pitch in proportion; small "
    "propellers are a few per cent worse than that, large ones better",
)  # fmt: skip
SAME_WINDING_SPACE = Assumption(
    "motor of another kV", "kv_rpm_per_v", float("nan"), "rpm/V",
    "same motor with another winding in the same copper space: resistance in inverse proportion to kV^2, no-load "
    f"current and current rating in proportion to kV, power rating kept; {PRACTICE}",
)  # fmt: skip
CT_POWER, CP_POWER = 0.6, 1.2
"""Growth of static CT and CP with pitch over diameter where a catalogue cannot say: values from memory."""
_LEAST_PROPELLERS = 4


def rewound(motor: Motor, kv_rpm_per_v: float) -> Motor:
    """The motor with another winding in the same space; see ``SAME_WINDING_SPACE``.

    R ~ 1/kV^2, I0 and current ratings ~ kV; the power rating is kept.
    """
    full, _ = completed(motor)
    ratio = kv_rpm_per_v / full.kv_rpm_per_v

    def times(value: float | None) -> float | None:
        return None if value is None else value * ratio

    wound: Motor = replace(
        full,
        name=f"{motor.name} wound for kV {kv_rpm_per_v:.0f}",
        kv_rpm_per_v=kv_rpm_per_v,
        resistance_ohm=full.resistance_ohm / ratio**2,
        resistance_slope_ohm_s=(full.resistance_slope_ohm_s or 0.0) / ratio**2,
        no_load_current_a=times(full.no_load_current_a),
        max_current_a=times(motor.max_current_a),
        max_power_w=motor.max_power_w,
        burst_current_a=times(full.burst_current_a),
        id=None,
        source=Source(text=f"{motor.name} with another winding", kind="assumed"),
    )
    return wound


def rewound_lanes(lanes: TrainLanes, ratio: Number) -> TrainLanes:
    """The same for lanes, kV times ``ratio`` (N,)."""
    return attrs.evolve(
        lanes,
        k=lanes.k / ratio,
        k_torque=lanes.k_torque / ratio,
        resistance_ohm=lanes.resistance_ohm / ratio**2,
        slope_ohm_s=lanes.slope_ohm_s / ratio**2,
        no_load_a=lanes.no_load_a * ratio,
        reference_rad_s=np.where(lanes.exponent > 0, lanes.reference_rad_s * ratio, lanes.reference_rad_s),
    )


@attrs.frozen(kw_only=True)
class PitchFit:
    """CT ~ (pitch/diameter)^ct_power, CP ~ (pitch/diameter)^cp_power at rest; the advance ratio scales with pitch.

    Attributes
    ----------
    ct_power, cp_power : float
    propellers : int
        How many of the catalogue it rests on; 0 where values from memory stand in.
    """

    ct_power: float = CT_POWER
    cp_power: float = CP_POWER
    propellers: int = 0

    @classmethod
    def of(cls, propellers: Iterable[Propeller], like: Propeller) -> "PitchFit":
        """Least squares of log(coefficient) at rest on log(pitch/diameter) and log(diameter) over like blades."""
        alike = [
            each
            for each in propellers
            if each.table is not None and each.family == like.family and each.blades == like.blades
        ]
        ratio = np.log([each.pitch_in / each.diameter_in for each in alike])
        size = np.log([each.diameter_in for each in alike])
        columns = np.column_stack([np.ones(len(alike)), ratio, size]) if alike else np.empty((0, 3))
        if len(alike) < _LEAST_PROPELLERS or np.linalg.matrix_rank(columns) < 3:
            return cls()
        powers = []
        for name in ("ct", "cp"):
            rest = np.log([_at_rest(each.table, name) for each in alike])
            powers.append(float(np.linalg.lstsq(columns, rest, rcond=None)[0][1]))
        if not all(math.isfinite(power) and 0.0 <= power <= 2.5 for power in powers):
            return cls()
        return cls(ct_power=powers[0], cp_power=powers[1], propellers=len(alike))

    def table(self, table: CoefficientTable, ratio: float) -> CoefficientTable:
        """The table with pitch over diameter times ``ratio``."""
        return table.times(ct=ratio**self.ct_power, cp=ratio**self.cp_power, advance_ratio=ratio)

    @property
    def assumption(self) -> Assumption:
        """The fit as an assumption."""
        basis = (
            f"fitted to {self.propellers} propellers of the catalogue with the same blades"
            if self.propellers
            else "values from memory, as the catalogue has too few such propellers"
        )
        return Assumption(
            "propeller of other pitch", "table", self.cp_power, "",
            f"thrust and power coefficients grow with (pitch/diameter)^{self.ct_power:.2f} and ^{self.cp_power:.2f}, "
            f"{basis}; the speed at which thrust ends grows with pitch",
        )  # fmt: skip


def _at_rest(table: Any, name: str) -> float:
    values = np.asarray(getattr(table, name))[:, 0]
    return float(np.median(values))


def scaled_propeller(
    propeller: Propeller, *, diameter_in: float, pitch_in: float | None = None, fit: PitchFit | None = None
) -> Propeller:
    """The propeller at another diameter, and pitch if given (else pitch in proportion).

    Blades keep their shape: the table stays while pitch over diameter does, else ``fit`` changes it. A stated speed
    limit keeps its tip speed.
    """
    size = diameter_in / propeller.diameter_in
    pitch = propeller.pitch_in * size if pitch_in is None else pitch_in
    ratio = pitch / diameter_in * propeller.diameter_in / propeller.pitch_in
    table = propeller.table
    if table is not None and abs(ratio - 1.0) > 1e-12:
        table = (PitchFit() if fit is None else fit).table(table, ratio)
    mass, limit = propeller.mass_g, propeller.max_rpm
    return replace(
        propeller,
        name=f"{diameter_in:.3g}x{pitch:.3g} scaled from {propeller.name}",
        diameter_in=diameter_in,
        pitch_in=pitch,
        mass_g=None if mass is None else mass * size**2.5,
        max_rpm=None if limit is None else limit / size,
        table=table,
        id=None,
        source=Source(text=f"{propeller.name} scaled", kind="assumed"),
    )
