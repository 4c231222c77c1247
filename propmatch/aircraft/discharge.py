"""How a pack runs down: the current each way of flying draws at every charge, and the clock that follows from it.

A held airspeed needs a thrust that does not depend on the charge, so the motor's speed, current I and the voltage
V_c = K w + (R + R_c) I behind the controller are solved once; throttle and pack current follow at every charge in
closed form (:func:`controller.throttle_for`). At a held throttle the motor's current over its speed does not
depend on the charge either: two parabolas through five operating points stand for it, and the voltage balance
d E' = K w + r I(w) is then a quadratic for every charge.

Time runs as t = integral of 3600 Q dq/I(q). Within each segment of the open-circuit voltage curve 3600 Q/I is taken as
the straight line through its values at the two Gauss nodes: over whole segments that is Gauss-Legendre quadrature of
the fourth order, and t(q) can be inverted exactly.
"""

from typing import Any

import attrs
import numpy as np
from numpy.typing import NDArray

from propmatch.aircraft.flight import level_lanes
from propmatch.aircraft.polar import AirframeLanes, phase_airspeed_m_s
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
    "LOST_THRUST",
    "RESERVE",
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

RESERVE, CUT_OFF, LOST_THRUST = 1, 2, 3
"""Why a discharge ends."""
_LEAST_CURRENT_A = 1e-9
_BISECTIONS = 34
_HALF = 0.5 / np.sqrt(3.0)


@attrs.frozen(kw_only=True, eq=False)
class Draw:
    """What a phase takes at some charges; every field has the shape of the charges, lanes last.

    Attributes
    ----------
    pack_current_a, cell_voltage_v, throttle, motor_current_a
    holds : False where the thrust cannot be held
    """

    pack_current_a: Floats
    cell_voltage_v: Floats
    throttle: Floats
    motor_current_a: Floats
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
    slope, bend : (2, N), motor current I + slope x + bend x^2 over x = w - speed_rad_s, for x < 0 and x > 0
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

    def take(self, index: Any) -> "Load":
        """The lanes of an index array, slice or mask."""
        fields = {a.name: getattr(self, a.name) for a in attrs.fields(Load) if a.name != "train"}
        some: dict[str, Any] = {name: None if array is None else array[..., index] for name, array in fields.items()}
        return attrs.evolve(self, train=self.train.take(index), **some)

    def at(self, charge: Floats) -> Draw:
        """Currents and voltages at charges (..., N)."""
        p = self.train
        source, battery = p.open_circuit_v(charge), p.pack_ohm(charge)
        with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
            if self.throttle is None:
                throttle = line.held_throttle(p, self.behind_v, self.current_a, source, battery)
                current = np.broadcast_to(self.current_a, throttle.shape)
                holds = line.can_hold(throttle, p.throttle_limit)
            else:
                current = self._current(source, battery, self.throttle)
                throttle = np.broadcast_to(self.throttle, current.shape)
                holds = current > -np.inf
            drawn = line.pack_current_a(p, np.maximum(current, 0.0), throttle)
        pack = np.where(self.running, drawn, p.radio_a)
        return Draw(
            pack_current_a=pack,
            cell_voltage_v=(source - battery * pack) / p.cells,
            throttle=np.where(self.running, np.minimum(throttle, p.throttle_limit), 0.0),
            motor_current_a=np.where(self.running, current, 0.0),
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

    def _current(self, open_v: Floats, battery: Floats, d: Floats) -> Floats:
        """Motor current at a held throttle: the root x of S - K (w + x) - (r + b (w + x)) I(x) = 0.

        A quadratic in x; where b is not 0, one Newton step brings in the term b bend x^3 that it leaves out.
        """
        p, w = self.train, self.speed_rad_s
        source = line.source(p, d, open_v, battery)
        r = line.ohm_at(p, source.ohm, w)
        c = line.left_over_v(p, source.volts, source.ohm, w, self.current_a)
        slope, bend = (np.where(c < 0, below, above) for below, above in (self.slope, self.bend))
        b = p.k + p.slope_ohm_s * self.current_a + r * slope
        a = r * bend + p.slope_ohm_s * slope
        x = 2.0 * c / (b + np.sqrt(b * b + 4.0 * a * c))
        if p.sloped:
            cubic = p.slope_ohm_s * bend
            x = x + (c - x * (b + x * (a + x * cubic))) / (b + x * (2.0 * a + 3.0 * x * cubic))
        return np.asarray(self.current_a + x * (slope + x * bend))


def load_of(
    phase: Phase, train: TrainLanes, airframe: AirframeLanes, reserve: float, density: Floats, sound: Floats
) -> Load:
    """Solve what does not depend on the charge: one operating point for a held airspeed, five for a throttle."""
    train, n = train.sustained(), train.size
    full, zero = np.ones(n), np.zeros(n)
    empty = {name: np.full(n, np.nan) for name in ("current_a", "behind_v", "speed_rad_s")}
    empty |= {name: np.full((2, n), np.nan) for name in ("slope", "bend")}
    duty = None if phase.throttle is None else np.minimum(phase.throttle, train.throttle_limit)
    if duty is None:
        speed = np.full(n, phase.airspeed_m_s)
        point = level_lanes(train, airframe, speed, full, density, sound, phase.climb_m_s, phase.load_factor)
        status = np.where(point.status == Status.BELOW_IDLE, Status.OFF, point.status).astype(np.int8)
        lost = status == Status.CANNOT_HOLD
        status[lost] = Status.OK
        empty["current_a"] = point.motor_current_a
        empty["behind_v"] = np.where(lost, np.nan, point.motor_voltage_v + train.controller_ohm * point.motor_current_a)
    else:
        speed = phase_airspeed_m_s(phase, airframe, density)
        points = [
            solve_lanes(train, speed, duty, zero + q, density, sound)
            for q in _charges_by_voltage(train.chemistries[0], reserve, 5)
        ]
        status = np.max([p.status for p in points], axis=0)
        status[~np.isfinite(airframe.mass_kg)] = Status.BAD_INPUT
        x = np.array([p.motor_rpm for p in points]) * RPM_RAD_S
        y = np.array([p.motor_current_a for p in points])
        empty |= {"current_a": y[2], "speed_rad_s": x[2]}
        x, y = x - x[2], y - y[2]
        with np.errstate(invalid="ignore", divide="ignore"):
            near, far = y[[1, 3]] / x[[1, 3]], y[[0, 4]] / x[[0, 4]]
            empty["bend"] = (far - near) / (x[[0, 4]] - x[[1, 3]])
            empty["slope"] = near - empty["bend"] * x[[1, 3]]
    return Load(train=train, airspeed_m_s=speed, status=status, running=status == Status.OK, throttle=duty, **empty)


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


def clock(load: Load, edges: Floats, lowest: Floats) -> Running:
    """Seconds from full down to each charge, flown in one phase alone."""
    cut = clipped_edges(edges, lowest)
    return Running.of(cut, *slowness(load.at(gauss_nodes(cut)).pack_current_a, load.train.capacity_ah))


def lowest_charge(load: Load, reserve: float, cutoff_cell_v: float) -> tuple[Floats, NDArray[np.int8]]:
    """Charge (N,) down to which a phase can be flown, and what ends it there: RESERVE, CUT_OFF or LOST_THRUST."""

    def flies(some: Load, charge: Floats) -> tuple[Flags, Flags]:
        draw = some.at(charge)
        return draw.holds & (draw.cell_voltage_v >= cutoff_cell_v), draw.holds

    lowest = np.full(load.train.size, reserve)
    cause = np.full(load.train.size, RESERVE, dtype=np.int8)
    early = np.flatnonzero(~flies(load, lowest)[0])
    if early.size:
        some, full = load.take(early), np.ones(early.size)
        can, holds = flies(some, full)
        lowest[early], cause[early] = 1.0, np.where(holds, CUT_OFF, LOST_THRUST)
        early, some = early[can], some.take(can)
        low, high = np.full(early.size, reserve), np.ones(early.size)
        for _ in range(_BISECTIONS if early.size else 0):
            middle = 0.5 * (low + high)
            can, _ = flies(some, middle)
            high, low = np.where(can, middle, high), np.where(can, low, middle)
        lowest[early], cause[early] = high, np.where(flies(some, low)[1], CUT_OFF, LOST_THRUST)
    return lowest, cause
