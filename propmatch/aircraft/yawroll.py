"""What propellers do in roll and yaw: torque at full throttle, and one motor out of several.

The torque on the propellers rolls the aircraft the other way; ailerons hold it, without them the wing drops:

    Q = q S b dC_l/d(tau delta) tau delta                      ailerons (`models.liftingline`)
    I_x p' = Q - D p,  D = q S b^2/(2 V) (-C_lp)               bank in the first second without them

One motor out: yawing moment of the others' thrust and of the dead propeller's drag about the centre line, held by

    N = q S_f a_f tau delta l_f                                rudder, a_f by `stability.lift_slope_per_rad`

tau is that of a thin section with a hinged flap (`trim`). Radius of gyration in roll r b/2, r = 0.25 for one motor and
0.34 for motors in the wing.

Source: radii of gyration: D. P. Raymer, Aircraft Design, table of nondimensional radii of gyration (from memory).
"""

from collections.abc import Callable, Sequence
from typing import Any

import attrs
import numpy as np

from propmatch.columns import columns_of, number
from propmatch.models.arrays import Floats
from propmatch.models.liftingline import aileron_slope, roll_damping
from propmatch.models.liftingsurface import elevator_effectiveness, lift_slope_per_rad
from propmatch.models.slipstream import disk_area_m2
from propmatch.records.body import Control, DiscPlace
from propmatch.records.estimates import MEMORY, PRACTICE, Assumption
from propmatch.units import DM2_M2, GRAM_KG, GRAVITY_M_S2, MM_M

__all__ = [
    "LAUNCH_OVER_STALL",
    "YAW_ROLL_NOTES",
    "Controls",
    "MotorOut",
    "Steered",
    "TorqueRoll",
    "grams",
    "motor_out",
    "torque_roll",
]

LAUNCH_OVER_STALL = (1.0, 1.2)
"""Airspeeds of a launch over the stall speed; common practice."""
GYRATION = {1: 0.25, 2: 0.34}
DEAD_PROPELLER_DRAG = 0.1
"""Drag coefficient of a stopped propeller on its disc area: blades of some 8 % of it, broadside; from memory."""
YAW_ROLL_NOTES = (
    "Swirl of the jet that wing and fin straighten, which gives a part of the torque back; a rudder in the jet, which "
    "does more; stalled wing tips. Real hinges reach 80 to 90 % of the effect taken (value from memory).",
)
_NOTICEABLE_DEG = 0.5


@attrs.frozen(kw_only=True)
class Controls:
    """Ailerons, fin and rudder with every gap filled; `assumptions` lists what nobody stated.

    ``fin_area_dm2`` and ``fin_position_mm`` are None where the brief has no fin.
    """

    aileron_chord_fraction: float
    aileron_span_fraction: float
    aileron_travel_deg: float
    fin_area_dm2: float | None
    fin_height_mm: float
    fin_position_mm: float | None
    rudder_chord_fraction: float
    rudder_travel_deg: float
    assumptions: tuple[Assumption, ...]

    @classmethod
    def of(cls, stated: Control | None, *, yaw: bool) -> "Controls":
        """Fill the gaps; what is about the fin is listed where ``yaw`` asks for it."""
        given = stated or Control()
        fin = given.fin_area_dm2
        height = float(np.sqrt(FIN_ASPECT_RATIO * (fin or 1.0) * DM2_M2)) / MM_M
        usual = {
            "aileron_span_fraction": (
                0.4, "", f"ailerons over the outer 40 % of each half of the wing; 0 says there are none; {PRACTICE}"),
            "aileron_chord_fraction": (0.25, "", f"ailerons of 25 % of the wing chord; {PRACTICE}"),
            "aileron_travel_deg": (20.0, "deg", f"ailerons move 20 degrees either way; {PRACTICE}"),
            "fin_height_mm": (height, "mm", f"the fin has an aspect ratio of {FIN_ASPECT_RATIO:g}; {PRACTICE}"),
            "rudder_chord_fraction": (0.4, "", f"the rudder has 40 % of the fin's chord; {PRACTICE}"),
            "rudder_travel_deg": (25.0, "deg", f"the rudder moves 25 degrees either way; {PRACTICE}"),
        }  # fmt: skip
        values: dict[str, Any] = {name: getattr(given, name) for name in usual}
        made = []
        for name, (value, unit, text) in usual.items():
            if values[name] is not None:
                continue
            values[name] = value
            of_roll = name.startswith("aileron")
            if (of_roll and values["aileron_span_fraction"] > 0) or (not of_roll and yaw and fin is not None):
                made.append(Assumption("control", name, value, unit, text))
        if yaw:
            text = f"a stopped propeller drags with {DEAD_PROPELLER_DRAG:g} of its disc area; {MEMORY}"
            made.append(Assumption("propeller", "dead_propeller_drag", DEAD_PROPELLER_DRAG, "", text, 0.05, 0.2))
        return cls(**values, fin_area_dm2=fin, fin_position_mm=given.fin_position_mm, assumptions=tuple(made))


FIN_ASPECT_RATIO = 1.5


# ---------------------------------------------------------------- roll


def grams(mass_g: float) -> str:
    """A mass in whole grams."""
    return f"{mass_g:.0f} g"


@attrs.frozen(kw_only=True)
class TorqueRoll:
    """Torque of one power train at full throttle on a full pack; speeds at 1.0 and 1.2 times the stall speed.

    Signed numbers are positive where the left wing goes down, which propellers that turn to the right do.
    """

    name: str
    torque_static_nm: float = number(kind="N m", digits=2, label="rolling moment of the torque at rest")
    torque_launch_nm: float = number(kind="N m", digits=2, label="rolling moment of the torque at stall speed")
    wing_tip_g: float = number(kind="g", label="mass on a wing tip with the same moment as the torque at rest")
    aileron_deg: float = number(kind="deg", label="aileron that holds the torque at stall speed; NaN without ailerons")
    aileron_fast_deg: float = number(kind="deg", label="aileron that holds the torque at 1.2 times the stall speed")
    bank_one_second_deg: float = number(
        kind="deg", digits=0, label="bank after one second at stall speed, if nobody steers"
    )

    def reading(self, controls: Controls, *, several: bool, mass: Callable[[float], str] = grams) -> str:
        """In a sentence; ``mass`` writes grams in the reader's unit."""
        if several and abs(self.torque_static_nm) < 1e-9:
            return (
                f"{self.name}: the propellers turn against each other, so their torques cancel while all of them run."
            )
        down = "left" if self.torque_static_nm >= 0 else "right"
        text = (
            f"{self.name} at full throttle pushes the {down} wing down, at rest as much as "
            f"{mass(abs(self.wing_tip_g))} on its tip; "
        )
        if np.isnan(self.torque_launch_nm):
            return f"{text}at launch speed there is no answer."
        after = abs(self.bank_one_second_deg)
        bank = f"{min(after, 90.0):.0f} degrees{' or more' if after > 90 else ''}"
        if np.isnan(self.aileron_deg):
            text += f"without ailerons the {down} wing drops by about {bank} in the first second of a launch at stall "
            text += "speed: launch with part throttle, and open up with speed in hand."
        else:
            most, least = abs(self.aileron_deg), abs(self.aileron_fast_deg)
            if most < _NOTICEABLE_DEG:
                text += "at launch speed hardly any aileron holds it."
            else:
                text += f"at 1.0 to 1.2 times the stall speed {most:.1f} to {least:.1f} degrees of aileron hold it, "
                text += f"unheld it banks about {bank} in the first second."
            if most > controls.aileron_travel_deg:
                text += (
                    f" That is beyond the {controls.aileron_travel_deg:g} degrees of travel: launch with part throttle."
                )
        return f"{text} Propellers that turn against each other would cancel it." if several else text


@attrs.frozen(kw_only=True, eq=False)
class Steered:
    """Aircraft with C power trains.

    Attributes
    ----------
    names : tuple of str, length C
    mass_kg, stall_m_s, cg_mm : (C,)
        Where the centre of gravity is not known nothing is said of the rudder.
    span_m, area_m2, density_kg_m3 : float
    controls : Controls
    """

    names: tuple[str, ...]
    mass_kg: Floats
    stall_m_s: Floats
    cg_mm: Floats
    span_m: float
    area_m2: float
    density_kg_m3: float
    controls: Controls


def torque_roll(aircraft: Steered, *, torque_nm: Floats, in_wing: bool = False) -> tuple[TorqueRoll, ...]:
    """Torque roll of C power trains, closed form of the module text.

    Parameters
    ----------
    aircraft : Steered
    torque_nm : (3, C) [N m]
        Net torque of all propellers at rest and at `LAUNCH_OVER_STALL`, positive for a turn to the right.
    in_wing : bool
        Whether the motors sit in the wing.
    """
    controls, span_m, stall_m_s = aircraft.controls, aircraft.span_m, aircraft.stall_m_s
    aspect = span_m**2 / aircraft.area_m2
    speeds = np.multiply.outer(LAUNCH_OVER_STALL, stall_m_s)
    hold = 0.5 * aircraft.density_kg_m3 * speeds**2 * aircraft.area_m2 * span_m
    share = controls.aileron_span_fraction
    power = (
        aileron_slope(aspect, share) * float(elevator_effectiveness(controls.aileron_chord_fraction))
        if share > 0
        else np.nan
    )
    aileron = np.degrees(torque_nm[1:] / (hold * power))
    damping = hold[0] * span_m / (2.0 * stall_m_s) * roll_damping(aspect)
    inertia = aircraft.mass_kg * (GYRATION[2 if in_wing else 1] * span_m / 2.0) ** 2
    rate, time = torque_nm[1] / damping, inertia / damping
    bank = np.degrees(rate * (1.0 - time * (1.0 - np.exp(-1.0 / time))))
    tip = torque_nm[0] / (span_m / 2.0) / GRAVITY_M_S2 / GRAM_KG
    rows = zip(aircraft.names, *torque_nm[:2], tip, *aileron, bank, strict=True)
    fields = [column.name for column in columns_of(TorqueRoll)]
    return tuple(TorqueRoll(name=name, **dict(zip(fields, map(float, row), strict=True))) for name, *row in rows)


# ---------------------------------------------------------------- yaw


@attrs.frozen(kw_only=True)
class MotorOut:
    """The outermost motor out, the others at full throttle on a full pack, straight flight without sideslip."""

    name: str
    motor_out_airspeed_m_s: float = number(kind="speed", label="airspeed flown, 1.2 times the stall speed")
    yaw_moment_nm: float = number(kind="N m", digits=2, label="yawing moment of the motors left and the dead propeller")
    rudder_deg: float = number(kind="deg", label="rudder that would hold it, whatever its travel; NaN without a fin")
    least_control_speed_m_s: float = number(
        kind="speed", label="airspeed from which the rudder suffices; NaN where no speed looked at does"
    )
    stall_speed_m_s: float = number(kind="speed", label="stall speed")
    fastest_m_s: float = number(kind="speed", label="fastest airspeed looked at")

    def reading(self, controls: Controls, *, show: Callable[[float], str]) -> str:
        """In a sentence; ``show`` writes an airspeed in the reader's unit."""
        text = (
            f"{self.name} with one motor out and full throttle on the rest yaws with {self.yaw_moment_nm:.2g} N m at "
            f"{show(self.motor_out_airspeed_m_s)}"
        )
        if controls.fin_area_dm2 is None:
            return f"{text}; fin_area_dm2 and fin_position_mm in [control] would tell whether the rudder holds it."
        if np.isnan(self.yaw_moment_nm):
            return f"{self.name} with one motor out has no answer: the motors left have none at these speeds."
        travel, least = controls.rudder_travel_deg, self.least_control_speed_m_s
        takes = f"{self.rudder_deg:.0f}" if self.rudder_deg <= travel else f"more than the {travel:g}"
        text += f"; that takes {takes} degrees of rudder{'' if self.rudder_deg <= travel else ' there are'}"
        if np.isnan(least):
            return (
                f"{text}, and {travel:g} degrees do not hold it at any speed up to {show(self.fastest_m_s)}: {_CURE}."
            )
        if least <= self.stall_speed_m_s:
            return f"{text}: {travel:g} degrees hold it down to the stall."
        return (
            f"{text}. Least control speed about {show(least)}, {least / self.stall_speed_m_s:.1f} times the stall "
            f"speed: slower than that {travel:g} degrees do not hold it; {_CURE}."
        )


_CURE = "throttle back at once, then land; a larger fin or motors closer together help"


def motor_out(
    aircraft: Steered, *, places: Sequence[DiscPlace], airspeed_m_s: Floats, thrust_n: Floats, diameter_m: Floats
) -> tuple[MotorOut, ...]:
    """The worst motor of C power trains out; rudder and the speed from which it suffices.

    Parameters
    ----------
    aircraft : Steered
    places : sequence of DiscPlace
    airspeed_m_s, thrust_n : (V, C)
        Rising speeds, and the thrust of one of the motors left at full throttle there.
    diameter_m : (C,)
    """
    controls = aircraft.controls
    pressure = 0.5 * aircraft.density_kg_m3 * airspeed_m_s**2
    dead = pressure * DEAD_PROPELLER_DRAG * disk_area_m2(diameter_m)
    sides = np.array([place.side_mm for place in places]) * MM_M
    moment = np.max([np.abs(side * (thrust_n + dead) - sides.sum() * thrust_n) for side in sides], axis=0)
    rudder = np.full(moment.shape, np.nan)
    if controls.fin_area_dm2 is not None and controls.fin_position_mm is not None:
        area = controls.fin_area_dm2 * DM2_M2
        slope = lift_slope_per_rad((controls.fin_height_mm * MM_M) ** 2 / area)
        arm = (controls.fin_position_mm - aircraft.cg_mm) * MM_M
        tau = float(elevator_effectiveness(controls.rudder_chord_fraction))
        rudder = np.degrees(moment / (pressure * area * slope * tau * arm))
    out = []
    for lane, name in enumerate(aircraft.names):
        stall = float(aircraft.stall_m_s[lane])
        at = 1.2 * stall
        speeds = airspeed_m_s[:, lane]
        out.append(
            MotorOut(
                name=name, motor_out_airspeed_m_s=at, yaw_moment_nm=float(np.interp(at, speeds, moment[:, lane])),
                rudder_deg=float(np.interp(at, speeds, rudder[:, lane])),
                least_control_speed_m_s=_first_within(speeds, rudder[:, lane], controls.rudder_travel_deg),
                stall_speed_m_s=stall, fastest_m_s=float(speeds[-1]),
            )
        )  # fmt: skip
    return tuple(out)


def _first_within(speeds: Floats, angle: Floats, most: float) -> float:
    """The speed from which on an angle stays within ``most``, linear between nodes; NaN where it never does."""
    beyond = np.flatnonzero(~(angle <= most))
    if beyond.size == 0:
        return float(speeds[0])
    at = int(beyond[-1])
    if at == speeds.size - 1 or np.isnan(angle[at]):
        return float("nan")
    return float(np.interp(-most, -angle[at : at + 2], speeds[at : at + 2]))
