"""The checks: one record each, with the functions it needs. Whatever judges, searches or explains reads them here.

Currents are taken fresh from the charger (charge 1), thrust and climb at half charge.
"""

from collections.abc import Callable, Iterable
from itertools import groupby
from typing import Any

import numpy as np

from propmatch.aircraft.flightlanes import ENDED_BY
from propmatch.aircraft.polar import PHASE_SPEED_OVER_STALL
from propmatch.checks.clearing import largest_in, nearest_note, rooms_beside
from propmatch.checks.coldstart import cold_start_c, first_minute_note, starts_cold
from propmatch.checks.launching import (
    RUN_SYMBOLS,
    THROW_SYMBOLS,
    height_limit_m,
    launched,
    run_m,
    stated_height_m,
    throw_lost_m,
)
from propmatch.checks.ratings import Rating
from propmatch.checks.rule import BRIEF, PRACTICE, RATING, CheckRule, Cost, no_words
from propmatch.checks.states import Flown, State, TrainStates
from propmatch.checks.working import GIVEN, Input, Lane, Stated, Symbol
from propmatch.models.arrays import Flags, Floats, Index
from propmatch.models.controller import linear_supply_heat_w
from propmatch.records.estimates import PRACTICE as UNSOURCED
from propmatch.records.parts import FAMILIES
from propmatch.train.operating import OperatingPoint
from propmatch.units import GRAM_KG, INCH_M

__all__ = [
    "CHECKS",
    "PARTS_ALONE",
    "TOP",
    "TOP_SPEED",
    "by_cost",
    "costly",
    "excluding",
    "full_throttle_loads",
    "stages",
]


STATED = State(words="as stated")
REST = State(words="full throttle, static, full battery", charge=1.0, rest=True)
FLOWN = State(words="full throttle at the airspeeds of the powered phases, full pack", charge=1.0, flight=True)
WORST = State(
    words="full throttle, worst of rest and the phases' airspeeds, full pack", charge=1.0, rest=True, flight=True
)
HALF = State(words="full throttle, static, half charge", charge=0.5, rest=True)
LAUNCH = State(
    words="full throttle at half the stall speed, half charge", charge=0.5, airspeed=lambda m: 0.5 * m.stall_m_s
)
CLIMB = State(
    words="full throttle at the airspeed of the best climb, half charge", charge=0.5,
    airspeed=lambda m: m.climb.climb_airspeed_m_s,
)  # fmt: skip
LAUNCHED = State(words="full throttle from the throw, or from rest, until it flies, half charge")
TOP = State(words="full throttle at top speed, half charge", charge=0.5, airspeed=lambda m: m.top_speed_m_s)
RESERVE = State(words="holding the airspeed that takes most throttle, reserve charge", held=True)
PHASES = State(words="at the airspeeds of the powered phases")
FLIGHT = State(words="from a full pack to the end of the flight")
MOTOR_OFF = State(words="motor off, full pack")

TOP_SPEED = "V = sqrt(2 * f * T/(rho * S/100 * C_D))"
"""How the top speed follows, which no check judges."""
_USABLE = "against half the C label, or what the cell resistance supports if that is lower"
_TIP_REMARK = 0.6  # noisy from there on: common practice, no published source


def motor_current(point: OperatingPoint) -> Floats:
    """Of one motor [A]."""
    return np.asarray(point.motor_current_a)


def _held(
    rating: Callable[[TrainStates], Rating], steady: str, burst: str, beside: str = ""
) -> Callable[[Lane, float], str]:
    """Which rating full throttle is held against."""

    def note(lane: Lane, _: float) -> str:
        seconds = lane.states.setting.burst_load_seconds
        words = steady
        if lane.of(rating(lane.states).bursts(seconds)):
            words = f"{burst}, as the brief allows, for {seconds:g} s of full throttle"
        return f"{words}{beside}"

    return note


def _borne(m: TrainStates, currents: Floats, rating: Rating) -> Floats:
    """What each phase (P, N) may draw: the continuous rating, or a burst where the brief allows it and it is short."""
    continuous = np.broadcast_to(rating.continuous, currents.shape)
    if not m.setting.brief.limits.allow_burst:
        return continuous
    loud = currents > continuous
    return np.where(loud, rating.limit(m.setting.seconds_on_end(loud)), continuous)


def _worst_phase(currents: Floats, limit: Floats) -> Index:
    """The phase (N,) that comes nearest to what it may draw."""
    return np.asarray(np.argmax(np.nan_to_num(currents / limit, nan=-np.inf), axis=0))


def _pack_phase(m: TrainStates) -> tuple[Floats, Floats, Index, Flags]:
    """Mean pack current of the worst phase, what it may draw, which it is, and the phases (P, N) a burst serves."""

    def make() -> tuple[Floats, Floats, Index, Flags]:
        currents, lane = m.flight.phase_current_a, np.arange(m.lanes.size)
        limit = _borne(m, currents, m.ratings.pack)
        worst = _worst_phase(currents, limit)
        return currents[worst, lane], limit[worst, lane], worst, limit > m.ratings.usable_a

    return m.once("pack phase", make)


def _motor_phase(m: TrainStates) -> tuple[Floats, Floats, Index, Flags, Flags]:
    """The same for the motor current, against motor and controller; last whether the limit is an estimate.

    Where an estimate only warns, a phase beyond a rating that is none is held against that one.
    """

    def make() -> tuple[Floats, Floats, Index, Flags, Flags]:
        currents, lane, r = m.flight.phase_motor_current_a, np.arange(m.lanes.size), m.ratings
        motor, controller = (_borne(m, currents, rating) for rating in (r.motor, r.controller))
        bursts = (motor > r.motor.continuous) | (controller > r.controller.continuous)
        warns = m.setting.brief.limits.estimated_ratings == "warn"
        of_motor, of_controller = r.motor.estimated & warns, r.controller.estimated & warns
        beyond = [np.any(currents > rated, axis=0) for rated in (motor, controller)]
        motor = np.where(of_motor & ~of_controller & beyond[1], np.inf, motor)
        controller = np.where(of_controller & ~of_motor & beyond[0], np.inf, controller)
        limit = np.fmin(motor, controller)
        worst = _worst_phase(currents, limit)
        estimated = (r.motor.estimated | (controller < motor)[worst, lane]) & (
            r.controller.estimated | (motor < controller)[worst, lane]
        )
        estimated &= np.isfinite(currents[worst, lane])  # a flight without an answer is no matter of ratings
        return currents[worst, lane], limit[worst, lane], worst, bursts, estimated

    return m.once("motor phase", make)


def _phase_note(found: Callable[[TrainStates], tuple[Any, ...]], usual: str) -> Callable[[Lane, float], str]:
    """Which phase it is, which rating it is held against, and which phases a burst rating serves."""

    def note(lane: Lane, value: float) -> str:
        _, _, worst, bursts, *_ = found(lane.states)
        names = [phase.name for phase in lane.states.setting.phases]
        served = [f"'{name}'" for name, burst in zip(names, bursts[:, lane.index], strict=True) if burst]
        return "; ".join(
            text
            for text in (
                f"'{names[int(worst[lane.index])]}'" if np.isfinite(value) else "", usual,
                f"burst ratings, as the brief allows, for {', '.join(served)}" if served else "",
            )
            if text
        )  # fmt: skip

    return note


def _driven(lane: Lane) -> float:
    """Motor current over pack current of one motor, mean of the worst phase."""
    value, _, worst, *_ = _motor_phase(lane.states)
    pack = lane.of(lane.states.flight.phase_current_a[worst[lane.index]])
    own = (pack - lane.of(lane.states.lanes.radio_a)) / lane.of(lane.states.lanes.count)
    return lane.of(value) / own if own else 0.0


def _in_worst(found: Callable[[TrainStates], tuple[Any, ...]], field: str) -> Callable[[Lane], float]:
    """A number of the flight in the worst phase."""
    return lambda lane: lane.of(getattr(lane.states.flight, field)[found(lane.states)[2][lane.index]])


def _cells_limit(m: TrainStates) -> Floats:
    """Most cells that motor, controller and brief allow; 0 where these are too few for one of them."""
    r, asked = m.ratings, sorted(m.setting.brief.limits.cells)
    most = np.where(np.isfinite(r.cells_most), r.cells_most, np.where(r.cells_least > 0, np.inf, np.nan))
    if asked:
        highest = np.array([0, *asked])[np.searchsorted(asked, m.lanes.cells, side="right")]
        most = np.fmin(most, np.where(np.isin(m.lanes.cells, asked), asked[-1], highest))
    return np.where(m.lanes.cells < r.cells_least, 0.0, most)


def _all_up_g(m: TrainStates) -> Floats:
    return m.frames.mass_kg / GRAM_KG


def _rpm_note(lane: Lane, _: float) -> str:
    r = lane.states.ratings
    if np.isnan(lane.of(r.max_rpm)):
        return f"limit not known: which family is it ({', '.join(FAMILIES)})? or give max_rpm"
    return "" if lane.of(r.max_rpm_stated) else "limit of the blade family, unverified: the maker's comes first"


def _fresh_and_reserve(lane: Lane) -> tuple[float, float]:
    return 1.0, lane.states.setting.brief.limits.reserve_charge or 0.0


def _thrust_note(lane: Lane, _: float) -> str:
    each = (lane.states.frames.thrust_to_weight(lane.states.full(q).thrust_n) for q in _fresh_and_reserve(lane))
    return _beside([lane.of(ratio) for ratio in each], digits=2)


def _climb_note(lane: Lane, _: float) -> str:
    return _beside([lane.of(lane.states.top_at(q, "climb_m_s").climb_m_s) for q in _fresh_and_reserve(lane)], digits=1)


def _beside(values: list[float], *, digits: int) -> str:
    """The same value with a fresh pack and at the reserve."""
    first, last = ("no answer" if np.isnan(x) else f"{x:.{digits}f}" for x in values)
    return f"fresh {first}, at reserve {last}"


def _placed(lane: Lane, field: str) -> float:
    packs = lane.states.packs
    return np.nan if packs is None else lane.of(getattr(packs, field))


def _target_mm(lane: Lane) -> float:
    geometry = lane.states.setting.geometry
    return np.nan if geometry is None else float(geometry.balance.target_cg_mm)


def _ended(lane: Lane, _: float) -> str:
    flight = lane.states.flight
    text = f"ends by {ENDED_BY.get(int(lane.of(flight.ended_by)), 'no answer')}"
    paying = lane.of(flight.paying_climb_m_s)
    return f"{text}; level phases climb {paying:.2f} m/s for the height that others lose" if paying > 0 else text


def _phase_currents(lane: Lane) -> Iterable[Input]:
    for phase, current in zip(lane.states.setting.phases, lane.states.flight.phase_current_a, strict=True):
        yield Input("", f"mean pack current, {phase.name}", lane.of(current), "A", "thrust that the phase needs")


def _motor_off_v(m: TrainStates) -> Floats:
    full = np.ones(m.lanes.size)
    return m.lanes.open_circuit_v(full) - m.lanes.pack_ohm(full) * m.lanes.radio_a


def _linear(m: TrainStates) -> Flags:
    return np.asarray(m.ratings.servo_supply_linear > 0)


def _servo_heat(m: TrainStates) -> Floats:
    heat = linear_supply_heat_w(_motor_off_v(m), m.ratings.servo_supply_v, m.lanes.radio_a)
    return np.where(_linear(m), heat, 0.0)


def _cutoff_v(m: TrainStates) -> Floats:
    """Cell voltage at which each flight ends."""
    return m.lanes.flown_to_v(m.setting.cutoff_cell_v)


def _supplied_v(m: TrainStates) -> Floats:
    lowest = m.lanes.cells * _cutoff_v(m)
    return np.where(_linear(m), np.minimum(m.ratings.servo_supply_v, lowest), m.ratings.servo_supply_v)


def _supply_note(lane: Lane, _: float) -> str:
    stated = lane.states.setting.variant.receiver_supply_mass_g
    if not lane.of(lane.states.ratings.supply_separate):
        return "the controller brings it"
    if stated == 0:
        return "the controller brings none: the brief says that one is aboard"
    how = "assumed" if stated is None else "named by the brief"
    return f"the controller brings none: a separate supply of {lane.of(lane.states.ratings.supply_g):.1f} g, {how}"


def _over_stall(m: TrainStates, flown: Flown) -> Floats:
    return np.asarray(flown.airspeed / (m.stall_m_s * np.sqrt(flown.phase.load_factor)))


def _slowest(lane: Lane) -> Flown:
    return min(lane.states.flown, key=lambda flown: lane.of(_over_stall(lane.states, flown)))


def _throttle_missing(lane: Lane) -> str:
    return "cannot hold this speed at reserve charge, or no phase holds one" if lane.states.flown else ""


_SUPPLY = {
    "L": Symbol(
        "1 for a linear supply, else 0", "", lambda lane: lane.of(lane.states.ratings.servo_supply_linear),
        Stated("controller", "servo_supply"),
    ),
    "V_r": Symbol(
        "supply voltage", "V", lambda lane: lane.of(lane.states.ratings.servo_supply_v),
        Stated("controller", "servo_supply_v"),
    ),
}  # fmt: skip


def _motor(m: TrainStates) -> Rating:
    return m.ratings.motor


def _controller(m: TrainStates) -> Rating:
    return m.ratings.controller


def _pack(m: TrainStates) -> Rating:
    return m.ratings.pack


_MORE = "; at part throttle a motor carries more than it draws from the pack, where a wattmeter sits"
_EACH_MOTOR, _EACH_SET = "each of {} motors", "each of {} motors and its controller"
_TOGETHER = "all {} motors together, receiver and servos with them"
_CONTINUOUS = ("continuous rating", "burst rating", _MORE)

_RULES = (
    CheckRule(
        name="cell_count", what="cells in series against motor, controller and brief", unit="S", graded=False,
        basis=RATING, limit_from="cells that motor, controller and brief all allow", limit=_cells_limit, state=STATED,
        cost=Cost.PARTS, value=lambda m: m.lanes.cells, formula="N_c",
    ),
    CheckRule(
        name="propeller_diameter", what="propeller diameter", unit="in", basis=BRIEF,
        limit_from="room for the propeller", limit_key="max_propeller_diameter_in",
        state=STATED, cost=Cost.PARTS, value=lambda m: m.ratings.diameter_in, formula="d",
    ),
    CheckRule(
        name="all_up_mass", what="everything that flies", unit="g", basis=BRIEF,
        limit_from="target mass", asked=lambda setting: setting.variant.target_mass_g,
        state=STATED, cost=Cost.PARTS, value=_all_up_g,
        formula="m = m_bare + m_motors + m_controllers + m_supply + m_propellers + m_pack",
    ),
    CheckRule(
        name="wing_loading", what="all-up mass over wing area", unit="g/dm2", basis=BRIEF,
        limit_from="highest wing loading", limit_key="max_wing_loading_g_dm2",
        state=STATED, cost=Cost.PARTS, value=lambda m: _all_up_g(m) / m.setting.variant.airframe.wing_area_dm2,
        formula="m/S",
    ),
    CheckRule(
        name="servo_supply_voltage", what="pack voltage at a linear BEC, which cannot step up", unit="V",
        least=True, graded=False, basis=RATING, limit_from="voltage of the servo supply, which the pack's must exceed",
        limit=lambda m: np.nextafter(m.ratings.servo_supply_v, np.inf), applies=_linear, state=MOTOR_OFF,
        cost=Cost.PARTS, value=lambda m: m.lanes.open_circuit_v(np.ones(m.lanes.size)), formula="V_0",
        own={"V_0": Symbol("open-circuit voltage of the full pack", "V",
                           lambda lane: lane.of(lane.states.lanes.open_circuit_v(np.ones(lane.states.lanes.size))),
                           "cells in series and chemistry")},
        missing=no_words,
    ),
    CheckRule(
        name="motor_current_static", what="motor current at full throttle, static, full battery", unit="A",
        basis=RATING,
        several=_EACH_MOTOR,
        limit_from="continuous current of the motor", rating=_motor, state=REST, cost=Cost.REST, field=motor_current,
        formula="I = (V_m - n_m/K_v)/R", note=_held(_motor, *_CONTINUOUS),
    ),
    CheckRule(
        name="motor_current_flight", what="motor current at full throttle in flight, full pack", unit="A", basis=RATING,
        several=_EACH_MOTOR,
        limit_from="continuous current of the motor", rating=_motor, applies=lambda m: bool(m.flown), state=FLOWN,
        cost=Cost.POINT, field=motor_current, formula="I = (V_m - n_m/K_v)/R", note=_held(_motor, *_CONTINUOUS),
        missing=no_words,
    ),
    CheckRule(
        name="motor_power", what="motor input at full throttle, full pack", unit="W", basis=RATING,
        several=_EACH_MOTOR,
        limit_from="continuous power of the motor", rating=lambda m: m.ratings.motor_power, state=WORST,
        cost=Cost.POINT,
        field=lambda point: np.asarray(point.motor_voltage_v * point.motor_current_a), formula="P = V_m * I",
    ),
    CheckRule(
        name="controller_current", what="motor current through the controller, full pack", unit="A", basis=RATING,
        several="each of {} controllers",
        limit_from="continuous current of the controller", rating=_controller, state=WORST, cost=Cost.POINT,
        field=motor_current, formula="I = (V_m - n_m/K_v)/R", note=_held(_controller, *_CONTINUOUS),
    ),
    CheckRule(
        name="pack_burst", what="pack current at full throttle, full pack", unit="A", basis=RATING,
        several=_TOGETHER,
        limit_from="usable current of the pack", rating=_pack, state=WORST, cost=Cost.POINT,
        field=lambda point: np.asarray(point.pack_current_a), formula="I_b = N_m * I + I_a",
        note=_held(_pack, _USABLE, "burst C of the label"),
    ),
    CheckRule(
        name="propeller_rpm", what="propeller speed at full throttle, full pack", unit="rpm", basis=RATING, danger=True,
        limit_from="highest speed of the propeller, or of its family", rating=lambda m: m.ratings.propeller_rpm,
        unknown=lambda m: np.isnan(m.ratings.max_rpm),
        state=WORST, cost=Cost.POINT, field=lambda point: np.asarray(point.rpm), formula="n = K_v * (V_m - R * I)/g",
        note=_rpm_note,
    ),
    CheckRule(
        name="thrust_to_weight", what="static thrust over weight at half charge", least=True, basis=BRIEF,
        limit_from="lowest thrust to weight", limit_key="min_thrust_to_weight",
        state=HALF, cost=Cost.POINT, formula="f * T/W",
        value=lambda m: m.frames.thrust_to_weight(m.full(0.5).thrust_n),
        note=_thrust_note,
    ),
    CheckRule(
        name="hand_launch", what="thrust over weight at half the stall speed, half charge", least=True, basis=BRIEF,
        limit_from="lowest thrust to weight at the launch",
        limit_key="min_launch_thrust_to_weight", state=LAUNCH, cost=Cost.POINT,
        value=lambda m: m.frames.thrust_to_weight(m.points(LAUNCH)[0].point.thrust_n),
        formula="f * T/W",
    ),
    CheckRule(
        name="climb", what="best climb at full throttle, half charge", unit="m/s", least=True, basis=BRIEF,
        limit_from="lowest best climb", limit_key="min_climb_m_s",
        state=CLIMB, cost=Cost.SEARCH, value=lambda m: m.climb.climb_m_s, formula="w = V * (f * T - D)/W",
        note=_climb_note,
    ),
    CheckRule(
        name="hand_launch_height", what="height lost after the throw, until it climbs", unit="m", basis=BRIEF,
        limit_from="height that a throw may lose, else of the hand; one that is assumed does not exclude",
        asked=stated_height_m, limit=height_limit_m,
        judged=lambda m: stated_height_m(m.setting) is not None, applies=lambda m: height_limit_m(m) is not None,
        state=LAUNCHED, cost=Cost.SEARCH, value=throw_lost_m, formula="h = (V_1^2 - V_0^2)/(2 * 9.80665) - E/W",
        own=THROW_SYMBOLS, note=launched("hand"), missing=no_words,
    ),
    CheckRule(
        name="takeoff_run", what="take-off run", unit="m", basis=BRIEF, limit_from="room for the take-off run",
        asked=lambda setting: setting.brief.launch and setting.brief.launch.max_run_m,
        state=LAUNCHED, cost=Cost.SEARCH, value=run_m, formula="s = V_1^2/(2 * a_m)",
        own=RUN_SYMBOLS, note=launched("runway"), missing=no_words,
    ),
    CheckRule(
        name="cell_voltage", what="cell voltage at full throttle, static, half charge", unit="V", least=True,
        basis=BRIEF, limit_from="lowest cell voltage; one that is assumed does not exclude",
        limit_key="cutoff_cell_v", asked=lambda setting: setting.stated.limits.cutoff_cell_v,
        limit=_cutoff_v,
        judged=lambda m: m.setting.stated.limits.cutoff_cell_v is not None,
        state=HALF, cost=Cost.POINT, value=lambda m: m.full(0.5).cell_voltage_v, formula="V_b/N_c",
    ),
    CheckRule(
        name="first_minute", what="cell voltage at full throttle, static, full battery, cells as cold as at the field",
        unit="V", least=True, basis=BRIEF, limit_from="cell voltage at which the flight ends, where the cells are cold",
        asked=cold_start_c, limit=_cutoff_v, applies=starts_cold,
        state=REST, cost=Cost.POINT, value=lambda m: m.full(1.0).cell_voltage_v, formula="V_b/N_c",
        note=first_minute_note,
    ),
    CheckRule(
        name="balance", what="centre of gravity off target with the pack at its best place", unit="mm", basis=BRIEF,
        limit_from="tolerance of the centre of gravity", asked=lambda setting: setting.geometry,
        limit=lambda m: m.balance[1], unknown=lambda m: m.setting.geometry is not None and np.isnan(m.balance[0]),
        state=STATED, cost=Cost.PARTS, value=lambda m: m.balance[0],
        formula="x = abs((m_0 * x_0 + m_pack * x_pack)/(m_0 + m_pack) - x_t)",
        own={
            "m_0": Symbol("all but the pack", "g", lambda lane: _placed(lane, "base_mass_g"), "brief and parts"),
            "x_0": Symbol("its centre of gravity", "mm", lambda lane: _placed(lane, "base_cg_mm"), GIVEN),
            "x_pack": Symbol("best place of the pack", "mm", lambda lane: _placed(lane, "pack_mm"), "within the tray"),
            "x_t": Symbol("target", "mm", _target_mm, "brief"),
        },
        missing=no_words,
    ),
    CheckRule(
        name="propeller_clearance", what="propeller diameter against the room around it", unit="in", basis=BRIEF,
        limit_from="room that [body] and the places of the motors leave", asked=lambda setting: setting.clearance,
        limit=largest_in, state=STATED, cost=Cost.PARTS, value=lambda m: m.ratings.diameter_in, formula="d",
        beside=rooms_beside, note=nearest_note,
    ),
    CheckRule(
        name="pack_sustained", what="mean pack current of the phase nearest to its limit", unit="A", basis=RATING,
        several=_TOGETHER,
        limit_from="usable current of the pack", limit=lambda m: _pack_phase(m)[1],
        estimated=lambda m: (
            m.ratings.pack.estimated & (_pack_phase(m)[1] == m.ratings.usable_a) & np.isfinite(_pack_phase(m)[0])
        ),
        bursts=lambda m: np.any(_pack_phase(m)[3], axis=0),
        state=FLIGHT, cost=Cost.FLIGHT, value=lambda m: _pack_phase(m)[0],
        formula="I = Q/1000/(t/60)",
        own={
            "Q": Symbol("charge drawn by it", "mAh", _in_worst(_pack_phase, "phase_mah"), "thrust it needs"),
            "t": Symbol("time flown in it", "min", _in_worst(_pack_phase, "phase_minutes"), "brief"),
        },
        beside=_phase_currents, note=_phase_note(_pack_phase, _USABLE),
    ),
    CheckRule(
        name="motor_current_phase", what="mean motor current of the phase nearest to its limit", unit="A", basis=RATING,
        several=_EACH_SET,
        limit_from="continuous current of motor and controller, the lower of the two",
        limit=lambda m: _motor_phase(m)[1],
        bursts=lambda m: np.any(_motor_phase(m)[3], axis=0), estimated=lambda m: _motor_phase(m)[4],
        state=FLIGHT, cost=Cost.FLIGHT, value=lambda m: _motor_phase(m)[0], formula="I = r * (I_p - I_a)/N_m",
        own={
            "r": Symbol("motor current over pack current of one motor, mean of the phase", "", _driven,
                        "throttle and part-throttle loss"),
            "I_p": Symbol("mean pack current of the phase", "A", _in_worst(_motor_phase, "phase_current_a"),
                          "thrust that the phase needs"),
        },
        note=_phase_note(_motor_phase, "continuous rating"),
    ),
    CheckRule(
        name="flight_time", what="flight time", unit="min", least=True, basis=BRIEF,
        limit_from="shortest flight", limit_key="min_flight_minutes",
        state=FLIGHT, cost=Cost.FLIGHT, value=lambda m: m.flight.minutes,
        formula="t = 60 * C/1000 * (1 - q)/I_mean",
        own={
            "q": Symbol("charge left", "", lambda lane: lane.of(lane.states.flight.charge), "how the flight ends"),
            "I_mean": Symbol(
                "mean pack current", "A", lambda lane: lane.of(lane.states.flight.average_current_a),
                "charge drawn over time flown: the phases' currents at the pack's state of charge",
            ),
        },
        beside=_phase_currents, note=_ended,
    ),
    CheckRule(
        name="servo_supply_heat", what="heat in a linear BEC", unit="W", basis=PRACTICE,
        limit_from=f"what a supply sheds without a heat sink; {UNSOURCED}", usual=2.0,
        applies=_linear, state=MOTOR_OFF, cost=Cost.PARTS, value=_servo_heat,
        formula="P = L * (abs(V_0 - V_r) + V_0 - V_r)/2 * I_a",
        own={
            **_SUPPLY,
            "V_0": Symbol("pack voltage", "V", lambda lane: lane.of(_motor_off_v(lane.states)), "full, motor off"),
        },
    ),
    CheckRule(
        name="receiver_supply", what="voltage that receiver and servos get, down to the cutoff", unit="V", least=True,
        basis=PRACTICE, limit_from=f"an empty receiver pack of four nickel cells; {UNSOURCED}", usual=4.4,
        applies=lambda m: m.lanes.radio_a > 0, state=STATED, cost=Cost.PARTS, value=_supplied_v,
        formula="V_r - L * (abs(V_r - N_c * V_c) + V_r - N_c * V_c)/2", note=_supply_note,
        own={
            **_SUPPLY,
            "V_c": Symbol("cutoff of a cell", "V", lambda lane: lane.of(_cutoff_v(lane.states)), GIVEN),
        },
    ),
    CheckRule(
        name="tip_mach", what="helical tip Mach number", basis=PRACTICE,
        limit_from=f"efficiency falls and noise rises steeply beyond it; {UNSOURCED}", usual=0.8,
        state=WORST, cost=Cost.POINT, field=lambda point: np.asarray(point.tip_mach),
        formula=f"M = sqrt((pi * n/60 * {INCH_M} * d)^2 + V^2)/a",
        note=lambda _, value: "noisy from about 0.6" if value > _TIP_REMARK else "",
    ),
    CheckRule(
        name="pitch_speed_ratio", what="static pitch speed over stall speed", least=True, basis=PRACTICE,
        limit_from=f"thrust must last well beyond the stall speed; {UNSOURCED}", usual=2.5,
        state=HALF, cost=Cost.POINT, value=lambda m: m.full(0.5).pitch_speed_m_s / m.stall_m_s,
        formula=f"n/60 * {INCH_M} * p/V_s",
    ),
    CheckRule(
        name="speed_over_stall", what="slowest powered phase over stall speed", least=True, basis=PRACTICE,
        limit_from=f"room for gusts and turns; {UNSOURCED}", usual=PHASE_SPEED_OVER_STALL,
        applies=lambda m: bool(m.flown),
        state=PHASES, cost=Cost.PARTS,
        value=lambda m: np.min([_over_stall(m, flown) for flown in m.flown], axis=0) if m.flown else np.nan,
        formula="V_p/(V_s * sqrt(n_z))",
        own={
            "V_p": Symbol("airspeed of the slowest phase", "m/s", lambda lane: lane.of(_slowest(lane).airspeed), GIVEN),
            "n_z": Symbol("its load factor", "", lambda lane: float(_slowest(lane).phase.load_factor), GIVEN),
        },
        missing=no_words,
    ),
    CheckRule(
        name="level_throttle", what="throttle of the hungriest held airspeed at reserve charge", basis=PRACTICE,
        limit_from=f"something in hand for gusts at the end of the flight; {UNSOURCED}", usual=0.8,
        applies=lambda m: bool(m.held), state=RESERVE, cost=Cost.POINT,
        field=lambda point: np.asarray(point.throttle),
        value=lambda m: np.max([held.point.throttle for held in m.held], axis=0) if m.held else np.nan,
        formula="(V_m + R_c * I)/V_b", note=lambda *_: "duty, not stick position", missing=_throttle_missing,
    ),
    CheckRule(
        name="mass_threshold", what="all-up mass against a legal mass class", unit="g", basis=PRACTICE,
        limit_from="threshold that the brief names", limit_key="mass_threshold_g",
        state=STATED, cost=Cost.PARTS, value=_all_up_g,
        formula="m = m_bare + m_motors + m_controllers + m_supply + m_propellers + m_pack",
        note=lambda *_: "rules differ by country and change: check yours",
    ),
)  # fmt: skip
CHECKS: dict[str, CheckRule] = {rule.name: rule for rule in _RULES}
"""Every check by name, in the order in which a combination is counted as left out."""

PARTS_ALONE = ("cell_count", "servo_supply_voltage", "servo_supply_heat", "receiver_supply")
"""Those that need no aircraft: any power train is judged by them, whatever is asked about it."""


def excluding() -> tuple[str, ...]:
    """Checks that may rule a design out, in their order."""
    return tuple(name for name, rule in CHECKS.items() if rule.may_exclude)


def stages() -> list[tuple[str, ...]]:
    """The same, in groups of one cost."""
    return [tuple(group) for _, group in groupby(excluding(), lambda name: CHECKS[name].cost)]


def by_cost() -> list[tuple[str, ...]]:
    """The same, those of one cost together, cheapest first."""
    each = [tuple(name for name in excluding() if CHECKS[name].cost == cost) for cost in Cost]
    return [names for names in each if names]


def costly() -> tuple[str, ...]:
    """The same that take more than operating points."""
    return tuple(name for name in excluding() if CHECKS[name].cost in (Cost.SEARCH, Cost.FLIGHT))


def full_throttle_loads() -> tuple[str, ...]:
    """The same against a rating, at operating points: what a throttle limit is solved for."""
    return tuple(n for n in excluding() if CHECKS[n].basis == RATING and CHECKS[n].cost in (Cost.REST, Cost.POINT))
