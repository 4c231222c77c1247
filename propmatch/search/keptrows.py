"""The map kept: what passes, in fractions of the time of a search, while masses and limits of a brief move.

Which combinations bear full throttle at rest hangs on parts, site and phases alone. These rows are kept. A
step lays masses and limits over them: mass, wing loading, diameter and cells are arithmetic, and thrust to weight is
so too for rows whose static thrust was measured, while nobody asked or because a reading of the propeller left open
whether they pass; currents in flight, highest rpm, balance, flight time and the currents of the phases go by the
bounds of the search (:mod:`bounds.screen`), computed for the rows that are left. What passes all but the flight stays
until a mass or one of its limits moves, what is known of the flight until a mass or the reserve does; what lies near a
limit is computed by :class:`propmatch.checks.measures.TrainMeasures`. So counts and front are those of the search.

Kept is nothing where the brief sets a limit to what no table holds here (climb, launch), or where a shelf has more
combinations than :data:`LARGEST`: :meth:`KeptRows.of` says None, and the search itself answers.
"""

from collections.abc import Callable, Iterator
from functools import partial
from typing import Any

import attrs
import numpy as np
from numpy.typing import NDArray

from propmatch.checks.checkrules import CHECKS, excluding
from propmatch.checks.measures import TrainMeasures
from propmatch.checks.setting import Setting
from propmatch.models.arrays import Flags, Floats, Index
from propmatch.records.brief import Brief
from propmatch.records.fields import replace
from propmatch.search.bounds.pruned import (
    AT_REST,
    BAND,
    CHUNK,
    CURRENTS,
    FLOWN,
    SIZES,
    Drives,
    Lanes,
    PropellerTables,
    Screen,
)
from propmatch.search.front import Passing, may_lead, may_lead_in_two, pareto
from propmatch.search.shelf import Shelf

__all__ = ["LARGEST", "KeptRows", "place_of"]

LARGEST = 20_000_000
"""Combinations of a shelf up to which rows are kept: some 70 bytes for each that bears full throttle."""
_KEPT = {*SIZES, *CURRENTS, *FLOWN, *AT_REST, "propeller_rpm", "thrust_to_weight", "balance", "propeller_clearance"}
_UNKNOWN, _ROUGH, _FINE, _EXACT = range(4)
"""How well the flight of a row is known."""
_BLOCK = 2_097_152
"""Combinations looked at together while the rows are made."""
_PIECE = 65536
"""Rows taken between two looks at whether anybody still wants the answer."""
Tick = Callable[[], None]


def _asking_nothing(setting: Setting) -> Setting:
    """The setting without the limits that are laid over the rows."""
    limits = replace(
        setting.brief.limits, cells=(), min_thrust_to_weight=None, min_flight_minutes=None,
        max_propeller_diameter_in=None, max_wing_loading_g_dm2=None,
    )  # fmt: skip
    variant = attrs.evolve(setting.variant, target_mass_g=None)
    return attrs.evolve(setting, brief=replace(setting.brief, limits=limits), variant=variant)


def place_of(setting: Setting) -> tuple[Any, ...]:
    """What the rows hang on: the setting without limits and masses."""
    brief, here = _asking_nothing(setting).brief, setting.variant
    masses = ("aircraft", "item", "structure", "limits")
    silent = tuple(getattr(brief, name) for name in Brief.__annotations__ if name not in masses)
    limits = replace(brief.limits, reserve_charge=None)
    frame = replace(here.airframe, bare_mass_g=1.0)
    return (
        silent, limits, setting.stated.limits.cutoff_cell_v, here.name, setting.train_numbers, setting.clearance, frame,
    )  # fmt: skip


@attrs.frozen(kw_only=True, eq=False)
class _Fitting:
    """The rows that cells and diameter let in, with the mass of their trains."""

    asked: tuple[Any, ...]
    rows: Index
    train_g: Floats


def _scattered(shelf: Shelf, combination: Index) -> NDArray[np.uint64]:
    """A number of each combination, as if by chance, that hangs on nothing but the combination.

    The mixing of SplitMix64 (Steele, Lea and Flood, Fast Splittable Pseudorandom Number Generators, 2014).
    """
    sizes = [len(each) for each in (shelf.motors, shelf.controllers, shelf.packs, shelf.propellers)]
    x = np.ravel_multi_index(tuple(combination), sizes).astype(np.uint64)
    for shift, factor in ((30, 0xBF58476D1CE4E5B9), (27, 0x94D049BB133111EB)):
        x = (x ^ (x >> np.uint64(shift))) * np.uint64(factor)
    return np.asarray(x ^ (x >> np.uint64(31)), dtype=np.uint64)


@attrs.define(kw_only=True, eq=False)
class _Known:
    """What is known of the rows (N,) at one mass of the bare aircraft and one reserve.

    Attributes
    ----------
    allowed : what passes all but the flight, and the limits that this was asked for
    bears : whether they bear full throttle in flight, and balance: 1, -1, or 0 where nobody asked yet
    pulls : for a least thrust to weight, whether they may give it, in the same way
    held : the same of the currents of the phases, or 0 where that is open
    low, high : bounds of the minutes
    level : how well their flight is known
    """

    setting: Setting
    screen: Screen
    allowed: tuple[Any, tuple[Index, Floats, Floats]] | None
    bears: NDArray[np.int8]
    pulls: tuple[float | None, NDArray[np.int8]]
    held: NDArray[np.int8]
    level: NDArray[np.int8]
    low: Floats
    high: Floats


class KeptRows:
    """The combinations of a shelf that bear full throttle at rest, at one site."""

    def __init__(self, setting: Setting, shelf: Shelf, tick: Tick = lambda: None) -> None:
        self.shelf, self._hangs_on = shelf, place_of(setting)
        bare = _asking_nothing(setting)
        screen = Screen(bare, shelf, counting=False, tables=PropellerTables(bare, shelf))
        self._drives: list[Drives] = []
        lanes: list[tuple[Lanes, Flags]] = []
        for drives in screen.drives(np.arange(len(shelf.packs)), max(1, _BLOCK // len(shelf.propellers))):
            tick()
            self._drives.append(drives)
            lanes.append(screen.sound(drives))
        self._ends = np.cumsum([0, *(each.size for each, _ in lanes)])
        self._lanes = Lanes.joined([each for each, _ in lanes])
        self._open = np.concatenate([np.empty(0, dtype=bool), *(open_ for _, open_ in lanes)])
        self.size = self._lanes.size
        self._train_g, self._chance = np.empty(self.size), np.empty(self.size, dtype=np.uint64)
        for start in range(0, self.size, _PIECE):
            tick()
            part = np.arange(start, min(start + _PIECE, self.size))
            which = self.combinations(part).T
            self._train_g[part], self._chance[part] = shelf.train_mass_g(*which), _scattered(shelf, which)
        self._screen, self._flight_ratio = screen, screen.tables.curves.flight_ratio
        self._thrust_n, self._most_a = np.full((2, self.size), np.nan)
        self._unmeasured = np.ones(self.size, dtype=bool)
        self._fit: _Fitting | None = None
        self._known: _Known | None = None

    @classmethod
    def of(cls, setting: Setting, shelf: Shelf, tick: Tick = lambda: None) -> "KeptRows | None":
        """The rows of a shelf; None where the search itself has to answer."""
        asked = {name for name in excluding() if CHECKS[name].has_limit(setting)}
        if asked - _KEPT or shelf.combinations > LARGEST or setting.lanes is not None or setting.polar is not None:
            return None
        return cls(setting, shelf, tick)

    def serves(self, setting: Setting, shelf: Shelf) -> bool:
        """Whether these are the rows of that setting too: one that differs in masses and limits alone."""
        asked = {name for name in excluding() if CHECKS[name].has_limit(setting)}
        return shelf is self.shelf and not asked - _KEPT and place_of(setting) == self._hangs_on

    def combinations(self, rows: Index) -> Index:
        """Indices (N, 4) of motor, controller, pack and propeller."""
        out = np.empty((rows.size, 4), dtype=np.intp)
        for drives, some, at in self._by_drives(rows):
            out[at] = drives.combinations(self._lanes.drive[some], self._lanes.propeller[some])
        return out

    def prepare(self, tick: Tick) -> None:
        """Measure what the next step may ask for, the rows that cells and diameter let in last first."""
        for rows in (*([self._fit.rows] if self._fit else []), np.arange(self.size)):
            self._measure(rows, tick)

    def _measure(self, rows: Index, tick: Tick) -> None:
        """Full throttle at rest of rows that nobody asked for yet: thrust at half charge, and the most current."""
        for drives, some, _ in self._by_drives(rows[self._unmeasured[rows]]):
            tick()
            lanes = self._lanes.take(some)
            self._thrust_n[some], current = self._screen.at_rest(drives, lanes)
            # where a propeller takes more torque in flight, speed falls, and no current rises by more than the torque
            most = current * self._flight_ratio[lanes.propeller] * (1.0 + BAND)
            self._most_a[some] = np.where(np.isnan(most), np.inf, most)
            self._unmeasured[some] = False

    def _by_drives(self, rows: Index) -> Iterator[tuple[Drives, Index, Index]]:
        """Drives, the rows among these on them, a piece at a time, and where they stand among these."""
        part = np.searchsorted(self._ends, rows, side="right") - 1
        for number, drives in enumerate(self._drives):
            at = np.flatnonzero(part == number)
            for start in range(0, at.size, _PIECE):
                piece = at[start : start + _PIECE]
                yield drives, rows[piece], piece

    # ------------------------------------------------------------ a step

    def map(self, setting: Setting, *, most: int = 2000, moving: bool = False, tick: Tick = lambda: None) -> Passing:
        """What passes in a setting that these rows serve, as :func:`propmatch.search.front.passing_map` has it.

        ``moving`` takes the minutes of marks beside the front from the middle of their bounds where they are not known
        yet: within some percent, not the front nor any count. The front is that in time and thrust alone then, whatever
        the mass.
        """
        known = self._at(_asking_nothing(setting), tick)
        rows, thrust, mass_g = self._allowed(setting, known, tick)
        least = setting.brief.limits.min_flight_minutes or -np.inf
        self._tighten(rows, _ROUGH, known, tick)
        for settle in (partial(self._tighten, level=_FINE), self._solve):
            keep = (known.held[rows] >= 0) & (known.high[rows] >= least * (1.0 - BAND))
            rows, thrust, mass_g = rows[keep], thrust[keep], mass_g[keep]
            open_ = (known.held[rows] == 0) | ~(known.low[rows] > least * (1.0 + BAND))
            counted_g = np.zeros(rows.size) if moving else mass_g
            lead = may_lead_in_two if moving else partial(may_lead, mass_g=mass_g)
            leading = lead(np.where(open_, -np.inf, known.low[rows]), known.high[rows], thrust)
            open_[leading] = True
            settle(rows[open_], known=known, tick=tick)
        keep = (known.held[rows] > 0) & (known.low[rows] >= least)
        leading = leading[keep[leading]]
        front = leading[pareto(known.low[rows[leading]], thrust[leading], counted_g[leading])]
        keep[front] = False
        rest, total = np.flatnonzero(keep), int(np.count_nonzero(keep)) + front.size
        chance, room = self._chance[rows[rest]], max(0, most - front.size)
        if rest.size > room:
            some = np.argpartition(chance, room)[:room]
            rest = rest[some[np.argsort(chance[some])]]
        marks = np.concatenate([front, rest])
        if not moving:
            self._solve(rows[marks], known=known, tick=tick)
        at, combination = rows[marks], self.combinations(rows[marks])
        return Passing(
            combination=combination,
            flight_minutes=0.5 * (known.low[at] + known.high[at]),
            thrust_to_weight=thrust[marks],
            all_up_mass_g=mass_g[marks],
            cells=self.shelf.column("cells")[combination[:, 2]],
            front=np.arange(marks.size) < front.size,
            total=total,
        )

    def _at(self, here: Setting, tick: Tick) -> _Known:
        """What is known at the mass and the reserve of a setting."""
        known = self._known
        if known is not None and not _same_masses(known.setting, here):
            known = None
        if known is not None and known.setting.reserve_charge == here.reserve_charge:
            return known
        tick()
        if known is not None:
            tables = known.screen.tables.asking(here)
        else:
            tables = PropellerTables(here, self.shelf)
            for drives in self._drives:
                drives.node = tables.node_of(drives.mass_g)
        bears, held, level = np.zeros((3, self.size), dtype=np.int8)
        self._known = _Known(
            setting=here,
            screen=Screen(here, self.shelf, counting=False, tables=tables),
            allowed=None if known is None else known.allowed,
            bears=bears if known is None else known.bears,
            pulls=(None, np.empty(0, dtype=np.int8)) if known is None else known.pulls,
            held=held,
            level=level,
            low=np.zeros(self.size),
            high=np.full(self.size, np.inf),
        )
        return self._known

    def _fitting(self, setting: Setting) -> _Fitting:
        limits = setting.brief.limits
        widest, cells = limits.max_propeller_diameter_in, limits.cells
        if self._fit is None or self._fit.asked != (widest, cells):
            good = np.ones(self.size, dtype=bool)
            if widest is not None:
                good &= (self.shelf.column("diameter_in") <= widest)[self._lanes.propeller]
            for drives, start, end in zip(self._drives, self._ends, self._ends[1:], strict=False):
                if cells:
                    good[start:end] &= np.isin(drives.of_pack["cells"], cells)[self._lanes.drive[start:end]]
            rows = np.flatnonzero(good)
            self._fit = _Fitting(asked=(widest, cells), rows=rows, train_g=self._train_g[rows])
        return self._fit

    def _allowed(self, setting: Setting, known: _Known, tick: Tick) -> tuple[Index, Floats, Floats]:
        """Rows that pass all but the flight, their thrust to weight and their all-up mass."""
        asked = (
            replace(setting.brief.limits, min_flight_minutes=None, reserve_charge=None),
            setting.variant.target_mass_g,
        )
        if known.allowed is None or known.allowed[0] != asked:
            known.allowed = asked, self._looked_through(setting, known, tick)
        return known.allowed[1]

    def _looked_through(self, setting: Setting, known: _Known, tick: Tick) -> tuple[Index, Floats, Floats]:
        fit, limits, frame = self._fitting(setting), setting.brief.limits, setting.variant.airframe
        mass_g, loading = setting.all_up_mass_g(fit.train_g), limits.max_wing_loading_g_dm2
        good = np.ones(fit.rows.size, dtype=bool)
        for name, limit in (
            ("all_up_mass", setting.variant.target_mass_g),
            ("wing_loading", None if loading is None else loading * frame.wing_area_dm2),
        ):
            if limit is not None:
                good &= self._within(name, fit.rows, mass_g, limit, setting)
        least = limits.min_thrust_to_weight
        if least is not None:
            good &= self._may_pull(fit.rows, good, setting, known, tick)
        some = np.flatnonzero(good)
        some = some[self._pulls(fit.rows[some], fit.train_g[some], setting)[1]]
        rows = fit.rows[some]
        for drives, ask, _ in self._by_drives(rows[known.bears[rows] == 0]):
            tick()
            bears = known.screen.bears(drives, self._lanes.take(ask), self._open[ask])
            known.bears[ask] = np.where(bears, 1, -1)
        some = some[known.bears[rows] > 0]
        rows = fit.rows[some]
        self._measure(rows, tick)
        thrust, good = self._pulls(rows, fit.train_g[some], setting)
        return rows[good], thrust[good], mass_g[some[good]]

    def _pulls(self, rows: Index, train_g: Floats, setting: Setting) -> tuple[Floats, Flags]:
        """Thrust to weight, NaN where nobody measured it, and which rows keep its limit, as far as that is known."""
        thrust = setting.airframes(train_g).thrust_to_weight(self._thrust_n[rows])
        least = setting.brief.limits.min_thrust_to_weight
        if least is None:
            return thrust, np.ones(rows.size, dtype=bool)
        return thrust, self._within("thrust_to_weight", rows, thrust, least, setting) | self._unmeasured[rows]

    def _within(self, name: str, rows: Index, value: Floats, limit: float, setting: Setting) -> Flags:
        """Which rows keep a limit of what is known of them, as the measure says where they come near it."""
        room = value - limit if CHECKS[name].least else limit - value
        good = np.asarray(room >= 0)
        near = np.flatnonzero(np.abs(room) <= BAND * limit)
        if near.size:
            good[near] = self._measured(rows[near], setting).passes(name)
        return good

    def _may_pull(self, rows: Index, good: Flags, setting: Setting, known: _Known, tick: Tick) -> Flags:
        """Which rows may give the least thrust to weight, by a reading of the propeller where nobody measured them."""
        least = setting.brief.limits.min_thrust_to_weight
        if least != known.pulls[0]:
            known.pulls = least, np.zeros(self.size, dtype=np.int8)
        pulls = known.pulls[1]
        open_ = good & self._unmeasured[rows]
        ask = rows[open_ & (pulls[rows] == 0)]
        if ask.size:
            here = known.setting
            limits = replace(here.brief.limits, min_thrust_to_weight=least)
            tables = known.screen.tables.asking(attrs.evolve(here, brief=replace(here.brief, limits=limits)))
            screen = Screen(tables.setting, self.shelf, counting=False, tables=tables)
            for drives, some, _ in self._by_drives(ask):
                tick()
                pulls[some] = np.where(screen.pulls(drives, self._lanes.take(some)), 1, -1)
        return np.asarray(~open_ | (pulls[rows] >= 0))

    def _measured(self, rows: Index, setting: Setting) -> TrainMeasures:
        return TrainMeasures(setting, *self.shelf.combine(*self.combinations(rows).T))

    # ------------------------------------------------------------ flight

    def _tighten(self, rows: Index, level: int, known: _Known, tick: Tick) -> None:
        """Bound the flight of rows that are not known so well."""
        for drives, some, _ in self._by_drives(rows[known.level[rows] < level]):
            tick()
            lanes = self._lanes.take(some)
            bounds = known.screen.bounds(drives, lanes, rough=level == _ROUGH, most_a=self._most_a[some])
            told = np.min(known.screen.verdicts(drives, lanes, bounds), axis=0)
            known.low[some], known.high[some], known.level[some] = bounds.minutes_low, bounds.minutes_high, level
            known.held[some] = np.where(known.held[some] == 0, told, known.held[some])

    def _solve(self, rows: Index, known: _Known, tick: Tick) -> None:
        """Fly rows that were not flown yet."""
        rows = rows[known.level[rows] < _EXACT]
        for start in range(0, rows.size, CHUNK):
            tick()
            some = rows[start : start + CHUNK]
            measured = self._measured(some, known.setting)
            passes = measured.passes("pack_sustained") & measured.passes("motor_current_phase")
            known.low[some] = known.high[some] = measured.flight.minutes
            known.level[some], known.held[some] = _EXACT, np.where(passes, 1, -1)


def _same_masses(one: Setting, other: Setting) -> bool:
    """Whether two settings of the same rows weigh the same, at the same places."""
    return (one.variant, one.build, one.brief.item, one.brief.structure) == (
        other.variant, other.build, other.brief.item, other.brief.structure,
    )  # fmt: skip
