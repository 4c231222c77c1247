"""Cell counts compared: packs by arithmetic, values by the single-design functions, ways out that really are ways out.

Pack arithmetic is that of the words: energy is capacity x cells (nominal cell voltage alike). Everything else is a
second path through ``solve``, ``level_flight``, ``flight_time`` and ``run_checks`` on parts, not lanes.
"""

import math

import numpy as np
import pytest
from support.small_aircraft import lawful_pack, small_brief, small_catalogue, small_train
from support.trains import simple_controller, simple_motor

from propmatch.aircraft.endurance import flight_time
from propmatch.aircraft.flight import full_throttle, level_flight
from propmatch.checks.chances import sureness
from propmatch.checks.judged import judged_trains
from propmatch.checks.limits import Design, excludes, run_checks
from propmatch.checks.measures import settings
from propmatch.checks.placing import placing
from propmatch.coupling import solve
from propmatch.faults import InputFaults, Unmet
from propmatch.questions.cells import BASES, compare_cells, compared_packs
from propmatch.records.fields import replace
from propmatch.records.packfit import PackFit
from propmatch.search.matching import match


@pytest.fixture(scope="module")
def catalogue():
    return small_catalogue()


@pytest.fixture(scope="module")
def comparison(catalogue):
    return compare_cells(small_brief(), catalogue, train=small_train())


def test_the_fit_recovers_the_law_of_the_packs(catalogue):
    fit = PackFit.of(catalogue.packs)
    assert (fit.factor, fit.capacity_power, fit.cells_power) == pytest.approx((30.0, 0.9, 0.95), rel=1e-9)
    assert fit.spread == pytest.approx(0.0, abs=1e-9)
    assert fit.packs == 16


def test_the_fit_agrees_with_scipy_on_packs_off_the_law():
    from scipy.optimize import least_squares

    rng = np.random.default_rng(3)
    packs = [lawful_pack(s, mah, mass_g=30 * mah / 1000 * s * float(np.exp(rng.normal(0, 0.1))))
             for s in (2, 3) for mah in (300, 700, 1500)]  # fmt: skip
    fit = PackFit.of(packs)
    x = np.log([[p.capacity_mah / 1000, p.cells_series] for p in packs])
    y = np.log([p.mass_g for p in packs])
    best = least_squares(lambda b: b[0] + x @ b[1:] - y, [3.0, 1.0, 1.0]).x
    assert [math.log(fit.factor), fit.capacity_power, fit.cells_power] == pytest.approx(best, rel=1e-5)


@pytest.mark.parametrize("packs", [[], [lawful_pack(2, 850.0)]])
def test_too_few_packs_mean_proportion(packs):
    fit = PackFit.of(packs)
    base = lawful_pack(2, 850.0)
    assert fit.mass_like_g(base, 3, 1700.0) == pytest.approx(base.mass_g * 3)
    assert "proportion" in fit.text


def test_packs_of_the_same_energy_mass_and_capacity(catalogue):
    base = lawful_pack(2, 850.0)
    fit = PackFit.of(catalogue.packs)
    found = compared_packs(base, (2, 3), [], fit)
    assert found["same energy", 2].pack is base
    assert found["same energy", 3].pack.capacity_mah == pytest.approx(850.0 * 2 / 3)
    assert found["same capacity", 3].pack.capacity_mah == 850.0
    assert found["same mass", 3].pack.mass_g == base.mass_g
    # 30 (x)^0.9 3^0.95 = 30 (0.85)^0.9 2^0.95
    assert found["same mass", 3].pack.capacity_mah == pytest.approx(850.0 * (2 / 3) ** (0.95 / 0.9))
    assert {each.origin for key, each in found.items() if key[1] == 3} == {"scaled"}
    assert found["same capacity", 3].pack.cell_resistance_mohm == pytest.approx(base.cell_resistance_mohm)
    assert found["same energy", 3].pack.cell_resistance_mohm == pytest.approx(base.cell_resistance_mohm * 1.5)


def test_round_cells_come_in_whole_strings():
    base = lawful_pack(3, 6000.0, chemistry="liion", cells_parallel=2, mass_g=300.0, cell_resistance_mohm=20.0)
    fit = PackFit.of([base], "liion")
    found = compared_packs(base, (2, 3), [], fit)
    for basis, strings in (("same energy", 3), ("same mass", 3), ("same capacity", 2)):
        pack = found[basis, 2].pack
        assert (pack.cells_series, pack.cells_parallel, pack.capacity_mah) == (2, strings, 3000.0 * strings), basis
        assert pack.mass_g == pytest.approx(300.0 / 6 * 2 * strings)
        assert pack.cell_resistance_mohm == 20.0
    assert fit.sizes_mah(base, 50.0, 10_000.0, 48) == pytest.approx([3000.0, 6000.0, 9000.0])
    assert fit.scaled(base, cells=3, capacity_mah=100.0).cells_parallel == 1
    assert "whole" in fit.text
    assert PackFit.of([], "nimh").mass_g(1, 1000.0) == pytest.approx(1.2 * 13.0)


def test_a_close_catalogue_pack_is_taken_and_a_far_one_is_named(catalogue):
    base = lawful_pack(2, 850.0)
    found = compared_packs(base, (3,), list(catalogue.packs.values()), PackFit.of(catalogue.packs))
    near = found["same energy", 3]
    assert (near.origin, near.pack.name) == ("catalogue", "3S 600")
    assert near.nearest_pack_off == pytest.approx(600 * 3 / (850 * 2) - 1)
    far = compared_packs(lawful_pack(2, 3000.0), (3,), list(catalogue.packs.values()), PackFit.of(catalogue.packs))
    assert far["same capacity", 3].origin == "scaled"
    assert far["same capacity", 3].nearest_pack.name == "3S 1300"
    assert far["same capacity", 3].nearest_pack_off == pytest.approx(1300 / 3000 - 1)


def test_every_case_is_what_the_functions_for_one_design_say(comparison):
    setting = settings(comparison.brief)[0]
    for count in (2, 3):
        case = comparison.case(count, compared_by="same capacity")
        mass = (265 + case.train.mass_g) / 1000
        fresh = solve(case.train, air=setting.air)
        half = solve(case.train, charge=0.5, air=setting.air)
        assert case.all_up_mass_g == pytest.approx(1000 * mass)
        assert case.thrust_static_n == pytest.approx(fresh.thrust_n, rel=1e-9)
        assert case.motor_current_static_a == pytest.approx(fresh.motor_current_a, rel=1e-9)
        assert case.pack_power_static_w == pytest.approx(fresh.pack_voltage_v * fresh.pack_current_a, rel=1e-9)
        assert case.thrust_to_weight == pytest.approx(half.thrust_n / (mass * 9.80665), rel=1e-9)
        level = level_flight(case.train, setting.variant.airframe, mass, 11.0, charge=0.5, air=setting.air)
        assert case.level_throttle == pytest.approx(level.throttle, rel=1e-9)
        assert case.level_airspeed_m_s == 11.0
        top = full_throttle(case.train, setting.variant.airframe, mass, charge=0.5, air=setting.air)
        assert case.top_speed_m_s == pytest.approx(top.top_speed_m_s, rel=1e-9)
        flown = flight_time(case.train, setting.variant.airframe, mass, setting.phases, air=setting.air)
        assert case.flight_minutes == pytest.approx(flown.minutes, rel=1e-9)
        checks = run_checks(Design.of(case.train, setting.variant), comparison.brief)
        assert [(c.name, c.verdict) for c in case.checks] == [(c.name, c.verdict) for c in checks]
        assert [c.value for c in case.checks] == pytest.approx([c.value for c in checks], rel=1e-9, nan_ok=True)


def test_three_cells_raise_what_everybody_knows_they_raise(comparison):
    two, three = (comparison.case(count, compared_by="same capacity") for count in (2, 3))
    for name in (
        "thrust_static_n",
        "rpm_static",
        "motor_current_static_a",
        "pack_current_static_a",
        "heat_static_w",
        "climb_m_s",
        "top_speed_m_s",
    ):
        assert getattr(three, name) > getattr(two, name), name
    assert three.level_throttle < two.level_throttle
    assert three.full_throttle_minutes < two.full_throttle_minutes


def test_heat_of_a_linear_servo_supply_by_hand(catalogue):
    # (3 x 4.20 V - 0.5 A x R_pack - 5 V) x 0.5 A, R_pack = 3 x 12/0.85 mohm + 6 mohm leads
    linear = simple_controller(servo_supply="linear")
    found = compare_cells(small_brief(), catalogue, train=small_train(controller=linear, radio_current_a=0.5))
    case = found.case(3, compared_by="same capacity")
    ohm = 1e-3 * (3 * 12 / 0.85 + 6)
    assert case.servo_supply_heat_w == pytest.approx((3 * 4.2 - 0.5 * ohm - 5.0) * 0.5, rel=2e-3)
    assert case.check("servo_supply_heat").verdict == "fails"
    assert "servo_supply_heat" in {check.name for check in case.outside_practice}


def limited_case(catalogue, *edits, **motor):
    """Three cells on a motor that may carry 8 A, a propeller that may turn at any speed: the comparison, the case."""
    train = small_train(motor={"max_current_a": 8.0} | motor, propeller={"max_rpm": 60000.0})
    found = compare_cells(small_brief(*edits), catalogue, train=train)
    return found, found.case(3)


def test_the_throttle_limit_keeps_the_current_below_and_is_the_largest(catalogue):
    found, case = limited_case(catalogue)
    air = settings(found.brief)[0].air
    assert 0 < case.throttle_limit < 1
    assert case.limited.motor_limit_a == 8.0
    worst = [solve(case.train, throttle=case.throttle_limit, airspeed_m_s=v, air=air) for v in (0.0, 11.0)]
    assert max(point.motor_current_a for point in worst) == pytest.approx(case.limited.motor_current_a, rel=1e-9)
    assert case.limited.motor_current_a <= 8.0
    assert worst[0].pack_current_a == pytest.approx(case.limited.pack_current_a, rel=1e-9)
    assert worst[0].thrust_n == pytest.approx(case.limited.thrust_n, rel=1e-9)
    beyond = [solve(case.train, throttle=case.throttle_limit + 1e-4, airspeed_m_s=v, air=air) for v in (0.0, 11.0)]
    assert max(point.motor_current_a for point in beyond) > 8.0


def test_every_check_at_the_limit_is_made_again(catalogue):
    """The flight with each phase's throttle lowered by hand, and half charge at the limit, give the same numbers."""
    found, case = limited_case(catalogue)
    setting = settings(found.brief)[0]
    mass = case.all_up_mass_g / 1e3
    lowered = [replace(p, throttle=min(p.throttle, case.throttle_limit)) if p.throttle else p for p in setting.phases]
    flown = flight_time(
        case.train, setting.variant.airframe, mass, lowered, reserve_charge=setting.reserve_charge,
        cutoff_cell_v=setting.cutoff_cell_v, air=setting.air,
    )  # fmt: skip
    assert case.limited.flight_minutes == pytest.approx(flown.minutes, rel=1e-9)
    assert flown.phases[1].throttle_to < case.throttle_limit  # the cruise is held below the limit
    half = solve(case.train, throttle=case.throttle_limit, charge=0.5, air=setting.air)
    weight = mass * 9.80665
    assert case.limited.thrust_to_weight == pytest.approx(half.thrust_n / weight, rel=1e-9)
    speeds = np.linspace(4.0, 40.0, 2000)
    points = solve(case.train, throttle=case.throttle_limit, charge=0.5, airspeed_m_s=speeds, air=setting.air)
    level = level_flight(case.train, setting.variant.airframe, mass, speeds, charge=0.5, air=setting.air)
    excess = points.thrust_n - level.thrust_n
    assert case.limited.top_speed_m_s == pytest.approx(np.max(speeds[excess > 0]), abs=0.03)
    assert case.limited.climb_m_s < case.climb_m_s


def test_what_the_limit_cures_leaves_and_costs(catalogue):
    """Three cells give enough current for anything; 8 A of it do not lift 1.2 times the weight, nor hold 19 m/s."""
    _, plain = limited_case(catalogue)
    assert {check.name for check in plain.failing} == set(plain.limited.cures) >= {"motor_current_static"}
    assert (plain.limited.leaves, plain.limited.costs) == ((), ())
    _, weak = limited_case(catalogue, ("min_thrust_to_weight = 0.5", "min_thrust_to_weight = 1.2"))
    assert "thrust_to_weight" in weak.limited.costs
    _, long = limited_case(catalogue, ("min_flight_minutes = 6", "min_flight_minutes = 60"))
    assert "flight_time" in long.limited.leaves
    _, fast = limited_case(catalogue, ("airspeed_m_s = 11", "airspeed_m_s = 19"))
    assert {"flight_time", "level_throttle"} <= set(fast.limited.costs)
    assert fast.limited.flight_minutes == pytest.approx(20 / 60)  # the climb out alone


def test_the_limit_counts_what_the_pack_and_the_propeller_may_bear(catalogue):
    for changes, name in (
        ({"pack": lawful_pack(3, 850.0, c_rating=5.0), "propeller": {"max_rpm": 60000.0}}, "pack_burst"),
        ({"propeller": {"max_rpm": 9000.0}}, "propeller_rpm"),
    ):
        train = small_train(**changes)
        case = compare_cells(small_brief(), catalogue, train=train, cells=(3,)).case(3)
        assert case.throttle_limit < 1
        measured = judged_trains(settings(small_brief())[0], [case.train])[0]
        for share, over in ((1.0, False), (1.001, True)):
            load = measured.limited(share * np.array([case.throttle_limit]))[name]
            assert bool(load.value[0] > load.limit[0]) is over


def test_no_limit_where_full_throttle_stays_below_the_ratings(catalogue):
    found = compare_cells(small_brief(), catalogue, train=small_train(propeller={"max_rpm": 60000.0}))
    case = found.case(2)
    assert case.throttle_limit == 1.0
    assert case.limited.cures == case.limited.leaves == case.limited.costs == ()
    assert case.limited.flight_minutes == pytest.approx(case.flight_minutes)


def test_remedies_pass_every_check_on_their_own(comparison):
    found = comparison.remedies[3]
    assert found.failing
    assert found.first is not None
    variant = settings(comparison.brief)[0].variant
    for remedy in (*found.propellers, *found.motors, *found.controllers, *found.pairs):
        checks = run_checks(Design.of(remedy.train, variant), comparison.brief)
        assert not [check.name for check in checks if excludes(check)], remedy.changes
    for remedy in found.propellers:
        assert remedy.train.propeller.diameter_in <= 7
        assert remedy.train.propeller.pitch_in <= 5
    assert all(remedy.train.motor.kv_rpm_per_v < 1400 for remedy in found.motors)


def test_two_parts_are_changed_when_one_does_not_do(catalogue):
    # three cells are one too many for motor and controller both; a second motor and controller allow them
    few = {"cells_max": 2}
    strong = simple_motor(name="strong", kv_rpm_per_v=1000.0, resistance_ohm=0.2, cells_max=3, max_current_a=20.0)
    large = simple_controller(name="large", max_current_a=25.0, cells_max=3)
    from propmatch.catalogue.catalogue import Catalogue

    stock = Catalogue.of(motors=[strong], controllers=[large], packs=list(catalogue.packs.values()),
                         propellers=list(catalogue.propellers.values()))  # fmt: skip
    found = compare_cells(small_brief(), stock, train=small_train(motor=few, controller=few))
    remedies = found.remedies[3]
    assert "cell_count" in remedies.failing
    assert (remedies.propellers, remedies.motors, remedies.controllers) == ((), (), ())
    assert remedies.pairs
    assert {tuple(each.changes) for each in remedies.pairs} == {("motor", "controller")}


@pytest.mark.parametrize("cells", [(1, 2), (4, 3, 2), (1, 2, 3, 4, 5, 6), (5,)])
def test_any_list_of_counts(catalogue, cells):
    found = compare_cells(small_brief(), catalogue, cells=cells, train=small_train())
    assert found.cells == tuple(sorted(cells))
    assert len(found.cases) == len(cells) * len(BASES) * 2
    assert found.variants == ("as designed", "heavy")


@pytest.mark.parametrize("cells", [(), (0, 2), (2, 2), (2, 7), (2.5,), (True, 2)])
def test_bad_counts(catalogue, cells):
    with pytest.raises(InputFaults, match="cell counts of 1 to 6"):
        compare_cells(small_brief(), catalogue, cells=cells, train=small_train())


def test_without_a_train_the_best_of_all_is_taken_whatever_counts_are_compared(catalogue):
    narrow = small_brief(("[site]", '[parts]\nmotor = ["kv1400", "kv1100"]\ncontroller = ["20A"]\n[site]'))
    best = match(narrow, catalogue).best.train
    for counts in ((2, 3), (3,), (1, 2)):
        assert compare_cells(narrow, catalogue, cells=counts).train == best
    impossible = small_brief(("min_flight_minutes = 6", "min_flight_minutes = 600"),
                             ("[site]", '[parts]\nmotor = ["kv1400"]\ncontroller = ["20A"]\n[site]'))  # fmt: skip
    with pytest.raises(Unmet, match="no power train of the catalogue meets the brief"):
        compare_cells(impossible, catalogue)


def test_the_shift_of_the_centre_of_gravity_digit_by_digit():
    """Base 265 g at 240, motor 28 at 10, propeller 6 at 0, controller 12 at 80: 311 g; moment 63 600 + 280 + 960.

    311 g at 64 840/311 = 208.48875 mm. A 50 g pack: (200 x 361 - 64 840)/50 = 147.2 mm. A 75 g pack left there:
    cg = (64 840 + 75 x 147.2)/386 = 196.58031 mm, which is 3.41969 mm forward of 200; it belongs at
    (200 x 386 - 64 840)/75 = 164.8 mm.
    """
    setting = settings(small_brief())[0]
    light, heavy = (small_train(pack=lawful_pack(2, 850.0, mass_g=mass)) for mass in (50.0, 75.0))
    found = placing(setting, [light, heavy], ["light", "heavy"])
    assert found.places.base_mass_g == pytest.approx([311.0, 311.0])
    assert found.places.wanted_mm == pytest.approx([147.2, 164.8])
    assert found.left_there_mm == pytest.approx([0.0, -3.41969], abs=1e-5)
    assert "moves 3.4 mm forward" in " ".join(found.readings(show=str))


def test_the_moment_of_the_thrust_line_digit_by_digit(comparison):
    """M = -T z with z = 30 mm above the centre of gravity, no tilt: nose-down, in proportion to thrust."""
    found = comparison.placing["same energy"]
    air = settings(comparison.brief)[0].air
    for at, count in enumerate((2, 3)):
        thrust = solve(comparison.case(count).train, airspeed_m_s=11.0, air=air).thrust_n
        assert found.trim.trim.thrust_n[at, 2, 0] == pytest.approx(thrust, rel=1e-9)
        assert found.trim.trim.thrust_moment_nm[at, 2, 0] == pytest.approx(-0.030 * thrust, rel=1e-9)
    assert found.trim.more_up_deg[1, 2, 0] > found.trim.more_up_deg[0, 2, 0] > 0


@pytest.mark.parametrize(
    ("cut", "missing"), [("[thrust_line]", "thrust_line"), ("[tail]", "tail"), ("[balance]", "balance")]
)
def test_what_the_brief_lacks_is_said(cut, missing):
    from support.small_aircraft import BRIEF

    from propmatch.brief import loads_brief

    setting = settings(loads_brief(BRIEF.split(cut)[0]))[0]
    found = placing(setting, [small_train()], ["2S"])
    assert f"no [{missing}]" in found.missing
    assert found.readings(show=str)[-1] == found.missing


def test_two_motors_a_gear_and_parallel_cells_go_through(catalogue):
    geared = simple_motor(kv_rpm_per_v=2800.0, gear_ratio=2.0, gear_efficiency=0.95, resistance_ohm=0.06)
    pack = lawful_pack(2, 1700.0, cells_parallel=2)
    beside = ("height_mm = 30\n", "height_mm = 30\nside_mm = 150\n")
    brief = small_brief(('name = "test bird"', 'name = "test bird"\nmotor_count = 2'), ("460", "700"), beside)
    train = replace(small_train(motor=geared, pack=pack), count=2, radio_current_a=0.6)
    found = compare_cells(brief, catalogue, train=train)
    case = found.case(2)
    assert case.motor_rpm_static == pytest.approx(2 * case.rpm_static)
    assert case.pack_current_static_a == pytest.approx(2 * case.motor_current_static_a + 0.6)
    assert case.all_up_mass_g == pytest.approx(265 + 2 * (28 + 12 + 6) + pack.mass_g)
    one = solve(replace(train, count=1, radio_current_a=0.6), air=settings(brief)[0].air)
    assert 1.5 * one.thrust_n < case.thrust_static_n < 2 * one.thrust_n
    scaled = found.packs["same capacity", 3]
    assert scaled.pack.cells_parallel == 2 or scaled.origin == "catalogue"


def test_every_case_has_the_intervals_and_chances_of_its_own_train(comparison):
    """As the draws of each train by itself have them; percentiles by numpy."""
    for setting in settings(comparison.brief):
        for count in (2, 3):
            case = comparison.case(count, compared_by="same capacity", variant=setting.variant.name)
            alone = sureness(setting, case.train)
            minutes = alone.measured["flight_time"].value
            low, high = np.nanpercentile(minutes, [10, 90])
            if np.isfinite(minutes).all():
                assert case.ends["flight_minutes_low"] == pytest.approx(low, rel=1e-9)
                assert case.ends["flight_minutes_high"] == pytest.approx(high, rel=1e-9)
            static = np.percentile(alone.measured.full(1.0).pack_current_a, [10, 90])
            ends = [case.ends[f"pack_current_static_a_{end}"] for end in ("low", "high")]
            assert ends == pytest.approx(static, rel=1e-9)
            assert ends[0] < case.pack_current_static_a < ends[1]
            assert case.sure.chance_all_limits == alone.chance_all_limits
            assert case.row["chance_by_check"] == alone.chance_by_check
            assert all(c.chance == pytest.approx(alone.judgement(c.name)[1], nan_ok=True)
                       for c in case.checks if c.verdict not in ("no limit", "unknown"))  # fmt: skip
