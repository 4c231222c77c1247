"""What propellers take and give at any speed, whatever flies behind them: made once for a shelf and a density."""

from copy import copy
from functools import cached_property
from typing import Any

import attrs
import numpy as np

from propmatch.aircraft.motoroff import motor_off_drag_bounds
from propmatch.models.arrays import Flags, Floats, Index
from propmatch.models.lookup import Workspace
from propmatch.models.surface import Surfaces
from propmatch.search.bounds.hulls import Hulls, least_cp
from propmatch.search.bounds.kept import Kept
from propmatch.search.shelf import Shelf
from propmatch.train.kernel import chunks
from propmatch.train.lanes import TrainLanes
from propmatch.train.torque import ONE, TORQUE_PER_CP, loads, reader_of

__all__ = ["BAND", "PropellerCurves", "curves_of"]

BAND = 1e-7
"""Share of a limit within which nothing is decided by bounds: far above rounding and the roots' 1e-10."""
_SPEEDS = 1024
"""Nodes of speed over a range of about 200 to 1: cells of 0.5 % in speed, 1 % in torque, 8 kB for each propeller."""
_TOGETHER = 128
"""Propellers that are read together."""
_OCTAVES = 4
"""Parts of a doubling to which the fastest speed is rounded up, so that like shelves share their curves."""
_AIRS = 6
"""Densities in which the curves of one shelf are kept."""

_HULLS: Kept[tuple[Surfaces, Hulls]] = Kept(4)
"""Hulls of the tables that several shelves share."""


@attrs.frozen(kw_only=True, eq=False)
class _Readable:
    """The fields of a problem that :func:`propmatch.train.torque.loads` reads."""

    which: Index
    diameter_m: Floats
    density_kg_m3: Floats
    airspeed_m_s: Floats
    surfaces: Surfaces
    ct_scale: Floats = ONE
    cp_scale: Floats = ONE


class PropellerCurves:
    """The propellers of a shelf in one density, up to a fastest speed.

    Attributes
    ----------
    regular : (P,), False where torque or thrust may fall with speed: nothing is decided without solving
    flight_ratio, efficiency, falling_from : (P,), as in :class:`propmatch.search.bounds.hulls.Hulls`
    torque_low, torque_high : (cells, P), static torque at the ends of each cell of speed, widened by ``BAND``; between
        them lies that of the cell, which rises with speed
    torque_worst : (cells, P), no torque of a cell exceeds it, at rest and in flight
    kept : what else was made of these propellers
    """

    def __init__(self, propellers: TrainLanes, density: float, fastest: float) -> None:
        self._propellers, self.density = propellers, density
        self.stack: Surfaces = propellers.stack
        self.which, self.diameter_m = propellers.propeller, propellers.diameter_m
        self.kept: Kept[Any] = Kept(24)
        self._first = min(fastest / 200.0, 50.0)
        self._per_log = (_SPEEDS - 1) / np.log(1.01 * fastest / self._first)
        self._nodes = self._first * np.exp(np.arange(_SPEEDS) / self._per_log)
        # the stack is kept with its hulls, so that its id stays its own
        hulls = _HULLS.get(id(self.stack), lambda: (self.stack, Hulls.of(self.stack)))[1]
        self.falling_from = hulls.falling_from[self.which]
        self.flight_ratio, self.efficiency = (
            each[self.which] * (1.0 + BAND) for each in (hulls.flight_ratio, hulls.efficiency)
        )
        with np.errstate(all="ignore"):
            self._torques(hulls.regular[self.which])
        self.torque_worst = self.torque_high * self.flight_ratio
        self._airs: Kept[PropellerCurves] = Kept(_AIRS)

    def in_air(self, density: float) -> "PropellerCurves":
        """The same propellers in another density: at a speed, torque and thrust go with it."""
        return self if density == self.density else self._airs.get(density, lambda: self._scaled(density))

    def _scaled(self, density: float) -> "PropellerCurves":
        new, ratio = copy(self), density / self.density
        for name in ("_off_n", "thrust_of_power", "_at_nodes"):  # made again where they are asked for
            new.__dict__.pop(name, None)
        new.density, new.kept = density, Kept(self.kept.most)
        new.torque_low, new.torque_high, new.torque_worst = (
            ratio * each for each in (self.torque_low, self.torque_high, self.torque_worst)
        )
        return new

    def _at(self, propeller: Index, airspeed: Floats) -> _Readable:
        return _Readable(
            which=self.which[propeller],
            diameter_m=self.diameter_m[propeller],
            density_kg_m3=np.full(1, self.density),
            airspeed_m_s=airspeed,
            surfaces=self.stack,
        )

    def torque(self, propeller: Index, u: Floats, airspeed: Any = 0.0) -> Floats:
        """Torque of one propeller [N m] at speeds u [rad/s]; a chunk at a time, so that it stays in the cache."""
        out, room = np.empty(u.size), Workspace()
        speed = np.zeros(1) + airspeed
        moving = bool(np.any(speed > 0))
        with np.errstate(all="ignore"):
            for part in chunks(u.size):
                v, here = speed if speed.size == 1 else speed[part], u[part]
                p = self._at(propeller[part], v)
                reader = reader_of("cp", p, here.size, room, moving=moving)
                reader.go(here, 2.0 * np.pi * v / (p.diameter_m * here) if moving else v)
                out[part] = TORQUE_PER_CP * self.density * p.diameter_m**5 * here * here * reader.value()
        return out

    def torque_between(self, propeller: Index, u: Floats, slow: Floats, fast: Floats) -> Floats:
        """Less than the torque of one propeller [N m] at a speed (N,) and any airspeed between two (N,)."""
        d = self.diameter_m[propeller]
        ratios = (2.0 * np.pi * v / (d * u) for v in (slow, fast))
        least = least_cp(self.stack, self.which[propeller], u, *ratios)
        return np.asarray(TORQUE_PER_CP * self.density * d**5 * u * u * least)

    def thrust(self, propeller: Index, u: Floats, airspeed: Floats) -> Floats:
        """Thrust of one propeller [N] at speeds u [rad/s] and airspeeds (N,)."""
        return np.asarray(loads(self._at(propeller, airspeed), u)[1])

    @cached_property
    def _off_n(self) -> tuple[Floats, Floats]:
        """Least and greatest drag of each propeller (P,) with the motor off, at 1 m/s."""
        return motor_off_drag_bounds(self._propellers, 1.0, self.density)

    def off_drag_n(self, propeller: Index, airspeed: Floats) -> tuple[Floats, Floats]:
        """Least and greatest drag of a train's propellers with the motor off, whatever the motor [N]."""
        least, most = self._off_n
        return least[propeller] * airspeed**2, most[propeller] * airspeed**2

    @cached_property
    def thrust_of_power(self) -> tuple[Floats, Floats]:
        """Static shaft power [W] and thrust [N] of one propeller at the nodes of speed, (P, nodes) each."""
        power, thrust = np.empty((2, self.which.size, _SPEEDS))
        for some in self._together():
            problem = self._at(np.repeat(some, _SPEEDS), np.zeros(1))
            torque, given = loads(problem, np.tile(self._nodes, some.size))
            power[some], thrust[some] = torque.reshape(-1, _SPEEDS) * self._nodes, given.reshape(-1, _SPEEDS)
        return power, thrust

    def _together(self) -> list[Index]:
        """All propellers, some at a time."""
        count = self.which.size
        return np.array_split(np.arange(count), -(-count // _TOGETHER))

    def _torques(self, regular: Flags) -> None:
        count = self.which.size
        self.torque_low, self.torque_high = np.zeros((_SPEEDS + 1, count)), np.full((_SPEEDS + 1, count), np.inf)
        for some in self._together():
            rows = np.repeat(some, _SPEEDS)
            torque = self.torque(rows, np.tile(self._nodes, some.size)).reshape(some.size, _SPEEDS).T
            self.torque_low[1:, some], self.torque_high[:-1, some] = torque, torque
        self.regular = regular & (self.torque_high[0] > 0)
        self.torque_low[:, ~self.regular], self.torque_high[:, ~self.regular] = 0.0, np.inf
        self.torque_low *= 1.0 - BAND
        self.torque_high *= 1.0 + BAND

    @staticmethod
    def of_cells(numbers: Floats, propeller: Index, cell: Index) -> Floats:
        """Numbers (cells, P) of propellers (N,) in cells (N,); of (1, P), which are all of them, in cells (D, 1)."""
        if propeller.ndim == 2:
            return np.take(numbers, cell[:, 0], axis=0)
        return np.asarray(np.take(numbers, cell * numbers.shape[1] + propeller))

    def cell_of(self, u: Floats) -> Index:
        """Cell of speed of each u."""
        with np.errstate(all="ignore"):
            place = np.ceil(np.log(np.maximum(u, 0.5 * self._first) / self._first) * self._per_log)
        return np.asarray(np.clip(np.nan_to_num(place, nan=0.0, posinf=_SPEEDS), 0, _SPEEDS), dtype=np.intp)


_KEPT: Kept[PropellerCurves] = Kept(4)


def curves_of(density: float, shelf: Shelf, *more: Shelf) -> PropellerCurves:
    """The curves of the first shelf's propellers, up to the fastest that any motor and pack of the shelves turn."""
    free = 0.0
    for each in (shelf, *more):
        volts = max(float(p.cell_ocv_v(1.0)) for p in each.lanes.chemistries) * np.max(each.column("cells"))
        free = max(free, float(volts / np.min(each.column("k") * each.column("gear_ratio"))))
    fastest = float(2.0 ** (np.ceil(np.log2(free) * _OCTAVES) / _OCTAVES))
    first = np.zeros(len(shelf.propellers), dtype=np.intp)
    lanes = shelf.combine(first, first, first, np.arange(first.size))[0]
    columns = (lanes.propeller, lanes.diameter_m, lanes.motor_off, lanes.still_drag_m2, lanes.count)
    key = (id(lanes.stack), fastest, *(column.tobytes() for column in columns))
    # the curves hold the stack, so that its id stays its own
    return _KEPT.get(key, lambda: PropellerCurves(lanes, density, fastest)).in_air(density)
