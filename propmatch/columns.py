"""A number of an answer declared once: the text table, CSV, JSON, HTML and the page read its column from there.

A column is a field of the class whose objects are the rows, declared with :func:`number` in one line. One that says
how its number follows from draws has a range: NAME_low and NAME_high beside NAME.
"""

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from enum import IntEnum, IntFlag
from functools import cache
from typing import TYPE_CHECKING, Any, TypedDict, Unpack

import attrs

from propmatch.files import csv_text

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

__all__ = [
    "CUBIC_LOADING",
    "POWER_LOADING",
    "STATED",
    "STATIC",
    "STATIC_HALF",
    "UNIT_OF",
    "Column",
    "Range",
    "beside",
    "checked_by",
    "columns_of",
    "comma_separated",
    "drawn_of",
    "headed",
    "lanes_of",
    "number",
    "numbers_of",
    "plain_data",
    "ranges_of",
    "with_ranges",
]

UNIT_OF = {"mass": "g", "thrust": "N", "speed": "m/s"}
"""Kinds of numbers that text shows in the reader's unit, and the unit they are held in."""
STATIC = "full throttle, static, full battery"
STATIC_HALF = "full throttle, static, half charge"
"""The conditions of ``_static`` and ``_static_half`` in a name."""
POWER_LOADING = f"power from the pack over all-up mass, {STATIC}"
CUBIC_LOADING = "all-up mass over wing area^1.5"
"""Labels of ``pack_power_per_mass_w_kg`` and ``cubic_loading_kg_m3``, which the states of power trains give."""


@attrs.frozen
class Range:
    """Ends of a number's range; NaN at an end that has no answer."""

    low: float
    high: float


@attrs.frozen(kw_only=True)
class Column:
    """One column of a list.

    Attributes
    ----------
    name : str
        Attribute of a row, key in JSON, head in CSV and HTML.
    heading : str
        Over the column in text, ``{unit}`` for the unit; empty where the text table leaves it out.
    kind : str
        One of ``UNIT_OF``; ``%`` for a share; any other is the unit itself.
    digits : int
        After the point.
    label : str
        What it means in full words, the condition included: one name has one label in every list of every command.
    place : int
        Where people read it, smallest first; equal ones stand as they are declared.
    page : str
        The name under which the page shows and explains it; empty where it does not.
    html : bool
        Whether a notebook's table has it.
    check : str
        Name of the check whose value it is; empty where none judges it.
    getter : callable, optional
        From what was computed to the number of each lane, (N,); default: its attribute ``name``.
    drawn : callable, optional
        From what was computed of all draws to this number of each, (..., draws), for each row of a list; None where
        the number has no range.
    """

    name: str = ""
    heading: str = ""
    kind: str = ""
    digits: int = 1
    label: str = ""
    place: int = 9
    page: str = ""
    html: bool = True
    check: str = ""
    getter: "Callable[..., NDArray[np.float64]] | None" = None
    drawn: "Callable[..., NDArray[np.float64]] | None" = None

    def __call__(self, computed: object) -> "NDArray[np.float64]":
        """The number of each lane."""
        found: NDArray[np.float64] = self.getter(computed) if self.getter else getattr(computed, self.name)
        return found

    @property
    def unit(self) -> str:
        """The unit of the number as it is held."""
        return UNIT_OF.get(self.kind, self.kind)


class _Said(TypedDict, total=False):
    kind: str
    digits: int
    label: str
    place: int
    page: str
    html: bool
    check: str
    drawn: "Callable[..., NDArray[np.float64]]"


def number(heading: str = "", getter: "Callable[..., NDArray[np.float64]] | None" = None, **said: Unpack[_Said]) -> Any:
    """A field of a class of rows that is a column; arguments as the attributes of :class:`Column`."""
    return attrs.field(metadata={"column": Column(heading=heading, getter=getter, **said)})


@cache
def columns_of(cls: type) -> tuple[Column, ...]:
    """The columns of a class of rows as declared, which is their order in JSON and CSV."""
    return tuple(
        attrs.evolve(field.metadata["column"], name=field.name)
        for field in attrs.fields(cls)
        if "column" in field.metadata
    )


STATED = Range(math.nan, math.nan)
"""The range of a number that was not drawn."""


def numbers_of(row: object) -> dict[str, Any]:
    """The columns of one row by name."""
    own = columns_of(type(row))  # type: ignore[arg-type]
    return {column.name: getattr(row, column.name) for column in own}


def checked_by(columns: Iterable[Column]) -> dict[str, str]:
    """Of the numbers that a check judges the name of the check, by the number's."""
    return {column.name: column.check for column in columns if column.check}


def beside(numbers: Mapping[str, Any], ends: Mapping[str, float]) -> dict[str, Any]:
    """Numbers by name, each with ``NAME_low`` and ``NAME_high`` behind it where ``ends`` has them."""
    keys = [key for name in numbers for key in (name, f"{name}_low", f"{name}_high")]
    return {key: numbers[key] if key in numbers else ends[key] for key in keys if key in numbers or key in ends}


def headed(columns: Iterable[Column]) -> list[Column]:
    """Those that text shows, as people read them."""
    return sorted((column for column in columns if column.heading), key=lambda column: column.place)


def lanes_of(columns: Iterable[Column], computed: object) -> list[dict[str, float]]:
    """The numbers of each lane by name."""
    values = {column.name: column(computed) for column in columns}
    return [dict(zip(values, map(float, lane), strict=True)) for lane in zip(*values.values(), strict=True)]


def drawn_of(columns: Iterable[Column], computed: object) -> "dict[str, NDArray[np.float64]]":
    """The draws (..., draws) of each number that has a range, by name."""
    return {column.name: column.drawn(computed) for column in columns if column.drawn}


def ranges_of(
    drawn: "Mapping[str, NDArray[np.float64]]",
    ends: "Callable[[NDArray[np.float64]], tuple[NDArray[np.float64], NDArray[np.float64]]]",
) -> list[dict[str, Range]]:
    """The ranges of each row of a list by name; a single row is a list of one.

    Parameters
    ----------
    drawn : name to draws, (draws,) or (rows, draws)
    ends : from draws (rows, draws) to the low and high ends, (rows,) each
    """
    found = {name: ends(values.reshape(-1, values.shape[-1])) for name, values in drawn.items()}
    rows = max((low.size for low, _ in found.values()), default=1)
    return [{name: Range(float(low[at]), float(high[at])) for name, (low, high) in found.items()} for at in range(rows)]


def with_ranges(numbers: Mapping[str, Any], ranges: Mapping[str, Range]) -> dict[str, Any]:
    """Numbers by name, each that has a range followed by its ends."""
    ends = {f"{name}_{end}": getattr(each, end) for name, each in ranges.items() for end in ("low", "high")}
    return beside(numbers, ends)


def plain_data(value: Any) -> Any:
    """Numbers, texts, lists and mappings as JSON knows them; what is not finite becomes None."""
    if isinstance(value, IntFlag):
        return [] if not value else [flag.name for flag in value]
    if isinstance(value, IntEnum):
        return value.name
    if hasattr(value, "tolist"):
        value = value.tolist()
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if value is None or isinstance(value, bool | int | str):
        return value
    if isinstance(value, Mapping):
        return {str(key): plain_data(each) for key, each in value.items()}
    if isinstance(value, list | tuple | set | frozenset):
        return [plain_data(each) for each in value]
    if attrs.has(type(value)):
        return {field.name: plain_data(getattr(value, field.name)) for field in attrs.fields(type(value))}
    return str(value)


def comma_separated(rows: Sequence[Mapping[str, Any]]) -> str:
    """Rows as CSV, the keys of all of them as its heads."""
    if not rows:
        return ""
    flat = [_flat(row) for row in rows]
    heads = list(dict.fromkeys(key for row in flat for key in row))
    return csv_text([heads, *([_one_cell(plain_data(row.get(head))) for head in heads] for row in flat)])


def _flat(row: Mapping[str, Any]) -> Mapping[str, Any]:
    """A row whose source, if it has one, is the columns that a table of parts has for it."""
    found = row.get("source")
    return {**row, **found.columns} if found is not None and hasattr(found, "columns") else row


def _one_cell(value: Any) -> Any:
    """A list as ``a|b`` and a mapping as ``a=1|b=2``."""
    if isinstance(value, dict):
        value = [f"{key}={each}" for key, each in value.items()]
    return "|".join(map(str, value)) if isinstance(value, list) else value
