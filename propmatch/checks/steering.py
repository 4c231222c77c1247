"""What power trains do in one setting besides pitch: room for the propeller, torque roll, one motor out."""

from collections.abc import Callable, Sequence
from typing import Any

import attrs
import numpy as np

from propmatch.aircraft.clearance import Clearance, ClearanceCase
from propmatch.aircraft.yawroll import (
    LAUNCH_OVER_STALL,
    YAW_ROLL_NOTES,
    Controls,
    MotorOut,
    Steered,
    TorqueRoll,
    grams,
    motor_out,
    torque_roll,
)
from propmatch.checks.measures import TrainMeasures
from propmatch.columns import numbers_of
from propmatch.models.arrays import Floats
from propmatch.records.body import DiscPlace, disc_places
from propmatch.records.estimates import Assumption
from propmatch.train.coupling import solve_lanes
from propmatch.units import DM2_M2, MM_M

__all__ = ["Steering", "steering"]

_SPEEDS_OVER_STALL = np.linspace(0.7, 2.5, 37)
_NOTHING_NEAR = "The brief has no [body], so nothing can be said about the room around the propeller."


@attrs.frozen(kw_only=True)
class Steering:
    """Room, roll and yaw of several power trains; tuples are empty where there is nothing to say."""

    clearance: Clearance | None
    clearances: tuple[ClearanceCase, ...]
    rolls: tuple[TorqueRoll, ...]
    outs: tuple[MotorOut, ...]
    controls: Controls
    several: bool

    @property
    def assumptions(self) -> tuple[Assumption, ...]:
        """What was assumed of ailerons, fin and rudder."""
        return self.controls.assumptions

    @property
    def notes(self) -> tuple[str, ...]:
        """What the estimate leaves out."""
        return YAW_ROLL_NOTES

    def readings(self, *, show: Callable[[float], str], mass: Callable[[float], str] = grams) -> tuple[str, ...]:
        """Everything in sentences, the same sentence once; ``show`` writes an airspeed in m/s, ``mass`` grams in the
        reader's unit.
        """
        room = self.clearance
        out = [_NOTHING_NEAR] if room is None else [room.reading(each.diameter_in) for each in self.clearances]
        out += [each.reading(self.controls, several=self.several, mass=mass) for each in self.rolls]
        out += [each.reading(self.controls, show=show) for each in self.outs]
        return tuple(dict.fromkeys(out))

    @property
    def data(self) -> dict[str, list[dict[str, Any]]]:
        """The numbers by kind."""
        return {
            "clearance": [
                {"name": each.name, "nearest": each.nearest, **numbers_of(each)} for each in self.clearances
            ],
            "torque_roll": [{"name": each.name, **numbers_of(each)} for each in self.rolls],
            "motor_out": [{"name": each.name, **numbers_of(each)} for each in self.outs],
        }  # fmt: skip


def steering(measured: TrainMeasures, names: Sequence[str], *, cg_mm: Floats) -> Steering:
    """Room, roll and yaw of C power trains of one motor count, full throttle on a full pack.

    Parameters
    ----------
    measured : TrainMeasures
    names : sequence of str, length C
    cg_mm : (C,) [mm]
        NaN where it is not known: then the target.
    """
    setting, lanes = measured.setting, measured.lanes
    balance = setting.brief.balance
    target = np.nan if balance is None else balance.target_cg_mm
    count = int(lanes.count[0])
    places = disc_places(setting.brief.thrust_line, setting.brief.motor_place, count)
    room = setting.clearance
    turns = sum(place.turns for place in places) if setting.brief.motor_place else count
    beside = any(place.side_mm for place in places) and len(places) == count
    controls = Controls.of(setting.brief.control, yaw=beside)
    airframe, stall = setting.variant.airframe, measured.stall_m_s
    torque = np.stack([turns * _full(measured, share * stall).torque_nm for share in (0.0, *LAUNCH_OVER_STALL)])
    aircraft = Steered(
        names=tuple(names), mass_kg=measured.frames.mass_kg, stall_m_s=stall,
        cg_mm=np.where(np.isfinite(cg_mm), cg_mm, target), span_m=airframe.wing_span_mm * MM_M,
        area_m2=airframe.wing_area_dm2 * DM2_M2,
        density_kg_m3=float(setting.air.density_kg_m3), controls=controls,
    )  # fmt: skip
    return Steering(
        clearance=room,
        clearances=()
        if room is None
        else tuple(
            room.case(name, float(inches)) for name, inches in zip(names, measured.ratings.diameter_in, strict=True)
        ),
        rolls=torque_roll(aircraft, torque_nm=torque, in_wing=beside),
        outs=_motor_out(measured, aircraft, places) if beside and count > 1 else (),
        controls=controls,
        several=count > 1,
    )


def _full(measured: TrainMeasures, airspeed_m_s: Floats, *, motors_out: int = 0) -> Any:
    """Full throttle on a full pack, some motors standing still."""
    lanes, air = measured.lanes, measured.setting.air
    one = np.ones(lanes.size)
    left = attrs.evolve(lanes, count=lanes.count - motors_out)
    return solve_lanes(
        left, airspeed_m_s, lanes.throttle_limit, one, air.density_kg_m3 * one, air.speed_of_sound_m_s * one
    )


def _motor_out(measured: TrainMeasures, aircraft: Steered, places: Sequence[DiscPlace]) -> tuple[MotorOut, ...]:
    speeds = np.multiply.outer(_SPEEDS_OVER_STALL, aircraft.stall_m_s)
    each = measured.frames.installed_thrust / (len(places) - 1)
    thrust = np.stack([_full(measured, speed, motors_out=1).thrust_n * each for speed in speeds])
    return motor_out(
        aircraft, places=places, airspeed_m_s=speeds, thrust_n=thrust, diameter_m=measured.lanes.diameter_m
    )
