"""Samples of the world: all parts and the aircraft drawn once, each number from its own uncertainty, and matched again.

A sample is a catalogue and an aircraft as they might really be (:mod:`propmatch.tolerances`). In each it is asked which
power train comes first, and whether those named keep every limit. How often one does is its chance of meeting the
brief; how often one comes first says how firm the ranking stands.
"""

from collections import Counter
from collections.abc import Sequence
from itertools import product
from typing import Unpack

import attrs
import numpy as np

from propmatch.aircraft.polar import PolarFactors
from propmatch.catalogue.catalogue import Catalogue
from propmatch.checks.judged import passing
from propmatch.checks.measures import Setting, TrainMeasures
from propmatch.checks.setting import ResolvedBrief
from propmatch.models.arrays import Flags, Index
from propmatch.models.surface import stack_surfaces
from propmatch.records.fields import replace
from propmatch.records.trainid import joined_ids, parts_in_order
from propmatch.search.bounds.pruned import PropellerTables, search
from propmatch.search.matching import match, shelf_for
from propmatch.search.ranking import ranking
from propmatch.search.shelf import Shelf
from propmatch.search.sweep import Answer, Task, Where, run_everywhere, sweep
from propmatch.tolerances.draws import Draws, normal_draws

__all__ = ["Sampled", "Tally", "Worlds", "sample"]

_TOGETHER = 8
"""Samples that one task of an executor takes."""
_NAMED = 6
"""Of those that come first somewhere so many are named."""

Combination = tuple[int, int, int, int]


@attrs.frozen(eq=False)
class _Stated:
    """One variant of the brief with its parts, as they are stated and with the uncertainty of each number."""

    setting: Setting
    shelf: Shelf
    uncertain: Draws

    @classmethod
    def of(cls, setting: Setting, catalogue: Catalogue) -> "_Stated":
        """Of a variant."""
        shelf, cells = shelf_for(setting, catalogue), setting.brief.limits.cells
        of_pack = shelf.column("cells")
        shelf = shelf.with_packs(np.flatnonzero(np.isin(of_pack, cells or np.unique(of_pack))))
        trains = [shelf.train(*(at % size for size in shelf.sizes)) for at in range(shelf.lanes.size)]
        return cls(setting, shelf, Draws.of(trains, setting.brief.uncertainty, normal_draws(1, 0)))

    def world(self, *seed: int) -> tuple[Setting, Shelf]:
        """Aircraft and parts of a sample; another variant of the brief has the same draws."""
        draws = self.uncertain.of_parts(np.random.default_rng(seed))
        return self._aircraft(draws), self._parts(draws)

    def _aircraft(self, draws: Draws) -> Setting:
        here, polar, bare = self.setting, draws.polar(), float(draws.factor("bare_mass")[0])
        frame, air = here.variant.airframe, here.air
        one = {a.name: getattr(polar, a.name)[:1] for a in attrs.fields(PolarFactors)}
        return attrs.evolve(
            here,
            variant=attrs.evolve(here.variant, airframe=replace(frame, bare_mass_g=bare * frame.bare_mass_g)),
            build=here.build.times(bare),
            air=attrs.evolve(air, density_kg_m3=air.density_kg_m3 * float(draws.factor("air_density")[0])),
            polar=PolarFactors(**one),
        )

    def _parts(self, draws: Draws) -> Shelf:
        """The propellers as tables of their own, which the bounds of the search read."""
        lanes, propellers = draws.of_lanes(self.shelf.lanes), len(self.shelf.propellers)
        surfaces = [each.table.surfaces for each in self.shelf.propellers if each.table is not None]
        scaled = [
            each.times(ct=float(ct), cp=float(cp))
            for each, ct, cp in zip(surfaces, lanes.ct_scale[:propellers], lanes.cp_scale[:propellers], strict=True)
        ]
        one = np.ones(lanes.size)
        own = np.arange(lanes.size, dtype=np.intp) % propellers
        lanes = attrs.evolve(lanes, propeller=own, stack=stack_surfaces(scaled), ct_scale=one, cp_scale=one)
        return attrs.evolve(self.shelf, lanes=lanes)


class Worlds:
    """A brief and the parts for it as they might really be.

    Parameters
    ----------
    task : Task; seed : int, the same seed and number give the same sample
    """

    def __init__(self, task: Task, seed: int) -> None:
        resolved = ResolvedBrief.of(task.brief)
        ranked = resolved.named(task.variant)
        others = [s for s in resolved.settings if s.variant.must_hold and s.variant.name != ranked.variant.name]
        self._must = [_Stated.of(setting, task.stock.catalogue) for setting in (ranked, *others)]
        self.seed, self.order, self.setting, self.shelf = seed, ranking(ranked), ranked, self._must[0].shelf

    def world(self, number: int) -> tuple[Setting, Shelf]:
        """Aircraft, in the variant that is ranked, and parts of a sample."""
        return self._must[0].world(self.seed, number)

    def first(self, number: int) -> Combination | None:
        """What comes first in a sample; None where nothing meets the brief."""
        setting, shelf = self.world(number)
        found = search(setting, shelf, self.order, top=1, count=False, tables=PropellerTables(setting, shelf))
        return tuple(found.combination[0].tolist()) if len(found.combination) else None

    def meets(self, number: int, combinations: Index) -> Flags:
        """Which of some combinations (C, 4) keep every limit in a sample, in each variant that must hold."""
        good = np.ones(len(combinations), dtype=np.bool_)
        for each in self._must:
            setting, shelf = each.world(self.seed, number)
            good &= passing(TrainMeasures(setting, *shelf.combine(*combinations.T)))
        return good

    def id_of(self, combination: Combination) -> str:
        """Of a combination."""
        return joined_ids(self.shelf.ids(combination).values())

    def combination_of(self, train_id: str) -> Combination:
        """Of an id."""
        at = {kind: {str(part.id): i for i, part in enumerate(parts)} for kind, parts in self.shelf.kinds.items()}
        motor, controller, pack, propeller = parts_in_order(train_id, at, "pick").values()
        return motor, controller, pack, propeller


@attrs.frozen(kw_only=True, eq=False)
class _Some:
    """Some samples of a task."""

    task: Task
    seed: int
    numbers: tuple[int, ...]


def _firsts(some: _Some) -> tuple[Combination | None, ...]:
    worlds = Worlds(some.task, some.seed)
    return tuple(worlds.first(number) for number in some.numbers)


def _holding(task: Task) -> tuple[str, ...]:
    """The ids of the best that hold."""
    found = match(task.brief, task.stock.catalogue, variant=task.variant, count=False)
    return tuple(row.id for row in found.rows[: task.top] if found.holds.get(row.cells))


@attrs.frozen(kw_only=True)
class Tally:
    """One power train over all samples.

    Attributes
    ----------
    id : str
    rank_on_paper : its place by the numbers as stated; None below the rows asked for
    rank : its place among what holds, as :func:`propmatch.search.matching.match` ranks; None likewise
    meets : samples in which it keeps every limit of the brief, in each variant that must hold
    first : samples in which nothing is better
    """

    id: str
    rank_on_paper: int | None
    rank: int | None
    meets: int
    first: int


@attrs.frozen(kw_only=True)
class Sampled:
    """A case in samples.

    Attributes
    ----------
    answer : Answer, by the numbers as stated
    samples : int
    nothing : samples in which nothing meets the brief
    rows : tuple of Tally, those of the answer, those that hold, then those that come first most often
    firsts : how many different ones come first
    """

    answer: Answer
    samples: int
    nothing: int
    rows: tuple[Tally, ...]
    firsts: int


def sample(tasks: Sequence[Task], count: int, *, seed: int = 1, **where: Unpack[Where]) -> tuple[Sampled, ...]:
    """Match every task as stated and in samples; where it runs as in :func:`propmatch.search.sweep.run_everywhere`."""
    answers = sweep(tasks, **where)
    stocks = [task.stock for task in tasks]
    holding = run_everywhere(_holding, tasks, stocks=stocks, **where)
    numbers = [tuple(range(at, min(at + _TOGETHER, count))) for at in range(0, count, _TOGETHER)]
    parts = [_Some(task=task, seed=seed, numbers=some) for task, some in product(tasks, numbers)]
    found = iter(run_everywhere(_firsts, parts, stocks=stocks, **where))
    return tuple(
        _tallied(task, answer, held, seed, [first for _ in numbers for first in next(found)])
        for task, answer, held in zip(tasks, answers, holding, strict=True)
    )


def _tallied(task: Task, answer: Answer, held: tuple[str, ...], seed: int, firsts: list[Combination | None]) -> Sampled:
    """How often each that is named meets the brief and comes first."""
    worlds = Worlds(task, seed)
    often = Counter(first for first in firsts if first is not None)
    on_paper, sure = ([worlds.combination_of(each) for each in ids] for ids in ([r.id for r in answer.rows], held))
    named = list(dict.fromkeys([*on_paper, *sure, *(first for first, _ in often.most_common(_NAMED))]))
    good = np.zeros(len(named), dtype=np.intp)
    if named:
        rows = np.array(named, dtype=np.intp)
        for number in range(len(firsts)):
            good += worlds.meets(number, rows)
    tallies = tuple(
        Tally(
            id=worlds.id_of(each),
            rank_on_paper=_place(each, on_paper),
            rank=_place(each, sure),
            meets=int(meets),
            first=often[each],
        )
        for each, meets in zip(named, good, strict=True)
    )
    return Sampled(answer=answer, samples=len(firsts), nothing=firsts.count(None), rows=tallies, firsts=len(often))


def _place(one: Combination, ranked: list[Combination]) -> int | None:
    return ranked.index(one) + 1 if one in ranked else None
