"""Which combinations of a block pass every check that can exclude, decided with as few roots as possible.

A block is all propellers by some drives on one pack. Each check is decided by bounds from the tables
(:mod:`bounds.tables`), then by one reading of the propeller's coefficients, and what then lies within 1e-7 of
a limit, or outside what the bounds hold for, by :class:`propmatch.checks.measures.TrainMeasures` itself.
"""

from collections import Counter
from collections.abc import Callable, Iterator
from functools import cached_property
from typing import Any

import attrs
import numpy as np
from numpy.typing import NDArray

from propmatch.checks.checkrules import CHECKS, excluding
from propmatch.checks.measures import TrainMeasures
from propmatch.checks.setting import Setting, balance_miss_mm
from propmatch.models.arrays import Flags, Floats, Index
from propmatch.models.pack import pack_resistance_ohm
from propmatch.search.bounds.drives import Drives, Pairs, Threshold
from propmatch.search.bounds.flighttime import FlightBounds, flight_bounds, mean_ocv_v
from propmatch.search.bounds.tables import HeldTable, PropellerTables
from propmatch.search.shelf import Shelf
from propmatch.train import line

__all__ = ["BAND", "Lanes", "RpmLimit", "Screen"]

BAND = 1e-7
"""Share of a limit within which nothing is decided by bounds: far above rounding and the roots' 1e-10."""
_SAMPLED = 0.005
"""Share of the static torque taken off the least torque at 24 airspeeds of a phase that flies at 1.3 stall: 2,000
airspeeds found none below it by more than rounding (605 propellers of random catalogues)."""
_SAMPLED_SPEEDS = 24


@attrs.frozen(kw_only=True, eq=False)
class Lanes:
    """Combinations of a block: (N,) numbers of propeller and drive."""

    propeller: Index
    drive: Index

    @property
    def size(self) -> int:
        """How many."""
        return int(self.propeller.size)

    def take(self, some: Flags | Index | slice) -> "Lanes":
        """Some of them."""
        return Lanes(propeller=self.propeller[some], drive=self.drive[some])

    @classmethod
    def joined(cls, each: list["Lanes"]) -> "Lanes":
        """One after the other."""
        nothing = np.empty(0, dtype=np.intp)
        return cls(
            propeller=np.concatenate([nothing, *(x.propeller for x in each)]),
            drive=np.concatenate([nothing, *(x.drive for x in each)]),
        )


class RpmLimit:
    """A highest rpm is kept where the propeller there takes more torque than full throttle gives.

    Known for each propeller: its torque at its highest rpm, at rest and the least at any airspeed of the phases.
    """

    def __init__(self, tables: PropellerTables, shelf: Shelf) -> None:
        self.tables = tables
        judged = shelf.column("max_rpm_stated") > 0
        if tables.setting.brief.limits.estimated_ratings != "warn":
            judged = np.ones(judged.shape, dtype=bool)
        self._rated = judged & np.isfinite(shelf.column("max_rpm"))
        self._top = tables.speed_of_rpm(shelf.column("max_rpm"))
        p = np.arange(tables.mass_g.size)
        with np.errstate(all="ignore"):
            self._top_rest = tables.torque(p, self._top)
            least = self._top_rest.copy()
            nodes = tables.mass_start_g + tables.mass_step_g * np.array([0.0, tables.nodes - 1.0])
            for phase in tables.setting.phases:
                if phase.throttle == 0:
                    continue
                ends = [tables.airspeed(phase, tables.mass_g + node) for node in nodes]
                for share in np.linspace(0.0, 1.0, 1 if phase.airspeed_m_s is not None else _SAMPLED_SPEEDS):
                    least = np.minimum(least, tables.torque(p, self._top, ends[0] + share * (ends[1] - ends[0])))
            self._top_least = least - _SAMPLED * np.abs(self._top_rest)

    def decide(self, drives: Drives, lanes: Lanes) -> tuple[Flags, Flags]:
        """Which lanes surely keep the limit, and which surely do not."""
        rated = np.flatnonzero(self._rated[lanes.propeller])
        p, d = lanes.propeller[rated], lanes.drive[rated]
        odd = drives.odd[d] | ~self.tables.regular[p]
        band = BAND * drives.full.volts[d]
        u = self._top[p]
        passes = (drives.left_over(drives.full, d, u, self._top_least[p]) < -band) & ~odd
        fails = (drives.left_over(drives.full, d, u, self._top_rest[p]) > band) & ~odd & ~passes
        some = np.flatnonzero(~(passes | fails | odd))
        if some.size:
            p, d, u, band = p[some], d[some], u[some], band[some]
            least = self._top_rest[p]
            for _, airspeed in self.tables.airspeeds(drives.mass_g[d] + self.tables.mass_g[p]):
                least = np.minimum(least, self.tables.torque(p, u, airspeed))
            left = drives.left_over(drives.full, d, u, least)
            passes[some], fails[some] = left < -band, left > band
        pass_all, fail_all = np.ones(lanes.size, dtype=bool), np.zeros(lanes.size, dtype=bool)
        pass_all[rated], fail_all[rated] = passes, fails
        return pass_all, fail_all


_MANY = 65536
"""Drives looked at together where no propeller multiplies them."""
_CHUNK = 12288
"""Lanes in work at a time, so that what they need stays in the cache."""
SIZES = ("cell_count", "propeller_diameter", "all_up_mass", "wing_loading", "servo_supply_voltage")
CURRENTS = ("motor_current_static", "motor_current_flight", "motor_power", "controller_current", "pack_burst")
FLOWN = ("pack_sustained", "motor_current_phase", "flight_time")
"""Checks decided together, by numbers of the parts, by currents at full throttle and by bounds of the flight."""

Decide = Callable[[Drives, Lanes], tuple[Flags, Flags]]
"""Which lanes pass for sure, and which fail."""


class Screen:
    """The checks of one setting over a shelf.

    Attributes
    ----------
    counts : combinations by the first check they fail; meaningful while ``counting``
    least : what full throttle must give at half charge beside the checks, at nodes of mass; None for nothing
    """

    def __init__(
        self, setting: Setting, shelf: Shelf, *, counting: bool, tables: PropellerTables | None = None
    ) -> None:
        self.setting, self.shelf, self.counting = setting, shelf, counting
        self.tables = PropellerTables(setting, shelf) if tables is None else tables
        self.pairs = Pairs(shelf)
        self._kept: dict[tuple[float, int], tuple[float, float, float]] = {}
        self.counts: Counter[str] = Counter()
        tables = self.tables
        self._low = tables.torque_low * (1.0 - BAND)
        self._high = tables.torque_high * (1.0 + BAND)
        self._worst = self._high * tables.flight_ratio[:, None]
        limits = setting.brief.limits
        widest = limits.max_propeller_diameter_in
        self.fits = np.ones(tables.mass_g.size, dtype=bool)
        if widest is not None:
            self.fits = shelf.column("diameter_in") <= widest
        room = setting.clearance
        self.clears = shelf.column("diameter_in") <= (np.inf if room is None else room.largest_in)
        loading = limits.max_wing_loading_g_dm2
        area = setting.variant.airframe.wing_area_dm2
        self._masses = [
            ("all_up_mass", setting.variant.target_mass_g),
            ("wing_loading", None if loading is None else loading * area),
        ]
        self._rpm = RpmLimit(self.tables, shelf)
        self.least: HeldTable | None = None

    # ------------------------------------------------------------ drives

    def drives(self, packs: Index, most: int, propellers: Index | None = None) -> Iterator[Drives]:
        """The motors and controllers that fit some packs, on these packs, so many at a time.

        With ``propellers`` those are left out that reach ``least`` with none of them on any of the packs.
        """
        kinds = self.shelf.column("chemistry")[packs]
        for kind in sorted(set(kinds.tolist())):
            fitting = self._fitting(packs[kinds == kind], propellers)
            if not fitting:
                continue
            on = np.repeat([pack for pack, _ in fitting], [some.size for _, some in fitting])
            pairs = np.concatenate([some for _, some in fitting])
            for start in range(0, pairs.size, most):
                part = slice(start, start + most)
                yield Drives(self.pairs, self.tables, on[part], pairs[part])

    def _fitting(self, packs: Index, propellers: Index | None) -> list[tuple[int, Index]]:
        """Packs of one chemistry, each with the pairs of motor and controller that fit it."""
        cells = self.shelf.column("cells")[packs]
        out = []
        for count in sorted(set(cells.tolist())):
            own = packs[cells == count]
            some = self.pairs.fitting(int(own[0]))
            if self.least is not None and propellers is not None and some.size:
                some = some[self._may_reach(self.least, own, some, propellers)]
            out += [(int(pack), some) for pack in own]
        return out

    def _may_reach(self, table: HeldTable, packs: Index, some: Index, propellers: Index) -> Flags:
        """Pairs that reach what is asked with some propeller on a pack with the best of each number of the packs.

        More voltage, less resistance and less mass only help, so no pack of this cell count does better.
        """
        column, pairs = self.shelf.column, self.pairs
        chemistry = self.shelf.lanes.chemistries[int(column("chemistry")[packs[0]])]
        ohm = pack_resistance_ohm(column("cells_ohm")[packs], column("leads_ohm")[packs], 0.5)
        open_v = float(column("cells")[packs[0]]) * chemistry.cell_ocv_v(0.5)
        source = line.source(pairs.motors, 1.0, open_v, np.asarray(np.min(ohm)), some)
        node = self.tables.node_of(pairs.mass_g[some] + float(np.min(column("pack_g")[packs])))
        out = np.zeros(some.size, dtype=bool)
        for p in propellers:
            w = pairs.motors.gear_ratio[some] * table.speed[p][node]
            current = line.current_a(pairs.motors, table.torque[p][node], line.no_load_a(pairs.motors, w, some), some)
            out |= ~(line.behind_v(pairs.motors, w, current, source.ohm, some) > source.volts * (1.0 + BAND))
        return out

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

    def block(
        self, drives: Drives, propellers: Index, wanted: Flags | None = None
    ) -> tuple[Lanes, FlightBounds, Flags]:
        """What passes every check, with bounds of its flight time; the last is True where :meth:`flown` decides.

        ``wanted`` (packs of the shelf, propellers) leaves pairs out.
        """
        fit = self.fits[propellers]
        self._count("propeller_diameter", int(np.count_nonzero(~fit)) * drives.size)
        propellers = propellers[fit]
        alive = self._mass(drives, propellers)
        if drives.steps_up.any():
            self._count("servo_supply_voltage", int(np.count_nonzero(alive[:, drives.steps_up])))
            alive &= ~drives.steps_up
        if wanted is not None:
            alive &= wanted[drives.pack][:, propellers].T
        if self.least is not None:
            alive &= self._promising(self.least, drives, propellers)
        lanes = self._current(drives, propellers, alive)
        for name, decide in self._later:
            if lanes.size:
                lanes = self._settle(name, drives, lanes, *self._in_chunks(decide, drives, lanes))
        return self._flight(drives, lanes)

    @cached_property
    def _later(self) -> list[tuple[str, Decide]]:
        """The checks between those of the current at full throttle and of the flight that have a limit."""
        known: dict[str, Decide] = {
            "propeller_rpm": self._rpm.decide,
            "thrust_to_weight": self._thrust_to_weight,
            "cell_voltage": self._voltage,
            "balance": self._balance,
            "propeller_clearance": lambda _, lanes: (clear := self.clears[lanes.propeller], ~clear),
        }
        rest = (name for name in excluding() if name not in (*SIZES, *CURRENTS, *FLOWN))
        return [(name, known.get(name, self._unknown)) for name in rest if CHECKS[name].has_limit(self.setting)]

    @staticmethod
    def _in_chunks(decide: Decide, drives: Drives, lanes: Lanes) -> tuple[Flags, Flags]:
        """Pass and fail of lanes, a chunk at a time."""
        parts = [decide(drives, lanes.take(slice(at, at + _CHUNK))) for at in range(0, lanes.size, _CHUNK)]
        passes, fails = zip(*parts, strict=True)
        return np.concatenate(passes), np.concatenate(fails)

    @staticmethod
    def _promising(table: HeldTable, drives: Drives, propellers: Index) -> Flags:
        """False where full throttle at half charge surely gives less than a table asks for.

        Speed and torque asked for rise with mass: where the voltage does not carry those of the node at or below the
        mass of the drive, it does not carry its own either.
        """
        e, r = drives.half.volts * (1.0 + BAND), drives.half.ohm
        out = np.empty((propellers.size, drives.size), dtype=bool)
        for row, p in enumerate(propellers):
            w = drives.motors.gear_ratio * table.speed[p][drives.node]
            current = line.current_a(drives.motors, table.torque[p][drives.node], line.no_load_a(drives.motors, w))
            np.greater(line.behind_v(drives.motors, w, current, r), e, out=out[row])
        return ~out

    def measured(self, drives: Drives, lanes: Lanes) -> TrainMeasures:
        """The measures of lanes."""
        return TrainMeasures(self.setting, *self.shelf.combine(*drives.combinations(lanes.drive, lanes.propeller).T))

    def _count(self, name: str, count: int) -> None:
        self.counts[name] += count

    def _settle(self, name: str, drives: Drives, lanes: Lanes, passes: Flags, fails: Flags) -> Lanes:
        """Ask the measure about lanes that neither pass nor fail for sure; what passes."""
        open_ = np.flatnonzero(~(passes | fails))
        if open_.size:
            passes = passes.copy()
            passes[open_] = self.measured(drives, lanes.take(open_)).passes(name)
        kept = lanes if passes.all() else lanes.take(passes)
        self._count(name, lanes.size - kept.size)
        return kept

    def _unknown(self, drives: Drives, lanes: Lanes) -> tuple[Flags, Flags]:
        nothing = np.zeros(lanes.size, dtype=bool)
        return nothing, nothing

    # ------------------------------------------------------------ mass

    def _mass(self, drives: Drives, propellers: Index) -> Flags:
        """(propellers, drives), True where the masses pass."""
        alive = np.ones((propellers.size, drives.size), dtype=bool)
        total = drives.mass_g + self.tables.mass_g[propellers][:, None]
        for name, limit in self._masses:
            if limit is None:
                continue
            before = alive
            alive = before & (total <= self.setting.train_mass_g(limit * (1.0 - 1e-12)))
            near = before & ~alive & (total <= self.setting.train_mass_g(limit * (1.0 + 1e-12)))
            if near.any():
                p, d = np.nonzero(near)
                lanes = Lanes(propeller=propellers[p], drive=d)
                alive[p, d] = self.measured(drives, lanes).passes(name)
            if self.counting:
                self._count(name, int(np.count_nonzero(before)) - int(np.count_nonzero(alive)))
        return alive

    # ------------------------------------------------------------ currents at full throttle

    def _current(self, drives: Drives, propellers: Index, alive: Flags) -> Lanes:
        every, first = drives.limits["all"], drives.limits["motor_current_static"]
        which = first if self.counting else every
        good, bad = np.empty_like(alive), np.empty_like(alive)
        torque = np.empty(drives.size)
        for row, p in enumerate(propellers):
            np.take(self._worst[p], every.cell, out=torque, mode="clip")
            np.less_equal(torque, every.torque_nm, out=good[row])
            np.take(self._low[p], which.cell, out=torque, mode="clip")
            np.greater(torque, which.torque_nm, out=bad[row])
        good &= alive
        unsure = drives.odd if self.counting else drives.odd | drives.power_turns
        if unsure.any():
            good &= ~drives.odd
            bad &= ~unsure
        bad &= alive
        if self.counting:
            self._count("motor_current_static", int(np.count_nonzero(bad)))
        sure, rest = (Lanes(propeller=propellers[p], drive=d) for p, d in map(np.nonzero, (good, alive & ~good & ~bad)))
        for name in CURRENTS:
            if rest.size:
                rest = self._limit(name, drives, rest)
        return Lanes.joined([sure, rest])

    def _limit(self, name: str, drives: Drives, lanes: Lanes) -> Lanes:
        """A limit of the current at rest, in flight or both."""
        threshold = drives.limits[name]
        rest, flight = CHECKS[name].state.rest, CHECKS[name].state.flight
        passes, fails = self._by_table(threshold, lanes, self._worst if flight else self._high, low=rest)
        passes, fails = self._directly(threshold, drives, lanes, passes, fails, rest=rest, flight=flight)
        if name == "motor_power":
            below, _ = self._by_table(drives.power_again, lanes, self._high, low=False)
            fails &= below | ~drives.power_turns[lanes.drive]
            beyond = lanes.drive[~(passes | fails)]
            drives.most_a[beyond] = drives.widest_a[beyond]
        return self._settle(name, drives, lanes, passes, fails)

    def _by_table(self, threshold: Threshold, lanes: Lanes, high: Floats, *, low: bool) -> tuple[Flags, Flags]:
        """Pass where the torque at the upper end of the cell is within the limit, fail where the lower end is not."""
        at = lanes.propeller * self.tables.cells + threshold.cell[lanes.drive]
        torque = threshold.torque_nm[lanes.drive]
        passes = high.reshape(-1)[at] <= torque
        return passes, self._low.reshape(-1)[at] > torque if low else np.zeros(lanes.size, dtype=bool)

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
            band = BAND * np.maximum(np.abs(torque), np.abs(worst))
            passes[some], fails[some] = worst <= torque - band, worst > torque + band
        return passes, fails

    # ------------------------------------------------------------ half charge

    def _thrust_to_weight(self, drives: Drives, lanes: Lanes) -> tuple[Flags, Flags]:
        table, nodes = self.tables.thrust_to_weight, self.tables.nodes
        assert table is not None
        p, d = lanes.propeller, lanes.drive
        at = p * nodes + drives.node[d]
        band, sure = BAND * drives.half.volts[d], ~drives.odd[d]
        speed, torque = table.speed.reshape(-1), table.torque.reshape(-1)
        passes = (drives.left_over(drives.half, d, speed[at + 1], torque[at + 1]) > band) & sure
        fails = np.zeros(lanes.size, dtype=bool)
        rest = np.flatnonzero(~passes)
        at = at[rest]
        left = drives.left_over(drives.half, d[rest], speed[at], torque[at])
        fails[rest] = (left < -band[rest]) & sure[rest]
        return passes, fails

    def _voltage(self, drives: Drives, lanes: Lanes) -> tuple[Flags, Flags]:
        threshold = drives.voltage
        assert threshold is not None
        passes, fails = self._by_table(threshold, lanes, self._high, low=True)
        return self._directly(threshold, drives, lanes, passes, fails, rest=True, flight=False)

    def _balance(self, drives: Drives, lanes: Lanes) -> tuple[Flags, Flags]:
        column = self.shelf.column
        miss, limit = balance_miss_mm(
            self.setting,
            motors_g=column("motors_g")[drives.motor[lanes.drive]],
            propellers_g=self.tables.mass_g[lanes.propeller],
            controllers_g=column("controllers_g")[drives.controller[lanes.drive]],
            supply_g=column("supply_g")[drives.controller[lanes.drive]],
            pack_g=drives.pack_g[lanes.drive],
        )
        passes = (miss <= limit) | np.isnan(limit)
        return passes, ~passes

    # ------------------------------------------------------------ flight

    def _flight(self, drives: Drives, lanes: Lanes) -> tuple[Lanes, FlightBounds, Flags]:
        """Currents of the phases and flight time from bounds: what passes or may pass, and which of them may."""
        bounds = self._bounds(drives, lanes, rough=True)
        told = self._verdicts(drives, lanes, bounds)
        open_ = np.flatnonzero(np.any(told == 0, axis=0) & ~np.any(self._first_failure(told), axis=0))
        if open_.size:
            some = lanes.take(open_)
            better = self._bounds(drives, some, rough=False)
            bounds.put(open_, better)
            told[:, open_] = self._verdicts(drives, some, better)
        failed = self._first_failure(told)
        for name, out in zip(FLOWN, failed, strict=True):
            self._count(name, int(np.count_nonzero(out)))
        kept = ~np.any(failed, axis=0)
        if not self.counting:
            kept &= np.all(told >= 0, axis=0)
        return lanes.take(kept), bounds.take(kept), np.any(told == 0, axis=0)[kept]

    @staticmethod
    def _first_failure(told: NDArray[np.int8]) -> Flags:
        """Of checks in their order (C, N) the one that surely is the first to fail: those before it surely pass."""
        passed = np.ones(told.shape[1], dtype=bool)
        out = np.zeros(told.shape, dtype=bool)
        for at, row in enumerate(told):
            out[at] = passed & (row < 0)
            passed &= row > 0
        return out

    def flown(self, combination: Index) -> Flags:
        """Which combinations (N, 4) pass the last checks, computed; the others are counted."""
        measured = TrainMeasures(self.setting, *self.shelf.combine(*combination.T))
        good = np.ones(len(combination), dtype=bool)
        for name in FLOWN:
            if measured.has_limit(name):
                passes = measured.passes(name)
                self._count(name, int(np.count_nonzero(good & ~passes)))
                good &= passes
        return good

    def _bounds(self, drives: Drives, lanes: Lanes, *, rough: bool) -> FlightBounds:
        parts = [lanes.take(slice(at, at + _CHUNK)) for at in range(0, max(lanes.size, 1), _CHUNK)]
        return FlightBounds.joined(
            [flight_bounds(self.tables, drives, part.propeller, part.drive, rough=rough) for part in parts]
        )

    def _verdicts(self, drives: Drives, lanes: Lanes, bounds: FlightBounds) -> NDArray[np.int8]:
        """The checks of ``FLOWN`` (3, N): 1 where bounds show that they pass, -1 where they show that they fail."""
        d, least = lanes.drive, self.setting.brief.limits.min_flight_minutes
        timed = np.ones(lanes.size, dtype=np.int8)
        if least is not None:
            timed = self._between(-bounds.minutes_high, -bounds.minutes_low, -least, -least)
        return np.array(
            [
                self._between(bounds.current_low_a, bounds.current_high_a, drives.usable_a[d], drives.usable_most_a[d]),
                self._between(bounds.motor_low_a, bounds.motor_high_a, drives.phase_a[d], drives.phase_most_a[d]),
                timed,
            ]
        )

    @staticmethod
    def _between(low: Floats, high: Floats, limit: Any, most: Any) -> NDArray[np.int8]:
        """1 where a value between bounds keeps below a limit, -1 where it exceeds the most allowed, else 0.

        An infinite lower bound means no answer, which never passes; an infinite upper one, that there may be none.
        """
        none = np.isposinf(low)
        kept = ~none & (high < (1.0 - BAND * np.sign(limit)) * limit)
        out = none | (low > (1.0 + BAND * np.sign(most)) * most)
        return np.where(kept, 1, np.where(out, -1, 0)).astype(np.int8)
