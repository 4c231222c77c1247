"""Numbers of an option: one, a list ``0.4,0.6,1``, or a range ``0.2..1`` (nine values) or ``0.2..1/5`` (five)."""

import re

import attrs

from propmatch.faults import Fault
from propmatch.records.fields import Declared, check
from propmatch.units import FOOT_M, GRAM_FORCE_N, KMH_M_S, MPH_M_S, OUNCE_FORCE_N

__all__ = ["AIRSPEED", "ALTITUDE", "CHARGE", "TEMPERATURE", "THROTTLE", "THRUST", "Quantity", "read_values"]

_VALUES = 9
_MOST_VALUES = 1001
_NUMBER = re.compile(r"\s*([-+]?(?:\d+\.?\d*|\.\d+)(?:e[-+]?\d+)?|[-+]?nan|[-+]?inf)\s*([a-z/%]*)\s*", re.IGNORECASE)


@attrs.frozen(kw_only=True)
class Quantity:
    """What an option means: its option, its declared range and the units it may be typed in."""

    option: str
    rule: Declared
    units: dict[str, float]


THROTTLE = Quantity(
    option="--throttle", rule=Declared(kind="number", name="throttle", ge=0, le=1), units={"": 1.0, "%": 0.01}
)
CHARGE = Quantity(
    option="--charge", rule=Declared(kind="number", name="charge", ge=0, le=1), units={"": 1.0, "%": 0.01}
)
AIRSPEED = Quantity(
    option="--airspeed",
    rule=Declared(kind="number", name="airspeed_m_s", unit="m/s", ge=0, le=150),
    units={"": 1.0, "m/s": 1.0, "km/h": KMH_M_S, "mph": MPH_M_S, "ft/s": FOOT_M},
)
ALTITUDE = Quantity(
    option="--altitude",
    rule=Declared(kind="number", name="altitude_m", unit="m", ge=-500, le=6000),
    units={"": 1.0, "m": 1.0, "ft": FOOT_M},
)
TEMPERATURE = Quantity(
    option="--temperature",
    rule=Declared(kind="number", name="temperature_c", unit="degC", ge=-40, le=60),
    units={"": 1.0, "degc": 1.0, "c": 1.0},
)
THRUST = Quantity(
    option="--hold",
    rule=Declared(kind="number", name="thrust_n", unit="N", ge=0, le=10000),
    units={"gf": GRAM_FORCE_N, "g": GRAM_FORCE_N, "kgf": 1000 * GRAM_FORCE_N, "oz": OUNCE_FORCE_N, "n": 1.0},
)


def read_values(quantity: Quantity, text: str, faults: list[Fault]) -> list[float]:
    """The numbers of an option in the unit of its rule; what is wrong goes to ``faults``."""
    found = re.fullmatch(r"(.*?)\.\.(.*?)(?:/(\d+))?", text) if ".." in text else None
    if found is None:
        return [value for piece in text.split(",") for value in _value(quantity, piece, faults)]
    first, last, many = found.groups()
    count = int(many or _VALUES)
    if not 2 <= count <= _MOST_VALUES:
        faults.append(Fault(quantity.option, value=text, rule=f"a range has 2 to {_MOST_VALUES} values"))
        return []
    unit = re.search(r"[a-z/%]*\s*$", last, re.IGNORECASE)
    if re.fullmatch(r"[\s\d.eE+-]*", first) and unit:
        first += unit.group()
    ends = [*_value(quantity, first, faults), *_value(quantity, last, faults)]
    if len(ends) < 2:
        return []
    low, high = ends
    return [round(low + (high - low) * at / (count - 1), 12) for at in range(count)]


def _value(quantity: Quantity, piece: str, faults: list[Fault]) -> list[float]:
    found = _NUMBER.fullmatch(piece)
    unit = found.group(2).lower() if found else ""
    if found is None:
        example = f"such as {quantity.option} 0.2..1" if quantity.units.get("%") else ""
        faults.append(Fault(quantity.option, value=piece, rule="must be a number, a list or a range", hint=example))
        return []
    if unit not in quantity.units:
        known = " or ".join(word for word in quantity.units if word)
        faults.append(Fault(quantity.option, value=piece, rule=f"needs a unit: {known}"))
        return []
    value, problems = check(quantity.rule, float(found.group(1)) * quantity.units[unit], "", reading=True)
    faults += [Fault(quantity.option, "", each.value, each.rule) for each in problems]
    return [] if problems else [value]
