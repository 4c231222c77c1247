"""Drag of the propellers while the motor is off: folded, stopped, windmilling or braked.

A propeller that does not turn has its drag area (:mod:`propmatch.records.motoroff`) times rho V^2/2. One that turns is
the power train with nothing in front of it: the stream's torque at the motor is its friction and, with a shorted
winding, the current that its voltage drives through winding and controller,

    I(Q, u) = 0               windmilling, the circuit open: Q e/(g K_t) = -I0(g u)
    K g u + r I(Q, u) = 0     braked, the winding shorted, r = R + R_c + b g u

with Q < 0 from the coefficient table. It turns at the fastest such speed: slower ones it runs away from. Torque is
sought from J0, where the table gives none, to 2 J0: of a table that goes on in a straight line the torque is greatest
there, and blades beyond it are stalled. Where the stream cannot turn motor and propeller at any of them they stand
still.

Source: torque beyond J0: common practice, no published source.
"""

import attrs
import numpy as np
from numpy.typing import ArrayLike, NDArray

from propmatch.models.arrays import Flags, Floats
from propmatch.models.surface import Surfaces
from propmatch.records.motoroff import CODES
from propmatch.status import Status
from propmatch.train.brackets import bracketed_newton
from propmatch.train.kernel import ZERO_PADDING
from propmatch.train.lanes import TrainLanes
from propmatch.train.line import fixed_ohm
from propmatch.train.torque import SpeedProblem, imbalance, loads
from propmatch.units import RPM_RAD_S

__all__ = [
    "BRAKED",
    "DISK_CD",
    "FOLDED",
    "KINDS",
    "STOPPED",
    "WINDMILLING",
    "MotorOff",
    "motor_off_area_bounds_m2",
    "motor_off_drag",
    "motor_off_drag_bounds",
]

FOLDED, STOPPED, WINDMILLING, BRAKED = CODES["folded"], CODES["stopped"], CODES["windmilling"], CODES["braked"]
KINDS = {code: word for word, code in CODES.items()}
DISK_CD = 1.17
"""Drag coefficient of a flat disk across the stream, above which no propeller's is taken: S. F. Hoerner, Fluid-Dynamic
Drag, 1965, ch. III; value from memory."""
_FARTHEST = 2.0
"""Advance ratios over that of no torque up to which a propeller is taken to turn."""
_STEPS = 8
_LEAST_OHM = 1e-6
_SETTLED = 1e-12
"""Torque left, of rho V^2 D^3."""


@attrs.frozen(kw_only=True, eq=False)
class MotorOff:
    """Trains of N lanes with the motor off, arrays (N,).

    Attributes
    ----------
    drag_n : of all propellers, never negative; NaN where the airspeed is negative or not a number
    rpm : of the propeller; 0 where it stands
    kind : FOLDED, STOPPED, WINDMILLING or BRAKED as in ``KINDS``; 0 where there is no answer
    beyond : whether the drag rests on the table past its last advance ratio
    """

    drag_n: Floats
    rpm: Floats
    kind: NDArray[np.int8]
    beyond: Flags


def motor_off_drag(lanes: TrainLanes, airspeed_m_s: ArrayLike, density_kg_m3: ArrayLike) -> MotorOff:
    """Drag of the whole train with the motor off, at airspeeds and in densities (N,) or one for all."""
    v, rho = (np.broadcast_to(np.asarray(x, dtype=np.float64), lanes.size) for x in (airspeed_m_s, density_kg_m3))
    sound = (v >= 0) & (rho > 0) & np.isfinite(v * rho)
    v = np.where(sound, v, np.nan)
    drag = 0.5 * rho * v * v * lanes.still_drag_m2
    rpm = np.where(sound, 0.0, np.nan)
    kind = np.where(sound, np.where(lanes.motor_off == FOLDED, FOLDED, STOPPED), 0).astype(np.int8)
    beyond = np.zeros(lanes.size, dtype=bool)
    some = np.flatnonzero(sound & (lanes.motor_off >= WINDMILLING) & (v > 0))
    if some.size:
        problem, speed = _turning(lanes.take(some), v[some], rho[some])
        turns = np.isfinite(speed)
        some, problem, speed = some[turns], problem.take(turns), speed[turns]
    if some.size:
        most = DISK_CD * 0.125 * np.pi * rho[some] * (v[some] * problem.diameter_m) ** 2
        drag[some] = np.clip(-loads(problem, speed)[1], 0.0, most)
        rpm[some], kind[some] = speed / RPM_RAD_S, lanes.motor_off[some]
        j = 2.0 * np.pi * v[some] / (problem.diameter_m * speed)
        beyond[some] = j > lanes.stack.j_max[problem.which]
    return MotorOff(drag_n=lanes.count * drag, rpm=rpm, kind=kind, beyond=beyond)


def _turning(lanes: TrainLanes, v: Floats, rho: Floats) -> tuple[SpeedProblem, Floats]:
    """The balance without a source, and the fastest propeller speed of it [rad/s]; NaN where it stands still.

    An open circuit is a motor without voltage: K and b are 0 and the resistance any.
    """
    shorted = lanes.motor_off == BRAKED
    ohm = np.where(shorted, np.maximum(fixed_ohm(lanes), _LEAST_OHM), 1.0)
    motors = lanes.columns() | {
        "k": np.where(shorted, lanes.k, 0.0),
        "slope_ohm_s": np.where(shorted, lanes.slope_ohm_s, 0.0),
    }
    problem = SpeedProblem(
        source_v=np.zeros(lanes.size), resistance_ohm=ohm, resistance_back_ohm=ohm, which=lanes.propeller,
        diameter_m=lanes.diameter_m, density_kg_m3=rho, airspeed_m_s=v, ct_scale=lanes.ct_scale,
        cp_scale=lanes.cp_scale, surfaces=lanes.stack, **motors,
    )  # fmt: skip
    low, high = _advance_ratios(lanes.stack)
    per_j = 2.0 * np.pi * v / lanes.diameter_m
    slow, fast = per_j / high[lanes.propeller], per_j / low[lanes.propeller]
    everyone = np.arange(lanes.size)
    with np.errstate(all="ignore"):
        # from fast to slow: the first step over which the stream's torque comes to exceed what holds it back
        above, below, found = fast.copy(), fast.copy(), np.zeros(lanes.size, dtype=bool)
        for step in range(1, _STEPS + 1):
            here = per_j / (per_j / fast + (per_j / slow - per_j / fast) * step / _STEPS)
            turns = ~found & (imbalance(problem, here)[0] >= 0)
            above = np.where(~found & ~turns, here, above)
            below = np.where(turns, here, below)
            found |= turns
        limit = _SETTLED * ohm * rho * v**2 * lanes.diameter_m**3 / (lanes.gear_ratio * lanes.k_torque)
        rows = everyone[found]
        speed = np.full(lanes.size, np.nan)
        solved, status = bracketed_newton(
            lambda at, u: imbalance(problem.take(rows[at]), u), below[rows], above[rows], limit[rows], falling=True
        )
    speed[rows] = np.where(status == Status.OK, solved, np.nan)
    return problem, speed


def _advance_ratios(stack: Surfaces) -> tuple[Floats, Floats]:
    """Between these advance ratios (P,) propellers turn with the motor off, if they do."""
    return stack.j_zero_low * (1.0 - ZERO_PADDING), _FARTHEST * stack.j_zero_high


# ---------------------------------------------------------------- bounds that hold for any motor

_BERNSTEIN = np.array([[1.0, 0, 0, 0], [1, 1 / 3, 0, 0], [1, 2 / 3, 1 / 3, 0], [1, 1, 1, 1]])
"""Power coefficients of a cubic on 0..1 to Bernstein's, between whose least and greatest it lies."""
_PIECES = 16
_SLACK = 1e-9


def motor_off_drag_bounds(
    lanes: TrainLanes, airspeed_m_s: ArrayLike, density_kg_m3: ArrayLike
) -> tuple[Floats, Floats]:
    """Low and high drag (N,) [N] with the motor off, whatever motor and controller the propellers are on."""
    v, rho = (np.asarray(x, dtype=np.float64) for x in (airspeed_m_s, density_kg_m3))
    pressure = np.where((v >= 0) & (rho > 0), 0.5 * rho * v * v, np.nan)
    low, high = motor_off_area_bounds_m2(lanes)
    return pressure * low, pressure * high


def motor_off_area_bounds_m2(lanes: TrainLanes) -> tuple[Floats, Floats]:
    """The same over rho V^2/2: low and high drag area (N,) [m2], at any airspeed and in any density.

    Of the lanes only what propellers and the motor count bring is read. A lane that folds or stands has its drag area.
    One that may turn stands, or turns at an advance ratio from J0 to 2 J0 and has -2 CT/J^2 D^2, clipped to 0 and the
    flat disk; clipping keeps order. CT lies between the least and greatest Bernstein coefficients of each cell that
    these advance ratios touch, at any rpm; over a piece of J from a to b -CT/J^2 with CT from m to M lies between the
    least of -M/a^2, -M/b^2 and the greatest of -m/a^2, -m/b^2, 1/J^2 being monotone.
    """
    turns = lanes.motor_off >= WINDMILLING
    still, square = lanes.still_drag_m2, lanes.diameter_m**2
    low, high = still.copy(), still.copy()
    for propeller in np.flatnonzero(np.bincount(lanes.propeller[turns])).tolist():
        some = turns & (lanes.propeller == propeller)
        least, most = (np.clip(x, 0.0, DISK_CD * 0.25 * np.pi) for x in _turning_drag(lanes.stack, propeller))
        low[some] = np.minimum(still[some], square[some] * least)
        high[some] = np.maximum(still[some], square[some] * most)
    return lanes.count * low * (1.0 - _SLACK), lanes.count * high * (1.0 + _SLACK)


def _turning_drag(stack: Surfaces, at: int) -> tuple[float, float]:
    """Least and greatest -2 CT/J^2 of a propeller over every rpm and the advance ratios at which it may turn."""
    first, columns = int(stack.first_cell[at]), int(stack.columns[at])
    cells = stack.ct_cells[first : first + int(stack.rows[at]) * columns].reshape(-1, columns, 4, 4)
    low, high = (float(x[at]) for x in _advance_ratios(stack))
    step = 1.0 / float(stack.j_scale[at])
    # inside the table whole cells, both ways; past it pieces of the straight line
    inside = _BERNSTEIN @ cells[:, :-1] @ _BERNSTEIN.T
    edges = step * np.arange(columns)
    last = step * (columns - 1)
    past = np.linspace(max(low, last), high, _PIECES + 1)
    level, rise = (cells[:, -1, b] @ _BERNSTEIN.T for b in (0, 1))
    line = level[None] + (past[:, None, None] / step - (columns - 1)) * rise[None]
    ends = np.stack([line[:-1], line[1:]])
    start = np.concatenate([edges[:-1], past[:-1]])
    stop = np.concatenate([edges[1:], past[1:]])
    least = np.concatenate([inside.min(axis=(0, 2, 3)), ends.min(axis=(0, 2, 3))])
    most = np.concatenate([inside.max(axis=(0, 2, 3)), ends.max(axis=(0, 2, 3))])
    touched = (stop > start) & (stop >= low) & (start <= high)
    a, b = np.maximum(start[touched], low), np.minimum(stop[touched], high)
    ends_2 = np.stack([a, b]) ** -2.0
    return 2.0 * float(np.min(-most[touched] * ends_2)), 2.0 * float(np.max(-least[touched] * ends_2))
