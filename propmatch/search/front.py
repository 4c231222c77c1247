"""Everything that passes, and of that what nothing beats in flight time, thrust to weight and mass at once."""

from bisect import bisect_left
from collections.abc import Callable

import attrs
import numpy as np

from propmatch.checks.measures import TrainMeasures
from propmatch.checks.setting import Setting
from propmatch.models.arrays import Flags, Floats, Index
from propmatch.search.bounds.pruned import CHUNK, FlightBounds, PropellerTables, passing
from propmatch.search.shelf import Shelf

__all__ = ["Passing", "computed", "front_of", "made", "may_lead", "may_lead_in_two", "pareto", "passing_map"]


@attrs.frozen(kw_only=True, eq=False)
class Passing:
    """Combinations that pass every check that can exclude, computed, (N,) each.

    Attributes
    ----------
    combination : (N, 4), indices of motor, controller, pack, propeller
    flight_minutes, thrust_to_weight, all_up_mass_g
    cells : in series
    front : True where no other combination is at least as good in all three and better in one; in the first two alone
        where mass does not count
    total : how many pass; more than N where only some are held
    """

    combination: Index
    flight_minutes: Floats
    thrust_to_weight: Floats
    all_up_mass_g: Floats
    cells: Floats
    front: Flags
    total: int

    def take(self, some: Index) -> "Passing":
        """Some of them."""
        fields = {a.name: getattr(self, a.name)[some] for a in attrs.fields(Passing) if a.name != "total"}
        return Passing(total=self.total, **fields)


def pareto(minutes: Floats, thrust: Floats, mass_g: Floats) -> Flags:
    """Where no other point has as long a time, as much thrust and as little mass, and is better in one of them.

    Points are taken by rising mass against a staircase of time and thrust; equal points stand or fall together.
    """
    order = np.lexsort((-thrust, -minutes, mass_g))
    best = np.zeros(minutes.size, dtype=bool)
    stairs_t: list[float] = []  # rising time, falling thrust
    stairs_w: list[float] = []
    last: tuple[float, float, float] | None = None
    kept = False
    points = zip(minutes[order].tolist(), thrust[order].tolist(), mass_g[order].tolist(), strict=True)
    for at, point in zip(order, points, strict=True):
        if point != last:
            last, (t, w, _) = point, point
            i = bisect_left(stairs_t, t)
            kept = not (i < len(stairs_t) and stairs_w[i] >= w)
            if kept:
                j = i
                while j > 0 and stairs_w[j - 1] <= w:
                    j -= 1
                stop = i + 1 if i < len(stairs_t) and stairs_t[i] == t else i
                stairs_t[j:stop], stairs_w[j:stop] = [t], [w]
        best[at] = kept
    return best


def computed(setting: Setting, shelf: Shelf, rows: Index, *, flight: bool) -> tuple[Floats, Floats, Floats]:
    """Minutes (NaN unless asked for), thrust to weight and mass of combinations."""
    out = np.full((3, len(rows)), np.nan)
    for start in range(0, len(rows), CHUNK):
        part = slice(start, start + CHUNK)
        measured = TrainMeasures(setting, *shelf.combine(*rows[part].T))
        if flight:
            out[0, part] = measured.flight.minutes
        out[1, part] = measured["thrust_to_weight"].value
        out[2, part] = measured["all_up_mass"].value
    return out[0], out[1], out[2]


def may_lead(low: Floats, high: Floats, thrust: Floats, mass_g: Floats) -> Index:
    """Points (indices) that no other surely beats, their times being known within bounds (N,)."""
    left = np.flatnonzero(~_beaten_by_cells(low, high, thrust, mass_g))
    return left[~_beaten(low[left], high[left], thrust[left], mass_g[left])]


def may_lead_in_two(low: Floats, high: Floats, thrust: Floats) -> Index:
    """The same where mass does not count.

    What has less time than a point of a higher cell of thrust is left aside unsorted: it beats nothing that this point
    does not beat.
    """
    if not low.size:
        return np.empty(0, dtype=np.intp)
    cell, best = _cells_of(thrust, _STRIPS), np.full(_STRIPS + 1, -np.inf)
    np.maximum.at(best, cell, low)
    beyond = np.maximum.accumulate(best[::-1])[::-1][1:]
    some = np.flatnonzero(high * (1.0 + 1e-9) >= beyond[cell])
    order = some[np.argsort(thrust[some])]
    longest = np.maximum.accumulate(low[order[::-1]])[::-1]
    rising = thrust[order]
    beaten = longest[np.searchsorted(rising, rising)] > high[order] * (1.0 + 1e-9)
    return np.sort(order[~beaten])


_CELLS, _STRIPS = 64, 1024


def _cells_of(values: Floats, count: int) -> Index:
    """Which of so many equal cells from the least to the greatest each value lies in."""
    return np.asarray((values - values.min()) / (np.ptp(values) or 1.0) * (count - 1), dtype=np.intp)


def _beaten_by_cells(low: Floats, high: Floats, thrust: Floats, mass_g: Floats) -> Flags:
    """Where a point in a cell of less mass and more thrust surely has more time; quick, and far from all of them."""
    if not low.size:
        return np.zeros(0, dtype=bool)
    shape = (_CELLS, _CELLS)
    x, y = (_cells_of(each, _CELLS) for each in (mass_g, thrust))
    best = np.full(_CELLS * _CELLS, -np.inf)
    np.maximum.at(best, x * _CELLS + y, low)
    best = np.maximum.accumulate(best.reshape(shape), axis=0)
    best = np.maximum.accumulate(best[:, ::-1], axis=1)[:, ::-1]
    beyond = np.full(shape, -np.inf)
    beyond[1:, :-1] = best[:-1, 1:]
    return np.asarray(high * (1.0 + 1e-9) < beyond.reshape(-1)[x * _CELLS + y])


class _Candidates:
    """What of all that passes may belong to the front, block by block."""

    def __init__(self, setting: Setting, shelf: Shelf) -> None:
        self.setting, self.shelf, self.total = setting, shelf, 0
        self.rows = np.empty((0, 4), dtype=np.intp)
        self.held = np.empty((4, 0))  # minutes at least, at most, thrust to weight, mass

    def add(self, more: Index, bounds: FlightBounds) -> None:
        """Some more that passes."""
        if not len(more):
            return
        self.total += len(more)
        _, thrust, mass = computed(self.setting, self.shelf, more, flight=False)
        held = np.array([bounds.minutes_low, bounds.minutes_high, thrust, mass])
        self.rows, self.held = np.concatenate([self.rows, more]), np.hstack([self.held, held])
        some = may_lead(*self.held)
        self.rows, self.held = self.rows[some], self.held[:, some]

    def front(self) -> "Passing":
        """Those that do."""
        every = made(self.setting, self.shelf, self.rows, front=0, total=self.total)
        best = pareto(every.flight_minutes, every.thrust_to_weight, every.all_up_mass_g)
        return attrs.evolve(every, front=best).take(np.flatnonzero(best))


def front_of(setting: Setting, shelf: Shelf, *, tables: PropellerTables | None = None) -> Passing:
    """The Pareto front of flight time, thrust to weight and all-up mass, of all that passes.

    Flight time is computed only where bounds leave it open whether a combination belongs to the front.
    """
    found = _Candidates(setting, shelf)
    for more, bounds in passing(setting, shelf, tables=tables):
        found.add(more, bounds)
    return found.front()


def _beaten(low: Floats, high: Floats, thrust: Floats, mass: Floats) -> Flags:
    """Where another combination surely flies longer with as much thrust and as little mass."""
    order = np.argsort(mass, kind="stable")
    out = np.zeros(low.size, dtype=bool)
    stairs_t: list[float] = []
    stairs_w: list[float] = []
    for at in order.tolist():
        i = bisect_left(stairs_t, high[at] * (1.0 + 1e-9))
        if i < len(stairs_t) and stairs_w[i] >= thrust[at]:
            out[at] = True
            continue
        t, w = low[at], thrust[at]
        i = bisect_left(stairs_t, t)
        if i < len(stairs_t) and stairs_w[i] >= w:
            continue
        j = i
        while j > 0 and stairs_w[j - 1] <= w:
            j -= 1
        stop = i + 1 if i < len(stairs_t) and stairs_t[i] == t else i
        stairs_t[j:stop], stairs_w[j:stop] = [t], [w]
    return out


def made(setting: Setting, shelf: Shelf, rows: Index, *, front: int, total: int) -> Passing:
    """Combinations computed, the first ones being the front."""
    minutes, thrust, mass = computed(setting, shelf, rows, flight=True)
    return Passing(
        combination=rows,
        flight_minutes=minutes,
        thrust_to_weight=thrust,
        all_up_mass_g=mass,
        cells=shelf.column("cells")[rows[:, 2]],
        front=np.arange(len(rows)) < front,
        total=total,
    )


def passing_map(
    setting: Setting,
    shelf: Shelf,
    *,
    most: int | None = 2000,
    tables: PropellerTables | None = None,
    seed: int = 0,
    tick: Callable[[], None] = lambda: None,
) -> Passing:
    """Everything that passes, computed.

    Parameters
    ----------
    setting, shelf
    most : int or None
        How many marks to hold: the front and a random choice of the rest; None for all.
    tables : PropellerTables, optional
        As in :func:`propmatch.search.bounds.pruned.search`.
    seed : int
        Of the choice.
    tick : callable
        Called between blocks; what it raises ends the search.
    """
    candidates = _Candidates(setting, shelf)
    each = [np.empty((0, 4), dtype=np.intp)]
    for more, bounds in passing(setting, shelf, tables=tables):
        tick()
        each.append(more)
        if most is not None:
            candidates.add(more, bounds)
    rows = np.concatenate(each)
    if most is None or len(rows) <= most:
        every = made(setting, shelf, rows, front=0, total=len(rows))
        return attrs.evolve(every, front=pareto(every.flight_minutes, every.thrust_to_weight, every.all_up_mass_g))
    best = candidates.front().combination
    known = set(map(tuple, best.tolist()))
    chosen = np.random.default_rng(seed).permutation(len(rows))[:most]
    rest = np.array([row for row in rows[chosen].tolist() if tuple(row) not in known], dtype=np.intp).reshape(-1, 4)
    rest = rest[: max(0, most - len(best))]
    return made(setting, shelf, np.concatenate([best, rest]), front=len(best), total=len(rows))
