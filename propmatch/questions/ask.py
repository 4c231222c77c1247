"""Questions asked backwards, each answered by a bracketed search on the models: from a limit to the part.

The largest propeller, the kV and the throttle limit for a current need the power train alone; mass, pack and field need
the whole aircraft. Limits may be arrays: one search serves all of them.
"""

from collections.abc import Callable, Sequence
from typing import Any

import attrs
import numpy as np
from numpy.typing import ArrayLike

from propmatch.catalogue.catalogue import Catalogue
from propmatch.checks.judged import failing, judged, judged_trains, passing
from propmatch.checks.measures import TrainMeasures
from propmatch.checks.ratings import RatingLanes, rating_lanes
from propmatch.checks.setting import ResolvedBrief, Setting
from propmatch.checks.throttlelimit import LEAST, LIMIT_NOTE
from propmatch.columns import STATIC, number
from propmatch.models.air import Air
from propmatch.models.arrays import Flags, Floats
from propmatch.records.brief import Brief
from propmatch.records.estimates import Assumption, completed, supply_assumed
from propmatch.records.fields import replace
from propmatch.records.masses import stays_g
from propmatch.records.packfit import PackFit
from propmatch.records.parts import Motor, Pack, PowerTrain, Propeller
from propmatch.train.brackets import edge
from propmatch.train.coupling import as_lanes, solve, solve_lanes
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
    all_up_mass_g : float
        Of the design.
    lightest_g, heaviest_g : float
        NaN both where the design itself fails.
    lightest_by, heaviest_by : tuple of str
        Checks that fail just beyond; empty where none does (``lightest_g`` is then power train and items with next to
        no filament, ``heaviest_g`` four times the design's mass).
    without_target_g : float
        Heaviest when the target mass is left aside.
    without_target_by : tuple of str
    failing : tuple of str
        Checks the design itself fails.
    assumptions : tuple of Assumption
    """

    variant: str
    all_up_mass_g: float = number(kind="mass", label="all-up mass")
    lightest_g: float = number(kind="mass", label="lightest all-up mass that meets the brief")
    heaviest_g: float = number(kind="mass", label="heaviest all-up mass that meets the brief")
    lightest_by: tuple[str, ...]
    heaviest_by: tuple[str, ...]
    without_target_g: float = number(kind="mass", label="heaviest all-up mass, the target mass left aside")
    without_target_by: tuple[str, ...]
    failing: tuple[str, ...]
    assumptions: tuple[Assumption, ...]


def mass_range(brief: Brief | ResolvedBrief, train: PowerTrain, *, variant: str | None = None) -> MassRange:
    """Lightest and heaviest all-up mass at which the brief is still met with this power train.

    The bare aircraft takes up the difference (`MassBuildUp.scaled_to`), wing and drag as they are. A scan of 48 masses
    each way finds the first that fails; halving closes in.
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
    return MassRange(
        variant=setting.variant.name,
        all_up_mass_g=design,
        lightest_g=light[0],
        heaviest_g=heavy[0],
        lightest_by=light[1],
        heaviest_by=heavy[1],
        without_target_g=free[0],
        without_target_by=free[1],
        failing=wrong,
        assumptions=(*assumptions, *made),
    )


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
    """A pack of the catalogue, and the flight with it."""

    pack: Pack
    flight_minutes: float = number(kind="min", label="flight time")
    all_up_mass_g: float = number(kind="mass", label="all-up mass")
    failing_otherwise: tuple[str, ...]


@attrs.frozen(kw_only=True, eq=False)
class CapacityForMinutes:
    """The pack capacity for a flight time.

    Attributes
    ----------
    variant : str
    wanted_minutes : float
    capacity_mah : float
        Smallest that does; NaN where none does.
    pack : Pack or None
        A pack of this capacity built like the train's; its mass by the catalogue's fit.
    flight_minutes, all_up_mass_g : float
        With it.
    failing_otherwise : tuple of str
        Checks that it fails, other than the flight time.
    longest_minutes, longest_mah : float
        The longest flight any capacity gives, and that capacity: a heavier pack adds drag.
    nearest_parts : tuple of PackAtHand
        Packs of the catalogue with the same cell count, smallest first, that reach the time; else those that come
        nearest.
    fit : PackFit
    assumptions : tuple of Assumption
    """

    variant: str
    wanted_minutes: float = number(kind="min", label="flight time wanted")
    capacity_mah: float = number(kind="mAh", label="capacity of the pack")
    pack: Pack | None
    flight_minutes: float = number(kind="min", label="flight time")
    all_up_mass_g: float = number(kind="mass", label="all-up mass")
    failing_otherwise: tuple[str, ...]
    longest_minutes: float = number(kind="min", label="longest flight time that any capacity gives")
    longest_mah: float = number(kind="mAh", label="capacity of the longest flight")
    nearest_parts: tuple[PackAtHand, ...]
    fit: PackFit
    assumptions: tuple[Assumption, ...]


def capacity_for_minutes(
    brief: Brief | ResolvedBrief, train: PowerTrain, minutes: float, *, catalogue: Catalogue, variant: str | None = None
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
        measured, _ = judged_trains(setting, trains(capacity))
        return np.nan_to_num(measured["flight_time"].value, nan=0.0)

    grid = fit.sizes_mah(train.pack, *CAPACITY_MAH, _SCAN)
    times = flown(grid)
    best = int(np.argmax(times))
    reach = np.flatnonzero(times >= minutes)
    capacity = float("nan")
    if reach.size:
        capacity = float(grid[reach[0]])
        if reach[0] > 0 and not fit.round_cells:
            low, high = float(grid[reach[0] - 1]), capacity
            for _ in range(5):
                step = np.linspace(low, high, 16)
                at = int(np.flatnonzero(flown(step) >= minutes)[0])
                low, high = float(step[max(at - 1, 0)]), float(step[at])
            capacity = high
    found: dict[str, Any] = {
        "pack": None, "flight_minutes": float("nan"), "all_up_mass_g": float("nan"), "failing_otherwise": (),
    }  # fmt: skip
    if np.isfinite(capacity):
        chosen = trains(np.array([capacity]))
        measured, _ = judged_trains(setting, chosen)
        found = {
            "pack": chosen[0].pack,
            "flight_minutes": float(measured["flight_time"].value[0]),
            "all_up_mass_g": float(measured.frames.mass_kg[0] / GRAM_KG),
            "failing_otherwise": failing(measured, without=("flight_time",))[0],
        }
    _, made = judged_trains(setting, [train])
    return CapacityForMinutes(
        variant=setting.variant.name,
        wanted_minutes=float(minutes),
        capacity_mah=capacity,
        longest_minutes=float(times[best]),
        longest_mah=float(grid[best]),
        nearest_parts=_packs_at_hand(setting, train, minutes, catalogue),
        fit=fit,
        assumptions=(*setting.variant.assumptions, *made, fit.assumption),
        **found,
    )


def _packs_at_hand(setting: Setting, train: PowerTrain, minutes: float, catalogue: Catalogue) -> tuple[PackAtHand, ...]:
    alike = [p for p in catalogue.packs.values() if p.cells_series == train.pack.cells_series]
    if not alike:
        return ()
    measured, _ = judged_trains(setting, [replace(train, pack=pack) for pack in alike])
    times, wrong = measured["flight_time"].value, failing(measured, without=("flight_time",))
    every = [
        PackAtHand(
            pack=pack, flight_minutes=float(times[at]), all_up_mass_g=float(measured.frames.mass_kg[at] / GRAM_KG),
            failing_otherwise=wrong[at],
        )
        for at, pack in enumerate(alike)
    ]  # fmt: skip
    enough = sorted((each for each in every if each.flight_minutes >= minutes), key=lambda each: each.pack.mass_g)
    less = sorted((each for each in every if each.flight_minutes < minutes), key=lambda each: -each.flight_minutes)
    return tuple((enough or less)[:NEAREST])


# ---------------------------------------------------------------- field


@attrs.frozen(kw_only=True, eq=False)
class SiteRange:
    """Where take-off thrust to weight holds: static, full throttle, half charge.

    Attributes
    ----------
    variant : str
    wanted_thrust_to_weight : float
    thrust_to_weight : float
        At the brief's site.
    altitude_m, temperature_c : float
        The brief's site.
    highest_m : float
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
    thrust_to_weight: float = number(label="thrust to weight, half charge")
    altitude_m: float = number(kind="m", label="field height")
    temperature_c: float = number(kind="degC", label="air temperature")
    highest_m: float = number(kind="m", label="highest field on a day as warm for its height as the brief's")
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
) -> SiteRange:
    """Altitudes and temperatures at which the static thrust to weight stays at a least value.

    Thrust falls with density all the way, so one edge each is searched by halving.

    Parameters
    ----------
    brief : Brief, resolved already or not
    train : PowerTrain
    min_thrust_to_weight : float, optional
        Default: the brief's, or what stands in for it.

    Raises
    ------
    ValueError
        Neither given nor in the brief.
    """
    from propmatch.train.brackets import edge

    setting = ResolvedBrief.of(brief).named(variant)
    wanted = setting.brief.limits.min_thrust_to_weight if min_thrust_to_weight is None else min_thrust_to_weight
    if wanted is None or not wanted > 0:
        raise ValueError("min_thrust_to_weight must be given, above 0, where the brief has none")
    site = setting.brief.site
    altitude = float(site.altitude_m or 0.0)
    temperature = float(setting.air.temperature_k - CELSIUS_K)
    offset = temperature + CELSIUS_K - float(Air.standard(altitude).temperature_k)

    def ratio(air: Air, n: int, charge: float = 0.5) -> Floats:
        lanes, ratings, _ = _many(train, n)
        measured = judged(setting, lanes, ratings, air=air)
        return np.asarray(measured.frames.thrust_to_weight(measured.full(charge).thrust_n))

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

    highest = edge(holds, low, high)
    cold, hot = (np.array([end]) for end in TEMPERATURE_C)
    here = np.array([altitude])
    warmest = edge(lambda c: ratio(on_day(here, c), 1) >= wanted, cold, hot)
    charges = (1.0, 0.5, setting.reserve_charge)
    _, made = judged_trains(setting, [train])
    return SiteRange(
        variant=setting.variant.name,
        wanted_thrust_to_weight=float(wanted),
        thrust_to_weight=float(ratio(setting.air, 1)[0]),
        altitude_m=altitude,
        temperature_c=temperature,
        highest_m=float(highest[0]),
        highest_hot_m=float(highest[-1]),
        warmest_c=float(warmest[0]),
        by_temperature=tuple((float(t), float(h)) for t, h in zip(temperatures[:-1], highest[1:-1], strict=True)),
        by_charge={charge: float(ratio(setting.air, 1, charge)[0]) for charge in charges},
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
    diameter_in, pitch_in : NaN where even 1 inch exceeds the limit; 40 where the limit is never met
    motor_current_static_a, pack_current_static_a, thrust_static_n : with it; pack and thrust of the whole train
    like : Propeller
        The one whose coefficient table is kept.
    nearest_parts : tuple of PartAtHand
        Propellers of the catalogue under the (first) limit with pitch over diameter within 20 %, largest first.
    assumptions : tuple of Assumption
    """

    motor_current_limit_a: float = number(kind="A", label="limit of the current of one motor")
    diameter_in: float = number(kind="in", label="diameter of the propeller")
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
    """
    like = train.propeller
    if pitch_ratio is not None and catalogue is not None:
        like = _with_ratio(like, pitch_ratio, catalogue)
    ratio = like.pitch_in / like.diameter_in if pitch_ratio is None else pitch_ratio
    base = replace(train, propeller=like)
    asked = as_lanes(base, air, limit_a=limit_a, throttle=throttle, charge=charge)
    lanes, shape, limit, d, q = asked.lanes, asked.shape, asked["limit_a"], asked["throttle"], asked["charge"]
    bound = _refused_nan(limit)
    rest = np.zeros(lanes.size)

    def point(diameter: Floats) -> Any:
        return solve_lanes(attrs.evolve(lanes, diameter_m=diameter * INCH_M), rest, d, q, asked.density, asked.sound)

    size = edge(
        lambda inches: point(inches).motor_current_a <= bound,
        np.full(lanes.size, DIAMETER_IN[0]),
        np.full(lanes.size, DIAMETER_IN[1]),
    )
    found = point(size)
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
        near = [each for each in near if each.motor_current_static_a <= bound[0]]
        near.sort(key=lambda each: (-each.part.diameter_in, -each.motor_current_static_a))
    return LargestPropeller(
        motor_current_limit_a=_out(limit, shape),
        diameter_in=_out(size, shape),
        pitch_in=_out(size * ratio, shape),
        motor_current_static_a=_out(found.motor_current_a, shape),
        pack_current_static_a=_out(found.pack_current_a, shape),
        thrust_static_n=_out(found.thrust_n, shape),
        like=like,
        nearest_parts=tuple(near[:NEAREST]),
        assumptions=(*asked.assumptions, SAME_TABLE),
    )


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
    kv_rpm_per_v : effective; NaN where no kV from 20 to 30000 gives this current
    resistance_ohm : winding resistance of a motor so wound
    rpm_static, pack_current_static_a, thrust_static_n : with it
    like : Motor
    nearest_parts : tuple of PartAtHand
        Motors of the catalogue of 0.6 to 1.6 times the mass, by the current they draw.
    assumptions : tuple of Assumption
    """

    motor_current_wanted_a: float = number(kind="A", label="wanted current of one motor")
    kv_rpm_per_v: float = number(kind="rpm/V", label="kV of the motor")
    resistance_ohm: float = number(kind="ohm", label="resistance of the motor")
    rpm_static: float = number(kind="rpm", label=f"propeller speed, {STATIC}")
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
) -> KvForCurrent:
    """The kV at which the train's propeller on its pack draws a motor current at rest.

    The motor keeps mass and copper: winding resistance goes with 1/kV^2, no-load current with kV.
    Parameters as in :func:`largest_propeller`.
    """
    motor, _ = completed(train.motor)
    asked = as_lanes(train, air, current_a=current_a, throttle=throttle, charge=charge)
    lanes, shape, current, d, q = asked.lanes, asked.shape, asked["current_a"], asked["throttle"], asked["charge"]
    bound = _refused_nan(current)
    rest = np.zeros(lanes.size)

    def point(kv: Floats) -> Any:
        wound: TrainLanes = rewound_lanes(lanes, kv / motor.kv_rpm_per_v)
        return solve_lanes(wound, rest, d, q, asked.density, asked.sound)

    def under(kv: Floats) -> Flags:
        amps = point(kv).motor_current_a  # too low a kV to turn at all draws no current
        return np.asarray((amps <= bound) | (np.isnan(amps) & np.isfinite(bound)))

    low, high = (np.full(lanes.size, end) for end in KV_RPM_PER_V)
    kv = edge(under, low, high)
    found = point(kv)
    kv = np.where((kv >= KV_RPM_PER_V[1]) | np.isnan(found.motor_current_a), np.nan, kv)
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
        kv_rpm_per_v=_out(kv, shape),
        resistance_ohm=_out(motor.resistance_ohm * (motor.kv_rpm_per_v / kv) ** 2, shape),
        rpm_static=_out(found.rpm, shape),
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
    by_speed : 1 where the propeller's highest speed asks for less throttle than the current
    throttle_at_limit : duty; 1 where full throttle keeps it already, NaN where none does
    motor_current_at_limit_a : one motor's with it
    pack_current_at_limit_a, pack_power_at_limit_w : whole train, what a wattmeter shows
    thrust_at_limit_n, thrust_static_n : with it and at full throttle
    motor_current_static_a : at full throttle
    note : str
    assumptions : tuple of Assumption
    """

    motor_current_limit_a: float = number(kind="A", label="limit of the current of one motor")
    by_speed: float = number(label="whether the propeller's highest speed asks for less throttle than the current")
    throttle_at_limit: float = number(
        kind="%", label="largest throttle at which the current of one motor stays below its limit"
    )
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
    """
    question = as_lanes(train, air, limit_a=limit_a)
    lanes, shape, limit, rho, a = (
        question.lanes, question.shape, question["limit_a"], question.density, question.sound
    )  # fmt: skip
    n = lanes.size
    bound, highest_rpm = _refused_nan(limit), float(np.nan_to_num(rating_lanes([train]).max_rpm[0], nan=np.inf))

    def point(duty: Floats) -> Any:
        return solve_lanes(lanes, np.zeros(n), duty, np.full(n, charge), rho, a)

    def under(duty: Floats) -> Flags:
        at = point(duty)  # too little duty to turn draws no current
        return np.asarray(np.isfinite(bound) & ~(at.motor_current_a > bound) & ~(at.rpm > highest_rpm))

    throttle, full = edge(under, np.full(n, LEAST), np.ones(n)), point(np.ones(n))
    found = point(np.where(np.isnan(throttle), 0.0, throttle))
    known = np.isfinite(throttle) & np.isfinite(full.motor_current_a) & np.isfinite(found.motor_current_a)

    def at_limit(values: Floats) -> Any:
        return _out(np.where(known, values, np.nan), shape)

    return ThrottleForCurrent(
        motor_current_limit_a=_out(limit, shape),
        by_speed=_out(np.where((throttle < 1.0) & (found.motor_current_a < 0.999 * limit), 1.0, 0.0), shape),
        throttle_at_limit=at_limit(throttle),
        motor_current_at_limit_a=at_limit(found.motor_current_a),
        pack_current_at_limit_a=at_limit(found.pack_current_a),
        pack_power_at_limit_w=at_limit(found.pack_power_w),
        thrust_at_limit_n=at_limit(found.thrust_n),
        thrust_static_n=_out(full.thrust_n, shape),
        motor_current_static_a=_out(full.motor_current_a, shape),
        assumptions=question.assumptions,
    )
