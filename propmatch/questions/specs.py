"""A part to buy by specification: from what to what its numbers may be, so that it does the same beside the same parts.

A range is grown step by step around a part that does it. A step is taken while every part of the catalogue in the
range passes, and every part on a grid over it that is the example with other numbers: a motor wound again (kV with 1
over the turns, resistance with their square, no-load current with kV), cells with a resistance in inverse proportion to
the capacity, blades with the table that a plugin predicts. All is judged on paper, beside each of the other parts.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

import attrs
import numpy as np

from propmatch.checks.measures import Setting, TrainMeasures
from propmatch.models.arrays import Flags, Floats
from propmatch.records.fields import replace
from propmatch.records.parts import PARTS
from propmatch.search.exhaustive import first_failures
from propmatch.search.shelf import Shelf

__all__ = ["Spec", "Tabled", "specified"]

Tabled = Callable[[Any], Any]
"""A propeller with the coefficient table that a plugin answers, or None."""
Ends = tuple[float | None, float | None]

_LADDER = {
    "both": (0.72, 0.78, 0.84, 0.92, 1.0, 1.08, 1.16, 1.26, 1.36), "least": (0.5, 0.6, 0.7, 0.8, 0.9, 1.0),
    "mass": (0.01, 0.25, 0.5, 0.72, 0.84, 0.92, 1.0, 1.15, 1.35, 1.6, 2.0, 2.5, 3.0),
}  # fmt: skip
"""Steps of a range around the example, which is 1; ratings have no upper end, a mass whose lowest step passes no lower
one."""
_FREE = {
    "motor": {"kv_rpm_per_v": "both", "mass_g": "both", "max_current_a": "least"},
    "controller": {"max_current_a": "least", "mass_g": "mass"},
    "pack": {"capacity_mah": "both", "c_rating": "least", "mass_g": "mass"},
    "propeller": {"diameter_in": "both", "pitch_in": "both"},
}
_SAME = {
    "motor": (), "controller": ("servo_supply",), "pack": ("cells_series", "chemistry"),
    "propeller": ("blades", "family"),
}  # fmt: skip
"""What must be as it is of the example."""


@attrs.frozen(kw_only=True, eq=False)
class Spec:
    """A part to buy, by specification.

    Attributes
    ----------
    kind : str
    example : Part
        The part of the catalogue that it was grown around.
    ranges : dict
        Field to its least and its most; None for an end that is open. Empty where a part with the numbers of the
        example does not do it: then it is the example alone.
    same : dict
        Field to what every part within has.
    within : tuple of Part
        The parts of the catalogue within, the example first; each does it.
    corners : tuple of Part
        The example with the numbers at the ends of the ranges; each does it.
    pieces : int
        How many of it are to be bought.
    cells : tuple of int
        Cell counts that it is for.
    """

    kind: str
    example: Any
    ranges: dict[str, Ends]
    same: dict[str, Any]
    within: tuple[Any, ...]
    corners: tuple[Any, ...]
    pieces: int
    cells: tuple[int, ...]

    def holds(self, part: Any) -> bool:
        """Whether a part lies within."""
        return part is self.example or (bool(self.ranges) and _inside(part, self.ranges, self.same))


def specified(
    setting: Setting,
    beside: Sequence[Mapping[str, Any]],
    kind: str,
    example: Any,
    parts: Iterable[Any],
    tabled: Tabled,
    *,
    pieces: int = 1,
) -> Spec:
    """The specification around a part.

    Parameters
    ----------
    setting : Setting
    beside : sequence of mappings
        Kind to part of all others, one for each train that must pass.
    kind : str
    example : Part
        One that passes with each of them.
    parts : iterable of Part
        The catalogue.
    tabled : callable
        Predicts the table of a propeller.
    pieces : int
    """
    same = {name: getattr(example, name) for name in _SAME[kind]}
    others = [part for part in parts if part is not example and all(getattr(part, n) == v for n, v in same.items())]
    fields = [name for name in _FREE[kind] if getattr(example, name) is not None]
    ladders = [_ladder(getattr(example, name), _FREE[kind][name]) for name in fields]
    probes, places = _probes(kind, example, fields, ladders, tabled)
    good = _pass(setting, beside, kind, [*others, *probes])
    grid = np.zeros([len(steps) for steps in ladders], dtype=np.bool_)
    for place, holds in zip(places, good[len(others) :], strict=True):
        grid[place] = holds
    own = [float(getattr(example, name)) for name in fields]
    middle = tuple(steps.tolist().index(value) for value, steps in zip(own, ladders, strict=True))
    grid[middle] = True
    bad = [part for part, holds in zip(others, good, strict=False) if not holds]

    def ranges(low: Sequence[int], high: Sequence[int]) -> dict[str, Ends]:
        return {
            name: (
                None if _FREE[kind][name] == "mass" and a == 0 else float(steps[a]),
                None if _FREE[kind][name] == "least" else float(steps[b]),
            )
            for name, steps, a, b in zip(fields, ladders, low, high, strict=True)
        }

    def allowed(low: Sequence[int], high: Sequence[int]) -> bool:
        return not any(_inside(part, ranges(low, high), same) for part in bad)

    cells = tuple(sorted({(example if kind == "pack" else each["pack"]).cells_series for each in beside}))
    if not allowed(middle, middle):
        return Spec(
            kind=kind, example=example, ranges={}, same=same, within=(example,), corners=(), pieces=pieces, cells=cells
        )
    low, high = _grown(grid, middle, allowed)
    found = ranges(low, high)
    within = (example, *(part for part in others if _inside(part, found, same)))
    corners = tuple(
        probe for probe, place in zip(probes, places, strict=True)
        if place != middle and all(at in (a, b) for at, a, b in zip(place, low, high, strict=True))
    )  # fmt: skip
    return Spec(
        kind=kind, example=example, ranges=found, same=same, within=within, corners=corners, pieces=pieces, cells=cells
    )


def _ladder(value: float, ends: str) -> Floats:
    """Steps around a value, rounded to two digits; the value itself is one of them."""
    steps = {float(value)}
    for factor in _LADDER[ends]:
        step = float(f"{value * factor:.2g}")
        if factor != 1 and (step > value) == (factor > 1) and step != value:
            steps.add(step)
    return np.array(sorted(steps))


def _probes(
    kind: str, example: Any, fields: Sequence[str], ladders: Sequence[Floats], tabled: Tabled
) -> tuple[list[Any], list[tuple[int, ...]]]:
    """The example with other numbers, and the place of each on the grid; those that no part can have are left out."""
    probes, places = [], []
    for place in np.ndindex(*(len(steps) for steps in ladders)):
        numbers = {name: float(steps[at]) for name, steps, at in zip(fields, ladders, place, strict=True)}
        try:
            probe = _varied(kind, example, numbers)
        except ValueError:
            continue
        if kind == "propeller" and (probe := tabled(probe)) is None:
            continue
        probes.append(probe)
        places.append(place)
    return probes, places


def _varied(kind: str, example: Any, numbers: dict[str, float]) -> Any:
    """The example with other numbers, and what goes with them."""
    changed: dict[str, Any] = dict(numbers)
    if kind == "motor":
        ratio = numbers["kv_rpm_per_v"] / example.kv_rpm_per_v
        if example.resistance_ohm is not None:
            changed["resistance_ohm"] = example.resistance_ohm / ratio**2
        if example.no_load_current_a is not None:
            changed["no_load_current_a"] = example.no_load_current_a * ratio
    if kind == "pack" and example.cell_resistance_mohm is not None:
        changed["cell_resistance_mohm"] = example.cell_resistance_mohm * example.capacity_mah / numbers["capacity_mah"]
    if kind == "propeller":
        changed["table"] = None
    bursts = {"burst_current_a": "max_current_a", "burst_c_rating": "c_rating"}
    for burst, rating in bursts.items():
        if rating in numbers and getattr(example, burst, None) is not None:
            changed[burst] = None
    return replace(example, **changed)


def _pass(setting: Setting, beside: Sequence[Mapping[str, Any]], kind: str, parts: Sequence[Any]) -> Flags:
    """Which parts pass every check that can exclude with each of the others."""
    if not parts:
        return np.zeros(0, dtype=np.bool_)
    stock: dict[str, list[Any]] = {each: [] for each in PARTS}
    rows = []
    for others in beside:
        row = []
        for each in PARTS:
            held = stock[each]
            part = others.get(each)
            at = 0 if each == kind else next((n for n, known in enumerate(held) if known is part), len(held))
            if each != kind and at == len(held):
                held.append(part)
            row.append(at)
        rows.append(row)
    stock[kind] = list(parts)
    shelf = Shelf.of(*(stock[each] for each in PARTS), **setting.train_numbers)
    lanes = np.repeat(np.array(rows, dtype=np.intp), len(parts), axis=0)
    lanes[:, list(PARTS).index(kind)] = np.tile(np.arange(len(parts)), len(rows))
    good = shelf.cells_fit(*lanes[:, :3].T)
    good[good] = first_failures(TrainMeasures(setting, *shelf.combine(*lanes[good].T)))[0] < 0
    return np.asarray(good.reshape(len(rows), -1).all(axis=0))


def _grown(
    grid: Flags, middle: tuple[int, ...], allowed: Callable[[Sequence[int], Sequence[int]], bool]
) -> tuple[list[int], list[int]]:
    """The corners of a box of the grid around its middle in which all is true, a step at a time on every side."""
    low, high = list(middle), list(middle)
    sides = [(axis, down) for axis in range(grid.ndim) for down in (True, False)]
    while sides:
        still = []
        for axis, down in sides:
            a, b = list(low), list(high)
            (a if down else b)[axis] += -1 if down else 1
            inside = tuple(slice(x, y + 1) for x, y in zip(a, b, strict=True))
            if a[axis] >= 0 and b[axis] < grid.shape[axis] and grid[inside].all() and allowed(a, b):
                low, high = a, b
                still.append((axis, down))
        sides = still
    return low, high


def _inside(part: Any, ranges: Mapping[str, Ends], same: Mapping[str, Any]) -> bool:
    if any(getattr(part, name) != value for name, value in same.items()):
        return False
    for name, (least, most) in ranges.items():
        value = getattr(part, name)
        if value is None or (least is not None and value < least) or (most is not None and value > most):
            return False
    return True
