"""Stated estimates for numbers that a part does not bring: each is an ``Assumption`` shown with the result.

The motor law. A motor of mass m [g] whose label says kV turns as if

    K = 60/(2 pi f kV)                                  speed constant, f = 0.95
    R(w) = c (K/Km)^2 + beta (30/m)^q K^2 w             resistance with controller and leads, Km(m) below
    K_t = K/g                                           torque constant
    I0(w) = d 1.4e-4 m (w/1571)^0.3/K_t                 no-load current

with c 1.10, beta 2.6, q 1.25, g 1.05, d 0.8 and w in rad/s. c (K/Km)^2 is the winding; the part that rises with speed
is the drop of commutation and what controller and leads add to it; ``benchmarks/laws.py`` judges it. Between motors f
scatters by 5 %, c by 40 %, beta by 35 %, g by 3 %, d by 45 % (sd of ln), and the constants are known to 1.4, 16, 15, 4
and 15 % (q to 0.12); ranges beside the assumptions hold 80 % of motors. On stands of heavily loaded motors they held
less than half: there they are too narrow.

Km = K/sqrt(R). Among motors of one shape it grows with length^2.5, so with mass^(5/6); makers' windings from 5 to 200 g
lie at 1.03 of the resistance that it gives, 80 % within a factor 1.44.

Source: motor law fitted jointly to the five-inch bench (P. Cao, J. Strawson, motor_propeller_testing, public
repository, 2018) and 24 other motors of open thrust stands and makers' tables, on up to 12.6 V.
"""

import math
from collections.abc import Sequence
from functools import singledispatch
from typing import Any

import attrs
import numpy as np

from propmatch.models.arrays import Number
from propmatch.models.pack import chemistry_named
from propmatch.records.fields import declared, replace
from propmatch.records.packuse import Z80
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
from propmatch.records.radio import SERVOS, SUPPLY_G, SUPPLY_G_PER_A, usual_radio_a
from propmatch.units import KV_TO_K, MAH_AH, MILLIOHM_OHM, RPM_RAD_S

__all__ = [
    "KV_LABEL_FACTOR",
    "KV_LABEL_RANGE",
    "LAW_VOLTS",
    "Z80",
    "Assumption",
    "Completed",
    "beyond_law",
    "burst_c",
    "completed",
    "drive_assumptions",
    "estimated_current_a",
    "motor_constant_nm_per_sqrt_w",
    "motor_no_load_current_a",
    "motor_resistance_ohm",
    "motor_resistance_slope_ohm_s",
    "nominal_v",
    "supply_assumed",
    "usable_c",
    "usual_part_throttle_loss",
]

MOTOR_CONSTANT_FACTOR = 1.04e-3
MOTOR_CONSTANT_EXPONENT = 5.0 / 6.0
RESISTANCE_FACTOR, SLOPE_FACTOR, SLOPE_MASS_G, SLOPE_EXPONENT = 1.10, 2.6, 30.0, 1.25
TORQUE_CONSTANT_RATIO = 1 / 1.05
NO_LOAD_TORQUE_NM_PER_G, NO_LOAD_RAD_S, NO_LOAD_EXPONENT = 0.8 * 1.4e-4, 1571.0, 0.3
LAW_VOLTS = 12.6
"""Up to here the motor law was fitted."""


def _factor80(*sd_ln: float) -> float:
    """80 % of a lognormal number lies within this factor of its middle, its scatters being independent."""
    return math.exp(Z80 * math.hypot(*sd_ln))


KV_LABEL_FACTOR = 0.95
KV_LABEL_RANGE = (KV_LABEL_FACTOR / _factor80(0.05, 0.014), KV_LABEL_FACTOR * _factor80(0.05, 0.014))
RESISTANCE_SPREAD = _factor80(0.40, 0.16)
NO_LOAD_SPREAD = _factor80(0.45, 0.15)
TORQUE_SPREAD = _factor80(0.03, 0.04)
LIGHT_MOTOR_G = 10.0
PART_THROTTLE_LOSS = {"usual": (0.25, 0.0, 0.45), "light": (0.45, 0.45, 0.499)}
"""part_throttle_loss with its range; the model ends at 0.5."""
INPUT_W_PER_G = 3.5
NOMINAL_CELL_V = 3.7
BURST_SECONDS = 10.0
_NO_LOAD_MOST_V = 60.0
_STANDS = "on thrust stands"
SUPPORTED_SAG_V = 0.25
RPM_IN = {"thin": 140_000.0, "thick": 150_000.0, "broad": 60_000.0, "folding": 110_000.0, "wide": 150_000.0,
          "racing": 170_000.0}  # fmt: skip
"""Highest rpm times diameter in inches by family: values from memory, conservative, unverified."""

EFFICIENCY_AT_REST = (0.75, 0.64, 0.86)
"""Shaft power over electrical power of motor and controller on a bench, with its range: common practice, no published
source."""

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


_RADIO_A, *_RADIO_SPREAD = usual_radio_a()
RADIO = Assumption(
    "radio", "radio_current_a", _RADIO_A, "A", f"receiver and {SERVOS} micro servos draw {_RADIO_A:g} A; {PRACTICE}",
    *_RADIO_SPREAD,
)  # fmt: skip
"""What a train draws for receiver and servos where nobody says."""


# ---------------------------------------------------------------- the laws


def motor_constant_nm_per_sqrt_w(mass_g: float) -> float:
    """Km = 1.04e-3 mass_g^(5/6) [N m/sqrt(W)] of an outrunner; see the module text for the basis."""
    return MOTOR_CONSTANT_FACTOR * math.pow(mass_g, MOTOR_CONSTANT_EXPONENT)


def motor_resistance_ohm(mass_g: float, kv_rpm_per_v: float) -> float:
    """R = 1.10 (K/Km)^2 [ohm] near standstill with K = 60/(2 pi kV), kV effective, and Km from the mass."""
    return RESISTANCE_FACTOR * (KV_TO_K / kv_rpm_per_v / motor_constant_nm_per_sqrt_w(mass_g)) ** 2


def motor_resistance_slope_ohm_s(mass_g: float, kv_rpm_per_v: float) -> float:
    """b = 2.6 (30/mass_g)^1.25 K^2 [ohm s] with K = 60/(2 pi kV), kV effective."""
    return SLOPE_FACTOR * math.pow(SLOPE_MASS_G / mass_g, SLOPE_EXPONENT) * (KV_TO_K / kv_rpm_per_v) ** 2


def motor_no_load_current_a(mass_g: float, kv_rpm_per_v: float, speed_rad_s: float = NO_LOAD_RAD_S) -> float:
    """I0 = 1.12e-4 mass_g (w/1571)^0.3/K_t [A], kV effective: friction and iron torque in proportion to mass."""
    k_torque = KV_TO_K / kv_rpm_per_v * TORQUE_CONSTANT_RATIO
    return NO_LOAD_TORQUE_NM_PER_G * mass_g * math.pow(speed_rad_s / NO_LOAD_RAD_S, NO_LOAD_EXPONENT) / k_torque


def usual_part_throttle_loss(motor_mass_g: float) -> "Assumption":
    """k of a controller that states none: 0.25, and 0.45 or more with motors below 10 g.

    Eight units on thrust stands, -0.05 (synchronous switching) to 0.45, and 0.8 to 1 of one 8 g motor, more than the
    model takes. Part of it is heat of the motor, from the ripple of its current.
    """
    light = motor_mass_g < LIGHT_MOTOR_G
    value, low, high = PART_THROTTLE_LOSS["light" if light else "usual"]
    text = f"part-throttle loss {value:g}, part of it heat of the motor; measured -0.05 to 0.45"
    if light:
        text = (
            f"part-throttle loss {value:g}, the least that was measured with motors below {LIGHT_MOTOR_G:g} g "
            "(0.45 to 1): part throttle draws more than this says"
        )
    return Assumption("controller", "part_throttle_loss", value, "", text, low, high)


def usable_c(pack: Pack) -> float:
    """Continuous C that the pack can be trusted with [1/h].

    Half the label, or the C at which one cell sags by 0.25 V across its own resistance, whichever is lower; an unknown
    resistance is the estimate of the chemistry. Common practice, no published source.
    """
    cell_ah = pack.capacity_mah * MAH_AH / pack.cells_parallel
    resistance_mohm = pack.cell_resistance_mohm
    if resistance_mohm is None:
        resistance_mohm = chemistry_named(pack.chemistry).resistance.cell_mohm(cell_ah, pack.c_rating)
    half = pack.c_rating / 2
    sag_v_per_c = resistance_mohm * MILLIOHM_OHM * cell_ah
    return half if half * sag_v_per_c <= SUPPORTED_SAG_V else SUPPORTED_SAG_V / sag_v_per_c


def burst_c(pack: Pack) -> float:
    """Burst C [1/h]: the label's burst rating, or the label's continuous rating where it has none."""
    return pack.c_rating if pack.burst_c_rating is None else pack.burst_c_rating


def nominal_v(pack: Pack) -> float:
    """Nominal voltage of a pack [V]: 3.7 V a cell of LiPo."""
    return pack.cells_series * chemistry_named(pack.chemistry).nominal_v


def estimated_current_a(power_w: Number, pack_v: Number, burst_a: Number = math.inf) -> Number:
    """Continuous current of a motor [A]: its input power over the nominal voltage of the pack it flies on.

    A burst limit (NaN or infinity for none) that is lower takes its place.
    """
    return np.fmin(power_w / pack_v, burst_a)


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

    def of(self, field: str) -> Any:
        """The number noted for a field, else the part's own."""
        return next((each.value for each in self.made if each.field == field), getattr(self.part, field))

    def filled(self, **changes: Any) -> tuple[Any, tuple[Assumption, ...]]:
        values: dict[str, Any] = {each.field: each.value for each in self.made} | changes
        return (replace(self.part, **values) if values else self.part), tuple(self.made)


@completed.register
def _motor(part: Motor) -> tuple[Motor, tuple[Assumption, ...]]:
    """A motor of measured kV and resistance is used as given; any other follows the motor law where it is silent."""
    notes = _Notes(part)
    changes: dict[str, Any] = {}
    if part.kv_kind == "label":
        changes["kv_kind"] = "effective"
        _motor_kv(part, notes)
    kv = notes.of("kv_rpm_per_v")
    if part.kv_kind == "label" or part.resistance_ohm is None:
        _motor_under_load(part, kv, notes)
    if part.resistance_ohm is None:
        changes["controller_included"] = True
    if part.no_load_current_a is None or (part.kv_kind == "label" and not part.no_load_exponent):
        changes |= _motor_no_load(part, kv, notes)
    if part.max_current_a is None and part.max_power_w is None:
        power = notes.within("max_power_w", INPUT_W_PER_G * part.mass_g)
        text = f"continuous input power {power:.0f} W from {INPUT_W_PER_G:g} W input per gram of motor ({MEMORY})"
        notes.note("max_power_w", power, text)
    motor: tuple[Motor, tuple[Assumption, ...]] = notes.filled(**changes)
    return motor


def _motor_kv(part: Motor, notes: _Notes) -> None:
    label = part.kv_rpm_per_v
    kv = notes.within("kv_rpm_per_v", label * KV_LABEL_FACTOR)
    low, high = (label * share for share in KV_LABEL_RANGE)
    text = (
        f"kV {kv:.0f} rpm/V, the label's {label:.0f} times {KV_LABEL_FACTOR}; 80 % of labels: {low:.0f} to {high:.0f}"
    )
    notes.note("kv_rpm_per_v", kv, text, low, high)


def _motor_under_load(part: Motor, kv: float, notes: _Notes) -> None:
    """What no label says: resistance where it is not stated, its rise with speed, and the torque constant."""
    mass = part.mass_g
    if part.resistance_ohm is None:
        r = notes.within("resistance_ohm", motor_resistance_ohm(mass, kv))
        if part.no_load_current_a and part.no_load_voltage_v:
            r = min(r, 0.5 * part.no_load_voltage_v / part.no_load_current_a)
        low, high = r / RESISTANCE_SPREAD, notes.within("resistance_ohm", r * RESISTANCE_SPREAD)
        text = (
            f"resistance {r * 1e3:.0f} mohm near standstill from {mass:g} g and kV, ESC and leads in it, whose "
            f"own is then not counted; 80 % of motors: {low * 1e3:.0f} to {high * 1e3:.0f} mohm"
        )
        notes.note("resistance_ohm", r, text, low, high)
    if part.resistance_slope_ohm_s is None:
        b = notes.within("resistance_slope_ohm_s", motor_resistance_slope_ohm_s(mass, kv))
        spread = _factor80(0.35, 0.15, 0.12 * math.log(SLOPE_MASS_G / mass))
        per = 1e3 * 1e4 * RPM_RAD_S
        text = (
            f"resistance higher by {b * per:.0f} mohm for every 10,000 rpm (drop of commutation), from {mass:g} g and "
            f"kV; 80 % of motors: {b / spread * per:.0f} to {b * spread * per:.0f} mohm"
        )
        notes.note("resistance_slope_ohm_s", b, text, b / spread, notes.within("resistance_slope_ohm_s", b * spread))
    if part.torque_constant_ratio is None:
        ratio = TORQUE_CONSTANT_RATIO
        text = f"torque for each ampere {ratio:.3f} of what kV says; small outrunners {_STANDS}"
        notes.note("torque_constant_ratio", ratio, text, ratio / TORQUE_SPREAD, ratio * TORQUE_SPREAD)


def _motor_no_load(part: Motor, kv: float, notes: _Notes) -> dict[str, float]:
    """No-load current where it is not stated, its rise with speed, and the voltage it goes with."""
    k, stated, volts = KV_TO_K / kv, part.no_load_current_a, part.no_load_voltage_v
    speed = min(NO_LOAD_RAD_S, _NO_LOAD_MOST_V / k) if volts is None else volts / k
    i0 = stated
    if i0 is None:
        i0 = notes.within("no_load_current_a", motor_no_load_current_a(part.mass_g, kv, speed))
    r, slope = notes.of("resistance_ohm"), notes.of("resistance_slope_ohm_s") or 0.0
    if volts is None:
        volts = notes.within("no_load_voltage_v", k * speed + (r + slope * speed) * i0)
    rising = f"rising with speed to the power {NO_LOAD_EXPONENT:g}"
    if stated is not None:
        if r * i0 >= 0.9 * volts:
            return {}
        at = "its voltage" if part.no_load_voltage_v is not None else f"{volts:.1f} V, no voltage being stated"
        text = f"no-load current {i0:g} A at {at}, {rising}; small outrunners {_STANDS}"
        notes.note("no_load_exponent", NO_LOAD_EXPONENT, text)
        return {"no_load_voltage_v": volts}
    if r:
        i0 = min(i0, 0.5 * volts / r)
    low, high = i0 / NO_LOAD_SPREAD, notes.within("no_load_current_a", i0 * NO_LOAD_SPREAD)
    text = (
        f"no-load current {i0:.2f} A at {speed / RPM_RAD_S:.0f} rpm from {part.mass_g:g} g and kV, {rising}; "
        f"80 % of motors: {low:.2f} to {high:.2f} A"
    )
    notes.note("no_load_current_a", i0, text, low, high)
    return {"no_load_voltage_v": volts, "no_load_exponent": NO_LOAD_EXPONENT}


@completed.register
def _controller(part: Controller) -> tuple[Controller, tuple[Assumption, ...]]:
    notes = _Notes(part)
    if part.resistance_mohm is None:
        r, size = (8.0, "below") if part.max_current_a < 20 else (3.0, "from")
        text = f"ESC resistance {r:g} mohm, usual {size} 20 A; {PRACTICE}"
        notes.note("resistance_mohm", r, text, r / 2, r * 2)
    controller: tuple[Controller, tuple[Assumption, ...]] = notes.filled()
    return controller


@completed.register
def _pack(part: Pack) -> tuple[Pack, tuple[Assumption, ...]]:
    notes = _Notes(part)
    cell_ah, chemistry = part.capacity_mah * MAH_AH / part.cells_parallel, chemistry_named(part.chemistry)
    if part.cell_resistance_mohm is None:
        law = chemistry.resistance
        r = notes.within("cell_resistance_mohm", law.cell_mohm(cell_ah, part.c_rating))
        text = (
            f"cell resistance {r:.1f} mohm from {cell_ah:.3g} A h a cell and the label's {part.c_rating:g}C, "
            f"{chemistry.name}: {law.basis}; a single pack lies within a factor {law.factor:g} either way"
        )
        notes.note("cell_resistance_mohm", r, text, r / law.factor, r * law.factor)
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
    if part.max_rpm is None and part.family is not None:
        product = RPM_IN[part.family]
        rpm = notes.within("max_rpm", product / part.diameter_in)
        text = (
            f"speed limit {rpm:.0f} rpm, {product:.0f} over inches of diameter for {part.family} blades; {MEMORY}, "
            "unverified: the maker's limit comes first"
        )
        notes.note("max_rpm", rpm, text)
    if part.read_shaft_w is None and part.read_input_w is not None:
        usual, low, high = (share * part.read_input_w for share in EFFICIENCY_AT_REST)
        text = (
            f"shaft power {usual:.3g} W, {100 * EFFICIENCY_AT_REST[0]:.0f} % of the {part.read_input_w:g} W read, as "
            f"nobody names motor and controller; {PRACTICE}; 'propmatch fit' knows better"
        )
        notes.note("read_shaft_w", usual, text, low, high)
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


class Completed:
    """Parts completed once each, however often they are asked for."""

    def __init__(self) -> None:
        self._done: dict[int, tuple[Any, Any]] = {}

    def __call__(self, part: Any) -> tuple[Any, tuple[Assumption, ...]]:
        """:func:`completed` of a part."""
        if id(part) not in self._done:
            self._done[id(part)] = part, completed(part)  # the part is held, so that its id stays its own
        found: tuple[Any, tuple[Assumption, ...]] = self._done[id(part)][1]
        return found


def drive_assumptions(motor: Motor, controller: Controller, complete: Completed) -> tuple[Assumption, ...]:
    """What is assumed of motor and controller beside each other: what is not known of one may rest on the other.

    A motor's resistance that has the controller in it leaves nothing to assume about the controller's own; the
    part-throttle loss of a controller depends on the motor.
    """
    full, made = complete(motor)
    more = complete(controller)[1]
    if full.controller_included:
        more = tuple(each for each in more if each.field != "resistance_mohm")
    if controller.part_throttle_loss is None:
        more = (*more, attrs.evolve(usual_part_throttle_loss(motor.mass_g), subject=controller.name))
    return made + more


def beyond_law(made: Sequence[Assumption], pack: Pack) -> tuple[Assumption, ...]:
    """What is to be said where a motor follows the motor law on a pack beyond its domain."""
    volts = pack.cells_series * chemistry_named(pack.chemistry).full_v
    if volts <= LAW_VOLTS + 0.05 or not any(each.field == "torque_constant_ratio" for each in made):
        return ()
    text = (
        f"motor law used at {volts:.1f} V; it was fitted up to {LAW_VOLTS:g} V, and on stands beyond it motors turned "
        "faster, drew more current and gave more thrust than it says"
    )
    return (Assumption("motor", "pack_voltage_v", volts, "V", text),)


@completed.register
def _train(part: PowerTrain) -> tuple[PowerTrain, tuple[Assumption, ...]]:
    complete = Completed()
    motor, controller = complete(part.motor)[0], complete(part.controller)[0]
    of_drive = drive_assumptions(part.motor, part.controller, complete)
    losses = {each.field: each.value for each in of_drive if each.field == "part_throttle_loss"}
    controller = replace(controller, **losses) if losses else controller
    if part.motor.max_current_a is None:
        motor, rating = _motor_current(motor, part.pack)
        of_drive += rating
    (propeller, of_propeller), (pack, of_pack) = completed(part.propeller), completed(part.pack)
    supply = supply_assumed(part)
    made = of_drive + of_propeller + of_pack + supply
    if not made:
        return part, ()
    mass = {each.field: each.value for each in supply}
    full: PowerTrain = replace(part, motor=motor, controller=controller, propeller=propeller, pack=pack, **mass)
    return full, made + beyond_law(of_drive, part.pack)


def supply_assumed(train: PowerTrain) -> tuple[Assumption, ...]:
    """The separate supply that a train gets because its controller has none; empty where its mass is stated."""
    if not train.separate_supply or train.receiver_supply_mass_g is not None:
        return ()
    mass = train.supply_g
    text = (
        f"receiver and servos get a separate supply (BEC) of {mass:.1f} g beside the ESC, which brings none: "
        f"{SUPPLY_G:g} g and {SUPPLY_G_PER_A:g} g per ampere of the {train.radio_current_a:.2g} A they draw; {PRACTICE}"
    )
    made = Assumption("receiver supply", "receiver_supply_mass_g", mass, "g", text, mass / 2, mass * 2)
    return (made,)


def _motor_current(motor: Motor, pack: Pack) -> tuple[Motor, tuple[Assumption, ...]]:
    """Continuous current of a motor of known power at the cell count flown."""
    notes = _Notes(motor)
    power, burst = float(motor.max_power_w or 0.0), motor.burst_current_a
    current = notes.within("max_current_a", float(estimated_current_a(power, nominal_v(pack), burst or math.inf)))
    basis = f"{power:.3g} W of input power at {nominal_v(pack):.3g} V, {pack.cells_series}S"
    if current == burst:
        basis = "its burst limit, which is below the estimate"
    notes.note("max_current_a", current, f"continuous current {current:.1f} A from {basis}")
    rated: tuple[Motor, tuple[Assumption, ...]] = notes.filled()
    return rated
