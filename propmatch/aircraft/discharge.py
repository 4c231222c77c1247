"""How a pack runs down: the current each way of flying draws at every charge, and the clock that follows from it.

A held airspeed needs a thrust that does not depend on the charge, so the motor's speed, current I and the voltage
V_c = K w + (R + R_c) I behind the controller are solved once; throttle and pack current follow at every charge in
closed form (:func:`controller.throttle_for`). At a held throttle the motor's current over its speed does not
depend on the charge either: two parabolas through five operating points stand for it, and the voltage balance
d E' = K w + r I(w) is then a quadratic for every charge.

Time runs as t = integral of 3600 Q dq/I(q). Within each segment of the open-circuit voltage curve 3600 Q/I is taken as
the straight line through its values at the two Gauss nodes: over whole segments that is Gauss-Legendre quadrature of
the fourth order, and t(q) can be inverted exactly.

Source: Gauss-Legendre quadrature, as in any text on numerical analysis.
"""

from collections.abc import Callable
from typing import Any

import attrs
import numpy as np
from numpy.typing import NDArray

from propmatch.aircraft.flight import level_lanes
from propmatch.aircraft.motoroff import motor_off_drag
from propmatch.aircraft.polar import AirframeLanes, climb_m_s, drag_n, phase_airspeed_m_s
from propmatch.models.arrays import Flags, Floats, Index
from propmatch.models.pack import Chemistry
from propmatch.records.sections import Phase
from propmatch.status import Status
from propmatch.train import line
from propmatch.train.coupling import solve_lanes
from propmatch.train.lanes import TrainLanes
from propmatch.units import RPM_RAD_S

__all__ = [
    "CUT_OFF",
    "GROUND",
    "LOST_CLIMB",
    "LOST_THRUST",
    "RESERVE",
    "Clock",
    "Draw",
    "Load",
    "Running",
    "charge_edges",
    "clipped_edges",
    "clock",
    "gauss_nodes",
    "load_of",
    "lowest_charge",
    "slowness",
]

RESERVE, CUT_OFF, LOST_THRUST, LOST_CLIMB, GROUND = 1, 2, 3, 4, 5
"""Why a discharge ends; the last two: a height that full power no longer reaches, and no height left to glide from."""
_LEAST_CURRENT_A = 1e-9
_BISECTIONS = 34
_AT_ONCE = ((4, 128), (2, 1024), (1, np.inf))
"""How many halvings are made together, up to so many lanes."""
_SOLVED_TOGETHER = 1024
"""Up to so many lanes all charges of a held throttle are solved in one call."""
_HALF = 0.5 / np.sqrt(3.0)


@attrs.frozen(kw_only=True, eq=False)
class Draw:
    """What a phase takes at some charges; every field has the shape of the charges, lanes last.

    Attributes
    ----------
    pack_current_a, cell_voltage_v, throttle, motor_current_a
    climb_m_s : rate of climb, negative where height is lost
    holds : False where the thrust cannot be held
    """

    pack_current_a: Floats
    cell_voltage_v: Floats
    throttle: Floats
    motor_current_a: Floats
    climb_m_s: Floats
    holds: Flags


@attrs.frozen(kw_only=True, eq=False)
class Load:
    """One phase on N lanes.

    Attributes
    ----------
    train : TrainLanes
    airspeed_m_s : (N,)
    status : (N,), OK or OFF, or why there is no answer; a thrust that cannot be held even when full is OK here
    running : (N,), False where the motor is off
    throttle : (N,) duty, or None where the thrust is held
    current_a : motor current of a held thrust, or at ``speed_rad_s``; NaN for lost thrust
    behind_v : V_c of a held thrust
    speed_rad_s : motor speed at the middle of the discharge, held throttle
    held_factor : pack current of a held airspeed as really flown over that of steady flight, of all lanes or (N,)
    slope, bend : (2, N), motor current I + slope x + bend x^2 over x = w - speed_rad_s, for x < 0 and x > 0
    climb_m_s : (N,), the same at any charge but where a throttle above 0 is held: there at ``speed_rad_s``
    climb_slope, climb_bend : (2, N), how the climb goes with the motor speed, as the current; 0 elsewhere
    """

    train: TrainLanes
    airspeed_m_s: Floats
    status: NDArray[np.int8]
    running: Flags
    throttle: Floats | None
    current_a: Floats
    behind_v: Floats
    speed_rad_s: Floats
    slope: Floats
    bend: Floats
    climb_m_s: Floats
    climb_slope: Floats
    climb_bend: Floats
    held_factor: Floats | float = 1.0

    @property
    def steady(self) -> bool:
        """Whether the rate of climb is the same at any charge."""
        return self.throttle is None or not self.throttle.any()

    def take(self, index: Any) -> "Load":
        """The lanes of an index array, slice or mask."""
        fields = {a.name: getattr(self, a.name) for a in attrs.fields(Load) if a.name not in ("train", "held_factor")}
        some: dict[str, Any] = {name: None if array is None else array[..., index] for name, array in fields.items()}
        factor = self.held_factor[index] if isinstance(self.held_factor, np.ndarray) else self.held_factor
        return attrs.evolve(self, train=self.train.take(index), held_factor=factor, **some)

    def at(self, charge: Floats) -> Draw:
        """Currents and voltages at charges (..., N)."""
        p = self.train
        source, battery = p.open_circuit_v(charge), p.pack_ohm(charge)
        with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
            climb = self.climb_m_s
            if self.throttle is None:
                throttle = line.held_throttle(p, self.behind_v, self.current_a, source, battery)
                current = np.broadcast_to(self.current_a, throttle.shape)
                holds = line.can_hold(throttle, p.throttle_limit)
            else:
                current, climb = self._throttled(source, battery, self.throttle)
                throttle = np.broadcast_to(self.throttle, current.shape)
                holds = current > -np.inf
            drawn = line.pack_current_a(p, np.maximum(current, 0.0), throttle)
            if self.throttle is None:
                drawn = drawn * self.held_factor
        pack = np.where(self.running, drawn, p.radio_a)
        return Draw(
            pack_current_a=pack,
            cell_voltage_v=(source - battery * pack) / p.cells,
            throttle=np.where(self.running, np.minimum(throttle, p.throttle_limit), 0.0),
            motor_current_a=np.where(self.running, current, 0.0),
            climb_m_s=np.broadcast_to(np.where(self.running, climb, self.climb_m_s), pack.shape),
            holds=np.where(self.running, holds, True),
        )

    def mean_motor_current_a(self, mean_pack_current_a: Floats) -> Floats:
        """Mean motor current (N,) where the pack's mean is known: a held thrust has one motor current at any charge."""
        if self.throttle is None:
            return np.where(self.running, self.current_a, 0.0)
        if not self.throttle.any():
            return np.zeros(self.train.size)
        driven = line.motor_current_from_pack_a(self.train, mean_pack_current_a, self.throttle)
        return np.where(self.running, driven, 0.0)

    def _throttled(self, open_v: Floats, battery: Floats, d: Floats) -> tuple[Floats, Floats]:
        """Motor current and climb at a held throttle: the root x of S - K (w + x) - (r + b (w + x)) I(x) = 0.

        A quadratic in x; where b is not 0, one Newton step brings in the term b bend x^3 that it leaves out. The climb
        never exceeds the airspeed.
        """
        p, w = self.train, self.speed_rad_s
        source = line.source(p, d, open_v, battery)
        r = line.ohm_at(p, source.ohm, w)
        c = line.left_over_v(p, source.volts, source.ohm, w, self.current_a)
        slope, bend, rise, curve = (
            np.where(c < 0, *sides) for sides in (self.slope, self.bend, self.climb_slope, self.climb_bend)
        )
        b = p.k + p.slope_ohm_s * self.current_a + r * slope
        a = r * bend + p.slope_ohm_s * slope
        x = 2.0 * c / (b + np.sqrt(b * b + 4.0 * a * c))
        if p.sloped:
            cubic = p.slope_ohm_s * bend
            x = x + (c - x * (b + x * (a + x * cubic))) / (b + x * (2.0 * a + 3.0 * x * cubic))
        climb = np.minimum(self.climb_m_s + x * (rise + x * curve), self.airspeed_m_s)
        return np.asarray(self.current_a + x * (slope + x * bend)), climb


def load_of(
    phase: Phase,
    train: TrainLanes,
    airframe: AirframeLanes,
    reserve: float,
    density: Floats,
    sound: Floats,
    paying_m_s: Floats | float = 0.0,
    held_factor: Floats | float = 1.0,
) -> Load:
    """Solve what does not depend on the charge: one operating point for a held airspeed, five for a throttle.

    ``paying_m_s`` is the climb that a held airspeed flies beside its own, for height lost elsewhere.
    """
    train, n = train.sustained(), train.size
    full, zero = np.ones(n), np.zeros(n)
    empty = {name: np.full(n, np.nan) for name in ("current_a", "behind_v", "speed_rad_s")}
    empty |= {name: np.full((2, n), np.nan) for name in ("slope", "bend")}
    empty |= {name: np.zeros((2, n)) for name in ("climb_slope", "climb_bend")}
    speed = phase_airspeed_m_s(phase, airframe, density)
    duty = None if phase.throttle is None else np.minimum(phase.throttle, train.throttle_limit)
    if duty is None:
        climb = phase.climb_m_s + zero + paying_m_s
        flown = np.minimum(climb, speed)
        point = level_lanes(train, airframe, speed, full, density, sound, flown, phase.load_factor)
        status = np.where(point.status == Status.BELOW_IDLE, Status.OFF, point.status).astype(np.int8)
        lost = status == Status.CANNOT_HOLD
        status[lost] = Status.OK
        lost |= climb > flown
        empty["current_a"] = point.motor_current_a
        empty["behind_v"] = np.where(lost, np.nan, point.motor_voltage_v + train.controller_ohm * point.motor_current_a)
    else:
        charges = _charges_by_voltage(train.chemistries[0], reserve, 5)
        together = charges.size if n <= _SOLVED_TOGETHER else 1
        several = train if together == 1 else train.take(np.tile(np.arange(n), together))
        alike = [np.tile(x, together) for x in (speed, duty, density, sound)]
        points = [
            solve_lanes(several, alike[0], alike[1], np.repeat(some, n), *alike[2:])
            for some in charges.reshape(-1, together)
        ]
        status, rpm, y, thrust = (
            np.concatenate([getattr(p, name) for p in points]).reshape(-1, n)
            for name in ("status", "motor_rpm", "motor_current_a", "thrust_n")
        )
        status = np.max(status, axis=0)
        status[~np.isfinite(airframe.mass_kg)] = Status.BAD_INPUT
        x = rpm * RPM_RAD_S
        climbs = np.asarray(climb_m_s(airframe, thrust, drag_n(airframe, density, speed), speed))
        off = np.flatnonzero(status != Status.OK)
        climb = climbs[2].copy()
        if off.size:
            still = motor_off_drag(train.take(off), speed[off], density[off]).drag_n
            climb[off] -= speed[off] * still / airframe.weight_n[off]
        empty |= {"current_a": y[2], "speed_rad_s": x[2]}
        empty["slope"], empty["bend"] = _bent(x, y)
        if phase.throttle:
            empty["climb_slope"], empty["climb_bend"] = _bent(x, climbs)
    return Load(
        train=train, airspeed_m_s=speed, status=status, running=status == Status.OK, throttle=duty, climb_m_s=climb,
        held_factor=held_factor, **empty,
    )  # fmt: skip


def _bent(x: Floats, y: Floats) -> tuple[Floats, Floats]:
    """Slope and bend (2, N) of y over x through five points (5, N), below and above the middle one."""
    x, y = x - x[2], y - y[2]
    with np.errstate(invalid="ignore", divide="ignore"):
        near, far = y[[1, 3]] / x[[1, 3]], y[[0, 4]] / x[[0, 4]]
        bend = (far - near) / (x[[0, 4]] - x[[1, 3]])
        return near - bend * x[[1, 3]], bend


def _charges_by_voltage(chemistry: Chemistry, reserve: float, count: int) -> Floats:
    """Charges from the reserve to full, evenly spaced in open-circuit voltage."""
    voltage = np.linspace(float(chemistry.cell_ocv_v(reserve)), float(chemistry.cell_ocv_v(1.0)), count)
    return np.clip(np.interp(voltage, chemistry.ocv_v, chemistry.charge), reserve, 1.0)


# ---------------------------------------------------------------- the clock


def charge_edges(chemistry: Chemistry, reserve: float) -> Floats:
    """Segment edges from full down to the reserve: 1, the nodes of the voltage curve between, reserve."""
    inside = chemistry.charge[(chemistry.charge > reserve) & (chemistry.charge < 1.0)]
    return np.concatenate([[1.0], inside[::-1], [reserve]])


@attrs.frozen(kw_only=True, eq=False)
class Running:
    """An integral over the charge, from full downwards: time, or a share of the charge.

    Attributes
    ----------
    edges : (K+1, N or 1), falling; total : (K+1, N), the integral from the first edge to each
    mean, rise : (K, N); the integrand in segment k is mean + rise (x - 1/2), x = 0..1 down the segment
    """

    edges: Floats
    total: Floats
    mean: Floats
    rise: Floats

    @classmethod
    def of(cls, edges: Floats, first: Floats, second: Floats) -> "Running":
        """From the integrand (K, N) at the two :func:`gauss_nodes` of each segment."""
        width = edges[:-1] - edges[1:]
        some = np.broadcast_to(width > 0, first.shape)
        mean, rise = np.where(some, 0.5 * (first + second), 1.0), np.where(some, (second - first) / (2.0 * _HALF), 0.0)
        steps = np.cumsum(width * mean, axis=0)
        return cls(
            edges=np.broadcast_to(edges, (len(edges), mean.shape[1])),
            total=np.concatenate([np.zeros((1, mean.shape[1])), steps]),
            mean=mean,
            rise=rise,
        )

    def to(self, charge: Floats) -> Floats:
        """The integral from the first edge down to charges (N,), held within the edges."""
        k = np.minimum(np.sum(self.edges[1:] > charge, axis=0), len(self.mean) - 1)
        high, low, total, mean, rise = self._segment(k)
        width = high - low
        x = np.clip((high - charge) / np.where(width > 0, width, 1.0), 0.0, 1.0)
        return np.asarray(total + width * (mean * x + 0.5 * rise * (x * x - x)))

    def charge_at(self, value: Floats) -> Floats:
        """The charge at which a positive integrand has summed up to a value (N,), held within the edges."""
        k = np.minimum(np.sum(self.total[1:] < value, axis=0), len(self.mean) - 1)
        high, low, total, mean, rise = self._segment(k)
        width = high - low
        rest = np.maximum(value - total, 0.0) / np.where(width > 0, width, 1.0)
        b = mean - 0.5 * rise
        with np.errstate(invalid="ignore"):
            x = 2.0 * rest / (b + np.sqrt(np.maximum(b * b + 2.0 * rise * rest, 0.0)))
        return np.asarray(high - width * np.clip(x, 0.0, 1.0))

    def _segment(self, k: Index) -> tuple[Floats, Floats, Floats, Floats, Floats]:
        lane = np.arange(k.size)
        return (
            self.edges[k, lane], self.edges[k + 1, lane], self.total[k, lane], self.mean[k, lane], self.rise[k, lane],
        )  # fmt: skip

    def take(self, lanes: Index) -> "Running":
        """Some of the lanes."""
        edges, total, mean, rise = (each[:, lanes] for each in (self.edges, self.total, self.mean, self.rise))
        return Running(edges=edges, total=total, mean=mean, rise=rise)

    @property
    def end(self) -> Floats:
        """The integral to the last edge (N,)."""
        return np.asarray(self.total[-1])


def gauss_nodes(edges: Floats) -> Floats:
    """Charges (2, K, N or 1): the two Gauss-Legendre nodes of each segment, the higher charge first."""
    high, width = edges[:-1], edges[:-1] - edges[1:]
    return np.stack([high - (0.5 - _HALF) * width, high - (0.5 + _HALF) * width])


def clipped_edges(edges: Floats, lowest: Floats) -> Floats:
    """Edges (K+1, N) cut off at each lane's lowest charge; (K+1, 1) where none is cut."""
    if bool(np.all(lowest <= edges[-1])):
        return edges[:, None]
    return np.maximum(edges[:, None], lowest)


def slowness(pack_current_a: Floats, capacity_ah: Floats) -> Floats:
    """3600 Q/I, seconds for the whole charge at this current; a current of nothing counts as 1 nA."""
    return np.asarray(3600.0 * capacity_ah / np.maximum(pack_current_a, _LEAST_CURRENT_A))


@attrs.frozen(kw_only=True, eq=False)
class Clock:
    """A phase flown alone, over the charge from full downwards.

    Attributes
    ----------
    time : seconds
    climb_m_s : (N,), where it is the same at any charge; else None
    rise : height in the direction ``way``, where it is not
    way : (N,), 1 where the phase climbs with a full pack, else -1
    """

    time: Running
    climb_m_s: Floats | None
    rise: Running | None
    way: Floats

    def take(self, lanes: Index) -> "Clock":
        """Some of the lanes."""
        climb, rise = self.climb_m_s, self.rise
        return Clock(
            time=self.time.take(lanes),
            climb_m_s=None if climb is None else climb[lanes],
            rise=None if rise is None else rise.take(lanes),
            way=self.way[lanes],
        )

    def gained_m(self, first: Floats, last: Floats) -> Floats:
        """Height gained from one charge (N,) down to another."""
        if self.climb_m_s is not None:
            return self.climb_m_s * (self.time.to(last) - self.time.to(first))
        assert self.rise is not None
        return self.way * (self.rise.to(last) - self.rise.to(first))

    def seconds_to(self, charge: Floats, height_m: Floats) -> Floats:
        """Time (N,) from a charge until a height is gained or, below 0, lost; infinite where it never is."""
        if self.climb_m_s is not None:
            with np.errstate(invalid="ignore", divide="ignore"):
                seconds = height_m / self.climb_m_s
            return np.where(height_m == 0, 0.0, np.where(seconds > 0, seconds, np.inf))
        assert self.rise is not None
        reached = self.rise.to(charge) + self.way * height_m
        seconds = self.time.to(self.rise.charge_at(reached)) - self.time.to(charge)
        return np.where(self.way * height_m < 0, np.inf, np.where(reached > self.rise.end, np.inf, seconds))


def clock(load: Load, edges: Floats, lowest: Floats) -> Clock:
    """A phase from full down to each charge."""
    cut = clipped_edges(edges, lowest)
    drawn = load.at(gauss_nodes(cut))
    slow = slowness(drawn.pack_current_a, load.train.capacity_ah)
    climb = load.at(np.ones(load.train.size)).climb_m_s
    way = np.where(climb > 0, 1.0, -1.0)
    return Clock(
        time=Running.of(cut, *slow),
        climb_m_s=climb if load.steady else None,
        rise=None if load.steady else Running.of(cut, *(way * slow * drawn.climb_m_s)),
        way=way,
    )


def lowest_charge(
    load: Load, reserve: float, cutoff_cell_v: float, *, climbs: bool = False
) -> tuple[Floats, NDArray[np.int8]]:
    """Charge (N,) down to which a phase can be flown, and what ends it there: RESERVE, CUT_OFF or LOST_THRUST.

    ``climbs``: it is flown for its height, so LOST_CLIMB where one that climbs with a full pack no longer does.
    """
    must = load.at(np.ones(load.train.size)).climb_m_s > 0 if climbs else np.zeros(load.train.size, dtype=bool)

    def flies(some: Load, charge: Floats, must: Flags) -> tuple[Flags, NDArray[np.int8]]:
        draw = some.at(charge)
        rises = ~must | (draw.climb_m_s > 0)
        cause = np.where(draw.holds, np.where(rises, CUT_OFF, LOST_CLIMB), LOST_THRUST).astype(np.int8)
        return draw.holds & rises & (draw.cell_voltage_v >= cutoff_cell_v), cause

    lowest = np.full(load.train.size, reserve)
    cause = np.full(load.train.size, RESERVE, dtype=np.int8)
    early = np.flatnonzero(~flies(load, lowest, must)[0])
    if early.size:
        some, full = load.take(early), np.ones(early.size)
        can, why = flies(some, full, must[early])
        lowest[early], cause[early] = 1.0, why
        early, some = early[can], some.take(can)
        if early.size:
            here = must[early]
            low, high = _halved(lambda charge: flies(some, charge, here)[0], reserve, early.size)
            lowest[early], cause[early] = high, flies(some, low, here)[1]
    return lowest, cause


def _halved(flies: Callable[[Floats], Flags], reserve: float, lanes: int) -> tuple[Floats, Floats]:
    """Charges (N,) between which a phase stops flying, by halving from the reserve to full.

    Few lanes are halved several times at once, at all the charges (M, N) that these halvings may come to: what a call
    costs by itself is then shared.
    """
    at_once = next(times for times, most in _AT_ONCE if lanes <= most)
    parts = 2**at_once
    low, high, every = np.full(lanes, reserve), np.ones(lanes), np.arange(lanes)
    for _ in range(-(-_BISECTIONS // at_once)):
        step = (high - low) / parts
        flown = flies(low + step * np.arange(1, parts)[:, None])
        first, last = np.zeros(lanes, dtype=np.intp), np.full(lanes, parts)
        for _ in range(at_once):
            middle = (first + last) // 2
            can = flown[middle - 1, every]
            last, first = np.where(can, middle, last), np.where(can, first, middle)
        low, high = low + step * first, low + step * last
    return low, high
