"""What fits my box: for each cell count what works of one's own parts and, where nothing does, how near it comes.

A box is small, so every combination is judged against every limit, on paper; of a large one the best that the exact
search finds, and a random sample with what is nearer than its nearest.
"""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import attrs
import numpy as np

from propmatch.catalogue.catalogue import Catalogue, box_of_id, pieces
from propmatch.checks.checkrules import CHECKS, excluding
from propmatch.checks.limits import Check, checks_of, missed
from propmatch.checks.measures import Setting, TrainMeasures
from propmatch.models.arrays import Flags, Floats, Index
from propmatch.records.fields import replace
from propmatch.records.packflight import cutoff_faults
from propmatch.records.parts import PARTS, Pack, Part, PowerTrain
from propmatch.search.matching import Search
from propmatch.search.ranking import ranking
from propmatch.search.shelf import Shelf

__all__ = ["JUDGED", "MOST_BOUGHT", "Box", "BoxCells", "Miss", "PartUse", "box_of", "judge_box", "judge_cells"]

JUDGED, BEST = 20000, 4000
"""Combinations of one cell count that are judged; of more, so many: the best that pass, and others at random."""
_SEED = 20
NEAREST, MOST_BOUGHT = 3, 2
"""Combinations that are named where nothing works, and parts that are advised to be bought."""


@attrs.frozen(kw_only=True, eq=False)
class Box:
    """One's own parts, as far as enough of each are there for the aircraft.

    Attributes
    ----------
    names : tuple of str
        The boxes.
    own, other : dict of kind to parts
        Those of the boxes; those of the whole catalogue that could be bought.
    too_few : dict of kind to parts
        Those of the boxes of which the aircraft needs more; they are among ``other``.
    motor_count : int
    cells : tuple of int
        Cell counts that the brief allows, else those of one's own packs, else all.
    set_aside : dict of kind to int
        Rows of the whole catalogue that became no part.
    """

    names: tuple[str, ...]
    own: dict[str, tuple[Any, ...]]
    other: dict[str, tuple[Any, ...]]
    too_few: dict[str, tuple[Any, ...]]
    motor_count: int
    cells: tuple[int, ...]
    set_aside: dict[str, int] = attrs.field(factory=dict)

    @property
    def missing(self) -> tuple[str, ...]:
        """Kinds of which the box has no part."""
        return tuple(kind for kind, parts in self.own.items() if not parts)

    @property
    def bare(self) -> bool:
        """Whether more than two kinds are missing, so that no two parts complete it."""
        return len(self.missing) > MOST_BOUGHT

    @property
    def uncounted(self) -> bool:
        """Whether the aircraft needs several of a part that does not say how many there are."""
        several = (kind for kind in self.own if pieces(f"{kind}s", self.motor_count) > 1)
        return any(part.count is None for kind in several for part in self.own[kind])

    def pieces(self, kind: str) -> int:
        """How many parts of a kind (``motor`` and so on) the aircraft needs."""
        return pieces(f"{kind}s", self.motor_count)

    def shelf(self, setting: Setting, cells: int, bought: Iterable[str] = ()) -> Shelf | None:
        """One's own parts, of the kinds ``bought`` those that could be; None where a kind has none."""
        bought = set(bought)
        kinds: dict[str, Sequence[Any]] = {kind: (self.other if kind in bought else self.own)[kind] for kind in PARTS}
        kinds["pack"] = [pack for pack in kinds["pack"] if pack.cells_series == cells]
        if not all(kinds.values()):
            return None
        return Shelf.of(*(kinds[kind] for kind in PARTS), **setting.train_numbers)


def box_of(setting: Setting, catalogue: Catalogue) -> Box:
    """The box of a brief whose ``parts.only`` names some.

    Raises
    ------
    InputFaults
        A box that does not exist.
    """
    wanted, motors = setting.brief.parts, setting.variant.motor_count
    catalogue.let_in(wanted)  # whose box does not exist
    every = catalogue.let_in(replace(wanted, only=()))
    own: dict[str, tuple[Any, ...]] = {}
    other: dict[str, tuple[Any, ...]] = {}
    too_few: dict[str, tuple[Any, ...]] = {}
    for kind in PARTS:
        need = pieces(f"{kind}s", motors)
        parts = [part for part in every.parts(f"{kind}s").values() if _usable(setting, part)]
        boxed = [part for part in parts if box_of_id(str(part.id)) in wanted.only]
        own[kind] = tuple(part for part in boxed if part.count is None or part.count >= need)
        too_few[kind] = tuple(part for part in boxed if part not in own[kind])
        other[kind] = tuple(part for part in parts if part not in own[kind])
    packs = own["pack"] or other["pack"]
    cells = setting.brief.limits.cells or tuple(sorted({pack.cells_series for pack in packs}))
    return Box(
        names=wanted.only, own=own, other=other, too_few=too_few, motor_count=motors, cells=tuple(cells),
        set_aside={kind: every.set_aside(f"{kind}s") for kind in PARTS},
    )  # fmt: skip


def _usable(setting: Setting, part: Any) -> bool:
    """Whether the aircraft can be flown with it: blades have a table, cells allow the brief's cut-off."""
    if isinstance(part, Pack):
        return not cutoff_faults(setting.cutoff_cell_v, [part])
    return getattr(part, "table", True) is not None


# ---------------------------------------------------------------- what works, and what misses by how much


@attrs.frozen(kw_only=True, eq=False)
class Miss:
    """A combination that meets the brief or does not.

    Attributes
    ----------
    train : PowerTrain
    failing : tuple of Check
        What rules it out, a danger first.
    worst, total : float
        By how much of its limit the worst of them misses, and all together; infinite where a value has no answer.
    """

    train: PowerTrain
    failing: tuple[Check, ...]
    worst: float
    total: float


@attrs.frozen(kw_only=True, eq=False)
class PartUse:
    """One of one's own parts at one cell count.

    Attributes
    ----------
    kind : str; part : Part
    passing : int
        Combinations with it that meet the brief, of those judged.
    nearest : Miss or None
        Where there is none, the combination with it that comes nearest.
    """

    kind: str
    part: Part
    passing: int
    nearest: Miss | None


@attrs.frozen(kw_only=True, eq=False)
class BoxCells:
    """One cell count of a box.

    Attributes
    ----------
    cells : int
    combinations, judged : int
        Of the parts whose cell counts go together; fewer are judged where there are very many.
    passing : int
        Of those judged, on paper.
    always : tuple of Check
        What every combination fails, each where it fails by least.
    beside : tuple of int
        How many other limits the combination behind each of those misses.
    nearest : tuple of Miss
        Where nothing passes, the combinations that come nearest, of different motor, pack and propeller.
    parts : tuple of PartUse
        Every part of one's own that can be flown with this cell count.
    """

    cells: int
    combinations: int
    judged: int
    passing: int
    always: tuple[Check, ...] = ()
    beside: tuple[int, ...] = ()
    nearest: tuple[Miss, ...] = ()
    parts: tuple[PartUse, ...] = ()

    def of(self, kind: str) -> tuple[PartUse, ...]:
        """The parts of one kind."""
        return tuple(use for use in self.parts if use.kind == kind)


@attrs.frozen(kw_only=True, eq=False)
class _Judged:
    """N combinations against every limit that can exclude: by how much of it each misses, 0 where it does not."""

    shelf: Shelf
    rows: Index
    measured: TrainMeasures
    short: Mapping[str, Floats]

    @property
    def worst(self) -> Floats:
        return np.asarray(np.max([*self.short.values(), np.zeros(len(self.rows))], axis=0))

    @property
    def total(self) -> Floats:
        return np.asarray(np.sum([*self.short.values(), np.zeros(len(self.rows))], axis=0))

    @property
    def many(self) -> Index:
        """How many limits are missed."""
        return np.asarray(np.sum([by > 0 for by in self.short.values()], axis=0, dtype=np.intp))

    def misses(self, lanes: Sequence[int]) -> tuple[Miss, ...]:
        """Some of them, with the checks they fail."""
        if not len(lanes):
            return ()
        worst, total = self.worst, self.total
        some = checks_of(self.measured.take(np.array(lanes, dtype=np.intp)))
        return tuple(
            Miss(
                train=self.shelf.train(*map(int, self.rows[lane])), failing=missed(checks), worst=float(worst[lane]),
                total=float(total[lane]),
            )
            for lane, checks in zip(lanes, some, strict=True)
        )  # fmt: skip


def judge_box(setting: Setting, box: Box) -> dict[int, BoxCells]:
    """What works of a box on paper, for each cell count; one that the box has nothing for has no combination.

    Where the box has none of one or two kinds, every part of them that could be bought stands in.
    """
    shelves = {cells: None if box.bare else box.shelf(setting, cells, box.missing) for cells in box.cells}
    return {cells: judge_cells(setting, shelf, cells) for cells, shelf in shelves.items()}


def judge_cells(setting: Setting, shelf: Shelf | None, cells: int) -> BoxCells:
    """What works of a shelf, all its packs having one cell count."""
    rows = np.empty((0, 4), dtype=np.intp) if shelf is None else _rows(setting, shelf)
    if shelf is None or not len(rows):
        return BoxCells(cells=cells, combinations=0, judged=0, passing=0)
    judged = _judge(setting, shelf, rows)
    if len(rows) < shelf.combinations and not (judged.worst == 0).any():
        judged = _judge(setting, shelf, np.unique(np.concatenate([rows, *_nearer(setting, judged)]), axis=0))
    passing = judged.worst == 0
    some = bool(passing.any())
    always = () if some else _always(judged)
    return BoxCells(
        cells=cells,
        combinations=shelf.combinations,
        judged=len(judged.rows),
        passing=int(passing.sum()),
        always=tuple(check for check, _ in always),
        beside=tuple(beside for _, beside in always),
        nearest=() if some else judged.misses(_nearest(judged)),
        parts=_uses(judged, passing),
    )


def _rows(setting: Setting, shelf: Shelf) -> Index:
    """The combinations (N, 4) whose cell counts go together; of very many the best that pass, and a random sample."""
    sizes = shelf.sizes
    if shelf.combinations <= JUDGED and np.prod(sizes, dtype=float) <= 50 * JUDGED:
        rows = np.indices(sizes).reshape(4, -1).T.astype(np.intp)
        return rows[shelf.cells_fit(*rows[:, :3].T)]
    rng = np.random.default_rng(_SEED)
    rows = np.column_stack([rng.integers(size, size=4 * JUDGED) for size in sizes]).astype(np.intp)
    find = Search(exhaustive=False, count=False, total=shelf.combinations)
    best = find(setting, shelf, ranking(setting), BEST).combination
    some = rows[shelf.cells_fit(*rows[:, :3].T)][: JUDGED - len(best)]
    return np.unique(np.concatenate([best, some]), axis=0)


def _judge(setting: Setting, shelf: Shelf, rows: Index) -> _Judged:
    measured = TrainMeasures(setting, *shelf.combine(*rows.T))
    short = {}
    for name in excluding():
        if measured.has_limit(name):
            out = ~measured.passes(name)
            by = -measured[name].margin(CHECKS[name])
            short[name] = np.where(out, np.where(np.isnan(by), np.inf, np.maximum(by, np.finfo(float).tiny)), 0.0)
    return _Judged(shelf=shelf, rows=rows, measured=measured, short=short)


def _nearer(setting: Setting, judged: _Judged) -> list[Index]:
    """Combinations on the way from the nearest to one that no other part of one kind brings nearer."""
    shelf, found = judged.shelf, []
    while True:
        at = _order(judged)[0]
        nearest, total = judged.rows[at], judged.total[at]
        rows = np.repeat(nearest[None, :], sum(shelf.sizes), axis=0)
        kinds = np.repeat(np.arange(len(shelf.sizes)), shelf.sizes)
        rows[np.arange(len(rows)), kinds] = np.concatenate([np.arange(size) for size in shelf.sizes])
        found.append(rows[shelf.cells_fit(*rows[:, :3].T)])
        judged = _judge(setting, shelf, found[-1])
        if not judged.total.min() < total:
            return found


def _always(judged: _Judged) -> list[tuple[Check, int]]:
    """What every combination fails, where it fails by least, and how many limits are missed there beside it; the worst
    first.
    """
    failed = [name for name, by in judged.short.items() if (by > 0).all()]
    least = {name: int(np.lexsort((judged.many, judged.short[name]))[0]) for name in failed}
    order = sorted(least, key=lambda name: -judged.short[name][least[name]])
    checks = {name: checks_of(judged.measured.take(np.array([lane])), [name])[0][0] for name, lane in least.items()}
    return [(checks[name], int(judged.many[least[name]]) - 1) for name in order]


def _order(judged: _Judged) -> Index:
    """Nearest first: by all misses together, then by how many limits are missed."""
    return np.lexsort((judged.many, judged.total))


def _nearest(judged: _Judged) -> list[int]:
    taken: dict[tuple[int, ...], int] = {}
    for lane in _order(judged).tolist():
        motor, _, pack, propeller = judged.rows[lane].tolist()
        taken.setdefault((motor, pack, propeller), lane)
        if len(taken) == NEAREST:
            break
    return list(taken.values())


def _uses(judged: _Judged, passing: Flags) -> tuple[PartUse, ...]:
    """Every part in a combination, and where none with it passes, the one with the fewest misses that others pass."""
    always = [by for by in judged.short.values() if (by > 0).all()]
    own = judged.many - len(always)
    order = np.lexsort((judged.total, own))
    uses, wanted = [], []
    for column, (kind, parts) in enumerate(judged.shelf.kinds.items()):
        of_rows = judged.rows[:, column]
        for at, part in enumerate(parts):
            with_it = of_rows == at
            if not with_it.any():
                continue
            count = int((passing & with_it).sum())
            wanted.append(None if count else int(order[with_it[order]][0]))
            uses.append((kind, part, count))
    lanes = [lane for lane in wanted if lane is not None]
    found = iter(judged.misses(lanes))
    return tuple(
        PartUse(kind=kind, part=part, passing=count, nearest=None if lane is None else next(found))
        for (kind, part, count), lane in zip(uses, wanted, strict=True)
    )
