"""The parts envelope: by specification, not by catalogue part, what others may fit to an aircraft.

Around a design a box of specifications is found of which every corner, and points inside, pass all checks of the brief
and of part ratings (:mod:`propmatch.questions.corners`). :mod:`propmatch.words.envelopewords` writes it for the plans.
"""

from collections.abc import Callable, Sequence
from typing import Any

import attrs
import numpy as np

from propmatch.aircraft.balance import place_packs
from propmatch.aircraft.endurance import TIMER_MARGIN
from propmatch.catalogue.catalogue import Catalogue
from propmatch.checks.judged import failing, judged_trains
from propmatch.checks.measures import TrainMeasures
from propmatch.checks.setting import ResolvedBrief, Setting
from propmatch.checks.throttlelimit import ThrottleLimit, throttle_limits
from propmatch.questions.cells import BASES, base_train, checked_cells, compared_packs
from propmatch.questions.corners import Box, Corners, air_between
from propmatch.questions.fits import Fit, may_fit
from propmatch.questions.remedies import remedies
from propmatch.records.brief import Brief
from propmatch.records.estimates import Assumption, completed
from propmatch.records.fields import replace
from propmatch.records.packfit import PackFit
from propmatch.records.parts import PowerTrain
from propmatch.train.scaling import SAME_TABLE, PitchFit
from propmatch.units import GRAM_KG

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
        the currents, ``thrust_n`` and ``limited`` say something.
    failing : tuple of str
        Checks that ``train`` fails.
    box : Box or None
        Ranges of kV (effective), winding resistance, motor mass, diameter, pitch, capacity and all-up mass.
    pack_mass_g, pack_position_mm : Range
        Position NaN without ``[balance]``.
    altitude_m, temperature_c : Range
    thrust_n, thrust_to_weight, motor_current_a, pack_current_a, pack_power_w : Range
        Static at full throttle, fresh, thrust to weight at half charge; ``design_*`` are the middle's own.
    controller_a, motor_a, motor_w : float
        Ratings asked for: the largest of any corner with a tenth in hand, but not above the design's own part.
    minutes : Range; timer_minutes : float, for the corner that flies shortest
    returned_mah : Range
    limited : ThrottleLimit
        The throttle limit of ``train``, and every check made again with it.
    servo_supply_w : float
        Heat in a linear servo supply, 0 without one.
    """

    cells: int
    train: PowerTrain
    changes: dict[str, Any]
    holds: bool
    failing: tuple[str, ...]
    box: Box | None
    pack_mass_g: Range
    pack_position_mm: Range
    altitude_m: Range
    temperature_c: Range
    thrust_n: Range
    design_thrust_n: float
    thrust_to_weight: Range
    motor_current_a: Range
    design_motor_current_a: float
    pack_current_a: Range
    design_pack_current_a: float
    pack_power_w: Range
    controller_a: float
    motor_a: float
    motor_w: float
    minutes: Range
    timer_minutes: float
    returned_mah: Range
    limited: ThrottleLimit
    servo_supply_w: float


@attrs.frozen(kw_only=True)
class VariantMass:
    """A variant of the brief against the box of each cell count.

    Attributes
    ----------
    variant : str
    all_up_mass_g : dict
        Cell count to mass with that count's design.
    inside : dict
        Cell count to whether that lies in the box's all-up masses.
    failing : dict
        Cell count to the checks the design fails in this variant.
    """

    variant: str
    all_up_mass_g: dict[int, float]
    inside: dict[int, bool]
    failing: dict[int, tuple[str, ...]]


@attrs.frozen(kw_only=True, eq=False)
class Envelope:
    """What other builders may fit.

    Attributes
    ----------
    brief : Brief
    train : PowerTrain
    how : str
        How the design was chosen when nobody named it; else empty.
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
    how: str
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
        The design; default the best that matches the brief with its lowest cell count.
    cells : sequence of int, optional
        Default: 2, 3 and the design's own.
    progress : callable, optional
        Called with steps done and in all.

    Raises
    ------
    InputFaults
        Cell counts out of range; no train named and none that meets the brief.
    """
    how = ""
    resolved = ResolvedBrief.of(brief)
    design = resolved.as_designed
    asked = checked_cells(cells) if cells is not None else ()
    if train is None:
        train, how = base_train(resolved, catalogue, asked or design.brief.limits.cells or (2, 3))
    counts = asked or tuple(sorted({2, 3, train.pack.cells_series}))
    fit = PackFit.of(catalogue.packs, train.pack.chemistry)
    packs = compared_packs(train.pack, counts, list(catalogue.packs.values()), fit)
    made = dict.fromkeys((*design.assumptions, *completed(train)[1]))
    found: dict[int, CellEnvelope] = {}
    for count in counts:
        found[count] = _of_count(design, catalogue, train, packs[BASES[0], count].pack, fit, progress)
        pitch = PitchFit.of(catalogue.propellers.values(), found[count].train.propeller)
        made |= dict.fromkeys((*completed(found[count].train)[1], pitch.assumption))
    made |= dict.fromkeys((fit.assumption, SAME_TABLE, _HEADROOM))
    geometry = design.geometry
    if geometry is not None:
        made |= dict.fromkeys(geometry.assumptions)
    return Envelope(
        brief=resolved.stated,
        train=train,
        how=how,
        target_cg_mm=float("nan") if geometry is None else geometry.balance.target_cg_mm,
        cg_tolerance_mm=float("nan") if geometry is None else geometry.cg_tolerance_mm,
        cells=found,
        variants=tuple(_variant(setting, found) for setting in resolved.settings),
        setting=design,
        assumptions=tuple(made),
    )


_HEADROOM = Assumption(
    "parts envelope", "max_current_a", HEADROOM, "",
    f"ratings asked for have {HEADROOM - 1:.0%} in hand over the largest current of any corner; common practice, no "
    "published source",
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
    motor_a = HEADROOM * float(np.nanmax(measured["controller_current"].value))
    motor_w = HEADROOM * float(np.nanmax(measured["motor_power"].value))
    r = design.ratings
    ends = np.array([0.0, 0.0] if box is None else box.ranges["air"])
    altitude, temperature = air_between(setting, ends)
    minutes = _range(flight.minutes)
    return CellEnvelope(
        cells=train.pack.cells_series,
        train=train,
        changes=changes,
        holds=box is not None,
        failing=wrong,
        box=box,
        pack_mass_g=_range(measured.ratings.pack_g),
        pack_position_mm=_positions(setting, measured),
        altitude_m=_range(altitude),
        temperature_c=_range(temperature),
        thrust_n=_range(fresh.thrust_n),
        design_thrust_n=float(middle.thrust_n[0]),
        thrust_to_weight=_range(measured["thrust_to_weight"].value),
        motor_current_a=_range(fresh.motor_current_a),
        design_motor_current_a=float(middle.motor_current_a[0]),
        pack_current_a=_range(fresh.pack_current_a),
        design_pack_current_a=float(middle.pack_current_a[0]),
        pack_power_w=_range(fresh.pack_power_w),
        controller_a=float(np.fmin(motor_a, r.controller.limit(setting.burst_load_seconds)[0])),
        motor_a=float(np.fmin(motor_a, r.motor.limit(setting.burst_load_seconds)[0])),
        motor_w=float(np.fmin(motor_w, r.motor_w[0])),
        minutes=minutes,
        timer_minutes=(1.0 - TIMER_MARGIN) * minutes[0],
        returned_mah=_range(flight.used_mah),
        limited=throttle_limits(design)[0],
        servo_supply_w=float(np.nanmax(measured["servo_supply_heat"].value)),
    )


def _positions(setting: Setting, measured: TrainMeasures) -> Range:
    """Where the pack belongs over all corners, kept inside the tray."""
    geometry, build, r = setting.geometry, setting.build, measured.ratings
    if geometry is None:
        return float("nan"), float("nan")
    bare = measured.frames.mass_kg / GRAM_KG - r.mass_g
    places = (
        (bare, build.position_mm), (r.motors_g, geometry.motor_mm), (r.propellers_g, geometry.propeller_mm),
        (r.controllers_g + r.supply_g, geometry.controller_mm),
    )  # fmt: skip
    base = np.sum([np.asarray(mass, dtype=np.float64) for mass, _ in places], axis=0)
    moment = np.sum([mass * (np.nan if place is None else place) for mass, place in places], axis=0)
    placed = place_packs(geometry, base_mass_g=base, base_cg_mm=moment / base, pack_mass_g=r.pack_g)
    return _range(placed.pack_mm)


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
        all_up_mass_g=mass,
        inside=inside,
        failing={count: wrong[at] for at, count in enumerate(found)},
    )
