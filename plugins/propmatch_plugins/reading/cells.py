"""Whole columns at once: cells to values, and every cell that breaks its column's declaration.

Numbers of a column are converted in one go and held against the declared range as one array. Only a cell that fails
is looked at alone, with the same check and so the same words as a value from anywhere else.
"""

import datetime
import re
from collections.abc import Sequence
from typing import Any

import numpy as np

from propmatch.records.fields import Declared, check
from propmatch.units import conversion
from propmatch_plugins.reading.heading import Column

__all__ = ["Bad", "read_column"]

Bad = dict[int, tuple[object, str, str]]
"""Place in the column to value, rule and hint."""

_WORDED = re.compile(r"([+-]?\d+(?:[.,]\d+)?)\s*([^\d\s.,+-].*)")
_THOUSANDS = re.compile(r"[+-]?\d{1,3}(?:[,.' ]\d{3})+(?:[.,]\d+)?")
_UNKNOWN = {"na", "n/a", "n.a.", "nan", "none", "null", "-", "--", "?", "unknown", "tbd"}
_LIKELY_UNITS = {
    "in": ("mm", "cm"), "g": ("kg", "oz"), "ohm": ("mohm",), "mohm": ("ohm",), "mAh": ("Ah",), "A": ("mA",),
}  # fmt: skip
"""Units that columns of ours are mixed up with."""


def read_column(column: Column, cells: Sequence[Any], comma: bool) -> tuple[list[Any], Bad]:
    """Values of one column, None where the cell is empty, and what is wrong.

    Parameters
    ----------
    column : Column
    cells : sequence
        Stripped text; from a workbook also numbers, true, false and dates. None and "" are empty.
    comma : bool
        Numbers in text have a decimal comma.
    """
    if column.rule.kind in ("number", "integer"):
        return _numbers(column, cells, comma)
    return _words(column.rule, cells)


# ---------------------------------------------------------------- numbers


def _numbers(column: Column, cells: Sequence[Any], comma: bool) -> tuple[list[Any], Bad]:
    bad: Bad = {}
    values = _all_floats(cells, comma)
    if values is None:
        values = [_float(column, cell, comma, at, bad) for at, cell in enumerate(cells)]
    array = np.array(values, dtype=np.float64)
    given = np.array([value is not None for value in values], dtype=bool)
    if column.convert is not None:
        values = [None if value is None else column.convert(value) for value in values]
        array = np.array(values, dtype=np.float64)
    for at in np.flatnonzero(given & ~_inside(column.rule, array)).tolist():
        bad[at] = _outside(column, cells[at], values[at])
    if column.rule.kind == "integer":
        values = [int(value) if value is not None and value == value // 1 else None for value in values]
    return values, bad


def _all_floats(cells: Sequence[Any], comma: bool) -> list[float | None] | None:
    """Every cell as a number, or None when any needs a closer look."""
    try:
        text = "\n".join(cells)
    except TypeError:
        return None
    if "_" in text or ("." in text if comma else "," in text):
        return None
    if comma:
        cells = text.replace(",", ".").split("\n")
    try:
        return [float(cell) if cell else None for cell in cells]
    except ValueError:
        return None


def _float(column: Column, cell: Any, comma: bool, at: int, bad: Bad) -> float | None:
    """One cell, or None with an entry in ``bad``."""
    if cell is None or cell == "":
        return None
    if isinstance(cell, int | float) and not isinstance(cell, bool):
        return float(cell)
    rule = column.rule
    if not isinstance(cell, str):
        hint = "a spreadsheet makes a date of what looks like one: format the column as text" if _is_date(cell) else ""
        bad[at] = (str(cell), "must be " + rule.rule, hint)
        return None
    wrong_mark = "." if comma else ","
    if wrong_mark not in cell and "_" not in cell:
        try:
            return float(cell.replace(",", "."))
        except ValueError:
            pass
    bad[at] = (cell, "must be " + rule.rule, _number_hint(column, cell, comma))
    return None


def _number_hint(column: Column, cell: str, comma: bool) -> str:
    if cell.lower() in _UNKNOWN:
        return "leave the cell empty where the value is not known"
    if _THOUSANDS.fullmatch(cell):
        mark = "a comma" if comma else "a point"
        return f"write the number without thousands separators, with {mark} for decimals"
    if re.fullmatch(r"[+-]?\d+[.,]\d+", cell):
        mine, other = ("comma", "point") if comma else ("point", "comma")
        return f"this file writes decimals with a {mine}, this cell with a {other}"
    found = _WORDED.fullmatch(cell)
    if not found:
        return ""
    number, word = found.groups()
    unit = column.convert.theirs if column.convert else column.rule.unit
    convert = conversion(word, unit)
    if convert is None or convert.theirs == convert.ours:
        where = f": the column is in {unit}" if unit else ""
        return f"write {number} without the unit{where}"
    return f"write {convert(float(number.replace(',', '.'))):.4g}: the column is in {unit}"


def _inside(rule: Declared, array: Any) -> Any:
    good = np.isfinite(array)
    with np.errstate(invalid="ignore"):
        for limit, holds in (
            (rule.gt, np.greater), (rule.ge, np.greater_equal), (rule.lt, np.less), (rule.le, np.less_equal),
        ):  # fmt: skip
            if limit is not None:
                good &= holds(array, limit)
        if rule.kind == "integer":
            good &= array == np.floor(array)
    return good


def _outside(column: Column, cell: Any, value: Any) -> tuple[object, str, str]:
    """Words for a number out of its range, with the unit it might be in."""
    _, problems = check(column.rule, value, column.rule.name, reading=True)
    rule = problems[0].rule if problems else "must be " + column.rule.rule
    if column.convert is not None:
        return cell, f"read as {value:.6g} {column.rule.unit}, {rule}", ""
    hint = ""
    for unit in _LIKELY_UNITS.get(column.rule.unit, ()):
        convert = conversion(unit, column.rule.unit)
        if convert and np.isfinite(value) and value > 0 and bool(_inside(column.rule, np.array(convert(value)))):
            hint = f"in {unit}? then it is {convert(value):.4g} {column.rule.unit}"
            break
    return value, rule, hint


# ---------------------------------------------------------------- words


def _words(rule: Declared, cells: Sequence[Any]) -> tuple[list[Any], Bad]:
    bad: Bad = {}
    values: list[Any] = [_text(cell) for cell in cells]
    if rule.kind == "flag":
        values = [_flag(value) for value in values]
    good = frozenset(rule.options)
    for at, value in enumerate(values):
        if value is None or value in good or (rule.kind == "text" and isinstance(value, str)):
            continue
        if _is_date(value):
            hint = "a spreadsheet makes a date of what looks like one: format the column as text"
            bad[at] = (str(value), "must be " + rule.rule, hint)
            continue
        _, problems = check(rule, value, rule.name, reading=True)
        for problem in problems[:1]:
            bad[at] = (problem.value, problem.rule, problem.hint)
    return values, bad


def _text(cell: Any) -> Any:
    """Text of a cell, None when empty; a workbook's number becomes the text it shows, ``42`` and not ``42.0``."""
    if cell is None or cell == "":
        return None
    if isinstance(cell, float) and cell.is_integer():
        return str(int(cell))
    if isinstance(cell, int | float) and not isinstance(cell, bool):
        return repr(cell)
    return cell


def _flag(value: Any) -> Any:
    words = {"true": True, "yes": True, "1": True, "false": False, "no": False, "0": False}
    return words.get(value.lower(), value) if isinstance(value, str) else value


def _is_date(value: Any) -> bool:
    return isinstance(value, datetime.date | datetime.time | datetime.timedelta)
