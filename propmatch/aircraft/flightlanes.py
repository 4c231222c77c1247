"""Flight time over lanes: phases flown until the reserve, the cell cut-off, or until thrust no longer suffices.

Phases with a time before the shares run first. Shares are normalised fractions of the time flown as a fine mixture:
t = integral of 3600 Q dq/sum share_i I_i(q). Phases with a time after the shares are reserved backwards, so that the
last of them ends at the reserve. Without shares the list repeats. The flight ends when any phase being flown meets the
reserve, the cut-off or lost thrust.

Cost of one lane (``discharge``): one operating point for each phase that holds an airspeed, five for each
that holds a throttle, and closed-form currents at two nodes in each segment of the voltage curve (18 for ``lipo`` from
full to 0.2), again for the mixture.
"""

from collections.abc import Sequence
from typing import Any

import attrs
import numpy as np
from numpy.typing import NDArray

from propmatch.aircraft.discharge import (
    CUT_OFF,
    LOST_THRUST,
    RESERVE,
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

__all__ = ["ENDED_BY", "MIXTURE", "FlightLanes", "checked_limits", "flight_time_lanes"]

ENDED_BY = {RESERVE: "reserve", CUT_OFF: "cut-off", LOST_THRUST: "lost thrust"}
MIXTURE = -1
"""Stands for all shares together where a phase index is expected."""
_CHUNK = 2048
_TINY_CYCLE = 0.005
"""Share of the charge below which one round of a repeated list is flown as a mixture."""


@attrs.frozen(kw_only=True, eq=False)
class FlightLanes:
    """Flight time of N lanes; arrays (N,), those of the phases (P, N). NaN where there is no answer.

    Attributes
    ----------
    minutes : from full to the end
    ended_by : RESERVE, CUT_OFF or LOST_THRUST as in ``ENDED_BY``; 0 where there is no answer
    ended_in : index of the phase that met the end; ``MIXTURE`` where the shares reached the reserve together
    charge : left at the end; used_mah : drawn from the pack; average_current_a : mean pack current
    status : OK, or why there is no answer
    phase_minutes, phase_mah, phase_current_a : time, charge and mean pack current of each phase; no time, NaN current
    phase_motor_current_a : mean current of one motor in each phase; no time, NaN
    airspeed_m_s : of each phase
    throttle_from, throttle_to : of each phase at its first and last moment; NaN where it is not flown
    cell_voltage_v, motor_current_a : lowest and highest of each phase
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


def flight_time_lanes(
    lanes: TrainLanes,
    airframe: AirframeLanes,
    phases: Sequence[Phase],
    reserve: float,
    cutoff: float | None,
    density: Floats,
    sound: Floats,
) -> FlightLanes:
    """The array path of :func:`propmatch.aircraft.endurance.flight_time`.

    ``lanes``, ``airframe``, ``density`` [kg/m3] and ``sound`` [m/s] are (N,), the rest is the same for all lanes;
    no ``cutoff`` means the usual one of each chemistry.
    """
    plan = _Plan.of(phases, reserve, cutoff)
    n, count = lanes.size, len(phases)
    out: dict[str, Any] = {}
    for index, chemistry in enumerate(lanes.chemistries):
        mine = np.flatnonzero(lanes.chemistry == index)
        for start in range(0, mine.size, _CHUNK):
            some = mine[start : start + _CHUNK]
            train = attrs.evolve(
                lanes.take(some), chemistry=np.zeros(some.size, dtype=np.intp), chemistries=(chemistry,)
            )  # fmt: skip
            for name, value in _fly(train, airframe.take(some), plan, density[some], sound[some]).items():
                if name not in out:
                    out[name] = np.empty((count, n) if value.ndim == 2 else n, dtype=value.dtype)
                out[name][..., some] = value
    return FlightLanes(**out)


def checked_limits(reserve_charge: float, cutoff_cell_v: float | None) -> None:
    """Raise ValueError for a reserve outside 0 to below 1 or a cut-off that is no cell voltage."""
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

    @classmethod
    def of(cls, phases: Sequence[Phase], reserve: float, cutoff: float | None) -> "_Plan":
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
        )

    def seconds(self, index: int) -> float:
        """Length of a timed phase."""
        return float(self.phases[index].seconds or 0.0)


def _fly(
    train: TrainLanes, airframe: AirframeLanes, plan: _Plan, density: Floats, sound: Floats
) -> dict[str, Any]:  # fmt: skip
    loads = [load_of(p, train, airframe, plan.reserve, density, sound) for p in plan.phases]
    if plan.shares:
        return _Flight(plan, loads).run()
    # without shares: the list repeats; where one round takes next to nothing of the charge, it is flown as a mixture
    seconds = [plan.seconds(i) for i in plan.before]
    full = np.ones(train.size)
    drawn = sum(s * load.at(full).pack_current_a for s, load in zip(seconds, loads, strict=True))
    tiny = drawn < _TINY_CYCLE * 3600.0 * train.capacity_ah
    out: dict[str, Any] = {}
    for lanes, mixed in ((np.flatnonzero(tiny), True), (np.flatnonzero(~tiny), False)):
        if lanes.size:
            flight = _Flight(plan, [load.take(lanes) for load in loads])
            for name, value in flight.run(mixed=mixed).items():
                if name not in out:
                    out[name] = np.empty((*value.shape[:-1], train.size), dtype=value.dtype)
                out[name][..., lanes] = value
    return out


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
        limits = [lowest_charge(load, plan.reserve, cutoff) for load in loads]
        self.lowest = np.array([lowest for lowest, _ in limits])
        self.cause = np.array([cause for _, cause in limits])
        self.charge = np.ones(n)
        self.ended_by = np.zeros(n, dtype=np.int8)
        self.ended_in = np.zeros(n, dtype=np.int8)
        self.seconds, self.used = np.zeros((count, n)), np.zeros((count, n))
        self.start, self.stop = np.full((count, n), np.nan), np.full((count, n), np.nan)

    def run(self, *, mixed: bool = False) -> dict[str, Any]:
        plan = self.plan
        with np.errstate(invalid="ignore"):
            if plan.shares or mixed:
                self._before_mixture_after(mixed)
            else:
                clocks = [self._clock(i) for i in plan.before]
                answered = self.status == Status.OK
                while bool(np.any((self.ended_by == 0) & answered)):
                    for i, its in zip(plan.before, clocks, strict=True):
                        self._timed(i, its)
            return self._result()

    def _before_mixture_after(self, mixed: bool) -> None:
        plan = self.plan
        before, shares = ((), plan.before) if mixed else (plan.before, plan.shares)
        for i in before:
            self._timed(i, self._clock(i))
        after = [(i, self._clock(i)) for i in plan.after]
        floor = np.full(self.charge.size, plan.reserve)
        last = np.full(self.charge.size, plan.after[-1] if plan.after else MIXTURE)
        for i, its in reversed(after):
            last = np.where(self.lowest[i] > floor, i, last)  # this phase decides where the flight must end
            floor = np.maximum(floor, self.lowest[i])
            floor = its.charge_at(its.to(floor) - plan.seconds(i))
        weights = np.array([plan.phases[i].share if not mixed else plan.seconds(i) for i in shares], dtype=np.float64)
        self._mixture(shares, weights / weights.sum(), floor)
        for i, its in after:
            self._timed(i, its)
        cause = np.take_along_axis(self.cause, last[None, :], axis=0)[0]
        self._end(self.ended_by == 0, cause, last)

    def _clock(self, index: int) -> Running:
        return clock(self.loads[index], self.edges, self.lowest[index])

    def _timed(self, index: int, its: Running) -> None:
        """Fly a timed phase, or as much of it as the charge allows."""
        flying = self.ended_by == 0
        begin = its.to(self.charge)
        end = begin + self.plan.seconds(index)
        short = end > its.end * (1.0 + 1e-9)
        end = np.minimum(end, its.end)
        charge = np.minimum(its.charge_at(end), self.charge)
        self._note(index, flying, np.maximum(end - begin, 0.0), self.charge - charge, charge)
        self._end(flying & short, self.cause[index], index)
        self.charge = np.where(flying, charge, self.charge)

    def _mixture(self, shares: tuple[int, ...], weights: Floats, floor: Floats) -> None:
        """Fly the shares down to the charge that the phases after them need."""
        flying = self.ended_by == 0
        parts = [self.loads[i] for i in shares]
        lowest = np.max(self.lowest[list(shares)], axis=0)
        edges = clipped_edges(self.edges, lowest)

        nodes = gauss_nodes(edges)
        currents = [w * load.at(nodes).pack_current_a for w, load in zip(weights, parts, strict=True)]
        total = np.asarray(sum(currents))
        its = Running.of(edges, *slowness(total, self.capacity_ah))
        target = np.minimum(np.maximum(lowest, floor), self.charge)
        elapsed = its.to(target) - its.to(self.charge)
        for i, weight, current in zip(shares, weights, currents, strict=True):
            part = Running.of(edges, *(current / np.maximum(total, 1e-9)))
            self._note(i, flying, weight * elapsed, part.to(target) - part.to(self.charge), target)
        first = np.asarray(shares)[np.argmax(self.lowest[list(shares)], axis=0)]
        cause = np.take_along_axis(self.cause, first[None, :], axis=0)[0]
        reached = flying & (target <= lowest) & ((lowest > floor) | (len(self.plan.after) == 0))
        self._end(reached, cause, np.where(cause == RESERVE, MIXTURE, first))
        drained = self.loads[0].train.radio_a > 0
        for load in parts:
            drained = drained | load.running
        self.status[flying & ~drained & (self.status == Status.OK)] = Status.BAD_INPUT
        self.charge = np.where(flying, target, self.charge)

    def _note(self, index: int, flying: Flags, seconds: Floats, used: Floats, charge: Floats) -> None:
        flown = flying & (seconds > 0)
        self.seconds[index] += np.where(flown, seconds, 0.0)
        self.used[index] += np.where(flown, used, 0.0)
        fresh = flown & np.isnan(self.start[index])
        self.start[index] = np.where(fresh, self.charge, self.start[index])
        self.stop[index] = np.where(flown, charge, self.stop[index])

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
        }
        values = {name: np.where(answered, value, np.nan) for name, value in values.items()}
        return values | {
            "ended_by": np.where(answered, self.ended_by, 0).astype(np.int8),
            "ended_in": self.ended_in,
            "status": self.status,
        }
