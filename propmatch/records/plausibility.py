"""Numbers that are allowed but hard to believe: warnings beside the faults, never a reason to set a part aside.

The bands are wide: values from memory and common practice, no published source, unless a line says otherwise.
"""

import math
from collections.abc import Iterator
from functools import singledispatch
from typing import Any

from propmatch.faults import Fault
from propmatch.models import propeller as blades
from propmatch.models.pack import chemistry_named
from propmatch.records.estimates import KV_LABEL_FACTOR, completed, motor_no_load_current_a, motor_resistance_ohm
from propmatch.records.motorfit import AIR_DENSITY_KG_M3
from propmatch.records.parts import Controller, Motor, Pack, Propeller, propeller_mass_g
from propmatch.units import GRAM_FORCE_N, INCH_M, MAH_AH, MILLIOHM_OHM

__all__ = ["warnings_of"]

MOTOR_RESISTANCE_BAND = 4.0
NO_LOAD_BAND = 6.0
CELL_RESISTANCE_BAND = 5.0
LABEL_SAG_V = 0.7
PACK_G_PER_WH = (3.0, 20.0)
CONTROLLER_G_PER_A = (0.12, 4.0)
PITCH_RATIO = (0.25, 1.6)
PROPELLER_MASS_BAND = 5.0
READING_BAND = 2.2


def warnings_of(part: Any) -> list[Fault]:
    """What is hard to believe about a part, as faults of the kind ``warning``; empty when nothing is.

    Raises
    ------
    TypeError
        For anything but a motor, controller, pack or propeller.
    """
    return [
        Fault(where=part.id or part.name, key=key, value=value, rule=rule, hint=hint, kind="warning")
        for key, value, rule, hint in _doubts(part)
    ]


Doubt = tuple[str, float, str, str]


@singledispatch
def _doubts(part: Any) -> Iterator[Doubt]:
    raise TypeError(f"no plausibility rules for a {type(part).__name__}")


@_doubts.register
def _motor(part: Motor) -> Iterator[Doubt]:
    label = part.kv_kind == "label"
    kv = part.kv_rpm_per_v * (KV_LABEL_FACTOR if label else 1.0)
    if part.resistance_ohm is not None:
        usual = motor_resistance_ohm(part.mass_g, kv)
        ratio = part.resistance_ohm / usual
        if not 1 / MOTOR_RESISTANCE_BAND <= ratio <= MOTOR_RESISTANCE_BAND:
            hint = ""
            if 1 / MOTOR_RESISTANCE_BAND <= ratio * MILLIOHM_OHM <= MOTOR_RESISTANCE_BAND:
                hint = f"milliohms? then it is {part.resistance_ohm * MILLIOHM_OHM:g} ohm"
            yield (
                "resistance_ohm",
                part.resistance_ohm,
                f"motors of {part.mass_g:g} g and {kv:.0f} rpm/V usually have about {usual:.3g} ohm",
                hint,
            )
    if part.no_load_current_a is not None:
        usual = motor_no_load_current_a(part.mass_g, kv)
        if not 1 / NO_LOAD_BAND <= part.no_load_current_a / usual <= NO_LOAD_BAND:
            yield (
                "no_load_current_a",
                part.no_load_current_a,
                f"motors of {part.mass_g:g} g and {kv:.0f} rpm/V usually draw about {usual:.2g} A without propeller",
                "",
            )
    if part.source.kind == "data sheet" and not label:
        yield (
            "kv_rpm_per_v",
            part.kv_rpm_per_v,
            f"a printed kV is usually higher than the measured one, {KV_LABEL_FACTOR:g} of it",
            "state kv_kind = label unless it was measured under load",
        )


@_doubts.register
def _controller(part: Controller) -> Iterator[Doubt]:
    low, high = CONTROLLER_G_PER_A
    if not low <= part.mass_g / part.max_current_a <= high:
        yield (
            "mass_g",
            part.mass_g,
            f"controllers for {part.max_current_a:g} A usually weigh "
            f"{low * part.max_current_a:.2g} to {high * part.max_current_a:.3g} g",
            "",
        )


@_doubts.register
def _pack(part: Pack) -> Iterator[Doubt]:
    cell_ah, chemistry = part.capacity_mah * MAH_AH / part.cells_parallel, chemistry_named(part.chemistry)
    if part.cell_resistance_mohm is not None:
        usual = chemistry.resistance.cell_mohm(cell_ah, part.c_rating)
        low, high = usual / CELL_RESISTANCE_BAND, usual * CELL_RESISTANCE_BAND
        if not low <= part.cell_resistance_mohm <= high:
            hint = ""
            if low <= part.cell_resistance_mohm / MILLIOHM_OHM <= high:
                hint = f"ohms? then it is {part.cell_resistance_mohm / MILLIOHM_OHM:g} mohm"
            yield (
                "cell_resistance_mohm",
                part.cell_resistance_mohm,
                f"{chemistry.name} cells of {cell_ah * 1e3:.0f} mAh and {part.c_rating:g}C usually have {low:.2g} to "
                f"{high:.3g} mohm",
                hint,
            )
        sag_v = part.c_rating * cell_ah * part.cell_resistance_mohm * MILLIOHM_OHM
        if sag_v > LABEL_SAG_V:
            supported = LABEL_SAG_V / (cell_ah * part.cell_resistance_mohm * MILLIOHM_OHM)
            yield (
                "c_rating",
                part.c_rating,
                f"the cell resistance can support about {supported:.0f} C: at the label each cell would sag by "
                f"{sag_v:.1f} V",
                "",
            )
    energy_wh = part.cells_series * chemistry.nominal_v * part.capacity_mah * MAH_AH
    low, high = (limit * energy_wh for limit in PACK_G_PER_WH)
    if not low <= part.mass_g <= high:
        yield (
            "mass_g",
            part.mass_g,
            f"packs of {part.cells_series}S {part.capacity_mah:g} mAh usually weigh {low:.2g} to {high:.3g} g",
            "",
        )


@_doubts.register
def _propeller(part: Propeller) -> Iterator[Doubt]:
    ratio = part.pitch_in / part.diameter_in
    if not PITCH_RATIO[0] <= ratio <= PITCH_RATIO[1]:
        yield (
            "pitch_in",
            part.pitch_in,
            f"pitch is usually {PITCH_RATIO[0]:g} to {PITCH_RATIO[1]:g} times the diameter",
            "diameter and pitch exchanged?" if ratio > 1 else "",
        )
    if part.mass_g is not None:
        usual = propeller_mass_g(part.diameter_in, part.blades)
        if not 1 / PROPELLER_MASS_BAND <= part.mass_g / usual <= PROPELLER_MASS_BAND:
            yield (
                "mass_g",
                part.mass_g,
                f"propellers of {part.diameter_in:g} in and {part.blades} blades usually weigh about {usual:.2g} g",
                "",
            )
    if part.read_rpm is not None:
        yield from _reading(part, part.read_rpm / 60.0)


def _reading(part: Propeller, rev_s: float) -> Iterator[Doubt]:
    """Thrust and power at rest against CT0 and CP0 by pitch over diameter and blades.

    ln CT0 = -2.2 + 0.55 u + 0.53 b, ln CP0 = -2.9 + 1.23 u + 0.46 u^2 + 0.66 b, u = ln((p/D)/0.65), b = ln(B/2): a
    regression on the UIUC Propeller Database (J. B. Brandt, R. W. Deters, G. K. Ananda, O. D. Dantsker, M. S. Selig).
    """
    full = completed(part)[0]
    u = math.log(part.pitch_in / part.diameter_in / 0.65)
    b, size = math.log(part.blades / 2.0), part.diameter_in * INCH_M
    thrust = blades.thrust_n(math.exp(-2.2 + 0.55 * u + 0.53 * b), AIR_DENSITY_KG_M3, rev_s, size) / GRAM_FORCE_N
    torque = blades.torque_nm(math.exp(-2.9 + 1.23 * u + 0.46 * u**2 + 0.66 * b), AIR_DENSITY_KG_M3, rev_s, size)
    power = torque * 2.0 * math.pi * rev_s
    key = "read_shaft_w" if part.read_shaft_w is not None else "read_input_w"
    for name, value, usual, unit in (
        ("read_thrust_gf", part.read_thrust_gf, thrust, "gf"),
        (key, full.read_shaft_w, power, "W at the shaft"),
    ):
        if value is not None and not 1 / READING_BAND <= value / usual <= READING_BAND:
            label = f"{part.diameter_in:.3g}x{part.pitch_in:.3g} with {part.blades} blades"
            rule = f"{label} usually has about {usual:.3g} {unit}"
            hint = "check size and units, and the blades that the tachometer is set to"
            yield name, getattr(part, name), f"{rule} at {part.read_rpm:g} rpm, standing", hint
