"""The checks: one record each, with the functions it needs. Whatever judges, searches or explains reads them here.

Currents are taken fresh from the charger (charge 1), thrust and climb at half charge.
"""

from collections.abc import Callable
from itertools import groupby

import numpy as np
from numpy.typing import NDArray

from propmatch.aircraft.flightlanes import ENDED_BY
from propmatch.aircraft.polar import drag_n
from propmatch.checks.rule import BRIEF, PRACTICE, RATING, CheckRule, Cost, no_words
from propmatch.checks.states import Field, State, TrainStates
from propmatch.checks.working import Input, Lane, LanePoint, Stated, Working
from propmatch.records.estimates import PRACTICE as UNSOURCED
from propmatch.train.operating import OperatingPoint
from propmatch.units import GRAM_KG, INCH_M, MAH_AH

__all__ = ["CHECKS", "capped", "costly", "excluding", "stages", "top_speed_working"]

Floats = NDArray[np.float64]

STATED = State(words="as stated")
REST = State(words="full throttle at rest, full pack", charge=1.0, rest=True)
FLOWN = State(words="full throttle at the airspeeds of the powered phases, full pack", charge=1.0, flight=True)
WORST = State(
    words="full throttle, worst of rest and the phases' airspeeds, full pack", charge=1.0, rest=True, flight=True
)
HALF = State(words="full throttle at rest, half charge", charge=0.5, rest=True)
LAUNCH = State(words="full throttle at half the stall speed, half charge", charge=0.5)
CLIMB = State(words="full throttle at the airspeed of the best climb, half charge", charge=0.5)
FLIGHT = State(words="from a full pack to the end of the flight")
PHASES = State(words="at the airspeeds of the powered phases")
RESERVE = State(words="holding the airspeed that takes most throttle, reserve charge")
FULL_PACK = State(words="motor off, full pack")

TIP_REMARK = 0.6
"""Tip Mach number from which the note speaks of noise: common practice, no published source."""


# ---------------------------------------------------------------- fields of an operating point


def motor_current(point: OperatingPoint) -> Floats:
    """Of one motor [A]."""
    return np.asarray(point.motor_current_a)


def motor_power(point: OperatingPoint) -> Floats:
    """Input of one motor [W]."""
    return np.asarray(point.motor_voltage_v * point.motor_current_a)


def pack_current(point: OperatingPoint) -> Floats:
    """Of the pack [A]."""
    return np.asarray(point.pack_current_a)


def rpm(point: OperatingPoint) -> Floats:
    """Of the propeller [rpm]."""
    return np.asarray(point.rpm)


def tip_mach(point: OperatingPoint) -> Floats:
    """Helical [-]."""
    return np.asarray(point.tip_mach)


def throttle(point: OperatingPoint) -> Floats:
    """Duty [-]."""
    return np.asarray(point.throttle)


# ---------------------------------------------------------------- cells, sizes and masses


def _cells_limit(m: TrainStates) -> Floats:
    r = m.ratings
    stated = np.where(np.isfinite(r.cells_most), r.cells_most, np.where(r.cells_least > 0, np.inf, np.nan))
    return np.where(m.lanes.cells < r.cells_least, 0.0, stated)


def _cells(lane: Lane) -> Input:
    return lane.number("N", "cells in series", lane.states.lanes.cells, "", Stated("pack", "cells_series"))


def _all_up_g(m: TrainStates) -> Floats:
    return m.frames.mass_kg / GRAM_KG


def _all_up_working(lane: Lane) -> Working:
    inputs = tuple(lane.masses())
    return Working("m = " + " + ".join(each.symbol for each in inputs), inputs)


def _loading_working(lane: Lane) -> Working:
    mass = lane.number("m", "all-up mass", _all_up_g(lane.states), "g", "bare mass and power train")
    return Working("m_S = m/S", (mass, lane.wing_area()))


# ---------------------------------------------------------------- full throttle, full pack


def _at_worst(
    formula: str, state: State, field: Field, inputs: Callable[[Lane, LanePoint], tuple[Input, ...]]
) -> Callable[[Lane], Working]:
    """A working at the point of a state where a field is largest."""

    def working(lane: Lane) -> Working:
        at = lane.worst(state, field)
        return Working(formula, () if at is None else (*inputs(lane, at), at.airspeed()))

    return working


def _motor_current_working(state: State) -> Callable[[Lane], Working]:
    return _at_worst(
        "I = (V_m - n/K_v)/R",
        state,
        motor_current,
        lambda lane, at: (at.motor_voltage(), at.motor_speed(), lane.speed_constant(), lane.winding()),
    )


def _burst_inputs(lane: Lane, at: LanePoint) -> tuple[Input, ...]:
    count = lane.number("N_m", "motors", lane.states.lanes.count, "", "brief or assumption")
    return count, at.motor_current(), lane.accessory_current()


def _rpm_inputs(lane: Lane, at: LanePoint) -> tuple[Input, ...]:
    gear = lane.number("g", "gear ratio", lane.states.lanes.gear_ratio, "", Stated("motor", "gear_ratio"))
    return lane.speed_constant(), at.motor_voltage(), lane.winding(), at.motor_current(), gear


def _tip_mach_working(lane: Lane) -> Working:
    at = lane.worst(WORST, tip_mach)
    assert at is not None
    air = lane.states.setting.air
    sound = Input("a", "speed of sound", float(air.speed_of_sound_m_s), "m/s", "temperature of the brief")
    inputs = (at.propeller_speed(), lane.diameter(), at.airspeed("V"), sound)
    return Working(f"M = sqrt((pi * n/60 * {INCH_M} * D)^2 + V^2)/a", inputs)


def _motor_limit(m: TrainStates) -> Floats:
    return m.ratings.motor_limit_a(m.setting.full_throttle_seconds)


def _controller_limit(m: TrainStates) -> Floats:
    return m.ratings.controller_limit_a(m.setting.full_throttle_seconds)


def _current_note(lane: Lane, _: float) -> str:
    seconds = lane.states.setting.full_throttle_seconds
    limit = "continuous limit" if seconds is None else f"limit for {seconds:g} s of full throttle"
    return f"{limit}; at part throttle a motor carries more than it draws from the pack, where a wattmeter sits"


def _rpm_note(lane: Lane, _: float) -> str:
    if lane.of(lane.states.ratings.max_rpm_stated):
        return ""
    return "limit of the blade family, unverified: the maker's comes first"


# ---------------------------------------------------------------- half charge


def _half(lane: Lane) -> LanePoint:
    return lane.point("at rest, half charge", lane.states.full(0.5))


def _thrust_working(lane: Lane) -> Working:
    thrust = _half(lane).field("T", "static thrust at half charge", "thrust_n", "N")
    return Working("T_W = T/W", (thrust, lane.weight()))


def _thrust_note(lane: Lane, _: float) -> str:
    weight = lane.of(lane.states.frames.weight_n)
    return _beside([lane.of(lane.states.full(q).thrust_n) / weight for q in _fresh_and_reserve(lane)], digits=2)


def _launch_working(lane: Lane) -> Working:
    at = lane.point("at half the stall speed, half charge", lane.states.launch, 0.5 * lane.states.stall_m_s)
    thrust = at.field("T", "thrust at half the stall speed", "thrust_n", "N")
    return Working("T_W = f * T/W", (lane.installed_share(), thrust, lane.weight(), at.airspeed()))


def _climb_working(lane: Lane) -> Working:
    m = lane.states
    return Working("w = V * (f * T - D)/W", _thrust_and_drag(lane, np.asarray(m.top.climb_airspeed_m_s), "best climb"))


def _thrust_and_drag(lane: Lane, airspeed: Floats, name: str) -> tuple[Input, ...]:
    """Full throttle against drag at an airspeed, half charge."""
    m = lane.states
    at = lane.point(f"full throttle at the airspeed of {name}, half charge", m.full(0.5, airspeed, name), airspeed)
    drag = drag_n(m.frames, m.setting.air.density_kg_m3, airspeed)
    return (
        at.airspeed("V"),
        lane.installed_share(),
        at.field("T", "thrust", "thrust_n", "N"),
        lane.number("D", "drag", drag, "N", "drag polar of the airframe at this airspeed"),
        lane.weight(),
    )


def top_speed_working(lane: Lane) -> Working:
    """The airspeed at which full throttle just balances the drag, no check of its own."""
    m = lane.states
    airspeed, density = np.asarray(m.top.top_speed_m_s), float(m.setting.air.density_kg_m3)
    fastest, share, thrust, drag, _ = _thrust_and_drag(lane, airspeed, "top speed")
    area = lane.wing_area()
    coefficient = drag.value / (0.5 * density * fastest.value**2 * lane.of(m.frames.area_m2))
    return Working(
        "V = sqrt(2 * f * T/(rho * S/100 * C_D))",
        (
            share,
            thrust,
            Input("rho", "air density", density, "kg/m3", "field height and temperature of the brief"),
            area,
            Input("C_D", "drag coefficient", coefficient, "", "drag polar of the airframe at this airspeed"),
        ),
    )


def _climb_note(lane: Lane, _: float) -> str:
    return _beside([lane.of(lane.states.top_at(q).climb_m_s) for q in _fresh_and_reserve(lane)], digits=1)


def _fresh_and_reserve(lane: Lane) -> tuple[float, float]:
    return 1.0, lane.states.setting.brief.limits.reserve_charge or 0.0


def _beside(values: list[float], *, digits: int) -> str:
    """The same value with a fresh pack and at the reserve."""
    first, last = ("no answer" if np.isnan(x) else f"{x:.{digits}f}" for x in values)
    return f"fresh {first}, at reserve {last}"


def _cell_working(lane: Lane) -> Working:
    voltage = _half(lane).field("V_b", "pack voltage under load, half charge", "pack_voltage_v", "V")
    return Working("V_c = V_b/N", (voltage, _cells(lane)))


def _pitch_speed_working(lane: Lane) -> Working:
    pitch = lane.number("p", "pitch", lane.states.lanes.pitch_in, "in", Stated("propeller", "pitch_in"))
    inputs = (_half(lane).propeller_speed(), pitch, lane.stall_speed())
    return Working(f"V_p/V_s = n/60 * {INCH_M} * p/V_s", inputs)


def _balance_working(lane: Lane) -> Working:
    packs = lane.states.packs
    if packs is None:
        return Working("x = abs((m_0 * x_0 + m_b * x_b)/(m_0 + m_b) - x_t)")
    target = float(packs.geometry.balance.target_cg_mm)
    return Working(
        "x = abs((m_0 * x_0 + m_b * x_b)/(m_0 + m_b) - x_t)",
        (
            lane.number("m_0", "everything but the pack", packs.base_mass_g, "g", "bare mass and power train"),
            lane.number("x_0", "its centre of gravity", packs.base_cg_mm, "mm", "brief or assumption"),
            lane.number("m_b", "pack", packs.pack_mass_g, "g", Stated("pack", "mass_g")),
            lane.number("x_b", "best place of the pack", packs.pack_mm, "mm", "as near to the target as the tray lets"),
            Input("x_t", "target", target, "mm", "brief"),
        ),
    )


# ---------------------------------------------------------------- the flight


def _sustained_working(lane: Lane) -> Working:
    flight = lane.states.flight
    worst = int(np.argmax(np.nan_to_num(flight.phase_current_a[:, lane.index], nan=-np.inf)))
    phase = f"phase '{lane.states.setting.phases[worst].name}'"
    return Working(
        "I = Q/1000/(t/60)",
        (
            lane.number("Q", "charge drawn", flight.phase_mah[worst], "mAh", f"thrust that the phase needs; {phase}"),
            lane.number("t", "time", flight.phase_minutes[worst], "min", phase),
        ),
    )


def _flight_working(lane: Lane) -> Working:
    m, flight = lane.states, lane.states.flight
    if lane.of(flight.minutes) == 0:
        return Working("t = 0")
    capacity = Stated("pack", "capacity_mah")
    phases = (
        Input("", f"mean pack current, {phase.name}", lane.of(current), "A", "thrust that the phase needs")
        for phase, current in zip(m.setting.phases, flight.phase_current_a, strict=True)
    )
    mean = "charge drawn over time flown: the phases' currents at the pack's state of charge"
    return Working(
        "t = 60 * C/1000 * (1 - q)/I",
        (
            lane.number("C", "capacity", m.lanes.capacity_ah / MAH_AH, "mAh", capacity),
            lane.number("q", "charge left at the end", flight.charge, "", _flight_note(lane, 0.0)),
            lane.number("I", "mean pack current", flight.average_current_a, "A", mean),
            *phases,
        ),
    )


def _flight_note(lane: Lane, _: float) -> str:
    return f"ends by {ENDED_BY.get(int(lane.of(lane.states.flight.ended_by)), 'no answer')}"


# ---------------------------------------------------------------- common practice


def _servo_heat(m: TrainStates) -> Floats:
    heat = (_idle_v(m) - m.ratings.servo_supply_v) * m.lanes.accessory_a
    return np.where(m.ratings.servo_supply_linear > 0, heat, 0.0)


def _idle_v(m: TrainStates) -> Floats:
    """Pack voltage that the accessories leave, full pack."""
    full = np.ones(m.lanes.size)
    return m.lanes.open_circuit_v(full) - m.lanes.pack_ohm(full) * m.lanes.accessory_a


def _servo_working(lane: Lane) -> Working:
    m = lane.states
    if not lane.of(m.ratings.servo_supply_linear) > 0:
        return Working("P = 0")
    supply = Stated("controller", "servo_supply_v")
    return Working(
        "P = (V_b - V_s) * I_a",
        (
            lane.number("V_b", "pack voltage", _idle_v(m), "V", "full pack, motor off"),
            lane.number("V_s", "supply voltage", m.ratings.servo_supply_v, "V", supply),
            lane.accessory_current(),
        ),
    )


def _speed_ratios(m: TrainStates) -> Floats:
    """Airspeed over stall speed of each powered phase, (phases, N)."""
    return np.array([f.airspeed / (m.stall_m_s * np.sqrt(f.phase.load_factor)) for f in m.flown])


def _slowest_working(lane: Lane) -> Working:
    m = lane.states
    if not m.flown:
        return Working("V/(V_s * sqrt(n))")
    slowest = m.flown[int(np.argmin(_speed_ratios(m)[:, lane.index]))]
    source = f"phase '{slowest.name}'"
    return Working(
        "V/(V_s * sqrt(n))",
        (
            lane.number("V", "airspeed", slowest.airspeed, "m/s", source),
            lane.stall_speed(),
            Input("n", "load factor", float(slowest.phase.load_factor), "", source),
        ),
    )


def _throttle_working(lane: Lane) -> Working:
    formula, m = "d = (V_m + R_c * I)/V_b", lane.states
    if not m.held:
        return Working(formula)
    at = LanePoint(max(m.held, key=lambda held: lane.of(throttle(held.point))), lane.index)
    controller = lane.number(
        "R_c", "controller resistance", m.lanes.controller_ohm, "ohm", Stated("controller", "resistance_mohm")
    )
    return Working(formula, (at.motor_voltage(), controller, at.motor_current(), at.pack_voltage(), at.airspeed()))


def _throttle_missing(lane: Lane) -> str:
    return "cannot hold this speed at reserve charge, or no phase holds one" if lane.states.flown else ""


def _none(m: TrainStates) -> Floats:
    return np.full(m.lanes.size, np.nan)


# ---------------------------------------------------------------- the records

_RULES = (
    CheckRule(
        name="cell_count",
        what="cells in series against motor and controller",
        unit="S",
        graded=False,
        basis=RATING,
        limit_from="cells that motor and controller both allow",
        state=STATED,
        cost=Cost.PARTS,
        value=lambda m: m.lanes.cells,
        limit=_cells_limit,
        working=lambda lane: Working("N", (_cells(lane),)),
    ),
    CheckRule(
        name="propeller_diameter",
        what="propeller diameter",
        unit="in",
        basis=BRIEF,
        limit_from="room for the propeller",
        asked=lambda setting: setting.brief.limits.max_propeller_diameter_in,
        state=STATED,
        cost=Cost.PARTS,
        value=lambda m: m.ratings.diameter_in,
        working=lambda lane: Working("D", (lane.diameter(),)),
    ),
    CheckRule(
        name="all_up_mass",
        what="everything that flies",
        unit="g",
        basis=BRIEF,
        limit_from="target mass",
        asked=lambda setting: setting.variant.target_mass_g,
        state=STATED,
        cost=Cost.PARTS,
        value=_all_up_g,
        working=_all_up_working,
    ),
    CheckRule(
        name="wing_loading",
        what="all-up mass over wing area",
        unit="g/dm2",
        basis=BRIEF,
        limit_from="highest wing loading",
        asked=lambda setting: setting.brief.limits.max_wing_loading_g_dm2,
        state=STATED,
        cost=Cost.PARTS,
        value=lambda m: _all_up_g(m) / m.setting.variant.airframe.wing_area_dm2,
        working=_loading_working,
    ),
    CheckRule(
        name="motor_current_static",
        what="motor current at full throttle at rest, full pack",
        unit="A",
        basis=RATING,
        limit_from="current of the motor for as long as full throttle lasts",
        state=REST,
        cost=Cost.REST,
        value=lambda m: m.worst(REST, motor_current),
        limit=_motor_limit,
        working=_motor_current_working(REST),
        note=_current_note,
    ),
    CheckRule(
        name="motor_current_flight",
        what="motor current at full throttle in flight, full pack",
        unit="A",
        basis=RATING,
        limit_from="current of the motor for as long as full throttle lasts",
        state=FLOWN,
        cost=Cost.POINT,
        value=lambda m: m.worst(FLOWN, motor_current),
        limit=_motor_limit,
        applies=lambda m: bool(m.flown),
        working=_motor_current_working(FLOWN),
        note=_current_note,
        missing=no_words,
    ),
    CheckRule(
        name="motor_power",
        what="motor input at full throttle, full pack",
        unit="W",
        basis=RATING,
        limit_from="power of the motor",
        state=WORST,
        cost=Cost.POINT,
        value=lambda m: m.worst(WORST, motor_power),
        limit=lambda m: m.ratings.motor_w,
        working=_at_worst("P = V_m * I", WORST, motor_power, lambda lane, at: (at.motor_voltage(), at.motor_current())),
    ),
    CheckRule(
        name="controller_current",
        what="motor current through the controller, full pack",
        unit="A",
        basis=RATING,
        limit_from="current of the controller for as long as full throttle lasts",
        state=WORST,
        cost=Cost.POINT,
        value=lambda m: m.worst(WORST, motor_current),
        limit=_controller_limit,
        working=_motor_current_working(WORST),
        note=_current_note,
    ),
    CheckRule(
        name="pack_burst",
        what="pack current at full throttle, full pack",
        unit="A",
        basis=RATING,
        limit_from="short-time current of the pack",
        state=WORST,
        cost=Cost.POINT,
        value=lambda m: m.worst(WORST, pack_current),
        limit=lambda m: m.ratings.burst_a,
        working=_at_worst("I_b = N_m * I + I_a", WORST, pack_current, _burst_inputs),
    ),
    CheckRule(
        name="propeller_rpm",
        what="propeller speed at full throttle, full pack",
        unit="rpm",
        basis=RATING,
        limit_from="highest speed of the propeller; that of its family does not exclude",
        state=WORST,
        cost=Cost.POINT,
        value=lambda m: m.worst(WORST, rpm),
        limit=lambda m: m.ratings.max_rpm,
        judged=lambda m: m.ratings.max_rpm_stated > 0,
        working=_at_worst("n = K_v * (V_m - R * I)/g", WORST, rpm, _rpm_inputs),
        note=_rpm_note,
    ),
    CheckRule(
        name="thrust_to_weight",
        what="static thrust over weight at half charge",
        least=True,
        basis=BRIEF,
        limit_from="lowest thrust to weight",
        asked=lambda setting: setting.brief.limits.min_thrust_to_weight,
        state=HALF,
        cost=Cost.POINT,
        value=lambda m: m.full(0.5).thrust_n / m.frames.weight_n,
        working=_thrust_working,
        note=_thrust_note,
    ),
    CheckRule(
        name="hand_launch",
        what="thrust over weight at half the stall speed, half charge",
        least=True,
        basis=BRIEF,
        limit_from="lowest thrust to weight at the launch",
        asked=lambda setting: setting.brief.limits.min_launch_thrust_to_weight,
        state=LAUNCH,
        cost=Cost.POINT,
        value=lambda m: m.launch.thrust_n * m.frames.installed_thrust / m.frames.weight_n,
        working=_launch_working,
    ),
    CheckRule(
        name="climb",
        what="best climb at full throttle, half charge",
        unit="m/s",
        least=True,
        basis=BRIEF,
        limit_from="lowest best climb",
        asked=lambda setting: setting.brief.limits.min_climb_m_s,
        state=CLIMB,
        cost=Cost.SEARCH,
        value=lambda m: m.top.climb_m_s,
        working=_climb_working,
        note=_climb_note,
    ),
    CheckRule(
        name="cell_voltage",
        what="cell voltage at full throttle at rest, half charge",
        unit="V",
        least=True,
        basis=BRIEF,
        limit_from="lowest cell voltage; one that is assumed does not exclude",
        asked=lambda setting: setting.stated.limits.cutoff_cell_v,
        state=HALF,
        cost=Cost.POINT,
        value=lambda m: m.full(0.5).cell_voltage_v,
        limit=lambda m: m.setting.brief.limits.cutoff_cell_v,
        judged=lambda m: m.setting.stated.limits.cutoff_cell_v is not None,
        working=_cell_working,
    ),
    CheckRule(
        name="balance",
        what="centre of gravity off target with the pack at its best place",
        unit="mm",
        basis=BRIEF,
        limit_from="tolerance of the centre of gravity",
        asked=lambda setting: setting.geometry,
        state=STATED,
        cost=Cost.PARTS,
        value=lambda m: m.balance[0],
        limit=lambda m: m.balance[1],
        working=_balance_working,
        missing=no_words,
    ),
    CheckRule(
        name="pack_sustained",
        what="mean pack current of the hungriest phase",
        unit="A",
        basis=RATING,
        limit_from="continuous current of the pack",
        state=FLIGHT,
        cost=Cost.FLIGHT,
        value=lambda m: np.fmax.reduce(m.flight.phase_current_a),
        limit=lambda m: m.ratings.usable_a,
        working=_sustained_working,
        note=lambda *_: "against half the C label, or what the cell resistance supports if that is lower",
    ),
    CheckRule(
        name="flight_time",
        what="flight time",
        unit="min",
        least=True,
        basis=BRIEF,
        limit_from="shortest flight",
        asked=lambda setting: setting.brief.limits.min_flight_minutes,
        state=FLIGHT,
        cost=Cost.FLIGHT,
        value=lambda m: m.flight.minutes,
        working=_flight_working,
        note=_flight_note,
    ),
    CheckRule(
        name="servo_supply_heat",
        what="heat in a linear servo supply",
        unit="W",
        basis=PRACTICE,
        limit_from=f"what a supply without a heat sink sheds; {UNSOURCED}",
        usual=2.0,
        applies=lambda m: m.ratings.servo_supply_linear > 0,
        state=FULL_PACK,
        cost=Cost.PARTS,
        value=_servo_heat,
        working=_servo_working,
    ),
    CheckRule(
        name="tip_mach",
        what="helical tip Mach number",
        basis=PRACTICE,
        limit_from=f"efficiency falls and noise rises steeply beyond it; {UNSOURCED}",
        usual=0.8,
        state=WORST,
        cost=Cost.POINT,
        value=lambda m: m.worst(WORST, tip_mach),
        working=_tip_mach_working,
        note=lambda _, value: "noisy from about 0.6" if value > TIP_REMARK else "",
    ),
    CheckRule(
        name="pitch_speed_ratio",
        what="static pitch speed over stall speed",
        least=True,
        basis=PRACTICE,
        limit_from=f"thrust must last well beyond the stall speed; {UNSOURCED}",
        usual=2.5,
        state=HALF,
        cost=Cost.POINT,
        value=lambda m: m.full(0.5).pitch_speed_m_s / m.stall_m_s,
        working=_pitch_speed_working,
    ),
    CheckRule(
        name="speed_over_stall",
        what="slowest powered phase over stall speed",
        least=True,
        basis=PRACTICE,
        limit_from=f"room for gusts and turns; {UNSOURCED}",
        usual=1.25,
        applies=lambda m: bool(m.flown),
        state=PHASES,
        cost=Cost.PARTS,
        value=lambda m: np.min(_speed_ratios(m), axis=0) if m.flown else np.nan,
        working=_slowest_working,
        missing=no_words,
    ),
    CheckRule(
        name="level_throttle",
        what="throttle of the hungriest held airspeed at reserve charge",
        basis=PRACTICE,
        limit_from=f"something in hand for gusts at the end of the flight; {UNSOURCED}",
        usual=0.8,
        applies=lambda m: bool(m.held),
        state=RESERVE,
        cost=Cost.POINT,
        value=lambda m: np.max([throttle(held.point) for held in m.held], axis=0) if m.held else np.nan,
        working=_throttle_working,
        note=lambda *_: "duty, not stick position",
        missing=_throttle_missing,
    ),
    CheckRule(
        name="mass_threshold",
        what="all-up mass against a legal mass class",
        unit="g",
        basis=PRACTICE,
        limit_from="threshold that the brief names",
        asked=lambda setting: setting.brief.limits.mass_threshold_g,
        state=STATED,
        cost=Cost.PARTS,
        value=_all_up_g,
        working=_all_up_working,
        note=lambda *_: "rules differ by country and change: check yours",
    ),
)
CHECKS: dict[str, CheckRule] = {rule.name: rule for rule in _RULES}
"""Every check by name, in the order in which a combination is counted as left out."""


def excluding() -> tuple[str, ...]:
    """Checks that may rule a design out, in their order."""
    return tuple(name for name, rule in CHECKS.items() if rule.may_exclude)


def stages() -> list[tuple[str, ...]]:
    """The same, in groups of one cost."""
    return [tuple(group) for _, group in groupby(excluding(), lambda name: CHECKS[name].cost)]


def costly() -> tuple[str, ...]:
    """The same that take more than operating points."""
    return tuple(name for name in excluding() if CHECKS[name].cost in (Cost.SEARCH, Cost.FLIGHT))


def capped() -> tuple[str, ...]:
    """The same that a throttle cap relieves: what full throttle does with a full pack."""
    return tuple(name for name in excluding() if CHECKS[name].state.charge == 1.0)
