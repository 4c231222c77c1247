"""The parts envelope: held over a field, sizes as sold, random builds inside it, its text; and substitutes."""

import itertools
import math

import numpy as np
import pytest
from support.small_aircraft import BRIEF, lawful_pack, small_brief, small_catalogue, small_train
from support.trains import simple_controller, simple_motor

import published
from propmatch.brief import loads_brief
from propmatch.catalogue.catalogue import Catalogue
from propmatch.checks.chances import Drawn, drawn
from propmatch.checks.judged import failing, judged_trains
from propmatch.checks.measures import settings
from propmatch.coupling import solve
from propmatch.faults import InputFaults
from propmatch.models.air import Air
from propmatch.questions.bought import Offer, bought_motor, bought_train, label_kv
from propmatch.questions.costing import Costs
from propmatch.questions.envelope import Choice, may_fit, parts_envelope
from propmatch.questions.everywhere import failing_in
from propmatch.questions.grown import Builds, _Growth, grown
from propmatch.questions.publishing import WARMED_C, Condition, conditions, judged_alike
from propmatch.records.estimates import completed
from propmatch.records.fields import replace
from propmatch.tolerances.draws import normal_draws
from propmatch.train.scaling import PitchFit, rewound, scaled_propeller
from propmatch.units import CELSIUS_K
from propmatch.words.envelopewords import (
    CAUTIONS,
    _pack_runs,
    corner_block,
    envelope_answer,
    envelope_markdown,
    envelope_text,
)
from propmatch.words.shown import SYSTEMS, Shown


def few_parts(*packs):
    """A catalogue of little: what is quick to try."""
    whole = small_catalogue()
    some = {"kv1400", "kv1700", "6x4", "7x5", "8x6", "20A", *packs}
    kinds = ("motors", "propellers", "packs", "controllers")
    return Catalogue.of(**{k: [p for p in getattr(whole, k).values() if p.name in some] for k in kinds})


ONE_DAY = """
[publish]
altitude_to_m = 0
temperature_from_c = 25
temperature_to_c = 25
"""


@pytest.fixture(scope="module")
def catalogue():
    return small_catalogue()


@pytest.fixture(scope="module")
def envelope():
    packs = [f"{cells}S {mah}" for cells in (2, 3) for mah in (600, 850)]
    return parts_envelope(small_brief(), few_parts(*packs), small_train(), cells=(2, 3))


def test_conditions_judged_together_fail_what_each_fails_alone():
    brief = small_brief(("min_thrust_to_weight = 0.5", "min_thrust_to_weight = 0.9"))
    where = conditions(settings(brief), (0.0, 2200.0), (-8.0, 36.0))
    assert len(judged_alike(where)) < len(where)
    for scale in (0.9, 1.0, 1.2):
        train = replace(small_train(), motor=replace(small_train().motor, kv_rpm_per_v=scale * 1500.0))
        alone = [
            failing(judged_trains(each.setting, [replace(train, **each.setting.train_numbers)])[0])[0] for each in where
        ]
        assert failing_in(train, where) == alone
    assert len(set(alone)) > 1


@pytest.fixture(scope="module")
def nowhere():
    """A design that has hardly the thrust it needs at its own site, and no part to help."""
    brief = small_brief(("min_thrust_to_weight = 0.5", "min_thrust_to_weight = 0.82"))
    parts = small_catalogue()
    train = small_train()
    alone = Catalogue.of(motors=[train.motor], propellers=[train.propeller], packs=[train.pack],
                         controllers=list(parts.controllers.values())[:1])  # fmt: skip
    return parts_envelope(brief, alone, train, cells=(2, 3))


# ---------------------------------------------------------------- the field


def test_the_field_is_held_as_published():
    """Corners of the default field; density by ISO 2533 (1.225 kg/m3 at 0 m and 15 degC, 1.1116 at 1000 m)."""
    setting = settings(small_brief())[0]
    publish = setting.brief.publish
    assert (publish.altitude_m, publish.temperature_c) == ((0.0, 1000.0), (0.0, 35.0))
    there = conditions([setting], publish.altitude_m, publish.temperature_c)
    corners = {(c.altitude_m, c.temperature_c) for c in there}
    assert corners == set(itertools.product((0.0, 1000.0), (0.0, 35.0)))
    assert {c.pack_temperature_c for c in there if c.temperature_c == 0} == {0.0, WARMED_C}
    assert {c.pack_temperature_c for c in there if c.temperature_c == 35} == {35.0}
    for each in there:
        standard = {0.0: (1.225, 288.15), 1000.0: (1.1116, 281.65)}[each.altitude_m]
        wanted = standard[0] * standard[1] / (each.temperature_c + CELSIUS_K)
        assert each.setting.air.density_kg_m3 == pytest.approx(wanted, rel=1e-3)
        assert each.setting.train_numbers["pack_temperature_c"] == each.pack_temperature_c


def test_a_stated_temperature_of_the_cells_is_kept():
    setting = settings(small_brief(("temperature_c = 18", "temperature_c = 18\npack_temperature_c = 30")))[0]
    assert {c.pack_temperature_c for c in conditions([setting], (0,), (0, 35))} == {30.0}


def test_the_brief_says_what_is_published():
    brief = loads_brief(BRIEF + "[publish]\naltitude_to_m = 300\ntemperature_from_c = 10\n")
    assert brief.publish.altitude_m == (0.0, 300.0)
    assert brief.publish.temperature_c == (10.0, 35.0)


def test_every_fault_of_what_is_published_at_once():
    bad = BRIEF + "[publish]\naltitude_from_m = 1500\ntemperature_to_c = -5\ntemperature_form_c = 3\n"
    with pytest.raises(InputFaults) as caught:
        loads_brief(bad)
    text = str(caught.value)
    for words in ("temperature_form_c", "temperature_from_c", "altitude_to_m", "must be at least altitude_from_m"):
        assert words in text, words


# ---------------------------------------------------------------- what others buy


@pytest.mark.parametrize("kind", ["label", "effective"])
def test_the_kv_range_holds_the_label_of_the_centres_own_motor(kind):
    motor = simple_motor(kv_kind=kind)
    label = label_kv(motor)
    assert label == motor.kv_rpm_per_v if kind == "label" else label > motor.kv_rpm_per_v
    offer = Offer(small_train(motor=motor), [small_train().pack], [small_train().propeller])
    assert offer.axes[0][offer.own[0]] == label
    bought = bought_motor(motor, label, motor.mass_g)
    assert completed(bought)[0].kv_rpm_per_v == pytest.approx(motor.kv_rpm_per_v if kind == "effective" else
                                                             completed(motor)[0].kv_rpm_per_v, rel=0.005)  # fmt: skip


def test_builders_parts_vary_as_their_labels_do():
    """Two packs of one label, two motors of one kV and mass differ as the tolerances of such parts say: exp of a normal
    number of their deviation, its own root mean square."""
    setting, train = settings(small_brief())[0], bought_train(small_train())
    draws = drawn(setting, [train], draws=4096).draws
    sd = {each.name: each.sd for each in draws.inputs[0]}
    assert "its own" not in {each.basis for each in draws.inputs[0]}
    for name in ("cell_resistance_mohm", "resistance_ohm", "kv_rpm_per_v", "ct"):
        assert sd[name] > 0.02, name
        assert float(np.std(np.log(draws.factor(name)))) == pytest.approx(sd[name], rel=0.05)


def test_a_random_build_is_that_of_its_parts():
    """A second path: the same choice as four parts, drawn by the same numbers."""
    condition = conditions(settings(small_brief())[:1], (500,), (10,))[0]
    catalogue, train = small_catalogue(), small_train()
    packs = [p for p in catalogue.packs.values() if p.cells_series == 2]
    offer = Offer(train, [*packs, train.pack], [*catalogue.propellers.values(), train.propeller])
    choices = np.array([[3, 1, 0, 2], [9, 4, 2, 4]])
    raw = normal_draws(2, 5)
    mine = offer.drawn(condition.setting, choices, raw).measured
    for at, choice in enumerate(choices):
        parts = offer.train_of(choice, condition.setting)
        assert parts.motor.kv_rpm_per_v == offer.axes[0][choice[0]]
        assert parts.propeller.name == offer.axes[3][choice[3]].name
        one = Drawn(condition.setting, [parts], raw[at : at + 1]).measured
        for name in ("thrust_to_weight", "flight_time", "all_up_mass", "controller_current"):
            assert mine[name].value[at] == pytest.approx(one[name].value[0], rel=1e-9)


# ---------------------------------------------------------------- what holds


@pytest.mark.slow
def test_what_is_listed_holds_in_every_condition(envelope):
    assert any(each.holds for each in envelope.cells.values())
    for each in envelope.cells.values():
        if not each.holds:
            continue
        assert each.chance_brief >= envelope.asked[0]
        assert each.chance_ratings >= envelope.asked[1]
        own = [c for c in (*each.propellers, *each.packs) if c.own]
        assert len(own) == 2
        assert all(c.fits for c in own)
        for choice in (*each.propellers, *each.packs):
            assert choice.fits != bool(choice.failed)
            assert math.isfinite(choice.chance_brief) == choice.fits
        low, high = each.kv_label_rpm_per_v
        assert low <= label_kv(each.train.motor) <= high
        assert each.motor_mass_g[0] <= each.train.motor.mass_g <= each.motor_mass_g[1]
        assert 0 < each.corner.chance <= each.chance_brief
        assert each.motor_a <= each.train.motor.max_current_a
        assert each.controller_a <= each.train.controller.max_current_a


@pytest.mark.parametrize("cells", [2, 3])
def test_random_builds_inside_the_envelope_keep_the_limits(envelope, cells):
    """A second path: parts drawn one by one, at fields, on days and in variants anywhere inside; standard error 2 %."""
    each = envelope.cells[cells]
    assert each.holds
    wishes, ratings = published.kept_builds(small_brief(), envelope, each, 400).shares
    assert wishes >= envelope.asked[0]
    assert ratings >= envelope.asked[1]


def test_ratings_asked_for_bear_the_loads_of_builds(envelope):
    """At the densest corner, cells warm: solved as real parts at the ends of the ranges."""
    for each in envelope.cells.values():
        if not each.holds:
            continue
        propellers = [c.part for c in each.propellers if c.fits]
        trains = [
            replace(each.train, motor=bought_motor(each.train.motor, kv, each.train.motor.mass_g), propeller=blades)
            for kv in each.kv_label_rpm_per_v for blades in propellers
        ]  # fmt: skip
        most = max(float(solve(t, air=Air.at_site(0.0, 0.0)).motor_current_a) for t in trains)
        assert most <= each.motor_a
        assert most <= each.controller_a


def test_what_fails_is_dropped_with_its_reason():
    """A propeller that fails alone on paper, one that fails in draws; what the centre has always stays."""
    setting = settings(small_brief())[0]
    catalogue, train = few_parts("2S 600", "2S 850"), small_train()
    packs = [p for p in catalogue.packs.values() if p.cells_series == 2]
    blades = list(catalogue.propellers.values())
    offer = Offer(replace(train, pack=packs[1], propeller=blades[-1]), packs, blades)
    there = conditions([setting], (1000,), (35,))
    may = grown(offer, there, there, (0.8, 0.9))
    assert all(good[own] for good, own in zip(may.allowed, offer.own, strict=True))
    for (axis, option), reasons in may.why.items():
        assert not may.allowed[axis][option]
        assert reasons
    for ladder in may.allowed[:2]:
        steps = np.flatnonzero(ladder)
        assert steps.tolist() == list(range(steps[0], steps[-1] + 1))
    fresh = Builds.of(offer, [each.astype(float) for each in may.allowed], there, 512, 99)
    assert fresh.chance[0] >= 0.77
    assert fresh.chance[1] >= 0.87


def test_what_went_comes_back_where_it_holds():
    """Of the centre's own parts alone more is listed where all of it holds; fresh builds, by other numbers, keep the
    chances within two standard errors."""
    setting = settings(small_brief(("min_thrust_to_weight = 0.5", "min_thrust_to_weight = 0.1")))[0]
    train, catalogue = small_train(), small_catalogue()
    packs = [p for p in catalogue.packs.values() if p.cells_series == 2 and 600 <= p.capacity_mah <= 850]
    offer = Offer(replace(train, pack=packs[0]), packs, [train.propeller])
    there = conditions([setting], (0,), (20,))
    on_paper = [np.ones(len(each), dtype=bool) for each in offer.axes]
    growth = _Growth(offer, [np.arange(len(each)) == own for each, own in zip(offer.axes, offer.own, strict=True)],
                     np.array((0.8, 0.9)), {})  # fmt: skip
    tried = growth.dropped(on_paper)
    assert [int(each.sum()) for each in tried[:2]] == [8, 7 - max(0, offer.own[1] - 4)]
    bank = Builds.of(offer, growth.odds(tried), there, 2048, 5)
    growth.widen(bank, tried)
    alive = bank.alive(growth.allowed)
    share = (bank.kept[0][:, alive] * bank.weight[alive]).sum(axis=1) / bank.weight[alive].sum()
    assert share[0] >= 0.8
    assert share[1] >= 0.9
    assert sum(int(each.sum()) for each in growth.allowed) > 4
    fresh = Builds.of(offer, growth.odds(), there, 1024, 6)
    assert fresh.chance[0] >= 0.77
    assert fresh.chance[1] >= 0.87


def test_a_count_that_the_brief_forbids_is_said_so():
    """No parts are tried for it, and no checks are listed."""
    brief = small_brief(("cells = [2, 3]", "cells = [2]"))
    found = parts_envelope(brief, few_parts("3S 600"), small_train(), cells=(3,))
    assert not found.cells[3].holds
    text = " ".join(line for block in envelope_text(found, Shown()) for line in block)
    assert "Do not fit 3S: the brief allows 2S alone." in text
    assert "misses" not in text


@pytest.mark.parametrize(("fit", "said"), [
    ((1, 1, 1, 1), "480 mAh and up to 820 of 25C or more"),
    ((0, 1, 1, 1), "560 mAh and up to 820 of 25C or more"),
    ((1, 1, 0, 1), "480 mAh and up to 560 of 30C or more; 820 mAh 25C"),
    ((0, 0, 1, 0), "680 mAh 45C"),
])  # fmt: skip
def test_packs_that_fit_in_a_row_are_one_range(fit, said):
    """A range says nothing of a pack that was tried between its ends and did not fit."""
    labels = ((480, 40), (560, 30), (680, 45), (820, 25))
    choices = [
        Choice(part=lawful_pack(2, float(mah), c_rating=float(c)), fits=bool(good), failed=() if good else ("balance",),
               chance_brief=1.0, chance_ratings=1.0, own=False)
        for (mah, c), good in zip(labels, fit, strict=True)
    ]  # fmt: skip
    assert _pack_runs(choices) == said


def test_where_nothing_holds_what_costs_most_is_said(nowhere):
    """Thin air costs thrust: without the high fields the chance rises; a second path draws that design by itself."""
    each = nowhere.cells[2]
    assert not each.holds
    assert each.costs.least.check == "thrust_to_weight"
    assert (each.costs.least.altitude_m, each.costs.least.temperature_c) == (1000.0, 35.0)
    by_what = {(c.without, c.name): c for c in each.costs.without}
    assert by_what["height", ""].near > each.costs.least.near
    assert by_what["limit", "thrust_to_weight"].near >= max(c.near for c in each.costs.without if c.without != "limit")
    there = Condition.of(settings(nowhere.brief)[0], 1000.0, 35.0, 35.0)
    own = replace(bought_train(each.train), **there.setting.train_numbers)
    assert drawn(there.setting, [own], draws=256).chance(["thrust_to_weight"])[0] == pytest.approx(
        each.costs.least.chance, abs=0.02
    )
    text = " ".join(line for block in envelope_text(nowhere, Shown()) for line in block)
    assert "no change of one or two parts holds everywhere" in text
    assert "fields above 100 m" in text
    first = envelope_answer(nowhere)[0]
    assert "the design itself does not hold from 0 to 1000 m" in first
    assert first.endswith("Nothing that others may fit does.")


def test_costs_leave_one_thing_out_each():
    setting, heavy = settings(small_brief())
    costs = Costs.of(setting, [setting, heavy], bought_train(small_train()))
    kinds = {cost.without for cost in costs.without}
    assert kinds == {"height", "low fields", "cold", "heat", "variant", "limit"}
    assert all(cost.near >= costs.least.near for cost in costs.without)


def test_a_count_without_packs_is_left_open(nowhere):
    """No pack is made up: the catalogue has none with three cells."""
    assert nowhere.missing == (3,)
    assert set(nowhere.cells) == {2}
    assert "the catalogue has no such pack" in envelope_markdown(nowhere, SYSTEMS["metric"])


def test_every_pack_is_sold(envelope):
    names = {f"{cells}S {mah}" for cells in (2, 3) for mah in (600, 850)}
    for each in envelope.cells.values():
        assert {choice.part.name for choice in each.packs} <= names
        assert each.train.pack.name in names


def test_a_count_that_nothing_brings_inside():
    few = {"cells_max": 2}
    train = small_train(motor=few | {"max_current_a": 12.0}, controller=few)
    parts = Catalogue.of(motors=[train.motor], propellers=[train.propeller], controllers=[train.controller],
                         packs=[lawful_pack(3, 600.0)])  # fmt: skip
    each = parts_envelope(small_brief(), parts, train, cells=(3,)).cells[3]
    assert not each.holds
    assert "cell_count" in each.failing


def test_variants_are_covered_or_told_why(envelope):
    by_name = {each.variant: each for each in envelope.variants}
    assert by_name["as designed"].covered
    heavy = settings(small_brief())[1]
    near = float(drawn(heavy, [small_train()]).near[0])
    assert by_name["heavy"].covered == (near >= 1.0)
    assert by_name["heavy"].all_up_mass_by_cells_g[2] == pytest.approx(330 + envelope.cells[2].train.mass_g)


@pytest.fixture(scope="module")
def bare():
    """No balance, a build far too heavy, and a name that would be markup."""
    text = BRIEF.split("[balance]")[0].replace("bare_mass_g = 330", "bare_mass_g = 420") + ONE_DAY
    brief = loads_brief(text.replace('name = "test bird"', 'name = "a|b <script> [x](y) `z`"'))
    return parts_envelope(brief, few_parts("3S 600"), small_train(), cells=(3,))


def test_a_variant_too_heavy_is_named(bare):
    each = {variant.variant: variant for variant in bare.variants}["heavy"]
    assert not each.covered
    assert "all_up_mass" in each.failed
    assert "not covered: all-up mass" in envelope_markdown(bare, SYSTEMS["metric"])


# ---------------------------------------------------------------- as text


@pytest.mark.parametrize("units", ["metric", "imperial", "si"])
def test_the_text_fits_a_page_and_carries_the_cautions(envelope, units):
    lines = [line for block in envelope_text(envelope, SYSTEMS[units]) for line in block]
    assert max(map(len, lines)) <= 80
    flat = " ".join(" ".join(lines).split())
    for words in (
        "2S propeller",
        "3S pack",
        "yes: ",
        "label kV",
        "ESC rating",
        "battery lead",
        "timer for any of these",
    ):
        assert words in flat, words
    markdown = envelope_markdown(envelope, SYSTEMS[units])
    for words in (*CAUTIONS, "## With 2S", "## With 3S"):
        assert words in markdown
    assert "safe" not in flat.replace("a club's safety officer", "")
    unit = {"metric": "gf", "imperial": "oz", "si": " N "}[units]
    assert unit in markdown
    assert len(corner_block(envelope)) >= 2


def test_markdown_cannot_be_steered_by_a_name(bare):
    text = envelope_markdown(bare, SYSTEMS["metric"])
    assert "<script>" not in text.replace("\\<script>", "")
    tables = [line for line in text.splitlines() if line.startswith("| ")]
    assert {line.replace("\\|", "").count("|") for line in tables} == {3}
    assert text.startswith("# What others may fit: a\\|b")
    assert "## Assumed" in text


def test_no_balance_no_position(bare):
    assert bare.cells[3].holds
    assert math.isnan(bare.cells[3].pack_position_mm[0])
    assert math.isnan(bare.target_cg_mm)
    assert "balance as the plans say" in envelope_markdown(bare, SYSTEMS["metric"])


def test_two_geared_motors_have_an_envelope():
    geared = simple_motor(kv_rpm_per_v=2800.0, gear_ratio=2.0, resistance_ohm=0.06)
    text = BRIEF.split("[balance]")[0].replace('name = "test bird"', 'name = "test bird"\nmotor_count = 2')
    brief = loads_brief(text.replace("460", "800").replace("0.5\n", "0.4\n") + ONE_DAY)
    train = replace(small_train(motor=geared, pack=lawful_pack(2, 1700.0, cells_parallel=2)), count=2)
    each = (found := parts_envelope(brief, few_parts("2S 850"), train, cells=(2,))).cells[2]
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
