"""What a pack of another cell count changes: the same motor, propeller and controller with comparable packs.

Comparable is said three ways, and all three are worked out: the same energy, the same mass, the same capacity.
Thrust to weight, climb and top speed at half charge; currents, heat and speed of rotation at rest on a full pack.
"""

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import cached_property, partial
from typing import TypeVar

import attrs
import numpy as np

from propmatch.aircraft.flight import level_lanes
from propmatch.aircraft.flightlanes import FlightLanes, flight_time_lanes
from propmatch.catalogue.catalogue import Catalogue
from propmatch.checks.chances import Drawn, Sureness, as_stated, drawn
from propmatch.checks.judged import judged_trains
from propmatch.checks.limits import Check, checks_of, missed, surely, warnings_of
from propmatch.checks.measures import TrainMeasures
from propmatch.checks.placing import Placing, balance_assumptions, placing
from propmatch.checks.setting import ResolvedBrief, Setting
from propmatch.checks.throttlelimit import THROTTLE_LIMIT, ThrottleLimit, throttle_limits
from propmatch.columns import (
    CUBIC_LOADING,
    POWER_LOADING,
    STATIC,
    STATIC_HALF,
    Column,
    beside,
    columns_of,
    lanes_of,
    number,
)
from propmatch.faults import Fault, InputFaults
from propmatch.models.arrays import Floats
from propmatch.questions.remedies import Remedies, remedies
from propmatch.records.brief import Brief
from propmatch.records.estimates import Assumption
from propmatch.records.fields import replace
from propmatch.records.packfit import PackFit
from propmatch.records.parts import Pack, PowerTrain
from propmatch.records.sections import Phase
from propmatch.search.matching import best_train
from propmatch.tablehtml import table_html
from propmatch.train.operating import OperatingPoint
from propmatch.units import GRAM_KG

__all__ = [
    "BASES",
    "CLOSE_PACK",
    "CellCase",
    "CellComparison",
    "ComparedPack",
    "Worked",
    "compare_cells",
    "compared_packs",
    "ranged_columns",
    "usual_cells",
]


BASES = ("same energy", "same mass", "same capacity")
"""Ways in which packs of different cell counts are comparable."""
CLOSE_PACK = 0.10
"""A catalogue pack this near counts as comparable; common practice, no published source."""


@attrs.frozen(kw_only=True, eq=False)
class ComparedPack:
    """The pack of one cell count that is comparable in one way.

    Attributes
    ----------
    compared_by : str
        One of ``BASES``.
    cells : int
    pack : Pack
        The one used.
    origin : str
        ``own`` (the design's), ``catalogue`` or ``scaled``.
    nearest_pack : Pack or None
        The nearest pack of the catalogue with this cell count.
    nearest_pack_off : float
        By how much it misses, as a share; NaN when there is none.
    """

    compared_by: str
    cells: int
    pack: Pack
    origin: str
    nearest_pack: Pack | None
    nearest_pack_off: float


def compared_packs(
    base: Pack, cells: Sequence[int], packs: Sequence[Pack], fit: PackFit
) -> dict[tuple[str, int], ComparedPack]:
    """Comparable packs for each basis and cell count; packs of the base's own chemistry are considered."""

    def size(pack: Pack, basis: str) -> float:
        """What makes packs comparable."""
        if basis == "same mass":
            return pack.mass_g
        return pack.capacity_mah * (pack.cells_series if basis == "same energy" else 1)

    def scaled(basis: str, count: int) -> Pack:
        if basis == "same mass":
            capacity = fit.capacity_like_mah(base, count, base.mass_g)
            return fit.scaled(base, cells=count, capacity_mah=capacity, mass_g=base.mass_g)
        capacity = size(base, basis) / (count if basis == "same energy" else 1)
        return fit.scaled(base, cells=count, capacity_mah=capacity)

    def off(pack: Pack, basis: str) -> float:
        return size(pack, basis) / size(base, basis) - 1.0

    out = {}
    for basis in BASES:
        for count in cells:
            alike = [p for p in packs if p.cells_series == count and p.chemistry == base.chemistry]
            near = min(
                alike,
                key=lambda p: (abs(math.log1p(off(p, basis))), abs(p.c_rating - base.c_rating)),
                default=None,
            )
            miss = float("nan") if near is None else off(near, basis)
            if count == base.cells_series:
                pack, origin = base, "own"
            elif near is not None and abs(miss) <= CLOSE_PACK:
                pack, origin = near, "catalogue"
            else:
                pack, origin = scaled(basis, count), "scaled"
            out[basis, count] = ComparedPack(
                compared_by=basis, cells=count, pack=pack, origin=origin, nearest_pack=near, nearest_pack_off=miss
            )
    return out


_CELLS = range(1, 7)
T = TypeVar("T")


class Worked:
    """What the numbers of the cases are read from, a lane each, worked out when asked for."""

    def __init__(self, measured: TrainMeasures) -> None:
        self.measured = measured
        self._density = np.broadcast_to(measured.setting.air.density_kg_m3, (measured.lanes.size,))
        self._sound = np.full(measured.lanes.size, measured.setting.air.speed_of_sound_m_s)

    @property
    def fresh(self) -> OperatingPoint:
        return self.measured.full(1.0)

    @property
    def half(self) -> OperatingPoint:
        return self.measured.full(0.5)

    @cached_property
    def level_airspeed_m_s(self) -> Floats:
        setting, frames = self.measured.setting, self.measured.frames
        speed = level_airspeed(setting)
        return setting.default_airspeed_m_s(frames) if speed is None else np.full(self.measured.lanes.size, speed)

    @cached_property
    def level(self) -> OperatingPoint:
        lanes, frames, half = self.measured.lanes, self.measured.frames, np.full(self.measured.lanes.size, 0.5)
        return level_lanes(lanes, frames, self.level_airspeed_m_s, half, self._density, self._sound)

    @cached_property
    def full(self) -> FlightLanes:
        lanes, frames, setting = self.measured.lanes, self.measured.frames, self.measured.setting
        loud = (Phase(name="full throttle", throttle=1.0, share=1.0),)
        return flight_time_lanes(
            lanes, frames, loud, setting.reserve_charge, setting.cutoff_cell_v, self._density, self._sound
        )

    @cached_property
    def limits(self) -> list[ThrottleLimit]:
        return throttle_limits(self.measured)


class _Made(Mapping[str, T]):
    """Values by name, each made when it is first asked for."""

    def __init__(self, names: Sequence[str], make: Callable[[str], T]) -> None:
        self._names, self._make, self._kept = names, make, dict[str, T]()

    def __getitem__(self, name: str) -> T:
        if name not in self._names:
            raise KeyError(name)
        if name not in self._kept:
            self._kept[name] = self._make(name)
        return self._kept[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._names)

    def __len__(self) -> int:
        return len(self._names)


class _Draws:
    """The draws of the cases of one variant, and the intervals of their numbers."""

    def __init__(self, drawn: Drawn) -> None:
        columns, worked = {column.name: column for column in ranged_columns()}, Worked(drawn.measured)
        self.drawn = drawn
        self._of_column = _Made(list(columns), lambda name: drawn.ends([columns[name]], worked))

    def ends(self, at: int) -> Mapping[str, float]:
        """Both ends of each number of one train, ``NAME_low`` and ``NAME_high``; nothing on paper."""
        names = [] if self.drawn.on_paper else [f"{name}_{end}" for name in self._of_column for end in ("low", "high")]
        return _Made(names, lambda key: self._of_column[key.rpartition("_")[0]][at][key])


_further = partial(number, html=False)
"""A column too many for the table of a notebook."""


@attrs.frozen(kw_only=True, eq=False)
class CellCase:
    """One cell count, one way of comparing, one variant.

    The numbers are columns, each with its label. ``level_``: NaN where level flight cannot be held.

    Attributes
    ----------
    variant, compared_by : str
    cells : int
    pack : Pack, origin : str as in ``ComparedPack``
    train : PowerTrain
    paper : tuple of Check, on paper
    limited : ThrottleLimit
        The throttle limit, and every check made again with it.
    draws : the draws of the variant
    sure : Sureness
    """

    variant: str
    compared_by: str
    cells: int
    pack: Pack
    origin: str
    train: PowerTrain
    paper: tuple[Check, ...]
    limited: ThrottleLimit
    draws: _Draws
    sure: Sureness
    all_up_mass_g: float = number(
        "all-up {unit}", lambda w: w.measured.frames.mass_kg / GRAM_KG, kind="mass", digits=0, place=1,
        label="all-up mass", check="all_up_mass",
    )  # fmt: skip
    thrust_to_weight: float = number(
        "thrust to weight, half charge", lambda w: w.measured["thrust_to_weight"].value, digits=2, place=3,
        label="thrust to weight, half charge", check="thrust_to_weight",
    )  # fmt: skip
    flight_minutes: float = number(
        "minutes, brief's flying",
        lambda w: w.measured["flight_time"].value,
        kind="min",
        place=14,
        label="flight time",
        check="flight_time",
    )
    climb_m_s: float = number(
        "climb {unit}, half charge", lambda w: w.measured.climb.climb_m_s, kind="m/s", place=16,
        label="best climb, half charge", check="climb",
    )  # fmt: skip
    top_speed_m_s: float = number(
        "top {unit}, half charge", lambda w: w.measured.top_speed_m_s, kind="speed", digits=0, place=17,
        label="top level speed, half charge",
    )  # fmt: skip
    thrust_static_n: float = number(
        "thrust {unit}", lambda w: w.fresh.thrust_n, kind="thrust", digits=0, place=2, label=f"thrust, {STATIC}"
    )
    thrust_static_half_n: float = _further("", lambda w: w.half.thrust_n, kind="thrust", label=f"thrust, {STATIC_HALF}")
    rpm_static: float = _further(
        "propeller rpm", lambda w: w.fresh.rpm, kind="rpm", digits=0, place=4, label=f"propeller speed, {STATIC}"
    )
    motor_rpm_static: float = _further("", lambda w: w.fresh.motor_rpm, kind="rpm", label=f"motor speed, {STATIC}")
    motor_current_static_a: float = number(
        "motor A",
        lambda w: w.fresh.motor_current_a,
        kind="A",
        place=5,
        label=f"current of one motor, {STATIC}",
        check="motor_current_static",
    )
    pack_current_static_a: float = number(
        "battery lead A", lambda w: w.fresh.pack_current_a, kind="A", place=6, label=f"pack current, {STATIC}"
    )
    pack_power_static_w: float = _further(
        "battery lead W", lambda w: w.fresh.pack_power_w, kind="W", digits=0, place=7,
        label=f"power from the pack, {STATIC}",
    )  # fmt: skip
    motor_heat_static_w: float = _further(
        "heat in one motor W", lambda w: w.fresh.motor_heat_w, kind="W", place=8, label=f"heat in one motor, {STATIC}"
    )
    heat_static_w: float = _further(
        "heat in all W", lambda w: w.fresh.heat_w, kind="W", place=9, label=f"heat in the whole power train, {STATIC}"
    )
    level_airspeed_m_s: float = _further(
        "level {unit}, half charge", lambda w: w.level_airspeed_m_s, kind="speed", digits=0, place=11,
        label="airspeed of the level flight looked at",
    )  # fmt: skip
    level_throttle: float = _further(
        "  throttle %", lambda w: w.level.throttle, kind="%", digits=0, place=12,
        label="throttle of level flight, half charge",
    )  # fmt: skip
    level_motor_current_a: float = _further(
        "  motor A / pack A", lambda w: w.level.motor_current_a, kind="A", place=13,
        label="current of one motor in level flight, half charge",
    )  # fmt: skip
    level_pack_current_a: float = _further(
        "", lambda w: w.level.pack_current_a, kind="A", label="pack current in level flight, half charge"
    )
    full_throttle_minutes: float = _further(
        "minutes, full throttle", lambda w: w.full.minutes, kind="min", place=15,
        label="flight time at full throttle all the way",
    )  # fmt: skip
    servo_supply_heat_w: float = _further(
        "heat in the BEC W", lambda w: w.measured["servo_supply_heat"].value, kind="W", digits=2, place=10,
        label="heat in the BEC, full battery", check="servo_supply_heat",
    )  # fmt: skip
    pack_power_per_mass_w_kg: float = _further(
        "{unit}", lambda w: w.measured.pack_power_per_mass_w_kg, kind="W/kg", digits=0, place=7, label=POWER_LOADING
    )
    cubic_loading_kg_m3: float = _further(
        "", lambda w: w.measured.cubic_loading_kg_m3, kind="kg/m3", place=1, label=CUBIC_LOADING
    )
    throttle_limit: float = number(
        "throttle limit %", lambda w: np.array([each.throttle for each in w.limits]), kind="%", digits=1, place=18,
        label=THROTTLE_LIMIT,
    )  # fmt: skip

    @property
    def ends(self) -> Mapping[str, float]:
        """Both ends of the interval of each number, ``NAME_low`` and ``NAME_high``."""
        return self.draws.ends(self.sure.at)

    @property
    def row(self) -> dict[str, str | int | float | list[str] | dict[str, float]]:
        """As JSON and CSV have it."""
        return {
            **{name: getattr(self, name) for name in ("variant", "compared_by", "cells")},
            "pack_source": self.origin,
            **beside({column.name: getattr(self, column.name) for column in columns_of(CellCase)}, self.ends),
            "chance_all_limits": self.sure.chance_all_limits,
            "chance_by_check": self.sure.chance_by_check,
            **self.limited.row,
            "pack_name": self.pack.name,
            "pack_mass_g": self.pack.mass_g,
            "capacity_mah": self.pack.capacity_mah,
            "failed": [check.name for check in self.failing],
            "outside_practice": [check.name for check in self.outside_practice],
        }

    @cached_property
    def checks(self) -> tuple[Check, ...]:
        """The checks, as sure as they are."""
        return self.paper if self.sure.drawn.on_paper else tuple(surely(self.paper, self.sure))

    @property
    def failing(self) -> tuple[Check, ...]:
        """Checks of the brief and of ratings that it misses, a danger first."""
        return missed(self.paper)

    @property
    def outside_practice(self) -> tuple[Check, ...]:
        """Checks of common practice that it misses, and estimated ratings that only warn."""
        return warnings_of(self.paper)

    def check(self, name: str) -> Check:
        """A check by name."""
        return next(each for each in self.checks if each.name == name)


def ranged_columns() -> tuple[Column, ...]:
    """The columns that have an interval."""
    return tuple(column for column in columns_of(CellCase) if column.name != "throttle_limit")


@attrs.frozen(kw_only=True, eq=False)
class CellComparison:
    """The effect of the cell count on one power train.

    Attributes
    ----------
    brief : Brief
    train : PowerTrain
        The design, with its own pack.
    cells : tuple of int, rising
    variants : tuple of str
    packs : dict
        (compared_by, cells) to ``ComparedPack``.
    of_variant : mapping
        Variant to its ``CellCase``, worked out when they are asked for.
    remedies : dict
        Cell count to what brings it inside the limits; the counts that exceed a limit as designed at the same energy.
    placing : mapping
        Basis to balance and trim of all counts, as designed.
    fit : PackFit
    assumptions : tuple of Assumption
    """

    brief: Brief
    train: PowerTrain
    cells: tuple[int, ...]
    variants: tuple[str, ...]
    packs: dict[tuple[str, int], ComparedPack]
    of_variant: Mapping[str, tuple[CellCase, ...]]
    remedies: dict[int, Remedies]
    placing: Mapping[str, Placing]
    fit: PackFit
    assumptions: tuple[Assumption, ...]

    @property
    def cases(self) -> tuple[CellCase, ...]:
        """Those of every variant."""
        return tuple(case for each in self.of_variant.values() for case in each)

    def case(self, cells: int, *, compared_by: str = BASES[0], variant: str | None = None) -> CellCase:
        """A case by cell count, way of comparing and variant (default: the aircraft as designed)."""
        own = self.of_variant[self.variants[0] if variant is None else variant]
        return next(case for case in own if (case.compared_by, case.cells) == (compared_by, cells))

    def _repr_html_(self) -> str:
        numbers = (column.name for column in columns_of(CellCase) if column.html)
        names = ("variant", "compared_by", "cells", *numbers)
        rows = [
            [*(getattr(case, name) for name in names), ", ".join(check.name for check in case.failing) or "none"]
            for case in self.cases
        ]
        return table_html((*names, "limits missed"), rows)


def checked_cells(cells: Sequence[int]) -> tuple[int, ...]:
    """The counts in rising order.

    Raises
    ------
    InputFaults
        A count that is not 1 to 6, named twice, or none at all.
    """
    counts = list(cells)
    rule = "must be cell counts of 1 to 6, each once"
    wrong = [c for c in counts if isinstance(c, bool) or not isinstance(c, int | np.integer) or c not in _CELLS]
    if wrong or not counts or len(set(counts)) < len(counts):
        raise InputFaults([Fault(where="cells", value=wrong[0] if wrong else tuple(counts), rule=rule)])
    return tuple(sorted(int(c) for c in counts))


def usual_cells(resolved: ResolvedBrief, train: PowerTrain) -> tuple[int, ...]:
    """The counts that are looked at where nobody names any: the brief's and the design's own; of one, 2 and 3 too."""
    own = {train.pack.cells_series, *resolved.stated.limits.cells}
    return tuple(sorted(own if len(own) > 1 else own | {2, 3}))


def compare_cells(
    brief: Brief | ResolvedBrief,
    catalogue: Catalogue,
    *,
    cells: Sequence[int] = (2, 3),
    train: PowerTrain | None = None,
    on_paper: bool = False,
) -> CellComparison:
    """What packs of other cell counts do to the same motor, propeller and controller.

    Parameters
    ----------
    brief : Brief, resolved already or not
    catalogue : Catalogue
        Its packs stand beside the design's own; its propellers, motors and controllers are tried as remedies.
    cells : sequence of int
        Counts of 1 to 6.
    train : PowerTrain, optional
        The design; default the best that matches the brief.
    on_paper : bool
        Every number as it is stated: no ranges and no chances.

    Returns
    -------
    CellComparison

    Raises
    ------
    InputFaults
        Cell counts out of range.
    Unmet
        No train named and none that meets the brief.
    ValueError
        A propeller without a coefficient table.
    """
    counts = checked_cells(cells)
    resolved = ResolvedBrief.of(brief)
    design = resolved.as_designed
    if train is None:
        train = best_train(resolved, catalogue)
    stock = catalogue.let_in(design.brief.parts, design.variant.motor_count)
    fit = PackFit.of(catalogue.packs, train.pack.chemistry)
    packs = compared_packs(train.pack, counts, list(stock.packs.values()), fit)
    trains = [replace(train, pack=each.pack) for each in packs.values()]
    made: dict[Assumption, None] = dict.fromkeys(design.brief_assumptions)
    measures = dict[str, TrainMeasures]()
    for setting in resolved.settings:
        measures[setting.variant.name], assumed = judged_trains(setting, trains)
        made.update(dict.fromkeys((*setting.variant.assumptions, *assumed)))
    of_variant = _Made(list(measures), lambda name: _cases(measures[name], list(packs.values()), trains, on_paper))
    found = {
        case.cells: remedies(design, catalogue, case.train, failing=tuple(c.name for c in case.failing), beside=counts)
        for case in of_variant[design.variant.name]
        if case.compared_by == BASES[0] and case.failing
    }
    if any(each.origin == "scaled" for each in packs.values()):
        made[fit.assumption] = None
    for each in found.values():
        made.update(dict.fromkeys(each.assumptions))
    made.update(dict.fromkeys(balance_assumptions(design, train)))
    placed = _placings(design, train, trains, packs, counts)
    made.update(dict.fromkeys(placed[BASES[0]].steering.assumptions))
    return CellComparison(
        brief=resolved.stated,
        train=train,
        cells=counts,
        variants=tuple(measures),
        packs=packs,
        of_variant=of_variant,
        remedies=found,
        placing=placed,
        fit=fit,
        assumptions=tuple(made),
    )


def _placings(
    setting: Setting,
    own: PowerTrain,
    trains: Sequence[PowerTrain],
    packs: dict[tuple[str, int], ComparedPack],
    counts: Sequence[int],
) -> Mapping[str, Placing]:
    by_key = dict(zip(packs, trains, strict=True))
    names = [f"{count}S" for count in counts]
    return _Made(BASES, lambda basis: placing(setting, [by_key[basis, count] for count in counts], names, design=own))


def level_airspeed(setting: Setting) -> float | None:
    """Airspeed of the phase that holds one for longest; None when no powered phase holds any."""
    held = [phase for phase in setting.phases if phase.throttle is None and phase.airspeed_m_s]
    best = max(held, key=lambda phase: (phase.share or 0.0, phase.seconds or 0.0), default=None)
    return None if best is None else best.airspeed_m_s


def _each_once(packs: Sequence[Pack]) -> list[Pack]:
    """Packs that differ, in order; those compared one way are often those compared another."""
    return [pack for at, pack in enumerate(packs) if pack not in packs[:at]]


def _cases(
    measured: TrainMeasures, packs: Sequence[ComparedPack], trains: Sequence[PowerTrain], on_paper: bool
) -> tuple[CellCase, ...]:
    worked, sorts = Worked(measured), _each_once([each.pack for each in packs])
    first = [next(train for train in trains if train.pack == pack) for pack in sorts]
    draws = _Draws((as_stated if on_paper else drawn)(measured.setting, first))
    sure = [draws.drawn.each[sorts.index(each.pack)] for each in packs]
    numbers, checks = lanes_of(columns_of(CellCase), worked), checks_of(measured)
    return tuple(
        CellCase(
            variant=measured.setting.variant.name, compared_by=each.compared_by, cells=each.cells, pack=each.pack,
            origin=each.origin, train=train, paper=tuple(checks[lane]), limited=worked.limits[lane], draws=draws,
            sure=sure[lane], **numbers[lane],
        )
        for lane, (each, train) in enumerate(zip(packs, trains, strict=True))
    )  # fmt: skip
