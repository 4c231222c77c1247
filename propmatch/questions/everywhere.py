"""A power train that holds in every condition: a design, or the least change of it that does.

One part of the catalogue is changed, then two: on paper in the conditions that cost most, then those with the widest
margins by draws. Parts count as other builders buy them (:mod:`propmatch.questions.bought`).
"""

from collections.abc import Iterator, Mapping, Sequence
from itertools import combinations
from typing import Any

import attrs
import numpy as np

from propmatch.checks.chances import drawn
from propmatch.checks.judged import failing, judged, smallest_margins
from propmatch.checks.ratings import rating_lanes
from propmatch.models.arrays import Floats, Index
from propmatch.questions.bought import bought_motor, bought_pack, bought_propeller, label_kv
from propmatch.questions.publishing import Condition, judged_alike, measured_in, together
from propmatch.records.fields import replace
from propmatch.records.parts import PARTS, PowerTrain
from propmatch.search.exhaustive import first_failures
from propmatch.search.shelf import Shelves
from propmatch.train.lanes import train_lanes

__all__ = ["Centre", "centre_of", "critical", "failing_in", "least_near"]

DRAWN, _SORTED = 256, 128
"""Draws of each train in each condition, of those that may be the centre; and those that tell hard conditions."""
_LOOKED_AT, _NEARLY = 12, 0.97
"""Trains of a level that are drawn, those with the widest margins; those that come less near are drawn no further."""
_ORDER = ("propeller", "pack", "controller", "motor")
"""What a builder changes more easily comes first."""


@attrs.frozen(kw_only=True, eq=False)
class Centre:
    """What an envelope is grown around.

    Attributes
    ----------
    train : PowerTrain, parts of the catalogue or the design's own
    changes : kind to the part that differs from the design
    holds : whether it keeps the chances asked for in every condition
    """

    train: PowerTrain
    changes: dict[str, Any]
    holds: bool


def least_near(train: PowerTrain, where: Sequence[Condition]) -> Floats:
    """How near a train comes to the chances asked for in each condition, (K,); 1 where it reaches them."""
    return np.array([drawn(c.setting, [_there(train, c)], draws=DRAWN).near[0] for c in where])


def critical(train: PowerTrain, where: Sequence[Condition], most: int = 2) -> tuple[Condition, ...]:
    """The conditions where the limits of the brief come out least likely, and those where the ratings do, in turns."""
    each = [drawn(c.setting, [_there(train, c)], draws=_SORTED) for c in where]
    orders = [
        np.argsort([one.chance(getattr(one, names))[0] for one in each], kind="stable")[:most].tolist()
        for names in ("wishes", "ratings")
    ]
    return tuple(where[at] for at in dict.fromkeys(at for turn in zip(*orders, strict=True) for at in turn))


def failing_in(train: PowerTrain, where: Sequence[Condition]) -> list[tuple[str, ...]]:
    """Checks that a train fails in each of these conditions, every number as it is stated."""
    missed: dict[int, tuple[str, ...]] = {}
    for some in judged_alike(where):
        conditions = [where[at] for at in some]
        trains = [_there(train, each) for each in conditions]
        measured = judged(together(conditions, 1), train_lanes(trains)[0], rating_lanes(trains))
        missed |= zip(some, failing(measured), strict=True)
    return [missed[at] for at in range(len(where))]


def _there(train: PowerTrain, condition: Condition) -> PowerTrain:
    """A train as a condition flies it."""
    return replace(train, **condition.setting.train_numbers)


def centre_of(
    base: PowerTrain, stock: Mapping[str, Sequence[Any]], where: Sequence[Condition], *, on_paper: bool = False
) -> Centre:
    """The base, or the least change of it by parts of the stock, that holds in all these conditions.

    Parameters
    ----------
    base : PowerTrain
    stock : kind to parts that may take the place of the base's
    where : the conditions that cost most, or all of them; the less the first ones leave, the quicker. What differs
        least in mass from the base is told as the last one flies it.
    on_paper : whether a change is to hold with every number as it is stated, of a base that does not
    """
    if not on_paper and np.all(least_near(_bought(base), where) >= 1.0):
        return Centre(train=base, changes={}, holds=True)
    kinds = {kind: [getattr(base, kind), *(p for p in stock[kind] if p is not getattr(base, kind))] for kind in PARTS}
    bought = {kind: [_bought_part(kind, part) for part in parts] for kind, parts in kinds.items()}
    shelves = Shelves(*bought.values())
    for level in _levels([len(parts) for parts in kinds.values()]):
        row = _best(level, shelves, where, on_paper)
        if row is not None:
            parts = {kind: kinds[kind][at] for kind, at in zip(PARTS, row, strict=True)}
            changes = {kind: part for (kind, part), at in zip(parts.items(), row, strict=True) if at}
            return Centre(train=replace(base, **parts), changes=changes, holds=True)
    return Centre(train=base, changes={}, holds=False)


def _bought_part(kind: str, part: Any) -> Any:
    if kind == "motor":
        return bought_motor(part, label_kv(part), part.mass_g)
    if kind == "pack":
        return bought_pack(part)
    return bought_propeller(part) if kind == "propeller" else part


def _bought(train: PowerTrain) -> PowerTrain:
    return replace(train, **{kind: _bought_part(kind, getattr(train, kind)) for kind in PARTS})


def _levels(sizes: Sequence[int]) -> Iterator[Index]:
    """Combinations with one kind of part changed, then with two; the first part of each kind is the base's."""
    for changed in (1, 2):
        for kinds in sorted(combinations(_ORDER, changed), key=lambda some: max(map(_ORDER.index, some))):
            columns = [list(PARTS).index(kind) for kind in kinds]
            grid = np.indices([sizes[column] - 1 for column in columns]).reshape(changed, -1).T + 1
            rows = np.zeros((len(grid), len(sizes)), dtype=np.intp)
            rows[:, columns] = grid
            yield rows


def _best(rows: Index, shelves: Shelves, where: Sequence[Condition], on_paper: bool) -> Index | None:
    """Of combinations that hold in every condition, by their chances or on paper, the nearest in mass to the base."""
    shelf = shelves.of(where[-1].setting.train_numbers)
    rows, base = rows[shelf.cells_fit(*rows[:, :3].T)], np.zeros((1, rows.shape[1]), dtype=np.intp)
    if not len(rows):
        return None
    margins = np.full(len(rows), np.inf)
    first, rest = where[:1], where[1:]
    for some in (first, *([rest[at] for at in each] for each in judged_alike(rest))):
        _, alive, measured = first_failures(measured_in(some, shelves, rows))
        if not alive.size:
            return None
        of_row = alive % len(rows)
        if not on_paper:
            np.minimum.at(margins, of_row, smallest_margins(measured))
        holds = np.bincount(of_row, minlength=len(rows)) == len(some)
        rows, margins = rows[holds], margins[holds]
        if not len(rows):
            return None
    rows = rows if on_paper else rows[np.argsort(-margins, kind="stable")[:_LOOKED_AT]]
    near = np.full(len(rows), np.inf)
    for condition in () if on_paper else where:
        there = shelves.of(condition.setting.train_numbers)
        near = np.minimum(
            near, drawn(condition.setting, [there.train(*row) for row in rows.tolist()], draws=DRAWN).near
        )
        rows, near = rows[near >= _NEARLY], near[near >= _NEARLY]
        if not len(rows):
            return None
    mass = shelf.combine(*np.concatenate([base, rows]).T)[1].mass_g
    off = np.where(near >= 1.0, np.abs(mass[1:] - mass[0]), np.inf)
    best = int(np.argmin(off))
    return np.asarray(rows[best]) if np.isfinite(off[best]) else None
