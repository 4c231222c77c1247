"""Checks of one design: verdicts, margins, what they are taken from."""

import math

import attrs
import pytest
from scipy.integrate import solve_ivp
from support.trains import simple_airframe, simple_propeller, simple_train

from propmatch import Phase, level_flight, solve
from propmatch.aircraft.endurance import flight_time
from propmatch.aircraft.flight import full_throttle
from propmatch.brief import Aircraft, Brief, Limits, Site, Wing
from propmatch.checks.checkrules import CHECKS
from propmatch.checks.limits import Design, closest_limit, excludes, graded, missed, run_checks, verdict_of
from propmatch.models.air import Air
from propmatch.records.fields import replace
from propmatch.records.parts import Pack
from propmatch.records.typed import read_part

FRAME = simple_airframe()
PHASES = (
    Phase(name="climb", throttle=1.0, airspeed_m_s=9.0, seconds=20.0),
    Phase(name="cruise", airspeed_m_s=10.0, share=1.0),
)


def brief_of(**limits):
    return Brief(
        aircraft=Aircraft(name="invented", bare_mass_g=300.0),
        wing=Wing(area_dm2=FRAME.wing_area_dm2, span_mm=FRAME.wing_span_mm, cd0=FRAME.cd0, cl_max=FRAME.cl_max),
        limits=Limits(**{"min_thrust_to_weight": 0.5, "cutoff_cell_v": 3.3, **limits}),
        phase=PHASES,
        site=Site(altitude_m=0.0),
    )


def checks_for(train=None, **limits):
    design = Design(train=simple_train() if train is None else train, airframe=attrs.evolve(FRAME, bare_mass_g=300.0))
    return design, {check.name: check for check in run_checks(design, brief_of(**limits))}


@pytest.mark.parametrize(
    ("value", "limit", "least", "margin", "verdict"),
    [
        (8.0, 10.0, False, 0.2, "ok"),
        (9.0, 10.0, False, 0.1, "close"),
        (10.0, 10.0, False, 0.0, "close"),
        (11.0, 10.0, False, -0.1, "fails"),
        (1.2, 1.0, True, 0.2, "ok"),
        (0.9, 1.0, True, -0.1, "fails"),
        (5.0, math.inf, False, math.inf, "ok"),
        (0.0, 0.0, False, 0.0, "close"),
        (1.0, 0.0, False, -math.inf, "fails"),
    ],
)
def test_margin_is_the_distance_to_the_limit_as_a_share_of_it(value, limit, least, margin, verdict):
    assert verdict_of(value, limit, least=least) == (pytest.approx(margin), verdict)


def test_no_limit_is_said_and_no_answer_fails():
    assert verdict_of(3.0, math.nan)[1] == "no limit"
    assert verdict_of(math.nan, 3.0)[1] == "fails"


def test_every_check_appears_once_in_order():
    _, checks = checks_for()
    assert list(checks) == list(CHECKS)


def test_values_are_those_of_the_models():
    design, checks = checks_for()
    train, air, mass = design.train, Air.standard(), design.all_up_mass_g * 1e-3
    full = solve(train, charge=1.0)
    half = solve(train, charge=0.5)
    moving = [solve(train, charge=1.0, airspeed_m_s=v) for v in (9.0, 10.0)]
    assert checks["all_up_mass"].value == pytest.approx(300.0 + train.mass_g)
    assert checks["motor_current_static"].value == pytest.approx(full.motor_current_a)
    assert checks["motor_current_flight"].value == pytest.approx(max(p.motor_current_a for p in moving))
    points = [full, *moving]
    assert checks["motor_power"].value == pytest.approx(max(p.motor_voltage_v * p.motor_current_a for p in points))
    assert checks["controller_current"].value == pytest.approx(max(p.motor_current_a for p in points))
    assert checks["pack_burst"].value == pytest.approx(max(p.pack_current_a for p in points))
    assert checks["propeller_rpm"].value == pytest.approx(max(p.rpm for p in points))
    assert checks["tip_mach"].value == pytest.approx(max(p.tip_mach for p in points))
    assert checks["thrust_to_weight"].value == pytest.approx(half.thrust_n / (mass * 9.80665))
    assert checks["cell_voltage"].value == pytest.approx(half.cell_voltage_v)
    flown = flight_time(train, design.airframe, mass, PHASES, reserve_charge=0.2, cutoff_cell_v=3.3, air=air)
    assert checks["flight_time"].value == pytest.approx(flown.minutes)
    assert checks["climb"].value == pytest.approx(full_throttle(train, design.airframe, mass, charge=0.5).climb_m_s)


def test_thrust_and_climb_have_fresh_and_reserve_beside_them():
    design, checks = checks_for(min_climb_m_s=1.0)
    mass = design.all_up_mass_g * 1e-3
    fresh, low = (full_throttle(design.train, design.airframe, mass, charge=q).climb_m_s for q in (1.0, 0.2))
    assert f"fresh {fresh:.1f}, at reserve {low:.1f}" in checks["climb"].note
    fresh, low = (solve(design.train, charge=q).thrust_n / (mass * 9.80665) for q in (1.0, 0.2))
    assert f"fresh {fresh:.2f}, at reserve {low:.2f}" in checks["thrust_to_weight"].note


def test_notes_never_print_a_number_that_is_none():
    stuck = simple_train(motor={"no_load_current_a": 49.0, "resistance_ohm": 0.9, "no_load_voltage_v": 80.0})
    _, checks = checks_for(stuck)
    assert "fresh no answer" in checks["thrust_to_weight"].note
    assert not any("nan" in check.note for check in checks.values())


def test_only_failing_against_brief_or_rating_excludes():
    design, checks = checks_for(min_thrust_to_weight=9.0)
    assert excludes(checks["thrust_to_weight"])
    practice = attrs.evolve(checks["thrust_to_weight"], basis="common practice")
    assert not excludes(practice)
    assert not excludes(attrs.evolve(checks["thrust_to_weight"], verdict="close"))
    assert design.all_up_mass_g == pytest.approx(300.0 + design.train.mass_g)


def test_burst_limits_count_where_the_brief_allows_it_and_full_throttle_is_short():
    train = simple_train()

    def limit(seconds, **limits):
        motor = attrs.evolve(train.motor, burst_current_a=25.0, burst_seconds=seconds)
        return checks_for(attrs.evolve(train, motor=motor), **limits)[1]["motor_current_static"]

    assert limit(30.0).limit == train.motor.max_current_a  # full throttle lasts 20 s
    assert "continuous" in limit(30.0).note
    assert limit(30.0, allow_burst=True).limit == 25.0
    assert "burst rating, as the brief allows, for 20 s" in limit(30.0, allow_burst=True).note
    assert limit(10.0, allow_burst=True).limit == train.motor.max_current_a


def test_the_burst_c_of_a_pack_serves_for_ten_seconds_where_the_brief_allows_it():
    pack = attrs.evolve(simple_train().pack, c_rating=20.0, burst_c_rating=50.0, cell_resistance_mohm=0.0)
    train = simple_train(pack=pack)
    capacity = pack.capacity_mah / 1000

    def limit(seconds, allowed):
        design = Design(train=train, airframe=attrs.evolve(FRAME, bare_mass_g=300.0))
        phases = (attrs.evolve(PHASES[0], seconds=seconds), PHASES[1])
        brief = attrs.evolve(brief_of(allow_burst=allowed), phase=phases)
        return {check.name: check for check in run_checks(design, brief)}["pack_burst"].limit

    # half the label; 10 s: common practice, no published source
    assert limit(10.0, False) == pytest.approx(10.0 * capacity)
    assert limit(10.0, True) == pytest.approx(50.0 * capacity)
    assert limit(11.0, True) == pytest.approx(10.0 * capacity)


def test_closest_limit_is_among_what_can_exclude():
    _, checks = checks_for()
    near = closest_limit(list(checks.values()))
    judged = [c for c in checks.values() if c.basis != "common practice" and not math.isnan(c.margin)]
    assert near.margin == min(c.margin for c in judged)
    assert closest_limit([]) is None


# ---------------------------------------------------------------- phases


def mean_motor_current(train, throttle, airspeed, seconds, charge=1.0):
    """Mean motor current of a held throttle, the charge integrated by scipy; and the charge left."""

    def slopes(_, state):
        point = solve(train, airspeed_m_s=airspeed, throttle=throttle, charge=float(state[0]))
        capacity = 3600.0 * train.pack.capacity_mah / 1000
        return [-point.pack_current_a / capacity, point.motor_current_a]

    end = solve_ivp(slopes, (0.0, seconds), [charge, 0.0], rtol=1e-9, atol=1e-9).y[:, -1]
    return end[1] / seconds, end[0]


def checked(train, phases, **limits):
    design = Design(train=train, airframe=attrs.evolve(FRAME, bare_mass_g=300.0))
    brief = attrs.evolve(brief_of(min_thrust_to_weight=0.1, **limits), phase=phases)
    return {check.name: check for check in run_checks(design, brief)}


LONG = (Phase(name="full", throttle=1.0, airspeed_m_s=9.0, seconds=10.0),
        Phase(name="ninety", throttle=0.90, airspeed_m_s=9.0, seconds=60.0),
        Phase(name="cruise", airspeed_m_s=10.0, share=1.0))  # fmt: skip


def test_the_mean_motor_current_of_a_phase_is_that_of_an_integration() -> None:
    train = simple_train(controller={"part_throttle_loss": 0.2})
    first, charge = mean_motor_current(train, 1.0, 9.0, 10.0)
    second, _ = mean_motor_current(train, 0.9, 9.0, 60.0, charge)
    alone = (LONG[1], LONG[2])
    # interpolation between five operating points: 1e-4
    assert checked(train, LONG)["motor_current_phase"].value == pytest.approx(first, rel=3e-4)
    flown = flight_time(train, FRAME, 0.4, LONG, reserve_charge=0.2, cutoff_cell_v=3.0)
    assert flown.phases[1].name == "ninety"
    only = checked(train, alone)["motor_current_phase"]
    assert only.value == pytest.approx(mean_motor_current(train, 0.9, 9.0, 60.0)[0], rel=3e-4)
    assert second < only.value < first


def test_a_held_thrust_has_one_motor_current_whatever_the_charge() -> None:
    train = simple_train(controller={"part_throttle_loss": 0.2})
    held = checked(train, (Phase(name="cruise", airspeed_m_s=10.0, share=1.0),))["motor_current_phase"]
    mass = (300.0 + train.mass_g) * 1e-3
    for charge in (1.0, 0.4):
        point = level_flight(train, attrs.evolve(FRAME, bare_mass_g=300.0), mass, 10.0, charge=charge)
        assert held.value == pytest.approx(point.motor_current_a, rel=1e-9)


def test_a_long_phase_is_held_against_the_continuous_rating_even_where_bursts_are_allowed() -> None:
    weak = {"max_current_a": 5.0, "burst_current_a": 20.0, "burst_seconds": 15.0}
    train = simple_train(motor=weak)
    short, long = LONG[:1] + LONG[2:], LONG
    names = ("motor_current_static", "motor_current_flight", "motor_current_phase")
    closed = checked(train, short)
    assert {name for name in names if excludes(closed[name])} == set(names)
    allowed = checked(train, short, allow_burst=True)
    assert not [name for name in names if excludes(allowed[name])]
    assert "burst rating, as the brief allows" in allowed["motor_current_static"].note
    assert "burst ratings, as the brief allows, for 'full'" in allowed["motor_current_phase"].note
    both = checked(train, long, allow_burst=True)
    assert [name for name in names if excludes(both[name])] == ["motor_current_phase"]
    # two loads on end count as one: 10 s and 6 s are longer than 15 s
    on_end = (LONG[0], attrs.evolve(LONG[1], seconds=6.0), LONG[2])
    assert excludes(checked(train, on_end, allow_burst=True)["motor_current_phase"])
    apart = (LONG[0], attrs.evolve(LONG[1], throttle=0.0, seconds=6.0), LONG[2])
    assert not excludes(checked(train, apart, allow_burst=True)["motor_current_phase"])


def test_a_phase_that_takes_no_time_leaves_the_others_judged() -> None:
    landing = Phase(name="long landing", airspeed_m_s=8.0, seconds=7200.0)
    checks = checked(simple_train(), (*PHASES, landing))
    for name in ("motor_current_phase", "pack_sustained"):
        assert math.isfinite(checks[name].value)
        assert checks[name].value == pytest.approx(checked(simple_train(), (PHASES[0], landing))[name].value, rel=0.05)


# ---------------------------------------------------------------- where limits come from


def test_an_estimated_rating_is_taken_at_the_cells_flown_and_excludes_unless_it_only_warns() -> None:
    train = simple_train(motor={"max_current_a": None, "max_power_w": 67.0, "cells_max": 3})
    two = attrs.evolve(train, pack=attrs.evolve(train.pack, cells_series=2))
    _, checks = checks_for(two)
    assert checks["motor_current_static"].limit == pytest.approx(67.0 / 7.4)  # 3.7 V a cell
    assert checks["motor_current_static"].basis == "estimated rating"
    assert checks["motor_power"].basis == "part rating"
    weak = attrs.evolve(two, motor=attrs.evolve(two.motor, max_power_w=10.0))
    assert excludes(checks_for(weak)[1]["motor_current_static"])
    warned = checks_for(weak, estimated_ratings="warn")[1]
    assert warned["motor_current_static"].verdict == "fails"
    assert not excludes(warned["motor_current_static"])
    assert excludes(warned["motor_power"]), "a stated rating excludes all the same"
    low = attrs.evolve(weak, controller=attrs.evolve(weak.controller, max_current_a=1.0))
    assert excludes(checks_for(low, estimated_ratings="warn")[1]["motor_current_phase"])
    guessed = attrs.evolve(low.controller, max_current_a=0.5, max_current_estimated=True)
    rated = attrs.evolve(low, motor=attrs.evolve(low.motor, max_current_a=1.0), controller=guessed)
    held = checks_for(rated, estimated_ratings="warn")[1]["motor_current_phase"]
    assert excludes(held), "a phase beyond the motor's stated rating, whatever is guessed of the controller"
    assert held.limit == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("motor_a", "controller_a", "guessed", "estimated"),
    [
        (20.0, 40.0, ("motor",), True), (20.0, 40.0, ("controller",), False), (20.0, 40.0, (), False),
        (40.0, 20.0, ("motor",), False), (40.0, 20.0, ("controller",), True), (30.0, 30.0, ("motor",), False),
        (30.0, 30.0, ("controller",), False), (30.0, 30.0, ("motor", "controller"), True),
    ],
)  # fmt: skip
def test_a_limit_of_two_ratings_is_a_guess_where_the_lesser_of_them_is_one(motor_a, controller_a, guessed, estimated):
    """A phase is held against motor and controller; of two alike the one that is no guess counts.

    A motor without a current rating is taken at its power over 3.7 V a cell, 7.4 V here.
    """
    of_power = {"max_current_a": None, "max_power_w": 7.4 * motor_a}
    train = simple_train(
        motor=of_power if "motor" in guessed else {"max_current_a": motor_a},
        controller={"max_current_a": controller_a, "max_current_estimated": "controller" in guessed},
    )
    check = checks_for(train)[1]["motor_current_phase"]
    assert check.limit == pytest.approx(min(motor_a, controller_a))
    assert check.basis == ("estimated rating" if estimated else "part rating")


@pytest.mark.parametrize("guess", [False, True])
def test_what_a_pack_bears_is_a_guess_where_its_c_rating_is_one(guess):
    train = simple_train()
    train = attrs.evolve(train, pack=attrs.evolve(train.pack, c_rating_estimated=guess))
    check = checks_for(train)[1]["pack_sustained"]
    assert check.basis == ("estimated rating" if guess else "part rating")


@pytest.mark.parametrize("bursting", ["motor", "controller"])
def test_a_burst_rating_of_one_of_the_two_is_named_in_the_phase_it_serves(bursting):
    weak = {"max_current_a": 5.0, "burst_current_a": 60.0, "burst_seconds": 15.0}
    strong = {"max_current_a": 60.0}
    train = simple_train(**{part: weak if part == bursting else strong for part in ("motor", "controller")})
    phase = checked(train, LONG[:1] + LONG[2:], allow_burst=True)["motor_current_phase"]
    assert not excludes(phase)
    assert "burst ratings, as the brief allows, for 'full'" in phase.note


def test_a_propeller_over_its_speed_is_named_before_all_others() -> None:
    fast = simple_train(propeller=simple_propeller(max_rpm=5000.0))
    design = Design(train=fast, airframe=attrs.evolve(FRAME, bare_mass_g=300.0))
    checks = run_checks(design, brief_of(min_thrust_to_weight=9.0, max_propeller_diameter_in=1.0))
    assert missed(checks)[0].name == "propeller_rpm"
    assert len(missed(checks)) == 3
    family = simple_train(propeller=attrs.evolve(simple_propeller(), max_rpm=None, family="broad", diameter_in=20.0))
    assert checks_for(family)[1]["propeller_rpm"].basis == "estimated rating"


def test_a_family_that_nobody_stated_leaves_the_speed_unknown_and_asks() -> None:
    unknown = simple_train(propeller=attrs.evolve(simple_propeller(), max_rpm=None, family=None))
    check = checks_for(unknown)[1]["propeller_rpm"]
    assert check.verdict == "unknown"
    assert not excludes(check)
    assert "which family is it" in check.note
    assert "max_rpm" in check.note


def test_a_linear_supply_cannot_step_up() -> None:
    linear = simple_train(controller={"servo_supply": "linear"})
    for cells, out in ((1, True), (2, False)):
        _, checks = checks_for(attrs.evolve(linear, pack=attrs.evolve(linear.pack, cells_series=cells)))
        assert excludes(checks["servo_supply_voltage"]) is out  # 4.2 V full is below 5 V
    assert "cannot step up" in checks["servo_supply_voltage"].note
    on_or_off = {"servo_supply_voltage", "cell_count"}
    assert not on_or_off & {check.name for check in graded(checks.values())}, "on or off, never near"
    _, none = checks_for()
    assert none["servo_supply_voltage"].verdict == "no limit"


def test_a_linear_supply_sheds_what_the_pack_has_above_it() -> None:
    """(8.4 V - (2 x 14 + 6) mohm x 1.5 A - 5 V) x 1.5 A, by hand."""
    train = attrs.evolve(simple_train(controller={"servo_supply": "linear"}), radio_current_a=1.5)
    assert checks_for(train)[1]["servo_supply_heat"].value == pytest.approx((8.4 - 0.034 * 1.5 - 5.0) * 1.5, rel=1e-9)


def test_a_check_says_whose_current_it_is_where_there_are_two_motors() -> None:
    one, two = (checks_for(attrs.evolve(simple_train(), count=n))[1]["motor_current_static"].note for n in (1, 2))
    assert "each of 2 motors" in two
    assert "motors" not in one


def test_thrust_to_weight_counts_what_the_airframe_takes() -> None:
    design, checks = checks_for()
    less = Design(train=design.train, airframe=attrs.evolve(design.airframe, installed_thrust=0.9))
    found = {check.name: check for check in run_checks(less, brief_of())}
    assert found["thrust_to_weight"].value == pytest.approx(0.9 * checks["thrust_to_weight"].value)


def test_an_assumed_limit_of_the_brief_is_said() -> None:
    _, stated = checks_for()
    assert [name for name, check in stated.items() if check.assumed] == []
    _, checks = checks_for(min_thrust_to_weight=None, cutoff_cell_v=None)
    assert {name for name, check in checks.items() if check.assumed} == {"thrust_to_weight", "cell_voltage"}
    assert checks["thrust_to_weight"].limit_source == "assumed"
    assert checks["thrust_to_weight"].basis == "brief"
    assert excludes(attrs.evolve(checks["thrust_to_weight"], verdict="fails"))


@pytest.mark.parametrize(
    ("asked", "parts", "limit"),
    [((), None, math.nan), ((), 3, 3.0), ((2, 3), None, 3.0), ((2, 3), 2, 2.0), ((3,), None, 0.0), ((1,), 3, 1.0),
     ((1, 3), None, 1.0)],
)  # fmt: skip
def test_cell_counts_of_brief_and_parts_are_one_limit(asked, parts, limit):
    """On two cells: the most that both allow; 0 where two are too few, the next lower where two were left out."""
    train = simple_train(motor={"cells_max": parts})
    _, checks = checks_for(train, cells=asked)
    check = checks["cell_count"]
    assert check.value == 2.0
    assert check.limit == pytest.approx(limit, nan_ok=True)
    assert excludes(check) == (limit < 2)


def test_a_rating_that_nobody_printed_is_called_estimated() -> None:
    typed = read_part(Pack, "2S 300mAh 28g", "here").part
    _, checks = checks_for(train=replace(simple_train(), pack=typed))
    assert {checks[name].basis for name in ("pack_burst", "pack_sustained")} == {"estimated rating"}
    _, stated = checks_for(train=replace(simple_train(), pack=replace(typed, c_rating_estimated=False)))
    assert {stated[name].basis for name in ("pack_burst", "pack_sustained")} == {"part rating"}
