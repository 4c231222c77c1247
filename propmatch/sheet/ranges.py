"""Numbers of several power trains with their ranges, and how well each number is known, as the sheet prints them."""

from collections.abc import Iterable

from propmatch.checks.chances import Sureness
from propmatch.columns import Column
from propmatch.records.estimates import Z80
from propmatch.tolerances.numbers import Tolerance
from propmatch.words.chancewords import ranged
from propmatch.words.shown import Shown

__all__ = ["KEPT", "ranged_values", "tolerance_text"]

KEPT = "every limit kept in, of 100 builds"
"""Over the chance of all limits together."""
_UNITS = ("per_v", "rpm", "s", "ohm", "mohm", "a", "mah")


def ranged_values(rows: Iterable[object], column: Column, sure: Iterable[Sureness], shown: Shown) -> list[str]:
    """A number of several power trains, from objects that hold it, with its range in the draws of each."""
    said = []
    for row, each in zip(rows, sure, strict=True):
        ends = each.interval(column(each.measured))
        text = shown.text(getattr(row, column.name), column.kind, column.digits)
        said.append(ranged(text, ends.low, ends.high, column.kind, shown))
    return said


def tolerance_text(each: Tolerance) -> str:
    """``kV within 4 %``: what 80 % of such parts keep; in points where the number itself is a share."""
    name = each.name
    for unit in _UNITS:
        name = name.removesuffix(f"_{unit}")
    words = {"kv": "kV", "ct": "CT", "cp": "CP"}.get(name, name.replace("_", " "))
    return f"{words} within {100 * Z80 * each.sd:.0f} {'%' if each.relative else 'points'}"
