"""The page on accuracy: predicted against measured, each figure a bound that a test or a dated benchmark holds."""

import csv
import math
from importlib.resources import files

import attrs
import click

from propmatch.guide.marked import literal

__all__ = ["TESTS", "Compared", "accuracy", "compared"]

TESTS = "tests"
"""Where a row is held by a test in continuous integration."""


def _number(text: str) -> float:
    return float(text) if text else math.nan


@attrs.frozen
class Compared:
    """A row of the page: what was compared, and how far off it is at most [%].

    Attributes
    ----------
    name : str
        Key of ``benchmarks/accuracy.py``.
    what : str
        The number predicted, and what was known.
    count : int
        How many were compared.
    median, eighty : float
        Of the size of the error: half of them, and four of five, lie within.
    bias : float
        Mean error lies between 0 and this.
    held : float
        Share inside the stated interval is at least this; NaN where none is stated.
    source : str
        Number of what was measured in the list of the page.
    shown : str
        ``tests``, or the date on which the benchmark printed it.
    """

    name: str
    what: str
    count: int = attrs.field(converter=int)
    median: float = attrs.field(converter=float)
    eighty: float = attrs.field(converter=float)
    bias: float = attrs.field(converter=float)
    held: float = attrs.field(converter=_number)
    source: str
    shown: str


def compared() -> list[Compared]:
    """Every row, in the order of the page."""
    text = files(__package__).joinpath("accuracy.csv").read_text(encoding="utf-8")
    return [Compared(**row) for row in csv.DictReader(text.splitlines())]


def accuracy(program: click.Group) -> str:
    """The page: its words, with the rows in their place."""
    rows = compared()
    head = [
        "| Predicted, from what was known | n | median | 80 % | bias | held | from | by |",
        "|---|---:|---:|---:|---:|---:|---:|---|",
    ]
    dates = " and ".join(sorted({row.shown for row in rows} - {TESTS}))
    words = files(__package__).joinpath("pages", "accuracy.md").read_text(encoding="utf-8")
    return words.replace("DATE", dates).replace("ROWS", "\n".join([*head, *map(_row, rows)]))


def _row(row: Compared) -> str:
    held = "-" if math.isnan(row.held) else f"{row.held:g}"
    cells = (
        literal(row.what), f"{row.count}", f"{row.median:g}", f"{row.eighty:g}", f"{row.bias:+g}", held, row.source,
        "test" if row.shown == TESTS else "run",
    )  # fmt: skip
    return f"| {' | '.join(cells)} |"
