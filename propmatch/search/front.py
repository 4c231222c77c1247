"""Everything that passes, and of that what nothing beats in flight time, thrust to weight and mass at once."""

from bisect import bisect_left

import attrs
import numpy as np

from propmatch.checks.measures import TrainMeasures
from propmatch.checks.setting import Setting
from propmatch.models.arrays import Flags, Floats, Index
from propmatch.search.bounds.pruned import CHUNK, PropellerTables, passing
from propmatch.search.shelf import Shelf

__all__ = ["Passing", "front_of", "pareto", "passing_map"]


@attrs.frozen(kw_only=True, eq=False)
class Passing:
    """Combinations that pass every check that can exclude, computed, (N,) each.

    Attributes
    ----------
    combination : (N, 4), indices of motor, controller, pack, propeller
    flight_minutes, thrust_to_weight, all_up_mass_g
    cells : in series
    front : True where no other combination is at least as good in all three and better in one
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


def _computed(setting: Setting, shelf: Shelf, rows: Index, *, flight: bool) -> tuple[Floats, Floats, Floats]:
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


def front_of(setting: Setting, shelf: Shelf, *, tables: PropellerTables | None = None) -> Passing:
    """The Pareto front of flight time, thrust to weight and all-up mass, of all that passes.

    Flight time is computed only where bounds leave it open whether a combination belongs to the front.
    """
    rows = np.empty((0, 4), dtype=np.intp)
    held = np.empty((4, 0))  # minutes at least, at most, thrust to weight, mass
    total = 0
    for more, bounds in passing(setting, shelf, tables=tables):
        if not len(more):
            continue
        total += len(more)
        _, thrust, mass = _computed(setting, shelf, more, flight=False)
        rows = np.concatenate([rows, more])
        held = np.hstack([held, [bounds.minutes_low, bounds.minutes_high, thrust, mass]])
        kept = ~_beaten(*held)
        rows, held = rows[kept], held[:, kept]
    minutes, thrust, mass = _computed(setting, shelf, rows, flight=True)
    best = pareto(minutes, thrust, mass)
    return _made(
        shelf, rows[best], minutes[best], thrust[best], mass[best], np.ones(int(best.sum()), dtype=bool), total
    )


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


def _made(
    shelf: Shelf, rows: Index, minutes: Floats, thrust: Floats, mass: Floats, front: Flags, total: int
) -> Passing:
    return Passing(
        combination=rows,
        flight_minutes=minutes,
        thrust_to_weight=thrust,
        all_up_mass_g=mass,
        cells=shelf.column("cells")[rows[:, 2]],
        front=front,
        total=total,
    )


def passing_map(
    setting: Setting, shelf: Shelf, *, most: int | None = 2000, tables: PropellerTables | None = None, seed: int = 0
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
    """
    tables = PropellerTables(setting, shelf) if tables is None else tables
    found = (part for part, _ in passing(setting, shelf, tables=tables))
    rows = np.concatenate([np.empty((0, 4), dtype=np.intp), *found])
    if most is None or len(rows) <= most:
        minutes, thrust, mass = _computed(setting, shelf, rows, flight=True)
        return _made(shelf, rows, minutes, thrust, mass, pareto(minutes, thrust, mass), len(rows))
    best = front_of(setting, shelf, tables=tables)
    known = set(map(tuple, best.combination.tolist()))
    chosen = np.random.default_rng(seed).permutation(len(rows))[:most]
    rest = np.array([row for row in rows[chosen].tolist() if tuple(row) not in known], dtype=np.intp).reshape(-1, 4)
    rest = rest[: max(0, most - len(best.combination))]
    minutes, thrust, mass = (
        np.concatenate([one, two])
        for one, two in zip(
            (best.flight_minutes, best.thrust_to_weight, best.all_up_mass_g),
            _computed(setting, shelf, rest, flight=True),
            strict=True,
        )
    )  # fmt: skip
    front = np.arange(minutes.size) < len(best.combination)
    return _made(shelf, np.concatenate([best.combination, rest]), minutes, thrust, mass, front, len(rows))
