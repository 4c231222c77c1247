"""The fewest parts to buy so that a box works: one, or where no one does it two, by specification.

For each kind of part the exact search runs over one's own parts with that kind alone widened to everything that could
be bought; only a cell count for which no single part does it is searched again with two kinds widened. What is found
passes on paper; the one that is advised first is confirmed by draws. :mod:`propmatch.questions.specs` says what else
would do in its place.
"""

from collections.abc import Iterable, Iterator, Sequence
from itertools import combinations
from typing import Any

import attrs
import numpy as np

from propmatch.catalogue.catalogue import box_of_id
from propmatch.catalogue.plugins import FOLDER_PLUGIN, plugin_names
from propmatch.checks.measures import Setting, TrainMeasures
from propmatch.questions.box import MOST_BOUGHT, Box
from propmatch.questions.specs import Spec, Tabled, specified
from propmatch.records.parts import PARTS, Part
from propmatch.search.candidate import Candidate, candidates
from propmatch.search.matching import Search
from propmatch.search.picks import Pick, holding, sure_of
from propmatch.search.ranking import Ranking, ranking
from propmatch.search.shelf import Shelf

__all__ = ["Purchase", "purchases", "surer"]

FOUND, CONFIRMED = 4000, 3
"""Combinations looked at for each cell count, the best by the brief's own rank; and kinds of parts that draws confirm,
until one holds."""


@attrs.frozen(kw_only=True, eq=False)
class Purchase:
    """One or two parts to buy, and what they make of the box.

    Attributes
    ----------
    specs : tuple of Spec
    cells : tuple of int
        Cell counts that work with them, of those that do not without.
    motors, packs : tuple of Part
        One's own that become usable, with exactly the parts the specifications were grown around.
    best : Candidate
        The best with them by the brief's own rank; it has a ``pick`` where draws confirmed it.
    holds : bool or None
        Whether it keeps the chances that the brief asks for; None where it is on paper.
    whole : bool
        Whether everything that passes was looked at; else the best of each cell count by rank.
    """

    specs: tuple[Spec, ...]
    cells: tuple[int, ...]
    motors: tuple[Part, ...]
    packs: tuple[Part, ...]
    best: Candidate
    holds: bool | None
    whole: bool

    @property
    def kinds(self) -> tuple[str, ...]:
        """The kinds of the parts."""
        return tuple(spec.kind for spec in self.specs)


@attrs.frozen(kw_only=True, eq=False)
class _Way:
    """Parts to buy, by place on the shelf, and the combinations with them that pass: cell count to rows, best first."""

    bought: tuple[str, ...]
    rows: dict[int, list[tuple[float, list[int]]]]

    @property
    def rank(self) -> tuple[int, float]:
        """The more cell counts and the better the best of them, the better."""
        return len(self.rows), self.rows[self.best][0][0]

    @property
    def best(self) -> int:
        """The cell count that ranks best."""
        return max(self.rows, key=lambda cells: self.rows[cells][0][0])


@attrs.frozen(kw_only=True, eq=False)
class _Chosen:
    """A way at the cell count that stands for it, and the draws behind it where there are any."""

    way: _Way
    count: int
    pick: Pick | None = None
    holds: bool | None = None


@attrs.define(kw_only=True, eq=False)
class _Kinds:
    """What passes with some kinds widened."""

    kinds: tuple[str, ...]
    shelves: dict[int, Shelf]
    ways: list[_Way]
    whole: bool

    def bought(self, shelf: Shelf, row: Sequence[int]) -> tuple[str, ...]:
        """The ids of the parts of these kinds."""
        return tuple(_part(shelf, list(PARTS).index(kind), row).id for kind in self.kinds)


def purchases(settings: Sequence[Setting], box: Box, cells: Iterable[int], tabled: Tabled) -> tuple[Purchase, ...]:
    """What to buy so that these cell counts work, the best first: most cell counts, then the brief's own rank.

    Parameters
    ----------
    settings : the variant that is ranked, then the others that must hold
    box : Box
    cells : cell counts that do not work with the box alone
    tabled : predicts the table of a propeller, for its specification

    Returns
    -------
    tuple of Purchase
        One for each kind (or two kinds) that does it; the first is confirmed by draws. One part stands before two.
    """
    setting, order, wanted = settings[0], ranking(settings[0]), tuple(cells)
    out: list[Purchase] = []
    left = wanted
    for size in range(1, MOST_BOUGHT + 1):
        some = [_found(setting, box, order, kinds, left) for kinds in _choices(box, size)]
        good = sorted((each for each in some if each.ways), key=lambda each: each.ways[0].rank, reverse=True)
        out += _bought(settings, box, order, good, tabled, confirmed=not out)
        served = {count for each in good for way in each.ways for count in way.rows}
        left = tuple(count for count in left if count not in served)
        if not left:
            break
    return tuple(out)


def surer(settings: Sequence[Setting], box: Box, cells: Iterable[int], tabled: Tabled) -> Purchase | None:
    """One part with which cell counts that work on paper alone keep the chances that the brief asks for.

    The kinds are tried in the order of their best on paper; None where no one part is found to do it.
    """
    setting, order = settings[0], ranking(settings[0])
    some = [_found(setting, box, order, (kind,), tuple(cells)) for kind in PARTS if box.other[kind]]
    for each in sorted((each for each in some if each.ways), key=lambda each: each.ways[0].rank, reverse=True):
        chosen = _confirmed(settings, order, each)
        if chosen.holds:
            return _purchase(settings, box, order, each, chosen, tabled)
    return None


def _choices(box: Box, size: int) -> Iterator[tuple[str, ...]]:
    """Kinds to widen, so many at a time; those of which the box has none are among them."""
    for kinds in combinations(PARTS, size):
        if set(box.missing) <= set(kinds) and all(box.other[kind] for kind in kinds):
            yield kinds


def _found(setting: Setting, box: Box, order: Ranking, kinds: tuple[str, ...], cells: Iterable[int]) -> _Kinds:
    """Every choice of parts of some kinds that makes a cell count work, best first."""
    shelves = {count: shelf for count in cells if (shelf := box.shelf(setting, count, kinds)) is not None}
    out = _Kinds(kinds=kinds, shelves=shelves, ways=[], whole=True)
    by_ids: dict[tuple[str, ...], dict[int, list[tuple[float, list[int]]]]] = {}
    for count, shelf in shelves.items():
        found = _finder(shelf)(setting, shelf, order, FOUND)
        out.whole &= len(found.combination) < FOUND
        for row, score in zip(found.combination.tolist(), found.score.tolist(), strict=True):
            by_ids.setdefault(out.bought(shelf, row), {}).setdefault(count, []).append((score, row))
    ways = (_Way(bought=ids, rows=rows) for ids, rows in by_ids.items())
    out.ways = sorted(ways, key=lambda way: way.rank, reverse=True)
    return out


def _finder(shelf: Shelf) -> Search:
    return Search(exhaustive=False, count=False, total=shelf.combinations)


def _part(shelf: Shelf, column: int, row: Sequence[int]) -> Any:
    return tuple(shelf.kinds.values())[column][row[column]]


# ---------------------------------------------------------------- one of them


def _bought(
    settings: Sequence[Setting], box: Box, order: Ranking, good: Sequence[_Kinds], tabled: Tabled, *, confirmed: bool
) -> list[Purchase]:
    """A purchase for each choice of kinds; the first by rank that holds stands first, else the surest of some."""
    chosen = [_Chosen(way=each.ways[0], count=each.ways[0].best) for each in good]
    for at, each in enumerate(good[:CONFIRMED] if confirmed else ()):
        chosen[at] = _confirmed(settings, order, each)
        if chosen[at].holds:
            break
    first = max(range(len(good)), key=lambda at: _sureness(chosen[at]), default=0)
    in_order = sorted(range(len(good)), key=lambda at: (at != first, at))
    return [_purchase(settings, box, order, good[at], chosen[at], tabled) for at in in_order]


def _sureness(chosen: _Chosen) -> float:
    return 0.0 if chosen.pick is None else chosen.pick.near


def _purchase(
    settings: Sequence[Setting], box: Box, order: Ranking, found: _Kinds, chosen: _Chosen, tabled: Tabled
) -> Purchase:
    setting, specs = settings[0], _specs(settings[0], box, found, chosen, tabled)
    preferred = _preferred(settings, order, found, chosen, specs)
    if preferred is not None:
        chosen, specs = preferred, _specs(setting, box, found, preferred, tabled)
    way, pick, row = chosen.way, chosen.pick, _row(chosen)
    shelf = found.shelves[chosen.count]
    score = order.of(TrainMeasures(setting, *shelf.combine(*np.array([row]).T)))
    (best,) = candidates(setting, (), shelf, np.array([row]), score, () if pick is None else [pick])
    return Purchase(
        specs=specs,
        cells=tuple(sorted(way.rows)),
        motors=_own(found, box, way, "motor"),
        packs=_own(found, box, way, "pack"),
        best=best,
        holds=chosen.holds,
        whole=found.whole,
    )


def _preferred(
    settings: Sequence[Setting], order: Ranking, found: _Kinds, chosen: _Chosen, specs: Sequence[Spec]
) -> _Chosen | None:
    """Of the ways within the specifications one with parts of the user's other boxes, or whose price is known; None
    where the one that was chosen stands before them, or holds and that one does not.
    """
    within = [{part.id: part for part in spec.within} for spec in specs]
    plugins = set(plugin_names()) - {FOLDER_PLUGIN}

    def standing(way: _Way) -> tuple[int, int]:
        parts = [some[id] for some, id in zip(within, way.bought, strict=True)]
        return sum(box_of_id(part.id) not in plugins for part in parts), sum(part.price is not None for part in parts)

    ways = [
        way for way in found.ways
        if chosen.way.rows.keys() <= way.rows.keys()
        and all(id in some for some, id in zip(within, way.bought, strict=True))
    ]  # fmt: skip
    best = max(ways, key=standing, default=chosen.way)
    if standing(best) <= standing(chosen.way):
        return None
    if chosen.pick is None:
        return _Chosen(way=best, count=chosen.count)
    pick = sure_of(settings, found.shelves[chosen.count], order, np.array(best.rows[chosen.count][0][1], dtype=np.intp))
    holds = pick.near >= 1.0
    return _Chosen(way=best, count=chosen.count, pick=pick, holds=holds) if holds or not chosen.holds else None


def _row(chosen: _Chosen) -> list[int]:
    """The combination that stands for it."""
    return chosen.way.rows[chosen.count][0][1] if chosen.pick is None else list(chosen.pick.combination)


def _own(found: _Kinds, box: Box, way: _Way, kind: str) -> tuple[Any, ...]:
    """One's own parts of a kind in the combinations of a way."""
    if kind in found.kinds:
        return ()
    column = list(PARTS).index(kind)
    ids = {_part(found.shelves[count], column, row).id for count, rows in way.rows.items() for _, row in rows}
    return tuple(part for part in box.own[kind] if part.id in ids)


def _confirmed(settings: Sequence[Setting], order: Ranking, found: _Kinds) -> _Chosen:
    """Of the ways that serve the most cell counts the best that holds, at the cell count that ranks best; else the
    surest, or the best on paper.
    """
    ways = [way for way in found.ways if len(way.rows) == len(found.ways[0].rows)]
    count = ways[0].best
    shelf, ways = found.shelves[count], [way for way in ways if count in way.rows]
    rows = np.array([way.rows[count][0][1] for way in ways], dtype=np.intp)
    picks = holding(settings, shelf, order, _finder(shelf), top=1, on_paper=rows)
    for pick in picks.rows[:1]:
        same = [way for way in ways if way.bought == found.bought(shelf, pick.combination)]
        if same:
            return _Chosen(way=same[0], count=count, pick=pick, holds=picks.hold)
    pick = sure_of(settings, shelf, order, rows[0])
    return _Chosen(way=ways[0], count=count, pick=pick, holds=pick.near >= 1.0)


# ---------------------------------------------------------------- by specification


def _specs(setting: Setting, box: Box, found: _Kinds, chosen: _Chosen, tabled: Tabled) -> tuple[Spec, ...]:
    """A specification for each part bought; of two, the second goes with all of the catalogue within the first, and
    with what lies at the ends of its ranges.
    """
    rest = {chosen.count: _row(chosen)} | {
        each: rows[0][1] for each, rows in chosen.way.rows.items() if each != chosen.count
    }
    trains = [_parts_of(found.shelves[count], row) for count, row in rest.items()]
    specs: list[Spec] = []
    for kind in found.kinds:
        example = trains[0][kind]
        beside = [train | dict(zip(found.kinds, some, strict=False)) for train in trains for some in _together(specs)]
        spec = specified(setting, beside, kind, example, box.other[kind], tabled, pieces=_pieces(box, kind, example))
        specs.append(spec)
    return tuple(specs)


def _parts_of(shelf: Shelf, row: Sequence[int]) -> dict[str, Any]:
    return {kind: parts[at] for (kind, parts), at in zip(shelf.kinds.items(), row, strict=True)}


def _together(specs: Sequence[Spec]) -> list[tuple[Any, ...]]:
    return [(part,) for part in (*specs[0].within, *specs[0].corners)] if specs else [()]


def _pieces(box: Box, kind: str, part: Any) -> int:
    """How many to buy: those needed, less what is there of the same part."""
    there = part.count or 0 if part in box.too_few[kind] else 0
    return box.pieces(kind) - there
