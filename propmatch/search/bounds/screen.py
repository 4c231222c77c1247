"""Which combinations of a block pass every check that can exclude, decided with as few roots as possible.

A block is all propellers by some drives on one pack. Each check is decided by bounds from the tables
(:mod:`bounds.tables`), then by one reading of the propeller's coefficients, and what then lies within 1e-7 of
a limit, or outside what the bounds hold for, by :class:`propmatch.checks.measures.TrainMeasures` itself.
"""

from collections import Counter
from collections.abc import Callable, Iterator
from functools import cached_property, partial
from typing import Any

import attrs
import numpy as np
from numpy.typing import NDArray

from propmatch.aircraft.flight import searched_speeds_m_s
from propmatch.aircraft.polar import AirframeLanes, climb_m_s, drag_n, least_speed_m_s, stall_speed_m_s
from propmatch.checks.checkrules import CHECKS, excluding
from propmatch.checks.measures import TrainMeasures
from propmatch.checks.setting import Setting, balance_miss_mm
from propmatch.models.arrays import Flags, Floats, Index
from propmatch.search.bounds.curves import BAND
from propmatch.search.bounds.drives import Drives, Pairs, Threshold
from propmatch.search.bounds.flighttime import FlightBounds, flight_bounds
from propmatch.search.bounds.fullthrottle import CLIMB_RATIO, SureClimb, wanted
from propmatch.search.bounds.held import SureFlights
from propmatch.search.bounds.packs import PackClass, PackNumbers, classes
from propmatch.search.bounds.tables import PropellerTables, Want
from propmatch.search.shelf import Shelf
from propmatch.train.kernel import Speeds, solve_speed
from propmatch.train.line import Source
from propmatch.train.torque import SpeedProblem

__all__ = ["Lanes", "RpmLimit", "Screen"]


@attrs.frozen(kw_only=True, eq=False)
class Lanes:
    """Combinations of a block: (N,) numbers of propeller and drive, or a grid (1, P) of all propellers by (D, 1)."""

    propeller: Index
    drive: Index

    @property
    def size(self) -> int:
        """How many."""
        return int(self.propeller.size if self.propeller.ndim == 1 else self.propeller.size * self.drive.size)

    @classmethod
    def every(cls, drives: int, propellers: int) -> "Lanes":
        """All propellers with so many drives, as a grid."""
        return cls(propeller=np.arange(propellers)[None, :], drive=np.arange(drives)[:, None])

    def parts(self, most: int) -> Iterator["Lanes"]:
        """So many at a time, one part at least; a grid by whole drives."""
        if self.propeller.ndim == 1:
            yield from (self.take(slice(at, at + most)) for at in range(0, max(self.size, 1), most))
        else:
            step = max(1, most // self.propeller.size)
            for at in range(0, max(len(self.drive), 1), step):
                yield Lanes(propeller=self.propeller, drive=self.drive[at : at + step])

    def kept(self, good: Flags) -> "Lanes":
        """A list of those that are good."""
        if self.propeller.ndim == 1:
            return self if good.all() else self.take(np.flatnonzero(good))
        each, before = np.count_nonzero(good, axis=1), self.propeller.size * np.arange(len(good))
        return Lanes(propeller=np.flatnonzero(good) - np.repeat(before, each), drive=np.repeat(self.drive[:, 0], each))

    def take(self, some: Flags | Index | slice) -> "Lanes":
        """Some of a list."""
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

    ``rated`` (P,): the propellers that are held to theirs. Known for each: its torque at its highest rpm, the least of
    that at rest and at the airspeeds of phases that state one, and less than at any that goes with the mass.
    """

    def __init__(self, tables: PropellerTables, shelf: Shelf) -> None:
        self.tables = tables
        judged = shelf.column("max_rpm_stated") > 0
        if tables.setting.brief.limits.estimated_ratings != "warn":
            judged = np.ones(judged.shape, dtype=bool)
        self.rated = judged & np.isfinite(shelf.column("max_rpm"))
        self._top = tables.speed_of_rpm(shelf.column("max_rpm"))
        self._going_with_mass = None
        p = np.arange(tables.mass_g.size)
        with np.errstate(all="ignore"):
            rest = tables.curves.torque(p, self._top)
            self._known, least = rest.copy(), rest.copy()
            nodes = tables.mass_start_g + tables.mass_step_g * np.array([0.0, tables.nodes - 1.0])
            for phase in tables.setting.phases:
                if phase.throttle == 0:
                    continue
                slow, fast = (tables.airspeed(phase, tables.mass_g + node) for node in nodes)
                if phase.airspeed_m_s is not None:
                    self._known = np.minimum(self._known, tables.curves.torque(p, self._top, slow))
                else:
                    self._going_with_mass = phase
                    least = np.minimum(least, tables.curves.torque_between(p, self._top, slow, fast))
            self._least = np.minimum(self._known, least) - BAND * np.abs(rest)

    def decide(self, drives: Drives, lanes: Lanes) -> tuple[Flags, Flags]:
        """Which lanes surely keep the limit, and which surely do not."""
        rated = np.flatnonzero(self.rated[lanes.propeller])
        p, d = lanes.propeller[rated], lanes.drive[rated]
        odd = drives.odd[d] | ~self.tables.regular[p]
        band = BAND * drives.full.volts[d]
        u = self._top[p]
        passes = (drives.left_over(drives.full, d, u, self._least[p]) < -band) & ~odd
        fails = (drives.left_over(drives.full, d, u, self._known[p]) > band) & ~odd & ~passes
        some = np.flatnonzero(~(passes | fails | odd))
        if some.size and self._going_with_mass is not None:
            p, d, u, band = p[some], d[some], u[some], band[some]
            airspeed = self.tables.airspeed(self._going_with_mass, drives.mass_g[d] + self.tables.mass_g[p])
            least = np.minimum(self._known[p], self.tables.curves.torque(p, u, airspeed))
            left = drives.left_over(drives.full, d, u, least)
            passes[some], fails[some] = left < -band, left > band
        pass_all, fail_all = np.ones(lanes.size, dtype=bool), np.zeros(lanes.size, dtype=bool)
        pass_all[rated], fail_all[rated] = passes, fails
        return pass_all, fail_all


_TOGETHER = 24576
"""Lanes judged together by numbers and currents."""
_TRIED, _WORTH = 512, 0.8
"""Lanes on which rough bounds of the flight are tried, and the share that they may leave open to be worth taking."""
_CHUNK = 12288
"""Lanes in work at a time, so that what they need stays in the cache."""
_SINGLE = 1e-5
"""Share of a voltage that single precision leaves open: a hundred times its rounding."""
SIZES = ("cell_count", "propeller_diameter", "all_up_mass", "wing_loading", "servo_supply_voltage")
CURRENTS = ("motor_current_static", "motor_current_flight", "motor_power", "controller_current", "pack_burst")
AT_REST = ("cell_voltage", "first_minute")
FLOWN = ("pack_sustained", "motor_current_phase", "flight_time")
"""Checks decided together: by numbers of the parts, currents at full throttle, voltages at rest, bounds of flight."""

Decide = Callable[[Drives, Lanes], tuple[Flags, Flags]]
"""Which lanes pass for sure, and which fail."""


class Screen:
    """The checks of one setting over a shelf.

    Attributes
    ----------
    counts : combinations by the first check they fail; meaningful while ``counting``
    wants : what full throttle must give at half charge, by the limits and beside them
    """

    def __init__(
        self, setting: Setting, shelf: Shelf, *, counting: bool, tables: PropellerTables | None = None
    ) -> None:
        self.setting, self.shelf, self.counting = setting, shelf, counting
        self.tables = PropellerTables(setting, shelf) if tables is None else tables
        self.pairs = Pairs(shelf)
        self.counts: Counter[str] = Counter()
        tables, curves = self.tables, self.tables.curves
        self._low, self._high, self._worst = curves.torque_low, curves.torque_high, curves.torque_worst
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
        self.wants: tuple[Want, ...] = ()

    # ------------------------------------------------------------ drives

    @cached_property
    def packs(self) -> PackNumbers:
        """The numbers of every pack."""
        return PackNumbers.of(self.setting, self.shelf)

    @cached_property
    def classes(self) -> list[PackClass]:
        """The packs by chemistry and cell count."""
        return classes(self.shelf, self.pairs, self.packs)

    @cached_property
    def lightest_g(self) -> Floats:
        """Least mass of motors and controllers that fit each pack; infinity where none do."""
        out = np.full(self.shelf.sizes[2], np.inf)
        for each in self.classes:
            out[each.some] = np.min(self.pairs.mass_g[each.pairs])
        return out

    def drives(self, packs: Index, most: int) -> Iterator[Drives]:
        """The motors and controllers that fit some packs, on these packs, so many at a time."""
        fitting: dict[int, Index] = {int(pack): each.pairs for each in self.classes for pack in each.some}
        kinds = self.shelf.column("chemistry")[packs]
        for kind in sorted(set(kinds.tolist())):
            own = np.array([pack for pack in packs[kinds == kind].tolist() if pack in fitting], dtype=np.intp)
            if not own.size:
                continue
            on = np.repeat(own, [fitting[pack].size for pack in own.tolist()])
            pairs = np.concatenate([fitting[pack] for pack in own.tolist()])
            for start in range(0, pairs.size, most):
                part = slice(start, start + most)
                yield Drives(self.pairs, self.tables, on[part], pairs[part])

    # ------------------------------------------------------------ a block

    def block(self, drives: Drives) -> tuple[Lanes, FlightBounds, Flags]:
        """What passes every check of drives with all propellers: :meth:`passing`."""
        return self.passing(drives, Lanes.every(drives.size, self.shelf.sizes[3]))

    def count(self, drives: Drives) -> tuple[int, Index]:
        """How many combinations of drives with all propellers pass for sure, and those (N, 4) that are left open."""
        lanes = self.before_flight(drives, Lanes.every(drives.size, self.shelf.sizes[3]))
        if not lanes.size:
            return 0, drives.combinations(lanes.drive, lanes.propeller)
        sure = np.zeros(lanes.size, dtype=bool)
        if SureFlights.known(self.setting):
            sure = SureFlights(self.tables, drives)(lanes.propeller, lanes.drive)
        rest, _, open_ = self._flight(drives, lanes.take(~sure))
        some = rest.take(open_)
        return int(np.count_nonzero(sure) + np.count_nonzero(~open_)), drives.combinations(some.drive, some.propeller)

    def passing(self, drives: Drives, lanes: Lanes) -> tuple[Lanes, FlightBounds, Flags]:
        """What passes every check, with bounds of its flight time; the last is True where :meth:`flown` decides."""
        return self._flight(drives, self.before_flight(drives, lanes))

    def before_flight(self, drives: Drives, lanes: Lanes) -> Lanes:
        """What passes every check but those of the flight."""
        done, sure, rest = zip(*(self._together(drives, part) for part in lanes.parts(_TOGETHER)), strict=True)
        lanes = Lanes.joined([*sure, self._current(drives, Lanes.joined(list(rest)))])
        for at, (name, decide) in enumerate(self._later):
            if lanes.size:
                lanes = self._settle(name, drives, lanes, *decide(drives, lanes))
            if at == 0:
                lanes = Lanes.joined([*done, lanes])
        return lanes

    def _together(self, drives: Drives, lanes: Lanes) -> tuple[Lanes, Lanes, Lanes]:
        """What passes sizes and currents and, of a grid, thrust to weight if that comes next; without it; what may."""
        good, rest = self._by_cell(drives, lanes, self._sizes(drives, lanes))
        if lanes.propeller.ndim == 1 or not self._later or self._later[0][0] != "thrust_to_weight":
            return Lanes.joined([]), lanes.kept(good), rest
        passes, fails = self._thrust_of_grid(drives, lanes)
        fails &= good
        self.counts["thrust_to_weight"] += int(np.count_nonzero(fails))
        passes &= good
        return lanes.kept(passes), lanes.kept(good & ~(passes | fails)), rest

    def sound(self, drives: Drives) -> tuple[Lanes, Flags]:
        """What may pass every check that no mass changes, whatever it weighs; True where currents hang on airspeed.

        Such are the currents at full throttle at rest, the voltages and the room; the rest :meth:`bears` decides.
        """
        lanes = Lanes.every(drives.size, self.shelf.sizes[3])
        good, rest = self._by_cell(drives, lanes, ~drives.steps_up[lanes.drive] & self.clears[lanes.propeller])
        sure = lanes.kept(good)
        nothing, every = np.zeros(rest.size, dtype=bool), drives.limits["all"]
        _, fails = self._directly(every, drives, rest, nothing, nothing, rest=True, flight=False)
        rest = rest.take(~fails | drives.power_turns[rest.drive])
        drives.most_a[:] = drives.widest_a
        lanes, open_ = Lanes.joined([sure, rest]), np.arange(sure.size + rest.size) >= sure.size
        for name in AT_REST:
            if CHECKS[name].has_limit(self.setting):
                decide = self._voltage if name == "cell_voltage" else self._unknown
                good = self._decided(name, drives, lanes, *self._in_chunks(decide, drives, lanes))
                lanes, open_ = lanes.take(good), open_[good]
        return lanes, open_

    def bears(self, drives: Drives, lanes: Lanes, open_: Flags) -> Flags:
        """Which sound lanes keep balance, currents (those that are ``open_``) and highest rpm at this mass."""
        good = np.ones(lanes.size, dtype=bool)
        for name in ("balance", *CURRENTS, "propeller_rpm"):
            some = np.flatnonzero(good & open_ if name in CURRENTS else good)
            if some.size and CHECKS[name].has_limit(self.setting):
                part = lanes.take(some)
                if name in CURRENTS:
                    decided = self._current_limit(name, drives, part)
                else:
                    decided = self._in_chunks(self._rpm.decide if name != "balance" else self._balance, drives, part)
                good[some] = self._decided(name, drives, part, *decided)
        return good

    def pulls(self, drives: Drives, lanes: Lanes) -> Flags:
        """Which lanes may give the least thrust to weight."""
        return ~self._in_chunks(self._thrust_to_weight, drives, lanes)[1]

    @cached_property
    def _later(self) -> list[tuple[str, Decide]]:
        """The checks between those of the current at full throttle and of the flight that have a limit."""
        by_chunk: dict[str, Decide] = {
            "propeller_rpm": self._rpm.decide,
            "thrust_to_weight": self._thrust_to_weight,
            "cell_voltage": self._voltage,
            "balance": self._balance,
            "propeller_clearance": lambda _, lanes: (clear := self.clears[lanes.propeller], ~clear),
        }
        known: dict[str, Decide] = {name: partial(self._in_chunks, decide) for name, decide in by_chunk.items()}
        known["climb"] = self._climb
        idle = {"propeller_rpm": not self._rpm.rated.any(), "propeller_clearance": bool(self.clears.all())}
        rest = (name for name in excluding() if name not in (*SIZES, *CURRENTS, *FLOWN) and not idle.get(name))
        return [(name, known.get(name, self._unknown)) for name in rest if CHECKS[name].has_limit(self.setting)]

    @staticmethod
    def _in_chunks(decide: Decide, drives: Drives, lanes: Lanes) -> tuple[Flags, Flags]:
        """Pass and fail of lanes, a chunk at a time."""
        parts = [decide(drives, part) for part in lanes.parts(_CHUNK)]
        passes, fails = zip(*parts, strict=True)
        return np.concatenate(passes), np.concatenate(fails)

    def measured(self, drives: Drives, lanes: Lanes) -> TrainMeasures:
        """The measures of lanes."""
        return TrainMeasures(self.setting, *self.shelf.combine(*drives.combinations(lanes.drive, lanes.propeller).T))

    def _settle(self, name: str, drives: Drives, lanes: Lanes, passes: Flags, fails: Flags) -> Lanes:
        """Ask the measure about lanes that neither pass nor fail for sure; what passes."""
        return self._kept_by(name, lanes, self._decided(name, drives, lanes, passes, fails))

    def _decided(self, name: str, drives: Drives, lanes: Lanes, passes: Flags, fails: Flags) -> Flags:
        """Which lanes pass, those that neither pass nor fail for sure as the measure says."""
        open_ = np.flatnonzero(~(passes | fails))
        if open_.size:
            passes = passes.copy()
            passes[open_] = self.measured(drives, lanes.take(open_)).passes(name)
        return passes

    def _unknown(self, drives: Drives, lanes: Lanes) -> tuple[Flags, Flags]:
        nothing = np.zeros(lanes.size, dtype=bool)
        return nothing, nothing

    # ------------------------------------------------------------ sizes

    def _sizes(self, drives: Drives, lanes: Lanes) -> Flags:
        """What passes by its numbers alone."""
        kept = np.ones(np.broadcast_shapes(lanes.propeller.shape, lanes.drive.shape), dtype=bool)

        def keep(name: str, good: Flags) -> None:
            before = np.count_nonzero(kept)
            np.logical_and(kept, good, out=kept)
            self.counts[name] += int(before - np.count_nonzero(kept))

        keep("propeller_diameter", self.fits[lanes.propeller])
        for name, limit in self._masses:
            if limit is None:
                continue
            total = drives.mass_g[lanes.drive] + self.tables.mass_g[lanes.propeller]
            good = total <= self.setting.train_mass_g(limit * (1.0 - 1e-12))
            near = kept & ~good & (total <= self.setting.train_mass_g(limit * (1.0 + 1e-12)))
            if near.any():
                good[near] = self.measured(drives, lanes.kept(near)).passes(name)
            keep(name, good)
        if drives.steps_up.any():
            keep("servo_supply_voltage", ~drives.steps_up[lanes.drive])
        return kept

    def _kept_by(self, name: str, lanes: Lanes, good: Flags) -> Lanes:
        """The lanes that pass a check, the others counted."""
        kept = lanes.kept(good)
        self.counts[name] += lanes.size - kept.size
        return kept

    # ------------------------------------------------------------ currents at full throttle

    def _current(self, drives: Drives, lanes: Lanes) -> Lanes:
        for name in CURRENTS:
            if lanes.size:
                lanes = self._limit(name, drives, lanes)
        return lanes

    def _by_cell(self, drives: Drives, lanes: Lanes, kept: Flags) -> tuple[Flags, Lanes]:
        """Of the lanes kept so far those whose currents surely pass, at rest and in flight, and a list of what may."""
        every, first = drives.limits["all"], drives.limits["motor_current_static"]
        good, bad = self._by_table(every, lanes, self._worst, low=not self.counting)
        if self.counting:
            _, bad = self._by_table(first, lanes, None, low=True)
        if drives.odd.any() or drives.power_turns.any():
            good &= ~drives.odd[lanes.drive]
            bad &= ~(drives.odd if self.counting else drives.odd | drives.power_turns)[lanes.drive]
        if self.counting:
            self.counts["motor_current_static"] += int(np.count_nonzero(kept & bad & ~good))
        return kept & good, lanes.kept(kept & ~(good | bad))

    def _limit(self, name: str, drives: Drives, lanes: Lanes) -> Lanes:
        """What keeps a limit of the current."""
        return self._settle(name, drives, lanes, *self._current_limit(name, drives, lanes))

    def _current_limit(self, name: str, drives: Drives, lanes: Lanes) -> tuple[Flags, Flags]:
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
        return passes, fails

    def _by_table(self, threshold: Threshold, lanes: Lanes, high: Floats | None, *, low: bool) -> tuple[Flags, Flags]:
        """Pass where the torque at the upper end of the cell is within the limit, fail where the lower end is not."""
        cell, torque, read = threshold.cell[lanes.drive], threshold.torque_nm[lanes.drive], self.tables.curves.of_cells
        nothing = np.zeros(np.broadcast_shapes(lanes.propeller.shape, cell.shape), dtype=bool)
        passes = nothing if high is None else read(high, lanes.propeller, cell) <= torque
        return passes, read(self._low, lanes.propeller, cell) > torque if low else nothing

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
            worst = self.tables.curves.torque(p, u) if rest else np.full(some.size, -np.inf)
            if flight:
                for _, airspeed in self.tables.airspeeds(drives.mass_g[d] + self.tables.mass_g[p]):
                    worst = np.maximum(worst, self.tables.curves.torque(p, u, airspeed))
            band = BAND * np.maximum(np.abs(torque), np.abs(worst))
            passes[some], fails[some] = worst <= torque - band, worst > torque + band
        return passes, fails

    # ------------------------------------------------------------ half charge

    @cached_property
    def _thrust_rows(self) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
        """Speed and torque of the least thrust to weight, (nodes, P)."""
        table = self.tables.thrust_to_weight
        assert table is not None
        known = table.torque > 0
        speed, torque = (
            np.where(known, x, np.nan).T.astype(np.float32, order="C") for x in (table.speed, table.torque)
        )
        return speed, torque

    def _thrust_of_grid(self, drives: Drives, lanes: Lanes) -> tuple[Flags, Flags]:
        """The same as :meth:`_thrust_to_weight` with ``_SINGLE`` for rounding."""
        d = lanes.drive[:, 0]
        left, per_speed, per_torque = drives.half_line[:, d]
        node, out = drives.node[d], []
        for at, sign in ((node + 1, 1.0), (node, -1.0)):
            volts, torque = (x.take(at, axis=0) for x in self._thrust_rows)
            volts *= per_speed
            torque *= per_torque
            volts += torque
            limit = left - np.float32(sign * _SINGLE) * np.abs(left)
            out.append(volts < limit if sign > 0 else volts > limit)
        return out[0], out[1]

    def _thrust_to_weight(self, drives: Drives, lanes: Lanes) -> tuple[Flags, Flags]:
        table, nodes = self.tables.thrust_to_weight, self.tables.nodes
        assert table is not None
        p, d = lanes.propeller, lanes.drive
        at = p * nodes + drives.node.take(d)
        band, sure = BAND * drives.half.volts.take(d), ~drives.odd.take(d)
        above = at + 1
        left = drives.left_over(drives.half, d, table.speed.take(above), table.torque.take(above))
        passes = (left > band) & sure
        fails = np.zeros(lanes.size, dtype=bool)
        rest = np.flatnonzero(~passes)
        at = at[rest]
        left = drives.left_over(drives.half, d[rest], table.speed.take(at), table.torque.take(at))
        fails[rest] = (left < -band[rest]) & sure[rest]
        return passes, fails

    @cached_property
    def _climb_wanted(self) -> Want | None:
        """What the best climb asked for takes."""
        least, tables = self.setting.brief.limits.min_climb_m_s, self.tables
        return None if least is None else tables.kept(("climb", least), lambda: wanted(tables, "climb", least))

    @cached_property
    def _climb_sure(self) -> SureClimb:
        """What surely gives it."""
        least, tables = self.setting.brief.limits.min_climb_m_s, self.tables
        assert least is not None
        return tables.kept(("sure climb", least), lambda: SureClimb.of(tables, least))

    @property
    def limits_wanted(self) -> tuple[Want, ...]:
        """What the limits of the brief ask of full throttle at half charge."""
        table = self.tables.thrust_to_weight
        static = None if table is None else Want(speed=table.speed.reshape(1, -1), torque=table.torque.reshape(1, -1))
        return tuple(want for want in (static, self._climb_wanted) if want is not None)

    def _climb(self, drives: Drives, lanes: Lanes) -> tuple[Flags, Flags]:
        """The best climb: it fails where no range of airspeed gives it, and passes where one airspeed does.

        What is measured is the best of an airspeed grid from 1.2 times the stall speed on, or better: V sin where the
        path is not steeper than vertical, else the last airspeed that climbs vertically, which is 1.2 times the stall
        speed or more. So a point of that grid that gives the limit decides, where that speed exceeds the limit.
        """
        passes, fails = self._in_chunks(self._climbs_surely, drives, lanes)
        rest = np.flatnonzero(~passes)
        if rest.size:
            passes[rest], fails[rest] = self._in_chunks(self._climbs, drives, lanes.take(rest))
        return passes, fails

    def _climbs_surely(self, drives: Drives, lanes: Lanes) -> tuple[Flags, Flags]:
        """Where all of a range of airspeed climbs as asked, and a point of the grid lies in it."""
        sure, p, d = self._climb_sure, lanes.propeller, lanes.drive
        _, stall, slowest, fastest = self._flown_at(drives, p, d)
        first, second = searched_speeds_m_s(stall, fastest, slice(2))  # beyond the last of them no thrust is left
        node, step = p * self.tables.nodes + drives.node[d] + 1, second - first
        passes = np.zeros(lanes.size, dtype=bool)
        some = np.flatnonzero((slowest > sure.climb_m_s) & ~drives.odd[d])
        for at, (speed, torque) in enumerate(zip(sure.speed, sure.torque, strict=True)):
            here, on = node[some], d[some]
            slow = sure.slow[here] * CLIMB_RATIO**at
            point = first[some] + step[some] * np.ceil((slow - first[some]) / step[some])
            left = drives.left_over(drives.half, on, speed[here], torque[here])
            good = (left > BAND * drives.half.volts[on]) & (point < slow * CLIMB_RATIO)
            passes[some] = good
            some = some[~good]
        return passes, np.zeros(lanes.size, dtype=bool)

    def _climbs(self, drives: Drives, lanes: Lanes) -> tuple[Flags, Flags]:
        """Where no range of airspeed can give the climb, and where one of the likeliest points of the grid does."""
        want, least = self._climb_wanted, self.setting.brief.limits.min_climb_m_s
        assert want is not None
        assert least is not None
        p, d, tables = lanes.propeller, lanes.drive, self.tables
        at, band = p * tables.nodes + drives.node[d], BAND * drives.half.volts[d]
        left = np.array(
            [
                drives.left_over(drives.half, d, speed[at], torque[at])
                for speed, torque in zip(want.speed, want.torque, strict=True)
            ]
        )
        fails = np.all(left < -band, axis=0) & ~drives.odd[d]
        frames, stall, slowest, fastest = self._flown_at(drives, p, d)
        grid = searched_speeds_m_s(stall, fastest)
        likely = slowest * CLIMB_RATIO ** (np.argmax(np.nan_to_num(left, nan=-np.inf), axis=0) + 0.5)
        first = np.argmin(np.abs(grid - np.maximum(likely, slowest)), axis=0)
        passes = np.zeros(lanes.size, dtype=bool)
        for step in (0, 1, -1, 2):
            some = np.flatnonzero(~(passes | fails) & (slowest > least))
            airspeed = grid[np.clip(first[some] + step, 0, len(grid) - 1), some]
            mine, found = frames.take(some), self._at_half(drives, p[some], d[some], airspeed)
            rate = climb_m_s(mine, tables.count * found, drag_n(mine, tables.density, airspeed), airspeed)
            passes[some] = (airspeed > slowest[some] * (1.0 + BAND)) & (rate > least * (1.0 + BAND))
        return passes, fails

    def _flown_at(self, drives: Drives, p: Index, d: Index) -> tuple[AirframeLanes, Floats, Floats, Floats]:
        """Airframes of lanes, and the airspeeds (N,) of stall, of the slowest climb, and of no thrust when free."""
        curves = self.tables.curves
        frames = self.setting.airframes(drives.mass_g[d] + self.tables.mass_g[p])
        stall, slowest = (np.asarray(speed(frames, curves.density)) for speed in (stall_speed_m_s, least_speed_m_s))
        turns = drives.open_v(0.5) / (2.0 * np.pi * drives.motors.k * drives.motors.gear_ratio)
        return frames, stall, slowest, (curves.stack.j_thrust_zero_high[curves.which] * curves.diameter_m)[p] * turns[d]

    def _at_half(self, drives: Drives, p: Index, d: Index, airspeed: Floats) -> Floats:
        """Thrust of one propeller at full throttle and half charge at airspeeds (N,) [N]; NaN where none balances."""
        return self._at_full_throttle(drives, drives.half, p, d, airspeed).thrust_n

    def at_rest(self, drives: Drives, lanes: Lanes) -> tuple[Floats, Floats]:
        """Static full throttle of lanes: thrust of the train at half charge [N], motor current on a full pack [A].

        NaN where nothing balances.
        """
        half, full = (
            self._at_full_throttle(drives, source, lanes.propeller, lanes.drive, np.zeros(1))
            for source in (drives.half, drives.full)
        )
        return self.tables.count * half.thrust_n, full.motor_current_a

    def _at_full_throttle(self, drives: Drives, source: Source, p: Index, d: Index, airspeed: Floats) -> Speeds:
        curves = self.tables.curves
        problem = SpeedProblem(
            **drives.motors.columns(d),
            source_v=source.volts[d],
            resistance_ohm=source.ohm[d],
            resistance_back_ohm=source.ohm_back[d],
            which=curves.which[p],
            diameter_m=curves.diameter_m[p],
            density_kg_m3=np.full(1, curves.density),
            airspeed_m_s=airspeed,
            surfaces=curves.stack,
        )
        return solve_speed(problem, p.size)

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
        some = lanes.take(slice(0, None, max(1, lanes.size // _TRIED)))
        left = self._left_open(self.verdicts(drives, some, self.bounds(drives, some, rough=True)))
        rough = left.size < _WORTH * some.size
        bounds = self.bounds(drives, lanes, rough=rough)
        told = self.verdicts(drives, lanes, bounds)
        open_ = self._left_open(told)
        if rough and open_.size:
            some = lanes.take(open_)
            better = self.bounds(drives, some, rough=False)
            bounds.put(open_, better)
            told[:, open_] = self.verdicts(drives, some, better)
        failed = self._first_failure(told)
        for name, out in zip(FLOWN, failed, strict=True):
            self.counts[name] += int(np.count_nonzero(out))
        kept = ~np.any(failed, axis=0)
        if not self.counting:
            kept &= np.all(told >= 0, axis=0)
        return lanes.take(kept), bounds.take(kept), np.any(told == 0, axis=0)[kept]

    def _left_open(self, told: NDArray[np.int8]) -> Index:
        """Lanes that neither pass all checks (C, N) for sure nor surely fail one first."""
        return np.flatnonzero(np.any(told == 0, axis=0) & ~np.any(self._first_failure(told), axis=0))

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
                self.counts[name] += int(np.count_nonzero(good & ~passes))
                good &= passes
        return good

    def bounds(self, drives: Drives, lanes: Lanes, *, rough: bool, most_a: Floats | None = None) -> FlightBounds:
        """Bounds of the flight; ``most_a`` (N,) as in :func:`propmatch.search.bounds.flighttime.flight_bounds`."""
        parts = [slice(at, at + _CHUNK) for at in range(0, max(lanes.size, 1), _CHUNK)]
        return FlightBounds.joined(
            [
                flight_bounds(
                    self.tables, drives, lanes.propeller[part], lanes.drive[part], rough=rough,
                    most_a=None if most_a is None else most_a[part],
                )
                for part in parts
            ]
        )  # fmt: skip

    def verdicts(self, drives: Drives, lanes: Lanes, bounds: FlightBounds) -> NDArray[np.int8]:
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
