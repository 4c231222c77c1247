"""Take-off run and throw against Anderson's formulas, Lanchester's phugoid and scipy's integration of the paths."""

import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad, solve_ivp
from support.small_aircraft import small_brief, small_catalogue, small_train

from propmatch.aircraft.launch import FLYING_OVER_STALL, takeoff_run_m, thrown
from propmatch.aircraft.polar import AirframeLanes, stall_speed_m_s
from propmatch.brief import Brief, loads_brief
from propmatch.checks.judged import failing, judged_trains
from propmatch.checks.launching import launch_flown
from propmatch.checks.limits import Check, Design, excludes, run_checks
from propmatch.checks.setting import ResolvedBrief
from propmatch.faults import InputFaults
from propmatch.records.brief import dump_brief
from propmatch.records.estimates import completed
from propmatch.records.launch import Launch, usual_throw_m_s
from propmatch.search.matching import match
from propmatch.train.coupling import solve

G = 9.80665
RHO = np.array([1.225])


def frame(mass: float = 0.4, area: float = 0.13, cd0: float = 0.05, k: float = 0.066, cl: float = 1.1) -> AirframeLanes:
    values = {"area_m2": area, "cd0": cd0, "k": k, "cl_max": cl, "installed_thrust": 0.9, "mass_kg": mass}
    return AirframeLanes(**{name: np.array([value]) for name, value in values.items()})


def constant(newtons: float) -> Callable[[object, np.ndarray], np.ndarray]:
    return lambda _, speeds: np.full(speeds.shape, newtons)


def falling(speeds: np.ndarray) -> np.ndarray:
    """Thrust of a small propeller that falls with airspeed [N]."""
    return 3.0 - 0.12 * speeds - 0.004 * speeds**2


# ---------------------------------------------------------------- take-off run


CJ1 = AirframeLanes(
    area_m2=np.array([29.54]), cd0=np.array([0.02]), k=np.array([1 / (math.pi * 0.81 * 8.93)]), cl_max=np.array([1.0]),
    installed_thrust=np.array([1.0]), mass_kg=np.array([19815 * 0.45359237]),
)  # fmt: skip
"""The jet of J. D. Anderson, Introduction to Flight, ch. 6, two engines of 3650 lb each; numbers from memory."""
CP1 = AirframeLanes(
    area_m2=np.array([16.165]), cd0=np.array([0.025]), k=np.array([16.165 / (math.pi * 0.8 * 10.912**2)]),
    cl_max=np.array([1.5]), installed_thrust=np.array([1.0]), mass_kg=np.array([13127.5 / G]),
)  # fmt: skip
"""The light aeroplane of the same chapter; its cl_max from memory."""
JET_N, PROPELLER_N = 2 * 3650 * 4.4482216, 230 * 745.7 * 0.8 / 25.0
"""Thrust of both: the jet's is constant, the propeller's is taken as at 25 m/s, 0.7 of its speed at the end."""


def rolling(airframe: AirframeLanes, friction: float) -> tuple[float, float, float, float, float]:
    """Weight, lift coefficient of the roll, q S over V^2, lift-off speed, and drag coefficient."""
    weight = float(airframe.weight_n[0])
    lift = min(friction / (2 * float(airframe.k[0])), float(airframe.cl_max[0]) / FLYING_OVER_STALL**2)
    end = FLYING_OVER_STALL * float(stall_speed_m_s(airframe, RHO)[0])
    drag = float(airframe.cd0[0] + airframe.k[0] * lift**2)
    return weight, lift, 0.5 * 1.225 * float(airframe.area_m2[0]), end, drag


@pytest.mark.parametrize("friction", [0.02, 0.1])
@pytest.mark.parametrize(("airframe", "thrust"), [(CJ1, JET_N), (CP1, PROPELLER_N)])
def test_the_run_is_andersons_integral_and_near_his_closed_formula(airframe, thrust, friction):
    """s = 1.44 W^2/(g rho S CL_max {T - [D + mu (W - L)] at 0.7 V_LO}): Anderson, Introduction to Flight, ch. 6."""
    weight, lift, qs, end, drag = rolling(airframe, friction)
    found = float(takeoff_run_m(airframe, RHO, constant(thrust), friction)[0])
    # with constant thrust a = A - B V^2: the integral in closed form
    a = G * (thrust / weight - friction)
    b = G * qs * (drag - friction * lift) / weight
    assert found == pytest.approx(math.log(a / (a - b * end**2)) / (2 * b), rel=1e-9)
    at = (0.7 * end) ** 2
    mean = qs * at * drag + friction * (weight - qs * at * lift)
    closed = 1.44 * weight**2 / (G * 1.225 * float(airframe.area_m2[0] * airframe.cl_max[0]) * (thrust - mean))
    assert found == pytest.approx(closed, rel=0.01)


@pytest.mark.parametrize("wind", [0.0, 3.0])
def test_the_run_equals_an_integration_in_time(wind):
    """The same equation of motion by scipy's solve_ivp, friction of short grass, wind down the runway."""
    airframe = frame()
    weight, lift, qs, end, drag = rolling(airframe, 0.1)

    def rate(_, state):
        v = state[0] + wind
        wheels = weight - qs * v**2 * lift
        return [(0.9 * falling(v) - qs * v**2 * drag - 0.1 * wheels) / 0.4, state[0]]

    def flies(_, state):
        return state[0] + wind - end

    flies.terminal = True
    path = solve_ivp(rate, (0, 60), [0.0, 0.0], events=flies, rtol=1e-10, atol=1e-12)
    assert path.status == 1
    found = takeoff_run_m(airframe, RHO, lambda _, v: falling(v), 0.1, wind)
    assert float(found[0]) == pytest.approx(path.y[1, -1], rel=1e-6)


def test_a_run_that_never_ends_has_no_length_and_one_in_a_gale_none():
    assert np.isnan(takeoff_run_m(frame(), RHO, constant(0.3), 0.1)[0])
    assert takeoff_run_m(frame(), RHO, constant(3.0), 0.1, 30.0)[0] == 0.0


thrusts = st.floats(0.5, 6.0)
frictions = st.floats(0.0, 0.5)


def no_longer(short: float, long: float) -> bool:
    """Where the longer one never flies, anything is shorter."""
    return math.isnan(long) or short <= long * (1 + 1e-12)


@given(first=thrusts, second=thrusts, friction=frictions)
def test_more_thrust_never_runs_longer(first, second, friction):
    weak, strong = sorted((first, second))
    runs = [float(takeoff_run_m(frame(), RHO, constant(pull), friction)[0]) for pull in (strong, weak)]
    assert no_longer(*runs)


@given(first=frictions, second=frictions, thrust=thrusts)
def test_more_friction_never_runs_shorter(first, second, thrust):
    smooth, rough = sorted((first, second))
    runs = [float(takeoff_run_m(frame(), RHO, constant(thrust), mu)[0]) for mu in (smooth, rough)]
    assert no_longer(*runs)


@given(first=st.floats(0.2, 1.0), second=st.floats(0.2, 1.0))
def test_a_heavier_aircraft_never_runs_shorter(first, second):
    light, heavy = sorted((first, second))
    runs = [float(takeoff_run_m(frame(mass=mass), RHO, constant(4.0), 0.1)[0]) for mass in (light, heavy)]
    assert no_longer(*runs)


# ---------------------------------------------------------------- throw


@pytest.mark.parametrize("over_stall", [0.2, 0.5, 0.8, 0.95])
def test_without_drag_a_throw_is_lanchesters_phugoid(over_stall):
    """cos(gamma) = v^2/3 + C/v with v over the speed that carries the weight: F. W. Lanchester, Aerodonetics, 1908."""
    airframe = frame(cd0=1e-9, k=1e-9)
    stall = float(stall_speed_m_s(airframe, RHO)[0])
    path = over_stall * (1 - over_stall**2 / 3)
    level = max(root.real for root in np.roots([1 / 3, 0, -1, path]))
    found = thrown(airframe, RHO, constant(1e-6), over_stall * stall)
    assert float(found.height_lost_m[0]) == pytest.approx((level**2 - over_stall**2) * stall**2 / (2 * G), rel=1e-4)
    assert float(found.airspeed_m_s[0]) == pytest.approx(level * stall, rel=1e-3)


@pytest.mark.parametrize("speed", [2.0, 4.0, 6.0])
@pytest.mark.parametrize("pull", [0.6, 1.0])
def test_a_throw_equals_an_integration_of_speed_and_angle(speed, pull):
    """The same forces along and across the path by scipy's solve_ivp."""
    airframe = frame()

    def rate(_, state):
        v, angle, _ = state
        q = 0.5 * 1.225 * v**2 * 0.13
        along = 0.9 * pull * falling(v) - q * (0.05 + 0.066 * 1.1**2)
        return [along / 0.4 - G * np.sin(angle), (q * 1.1 / 0.4 - G * np.cos(angle)) / v, v * np.sin(angle)]

    def level(_, state):
        return state[1]

    level.terminal, level.direction = True, 1
    path = solve_ivp(rate, (0, 20), [speed, -1e-9, 0.0], events=level, rtol=1e-9, atol=1e-11)
    found = thrown(airframe, RHO, lambda _, v: pull * falling(v), speed)
    assert path.status == 1
    assert float(found.height_lost_m[0]) == pytest.approx(-path.y[2, -1], rel=0.005)
    assert float(found.airspeed_m_s[0]) == pytest.approx(path.y[0, -1], rel=0.002)


def test_above_the_stall_a_throw_loses_nothing_and_without_thrust_it_does_not_climb():
    assert thrown(frame(), RHO, constant(2.0), 8.0).height_lost_m[0] == 0.0
    assert np.isnan(thrown(frame(), RHO, constant(0.2), 8.0).height_lost_m[0])
    assert np.isnan(thrown(frame(), RHO, constant(0.2), 4.0).height_lost_m[0])


@given(first=st.floats(1.0, 4.0), second=st.floats(1.0, 4.0), speed=st.floats(1.0, 9.0))
def test_more_thrust_never_loses_more_height(first, second, speed):
    weak, strong = sorted((first, second))
    lost = [float(thrown(frame(), RHO, constant(pull), speed).height_lost_m[0]) for pull in (strong, weak)]
    assert math.isnan(lost[1]) or lost[0] <= lost[1] + 1e-3


@given(first=st.floats(1.0, 9.0), second=st.floats(1.0, 9.0))
def test_a_faster_throw_never_loses_more_height(first, second):
    slow, fast = sorted((first, second))
    lost = [float(thrown(frame(), RHO, constant(2.5), speed).height_lost_m[0]) for speed in (fast, slow)]
    assert lost[0] <= lost[1] + 1e-3


# ---------------------------------------------------------------- in a brief


HAND = '[launch]\nkind = "hand"\n'
RUNWAY = '[launch]\nkind = "runway"\n'


def launched(section: str) -> Brief:
    return small_brief(("[site]", f"{section}[site]"))


def check(brief: Brief, name: str) -> Check:
    design = Design.of(small_train(), ResolvedBrief.of(brief).as_designed.variant)
    return next(each for each in run_checks(design, brief) if each.name == name)


def test_the_run_of_a_train_rests_on_its_own_thrust_at_speed():
    """Operating points of the train integrated by scipy's quad."""
    brief = launched(f"{RUNWAY}rolling_friction = 0.05\nmax_run_m = 50\n")
    setting = ResolvedBrief.of(brief).as_designed
    measured, _ = judged_trains(setting, [small_train()])
    weight, lift, qs, end, drag = rolling(measured.frames, 0.05)
    qs *= float(setting.air.density_kg_m3) / 1.225
    end *= math.sqrt(1.225 / float(setting.air.density_kg_m3))
    share = float(measured.frames.installed_thrust[0])

    def slope(v):
        pull = share * float(solve(small_train(), airspeed_m_s=v, charge=0.5, air=setting.air).thrust_n)
        return v * weight / G / (pull - qs * v**2 * drag - 0.05 * (weight - qs * v**2 * lift))

    run, _ = quad(slope, 0.0, end, epsrel=1e-6)
    found = check(brief, "takeoff_run")
    assert found.value == pytest.approx(run, rel=1e-4)
    assert (found.verdict, found.basis, found.limit) == ("ok", "brief", 50.0)


def test_a_run_longer_than_the_field_and_a_throw_to_the_ground_rule_a_train_out():
    short = check(launched(f"{RUNWAY}max_run_m = 1\n"), "takeoff_run")
    assert excludes(short)
    low = check(launched(f"{HAND}throw_speed_m_s = 1\nheight_m = 0.5\n"), "hand_launch_height")
    assert excludes(low)
    assert "below the stall: loses" in low.note
    assert "on the ground, 0.5 m below the hand" in low.note


def test_what_a_throw_may_lose_is_the_briefs_number_or_the_height_of_the_hand():
    assert check(launched(f"{HAND}max_height_lost_m = 0.8\n"), "hand_launch_height").limit == 0.8
    assert check(launched(f"{HAND}height_m = 2\n"), "hand_launch_height").limit == 2.0
    assumed = check(launched(f"{HAND}throw_speed_m_s = 1\n"), "hand_launch_height")
    assert (assumed.limit, assumed.basis, assumed.excluding) == (1.7, "common practice", False)


def test_without_a_launch_nothing_is_asked():
    brief = small_brief()
    setting = ResolvedBrief.of(brief).as_designed
    measured, _ = judged_trains(setting, [small_train()])
    for name in ("hand_launch_height", "takeoff_run"):
        assert not measured.has_limit(name)
        assert check(brief, name).verdict == "no limit"
    assert launch_flown(measured) is None


@pytest.mark.parametrize("section", [f"{RUNWAY}max_run_m = 4\n", f"{HAND}throw_speed_m_s = 4\nmax_height_lost_m = 1\n"])
def test_the_search_leaves_out_what_the_launch_forbids(section):
    brief = launched(section)
    name = "takeoff_run" if "runway" in section else "hand_launch_height"
    quick, plain = (match(brief, small_catalogue(), exhaustive=way, on_paper=True) for way in (False, True))
    assert [row.id for row in quick.rows] == [row.id for row in plain.rows]
    assert quick.left_out.get(name) == plain.left_out.get(name) > 0
    setting = ResolvedBrief.of(brief).as_designed
    for row in plain.rows:
        assert failing(judged_trains(setting, [row.train])[0]) == [()]


def test_what_a_launch_leaves_out_is_assumed_and_said():
    filled, made = completed(launched(HAND))
    texts = {each.field: each for each in made if each.subject == "launch"}
    assert texts["height_m"].value == 1.7
    assert texts["throw_speed_m_s"].low < filled.launch.throw_speed_m_s < texts["throw_speed_m_s"].high
    assert "common practice" in texts["throw_speed_m_s"].text
    rolls, made = completed(launched(f'{RUNWAY}surface = "tarmac"\n'))
    assert rolls.launch.rolling_friction == 0.02
    assert any("Anderson" in each.text for each in made if each.subject == "launch")
    assert completed(launched(RUNWAY))[0].launch.rolling_friction == 0.10
    assert completed(rolls)[0] == rolls


@given(st.floats(10, 25000), st.floats(10, 25000))
def test_a_heavier_aircraft_is_thrown_no_faster(first, second):
    light, heavy = sorted((first, second))
    assert usual_throw_m_s(heavy) <= usual_throw_m_s(light) < 9.0


def test_a_launch_reads_back():
    brief = launched(f"{HAND}throw_speed_m_s = 6\n")
    assert brief.launch == Launch(kind="hand", throw_speed_m_s=6.0)
    assert loads_brief(dump_brief(brief)) == brief


@pytest.mark.parametrize(
    ("section", "key", "right"),
    [
        (f"{HAND}throw_speed_m_s = 0\n", "launch.throw_speed_m_s", "at least 1 and at most 20 m/s"),
        (f"{HAND}throw_speed_m_s = 100\n", "launch.throw_speed_m_s", "at least 1 and at most 20 m/s"),
        (f"{RUNWAY}rolling_friction = 2\n", "launch.rolling_friction", "at least 0 and at most 0.5"),
        ('[launch]\nkind = "catapult"\n', "launch.kind", "one of hand, runway"),
        ("[launch]\nheight_m = 2\n", "launch.kind", "missing"),
        (f"{RUNWAY}throw_speed_m_s = 6\n", "launch.throw_speed_m_s", 'kind = "hand"'),
        (f"{RUNWAY}max_height_lost_m = 1\n", "launch.max_height_lost_m", 'kind = "hand"'),
        (f"{HAND}max_run_m = 30\n", "launch.max_run_m", 'kind = "runway"'),
        (f'{RUNWAY}surface = "sand"\n', "launch.surface", "tarmac, short grass, long grass"),
        (f'{RUNWAY}surface = "tarmac"\nrolling_friction = 0.1\n', "launch.rolling_friction", "one of the two"),
    ],
)  # fmt: skip
def test_what_is_wrong_with_a_launch_is_said_with_what_would_be_right(section, key, right):
    with pytest.raises(InputFaults) as caught:
        launched(section)
    assert any(fault.key == key and right in str(fault) for fault in caught.value.faults), str(caught.value)
