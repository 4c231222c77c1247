"""Whether a combination can reach a thrust to weight or a top speed at all: one reading of the propeller, no root.

A thrust at rest is reached where the voltage left over at the propeller speed that gives it is not negative. A level
speed V cannot be reached, nor any higher one, where full throttle cannot hold it, if V is not below the speed of least
drag and available thrust falls with airspeed from there on (:mod:`propmatch.search.bounds.hulls`). The other way round,
a climb is surely reached where the drive gives its thrust at the fast end of a range of airspeed.
"""

from collections.abc import Callable, Iterator

import attrs
import numpy as np

from propmatch.aircraft.polar import AirframeLanes, least_drag_speed_m_s, least_speed_m_s, thrust_needed_n
from propmatch.models.arrays import Flags, Floats, Floats32, Index
from propmatch.search.bounds.tables import PropellerTables, Want
from propmatch.search.shelf import Shelf
from propmatch.status import Status
from propmatch.train import line
from propmatch.train.lanes import TrainLanes

__all__ = ["CLIMB_RATIO", "TESTED", "SureClimb", "may_reach", "wanted"]

TESTED = ("thrust_to_weight", "top_speed")
"""Metrics that :func:`may_reach` knows."""
_EVERY = 3
"""Of so many nodes of mass one is looked at: what it asks for is solved, and a little less serves those above it."""
_RANGES, CLIMB_RATIO = 12, 1.1
"""Ranges of airspeed in which a climb is looked for, and the ratio of their ends."""
_SURE_RANGES = 5
"""The slowest of them, where a climb that is easily reached is found."""
_BAND = 1e-6
"""Share of the value asked for, and of the voltage, by which a test is eased: far above the roots' 1e-10."""


def _speed_and_torque(
    tables: PropellerTables, propeller: Index, thrust_n: Floats, airspeed: Floats
) -> tuple[Floats, Floats]:
    """Lowest propeller speed that gives a thrust, and its torque; NaN where none does."""
    u, torque, status = tables.lowest_speed(propeller, np.maximum(thrust_n, 1e-6), airspeed)
    good = (status == Status.OK) & tables.regular[propeller]
    return np.where(good, u, np.nan), np.where(good, torque, np.nan)


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
    ratio = 2.0 * np.pi * airspeed / (u * tables.curves.diameter_m[propeller])
    sound = (value > 1.0) & (airspeed >= np.asarray(least_drag_speed_m_s(frames, rho)))
    sound &= ratio >= tables.curves.falling_from[propeller]
    return np.where(sound, u, np.nan), np.where(sound, torque, np.nan)


def may_reach(tables: PropellerTables, shelf: Shelf, rows: Index, metric: str, value: Floats) -> Flags:
    """False where combinations (N, 4) of a shelf surely stay below values (N,) of a metric."""
    lanes, ratings = shelf.combine(*rows.T)
    frames = tables.setting.airframes(ratings.mass_g)
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


def wanted(tables: PropellerTables, metric: str, value: float) -> Want:
    """What a value of a metric takes at the nodes of mass, rounded down to single precision: never more than it does.

    A float64 is rounded to the nearest float32 and then goes down by one step of it. The voltage that is asked for
    rises with speed and with torque, so what is called out of reach stays so.
    """
    rows, frames = _looked_at(tables)
    least = np.full(rows.size, value * (1.0 - _BAND))

    def at_nodes(found: Floats) -> Floats32:
        """Of each node, or the one below that was looked at: what is asked for rises with mass."""
        low = np.nextafter(found.astype(np.float32), np.float32(-np.inf)).reshape(tables.mass_g.size, -1)
        return np.repeat(low, _EVERY, axis=1)[:, : tables.nodes].ravel()

    climbs = metric == "climb"
    speed, torque = np.empty((2, _RANGES if climbs else 1, tables.node_rows.size), dtype=np.float32)
    with np.errstate(all="ignore"):
        asked = (
            _climbing(tables, least, frames, rows) if climbs else iter([_asked(tables, metric, least, frames, rows)])
        )
        for at, (u, nm) in enumerate(asked):
            speed[at], torque[at] = at_nodes(u), at_nodes(np.where(np.isfinite(u), nm, np.nan))
    return Want(speed=speed, torque=torque)


def _looked_at(tables: PropellerTables) -> tuple[Index, AirframeLanes]:
    """Propeller and airframe of the nodes of mass that are looked at."""
    some = np.flatnonzero(np.arange(tables.node_rows.size) % tables.nodes % _EVERY == 0)
    return tables.node_rows[some], tables.node_frames.take(some)


def _climbing(
    tables: PropellerTables, climb: Floats, frames: AirframeLanes, propeller: Index
) -> Iterator[tuple[Floats, Floats]]:
    """Propeller speed and torque that a best climb takes, somewhere in each of some ranges of airspeed.

    To climb w at V takes f T >= N(V) = D(V) + W w/V, and V >= w, V >= 1.2 V_stall. N is convex, so over a range it is
    at least what its tangents at the ends have in common. Where the drive cannot give that thrust at the slow end of a
    range, its advance ratio is beyond that of the propeller that would, and if thrust falls from there on with airspeed
    it gives less in all of the range: N is not reached. The last range has no end; there the drag without lift serves,
    which rises, or N where it rises already.
    """
    need, slow = _need(tables, frames, climb), _slowest(tables, frames, climb) * (1.0 - _BAND)
    for at in range(_RANGES):
        v = slow * CLIMB_RATIO**at
        (n, slope, unlifted), (n_end, slope_end, _) = need(v), need(v * CLIMB_RATIO)
        if at == _RANGES - 1:
            n_end, slope_end = unlifted, np.full(v.size, -1.0)
        meet = n + slope * ((n_end - n - slope_end * v * (CLIMB_RATIO - 1.0)) / (slope - slope_end))
        least = np.where(slope >= 0, n, np.where(slope_end <= 0, n_end, meet))
        u, torque = _speed_and_torque(
            tables, propeller, least * (1.0 - _BAND) / frames.installed_thrust / tables.count, v
        )
        falls = 2.0 * np.pi * v / (u * tables.curves.diameter_m[propeller]) >= tables.curves.falling_from[propeller]
        yield np.where(falls, u, np.nan), np.where(falls, torque, np.nan)


def _slowest(tables: PropellerTables, frames: AirframeLanes, climb: Floats) -> Floats:
    """The slowest airspeed that a climb counts at."""
    return np.asarray(np.maximum(least_speed_m_s(frames, tables.density), climb))


def _need(
    tables: PropellerTables, frames: AirframeLanes, climb: Floats
) -> Callable[[Floats], tuple[Floats, Floats, Floats]]:
    """Drag and climb N(V) [N], convex in V, its slope, and the drag without lift."""
    weight, free = frames.weight_n, 0.5 * tables.density * frames.area_m2 * frames.cd0
    held = (frames.k * weight**2) / (0.5 * tables.density * frames.area_m2)

    def need(v: Floats) -> tuple[Floats, Floats, Floats]:
        unlifted, lifted, path = free * v**2, held / v**2, weight * climb / v
        return unlifted + lifted + path, (2.0 * (unlifted - lifted) - path) / v, unlifted

    return need


@attrs.frozen(kw_only=True, eq=False)
class SureClimb:
    """What surely gives a climb w at every airspeed of a range, at nodes of mass.

    A drive that gives T at the fast end V_b of V_a..V_b gives no less at any V between, where thrust falls with
    airspeed from rest on. f T >= max(N(V_a), N(V_b)) is enough: N is convex, and rises with mass. Both T and w are
    asked for with a little more.

    Attributes
    ----------
    climb_m_s : w
    slow : (P nodes,) where the first range begins [m/s]; each ends at ``CLIMB_RATIO`` times its beginning
    speed, torque : (ranges, P nodes), those that give T at the fast end [rad/s, N m]; NaN where that says nothing
    """

    climb_m_s: float
    slow: Floats
    speed: Floats
    torque: Floats

    @classmethod
    def of(cls, tables: PropellerTables, climb_m_s: float) -> "SureClimb":
        """Of each node, what the next one asks for that is looked at."""
        rows, frames = _looked_at(tables)
        climb = np.full(rows.size, climb_m_s * (1.0 + _BAND))
        above = -(-np.arange(tables.nodes) // _EVERY)

        def at_nodes(found: Floats) -> Floats:
            ends = np.full((tables.mass_g.size, 1), np.nan)
            return np.asarray(np.hstack([found.reshape(tables.mass_g.size, -1), ends])[:, above].ravel())

        need, slow = _need(tables, frames, climb), _slowest(tables, frames, climb) * (1.0 + _BAND)
        falls = tables.curves.falling_from[rows] <= 0
        speed, torque = [], []
        with np.errstate(all="ignore"):
            for at in range(_SURE_RANGES):
                v = slow * CLIMB_RATIO**at
                most = np.maximum(need(v)[0], need(v * CLIMB_RATIO)[0]) * (1.0 + _BAND)
                u, q = _speed_and_torque(tables, rows, most / frames.installed_thrust / tables.count, v * CLIMB_RATIO)
                speed.append(at_nodes(np.where(falls, u, np.nan)))
                torque.append(at_nodes(np.where(falls, q, np.nan)))
        return cls(climb_m_s=climb_m_s, slow=at_nodes(slow), speed=np.array(speed), torque=np.array(torque))
