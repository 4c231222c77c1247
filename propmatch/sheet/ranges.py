"""Numbers with their ranges, and how well each number is known, as the sheet prints them."""

from propmatch.checks.chances import Sureness
from propmatch.columns import columns_of
from propmatch.questions.cells import CellCase
from propmatch.records.estimates import Z80
from propmatch.tolerances.numbers import Tolerance
from propmatch.words.answerwords import minutes_text
from propmatch.words.chancewords import of_hundred, ranged
from propmatch.words.shown import Shown, signed

__all__ = ["cell_text", "main_numbers", "tolerance_text"]

_CELL = {column.name: column for column in columns_of(CellCase)}
_UNITS = ("per_v", "rpm", "s", "ohm", "mohm", "a", "mah")


def cell_text(found: CellCase, name: str, shown: Shown) -> str:
    """A number of a cell count with its range, by the name of its column."""
    column, low, high = _CELL[name], found.ends.get(f"{name}_low"), found.ends.get(f"{name}_high")
    text = shown.text(getattr(found, name), column.kind, column.digits)
    return text if low is None or high is None else ranged(text, low, high, column.kind, shown)


def main_numbers(sure: Sureness, minutes: float, thrust_to_weight: float) -> tuple[str, str, str]:
    """Flight time and thrust to weight with their ranges, and how many builds of a hundred keep every limit."""
    if sure.drawn.on_paper:
        return minutes_text(minutes), signed(thrust_to_weight, 2), ""
    time, thrust = sure.value("flight_time"), sure.value("thrust_to_weight")
    return (
        minutes_text(minutes, time.low, time.high),
        ranged(signed(thrust_to_weight, 2), thrust.low, thrust.high),
        of_hundred(sure.chance_all_limits),
    )


def tolerance_text(each: Tolerance) -> str:
    """``kV within 4 %``: what 80 % of such parts keep; in points where the number itself is a share."""
    name = each.name
    for unit in _UNITS:
        name = name.removesuffix(f"_{unit}")
    words = {"kv": "kV", "ct": "CT", "cp": "CP"}.get(name, name.replace("_", " "))
    return f"{words} {100 * Z80 * each.sd:.0f} {'%' if each.relative else 'points'}"
