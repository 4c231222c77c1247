"""A motor typed in from one row of a shop listing: volts, amps, propeller, and thrust or speed at full throttle.

A row says less than a motor has constants, so these are what the motor law expects, moved as far as the row asks, and
the propeller's coefficients with them: :mod:`propmatch.records.motorfit`. Refused is only what no motor can do; what is
hard to believe is said.
"""

import math
from collections.abc import Sequence
from typing import Any

import attrs

from propmatch.faults import Fault, InputFaults
from propmatch.records.estimates import NO_LOAD_EXPONENT, Assumption
from propmatch.records.fields import Rule, build, choice, integer, not_below, number, record, replace, text
from propmatch.records.motorfit import (
    AIR_DENSITY_KG_M3,
    INSTRUMENT_SD,
    BenchRow,
    Misfit,
    MotorFit,
    fit_motor,
    propeller_sd,
    scaled_table,
)
from propmatch.records.parts import Motor, Propeller, Source
from propmatch.units import GRAM_FORCE_N, INCH_M, MILLIOHM_OHM, RPM_RAD_S

__all__ = ["ListedMotor", "ListingRow", "motor_from_listing"]

MOST_SPEED = 1.5
"""A row faster than this times label kV times volts has another voltage, or counts magnet poles."""
NO_LOAD_SD = 0.15
"""sd of ln of a stated no-load current: two digits, at a voltage that the row does not say; a guess, no source."""
BEYOND = 3.0
"""Shaft power this many standard uncertainties above what goes in is refused."""
CONTRADICTS = 2.0
"""A number this many of its standard uncertainties from what the others say (5 % of sound ones) is remarked."""
SHARED = 0.5
"""How far predictions of two propellers err together, in ln. Median errors of current on other propellers of a row's
motor: 29 % with 0, 13 % with 0.5, 10 % with 1 on the five-inch bench, 7, 7 and 8 % on other stands."""


@record(
    rules=(
        Rule(("rpm", "kv_rpm_per_v", "volts"), lambda rpm, kv, v: rpm is not None and rpm > MOST_SPEED * kv * v,
             "is faster than a motor of this kV turns without load at these volts"),
        not_below("cells_max", "cells_min"),
        Rule(("no_load_current_a", "amps"), lambda i0, amps: i0 is not None and i0 >= amps, "must be below amps"),
    )
)  # fmt: skip
class ListingRow:
    """What one row of a listing says about a motor at full throttle, standing still."""

    name: str = text(doc="name as the shop writes it")
    kv_rpm_per_v: float = number("rpm/V", ge=20, le=30000, doc="speed per volt")
    mass_g: float = number("g", ge=0.5, le=5000, doc="mass with leads")
    volts: float = number("V", gt=0.5, le=80, doc="voltage at the controller under load")
    amps: float = number("A", gt=0, le=500, doc="current at full throttle")
    thrust_gf: float | None = number("gf", gt=0, le=100_000, default=None, doc="static thrust")
    rpm: float | None = number("rpm", ge=300, le=150_000, default=None, doc="speed of the propeller")
    kv_kind: str = choice(
        ("effective", "measured", "label"), default="label", doc="label: printed on the motor, runs high"
    )
    no_load_current_a: float | None = number("A", gt=0, le=50, default=None, doc="current without propeller")
    controller_resistance_mohm: float | None = number("mohm", ge=0, le=500, default=None, doc="of the test set-up")
    max_current_a: float | None = number("A", ge=0.05, le=500, default=None, doc="continuous current limit")
    cells_min: int | None = integer(ge=1, le=14, default=None, doc="fewest cells in series")
    cells_max: int | None = integer(ge=1, le=14, default=None, doc="most cells in series")


@attrs.frozen(kw_only=True)
class ListedMotor:
    """A motor and a propeller that reproduce a listing row within its uncertainty.

    Attributes
    ----------
    motor : Motor
        With effective kV and every constant of the motor law; controller and leads are in its resistance, unless the
        row says what its controller has.
    propeller : Propeller
        The row's, its coefficients moved by one factor each.
    rpm, torque_nm, efficiency : float
        Speed [rpm], shaft torque [N m] and shaft over electrical power in the row.
    assumptions : tuple of Assumption
        Every constant, with the range that holds the middle 80 %.
    warnings : tuple of Fault
        Which number of the row contradicts the others, and how far.
    """

    motor: Motor
    propeller: Propeller
    rpm: float
    torque_nm: float
    efficiency: float
    assumptions: tuple[Assumption, ...]
    warnings: tuple[Fault, ...] = ()

    def beside(self, other: Propeller) -> Propeller:
        """Another propeller for this motor: a predicted one takes over ``SHARED`` of ln of the row's factors."""
        factors = {each.field: each.value for each in self.assumptions if each.subject == self.propeller.name}
        if other.source.kind != "predicted" or self.propeller.source.kind != "predicted":
            return other
        ct, cp = factors["ct"] ** SHARED, factors["cp"] ** SHARED
        return scaled_table(other, ct, cp, f"as {self.propeller.name} of the row asks for", other.source.uncertainty)


def motor_from_listing(*, propeller: Propeller, where: str = "listing", **row: Any) -> ListedMotor:
    """Find the motor constants and the propeller factors that a listing row asks for.

    Parameters
    ----------
    propeller : Propeller
        The propeller of the row, with a coefficient table.
    where : str, optional
        Named in faults.
    **row
        The fields of :class:`ListingRow`: ``name``, ``kv_rpm_per_v``, ``mass_g``, ``volts``, ``amps``, and where
        known ``thrust_gf``, ``rpm`` and the others.

    Returns
    -------
    ListedMotor

    Raises
    ------
    InputFaults
        Every fault of the numbers: malformed, or more power at the shaft than goes in.
    """
    listed, faults = build(ListingRow, row, where)
    if propeller.table is None:
        faults.append(Fault(where, "propeller", propeller.name, "has no coefficient table"))
    elif listed is not None:
        faults += _impossible(listed, propeller, where)
    if faults or listed is None:
        raise InputFaults(faults)
    fit = _fitted(listed, propeller)
    rpm, torque = (float(fit.value[name][0]) for name in ("rpm", "torque_nm"))
    return ListedMotor(
        motor=fit.motor,
        propeller=fit.propellers[0],
        rpm=rpm,
        torque_nm=torque,
        efficiency=torque * rpm * RPM_RAD_S / (listed.volts * listed.amps),
        assumptions=_assumptions(listed, fit),
        warnings=_remarks(fit.misfits, listed, propeller, where),
    )


def _impossible(row: ListingRow, propeller: Propeller, where: str) -> list[Fault]:
    """More power at the shaft than goes in: for the speed through CP, for the thrust by momentum theory.

    T^1.5/sqrt(2 rho A) is the least power of a static thrust, whatever the blades (W. J. M. Rankine, 1865).
    """
    faults, given = [], row.volts * row.amps
    size = propeller.diameter_in * INCH_M
    supply = math.hypot(INSTRUMENT_SD["volts"], INSTRUMENT_SD["amps"])
    if row.rpm is not None and propeller.table is not None:
        cp, rev_s = float(propeller.table.lookup(row.rpm, 0.0).cp), row.rpm / 60.0
        sure = math.hypot(supply, 3.0 * INSTRUMENT_SD["rpm"], propeller_sd(propeller)[1])
        least = cp * AIR_DENSITY_KG_M3 * rev_s**3 * size**5 * math.exp(-BEYOND * sure)
        if least > given:
            rule = (
                f"{propeller.name} takes at least {least:.1f} W at this speed, more than the {given:.1f} W that go in"
            )
            faults.append(Fault(where, "rpm", row.rpm, rule, "check volts, amps, rpm and propeller"))
    if row.thrust_gf is not None:
        thrust, disc = row.thrust_gf * GRAM_FORCE_N, math.pi / 4.0 * size**2
        sure = math.hypot(supply, 1.5 * INSTRUMENT_SD["thrust_n"])
        least = thrust**1.5 / math.sqrt(2.0 * AIR_DENSITY_KG_M3 * disc) * math.exp(-BEYOND * sure)
        if least > given:
            rule = (f"takes at least {least:.1f} W from any propeller of {propeller.diameter_in:g} in, "
                    f"more than the {given:.1f} W that go in")  # fmt: skip
            faults.append(Fault(where, "thrust_gf", row.thrust_gf, rule, "check volts, amps, thrust and propeller"))
    return faults


def _fitted(row: ListingRow, propeller: Propeller) -> MotorFit:
    """The fit of one row."""
    motor = Motor(
        name=row.name,
        kv_rpm_per_v=row.kv_rpm_per_v,
        kv_kind=row.kv_kind,
        mass_g=row.mass_g,
        max_current_a=row.max_current_a,
        cells_min=row.cells_min,
        cells_max=row.cells_max,
        source=Source(text=f"listing row: {row.volts:g} V, {row.amps:g} A, {propeller.name}", kind="label"),
    )
    if row.no_load_current_a is not None:
        motor = replace(motor, no_load_current_a=row.no_load_current_a, no_load_voltage_v=row.volts,
                             no_load_exponent=NO_LOAD_EXPONENT)  # fmt: skip
    reading = BenchRow(
        propeller=propeller,
        volts=row.volts,
        amps=row.amps,
        rpm=row.rpm,
        thrust_n=None if row.thrust_gf is None else row.thrust_gf * GRAM_FORCE_N,
        controller_ohm=(row.controller_resistance_mohm or 0.0) * MILLIOHM_OHM,
    )
    fit = fit_motor(motor, [reading], sd_ln={"no_load_current_a": NO_LOAD_SD})
    if row.controller_resistance_mohm is None:
        return fit
    return attrs.evolve(fit, motor=replace(fit.motor, controller_included=False))


def _assumptions(row: ListingRow, fit: MotorFit) -> tuple[Assumption, ...]:
    """Every constant with its range."""
    motor, rpm, mohm = fit.motor, fit.value["rpm"][0], 1e3 * fit.value["ohm"][0]
    alone = "ESC and leads in it" if motor.controller_included else "without the ESC's own"
    kind = "label" if row.kv_kind == "label" else "measured"
    said = (
        ("kv_rpm_per_v", "rpm/V", f"kV {{}} rpm/V, {kind} {row.kv_rpm_per_v:.0f}", 1.0, 0),
        ("resistance_ohm", "ohm",
         f"resistance {{}} mohm near standstill, {mohm:.0f} mohm at {rpm:.0f} rpm, {alone}", 1e3, 0),
        ("resistance_slope_ohm_s", "ohm s", "resistance higher by {} mohm for every 10,000 rpm", 1e7 * RPM_RAD_S, 0),
        ("torque_constant_ratio", "", "torque for each ampere {} of what kV says", 1.0, 3),
        ("no_load_current_a", "A", "no-load current {} A, rising with speed", 1.0, 2),
        ("ct", "", "thrust coefficient times {} at every speed", 1.0, 2),
        ("cp", "", "power coefficient times {} at every speed", 1.0, 2),
    )  # fmt: skip
    made = []
    for field, unit, words, scale, digits in said:
        value, (low, high) = float(fit.value[field][0]), fit.range80(field)
        shown, *ends = (f"{scale * each:.{digits}f}" for each in (value, low, high))
        text = f"{words.format(shown)}, fitted to the listing row; 80 %: {' to '.join(ends)}"
        subject = fit.propellers[0].name if field in ("ct", "cp") else motor.name
        made.append(Assumption(subject, field, value, unit, text, low, high))
    return tuple(made)


_SHOWN = {
    "thrust_n": ("thrust_gf", "gf", 0), "rpm": ("rpm", "rpm", 0), "volts": ("volts", "V", 1),
    "amps": ("amps", "A", 1), "kv_rpm_per_v": ("kv_rpm_per_v", "rpm/V", 0),
}  # fmt: skip
"""Field, unit and digits of a number that contradicts."""


def _remarks(misfits: Sequence[Misfit], row: ListingRow, propeller: Propeller, where: str) -> tuple[Fault, ...]:
    """How far numbers lie from what all others say, the farthest first."""
    made = []
    for misfit in misfits:
        if abs(misfit.sigmas) > CONTRADICTS:
            key, unit, digits = _SHOWN[misfit.name]
            share = misfit.given / misfit.expected
            value = getattr(row, key)
            beside = f"a motor of {row.mass_g:g} g on {propeller.name} and the rest of the row"
            rule = f"cannot go with {beside}: too {'high' if share > 1 else 'low'} by far"
            if 0.2 < share < 5:
                far = f"{100 * abs(share - 1):.0f} % {'above' if share > 1 else 'below'}"
                rule = f"is {far} the {value / share:.{digits}f} {unit} that {beside} suggest"
            rule += f", {abs(misfit.sigmas):.1f} times its uncertainty"
            made.append(Fault(where, key, value, rule, kind="warning"))
    return tuple(made)
