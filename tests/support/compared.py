"""The pruned search beside judging every combination, on cases as a user may write them."""

from functools import cache
from typing import Any

import attrs
import numpy as np

from propmatch.brief import Brief
from propmatch.catalogue.catalogue import Catalogue
from propmatch.checks.checkrules import excluding
from propmatch.checks.measures import TrainMeasures
from propmatch.checks.setting import ResolvedBrief, Setting
from propmatch.faults import InputFaults
from propmatch.records.parts import KINDS
from propmatch.search.bounds.pruned import passing, search
from propmatch.search.exhaustive import Found, exhaustive
from propmatch.search.matching import Search, match, shelves_of
from propmatch.search.ranking import ranking
from propmatch.search.shelf import Shelf
from support.written import written_brief, written_catalogue

__all__ = ["Compared", "case_of", "compare"]

ALL = 10**6
"""More rows than any of these cases has."""
_LAST_BIT = 1e-12
"""A list that repeats is flown with the lanes beside it: the last bits of its minutes may differ."""


@attrs.frozen(kw_only=True)
class Compared:
    """What came of one case: what differs, how many pass, what is left out; ``empty`` where a kind had no parts."""

    differences: tuple[str, ...] = ()
    passing: int = 0
    left_out: tuple[str, ...] = ()
    combinations: int = 0
    empty: bool = False


@cache
def _brief(seed: int) -> Brief:
    return written_brief(np.random.default_rng(seed))


def case_of(seed: int) -> tuple[Brief, Setting, Catalogue]:
    """A brief, one of its variants and a catalogue; four cases in a row have one brief, which takes long to draw."""
    brief, rng = _brief(seed // 4), np.random.default_rng([seed, 1])
    variants = ResolvedBrief.of(brief).settings
    return brief, variants[int(rng.integers(len(variants)))], written_catalogue(rng)


def compare(seed: int, *, with_chances: bool = False) -> Compared:
    """Order, scores, passing and left_out of both ways, as ``match`` asks: counted, and not, of one cell count each.

    In every fourth case of all cell counts, each for itself and together. A value that is NaN must not have passed.
    """
    brief, setting, catalogue = case_of(seed)
    rng = np.random.default_rng([seed, 2])
    try:
        shelves, whole = shelves_of(setting, catalogue)
    except InputFaults as told:
        named = all(
            fault.key in (*KINDS, "limits.cells", "limits.cutoff_cell_v", "parts.only") for fault in told.faults
        )
        return Compared(differences=() if named else (str(told),), empty=True)
    whole_too = seed % 4 == 0
    if not whole_too:
        shelves = dict([list(shelves.items())[int(rng.integers(len(shelves)))]])
    order, top = ranking(setting), int(rng.choice([1, 2, 5, 12, 60]))
    out: list[str] = []
    total = sum(shelf.combinations for shelf in shelves.values())
    plain = {cells: exhaustive(setting, shelf, order, top=ALL) for cells, shelf in shelves.items()}
    one = dict([list(shelves.items())[int(rng.integers(len(shelves)))]])
    for count, some in ((True, shelves), (False, one)):
        founds = Search(exhaustive=False, count=count, total=total).each(setting, some, order, top, None)
        for cells, found in founds.items():
            out += [f"{cells}S, counted {count}: {word}" for word in _differ(plain[cells], found, top)]
    out += _nan(setting, shelves, plain)
    out += _whole(setting, whole, plain, order) if whole_too else []
    if with_chances:
        quick, slow = (match(brief, catalogue, top=4, exhaustive=plainly) for plainly in (False, True))
        out += [f"match: {word}" for word in _rows_differ(quick, slow)]
    return Compared(
        differences=tuple(out), passing=sum(each.passing or 0 for each in plain.values()), combinations=total,
        left_out=tuple({name for each in plain.values() for name in each.left_out}),
    )  # fmt: skip


def _differ(plain: Found, found: Found, top: int) -> list[str]:
    """What is not the same; equal scores to the last bits."""
    out, same = [], plain.combination[:top]
    if not np.array_equal(same, found.combination):
        out.append(f"rows {found.combination.tolist()} instead of {same.tolist()}")
    elif not np.allclose(plain.score[:top], found.score, rtol=_LAST_BIT, atol=0.0, equal_nan=False):
        out.append(f"scores {found.score} instead of {plain.score[:top]}")
    if found.passing is not None and (found.passing, found.left_out) != (plain.passing, plain.left_out):
        out.append(f"{found.passing} pass, {found.left_out} instead of {plain.passing}, {plain.left_out}")
    return out


def _nan(setting: Setting, shelves: dict[int, Shelf], plain: dict[int, Found]) -> list[str]:
    """What passes although a value that is judged has no answer."""
    out = []
    for cells, found in plain.items():
        if not len(found.combination):
            continue
        measured = TrainMeasures(setting, *shelves[cells].combine(*found.combination.T))
        if not np.all(measured.flight.minutes > 0):
            out.append(f"{cells}S: {np.count_nonzero(~(measured.flight.minutes > 0))} pass without a flight")
        for name in excluding():
            if measured.has_limit(name):
                each = measured[name]
                lost = np.isnan(each.value) & ~np.isnan(each.limit)
                if lost.any():
                    out.append(f"{cells}S: {np.count_nonzero(lost)} pass with a {name} that is NaN")
    return out


def _whole(setting: Setting, whole: Shelf, plain: dict[int, Found], order: Any) -> list[str]:
    """All that passes of all cell counts together, and the first of them."""
    cells = whole.column("cells")
    rows = [found.combination.copy() for found in plain.values()]
    for count, part in zip(plain, rows, strict=True):
        part[:, 2] = np.flatnonzero(cells == count)[part[:, 2]]
    every = set(map(tuple, np.concatenate(rows).tolist()))
    through = [row for part, _ in passing(setting, whole) for row in map(tuple, part.tolist())]
    out = [] if len(through) == len(every) and set(through) == every else ["what passes is not what passes one by one"]
    first = search(setting, whole, order, top=1)
    best = max((found.score[0] for found in plain.values() if len(found.score)), default=None)
    if (best is None) != (len(first.score) == 0) or (
        best is not None and not np.isclose(first.score[0], best, rtol=_LAST_BIT)
    ):
        out.append(f"first of all {first.score} instead of {best}")
    return out


def _rows_differ(quick: Any, slow: Any) -> list[str]:
    """Rows of two shortlists that hold with the chances asked for."""
    one, two = ([(row.id, row.score) for row in each.rows] for each in (quick, slow))
    out = [] if [row[0] for row in one] == [row[0] for row in two] else [f"{one} instead of {two}"]
    if quick.holds != slow.holds or quick.passing != slow.passing or quick.left_out != slow.left_out:
        out.append(
            f"{quick.holds}, {quick.passing}, {quick.left_out} instead of {slow.holds}, {slow.passing}, {slow.left_out}"
        )
    return out
