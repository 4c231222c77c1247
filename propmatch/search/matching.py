"""From a brief and a catalogue to a shortlist of power trains, each with its checks and its reasons."""

import time
from collections.abc import Callable, Sequence
from functools import cached_property, partial
from typing import Any, TypedDict, Unpack

import attrs
import numpy as np

from propmatch.cache import digest, kept
from propmatch.catalogue.catalogue import Catalogue
from propmatch.checks.limits import Design
from propmatch.checks.measures import Setting
from propmatch.checks.setting import ResolvedBrief
from propmatch.columns import headed
from propmatch.faults import Fault, InputFaults, Unmet
from propmatch.models.arrays import Floats, Index
from propmatch.records.brief import Brief
from propmatch.records.estimates import Assumption
from propmatch.records.packflight import cutoff_faults
from propmatch.records.parts import PowerTrain
from propmatch.records.trainid import PART_KINDS, TrainId
from propmatch.search.bounds.pruned import COUNTED, PropellerTables, search, too_many
from propmatch.search.candidate import Candidate, candidates, columns
from propmatch.search.estimate import PassingEstimate, estimated_passing
from propmatch.search.exhaustive import Found, Interrupted
from propmatch.search.exhaustive import exhaustive as by_force
from propmatch.search.front import Passing, front_of, passing_map
from propmatch.search.picks import LEAST_SHOWN, Pick, Picks, combinations_of, holding, sure_of
from propmatch.search.ranking import Ranking, ranking
from propmatch.search.shelf import Shelf
from propmatch.tablehtml import table_html

__all__ = [
    "UNNAMED", "UNNAMED_ON_PAPER", "Candidate", "Mark", "MatchWay", "Search", "Shortlist", "best_train", "match",
    "nothing_meets", "shelf_for", "shelves_of",
]  # fmt: skip

_PAPER = 24
"""Combinations that pass on paper, from which spreads are taken."""
_MOST_PARTS = 5000
"""Of more than so many the name of their content takes longer than it saves."""
UNNAMED = "You named no power train; this is the best that match found."
UNNAMED_ON_PAPER = f"{UNNAMED.removesuffix('.')}, chances counted."
"""Said wherever the design is :func:`best_train`'s."""


@attrs.frozen(kw_only=True)
class Mark(TrainId):
    """A combination on the map of all that meet a brief; ``front`` where none beats it in all of the three numbers."""

    cells: int
    flight_minutes: float
    thrust_to_weight: float
    all_up_mass_g: float
    front: bool


_REPR_ROWS = 8


@attrs.frozen(kw_only=True, eq=False)
class Shortlist:
    """The best power trains for a brief.

    Attributes
    ----------
    brief : Brief
    setting : Setting, the variant that was ranked
    combinations : int
        Combinations of parts whose cell counts go together.
    passing : int or None
        How many pass every check that can exclude; None when not counted.
    rows : tuple of Candidate, best first, all cell counts together; what holds before what does not
    by_cells : dict
        Cell count to its own best candidates.
    left_out : dict
        How many combinations fail each check first; checks stand in the order of ``measures.CHECKS``.
    ranking : Ranking
    assumptions : tuple of Assumption
        Of the brief, and of the parts in ``rows``.
    faults : tuple of Fault
        Parts set aside, and why.
    complete : bool
        False for the best so far of a search that did not come to its end: ranked on paper, nothing counted.
    bounds : dict
        Cell count to the score that nothing which was not looked at exceeds; empty where all was.
    timed : bool
        Whether the time given ended the search.
    set_aside : dict
        Kind to how many of its parts were set aside first, as enough others are the same and rated no lower.
    paper : dict
        Cell count to the best on paper, with its chance; empty where the ranking is that on paper.
    holds : dict
        Cell count to whether its rows keep the chances asked for; empty likewise.
    """

    brief: Brief
    setting: Setting
    combinations: int
    passing: int | None
    rows: tuple[Candidate, ...]
    by_cells: dict[int, tuple[Candidate, ...]]
    left_out: dict[str, int]
    ranking: Ranking
    assumptions: tuple[Assumption, ...]
    faults: tuple[Fault, ...]
    complete: bool = True
    bounds: dict[int, float] = attrs.field(factory=dict)
    timed: bool = False
    set_aside: dict[str, int] = attrs.field(factory=dict)
    paper: dict[int, Candidate] = attrs.field(factory=dict)
    holds: dict[int, bool] = attrs.field(factory=dict)
    _whole: Shelf | None = None

    def marks(self, most: int | None = 2000) -> tuple[Mark, ...]:
        """All that meet the brief, computed, with its front; the front and some of the rest where there are more."""
        if self._whole is None:
            return ()
        return _marks(self._whole, passing_map(self.setting, self._whole, most=most))

    @cached_property
    def front(self) -> tuple[Mark, ...]:
        """The combinations that no other beats in flight time, thrust to weight and all-up mass at once; computed."""
        return () if self._whole is None else _marks(self._whole, front_of(self.setting, self._whole))

    @cached_property
    def passing_estimate(self) -> PassingEstimate | None:
        """How many meet the brief on paper, from a sample, where they were not counted; computed."""
        return None if self._whole is None else estimated_passing(self.setting, self._whole)

    @property
    def best(self) -> Candidate | None:
        """The best power train, None when nothing meets the brief."""
        return self.rows[0] if self.rows else None

    def __repr__(self) -> str:
        """Ten lines at most: how many meet the brief, and the first rows."""
        passing = "some" if self.passing is None else self.passing
        head = f"{self.brief.aircraft.name}: {passing} of {self.combinations} combinations meet the brief"
        more = len(self.rows) - _REPR_ROWS
        return "\n".join(
            [head if self.complete else f"{head} (not all looked at)", *map(repr, self.rows[:_REPR_ROWS])]
            + ([f"... and {more} more rows"] if more > 0 else [])
        )

    def _repr_html_(self) -> str:
        names = ("id", "cells", *(column.name for column in headed(columns()) if column.html))
        rows = [[rank, *(getattr(row, name) for name in names)] for rank, row in enumerate(self.rows, start=1)]
        passing = "some" if self.passing is None else self.passing
        caption = f"{self.brief.aircraft.name}: {passing} of {self.combinations} combinations meet the brief"
        return table_html(("rank", *names), rows, caption=caption)


class MatchWay(TypedDict, total=False):
    """How a match is found.

    Attributes
    ----------
    count : whether all that passes is counted; default up to 1e8 combinations
    exhaustive : judge every combination one by one: the same answer, slowly
    on_paper : rank what passes with every number as it stands, by its score as it stands; no chances
    within_s : seconds for the ranking on paper; what is best by then is the answer, not complete, with bounds
    """

    count: bool | None
    exhaustive: bool
    on_paper: bool
    within_s: float | None


def match(
    brief: Brief | ResolvedBrief,
    catalogue: Catalogue,
    *,
    top: int = 20,
    variant: str | None = None,
    progress: Callable[[int, int], None] | None = None,
    **way: Unpack[MatchWay],
) -> Shortlist:
    """Rank the combinations of a catalogue that keep a brief and all ratings with the chance it asks for.

    Parameters
    ----------
    brief : Brief, resolved already or not
    catalogue : Catalogue
    top : int
        How many rows to keep, in all and for each cell count.
    variant : str, optional
        Which variant of the brief is ranked; default the aircraft as designed.
    progress : callable, optional
        Called with combinations done and in all.
    **way : MatchWay

    Returns
    -------
    Shortlist
        By the low end of what the brief prefers, among what holds (:mod:`propmatch.search.picks`). Where nothing
        does, the surest of what passes on paper, surest first.

    Raises
    ------
    InputFaults
        A kind without parts, a cell count without packs, a variant that does not exist.
    Interrupted
        At Ctrl-C, with a shortlist that is not complete, where anything was found.
    """
    resolved = ResolvedBrief.of(brief)
    chosen = resolved.named(variant)
    order = ranking(chosen)
    shelves, whole = shelves_of(chosen, catalogue)
    total = sum(shelf.combinations for shelf in shelves.values())
    exhaustive, on_paper, within_s = way.get("exhaustive", False), way.get("on_paper", False), way.get("within_s")
    find = Search(exhaustive=exhaustive, count=way.get("count"), total=total, within_s=within_s)
    looked_for = top if on_paper else max(top, _PAPER)
    content = None if exhaustive or within_s is not None else _content(resolved, chosen, catalogue)
    others = [setting for setting in resolved.settings if setting.variant.name != chosen.variant.name]
    made_of = partial(_candidates, chosen, others, whole, catalogue)
    listed = partial(_listed, chosen, order, whole, catalogue, top)
    founds: dict[int, Found] = {}

    def so_far(founds: dict[int, Found], **more: Any) -> Shortlist:
        founds = {cells: found.first(top) for cells, found in founds.items()}
        bounds = {cells: found.bound for cells, found in founds.items() if found.bound is not None}
        return listed(founds, made_of(_on_paper(founds)), complete=False, bounds=bounds, **more)

    try:
        founds = kept(
            "paper", content and digest(content, looked_for, find.counting),
            lambda: find.each(chosen, shelves, order, looked_for, progress), write=_founds_data,
            read=partial(_founds_of, shelves),
        )  # fmt: skip
        if progress is not None:
            progress(find.total, find.total)
        if any(found.bound is not None for found in founds.values()):
            return so_far(founds, timed=True)
        if on_paper:
            return listed(founds, made_of(_on_paper(founds)))
        must = [chosen, *(setting for setting in others if setting.variant.must_hold)]
        sure = {
            cells: kept(
                "picks", content and digest(content, top, cells),
                partial(_picks, must, shelves[cells], order, find, top, found.combination),
                write=lambda picks: picks.data, read=partial(Picks.of_data, must, shelves[cells]),
            )
            for cells, found in founds.items()
        }  # fmt: skip
    except KeyboardInterrupt as error:
        founds = founds or (error.found if isinstance(error, Interrupted) else {})
        founds = {cells: found for cells, found in founds.items() if len(found.combination)}
        if not founds:
            raise KeyboardInterrupt from None
        raise Interrupted(so_far(founds)) from None
    by_cells = made_of({cells: _as_found(picks.rows) for cells, picks in sure.items()})
    first = made_of({cells: _as_found(picks.paper) for cells, picks in sure.items()})
    paper = {cells: each[0] for cells, each in first.items() if each}
    shortlist = listed(founds, by_cells, paper=paper, holds={cells: picks.hold for cells, picks in sure.items()})
    if variant is None and top <= LEAST_SHOWN:
        kept("best", content, lambda: _best_ids(shortlist), write=lambda ids: ids, read=list)
    return shortlist


def _on_paper(founds: dict[int, Found]) -> "dict[int, _Rows]":
    return {cells: (found.combination, found.score, ()) for cells, found in founds.items()}


def _listed(
    chosen: Setting, order: Ranking, whole: Shelf, catalogue: Catalogue, top: int, founds: dict[int, Found],
    by_cells: dict[int, tuple[Candidate, ...]], **more: Any,
) -> Shortlist:  # fmt: skip
    """The rows of every cell count in one order, with what became of the rest."""
    holds = more.get("holds", {})
    rows = sorted(
        (c for group in by_cells.values() for c in group),
        key=lambda c: (
            not holds.get(c.cells, True),
            -c.score if c.pick is None or holds.get(c.cells) else -c.pick.near,
            -_margin(c),
            c.train.separate_supply,
            c.all_up_mass_g,
            c.id,
        ),
    )
    counted = all(found.passing is not None for found in founds.values())
    left_out: dict[str, int] = {}
    for found in founds.values():
        for name, lost in found.left_out.items():
            left_out[name] = left_out.get(name, 0) + lost
    aside: dict[str, int] = {}
    for kind, n in (each for found in founds.values() for each in found.set_aside.items()):
        aside[kind] = aside.get(kind, 0) + n if kind == "pack" else n  # each cell count has packs of its own
    made = dict.fromkeys(chosen.assumptions)
    for row in rows[:top]:
        made.update(dict.fromkeys(chosen.assumptions_of(row.train)))
    return Shortlist(
        brief=chosen.stated,
        setting=chosen,
        combinations=sum(found.combinations for found in founds.values()),
        passing=sum(found.passing or 0 for found in founds.values()) if counted else None,
        rows=tuple(rows[:top]),
        by_cells=by_cells,
        left_out=dict(sorted(left_out.items(), key=lambda item: -item[1])),
        set_aside=aside,
        ranking=order,
        assumptions=tuple(made),
        faults=tuple(catalogue.faults),
        whole=whole,
        **more,
    )


def _content(resolved: ResolvedBrief, chosen: Setting, catalogue: Catalogue) -> str | None:
    """The name of what a match rests on: every variant, which is ranked, and the parts that can enter."""
    kinds = _let_in(chosen, catalogue)
    if sum(map(len, kinds.values())) > _MOST_PARTS:
        return None
    return digest(resolved.settings, chosen.variant.name, kinds)


def _founds_data(founds: dict[int, Found]) -> list[dict[str, Any]]:
    """What is best on paper as JSON knows it."""
    return [
        {
            "cells": cells, "rows": found.combination.tolist(), "score": found.score.tolist(),
            "combinations": found.combinations, "passing": found.passing, "left_out": found.left_out,
            "set_aside": found.set_aside,
        }
        for cells, found in founds.items()
    ]  # fmt: skip


def _founds_of(shelves: dict[int, Shelf], data: Any) -> dict[int, Found]:
    """The same again."""
    founds = {
        each["cells"]: Found(
            combination=combinations_of(each["rows"], shelves[each["cells"]]),
            score=np.array(each["score"], dtype=np.float64), combinations=each["combinations"],
            passing=each["passing"], left_out=dict(each["left_out"]), set_aside=dict(each["set_aside"]),
        )
        for each in data
    }  # fmt: skip
    if [*founds] != [*shelves]:
        raise KeyError("other cell counts")
    return founds


def _best_ids(found: Shortlist) -> list[str]:
    """The ids of the parts of the best; none where nothing meets the brief."""
    return [] if found.best is None else [getattr(found.best, field.name) for field in attrs.fields(TrainId)]


def _margin(candidate: Candidate) -> float:
    return candidate.closest.margin if candidate.closest is not None else 1.0


def nothing_meets(brief: Brief) -> Unmet:
    """What is raised where a power train is needed, none is named and none of the catalogue meets the brief."""
    return Unmet(
        f"{brief.aircraft.name}: no power train of the catalogue meets the brief.",
        "'propmatch match' says which limits leave nothing; name a power train to see it all the same.",
    )


def best_train(
    brief: Brief | ResolvedBrief, catalogue: Catalogue, *, progress: Callable[[int, int], None] | None = None
) -> PowerTrain:
    """The design where nobody names one: the best of all that meets the brief, as designed, whatever its cell count.

    Raises
    ------
    Unmet
        Nothing meets the brief.
    InputFaults
        As :func:`match`.
    """
    resolved = ResolvedBrief.of(brief)
    setting = resolved.as_designed

    known = {kind: {str(part.id): part for part in parts} for kind, parts in _let_in(setting, catalogue).items()}

    def parts_of(ids: Any) -> list[Any]:
        return [known[f"{kind}s"][each] for kind, each in zip(PART_KINDS, ids, strict=True)] if ids else []

    def find() -> list[Any]:
        return parts_of(_best_ids(match(resolved, catalogue, top=LEAST_SHOWN, count=False, progress=progress)))

    # match keeps it
    best = kept("best", _content(resolved, setting, catalogue), find, write=lambda _: None, read=parts_of)
    if not best:
        raise nothing_meets(resolved.stated)
    return setting.train(*best)


def _marks(shelf: Shelf, passing: Passing) -> tuple[Mark, ...]:
    """As marks, longest flight first."""
    out = []
    for at in np.argsort(-passing.flight_minutes, kind="stable"):
        out.append(
            Mark(
                **shelf.ids(passing.combination[at]),
                cells=int(passing.cells[at]),
                flight_minutes=float(passing.flight_minutes[at]),
                thrust_to_weight=float(passing.thrust_to_weight[at]),
                all_up_mass_g=float(passing.all_up_mass_g[at]),
                front=bool(passing.front[at]),
            )
        )
    return tuple(out)


def shelf_for(setting: Setting, catalogue: Catalogue) -> Shelf:
    """The parts of a catalogue that a brief lets in, as a shelf.

    Raises
    ------
    InputFaults
        A kind without parts; a cutoff that no pack allows.
    """
    wanted, kinds = setting.brief.parts, _let_in(setting, catalogue)
    box = f"'propmatch match --only {wanted.only[0]}' says what to buy" if wanted.only else ""
    aside = "{} set aside: 'propmatch parts --faults' says why"
    faults = [
        Fault(
            where="catalogue",
            key=kind,
            value=0,
            rule=f"no {kind} to choose from: add some or widen [parts]",
            hint=aside.format(count) if (count := catalogue.set_aside(kind)) else box,
        )
        for kind, parts in kinds.items()
        if not parts
    ]
    faults += cutoff_faults(setting.cutoff_cell_v, kinds["packs"])
    if faults:
        raise InputFaults(faults)
    return Shelf.of(
        kinds["motors"],
        kinds["controllers"],
        kinds["packs"],
        kinds["propellers"],
        **setting.train_numbers,
    )


def _let_in(setting: Setting, catalogue: Catalogue) -> dict[str, list[Any]]:
    """The parts of each kind that a brief lets in."""
    chosen = catalogue.let_in(setting.brief.parts, setting.variant.motor_count)
    return {
        "motors": list(chosen.motors.values()),
        "controllers": list(chosen.controllers.values()),
        "packs": list(chosen.packs.values()),
        "propellers": [p for p in chosen.propellers.values() if p.table is not None],
    }


def shelves_of(setting: Setting, catalogue: Catalogue) -> tuple[dict[int, Shelf], Shelf]:
    """A shelf for each cell count, and one for all of them; of a box those cell counts alone that it has packs for."""
    whole, cells = shelf_for(setting, catalogue), setting.brief.limits.cells
    of_pack = np.array([pack.cells_series for pack in whole.packs])
    held = sorted(set(of_pack.tolist()))
    missing = [count for count in cells if count not in held]
    if missing and (not setting.brief.parts.only or len(missing) == len(cells)):
        raise InputFaults(
            [
                Fault(
                    where="brief",
                    key="limits.cells",
                    value=count,
                    rule=f"the catalogue has no {count}S pack; it has {', '.join(f'{c}S' for c in held)}",
                )
                for count in missing
            ]
        )
    shelves = {count: whole.with_packs(np.flatnonzero(of_pack == count)) for count in (cells or held) if count in held}
    return shelves, whole.with_packs(np.flatnonzero(np.isin(of_pack, list(shelves))))


@attrs.frozen(kw_only=True, eq=False)
class Search:
    """The exact search of a shelf, the quick way or one by one."""

    exhaustive: bool
    count: bool | None
    total: int
    within_s: float | None = None

    @property
    def counting(self) -> bool:
        """Whether what passes is counted."""
        return self.total <= COUNTED if self.count is None else self.count

    def each(
        self, setting: Setting, shelves: dict[int, Shelf], order: Ranking, top: int,
        progress: Callable[[int, int], None] | None,
    ) -> dict[int, Found]:  # fmt: skip
        """The best on paper of each shelf; progress runs over all of them.

        Of the time given each shelf gets its part, and what the ones before left.
        """
        before = 0
        find: Callable[..., Found] = by_force
        if not self.exhaustive:
            tables = None if any(map(too_many, shelves.values())) else PropellerTables(setting, *shelves.values())
            find = partial(search, count=self.counting, tables=tables)
        founds: dict[int, Found] = {}
        end = time.monotonic() + (np.inf if self.within_s is None else self.within_s)
        for at, (cells, shelf) in enumerate(shelves.items()):
            tell = None if progress is None else partial(_tell, progress, before, self.total)
            now = time.monotonic()
            clock = _Clock(now + (end - now) / (len(shelves) - at), tell)
            try:
                founds[cells] = find(setting, shelf, order, top=top, progress=clock)
            except Interrupted as error:
                founds[cells] = error.found
                if not clock.over:
                    raise Interrupted(founds) from None
            before += shelf.combinations
        return founds

    def __call__(self, setting: Setting, shelf: Shelf, order: Ranking, top: int) -> Found:
        """The best of one shelf, nothing counted."""
        if self.exhaustive:
            return by_force(setting, shelf, order, top=top)
        return search(setting, shelf, order, top=top, count=False)


class _Clock:
    """Passes progress on and interrupts at a time of ``time.monotonic``; ``over`` tells that it did."""

    def __init__(self, end: float, tell: Callable[[int, int], None] | None) -> None:
        self._end, self._tell, self.over = end, tell, False

    def __call__(self, done: int, total: int) -> None:
        if self._tell is not None:
            self._tell(done, total)
        if time.monotonic() >= self._end and done < total:
            self.over = True
            raise KeyboardInterrupt


def _tell(progress: Callable[[int, int], None], before: int, total: int, done: int, _: int) -> None:
    progress(before + done, total)


def _picks(
    settings: Sequence[Setting], shelf: Shelf, order: Ranking, find: Search, top: int, on_paper: Index
) -> Picks:  # fmt: skip
    """The picks of a shelf, and how sure the best on paper is."""
    picks = holding(settings, shelf, order, find, top=top, on_paper=on_paper)
    return attrs.evolve(picks, paper=tuple(sure_of(settings, shelf, order, row) for row in on_paper[:1]))


def _as_found(picks: Sequence[Pick]) -> "_Rows":
    rows = np.array([pick.combination for pick in picks], dtype=np.intp).reshape(-1, 4)
    return rows, np.array([pick.score_low for pick in picks]), picks


_Rows = tuple[Index, Floats, Sequence[Pick]]


def _candidates(
    setting: Setting, others: Sequence[Setting], shelf: Shelf, catalogue: Catalogue, founds: dict[int, _Rows]
) -> dict[int, tuple[Candidate, ...]]:
    """The rows of every cell count, with the checks that plugins add; ``shelf`` is that of all of them."""
    of_pack, variant, stated = shelf.column("cells"), setting.variant, setting.stated
    rows = [found[0].copy() for found in founds.values()]
    for cells, part in zip(founds, rows, strict=True):
        part[:, 2] = np.flatnonzero(of_pack == cells)[part[:, 2]]
    scores = np.concatenate([np.empty(0), *(found[1] for found in founds.values())])
    picks = [pick for found in founds.values() for pick in found[2]]
    whole = np.concatenate([np.empty((0, 4), dtype=np.intp), *rows])
    made = (
        attrs.evolve(each, checks=(*each.checks, *catalogue.extra_checks(Design.of(each.train, variant), stated)))
        for each in candidates(setting, others, shelf, whole, scores, picks)
    )
    return {cells: tuple(next(made) for _ in part) for cells, part in zip(founds, rows, strict=True)}
