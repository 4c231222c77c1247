"""What the current of a flight hangs on: numbers of aircraft and power train, as sure as they are.

The unknowns u are independent standard normal numbers: those behind the draws of :mod:`propmatch.tolerances`, then the
factor of manoeuvres and gusts, and the pace, the airspeeds really flown over those that the brief names.
"""

import math
from collections.abc import Sequence
from typing import Protocol

import attrs
import numpy as np

from propmatch.aircraft.flight import level_lanes
from propmatch.aircraft.flightlanes import FlightLanes, flight_time_lanes
from propmatch.aircraft.polar import AirframeLanes, airframe_lanes
from propmatch.checks.setting import Setting
from propmatch.models.arrays import Floats
from propmatch.records.fields import replace
from propmatch.records.parts import PowerTrain
from propmatch.records.sections import Phase
from propmatch.status import Status
from propmatch.tolerances.draws import Draws
from propmatch.tolerances.numbers import INPUTS, NAMES
from propmatch.train.coupling import as_lanes
from propmatch.train.lanes import TrainLanes
from propmatch.units import GRAM_KG, MAH_AH

__all__ = ["AT", "PROPULSION", "UNKNOWNS", "Aircraft", "HeldAirspeed", "HeldPhases", "Predicted", "Slope", "World"]

UNKNOWNS = (*NAMES, "flying", "pace")
AT = {name: at for at, name in enumerate(UNKNOWNS)}
PROPULSION = np.array([name not in INPUTS["aircraft"] or name == "radio" for name in UNKNOWNS])
"""Which of them are the power train and how it is flown, rather than what the aircraft needs."""
_STEP, _MIDDLE_CHARGE = 1e-3, 0.6


@attrs.frozen(kw_only=True, eq=False)
class World:
    """Lanes of one aircraft whose numbers differ; ``flying`` and ``pace`` are the same for all of them."""

    lanes: TrainLanes
    frames: AirframeLanes
    density: Floats
    sound: Floats
    flying: float
    pace: float

    def first(self, *, flying: float = 1.0) -> "World":
        """The first lane, flown so many times as wildly."""
        lane = slice(0, 1)
        return World(
            lanes=self.lanes.take(lane), frames=self.frames.take(lane), density=self.density[lane],
            sound=self.sound[lane], flying=self.flying * flying, pace=self.pace,
        )  # fmt: skip

    def fly(self, phases: Sequence[Phase], reserve: float, cutoff: float | None, pace: float) -> FlightLanes:
        """Fly phases whose held airspeeds are ``pace`` times what they say."""
        flown = [
            replace(each, airspeed_m_s=each.airspeed_m_s * pace)
            if each.throttle is None and each.airspeed_m_s is not None
            else each
            for each in phases
        ]
        return flight_time_lanes(
            self.lanes, self.frames, flown, reserve, cutoff, self.density, self.sound, self.flying
        )  # fmt: skip

    def level_a(self, airspeed_m_s: float, climb_m_s: float, charge: float) -> Floats:
        """Pack current (N,) of a held airspeed [A]."""
        one = np.ones(self.lanes.size)
        point = level_lanes(
            self.lanes.sustained(), self.frames, airspeed_m_s * one, charge * one, self.density, self.sound,
            climb_m_s * one,
        )  # fmt: skip
        return np.where(point.status == Status.OK, point.pack_current_a, np.nan) * self.flying


class Predicted(Protocol):
    """Something whose mean current is predicted; ``stated`` says whether its airspeed is, rather than the brief's."""

    @property
    def stated(self) -> bool: ...

    def current_a(self, world: World, faster: float) -> Floats:
        """Mean pack current (N,) [A] with held airspeeds ``faster`` times as high."""


@attrs.frozen(kw_only=True, eq=False)
class HeldPhases:
    """The held airspeeds of phases flown to the brief's own end."""

    phases: tuple[Phase, ...]
    reserve: float
    cutoff: float | None
    stated: bool = False

    def current_a(self, world: World, faster: float) -> Floats:
        found = world.fly(self.phases, self.reserve, self.cutoff, faster)
        held = [at for at, each in enumerate(self.phases) if each.throttle is None]
        minutes, mah = (np.nansum(x[held], axis=0) for x in (found.phase_minutes, found.phase_mah))
        with np.errstate(invalid="ignore", divide="ignore"):
            return np.where(minutes > 0, mah * MAH_AH * 60.0 / minutes, np.nan)


@attrs.frozen(kw_only=True, eq=False)
class HeldAirspeed:
    """A held airspeed at middle charge."""

    airspeed: float
    stated: bool = True

    def current_a(self, world: World, faster: float) -> Floats:
        return world.level_a(self.airspeed * faster, 0.0, _MIDDLE_CHARGE)


@attrs.frozen(kw_only=True, eq=False)
class Slope:
    """ln of a current at u, its slopes with u (K,), and with ln of the reading's own airspeed."""

    value: float
    by: Floats
    by_speed: float


class Aircraft:
    """One aircraft with its power train.

    Attributes
    ----------
    setting : Setting; train : PowerTrain as it flies
    lanes, frames, density, sound : of what is stated, one lane
    style : Style, the usual factor of flying
    sd : standard deviation of ln of the drag, of the pack's capacity, of the factor of flying, and of the pace
    """

    def __init__(self, train: PowerTrain, setting: Setting, airspeed_sd: float) -> None:
        self.setting, self.train = setting, setting.flown(train)
        mass_kg = setting.all_up_mass_kg(self.train.mass_g)
        asked = as_lanes(self.train, setting.air, mass_kg=mass_kg)
        self.lanes, self.density, self.sound = asked.lanes, asked.density, asked.sound
        self.frames = airframe_lanes(setting.variant.airframe, asked["mass_kg"])[0]
        self.style = setting.brief.flying.usual[0]
        stated = self._draws(np.zeros((len(UNKNOWNS), 1))).sd[0]
        self.sd = {name: float(stated[AT[name]]) for name in ("drag", "capacity_mah")}
        self.sd |= {"flying": self.style.sd_ln, "pace": airspeed_sd}

    def _draws(self, u: Floats) -> Draws:
        return Draws.of([self.train], self.setting.brief.uncertainty, u[: len(NAMES)].T)

    def world(self, u: Floats) -> World:
        """Lanes of the unknowns u (K, N); ``flying`` and ``pace`` are those of the first."""
        draws = self._draws(u)
        frames = draws.polar().of(self.frames.take(draws.index))
        more_kg = self.setting.variant.airframe.bare_mass_g * GRAM_KG * (draws.factor("bare_mass") - 1.0)
        flying, pace = (math.exp(self.sd[name] * u[AT[name], 0]) for name in ("flying", "pace"))
        return World(
            lanes=draws.of_lanes(self.lanes),
            frames=attrs.evolve(frames, mass_kg=frames.mass_kg + more_kg),
            density=self.density * draws.factor("air_density"),
            sound=self.sound * np.ones(draws.count),
            flying=self.style.factor * flying,
            pace=pace,
        )

    def around(self, u: Floats) -> World:
        """u itself in the first lane, and then a step down of each of its numbers: a share of thrust ends at 1."""
        return self.world(u[:, None] - np.column_stack([np.zeros(u.size), _STEP * np.eye(u.size)]))

    def slope(self, of: Predicted, world: World) -> Slope:
        """What a current does around u."""
        pace = 1.0 if of.stated else world.pace
        step = math.exp(_STEP)
        with np.errstate(invalid="ignore", divide="ignore"):
            found = np.log(of.current_a(world, pace))
            wilder = np.log(of.current_a(world.first(flying=step), pace))[0]
            faster = np.log(of.current_a(world.first(), pace * step))[0]
        by, speed = (found[0] - found[1:]) / _STEP, (faster - found[0]) / _STEP
        by[AT["flying"]] = self.sd["flying"] * (wilder - found[0]) / _STEP
        by[AT["pace"]] = 0.0 if of.stated else self.sd["pace"] * speed
        by = np.where(np.isfinite(by), by, 0.0)
        return Slope(value=float(found[0]), by=by, by_speed=float(speed) if of.stated else 0.0)

    def steady_a(self, of: Predicted, cd0_factor: float = 1.0) -> float:
        """The current that is predicted for steady flight, with another drag coefficient; NaN where there is none."""
        stated = World(
            lanes=self.lanes, frames=attrs.evolve(self.frames, cd0=self.frames.cd0 * cd0_factor), density=self.density,
            sound=self.sound, flying=1.0, pace=1.0,
        )  # fmt: skip
        return float(of.current_a(stated, 1.0)[0])
