"""Power trains as arrays: one lane each, ready for the models."""

from collections.abc import Sequence
from typing import Any

import attrs
import numpy as np
from numpy.typing import NDArray

from propmatch.models import pack as battery
from propmatch.models.motor import reference_speed_rad_s, torque_constant
from propmatch.models.surface import Surfaces, stack_surfaces
from propmatch.records.estimates import Assumption, completed
from propmatch.records.parts import PowerTrain
from propmatch.units import INCH_M, MAH_AH, MILLIOHM_OHM

__all__ = ["LANE_FIELDS", "TrainLanes", "chemistry_of", "train_lanes"]

Floats = NDArray[np.float64]


@attrs.frozen(kw_only=True, eq=False)
class TrainLanes:
    """Numbers of N power trains in SI units, every array (N,); those of one train may serve any number of lanes.

    Attributes
    ----------
    k : torque constant [V s/rad]; resistance_ohm : winding
    no_load_a, reference_rad_s, exponent : I0(w) = no_load_a (w/reference)^exponent
    gear_ratio, gear_efficiency
    controller_ohm : series resistance; loss : part_throttle_loss
    cells : in series; cells_ohm : S/P r_cell at full charge, with the stated temperature; leads_ohm
    capacity_ah, chemistry (index into ``chemistries``), count, accessory_a
    propeller : number in ``stack``; diameter_m, pitch_in
    """

    k: Floats
    resistance_ohm: Floats
    no_load_a: Floats
    reference_rad_s: Floats
    exponent: Floats
    gear_ratio: Floats
    gear_efficiency: Floats
    controller_ohm: Floats
    loss: Floats
    cells: Floats
    cells_ohm: Floats
    leads_ohm: Floats
    capacity_ah: Floats
    chemistry: NDArray[np.intp]
    count: Floats
    accessory_a: Floats
    propeller: NDArray[np.intp]
    diameter_m: Floats
    pitch_in: Floats
    stack: Surfaces
    chemistries: tuple[battery.Chemistry, ...]

    @property
    def size(self) -> int:
        """Number of lanes."""
        return int(self.k.size)

    def take(self, index: Any) -> "TrainLanes":
        """The lanes of an index array, slice or mask."""
        columns = {name: getattr(self, name)[index] for name in LANE_FIELDS}
        return TrainLanes(stack=self.stack, chemistries=self.chemistries, **columns)

    def open_circuit_v(self, charge: Floats) -> Floats:
        """E = S ocv(charge) [V] of each lane; NaN outside 0..1."""
        if self.chemistry.size == 1:
            return np.asarray(self.cells * self.chemistries[self.chemistry[0]].cell_ocv_v(charge))
        cell = self.chemistries[0].cell_ocv_v(charge)
        for index, chemistry in enumerate(self.chemistries[1:], start=1):
            cell = np.where(self.chemistry == index, chemistry.cell_ocv_v(charge), cell)
        return np.asarray(self.cells * cell)

    def pack_ohm(self, charge: Floats) -> Floats:
        """R_b = S/P r_cell factor(charge) + leads [ohm] of each lane."""
        return np.asarray(self.cells_ohm * battery.resistance_factor(charge) + self.leads_ohm)


LANE_FIELDS = tuple(a.name for a in attrs.fields(TrainLanes) if a.name not in ("stack", "chemistries"))


def chemistry_of(pack: Any) -> battery.Chemistry:
    """The pack's chemistry: the object itself, or the built-in one of that name."""
    if isinstance(pack.chemistry, battery.Chemistry):
        return pack.chemistry
    if pack.chemistry not in battery.CHEMISTRIES:
        known = ", ".join(battery.CHEMISTRIES)
        raise ValueError(f"pack {pack.name!r}: no chemistry {pack.chemistry!r} (known: {known})")
    return battery.CHEMISTRIES[pack.chemistry]


def train_lanes(trains: Sequence[PowerTrain]) -> tuple[TrainLanes, tuple[Assumption, ...]]:
    """Arrays of power trains, every missing number filled by its stated estimate.

    Raises
    ------
    ValueError
        A propeller without a coefficient table, or a chemistry nobody knows; every one is named.
    """
    without = sorted({t.propeller.name for t in trains if t.propeller.table is None})
    if without:
        raise ValueError(f"propeller without a coefficient table: {', '.join(without)}")
    done: dict[int, Any] = {}
    surfaces: dict[int, int] = {}
    chemistries: dict[int, int] = {}
    assumptions: dict[Assumption, None] = {}
    found: list[Surfaces] = []
    kinds: list[battery.Chemistry] = []

    def complete(part: Any) -> Any:
        if id(part) not in done:
            done[id(part)], made = completed(part)
            assumptions.update(dict.fromkeys(made))
        return done[id(part)]

    rows = []
    for train in trains:
        motor, controller = complete(train.motor), complete(train.controller)
        pack, propeller = complete(train.pack), complete(train.propeller)
        table, chemistry = train.propeller.table, chemistry_of(train.pack)
        if id(table) not in surfaces:
            surfaces[id(table)] = len(found)
            assert table is not None
            found.append(table.surfaces)
        if id(chemistry) not in chemistries:
            chemistries[id(chemistry)] = len(kinds)
            kinds.append(chemistry)
        k = float(torque_constant(motor.kv_rpm_per_v))
        exponent = motor.no_load_exponent
        reference = 1.0
        if exponent:
            reference = float(
                reference_speed_rad_s(k, motor.resistance_ohm, motor.no_load_current_a, motor.no_load_voltage_v)
            )
        warmth = 1.0 if train.pack_temperature_c is None else battery.temperature_factor(train.pack_temperature_c)
        rows.append(
            (
                k,
                motor.resistance_ohm,
                motor.no_load_current_a,
                reference,
                exponent,
                motor.gear_ratio,
                motor.gear_efficiency,
                controller.resistance_mohm * MILLIOHM_OHM,
                controller.part_throttle_loss,
                pack.cells_series,
                pack.cells_series / pack.cells_parallel * pack.cell_resistance_mohm * MILLIOHM_OHM * warmth,
                pack.lead_resistance_mohm * MILLIOHM_OHM,
                pack.capacity_mah * MAH_AH,
                chemistries[id(chemistry)],
                train.count,
                train.accessory_current_a,
                surfaces[id(table)],
                propeller.diameter_in * INCH_M,
                propeller.pitch_in,
            )
        )
    columns = dict(zip(LANE_FIELDS, np.array(rows, dtype=np.float64).T.copy(), strict=True))
    for name in ("chemistry", "propeller"):
        columns[name] = columns[name].astype(np.intp)
    lanes = TrainLanes(stack=stack_surfaces(found), chemistries=tuple(kinds), **columns)
    if any(t.pack_temperature_c is not None for t in trains):
        assumptions[_WARMTH] = None
    return lanes, tuple(assumptions)


_WARMTH = Assumption(
    subject="pack",
    field="pack_temperature_c",
    value=0.025,
    unit="1/K",
    text="cell resistance multiplied by exp(0.025 (25 - T)) for the stated pack temperature; no published source",
)
