"""The parts of a power train and the airframe: frozen records with data-sheet units, ranges and a source.

A field that is None is unknown; :func:`propmatch.records.estimates.completed` fills it with a stated estimate. The
ranges are wide for small electric models (about 20 g to 25 kg) and catch units mixed up, such as millimetres
as inches.
"""

import math
from collections.abc import Mapping, Sequence
from typing import Any, TypedDict, TypeVar

import attrs
import numpy as np
from numpy.typing import NDArray

from propmatch.faults import did_you_mean
from propmatch.models.air import Air
from propmatch.models.pack import COLDEST_C, CellState, Chemistry
from propmatch.models.tables import CoefficientTable
from propmatch.records.blades import FAMILIES
from propmatch.records.fields import (
    Numbers,
    Problem,
    Rule,
    choice,
    flag,
    instance,
    integer,
    many,
    not_below,
    number,
    numbers_by_name,
    one,
    record,
    row,
    text,
    words_or_number,
)
from propmatch.records.packuse import LONGEST_REST_H, MOST_CYCLES, WARMEST_C
from propmatch.records.price import read_price
from propmatch.records.radio import separate_supply_g, usual_radio_a
from propmatch.units import GRAM_FORCE_N, INCH_M, MM_M

__all__ = [
    "CD0_WORDS",
    "ESTIMATED",
    "FAMILIES",
    "KINDS",
    "LISTED",
    "MOTOR_OFF",
    "PARTS",
    "Airframe",
    "Controller",
    "Motor",
    "Pack",
    "Part",
    "PowerTrain",
    "Propeller",
    "Source",
    "TrainNumbers",
    "is_estimated",
    "propeller_mass_g",
]

Mass = TypeVar("Mass", float, NDArray[np.float64])

MOTOR_OFF = {
    "folded": "the blades fold back",
    "stopped": "the propeller stands still",
    "windmilling": "the stream turns it against the friction of the motor, or it stands still",
    "braked": "the winding is shorted by the controller's brake",
}
"""What a propeller may do while the motor is off."""

CD0_WORDS = {
    "clean racer": 0.025,
    "flying wing": 0.028,
    "clean glider": 0.03,
    "clean sport model": 0.04,
    "trainer with fixed gear": 0.055,
    "high wing with struts": 0.06,
    "biplane": 0.075,
    "floats": 0.08,
}
"""Zero-lift drag coefficients on wing area for wordings: common practice, no published source."""

_CELLS_MOST = 14


def _correlated(sd_ln: Mapping[str, float], correlations: Sequence[tuple[str, str, float]]) -> list[Problem]:
    """What is wrong with correlations of the numbers that have a standard deviation."""
    names = list(sd_ln)
    matrix = np.eye(len(names))
    told: dict[frozenset[str], str] = {}
    problems: list[Problem] = []
    for at, (first, second, r) in enumerate(correlations, start=1):
        place = f"correlations[{at}]"
        for where, name in enumerate((first, second), start=1):
            if name not in sd_ln:
                rule = "must be a number that has an sd_ln: " + (", ".join(names) or "there is none")
                problems.append(Problem(f"{place}[{where}]", name, rule, did_you_mean(name, names)))
        pair = frozenset((first, second))
        if first == second:
            problems.append(Problem(f"{place}[2]", second, "must be another number than the first of the pair"))
        elif pair in told:
            problems.append(Problem(place, None, f"{first} and {second} are given twice, before at {told[pair]}"))
        elif pair <= sd_ln.keys():
            i, j = names.index(first), names.index(second)
            matrix[i, j] = matrix[j, i] = r
        told.setdefault(pair, place)
    return problems or _positive(names, matrix, told)


def _positive(names: Sequence[str], matrix: NDArray[np.float64], told: Mapping[frozenset[str], str]) -> list[Problem]:
    """A correlation matrix has no eigenvalue of 0 or below; the pair that weighs most in that one is named."""
    lowest, vectors = np.linalg.eigh(matrix) if names else (np.ones(1), np.eye(1))
    if lowest[0] > _LEAST_EIGENVALUE:
        return []
    weight = np.abs(np.outer(vectors[:, 0], vectors[:, 0]) * (matrix - np.eye(len(names))))
    i, j = sorted(int(each) for each in np.unravel_index(np.argmax(weight), weight.shape))
    rule = (
        f"{names[i]} and {names[j]} cannot be correlated so beside the other pairs: the matrix must be positive "
        f"definite, its least eigenvalue is {lowest[0]:.2g} (a pair that is not listed counts as 0)"
    )
    return [Problem(told[frozenset((names[i], names[j]))], float(matrix[i, j]), rule)]


_LEAST_EIGENVALUE = 1e-9
_PAIR = row(text(), text(), number(gt=-1, lt=1))


@attrs.frozen(kw_only=True)
class Predicted:
    """How sure a predicted coefficient table is.

    Attributes
    ----------
    rests_on : str
        What was known: the label, a reading at rest, ...
    interval_80 : mapping of str to mapping
        ``low`` and ``high`` of each quantity as shares of the prediction, such as -0.2 and 0.25: 8 of 10 lie between.
    family_chances : mapping of str to float
        Chance of each family, the likeliest first; 1 for the one that is known.
    """

    rests_on: str
    interval_80: Mapping[str, Mapping[str, float]]
    family_chances: Mapping[str, float]


@record(rules=(Rule(("sd_ln", "correlations"), _correlated),))
class Source:
    """Where a record comes from, and how sure its numbers are."""

    text: str = text(doc="where the numbers come from: data sheet, shop listing, bench test, dataset")
    kind: str = choice(("measured", "data sheet", "label", "predicted", "assumed"), doc="how they were found")
    uncertainty: float | None = number(
        ge=0, le=1, default=None, doc="relative standard uncertainty of the main numbers"
    )
    sd_ln: Mapping[str, float] = numbers_by_name(
        number(gt=0, le=1), default=Numbers(), doc="standard deviation of ln of a number of the part, by its name"
    )
    correlations: tuple[tuple[str, str, float], ...] = many(
        _PAIR,
        default=(),
        doc="of ln of two of these numbers; a pair that is not listed has none",
    )
    prediction: Predicted | None = instance(Predicted, default=None, eq=False, doc="how sure a predicted table is")

    @property
    def columns(self) -> dict[str, str | float | None]:
        """What a row of a table says of it, by the names of the columns."""
        return {"source": self.text, "source_kind": self.kind, "uncertainty": self.uncertainty}


def _sure(*names: str, others: tuple[str, ...] = ()) -> tuple[Rule, Rule]:
    """The source of a part may hold deviations of these numbers where they are stated, and of ``others``."""
    known = (*names, *others)

    def foreign(source: Source | None) -> list[Problem]:
        rule, hint = "is no number that has a deviation here", "known: " + ", ".join(known)
        return [
            Problem(f"source.sd_ln.{name}", None, rule, did_you_mean(name, known) or hint)
            for name in getattr(source, "sd_ln", None) or ()
            if name not in known
        ]

    def unstated(source: Source, *values: float | None) -> list[Problem]:
        return [
            Problem(f"source.sd_ln.{name}", source.sd_ln[name], f"the part must state {name} above 0 beside it")
            for name, value in zip(names, values, strict=True)
            if source.sd_ln and name in source.sd_ln and not value
        ]

    return Rule(("source",), foreign, partly=True), Rule(("source", *names), unstated)


_SPELT_IN_SOURCE = {
    "sd_ln": "it belongs to the part's source: a table [motors.source.sd_ln], packs and the others alike",
    "correlations": "they belong to the part's source: correlations = [[...]] under [motors.source]",
}


NOT_STATED = Source(text="not stated", kind="assumed")


_MEASURED_AT_REST = {"read_thrust_gf": (0.048, 0.254), "read_shaft_w": (0.0173, 0.193), "read_input_w": (0.0173, 0.64)}
"""Least and greatest CT0 or CP0 of 2884 static readings, 2 to 4 blades (J. B. Brandt, R. W. Deters, G. K. Ananda, O. D.
Dantsker, M. S. Selig, UIUC Propeller Database, vols 1 to 4); electrical power with at least 30 % of it on the shaft,
common practice, no published source."""


def _measured_at_rest(key: str) -> Rule:
    """A reading at rest lies between half the least coefficient measured and twice the greatest, by blades above 4."""
    least, most = _MEASURED_AT_REST[key]
    thrust = key == "read_thrust_gf"

    def ends(rpm: float, diameter_in: float, blades: int) -> tuple[float, float]:
        rev_s, size = rpm / 60.0, diameter_in * INCH_M
        one = float(Air.standard().density_kg_m3) * rev_s**2 * size**4 * (1 / GRAM_FORCE_N if thrust else rev_s * size)
        return 0.5 * least * one, 2.0 * most * max(blades / 4.0, 1.0) * one

    def beyond(value: float | None, rpm: float | None, diameter_in: float, blades: int) -> bool:
        if value is None or rpm is None:
            return False
        low, high = ends(rpm, diameter_in, blades)
        return not low <= value <= high

    def said(_: float, rpm: float, diameter_in: float, blades: int) -> str:
        low, high = (float(f"{each:.2g}") for each in ends(rpm, diameter_in, blades))
        return (
            f"must be {low:g} to {high:g} {'gf' if thrust else 'W'} at {rpm:g} rpm and {diameter_in:.3g} in, half the "
            "least to twice the most measured of any propeller at rest (UIUC Propeller Database): unit, speed, size?"
        )

    return Rule((key, "read_rpm", "diameter_in", "blades"), beyond, said)


def _count() -> Any:
    return integer(ge=0, le=100000, default=None, doc="how many you have")


def _price() -> Any:
    return text(default=None, doc="of one: an amount with or without a currency, such as 12.50 EUR")


_PRICED = Rule(
    ("price",),
    lambda price: price is not None and read_price(price) is None,
    "must be an amount with or without a currency, such as 12.50 EUR or 12,50",
)


@record(
    rules=(
        not_below("burst_current_a", "max_current_a"),
        not_below("cells_max", "cells_min"),
        Rule(
            ("no_load_exponent", "no_load_current_a", "no_load_voltage_v"),
            lambda x, i0, v0: x > 0 and (i0 is None or v0 is None),
            "needs no_load_current_a and no_load_voltage_v beside it when above 0",
        ),
        Rule(
            ("no_load_current_a", "no_load_voltage_v", "resistance_ohm"),
            lambda i0, v0, r: None not in (i0, v0, r) and r * i0 >= v0,
            "must, times resistance_ohm, stay below no_load_voltage_v",
        ),
        _PRICED,
        *_sure(
            "kv_rpm_per_v", "mass_g", "resistance_ohm", "resistance_slope_ohm_s", "torque_constant_ratio",
            "no_load_current_a", "gear_efficiency",
        ),
    ),
    hints=_SPELT_IN_SOURCE,
)  # fmt: skip
class Motor:
    """Brushless outrunner: kV, winding resistance, no-load current; currents are the motor's own."""

    name: str = text(doc="name as the maker or shop writes it")
    kv_rpm_per_v: float = number("rpm/V", ge=20, le=30000, doc="speed per volt")
    mass_g: float = number("g", ge=0.5, le=5000, doc="mass with leads")
    kv_kind: str = choice(
        ("effective", "measured", "label"),
        default="effective",
        doc="measured, or effective: found under load; label: printed on the motor or listed, usually high",
    )
    resistance_ohm: float | None = number(
        "ohm", ge=0, le=10, default=None, doc="resistance between two leads, warm and near standstill"
    )
    controller_included: bool = flag(
        default=False, doc="the resistance was found under load, with controller and leads in it"
    )
    resistance_slope_ohm_s: float | None = number(
        "ohm s", ge=0, le=0.1, default=None, doc="rise of the resistance with speed in rad/s: drop of commutation"
    )
    torque_constant_ratio: float | None = number(
        ge=0.5, le=1.5, default=None, doc="torque constant over speed constant, in N m/A over V s/rad"
    )
    no_load_current_a: float | None = number("A", ge=0, le=50, default=None, doc="current without propeller")
    no_load_voltage_v: float | None = number(
        "V", ge=0.5, le=80, default=None, doc="voltage at which the no-load current was measured"
    )
    no_load_exponent: float = number(
        ge=0, le=2, default=0.0, doc="growth of the no-load current with speed; 0 is constant"
    )
    max_current_a: float | None = number("A", ge=0.05, le=500, default=None, doc="continuous current limit")
    burst_current_a: float | None = number("A", ge=0.05, le=1000, default=None, doc="short current limit")
    burst_seconds: float | None = number("s", ge=0.1, le=600, default=None, doc="how long the short limit holds")
    max_power_w: float | None = number("W", ge=0.1, le=20000, default=None, doc="continuous input power limit")
    gear_ratio: float = number(ge=0.1, le=50, default=1.0, doc="motor turns per propeller turn")
    gear_efficiency: float = number(ge=0.3, le=1, default=1.0, doc="share of torque that the gear passes on")
    cells_min: int | None = integer(ge=1, le=_CELLS_MOST, default=None, doc="fewest cells in series")
    cells_max: int | None = integer(ge=1, le=_CELLS_MOST, default=None, doc="most cells in series")
    count: int | None = _count()
    price: str | None = _price()
    id: str | None = text(default=None, doc="plugin/part, or box/part")
    source: Source = one(Source, default=NOT_STATED, doc="where the numbers come from")
    notes: str | None = text(default=None, doc="anything else to remember")


@record(
    rules=(
        not_below("burst_current_a", "max_current_a"),
        not_below("cells_max", "cells_min"),
        _PRICED,
        *_sure("mass_g", "resistance_mohm", "part_throttle_loss"),
    ),
    hints=_SPELT_IN_SOURCE,
)
class Controller:
    """Electronic speed controller (ESC); its current rating is compared with motor current."""

    name: str = text(doc="name as the maker or shop writes it")
    max_current_a: float = number("A", ge=0.05, le=500, doc="continuous current limit")
    mass_g: float = number("g", ge=0, le=2000, doc="mass with leads")
    resistance_mohm: float | None = number("mohm", ge=0, le=500, default=None, doc="switches and leads")
    max_current_estimated: bool = flag(default=False, doc="the continuous limit is an estimate, printed nowhere")
    mass_estimated: bool = flag(default=False, doc="the mass is an estimate, neither weighed nor printed")
    burst_current_a: float | None = number("A", ge=0.05, le=1000, default=None, doc="short current limit")
    burst_seconds: float | None = number("s", ge=0.1, le=600, default=None, doc="how long the short limit holds")
    part_throttle_loss: float | None = number(ge=0, lt=0.5, default=None, doc="k in efficiency = 1 - k (1 - throttle)")
    servo_supply: str = choice(
        ("none", "linear", "switching"), default="none", doc="how the receiver and servos are fed"
    )
    servo_supply_v: float = number("V", ge=1, le=12, default=5.0, doc="voltage of the servo supply")
    cells_min: int | None = integer(ge=1, le=_CELLS_MOST, default=None, doc="fewest cells in series")
    cells_max: int | None = integer(ge=1, le=_CELLS_MOST, default=None, doc="most cells in series")
    count: int | None = _count()
    price: str | None = _price()
    id: str | None = text(default=None, doc="plugin/part, or box/part")
    source: Source = one(Source, default=NOT_STATED, doc="where the numbers come from")
    notes: str | None = text(default=None, doc="anything else to remember")


@record(
    rules=(
        not_below("burst_c_rating", "c_rating"),
        _PRICED,
        *_sure("capacity_mah", "mass_g", "cell_resistance_mohm", "lead_resistance_mohm"),
    ),
    hints=_SPELT_IN_SOURCE,
)
class Pack:
    """Battery, S cells by P; capacity is the whole pack's, cell resistance one cell's."""

    name: str = text(doc="name as the maker or shop writes it")
    cells_series: int = integer(ge=1, le=_CELLS_MOST, doc="cells in series, S")
    capacity_mah: float = number("mAh", ge=10, le=100000, doc="charge of the whole pack")
    c_rating: float = number("1/h", ge=0.1, le=300, doc="continuous C rating on the label")
    mass_g: float = number("g", ge=0.3, le=20000, doc="mass with leads and plugs")
    chemistry: str | Chemistry = text(
        default="lipo", or_instance=Chemistry, doc="lipo, lihv, liion, lifepo4, nimh, or one that a plugin adds"
    )
    cells_parallel: int = integer(ge=1, le=40, default=1, doc="cells in parallel, P")
    cell_resistance_mohm: float | None = number(
        "mohm", ge=0, le=2000, default=None, doc="resistance of one cell, full and near 25 degC"
    )
    lead_resistance_mohm: float | None = number(
        "mohm", ge=0, le=500, default=None, doc="leads and plugs of the whole pack"
    )
    burst_c_rating: float | None = number("1/h", ge=0.1, le=600, default=None, doc="burst C rating on the label")
    c_rating_estimated: bool = flag(default=False, doc="the continuous C rating is an estimate, printed nowhere")
    mass_estimated: bool = flag(default=False, doc="the mass is an estimate, neither weighed nor printed")
    count: int | None = _count()
    price: str | None = _price()
    id: str | None = text(default=None, doc="plugin/part, or box/part")
    source: Source = one(Source, default=NOT_STATED, doc="where the numbers come from")
    notes: str | None = text(default=None, doc="anything else to remember")


@record(
    rules=(
        Rule(
            ("pitch_in", "diameter_in"),
            lambda pitch, diameter: pitch > 2.5 * diameter,
            "must be at most 2.5 times diameter_in",
        ),
        Rule(
            ("read_rpm", "read_shaft_w", "read_input_w", "read_thrust_gf"),
            lambda rpm, *read: rpm is None and any(each is not None for each in read),
            "missing; a reading at rest needs the speed it was read at",
        ),
        Rule(
            ("read_rpm", "read_shaft_w", "read_input_w", "read_thrust_gf"),
            lambda rpm, *read: rpm is not None and all(each is None for each in read),
            "needs what was read at this speed: read_input_w (wattmeter), read_shaft_w or read_thrust_gf (scale)",
        ),
        Rule(
            ("read_input_w", "read_shaft_w"),
            lambda *read: None not in read and read[0] <= read[1],
            "must be above read_shaft_w",
        ),
        Rule(
            ("read_thrust_gf", "read_shaft_w", "read_input_w", "diameter_in"),
            lambda *read: _beyond_momentum(*read),
            "takes more power of any propeller of this diameter than was read",
        ),
        *map(_measured_at_rest, _MEASURED_AT_REST),
        Rule(
            ("angle_75_deg", "chord_75_mm"),
            lambda angle, chord: angle is not None and chord is None,
            "needs chord_75_mm, read at the same place",
        ),
        Rule(
            ("chord_75_mm", "diameter_in"),
            lambda chord, diameter: chord is not None and not 0.02 <= chord * MM_M / (diameter * INCH_M) <= 0.3,
            "must be 2 to 30 % of the diameter",
        ),
        _PRICED,
        *_sure("mass_g", others=("ct", "cp")),
    ),
    hints=_SPELT_IN_SOURCE,
)
class Propeller:
    """Diameter, pitch, blades and, when known, a coefficient table (left out of ``==``).

    Where there is no table one is predicted; what was read on this propeller, and another of the same make, narrow it.
    """

    name: str = text(doc="name as the maker or shop writes it")
    diameter_in: float = number("in", ge=1, le=40, doc="diameter")
    pitch_in: float = number("in", ge=0.2, le=40, doc="pitch")
    blades: int = integer(ge=1, le=8, default=2, doc="number of blades")
    mass_g: float | None = number("g", ge=0.05, le=1000, default=None, doc="mass")
    max_rpm: float | None = number("rpm", ge=300, le=300000, default=None, doc="speed limit")
    family: str | None = choice(tuple(FAMILIES), default=None, nothing="unknown", doc="shape of the blades")
    chord_75_mm: float | None = number("mm", gt=0, le=200, default=None, doc="width of a blade at 75 % of the radius")
    angle_75_deg: float | None = number("deg", ge=1, le=80, default=None, doc="blade angle at 75 % of the radius")
    read_rpm: float | None = number(
        "rpm", ge=300, le=300000, default=None, doc="speed of a reading at rest, of your own"
    )
    read_shaft_w: float | None = number("W", gt=0, le=50000, default=None, doc="shaft power at read_rpm")
    read_input_w: float | None = number(
        "W", gt=0, le=50000, default=None, doc="electrical power at read_rpm, wattmeter"
    )
    read_thrust_gf: float | None = number("gf", gt=0, le=500000, default=None, doc="thrust at read_rpm")
    reads_like: str | None = text(
        default=None, doc="line of the open data that it reads like, such as thin-1: 'propmatch parts --lines'"
    )
    sibling: str | None = text(default=None, doc="another of the same make, id or typed: '8x5 9000rpm 60W'")
    table: CoefficientTable | None = instance(
        CoefficientTable, default=None, eq=False, doc="CT and CP over advance ratio and rpm"
    )
    count: int | None = _count()
    price: str | None = _price()
    id: str | None = text(default=None, doc="plugin/part, or box/part")
    source: Source = one(Source, default=NOT_STATED, doc="where the numbers come from")
    notes: str | None = text(default=None, doc="anything else to remember")


@record(
    rules=(
        Rule(
            ("wing_span_mm", "wing_area_dm2"),
            lambda span, area: not 0.5 <= aspect_ratio(span, area) <= 40,
            "and wing_area_dm2 must give an aspect ratio span^2/area between 0.5 and 40",
        ),
    )
)
class Airframe:
    """Wing, drag polar CD = CD0 + CL^2/(pi e AR) on wing area, and the mass of all but the power train."""

    wing_area_dm2: float = number("dm2", ge=0.2, le=1000, doc="wing area")
    wing_span_mm: float = number("mm", ge=50, le=8000, doc="wing span")
    cd0: float | str = words_or_number(
        tuple(CD0_WORDS), ge=0.005, le=0.5, doc="zero-lift drag coefficient of the whole model"
    )
    cl_max: float = number(ge=0.3, le=4, doc="highest lift coefficient")
    bare_mass_g: float = number("g", ge=1, le=25000, doc="everything but the power train")
    oswald: float = number(ge=0.3, le=1.1, default=0.8, doc="span efficiency e of the induced drag")
    installed_thrust: float = number(
        ge=0.5, le=1, default=1.0, doc="share of thrust left in front of or behind the airframe"
    )

    @property
    def aspect_ratio(self) -> float:
        """Span squared over area."""
        return aspect_ratio(self.wing_span_mm, self.wing_area_dm2)

    def all_up_mass_g(self, train_mass_g: Mass) -> Mass:
        """Bare mass and power train [g]."""
        return self.bare_mass_g + train_mass_g

    def train_mass_g(self, all_up_mass_g: Mass) -> Mass:
        """What an all-up mass leaves for the power train [g]."""
        return all_up_mass_g - self.bare_mass_g


def aspect_ratio(span_mm: float, area_dm2: float) -> float:
    """Span squared over area; 1 dm is 100 mm."""
    return (span_mm * MM_M * 10) ** 2 / area_dm2


def propeller_mass_g(diameter_in: float, blades: int) -> float:
    """Plastic propeller, 0.025 g per blade times diameter_in^2.5: common practice, no published source."""
    return 0.025 * blades * math.pow(diameter_in, 2.5)


def _beyond_momentum(thrust_gf: float | None, shaft_w: float | None, input_w: float | None, diameter_in: float) -> bool:
    """Whether a thrust needs more than 1.1 times the power: T^1.5/sqrt(2 rho A) is the least of any propeller at rest
    (W. J. M. Rankine, 1865)."""
    power = shaft_w if shaft_w is not None else input_w
    if thrust_gf is None or power is None:
        return False
    disc, density = 0.25 * math.pi * (diameter_in * INCH_M) ** 2, float(Air.standard().density_kg_m3)
    return math.pow(thrust_gf * GRAM_FORCE_N, 1.5) / math.sqrt(2.0 * density * disc) > 1.1 * power


ESTIMATED = {"mass_g": "mass_estimated", "c_rating": "c_rating_estimated", "max_current_a": "max_current_estimated"}
"""Needed numbers that a label may leave out, and the field that says that they are an estimate."""


def is_estimated(part: Any, field: str) -> bool:
    """Whether a number of a part is an estimate that was filled in when it was read."""
    return bool(getattr(part, ESTIMATED.get(field, ""), False))


class TrainNumbers(TypedDict, total=False):
    """What a power train is besides its four parts, as keywords of ``PowerTrain``."""

    count: int
    radio_current_a: float
    receiver_supply_mass_g: float | None
    pack_temperature_c: float | None
    motor_off: str | None
    pack_cycles: int
    pack_rest_h: float


@record()
class PowerTrain:
    """``count`` identical sets of motor, controller and propeller on one pack."""

    motor: Motor = one(Motor, doc="of each set")
    propeller: Propeller = one(Propeller, doc="of each set")
    pack: Pack = one(Pack, doc="feeds all sets")
    controller: Controller = one(Controller, doc="of each set")
    count: int = integer(ge=1, le=12, default=1, doc="motors on the pack")
    radio_current_a: float = number(
        "A", ge=0, le=50, default=usual_radio_a()[0], doc="receiver, servos and payload, drawn from the pack"
    )
    receiver_supply_mass_g: float | None = number(
        "g", ge=0, le=500, default=None, doc="separate supply (BEC), flown where the controller brings none"
    )
    pack_temperature_c: float | None = number(
        "degC", ge=COLDEST_C, le=WARMEST_C, default=None, doc="temperature of the cells; None means near 25 degC"
    )
    motor_off: str | None = choice(
        tuple(MOTOR_OFF), default=None, doc="what the propeller does while the motor is off; None: by its family"
    )
    pack_cycles: int = integer(ge=0, le=MOST_CYCLES, default=0, doc="full cycles that the pack has flown before")
    pack_rest_h: float = number("h", ge=0, le=LONGEST_REST_H, default=0.0, doc="rest of the full pack since charging")

    @property
    def cell_state(self) -> CellState:
        """How the cells are when a flight begins."""
        return CellState(temperature_c=self.pack_temperature_c, cycles=self.pack_cycles, rest_h=self.pack_rest_h)

    @property
    def separate_supply(self) -> bool:
        """Whether receiver and servos draw from the pack and the controller has no supply for them."""
        return self.radio_current_a > 0 and self.controller.servo_supply == "none"

    @property
    def supply_g(self) -> float:
        """Mass of the separate supply that the aircraft flies with, one for all sets; estimated where not stated."""
        if not self.separate_supply:
            return 0.0
        stated = self.receiver_supply_mass_g
        return separate_supply_g(self.radio_current_a) if stated is None else stated

    @property
    def mass_g(self) -> float:
        """count (motor + controller + propeller) + separate supply + pack [g]; unknown masses are estimated."""
        blade_mass = self.propeller.mass_g
        if blade_mass is None:
            blade_mass = propeller_mass_g(self.propeller.diameter_in, self.propeller.blades)
        sets = self.count * (self.motor.mass_g + self.controller.mass_g + blade_mass)
        return sets + self.supply_g + self.pack.mass_g

    @property
    def numbers(self) -> TrainNumbers:
        """All but the parts."""
        return TrainNumbers(
            count=self.count,
            radio_current_a=self.radio_current_a,
            receiver_supply_mass_g=self.receiver_supply_mass_g,
            pack_temperature_c=self.pack_temperature_c,
            motor_off=self.motor_off,
            pack_cycles=self.pack_cycles,
            pack_rest_h=self.pack_rest_h,
        )


PARTS: dict[str, type] = {"motor": Motor, "controller": Controller, "pack": Pack, "propeller": Propeller}
"""The four parts of a power train, and the class of each."""
KINDS: dict[str, type] = {f"{part}s": cls for part, cls in PARTS.items()}
"""The same by the kinds that a catalogue holds: ``motors``, ``controllers``, ``packs``, ``propellers``."""

LISTED: dict[type, dict[str, str]] = {Motor: {"kv_kind": "label"}}
"""What a row of a list or a typed line means where it is silent: it repeats what is printed."""

Part = Motor | Controller | Pack | Propeller
