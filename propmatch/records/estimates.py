"""Stated estimates for numbers that a part does not bring: each is an ``Assumption`` shown with the result.

Motor constant. A motor of mass m loses ``(torque/Km)^2`` watts in its winding, Km = K/sqrt(R). Among motors
of one shape Km grows with length^2.5, so with mass^(5/6). The factor places a 20 g outrunner of 2400 rpm/V at
0.1 ohm; measured bench motors of that class fit 0.08 to 0.3 ohm with controller and leads (Cao and Strawson,
motor_propeller_testing, 2018). The bundled invented motors follow the same law.
"""

import math
from functools import singledispatch
from typing import Any

import attrs

from propmatch.records.fields import declared, replace
from propmatch.records.parts import (
    CD0_WORDS,
    Airframe,
    Controller,
    Motor,
    Pack,
    PowerTrain,
    Propeller,
    propeller_mass_g,
)
from propmatch.units import KV_TO_K, MAH_AH, MILLIOHM_OHM

__all__ = [
    "KV_LABEL_FACTOR",
    "KV_LABEL_RANGE",
    "Assumption",
    "burst_c",
    "completed",
    "current_limit_a",
    "motor_constant_nm_per_sqrt_w",
    "motor_no_load_current_a",
    "motor_resistance_ohm",
    "usable_c",
]

MOTOR_CONSTANT_FACTOR = 1.04e-3
MOTOR_CONSTANT_EXPONENT = 5.0 / 6.0
NO_LOAD_TORQUE_NM_PER_G = 1.4e-4
KV_LABEL_FACTOR = 0.93
KV_LABEL_RANGE = (0.85, 0.97)
INPUT_W_PER_G = 3.5
NOMINAL_CELL_V = 3.7
DEFAULT_CELLS = 2
BURST_SECONDS = 10.0
CELL_RESISTANCE_MOHM_AH = 12.0
SUPPORTED_SAG_V = 0.25
RPM_IN = {"thin": 140_000.0, "thick": 150_000.0, "broad": 60_000.0, "folding": 110_000.0, "wide": 150_000.0}
"""Highest rpm times diameter in inches by family: values from memory, conservative, unverified."""

PRACTICE = "common practice, no published source"
MEMORY = "value from memory"


@attrs.frozen
class Assumption:
    """A number that nobody stated and that a result rests on.

    Attributes
    ----------
    subject : str
        Name of the part, or what else the number belongs to.
    field : str
        Attribute name.
    value : float
        The number used.
    unit : str
        Its unit; empty for a plain number.
    text : str
        One sentence: what was assumed and on what basis.
    low, high : float or None
        Range in which the true number is expected, where one is known.
    """

    subject: str
    field: str
    value: float
    unit: str
    text: str
    low: float | None = None
    high: float | None = None

    def __str__(self) -> str:
        return f"{self.subject}: {self.text}"


# ---------------------------------------------------------------- the laws


def motor_constant_nm_per_sqrt_w(mass_g: float) -> float:
    """Km = 1.04e-3 mass_g^(5/6) [N m/sqrt(W)] of an outrunner; see the module text for the basis."""
    return MOTOR_CONSTANT_FACTOR * math.pow(mass_g, MOTOR_CONSTANT_EXPONENT)


def motor_resistance_ohm(mass_g: float, kv_rpm_per_v: float) -> float:
    """R = (K/Km)^2 [ohm] with K = 60/(2 pi kV) and Km from the mass."""
    return (KV_TO_K / kv_rpm_per_v / motor_constant_nm_per_sqrt_w(mass_g)) ** 2


def motor_no_load_current_a(mass_g: float, kv_rpm_per_v: float) -> float:
    """I0 = 1.4e-4 N m/g mass_g/K [A]: friction and iron torque in proportion to mass; common practice."""
    return NO_LOAD_TORQUE_NM_PER_G * mass_g * kv_rpm_per_v / KV_TO_K


def usable_c(pack: Pack) -> float:
    """Continuous C that the pack can be trusted with [1/h].

    Half the label, or the C at which one cell sags by 0.25 V across its own resistance, whichever is lower.
    Where the resistance is unknown, 12 mohm A h stands in. Common practice, no published source.
    """
    cell_ah = pack.capacity_mah * MAH_AH / pack.cells_parallel
    resistance_mohm = pack.cell_resistance_mohm
    if resistance_mohm is None:
        resistance_mohm = CELL_RESISTANCE_MOHM_AH / cell_ah
    half = pack.c_rating / 2
    sag_v_per_c = resistance_mohm * MILLIOHM_OHM * cell_ah
    return half if half * sag_v_per_c <= SUPPORTED_SAG_V else SUPPORTED_SAG_V / sag_v_per_c


def burst_c(pack: Pack) -> float:
    """Burst C [1/h]: the label's burst rating, or the label's continuous rating where it has none."""
    return pack.c_rating if pack.burst_c_rating is None else pack.burst_c_rating


def current_limit_a(part: Motor | Controller, seconds: float | None = None) -> float | None:
    """Motor-current limit [A] for a load of this length; None when the part brings none.

    The burst limit holds for loads up to ``burst_seconds`` (10 s when the part names a burst limit without a
    time); longer loads, and loads of unknown length (None), get the continuous limit.
    """
    longest = BURST_SECONDS if part.burst_seconds is None else part.burst_seconds
    if part.burst_current_a is not None and seconds is not None and seconds <= longest:
        return part.burst_current_a
    return part.max_current_a


# ---------------------------------------------------------------- filling in


@singledispatch
def completed(part: Any) -> tuple[Any, tuple[Assumption, ...]]:
    """Fill every unknown number of a part with its stated estimate.

    Parameters
    ----------
    part : Motor, Controller, Pack, Propeller, Airframe or PowerTrain

    Returns
    -------
    tuple
        The part without gaps (the same object when there were none) and the assumptions made. A motor's label
        kV becomes an effective one. Burst, cell-count and geared limits stay unknown: the solver needs none.

    Raises
    ------
    TypeError
        For anything else.
    """
    raise TypeError(f"no estimates for a {type(part).__name__}")


class _Notes:
    """Collects the assumptions about one part; an estimate never leaves the field's declared range."""

    def __init__(self, part: Any) -> None:
        self.part = part
        self.made: list[Assumption] = []
        self.rules = {rule.name: rule for rule in declared(type(part))}

    def within(self, field: str, value: float) -> float:
        rule = self.rules[field]
        if rule.ge is not None:
            value = max(value, rule.ge)
        return value if rule.le is None else min(value, rule.le)

    def note(self, field: str, value: float, text: str, low: float | None = None, high: float | None = None) -> None:
        self.made.append(Assumption(self.part.name, field, value, self.rules[field].unit, text, low, high))

    def filled(self, **changes: Any) -> tuple[Any, tuple[Assumption, ...]]:
        values: dict[str, Any] = {each.field: each.value for each in self.made} | changes
        return (replace(self.part, **values) if values else self.part), tuple(self.made)


@completed.register
def _motor(part: Motor) -> tuple[Motor, tuple[Assumption, ...]]:
    notes = _Notes(part)
    mass = part.mass_g
    kv = part.kv_rpm_per_v
    if part.kv_kind == "label":
        kv = notes.within("kv_rpm_per_v", kv * KV_LABEL_FACTOR)
        text = (
            f"kV {kv:.0f} rpm/V, the label's {part.kv_rpm_per_v:.0f} times {KV_LABEL_FACTOR}, because labels "
            "run 3 to 15 % high (measured small outrunners)"
        )
        low, high = (part.kv_rpm_per_v * share for share in KV_LABEL_RANGE)
        notes.note("kv_rpm_per_v", kv, text, low, high)
    r = part.resistance_ohm
    if r is None:
        r = notes.within("resistance_ohm", motor_resistance_ohm(mass, kv))
        if part.no_load_current_a and part.no_load_voltage_v:
            r = min(r, 0.5 * part.no_load_voltage_v / part.no_load_current_a)
        text = (
            f"winding resistance {r * 1e3:.0f} mohm from {mass:g} g and kV by the law of the bundled motors; "
            "a single motor lies within about half to double"
        )
        notes.note("resistance_ohm", r, text, r / 2, r * 2)
    if part.no_load_current_a is None:
        i0 = notes.within("no_load_current_a", motor_no_load_current_a(mass, kv))
        if part.no_load_voltage_v and r:
            i0 = min(i0, 0.5 * part.no_load_voltage_v / r)
        text = f"no-load current {i0:.2f} A from {mass:g} g and kV, friction in proportion to mass; {PRACTICE}"
        notes.note("no_load_current_a", i0, text, i0 / 2, i0 * 2)
    if part.max_current_a is None:
        _motor_rating(part, notes)
    motor: tuple[Motor, tuple[Assumption, ...]]
    motor = notes.filled(kv_kind="effective") if part.kv_kind == "label" else notes.filled()
    return motor


def _motor_rating(part: Motor, notes: _Notes) -> None:
    """Continuous current, and power when that is unknown too."""
    power, basis = part.max_power_w, f"its limit of {part.max_power_w} W"
    if power is None:
        power = notes.within("max_power_w", INPUT_W_PER_G * part.mass_g)
        basis = f"{INPUT_W_PER_G:g} W input per gram of motor ({MEMORY})"
        notes.note("max_power_w", power, f"continuous input power {power:.0f} W from {basis}")
    cells = part.cells_max or max(DEFAULT_CELLS, part.cells_min or 0)
    which = "its highest cell count" if part.cells_max else "its highest cell count not being stated"
    current = notes.within("max_current_a", power / (NOMINAL_CELL_V * cells))
    if part.burst_current_a is not None and part.burst_current_a < current:
        current, basis = part.burst_current_a, "its burst limit, which is below the estimate"
    text = f"continuous current {current:.1f} A from {basis} at {cells}S of {NOMINAL_CELL_V} V a cell, {which}"
    notes.note("max_current_a", current, text)


@completed.register
def _controller(part: Controller) -> tuple[Controller, tuple[Assumption, ...]]:
    notes = _Notes(part)
    if part.resistance_mohm is None:
        r, size = (8.0, "below") if part.max_current_a < 20 else (3.0, "from")
        text = f"controller resistance {r:g} mohm, usual {size} 20 A; {PRACTICE}"
        notes.note("resistance_mohm", r, text, r / 2, r * 2)
    controller: tuple[Controller, tuple[Assumption, ...]] = notes.filled()
    return controller


@completed.register
def _pack(part: Pack) -> tuple[Pack, tuple[Assumption, ...]]:
    notes = _Notes(part)
    cell_ah = part.capacity_mah * MAH_AH / part.cells_parallel
    if part.cell_resistance_mohm is None:
        r = notes.within("cell_resistance_mohm", CELL_RESISTANCE_MOHM_AH / cell_ah)
        text = f"cell resistance {r:.1f} mohm, 12 mohm A h over {cell_ah:.3g} A h a cell; {PRACTICE}"
        notes.note("cell_resistance_mohm", r, text, r / 2, r * 2)
    if part.lead_resistance_mohm is None:
        leads, size = (8.0, "below") if part.capacity_mah < 1000 else (4.0, "from")
        text = f"leads and plugs {leads:g} mohm, usual {size} 1 A h; {PRACTICE}"
        notes.note("lead_resistance_mohm", leads, text, leads / 2, leads * 2)
    pack: tuple[Pack, tuple[Assumption, ...]] = notes.filled()
    return pack


@completed.register
def _propeller(part: Propeller) -> tuple[Propeller, tuple[Assumption, ...]]:
    notes = _Notes(part)
    if part.mass_g is None:
        mass = notes.within("mass_g", propeller_mass_g(part.diameter_in, part.blades))
        text = f"propeller mass {mass:.1f} g, 0.025 g per blade times inches of diameter to the 2.5; {PRACTICE}"
        notes.note("mass_g", mass, text, mass / 2, mass * 2)
    if part.max_rpm is None:
        product = RPM_IN[part.family] if part.family else min(RPM_IN.values())
        which = f"{part.family} blades" if part.family else "the slowest family, none being stated"
        rpm = notes.within("max_rpm", product / part.diameter_in)
        text = (
            f"speed limit {rpm:.0f} rpm, {product:.0f} over inches of diameter for {which}; {MEMORY}, "
            "unverified: the maker's limit comes first"
        )
        notes.note("max_rpm", rpm, text)
    propeller: tuple[Propeller, tuple[Assumption, ...]] = notes.filled()
    return propeller


@completed.register
def _airframe(part: Airframe) -> tuple[Airframe, tuple[Assumption, ...]]:
    if not isinstance(part.cd0, str):
        return part, ()
    cd0 = CD0_WORDS[part.cd0]
    text = f"zero-lift drag coefficient {cd0:g} for '{part.cd0}'; {PRACTICE}"
    made = Assumption("airframe", "cd0", cd0, "", text, cd0 * 0.7, cd0 * 1.4)
    return replace(part, cd0=cd0), (made,)


@completed.register
def _train(part: PowerTrain) -> tuple[PowerTrain, tuple[Assumption, ...]]:
    pieces = {name: completed(getattr(part, name)) for name in ("motor", "propeller", "pack", "controller")}
    made = tuple(each for _, assumed in pieces.values() for each in assumed)
    if not made:
        return part, ()
    return replace(part, **{name: piece for name, (piece, _) in pieces.items()}), made
