"""The parts envelope: by specification, not by catalogue part, what others may fit to an aircraft.

Around a design a box of specifications is found of which every corner, and points inside, pass all checks of the brief
and of part ratings (:mod:`propmatch.questions.corners`). :mod:`propmatch.words.envelopewords` writes it for the plans.
"""

from collections.abc import Callable, Sequence
from typing import Any

import attrs
import numpy as np

from propmatch.catalogue.catalogue import Catalogue
from propmatch.checks.judged import failing, judged_trains
from propmatch.checks.measures import TrainMeasures
from propmatch.checks.placing import balance_assumptions
from propmatch.checks.ratings import Rating
from propmatch.checks.setting import ResolvedBrief, Setting
from propmatch.checks.throttlelimit import ThrottleLimit, throttle_limits
from propmatch.columns import STATIC, number
from propmatch.questions.asflown import flown_factors, timer_minutes
from propmatch.questions.cells import BASES, checked_cells, compared_packs, usual_cells
from propmatch.questions.corners import Box, Corners, Values, air_between
from propmatch.questions.fits import Fit, may_fit
from propmatch.questions.remedies import remedies
from propmatch.records.brief import Brief
from propmatch.records.estimates import Assumption, completed
from propmatch.records.fields import replace
from propmatch.records.packfit import PackFit
from propmatch.records.parts import PowerTrain
from propmatch.search.matching import best_train
from propmatch.tolerances.draws import DRAWS
from propmatch.train.scaling import SAME_TABLE, PitchFit
from propmatch.units import GRAM_KG, percent

__all__ = ["CellEnvelope", "Envelope", "Fit", "VariantMass", "may_fit", "parts_envelope"]

HEADROOM = 1.10
"""Controller and motor ratings asked for over the largest current of any corner; common practice."""
Range = tuple[float, float]


@attrs.frozen(kw_only=True, eq=False)
class CellEnvelope:
    """What may be fitted with one cell count. Ranges are (from, to) over the corners.

    Attributes
    ----------
    cells : int
    train : PowerTrain
        The design in the middle of the box.
    changes : dict
        Kind to the part that had to change against the design for this count; the pack always may.
    holds : bool
        False where the design, and the nearest change of it, exceed a limit: then only ``train``, ``failing``,
        the currents, ``thrust_static_n`` and ``limited`` say something.
    failing : tuple of str
        Checks that ``train`` fails.
    box : Box or None
        Ranges of kV (effective), winding resistance, motor mass, diameter, pitch, capacity and all-up mass.
    pack_mass_g, pack_position_mm : Range
        Position NaN without ``[balance]``.
    altitude_m, temperature_c : Range
    thrust_static_n, motor_current_static_a, pack_current_static_a, pack_power_static_w : Range
        ``design_*`` are the middle's own.
    thrust_to_weight : Range
    controller_a, motor_a, motor_w : float
        Ratings asked for: the largest of any corner with a tenth in hand, rounded up, but never above the continuous
        rating of ``train``'s own part, so that it may always be fitted.
    controller_burst_a, motor_burst_a : float
        Where the brief allows bursts and the largest load needs one; else NaN.
    flight_minutes : Range; timer_worst_minutes : float, of the corner that flies shortest, as really flown
    recharge_mah : Range
    limited : ThrottleLimit
        The throttle limit of ``train``, and every check made again with it.
    servo_supply_w : float
        Heat in a linear BEC, 0 without one.
    """

    cells: int
    train: PowerTrain
    changes: dict[str, Any]
    holds: bool
    failing: tuple[str, ...]
    box: Box | None
    pack_mass_g: tuple[float, float] = number(kind="mass", label="mass of the pack")
    pack_position_mm: tuple[float, float] = number(kind="mm", label="centre of the pack, aft of the datum")
    altitude_m: tuple[float, float] = number(kind="m", label="field height")
    temperature_c: tuple[float, float] = number(kind="degC", label="air temperature")
    thrust_static_n: tuple[float, float] = number(kind="thrust", label=f"thrust, {STATIC}")
    design_thrust_static_n: float = number(kind="thrust", label=f"thrust of the design, {STATIC}")
    thrust_to_weight: tuple[float, float] = number(label="thrust to weight, half charge")
    motor_current_static_a: tuple[float, float] = number(kind="A", label=f"current of one motor, {STATIC}")
    design_motor_current_static_a: float = number(kind="A", label=f"current of one motor of the design, {STATIC}")
    pack_current_static_a: tuple[float, float] = number(kind="A", label=f"pack current, {STATIC}")
    design_pack_current_static_a: float = number(kind="A", label=f"pack current of the design, {STATIC}")
    pack_power_static_w: tuple[float, float] = number(kind="W", label=f"power from the pack, {STATIC}")
    controller_a: float = number(kind="A", label="continuous rating that a controller needs")
    controller_burst_a: float = number(kind="A", label="burst rating that a controller needs, as the brief allows")
    motor_a: float = number(kind="A", label="continuous rating that a motor needs")
    motor_burst_a: float = number(kind="A", label="burst rating that a motor needs, as the brief allows")
    motor_w: float = number(kind="W", label="power rating that a motor needs")
    flight_minutes: tuple[float, float] = number(kind="min", label="flight time")
    timer_worst_minutes: float = number(kind="min", label="timer setting, as really flown, worst allowed parts")
    recharge_mah: tuple[float, float] = number(kind="mAh", label="charge to put back")
    limited: ThrottleLimit
    servo_supply_w: float = number(kind="W", label="most heat in the BEC of any allowed parts")


@attrs.frozen(kw_only=True)
class VariantMass:
    """A variant of the brief against the box of each cell count.

    Attributes
    ----------
    variant : str
    all_up_mass_by_cells_g : dict
        Cell count to mass with that count's design.
    inside_by_cells : dict
        Cell count to whether that lies in the box's all-up masses.
    failing_by_cells : dict
        Cell count to the checks the design fails in this variant.
    """

    variant: str
    all_up_mass_by_cells_g: dict[int, float]
    inside_by_cells: dict[int, bool]
    failing_by_cells: dict[int, tuple[str, ...]]


@attrs.frozen(kw_only=True, eq=False)
class Envelope:
    """What other builders may fit.

    Attributes
    ----------
    brief : Brief
    train : PowerTrain
    target_cg_mm, cg_tolerance_mm : float
        NaN without ``[balance]``.
    cells : dict
        Cell count to ``CellEnvelope``.
    variants : tuple of VariantMass
    setting : Setting
        Of the aircraft as designed.
    assumptions : tuple of Assumption
    """

    brief: Brief
    train: PowerTrain
    target_cg_mm: float
    cg_tolerance_mm: float
    cells: dict[int, CellEnvelope]
    variants: tuple[VariantMass, ...]
    setting: Setting
    assumptions: tuple[Assumption, ...]


def parts_envelope(
    brief: Brief | ResolvedBrief,
    catalogue: Catalogue,
    train: PowerTrain | None = None,
    *,
    cells: Sequence[int] | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> Envelope:
    """The envelope of a design for each cell count.

    Parameters
    ----------
    brief : Brief, resolved already or not
    catalogue : Catalogue
        Its packs and propellers say how mass and blades change with size, its parts are tried where another cell count
        needs a change.
    train : PowerTrain, optional
        The design; default the best that matches the brief.
    cells : sequence of int, optional
        Default: the brief's and the design's own; of one, 2 and 3 too.
    progress : callable, optional
        Called with steps done and in all.

    Raises
    ------
    InputFaults
        Cell counts out of range; no train named and none that meets the brief.
    """
    resolved = ResolvedBrief.of(brief)
    design = resolved.as_designed
    asked = checked_cells(cells) if cells is not None else ()
    if train is None:
        train = best_train(resolved, catalogue)
    counts = asked or usual_cells(resolved, train)
    fit = PackFit.of(catalogue.packs, train.pack.chemistry)
    packs = compared_packs(train.pack, counts, list(catalogue.packs.values()), fit)
    made = dict.fromkeys((*design.assumptions, *completed(train)[1]))
    found: dict[int, CellEnvelope] = {}
    for count in counts:
        found[count] = _of_count(design, catalogue, train, packs[BASES[0], count].pack, fit, progress)
        pitch = PitchFit.of(catalogue.propellers.values(), found[count].train.propeller)
        made |= dict.fromkeys((*completed(found[count].train)[1], pitch.assumption))
    made |= dict.fromkeys((fit.assumption, SAME_TABLE, _HEADROOM))
    made |= dict.fromkeys(balance_assumptions(design, train))
    geometry = design.geometry
    return Envelope(
        brief=resolved.stated,
        train=train,
        target_cg_mm=float("nan") if geometry is None else geometry.balance.target_cg_mm,
        cg_tolerance_mm=float("nan") if geometry is None else geometry.cg_tolerance_mm,
        cells=found,
        variants=tuple(_variant(setting, found) for setting in resolved.settings),
        setting=design,
        assumptions=tuple(made),
    )


_HEADROOM = Assumption(
    "parts envelope", "max_current_a", HEADROOM, "",
    f"ratings asked for have {percent(HEADROOM - 1)} in hand over the largest current of any corner, but never "
    "more than the design's own part bears; common practice, no published source",
)  # fmt: skip


def _of_count(
    setting: Setting, catalogue: Catalogue, train: PowerTrain, pack: Any, fit: PackFit, progress: Any
) -> CellEnvelope:
    middle = replace(train, pack=pack)
    measured, _ = judged_trains(setting, [middle])
    wrong = failing(measured)[0]
    changes: dict[str, Any] = {}
    if wrong:
        first = remedies(setting, catalogue, middle, failing=wrong).first
        if first is not None:
            middle, changes = first.train, first.changes
            measured, _ = judged_trains(setting, [middle])
            wrong = failing(measured)[0]
    pitch = PitchFit.of(catalogue.propellers.values(), middle.propeller)
    corners = Corners(setting, middle, packs=fit, pitch=pitch)
    box = corners.box(progress)
    return _result(setting, corners, middle, changes, wrong, box, measured)


def _range(values: Any) -> Range:
    found = np.asarray(values, dtype=np.float64)
    if not np.any(np.isfinite(found)):
        return float("nan"), float("nan")
    return float(np.nanmin(found)), float(np.nanmax(found))


def _result(
    setting: Setting, corners: Corners, train: PowerTrain, changes: dict[str, Any], wrong: tuple[str, ...],
    box: Box | None, design: TrainMeasures,
) -> CellEnvelope:  # fmt: skip
    values = None if box is None else corners.corners(box.ranges)
    measured = design if values is None else corners.measures(values)
    fresh, middle = measured.full(1.0), design.full(1.0)
    flight = measured.flight
    most_a, most_w = (float(np.nanmax(measured[name].value)) for name in ("controller_current", "motor_power"))
    r = design.ratings
    controller_a, controller_burst_a = _asked(most_a, 1.0, r.controller, setting)
    motor_a, motor_burst_a = _asked(most_a, 0.1, r.motor, setting)
    ends = np.array([0.0, 0.0] if box is None else box.ranges["air"])
    altitude, temperature = air_between(setting, ends)
    return CellEnvelope(
        cells=train.pack.cells_series,
        train=train,
        changes=changes,
        holds=box is not None,
        failing=wrong,
        box=box,
        pack_mass_g=_range(measured.ratings.pack_g),
        pack_position_mm=_range(float("nan") if measured.packs is None else measured.packs.pack_mm),
        altitude_m=_range(altitude),
        temperature_c=_range(temperature),
        thrust_static_n=_range(fresh.thrust_n),
        design_thrust_static_n=float(middle.thrust_n[0]),
        thrust_to_weight=_range(measured["thrust_to_weight"].value),
        motor_current_static_a=_range(fresh.motor_current_a),
        design_motor_current_static_a=float(middle.motor_current_a[0]),
        pack_current_static_a=_range(fresh.pack_current_a),
        design_pack_current_static_a=float(middle.pack_current_a[0]),
        pack_power_static_w=_range(fresh.pack_power_w),
        controller_a=controller_a,
        controller_burst_a=controller_burst_a,
        motor_a=motor_a,
        motor_burst_a=motor_burst_a,
        motor_w=_asked(most_w, 1.0, r.motor_power, setting)[0],
        flight_minutes=_range(flight.minutes),
        timer_worst_minutes=float("nan") if values is None else _timer_minutes(setting, corners, values, measured),
        recharge_mah=_range(flight.used_mah),
        limited=throttle_limits(design)[0],
        servo_supply_w=float(np.nanmax(measured["servo_supply_heat"].value)),
    )


def _timer_minutes(setting: Setting, corners: Corners, values: Values, measured: TrainMeasures) -> float:
    """Of the corner that flies shortest, as really flown: the timer that nine builds of ten reach there."""
    minutes, flying = measured.flight.minutes, setting.brief.flying
    if not np.isfinite(minutes).any():
        return float("nan")
    at = int(np.nanargmin(minutes))
    worst = {axis: each[[at]] for axis, each in values.items()}
    stated = corners.measures(worst).flight_at(np.array([flying.taken[0].factor])).minutes
    drawn = corners.drawn(worst, DRAWS).flight_at(flown_factors(flying, DRAWS)).minutes
    return timer_minutes(float(stated[0]), drawn)


def _asked(most: float, step: float, own: Rating, setting: Setting) -> tuple[float, float]:
    """The continuous rating to ask for, and the burst where the largest load needs one that the brief allows, else NaN.

    A tenth above the largest load, up to a whole step, but never above the design's own part where that bears it.
    """
    asked = float(np.ceil(HEADROOM * most / step - 1e-9) * step)
    continuous, burst = float(own.continuous[0]), float(own.limit(setting.burst_load_seconds)[0])
    if most > burst:
        return asked, float("nan")
    return float(np.fmin(asked, continuous)), min(asked, burst) if most > continuous else float("nan")


def _variant(setting: Setting, found: dict[int, CellEnvelope]) -> VariantMass:
    trains = [each.train for each in found.values()]
    measured, _ = judged_trains(setting, trains)
    masses = measured.frames.mass_kg / GRAM_KG
    wrong = failing(measured)
    mass = {count: float(masses[at]) for at, count in enumerate(found)}
    inside = {}
    for count, each in found.items():
        low, high = (np.nan, np.nan) if each.box is None else each.box.ranges["all_up_mass_g"]
        inside[count] = bool(low - 0.5 <= mass[count] <= high + 0.5)
    return VariantMass(
        variant=setting.variant.name,
        all_up_mass_by_cells_g=mass,
        inside_by_cells=inside,
        failing_by_cells={count: wrong[at] for at, count in enumerate(found)},
    )
