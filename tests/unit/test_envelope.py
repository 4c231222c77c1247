"""The parts envelope: its corners judged again on real parts, its text, and whether a substitute may be fitted."""

import itertools
import math
import re

import numpy as np
import pytest
from support.small_aircraft import BRIEF, lawful_pack, small_brief, small_catalogue, small_train
from support.trains import simple_controller, simple_motor

from propmatch.brief import loads_brief
from propmatch.checks.judged import passing
from propmatch.checks.limits import Design, excludes, run_checks
from propmatch.checks.measures import settings
from propmatch.coupling import solve
from propmatch.faults import InputFaults
from propmatch.models.air import Air
from propmatch.questions.asflown import as_flown
from propmatch.questions.chance import WithChance
from propmatch.questions.corners import Corners
from propmatch.questions.envelope import _timer_minutes, may_fit, parts_envelope
from propmatch.records.fields import replace
from propmatch.records.packfit import PackFit
from propmatch.train.scaling import PitchFit, rewound, scaled_propeller
from propmatch.units import CELSIUS_K
from propmatch.words.envelopewords import CAUTIONS, envelope_markdown, envelope_parts, envelope_text
from propmatch.words.shown import SYSTEMS, Shown


@pytest.fixture(scope="module")
def catalogue():
    return small_catalogue()


@pytest.fixture(scope="module")
def envelope(catalogue):
    return parts_envelope(small_brief(), catalogue, small_train())


def corner_design(envelope, each, catalogue, pick):
    """One corner as parts: motor, propeller, pack and airframe built one by one."""
    box = {axis: ends[side] for (axis, ends), side in zip(each.box.ranges.items(), pick, strict=True)}
    base = each.train
    motor = replace(
        base.motor, kv_rpm_per_v=box["kv_rpm_per_v"], resistance_ohm=box["resistance_ohm"],
        no_load_current_a=base.motor.no_load_current_a * box["kv_rpm_per_v"] / base.motor.kv_rpm_per_v,
        mass_g=box["motor_mass_g"],
    )  # fmt: skip
    pitch = PitchFit.of(catalogue.propellers.values(), base.propeller)
    propeller = scaled_propeller(base.propeller, diameter_in=box["diameter_in"], pitch_in=box["pitch_in"], fit=pitch)
    pack = PackFit.of(catalogue.packs).scaled(base.pack, cells=base.pack.cells_series, capacity_mah=box["capacity_mah"])
    train = replace(base, motor=motor, propeller=propeller, pack=pack)
    variant = settings(envelope.brief)[0].variant
    frame = replace(variant.airframe, bare_mass_g=box["all_up_mass_g"] - train.mass_g)
    return Design(train=train, airframe=frame, target_mass_g=variant.target_mass_g), box


def test_the_chance_of_a_box_without_extent_is_that_of_the_design(catalogue):
    """A second path: the design's own draws at its weighed mass, thrust to weight asked for near what it has."""
    setting = settings(small_brief(("min_thrust_to_weight = 0.5", "min_thrust_to_weight = 0.9")))[0]
    train = small_train()
    pitch = PitchFit.of(catalogue.propellers.values(), train.propeller)
    corners = Corners(setting, train, packs=PackFit.of(catalogue.packs), pitch=pitch)
    middle = {axis: (value, value) for axis, value in corners.middle.items()}
    drawn = WithChance().at_masses(setting, train, np.array([setting.all_up_mass_g(train.mass_g)]))
    wanted = drawn.chance(drawn.judged)[0]
    assert 0.05 < wanted < 0.95
    assert corners._least_chance(middle) == pytest.approx(wanted, abs=0.03)


def test_the_worst_corner_is_the_least_of_all_corners_drawn(catalogue):
    """A second path: every corner of a box of six sides drawn as often, thrust to weight asked for near what it has."""
    setting = settings(small_brief(("min_thrust_to_weight = 0.5", "min_thrust_to_weight = 0.8")))[0]
    train = small_train()
    pitch = PitchFit.of(catalogue.propellers.values(), train.propeller)
    corners = Corners(setting, train, packs=PackFit.of(catalogue.packs), pitch=pitch)
    wide = ("kv_rpm_per_v", "all_up_mass_g", "diameter_in", "pitch_in", "resistance_ohm", "capacity_mah")
    ranges = {axis: (v, v * (1.03 if axis in wide else 1)) for axis, v in corners.middle.items()}
    every = corners.corners(ranges)
    assert every["air"].size == 2 ** len(wide)
    chances = passing(corners.drawn(every, 256)).reshape(-1, 256).mean(axis=1)
    assert np.ptp(chances) > 0.1
    assert corners._least_chance(ranges) == chances.min()


def test_the_timer_of_the_envelope_is_that_of_the_flight_as_flown(catalogue, envelope):
    """In a box without extent that of the design; over the ranges no longer."""
    setting, train = settings(small_brief())[0], small_train()
    own = as_flown(train, setting, setting.flight_time(train)).flown_timer_minutes
    pitch = PitchFit.of(catalogue.propellers.values(), train.propeller)
    corners = Corners(setting, train, packs=PackFit.of(catalogue.packs), pitch=pitch)
    middle = {axis: np.array([value]) for axis, value in corners.middle.items()}
    assert _timer_minutes(setting, corners, middle, corners.measures(middle)) == pytest.approx(own, rel=0.02)
    each = envelope.cells[2]
    assert 0 < each.timer_worst_minutes <= own
    assert each.timer_worst_minutes < 0.9 * each.flight_minutes[0]


def test_the_worst_corner_is_less_sure_than_the_design(envelope):
    for each in envelope.cells.values():
        if each.box is not None:
            assert 0.0 <= each.box.least_chance <= 1.0
    text = " ".join(line for block in envelope_text(envelope, Shown()) for line in block)
    assert "every limit met, worst" in text


@pytest.mark.parametrize("cells", [2, 3])
def test_corners_pass_on_real_parts(envelope, catalogue, cells):
    """A second path: 24 corners drawn at random, as part objects through ``run_checks`` at the corner's own site."""
    each = envelope.cells[cells]
    assert each.holds
    assert each.box.corners == 2 ** sum(low < high for low, high in each.box.ranges.values())
    corners = list(itertools.product((0, 1), repeat=len(each.box.ranges)))
    rng = np.random.default_rng(4)
    for at in rng.choice(len(corners), 24, replace=False):
        design, box = corner_design(envelope, each, catalogue, corners[at])
        air = box["air"]
        site = envelope.brief.site
        warm = site.temperature_c + (max(air, 0) * (35 - site.temperature_c)) - max(-air, 0) * (site.temperature_c + 10)
        height = site.altitude_m + max(air, 0) * 1500 - max(-air, 0) * site.altitude_m
        brief = replace(envelope.brief, site=replace(site, altitude_m=height, temperature_c=warm))
        wrong = [c.name for c in run_checks(design, brief) if excludes(c) and c.name != "balance"]
        assert not wrong, (box, wrong)
        point = solve(design.train, air=Air.at_site(height, warm))
        assert (
            each.motor_current_static_a[0] * (1 - 1e-6)
            <= point.motor_current_a
            <= each.motor_current_static_a[1] * (1 + 1e-6)
        )
        assert point.motor_current_a <= each.controller_a
        assert each.thrust_static_n[0] * (1 - 1e-6) <= point.thrust_n <= each.thrust_static_n[1] * (1 + 1e-6)


def test_the_design_lies_inside_its_own_ranges(envelope):
    each = envelope.cells[2]
    box, train = each.box.ranges, each.train
    for value, axis in (
        (train.motor.kv_rpm_per_v, "kv_rpm_per_v"), (train.motor.mass_g, "motor_mass_g"),
        (train.propeller.diameter_in, "diameter_in"), (train.pack.capacity_mah, "capacity_mah"),
        (265 + train.mass_g, "all_up_mass_g"), (0.0, "air"),
    ):  # fmt: skip
        assert box[axis][0] <= value + 1e-6
        assert value - 1e-6 <= box[axis][1]
    assert box["all_up_mass_g"][1] <= 460
    assert box["diameter_in"][1] <= 8
    assert sum(high > low for low, high in box.values()) >= 6


def test_a_tighter_brief_never_widens_the_masses(catalogue, envelope):
    tight = parts_envelope(small_brief(("460", "380")), catalogue, small_train(), cells=(2,))
    assert tight.cells[2].box.ranges["all_up_mass_g"][1] <= 380
    assert set(tight.cells) == {2}


def test_a_count_that_nothing_brings_inside(catalogue):
    few = {"cells_max": 2}
    brief = small_brief(("[site]", '[parts]\nmotor = ["kv1700"]\ncontroller = ["12A"]\n[site]'))
    found = parts_envelope(brief, catalogue, small_train(motor=few | {"max_current_a": 12.0}, controller=few))
    each = found.cells[3]
    assert not each.holds
    assert "cell_count" in each.failing
    text = "\n".join(line for block in envelope_text(found, SYSTEMS["metric"]) for line in block)
    assert "Do not fit 3S" in text


def test_a_count_that_needs_another_part_says_which(catalogue):
    found = parts_envelope(small_brief(), catalogue, small_train(motor={"max_current_a": 10.0, "max_power_w": 95.0}))
    each = found.cells[3]
    assert each.holds
    assert each.changes
    text = envelope_markdown(found, SYSTEMS["metric"])
    assert "3S needs another part than the design's" in text
    assert next(iter(each.changes.values())).name.replace("x", "x") in text


def test_variants_are_told_whether_they_are_inside(envelope):
    by_name = {each.variant: each for each in envelope.variants}
    assert by_name["as designed"].inside_by_cells[2]
    mass = by_name["heavy"].all_up_mass_by_cells_g[2]
    assert mass == pytest.approx(330 + small_train().mass_g)
    low, high = envelope.cells[2].box.ranges["all_up_mass_g"]
    assert by_name["heavy"].inside_by_cells[2] == (low - 0.5 <= mass <= high + 0.5)


@pytest.mark.parametrize("units", ["metric", "imperial", "si"])
def test_the_text_fits_a_page_and_carries_the_cautions(envelope, units):
    lines = [line for block in envelope_text(envelope, SYSTEMS[units]) for line in block]
    assert max(map(len, lines)) <= 80
    flat = " ".join(" ".join(lines).split())
    for words in ("2S", "3S", "ESC rating", "battery lead", "timer", "recharge"):
        assert words in flat
    markdown = envelope_markdown(envelope, SYSTEMS[units])
    for words in (*CAUTIONS, "## With 2S", "## With 3S"):
        assert words in markdown
    assert "safe" not in flat.replace("a club's safety officer", "")
    unit = {"metric": "gf", "imperial": "oz", "si": " N "}[units]
    assert unit in flat


def test_markdown_cannot_be_steered_by_a_name(catalogue):
    brief = small_brief(('name = "test bird"', 'name = "a|b <script> [x](y) `z`"'))
    text = envelope_markdown(parts_envelope(brief, catalogue, small_train(), cells=(2,)), SYSTEMS["metric"])
    assert "<script>" not in text.replace("\\<script>", "")
    tables = [line for line in text.splitlines() if line.startswith("| ")]
    assert {line.replace("\\|", "").count("|") for line in tables} == {3}
    assert text.startswith("# What others may fit: a\\|b")
    assert "## Assumed" in text


def test_no_balance_no_position():
    found = parts_envelope(loads_brief(BRIEF.split("[balance]")[0]), small_catalogue(), small_train(), cells=(2,))
    assert math.isnan(found.cells[2].pack_position_mm[0])
    assert math.isnan(found.target_cg_mm)
    assert "balance as the plans say" in envelope_markdown(found, SYSTEMS["metric"])


def test_two_geared_motors_have_an_envelope(catalogue):
    geared = simple_motor(kv_rpm_per_v=2800.0, gear_ratio=2.0, resistance_ohm=0.06)
    text = BRIEF.split("[balance]")[0].replace('name = "test bird"', 'name = "test bird"\nmotor_count = 2')
    brief = loads_brief(text.replace("460", "800"))
    train = replace(small_train(motor=geared, pack=lawful_pack(2, 1700.0, cells_parallel=2)), count=2)
    found = parts_envelope(brief, catalogue, train, cells=(2,))
    each = found.cells[2]
    assert each.holds
    assert each.design_pack_current_static_a == pytest.approx(2 * each.design_motor_current_static_a + 0.2)
    text = envelope_markdown(found, SYSTEMS["metric"])
    assert "2S2P" in text
    assert "geared 2:1" in text
    assert "g each" in text


# ---------------------------------------------------------------- scaled parts


def test_a_rewound_motor_has_the_same_copper():
    motor = simple_motor()
    other = rewound(motor, 700.0)
    assert other.resistance_ohm == pytest.approx(4 * 0.12)
    assert other.no_load_current_a == pytest.approx(0.3)
    # the same copper loss at the same torque: K doubles, current halves
    assert other.resistance_ohm * 5.0**2 == pytest.approx(motor.resistance_ohm * 10.0**2)
    assert other.max_current_a == pytest.approx(7.0)


def test_blades_alike_keep_their_table_and_their_tip_speed():
    base = replace(small_train().propeller, max_rpm=20000.0)
    same = scaled_propeller(base, diameter_in=3.5)
    assert same.table is base.table
    assert (same.pitch_in, same.max_rpm) == pytest.approx((2.5, 40000.0))
    assert same.mass_g == pytest.approx(6.0 / 2**2.5)


def test_the_pitch_fit_recovers_the_powers_of_its_catalogue(catalogue):
    """The catalogue's tables are made with CT ~ (p/d)^0.6 and CP ~ (p/d)^1.2, and no dependence on diameter."""
    like = next(iter(catalogue.propellers.values()))
    fit = PitchFit.of(catalogue.propellers.values(), like)
    assert (fit.ct_power, fit.cp_power) == pytest.approx((0.6, 1.2), abs=1e-9)
    assert fit.propellers == 5
    finer = scaled_propeller(like, diameter_in=5.0, pitch_in=1.5, fit=fit)
    assert np.asarray(finer.table.cp)[:, 0] == pytest.approx(np.asarray(like.table.cp)[:, 0] * 0.5**1.2)
    assert finer.table.advance_ratio[-1] == pytest.approx(like.table.advance_ratio[-1] * 0.5)
    assert PitchFit.of([], like).propellers == 0


# ---------------------------------------------------------------- substitutes


def test_the_same_part_changes_nothing(catalogue):
    fit = may_fit(small_brief(), catalogue, small_train(), pack=small_train().pack)
    assert fit.fits
    for each in fit.variants:
        assert each.numbers == each.numbers_before


def test_three_cells_are_refused_with_reasons_and_a_throttle_limit(catalogue):
    train = small_train(motor={"max_current_a": 9.0})
    fit = may_fit(small_brief(), catalogue, train, pack="3S 850")
    assert not fit.fits
    names = {check.name for check in fit.variants[0].failing}
    assert "motor_current_static" in names
    assert {c.name for c in fit.variants[0].new_failing} <= names
    assert 0 < fit.variants[0].limited.throttle < 1
    assert fit.train.pack.cells_series == 3
    assert fit.placing.pack_mass_g[1] > fit.placing.pack_mass_g[0]


def test_a_larger_controller_may_be_fitted(catalogue):
    fit = may_fit(small_brief(), catalogue, small_train(), controller=simple_controller(name="big", max_current_a=30))
    assert fit.fits


def test_nothing_to_judge_and_what_nobody_knows(catalogue):
    with pytest.raises(InputFaults, match="name at least one"):
        may_fit(small_brief(), catalogue, small_train())
    with pytest.raises(InputFaults, match="no such kind"):
        may_fit(small_brief(), catalogue, small_train(), wheel="big")
    with pytest.raises(InputFaults, match="no part with this id"):
        may_fit(small_brief(), catalogue, small_train(), pack="9S 99999")


def test_the_standard_day_of_the_field_range():
    from propmatch.questions.corners import air_between

    setting = settings(small_brief())[0]
    altitude, celsius = air_between(setting, np.array([-1.0, 0.0, 1.0]))
    assert altitude == pytest.approx([0.0, 100.0, 1600.0])
    assert celsius == pytest.approx([-10.0, 18.0, 35.0])
    assert setting.air.temperature_k == pytest.approx(18.0 + CELSIUS_K)


@pytest.mark.parametrize("kind", ["label", "effective"])
def test_the_kv_line_holds_the_designs_own_motor_as_its_number_is_given(catalogue, kind):
    """A label's number is compared with labels, a measured one with measured ones."""
    motor = simple_motor(kv_kind=kind)
    found = parts_envelope(small_brief(), catalogue, small_train(motor=motor), cells=(2,))
    part = next(part for part in envelope_parts(found, Shown()) if part.title == "With 2S")
    label, line = part.lines[0]
    low, high, own = (float(number) for number in re.findall(r"\d+", line)[:3])
    assert label == ("label kV" if kind == "label" else "measured kV")
    assert own == motor.kv_rpm_per_v
    assert low <= own <= high
    assert low < high


def test_a_rating_asked_for_is_never_above_the_designs_own(catalogue):
    """At the limit of its parts a design passes, so a builder with the same parts must pass too."""
    found = parts_envelope(small_brief(), catalogue, small_train(), cells=(2,)).cells[2]
    needed = found.motor_current_static_a[1]
    own = needed * 1.02
    tight = small_train(motor={"max_current_a": own}, controller=simple_controller(max_current_a=own))
    each = parts_envelope(small_brief(), catalogue, tight, cells=(2,)).cells[2]
    assert each.holds
    assert each.controller_a <= own
    assert each.motor_a <= own
