"""Into the air at full throttle: the take-off run, and the height that a throw loses before it climbs.

Take-off run to 1.2 times the stall speed, s = int (V - V_w) dV/a, with a = g (f T - D - mu (W - L))/W and T the train's
own thrust at each airspeed. The wing rolls at the lift coefficient of least resistance mu/(2 k), at most that which
carries the weight at the end, so that the wheels bear W - L >= 0 all along; ground effect is left out, which makes the
run a little longer.

Throw: level, at full throttle, as a point mass in the plane of flight. Where it is slower than the stall the wing gives
all the lift it has, at cl_max, until the path is level again: W/g dv/dt = f T - D - W sin(gamma) along the path and q S
cl_max - W cos(gamma) across it. Without thrust and drag that is the phugoid of constant lift coefficient. From the
lowest point, or at once from the stall speed on, it flies level and must gain speed up to 1.2 times the stall. Turning
thrust, ground effect and the yaw or roll of a bad throw are left out.

Everything is an array function over lanes.

Sources: take-off run: J. D. Anderson, Introduction to Flight, ch. 6; phugoid: F. W. Lanchester, Aerodonetics, 1908.
"""

from collections.abc import Callable
from functools import cache
from typing import Any

import attrs
import numpy as np

from propmatch.aircraft.polar import AirframeLanes, drag_n, stall_speed_m_s
from propmatch.models.arrays import Floats, Index
from propmatch.units import GRAVITY_M_S2

__all__ = ["FLYING_OVER_STALL", "Throw", "Thrust", "takeoff_run_m", "thrown"]

FLYING_OVER_STALL = 1.2
"""Airspeed at which it leaves the ground, or climbs from a throw, over the stall speed."""

Thrust = Callable[[Index, Floats], Floats]
"""Thrust of the whole train [N] of lanes (M,) at airspeeds (M,)."""

_GRID = np.linspace(0.0, 2.5, 11)
"""Airspeeds over the stall between which thrust is taken as straight; a throw that dives beyond keeps the last."""
_STEP, _STEPS = 0.05, 400
"""Of stall speed/g; a pull-out lasts two to four of them."""


@cache
def _gauss() -> tuple[Floats, Floats]:
    """Nodes and weights of Gauss and Legendre, of eight points."""
    return np.polynomial.legendre.leggauss(8)


def _each(thrust: Thrust, speeds: Floats) -> Floats:
    """Thrust (M, N) at airspeeds (M, N), a row after the other."""
    lanes = np.tile(np.arange(speeds.shape[1]), len(speeds))
    return np.asarray(thrust(lanes, speeds.ravel())).reshape(speeds.shape)


def takeoff_run_m(
    airframe: AirframeLanes, density: Floats, thrust: Thrust, friction: Any, head_wind_m_s: Any = 0.0
) -> Floats:
    """Ground that N aircraft roll over until they fly at 1.2 times the stall speed [m].

    Parameters
    ----------
    airframe : AirframeLanes, N lanes
    density : (N,) [kg/m3]
    thrust : Thrust, before ``installed_thrust``
    friction : rolling friction over the load on the wheels, 0..1
    head_wind_m_s : along the runway [m/s], >= 0

    Returns
    -------
    (N,); 0 in a wind in which it flies at once, NaN where full throttle does not reach that speed.
    """
    end = FLYING_OVER_STALL * np.asarray(stall_speed_m_s(airframe, density))
    start = np.minimum(head_wind_m_s, end)
    half = 0.5 * (end - start)
    nodes, weights = _gauss()
    speeds = start + half * (1.0 + np.array([-1.0, *nodes, 1.0]))[:, None]
    lift = np.minimum(friction / (2.0 * airframe.k), airframe.cl_max / FLYING_OVER_STALL**2)
    qs = 0.5 * density * speeds**2 * airframe.area_m2
    wheels = airframe.weight_n - qs * lift
    drag = qs * (airframe.cd0 + airframe.k * lift**2)
    net = airframe.installed_thrust * _each(thrust, speeds) - drag - friction * wheels
    goes = np.all(net > 0, axis=0)
    seconds = airframe.mass_kg * weights[:, None] / np.where(goes, net, np.nan)[1:-1]
    return np.asarray(half * np.sum(seconds * (speeds[1:-1] - start), axis=0))


@attrs.frozen(kw_only=True, eq=False)
class Throw:
    """What becomes of N throws; NaN where full throttle does not carry the aircraft.

    Attributes
    ----------
    height_lost_m : until the path is level again, 0 from the stall speed on
    airspeed_m_s : there
    """

    height_lost_m: Floats
    airspeed_m_s: Floats


def thrown(airframe: AirframeLanes, density: Floats, thrust: Thrust, airspeed_m_s: Any) -> Throw:
    """Height that N aircraft lose after a level throw at full throttle.

    Parameters
    ----------
    airframe : AirframeLanes, N lanes
    density : (N,) [kg/m3]
    thrust : Thrust, before ``installed_thrust``
    airspeed_m_s : of the throw, with the head wind [m/s], > 0
    """
    stall = np.asarray(stall_speed_m_s(airframe, density))
    pull = airframe.installed_thrust * _each(thrust, _GRID[:, None] * stall)  # (M, N)
    first = np.broadcast_to(np.asarray(airspeed_m_s, dtype=np.float64), stall.shape) / stall
    lost, level = _pulled_out(airframe, pull / airframe.weight_n, first)
    speeds = np.clip(level, 1.0, FLYING_OVER_STALL)
    speeds = stall * (speeds + (FLYING_OVER_STALL - speeds) * np.linspace(0.0, 1.0, 5)[:, None])
    gains = np.all(_between(pull, speeds / stall) > drag_n(airframe, density, speeds), axis=0)
    return Throw(
        height_lost_m=np.where(gains, lost * stall**2 / GRAVITY_M_S2, np.nan),
        airspeed_m_s=np.where(gains, level * stall, np.nan),
    )


def _between(known: Floats, over_stall: Floats) -> Floats:
    """Values known on the grid (M, N) at airspeeds over the stall (..., N), straight between its nodes."""
    at = np.minimum(over_stall / _GRID[1], len(_GRID) - 1.0)
    low = np.minimum(np.nan_to_num(at).astype(np.intp), len(_GRID) - 2)
    share, lane = at - low, np.arange(known.shape[1])
    return np.asarray((1.0 - share) * known[low, lane] + share * known[low + 1, lane])


def _pulled_out(airframe: AirframeLanes, pull: Floats, first: Floats) -> tuple[Floats, Floats]:
    """Height lost until level, over stall^2/g, and airspeed there over the stall; NaN where it never levels out.

    Speeds forward and up over the stall, u and w, with t over stall/g: lift v^2 across the path and thrust less drag
    along it, by the classical Runge-Kutta steps.
    """
    drag = (airframe.cd0 + airframe.k * airframe.cl_max**2) / airframe.cl_max

    def rate(state: Floats) -> Floats:
        u, w, _ = state
        v = np.hypot(u, w)
        along = (_between(pull, v) - drag * v**2) / v
        return np.array([along * u - v * w, along * w + v * u - 1.0, w])

    at_once = first >= 1.0
    lost, level = np.where(at_once, 0.0, np.nan), np.where(at_once, first, np.nan)
    sinking = first < 1.0
    state = np.array([first, np.zeros_like(first), np.zeros_like(first)])
    for _ in range(_STEPS):
        if not sinking.any():
            break
        a = rate(state)
        b = rate(state + 0.5 * _STEP * a)
        c = rate(state + 0.5 * _STEP * b)
        after = state + _STEP / 6.0 * (a + 2.0 * (b + c) + rate(state + _STEP * c))
        now = sinking & (after[1] >= 0.0)
        share = np.where(now, state[1] / np.where(now, state[1] - after[1], 1.0), 0.0)
        lost = np.where(now, -state[2] - 0.5 * share * _STEP * state[1], lost)
        level = np.where(now, state[0] + share * (after[0] - state[0]), level)
        sinking &= ~now
        state = np.where(sinking, after, state)
    return lost, level
