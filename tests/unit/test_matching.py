"""From brief and catalogue to a shortlist."""

import time
from functools import partial

import attrs
import numpy as np
import pytest
from support.random_cases import random_brief, random_parts

from propmatch.catalogue.catalogue import Catalogue
from propmatch.checks.limits import excludes
from propmatch.checks.setting import ResolvedBrief
from propmatch.faults import InputFaults
from propmatch.records.fields import replace
from propmatch.search.matching import Search, _Clock, shelves_of
from propmatch.search.matching import match as match_that_holds
from propmatch.search.ranking import ranking
from propmatch.search.why import letting_in, why

match = partial(match_that_holds, on_paper=True)


def case(seed, sizes=(6, 3, 8, 7)):
    rng = np.random.default_rng(seed)
    parts = random_parts(rng, sizes)
    kinds = {k: [attrs.evolve(p, id=f"{k}/{i}", name=f"{k} {i}") for i, p in enumerate(ps)] for k, ps in parts.items()}
    brief = random_brief(rng)
    limits = attrs.evolve(brief.limits, min_flight_minutes=1.5, min_thrust_to_weight=0.3, cutoff_cell_v=None)
    return attrs.evolve(brief, limits=limits), Catalogue.of(**kinds)


BRIEF, STOCK = case(4)
"""The first case of which more than 30 combinations pass."""


def test_both_ways_of_searching_agree():
    quick, plain = match(BRIEF, STOCK), match(BRIEF, STOCK, exhaustive=True)
    assert [(r.id, r.score) for r in quick.rows] == [(r.id, r.score) for r in plain.rows]
    assert {c: [r.id for r in g] for c, g in quick.by_cells.items()} == {
        c: [r.id for r in g] for c, g in plain.by_cells.items()
    }
    assert (quick.passing, quick.left_out, quick.combinations) == (plain.passing, plain.left_out, plain.combinations)
    assert quick.passing > 30
    assert quick.combinations == quick.passing + sum(quick.left_out.values())


def test_rows_pass_and_stand_in_order():
    found = match(BRIEF, STOCK, top=15)
    assert found.best is found.rows[0]
    scores = [row.score for row in found.rows]
    assert scores == sorted(scores, reverse=True)
    for row in found.rows:
        assert not [c for c in row.checks if excludes(c)]
        assert row.all_up_mass_g == pytest.approx(row.design.all_up_mass_g)
        assert row.cells == row.train.pack.cells_series
        assert row.id == " + ".join((row.motor_id, row.controller_id, row.pack_id, row.propeller_id))
        assert row.check("thrust_to_weight").value == row.thrust_to_weight


def test_what_a_session_shows_of_an_answer_says_how_many_rows_it_leaves_out():
    told = repr(match(BRIEF, STOCK, top=15)).splitlines()
    shown = len(told) - 2
    assert "of" in told[0]
    assert told[-1] == f"... and {15 - shown} more rows"
    assert len(told) <= 10


def test_without_counting_the_rows_are_the_same():
    assert [r.id for r in match(BRIEF, STOCK, count=False).rows] == [r.id for r in match(BRIEF, STOCK).rows]
    assert match(BRIEF, STOCK, count=False).passing is None


def test_who_looks_for_picks_counts_nothing():
    setting = ResolvedBrief.of(BRIEF).as_designed
    shelf = next(iter(shelves_of(setting, STOCK)[0].values()))
    assert Search(exhaustive=False, count=None, total=1)(setting, shelf, ranking(setting), 3).passing is None


def test_what_is_best_when_time_is_up_is_an_answer_that_says_it_is_not_complete():
    found = match(BRIEF, STOCK, within_s=1e-9)
    assert not found.complete


def test_time_that_is_up_when_all_is_done_interrupts_nothing():
    clock = _Clock(time.monotonic() - 1.0, None)
    clock(5, 5)
    assert not clock.over
    with pytest.raises(KeyboardInterrupt):
        clock(4, 5)
    assert clock.over


def test_a_part_out_of_a_box_that_the_brief_does_not_name_is_let_in_beside_those_of_its_boxes():
    train = match(BRIEF, STOCK).best.train
    boxed = attrs.evolve(
        train, motor=attrs.evolve(train.motor, id="mine/m"), controller=attrs.evolve(train.controller, id="mine/c"),
        pack=attrs.evolve(train.pack, id="mine/k"), propeller=attrs.evolve(train.propeller, id="other/p"),
    )  # fmt: skip
    assert letting_in(BRIEF, boxed) is BRIEF, "a brief that names no boxes lets everything in"
    mine = replace(BRIEF, parts=replace(BRIEF.parts, only=("mine",)))
    parts = letting_in(mine, boxed).parts
    assert parts.only == ("mine", "other")
    assert (parts.motor, parts.propeller) == (("mine/*",), ("mine/*", "other/p"))
    assert letting_in(mine, attrs.evolve(boxed, propeller=attrs.evolve(train.propeller, id="mine/p"))) is mine


def test_the_front_is_of_all_cell_counts_together():
    found = match(BRIEF, STOCK)
    marks = found.marks(None)
    assert len(marks) == found.passing
    assert {m.id for m in marks if m.front} == {m.id for m in found.front}
    longest = max(marks, key=lambda m: m.flight_minutes)
    assert longest.front
    assert min(marks, key=lambda m: m.all_up_mass_g).all_up_mass_g == min(m.all_up_mass_g for m in found.front)


def test_why_tells_the_place_that_the_list_shows():
    found = match(BRIEF, STOCK, top=10**5)
    for group in found.by_cells.values():
        for place in {0, len(group) // 2, len(group) - 1} if group else ():
            reason = why(BRIEF, STOCK, group[place].id)
            assert reason.meets
            assert (reason.place, reason.passing) == (place + 1, len(group))
            assert reason.score == group[place].score
            assert reason.score <= reason.score_bound
            assert f"number {place + 1} of {len(group)}" in reason.sentence


def test_why_names_the_limits_that_exclude():
    tight = attrs.evolve(BRIEF, limits=attrs.evolve(BRIEF.limits, min_thrust_to_weight=9.0))
    identity = match(BRIEF, STOCK).best.id
    reason = why(tight, STOCK, identity)
    assert not reason.meets
    assert reason.place is None
    assert "thrust_to_weight" in [c.name for c in reason.excluded_by]
    assert "misses " in reason.sentence


def test_ids_that_mean_nothing_are_faults():
    with pytest.raises(InputFaults, match="must be ids of motor"):
        why(BRIEF, STOCK, "motors/0")
    with pytest.raises(InputFaults) as caught:
        why(BRIEF, STOCK, "motors/77 + controllers/0 + packs/x + propellers/0")
    assert len(caught.value.faults) == 2


def test_cell_counts_nobody_sells_and_variants_that_do_not_exist_are_faults():
    six = attrs.evolve(BRIEF, limits=attrs.evolve(BRIEF.limits, cells=(6,)))
    with pytest.raises(InputFaults, match="no 6S pack"):
        match(six, STOCK)
    with pytest.raises(InputFaults, match="variant"):
        match(BRIEF, STOCK, variant="nowhere")


def test_progress_runs_once_over_all_cell_counts():
    seen = []
    found = match(BRIEF, STOCK, progress=lambda done, total: seen.append((done, total)))
    done = [d for d, _ in seen]
    assert done == sorted(done)
    assert seen[-1] == (found.combinations, found.combinations)
