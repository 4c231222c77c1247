"""The numerical heart: the propeller speed at which motor and propeller torque balance, for many lanes at once.

One unknown, the propeller speed u [rad/s] (motor speed g u). With S = d E' the voltage behind the chopper,
r = R + R_c + count d^2 R_b/eta the resistance the motor current sees (eta in place of 1/eta when it flows back):

    f(u) = S - K g u - r I(u),    I(u) = Q(u)/(g K e) + I0(g u),    Q = CP(J, rpm) rho D^5 u^2/(8 pi^3)

f falls with u wherever torque rises with speed, so the root is unique there. Halley steps from a closed-form start
solve nearly every lane; lanes that have not settled, feed current back, or use a table in which torque falls with
speed go to a bracketed Newton search. Work runs in chunks that stay in the cache.

Bracket: at V = 0 from 0 to S/(K g). In an airstream from the smaller of no-load and windmilling speed to the larger
of S/(K g) and windmilling speed (windmilling: torque zero, u = 2 pi V/(D J0)).
"""

from collections.abc import Callable
from typing import Any

import attrs
import numpy as np
from numpy.typing import NDArray

from propmatch.status import Status
from propmatch.tables import SurfaceStack

__all__ = ["CHUNK", "RESIDUAL_LIMIT", "SpeedProblem", "solve_speed", "speed_for_thrust"]

Floats = NDArray[np.float64]
CHUNK = 8192
RESIDUAL_LIMIT = 1e-10
"""Largest |f| accepted, as a fraction of d E'."""
_HALLEY_STEPS = 6
_BRACKET_STEPS = 200
_TWO_PI = 2.0 * np.pi
_RAD_S_RPM = 60.0 / _TWO_PI
_ZERO_PADDING = 0.05


@attrs.frozen(kw_only=True, eq=False)
class SpeedProblem:
    """Lanes of the torque balance, every array (N,), finite.

    Attributes
    ----------
    source_v : d E' [V]
    k : torque constant K [V s/rad]
    resistance_ohm, resistance_back_ohm : r [ohm] for I >= 0 and I < 0
    no_load_a, reference_rad_s, exponent : I0(w) = no_load_a (w/reference)^exponent
    gear_ratio, gear_efficiency : g, e
    which : propeller index into ``stack``
    diameter_m, density_kg_m3, airspeed_m_s
    stack : SurfaceStack
    """

    source_v: Floats
    k: Floats
    resistance_ohm: Floats
    resistance_back_ohm: Floats
    no_load_a: Floats
    reference_rad_s: Floats
    exponent: Floats
    gear_ratio: Floats
    gear_efficiency: Floats
    which: NDArray[np.intp]
    diameter_m: Floats
    density_kg_m3: Floats
    airspeed_m_s: Floats
    stack: SurfaceStack

    def take(self, index: Any) -> "SpeedProblem":
        """The lanes of an index, slice or mask."""
        return SpeedProblem(
            stack=self.stack,
            **{name: getattr(self, name)[index] for name in _LANE_FIELDS},
        )

    @property
    def size(self) -> int:
        """Number of lanes."""
        return int(self.source_v.size)


_LANE_FIELDS = tuple(a.name for a in attrs.fields(SpeedProblem) if a.name != "stack")


def solve_speed(problem: SpeedProblem) -> tuple[Floats, NDArray[np.int8]]:
    """Propeller speed [rad/s] and status of each lane; NaN where there is no answer.

    Status: OK; CANNOT_TURN where S does not exceed r I0(0); NO_SOLUTION where the bracket holds no sign change;
    NOT_CONVERGED when |f| stays above 1e-10 S.
    """
    u = np.empty(problem.size)
    status = np.empty(problem.size, dtype=np.int8)
    for start in range(0, problem.size, CHUNK):
        part = slice(start, start + CHUNK)
        u[part], status[part] = _solve_chunk(problem.take(part))
    return u, status


def _solve_chunk(p: SpeedProblem) -> tuple[Floats, NDArray[np.int8]]:
    status = np.full(p.size, Status.OK, dtype=np.int8)
    u = np.full(p.size, np.nan)
    no_load_at_rest = np.where(p.exponent == 0, p.no_load_a, 0.0)
    turns = (p.source_v > 0) & (p.source_v > p.resistance_ohm * no_load_at_rest)
    status[~turns] = Status.CANNOT_TURN
    lanes = np.flatnonzero(turns)
    if not lanes.size:
        return u, status
    q = p if lanes.size == p.size else p.take(lanes)
    speed, settled = _halley(q)
    settled &= ~q.stack.torque_falls[q.which]
    u[lanes] = speed
    rest = lanes[~settled]
    if rest.size:
        u[rest], status[rest] = _bracketed_speed(p.take(rest))
    return u, status


def _halley(p: SpeedProblem) -> tuple[Floats, NDArray[np.bool_]]:
    """Halley steps under the assumption Q >= 0 and I >= 0; lanes that break it are reported as not settled."""
    torque_per_cp = p.density_kg_m3 * p.diameter_m**5 / (8.0 * np.pi**3)
    ratio = p.gear_ratio * p.k
    volts_per_cp = p.resistance_ohm * torque_per_cp / (ratio * p.gear_efficiency)
    moving = bool(np.any(p.airspeed_m_s > 0))
    drag_like = bool(np.any(p.exponent != 0))
    constant_v = p.source_v if drag_like else p.source_v - p.resistance_ohm * p.no_load_a
    j_per_u = _TWO_PI * p.airspeed_m_s / p.diameter_m
    stack, which = p.stack, p.which
    # closed-form start: CP ~ c (1 - (J/Jz)^2) makes f a quadratic in u
    a2 = volts_per_cp * stack.start_c[which]
    a0 = constant_v - (p.resistance_ohm * p.no_load_a if drag_like else 0.0)
    a0 = np.maximum(a0, 0.02 * p.source_v) + a2 * (j_per_u / stack.start_jz[which]) ** 2
    u = 2.0 * a0 / (ratio + np.sqrt(ratio * ratio + 4.0 * a2 * a0))
    limit = RESIDUAL_LIMIT * p.source_v
    settled = np.zeros(p.size, dtype=bool)
    f: Floats = np.empty(0)
    with np.errstate(all="ignore"):
        for _ in range(_HALLEY_STEPS):
            j = j_per_u / u if moving else j_per_u
            cp, by_rpm, by_j = stack.power_with_slopes(which, u * _RAD_S_RPM, j)
            slope = u * _RAD_S_RPM * by_rpm - j * by_j  # u dCP/du
            load = volts_per_cp * u
            f = constant_v - ratio * u - load * u * cp
            df = -ratio - load * (2.0 * cp + slope)
            if drag_like:
                drop = p.resistance_ohm * p.no_load_a * (p.gear_ratio * u / p.reference_rad_s) ** p.exponent
                f = f - drop
                df = df - p.exponent * drop / u
            settled = np.abs(f) <= limit
            if settled.all():
                break
            newton = -f / df
            half_curvature = -volts_per_cp * (cp + 0.5 * slope)
            u = u + np.where(settled, 0.0, newton / (1.0 + newton * half_curvature / df))
            u = np.where(u > 0, u, 1e-3)
        back = cp < 0
        if moving and back.any():
            current = torque_per_cp * cp * u * u / (ratio * p.gear_efficiency) + p.no_load_a
            settled &= ~(back & ((current < 0) | (p.gear_efficiency != 1.0)))
    return u, settled & np.isfinite(u)


def _residual(p: SpeedProblem, u: Floats) -> tuple[Floats, Floats]:
    """f and df/du with every branch: gear driven backwards, current fed back."""
    j = _TWO_PI * p.airspeed_m_s / (u * p.diameter_m)
    cp, by_rpm, by_j = p.stack.power_with_slopes(p.which, u * _RAD_S_RPM, j)
    torque_per_cp = p.density_kg_m3 * p.diameter_m**5 / (8.0 * np.pi**3)
    gear = p.gear_ratio * p.k * np.where(cp >= 0, p.gear_efficiency, 1.0 / p.gear_efficiency)
    no_load = p.no_load_a * (p.gear_ratio * u / p.reference_rad_s) ** p.exponent
    current = torque_per_cp * cp * u * u / gear + no_load
    slope = torque_per_cp * u * (2.0 * cp + u * _RAD_S_RPM * by_rpm - j * by_j) / gear + p.exponent * no_load / u
    r = np.where(current >= 0, p.resistance_ohm, p.resistance_back_ohm)
    ratio = p.gear_ratio * p.k
    return p.source_v - ratio * u - r * current, -ratio - r * slope


def _bracketed_speed(p: SpeedProblem) -> tuple[Floats, NDArray[np.int8]]:
    ratio = p.gear_ratio * p.k
    free = p.source_v / ratio
    no_load_top = p.no_load_a * (p.gear_ratio * free / p.reference_rad_s) ** p.exponent
    no_load = np.maximum((p.source_v - p.resistance_ohm * no_load_top) / ratio, 0.0)
    windmill = _TWO_PI * p.airspeed_m_s / p.diameter_m
    slow = windmill / (p.stack.j_zero_high[p.which] * (1 + _ZERO_PADDING))
    fast = windmill / (p.stack.j_zero_low[p.which] * (1 - _ZERO_PADDING))
    low = np.where(p.airspeed_m_s > 0, np.minimum(no_load, slow), 0.0)
    high = np.maximum(free, fast)
    return _bracketed_newton(
        lambda lanes, u: _residual(p.take(lanes), u), low, high, RESIDUAL_LIMIT * p.source_v, falling=True
    )


def _bracketed_newton(
    function: Callable[[NDArray[np.intp], Floats], tuple[Floats, Floats]],
    low: Floats,
    high: Floats,
    limit: Floats,
    *,
    falling: bool,
) -> tuple[Floats, NDArray[np.int8]]:
    """Newton steps kept inside a shrinking bracket, halving it whenever a step leaves it or gains too little.

    ``function(lanes, u) -> (f, df)``; f changes from positive to negative over the bracket when ``falling``.
    """
    sign = 1.0 if falling else -1.0
    low, high = np.maximum(low, 1e-9), np.maximum(high, 2e-9)
    u = np.full(low.shape, np.nan)
    status = np.full(low.shape, Status.NOT_CONVERGED, dtype=np.int8)
    everyone = np.arange(low.size)
    with np.errstate(all="ignore"):
        f_low = sign * function(everyone, low)[0]
        f_high = sign * function(everyone, high)[0]
        for end, value, wrong in ((low, f_low, f_low < 0), (high, f_high, f_high > 0)):
            hit = np.abs(value) <= limit
            u[hit], status[hit] = end[hit], Status.OK
            status[wrong & ~hit & (status != Status.OK)] = Status.NO_SOLUTION
        lanes = np.flatnonzero(status == Status.NOT_CONVERGED)
        a, b = low[lanes], high[lanes]
        x, last = 0.5 * (a + b), b - a
        for _ in range(_BRACKET_STEPS):
            if not lanes.size:
                break
            f, df = function(lanes, x)
            f, df = sign * f, sign * df
            done = (np.abs(f) <= limit[lanes]) | (b - a <= 4e-16 * b)
            u[lanes[done]], status[lanes[done]] = x[done], Status.OK
            a, b = np.where(f > 0, x, a), np.where(f > 0, b, x)
            step = -f / df
            trial = x + step
            poor = ~((trial > a) & (trial < b)) | (np.abs(step) > 0.5 * np.abs(last))
            new = np.where(poor, 0.5 * (a + b), trial)
            last = new - x
            go = ~done
            lanes, a, b, x, last = lanes[go], a[go], b[go], new[go], last[go]
    return u, status


def speed_for_thrust(
    thrust_n: Floats,
    which: NDArray[np.intp],
    stack: SurfaceStack,
    diameter_m: Floats,
    density_kg_m3: Floats,
    airspeed_m_s: Floats,
) -> tuple[Floats, NDArray[np.int8]]:
    """Lowest propeller speed [rad/s] that gives a thrust, CT(J, rpm) rho D^4 u^2/(4 pi^2) = T; arrays (N,), T >= 0.

    Newton from the closed form of CT ~ c (1 - J/J0), then the bracketed search. Where some table lets thrust fall
    with speed, the first crossing on a grid of 96 speeds is refined.
    """
    u = np.empty(thrust_n.shape)
    status = np.empty(thrust_n.shape, dtype=np.int8)
    for start in range(0, thrust_n.size, CHUNK):
        part = slice(start, start + CHUNK)
        u[part], status[part] = _thrust_chunk(
            thrust_n[part], which[part], stack, diameter_m[part], density_kg_m3[part], airspeed_m_s[part]
        )
    return u, status


def _thrust_chunk(
    thrust: Floats,
    which: NDArray[np.intp],
    stack: SurfaceStack,
    diameter: Floats,
    density: Floats,
    airspeed: Floats,
) -> tuple[Floats, NDArray[np.int8]]:
    scale = density * diameter**4 / (4.0 * np.pi**2)
    j_per_u = _TWO_PI * airspeed / diameter

    def excess(lanes: Any, u: Floats) -> tuple[Floats, Floats]:
        j = j_per_u[lanes] / u
        ct, by_rpm, by_j = stack.thrust_with_slopes(which[lanes], u * _RAD_S_RPM, j)
        value = scale[lanes] * u * u * ct - thrust[lanes]
        return value, scale[lanes] * u * (2.0 * ct + u * _RAD_S_RPM * by_rpm - j * by_j)

    everyone = slice(None)
    c = scale * stack.start_t[which]
    idle = j_per_u / stack.start_jt[which]
    u = 0.5 * (idle + np.sqrt(idle * idle + 4.0 * thrust / c))
    force = np.maximum(thrust, c * idle * idle * 1e-3)
    limit = 1e-12 * force
    settled = np.zeros(u.shape, dtype=bool)
    with np.errstate(all="ignore"):
        for _ in range(_HALLEY_STEPS + 2):
            u = np.maximum(u, 1e-3)
            f, df = excess(everyone, u)
            settled = np.abs(f) <= limit
            if settled.all():
                break
            step = np.where(settled, 0.0, -f / df)
            u = u + np.clip(step, -0.5 * u, u)
    settled &= ~stack.thrust_falls[which] & np.isfinite(u)
    status = np.full(u.shape, Status.OK, dtype=np.int8)
    rest = np.flatnonzero(~settled)
    if rest.size:
        low = j_per_u[rest] / (stack.j_thrust_zero_high[which[rest]] * (1 + _ZERO_PADDING))
        fast = j_per_u[rest] / (stack.j_thrust_zero_low[which[rest]] * (1 - _ZERO_PADDING))
        high = np.maximum(4.0 * u[rest], 2.0 * fast)
        high = np.where(np.isfinite(high), high, 2.0 * fast + 10.0)
        for _ in range(40):
            short = excess(rest, high)[0] < 0
            if not short.any():
                break
            high = np.where(short, 2.0 * high, high)
        low, high = _first_crossing(excess, rest, low, high)
        u[rest], status[rest] = _bracketed_newton(
            lambda lanes, x: excess(rest[lanes], x), low, high, limit[rest], falling=False
        )
    return u, status


def _first_crossing(
    function: Callable[[Any, Floats], tuple[Floats, Floats]],
    lanes: NDArray[np.intp],
    low: Floats,
    high: Floats,
) -> tuple[Floats, Floats]:
    """Narrow each bracket to the first step of a 96-step grid over which the function turns positive."""
    before, after = low.copy(), high.copy()
    found = np.zeros(low.shape, dtype=bool)
    previous = np.maximum(low, 1e-9)
    with np.errstate(all="ignore"):
        for i in range(1, 97):
            here = low + (high - low) * i / 96
            crossed = ~found & (function(lanes, here)[0] >= 0)
            before[crossed], after[crossed] = previous[crossed], here[crossed]
            found |= crossed
            if found.all():
                break
            previous = here
    return before, after
