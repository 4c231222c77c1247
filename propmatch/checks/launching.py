"""The launch of N power trains, and how it reads: full throttle at half charge, in still air or a head wind."""

from collections.abc import Callable
from typing import TypeVar

import attrs
import numpy as np

from propmatch.aircraft.launch import FLYING_OVER_STALL, Throw, Thrust, takeoff_run_m, thrown
from propmatch.aircraft.polar import AirframeLanes
from propmatch.aircraft.thrustline import speed_m_s
from propmatch.checks.setting import Setting
from propmatch.checks.states import TrainStates
from propmatch.checks.working import GIVEN, Lane, Symbol
from propmatch.columns import number
from propmatch.models.arrays import Floats
from propmatch.records.launch import Launch
from propmatch.train.coupling import full_throttle_thrust
from propmatch.units import GRAVITY_M_S2

__all__ = [
    "RUN_SYMBOLS",
    "THROW_SYMBOLS",
    "LaunchFlown",
    "height_limit_m",
    "launch_flown",
    "launch_of",
    "launched",
    "run_m",
    "stated_height_m",
    "throw_lost_m",
]

_CHARGE = 0.5
_CHUNK = 2048
T = TypeVar("T")


def launch_of(setting: Setting, kind: str) -> Launch | None:
    """The completed launch of a brief where it is of this kind."""
    launch = setting.launch
    return launch if launch is not None and launch.kind == kind else None


def stated_height_m(setting: Setting) -> float | None:
    """What the brief itself lets a throw lose [m]: its limit, or the height of the hand."""
    launch = setting.stated.launch
    if launch is None or launch.max_height_lost_m is not None:
        return None if launch is None else launch.max_height_lost_m
    return launch.height_m


def height_limit_m(m: TrainStates) -> float | None:
    """The same, with the usual height of the hand where the brief says nothing."""
    launch = launch_of(m.setting, "hand")
    if launch is None or launch.max_height_lost_m is not None:
        return None if launch is None else launch.max_height_lost_m
    return launch.height_m


def _in_chunks(m: TrainStates, make: Callable[[AirframeLanes, Floats, Thrust], T]) -> list[T]:
    n = m.lanes.size
    density = np.broadcast_to(m.setting.air.density_kg_m3, (n,))
    parts = [slice(at, at + _CHUNK) for at in range(0, max(n, 1), _CHUNK)]

    def one(part: slice) -> T:
        lanes = m.lanes.take(part)
        thrust = full_throttle_thrust(lanes, np.full(lanes.size, _CHARGE), density[part])
        return make(m.frames.take(part), density[part], thrust)

    return [one(part) for part in parts]


def run_m(m: TrainStates) -> Floats:
    """Take-off run of each lane [m]; NaN where the brief has no runway."""
    launch = launch_of(m.setting, "runway")
    if launch is None:
        return np.full(m.lanes.size, np.nan)
    friction = launch.rolling_friction

    def make() -> Floats:
        return np.concatenate(_in_chunks(m, lambda frames, air, pull: takeoff_run_m(frames, air, pull, friction)))

    return m.once("take-off run", make)


def _throw(m: TrainStates, launch: Launch) -> Throw:
    def make() -> Throw:
        parts = _in_chunks(m, lambda frames, air, pull: thrown(frames, air, pull, launch.throw_speed_m_s))
        return Throw(
            height_lost_m=np.concatenate([part.height_lost_m for part in parts]),
            airspeed_m_s=np.concatenate([part.airspeed_m_s for part in parts]),
        )

    return m.once("throw", make)


def throw_lost_m(m: TrainStates) -> Floats:
    """Height that each lane loses after the throw before it climbs [m]; NaN where the brief has none."""
    launch = launch_of(m.setting, "hand")
    return np.full(m.lanes.size, np.nan) if launch is None else _throw(m, launch).height_lost_m


@attrs.frozen(kw_only=True, eq=False)
class LaunchFlown:
    """The launch of one design; NaN what its kind has not.

    Attributes
    ----------
    launch : Launch, completed
    stall_speed_m_s, throw_speed_m_s, height_lost_m, takeoff_run_m : float
    """

    launch: Launch
    stall_speed_m_s: float = number(kind="speed", label="stall speed", drawn=lambda m: m.stall_m_s)
    throw_speed_m_s: float = number(kind="speed", label="speed of the throw")
    height_lost_m: float = number(
        kind="m", label="height lost after the throw, until it climbs", drawn=lambda m: throw_lost_m(m)
    )
    takeoff_run_m: float = number(kind="m", label="take-off run", drawn=lambda m: run_m(m))

    def sentence(self, show: Callable[[float], str] = speed_m_s) -> str:
        """The launch in a sentence; ``show`` writes a speed [m/s]."""
        words = self.words(show)
        return f"{words[0].upper()}{words[1:]}."

    def words(self, show: Callable[[float], str] = speed_m_s) -> str:
        """The same without capital and stop."""
        stall, launch = self.stall_speed_m_s, self.launch
        if launch.kind == "runway":
            speed = f"{FLYING_OVER_STALL:g} times the stall, {show(FLYING_OVER_STALL * stall)}"
            friction = f"at a rolling friction of {launch.rolling_friction:g}"
            if np.isnan(self.takeoff_run_m):
                return f"{friction} full throttle does not bring it to {speed}"
            return f"{friction} it rolls {self.takeoff_run_m:.1f} m to {speed}"
        throw, lost = self.throw_speed_m_s, self.height_lost_m
        side = "below" if throw < stall else "above"
        start = f"thrown at {show(throw)}, {show(abs(throw - stall))} {side} the stall"
        if np.isnan(lost):
            return f"{start}: full throttle does not carry it on"
        if lost == 0:
            return f"{start}: climbs at once"
        ground = f" and is on the ground, {launch.height_m:g} m below the hand"
        return f"{start}: loses {lost:.1f} m before it climbs{ground if lost > (launch.height_m or np.inf) else ''}"


def launch_flown(m: TrainStates, index: int = 0) -> LaunchFlown | None:
    """The launch of one lane; None where the brief has none."""
    lane, launch = Lane(m, index), m.setting.launch
    if launch is None:
        return None
    return LaunchFlown(
        launch=launch, stall_speed_m_s=lane.of(m.stall_m_s), throw_speed_m_s=_thrown_at(lane),
        height_lost_m=lane.of(throw_lost_m(m)), takeoff_run_m=lane.of(run_m(m)),
    )  # fmt: skip


def launched(kind: str) -> Callable[[Lane, float], str]:
    """The note of a check: the launch in words, where it is of this kind."""

    def note(lane: Lane, _: float) -> str:
        flown = launch_flown(lane.states, lane.index) if launch_of(lane.states.setting, kind) else None
        return "" if flown is None else flown.words()

    return note


# ---------------------------------------------------------------- arithmetic


def _thrown_at(lane: Lane) -> float:
    launch = launch_of(lane.states.setting, "hand")
    return np.nan if launch is None or launch.throw_speed_m_s is None else launch.throw_speed_m_s


def _level_at(lane: Lane) -> float:
    launch = launch_of(lane.states.setting, "hand")
    return np.nan if launch is None else lane.of(_throw(lane.states, launch).airspeed_m_s)


def _work_j(lane: Lane) -> float:
    gained = (_level_at(lane) ** 2 - _thrown_at(lane) ** 2) / (2.0 * GRAVITY_M_S2)
    return (gained - lane.of(throw_lost_m(lane.states))) * lane.of(lane.states.frames.weight_n)


def _leaves_at(lane: Lane) -> float:
    return FLYING_OVER_STALL * lane.of(lane.states.stall_m_s)


_PATH = "path at cl_max with the thrust at each airspeed"
THROW_SYMBOLS = {
    "V_0": Symbol("airspeed of the throw", "m/s", _thrown_at, GIVEN),
    "V_1": Symbol("airspeed where its path is level again", "m/s", _level_at, _PATH),
    "E": Symbol("work of thrust less drag on the way", "J", _work_j, _PATH),
}
RUN_SYMBOLS = {
    "V_1": Symbol("airspeed at the end of the run", "m/s", _leaves_at, f"{FLYING_OVER_STALL:g} times the stall speed"),
    "a_m": Symbol(
        "mean acceleration over the run", "m/s2",
        lambda lane: _leaves_at(lane) ** 2 / (2.0 * lane.of(run_m(lane.states))),
        "thrust at each airspeed less drag and rolling friction",
    ),
}  # fmt: skip
