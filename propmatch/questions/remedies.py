"""What brings a power train that exceeds a limit inside again: one part of the catalogue changed, or two."""

from collections.abc import Sequence
from typing import Any

import attrs
import numpy as np

from propmatch.catalogue.catalogue import Catalogue
from propmatch.checks.checkrules import costly
from propmatch.checks.judged import judged, passing
from propmatch.checks.measures import Setting
from propmatch.checks.ratings import rating_lanes
from propmatch.columns import STATIC, number
from propmatch.questions.ask import KvForCurrent, LargestPropeller, kv_for_current, largest_propeller
from propmatch.records.estimates import Assumption
from propmatch.records.parts import PowerTrain
from propmatch.search.shelf import Shelf

__all__ = ["Remedies", "Remedy", "remedies"]

SHOWN = 4
"""Remedies of each kind that are kept."""
MOTOR_MASS = (0.75, 1.35)
"""Masses of the motors tried, over that of the design's."""
_PAIRS = (("propeller", "controller"), ("motor", "controller"), ("motor", "propeller"))


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
        The one that exceeds them.
    failing : tuple of str
        Checks it exceeds.
    propellers, motors, controllers : tuple of Remedy
        One part changed: smaller diameter or pitch, by falling thrust; lower kV, by likeness of mass; larger
        controller, by mass. Empty where none of the catalogue's helps alone.
    pairs : tuple of Remedy
        Two parts changed, tried when one does not do.
    motor_current_limit_a : float
        The lower of the motor's and the controller's rating.
    kv : KvForCurrent, diameter : LargestPropeller
        By specification: the kV, and the diameter at the same pitch ratio, that load the motor to that limit.
    assumptions : tuple of Assumption
    """

    train: PowerTrain
    failing: tuple[str, ...]
    propellers: tuple[Remedy, ...]
    motors: tuple[Remedy, ...]
    controllers: tuple[Remedy, ...]
    pairs: tuple[Remedy, ...]
    motor_current_limit_a: float = number(kind="A", label="limit of the current of one motor")
    kv: KvForCurrent
    diameter: LargestPropeller
    assumptions: tuple[Assumption, ...]

    @property
    def first(self) -> Remedy | None:
        """The least change: a propeller, else a controller, a motor, a pair; None when nothing helps."""
        found = (*self.propellers, *self.controllers, *self.motors, *self.pairs)
        return found[0] if found else None


def remedies(setting: Setting, catalogue: Catalogue, train: PowerTrain, *, failing: Sequence[str] = ()) -> Remedies:
    """Try the catalogue's propellers, motors and controllers in a train that exceeds a limit.

    Parameters
    ----------
    setting : Setting
    catalogue : Catalogue
        Parts that the brief's ``[parts]`` lets in are tried.
    train : PowerTrain
    failing : sequence of str
        Names of the checks it exceeds, kept for the reader.
    """
    wanted = setting.brief.parts
    stock = catalogue.restricted(motors=wanted.motor, controllers=wanted.controller, propellers=wanted.propeller)
    choices = _choices(stock, train)
    shelf = Shelf.of(choices["motor"], choices["controller"], [train.pack], choices["propeller"], **train.numbers)
    found = {kind: _tried(setting, shelf, (kind,)) for kind in choices}
    pairs: list[Remedy] = []
    if not any(found.values()):
        for pair in _PAIRS:
            pairs += _tried(setting, shelf, pair)
    limits = rating_lanes([train])
    seconds = setting.burst_load_seconds
    limit = float(np.fmin(limits.motor.limit(seconds), limits.controller.limit(seconds))[0])
    kv = kv_for_current(train, limit, air=setting.air, catalogue=stock)
    diameter = largest_propeller(train, limit, air=setting.air, catalogue=stock)
    mass = setting.all_up_mass_g(train.mass_g)
    return Remedies(
        train=train,
        failing=tuple(failing),
        propellers=tuple(sorted(found["propeller"], key=lambda r: -r.thrust_to_weight)[:SHOWN]),
        motors=tuple(sorted(found["motor"], key=lambda r: abs(r.all_up_mass_g - mass))[:SHOWN]),
        controllers=tuple(sorted(found["controller"], key=lambda r: r.all_up_mass_g)[:SHOWN]),
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


def _choices(stock: Catalogue, train: PowerTrain) -> dict[str, list[Any]]:
    """The design's own part first, then those that might help."""
    motor, propeller, controller = train.motor, train.propeller, train.controller
    low, high = (share * motor.mass_g for share in MOTOR_MASS)
    smaller = [
        p
        for p in stock.propellers.values()
        if p.table is not None
        and p.diameter_in <= propeller.diameter_in
        and p.pitch_in <= propeller.pitch_in
        and (p.diameter_in, p.pitch_in) != (propeller.diameter_in, propeller.pitch_in)
    ]
    slower = [m for m in stock.motors.values() if m.kv_rpm_per_v < motor.kv_rpm_per_v and low <= m.mass_g <= high]
    larger = [
        c for c in stock.controllers.values() if c.max_current_a >= controller.max_current_a and c.id != controller.id
    ]
    return {"motor": [motor, *slower], "propeller": [propeller, *smaller], "controller": [controller, *larger]}


def _tried(setting: Setting, shelf: Shelf, kinds: Sequence[str]) -> list[Remedy]:
    """Trains with other parts of these kinds that pass every excluding check."""
    sizes = {kind: len(parts) for kind, parts in shelf.kinds.items()}
    grids = np.meshgrid(*(np.arange(1, sizes[kind]) for kind in kinds), indexing="ij")
    n = grids[0].size
    if not n:
        return []
    index = {kind: np.zeros(n, dtype=np.intp) for kind in sizes}
    index |= {kind: np.asarray(grid.ravel(), dtype=np.intp) for kind, grid in zip(kinds, grids, strict=True)}
    lanes, ratings = shelf.combine(index["motor"], index["controller"], index["pack"], index["propeller"])
    cheap = judged(setting, lanes, ratings)
    rough = passing(cheap, without=costly())
    some = np.flatnonzero(rough)
    if not some.size:
        return []
    measured = judged(setting, lanes.take(some), ratings.take(some))
    good = np.flatnonzero(passing(measured))
    fresh = measured.full(1.0)
    out = []
    for lane in good:
        at = {kind: int(index[kind][some[lane]]) for kind in index}
        train = shelf.train(at["motor"], at["controller"], at["pack"], at["propeller"])
        out.append(
            Remedy(
                changes={kind: getattr(train, kind) for kind in kinds},
                train=train,
                all_up_mass_g=float(measured.frames.mass_kg[lane] * 1e3),
                thrust_to_weight=float(measured["thrust_to_weight"].value[lane]),
                flight_minutes=float(measured["flight_time"].value[lane]),
                motor_current_static_a=float(fresh.motor_current_a[lane]),
                pack_current_static_a=float(fresh.pack_current_a[lane]),
            )
        )
    return out
