"""Questions asked backwards, each answered by a bracketed search on the models: from a limit to the part.

The largest propeller, the kV and the throttle limit for a current need the power train alone; mass, pack and field need
the whole aircraft. Limits may be arrays: one search serves all of them.

With the numbers as they are stated an answer holds on paper; ``sure`` asks for one that holds with a chance
(:mod:`questions.chance`), and what holds on paper stands beside it.
"""

from collections.abc import Callable, Sequence
from itertools import islice
from typing import Any

import attrs
import numpy as np
from numpy.typing import ArrayLike

from propmatch.catalogue.catalogue import Catalogue
from propmatch.checks.chances import Sureness
from propmatch.checks.judged import failing, judged, judged_trains, passing
from propmatch.checks.measures import TrainMeasures
from propmatch.checks.ratings import RatingLanes, rating_lanes
from propmatch.checks.setting import ResolvedBrief, Setting
from propmatch.checks.throttlelimit import LEAST, LIMIT_NOTE
from propmatch.columns import STATIC, number
from propmatch.models.air import Air
from propmatch.models.arrays import Flags, Floats
from propmatch.questions.chance import WithChance
from propmatch.records.brief import Brief
from propmatch.records.estimates import Assumption, completed, supply_assumed
from propmatch.records.fields import replace
from propmatch.records.masses import stays_g
from propmatch.records.packfit import PackFit
from propmatch.records.parts import Motor, Pack, PowerTrain, Propeller
from propmatch.train.brackets import edge
from propmatch.train.coupling import Asked, as_lanes, solve, solve_lanes
from propmatch.train.lanes import TrainLanes, train_lanes
from propmatch.train.scaling import SAME_TABLE, SAME_WINDING_SPACE, rewound_lanes
from propmatch.units import CELSIUS_K, GRAM_KG, INCH_M

__all__ = [
    "CapacityForMinutes",
    "KvForCurrent",
    "LargestPropeller",
    "MassRange",
    "PackAtHand",
    "PartAtHand",
    "SiteRange",
    "ThrottleForCurrent",
    "capacity_for_minutes",
    "kv_for_current",
    "largest_propeller",
    "mass_range",
    "site_range",
    "throttle_for_current",
]

_SCAN = 48
_MASS_SPREAD = (0.25, 4.0)
CAPACITY_MAH = (50.0, 50000.0)
ALTITUDE_M = (-500.0, 6000.0)
TEMPERATURE_C = (-40.0, 60.0)
HOT_DAY_C = 35.0
NEAREST = 5
_CHANCE_WORDS = "chance with which it must hold"
_HELD_GRID, _HELD_HALVINGS, _HELD_SITE_HALVINGS = 7, 4, 14
NAN = float("nan")


def _chance_of(sure: WithChance | None) -> float:
    return NAN if sure is None else sure.chance


def _many(train: PowerTrain, n: int) -> tuple[TrainLanes, RatingLanes, tuple[Assumption, ...]]:
    lanes, made = train_lanes([train])
    index = np.zeros(n, dtype=np.intp)
    return lanes.take(index), rating_lanes([train]).take(index), (*made, *supply_assumed(train))


# ---------------------------------------------------------------- mass


@attrs.frozen(kw_only=True, eq=False)
class MassRange:
    """The all-up masses at which every check of the brief and of part ratings passes.

    Attributes
    ----------
    variant : str
    chance : float
        With which wishes must be kept there, ratings with theirs; NaN where that was not asked.
    all_up_mass_g : float
        Of the design.
    lightest_g, heaviest_g : float
        NaN both where the design itself fails, or no mass between them has the chance.
    lightest_by, heaviest_by : tuple of str
        Checks that fail just beyond, or the one furthest short of its chance; empty where none does (``lightest_g`` is
        then power train and items with next to no filament, ``heaviest_g`` four times the design's mass).
    lightest_on_paper_g, heaviest_on_paper_g : float
    surest_g, surest_chance : float
        The mass at which the chances come nearest to what is asked, or keep most of it, and the chance of every limit
        at once there; NaN where no chance was asked.
    surest_by : tuple of str
        The least certain check there.
    without_target_g : float
        Heaviest when the target mass is left aside.
    without_target_by : tuple of str
    failing : tuple of str
        Checks the design itself fails.
    assumptions : tuple of Assumption
    """

    variant: str
    chance: float = number(label=_CHANCE_WORDS)
    all_up_mass_g: float = number(kind="mass", label="all-up mass")
    lightest_g: float = number(kind="mass", label="lightest all-up mass that meets the brief")
    heaviest_g: float = number(kind="mass", label="heaviest all-up mass that meets the brief")
    lightest_by: tuple[str, ...]
    heaviest_by: tuple[str, ...]
    lightest_on_paper_g: float = number(kind="mass", label="lightest all-up mass that meets the brief on paper")
    heaviest_on_paper_g: float = number(kind="mass", label="heaviest all-up mass that meets the brief on paper")
    surest_g: float = number(kind="mass", label="all-up mass at which the brief is met most surely")
    surest_chance: float = number(label="chance of every limit at that mass")
    surest_by: tuple[str, ...]
    without_target_g: float = number(kind="mass", label="heaviest all-up mass, the target mass left aside")
    without_target_by: tuple[str, ...]
    failing: tuple[str, ...]
    assumptions: tuple[Assumption, ...]


def mass_range(
    brief: Brief | ResolvedBrief, train: PowerTrain, *, variant: str | None = None, sure: WithChance | None = None
) -> MassRange:
    """Lightest and heaviest all-up mass at which the brief is still met with this power train.

    The bare aircraft takes up the difference (`MassBuildUp.scaled_to`), wing and drag as they are. A scan of 48 masses
    each way finds the first that fails; halving closes in. With ``sure`` the masses between them that hold with the
    chance, the mass being weighed.
    """
    setting = ResolvedBrief.of(brief).named(variant)
    assumptions, train = setting.variant.assumptions, setting.flown(train)
    here, made = judged_trains(setting, [train])
    design = float(here.frames.mass_kg[0] / GRAM_KG)
    least = train.mass_g + stays_g(setting.build.lines) + 1.0

    def measures(mass: Floats) -> TrainMeasures:
        lanes, ratings, _ = _many(train, mass.size)
        return judged(setting, lanes, ratings, all_up_mass_g=mass)

    def end(limit: float, without: tuple[str, ...]) -> tuple[float, tuple[str, ...]]:
        masses = np.geomspace(design, limit, _SCAN)

        def passes(mass: Floats) -> Flags:
            return passing(measures(mass), without=without)

        return _first_failure(masses, passes, lambda mass: failing(measures(np.array([mass])), without=without)[0])

    wrong = failing(here)[0]
    nothing = (float("nan"), ())
    light = nothing if wrong else end(least, ())
    heavy = nothing if wrong else end(_MASS_SPREAD[1] * design, ())
    blind = ("all_up_mass",)
    free = nothing if set(wrong) - set(blind) else end(_MASS_SPREAD[1] * design, blind)
    held = _Held(light, heavy) if sure is None or wrong else _held_masses(sure, setting, train, light, heavy)
    return MassRange(
        variant=setting.variant.name,
        chance=_chance_of(sure),
        all_up_mass_g=design,
        lightest_g=held.light[0],
        heaviest_g=held.heavy[0],
        lightest_by=held.light[1],
        heaviest_by=held.heavy[1],
        lightest_on_paper_g=light[0],
        heaviest_on_paper_g=heavy[0],
        surest_g=held.surest_g,
        surest_chance=held.surest_chance,
        surest_by=held.surest_by,
        without_target_g=free[0],
        without_target_by=free[1],
        failing=wrong,
        assumptions=(*assumptions, *made),
    )


_End = tuple[float, tuple[str, ...]]


@attrs.frozen
class _Held:
    """Lightest and heaviest mass, each with what binds it, and the surest with the chance of every limit there."""

    light: _End
    heavy: _End
    surest_g: float = NAN
    surest_chance: float = NAN
    surest_by: tuple[str, ...] = ()


def _held_masses(sure: WithChance, setting: Setting, train: PowerTrain, light: _End, heavy: _End) -> _Held:
    """Of the masses that pass on paper those that hold with the chance: a grid, then halving at either end."""
    grid = np.linspace(light[0], heavy[0], _HELD_GRID)
    drawn = sure.at_masses(setting, train, grid)
    room = sure.room(drawn)
    best = int(np.argmax(room))
    there = Sureness(drawn, best)
    surest = float(grid[best]), there.chance_all_limits, tuple(each for each in [there.least_certain] if each)
    if room[best] < 1.0:
        return _Held((NAN, ()), (NAN, ()), *surest)
    short = np.flatnonzero(room < 1.0)
    below, above = short[short < best], short[short > best]
    outside = np.array([below[-1] if below.size else 0, above[0] if above.size else _HELD_GRID - 1])
    inside = np.array([outside[0] + 1 if below.size else 0, outside[1] - 1 if above.size else _HELD_GRID - 1])
    ends = edge(lambda masses: sure.keeps(sure.at_masses(setting, train, masses)), grid[inside], grid[outside],
                steps=_HELD_HALVINGS)  # fmt: skip
    by = [
        (each,) if inside[at] != outside[at] and (each := Sureness(drawn, outside[at]).least_certain) else paper[1]
        for at, paper in enumerate((light, heavy))
    ]
    return _Held((float(ends[0]), by[0]), (float(ends[1]), by[1]), *surest)


def _first_failure(
    values: Floats, passes: Callable[[Floats], Flags], reasons: Callable[[float], tuple[str, ...]]
) -> tuple[float, tuple[str, ...]]:
    """Walk from the first value, which passes, to the last: where it stops passing, and why."""
    good = passes(values)
    bad = np.flatnonzero(~good)
    if not bad.size:
        return float(values[-1]), ()
    inside, outside = float(values[bad[0] - 1]), float(values[bad[0]])
    for _ in range(5):  # each round cuts the bracket to a fifteenth
        step = np.linspace(inside, outside, 16)
        fine = passes(step)
        first = int(np.flatnonzero(~fine)[0])
        inside, outside = float(step[first - 1]), float(step[first])
    return inside, reasons(outside)


# ---------------------------------------------------------------- pack


@attrs.frozen(kw_only=True, eq=False)
class PackAtHand:
    """A pack of the catalogue, and the flight with it; ``flight_minutes_held`` are those flown with the chance."""

    pack: Pack
    flight_minutes: float = number(kind="min", label="flight time")
    flight_minutes_held: float = number(kind="min", label="flight time that holds with the chance")
    all_up_mass_g: float = number(kind="mass", label="all-up mass")
    failing_otherwise: tuple[str, ...]


@attrs.frozen(kw_only=True, eq=False)
class CapacityForMinutes:
    """The pack capacity for a flight time.

    Attributes
    ----------
    variant : str
    wanted_minutes : float
    chance : float
        With which it must be flown; NaN where that was not asked.
    capacity_mah, capacity_on_paper_mah : float
        Smallest that does, with the chance and on paper; NaN where none does.
    pack : Pack or None
        A pack of this capacity built like the train's; its mass by the catalogue's fit.
    flight_minutes, flight_minutes_held, all_up_mass_g : float
        With it; held are the minutes flown with the chance.
    failing_otherwise : tuple of str
        Checks that it fails, other than the flight time.
    longest_minutes, longest_mah : float
        The longest flight any capacity gives, with the chance, and that capacity: a heavier pack adds drag.
    nearest_parts : tuple of PackAtHand
        Packs of the catalogue with the same cell count, smallest first, that reach the time; else those that come
        nearest.
    fit : PackFit
    assumptions : tuple of Assumption
    """

    variant: str
    wanted_minutes: float = number(kind="min", label="flight time wanted")
    chance: float = number(label=_CHANCE_WORDS)
    capacity_mah: float = number(kind="mAh", label="capacity of the pack")
    capacity_on_paper_mah: float = number(kind="mAh", label="capacity of the pack on paper")
    pack: Pack | None
    flight_minutes: float = number(kind="min", label="flight time")
    flight_minutes_held: float = number(kind="min", label="flight time that holds with the chance")
    all_up_mass_g: float = number(kind="mass", label="all-up mass")
    failing_otherwise: tuple[str, ...]
    longest_minutes: float = number(kind="min", label="longest flight time that any capacity gives")
    longest_mah: float = number(kind="mAh", label="capacity of the longest flight")
    nearest_parts: tuple[PackAtHand, ...]
    fit: PackFit
    assumptions: tuple[Assumption, ...]


def capacity_for_minutes(
    brief: Brief | ResolvedBrief,
    train: PowerTrain,
    minutes: float,
    *,
    catalogue: Catalogue,
    variant: str | None = None,
    sure: WithChance | None = None,
) -> CapacityForMinutes:
    """The smallest pack that flies the brief's phases for so long, its mass growing by the catalogue's own fit.

    Round cells come in whole strings of the cells of the train's pack.

    Parameters
    ----------
    brief : Brief, resolved already or not
    train : PowerTrain
        Its pack says cell count and kind.
    minutes : float [min]
        To the brief's reserve.
    catalogue : Catalogue
    variant : str, optional

    Raises
    ------
    ValueError
        Minutes that are not a positive number.
    """
    if not (np.isfinite(minutes) and minutes > 0):
        raise ValueError(f"minutes must be above 0, got {minutes}")
    setting = ResolvedBrief.of(brief).named(variant)
    fit = PackFit.of(catalogue.packs, train.pack.chemistry)
    cells = train.pack.cells_series

    def trains(capacity: Floats) -> list[PowerTrain]:
        return [replace(train, pack=fit.scaled(train.pack, cells=cells, capacity_mah=float(each))) for each in capacity]

    def flown(capacity: Floats) -> Floats:
        return _minutes(setting, trains(capacity))

    def surely(capacity: Floats) -> Floats:
        return _minutes(setting, trains(capacity), sure)

    grid = fit.sizes_mah(train.pack, *CAPACITY_MAH, _SCAN)
    times = flown(grid)
    on_paper = capacity = _smallest(flown, grid, times, minutes, whole=fit.round_cells)
    if sure is not None:
        grid = grid[:: 1 if fit.round_cells else _COARSE]
        times = surely(grid)
        capacity = _smallest(surely, grid, times, minutes, whole=fit.round_cells)
    best = int(np.argmax(times))
    found: dict[str, Any] = {
        "pack": None, "flight_minutes": NAN, "flight_minutes_held": NAN, "all_up_mass_g": NAN, "failing_otherwise": (),
    }  # fmt: skip
    if np.isfinite(capacity):
        chosen = trains(np.array([capacity]))
        measured, _ = judged_trains(setting, chosen)
        found = {
            "pack": chosen[0].pack,
            "flight_minutes": float(measured["flight_time"].value[0]),
            "flight_minutes_held": float(_minutes(setting, chosen, sure)[0]),
            "all_up_mass_g": float(measured.frames.mass_kg[0] / GRAM_KG),
            "failing_otherwise": failing(measured, without=("flight_time",))[0],
        }
    _, made = judged_trains(setting, [train])
    return CapacityForMinutes(
        variant=setting.variant.name,
        wanted_minutes=float(minutes),
        chance=_chance_of(sure),
        capacity_mah=capacity,
        capacity_on_paper_mah=on_paper,
        longest_minutes=float(times[best]),
        longest_mah=float(grid[best]),
        nearest_parts=_packs_at_hand(setting, train, minutes, catalogue, sure),
        fit=fit,
        assumptions=(*setting.variant.assumptions, *made, fit.assumption),
        **found,
    )


_FEW, _AT_ONCE = 16, 5
"""Lanes of which so many halvings are answered by one call."""
_COARSE = 3
"""Every so manieth of the scan serves where each takes all draws."""


def _minutes(setting: Setting, trains: Sequence[PowerTrain], sure: WithChance | None = None) -> Floats:
    """Flight time of each train, on paper or with the chance; 0 where there is none."""
    if sure is None:
        return np.nan_to_num(judged_trains(setting, trains)[0]["flight_time"].value, nan=0.0)
    return np.nan_to_num(sure.borne(sure.drawn(setting, trains).measured["flight_time"].value), nan=0.0)


def _smallest(flown: Callable[[Floats], Floats], grid: Floats, times: Floats, minutes: float, *, whole: bool) -> float:
    """The smallest capacity that flies so long: the first of the grid, closed in on where cells need not be whole."""
    reach = np.flatnonzero(times >= minutes)
    if not reach.size:
        return NAN
    low, high = float(grid[max(reach[0] - 1, 0)]), float(grid[reach[0]])
    if whole or not reach[0]:
        return high
    return float(edge(lambda capacity: flown(capacity) >= minutes, np.array([high]), np.array([low]), steps=14)[0])


def _packs_at_hand(
    setting: Setting, train: PowerTrain, minutes: float, catalogue: Catalogue, sure: WithChance | None
) -> tuple[PackAtHand, ...]:
    alike = [p for p in catalogue.packs.values() if p.cells_series == train.pack.cells_series]
    if not alike:
        return ()
    trains = [replace(train, pack=pack) for pack in alike]
    measured, _ = judged_trains(setting, trains)
    held = _minutes(setting, trains, sure)
    times, wrong = measured["flight_time"].value, failing(measured, without=("flight_time",))
    every = [
        PackAtHand(
            pack=pack, flight_minutes=float(times[at]), flight_minutes_held=float(held[at]),
            all_up_mass_g=float(measured.frames.mass_kg[at] / GRAM_KG), failing_otherwise=wrong[at],
        )
        for at, pack in enumerate(alike)
    ]  # fmt: skip
    enough = sorted((e for e in every if e.flight_minutes_held >= minutes), key=lambda each: each.pack.mass_g)
    less = sorted((e for e in every if e.flight_minutes_held < minutes), key=lambda each: -each.flight_minutes_held)
    return tuple((enough or less)[:NEAREST])


# ---------------------------------------------------------------- field


@attrs.frozen(kw_only=True, eq=False)
class SiteRange:
    """Where take-off thrust to weight holds: static, full throttle, half charge.

    Attributes
    ----------
    variant : str
    wanted_thrust_to_weight : float
    chance : float
        With which it must be reached; NaN where that was not asked.
    thrust_to_weight, thrust_to_weight_held : float
        At the brief's site, on paper and with the chance.
    altitude_m, temperature_c : float
        The brief's site.
    highest_m, highest_on_paper_m : float
        Highest field on a day as warm, against the standard day, as at the site; NaN where no field does.
    highest_hot_m : float
        Highest field at 35 degC.
    warmest_c : float
        Warmest air at the site's altitude.
    by_temperature : tuple of (temperature_c, highest_m)
        -500 and 6000 m, -40 and 60 degC end the search.
    by_charge : dict
        Charge to thrust to weight at the site, fresh and at reserve.
    assumptions : tuple of Assumption
    """

    variant: str
    wanted_thrust_to_weight: float = number(label="thrust to weight wanted, half charge")
    chance: float = number(label=_CHANCE_WORDS)
    thrust_to_weight: float = number(label="thrust to weight, half charge")
    thrust_to_weight_held: float = number(label="thrust to weight, half charge, that holds with the chance")
    altitude_m: float = number(kind="m", label="field height")
    temperature_c: float = number(kind="degC", label="air temperature")
    highest_m: float = number(kind="m", label="highest field on a day as warm for its height as the brief's")
    highest_on_paper_m: float = number(kind="m", label="highest field on such a day on paper")
    highest_hot_m: float = number(kind="m", label="highest field at 35 degC")
    warmest_c: float = number(kind="degC", label="warmest air at the field height of the brief")
    by_temperature: tuple[tuple[float, float], ...]
    by_charge: dict[float, float]
    assumptions: tuple[Assumption, ...]


def site_range(
    brief: Brief | ResolvedBrief,
    train: PowerTrain,
    *,
    min_thrust_to_weight: float | None = None,
    variant: str | None = None,
    sure: WithChance | None = None,
) -> SiteRange:
    """Altitudes and temperatures at which the static thrust to weight stays at a least value.

    Thrust falls with density all the way, so one edge each is searched by halving.

    Parameters
    ----------
    brief : Brief, resolved already or not
    train : PowerTrain
    min_thrust_to_weight : float, optional
        Default: the brief's, or what stands in for it.
    variant : str, optional
    sure : WithChance, optional

    Raises
    ------
    ValueError
        Neither given nor in the brief.
    """
    setting = ResolvedBrief.of(brief).named(variant)
    wanted = setting.brief.limits.min_thrust_to_weight if min_thrust_to_weight is None else min_thrust_to_weight
    if wanted is None or not wanted > 0:
        raise ValueError("min_thrust_to_weight must be given, above 0, where the brief has none")
    site = setting.brief.site
    altitude = float(site.altitude_m or 0.0)
    temperature = float(setting.air.temperature_k - CELSIUS_K)
    offset = temperature + CELSIUS_K - float(Air.standard(altitude).temperature_k)

    def paper(air: Air, n: int, charge: float = 0.5) -> Floats:
        lanes, ratings, _ = _many(train, n)
        measured = judged(setting, lanes, ratings, air=air)
        return np.asarray(measured.frames.thrust_to_weight(measured.full(charge).thrust_n))

    def ratio(air: Air, n: int, charge: float = 0.5) -> Floats:
        return paper(air, n, charge) if sure is None else sure.thrust_to_weight(setting, train, air, n, charge)

    def on_day(heights: Floats, celsius: Any = None) -> Air:
        if celsius is None:
            return Air.standard(heights, np.full(heights.shape, offset))
        standard = np.asarray(Air.standard(heights).temperature_k)
        return Air.standard(heights, np.asarray(celsius) + CELSIUS_K - standard)

    temperatures = np.array([-10.0, 0.0, 10.0, 20.0, 30.0, 40.0, HOT_DAY_C])
    low, high = (np.full(temperatures.size + 1, end) for end in ALTITUDE_M)

    def holds(heights: Floats) -> Flags:
        first = ratio(on_day(heights[:1]), 1)
        rest = ratio(on_day(heights[1:], temperatures), temperatures.size)
        return np.concatenate([first, rest]) >= wanted

    steps = {} if sure is None else {"steps": _HELD_SITE_HALVINGS}
    highest = edge(holds, low, high, **steps)
    cold, hot = (np.array([end]) for end in TEMPERATURE_C)
    here = np.array([altitude])
    warmest = edge(lambda c: ratio(on_day(here, c), 1) >= wanted, cold, hot, **steps)
    on_paper = edge(lambda heights: paper(on_day(heights), 1) >= wanted, low[:1], high[:1])
    charges = (1.0, 0.5, setting.reserve_charge)
    _, made = judged_trains(setting, [train])
    return SiteRange(
        variant=setting.variant.name,
        wanted_thrust_to_weight=float(wanted),
        chance=_chance_of(sure),
        thrust_to_weight=float(paper(setting.air, 1)[0]),
        thrust_to_weight_held=float(ratio(setting.air, 1)[0]),
        altitude_m=altitude,
        temperature_c=temperature,
        highest_m=float(highest[0]),
        highest_on_paper_m=float(on_paper[0]),
        highest_hot_m=float(highest[-1]),
        warmest_c=float(warmest[0]),
        by_temperature=tuple((float(t), float(h)) for t, h in zip(temperatures[:-1], highest[1:-1], strict=True)),
        by_charge={charge: float(paper(setting.air, 1, charge)[0]) for charge in charges},
        assumptions=(*setting.variant.assumptions, *made),
    )


DIAMETER_IN = (1.0, 40.0)
KV_RPM_PER_V = (20.0, 30000.0)
PITCH_RATIO_NEAR = 0.2
MOTOR_MASS_NEAR = (0.6, 1.6)


@attrs.frozen(kw_only=True, eq=False)
class PartAtHand:
    """A part of the catalogue near an answer, and what full throttle at rest on a full pack does with it."""

    part: Any
    motor_current_static_a: float = number(kind="A", label=f"current of one motor, {STATIC}")
    pack_current_static_a: float = number(kind="A", label=f"pack current, {STATIC}")
    thrust_static_n: float = number(kind="thrust", label=f"thrust, {STATIC}")


def _nearby(train: PowerTrain, kind: str, parts: Sequence[Any], air: Air | None, **how: Any) -> list[PartAtHand]:
    if not parts:
        return []
    point = solve([replace(train, **{kind: part}) for part in parts], air=air, **how)
    return [
        PartAtHand(
            part=part,
            motor_current_static_a=float(point.motor_current_a[at]),
            pack_current_static_a=float(point.pack_current_a[at]),
            thrust_static_n=float(point.thrust_n[at]),
        )
        for at, part in enumerate(parts)
    ]


def _out(value: Floats, shape: tuple[int, ...]) -> Any:
    return float(value[0]) if shape == () else value.reshape(shape)


def _refused_nan(limit: Floats) -> Floats:
    return np.where(np.isfinite(limit) & (limit > 0), limit, np.nan)


# ---------------------------------------------------------------- propeller


@attrs.frozen(kw_only=True, eq=False)
class LargestPropeller:
    """The largest propeller under a motor current; floats, or arrays of the shape of the limit.

    Attributes
    ----------
    motor_current_limit_a : one motor's
    chance : with which it must be kept; NaN where that was not asked
    diameter_in, pitch_in : NaN where even 1 inch exceeds the limit; 40 where the limit is never met
    diameter_on_paper_in : the diameter with the numbers as stated
    motor_current_static_a, pack_current_static_a, thrust_static_n : with it; pack and thrust of the whole train
    like : Propeller
        The one whose coefficient table is kept.
    nearest_parts : tuple of PartAtHand
        Propellers of the catalogue under the (first) limit, with the chance where one is asked, and with pitch over
        diameter within 20 %, largest first.
    assumptions : tuple of Assumption
    """

    motor_current_limit_a: float = number(kind="A", label="limit of the current of one motor")
    chance: float = number(label=_CHANCE_WORDS)
    diameter_in: float = number(kind="in", label="diameter of the propeller")
    diameter_on_paper_in: float = number(kind="in", label="diameter of the propeller on paper")
    pitch_in: float = number(kind="in", label="pitch of the propeller")
    motor_current_static_a: float = number(kind="A", label=f"current of one motor, {STATIC}")
    pack_current_static_a: float = number(kind="A", label=f"pack current, {STATIC}")
    thrust_static_n: float = number(kind="thrust", label=f"thrust, {STATIC}")
    like: Propeller
    nearest_parts: tuple[PartAtHand, ...]
    assumptions: tuple[Assumption, ...]


def largest_propeller(
    train: PowerTrain,
    limit_a: ArrayLike,
    *,
    pitch_ratio: float | None = None,
    throttle: ArrayLike = 1.0,
    charge: ArrayLike = 1.0,
    air: Air | None = None,
    catalogue: Catalogue | None = None,
    sure: WithChance | None = None,
) -> LargestPropeller:
    """The diameter at which the static motor current meets a limit, pitch in proportion.

    Parameters
    ----------
    train : PowerTrain
        Its propeller's coefficient table is kept while the diameter scales.
    limit_a : array_like [A]
        Of one motor.
    pitch_ratio : float, optional
        Pitch over diameter. Another ratio than the train's propeller has takes the table of the catalogue's propeller
        with the nearest one.
    throttle, charge : array_like [-]
    air : Air
    catalogue : Catalogue, optional
        For the nearest propellers.
    sure : WithChance, optional
    """
    like = train.propeller
    if pitch_ratio is not None and catalogue is not None:
        like = _with_ratio(like, pitch_ratio, catalogue)
    ratio = like.pitch_in / like.diameter_in if pitch_ratio is None else pitch_ratio
    base = replace(train, propeller=like)
    asked = as_lanes(base, air, limit_a=limit_a, throttle=throttle, charge=charge)
    shape, limit, d, q = asked.shape, asked["limit_a"], asked["throttle"], asked["charge"]

    def point(of: Asked, diameter: Floats) -> Any:
        return _at_rest(of, attrs.evolve(of.lanes, diameter_m=diameter * INCH_M))

    def under(of: Asked, inches: Floats) -> Flags:
        return np.asarray(point(of, inches).motor_current_a <= _refused_nan(of["limit_a"]))

    def largest(of: Asked) -> Floats:
        return _edge(of, under, *DIAMETER_IN)

    on_paper = largest(asked)
    size = on_paper if sure is None else sure.borne(largest(sure.spread(base, asked)))
    found = point(asked, size)
    near: list[PartAtHand] = []
    if catalogue is not None:
        alike = [
            each
            for each in catalogue.propellers.values()
            if each.table is not None
            and each.blades == like.blades
            and abs(each.pitch_in / each.diameter_in / ratio - 1.0) <= PITCH_RATIO_NEAR
        ]
        near = _nearby(base, "propeller", alike, air, throttle=float(d[0]), charge=float(q[0]))
        near = [each for each in near if each.motor_current_static_a <= _refused_nan(limit)[0]]
        near.sort(key=lambda each: (-each.part.diameter_in, -each.motor_current_static_a))

        def holds(each: PartAtHand) -> bool:
            if sure is None:
                return True
            train = replace(base, propeller=each.part)
            drawn = sure.spread(train, as_lanes(train, air, limit_a=limit[0], throttle=d[0], charge=q[0]))
            return bool(np.mean(_at_rest(drawn, drawn.lanes).motor_current_a <= limit[0]) >= sure.chance)

        near = list(islice(filter(holds, near), NEAREST))
    return LargestPropeller(
        motor_current_limit_a=_out(limit, shape),
        chance=_out(np.full(asked.lanes.size, _chance_of(sure)), shape),
        diameter_in=_out(size, shape),
        diameter_on_paper_in=_out(on_paper, shape),
        pitch_in=_out(size * ratio, shape),
        motor_current_static_a=_out(found.motor_current_a, shape),
        pack_current_static_a=_out(found.pack_current_a, shape),
        thrust_static_n=_out(found.thrust_n, shape),
        like=like,
        nearest_parts=tuple(near),
        assumptions=(*asked.assumptions, SAME_TABLE),
    )


def _edge(of: Asked, passes: Callable[[Asked, Floats], Flags], good: float, bad: float) -> Floats:
    """The edge of each lane of a question (N,); of few lanes one call answers several halvings."""
    n = of.lanes.size

    def asked(values: Floats) -> Flags:
        if values.ndim == 1:
            return passes(of, values)
        every = np.tile(np.arange(n), len(values))
        lanes, numbers = of.lanes.take(every), {name: x[every] for name, x in of.numbers.items()}
        wide = attrs.evolve(of, lanes=lanes, numbers=numbers, density=of.density[every], sound=of.sound[every])
        return passes(wide, values.ravel())

    return edge(asked, np.full(n, good), np.full(n, bad), at_once=_AT_ONCE if n <= _FEW else 1)


def _at_rest(of: Asked, lanes: TrainLanes) -> Any:
    """The operating points at rest of these lanes, at throttle and charge of the question."""
    return solve_lanes(lanes, np.zeros(lanes.size), of["throttle"], of["charge"], of.density, of.sound)


def _with_ratio(like: Propeller, ratio: float, catalogue: Catalogue) -> Propeller:
    """The propeller of the catalogue with the nearest pitch over diameter, blades and size alike if it can be."""
    every = [p for p in catalogue.propellers.values() if p.table is not None]

    def distance(p: Propeller) -> tuple[bool, bool, float, float]:
        return (
            p.blades != like.blades,
            p.family != like.family,
            round(abs(np.log(p.pitch_in / p.diameter_in / ratio)), 2),
            abs(p.diameter_in - like.diameter_in),
        )

    return min([like, *every], key=distance)


# ---------------------------------------------------------------- kV


@attrs.frozen(kw_only=True, eq=False)
class KvForCurrent:
    """The kV that loads a propeller to a motor current on a pack; floats, or arrays of the shape of the current.

    Attributes
    ----------
    motor_current_wanted_a : one motor's
    chance : with which it must not be exceeded; NaN where that was not asked
    kv_rpm_per_v : effective; NaN where no kV from 20 to 30000 gives this current
    kv_on_paper_rpm_per_v : the kV that gives it with the numbers as stated
    resistance_ohm : winding resistance of a motor so wound
    rpm_static, motor_current_static_a, pack_current_static_a, thrust_static_n : with it
    like : Motor
    nearest_parts : tuple of PartAtHand
        Motors of the catalogue of 0.6 to 1.6 times the mass, by the current they draw.
    assumptions : tuple of Assumption
    """

    motor_current_wanted_a: float = number(kind="A", label="wanted current of one motor")
    chance: float = number(label=_CHANCE_WORDS)
    kv_rpm_per_v: float = number(kind="rpm/V", label="kV of the motor")
    kv_on_paper_rpm_per_v: float = number(kind="rpm/V", label="kV of the motor on paper")
    resistance_ohm: float = number(kind="ohm", label="resistance of the motor")
    rpm_static: float = number(kind="rpm", label=f"propeller speed, {STATIC}")
    motor_current_static_a: float = number(kind="A", label=f"current of one motor, {STATIC}")
    pack_current_static_a: float = number(kind="A", label=f"pack current, {STATIC}")
    thrust_static_n: float = number(kind="thrust", label=f"thrust, {STATIC}")
    like: Motor
    nearest_parts: tuple[PartAtHand, ...]
    assumptions: tuple[Assumption, ...]


def kv_for_current(
    train: PowerTrain,
    current_a: ArrayLike,
    *,
    throttle: ArrayLike = 1.0,
    charge: ArrayLike = 1.0,
    air: Air | None = None,
    catalogue: Catalogue | None = None,
    sure: WithChance | None = None,
) -> KvForCurrent:
    """The kV at which the train's propeller on its pack draws a motor current at rest.

    The motor keeps mass and copper: winding resistance goes with 1/kV^2, no-load current with kV.
    Parameters as in :func:`largest_propeller`.
    """
    motor, _ = completed(train.motor)
    asked = as_lanes(train, air, current_a=current_a, throttle=throttle, charge=charge)
    shape, current, d, q = asked.shape, asked["current_a"], asked["throttle"], asked["charge"]

    def point(of: Asked, kv: Floats) -> Any:
        return _at_rest(of, rewound_lanes(of.lanes, kv / motor.kv_rpm_per_v))

    def under(of: Asked, kv: Floats) -> Flags:
        bound, amps = _refused_nan(of["current_a"]), point(of, kv).motor_current_a
        return np.asarray((amps <= bound) | (np.isnan(amps) & np.isfinite(bound)))  # too low a kV to turn draws none

    def highest(of: Asked) -> Floats:
        return _edge(of, under, *KV_RPM_PER_V)

    def known(kv: Floats) -> Floats:
        return np.where((kv >= KV_RPM_PER_V[1]) | np.isnan(point(asked, kv).motor_current_a), np.nan, kv)

    on_paper = highest(asked)
    kv = known(on_paper if sure is None else sure.borne(highest(sure.spread(train, asked))))
    found = point(asked, kv)
    near: list[PartAtHand] = []
    if catalogue is not None:
        least, most = (share * motor.mass_g for share in MOTOR_MASS_NEAR)
        cells = train.pack.cells_series
        alike = [
            m for m in catalogue.motors.values()
            if least <= m.mass_g <= most and (m.cells_min or 0) <= cells <= (m.cells_max or cells)
        ]  # fmt: skip
        near = _nearby(train, "motor", alike, air, throttle=float(d[0]), charge=float(q[0]))
        near = [each for each in near if each.motor_current_static_a > 0]
        near.sort(
            key=lambda each: abs(float(np.log(each.motor_current_static_a / current[0]))) if current[0] > 0 else 0.0
        )
    return KvForCurrent(
        motor_current_wanted_a=_out(current, shape),
        chance=_out(np.full(asked.lanes.size, _chance_of(sure)), shape),
        kv_rpm_per_v=_out(kv, shape),
        kv_on_paper_rpm_per_v=_out(known(on_paper), shape),
        resistance_ohm=_out(motor.resistance_ohm * (motor.kv_rpm_per_v / kv) ** 2, shape),
        rpm_static=_out(found.rpm, shape),
        motor_current_static_a=_out(found.motor_current_a, shape),
        pack_current_static_a=_out(found.pack_current_a, shape),
        thrust_static_n=_out(found.thrust_n, shape),
        like=motor,
        nearest_parts=tuple(near[:NEAREST]),
        assumptions=(*asked.assumptions, SAME_WINDING_SPACE),
    )


# ---------------------------------------------------------------- throttle


@attrs.frozen(kw_only=True, eq=False)
class ThrottleForCurrent:
    """The throttle limit that keeps a motor current below a number; floats, or arrays of the shape of the limit.

    Attributes
    ----------
    motor_current_limit_a : one motor's
    chance : with which it must be kept; NaN where that was not asked
    by_speed : 1 where the propeller's highest speed asks for less throttle than the current
    throttle_at_limit : duty; 1 where full throttle keeps it already, NaN where none does
    throttle_at_limit_on_paper : the same with the numbers as stated
    motor_current_at_limit_a : one motor's with it
    pack_current_at_limit_a, pack_power_at_limit_w : whole train, what a wattmeter shows
    thrust_at_limit_n, thrust_static_n : with it and at full throttle
    motor_current_static_a : at full throttle
    note : str
    assumptions : tuple of Assumption
    """

    motor_current_limit_a: float = number(kind="A", label="limit of the current of one motor")
    chance: float = number(label=_CHANCE_WORDS)
    by_speed: float = number(label="whether the propeller's highest speed asks for less throttle than the current")
    throttle_at_limit: float = number(
        kind="%", label="largest throttle at which the current of one motor stays below its limit"
    )
    throttle_at_limit_on_paper: float = number(kind="%", label="the same throttle on paper")
    motor_current_at_limit_a: float = number(kind="A", label="current of one motor at that throttle")
    pack_current_at_limit_a: float = number(kind="A", label="pack current at that throttle")
    pack_power_at_limit_w: float = number(kind="W", label="power from the pack at that throttle")
    thrust_at_limit_n: float = number(kind="thrust", label="thrust at that throttle")
    thrust_static_n: float = number(kind="thrust", label=f"thrust, {STATIC}")
    motor_current_static_a: float = number(kind="A", label=f"current of one motor, {STATIC}")
    assumptions: tuple[Assumption, ...]
    note: str = LIMIT_NOTE


def throttle_for_current(
    train: PowerTrain,
    limit_a: ArrayLike,
    *,
    charge: float = 1.0,
    air: Air | None = None,
    sure: WithChance | None = None,
) -> ThrottleForCurrent:
    """The largest duty that keeps the static motor current below a limit, and the propeller below its highest speed.

    Parameters
    ----------
    train : PowerTrain
    limit_a : array_like [A]
        Of one motor.
    charge : float
        Fresh from the charger by default: the worst.
    air : Air
    sure : WithChance, optional
    """
    asked = as_lanes(train, air, limit_a=limit_a, throttle=1.0, charge=charge)
    shape, limit = asked.shape, asked["limit_a"]
    highest_rpm = float(np.nan_to_num(rating_lanes([train]).max_rpm[0], nan=np.inf))

    def point(of: Asked, duty: Floats) -> Any:
        return _at_rest(attrs.evolve(of, numbers=of.numbers | {"throttle": duty}), of.lanes)

    def under(of: Asked, duty: Floats) -> Flags:
        bound, at = _refused_nan(of["limit_a"]), point(of, duty)  # too little duty to turn draws no current
        return np.asarray(np.isfinite(bound) & ~(at.motor_current_a > bound) & ~(at.rpm > highest_rpm))

    def largest(of: Asked) -> Floats:
        return _edge(of, under, LEAST, 1.0)

    def at_duty(duty: Floats) -> Any:
        return point(asked, np.where(np.isnan(duty), 0.0, duty))

    on_paper, full = largest(asked), point(asked, np.ones(limit.size))
    throttle = on_paper if sure is None else sure.borne(largest(sure.spread(train, asked)))
    found = at_duty(throttle)
    known = np.isfinite(throttle) & np.isfinite(full.motor_current_a) & np.isfinite(found.motor_current_a)
    by_speed = (on_paper < 1.0) & (at_duty(on_paper).motor_current_a < 0.999 * limit)

    def at_limit(values: Floats) -> Any:
        return _out(np.where(known, values, np.nan), shape)

    return ThrottleForCurrent(
        motor_current_limit_a=_out(limit, shape),
        chance=_out(np.full(asked.lanes.size, _chance_of(sure)), shape),
        by_speed=_out(np.where(by_speed, 1.0, 0.0), shape),
        throttle_at_limit=at_limit(throttle),
        throttle_at_limit_on_paper=at_limit(on_paper),
        motor_current_at_limit_a=at_limit(found.motor_current_a),
        pack_current_at_limit_a=at_limit(found.pack_current_a),
        pack_power_at_limit_w=at_limit(found.pack_power_w),
        thrust_at_limit_n=at_limit(found.thrust_n),
        thrust_static_n=_out(full.thrust_n, shape),
        motor_current_static_a=_out(full.motor_current_a, shape),
        assumptions=asked.assumptions,
    )
