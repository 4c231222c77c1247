"""A motor typed in from one row of a shop listing: volts, amps, propeller, and thrust or speed at full throttle.

The row gives two equations, ``V = K w + (R + R_c) I`` and ``Q(w) = K (I - I0)``, for three unknowns K, R and I0;
w comes from the speed, or from the thrust through the propeller's CT, and the torque Q from its CP. Every K with
positive R and I0 reproduces the row exactly. Taken is the one for which label kV, winding resistance and no-load
current together lie nearest to what is usual for the motor's mass (least sum of squared relative deviations).
Without speed and thrust, w comes from Q(w) and the usual I0.
"""

import math
from typing import Any

import attrs
import numpy as np

from propmatch.faults import Fault, InputFaults
from propmatch.models.arrays import Floats
from propmatch.records.estimates import (
    KV_LABEL_FACTOR,
    Assumption,
    completed,
    motor_no_load_current_a,
    motor_resistance_ohm,
)
from propmatch.records.fields import Rule, build, choice, integer, not_below, number, record, text
from propmatch.records.parts import Controller, Motor, Propeller, Source
from propmatch.units import GRAM_FORCE_N, INCH_M, KV_TO_K, MILLIOHM_OHM, RPM_RAD_S

__all__ = ["ListedMotor", "ListingRow", "motor_from_listing"]


AIR_DENSITY_KG_M3 = 1.225
KV_SHARE = (0.80, 1.02)
"""Effective over label kV that is believed; measured small outrunners lie at 0.85 to 1."""
_KV_SPREAD, _R_SPREAD, _I0_SPREAD, _STATED_SPREAD = 0.03, 0.5, 0.5, 0.1
_SPEEDS_RPM = (300.0, 150_000.0)
_SLOWEST_KV, _MOST_OHM, _MOST_NO_LOAD_A = 20.0, 10.0, 50.0
_UNUSUAL = 3.0


def _fast_enough(kv: float, volts: float, rpm: float | None) -> bool:
    return rpm is not None and rpm >= kv * volts * KV_SHARE[1]


@record(
    rules=(
        Rule(("rpm", "kv_rpm_per_v", "volts"), lambda rpm, kv, volts: _fast_enough(kv, volts, rpm),
             "is faster than the motor turns without load at these volts"),
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
    kv_kind: str = choice(("effective", "label"), default="label", doc="label: printed on the motor, runs high")
    no_load_current_a: float | None = number("A", gt=0, le=50, default=None, doc="current without propeller")
    controller_resistance_mohm: float | None = number("mohm", ge=0, le=500, default=None, doc="of the test set-up")
    max_current_a: float | None = number("A", gt=0, le=500, default=None, doc="continuous current limit")
    cells_min: int | None = integer(ge=1, le=14, default=None, doc="fewest cells in series")
    cells_max: int | None = integer(ge=1, le=14, default=None, doc="most cells in series")


@attrs.frozen(kw_only=True)
class ListedMotor:
    """A motor that reproduces a listing row.

    Attributes
    ----------
    motor : Motor
        With effective kV, winding resistance and no-load current.
    rpm, torque_nm, efficiency : float
        Speed [rpm], shaft torque [N m] and shaft over electrical power in the row.
    assumptions : tuple of Assumption
        Where the constants came from.
    warnings : tuple of Fault
        What is odd about the row although a motor reproduces it.
    """

    motor: Motor
    rpm: float
    torque_nm: float
    efficiency: float
    assumptions: tuple[Assumption, ...]
    warnings: tuple[Fault, ...] = ()


def motor_from_listing(*, propeller: Propeller, where: str = "listing", **row: Any) -> ListedMotor:
    """Solve for the motor constants that reproduce one listing row.

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
        Every fault of the numbers; or, when they are sound, why no motor reproduces the row.
    """
    listed, faults = build(ListingRow, row, where)
    if propeller.table is None:
        faults.append(Fault(where, "propeller", propeller.name, "has no coefficient table"))
    if faults or listed is None:
        raise InputFaults(faults)
    return _solve(listed, propeller, where)


# ---------------------------------------------------------------- solving


@attrs.frozen(kw_only=True, eq=False)
class _Candidates:
    """Constants along K: arrays of equal length."""

    k: Floats
    w: Floats
    torque_nm: Floats
    resistance_ohm: Floats
    no_load_a: Floats


def _solve(row: ListingRow, propeller: Propeller, where: str) -> ListedMotor:
    made: list[Assumption] = []
    r_controller = _controller_ohm(row, made)
    label = row.kv_rpm_per_v
    usual = label * KV_LABEL_FACTOR if row.kv_kind == "label" else label
    share = KV_SHARE if row.kv_kind == "label" else (0.97, 1.03)
    k = np.linspace(KV_TO_K / (label * share[1]), KV_TO_K / (label * share[0]), 4001)
    i0_usual = row.no_load_current_a or motor_no_load_current_a(row.mass_g, usual)
    thrust, torque = _propeller_curves(propeller)
    w, warnings = _speed(row, propeller, thrust, torque, k, i0_usual, where)
    torque_nm = np.asarray(np.interp(w, torque[0], torque[1]))
    found = _Candidates(
        k=k,
        w=w,
        torque_nm=torque_nm,
        resistance_ohm=(row.volts - k * w) / row.amps - r_controller,
        no_load_a=row.amps - torque_nm / k,
    )
    best = _nearest_to_usual(row, found, usual, i0_usual, where)
    kv = KV_TO_K / float(k[best])
    r, i0 = float(found.resistance_ohm[best]), float(found.no_load_a[best])
    motor = Motor(
        name=row.name,
        kv_rpm_per_v=kv,
        mass_g=row.mass_g,
        resistance_ohm=r,
        no_load_current_a=i0,
        max_current_a=row.max_current_a,
        cells_min=row.cells_min,
        cells_max=row.cells_max,
        source=Source(text=f"listing row: {row.volts:g} V, {row.amps:g} A, {propeller.name}", kind="label"),
    )
    basis = f"so that the row of {row.volts:g} V, {row.amps:g} A on {propeller.name} comes out"
    warnings += _unusual(row, r, motor_resistance_ohm(row.mass_g, usual), "winding resistance", "ohm", where)
    warnings += _unusual(row, i0, i0_usual, "no-load current", "A", where)
    made += [
        Assumption(row.name, "kv_rpm_per_v", kv, "rpm/V", f"effective kV {kv:.0f} rpm/V, label {label:.0f}, {basis}"),
        Assumption(row.name, "resistance_ohm", r, "ohm", f"winding resistance {r * 1e3:.0f} mohm {basis}"),
        Assumption(row.name, "no_load_current_a", i0, "A", f"no-load current {i0:.2f} A {basis}"),
    ]
    at, q = float(w[best]), float(torque_nm[best])
    return ListedMotor(
        motor=motor,
        rpm=at / RPM_RAD_S,
        torque_nm=q,
        efficiency=q * at / (row.volts * row.amps),
        assumptions=tuple(made),
        warnings=warnings,
    )


def _unusual(row: ListingRow, value: float, usual: float, what: str, unit: str, where: str) -> tuple[Fault, ...]:
    if usual / _UNUSUAL <= value <= usual * _UNUSUAL:
        return ()
    rule = f"leads to a {what} of {value:.3g} {unit}; about {usual:.2g} {unit} is usual for {row.mass_g:g} g"
    return (Fault(where, "amps", row.amps, rule, "check volts, amps and propeller", kind="warning"),)


def _controller_ohm(row: ListingRow, made: list[Assumption]) -> float:
    if row.controller_resistance_mohm is not None:
        return row.controller_resistance_mohm * MILLIOHM_OHM
    controller, assumed = completed(
        Controller(name="controller of the listing", max_current_a=row.amps, mass_g=0.0, cells_max=row.cells_max)
    )
    made += assumed
    return float(controller.resistance_mohm * MILLIOHM_OHM)


def _propeller_curves(propeller: Propeller) -> tuple[tuple[Floats, Floats], tuple[Floats, Floats]]:
    """Static thrust [N] and torque [N m] over propeller speed [rad/s]."""
    assert propeller.table is not None
    rpm = np.geomspace(*_SPEEDS_RPM, 6000)
    found = propeller.table.lookup(rpm, np.zeros_like(rpm))
    rev_s, diameter = rpm / 60, propeller.diameter_in * INCH_M
    thrust = found.ct * AIR_DENSITY_KG_M3 * rev_s**2 * diameter**4
    torque = found.cp * AIR_DENSITY_KG_M3 * rev_s**2 * diameter**5 / (2 * math.pi)
    w = rpm * RPM_RAD_S
    return (w, np.maximum.accumulate(thrust)), (w, np.maximum.accumulate(torque))


def _speed(
    row: ListingRow,
    propeller: Propeller,
    thrust: tuple[Floats, Floats],
    torque: tuple[Floats, Floats],
    k: Floats,
    i0_usual: float,
    where: str,
) -> tuple[Floats, tuple[Fault, ...]]:
    """Speed for each K [rad/s]: the one read, the one that makes the thrust, or the one that takes the torque."""
    if row.rpm is not None:
        w = row.rpm * RPM_RAD_S
        if row.thrust_gf is None:
            return np.full_like(k, w), ()
        expected = float(np.interp(w, *thrust)) / GRAM_FORCE_N
        if abs(row.thrust_gf / expected - 1) <= 0.15:
            return np.full_like(k, w), ()
        rule = f"{propeller.name} is expected to make {expected:.0f} gf at {row.rpm:.0f} rpm; the speed is believed"
        return np.full_like(k, w), (Fault(where, "thrust_gf", row.thrust_gf, rule, kind="warning"),)
    if row.thrust_gf is not None:
        wanted = row.thrust_gf * GRAM_FORCE_N
        if not thrust[1][0] < wanted < thrust[1][-1]:
            rule = f"must be a static thrust that {propeller.name} can make"
            raise InputFaults([Fault(where, "thrust_gf", row.thrust_gf, rule)])
        return np.full_like(k, np.interp(wanted, thrust[1], thrust[0])), ()
    return np.asarray(np.interp(k * max(row.amps - i0_usual, 0.2 * row.amps), torque[1], torque[0])), ()


def _nearest_to_usual(row: ListingRow, found: _Candidates, usual: float, i0_usual: float, where: str) -> int:
    possible = (found.resistance_ohm > 0) & (found.no_load_a > 0) & (found.k <= KV_TO_K / _SLOWEST_KV)
    possible &= (found.resistance_ohm <= _MOST_OHM) & (found.no_load_a <= _MOST_NO_LOAD_A)
    if not possible.any():
        raise InputFaults([_contradiction(row, found, where)])
    r_usual = motor_resistance_ohm(row.mass_g, usual)
    i0_spread = _I0_SPREAD if row.no_load_current_a is None else _STATED_SPREAD
    with np.errstate(invalid="ignore", divide="ignore"):
        misfit = (
            (np.log(found.k / (KV_TO_K / usual)) / _KV_SPREAD) ** 2
            + (np.log(found.resistance_ohm / r_usual) / _R_SPREAD) ** 2
            + (np.log(found.no_load_a / i0_usual) / i0_spread) ** 2
        )
    return int(np.argmin(np.where(possible, misfit, np.inf)))


def _contradiction(row: ListingRow, found: _Candidates, where: str) -> Fault:
    """Which number of the row no motor of this kV can agree with."""
    middle = found.k.size // 2
    rpm, shaft = float(found.w[middle]) / RPM_RAD_S, float((found.torque_nm * found.w)[middle])
    electrical = row.volts * row.amps
    low, high = (float(KV_TO_K / found.k[at]) for at in (-1, 0))
    turning = f"the propeller turns at {rpm:.0f} rpm and takes {shaft:.1f} W"
    if shaft >= electrical:
        rule = f"{turning}, more than the {electrical:.1f} W that go in: check amps, thrust and propeller"
    elif not (found.no_load_a > 0).any():
        rule = f"{turning}, more torque than {row.amps:g} A make at {low:.0f} to {high:.0f} rpm/V: check amps and kV"
    elif not (found.resistance_ohm > 0).any():
        rule = f"{turning}, faster than {row.volts:g} V at {low:.0f} to {high:.0f} rpm/V allow: check volts and kV"
    else:
        rule = f"{turning}; no kV from {low:.0f} to {high:.0f} rpm/V gives both that speed and that torque"
    return Fault(where, "amps", row.amps, rule)
