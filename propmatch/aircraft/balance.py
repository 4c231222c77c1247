"""Masses and where they sit: build-up of the aircraft, place of the pack, ballast.

Positions in mm aft of the designer's datum, masses in g, as in the brief. Centre of gravity: sum(m x)/sum(m).

Source: none needed, statics.
"""

from collections.abc import Iterable, Sequence
from typing import Any

import attrs
import numpy as np

from propmatch.aircraft.geometry import Geometry
from propmatch.models.arrays import Floats, Pick
from propmatch.records.fields import replace
from propmatch.records.masses import BuildLine, Item, stays_g, varies_g
from propmatch.records.parts import PowerTrain, propeller_mass_g
from propmatch.status import Status

__all__ = [
    "Item",
    "MassBuildUp",
    "MassLanes",
    "PackPlaces",
    "ballast_g",
    "centre_of_gravity_mm",
    "pack_position_mm",
    "place_masses",
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
class MassLanes:
    """A bare aircraft at many masses.

    Attributes
    ----------
    mass_g, position_mm, height_mm : ndarray (N,)
        NaN where no build is as light; places NaN where a line has none.
    """

    mass_g: Floats
    position_mm: Floats
    height_mm: Floats

    def take(self, index: Pick) -> "MassLanes":
        """Some of them."""
        return MassLanes(**{a.name: getattr(self, a.name)[index] for a in attrs.fields(MassLanes)})


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
        return _centre([line.mass_g for line in self.lines], [line.position_mm for line in self.lines])

    @property
    def height_mm(self) -> float:
        """Centre of gravity above the level line; NaN while a line that weighs something has no height."""
        return _centre([line.mass_g for line in self.lines], [line.height_mm for line in self.lines])

    def scaled_to(self, mass_g: float) -> "MassBuildUp":
        """The build of another mass: its filament in proportion, or every line where nothing is printed.

        Raises
        ------
        ValueError
            For a mass that is not above that of the items and of what is added to the print, or of no lines at all.
        """
        if abs(mass_g - self.mass_g) < 1e-9 * mass_g:
            return self
        least, varies = stays_g(self.lines), varies_g(self.lines)
        if not mass_g > least:
            raise ValueError(f"a build of {mass_g:g} g is not above {least:g} g of items and additions to the print")
        if not sum(varies):
            raise ValueError(f"a build of {mass_g:g} g needs a line that weighs something")
        more = (mass_g - self.mass_g) / sum(varies)
        return MassBuildUp(
            tuple(
                replace(line, mass_g=line.mass_g + more * own,
                        **({"varies_g": (1 + more) * own} if isinstance(line, BuildLine) else {}))
                for line, own in zip(self.lines, varies, strict=True)
            )
        )  # fmt: skip

    def times(self, factor: float) -> "MassBuildUp":
        """Every line heavier or lighter alike: the centre of gravity stays."""
        return MassBuildUp(
            tuple(
                replace(line, mass_g=factor * line.mass_g,
                        **({"varies_g": factor * line.varies_g} if isinstance(line, BuildLine) else {}))
                for line in self.lines
            )
        )  # fmt: skip

    def at(self, mass_g: Floats) -> MassLanes:
        """The same for many masses (N,); NaN where no build is as light."""
        mass, varies = np.where(mass_g > stays_g(self.lines), mass_g, np.nan), varies_g(self.lines)

        def centre(own: float, places: list[float | None]) -> Floats:
            return np.asarray((self.mass_g * own + (mass - self.mass_g) * _centre(varies, places)) / mass)

        return MassLanes(
            mass_g=mass,
            position_mm=centre(self.position_mm, [line.position_mm for line in self.lines]),
            height_mm=centre(self.height_mm, [line.height_mm for line in self.lines]),
        )


def _centre(masses: Sequence[float], places: Sequence[float | None]) -> float:
    known = [(mass, place) for mass, place in zip(masses, places, strict=True) if mass > 0]
    if not known or any(place is None for _, place in known):
        return float("nan")
    return float(centre_of_gravity_mm([mass for mass, _ in known], [place for _, place in known]))


def power_train_items(geometry: Geometry | None, train: PowerTrain) -> tuple[Item, ...]:
    """Motor, propeller, controller of all sets and a separate supply at their places; `place_packs` places the pack.

    The supply for receiver and servos sits beside the controller. Without a geometry nothing has a place.
    """
    count = train.count
    own = (None,) * 5 if geometry is None else (
        geometry.motor_mm, geometry.propeller_mm, geometry.controller_mm, geometry.thrust_height_mm,
        geometry.controller_height_mm,
    )  # fmt: skip
    motor, propeller, controller, height, controller_height = own
    lines = (
        ("motor", train.motor.mass_g, motor, height),
        ("propeller", _propeller_g(train), propeller, height),
        ("controller", train.controller.mass_g, controller, controller_height),
    )
    sets = tuple(
        Item(name=name if count == 1 else f"{count} {name}s", mass_g=count * mass, position_mm=at, height_mm=up)
        for name, mass, at, up in lines
    )
    if train.supply_g == 0:
        return sets
    supply = Item(name="receiver supply", mass_g=train.supply_g, position_mm=controller, height_mm=controller_height)
    return (*sets, supply)


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
    listed_height_mm : float or ndarray [mm]
        Height of the centre of gravity from the heights of all lines; NaN where one has none.
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
    listed_height_mm: Any
    status: Any
    geometry: Geometry

    @property
    def cg_height_mm(self) -> Any:
        """Height of the centre of gravity: from all lines, or the brief's where one has no height."""
        return np.where(np.isfinite(self.listed_height_mm), self.listed_height_mm, self.geometry.cg_height_mm)[()]

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


def place_packs(
    geometry: Geometry, *, base_mass_g: Any, base_cg_mm: Any, pack_mass_g: Any, base_height_mm: Any = np.nan
) -> PackPlaces:
    """Needed place of each candidate pack, inside the tray or not, and ballast if not.

    Parameters
    ----------
    geometry : Geometry
    base_mass_g, base_cg_mm : array_like [g], [mm]
        Everything but the pack (`MassBuildUp.mass_g`, `.position_mm`).
    pack_mass_g : array_like [g]
        The candidates; broadcast with the two above.
    base_height_mm : array_like [mm]
        Height of everything but the pack; NaN where it is not known.

    Returns
    -------
    PackPlaces
        Lanes with a mass that is not positive or anything not finite hold NaN and ``Status.BAD_INPUT``.
    """
    balance = geometry.balance
    target = balance.target_cg_mm
    base, base_cg, pack, height = np.broadcast_arrays(
        *(np.asarray(value, dtype=np.float64) for value in (base_mass_g, base_cg_mm, pack_mass_g, base_height_mm))
    )
    pack_height = np.nan if balance.pack_height_mm is None else balance.pack_height_mm
    with np.errstate(divide="ignore", invalid="ignore"):
        listed_height = (base * height + pack * pack_height) / (base + pack)
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
        "listed_height_mm": listed_height,
        "status": np.where(sound, int(Status.OK), int(Status.BAD_INPUT)),
    }
    if cg.ndim == 0:
        fields = {key: np.asarray(value).item() for key, value in fields.items()}
        fields["status"] = Status(fields["status"])
    return PackPlaces(geometry=geometry, **fields)


def place_masses(
    geometry: Geometry, bare: MassBuildUp | MassLanes, *, motors_g: Any, propellers_g: Any, controllers_g: Any,
    supply_g: Any, pack_g: Any,
) -> PackPlaces:  # fmt: skip
    """`place_packs` for the masses of power trains, (N,) each, on one bare aircraft or on N."""
    lines = (
        (bare.mass_g, bare.position_mm, bare.height_mm),
        (motors_g, geometry.motor_mm, geometry.thrust_height_mm),
        (propellers_g, geometry.propeller_mm, geometry.thrust_height_mm),
        (controllers_g + supply_g, geometry.controller_mm, geometry.controller_height_mm),
    )
    base = sum(mass for mass, _, _ in lines)

    def centre(places: Iterable[Any]) -> Any:
        known = [np.nan if each is None else each for each in places]
        return sum(mass * place for (mass, _, _), place in zip(lines, known, strict=True)) / base

    place, height = centre(line[1] for line in lines), centre(line[2] for line in lines)
    return place_packs(geometry, base_mass_g=base, base_cg_mm=place, pack_mass_g=pack_g, base_height_mm=height)


def place_trains(geometry: Geometry, bare: MassBuildUp, trains: Sequence[PowerTrain]) -> PackPlaces:
    """The same for every power train, one lane each."""
    masses = np.array(
        [
            (t.count * t.motor.mass_g, t.count * _propeller_g(t), t.count * t.controller.mass_g, t.supply_g,
             t.pack.mass_g)
            for t in trains
        ]
    ).reshape(-1, 5)  # fmt: skip
    names = ("motors_g", "propellers_g", "controllers_g", "supply_g", "pack_g")
    return place_masses(geometry, bare, **dict(zip(names, masses.T, strict=True)))
