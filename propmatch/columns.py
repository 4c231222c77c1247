"""A number of an answer declared once: the text table, CSV, JSON, HTML and the page read its column from there.

A column is a field of the class whose objects are the rows, declared with :func:`number` in one line.
"""

from collections.abc import Callable, Iterable
from functools import cache
from typing import TYPE_CHECKING, Any

import attrs

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

__all__ = ["STATIC", "STATIC_HALF", "UNIT_OF", "Column", "columns_of", "headed", "lanes_of", "number", "numbers_of"]

UNIT_OF = {"mass": "g", "thrust": "N", "speed": "m/s"}
"""Kinds of numbers that text shows in the reader's unit, and the unit they are held in."""
STATIC = "full throttle at rest, full pack"
STATIC_HALF = "full throttle at rest, half charge"
"""The conditions of ``_static`` and ``_static_half`` in a name."""


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
    getter : callable, optional
        From what was computed to the number of each lane, (N,); default: its attribute ``name``.
    """

    name: str = ""
    heading: str = ""
    kind: str = ""
    digits: int = 1
    label: str = ""
    place: int = 9
    page: str = ""
    html: bool = True
    getter: "Callable[..., NDArray[np.float64]] | None" = None

    def __call__(self, computed: object) -> "NDArray[np.float64]":
        """The number of each lane."""
        found: NDArray[np.float64] = self.getter(computed) if self.getter else getattr(computed, self.name)
        return found

    @property
    def unit(self) -> str:
        """The unit of the number as it is held."""
        return UNIT_OF.get(self.kind, self.kind)


def number(
    heading: str = "",
    getter: "Callable[..., NDArray[np.float64]] | None" = None,
    *,
    kind: str = "",
    digits: int = 1,
    label: str = "",
    place: int = 9,
    page: str = "",
    html: bool = True,
) -> Any:
    """A field of a class of rows that is a column; arguments as the attributes of :class:`Column`."""
    column = Column(heading=heading, getter=getter, kind=kind, digits=digits, label=label, place=place, page=page,
                    html=html)  # fmt: skip
    return attrs.field(metadata={"column": column})


@cache
def columns_of(cls: type) -> tuple[Column, ...]:
    """The columns of a class of rows as declared, which is their order in JSON and CSV."""
    return tuple(
        attrs.evolve(field.metadata["column"], name=field.name)
        for field in attrs.fields(cls)
        if "column" in field.metadata
    )


def numbers_of(row: object) -> dict[str, Any]:
    """The columns of one row by name."""
    own = columns_of(type(row))  # type: ignore[arg-type]
    return {column.name: getattr(row, column.name) for column in own}


def headed(columns: Iterable[Column]) -> list[Column]:
    """Those that text shows, as people read them."""
    return sorted((column for column in columns if column.heading), key=lambda column: column.place)


def lanes_of(columns: Iterable[Column], computed: object) -> list[dict[str, float]]:
    """The numbers of each lane by name."""
    values = {column.name: column(computed) for column in columns}
    return [dict(zip(values, map(float, lane), strict=True)) for lane in zip(*values.values(), strict=True)]
