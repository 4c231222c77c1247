"""A brief resolved once, and what a setting says of masses, airspeeds and power trains."""

from collections import Counter

import attrs
import numpy as np
import pytest
from support.small_aircraft import lawful_pack, small_brief, small_catalogue, small_train
from support.trains import simple_controller, simple_motor, simple_pack, simple_propeller, simple_train

import propmatch_datasets
from propmatch import compare_cells, match, parts_envelope
from propmatch.brief import Brief, loads_brief
from propmatch.checks.judged import judged_trains
from propmatch.checks.limits import Design, run_checks
from propmatch.checks.setting import ResolvedBrief, settings
from propmatch.faults import InputFaults
from propmatch.questions.ask import capacity_for_minutes, mass_range, site_range
from propmatch.questions.fits import may_fit
from propmatch.records.estimates import completed
from propmatch.records.fields import replace
from propmatch.records.parts import Airframe
from propmatch.search.why import why

G = 9.80665


@pytest.fixture
def calls():
    """How often a brief and how often an airframe is completed."""
    count: Counter[type] = Counter()
    laws = {cls: completed.dispatch(cls) for cls in (Brief, Airframe)}

    def counted(cls):
        def law(part):
            count[cls] += 1
            return laws[cls](part)

        return law

    for cls in laws:
        completed.register(cls, counted(cls))
    yield count
    for cls, law in laws.items():
        completed.register(cls, law)


def bundled(name):
    return loads_brief(propmatch_datasets.path(f"briefs/{name}.toml").read_text(encoding="utf-8"))


# ---------------------------------------------------------------- once


def test_a_match_resolves_a_bundled_brief_once(calls):
    brief = bundled("schoolyard_trainer")
    assert brief.variant
    calls.clear()
    assert match(brief, small_catalogue()).combinations > 0
    assert calls == {Brief: 1, Airframe: 1 + len(brief.variant)}


BENCH = small_train()
QUESTIONS = {
    "match": lambda brief, parts: match(brief, parts, exhaustive=True),
    "cells": lambda brief, parts: compare_cells(brief, parts),
    "cells of a train": lambda brief, parts: compare_cells(brief, parts, train=BENCH),
    "envelope": lambda brief, parts: parts_envelope(brief, parts, BENCH, cells=(2,), on_paper=True),
    "fits": lambda brief, parts: may_fit(brief, parts, BENCH, pack=lawful_pack(2, 1000.0)),
    "mass": lambda brief, parts: mass_range(brief, BENCH, variant="heavy"),
    "pack": lambda brief, parts: capacity_for_minutes(brief, BENCH, 8.0, catalogue=parts),
    "field": lambda brief, parts: site_range(brief, BENCH),
}


def few():
    return small_catalogue().restricted(motors="kv1400", controllers="20A")


@pytest.mark.parametrize("question", QUESTIONS)
def test_every_question_resolves_its_brief_once(question, calls):
    brief, parts = small_brief(), few()
    calls.clear()
    QUESTIONS[question](brief, parts)
    assert calls == {Brief: 1, Airframe: 2}


@pytest.mark.parametrize("question", QUESTIONS)
def test_a_brief_that_is_resolved_is_not_resolved_again(question, calls):
    resolved, parts = ResolvedBrief.of(small_brief()), few()
    calls.clear()
    QUESTIONS[question](resolved, parts)
    assert not calls


def test_a_reason_and_checks_take_a_resolved_brief(calls):
    parts = small_catalogue()
    resolved = ResolvedBrief.of(small_brief())
    calls.clear()
    best = match(resolved, parts, top=1).best
    assert best is not None
    assert why(resolved, parts, best.id).place == 1
    assert not calls
    assert run_checks(best.design, resolved)
    assert calls[Brief] == 0


def test_resolved_or_not_the_answer_is_the_same():
    brief, parts = small_brief(), small_catalogue()
    plain, once = match(brief, parts), match(ResolvedBrief.of(brief), parts)
    assert [(row.id, row.score) for row in plain.rows] == [(row.id, row.score) for row in once.rows]
    assert plain.brief == once.brief == brief
    assert plain.assumptions == once.assumptions


def test_other_cell_counts_change_the_limit_alone():
    brief = small_brief()
    asked = ResolvedBrief.of(brief).with_cells((3,))
    again = ResolvedBrief.of(replace(brief, limits=replace(brief.limits, cells=(3,))))
    assert asked.stated == again.stated
    assert [(s.brief, s.variant, s.brief_assumptions) for s in asked.settings] == [
        (s.brief, s.variant, s.brief_assumptions) for s in again.settings
    ]


def test_an_unknown_variant_is_named_with_those_there_are():
    with pytest.raises(InputFaults, match="'as designed', 'heavy'"):
        ResolvedBrief.of(small_brief()).named("lighter")


# ---------------------------------------------------------------- masses, airspeeds, trains


def test_the_mass_is_that_of_the_parts_weighed_together():
    """Arithmetic: 265 g (330 g in the heavy build), the parts' own masses, nothing else."""
    train = simple_train(
        motor=simple_motor(mass_g=28.0), controller=simple_controller(mass_g=12.0), pack=simple_pack(mass_g=70.0),
        propeller=simple_propeller(mass_g=4.0), count=2,
    )  # fmt: skip
    for setting, bare in zip(settings(small_brief()), (265.0, 330.0), strict=True):
        whole = bare + 2 * (28.0 + 12.0 + 4.0) + 70.0
        assert setting.all_up_mass_g(train.mass_g) == pytest.approx(whole)
        assert setting.all_up_mass_kg(np.array([train.mass_g]))[0] == pytest.approx(whole / 1000)
        assert setting.train_mass_g(whole) == pytest.approx(train.mass_g)


@pytest.mark.slow
def test_there_is_one_sum_of_bare_mass_and_power_train(monkeypatch):
    """100 g more in that one place weigh 100 g more wherever a mass is said."""
    monkeypatch.setenv("PROPMATCH_CACHE", "")  # a law changed in place is no other code
    brief, parts = small_brief(("target_mass_g = 460", "target_mass_g = 700"), ("[2, 3]", "[2]")), small_catalogue()
    law = Airframe.all_up_mass_g

    def masses():
        here = settings(brief)[0]
        found = match(brief, parts)
        whole = match(brief, parts, exhaustive=True)
        assert [row.id for row in found.rows] == [row.id for row in whole.rows]
        best = {row.id: row.all_up_mass_g for row in found.rows}
        compared = compare_cells(brief, parts, train=BENCH, cells=(2,)).case(2)
        published = parts_envelope(brief, parts, BENCH, cells=(2,))
        return best, {
            "setting": here.all_up_mass_g(BENCH.mass_g),
            "design": Design.of(BENCH, here.variant).all_up_mass_g,
            "measure": float(judged_trains(here, [BENCH])[0]["all_up_mass"].value[0]),
            "cells": compared.all_up_mass_g,
            "mass range": mass_range(brief, BENCH).all_up_mass_g,
            "envelope": published.variants[0].all_up_mass_by_cells_g[2] - published.cells[2].train.mass_g,
        }

    rows, before = masses()
    monkeypatch.setattr(Airframe, "all_up_mass_g", lambda self, train_mass_g: law(self, train_mass_g) + 100.0)
    more, after = masses()
    assert {name: after[name] - before[name] for name in before} == pytest.approx(dict.fromkeys(before, 100.0))
    both = rows.keys() & more.keys()
    assert both
    assert all(more[each] - rows[each] == pytest.approx(100.0) for each in both)


def test_a_phase_without_airspeed_flies_at_one_multiple_of_the_stall_speed():
    """V = 1.3 sqrt(2 W/(rho S CL_max)): J. D. Anderson, Introduction to Flight, ch. 5, for the stall; 1.3 common
    practice, no published source. Density 1.225 kg/m3 of the standard atmosphere at sea level (ICAO Doc 7488)."""
    brief = small_brief(("altitude_m = 100\ntemperature_c = 18", "altitude_m = 0"))
    for setting in settings(brief):
        train = small_train()
        measured, _ = judged_trains(setting, [train])
        weight = (setting.variant.airframe.bare_mass_g + train.mass_g) / 1000 * G
        speed = 1.3 * np.sqrt(2 * weight / (1.225 * 0.16 * 1.1))
        loud, cruise = setting.phases
        at = {
            "setting": setting.airspeed_m_s(loud, setting.airframes(np.array([train.mass_g])))[0],
            "checks": measured.flown[0].airspeed[0],
            "flight time": measured.flight.airspeed_m_s[0, 0],
            "phase": setting.flight_time(train).phases[0].airspeed_m_s,
        }
        assert at == pytest.approx(dict.fromkeys(at, speed), rel=1e-4)
        assert setting.airspeed_m_s(cruise, setting.airframes(np.ones(2))) == pytest.approx([11.0, 11.0])


def test_four_parts_become_a_train_as_the_variant_flies_them():
    brief = small_brief(
        ('bare_mass_g = 330', 'bare_mass_g = 330\nmotor_count = 2\nradio_current_a = 0.7'),
        ("temperature_c = 18", "temperature_c = 18\npack_temperature_c = 5"),
    )  # fmt: skip
    parts = small_train()
    one, two = (s.train(parts.motor, parts.controller, parts.pack, parts.propeller) for s in settings(brief))
    assert (one.count, one.radio_current_a, one.pack_temperature_c) == (1, 0.2, 5.0)
    assert (two.count, two.radio_current_a, two.pack_temperature_c) == (2, 0.7, 5.0)
    assert (two.motor, two.controller, two.pack, two.propeller) == (
        parts.motor, parts.controller, parts.pack, parts.propeller,
    )  # fmt: skip
    assert two.numbers == settings(brief)[1].train_numbers


def test_a_variant_flies_every_train_with_its_own_numbers() -> None:
    text = ('name = "heavy"\n', 'name = "heavy"\nradio_current_a = 1.5\nmotor_count = 2\n')
    designed, heavy = ResolvedBrief.of(small_brief(text)).settings
    train = replace(small_train(), **designed.train_numbers)
    assert (heavy.flown(train).radio_current_a, heavy.flown(train).count) == (1.5, 2)
    assert designed.flown(train) == train
    typed = replace(train, radio_current_a=0.7)
    assert heavy.flown(typed).radio_current_a == 0.7, "what was named for this train stays"
    mass = judged_trains(heavy, [train])[0].frames.mass_kg[0]
    assert mass == judged_trains(heavy, [replace(train, count=2, radio_current_a=1.5)])[0].frames.mass_kg[0]
    assert heavy.flight_time(train).minutes == heavy.flight_time(replace(train, count=2, radio_current_a=1.5)).minutes


def test_some_lanes_of_a_setting_fly_in_their_own_air():
    setting = settings(small_brief())[0]
    assert setting.take(np.array([1])) is setting, "one air for all"
    several = attrs.evolve(setting, air=attrs.evolve(setting.air, density_kg_m3=np.array([1.2, 1.1, 1.0])))
    assert several.take(np.array([2, 0])).air.density_kg_m3.tolist() == [1.0, 1.2]


@pytest.mark.parametrize(("cycles", "rest_h"), [(150, 20.0), (0, 0.0)])
def test_what_a_brief_says_of_its_packs_is_in_the_numbers_of_its_trains(cycles, rest_h):
    brief = small_brief()
    brief = attrs.evolve(brief, pack=attrs.evolve(brief.pack, cycles=cycles, rest_h=rest_h))
    numbers = ResolvedBrief.of(brief).as_designed.train_numbers
    assert (numbers["pack_cycles"], numbers["pack_rest_h"]) == (cycles, rest_h)
