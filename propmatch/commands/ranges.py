"""Numbers of an option: one, a list ``0.4,0.6,1``, or a range ``0.2..1`` (nine values) or ``0.2..1/5`` (five)."""

import re
from collections.abc import Sequence

import attrs

from propmatch.faults import Fault, InputFaults
from propmatch.records.fields import Declared, check
from propmatch.units import conversion, units_for

__all__ = [
    "AIRSPEED",
    "ALTITUDE",
    "CHARGE",
    "PUBLISHED_ALTITUDE",
    "PUBLISHED_TEMPERATURE",
    "TEMPERATURE",
    "THROTTLE",
    "THRUST",
    "THRUSTS",
    "Quantity",
    "read_values",
    "two_thrusts",
]

_VALUES = 9
_MOST_VALUES = 1001
_NUMBER = re.compile(r"\s*([-+]?(?:\d+\.?\d*|\.\d+)(?:e[-+]?\d+)?|[-+]?nan|[-+]?inf)\s*([a-z/%]*)\s*", re.IGNORECASE)


@attrs.frozen(kw_only=True)
class Quantity:
    """What an option means: its option, its declared range, and whether a number may stand without a unit."""

    option: str
    rule: Declared
    bare: bool = True


def _of(option: str, name: str, unit: str = "", *, ge: float, le: float, bare: bool = True) -> Quantity:
    return Quantity(option=option, rule=Declared(kind="number", name=name, unit=unit, ge=ge, le=le), bare=bare)


THROTTLE = _of("--throttle", "throttle", ge=0, le=1)
CHARGE = _of("--charge", "charge", ge=0, le=1)
AIRSPEED = _of("--airspeed", "airspeed_m_s", "m/s", ge=0, le=150)
ALTITUDE = _of("--altitude", "altitude_m", "m", ge=-500, le=6000)
TEMPERATURE = _of("--temperature", "temperature_c", "degC", ge=-40, le=60)
PUBLISHED_ALTITUDE = _of("--altitude", "altitude_m", "m", ge=-500, le=6000)
PUBLISHED_TEMPERATURE = _of("--temperature", "temperature_c", "degC", ge=-20, le=60)
THRUST = _of("--hold", "thrust_n", "N", ge=0, le=10000, bare=False)
THRUSTS = _of("--thrusts", "thrust_n", "N", ge=0, le=10000, bare=False)


def read_values(quantity: Quantity, text: str, faults: list[Fault]) -> list[float]:
    """The numbers of an option in the unit of its rule; what is wrong goes to ``faults``."""
    found = re.fullmatch(r"(.*?)\.\.(.*?)(?:/(\d+))?", text) if ".." in text else None
    if found is None:
        pieces = text.split(",")
        return [] if _units_differ(quantity, text, pieces, faults) else [
            value for piece in pieces for value in _value(quantity, piece, faults)
        ]  # fmt: skip
    first, last, many = found.groups()
    count = int(many or _VALUES) if len(many or "") <= len(str(_MOST_VALUES)) else 0
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


def _units_differ(quantity: Quantity, text: str, pieces: Sequence[str], faults: list[Fault]) -> bool:
    """A fault where a number of a list says no unit and another one says one that is not the option's own."""
    units = [found[2] for piece in pieces if (found := _NUMBER.fullmatch(piece))]
    own = conversion("", quantity.rule.unit) or conversion(quantity.rule.unit, quantity.rule.unit)
    if all(units) or all(not unit or conversion(unit, quantity.rule.unit) == own for unit in units):
        return False
    rule = "says a unit beside some of its numbers only"
    faults.append(Fault(quantity.option, value=text, rule=rule, hint="commas part a list; decimals have a point"))
    return True


def two_thrusts(text: str) -> list[float]:
    """The two different thrusts of ``--thrusts`` [N].

    Raises
    ------
    InputFaults
        Every fault of the text.
    """
    faults: list[Fault] = []
    values = read_values(THRUSTS, text, faults)
    if not faults and (len(values) != 2 or values[0] == values[1]):
        faults.append(Fault(THRUSTS.option, value=text, rule="must be two different thrusts, such as 100gf,400gf"))
    if faults:
        raise InputFaults(faults)
    return values


def _value(quantity: Quantity, piece: str, faults: list[Fault]) -> list[float]:
    found = _NUMBER.fullmatch(piece)
    rule = quantity.rule
    if found is None:
        example = f"such as {quantity.option} 0.2..1" if not rule.unit else ""
        faults.append(Fault(quantity.option, value=piece, rule="must be a number, a list or a range", hint=example))
        return []
    number, unit = found.groups()
    convert = conversion(unit or rule.unit, rule.unit) if unit or quantity.bare else None
    if convert is None:
        known = " or ".join(word for word in units_for(rule.unit) if word)
        faults.append(Fault(quantity.option, value=piece, rule=f"needs a unit: {known}"))
        return []
    value, problems = check(rule, convert(float(number)), "", reading=True)
    faults += [Fault(quantity.option, "", each.value, each.rule) for each in problems]
    return [] if problems else [value]
