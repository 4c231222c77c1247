"""What brings a power train that misses a limit inside again: one part of the catalogue changed, or two.

Every part that the brief lets in is tried, larger and smaller, and judged as :mod:`propmatch.questions.fits` judges it:
too little thrust takes more kV, a larger propeller or more cells, too much current the opposite.
"""

from collections.abc import Collection, Iterator, Sequence
from itertools import combinations
from typing import Any

import attrs
import numpy as np

from propmatch.catalogue.catalogue import Catalogue
from propmatch.checks.judged import judged_trains
from propmatch.checks.measures import Setting, TrainMeasures
from propmatch.columns import STATIC, number
from propmatch.models.arrays import Index
from propmatch.questions.ask import KvForCurrent, LargestPropeller, kv_for_current, largest_propeller
from propmatch.records.estimates import Assumption
from propmatch.records.parts import PARTS, PowerTrain
from propmatch.search.exhaustive import first_failures
from propmatch.search.shelf import Shelf

__all__ = ["Remedies", "Remedy", "remedies"]

SHOWN = 4
"""Remedies of each kind that are kept."""
_CHUNK = 65536


@attrs.frozen(kw_only=True, eq=False)
class Remedy:
    """Parts changed so that every check of the brief and of part ratings passes.

    Attributes
    ----------
    changes : dict
        Kind to the part that takes the place of the design's.
    train : PowerTrain
    all_up_mass_g, thrust_to_weight, flight_minutes, motor_current_static_a, pack_current_static_a : float
    """

    changes: dict[str, Any]
    train: PowerTrain
    all_up_mass_g: float = number(kind="mass", label="all-up mass")
    thrust_to_weight: float = number(label="thrust to weight, half charge")
    flight_minutes: float = number(kind="min", label="flight time")
    motor_current_static_a: float = number(kind="A", label=f"current of one motor, {STATIC}")
    pack_current_static_a: float = number(kind="A", label=f"pack current, {STATIC}")


@attrs.frozen(kw_only=True, eq=False)
class Remedies:
    """What brings one train inside the limits.

    Attributes
    ----------
    train : PowerTrain
        The one that misses them.
    failing : tuple of str
        Checks it misses.
    propellers, controllers, motors, packs : tuple of Remedy
        One part changed: propellers by falling thrust, the others by likeness of the all-up mass, packs of the same
        cell count first. Empty where none of the catalogue's helps alone.
    pairs : tuple of Remedy
        Two parts changed; with other cell counts only where nothing else does it.
    motor_current_limit_a : float
        The lower of the motor's and the controller's rating.
    kv : KvForCurrent, diameter : LargestPropeller
        By specification: the kV, and the diameter at the same pitch ratio, that load the motor to that limit.
    assumptions : tuple of Assumption
    """

    train: PowerTrain
    failing: tuple[str, ...]
    propellers: tuple[Remedy, ...]
    controllers: tuple[Remedy, ...]
    motors: tuple[Remedy, ...]
    packs: tuple[Remedy, ...]
    pairs: tuple[Remedy, ...]
    motor_current_limit_a: float = number(kind="A", label="limit of the current of one motor")
    kv: KvForCurrent
    diameter: LargestPropeller
    assumptions: tuple[Assumption, ...]

    @property
    def every(self) -> tuple[Remedy, ...]:
        """All of them, the least change first: a propeller, a controller, a motor, a pack, a pair."""
        return (*self.propellers, *self.controllers, *self.motors, *self.packs, *self.pairs)

    @property
    def first(self) -> Remedy | None:
        """The least change that keeps the cell count; None when nothing does."""
        return next((each for each in self.every if _keeps_cells(self.train, each)), None)


def _keeps_cells(train: PowerTrain, remedy: Remedy) -> bool:
    return bool(remedy.train.pack.cells_series == train.pack.cells_series)


def remedies(
    setting: Setting,
    catalogue: Catalogue,
    train: PowerTrain,
    *,
    failing: Sequence[str] = (),
    beside: Collection[int] = (),
) -> Remedies:
    """Try every part of the catalogue in a train that misses a limit, alone and, where none does it, in pairs.

    Parameters
    ----------
    setting : Setting
    catalogue : Catalogue
        Parts that the brief's ``[parts]`` lets in are tried.
    train : PowerTrain
    failing : sequence of str
        Names of the checks it misses, kept for the reader.
    beside : collection of int
        Cell counts that the reader sees beside this one: a change to one of them is no remedy.
    """
    stock = catalogue.let_in(setting.brief.parts, setting.variant.motor_count)
    shelf = _shelf(stock, train, beside)
    measured, _ = judged_trains(setting, [train])
    mass, cells = float(measured.frames.mass_kg[0] * 1e3), train.pack.cells_series
    found: dict[str, list[Remedy]] = {kind: [] for kind in PARTS}
    for each in (each for some in _passing(setting, shelf, [(kind,) for kind in PARTS]) for each in some):
        found[next(iter(each.changes))].append(each)
    singles = [each for group in found.values() for each in group]
    pairs: list[Remedy] = []
    for same in (True, False):
        if not pairs and not any(_keeps_cells(train, each) or not same for each in singles):
            pairs = _pairs(setting, shelf, cells, same=same)
    limit = float(np.fmin(measured["motor_current_static"].limit, measured["controller_current"].limit)[0])
    kv = kv_for_current(train, limit, air=setting.air, catalogue=stock)
    diameter = largest_propeller(train, limit, air=setting.air, catalogue=stock)

    def alike(kind: str) -> tuple[Remedy, ...]:
        order = sorted(found[kind], key=lambda r: (not _keeps_cells(train, r), abs(r.all_up_mass_g - mass)))
        return tuple(order[:SHOWN])

    return Remedies(
        train=train,
        failing=tuple(failing),
        propellers=tuple(sorted(found["propeller"], key=lambda r: -r.thrust_to_weight)[:SHOWN]),
        controllers=alike("controller"),
        motors=alike("motor"),
        packs=alike("pack"),
        pairs=tuple(_some(pairs)),
        motor_current_limit_a=limit,
        kv=kv,
        diameter=diameter,
        assumptions=(*kv.assumptions, *diameter.assumptions),
    )


def _some(pairs: Sequence[Remedy]) -> list[Remedy]:
    """A few of the pairs, each kind of pair by falling thrust, and each part once."""
    kept: list[Remedy] = []
    seen: set[tuple[str, str]] = set()
    for remedy in sorted(pairs, key=lambda r: -r.thrust_to_weight):
        kinds = " and ".join(remedy.changes)
        first = next(iter(remedy.changes.values())).name
        if (kinds, first) not in seen and sum(k == kinds for k, _ in seen) < SHOWN:
            seen.add((kinds, first))
            kept.append(remedy)
    return sorted(kept, key=lambda r: " and ".join(r.changes))


def _shelf(stock: Catalogue, train: PowerTrain, beside: Collection[int]) -> Shelf:
    """The design's own parts, each first of its kind, and every other of the catalogue that may be tried."""

    def kind(name: str) -> list[Any]:
        own = getattr(train, name)
        others = getattr(stock, f"{name}s").values()
        return [own, *(part for part in others if part is not own)]

    propellers = [each for each in kind("propeller") if each.table is not None]
    other = set(beside) - {train.pack.cells_series}
    packs = [each for each in kind("pack") if each.cells_series not in other]
    return Shelf.of(kind("motor"), kind("controller"), packs, propellers, **train.numbers)


def _pairs(setting: Setting, shelf: Shelf, cells: int, *, same: bool) -> list[Remedy]:
    """A few of the pairs that do it, of each two kinds; packs of the train's cell count, or of any."""
    out: list[Remedy] = []
    for kinds in combinations(PARTS, 2):
        if not (same or "pack" in kinds):
            continue
        found = 0
        for some in _passing(setting, shelf, [kinds], cells=cells if same else None):
            out += some
            found += len(some)
            if found >= SHOWN:
                break
    return out


def _passing(
    setting: Setting, shelf: Shelf, changes: Sequence[Sequence[str]], *, cells: int | None = None
) -> Iterator[list[Remedy]]:
    """Chunk by chunk the trains with other parts of these kinds that pass every excluding check."""
    rows, of = _changed(shelf, changes)
    if cells is not None:
        own = shelf.column("cells")[rows[:, 2]] == cells
        rows, of = rows[own], of[own]
    for start in range(0, len(rows), _CHUNK):
        part = slice(start, start + _CHUNK)
        _, alive, measured = first_failures(TrainMeasures(setting, *shelf.combine(*rows[part].T)))
        kinds = [changes[at] for at in of[part][alive]]
        yield _remedies_of(shelf, kinds, rows[part][alive], measured) if alive.size else []


def _changed(shelf: Shelf, changes: Sequence[Sequence[str]]) -> tuple[Index, Index]:
    """Rows (N, 4) with other parts of the kinds of each change, and which of the changes it is (N,)."""
    sizes = {kind: len(parts) for kind, parts in shelf.kinds.items()}
    out, of = [], []
    for at, kinds in enumerate(changes):
        others = np.indices([sizes[kind] - 1 for kind in kinds]).reshape(len(kinds), -1) + 1
        rows = np.zeros((others.shape[1], len(sizes)), dtype=np.intp)
        rows[:, [list(sizes).index(kind) for kind in kinds]] = others.T
        out.append(rows)
        of.append(np.full(len(rows), at))
    return np.concatenate(out), np.concatenate(of)


def _remedies_of(
    shelf: Shelf, changes: Sequence[Sequence[str]], rows: Index, measured: TrainMeasures
) -> list[Remedy]:  # fmt: skip
    """A remedy for each of the rows (N, 4), in which parts of some kinds are changed."""
    fresh = measured.full(1.0)
    out = []
    for lane, row in enumerate(rows):
        train = shelf.train(*map(int, row))
        out.append(
            Remedy(
                changes={kind: getattr(train, kind) for kind in changes[lane]},
                train=train,
                all_up_mass_g=float(measured.frames.mass_kg[lane] * 1e3),
                thrust_to_weight=float(measured["thrust_to_weight"].value[lane]),
                flight_minutes=float(measured["flight_time"].value[lane]),
                motor_current_static_a=float(fresh.motor_current_a[lane]),
                pack_current_static_a=float(fresh.pack_current_a[lane]),
            )
        )
    return out
