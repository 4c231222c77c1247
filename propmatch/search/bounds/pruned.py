"""The best combinations of a shelf, exactly those that judging every one would find.

Propellers are taken with packs in the order of an upper bound of the score (:mod:`bounds.scores`); each block,
some propellers by all motors and controllers on one pack, is screened without roots where possible
(:mod:`bounds.screen`). What passes is held in a pool with bounds of its score, and only those that may belong to the
best are computed, by the same measures as ever. The search ends when no bound reaches the best found. How many pass and
what is left out is another question, asked of every combination after it.

This module is the door of the room: the best (:func:`search`), everything that passes (:func:`passing`), and where one
combination stands among it (:func:`standing`); for rows that are kept, what it decides with (``Screen``).
"""

from collections.abc import Callable, Iterator
from copy import copy
from functools import partial

import attrs
import numpy as np

from propmatch.checks.measures import CHECKS, Setting, TrainMeasures
from propmatch.models.arrays import Flags, Floats, Index
from propmatch.search.bounds.curves import BAND
from propmatch.search.bounds.drives import Drives
from propmatch.search.bounds.flighttime import FlightBounds
from propmatch.search.bounds.fullthrottle import TESTED, may_reach, wanted
from propmatch.search.bounds.groups import LADDER, LADDERS, Groups, Ladder, Target
from propmatch.search.bounds.lesser import lesser
from propmatch.search.bounds.margins import moved_by
from propmatch.search.bounds.pieces import Pieces, too_many
from propmatch.search.bounds.scores import lane_bounds, pair_bound, pair_values, score_at_most
from propmatch.search.bounds.screen import AT_REST, CURRENTS, FLOWN, SIZES, Lanes, Screen
from propmatch.search.bounds.tables import PropellerTables
from propmatch.search.exhaustive import Found, Interrupted, in_order
from propmatch.search.ranking import Ranking
from propmatch.search.shelf import Shelf

__all__ = [
    "AT_REST",
    "BAND",
    "CHUNK",
    "COUNTED",
    "CURRENTS",
    "FLOWN",
    "SIZES",
    "Best",
    "Drives",
    "FlightBounds",
    "Lanes",
    "PropellerTables",
    "Screen",
    "Standing",
    "passing",
    "search",
    "standing",
    "too_many",
]


COUNTED = 100_000_000
"""Combinations up to which what passes is counted unasked."""
_BLOCK = 524288
"""Combinations of a block: its tables of flags take 0.5 MB each and stay in the cache."""
_POOL = 65536
"""Combinations that wait for an answer before the most promising are computed: a few MB."""
_SEED, _GROWTH = 262_144, 8
"""Combinations looked at first, and how many more pairs of pack and propeller after each look at the best so far; the
square of it once those near the best were looked at."""
CHUNK = 2048
"""Combinations computed together: what their flights need stays in the cache."""
_FIRST = 64
"""Combinations computed before the first look at the threshold: the best ones raise it most. Then twice as many."""
_HALVINGS = 5
"""Steps that tighten a bound by asking whether its middle can be reached; each costs one reading of a propeller."""
_WORTH_TRYING = 100_000_000
"""Combinations left from which on those near the best are looked at out of turn."""
_EXCHANGED, _EXCHANGES = 16, 6
"""So many of the best are changed in each of their parts, more where thousands are asked for, and how often at most."""
_LATELY = 1.005
"""Groups raised to a threshold serve until it has risen so many times."""
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
class Best:
    """The best so far, and a pool of combinations that may be better.

    Attributes
    ----------
    combination, score, mass : the best, in order
    bound : score that nothing which was not looked at exceeds
    set_aside : parts of each kind that cannot be among the best (:mod:`propmatch.search.bounds.lesser`)
    """

    screen: Screen
    ranking: Ranking
    top: int
    combination: Index = attrs.field(factory=lambda: np.empty((0, 4), dtype=np.intp))
    score: Floats = attrs.field(factory=lambda: np.empty(0))
    mass: Floats = attrs.field(factory=lambda: np.empty(0))
    bound: float = np.inf
    set_aside: dict[str, int] = attrs.field(factory=dict)
    _pool: list[_Some] = attrs.field(factory=list)
    _floor: float = -np.inf
    _most: dict[str, tuple[float, float]] = attrs.field(factory=dict)
    _lately: tuple[float, Groups] | None = None

    @property
    def threshold(self) -> float:
        """Score that a newcomer must reach."""
        worst = float(self.score[-1]) if self.score.size >= self.top else -np.inf
        return max(worst, self._floor)

    def within(self, upper: Floats) -> Flags:
        """Bounds that reach the threshold."""
        least = self.threshold
        return upper >= least - _NEAR * abs(least) if np.isfinite(least) else np.ones(upper.shape, dtype=bool)

    def add(self, drives: Drives, lanes: Lanes, flight: FlightBounds, open_: Flags) -> None:
        """Put into the pool what passes, or may where it is open."""
        lower, rest, shares = lane_bounds(self.screen, self.ranking, drives, lanes, flight)
        kept = self.within(rest + shares.sum(axis=1))
        if kept.any():
            some = lanes.kept(kept)
            rows = drives.combinations(some.drive, some.propeller)
            self._pool.append(
                _Some(combination=rows, lower=lower[kept], rest=rest[kept], shares=shares[kept], open=open_[kept])
            )
        if sum(x.size for x in self._pool) > _POOL:
            self.settle()

    def settle(self) -> None:
        """Compute what may be among the best, and empty the pool.

        What is computed leaves the pool in the step that ranks it, so that an interruption anywhere loses nothing.
        """
        if not self._pool:
            return
        pool = _Some.joined(self._pool)
        self._pool = [pool]
        sure = pool.lower[~pool.open]
        if sure.size >= self.top:
            self._floor = max(self._floor, float(np.partition(sure, -self.top)[-self.top]))
        pool, first = pool.take(self.within(pool.upper)), _FIRST
        while pool.size:
            order = np.argsort(-pool.upper, kind="stable")
            rest = pool.take(order[first:])
            self._compute(pool.take(order[:first]), rest)
            pool = self._tightened(rest.take(self.within(rest.upper)))
            first = min(2 * first, CHUNK)
        self._pool = []

    def glimpse(self) -> None:
        """Rank the most promising of the pool alone, for somebody who does not wait for the rest."""
        if not self._pool:
            return
        pool = _Some.joined(self._pool)
        some = pool.take(np.argsort(-pool.upper, kind="stable")[: max(_FIRST, self.top)])
        some = some.take(_settled(self.screen, some.combination, some.open))
        self._compute(attrs.evolve(some, open=np.zeros(some.size, dtype=bool)), some.take(np.arange(0)))

    def _tightened(self, some: _Some) -> _Some:
        """What may still reach the threshold, with better bounds of the metrics that can be tested quickly."""
        ranking, total = self.ranking, sum(self.ranking.weights.values())
        if ranking.single in ("climb", "margin") and some.size > CHUNK and np.isfinite(self.threshold):
            if self._lately is None or not self.threshold < _LATELY * self._lately[0]:
                self._lately = self.threshold, self.raised()
            return some.take(self._lately[1].may(some.combination))
        for column, metric in enumerate(TESTED):
            weight = ranking.weights.get(metric)
            if weight is None or not some.size or not np.isfinite(self.threshold):
                continue
            scale = ranking.scales[metric] * total / weight  # from a share of the score to the metric
            others = some.rest + np.delete(some.shares, column, axis=1).sum(axis=1)
            low = np.maximum((self.threshold - others) * scale, 0.0)
            keep = np.ones(some.size, dtype=bool)
            tested = np.flatnonzero(low > 0)
            keep[tested] = may_reach(
                self.screen.tables, self.screen.shelf, some.combination[tested], metric, low[tested]
            )
            some, low = some.take(keep), low[keep]
            high = some.shares[:, column] * scale
            for _ in range(_HALVINGS):
                middle = 0.5 * (low + np.minimum(high, 4.0 * low + 1.0))
                reaches = may_reach(self.screen.tables, self.screen.shelf, some.combination, metric, middle)
                low, high = np.where(reaches, middle, low), np.where(reaches, high, middle)
            shares = some.shares.copy()
            shares[:, column] = high / scale
            some = attrs.evolve(some, shares=shares)
        return some.take(self.within(some.upper))

    def raised(self) -> Groups:
        """The groups of what keeps the limits and reaches the threshold, where one metric decides."""
        metric, screen, least_minutes = self.ranking.single, self.screen, 0.0
        value = (1.0 - _NEAR) * self.threshold * self.ranking.scales[metric] if metric else 0.0
        if metric and np.isfinite(value) and value > 0:
            if metric == "margin":
                setting, shelf = moved_by(screen.setting, screen.shelf, value)
                screen = Screen(setting, shelf, counting=False, tables=PropellerTables(setting, shelf, keep=False))
                screen.wants = screen.limits_wanted
            elif metric == "flight_time":
                least_minutes = value
            elif metric != "mass":
                screen = copy(screen)
                screen.wants = (*screen.wants, wanted(screen.tables, metric, value))
        return Groups(screen, least_minutes, None if metric else self._target())

    def note(self, values: dict[str, Floats], possible: Flags) -> None:
        """Remember what each metric of a mix, and the others together, may bring to the score at most."""
        total = sum(self.ranking.weights.values())
        shares = {
            name: weight / total * self.ranking.part(name, values[name])[possible]
            for name, weight in self.ranking.weights.items()
        }
        for metric in LADDERS & shares.keys():
            others = np.sum([share for name, share in shares.items() if name != metric], axis=0)
            own, rest = self._most.get(metric, (0.0, 0.0))
            self._most[metric] = float(np.max(shares[metric], initial=own)), float(np.max(others, initial=rest))

    def _target(self) -> Target | None:
        """The threshold of a mix, with ladders between what each metric must reach at least and can reach at most."""
        ranking, score, total = self.ranking, self.threshold, sum(self.ranking.weights.values())
        if not np.isfinite(score):
            return None
        ladders = {}
        for metric, (own, rest) in self._most.items():
            scale = ranking.scales[metric] * total / ranking.weights[metric]
            low, high = (score - rest) * scale, own * scale
            if not 0 < low < high < np.inf:
                low, high = (0.1 * high, high) if 0 < high < np.inf else (1.0, 4.0)
            ladders[metric] = Ladder.of(self.screen.tables, metric, np.linspace(low, high, LADDER))
        return Target(ranking=ranking, score=score - _NEAR * abs(score), ladders=ladders)

    def keys(self, rows: Index) -> Index:
        """One number for each combination (N, 4)."""
        return np.asarray(np.ravel_multi_index(tuple(rows.T), self.screen.shelf.sizes))

    def _compute(self, some: _Some, rest: _Some) -> None:
        """Rank some of the pool and leave the rest in it."""
        ranked = set(self.keys(self.combination).tolist())
        some = some.take(np.array([key not in ranked for key in self.keys(some.combination).tolist()], dtype=bool))
        if some.open.any():
            some = some.take(_settled(self.screen, some.combination, some.open))
        rows = some.combination
        if not len(rows):
            self._pool = [rest]
            return
        measured = TrainMeasures(self.screen.setting, *self.screen.shelf.combine(*rows.T))
        combination = np.concatenate([self.combination, rows])
        score = np.concatenate([self.score, self.ranking.of(measured)])
        mass = np.concatenate([self.mass, measured["all_up_mass"].value])
        order = in_order(score, mass, combination)[: self.top]
        combination, score, mass = combination[order], score[order], mass[order]
        self.combination, self.score, self.mass, self._pool = combination, score, mass, [rest]


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

    Of more parts than are held against each other at a time, in pieces (:mod:`propmatch.search.bounds.pieces`).

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

    Raises
    ------
    Interrupted
        At Ctrl-C, with the best so far.
    """
    counting = shelf.combinations <= COUNTED if count is None else count
    if too_many(shelf):
        pieces = Pieces(setting, shelf, ranking, top, progress, partial(_of_whole, setting, count=counting))
        return pieces.found(counting=counting)
    return _of_whole(setting, shelf, ranking, top=top, progress=progress, count=counting, tables=tables)


def _of_whole(
    setting: Setting, shelf: Shelf, ranking: Ranking, *, top: int, progress: Callable[[int, int], None] | None,
    count: bool, tables: PropellerTables | None = None, floor: float = -np.inf,
) -> Found:  # fmt: skip
    """The best of a shelf whose parts are held against each other at once, of those that reach a score."""
    combinations, counting = shelf.combinations, count

    def tell(done: int) -> None:
        if progress is not None:
            progress(min(done, combinations), combinations)

    done = 0
    screen = Screen(setting, shelf, counting=False, tables=tables)
    best = Best(screen=screen, ranking=ranking, top=top, floor=floor)
    try:
        for screened, drives, lanes, settled in _promising(best):
            if drives is not None and lanes.size:
                best.add(drives, *screened.passing(drives, lanes))
            done += settled
            tell(0 if counting else done)
        best.settle()
        best.bound = best.threshold
        passing, left_out = _counted(setting, shelf, screen.tables, tell) if counting else (None, {})
        tell(combinations)
    except KeyboardInterrupt:
        best.glimpse()
        raise Interrupted(Found.so_far(best.combination, best.score, combinations, best.bound)) from None
    return Found(
        combination=best.combination,
        score=best.score,
        combinations=combinations,
        passing=passing,
        left_out=left_out,
        set_aside={} if counting else best.set_aside,
    )


def _counted(
    setting: Setting, shelf: Shelf, tables: PropellerTables, tell: Callable[[int], None]
) -> tuple[int, dict[str, int]]:
    """How many combinations pass, and how many fail each check first."""
    screen, every = Screen(setting, shelf, counting=True, tables=tables), shelf.sizes[3]
    passing = done = 0
    left = np.empty((0, 4), dtype=np.intp)
    for drives in screen.drives(np.arange(shelf.sizes[2]), max(1, _BLOCK // every)):
        sure, rows = screen.count(drives)
        passing, left = passing + sure, np.concatenate([left, rows])
        while len(left) >= CHUNK:  # few fly together as slowly as many
            passing, left = passing + int(np.count_nonzero(screen.flown(left[:CHUNK]))), left[CHUNK:]
        done += drives.size * every
        tell(done)
    if len(left):
        passing += int(np.count_nonzero(screen.flown(left)))
    return passing, {name: n for name in CHECKS if (n := screen.counts[name])}


_Part = tuple[Screen, Drives | None, Lanes, int]
"""Lanes to be screened, by what, and the combinations that this settles."""


def _promising(best: Best) -> Iterator[_Part]:
    """Lists of combinations that may be among the best, the pairs of pack and propeller of the best bound first."""
    screen = best.screen
    screen.wants = screen.limits_wanted
    _, _, packs, propellers = screen.shelf.sizes
    bound, every = np.empty((packs, propellers)), np.arange(propellers)
    for some in np.array_split(np.arange(packs), -(-bound.size // _BLOCK)):
        values, possible = pair_values(screen, best.ranking, some, every)
        bound[some] = np.where(possible, score_at_most(best.ranking, values, possible.shape), -np.inf)
        if best.ranking.single is None:
            best.note(values, possible)
    fitting = np.zeros(packs, dtype=np.int64)
    for each in screen.classes:
        fitting[each.some] = each.pairs.size
    less = lesser(screen.shelf, best.top)
    best.set_aside = {kind: n for kind, flags in less.items() if (n := int(np.count_nonzero(flags)))}
    bound[less["pack"]], bound[:, less["propeller"]] = -np.inf, -np.inf
    pairs = ~(less["motor"][screen.pairs.motor] | less["controller"][screen.pairs.controller])
    order = np.argsort(-bound, axis=None, kind="stable")
    order = order[bound.ravel()[order] > -np.inf]
    tried: set[int] = set()
    groups = None
    start, step = 0, min(32, max(1, _SEED // screen.pairs.mass_g.size))
    while start < order.size and best.within(bound.ravel()[order[start : start + 1]])[0]:
        if groups is not None and (order.size - start) * pairs.size > _WORTH_TRYING:
            yield from _exchanged(best, less, groups, tried)
        best.bound = float(bound.ravel()[order[start]])
        some = order[start : start + step]
        some = some[best.within(bound.ravel()[some])]
        wanted = np.zeros(packs * propellers, dtype=bool)
        wanted[some] = True
        groups = None  # what it holds goes before the next is made
        groups = best.raised()
        for drives, lanes in groups.combinations(wanted.reshape(packs, propellers), pairs):
            yield groups.screen, drives, lanes, 0
        best.settle()
        yield screen, None, Lanes.every(0, 0), int(np.sum(fitting[some // propellers]))
        start, step = start + step, _GROWTH ** (2 if tried else 1) * step


def _exchanged(best: Best, less: dict[str, Flags], groups: Groups, tried: set[int]) -> Iterator[_Part]:
    """Combinations that differ from one of the best in a single part, as long as that raises the threshold.

    They are looked at out of turn, so that the rest is held against a threshold that hardly rises any more; ``tried``
    are those whose neighbours were looked at. One kind of part after the other: what stands in two of them is known by
    then.
    """
    before = -np.inf
    for _ in range(_EXCHANGES):
        if not best.threshold > before:
            return
        before = best.threshold
        rows = [row for row, key in zip(best.combination, best.keys(best.combination).tolist(), strict=True)
                if key not in tried][: max(_EXCHANGED, best.top // 64)]  # fmt: skip
        if not rows:
            return
        tried.update(best.keys(np.array(rows)).tolist())
        for at, flags in enumerate(less.values()):
            for drives, lanes in groups.listed(_differing(np.array(rows), at, np.flatnonzero(~flags))):
                yield groups.screen, drives, lanes, 0
            best.settle()


def _differing(rows: Index, at: int, others: Index) -> Iterator[Index]:
    """Rows (N, 4) with each of the others in place of one of their parts, every one once, some rows at a time.

    Rows alike in their other parts have the same neighbours, all others have none in common.
    """
    rows = np.unique(np.where(np.arange(rows.shape[1]) == at, 0, rows), axis=0)
    for some in np.array_split(rows, -(-len(rows) * others.size // _POOL) or 1):
        near = np.repeat(some, others.size, axis=0)
        near[:, at] = np.tile(others, len(some))
        yield near


def passing(
    setting: Setting, shelf: Shelf, *, tables: PropellerTables | None = None
) -> Iterator[tuple[Index, FlightBounds]]:
    """Every combination (N, 4) that passes, block by block, with bounds of its flight time; ``tables`` as above."""
    screen = Screen(setting, shelf, counting=True, tables=tables)
    for drives in screen.drives(np.arange(len(shelf.packs)), max(1, _BLOCK // len(shelf.propellers))):
        lanes, bounds, open_ = screen.block(drives)
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
        lanes, flight, open_ = screen.block(drives)
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
