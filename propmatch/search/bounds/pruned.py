"""The best combinations of a shelf, exactly those that judging every one would find.

Propellers are taken with packs in the order of an upper bound of the score (:mod:`bounds.scores`); each block,
some propellers by all motors and controllers on one pack, is screened without roots where possible
(:mod:`bounds.screen`). What passes is held in a pool with bounds of its score, and only those that may belong to the
best are computed, by the same measures as ever. Without counting, the search ends when no bound reaches the best found.

This module is the door of the room: the best (:func:`search`), everything that passes (:func:`passing`), and where one
combination stands among it (:func:`standing`).
"""

from collections.abc import Callable, Iterator

import attrs
import numpy as np

from propmatch.checks.measures import CHECKS, Setting, TrainMeasures
from propmatch.models.arrays import Flags, Floats, Index
from propmatch.search.bounds.flighttime import FlightBounds
from propmatch.search.bounds.fullthrottle import TESTED, may_reach, needed_table
from propmatch.search.bounds.scores import lane_bounds, pair_bound
from propmatch.search.bounds.screen import Screen
from propmatch.search.bounds.tables import PropellerTables
from propmatch.search.exhaustive import Found, in_order
from propmatch.search.ranking import Ranking
from propmatch.search.shelf import Shelf

__all__ = ["CHUNK", "COUNTED", "PropellerTables", "Standing", "passing", "search", "standing"]


COUNTED = 100_000_000
"""Combinations up to which what passes is counted unasked."""
_BLOCK = 524288
"""Combinations of a block: its tables of flags take 0.5 MB each and stay in the cache."""
_POOL = 65536
"""Combinations that wait for an answer before the most promising are computed: a few MB."""
_BATCH = 4_000_000
"""Most pairs of motor and controller by pairs of pack and propeller taken between two looks at the best so far."""
CHUNK = 2048
"""Combinations computed together: what their flights need stays in the cache."""
_FIRST = 64
"""Combinations computed before the first look at the threshold: the best ones raise it most. Then twice as many."""
_HALVINGS = 5
"""Steps that tighten a bound by asking whether its middle can be reached; each costs one reading of a propeller."""
_NEAR = 1e-9
"""Share of the threshold within which a bound still counts as reaching it: above rounding of the score."""


@attrs.frozen(kw_only=True, eq=False)
class _Some:
    """Combinations (N, 4) with bounds of their score; ``open`` where it is not settled that they pass.

    The upper bound is ``rest`` (N,) and ``shares`` (N, metrics of ``TESTED``) added up.
    """

    combination: Index
    lower: Floats
    rest: Floats
    shares: Floats
    open: Flags

    @property
    def size(self) -> int:
        return int(self.rest.size)

    @property
    def upper(self) -> Floats:
        return np.asarray(self.rest + self.shares.sum(axis=1))

    def take(self, some: Flags | Index) -> "_Some":
        return _Some(**{a.name: getattr(self, a.name)[some] for a in attrs.fields(_Some)})

    @classmethod
    def joined(cls, each: list["_Some"]) -> "_Some":
        return cls(**{a.name: np.concatenate([getattr(x, a.name) for x in each]) for a in attrs.fields(_Some)})


@attrs.define(kw_only=True)
class _Best:
    """The best so far, and a pool of combinations that may be better.

    Attributes
    ----------
    passing : how many passed; of those in the pool that are open it is not known yet
    combination, score, mass : the best, in order
    """

    screen: Screen
    ranking: Ranking
    top: int
    passing: int = 0
    combination: Index = attrs.field(factory=lambda: np.empty((0, 4), dtype=np.intp))
    score: Floats = attrs.field(factory=lambda: np.empty(0))
    mass: Floats = attrs.field(factory=lambda: np.empty(0))
    _pool: list[_Some] = attrs.field(factory=list)
    _floor: float = -np.inf

    @property
    def threshold(self) -> float:
        """Score that a newcomer must reach."""
        worst = float(self.score[-1]) if self.score.size >= self.top else -np.inf
        return max(worst, self._floor)

    def within(self, upper: Floats) -> Flags:
        """Bounds that reach the threshold."""
        least = self.threshold
        return upper >= least - _NEAR * abs(least) if np.isfinite(least) else np.ones(upper.shape, dtype=bool)

    def add(self, some: _Some) -> None:
        """Put combinations into the pool."""
        self.passing += int(np.count_nonzero(~some.open))
        kept = self.within(some.upper)
        if self.screen.counting:
            kept |= some.open
        if kept.any():
            self._pool.append(some.take(kept))
        if sum(x.size for x in self._pool) > _POOL:
            self.settle()

    def settle(self) -> None:
        """Compute what may be among the best, and empty the pool."""
        if not self._pool:
            return
        pool = _Some.joined(self._pool)
        self._pool = [pool]
        sure = pool.lower[~pool.open]
        if sure.size >= self.top:
            self._floor = max(self._floor, float(np.partition(sure, -self.top)[-self.top]))
        if self.screen.counting:
            # every open one needs an answer
            good = _settled(self.screen, pool.combination, pool.open)
            self.passing += int(np.count_nonzero(good & pool.open))
            pool = pool.take(good)
        pool, first = pool.take(self.within(pool.upper)), _FIRST
        while pool.size:
            order = np.argsort(-pool.upper, kind="stable")
            self._compute(pool.take(order[:first]))
            pool = pool.take(order[first:])
            pool = self._tightened(pool.take(self.within(pool.upper)))
            first = min(2 * first, CHUNK)
        self._pool = []

    def _tightened(self, some: _Some) -> _Some:
        """What may still reach the threshold, with better bounds of the metrics that can be tested quickly."""
        ranking, total = self.ranking, sum(self.ranking.weights.values())
        for column, metric in enumerate(TESTED):
            weight = ranking.weights.get(metric)
            if weight is None or not some.size or not np.isfinite(self.threshold):
                continue
            scale = ranking.scales[metric] * total / weight  # from a share of the score to the metric
            others = some.rest + np.delete(some.shares, column, axis=1).sum(axis=1)
            low = np.maximum((self.threshold - others) * scale, 0.0)
            keep = np.ones(some.size, dtype=bool)
            tested = np.flatnonzero(low > 0)
            keep[tested] = may_reach(self.screen, some.combination[tested], metric, low[tested])
            some, low = some.take(keep), low[keep]
            high = some.shares[:, column] * scale
            for _ in range(_HALVINGS):
                middle = 0.5 * (low + np.minimum(high, 4.0 * low + 1.0))
                reaches = may_reach(self.screen, some.combination, metric, middle)
                low, high = np.where(reaches, middle, low), np.where(reaches, high, middle)
            shares = some.shares.copy()
            shares[:, column] = high / scale
            some = attrs.evolve(some, shares=shares)
        return some.take(self.within(some.upper))

    def raise_floor(self) -> None:
        """Tell the screen what a newcomer must reach, where one metric that can be tested quickly decides."""
        metric = self.ranking.single
        if metric in TESTED and np.isfinite(self.threshold) and self.threshold > 0:
            value = self.threshold * self.ranking.scales[metric]
            self.screen.least = needed_table(self.screen.tables, metric, value)

    def _compute(self, some: _Some) -> None:
        rows = some.combination
        if not self.screen.counting and some.open.any():
            passes = ~some.open
            passes[some.open] = self.screen.flown(rows[some.open])
            rows = rows[passes]
            if not len(rows):
                return
        measured = TrainMeasures(self.screen.setting, *self.screen.shelf.combine(*rows.T))
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
    tables: PropellerTables | None = None,
) -> Found:
    """The best combinations, equal to those of :func:`propmatch.search.exhaustive.exhaustive`.

    Parameters
    ----------
    setting, shelf, ranking
    top : int
    progress : callable, optional
        Called with the combinations settled and their number.
    count : bool, optional
        Whether what passes and what is left out is counted; default up to 1e8 combinations.
    tables : PropellerTables, optional
        Made before, for this setting and these propellers, from a shelf that holds all the other parts.

    Returns
    -------
    Found
        An interruption (Ctrl-C) returns the best so far.
    """
    combinations = shelf.combinations
    counting = combinations <= COUNTED if count is None else count
    best: _Best | None = None
    done = 0
    complete = True
    try:
        screen = Screen(setting, shelf, counting=counting, tables=tables)
        best = _Best(screen=screen, ranking=ranking, top=top)
        for packs, propellers, wanted, bound in _blocks(screen, ranking, counting):
            if not counting and not best.within(np.array([bound]))[0]:
                break
            for drives in screen.drives(packs, max(1, _BLOCK // propellers.size), propellers):
                lanes, flight, open_ = screen.block(drives, propellers, wanted)
                if lanes.size:
                    lower, rest, shares = lane_bounds(screen, ranking, drives, lanes, flight)
                    rows = drives.combinations(lanes.drive, lanes.propeller)
                    best.add(_Some(combination=rows, lower=lower, rest=rest, shares=shares, open=open_))
                done += drives.size * propellers.size
                if progress is not None:
                    progress(min(done, combinations), combinations)
            if not counting:
                best.settle()
                best.raise_floor()
        best.settle()
        if progress is not None:
            progress(combinations, combinations)
    except KeyboardInterrupt:
        complete = False
        if best is not None:
            best.settle()
    return _found(best, combinations, counting, complete)


def _found(best: _Best | None, combinations: int, counting: bool, complete: bool) -> Found:
    """What was found so far."""
    counted = counting and best is not None
    return Found(
        combination=np.empty((0, 4), dtype=np.intp) if best is None else best.combination,
        score=np.empty(0) if best is None else best.score,
        combinations=combinations,
        passing=best.passing if best is not None and counted else None,
        left_out={name: n for name in CHECKS if (n := best.screen.counts[name])}
        if best is not None and counted
        else {},
        complete=complete,
    )


def _blocks(screen: Screen, ranking: Ranking, counting: bool) -> Iterator[tuple[Index, Index, Flags | None, float]]:
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
    largest = max(step, _BATCH // screen.pairs.mass_g.size)
    while start < order.size:
        k, p = np.divmod(order[start : start + step], propellers)
        wanted = np.zeros((packs, propellers), dtype=bool)
        wanted[k, p] = True
        yield np.flatnonzero(wanted.any(axis=1)), np.flatnonzero(wanted.any(axis=0)), wanted, float(bound[k[0], p[0]])
        start, step = start + step, min(4 * step, largest)


def passing(
    setting: Setting, shelf: Shelf, *, tables: PropellerTables | None = None
) -> Iterator[tuple[Index, FlightBounds]]:
    """Every combination (N, 4) that passes, block by block, with bounds of its flight time; ``tables`` as above."""
    screen = Screen(setting, shelf, counting=True, tables=tables)
    propellers = np.arange(len(shelf.propellers))
    for drives in screen.drives(np.arange(len(shelf.packs)), max(1, _BLOCK // propellers.size)):
        lanes, bounds, open_ = screen.block(drives, propellers)
        good = _settled(screen, drives.combinations(lanes.drive, lanes.propeller), open_)
        yield drives.combinations(lanes.drive, lanes.propeller)[good], bounds.take(good)


def _settled(screen: Screen, rows: Index, open_: Flags) -> Flags:
    """Which combinations pass, those that bounds leave open computed."""
    good = ~open_
    undecided = np.flatnonzero(open_)
    for start in range(0, undecided.size, CHUNK):
        part = undecided[start : start + CHUNK]
        good[part] = screen.flown(rows[part])
    return good


@attrs.frozen(kw_only=True)
class Standing:
    """Where a combination stands among those that pass.

    Attributes
    ----------
    before, passing : how many that pass come before it, and how many pass
    bound : score that no combination of its propeller and pack can exceed; -inf where none can pass
    """

    before: int
    passing: int
    bound: float


def standing(setting: Setting, shelf: Shelf, ranking: Ranking, row: Index, *, score: float, mass_g: float) -> Standing:
    """Where a combination (4,) of a score and all-up mass stands; computed where bounds leave it open."""
    screen = Screen(setting, shelf, counting=True)
    propellers = np.arange(len(shelf.propellers))
    before = passing = 0
    close = []
    for drives in screen.drives(np.arange(len(shelf.packs)), max(1, _BLOCK // propellers.size)):
        lanes, flight, open_ = screen.block(drives, propellers)
        if not lanes.size:
            continue
        lower, rest, shares = lane_bounds(screen, ranking, drives, lanes, flight)
        upper = rest + shares.sum(axis=1)
        rows = drives.combinations(lanes.drive, lanes.propeller)
        good = _settled(screen, rows, open_)
        passing += int(np.count_nonzero(good))
        band = _NEAR * abs(score) if np.isfinite(score) else 0.0
        better = good & (lower > score + band)
        before += int(np.count_nonzero(better))
        close.append(rows[good & ~better & (upper >= score - band)])
    rows = np.concatenate([np.empty((0, 4), dtype=np.intp), *close])
    for start in range(0, len(rows), CHUNK):
        part = rows[start : start + CHUNK]
        measured = TrainMeasures(setting, *shelf.combine(*part.T))
        scores = np.append(ranking.of(measured), score)
        masses = np.append(measured["all_up_mass"].value, mass_g)
        places = in_order(scores, masses, np.vstack([part, row]))
        # the combination itself may be in the list too: it does not stand before itself
        ahead = places[: int(np.flatnonzero(places == len(part))[0])]
        before += int(np.count_nonzero(np.any(part[ahead[ahead < len(part)]] != row, axis=1)))
    bound = float(pair_bound(screen, ranking, row[2:3], row[3:4])[0, 0])
    return Standing(before=before, passing=passing, bound=bound)
