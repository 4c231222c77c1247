"""What fits a box, against every combination judged alone by the checks of a single design."""

import itertools
from functools import cache

import attrs
import numpy as np
import pytest

from propmatch.brief import loads_brief
from propmatch.catalogue.catalogue import Catalogue, load_catalogue
from propmatch.checks.limits import Design, checks_of, measures_of, missed
from propmatch.checks.setting import ResolvedBrief
from propmatch.faults import InputFaults
from propmatch.questions.box import box_of, judge_box
from propmatch.questions.purchases import purchases
from propmatch.questions.shopping import shopping_list, surer_with, what_fits
from propmatch.records.fields import replace
from propmatch.records.parts import PARTS, PowerTrain
from propmatch.records.sections import PartsFilter
from propmatch.search import matching
from propmatch.search.exhaustive import exhaustive
from propmatch.search.ranking import ranking

BRIEF = """
[aircraft]
name = "test bird"
bare_mass_g = 265
target_mass_g = 420
{more}
[wing]
area_dm2 = 16
span_mm = 1100
[limits]
min_thrust_to_weight = 0.7
min_flight_minutes = 9
max_propeller_diameter_in = 8
cells = [2, 3]
[parts]
only = ["mine"]
"""
MINE = {
    "motors": (0, 9, 21, 33, 47), "controllers": (3, 11), "packs": (2, 9, 23, 30), "propellers": (5, 14, 22, 31),
}  # fmt: skip
"""Which of the bundled parts are in the box; every third of the others is in a shop."""


POOR = {**MINE, "motors": (0, 9), "packs": (2, 9)}
"""A box with which nothing works."""


@cache
def bundled():
    return load_catalogue(plugins=["bundled", "prediction"])


def stock(mine=MINE, **changes):
    """A box and a shop; ``changes`` are fields of the box's parts."""
    kinds = {}
    for kind, places in mine.items():
        parts = list(bundled().parts(kind).values())
        own = [replace(parts[at], id=f"mine/{parts[at].name}", **changes) for at in places]
        shop = [replace(part, id=f"shop/{part.name}", price="9.50 EUR") for n, part in enumerate(parts) if n % 3 == 1]
        kinds[kind] = own + [part for part in shop if part.name not in {each.name for each in own}]
    return Catalogue.of(**kinds)


def resolved(more=""):
    return ResolvedBrief.of(loads_brief(BRIEF.format(more=more)))


def judged_alone(setting, train):
    """The checks of one design that rule it out, and what they miss of their limits together."""
    measured, _ = measures_of(Design.of(train, setting.variant), ResolvedBrief.of(setting.stated))
    failing = missed(checks_of(measured)[0])
    return failing, sum(-check.margin for check in failing)


def trains(setting, box, cells):
    for motor, controller, pack, propeller in itertools.product(*(box.own[kind] for kind in PARTS)):
        low = max(motor.cells_min or 1, controller.cells_min or 1)
        high = min(motor.cells_max or 99, controller.cells_max or 99)
        if pack.cells_series == cells and low <= cells <= high:
            train = PowerTrain(motor=motor, controller=controller, pack=pack, propeller=propeller)
            yield replace(train, **setting.train_numbers)


@pytest.mark.parametrize(("mine", "works"), [(MINE, True), (POOR, False)])
def test_what_works_is_what_passes_alone_and_the_nearest_misses_by_least_in_all(mine, works):
    setting = resolved().as_designed
    small = box_of(setting, stock(mine))
    assert any(found.passing for found in judge_box(setting, small).values()) == works
    for cells, found in judge_box(setting, small).items():
        alone = [judged_alone(setting, train) for train in trains(setting, small, cells)]
        assert found.judged == found.combinations == len(alone)
        assert found.passing == sum(not failing for failing, _ in alone)
        if alone and not found.passing:
            assert found.nearest[0].total == pytest.approx(min(total for _, total in alone))
            always = set.intersection(*({check.name for check in failing} for failing, _ in alone))
            assert {check.name for check in found.always} == always
            for check in found.always:
                least = min(-c.margin for failing, _ in alone for c in failing if c.name == check.name)
                assert -check.margin == pytest.approx(least)
            for check, beside in zip(found.always, found.beside, strict=True):
                there = [len(failing) - 1 for failing, _ in alone for c in failing
                         if c.name == check.name and c.margin == pytest.approx(check.margin)]  # fmt: skip
                assert beside == min(there)


@pytest.mark.parametrize("mine", [MINE, POOR])
def test_a_part_works_where_any_combination_with_it_passes(mine):
    setting = resolved().as_designed
    for found in judge_box(setting, box_of(setting, stock(mine))).values():
        for use in found.parts:
            assert (use.nearest is None) == (use.passing > 0)
            if use.nearest is not None:
                assert getattr(use.nearest.train, use.kind) is use.part
                assert use.nearest.failing
                names = [check.name for check in judged_alone(setting, use.nearest.train)[0]]
                assert [check.name for check in use.nearest.failing] == names


def drawn(seed):
    """Some of the bundled parts at random."""
    rng = np.random.default_rng(seed)
    return {kind: tuple(rng.choice(20, 3, replace=False)) for kind in MINE}


@pytest.mark.parametrize("mine", [POOR, drawn(1), drawn(2)])
def test_of_one_part_to_buy_the_best_serves_most_cell_counts_and_ranks_best(mine):
    """Every part of the shop in its place, every combination with it judged one by one."""
    setting, order = resolved().as_designed, ranking(resolved().as_designed)
    catalogue = stock(mine)
    box = box_of(setting, catalogue)
    without = [cells for cells, found in judge_box(setting, box).items() if not found.passing]
    assert without
    bought = [each for each in purchases([setting], box, without, lambda _: None) if len(each.kinds) == 1]
    best = {}
    for kind in PARTS:
        for part in box.other[kind]:
            served = {}
            for cells in without:
                shelf = attrs.evolve(box, other=box.other | {kind: (part,)}).shelf(setting, cells, (kind,))
                if shelf is not None and shelf.combinations:
                    found = exhaustive(setting, shelf, order, top=1)
                    if found.passing:
                        served[cells] = float(found.score[0])
            if served:
                best[kind] = max(best.get(kind, (0, 0.0)), (len(served), max(served.values())))
    assert {each.kinds[0] for each in bought} == set(best)
    for each in bought:
        cells, score = best[each.kinds[0]]
        assert len(each.cells) == cells
        if each.holds is None:
            assert each.best.score == pytest.approx(score)
        assert not judged_alone(setting, each.best.train)[0]
    ranks = [best[each.kinds[0]] for each in bought if each.holds is None]
    assert ranks == sorted(ranks, reverse=True)


def test_every_part_of_the_catalogue_within_a_specification_does_it():
    setting = resolved().as_designed
    box = box_of(setting, stock({**MINE, "controllers": ()}))
    assert box.missing == ("controller",)
    for bought in purchases([setting], box, box.cells, lambda _: None):
        for spec in bought.specs:
            assert spec.example is spec.within[0]
            assert all(spec.holds(part) for part in spec.within)
            inside = [part for part in box.other[spec.kind] if spec.holds(part)]
            assert set(map(id, inside)) == set(map(id, spec.within))
        for parts in itertools.product(*(spec.within for spec in bought.specs)):
            train = replace(bought.best.train, **dict(zip(bought.kinds, parts, strict=True)))
            assert not judged_alone(setting, train)[0]


BALANCED = (
    BRIEF
    + """
[balance]
target_cg_mm = 100
cg_tolerance_mm = 2
bare_cg_mm = 100
motor_mm = 20
propeller_mm = 0
controller_mm = 300
pack_tray_from_mm = 100
pack_tray_to_mm = 110
"""
)
"""The controller balances motor and propeller; a light one does not, and the pack can move by little."""


def test_a_controller_at_either_end_of_the_masses_of_a_specification_does_it():
    setting = ResolvedBrief.of(loads_brief(BALANCED.format(more=""))).as_designed
    box = box_of(setting, stock({**MINE, "controllers": ()}))
    (bought,) = [each for each in purchases([setting], box, box.cells, lambda _: None) if each.kinds == ("controller",)]
    (spec,) = bought.specs
    least, most = spec.ranges["mass_g"]
    for mass in (least or 0.01 * spec.example.mass_g, most):
        part = replace(spec.example, mass_g=mass)
        assert spec.holds(part)
        assert not judged_alone(setting, replace(bought.best.train, controller=part))[0]


def with_twin(**changes):
    """A shop of one propeller that does it and one with other blades or none of its speed; what is bought."""
    setting = resolved().as_designed
    catalogue = stock({**MINE, "propellers": ()})
    box = box_of(setting, catalogue)
    (first,) = [each for each in purchases([setting], box, box.cells, lambda _: None) if each.kinds == ("propeller",)]
    good = first.specs[0].example
    assert good.family != changes.get("family")
    twin = replace(good, id="shop/twin", name="twin", max_rpm=300, **changes)
    alone = attrs.evolve(box, other=box.other | {"propeller": (good, twin)})
    (bought,) = [
        each for each in purchases([setting], alone, box.cells, lambda _: None) if each.kinds == ("propeller",)
    ]
    return bought.specs[0], twin


def test_what_has_the_numbers_of_the_example_and_fails_is_not_within():
    spec, twin = with_twin()
    assert (spec.ranges, spec.within) == ({}, (spec.example,))
    assert spec.holds(spec.example)
    assert not spec.holds(twin)


def test_blades_of_another_family_are_not_within():
    spec, twin = with_twin(family="wide")
    assert spec.ranges
    assert twin not in spec.within
    assert not spec.holds(twin)


def test_of_parts_within_a_specification_those_of_other_boxes_and_with_a_price_stand_first():
    setting = resolved().as_designed
    box = box_of(setting, stock({**MINE, "controllers": ()}))
    (before,) = [each for each in purchases([setting], box, box.cells, lambda _: None) if each.kinds == ("controller",)]
    (spec,) = before.specs
    foreign = replace(spec.example, id="bundled/x", price=None)
    dear = replace(spec.example, id="shop/dear", name="dear", mass_g=spec.example.mass_g * 1.0, price=None)
    priced = replace(dear, id="shop/priced", name="priced", price="8 EUR")
    for others, wanted in (((foreign, dear), "shop/dear"), ((foreign, dear, priced), "shop/priced")):
        small = attrs.evolve(box, other=box.other | {"controller": others})
        (bought,) = purchases([setting], small, box.cells, lambda _: None)
        assert bought.specs[0].example.id == wanted
        assert bought.best.controller_id == wanted
        assert {part.id for part in bought.specs[0].within} == {part.id for part in others}


def test_two_parts_are_bought_only_where_no_one_does_it():
    poor = what_fits(resolved(), stock(POOR))
    sizes = {len(each.kinds): set(each.cells) for each in poor.purchases}
    assert set(sizes) == {1, 2}
    assert not sizes[1] & sizes[2]
    everything = what_fits(resolved(), stock({**MINE, "motors": (), "propellers": ()}))
    assert everything.box.missing == ("motor", "propeller")
    assert {each.kinds for each in everything.purchases} <= {("motor", "propeller")}


def test_the_first_advice_is_confirmed_by_draws_and_the_others_are_on_paper():
    found = what_fits(resolved(), stock({**MINE, "controllers": ()})).purchases
    assert found
    assert found[0].best.pick is not None
    assert 0 <= found[0].best.pick.chance_all <= 1
    assert found[0].holds in (True, False)


def test_one_part_makes_sure_of_what_works_on_paper_alone():
    brief, catalogue = resolved(), stock()
    answer = what_fits(brief, catalogue)
    works = [cells for cells in answer.by_cells if cells not in answer.without]
    assert surer_with(answer, brief, catalogue, ()) is None
    bought = surer_with(answer, brief, catalogue, works)
    limits = brief.as_designed.brief.limits
    assert bought.holds
    assert len(bought.kinds) == 1
    assert bought.best.pick.chance_wishes >= limits.chance
    assert bought.best.pick.chance_ratings >= limits.rating_chance
    assert set(bought.cells) <= set(works)


def test_with_two_motors_a_part_must_be_there_twice():
    setting = resolved("motor_count = 2").as_designed
    box = box_of(setting, stock(count=1))
    assert [kind for kind, parts in box.own.items() if parts] == ["pack"]
    assert {kind: len(parts) for kind, parts in box.too_few.items() if parts} == {
        kind: len(MINE[f"{kind}s"]) for kind in ("motor", "controller", "propeller")
    }
    assert not box.uncounted
    assert all(box_of(setting, stock(count=2)).own.values())
    assert box_of(setting, stock()).uncounted


def test_of_a_part_that_is_there_once_one_more_is_bought_for_two_motors():
    """The only controller of the box is there once, and no shop has any."""
    heavy = BRIEF.format(more="motor_count = 2").replace("target_mass_g = 420", "target_mass_g = 900")
    setting = ResolvedBrief.of(loads_brief(heavy.replace("min_flight_minutes = 9", ""))).as_designed
    catalogue = stock(count=2)
    (one,) = [part for name, part in catalogue.controllers.items() if name.startswith("mine/")][:1]
    kinds = {kind: list(catalogue.parts(f"{kind}s").values()) for kind in PARTS if kind != "controller"}
    kinds["pack"] = [replace(pack, c_rating=90, burst_c_rating=None) for pack in kinds["pack"]]
    strong = replace(one, count=1, max_current_a=60, burst_current_a=None, cells_max=None)
    lone = Catalogue.of(**{f"{kind}s": parts for kind, parts in kinds.items()}, controllers=[strong])
    box = box_of(setting, lone)
    assert box.missing == ("controller",)
    bought = [each for each in purchases([setting], box, box.cells, lambda _: None) if each.kinds == ("controller",)]
    assert bought
    (spec,) = bought[0].specs
    assert (spec.example.id, spec.pieces) == (one.id, 1)
    (line,) = [line for line in shopping_list(box, bought[0].best.train, bought[0].specs).lines if line.buy]
    assert (line.kind, line.have, line.buy) == ("controller", 1, 1)
    missing = box_of(setting, Catalogue.of(**{f"{k}s": p for k, p in kinds.items()}, controllers=[
        replace(strong, id="shop/strong", price=None, count=None)]))  # fmt: skip
    two = [each for each in purchases([setting], missing, box.cells, lambda _: None) if each.kinds == ("controller",)]
    assert shopping_list(missing, two[0].best.train, two[0].specs).unpriced == 2


def test_a_part_of_which_none_is_there_counts_as_none():
    assert not any(box_of(resolved().as_designed, stock(count=0)).own.values())


def test_a_list_holds_the_whole_train_and_sums_what_is_bought():
    catalogue = stock({**MINE, "controllers": ()})
    bought = what_fits(resolved(), catalogue)
    first = bought.purchases[0]
    made = shopping_list(bought.box, first.best.train, first.specs)
    assert sum(line.mass_g for line in made.lines) + made.supply_g == pytest.approx(first.best.train.mass_g)
    (total,) = made.total
    assert (total.amount, total.currency) == (9.5 * sum(line.buy for line in made.lines), "EUR")
    assert {line.kind for line in made.lines if line.buy} == set(first.kinds)
    assert made.unpriced == 0
    assert all(line.spec is None for line in made.lines if not line.buy)


def test_match_takes_the_parts_of_the_box_alone_and_the_cell_counts_it_has():
    brief = resolved().stated
    catalogue = stock({**MINE, "packs": (2, 9)})
    cells = {pack.cells_series for name, pack in catalogue.packs.items() if name.startswith("mine/")}
    shortlist = matching.match(brief, catalogue, on_paper=True)
    assert set(shortlist.by_cells) == cells & {2, 3}
    assert all(part.startswith("mine/") for row in shortlist.rows for part in row.id.split(" + "))


def test_a_box_that_does_not_exist_is_a_fault_that_names_those_that_do():
    with pytest.raises(InputFaults, match=r"parts.only = 'mien': there is no box and no plugin .*did you mean mine"):
        stock().let_in(PartsFilter(only=("mien",)))


def test_a_very_large_box_is_judged_by_its_best_and_a_sample(monkeypatch):
    from propmatch.questions import box as module

    monkeypatch.setattr(module, "JUDGED", 60)
    monkeypatch.setattr(module, "BEST", 5)
    setting = resolved().as_designed
    whole = judge_box(setting, box_of(setting, stock()))
    for cells, found in whole.items():
        shelf = box_of(setting, stock()).shelf(setting, cells)
        passing = exhaustive(setting, shelf, ranking(setting), top=1).passing
        assert found.judged <= 60
        assert (found.passing > 0) == (passing > 0)
