"""Whole columns at once: cells to values, and every cell that breaks its column's declaration.

Numbers of a column are converted in one go and held against the declared range as one array. Only a cell that fails
is looked at alone, with the same check and so the same words as a value from anywhere else.
"""

import datetime
import re
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from propmatch.faults import Fault
from propmatch.files import cell_meant
from propmatch.records.fields import Declared, check
from propmatch.records.typed import chemistry_of
from propmatch.records.written import (
    SHORT_FORMS,
    YES_NO,
    amount,
    no_value,
    other_unit,
    out_of_range,
    quantity,
    readings,
    short_form,
)
from propmatch.units import conversion
from propmatch_plugins.reading.heading import Column

__all__ = ["Bad", "read_column", "read_fields"]

Bad = dict[int, tuple[object, str, str]]
"""Place in the column to value, rule and hint."""

_TWO_READINGS = re.compile(r"^[-+]?[1-9]\d{0,2}\.\d{3}$", re.MULTILINE)
_UNKNOWN = {"na", "n/a", "n.a.", "none", "null", "-", "--", "–", "—", "?", "unknown", "tbd", "k.a.", "k. a."}
_BARE_USUAL: Mapping[str, tuple[float, float]] = {
    "resistance_ohm": (0.0, 1.5), "resistance_mohm": (0.2, 500.0), "cell_resistance_mohm": (0.3, 2000.0),
    "capacity_mah": (40.0, 1e5), "no_load_current_a": (0.0, 10.0),
}  # fmt: skip
"""Beyond these a number whose unit nobody said is asked for: values from memory."""


def read_fields(cls: type, column: Column, cells: Sequence[Any], mark: str) -> tuple[dict[str, list[Any]], Bad]:
    """Field to values of one column, where a cell may also hold a short form of several fields."""
    name = column.rule.name
    forms = SHORT_FORMS.get(cls, {})
    number = column.rule.kind in ("number", "integer")
    plain = name not in forms or (number and all(not isinstance(cell, str) or _is_plain(cell) for cell in cells))
    if plain and column.rule.kind != "short form":
        values, bad = read_column(column, cells, mark)
        return {name: values}, bad
    found: dict[str, list[Any]] = {}
    rest: list[Any] = list(cells)
    outside: Bad = {}
    for at, cell in enumerate(cells):
        if isinstance(cell, str) and (wrong_cell := no_value(cell)):
            outside[at], rest[at] = (cell, *wrong_cell), None
            continue
        text = _text(cell)
        read = short_form(cls, name, text) if isinstance(text, str) and text.lower() not in _UNKNOWN else None
        wrong = out_of_range(cls, read or {})
        if wrong:
            outside[at] = (text, "; ".join(each.rule for each in wrong), wrong[0].hint)
        for key, value in {} if wrong else (read or {}).items():
            found.setdefault(key, [None] * len(cells))[at] = value
        if read or (isinstance(text, str) and text.lower() in _UNKNOWN):
            rest[at] = None
    if column.rule.kind == "short form":
        return found, outside | {
            at: _no_short_form(column, cell) for at, cell in enumerate(rest) if cell not in (None, "")
        }
    values, bad = read_column(column, rest, mark)
    own = found.get(name, [None] * len(cells))
    return found | {name: [a if b is None else b for a, b in zip(values, own, strict=True)]}, outside | bad


def _is_plain(cell: str) -> bool:
    return cell.replace(".", "", 1).isdigit()


def _no_short_form(column: Column, cell: Any) -> tuple[object, str, str]:
    hint = "a spreadsheet makes a date of what looks like one: format the column as text" if _is_date(cell) else ""
    return (cell if isinstance(cell, str) else str(cell)), f"must be {column.rule.doc}", hint


def read_column(column: Column, cells: Sequence[Any], mark: str) -> tuple[list[Any], Bad]:
    """Values of one column, None where the cell is empty or says that the value is not known, and what is wrong.

    Parameters
    ----------
    column : Column
    cells : sequence
        Stripped text; from a workbook also numbers, true, false and dates. None and "" are empty.
    mark : str
        Settled decimal mark of numbers in text, ``.`` or ``,``; empty where nothing settles it.
    """
    if column.rule.kind in ("number", "integer"):
        return _numbers(column, cells, mark)
    return _words(column.rule, cells)


# ---------------------------------------------------------------- numbers


def _numbers(column: Column, cells: Sequence[Any], mark: str) -> tuple[list[Any], Bad]:
    bad: Bad = {}
    bare: set[int] | None = None
    values = _all_floats(cells, mark)
    if values is None:
        values, bare = _one_by_one(column, cells, mark, bad)
    elif column.convert is not None:
        values = [None if value is None else column.convert(value) for value in values]
    array = np.array(values, dtype=np.float64)
    given = np.array([value is not None for value in values], dtype=bool)
    for at in np.flatnonzero(given & ~_inside(column.rule, array)).tolist():
        bad[at] = _outside(column, cells[at], values[at])
    if not column.stated and column.rule.name in _BARE_USUAL:
        low, high = _BARE_USUAL[column.rule.name]
        for at, value in enumerate(values):
            if value is not None and at not in bad and (bare is None or at in bare) and not low <= value <= high:
                _, _, hint = _outside(column, cells[at], value, asked=True)
                bad[at] = (cells[at], "is hard to believe without its unit", hint or "write the unit beside it")
    if column.rule.kind == "integer":
        values = [int(value) if value is not None and value == value // 1 else None for value in values]
    return values, bad


def _all_floats(cells: Sequence[Any], mark: str) -> list[float | None] | None:
    """Every cell as a number, or None when any needs a closer look."""
    try:
        text = "\n".join(cells)
    except TypeError:
        return None
    if text.count("\n") >= len(cells):  # a cell of several lines
        return None
    if "_" in text or ("." in text if mark == "," else "," in text) or (not mark and _TWO_READINGS.search(text)):
        return None
    if mark == ",":
        cells = text.replace(",", ".").split("\n")
    try:
        return [float(cell) if cell else None for cell in cells]
    except ValueError:
        return None


def _one_by_one(column: Column, cells: Sequence[Any], mark: str, bad: Bad) -> tuple[list[float | None], set[int]]:
    """Each cell as a number in the unit of the field, None with an entry in ``bad``, and which say no unit."""
    values: list[float | None] = [None] * len(cells)
    bare: set[int] = set()
    other = False
    theirs = column.convert.theirs if column.convert else ""
    for at, cell in enumerate(cells):
        if cell is None or cell == "" or (isinstance(cell, str) and cell.lower() in _UNKNOWN):
            continue
        if isinstance(cell, int | float) and not isinstance(cell, bool):
            values[at] = column.convert(float(cell)) if column.convert else float(cell)
            bare.add(at)
        elif isinstance(cell, str) and (wrong := no_value(cell)):
            bad[at] = (cell, *wrong)
        elif isinstance(cell, str) and "_" not in cell:
            found = quantity(column.rule, cell, mark, theirs, column.stated)
            if isinstance(found, Fault):
                bad[at] = (cell, found.rule, found.hint)
                continue
            values[at] = found
            unit = (amount(cell) or ("", ""))[1]
            bare |= set() if unit else {at}
            other |= bool(unit) and conversion(unit, column.rule.unit) != conversion(column.rule.unit, column.rule.unit)
        else:
            hint = "a spreadsheet makes a date of what looks like one: format the column as text"
            bad[at] = (str(cell), "must be " + column.rule.rule, hint if _is_date(cell) else "")
    if other and not column.stated:
        for at in bare:
            bad[at], values[at] = (cells[at], "says no unit, and others of its column say another", "write it"), None
    return values, bare


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


def _outside(column: Column, cell: Any, value: Any, asked: bool = False) -> tuple[object, str, str]:
    """Words for a number out of its range, with the unit it might be in."""
    _, problems = check(column.rule, value, column.rule.name, reading=True)
    rule = problems[0].rule if problems else "must be " + column.rule.rule
    written = amount(cell) if isinstance(cell, str) else None
    if not asked and (column.convert is not None or (written and (written[1] or "," in written[0]))):
        return cell, f"read as {value:.6g} {column.rule.unit}, {rule}", _thousands(column, written)
    return value, rule, other_unit(column.rule, value) if value > 0 else ""


def _thousands(column: Column, written: tuple[str, str] | None) -> str:
    """A hint where the other reading of a comma or point would be in range."""
    number, unit = written or ("", "")
    convert = conversion(unit or (column.convert.theirs if column.convert else column.rule.unit), column.rule.unit)
    both = [convert(value) for value in readings(number)] if convert else []
    if len(both) < 2 or not bool(_inside(column.rule, np.array(both[1]))):
        return ""
    return f"thousands? then it is {both[1]:.6g} {column.rule.unit}, written without '{number[-4]}'"


# ---------------------------------------------------------------- words


def _words(rule: Declared, cells: Sequence[Any]) -> tuple[list[Any], Bad]:
    bad: Bad = {}
    values: list[Any] = [_text(cell) for cell in cells]
    if rule.name == "chemistry":
        values = [chemistry_of(value) or value if isinstance(value, str) else value for value in values]
    elif rule.kind == "choice":
        known = {**{option: option for option in rule.options}, rule.nothing: None}
        values = [known.get(value.lower(), value) if isinstance(value, str) else value for value in values]
    if rule.kind == "flag":
        values = [_flag(value) for value in values]
    for at, cell in enumerate(cells):
        if isinstance(cell, str) and cell[:1] in ("#", "=") and (wrong := no_value(cell)):
            bad[at], values[at] = (cell, *wrong), None
    good = frozenset(rule.options)
    for at, value in enumerate(values):
        if value is None or value in good or (rule.kind == "text" and isinstance(value, str) and value.isprintable()):
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
    return cell_meant(cell) if isinstance(cell, str) else cell


def _flag(value: Any) -> Any:
    return YES_NO.get(value.lower(), value) if isinstance(value, str) else value


def _is_date(value: Any) -> bool:
    return isinstance(value, datetime.date | datetime.time | datetime.timedelta)
