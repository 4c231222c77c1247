"""What another power train does to balance and trim: the place of the pack, the shift of the centre of gravity, the
elevator that throttle asks for."""

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import attrs
import numpy as np
from numpy.typing import ArrayLike

from propmatch.aircraft.balance import PackPlaces, place_trains, power_train_items
from propmatch.aircraft.cures import TrimCures, trim_cures
from propmatch.aircraft.flight import level_lanes
from propmatch.aircraft.geometry import Geometry
from propmatch.aircraft.stability import Stability, stability
from propmatch.aircraft.thrustline import STATES, ThrottleCases, ThrottleTrim, throttle_trim
from propmatch.checks.judged import judged_trains
from propmatch.checks.measures import TrainMeasures
from propmatch.checks.setting import Setting
from propmatch.checks.steering import Steering, steering
from propmatch.faults import Fault, InputFaults
from propmatch.models.arrays import Floats
from propmatch.records.estimates import Assumption
from propmatch.records.masses import Item
from propmatch.records.parts import PowerTrain
from propmatch.train.coupling import solve_lanes
from propmatch.units import GRAM_KG

__all__ = [
    "Placing", "balance_assumptions", "mass_lines", "placing", "throttle_cases", "thrust_pair", "trim_change_deg",
    "without_place",
]  # fmt: skip


def mass_lines(setting: Setting, train: PowerTrain) -> tuple[Item, ...]:
    """Every line of the flying aircraft with mass [g], place and height [mm]: build, power train, pack at its place.

    Places and heights that nobody states are None.
    """
    train, geometry = setting.flown(train), setting.geometry
    place = height = None
    if geometry is not None:
        found = float(np.ravel(place_trains(geometry, setting.build, [train]).pack_mm)[0])
        place, height = found if np.isfinite(found) else None, geometry.balance.pack_height_mm
    pack = Item(name="pack", mass_g=train.pack.mass_g, position_mm=place, height_mm=height)
    return (*setting.build.lines, *power_train_items(geometry, train), pack)


def without_place(setting: Setting, train: PowerTrain) -> tuple[str, ...]:
    """Names of the lines that weigh something and have no place, which leave the balance unknown; the pack has its own.

    Nothing without a balance in the brief.
    """
    if setting.geometry is None:
        return ()
    lines = mass_lines(setting, train)[:-1]
    return tuple(line.name for line in lines if line.mass_g > 0 and line.position_mm is None)


def balance_assumptions(setting: Setting, train: PowerTrain) -> tuple[Assumption, ...]:
    """What balance and trim of a power train rest on: the geometry's, and the height of the centre of gravity.

    The brief's height stands in where a line has none, which are named; it gives way where every line has one.
    """
    geometry = setting.geometry
    if geometry is None:
        return ()
    field, height = "cg_height_mm", geometry.cg_height_mm
    made = tuple(each for each in geometry.assumptions if each.field != field)
    without = [line.name for line in mass_lines(setting, train) if line.mass_g > 0 and line.height_mm is None]
    if geometry.thrust_line is None or not without:
        return made
    stated = geometry.balance.cg_height_mm is not None
    text = (
        f"the centre of gravity {f'lies at {height:g} mm as stated' if stated else 'is where heights start'}, as no "
        f"height says where these are: {', '.join(without)}"
    )
    return (*made, Assumption("balance", field, height, "mm", text))


@attrs.frozen(kw_only=True, eq=False)
class Placing:
    """Balance and trim of several power trains in one setting; the first is what the others are compared with.

    Attributes
    ----------
    names : tuple of str, length C
    pack_mass_g, all_up_mass_g : (C,)
    places : PackPlaces or None
        None without ``[balance]`` in the brief.
    left_there_mm : (C,)
        Shift of the centre of gravity (positive aft) if each pack sits where the first one belongs.
    stability : Stability or None
        With the packs at their places; None without a tail.
    trim : ThrottleTrim or None
    cures : TrimCures or None
        For the design with its own pack; None without tail and thrust line.
    height : str
        How high the centre of gravity lies and where that is from; empty without a thrust line.
    steering : Steering
        Room for the propeller, torque roll and one motor out.
    missing : str
        What the brief lacks for the rest; empty when nothing.
    """

    names: tuple[str, ...]
    pack_mass_g: Floats
    all_up_mass_g: Floats
    places: PackPlaces | None
    left_there_mm: Floats
    stability: Stability | None
    trim: ThrottleTrim | None
    height: str
    steering: Steering
    cures: TrimCures | None
    missing: str

    @property
    def cure_rows(self) -> list[dict[str, str | bool | float]]:
        """The cures of the trim change as JSON has them, best first."""
        return [] if self.cures is None else [each.row for each in self.cures.cures]

    def readings(self, *, show: Callable[[float], str]) -> tuple[str, ...]:
        """Everything in sentences; ``show`` writes an airspeed in m/s in the reader's unit."""
        return (*self.pack_readings(), *self.trim_readings(show=show))

    def pack_readings(self) -> tuple[str, ...]:
        """Where the packs must sit, and what moves where one is put in another's place."""
        out: list[str] = []
        if self.places is not None:
            out += self.places.readings(self.names)
            for name, shift in list(zip(self.names, self.left_there_mm, strict=True))[1:]:
                if np.isfinite(shift):
                    side = "aft" if shift > 0 else "forward"
                    moved = f"moves {abs(shift):.1f} mm {side}" if abs(shift) >= 0.05 else "does not move"
                    out.append(f"{name} put where the pack of {self.names[0]} sits: the centre of gravity {moved}.")
        return tuple(out)

    def trim_readings(self, *, show: Callable[[float], str]) -> tuple[str, ...]:
        """Stability, trim change with throttle and what cures it, and what the brief lacks for them."""
        out: list[str] = []
        if self.stability is not None:
            out.append(self.stability.reading())
        if self.height:
            out.append(self.height)
        if self.trim is not None:
            out += self.trim.readings(show=show)
        if self.cures is not None:
            out += [self.cures.reading(show=show), *self.cures.readings()]
        return (*out, self.missing) if self.missing else tuple(out)


def placing(
    setting: Setting, trains: Sequence[PowerTrain], names: Sequence[str], *, design: PowerTrain | None = None
) -> Placing:
    """Balance and trim of trains of one motor count; currents and thrust fresh from the charger.

    Parameters
    ----------
    setting : Setting
    trains : sequence of C
    names : sequence of str, length C
    design : PowerTrain, optional
        Whom the cures of its trim change are for; default the first.
    """
    measured, _ = judged_trains(setting, trains)
    mass = measured.frames.mass_kg
    pack = np.array([train.pack.mass_g for train in trains])
    geometry = setting.geometry
    nothing: dict[str, Any] = {
        "names": tuple(names), "pack_mass_g": pack, "all_up_mass_g": mass * 1e3, "places": None,
        "left_there_mm": np.full(len(trains), np.nan), "stability": None, "trim": None, "cures": None,
        "height": "",
    }  # fmt: skip
    if geometry is None:
        nothing["steering"] = steering(measured, names, cg_mm=np.full(len(trains), np.nan))
        return Placing(
            **nothing, missing="The brief has no [balance], so nothing can be said about where the pack goes."
        )
    places = place_trains(geometry, setting.build, trains)
    cg = np.asarray(places.cg_mm)
    found = nothing | {
        "places": places, "left_there_mm": _left_there(places), "steering": steering(measured, names, cg_mm=cg)
    }  # fmt: skip
    if geometry.tail is None:
        return Placing(**found, missing="The brief has no [tail], so nothing can be said about stability and trim.")
    found["stability"] = stability(geometry, cg_mm=cg)
    if geometry.thrust_line is None:
        return Placing(**found, missing="The brief has no [thrust_line], so nothing can be said about trim.")
    found["height"] = _height_reading(setting, trains[0], places, names)
    found["trim"] = throttle_trim(geometry, throttle_cases(setting, geometry, trains, names))
    own = trains[0] if design is None else design
    named = f"the design with its own pack ({own.pack.name}, full)"
    found["cures"] = trim_cures(geometry, throttle_cases(setting, geometry, [own], [named]), setting.clearance)
    return Placing(**found, missing="")


def _height_reading(setting: Setting, train: PowerTrain, places: PackPlaces, names: Sequence[str]) -> str:
    """How high the centre of gravity lies, from every line or as the brief says."""
    assumed = [each.text for each in balance_assumptions(setting, train) if each.field == "cg_height_mm"]
    if assumed:
        return f"{assumed[0][0].upper()}{assumed[0][1:]}."
    heights = zip(np.atleast_1d(places.listed_height_mm), names, strict=True)
    each = [f"{abs(height):.0f} mm {'above' if height >= 0 else 'below'} it with {name}" for height, name in heights]
    text = f"From the heights of every line, against the level line, the centre of gravity lies {', '.join(each)}"
    stated = places.geometry.balance.cg_height_mm
    return f"{text}." if stated is None else f"{text}; cg_height_mm = {stated:g} of the brief gives way to it."


def trim_change_deg(setting: Setting, train: PowerTrain) -> float:
    """Largest trim change with throttle at the airspeeds of the brief [deg]; NaN without what trim needs."""
    geometry = setting.geometry
    if geometry is None or geometry.tail is None or geometry.thrust_line is None:
        return np.nan
    return throttle_trim(geometry, throttle_cases(setting, geometry, [setting.flown(train)], ["the design"])).worst_deg


def trim_geometry(setting: Setting) -> Geometry:
    """Where everything is, for the elevator between two thrusts.

    Raises
    ------
    InputFaults
        The brief lacks what trim needs.
    """
    geometry = setting.geometry
    if geometry is None or geometry.tail is None or geometry.thrust_line is None:
        lacks = [name for name in ("balance", "tail", "thrust_line") if getattr(setting.brief, name) is None]
        raise InputFaults([Fault("brief", name, rule="missing; the elevator between two thrusts needs it")
                           for name in lacks])  # fmt: skip
    return geometry


def thrust_pair(setting: Setting, train: PowerTrain, thrust_n: Mapping[str, float]) -> ThrottleTrim:
    """Elevator for named thrusts of one train, compared with the first, at the airspeeds of the brief.

    Raises
    ------
    InputFaults
        The brief lacks what trim needs.
    """
    geometry = trim_geometry(setting)
    cases = throttle_cases(setting, geometry, [train], ["the design"], thrust_n=thrust_n)
    return throttle_trim(geometry, cases)


def _left_there(places: PackPlaces) -> Floats:
    """Centre of gravity with every pack at the first one's place, less that with the first one there."""
    pack, base, base_cg = (np.atleast_1d(x) for x in (places.pack_mass_g, places.base_mass_g, places.base_cg_mm))
    at = np.atleast_1d(places.pack_mm)[0]
    cg = (base * base_cg + pack * at) / (base + pack)
    return np.asarray(cg - cg[0])


def throttle_cases(
    setting: Setting,
    geometry: Geometry,
    trains: Sequence[PowerTrain],
    names: Sequence[str],
    *,
    airspeed_m_s: Floats | None = None,
    thrust_n: Mapping[str, float] | None = None,
) -> ThrottleCases:
    """Glide, level flight and full throttle of each train with a full pack, the pack where it belongs, else at the
    target.

    ``airspeed_m_s`` (V,), default: those that the brief's phases name, or what stands in for them. ``thrust_n``:
    named thrusts of the whole train to compare instead.
    """
    measured, _ = judged_trains(setting, trains)
    held = sorted({phase.airspeed_m_s for phase in setting.phases if phase.airspeed_m_s})
    speeds = airspeed_m_s
    if speeds is None:
        speeds = np.array(held or [float(np.max(setting.default_airspeed_m_s(measured.frames)))])
    places = place_trains(geometry, setting.build, trains)
    cg = np.asarray(places.cg_mm)
    thrusts, throttles = ({**thrust_n}, {}) if thrust_n else _states(setting, measured, speeds)
    return ThrottleCases(
        names=names,
        airspeed_m_s=speeds,
        thrust_n=thrusts,
        throttle=throttles,
        mass_kg=measured.frames.mass_kg,
        diameter_m=measured.lanes.diameter_m,
        cg_mm=np.where(np.isfinite(cg), cg, geometry.balance.target_cg_mm),
        on_line_kg=[GRAM_KG * sum(each.mass_g for each in power_train_items(geometry, t)[:2]) for t in trains],
        count=trains[0].count,
        density_kg_m3=float(setting.air.density_kg_m3),
        cg_height_mm=places.cg_height_mm,
    )


def _states(
    setting: Setting, measured: TrainMeasures, speeds: Floats
) -> tuple[dict[str, ArrayLike], dict[str, ArrayLike]]:
    """Thrust and throttle of every train in each of `STATES` at each speed, (C, V)."""
    every = np.repeat(np.arange(measured.lanes.size), speeds.size)
    lanes, v, one = measured.lanes.take(every), np.tile(speeds, measured.lanes.size), np.ones(every.size)
    density, sound = setting.air.density_kg_m3 * one, setting.air.speed_of_sound_m_s * one
    full = solve_lanes(lanes, v, one, one, density, sound)
    level = level_lanes(lanes, measured.frames.take(every), v, one, density, sound)
    level_n, throttle, full_n = (
        np.reshape(x, (-1, speeds.size)) for x in (level.thrust_n, level.throttle, full.thrust_n)
    )
    thrusts, throttles = (0.0, level_n, full_n), (0.0, throttle, 1.0)
    return dict(zip(STATES, thrusts, strict=True)), dict(zip(STATES, throttles, strict=True))
