"""Power trains as arrays: one lane each, ready for the models.

Source: none needed, parts in series and parallel.
"""

from collections.abc import Sequence
from functools import partial
from typing import Any

import attrs
import numpy as np

from propmatch.models import pack as battery
from propmatch.models.arrays import Floats, Index, Number, Pick
from propmatch.models.motor import reference_speed_rad_s, torque_constant, warm_resistance_ohm
from propmatch.models.surface import Surfaces, stack_surfaces
from propmatch.models.tables import CoefficientTable
from propmatch.records.estimates import (
    Assumption,
    Completed,
    beyond_law,
    drive_assumptions,
    usual_part_throttle_loss,
)
from propmatch.records.motoroff import motor_off_numbers
from propmatch.records.packflight import curve_notes, state_notes
from propmatch.records.parts import PowerTrain
from propmatch.train.line import Trains
from propmatch.units import INCH_M, MAH_AH, MILLIOHM_OHM

__all__ = ["LANE_FIELDS", "TrainLanes", "train_lanes"]


@attrs.frozen(kw_only=True, eq=False)
class TrainLanes(Trains):
    """Numbers of N power trains in SI units, every array (N,); those of one train may serve any number of lanes.

    Attributes
    ----------
    k, ... : the columns of :class:`propmatch.train.line.Trains`
    cells : in series; cells_ohm : S/P r_cell at full charge, as warm and as old as the cells are; leads_ohm
    capacity_ah : of the same cells; chemistry : index into ``chemistries``
    propeller : number in ``stack``; diameter_m, pitch_in
    ct_scale, cp_scale : what multiplies the coefficients of its table; 1 unless draws vary them
    motor_off : what it does while the motor is off, a code of :mod:`propmatch.records.motoroff`
    still_drag_m2 : drag area of one propeller that does not turn, folded where it folds
    throttle_limit : largest duty, which full throttle means; 1 unless a lower one is set
    """

    cells: Floats
    cells_ohm: Floats
    leads_ohm: Floats
    capacity_ah: Floats
    chemistry: Index
    propeller: Index
    diameter_m: Floats
    pitch_in: Floats
    ct_scale: Floats
    cp_scale: Floats
    motor_off: Index
    still_drag_m2: Floats
    throttle_limit: Floats
    stack: Surfaces
    chemistries: tuple[battery.Chemistry, ...]

    @property
    def size(self) -> int:
        """Number of lanes."""
        return int(self.k.size)

    def take(self, index: Pick) -> "TrainLanes":
        """The lanes of an index array, slice or mask."""
        columns = {name: getattr(self, name)[index] for name in LANE_FIELDS}
        return TrainLanes(stack=self.stack, chemistries=self.chemistries, **columns)

    def with_warm_windings(self, above_k: Number) -> "TrainLanes":
        """The same with windings so many kelvin above the temperature of their stated resistance."""
        return attrs.evolve(self, resistance_ohm=np.asarray(warm_resistance_ohm(self.resistance_ohm, above_k)))

    def open_circuit_v(self, charge: Floats) -> Floats:
        """E = S ocv(charge) [V] of each lane; NaN outside 0..1."""
        if self.chemistry.size == 1:
            return np.asarray(self.cells * self.chemistries[self.chemistry[0]].cell_ocv_v(charge))
        cell = self.chemistries[0].cell_ocv_v(charge)
        for index, chemistry in enumerate(self.chemistries[1:], start=1):
            cell = np.where(self.chemistry == index, chemistry.cell_ocv_v(charge), cell)
        return np.asarray(self.cells * cell)

    def sustained(self) -> "TrainLanes":
        """The same with the resistance that cells show through a whole discharge."""
        ratio = np.array([each.sustained_ratio for each in self.chemistries])[self.chemistry]
        return attrs.evolve(self, cells_ohm=ratio * self.cells_ohm)

    def flown_to_v(self, asked_v: float | None) -> Floats:
        """Cell voltage [V] at which each lane's flight ends, for the one asked for."""
        return np.array([each.flown_to_v(asked_v) for each in self.chemistries])[self.chemistry]

    def pack_ohm(self, charge: Floats) -> Floats:
        """R_b = S/P r_cell factor(charge) + leads [ohm] of each lane."""
        return np.asarray(battery.pack_resistance_ohm(self.cells_ohm, self.leads_ohm, charge))


LANE_FIELDS = tuple(a.name for a in attrs.fields(TrainLanes) if a.name not in ("stack", "chemistries"))


def train_lanes(
    trains: Sequence[PowerTrain], complete: Completed | None = None
) -> tuple[TrainLanes, tuple[Assumption, ...]]:
    """Arrays of power trains, every missing number filled by its stated estimate; ``complete`` what is so already.

    Raises
    ------
    ValueError
        A propeller without a coefficient table, or a chemistry nobody knows; every one is named.
    """
    without = sorted({t.propeller.name for t in trains if t.propeller.table is None})
    if without:
        raise ValueError(f"propeller without a coefficient table: {', '.join(without)}")
    CoefficientTable.read_together(t.propeller.table for t in trains if t.propeller.table is not None)
    complete = complete or Completed()
    noted: set[tuple[int, ...]] = set()
    surfaces: dict[int, int] = {}
    chemistries: dict[int, int] = {}
    assumptions: dict[Assumption, None] = {}
    found: list[Surfaces] = []
    kinds: list[battery.Chemistry] = []

    def note(make: Any, *parts: Any) -> None:
        """Note the assumptions about parts, once."""
        key = tuple(map(id, parts))
        if key not in noted:
            noted.add(key)
            assumptions.update(dict.fromkeys(make(*parts)))

    rows = []
    for train in trains:
        table, chemistry = train.propeller.table, train.cell_state.cells(battery.chemistry_of(train.pack))
        if id(table) not in surfaces:
            surfaces[id(table)] = len(found)
            assert table is not None
            found.append(table.surfaces)
        if id(chemistry) not in chemistries:
            chemistries[id(chemistry)] = len(kinds)
            kinds.append(chemistry)
        motor, of_motor = complete(train.motor)
        note(partial(drive_assumptions, complete=complete), train.motor, train.controller)
        assumptions.update(dict.fromkeys(beyond_law(of_motor, train.pack)))
        for part in (train.pack, train.propeller):
            note(lambda part: complete(part)[1], part)
        rows.append(
            {
                **motor_numbers(motor),
                **controller_numbers(complete(train.controller)[0]),
                **pack_numbers(complete(train.pack)[0], train.cell_state),
                **propeller_numbers(complete(train.propeller)[0]),
                **motor_off_numbers(train),
                "chemistry": chemistries[id(chemistry)],
                "count": train.count,
                "radio_a": train.radio_current_a,
                "propeller": surfaces[id(table)],
            }
        )
    numbers = np.array([[row[name] for name in LANE_FIELDS] for row in rows], dtype=np.float64).T.copy()
    columns: dict[str, Any] = dict(zip(LANE_FIELDS, numbers, strict=True))
    for name in ("chemistry", "propeller", "motor_off"):
        columns[name] = columns[name].astype(np.intp)
    lanes = TrainLanes(stack=stack_surfaces(found), chemistries=tuple(kinds), **columns)
    for train in trains:
        assumptions.update(dict.fromkeys(state_notes(train)))
    assumptions.update(dict.fromkeys(curve_notes(train.pack for train in trains)))
    return lanes, tuple(assumptions)


def motor_numbers(motor: Any) -> dict[str, float]:
    """The columns that a completed motor fills."""
    k = float(torque_constant(motor.kv_rpm_per_v))
    slope = motor.resistance_slope_ohm_s or 0.0
    reference = 1.0
    if motor.no_load_exponent:
        idle = motor.no_load_current_a
        reference = float(reference_speed_rad_s(k, motor.resistance_ohm, idle, motor.no_load_voltage_v, slope))
    return {
        "k": k,
        "k_torque": k * (motor.torque_constant_ratio or 1.0),
        "resistance_ohm": motor.resistance_ohm,
        "alone": float(not motor.controller_included),
        "usual_loss": usual_part_throttle_loss(motor.mass_g).value,
        "slope_ohm_s": slope,
        "no_load_a": motor.no_load_current_a,
        "reference_rad_s": reference,
        "exponent": motor.no_load_exponent,
        "gear_ratio": motor.gear_ratio,
        "gear_efficiency": motor.gear_efficiency,
    }


def controller_numbers(controller: Any) -> dict[str, float]:
    """The columns that a completed controller fills; its part-throttle loss is NaN where it states none."""
    return {
        "switch_ohm": controller.resistance_mohm * MILLIOHM_OHM,
        "stated_loss": np.nan if controller.part_throttle_loss is None else controller.part_throttle_loss,
        "throttle_limit": 1.0,
    }


def pack_numbers(pack: Any, state: battery.CellState) -> dict[str, float]:
    """The columns that a completed pack in this state fills."""
    cells = battery.chemistry_of(pack)
    cell_ohm = pack.cells_series / pack.cells_parallel * pack.cell_resistance_mohm * MILLIOHM_OHM
    return {
        "cells": pack.cells_series,
        "cells_ohm": cell_ohm * state.resistance_ratio(cells),
        "leads_ohm": pack.lead_resistance_mohm * MILLIOHM_OHM,
        "capacity_ah": pack.capacity_mah * MAH_AH * state.capacity_ratio(cells),
    }


def propeller_numbers(propeller: Any) -> dict[str, float]:
    """The columns that a propeller fills."""
    diameter = propeller.diameter_in * INCH_M
    return {"diameter_m": diameter, "pitch_in": propeller.pitch_in, "ct_scale": 1.0, "cp_scale": 1.0}
