"""What a careful person reads in a cell: a scanner with exact fractions, in nothing like the readers it judges.

Units: inch, pound, mile by the international yard and pound agreement of 1959, g by ISO 80000-3, the rest SI prefixes.
"""

import math
import unicodedata
from fractions import Fraction
from typing import NamedTuple

__all__ = ["UNITS", "Cell", "Judge", "is_nothing", "same", "scan", "units_of"]

NOTHING = {"", "-", "--", "–", "—", "?", "n/a", "na", "n.a.", "none", "null", "unknown", "tbd", "k.a.", "k. a."}
"""Words for a value that nobody knows."""
_BLANKS, _APOSTROPHES = " \u00a0\u202f\u2009", "'’"
_MOST_POWER = 400


class Cell(NamedTuple):
    """What stands in a cell: every number it may be, by the decimal mark that this supposes, and the unit beside it."""

    numbers: dict[str, Fraction]
    unit: str

    @property
    def shows(self) -> str:
        """The decimal mark that this number alone settles."""
        return next(iter(self.numbers)) if len(self.numbers) == 1 else ""


def is_nothing(text: str) -> bool:
    return text.strip().lower() in NOTHING


def _digit(sign: str) -> str:
    value = unicodedata.decimal(sign, None)
    return "" if value is None else str(value)


def _is_group(text: str, at: int) -> bool:
    """Whether exactly three digits stand from here on."""
    few = text[at : at + 4]
    return len(few) >= 3 and all(map(_digit, few[:3])) and not (len(few) == 4 and _digit(few[3]))


def scan(text: str) -> Cell | None:
    """The number that a text begins with, what does not show left out; None where a person would shake the head."""
    text = text.replace("\ufeff", "").replace("\u200b", "").strip()
    for words in ("~", "≈", "ca.", "ca ", "approx.", "approx ", "about "):
        if text.lower().startswith(words):
            text = text[len(words) :].strip()
            break
    minus = text[:1] in "-−–—" and text != ""
    at = 1 if minus or text[:1] == "+" else 0
    groups, marks = [""], []
    while at < len(text):
        sign = text[at]
        if _digit(sign):
            groups[-1] += _digit(sign)
        elif sign in ".," or ((sign in _BLANKS or sign in _APOSTROPHES) and groups[-1] and _is_group(text, at + 1)):
            marks.append("'" if sign in _APOSTROPHES else " " if sign in _BLANKS else sign)
            groups.append("")
        else:
            break
        at += 1
    if not any(groups):
        return None
    power, powered = 0, False
    if text[at : at + 1] in ("e", "E"):
        sign = text[at + 1 : at + 2]
        end = at + 1 + (sign != "" and sign in "+-−")
        digits = ""
        while end < len(text) and _digit(text[end]):
            digits, end = digits + _digit(text[end]), end + 1
        if digits:
            power = (-1 if sign in "-−" else 1) * (int(digits) if len(digits) < 6 else 10**6)
            at, powered = end, True
    numbers = {
        mark: _value(whole, part, minus, power) for mark, (whole, part) in _meanings(groups, marks, powered).items()
    }
    return Cell(numbers, text[at:].strip()) if numbers else None


def _value(whole: str, part: str, minus: bool, power: int) -> Fraction:
    if abs(power) > _MOST_POWER:
        power = _MOST_POWER if power > 0 else -_MOST_POWER
    return (-1 if minus else 1) * Fraction(int((whole + part)[:4000] or "0"), 10 ** len(part)) * Fraction(10) ** power


def _meanings(groups: list[str], marks: list[str], powered: bool) -> dict[str, tuple[str, str]]:
    """Decimal mark to the digits before and behind it; empty under what settles nothing."""
    grouped = 1 <= len(groups[0]) <= 3 and groups[0][:1] != "0" and all(len(each) == 3 for each in groups[1:])
    if not marks:
        return {"": (groups[0], "")}
    if len(marks) == 1 and marks[0] in ".,":
        if marks[0] == "," and not groups[1]:
            return {"": (groups[0], "")}
        found = {marks[0]: (groups[0], groups[1])}
        return found | ({"," if marks[0] == "." else ".": ("".join(groups), "")} if grouped and not powered else {})
    if len(set(marks)) == 1:
        other = {".": ",", ",": "."}.get(marks[0], "")
        return {other: ("".join(groups), "")} if grouped else {}
    if powered:
        return {}
    *first, last = marks
    head = 1 <= len(groups[0]) <= 3 and groups[0][:1] != "0" and all(len(each) == 3 for each in groups[1:-1])
    if last in ".," and len(set(first)) == 1 and last != first[0] and head and groups[-1]:
        return {last: ("".join(groups[:-1]), groups[-1])}
    return {}


_LB, _IN, _G = Fraction("453.59237"), Fraction("0.0254"), Fraction("9.80665")
_K = Fraction(1000)


def _si(word: str, *names: str) -> dict[str, Fraction]:
    return {each: Fraction(1) for each in (word, *names)}


_MASS = _si("g", "gram", "grams", "gr", "gramm") | {"kg": _K, "mg": 1 / _K, "oz": _LB / 16, "lb": _LB, "lbs": _LB}
_LENGTH = {"mm": 1 / _K, "cm": Fraction("0.01"), "m": Fraction(1), "in": _IN, "inch": _IN, '"': _IN, "ft": 12 * _IN}
_OHM = _si("ohm", "ohms", "ω") | {"mohm": 1 / _K, "milliohm": 1 / _K, "mω": 1 / _K}
_NEWTON = _K / _G
_AREA = {f"{word}2": factor**2 for word, factor in _LENGTH.items()} | {"dm2": Fraction("0.01")}
_SPEED = {"m/s": Fraction(1), "km/h": Fraction(10, 36), "mph": Fraction("0.44704"), "ft/s": 12 * _IN}


def _scaled(table: dict[str, Fraction], unit: str) -> dict[str, Fraction]:
    return {word: factor / table[unit] for word, factor in table.items()}


UNITS: dict[str, dict[str, Fraction]] = {
    "g": _MASS,
    "gf": {"gf": Fraction(1), "g": Fraction(1), "kgf": _K, "kg": _K, "n": _NEWTON, "ozf": _LB / 16, "oz": _LB / 16,
           "lbf": _LB, "lb": _LB},
    "N": {"n": Fraction(1), "gf": 1 / _NEWTON, "g": 1 / _NEWTON, "kgf": _G, "kg": _G, "ozf": _LB / 16 / _NEWTON,
          "oz": _LB / 16 / _NEWTON, "lbf": _LB / _NEWTON, "lb": _LB / _NEWTON},
    "in": _scaled(_LENGTH, "in"), "mm": _scaled(_LENGTH, "mm"), "m": _LENGTH, "dm2": _scaled(_AREA, "dm2"),
    "ohm": _OHM, "mohm": _scaled(_OHM, "mohm"),
    "A": _si("a", "amp", "amps", "ampere") | {"ma": 1 / _K},
    "V": _si("v", "volt", "volts") | {"mv": 1 / _K},
    "W": _si("w", "watt", "watts") | {"kw": _K},
    "mAh": _si("mah") | {"ah": _K},
    "s": _si("s", "sec", "seconds") | {"min": Fraction(60), "minutes": Fraction(60)},
    "min": _si("min", "minutes") | {"s": Fraction(1, 60), "sec": Fraction(1, 60)},
    "rpm": _si("rpm", "1/min", "u/min") | {"hz": Fraction(60), "rev/s": Fraction(60)},
    "rpm/V": _si("rpm/v", "kv", "1/min/v"),
    "1/h": _si("1/h", "c"),
    "degC": _si("degc", "c", "°c"),
    "m/s": _SPEED,
    "": {"": Fraction(1), "%": Fraction(1, 100), "percent": Fraction(1, 100)},
}  # fmt: skip
"""Unit of a field to what a careful person knows beside a number there, and its worth; others are not judged."""


def units_of(unit: str) -> dict[str, Fraction]:
    return UNITS.get(unit, {unit.lower(): Fraction(1)})


class Judge(NamedTuple):
    """A field as a table has it: declared range, the unit its heading says, and the marks that the table shows.

    ``stated``: heading or name say the unit, so that another in a cell contradicts it. ``points``: the names are the
    project's own, whose decimals have a point where nothing shows otherwise.
    """

    rule: object
    unit: str = ""
    stated: bool = True
    marks: frozenset[str] = frozenset()
    points: bool = False

    def allowed(self, text: str) -> list[float]:
        """Every number that a careful person may take from a text; none: it must be asked for."""
        cell = scan(text)
        if cell is None:
            return []
        known, column = units_of(self.rule.unit), self.unit or self.rule.unit
        factor = known.get(" ".join((cell.unit or column).split()).lower())
        there = known.get(column.lower())
        if factor is None or (cell.unit and self.stated and there is not None and factor != there):
            return []
        found = {
            mark: float(value * factor) if abs(value) < 10**300 else math.inf for mark, value in cell.numbers.items()
        }
        if len(found) > 1 and len(self.marks) == 1:
            found = {mark: value for mark, value in found.items() if mark in self.marks}
        if len(found) > 1 and "." in text and not self.inside(found[","]):
            del found[","]
        if len(found) > 1 and self.points and not self.marks and "." in text:
            del found[","]
        return [value for value in found.values() if self.inside(value)] if len(found) == 1 else []

    def inside(self, value: float) -> bool:
        """Whether the declaration allows a number."""
        rule = self.rule
        return (
            math.isfinite(value)
            and (rule.gt is None or value > rule.gt) and (rule.ge is None or value >= rule.ge * (1 - 1e-12))
            and (rule.lt is None or value < rule.lt) and (rule.le is None or value <= rule.le * (1 + 1e-12))
            and (rule.kind != "integer" or value == round(value))
        )  # fmt: skip


def same(one: float, other: float) -> bool:
    """To 1e-12 of the larger."""
    return math.isclose(one, other, rel_tol=1e-12, abs_tol=1e-300)
