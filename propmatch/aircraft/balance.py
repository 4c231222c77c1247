"""Masses and where they sit: build-up of the aircraft, place of the pack, ballast.

Positions in mm aft of the designer's datum, masses in g, as in the brief. Centre of gravity: sum(m x)/sum(m).
"""

from collections.abc import Iterable, Sequence
from typing import Any

import attrs
import numpy as np

from propmatch.aircraft.geometry import Geometry
from propmatch.records.brief import ResolvedVariant
from propmatch.records.fields import replace
from propmatch.records.layout import Item, Structure
from propmatch.records.parts import PowerTrain, propeller_mass_g
from propmatch.records.sections import Brief, printed_takes_up
from propmatch.status import Status

__all__ = [
    "Item",
    "MassBuildUp",
    "PackPlaces",
    "ballast_g",
    "bare_build_up",
    "build_up",
    "centre_of_gravity_mm",
    "pack_position_mm",
    "place_packs",
    "place_trains",
    "power_train_items",
]


def centre_of_gravity_mm(mass_g: Any, position_mm: Any, *, axis: int = -1) -> Any:
    """sum(m x)/sum(m) along an axis [mm]; NaN where the masses add up to nothing.

    Parameters
    ----------
    mass_g, position_mm : array_like [g], [mm]
        Broadcast against each other.
    axis : int
        The axis of the items.
    """
    mass, position = np.broadcast_arrays(
        np.asarray(mass_g, dtype=np.float64), np.asarray(position_mm, dtype=np.float64)
    )
    total = mass.sum(axis=axis)
    with np.errstate(invalid="ignore"):
        moment = (mass * position).sum(axis=axis)
    return np.where(total > 0, moment / np.where(total > 0, total, 1.0), np.nan)[()]


def pack_position_mm(base_mass_g: Any, base_cg_mm: Any, pack_mass_g: Any, target_cg_mm: Any) -> Any:
    """Where the pack must sit for the target: (x_t (M + m) - M x_0)/m [mm]; NaN without a pack mass.

    Parameters
    ----------
    base_mass_g, base_cg_mm : array_like
        Everything but the pack: M and x_0.
    pack_mass_g : array_like [g]
        m.
    target_cg_mm : array_like [mm]
        x_t.
    """
    base, pack = np.asarray(base_mass_g, dtype=np.float64), np.asarray(pack_mass_g, dtype=np.float64)
    with np.errstate(invalid="ignore"):
        moment = target_cg_mm * (base + pack) - base * base_cg_mm
        return np.where(pack > 0, moment / np.where(pack > 0, pack, 1.0), np.nan)[()]


def ballast_g(mass_g: Any, cg_mm: Any, ballast_mm: Any, target_cg_mm: Any) -> Any:
    """Ballast that brings the centre of gravity to the target: M (x_cg - x_t)/(x_t - x_b) [g].

    0 where the target is met already; NaN where ballast at x_b moves it the wrong way or has no arm.
    """
    away = np.asarray(cg_mm, dtype=np.float64) - target_cg_mm
    arm = np.asarray(target_cg_mm, dtype=np.float64) - ballast_mm
    with np.errstate(divide="ignore", invalid="ignore"):
        needed = mass_g * away / arm
    return np.where(away == 0, 0.0 * away, np.where(np.isfinite(needed) & (needed > 0), needed, np.nan))[()]


# ---------------------------------------------------------------- build-up


@attrs.frozen
class MassBuildUp:
    """Lines that add up to a mass.

    Attributes
    ----------
    lines : tuple of Item
    """

    lines: tuple[Item, ...]

    @property
    def mass_g(self) -> float:
        """Sum of the lines [g]."""
        return sum(line.mass_g for line in self.lines)

    @property
    def position_mm(self) -> float:
        """Centre of gravity aft of the datum; NaN while a line that weighs something has no position."""
        return _centre([(line.mass_g, line.position_mm) for line in self.lines])

    @property
    def height_mm(self) -> float:
        """Centre of gravity above the level line; NaN while a line that weighs something has no height."""
        return _centre([(line.mass_g, line.height_mm) for line in self.lines])

    def scaled_to(self, mass_g: float) -> "MassBuildUp":
        """The same centre of gravity at another mass: every line in proportion."""
        factor = mass_g / self.mass_g
        return MassBuildUp(tuple(replace(line, mass_g=line.mass_g * factor) for line in self.lines))


def _centre(lines: Sequence[tuple[float, float | None]]) -> float:
    known = [(mass, place) for mass, place in lines if mass > 0 and place is not None]
    if not known or any(mass > 0 and place is None for mass, place in lines):
        return float("nan")
    return float(centre_of_gravity_mm([mass for mass, _ in known], [place for _, place in known]))


def build_up(
    items: Iterable[Item] = (), structure: Iterable[Structure] = (), *, filament_factor: float = 1.0
) -> MassBuildUp:
    """Mass lines of a build: the items as they are, each printed structure at this build's filament factor.

    Parameters
    ----------
    items : iterable of Item
    structure : iterable of Structure
    filament_factor : float [-]
        Printed mass of this build over the same print in the filament of the slice; see `layout.FILAMENT_FACTORS`.
    """
    printed = (
        Item(name=part.name, mass_g=part.mass_g(filament_factor), position_mm=part.position_mm,
             height_mm=part.height_mm)
        for part in structure
    )  # fmt: skip
    return MassBuildUp((*items, *printed))


def bare_build_up(brief: Brief, variant: ResolvedVariant) -> MassBuildUp:
    """Everything but the power train in one variant of a brief.

    The lists of the brief at the variant's filament factor. Where a variant states another bare mass the printed lines
    take up the difference in proportion and the items stay; without printed lines, or below the items, every
    line is in proportion. A brief with one bare mass gives one line, placed by ``balance.bare_cg_mm``.
    """
    mass = variant.airframe.bare_mass_g
    if not brief.item and not brief.structure:
        place = None if brief.balance is None else brief.balance.bare_cg_mm
        return MassBuildUp((Item(name="bare aircraft", mass_g=mass, position_mm=place),))
    listed = build_up(brief.item, brief.structure, filament_factor=variant.filament_factor)
    if abs(listed.mass_g - mass) < 1e-9 * mass:
        return listed
    if not printed_takes_up(brief.item, brief.structure, mass):
        return listed.scaled_to(mass)
    items, printed = listed.lines[: len(brief.item)], MassBuildUp(listed.lines[len(brief.item) :])
    return MassBuildUp((*items, *printed.scaled_to(mass - MassBuildUp(items).mass_g).lines))


def power_train_items(geometry: Geometry, train: PowerTrain) -> tuple[Item, ...]:
    """Motor, propeller, controller of all sets and a separate supply at their places; `place_packs` places the pack.

    The supply for receiver and servos sits beside the controller.
    """
    height = None if geometry.thrust_line is None else geometry.thrust_line.height_mm
    lines = (
        ("motor", train.motor.mass_g, geometry.motor_mm, height),
        ("propeller", _propeller_g(train), geometry.propeller_mm, height),
        ("controller", train.controller.mass_g, geometry.controller_mm, None),
    )
    count = train.count
    sets = tuple(
        Item(name=name if count == 1 else f"{count} {name}s", mass_g=count * mass, position_mm=at, height_mm=up)
        for name, mass, at, up in lines
    )
    if train.supply_g == 0:
        return sets
    return (*sets, Item(name="receiver supply", mass_g=train.supply_g, position_mm=geometry.controller_mm))


def _propeller_g(train: PowerTrain) -> float:
    propeller = train.propeller
    stated = propeller.mass_g
    return propeller_mass_g(propeller.diameter_in, propeller.blades) if stated is None else stated


# ---------------------------------------------------------------- the pack


@attrs.frozen(kw_only=True, eq=False)
class PackPlaces:
    """Where each pack must sit, and what happens if it cannot; all fields share one shape (floats for one pack).

    Attributes
    ----------
    base_mass_g, base_cg_mm : float or ndarray
        Everything but the pack.
    pack_mass_g : float or ndarray [g]
    wanted_mm : float or ndarray [mm]
        Place of the pack's centre that meets the target.
    pack_mm : float or ndarray [mm]
        The same kept inside the tray: `wanted_mm`, or the nearest end.
    in_tray : bool or ndarray
        Whether the wanted place is inside (always, where no tray is given).
    outside_mm : float or ndarray [mm]
        How far the wanted place lies outside: negative ahead of the tray, positive behind it, 0 inside.
    cg_mm : float or ndarray [mm]
        Centre of gravity with the pack at `pack_mm`.
    miss_mm : float or ndarray [mm]
        `cg_mm` minus target; positive: too far aft.
    cg_from_mm, cg_to_mm : float or ndarray [mm]
        Centre of gravity with the pack at the front and at the rear of the tray; NaN without a tray.
    ballast_g, ballast_mm : float or ndarray
        Ballast that would restore the target with the pack at `pack_mm`, and where. 0 g when not needed, NaN when the
        brief gives no place at that end.
    mass_g : float or ndarray [g]
        All-up mass without ballast.
    status : Status or ndarray
    geometry : Geometry
    """

    base_mass_g: Any
    base_cg_mm: Any
    pack_mass_g: Any
    wanted_mm: Any
    pack_mm: Any
    in_tray: Any
    outside_mm: Any
    cg_mm: Any
    miss_mm: Any
    cg_from_mm: Any
    cg_to_mm: Any
    ballast_g: Any
    ballast_mm: Any
    mass_g: Any
    status: Any
    geometry: Geometry

    @property
    def tolerance_mm(self) -> float:
        """Allowed miss of the target."""
        return self.geometry.cg_tolerance_mm

    def readings(self, names: Sequence[str]) -> tuple[str, ...]:
        """One sentence for each pack, in the order of the lanes."""
        lanes = np.broadcast_shapes(np.shape(self.pack_mass_g), (len(names),))
        columns = [
            np.broadcast_to(column, lanes)
            for column in (self.pack_mass_g, self.wanted_mm, self.outside_mm, self.pack_mm, self.miss_mm,
                           self.ballast_g, self.ballast_mm)
        ]  # fmt: skip
        return tuple(
            self._reading(name, *(float(value) for value in row)) for name, *row in zip(names, *columns, strict=True)
        )

    def _reading(
        self, name: str, mass: float, wanted: float, outside: float, place: float, miss: float,
        ballast: float, ballast_at: float,
    ) -> str:  # fmt: skip
        balance = self.geometry.balance
        start, end = balance.pack_tray_from_mm, balance.pack_tray_to_mm
        if np.isnan(wanted):
            return f"{name}: the centre of gravity is unknown, because a mass or a position is missing."
        head = f"{name} ({mass:.0f} g): pack centre at {wanted:.0f} mm"
        if start is None or end is None:
            return f"{head}; no pack tray is given, so nothing says whether it fits there."
        if outside == 0:
            return f"{head}, inside the tray ({start:.0f} to {end:.0f} mm)."
        side = "ahead of" if outside < 0 else "behind"
        text = f"{head} is wanted, {abs(outside):.0f} mm {side} the tray; at its {place:.0f} mm end the "
        text += f"centre of gravity lies {abs(miss):.1f} mm {'aft of' if miss > 0 else 'ahead of'} the target"
        if abs(miss) <= self.tolerance_mm:
            return f"{text}, within {self.tolerance_mm:g} mm."
        if np.isnan(ballast):
            return f"{text}; no place for {'nose' if miss > 0 else 'tail'} ballast is given."
        return f"{text}; {ballast:.0f} g of ballast at {ballast_at:.0f} mm would restore it."


def place_packs(geometry: Geometry, *, base_mass_g: Any, base_cg_mm: Any, pack_mass_g: Any) -> PackPlaces:
    """Needed place of each candidate pack, inside the tray or not, and ballast if not.

    Parameters
    ----------
    geometry : Geometry
    base_mass_g, base_cg_mm : array_like [g], [mm]
        Everything but the pack (`MassBuildUp.mass_g`, `.position_mm`).
    pack_mass_g : array_like [g]
        The candidates; broadcast with the two above.

    Returns
    -------
    PackPlaces
        Lanes with a mass that is not positive or anything not finite hold NaN and ``Status.BAD_INPUT``.
    """
    balance = geometry.balance
    target = balance.target_cg_mm
    base, base_cg, pack = np.broadcast_arrays(
        *(np.asarray(value, dtype=np.float64) for value in (base_mass_g, base_cg_mm, pack_mass_g))
    )
    sound = (base >= 0) & (pack > 0) & np.isfinite(base) & np.isfinite(base_cg) & np.isfinite(pack)
    base, base_cg, pack = (np.where(sound, value, np.nan) for value in (base, base_cg, pack))
    start = -np.inf if balance.pack_tray_from_mm is None else balance.pack_tray_from_mm
    end = np.inf if balance.pack_tray_to_mm is None else balance.pack_tray_to_mm
    total = base + pack

    def cg_with(place: Any) -> Any:
        return (base * base_cg + pack * place) / total

    wanted = pack_position_mm(base, base_cg, pack, target)
    place = np.clip(wanted, start, end)
    inside = (wanted >= start) & (wanted <= end)
    cg = np.where(inside, target, cg_with(place))
    cg = np.where(sound, cg, np.nan)
    miss = cg - target
    nose, tail = (np.nan if at is None else at for at in (balance.nose_ballast_mm, balance.tail_ballast_mm))
    at = np.where(miss > 0, nose, np.where(miss < 0, tail, np.nan))
    has_tray = np.isfinite(start) and np.isfinite(end)
    fields = {
        "base_mass_g": base,
        "base_cg_mm": base_cg,
        "pack_mass_g": pack,
        "wanted_mm": wanted,
        "pack_mm": place,
        "in_tray": inside,
        "outside_mm": wanted - place,
        "cg_mm": cg,
        "miss_mm": miss,
        "cg_from_mm": cg_with(start) if has_tray else np.full_like(cg, np.nan),
        "cg_to_mm": cg_with(end) if has_tray else np.full_like(cg, np.nan),
        "ballast_g": np.where(inside, 0.0, ballast_g(total, cg, at, target)),
        "ballast_mm": at,
        "mass_g": total,
        "status": np.where(sound, int(Status.OK), int(Status.BAD_INPUT)),
    }
    if cg.ndim == 0:
        fields = {key: np.asarray(value).item() for key, value in fields.items()}
        fields["status"] = Status(fields["status"])
    return PackPlaces(geometry=geometry, **fields)


def place_trains(geometry: Geometry, bare: MassBuildUp, trains: Sequence[PowerTrain]) -> PackPlaces:
    """`place_packs` for the pack of every power train, one lane each, on one bare aircraft."""
    sets = np.array(
        [
            (t.count * t.motor.mass_g, t.count * _propeller_g(t), t.count * t.controller.mass_g + t.supply_g)
            for t in trains
        ]
    ).reshape(-1, 3)
    places = np.array(
        [
            np.nan if each is None else each
            for each in (geometry.motor_mm, geometry.propeller_mm, geometry.controller_mm)
        ]
    )
    base = bare.mass_g + sets.sum(axis=1)
    moment = bare.mass_g * bare.position_mm + sets @ places
    packs = np.array([train.pack.mass_g for train in trains])
    return place_packs(geometry, base_mass_g=base, base_cg_mm=moment / base, pack_mass_g=packs)
