"""Which combinations of a block pass every check that can exclude, decided with as few roots as possible.

A block is all propellers by some drives on one pack. Each check is decided by bounds from the tables
(:mod:`propmatch.searchtables`), then by one reading of the propeller's coefficients, and what then lies within 1e-7 of
a limit, or outside what the bounds hold for, by :class:`propmatch.measures.TrainMeasures` itself.
"""

from collections.abc import Iterator
from typing import Any

import attrs
import numpy as np
from numpy.typing import NDArray

from propmatch.flightbounds import FlightBounds, flight_bounds, mean_ocv_v
from propmatch.measures import CHECKS, TrainMeasures
from propmatch.searchdrives import Drives, Pairs, Threshold
from propmatch.searchtables import PropellerTables
from propmatch.setting import Setting, balance_miss_mm
from propmatch.shelf import Shelf

__all__ = ["Lanes", "Screen"]

Floats = NDArray[np.float64]
Index = NDArray[np.intp]
Flags = NDArray[np.bool_]
_BAND = 1e-7
_SAMPLED = 0.005
_MANY = 65536
POSITION = {name: at for at, name in enumerate(CHECKS)}


@attrs.frozen(kw_only=True, eq=False)
class Lanes:
    """Combinations of a block: (N,) numbers of propeller and drive."""

    propeller: Index
    drive: Index

    @property
    def size(self) -> int:
        """How many."""
        return int(self.propeller.size)

    def take(self, some: Flags | Index) -> "Lanes":
        """Some of them."""
        return Lanes(propeller=self.propeller[some], drive=self.drive[some])


class Screen:
    """The checks of one setting over a shelf.

    Attributes
    ----------
    counts : (checks,), combinations by the first check they fail; meaningful while ``counting``
    """

    def __init__(self, setting: Setting, shelf: Shelf, *, counting: bool) -> None:
        self.setting, self.shelf, self.counting = setting, shelf, counting
        self.tables = PropellerTables(setting, shelf)
        self.pairs = Pairs(setting, shelf)
        self._kept: dict[tuple[float, int], tuple[float, float, float]] = {}
        self.counts = np.zeros(len(CHECKS), dtype=np.int64)
        tables = self.tables
        self._low = tables.torque_low * (1.0 - _BAND)
        self._high = tables.torque_high * (1.0 + _BAND)
        self._worst = self._high * tables.flight_ratio[:, None]
        limits = setting.brief.limits
        widest = limits.max_propeller_diameter_in
        self.fits = np.ones(tables.mass_g.size, dtype=bool)
        if widest is not None:
            self.fits = shelf.column("diameter_in") <= widest
        loading = limits.max_wing_loading_g_dm2
        area = setting.variant.airframe.wing_area_dm2
        self._masses = [
            ("all_up_mass", setting.variant.target_mass_g),
            ("wing_loading", None if loading is None else loading * area),
        ]
        self._rpm_tables()

    # ------------------------------------------------------------ drives

    def drives(self, packs: Index, most: int) -> Iterator[Drives]:
        """The motors and controllers that fit some packs, on these packs, so many at a time."""
        kinds = self.shelf.column("chemistry")[packs]
        for kind in np.unique(kinds):
            fitting = [(int(pack), self.pairs.fitting(int(pack))) for pack in packs[kinds == kind]]
            if not fitting:
                continue
            on = np.repeat([pack for pack, _ in fitting], [some.size for _, some in fitting])
            pairs = np.concatenate([some for _, some in fitting])
            for start in range(0, pairs.size, most):
                part = slice(start, start + most)
                yield Drives(self.pairs, self.tables, on[part], pairs[part])

    def lightest_g(self, pack: int) -> float:
        """Least mass of motors and controllers that fit a pack; infinity where none do."""
        return self._of_cells(pack)[0]

    def greatest_power_w(self, packs: Index) -> Floats:
        """Greatest shaft power of one motor within the limits on each pack; 0 where none fits."""
        greatest = np.zeros(self.shelf.sizes[2])
        for drives in self.drives(packs, _MANY):
            np.maximum.at(greatest, drives.pack, drives.shaft_power_w(self.tables))
        return greatest[packs]

    def volts(self, pack: int) -> tuple[float, float]:
        """Open-circuit voltage of a pack: mean from full to the reserve, and full."""
        return self._of_cells(pack)[1:]

    def _of_cells(self, pack: int) -> tuple[float, float, float]:
        cells, kind = float(self.shelf.column("cells")[pack]), int(self.shelf.column("chemistry")[pack])
        if (cells, kind) not in self._kept:
            some, chemistry = self.pairs.fitting(pack), self.shelf.lanes.chemistries[kind]
            lightest = float(np.min(self.pairs.mass_g[some])) if some.size else float("inf")
            mean = mean_ocv_v(chemistry, float(self.setting.brief.limits.reserve_charge or 0.0))
            self._kept[cells, kind] = lightest, cells * mean, cells * float(chemistry.cell_ocv_v(1.0))
        return self._kept[cells, kind]

    # ------------------------------------------------------------ a block

    def block(self, drives: Drives, propellers: Index, wanted: Flags | None = None) -> tuple[Lanes, FlightBounds]:
        """The combinations that pass every check, with bounds of their flight time.

        ``wanted`` (packs of the shelf, propellers) leaves pairs out.
        """
        fit = self.fits[propellers]
        self._count("propeller_diameter", int(np.count_nonzero(~fit)) * drives.size)
        propellers = propellers[fit]
        alive = self._mass(drives, propellers)
        if wanted is not None:
            alive &= wanted[drives.pack][:, propellers].T
        lanes = self._current(drives, propellers, alive)
        for check in (self._rpm, self._thrust_to_weight, self._launch, self._climb, self._voltage, self._balance):
            if not lanes.size:
                break
            lanes = check(drives, lanes)
        bounds = flight_bounds(self.tables, drives, lanes.propeller, lanes.drive)
        return self._flight(drives, lanes, bounds)

    def measured(self, drives: Drives, lanes: Lanes) -> TrainMeasures:
        """The measures of lanes."""
        return TrainMeasures(self.setting, *self.shelf.combine(*drives.combinations(lanes.drive, lanes.propeller).T))

    def _count(self, name: str, count: int) -> None:
        self.counts[POSITION[name]] += count

    def _settle(self, name: str, drives: Drives, lanes: Lanes, passes: Flags, fails: Flags) -> Lanes:
        """Ask the measure about lanes that neither pass nor fail for sure; what passes."""
        open_ = np.flatnonzero(~(passes | fails))
        if open_.size:
            passes = passes.copy()
            passes[open_] = self.measured(drives, lanes.take(open_))[name].passes(CHECKS[name])
        kept = lanes if passes.all() else lanes.take(passes)
        self._count(name, lanes.size - kept.size)
        return kept

    def _exactly(self, name: str, drives: Drives, lanes: Lanes) -> Lanes:
        nothing = np.zeros(lanes.size, dtype=bool)
        return self._settle(name, drives, lanes, nothing, nothing)

    # ------------------------------------------------------------ mass

    def _mass(self, drives: Drives, propellers: Index) -> Flags:
        """(propellers, drives), True where the masses pass."""
        alive = np.ones((propellers.size, drives.size), dtype=bool)
        bare = self.setting.variant.airframe.bare_mass_g
        total = drives.mass_g + self.tables.mass_g[propellers][:, None]
        for name, limit in self._masses:
            if limit is None:
                continue
            before = alive
            alive = before & (total <= limit * (1.0 - 1e-12) - bare)
            near = before & ~alive & (total <= limit * (1.0 + 1e-12) - bare)
            if near.any():
                p, d = np.nonzero(near)
                lanes = Lanes(propeller=propellers[p], drive=d)
                alive[p, d] = self.measured(drives, lanes)[name].passes(CHECKS[name])
            if self.counting:
                self._count(name, int(np.count_nonzero(before)) - int(np.count_nonzero(alive)))
        return alive

    # ------------------------------------------------------------ currents at full throttle

    def _current(self, drives: Drives, propellers: Index, alive: Flags) -> Lanes:
        every, first = drives.limits["all"], drives.limits["motor_current_static"]
        good = alive & (self._worst[propellers][:, every.cell] <= every.torque_nm)
        which = first if self.counting else every
        bad = self._low[propellers][:, which.cell] > which.torque_nm
        unsure = drives.odd if self.counting else drives.odd | drives.power_turns
        if unsure.any():
            good &= ~drives.odd
            bad &= ~unsure
        bad &= alive
        if self.counting:
            self._count("motor_current_static", int(np.count_nonzero(bad)))
        sure, rest = (Lanes(propeller=propellers[p], drive=d) for p, d in map(np.nonzero, (good, alive & ~good & ~bad)))
        for name in ("motor_current_static", "motor_current_flight", "motor_power", "controller_current", "pack_burst"):
            if rest.size:
                rest = self._limit(name, drives, rest)
        return Lanes(
            propeller=np.concatenate([sure.propeller, rest.propeller]), drive=np.concatenate([sure.drive, rest.drive])
        )

    def _limit(self, name: str, drives: Drives, lanes: Lanes) -> Lanes:
        """A limit of the current at rest, in flight or both."""
        threshold = drives.limits[name]
        rest, flight = name != "motor_current_flight", name != "motor_current_static"
        p, d = lanes.propeller, lanes.drive
        cell, torque = threshold.cell[d], threshold.torque_nm[d]
        passes = (self._worst if flight else self._high)[p, cell] <= torque
        fails = self._low[p, cell] > torque if rest else np.zeros(lanes.size, dtype=bool)
        passes, fails = self._directly(threshold, drives, lanes, passes, fails, rest=rest, flight=flight)
        if name == "motor_power":
            fails &= ~drives.power_turns[d]
        return self._settle(name, drives, lanes, passes, fails)

    def _directly(
        self, threshold: Threshold, drives: Drives, lanes: Lanes, passes: Flags, fails: Flags, *, rest: bool,
        flight: bool,
    ) -> tuple[Flags, Flags]:  # fmt: skip
        """Read the propeller's torque at the threshold where bounds do not decide."""
        odd = drives.odd[lanes.drive] | ~self.tables.regular[lanes.propeller]
        passes, fails = passes & ~odd, fails & ~odd
        some = np.flatnonzero(~(passes | fails | odd) & (threshold.speed[lanes.drive] > 0))
        if some.size:
            p, d = lanes.propeller[some], lanes.drive[some]
            u, torque = threshold.speed[d], threshold.torque_nm[d]
            worst = self.tables.torque(p, u) if rest else np.full(some.size, -np.inf)
            if flight:
                for _, airspeed in self.tables.airspeeds(drives.mass_g[d] + self.tables.mass_g[p]):
                    worst = np.maximum(worst, self.tables.torque(p, u, airspeed))
            band = _BAND * np.maximum(np.abs(torque), np.abs(worst))
            passes[some], fails[some] = worst <= torque - band, worst > torque + band
        return passes, fails

    # ------------------------------------------------------------ propeller speed

    def _rpm_tables(self) -> None:
        """Torque of each propeller at its highest rpm: at rest, and the least at any airspeed of the phases."""
        tables, shelf = self.tables, self.shelf
        self._rated = (shelf.column("max_rpm_stated") > 0) & np.isfinite(shelf.column("max_rpm"))
        self._top = tables.speed_of_rpm(shelf.column("max_rpm"))
        p = np.arange(tables.mass_g.size)
        with np.errstate(all="ignore"):
            self._top_rest = tables.torque(p, self._top)
            least = self._top_rest.copy()
            nodes = tables.mass_start_g + tables.mass_step_g * np.array([0.0, tables.nodes - 1.0])
            for phase in self.setting.phases:
                if phase.throttle == 0:
                    continue
                ends = [tables.airspeed(phase, tables.mass_g + node) for node in nodes]
                for share in np.linspace(0.0, 1.0, 1 if phase.airspeed_m_s is not None else 24):
                    least = np.minimum(least, tables.torque(p, self._top, ends[0] + share * (ends[1] - ends[0])))
            self._top_least = least - _SAMPLED * np.abs(self._top_rest)

    def _rpm(self, drives: Drives, lanes: Lanes) -> Lanes:
        p, d = lanes.propeller, lanes.drive
        odd = drives.odd[d] | ~self.tables.regular[p]
        band = _BAND * drives.full.available_v[d]
        u = self._top[p]
        passes = ~self._rated[p] | (drives.left_over(drives.full, d, u, self._top_least[p]) < -band)
        fails = drives.left_over(drives.full, d, u, self._top_rest[p]) > band
        passes, fails = passes & (~odd | ~self._rated[p]), fails & ~odd & ~passes
        some = np.flatnonzero(~(passes | fails | odd))
        if some.size:
            p, d, u, band = p[some], d[some], u[some], band[some]
            least = self._top_rest[p]
            for _, airspeed in self.tables.airspeeds(drives.mass_g[d] + self.tables.mass_g[p]):
                least = np.minimum(least, self.tables.torque(p, u, airspeed))
            left = drives.left_over(drives.full, d, u, least)
            passes[some], fails[some] = left < -band, left > band
        return self._settle("propeller_rpm", drives, lanes, passes, fails)

    # ------------------------------------------------------------ half charge

    def _thrust_to_weight(self, drives: Drives, lanes: Lanes) -> Lanes:
        table = self.tables.thrust_to_weight
        if table is None:
            return lanes
        p, d = lanes.propeller, lanes.drive
        node = drives.node[d]
        band = _BAND * drives.half.available_v[d]
        left = drives.left_over(drives.half, d, table.speed[p, node + 1], table.torque[p, node + 1])
        passes = (left > band) & ~drives.odd[d]
        fails = np.zeros(lanes.size, dtype=bool)
        rest = np.flatnonzero(~passes)
        p, d, node = p[rest], d[rest], node[rest]
        left = drives.left_over(drives.half, d, table.speed[p, node], table.torque[p, node])
        fails[rest] = (left < -band[rest]) & ~drives.odd[d]
        return self._settle("thrust_to_weight", drives, lanes, passes, fails)

    def _launch(self, drives: Drives, lanes: Lanes) -> Lanes:
        if self.setting.brief.limits.min_launch_thrust_to_weight is None:
            return lanes
        return self._exactly("hand_launch", drives, lanes)

    def _climb(self, drives: Drives, lanes: Lanes) -> Lanes:
        if self.setting.brief.limits.min_climb_m_s is None:
            return lanes
        return self._exactly("climb", drives, lanes)

    def _voltage(self, drives: Drives, lanes: Lanes) -> Lanes:
        threshold = drives.voltage
        if threshold is None:
            return lanes
        cell, torque = threshold.cell[lanes.drive], threshold.torque_nm[lanes.drive]
        passes, fails = self._high[lanes.propeller, cell] <= torque, self._low[lanes.propeller, cell] > torque
        passes, fails = self._directly(threshold, drives, lanes, passes, fails, rest=True, flight=False)
        return self._settle("cell_voltage", drives, lanes, passes, fails)

    def _balance(self, drives: Drives, lanes: Lanes) -> Lanes:
        if self.setting.geometry is None or self.setting.build is None:
            return lanes
        column = self.shelf.column
        miss, limit = balance_miss_mm(
            self.setting,
            motors_g=column("motors_g")[drives.motor[lanes.drive]],
            propellers_g=self.tables.mass_g[lanes.propeller],
            controllers_g=column("controllers_g")[drives.controller[lanes.drive]],
            pack_g=drives.pack_g[lanes.drive],
        )
        passes = (miss <= limit) | np.isnan(limit)
        return self._settle("balance", drives, lanes, passes, ~passes)

    # ------------------------------------------------------------ flight

    def _flight(self, drives: Drives, lanes: Lanes, bounds: FlightBounds) -> tuple[Lanes, FlightBounds]:
        """Sustained current and flight time, from bounds where they decide."""
        usable = self.shelf.column("usable_a")[drives.pack[lanes.drive]]
        least = self.setting.brief.limits.min_flight_minutes
        sustained = self._between(bounds.current_low_a, bounds.current_high_a, usable)
        timed = np.ones(lanes.size, dtype=np.int8)
        if least is not None:
            timed = self._between(-bounds.minutes_high, -bounds.minutes_low, -least)
        # the first check that fails counts: an open sustained current needs an answer even if the time fails
        undecided = (sustained == 0) | ((sustained > 0) & (timed == 0))
        passes = (sustained > 0) & (timed > 0)
        by_current, by_time = sustained < 0, (sustained > 0) & (timed < 0)
        open_ = np.flatnonzero(undecided)
        if open_.size:
            measured = self.measured(drives, lanes.take(open_))
            current = measured["pack_sustained"].passes(CHECKS["pack_sustained"])
            time = measured["flight_time"].passes(CHECKS["flight_time"])
            passes[open_] = current & time
            by_current[open_], by_time[open_] = ~current, current & ~time
        self._count("pack_sustained", int(np.count_nonzero(by_current)))
        self._count("flight_time", int(np.count_nonzero(by_time)))
        return lanes.take(passes), bounds.take(passes)

    @staticmethod
    def _between(low: Floats, high: Floats, limit: Any) -> NDArray[np.int8]:
        """1 where a value between bounds keeps below a limit, -1 where it does not, 0 where bounds do not tell."""
        band = _BAND * np.abs(limit)
        return np.where(high < limit - band, 1, np.where(low > limit + band, -1, 0)).astype(np.int8)
