"""The best of more parts than can be held against each other at once: first near what is good, then piece by piece.

Some of each kind are searched first. Then all of one kind, or of two, with what stands in the best so far of the
others, as long as that finds better: each is a search of its own, exact for its parts, held against the best so far.
After that every piece is searched, some of each kind at a time, so that memory is bounded whatever the counts; the
answer is exact once all are done.

After the first search, bounds of what any motor and controller reach with a propeller and a group of packs: those of
one controller and one pack that have the best of each number of all, lightest, of least resistance, of the highest
rating and the most charge. Shaft power within the limits rises with the ratings and falls with the resistance, minutes
rise with charge and fall with mass (:mod:`propmatch.search.bounds.scores`), so that no other does better; a limit of
the motor's power, which less resistance reaches earlier, is left out. Propellers and packs that cannot reach the best
so far are left out too, and where the time is over before the end, nothing exceeds the highest of these bounds.
"""

import math
from collections.abc import Callable, Iterator
from itertools import product

import attrs
import numpy as np

from propmatch.checks.measures import Setting
from propmatch.models.arrays import Floats, Index
from propmatch.search.bounds.lesser import lesser
from propmatch.search.bounds.scores import pair_bound
from propmatch.search.bounds.screen import Screen
from propmatch.search.exhaustive import Found, Interrupted, in_order
from propmatch.search.ranking import Ranking
from propmatch.search.shelf import Shelf

__all__ = ["Pieces", "too_many"]

_PAIRS, _MEETINGS = 4_000_000, 100_000_000
"""Most pairs of motor and controller, and of pack and propeller, that are laid out at once: 0.5 GB and 0.8 GB."""
_SAMPLE = {"motor": 400, "controller": 20, "pack": 100, "propeller": 200}
"""Parts of each kind that are looked at first."""
_KEPT = 4
"""Parts of the other kinds, out of the best so far, that all of one kind are tried with."""
_PIECE = 500
"""Parts of each kind in a piece."""
_GROUPS = 48
"""Groups by mass of the packs of one chemistry and cell count."""
_NEAR = 1e-9
"""Share of a score by which a bound is widened: above rounding."""
_TURNS: tuple[tuple[str, ...], ...] = (
    ("motor",), ("pack",), ("propeller",), ("controller",), ("motor", "propeller"), ("pack", "propeller"),
)  # fmt: skip
"""Kinds of which all are tried with the best of the others, turn by turn."""


_BEST_CONTROLLER: dict[str, np.ufunc] = {
    "switch_ohm": np.minimum, "controllers_g": np.minimum, "supply_g": np.minimum, "controller_a": np.maximum,
    "controller_burst_a": np.fmax, "controller_burst_s": np.maximum, "controller_estimated": np.maximum,
    "controller_cells_least": np.minimum, "controller_cells_most": np.maximum,
}  # fmt: skip
_BEST_PACK: dict[str, np.ufunc] = {
    "cells_ohm": np.minimum, "leads_ohm": np.minimum, "capacity_ah": np.maximum, "pack_g": np.minimum,
    "usable_a": np.maximum, "burst_a": np.fmax, "pack_estimated": np.maximum, "pack_nominal_v": np.minimum,
}  # fmt: skip
"""Numbers that decide bounds, and which of several parts' lets most by; what is not stated (NaN) is no limit."""


def too_many(shelf: Shelf) -> bool:
    """Whether the parts of a shelf cannot be held against each other at once."""
    motors, controllers, packs, propellers = shelf.sizes
    return motors * controllers > _PAIRS or packs * propellers > _MEETINGS


@attrs.define(eq=False)
class Pieces:
    """The search of one shelf; ``find`` is that of a part of it, of those that reach ``floor``."""

    setting: Setting
    shelf: Shelf
    ranking: Ranking
    top: int
    progress: Callable[[int, int], None] | None
    find: Callable[..., Found]
    bound: float = attrs.field(init=False, default=np.inf)
    combination: Index = attrs.field(init=False, factory=lambda: np.empty((0, 4), dtype=np.intp))
    score: Floats = attrs.field(init=False, factory=lambda: np.empty(0))

    def found(self, *, counting: bool) -> Found:
        """The best of all; what passes and what is left out are added up over the pieces."""
        total, done, passing = self.shelf.combinations, 0, 0
        left_out: dict[str, int] = {}
        less = lesser(self.shelf, self.top)
        some = {kind: np.flatnonzero(~flags | counting) for kind, flags in less.items()}
        widest = self.setting.brief.limits.max_propeller_diameter_in
        if widest is not None and not counting:
            some["propeller"] = some["propeller"][self.shelf.column("diameter_in")[some["propeller"]] <= widest]
        try:
            if all(each.size for each in some.values()):
                self._searched({kind: _spread(each, _SAMPLE[kind]) for kind, each in some.items()}, 0)
                groups, bounds = self._bounds(some)
                self.bound = float(np.max(bounds))
                best_first = np.argsort(-np.max(bounds, axis=0), kind="stable")
                some["propeller"], bounds = some["propeller"][best_first], bounds[:, best_first]
                self._near(some)
                if not counting:
                    good = bounds >= self._floor - _NEAR * abs(self._floor)
                    some["propeller"] = some["propeller"][good.any(axis=0)]
                    some["pack"] = np.sort(np.concatenate([groups[at] for at in np.flatnonzero(good.any(axis=1))]))
                for piece in self._pieces(some):
                    found = self._searched(piece, done)
                    done += found.combinations
                    passing += found.passing or 0
                    for name, n in found.left_out.items():
                        left_out[name] = left_out.get(name, 0) + n
            self._tell(total)
        except KeyboardInterrupt:
            raise Interrupted(Found.so_far(self.combination, self.score, total, self.bound)) from None
        return Found(
            combination=self.combination, score=self.score, combinations=total,
            passing=passing if counting else None, left_out=left_out,
            set_aside={} if counting else {kind: int(flags.sum()) for kind, flags in less.items() if flags.any()},
        )  # fmt: skip

    @property
    def _floor(self) -> float:
        """Score that a newcomer must reach."""
        return float(self.score[-1]) if self.score.size >= self.top else -np.inf

    def _near(self, some: dict[str, Index]) -> None:
        """All of a kind or two with the best of the others, until nothing is better."""
        best = None
        while len(self.combination) and best != (best := self.score.tolist()):
            for turn in _TURNS:
                near = {kind: _first(column, _KEPT) for kind, column in zip(some, self.combination.T, strict=True)}
                each = near | {kind: some[kind] for kind in turn}
                for propellers in _split(each["propeller"]):
                    self._searched(each | {"propeller": propellers}, 0)

    def _bounds(self, some: dict[str, Index]) -> tuple[list[Index], Floats]:
        """Groups of packs, and the score (groups, propellers) that nothing with one of each exceeds."""
        chosen = self.shelf.only(some)
        column = chosen.column
        order = np.lexsort((column("pack_g"), column("cells"), column("chemistry")))
        kinds = np.flatnonzero(np.any(np.diff([column(name)[order] for name in ("cells", "chemistry")]), axis=0)) + 1
        groups = [group for kind in np.split(order, kinds) for group in np.array_split(kind, min(_GROUPS, kind.size))]
        starts = np.cumsum([0, *(group.size for group in groups[:-1])])
        best = {name: np.array([how.reduce(column(name))]) for name, how in _BEST_CONTROLLER.items()}
        best |= {name: how.reduceat(column(name)[order], starts) for name, how in _BEST_PACK.items()}
        best["controller_burst_a"] = np.fmax(best["controller_burst_a"], best["controller_a"])
        best["burst_a"] = np.where(np.isnan(best["usable_a"]), np.nan, np.fmax(best["burst_a"], best["usable_a"]))
        first = {"controller": np.zeros(1, dtype=np.intp), "pack": order[starts]}
        out = []
        for propellers in _split(np.arange(some["propeller"].size)):
            shelf = chosen.only({**first, "propeller": propellers})
            shelf = shelf.holding({**best, "motor_w": np.full(len(shelf.motors), np.nan)})
            screen = Screen(self.setting, shelf, counting=False)
            out.append(pair_bound(screen, self.ranking, np.arange(starts.size), np.arange(propellers.size)))
            self._tell(0)
        return [some["pack"][group] for group in groups], np.concatenate(out, axis=1)

    @staticmethod
    def _pieces(some: dict[str, Index]) -> Iterator[dict[str, Index]]:
        """All combinations of some parts of each kind at a time."""
        for each in product(*map(_split, some.values())):
            yield dict(zip(some, each, strict=True))

    def _searched(self, piece: dict[str, Index], done: int) -> Found:
        """Search a part of the shelf and keep what is better."""

        def tell(n: int, _: int) -> None:
            self._tell(done + n)

        part = self.shelf.only(piece)
        try:
            found = self.find(part, self.ranking, top=self.top, progress=tell, floor=self._floor)
        except Interrupted as error:
            self._keep(piece, error.found)
            raise
        self._keep(piece, found)
        self._tell(done)
        return found

    def _tell(self, done: int) -> None:
        if self.progress is not None:
            self.progress(done, self.shelf.combinations)

    def _keep(self, piece: dict[str, Index], found: Found) -> None:
        rows = np.column_stack([each[at] for each, at in zip(piece.values(), found.combination.T, strict=True)])
        rows, score = np.concatenate([self.combination, rows]), np.concatenate([self.score, found.score])
        rows, first = np.unique(rows, axis=0, return_index=True)
        score = score[first]
        mass = np.asarray(self.setting.all_up_mass_g(self.shelf.train_mass_g(*rows.T)))
        order = in_order(score, mass, rows)[: self.top]
        self.combination, self.score = rows[order], score[order]


def _split(some: Index) -> list[Index]:
    """A piece at a time, each in the order of the catalogue, which decides among equals."""
    return [np.sort(each) for each in np.array_split(some, math.ceil(some.size / _PIECE))]


def _spread(some: Index, most: int) -> Index:
    """So many at most, evenly spread."""
    return some[np.linspace(0, some.size - 1, min(most, some.size)).astype(np.intp)]


def _first(column: Index, most: int) -> Index:
    """The first distinct ones of a column."""
    return np.sort(np.array(list(dict.fromkeys(column.tolist()))[:most], dtype=np.intp))
