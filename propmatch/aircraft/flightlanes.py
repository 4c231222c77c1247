"""Flight time over lanes: phases flown until the reserve, the cell cutoff, or until thrust no longer suffices.

Phases with a time or a height to reach run first where they stand before the shares. Shares are normalised fractions of
the time flown as a fine mixture: t = integral of 3600 Q dq/sum share_i I_i(q). Phases after the shares are reserved
backwards, so that the last of them ends at the reserve. Without shares the list repeats. The flight ends when any phase
being flown meets the reserve, the cutoff or lost thrust, or no longer reaches the height it is flown for.

Height is booked from the field, and never falls below it: a timed phase that loses height is cut short where it is used
up. Shares that together lose height pay for it: those that hold an airspeed, level or climbing, climb by so much more
that the mixture keeps its height at any charge; without such a share less is flown of what loses height; where nothing
gains any, the mixture ends on the ground.

Cost of one lane (``discharge``): one operating point for each phase that holds an airspeed, five for each
that holds a throttle, and closed-form currents at two nodes in each segment of the voltage curve (18 for ``lipo`` from
full to 0.2), again for the mixture.

Source: none needed, charge and height booked phase by phase.
"""

from collections.abc import Callable, Sequence
from typing import Any

import attrs
import numpy as np
from numpy.typing import NDArray

from propmatch.aircraft.discharge import (
    CUT_OFF,
    GROUND,
    LOST_CLIMB,
    LOST_THRUST,
    RESERVE,
    Clock,
    Load,
    Running,
    charge_edges,
    clipped_edges,
    clock,
    gauss_nodes,
    load_of,
    lowest_charge,
    slowness,
)
from propmatch.aircraft.polar import AirframeLanes
from propmatch.models.arrays import Flags, Floats
from propmatch.records.sections import Phase
from propmatch.status import Status
from propmatch.train.lanes import TrainLanes
from propmatch.units import MAH_AH

__all__ = [
    "ENDED_BY",
    "MIXTURE",
    "FlightLanes",
    "Leg",
    "checked_limits",
    "flight_and_legs",
    "flight_time_lanes",
    "paying_climb_m_s",
    "pays",
]

ENDED_BY = {
    RESERVE: "reserve", CUT_OFF: "cutoff", LOST_THRUST: "lost thrust", LOST_CLIMB: "lost climb", GROUND: "ground",
}  # fmt: skip
MIXTURE = -1
"""Stands for all shares together where a phase index is expected."""
_CHUNK = 2048
_TINY_CYCLE = 0.02
"""Share of the charge below which one round of a repeated list is flown as a mixture."""
_LEVEL_M = 1e-6
"""Height [m], and rate of climb [m/s], that count as none."""
_BISECTIONS = 50
_HEIGHT_ROUNDS = 4


@attrs.frozen(kw_only=True, eq=False)
class FlightLanes:
    """Flight time of N lanes; arrays (N,), those of the phases (P, N). NaN where there is no answer.

    Attributes
    ----------
    minutes : from full to the end
    ended_by : as in ``ENDED_BY``; 0 where there is no answer
    ended_in : index of the phase that met the end; ``MIXTURE`` where the shares reached the reserve together
    charge : left at the end; used_mah : drawn from the pack; average_current_a : mean pack current
    status : OK, or why there is no answer
    phase_minutes, phase_mah, phase_current_a : time, charge and mean pack current of each phase; no time, NaN current
    phase_motor_current_a : mean current of one motor in each phase; no time, NaN
    airspeed_m_s : of each phase
    throttle_from, throttle_to : of each phase at its first and last moment; NaN where it is not flown
    cell_voltage_v, motor_current_a : lowest and highest of each phase
    height_m, greatest_height_m : above the field at the end, and the greatest
    paying_climb_m_s : by which level shares climb for the height that others lose
    rounds : how often a list without shares was begun; NaN with shares
    phase_height_m : gained in each phase
    phase_cut : of each phase, whether it was flown for less than its time or share because its height was used up
    """

    minutes: Floats
    ended_by: NDArray[np.int8]
    ended_in: NDArray[np.int8]
    charge: Floats
    used_mah: Floats
    average_current_a: Floats
    status: NDArray[np.int8]
    phase_minutes: Floats
    phase_mah: Floats
    phase_current_a: Floats
    phase_motor_current_a: Floats
    airspeed_m_s: Floats
    throttle_from: Floats
    throttle_to: Floats
    cell_voltage_v: Floats
    motor_current_a: Floats
    height_m: Floats
    greatest_height_m: Floats
    paying_climb_m_s: Floats
    rounds: Floats
    phase_height_m: Floats
    phase_cut: Flags


@attrs.frozen(kw_only=True, eq=False)
class Leg:
    """A stretch of one flight: a phase, or several flown as a fine mixture.

    Attributes
    ----------
    phases : indices of the phases; loads : of each; weights : shares of the time
    minutes, charge, height_m : at the beginning and at the end
    """

    phases: tuple[int, ...]
    loads: tuple[Load, ...]
    weights: tuple[float, ...]
    minutes: tuple[float, float]
    charge: tuple[float, float]
    height_m: tuple[float, float]


def flight_time_lanes(
    lanes: TrainLanes,
    airframe: AirframeLanes,
    phases: Sequence[Phase],
    reserve: float,
    cutoff: float | None,
    density: Floats,
    sound: Floats,
    held_factor: Floats | float = 1.0,
) -> FlightLanes:
    """The array path of :func:`propmatch.aircraft.endurance.flight_time`.

    ``lanes``, ``airframe``, ``density`` [kg/m3] and ``sound`` [m/s] are (N,), the rest is the same for all lanes;
    no ``cutoff`` means the usual one of each chemistry; ``held_factor`` multiplies the pack current of held airspeeds,
    of all lanes or (N,).
    """
    return _flown(_Plan.of(phases, reserve, cutoff, held_factor), lanes, airframe, density, sound)


def flight_and_legs(
    lanes: TrainLanes,
    airframe: AirframeLanes,
    phases: Sequence[Phase],
    reserve: float,
    cutoff: float | None,
    density: Floats,
    sound: Floats,
    held_factor: float = 1.0,
) -> tuple[FlightLanes, tuple[Leg, ...]]:
    """The same for one lane, and the flight as it passes."""
    legs: list[Leg] = []
    plan = attrs.evolve(_Plan.of(phases, reserve, cutoff, held_factor), legs=legs)
    return _flown(plan, lanes, airframe, density, sound), tuple(legs)


def _flown(
    plan: "_Plan", lanes: TrainLanes, airframe: AirframeLanes, density: Floats, sound: Floats
) -> FlightLanes:  # fmt: skip
    n, count = lanes.size, len(plan.phases)
    out: dict[str, Any] = {}
    for index, chemistry in enumerate(lanes.chemistries):
        mine = np.flatnonzero(lanes.chemistry == index)
        for start in range(0, mine.size, _CHUNK):
            some = mine[start : start + _CHUNK]
            train = attrs.evolve(
                lanes.take(some), chemistry=np.zeros(some.size, dtype=np.intp), chemistries=(chemistry,)
            )  # fmt: skip
            factor = plan.held_factor[some] if isinstance(plan.held_factor, np.ndarray) else plan.held_factor
            part = attrs.evolve(plan, held_factor=factor)
            for name, value in _fly(train, airframe.take(some), part, density[some], sound[some]).items():
                if name not in out:
                    out[name] = np.empty((count, n) if value.ndim == 2 else n, dtype=value.dtype)
                out[name][..., some] = value
    return FlightLanes(**out)


def checked_limits(reserve_charge: float, cutoff_cell_v: float | None) -> None:
    """Raise ValueError for a reserve outside 0 to below 1 or a cutoff that is no cell voltage."""
    if not 0.0 <= reserve_charge < 1.0:
        raise ValueError(f"reserve_charge must lie in 0 to below 1, got {reserve_charge!r}")
    if cutoff_cell_v is not None and not 0.0 <= cutoff_cell_v < 10.0:
        raise ValueError(f"cutoff_cell_v must be a cell voltage of 0 to 10 V, got {cutoff_cell_v!r}")


@attrs.frozen(kw_only=True)
class _Plan:
    """Indices of the phases in the order of flight."""

    phases: tuple[Phase, ...]
    before: tuple[int, ...]
    shares: tuple[int, ...]
    after: tuple[int, ...]
    reserve: float
    cutoff: float | None
    held_factor: Floats | float = 1.0
    legs: list[Leg] | None = None

    @classmethod
    def of(cls, phases: Sequence[Phase], reserve: float, cutoff: float | None, held_factor: Floats | float) -> "_Plan":
        listed = tuple(phases)
        if not listed or not all(isinstance(p, Phase) for p in listed):
            raise TypeError("phases must be a sequence of at least one Phase")
        checked_limits(reserve, cutoff)
        shares = [i for i, p in enumerate(listed) if p.share is not None]
        first, last = (shares[0], shares[-1]) if shares else (len(listed), len(listed))
        between = [p.name for p in listed[first:last] if p.share is None]
        if between:
            raise ValueError(f"timed phase between shares: {', '.join(between)}; put it before or after all of them")
        return cls(
            phases=listed,
            before=tuple(range(first)),
            shares=tuple(shares),
            after=tuple(range(last + 1, len(listed))),
            reserve=reserve,
            cutoff=cutoff,
            held_factor=held_factor,
        )

    @property
    def payers(self) -> tuple[int, ...]:
        """Shares that climb for the height that other shares lose."""
        return tuple(i for i in self.shares if pays(self.phases[i]))


def pays(phase: Phase) -> bool:
    """Whether a share climbs for the height that other shares lose: one that holds an airspeed and does not descend."""
    return phase.throttle is None and phase.climb_m_s >= 0


def paying_climb_m_s(phases: Sequence[Phase], climbs: Sequence[Floats]) -> Floats:
    """By how much those of some shares that pay must climb, for the climbs (N,) of each at the weakest moment."""
    net = sum(float(p.share or 0.0) * climb for p, climb in zip(phases, climbs, strict=True))
    paying = sum(float(p.share or 0.0) for p in phases if pays(p))
    return np.asarray(np.maximum(-np.asarray(net), 0.0) / paying)


def _loads(
    train: TrainLanes, airframe: AirframeLanes, plan: _Plan, density: Floats, sound: Floats
) -> tuple[list[Load], Floats]:
    """What each phase takes, and the climb by which the shares that pay do so."""
    loads = [load_of(p, train, airframe, plan.reserve, density, sound, 0.0, plan.held_factor) for p in plan.phases]
    paying = np.zeros(train.size)
    if plan.payers and len(plan.payers) < len(plan.shares):
        last = np.full(train.size, plan.reserve)
        climbs = [loads[i].at(last).climb_m_s for i in plan.shares]
        paying = np.nan_to_num(paying_climb_m_s([plan.phases[i] for i in plan.shares], climbs))
    if paying.any():
        for i in plan.payers:
            loads[i] = load_of(plan.phases[i], train, airframe, plan.reserve, density, sound, paying, plan.held_factor)
    return loads, paying


def _fly(
    train: TrainLanes, airframe: AirframeLanes, plan: _Plan, density: Floats, sound: Floats
) -> dict[str, Any]:  # fmt: skip
    loads, paying = _loads(train, airframe, plan, density, sound)
    if plan.shares:
        return _Flight(plan, loads).run() | {"paying_climb_m_s": paying}
    # without shares: the list repeats; where one round takes next to nothing of the charge, it is flown as a mixture
    seconds = _round_seconds(plan, [load.at(np.ones(train.size)).climb_m_s for load in loads], np.zeros(train.size))
    drawn = sum(s * load.at(np.ones(train.size)).pack_current_a for s, load in zip(seconds, loads, strict=True))
    tiny = drawn < _TINY_CYCLE * 3600.0 * train.capacity_ah
    out: dict[str, Any] = {"paying_climb_m_s": paying}
    for lanes, mixed in ((np.flatnonzero(tiny), True), (np.flatnonzero(~tiny), False)):
        if lanes.size:
            flight = _Flight(plan, [load.take(lanes) for load in loads])
            for name, value in flight.run(mixed=mixed).items():
                if name not in out:
                    out[name] = np.empty((*value.shape[:-1], train.size), dtype=value.dtype)
                out[name][..., lanes] = value
    return out


def _round_seconds(plan: _Plan, climbs: Sequence[Floats], height_m: Floats) -> list[Floats]:
    """How long each phase of a repeated list takes in its second round (..., N) each, at rates of climb that stay."""
    seconds: list[Floats] = []
    for _ in range(2):
        seconds = []
        for phase, climb in zip(plan.phases, climbs, strict=True):
            seconds.append(_seconds_of(phase, climb, height_m))
            height_m = np.maximum(height_m + seconds[-1] * climb, 0.0)
    return seconds


def _seconds_of(phase: Phase, climb_m_s: Floats, height_m: Floats) -> Floats:
    """How long a phase takes from a height at a rate of climb (..., N): to its own, or until none is left."""
    if phase.to_height_m is not None:
        return _seconds_between(height_m, phase.to_height_m, climb_m_s)
    lasts = _seconds_between(height_m, 0.0, climb_m_s, never=np.inf)
    return np.minimum(phase.seconds or 0.0, np.where(climb_m_s < -_LEVEL_M, lasts, np.inf))


def _seconds_between(height_m: Floats, to_m: float, climb_m_s: Floats, *, never: float = 0.0) -> Floats:
    """Time from a height to another at a rate of climb (..., N); ``never`` where it is level, 0 where it leads away."""
    with np.errstate(all="ignore"):
        seconds = (to_m - height_m) / climb_m_s
    return np.maximum(np.nan_to_num(seconds, nan=0.0, posinf=never, neginf=0.0), 0.0)


def _lowest_that(holds: Callable[[Floats], Flags], high: Floats, low: Floats) -> Floats:
    """The lowest charge (N,) between two for which something holds that holds at the high one, by halving."""
    for _ in range(_BISECTIONS if bool(np.any(low < high)) else 0):
        middle = 0.5 * (high + low)
        good = holds(middle)
        high, low = np.where(good, middle, high), np.where(good, low, middle)
    return high


def _grounded(its: Clock, begun: Floats, charge: Floats, height_m: Floats) -> Floats:
    """Charge (N,) at which a phase begun at a charge, which falls below the field by another, has used its height."""
    if its.climb_m_s is not None:
        seconds = np.where(its.climb_m_s < 0, height_m / -its.climb_m_s, 0.0)
        return np.minimum(its.time.charge_at(its.time.to(begun) + seconds), begun)
    falls = its.gained_m(begun, begun - 1e-3 * (begun - charge)) < 0
    low = np.where(falls & (height_m <= 0), begun, charge)  # it never leaves the field
    return _lowest_that(lambda charge: height_m + its.gained_m(begun, charge) >= 0, begun, low)


class _Flight:
    """Some lanes of one chemistry on their way from full to the end."""

    def __init__(self, plan: _Plan, loads: list[Load]) -> None:
        self.plan, self.loads = plan, loads
        train = loads[0].train
        n, count = train.size, len(loads)
        self.capacity_ah = train.capacity_ah
        self.edges = charge_edges(train.chemistries[0], plan.reserve)
        status = np.array([load.status for load in loads])
        status[status == Status.OFF] = Status.OK
        self.status = np.max(status, axis=0)
        cutoff = train.chemistries[0].flown_to_v(plan.cutoff)
        limits = [
            lowest_charge(load, plan.reserve, cutoff, climbs=phase.to_height_m is not None)
            for load, phase in zip(loads, plan.phases, strict=True)
        ]
        self.lowest = np.array([lowest for lowest, _ in limits])
        self.cause = np.array([cause for _, cause in limits])
        self.charge = np.ones(n)
        self.height, self.highest, self.rounds = np.zeros(n), np.zeros(n), np.full(n, np.nan)
        self.ended_by = np.zeros(n, dtype=np.int8)
        self.ended_in = np.zeros(n, dtype=np.int8)
        self.seconds, self.used, self.gained = (np.zeros((count, n)) for _ in range(3))
        self.cut = np.zeros((count, n), dtype=bool)
        self.start, self.stop = np.full((count, n), np.nan), np.full((count, n), np.nan)

    def run(self, *, mixed: bool = False) -> dict[str, Any]:
        with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
            if self.plan.shares:
                self._before_mixture_after()
            else:
                self._repeated(mixed)
            return self._result()

    def _repeated(self, mixed: bool) -> None:
        """The list again and again; ``mixed``: after a first round as a mixture of what a round then takes."""
        plan, clocks = self.plan, [self._clock(i) for i in self.plan.before]
        answered = self.status == Status.OK
        self.rounds = np.zeros(self.charge.size)
        while bool(np.any((self.ended_by == 0) & answered)):
            flying, before = self.ended_by == 0, np.sum(self.seconds, axis=0)
            self.rounds = self.rounds + flying
            for i, its in zip(plan.before, clocks, strict=True):
                self._timed(i, its)
            self._end((self.ended_by == 0) & (np.sum(self.seconds, axis=0) <= before), GROUND, plan.before[-1])
            if mixed:
                break
        if mixed:
            edges = clipped_edges(self.edges, np.max(self.lowest, axis=0))
            climbs = [load.at(gauss_nodes(edges)).climb_m_s for load in self.loads]
            self._mixture(plan.before, _round_seconds(plan, climbs, self.height), [])

    def _before_mixture_after(self) -> None:
        plan = self.plan
        for i in plan.before:
            self._timed(i, self._clock(i))
        after = [(i, self._clock(i)) for i in plan.after]
        weights = [np.array(plan.phases[i].share, dtype=np.float64) for i in plan.shares]
        last = self._mixture(plan.shares, weights, after)
        for i, its in after:
            self._timed(i, its)
        cause = np.take_along_axis(self.cause, last[None, :], axis=0)[0]
        self._end(self.ended_by == 0, cause, last)

    def _floor(self, after: list[tuple[int, Clock]], height: Floats) -> tuple[Floats, Any]:
        """The charge (N,) that the phases after the shares need, and the phase or mixture that meets the end.

        They begin at a height (N,); height is gained and lost at the rates of climb at the reserve.
        """
        plan = self.plan
        wanted = []
        for i, _ in after:
            climb = self.loads[i].at(np.full(height.size, plan.reserve)).climb_m_s
            wanted.append(_seconds_of(plan.phases[i], climb, height))
            height = np.maximum(height + climb * wanted[-1], 0.0)
        floor = np.full(height.size, plan.reserve)
        last = np.full(height.size, plan.after[-1] if plan.after else MIXTURE)
        for (i, its), seconds in zip(reversed(after), reversed(wanted), strict=True):
            last = np.where(self.lowest[i] > floor, i, last)  # this phase decides where the flight must end
            floor = np.maximum(floor, self.lowest[i])
            floor = its.time.charge_at(its.time.to(floor) - seconds)
        return floor, last

    def _clock(self, index: int) -> Clock:
        return clock(self.loads[index], self.edges, self.lowest[index])

    def _timed(self, index: int, its: Clock) -> None:
        """Fly a phase for its time or to its height, or as much of it as charge and height allow."""
        flying, phase, time = self.ended_by == 0, self.plan.phases[index], its.time
        begin = time.to(self.charge)
        if phase.to_height_m is None:
            wanted = np.full(self.charge.size, phase.seconds or 0.0)
        else:
            wanted = self._seconds_to(its, phase)
        lost = np.isinf(wanted) & (its.way < 0)  # a climb that sinks even with a full pack
        wanted = np.where(lost, 0.0, wanted)
        end = begin + wanted
        short = end > time.end * (1.0 + 1e-9)
        end = np.minimum(end, time.end)
        charge = np.minimum(time.charge_at(end), self.charge)
        gained = its.gained_m(self.charge, charge)
        under = flying & (self.height + gained < -_LEVEL_M)
        if under.any():
            lanes = np.flatnonzero(under)
            charge[lanes] = _grounded(its.take(lanes), self.charge[lanes], charge[lanes], self.height[lanes])
            end = np.where(under, time.to(charge), end)
            gained = np.where(under, -self.height, gained)
            self.cut[index] |= under
            short &= ~under
        begun = self._begun()
        self._note(index, flying, np.maximum(end - begin, 0.0), self.charge - charge, charge, gained)
        self._keep_leg((index,), begun, charge)
        self._end(flying & lost, LOST_CLIMB, index)
        self._end(flying & short & ~lost, self.cause[index], index)
        self.charge = np.where(flying, charge, self.charge)

    def _seconds_to(self, its: Clock, phase: Phase) -> Floats:
        """Time until a phase reaches its height; none where it is there, or beyond."""
        wanted = float(phase.to_height_m or 0.0) - self.height
        seconds = its.seconds_to(self.charge, wanted)
        # a glide that begins below its height, and a climb that begins above it, have nothing to do
        beyond = (wanted >= 0) & (its.way < 0) if phase.throttle == 0 or phase.climb_m_s < 0 else wanted <= 0
        beyond &= ~((wanted < 0) & (its.way < 0))
        return np.where(beyond, 0.0, seconds)

    def _mixture(self, shares: tuple[int, ...], weights: list[Floats], after: list[tuple[int, Clock]]) -> Any:
        """Fly the shares, by weights that may differ with the charge, down to the charge that later phases need.

        Which phase, or the mixture, meets the end (N,).
        """
        parts = [self.loads[i] for i in shares]
        lowest = np.max(self.lowest[list(shares)], axis=0)
        edges = clipped_edges(self.edges, lowest)
        drawn = [load.at(gauss_nodes(edges)) for load in parts]
        climbs = [each.climb_m_s for each in drawn]
        repeats, level = not self.plan.shares, np.zeros(1, dtype=bool)
        if not self.plan.payers and not repeats:
            weights, level = self._affordable(shares, weights, climbs)
        whole = np.asarray(sum(weights))
        self._end((self.ended_by == 0) & np.any(whole <= 0, axis=tuple(range(whole.ndim - 1))), GROUND, shares[-1])
        flying = self.ended_by == 0
        fractions = [w / whole for w in weights]
        total = np.asarray(sum(f * each.pack_current_a for f, each in zip(fractions, drawn, strict=True)))
        slow = slowness(total, self.capacity_ah)
        its = Running.of(edges, *slow)
        # none at all where it is paid for: a sum to within rounding would end the flight anywhere
        rise = np.where(level, 0.0, sum(f * climb for f, climb in zip(fractions, climbs, strict=True)))
        up = Running.of(edges, *(rise * slow))
        floor, last = self._floor(after, self.height)
        target = np.minimum(np.maximum(lowest, floor), self.charge)
        for _ in range(_HEIGHT_ROUNDS if after else 0):  # the height left for later phases depends on where they begin
            floor, last = self._floor(after, self.height + up.to(target) - up.to(self.charge))
            target = np.minimum(np.maximum(lowest, floor), self.charge)
        landed, target = self._landed(up, target, flying & (not repeats))
        elapsed = its.to(target) - its.to(self.charge)
        begun, height, leg = self.charge, self.height, self._begun()
        for i, fraction, each in zip(shares, fractions, drawn, strict=True):
            part = Running.of(edges, *(fraction * each.pack_current_a / np.maximum(total, 1e-9)))
            share = fraction * slow
            seconds = fraction * elapsed
            if np.ndim(fraction):
                own = Running.of(edges, *share)
                seconds = own.to(target) - own.to(begun)
            own = Running.of(edges, *(share * each.climb_m_s))
            self._note(i, flying, seconds, part.to(target) - part.to(begun), target, own.to(target) - own.to(begun))
        self.height = np.where(flying, self.height, height)
        self._keep_leg(shares, leg, target)
        if repeats:
            round_s = Running.of(edges, *(slow / whole))
            self.rounds = self.rounds + np.where(flying, np.nan_to_num(round_s.to(target) - round_s.to(begun)), 0.0)
        first = np.asarray(shares)[np.argmax(self.lowest[list(shares)], axis=0)]
        cause = np.take_along_axis(self.cause, first[None, :], axis=0)[0]
        self._end(landed, GROUND, MIXTURE)
        reached = flying & ~landed & (target <= lowest) & ((lowest > floor) | (len(self.plan.after) == 0))
        self._end(reached, cause, np.where(cause == RESERVE, MIXTURE, first))
        drained = self.loads[0].train.radio_a > 0
        for load in parts:
            drained = drained | load.running
        self.status[flying & ~drained & (self.status == Status.OK)] = Status.BAD_INPUT
        self.charge = np.where(flying, target, self.charge)
        return last

    def _landed(self, up: Running, target: Floats, flying: Flags) -> tuple[Flags, Floats]:
        """Where the shares use up their height before a charge (N,), and the charge at which they then end.

        What they gain falls with the charge, so that the height runs out once.
        """
        first = up.to(self.charge) - self.height
        landed = flying & (up.to(target) < first - _LEVEL_M)
        if not landed.any():
            return landed, target
        return landed, np.where(
            landed, _lowest_that(lambda charge: up.to(charge) >= first, self.charge, target), target
        )

    def _affordable(
        self, shares: tuple[int, ...], weights: list[Floats], climbs: list[Floats]
    ) -> tuple[list[Floats], Flags]:
        """The weights, less of those that lose height where that is more than the others gain; where that is so."""
        gain = sum(w * np.maximum(climb, 0.0) for w, climb in zip(weights, climbs, strict=True))
        loss = sum(w * np.maximum(-climb, 0.0) for w, climb in zip(weights, climbs, strict=True))
        short = np.asarray((gain > 0) & (loss > gain))
        if not short.any():
            return weights, short
        kept = np.where(short, gain / np.where(short, loss, 1.0), 1.0)
        out = []
        for i, weight, climb in zip(shares, weights, climbs, strict=True):
            loses = climb < 0
            self.cut[i] |= np.any(short & loses, axis=(0, 1))
            out.append(weight * np.where(loses, kept, 1.0))
        return out, short

    def _note(
        self, index: int, flying: Flags, seconds: Floats, used: Floats, charge: Floats, gained: Floats
    ) -> None:  # fmt: skip
        flown = flying & (seconds > 0)
        self.seconds[index] += np.where(flown, seconds, 0.0)
        self.used[index] += np.where(flown, used, 0.0)
        self.gained[index] += np.where(flown, gained, 0.0)
        self.height = np.where(flown, self.height + gained, self.height)
        fresh = flown & np.isnan(self.start[index])
        self.start[index] = np.where(fresh, self.charge, self.start[index])
        self.stop[index] = np.where(flown, charge, self.stop[index])

    def _begun(self) -> tuple[Floats, float]:
        """What a leg of the first lane begins with: seconds of each phase so far, and the height."""
        return self.seconds[:, 0].copy(), float(self.height[0])

    def _keep_leg(self, phases: tuple[int, ...], begun: tuple[Floats, float], charge: Floats) -> None:
        """What a leg comes to: the greatest height, and the leg itself where it is asked for."""
        self.height = np.where(self.height < 0, 0.0, self.height)
        self.highest = np.fmax(self.highest, self.height)
        before, height = begun
        spent = (self.seconds[:, 0] - before)[list(phases)]
        if self.plan.legs is None or not spent.sum() > 0:
            return
        start = float(before.sum()) / 60.0
        self.plan.legs.append(
            Leg(
                phases=phases,
                loads=tuple(self.loads[i].take(slice(0, 1)) for i in phases),
                weights=tuple((spent / spent.sum()).tolist()),
                minutes=(start, start + float(spent.sum()) / 60.0),
                charge=(float(self.charge[0]), float(charge[0])),
                height_m=(height, float(self.height[0])),
            )
        )

    def _end(self, where: Flags, cause: Any, index: Any) -> None:
        self.ended_by = np.where(where, cause, self.ended_by).astype(np.int8)
        self.ended_in = np.where(where, index, self.ended_in).astype(np.int8)

    def _result(self) -> dict[str, Any]:
        answered = self.status == Status.OK
        seconds = np.sum(self.seconds, axis=0)
        used_ah = self.capacity_ah * (1.0 - self.charge)
        with np.errstate(divide="ignore"):
            mean = np.where(seconds > 0, 3600.0 * used_ah / seconds, np.nan)
            phase_ah = self.capacity_ah * self.used
            phase_mean = np.where(self.seconds > 0, 3600.0 * phase_ah / self.seconds, np.nan)
        begin = [load.at(q) for load, q in zip(self.loads, self.start, strict=True)]
        end = [load.at(q) for load, q in zip(self.loads, self.stop, strict=True)]

        def rows(pick: Any) -> Floats:
            return np.array([pick(a, b) for a, b in zip(begin, end, strict=True)])

        flown = self.seconds > 0
        values: dict[str, Any] = {
            "minutes": seconds / 60.0,
            "charge": self.charge,
            "used_mah": used_ah / MAH_AH,
            "average_current_a": mean,
            "phase_minutes": self.seconds / 60.0,
            "phase_mah": phase_ah / MAH_AH,
            "phase_current_a": phase_mean,
            "phase_motor_current_a": np.where(
                flown,
                [load.mean_motor_current_a(mean) for load, mean in zip(self.loads, phase_mean, strict=True)],
                np.nan,
            ),
            "airspeed_m_s": np.array([load.airspeed_m_s for load in self.loads]),
            "throttle_from": np.where(flown, rows(lambda a, b: a.throttle), np.nan),
            "throttle_to": np.where(flown, rows(lambda a, b: b.throttle), np.nan),
            "cell_voltage_v": rows(lambda a, b: np.minimum(a.cell_voltage_v, b.cell_voltage_v)),
            "motor_current_a": np.where(
                flown, rows(lambda a, b: np.maximum(a.motor_current_a, b.motor_current_a)), np.nan
            ),
            "height_m": self.height,
            "greatest_height_m": self.highest,
            "rounds": self.rounds,
            "phase_height_m": self.gained,
        }
        values = {name: np.where(answered, value, np.nan) for name, value in values.items()}
        return values | {
            "ended_by": np.where(answered, self.ended_by, 0).astype(np.int8),
            "ended_in": self.ended_in,
            "status": self.status,
            "phase_cut": self.cut & answered,
        }
