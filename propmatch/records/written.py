"""Numbers, quantities and short forms as people and shops write them, the same in a typed line and in a cell.

``48,5`` and ``1.100,5``, ``9.3 g``, ``0.34 oz``, ``2-3S``, ``3S2P``, ``7 x 4 x 3``, ``30C/60C``, ``40A/10s``,
``5V/2A``, ``3.5:1``. A number has one reading, or two where a comma or point before three digits may mark thousands or
decimals and nothing has settled which; then nobody chooses.
"""

import re
from collections.abc import Callable, Iterable, Mapping
from typing import Any

from propmatch.faults import Fault
from propmatch.models.pack import chemistry_named
from propmatch.records.fields import Declared, check, declared
from propmatch.records.parts import FAMILIES, Controller, Motor, Pack, Propeller
from propmatch.units import INCH_M, MM_M, Conversion, conversion, units_for

__all__ = [
    "BEC",
    "BLADE_WORDS",
    "CELLS",
    "LABEL_V",
    "LONGEST",
    "SHORT_FORMS",
    "SIZE",
    "YES_NO",
    "amount",
    "cells_of_label",
    "marks_shown",
    "no_value",
    "number_in",
    "other_unit",
    "out_of_range",
    "plain",
    "quantity",
    "readings",
    "short_form",
    "supply_of_label",
]

_SIGNS = str.maketrans({"−": "-", "–": "-", "—": "-", "×": "x", "✕": "x", "*": "x", "\u00a0": " ", "\u202f": " ",
                        "\u2009": " ", "’": "'", "″": '"', "”": '"', "µ": "u", "μ": "u"})  # fmt: skip
_ONE_MARK = re.compile(r"([-+]?)(\d*)(?:([.,])(\d*))?(e[-+]?\d+)?", re.IGNORECASE)
_GROUPED = re.compile(r"([-+]?)([1-9]\d{0,2})((?:([.,' ])\d{3})(?:\4\d{3})*)(?:([.,])(\d+))?")
_NOT_FINITE = re.compile(r"[-+]?(?:nan|inf(?:inity)?)", re.IGNORECASE)
_AMOUNT = re.compile(
    r"(?:~|≈|ca\.?\s|approx\.?\s|about\s)?\s*"
    r"([-+]?(?:(?:\d{1,3}(?:[ ']\d{3})+(?:[.,]\d+)?(?!\d))|[\d.,]*\d[\d.,]*)(?:e[-+]?\d+)?|[-+]?(?:nan|inf(?:inity)?))"
    r"\s*([^\d\s.,=+-][^\d=]*2?|1/min(?:/v)?|min-1)?",
    re.IGNORECASE,
)


LONGEST = 100
"""Characters of a quantity or short form; what is longer is none, and is not looked through for one."""


def plain(text: str) -> str:
    """The text with one form of dash, multiplication sign, blank and apostrophe."""
    return text.translate(_SIGNS).strip()


_ERROR = re.compile(r"#(?:N/A|DIV/0!|REF!|VALUE!|NAME\?|NUM!|NULL!|SPILL!|CALC!)", re.IGNORECASE)
"""What a cell of a workbook shows instead of a value: ISO/IEC 29500-1, 18.17.3."""


def no_value(text: str) -> tuple[str, str] | None:
    """Rule and hint for a cell that should show a value: an error, or a formula that was never calculated."""
    if _ERROR.fullmatch(text):
        return "is the error of a formula, no value", "mend the formula, or leave the cell empty"
    if text[:1] == "=" and text[1:2].strip():
        return (
            "is a formula that was not calculated",
            "save the file in the program that calculates it, or write the value",
        )
    return None


def readings(text: str, mark: str = "") -> tuple[float, ...]:
    """Every number that a text may mean: none, one, or two where the decimal mark is not settled.

    Parameters
    ----------
    text : str
        A number alone: ``48,5``, ``1 100``, ``1'100.5``, ``1.100,5``, ``1e3``.
    mark : str
        The decimal mark of the whole file, ``.`` or ``,``; empty where that is not settled.
    """
    text = plain(text[: LONGEST + 1])
    if len(text) > LONGEST:
        return ()
    if _NOT_FINITE.fullmatch(text):
        return (float(text),)
    found = _ONE_MARK.fullmatch(text)
    if found and (found[2] or found[4]):
        sign, whole, sep, part, power = (each or "" for each in found.groups())
        if sep == "," and not part:
            return ()
        decimal = float(f"{sign}{whole or 0}.{part or 0}{power}")
        if len(part) != 3 or not 1 <= len(whole) <= 3 or whole[0] == "0" or power or mark == sep:
            return (decimal,)
        thousands = float(f"{sign}{whole}{part}")
        return (thousands,) if mark else (decimal, thousands)
    found = _GROUPED.fullmatch(text)
    if not found or (found[5] and found[5] == found[4]):
        return ()
    sign, first, groups, _, _, part = found.groups()
    return (float(f"{sign}{first}{re.sub('[^0-9]', '', groups)}.{part or 0}"),)


def amount(text: str) -> tuple[str, str] | None:
    """The number and the unit of one quantity, both as written (the unit may be empty); None for anything else."""
    found = _AMOUNT.fullmatch(plain(text)) if len(text) <= LONGEST else None
    return None if found is None else (found[1].strip(), (found[2] or "").strip())


def marks_shown(texts: Iterable[str]) -> set[str]:
    """The decimal marks that the numbers among these texts show, ``.`` and ``,``.

    A number shows its mark by digits other than three behind it, by a zero before it, or by marks of two kinds.
    """
    shown = set()
    for text in texts:
        if "," not in text and "." not in text:
            continue
        found = amount(text)
        if found and len(readings(found[0])) == 1:
            number = plain(found[0])
            thousands = [each for each in ".," if number.count(each) > 1]
            last = number[max(number.rfind("."), number.rfind(","))]
            shown.add(("," if thousands[0] == "." else ".") if thousands else last)
    return shown


# ---------------------------------------------------------------- one field


def number_in(rule: Declared, number: str, convert: Conversion, mark: str = "") -> float | Fault:
    """The one number of a field that a written number means; ranges are checked later.

    A point that nothing settles marks decimals where thousands would be out of the field's range; a comma is asked for.
    """
    found = [convert(value) for value in readings(number, mark)]
    if len(found) == 2 and "." in number and check(rule, found[1], "", reading=True)[1]:
        found = found[:1]
    if len(found) == 1:
        return found[0]
    if found:
        low, high = found
        words = f"{low:.12g} or {high:.12g} {rule.unit}".rstrip()
        return Fault("", rule.name, number, f"may be {words}: nothing settles what '{number[-4]}' marks",
                     f"write {low:.12g} or {high:.12g}")  # fmt: skip
    return Fault("", rule.name, number, f"must be {rule.rule}")


def quantity(rule: Declared, text: str, mark: str = "", unit: str = "", stated: bool = False) -> float | Fault:
    """The number of a field from a text with or without a unit; ranges are checked later.

    Parameters
    ----------
    rule : Declared
        The field; its unit is that of the answer.
    text : str
    mark : str
        Settled decimal mark, as :func:`readings` takes it.
    unit : str
        What a number without a unit is in; empty for the field's own.
    stated : bool
        The column says that unit: one of another name in the text contradicts it.
    """
    found = amount(text)
    if found is None:
        return Fault("", rule.name, text, f"must be {rule.rule}")
    number, own = found
    convert = conversion(own or unit or rule.unit, rule.unit)
    if convert is None:
        words = [each or "left out" for each in units_for(rule.unit)]
        there = unit or rule.unit
        hint = f"write {number} without the unit" + (f": the column is in {there}" if stated and there else "")
        return Fault("", rule.name, text, f"the unit must be {' or '.join(words)}", hint)
    value = number_in(rule, number, convert, mark)
    column = conversion(unit or rule.unit, rule.unit)
    if own and stated and column is not None and not isinstance(value, Fault) and column != convert:
        there = unit or rule.unit
        hint = f"write {(value - column.offset) / column.factor:.4g}: the column is in {there}"
        rule_text = f"contradicts its column, which is in {there}"
        return Fault("", rule.name, text, rule_text, f"write the number without the unit: the column is in {there}"
                     if column.reciprocal else hint)  # fmt: skip
    return value


_MIXED_UP = {
    "in": ("mm", "cm"), "g": ("kg", "oz"), "ohm": ("mohm",), "mohm": ("ohm",), "mAh": ("Ah",), "A": ("mA",),
}  # fmt: skip
"""Units that numbers of a field are mixed up with."""


def other_unit(rule: Declared, value: float) -> str:
    """A hint at the unit in which a number would be in the field's range; empty where there is none."""
    for unit in _MIXED_UP.get(rule.unit, ()):
        convert = conversion(unit, rule.unit)
        if convert is not None and not check(rule, convert(value), "", reading=True)[1]:
            return f"in {unit}? then it is {convert(value):.4g} {rule.unit}"
    return ""


def out_of_range(cls: type, values: Mapping[str, Any]) -> list[Fault]:
    """What is wrong with the numbers that a short form or a name says, each held against its own field."""
    faults = []
    for rule in declared(cls):
        value = values.get(rule.name)
        if value is None:
            continue
        for problem in check(rule, value, rule.name, reading=True)[1]:
            said = f"read as {rule.name} {value:.6g}" if isinstance(value, int | float) else f"read as {value}"
            hint = problem.hint or (other_unit(rule, value) if isinstance(value, float) else "")
            faults.append(Fault("", rule.name, value, f"{said}: {problem.rule}", hint))
    return faults


# ---------------------------------------------------------------- short forms of several fields

_N = r"\d+(?:[.,]\d+)?"
CELLS = re.compile(r"(\d{1,2})\s*S\s*(?:(\d{1,2})\s*P)?", re.IGNORECASE)
SIZE = re.compile(
    rf"({_N}|\.\d+)\s*(?:\"|in|inch)?\s*x\s*({_N}|\.\d+)(?:\s*x\s*(\d+))?\s*(\"|in|inch|inches|mm|cm)?"
    r"\s*(?:E|F|SF|R|L|P)?",
    re.IGNORECASE,
)
"""Letters behind a size say what it is made for or which way it turns."""
_LIPO, _CELL = r"(?:(?:lipo|li-po)\s*)?", r"\s*(?:S|cells?|zellen)?"
_SPAN = re.compile(
    rf"{_LIPO}(\d{{1,2}})\s*S?\s*(?:-|/|~|to|bis|a|\.\.|…)\s*(\d{{1,2}}){_CELL}\s*{_LIPO}", re.IGNORECASE
)
_MOST = re.compile(rf"(?:max\.?|up to|bis|<=|≤)?\s*{_LIPO}(\d{{1,2}}){_CELL}\s*(?:max\.?)?\s*{_LIPO}", re.IGNORECASE)
_COUNT = re.compile(rf"{_LIPO}(\d{{1,2}}){_CELL}\s*{_LIPO}", re.IGNORECASE)
_PAIR_C = re.compile(rf"({_N})\s*C?\s*(?:cont\w*\.?)?\s*[-/]\s*({_N})\s*C?\s*(?:burst|peak|max)?\.?", re.IGNORECASE)
_PAIR_A = re.compile(rf"({_N})\s*A?\s*/\s*({_N})\s*A", re.IGNORECASE)
BLADE_WORDS = {
    "single": 1, "one": 1, "two": 2, "twin": 2, "zwei": 2, "three": 3, "tri": 3, "drei": 3, "four": 4, "quad": 4,
    "vier": 4, "five": 5, "six": 6,
}  # fmt: skip
_BLADES = re.compile(rf"(\d|{'|'.join(BLADE_WORDS)})\s*-?\s*(?:blades?|bladed|blatt|pales?|palas?)", re.IGNORECASE)
_SHAPES = (*FAMILIES, "unknown")
_SHAPE = re.compile(rf"(?P<size>.*\S)[\s,;]+(?P<word>{'|'.join(_SHAPES)}|{_BLADES.pattern})", re.IGNORECASE | re.DOTALL)
_FOR = re.compile(rf"({_N})\s*A?\s*[\s/@(]+\s*(?:for\s+)?({_N})\s*(?:s|sec|seconds?)\.?\s*\)?", re.IGNORECASE)
_VOLTS = re.compile(rf"({_N})\s*V?(?:\s*(?:-|/|~|to|bis)\s*({_N})\s*V?)?", re.IGNORECASE)
_ONE_VOLTAGE = re.compile(rf"({_N})\s*V?", re.IGNORECASE)
_BOTH = (rf"({_N})\s*V", r"(\d{1,2})\s*S")
_PIECES = re.compile(r"x?\s*(\d+)\s*(?:x|pcs?|pieces?|st|stk|stuck|ks|szt|uds?|pz|off)?\.?", re.IGNORECASE)
LABEL_V = "nominal voltage"
NOMINAL_WITHIN = 0.04
"""Labels round: 3.6 and 3.7 V stand for one Li-ion cell, 3.2 and 3.3 V for one of LiFePO4."""
BEC = "a BEC"
"""Said to be there, not of which kind."""
_GEAR = re.compile(rf"({_N})\s*:\s*1")
_YES = ("true", "yes", "1", "ja", "oui", "si", "sí", "tak", "mit", "with", "avec", "con")
_NO = ("false", "no", "0", "nein", "non", "nie", "nee", "ohne", "without", "sans", "sin", "senza")
YES_NO = dict.fromkeys(_YES, True) | dict.fromkeys(_NO, False)
"""Words of a cell that say whether something is there."""
_WORD = "opto|none|linear|lineal|lineare|lineaire|switching|switch|[lsu]?bec|" + "|".join(
    word if word.isalpha() else rf"{word}(?=\s*$)" for word in YES_NO
)
_SUPPLY = re.compile(
    rf"(?P<word>{_WORD})?[\s,:]*(?:bec)?[\s,:]*"
    rf"(?:(?P<volts>{_N})\s*V(?:\s*[/,@x-]?\s*(?P<amps>{_N})\s*A)?|(?P<only>{_N})\s*A)?[\s,:]*(?P<after>linear|lineal|lineare|lineaire|switching|[lsu]?bec)?",
    re.IGNORECASE,
)
_SUPPLIES = {
    "opto": "none", "none": "none", "linear": "linear", "lbec": "linear", "bec": BEC, "switching": "switching",
    "switch": "switching", "sbec": "switching", "ubec": "switching",
    **{word: BEC if there else "none" for word, there in YES_NO.items()},
}  # fmt: skip


def _decimal(text: str) -> float:
    return float(text.replace(",", "."))


def _span(text: str) -> dict[str, Any] | None:
    if found := _SPAN.fullmatch(text):
        return {"cells_min": int(found[1]), "cells_max": int(found[2])}
    found = _MOST.fullmatch(text)
    return {"cells_max": int(found[1])} if found else None


def _volts(text: str) -> dict[str, Any] | None:
    """Cells of a range of voltages, each end the nominal or the full voltage of so many LiPo cells."""
    found = _VOLTS.fullmatch(text)
    if found is None:
        return _span(text) if re.search(r"\dS", text, re.IGNORECASE) else None
    ends = [{n for n in range(1, 15) for each in (3.7, 4.2) if abs(_decimal(volts) / (n * each) - 1.0) < 0.012}
            for volts in found.groups() if volts]  # fmt: skip
    if any(len(each) != 1 for each in ends):
        return None
    cells = sorted(each.pop() for each in ends)
    return {"cells_max": cells[-1]} | ({"cells_min": cells[0]} if len(ends) == 2 else {})


def _label_v(text: str) -> dict[str, Any] | None:
    if found := _ONE_VOLTAGE.fullmatch(text):
        return {LABEL_V: _decimal(found[1])}
    both = re.fullmatch(rf"(?:{_BOTH[0]}[\s(/,]+{_BOTH[1]}\)?|{_BOTH[1]}[\s(/,]+{_BOTH[0]}\)?)", text, re.IGNORECASE)
    if both:
        volts, cells = both[1] or both[4], both[2] or both[3]
        return {LABEL_V: _decimal(volts), "cells_series": int(cells)}
    return _series(text) if CELLS.fullmatch(text) else None


def cells_of_label(values: dict[str, Any]) -> list[Fault]:
    """Turn the nominal voltage of a pack's label, if there is one, into the cells in series."""
    volts = values.pop(LABEL_V, None)
    if volts is None:
        return []
    kind = chemistry_named(values.get("chemistry") or "lipo")
    cells = round(volts / kind.nominal_v) if 0.0 < volts < 1e3 else 0
    if not cells or abs(volts / (cells * kind.nominal_v) - 1.0) > NOMINAL_WITHIN:
        near = max(cells, 1)
        hint = f"{near}S is {near * kind.nominal_v:.3g} V"
        return [Fault("", value=f"{volts:g}V", rule=f"no nominal voltage of {kind.name} cells in series", hint=hint)]
    stated = values.get("cells_series") or cells
    values["cells_series"] = stated
    if stated != cells:
        rule = f"{volts:g} V is {cells}S of {kind.name}, but {stated}S is said too"
        return [Fault("", "cells_series", stated, rule)]
    return []


def supply_of_label(values: dict[str, Any]) -> bool:
    """Take a BEC of a kind that nobody said as linear, the kind that heats; tell whether one was taken so."""
    return bool(values.pop(BEC, False)) and values.setdefault("servo_supply", "linear") == "linear"


def _series(text: str) -> dict[str, Any] | None:
    if found := CELLS.fullmatch(text):
        return {"cells_series": int(found[1])} | ({"cells_parallel": int(found[2])} if found[2] else {})
    found = _COUNT.fullmatch(text)
    return {"cells_series": int(found[1])} if found else None


def _size(text: str) -> dict[str, Any] | None:
    """Diameter and pitch, blades and family behind them: ``7x4``, ``5x4.5x3``, ``5x4.5 wide 3-blade``."""
    shape: dict[str, Any] = {}
    size = text
    while (cut := _SHAPE.fullmatch(size)) and cut["size"]:
        size, word = cut["size"], cut["word"].lower()
        shape |= ({} if word == "unknown" else {"family": word}) if word in _SHAPES else _blades(word) or {}
    found = SIZE.fullmatch(size)
    if found is None:
        return None
    unit = (found[4] or "in").lower()
    factor = {"mm": MM_M / INCH_M, "cm": 10.0 * MM_M / INCH_M}.get(unit, 1.0)
    sizes: dict[str, Any] = {"diameter_in": factor * _decimal(found[1]), "pitch_in": factor * _decimal(found[2])}
    return sizes | ({"blades": int(found[3])} if found[3] else {}) | shape


def _supply(text: str) -> dict[str, Any] | None:
    found = _SUPPLY.fullmatch(text)
    if found is None or not any(found.groupdict().values()):
        return None
    word = (found["after"] or found["word"] or "").lower()
    word = "linear" if word.startswith("line") else word
    if word == "bec" and found["word"]:
        word = found["word"].lower()
    kind = _SUPPLIES[word or "bec"]
    volts = {} if found["volts"] is None else {"servo_supply_v": _decimal(found["volts"])}
    if kind == BEC:
        return {BEC: True} | volts
    return None if kind == "none" and volts else {"servo_supply": kind} | volts


def _two(pattern: re.Pattern[str], first: str, second: str) -> Callable[[str], dict[str, Any] | None]:
    def read(text: str) -> dict[str, Any] | None:
        found = pattern.fullmatch(text)
        return {first: _decimal(found[1]), second: _decimal(found[2])} if found else None

    return read


def _gear(text: str) -> dict[str, Any] | None:
    found = _GEAR.fullmatch(text)
    return {"gear_ratio": _decimal(found[1])} if found else None


def _pieces(text: str) -> dict[str, Any] | None:
    found = _PIECES.fullmatch(text)
    return {"count": int(found[1])} if found else None


def _blades(text: str) -> dict[str, Any] | None:
    found = _BLADES.fullmatch(text)
    return {"blades": BLADE_WORDS.get(found[1].lower()) or int(found[1])} if found else None


_BURST = _two(_FOR, "burst_current_a", "burst_seconds")
_CURRENTS = _two(_PAIR_A, "max_current_a", "burst_current_a")
SHORT_FORMS: Mapping[type, Mapping[str, Callable[[str], dict[str, Any] | None]]] = {
    Motor: {
        "count": _pieces,
        "cells": _span,
        "voltage": _volts,
        "gear_ratio": _gear,
        "burst_current_a": _BURST,
        "max_current_a": _CURRENTS,
    },
    Controller: {
        "count": _pieces,
        "cells": _span,
        "voltage": _volts,
        "servo_supply": _supply,
        "burst_current_a": _BURST,
        "max_current_a": _CURRENTS,
    },
    Pack: {
        "count": _pieces,
        "cells": _series,
        "voltage": _label_v,
        "c_rating": _two(_PAIR_C, "c_rating", "burst_c_rating"),
    },
    Propeller: {"count": _pieces, "size": _size, "blades": _blades},
}
"""What a cell may hold beside a plain value, by field; ``cells`` and ``size`` stand for several fields at once."""


def short_form(cls: type, field: str, text: str) -> dict[str, Any] | None:
    """Field to value of a short form; None where the text is none."""
    read = SHORT_FORMS.get(cls, {}).get(field)
    return read(plain(text)) if read is not None and len(text) <= LONGEST else None
