"""Questions asked backwards, against the closed-form operating point solved by scipy's brentq.

Closed form (constant coefficients, stiff source, no controller loss): w = (-K + sqrt(K^2 + 4 r (kQ/K) (E - r I0)))/
(2 r kQ/K), I = kQ w^2/K + I0, kQ = CP rho D^5/(2 pi)^3. Held current: w = sqrt(K (I - I0)/kQ), duty (K w + r I)/E,
pack current duty I/(1 - k (1 - duty)).
"""

import math

import numpy as np
import pytest
from scipy.optimize import brentq
from support.small_aircraft import lawful_pack, small_brief, small_catalogue, small_train
from support.trains import constant_table, simple_controller, simple_motor

from propmatch.aircraft.endurance import flight_time
from propmatch.checks.chances import drawn
from propmatch.checks.limits import Design, excludes, run_checks
from propmatch.checks.measures import settings
from propmatch.checks.setting import ResolvedBrief
from propmatch.coupling import solve
from propmatch.faults import InputFaults
from propmatch.models.air import Air
from propmatch.models.pack import Chemistry
from propmatch.questions.ask import (
    capacity_for_minutes,
    kv_for_current,
    largest_propeller,
    mass_range,
    site_range,
    throttle_for_current,
)
from propmatch.questions.chance import WithChance
from propmatch.records.fields import replace
from propmatch.records.sureness import Uncertainty
from propmatch.tolerances.numbers import tolerances
from propmatch.train.brackets import edge

CP, CT, RHO, E, R, I0, KV, LOSS = 0.05, 0.11, 1.225, 8.0, 0.12, 0.6, 1400.0, 0.1
AIR = Air(density_kg_m3=RHO)


def bench(**changes):
    """A train on a stiff source of 8 V with a propeller of constant coefficients."""
    cell = Chemistry(name="source", charge=[0, 1], ocv_v=[4.0, E], source="a test")
    pack = lawful_pack(1, 1000.0, chemistry=cell, cell_resistance_mohm=0.0, lead_resistance_mohm=0.0)
    values = {
        "motor": simple_motor(kv_rpm_per_v=KV, resistance_ohm=R, no_load_current_a=I0, no_load_voltage_v=None),
        "propeller": {"table": constant_table(ct=CT, cp=CP), "diameter_in": 7.0, "pitch_in": 4.9},
        "controller": simple_controller(resistance_mohm=0.0, part_throttle_loss=LOSS),
        "pack": pack,
        "radio_current_a": 0.0,
    }
    return small_train(**values | changes)


def load(inches: float) -> float:
    return CP * RHO * (inches * 0.0254) ** 5 / (2 * math.pi) ** 3


def current(inches: float, kv: float = KV, ohm: float = R, none: float = I0) -> float:
    k, kq = 60 / (2 * math.pi * kv), load(inches)
    w = (-k + math.sqrt(k * k + 4 * ohm * kq / k * (E - ohm * none))) / (2 * ohm * kq / k)
    return kq * w * w / k + none


@pytest.fixture(scope="module")
def catalogue():
    return small_catalogue()


def test_the_edge_is_found_from_either_side_and_says_when_there_is_none():
    found = edge(lambda x: x**2 <= np.array([2.0, 9.0, 100.0, -1.0]), np.zeros(4), np.full(4, 5.0))
    assert found[:3] == pytest.approx([math.sqrt(2), 3.0, 5.0], rel=1e-12)
    assert math.isnan(found[3])
    down = edge(lambda x: x >= 2.5, np.array([4.0]), np.array([0.0]))
    assert down[0] == pytest.approx(2.5)


@pytest.mark.parametrize("at_once", [2, 3, 5, 7])
def test_several_halvings_in_one_call_come_to_the_same_bit(at_once):
    places = np.random.default_rng(3).uniform(-0.2, 5.2, 40)
    one = edge(lambda x: x <= places, np.zeros(40), np.full(40, 5.0), steps=20)
    calls = []

    def within(x):
        calls.append(x.shape)
        return x <= places

    many = edge(within, np.zeros(40), np.full(40, 5.0), steps=20, at_once=at_once)
    np.testing.assert_array_equal(many, one)
    assert len(calls) == 2 + math.ceil(20 / at_once)


def test_the_largest_propeller_by_closed_form():
    limits = np.array([5.0, 8.0, 12.0])
    found = largest_propeller(bench(), limits, air=AIR)
    wanted = [brentq(lambda d, a=amps: current(d) - a, 1, 40, xtol=1e-13) for amps in limits]
    assert found.diameter_in == pytest.approx(wanted, rel=1e-9)
    assert found.pitch_in == pytest.approx(0.7 * np.array(wanted), rel=1e-9)
    assert found.motor_current_static_a == pytest.approx(limits, rel=1e-9)
    n = np.array([brentq(lambda w, d=d, a=a: load(d) * w * w * KV * math.pi / 30 + I0 - a, 1, 1e5)
                  for d, a in zip(wanted, limits, strict=True)]) / (2 * math.pi)  # fmt: skip
    assert found.thrust_static_n == pytest.approx(CT * RHO * n**2 * (np.array(wanted) * 0.0254) ** 4, rel=1e-8)


def test_the_nearest_propellers_keep_the_limit_and_come_largest_first(catalogue):
    found = largest_propeller(small_train(), 9.0, catalogue=catalogue)
    assert isinstance(found.diameter_in, float)
    assert found.nearest_parts
    for each in found.nearest_parts:
        alone = solve(replace(small_train(), propeller=each.part))
        assert alone.motor_current_a == pytest.approx(each.motor_current_static_a)
        assert each.motor_current_static_a <= 9.0
        assert each.part.pitch_in / each.part.diameter_in == pytest.approx(5 / 7, rel=0.2)
    sizes = [each.part.diameter_in for each in found.nearest_parts]
    assert sizes == sorted(sizes, reverse=True)


def test_another_pitch_ratio_takes_another_table(catalogue):
    found = largest_propeller(small_train(), 9.0, pitch_ratio=0.8, catalogue=catalogue)
    assert found.like.name == "5x4"
    assert found.pitch_in / found.diameter_in == pytest.approx(0.8)


@pytest.mark.parametrize("limit", [0.0, -3.0, math.nan, math.inf])
def test_a_limit_that_is_none_has_no_answer_and_leaves_the_others(limit):
    found = largest_propeller(bench(), [limit, 8.0], air=AIR)
    assert math.isnan(found.diameter_in[0])
    assert found.diameter_in[1] == pytest.approx(brentq(lambda d: current(d) - 8.0, 1, 40))
    assert math.isnan(throttle_for_current(bench(), limit, air=AIR).throttle_at_limit)
    assert math.isnan(kv_for_current(bench(), limit, air=AIR).kv_rpm_per_v)


def test_the_kv_for_a_current_by_closed_form():
    amps = np.array([4.0, 8.0, 15.0])
    found = kv_for_current(bench(), amps, air=AIR)

    def rewound(kv: float) -> float:
        return current(7.0, kv, R * (KV / kv) ** 2, I0 * kv / KV)

    wanted = [brentq(lambda kv, a=a: rewound(kv) - a, 100, 10000, xtol=1e-10) for a in amps]
    assert found.kv_rpm_per_v == pytest.approx(wanted, rel=1e-9)
    assert found.resistance_ohm == pytest.approx(R * (KV / np.array(wanted)) ** 2, rel=1e-9)


def test_the_nearest_motors_come_by_their_current(catalogue):
    found = kv_for_current(small_train(), 9.0, catalogue=catalogue)
    off = [abs(math.log(each.motor_current_static_a / 9.0)) for each in found.nearest_parts]
    assert off == sorted(off)
    assert len(found.nearest_parts) == 4
    assert found.nearest_parts[0].motor_current_static_a == pytest.approx(
        solve(replace(small_train(), motor=found.nearest_parts[0].part)).motor_current_a
    )


def test_the_throttle_cap_by_closed_form():
    amps = np.array([3.0, 5.0, 7.0])
    found = throttle_for_current(bench(), amps, air=AIR)
    k, kq = 60 / (2 * math.pi * KV), load(7.0)
    w = np.sqrt(k * (amps - I0) / kq)
    duty = (k * w + R * amps) / E
    assert found.throttle_at_limit == pytest.approx(duty, rel=1e-9)
    assert found.pack_current_at_limit_a == pytest.approx(duty * amps / (1 - LOSS * (1 - duty)), rel=1e-8)
    assert np.all(found.pack_current_at_limit_a < found.motor_current_at_limit_a)
    assert found.motor_current_static_a == pytest.approx(np.full(3, current(7.0)), rel=1e-9)


def test_no_cap_where_full_throttle_keeps_the_limit():
    found = throttle_for_current(bench(), current(7.0) + 1.0, air=AIR)
    assert found.throttle_at_limit == 1.0
    assert found.thrust_at_limit_n == found.thrust_static_n


# ---------------------------------------------------------------- for a chance


def drawn_bench(count=4000):
    """The bench with the numbers of its parts drawn by numpy's own generator from their stated uncertainties."""
    train, rng = bench(), np.random.default_rng(2)
    sd = {each.name: each.sd for each in tolerances(train, Uncertainty())}
    z = {name: rng.standard_normal(count) for name in ("kv_rpm_per_v", "resistance_ohm", "no_load_current_a", "cp")}
    density = np.exp(sd["air_density"] * rng.standard_normal(count))
    drawn = {name: np.exp(sd[name] * values) for name, values in z.items()}
    return (
        KV * drawn["kv_rpm_per_v"],
        R * drawn["resistance_ohm"],
        I0 * drawn["no_load_current_a"],
        drawn["cp"] * density,
    )


def currents(inches, kv, ohm, none, cp):
    """The closed form at the head of this file, for arrays."""
    k, kq = 60 / (2 * math.pi * kv), load(inches) * cp
    w = (-k + np.sqrt(k * k + 4 * ohm * kq / k * (E - ohm * none))) / (2 * ohm * kq / k)
    return kq * w * w / k + none


@pytest.mark.parametrize("chance", [0.6, 0.8, 0.95])
def test_the_propeller_and_the_kv_for_a_chance_by_drawing_the_closed_form(chance):
    """Of 4,000 drawn benches the share that stays below the current is the chance asked for, within 2 points."""
    sure = WithChance(chance=chance)
    kv, ohm, none, cp = drawn_bench()
    size = largest_propeller(bench(), 8.0, air=AIR, sure=sure)
    assert np.mean(currents(size.diameter_in, kv, ohm, none, cp) <= 8.0) == pytest.approx(chance, abs=0.025)
    assert size.diameter_in < size.diameter_on_paper_in
    assert size.diameter_on_paper_in == pytest.approx(brentq(lambda d: current(d) - 8.0, 1, 40))
    wound = kv_for_current(bench(), 8.0, air=AIR, sure=sure)
    ratio = wound.kv_rpm_per_v / KV
    rewound = currents(7.0, kv * ratio, ohm / ratio**2, none * ratio, cp)
    assert np.mean(rewound <= 8.0) == pytest.approx(chance, abs=0.025)


def test_the_propellers_at_hand_keep_the_current_with_the_chance():
    """A second path: each propeller's own draws of a whole setting, at full throttle at rest."""
    catalogue, train = small_catalogue(), small_train()
    setting = settings(small_brief())[0]

    def kept(found):
        trains = [replace(train, propeller=each.part) for each in found.nearest_parts]
        of_all = drawn(setting, trains)
        return of_all.by_train(of_all.measured.full(1.0).motor_current_a <= limit).mean(axis=1)

    paper = largest_propeller(train, 99.0, catalogue=catalogue)
    limit = 1.02 * min(each.motor_current_static_a for each in paper.nearest_parts[:2])
    paper = largest_propeller(train, limit, air=setting.air, catalogue=catalogue)
    sure = largest_propeller(train, limit, air=setting.air, catalogue=catalogue, sure=WithChance(chance=0.9))
    assert kept(paper).min() < 0.9
    assert [p.part.id for p in sure.nearest_parts] == [
        p.part.id for p, share in zip(paper.nearest_parts, kept(paper), strict=True) if share >= 0.9
    ]


def test_the_throttle_for_a_chance_keeps_the_current_in_so_many_draws():
    """Held current needs the duty (K w + R I)/E with w = sqrt(K (I - I0)/kQ): less than that keeps it."""
    found = throttle_for_current(bench(), [5.0, 7.0], air=AIR, sure=WithChance(chance=0.8))
    kv, ohm, none, cp = drawn_bench()
    for amps, duty in zip((5.0, 7.0), found.throttle_at_limit, strict=True):
        k = 60 / (2 * math.pi * kv)
        needed = (k * np.sqrt(k * (amps - none) / (load(7.0) * cp)) + ohm * amps) / E
        assert np.mean(needed >= duty) == pytest.approx(0.8, abs=0.025)
    assert np.all(found.throttle_at_limit < found.throttle_at_limit_on_paper)


def test_the_mass_for_a_chance_lies_within_that_on_paper_and_holds_there():
    brief = ResolvedBrief.of(small_brief())
    sure = WithChance()
    found = mass_range(brief, small_train(), sure=sure)
    assert found.lightest_on_paper_g <= found.lightest_g < found.heaviest_g <= found.heaviest_on_paper_g
    assert found.lightest_g <= found.surest_g <= found.heaviest_g
    masses = np.array([found.lightest_g, found.surest_g, found.heaviest_g, found.heaviest_g * 1.03])
    drawn = sure.at_masses(brief.as_designed, small_train(), masses)
    assert list(sure.keeps(drawn)) == [True, True, True, False]
    assert drawn.measured.frames.mass_kg.reshape(4, -1) == pytest.approx(np.tile(masses[:, None] / 1000, 512))


def test_the_heaviest_mass_for_a_chance_by_its_own_arithmetic():
    """Thrust at half charge over 0.5 is the heaviest weight of each draw; a chance of 0.8 asks for their fifth."""
    brief = small_brief(("target_mass_g = 460\n", ""), ("min_flight_minutes = 6", ""),
                        ("pack_tray_from_mm = 20\npack_tray_to_mm = 190", ""))  # fmt: skip
    found = mass_range(brief, small_train(), sure=WithChance())
    fresh = drawn(settings(brief)[0], [small_train()], seed=99).measured
    heaviest = 1000 * fresh.frames.installed_thrust * fresh.full(0.5).thrust_n / (0.5 * 9.80665)
    assert found.heaviest_by == ("thrust_to_weight",)
    assert found.heaviest_g == pytest.approx(np.quantile(heaviest, 0.2), rel=0.02)
    assert found.heaviest_g < 0.99 * found.heaviest_on_paper_g


def test_no_mass_is_sure_enough_where_a_rating_is_near():
    amps = solve(small_train(), air=settings(small_brief())[0].air).motor_current_a
    train = small_train(motor=simple_motor(max_current_a=1.001 * amps))
    found = mass_range(small_brief(), train, sure=WithChance())
    assert math.isnan(found.heaviest_g)
    assert math.isnan(found.lightest_g)
    assert found.heaviest_on_paper_g == mass_range(small_brief(), train).heaviest_g
    assert found.surest_chance < 0.9
    assert found.surest_by[0].startswith("motor_current")


def test_the_pack_and_the_field_for_a_chance(catalogue):
    brief, sure = ResolvedBrief.of(small_brief()), WithChance(chance=0.8)
    found = capacity_for_minutes(brief, small_train(), 12.0, catalogue=catalogue, sure=sure)
    assert found.capacity_mah > found.capacity_on_paper_mah
    fresh = drawn(brief.as_designed, [replace(small_train(), pack=found.pack)], seed=99).measured
    assert np.mean(fresh["flight_time"].value >= 12.0) == pytest.approx(0.8, abs=0.03)
    site = site_range(brief, small_train(), min_thrust_to_weight=0.8, sure=sure)
    plain = site_range(brief, small_train(), min_thrust_to_weight=0.8)
    assert site.highest_m < site.highest_on_paper_m == plain.highest_m
    there = small_brief(("altitude_m = 100", f"altitude_m = {site.highest_m}"),
                        ("temperature_c = 18", f"temperature_c = {18 - 0.0065 * (site.highest_m - 100)}"))  # fmt: skip
    fresh = drawn(ResolvedBrief.of(there).as_designed, [small_train()], seed=99).measured
    assert np.mean(fresh["thrust_to_weight"].value >= 0.8) == pytest.approx(0.8, abs=0.03)


# ---------------------------------------------------------------- the whole aircraft


def test_the_heaviest_mass_by_its_own_arithmetic():
    """Without a target mass or balance the static thrust at half charge, over 0.5, is the heaviest weight."""
    brief = small_brief(("target_mass_g = 460\n", ""), ("min_flight_minutes = 6", ""),
                        ("pack_tray_from_mm = 20\npack_tray_to_mm = 190", ""))  # fmt: skip
    air = settings(brief)[0].air
    found = mass_range(brief, small_train())
    thrust = solve(small_train(), charge=0.5, air=air).thrust_n
    assert found.heaviest_by == ("thrust_to_weight",)
    assert found.heaviest_g == pytest.approx(1000 * thrust / (0.5 * 9.80665), rel=1e-6)
    assert found.lightest_by == ()
    assert found.lightest_g == pytest.approx(small_train().mass_g + 1.0)


def test_the_target_mass_binds_and_is_said():
    found = mass_range(small_brief(), small_train())
    assert found.heaviest_by == ("all_up_mass",)
    assert found.heaviest_g == pytest.approx(460, rel=1e-6)
    assert found.without_target_g > 460


@pytest.mark.parametrize("variant", [None, "heavy"])
def test_checks_pass_inside_the_range_and_fail_beyond(variant):
    brief = small_brief()
    setting = next(s for s in settings(brief) if variant in (None, s.variant.name))
    found = mass_range(brief, small_train(), variant=variant)
    for mass, good in ((found.heaviest_g - 0.01, True), (found.heaviest_g + 0.1, False)):
        frame = replace(setting.variant.airframe, bare_mass_g=mass - small_train().mass_g)
        design = Design(train=small_train(), airframe=frame, variant=setting.variant.name)
        failing = [c.name for c in run_checks(design, brief) if excludes(c) and c.name != "balance"]
        assert (not failing) == good


def test_a_design_that_fails_has_no_range():
    found = mass_range(small_brief(("min_flight_minutes = 6", "min_flight_minutes = 200")), small_train())
    assert found.failing == ("flight_time",)
    assert math.isnan(found.lightest_g)
    assert math.isnan(found.without_target_g)


def test_the_pack_for_a_flight_time_flies_it(catalogue):
    brief = small_brief()
    setting = settings(brief)[0]
    found = capacity_for_minutes(brief, small_train(), 12.0, catalogue=catalogue)
    # the mass of the law, by hand
    mass = 30.0 * (found.capacity_mah / 1000) ** 0.9 * 2**0.95
    assert found.pack.mass_g == pytest.approx(mass, rel=1e-9)
    assert found.all_up_mass_g == pytest.approx(265 + 28 + 12 + 6 + mass, rel=1e-9)
    train = replace(small_train(), pack=found.pack)
    flown = flight_time(train, setting.variant.airframe, found.all_up_mass_g / 1000, setting.phases, air=setting.air)
    assert flown.minutes == pytest.approx(12.0, rel=1e-4)
    assert all(each.flight_minutes >= 12.0 for each in found.nearest_parts)


def test_more_minutes_than_any_pack_gives(catalogue):
    found = capacity_for_minutes(small_brief(), small_train(), 1e5, catalogue=catalogue)
    assert found.pack is None
    assert math.isnan(found.capacity_mah)
    assert 0 < found.longest_minutes < 1e5
    minutes = [each.flight_minutes for each in found.nearest_parts]
    assert minutes == sorted(minutes, reverse=True)
    with pytest.raises(ValueError, match="above 0"):
        capacity_for_minutes(small_brief(), small_train(), -1.0, catalogue=catalogue)


def test_the_field_range_ends_where_thrust_does():
    brief = small_brief()
    train = small_train()
    weight = 9.80665 * (265 + train.mass_g) / 1000

    def ratio(altitude: float, celsius: float) -> float:
        return solve(train, charge=0.5, air=Air.at_site(altitude, celsius)).thrust_n / weight

    wanted = 0.85 * ratio(100, 18)
    found = site_range(brief, train, min_thrust_to_weight=wanted)

    assert found.thrust_to_weight == pytest.approx(ratio(100, 18))
    # the brief's day is 18 degC at 100 m: 3.65 K above the standard 14.35 there, kept at the other heights
    assert ratio(found.highest_m, 18 - 0.0065 * (found.highest_m - 100)) == pytest.approx(wanted, abs=1e-6)
    assert ratio(found.highest_hot_m, 35.0) == pytest.approx(wanted, abs=1e-6)
    for celsius, highest in found.by_temperature:
        assert ratio(highest, celsius) == pytest.approx(wanted, abs=1e-6)
    heights = [highest for _, highest in found.by_temperature]
    assert heights == sorted(heights, reverse=True)


def test_a_ratio_that_is_never_reached_and_one_nobody_gave():
    assert math.isnan(site_range(small_brief(), small_train(), min_thrust_to_weight=9.0).highest_m)
    climb = small_brief(("min_thrust_to_weight = 0.5", "min_climb_m_s = 1"))
    with pytest.raises(ValueError, match="min_thrust_to_weight"):
        site_range(climb, small_train())
    with pytest.raises(InputFaults, match="the variants are"):
        mass_range(small_brief(), small_train(), variant="floats")
