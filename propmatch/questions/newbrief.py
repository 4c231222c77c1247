"""A brief from the few answers that matter: mass, wing or kind of aircraft, how it is flown, cells, limits."""

import attrs

from propmatch.aircraft.polar import airframe_lanes, stall_speed_m_s
from propmatch.models.air import Air
from propmatch.records.aircraftkinds import FLYING
from propmatch.records.brief import (
    Aircraft,
    Brief,
    Limits,
    Phase,
    Prefer,
    Site,
    Wing,
    resolve_variants,
    usual_all_up_mass_g,
)
from propmatch.records.fields import replace
from propmatch.units import GRAM_KG

__all__ = ["Wishes", "new_brief"]


@attrs.frozen(kw_only=True)
class Wishes:
    """What a builder knows before anything is chosen; None is not known.

    Attributes
    ----------
    name : str
    bare_mass_g : float
        Everything but motor, propeller, controller and pack [g].
    motor_count : int, optional
        Equal motors on one pack.
    target_mass_g : float, optional
        All-up mass it must not exceed [g].
    like : str, optional
        A word of ``AIRCRAFT_KINDS``.
    area_dm2, span_mm : float, optional
        Of the wing.
    flying : str
        A word of ``FLYING``.
    cells : tuple of int
        Cell counts to consider; empty for any.
    min_flight_minutes, min_thrust_to_weight, max_propeller_diameter_in, altitude_m : float, optional
        Limits, and the height of the field.
    """

    name: str
    bare_mass_g: float
    motor_count: int = 1
    target_mass_g: float | None = None
    like: str | None = None
    area_dm2: float | None = None
    span_mm: float | None = None
    flying: str = "gentle"
    cells: tuple[int, ...] = ()
    min_flight_minutes: float | None = None
    min_thrust_to_weight: float | None = None
    max_propeller_diameter_in: float | None = None
    altitude_m: float | None = None


def new_brief(wishes: Wishes) -> tuple[Brief, dict[str, str]]:
    """The brief, and by key path what to say beside a number that was not asked for but worked out.

    Airspeeds of the phases are multiples of the stall speed V = sqrt(2 W/(rho S CL_max)) at the target mass, or at
    what an aircraft of that bare mass usually weighs. What is not known about the wing stays open: whoever reads the
    brief assumes it and says so.

    Raises
    ------
    ValueError
        A number outside its range, as the classes of a brief declare them.
    """
    style = FLYING[wishes.flying]
    brief = Brief(
        aircraft=Aircraft(
            name=wishes.name,
            like=wishes.like,
            bare_mass_g=wishes.bare_mass_g,
            motor_count=wishes.motor_count,
            target_mass_g=wishes.target_mass_g,
        ),
        wing=Wing(area_dm2=wishes.area_dm2, span_mm=wishes.span_mm),
        limits=Limits(
            min_thrust_to_weight=wishes.min_thrust_to_weight or style.thrust_to_weight,
            min_flight_minutes=wishes.min_flight_minutes or style.minutes,
            max_propeller_diameter_in=wishes.max_propeller_diameter_in,
            cells=wishes.cells,
        ),
        site=Site(altitude_m=wishes.altitude_m),
        prefer=Prefer(**style.prefer),
    )
    stall = _stall_m_s(brief)
    climb = Phase(name="climb out", throttle=1.0, seconds=style.climb_s)
    flown = tuple(
        Phase(
            name=name, airspeed_m_s=round(over * stall, 1), load_factor=load, share=share,
            throttle=None if motor else 0.0,
        )
        for name, over, load, share, motor in style.phases
    )  # fmt: skip
    usual = f"usual for {wishes.flying} flying"
    notes = {
        "phase[].airspeed_m_s": f"m/s; worked out from a stall speed of {stall:.1f} m/s, {usual}: put in your own",
        "phase[].load_factor": f"lift over weight: turns and gusts; {usual}",
        "aircraft.like": "what is usual for it stands in for what is not said of the wing",
        "phase[].name": "",
        "phase[].share": f"part of the time between the timed phases; {usual}",
        "phase[].seconds": f"s; {usual}",
        "phase[].throttle": "1 is full throttle, 0 motor off",
    }
    if wishes.min_thrust_to_weight is None:
        notes["limits.min_thrust_to_weight"] = f"static, at half charge; {usual}: put in your own"
    if wishes.min_flight_minutes is None:
        notes["limits.min_flight_minutes"] = f"min, to the reserve; {usual}: put in your own"
    return replace(brief, phase=(climb, *flown)), notes


def _stall_m_s(brief: Brief) -> float:
    """Stall speed at the all-up mass that is aimed at, or usual."""
    build = resolve_variants(brief)[0]
    frames, _ = airframe_lanes(build.airframe, [usual_all_up_mass_g(brief)[0] * GRAM_KG])
    density = Air.standard(brief.site.altitude_m or 0.0).density_kg_m3
    return float(stall_speed_m_s(frames, density)[0])
