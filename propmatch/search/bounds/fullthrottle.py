"""Whether a combination can reach a thrust to weight or a top speed at all: one reading of the propeller, no root.

A thrust at rest is reached where the voltage left over at the propeller speed that gives it is not negative. A level
speed V cannot be reached, nor any higher one, where full throttle cannot hold it, if V is not below the speed of least
drag and available thrust falls with airspeed from there on (:mod:`propmatch.search.bounds.fallingthrust`).
"""

import numpy as np

from propmatch.aircraft.polar import AirframeLanes, least_drag_speed_m_s, thrust_needed_n
from propmatch.models.arrays import Flags, Floats, Index
from propmatch.search.bounds.screen import Screen
from propmatch.search.bounds.tables import HELD, UNKNOWN, HeldTable, PropellerTables
from propmatch.status import Status
from propmatch.train import line
from propmatch.train.lanes import TrainLanes
from propmatch.train.thrust import ThrustProblem, speed_for_thrust
from propmatch.train.torque import loads

__all__ = ["TESTED", "may_reach", "needed_table"]

TESTED = ("thrust_to_weight", "top_speed")
"""Metrics that :func:`may_reach` knows."""
_BAND = 1e-6
"""Share of the value asked for, and of the voltage, by which a test is eased: far above the roots' 1e-10."""


def _speed_and_torque(
    tables: PropellerTables, propeller: Index, thrust_n: Floats, airspeed: Floats
) -> tuple[Floats, Floats]:
    """Lowest propeller speed that gives a thrust, and its torque; NaN where none does."""
    problem = ThrustProblem(
        thrust_n=np.maximum(thrust_n, 1e-6),
        which=tables.which[propeller],
        diameter_m=tables.diameter_m[propeller],
        density_kg_m3=np.full(propeller.size, tables.density),
        airspeed_m_s=airspeed,
        surfaces=tables.stack,
    )
    u, status = speed_for_thrust(problem)
    good = (status == Status.OK) & tables.regular[propeller]
    return np.where(good, u, np.nan), np.where(good, loads(problem, u)[0], np.nan)


def _asked(
    tables: PropellerTables, metric: str, value: Floats, frames: AirframeLanes, propeller: Index
) -> tuple[Floats, Floats]:
    """Propeller speed and torque that a value of a metric takes; NaN where the test says nothing."""
    rho = tables.density
    if metric == "thrust_to_weight":
        rest = np.zeros(propeller.size)
        return _speed_and_torque(
            tables, propeller, value * frames.weight_n / frames.installed_thrust / tables.count, rest
        )
    airspeed = np.where(np.isfinite(value) & (value > 1.0), value, 1.0)
    need = np.asarray(thrust_needed_n(frames, rho, airspeed))
    u, torque = _speed_and_torque(tables, propeller, need / tables.count, airspeed)
    ratio = 2.0 * np.pi * airspeed / (u * tables.diameter_m[propeller])
    sound = (value > 1.0) & (airspeed >= np.asarray(least_drag_speed_m_s(frames, rho)))
    sound &= ratio >= tables.falling_from[propeller]
    return np.where(sound, u, np.nan), np.where(sound, torque, np.nan)


def may_reach(screen: Screen, rows: Index, metric: str, value: Floats) -> Flags:
    """False where combinations (N, 4) surely stay below values (N,) of a metric."""
    shelf, tables = screen.shelf, screen.tables
    lanes, ratings = shelf.combine(*rows.T)
    frames = screen.setting.airframes(ratings.mass_g)
    with np.errstate(all="ignore"):
        u, torque = _asked(tables, metric, value * (1.0 - _BAND), frames, rows[:, 3])
        left = _left_over(lanes, u, torque)
        return np.asarray(~(left < -_BAND * lanes.open_circuit_v(np.full(lanes.size, 0.5))))


def _left_over(p: TrainLanes, u: Floats, torque: Floats) -> Floats:
    """S - K g u - (r + b g u) I at full throttle and half charge."""
    half = np.full(p.size, 0.5)
    source = line.source(p, 1.0, p.open_circuit_v(half), p.pack_ohm(half))
    w = p.gear_ratio * u
    return line.left_over_v(p, source.volts, source.ohm, w, line.current_a(p, torque, line.no_load_a(p, w)))


def needed_table(tables: PropellerTables, metric: str, value: float) -> HeldTable:
    """What a value of a metric takes at the nodes of mass, for a quick look at whole blocks."""
    rows, frames = tables.node_rows, tables.node_frames
    with np.errstate(all="ignore"):
        u, torque = _asked(tables, metric, np.full(rows.size, value * (1.0 - _BAND)), frames, rows)
    shape = (tables.mass_g.size, tables.nodes)
    kind = np.where(np.isfinite(u), HELD, UNKNOWN).astype(np.int8).reshape(shape)
    return HeldTable(speed=u.reshape(shape), torque=torque.reshape(shape), kind=kind)
