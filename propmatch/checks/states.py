"""The states in which power trains are judged: full throttle at rest and in flight, the climb, the flight itself.

Each state of N trains is computed when the first check asks for it, and kept for the others.
"""

from collections.abc import Callable, Hashable
from typing import Any, TypeVar, cast

import attrs
import numpy as np

from propmatch.aircraft.balance import PackPlaces
from propmatch.aircraft.flight import FULL_THROTTLE, FullThrottle, full_throttle_lanes, level_lanes
from propmatch.aircraft.flightlanes import FlightLanes, flight_time_lanes
from propmatch.aircraft.polar import stall_speed_m_s
from propmatch.checks.ratings import RatingLanes
from propmatch.checks.setting import Setting, balance_miss_mm, packs_placed
from propmatch.models.arrays import Floats, Pick
from propmatch.records.sections import Phase
from propmatch.train.coupling import OperatingPoint, solve_lanes
from propmatch.train.lanes import TrainLanes

__all__ = ["Flown", "State", "StatePoint", "TrainStates"]

T = TypeVar("T")
Field = Callable[[OperatingPoint], Floats]


@attrs.frozen(kw_only=True)
class State:
    """The state that a check is taken at.

    Attributes
    ----------
    words : str
    charge : float or None
        State of charge of the pack at full throttle; None for what is no full throttle.
    rest, flight : bool
        Whether full throttle at rest, and at the airspeeds of the powered phases, counts; of both the worst.
    airspeed : callable, optional
        Full throttle at this airspeed (N,) [m/s].
    held : bool
        Whether the held airspeeds at reserve charge count.
    """

    words: str
    charge: float | None = None
    rest: bool = False
    flight: bool = False
    airspeed: "Callable[[TrainStates], Floats] | None" = None
    held: bool = False


@attrs.frozen(kw_only=True, eq=False)
class Flown:
    """One airspeed of the brief's phases: (N,) speeds, and whether it is held with the motor on."""

    name: str
    airspeed: Floats
    phase: Phase


@attrs.frozen(kw_only=True, eq=False)
class StatePoint:
    """Operating points of N lanes with their airspeed [m/s], and the state in words."""

    words: str
    airspeed: Floats
    point: OperatingPoint


class TrainStates:
    """States of N power trains in one setting, each computed when it is asked for.

    Parameters
    ----------
    setting : Setting
    lanes : TrainLanes; ratings : RatingLanes, the same N trains
    """

    def __init__(self, setting: Setting, lanes: TrainLanes, ratings: RatingLanes) -> None:
        self.setting, self.lanes, self.ratings = setting, lanes, ratings
        self.frames = setting.airframes(ratings.mass_g)
        n = lanes.size
        self._density = np.full(n, setting.air.density_kg_m3)
        self._sound = np.full(n, setting.air.speed_of_sound_m_s)
        self._kept: dict[Hashable, object] = {}

    def once(self, key: Hashable, make: Callable[[], T]) -> T:
        """What ``make`` gives, made at most once."""
        if key not in self._kept:
            self._kept[key] = make()
        return cast(T, self._kept[key])

    def hand_over(self, some: "TrainStates", index: Pick) -> None:
        """Give the states of some lanes what is known of them already."""
        some.frames = self.frames.take(index)
        some._kept = {key: _lanes_of(value, index) for key, value in self._kept.items()}

    def full(self, charge: float, airspeed: Floats | None = None, key: Hashable = "static") -> OperatingPoint:
        """Full throttle at a charge, at rest or at an airspeed kept under ``key``."""
        n = self.lanes.size
        speed = np.zeros(n) if airspeed is None else airspeed
        return self.once(
            ("full", charge, key),
            lambda: solve_lanes(
                self.lanes, speed, self.lanes.throttle_limit, np.full(n, charge), self._density, self._sound
            ),
        )

    @property
    def pack_power_per_mass_w_kg(self) -> Floats:
        """P/m, power from the pack at full throttle at rest on a full pack over all-up mass [W/kg], each lane."""
        power: Floats = self.full(1.0).pack_power_w / self.frames.mass_kg
        return power

    @property
    def cubic_loading_kg_m3(self) -> Floats:
        """m / S^1.5, all-up mass over wing area to the power 1.5 [kg/m3], each lane.

        Wing loading m/S grows with size where shape and density stay (square-cube law); this number does not.
        """
        area_m2: Floats = np.asarray(self.frames.area_m2)
        return self.frames.mass_kg / area_m2**1.5

    @property
    def stall_m_s(self) -> Floats:
        """Stall speed of each lane."""
        return self.once("stall", lambda: np.asarray(stall_speed_m_s(self.frames, self._density)))

    @property
    def flown(self) -> tuple[Flown, ...]:
        """Airspeeds of the powered phases; a throttle phase that names none flies at 1.3 stall."""
        return tuple(
            Flown(name=phase.name, airspeed=self.setting.airspeed_m_s(phase, self.frames), phase=phase)
            for phase in self.setting.phases
            if phase.throttle != 0
        )

    def points(self, state: State) -> list[StatePoint]:
        """The operating points of a state, rest first; none for what is no operating point."""
        out = list(self.held) if state.held else []
        if state.charge is None:
            return out
        if state.rest:
            at_rest = np.zeros(self.lanes.size)
            out.append(StatePoint(words="at rest", airspeed=at_rest, point=self.full(state.charge)))
        for flown in self.flown if state.flight else ():
            own = flown.phase.airspeed_m_s
            point = self.full(state.charge, flown.airspeed, "1.3 stall" if own is None else own)
            out.append(StatePoint(words=f"at the airspeed of '{flown.name}'", airspeed=flown.airspeed, point=point))
        if state.airspeed is not None:
            speed = np.asarray(state.airspeed(self))
            out.append(StatePoint(words=state.words, airspeed=speed, point=self.full(state.charge, speed, state)))
        return out

    def worst(self, state: State, field: Field) -> Floats:
        """Largest value of a field in a state (N,); NaN where full throttle at rest has no answer."""
        values = [field(each.point) for each in self.points(state)]
        if not values:
            return np.full(self.lanes.size, np.nan)
        # a NaN in flight alone (no steady speed there) does not hide the value at rest; a NaN at rest does
        worst = np.fmax.reduce(values)
        return np.where(np.isnan(values[0]), np.nan, worst) if state.rest else np.asarray(worst)

    def worst_point(self, state: State, field: Field, lane: int) -> StatePoint | None:
        """Where :meth:`worst` of a lane is; None without any point."""
        return max(self.points(state), key=lambda p: np.nan_to_num(field(p.point)[lane], nan=-np.inf), default=None)

    @property
    def flight(self) -> FlightLanes:
        """Flight time of each lane."""
        return self.once("flight", self.flight_at)

    def flight_at(self, held_factor: Floats | float = 1.0) -> FlightLanes:
        """The same with so many times the pack current at held airspeeds, of all lanes or (N,); not kept."""
        here = self.setting
        return flight_time_lanes(
            self.lanes, self.frames, here.phases, here.reserve_charge, here.cutoff_cell_v, self._density, self._sound,
            held_factor,
        )  # fmt: skip

    @property
    def top(self) -> FullThrottle:
        """Top speed and climb at half charge."""
        return self.top_at(0.5)

    def top_at(self, charge: float, *wanted: str) -> FullThrottle:
        """Top speed and climb at a charge, or only what is wanted of them."""
        everywhere, every = np.full(self.lanes.size, charge), ("top", charge)
        return self.once(
            (*every, *wanted) if wanted and every not in self._kept else every,
            lambda: full_throttle_lanes(
                self.lanes, self.frames, everywhere, self._density, self._sound, wanted or FULL_THROTTLE
            ),
        )

    @property
    def top_speed_m_s(self) -> Floats:
        """Top level speed of each lane at half charge."""
        return np.asarray(self.top_at(0.5, "top_speed_m_s").top_speed_m_s)

    @property
    def climb(self) -> FullThrottle:
        """The best climb of each lane at half charge, and nothing else."""
        return self.top_at(0.5, "climb_m_s")

    @property
    def held(self) -> tuple[StatePoint, ...]:
        """Level flight, or the climb asked for, at each held airspeed, pack at the reserve."""

        def make() -> tuple[StatePoint, ...]:
            charge = np.full(self.lanes.size, self.setting.reserve_charge)
            return tuple(
                StatePoint(
                    words=f"holding the airspeed of '{f.name}' at reserve charge",
                    airspeed=f.airspeed,
                    point=level_lanes(
                        self.lanes, self.frames, f.airspeed, charge, self._density, self._sound,
                        f.phase.climb_m_s, f.phase.load_factor,
                    ),
                )
                for f in self.flown
                if f.phase.throttle is None
            )  # fmt: skip

        return self.once("held", make)

    @property
    def packs(self) -> PackPlaces | None:
        """Each pack at its best place; None without a balance in the brief."""
        return packs_placed(self.setting, **self._masses_g)

    @property
    def balance(self) -> tuple[Floats, Floats]:
        """How far the centre of gravity stays from its target then, and the tolerance."""
        return self.once("balance", lambda: balance_miss_mm(self.setting, **self._masses_g))

    @property
    def _masses_g(self) -> dict[str, Floats]:
        names = ("motors_g", "propellers_g", "controllers_g", "supply_g", "pack_g")
        return {name: getattr(self.ratings, name) for name in names}


def _lanes_of(value: Any, index: Pick) -> Any:
    """Some lanes of an array, lanes last, or of a tuple or record of arrays."""
    if isinstance(value, np.ndarray):
        return value[..., index]
    if isinstance(value, tuple):
        return tuple(_lanes_of(each, index) for each in value)
    if not attrs.has(type(value)):
        return value
    fields = {a.name: getattr(value, a.name) for a in attrs.fields(type(value))}
    return attrs.evolve(value, **{name: _lanes_of(x, index) for name, x in fields.items()})
