"""The best combinations of a shelf, exactly those that judging every one would find.

Propellers are taken with packs in the order of an upper bound of the score (:mod:`propmatch.searchbounds`); each block,
some propellers by all motors and controllers on one pack, is screened without roots where possible
(:mod:`propmatch.screen`). What passes is held in a pool with bounds of its score, and only those that may belong to the
best are computed, by the same measures as ever. Without counting, the search ends when no bound reaches the best found.
"""

from collections.abc import Callable, Iterator

import attrs
import numpy as np
from numpy.typing import NDArray

from propmatch.exhaustive import Found, in_order
from propmatch.measures import CHECKS, Setting, TrainMeasures
from propmatch.ranking import Ranking
from propmatch.screen import Screen
from propmatch.searchbounds import lane_bounds, pair_bound
from propmatch.shelf import Shelf

__all__ = ["COUNTED", "Best", "search"]

Floats = NDArray[np.float64]
Index = NDArray[np.intp]

COUNTED = 100_000_000
"""Combinations up to which what passes is counted unasked."""
_BLOCK = 524288
_POOL = 65536
_CHUNKS = (256, 2048)
_NEAR = 1e-9


@attrs.define(kw_only=True)
class Best:
    """The best so far, and a pool of combinations that may be better.

    Attributes
    ----------
    combination, score, mass : the best, in order
    """

    setting: Setting
    shelf: Shelf
    ranking: Ranking
    top: int
    combination: Index = attrs.field(factory=lambda: np.empty((0, 4), dtype=np.intp))
    score: Floats = attrs.field(factory=lambda: np.empty(0))
    mass: Floats = attrs.field(factory=lambda: np.empty(0))
    _pool: list[tuple[Index, Floats, Floats]] = attrs.field(factory=list)
    _size: int = 0
    _floor: float = -np.inf

    @property
    def threshold(self) -> float:
        """Score that a newcomer must reach."""
        worst = float(self.score[-1]) if self.score.size >= self.top else -np.inf
        return max(worst, self._floor)

    def within(self, upper: Floats) -> NDArray[np.bool_]:
        """Bounds that reach the threshold."""
        least = self.threshold
        return upper >= least - _NEAR * abs(least) if np.isfinite(least) else np.ones(upper.shape, dtype=bool)

    def add(self, combination: Index, lower: Floats, upper: Floats) -> None:
        """Put combinations that pass into the pool."""
        kept = self.within(upper)
        if not kept.any():
            return
        self._pool.append((combination[kept], lower[kept], upper[kept]))
        self._size += int(np.count_nonzero(kept))
        if self._size > _POOL:
            self._thin()
        if self._size > _POOL:
            self.settle()

    def _thin(self) -> None:
        """Drop what the lower bounds of the others rule out."""
        combination, lower, upper = (np.concatenate(x) for x in zip(*self._pool, strict=True))
        if lower.size >= self.top:
            self._floor = max(self._floor, float(np.partition(lower, -self.top)[-self.top]))
        kept = self.within(upper)
        self._pool = [(combination[kept], lower[kept], upper[kept])]
        self._size = int(np.count_nonzero(kept))

    def settle(self) -> None:
        """Compute what may be among the best, and empty the pool."""
        if not self._pool:
            return
        self._thin()
        ((combination, _, upper),) = self._pool
        order = np.argsort(-upper, kind="stable")
        start, step = 0, _CHUNKS[0]
        while start < order.size:
            some = order[start : start + step]
            some = some[self.within(upper[some])]
            if not some.size:
                break
            self._compute(combination[some])
            start, step = start + step, min(2 * step, _CHUNKS[1])
        self._pool, self._size = [], 0

    def _compute(self, rows: Index) -> None:
        measured = TrainMeasures(self.setting, *self.shelf.combine(*rows.T))
        self.combination = np.concatenate([self.combination, rows])
        self.score = np.concatenate([self.score, self.ranking.of(measured)])
        self.mass = np.concatenate([self.mass, measured["all_up_mass"].value])
        order = in_order(self.score, self.mass, self.combination)[: self.top]
        self.combination, self.score, self.mass = self.combination[order], self.score[order], self.mass[order]


def search(
    setting: Setting,
    shelf: Shelf,
    ranking: Ranking,
    *,
    top: int = 20,
    progress: Callable[[int, int], None] | None = None,
    count: bool | None = None,
) -> Found:
    """The best combinations, equal to those of :func:`propmatch.exhaustive.exhaustive`.

    Parameters
    ----------
    setting, shelf, ranking
    top : int
    progress : callable, optional
        Called with the combinations settled and their number.
    count : bool, optional
        Whether what passes and what is left out is counted; default up to 1e8 combinations.

    Returns
    -------
    Found
        An interruption (Ctrl-C) returns the best so far.
    """
    combinations = shelf.combinations
    counting = combinations <= COUNTED if count is None else count
    best = Best(setting=setting, shelf=shelf, ranking=ranking, top=top)
    done = passing = 0
    complete = True
    screen: Screen | None = None
    try:
        screen = Screen(setting, shelf, counting=counting)
        for packs, propellers, wanted, bound in _blocks(screen, ranking, counting):
            if not counting and not best.within(np.array([bound]))[0]:
                break
            for drives in screen.drives(packs, max(1, _BLOCK // propellers.size)):
                lanes, flight = screen.block(drives, propellers, wanted)
                passing += lanes.size
                if lanes.size:
                    lower, upper = lane_bounds(screen, ranking, drives, lanes, flight)
                    best.add(drives.combinations(lanes.drive, lanes.propeller), lower, upper)
                done += drives.size * propellers.size
                if progress is not None:
                    progress(min(done, combinations), combinations)
            if not counting:
                best.settle()
        best.settle()
        if progress is not None:
            progress(combinations, combinations)
    except KeyboardInterrupt:
        complete = False
    names = list(CHECKS)
    counts = screen.counts if screen is not None else np.zeros(len(names))
    return Found(
        combination=best.combination,
        score=best.score,
        combinations=combinations,
        passing=passing if counting else None,
        left_out={name: int(n) for name, n in zip(names, counts, strict=True) if n} if counting else {},
        complete=complete,
    )


def _blocks(
    screen: Screen, ranking: Ranking, counting: bool
) -> Iterator[tuple[Index, Index, NDArray[np.bool_] | None, float]]:
    """Packs, propellers, which of their pairs are wanted (None for all), and the best bound among them, best first."""
    _, _, packs, propellers = screen.shelf.sizes
    every = np.arange(propellers)
    bound = pair_bound(screen, ranking, np.arange(packs), every)
    if counting:
        yield np.argsort(-np.max(bound, axis=1), kind="stable"), every, None, np.inf
        return
    order = np.argsort(-bound, axis=None, kind="stable")
    order = order[bound.ravel()[order] > -np.inf]
    start, step = 0, 128
    while start < order.size:
        k, p = np.divmod(order[start : start + step], propellers)
        wanted = np.zeros((packs, propellers), dtype=bool)
        wanted[k, p] = True
        yield np.unique(k), np.unique(p), wanted, float(bound[k[0], p[0]])
        start, step = start + step, min(2 * step, 4096)
