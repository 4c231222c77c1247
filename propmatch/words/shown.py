"""SI results in the trade units a reader chose, and text that fits a page of plain characters."""

import math
import textwrap
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import attrs

from propmatch.columns import Column
from propmatch.units import conversion

__all__ = ["SYSTEMS", "WIDTH", "Shown", "clock", "plain", "signed", "table", "wrapped"]

WIDTH = 100
"""Columns a line may have."""


@attrs.frozen(kw_only=True)
class Shown:
    """Which units the text uses; the words are those of the brief's ``[units]``.

    Attributes
    ----------
    thrust : str
        ``gf``, ``oz`` or ``n``; masses are in ounces beside ``oz`` and in grams otherwise.
    speed : str
        ``km_h``, ``mph`` or ``m_s``.
    wing_loading : str
        ``g_dm2`` or ``oz_ft2``.
    """

    thrust: str = "gf"
    speed: str = "km_h"
    wing_loading: str = "g_dm2"

    @property
    def thrust_unit(self) -> str:
        return "N" if self.thrust == "n" else self.thrust

    @property
    def speed_unit(self) -> str:
        return self.speed.replace("_", "/")

    @property
    def loading_unit(self) -> str:
        return self.wing_loading.replace("_", "/")

    @property
    def mass_unit(self) -> str:
        return "oz" if self.thrust == "oz" else "g"

    def thrust_of(self, thrust_n: float) -> float:
        """Newtons in the shown unit."""
        return _in_unit(thrust_n, self.thrust_unit, "N")

    def speed_of(self, speed_m_s: float) -> float:
        """Metres per second in the shown unit."""
        return _in_unit(speed_m_s, self.speed_unit, "m/s")

    def mass_of(self, mass_g: float) -> float:
        """Grams in the shown unit."""
        return _in_unit(mass_g, self.mass_unit, "g")

    def loading_of(self, loading_g_dm2: float) -> float:
        """g/dm2 in the shown unit."""
        return _in_unit(loading_g_dm2, self.loading_unit, "g/dm2")

    def thrust_text(self, thrust_n: float) -> str:
        return f"{signed(self.thrust_of(thrust_n), 0 if self.thrust == 'gf' else 2)} {self.thrust_unit}"

    def speed_text(self, speed_m_s: float) -> str:
        return f"{self.number(speed_m_s, 'speed', 0)} {self.speed_unit}"

    def mass_text(self, mass_g: float) -> str:
        value = self.mass_of(mass_g)
        return f"{signed(value, 0 if self.mass_unit == 'g' and value >= 10 else 1)} {self.mass_unit}"

    def loading_text(self, loading_g_dm2: float) -> str:
        return f"{signed(self.loading_of(loading_g_dm2), 1)} {self.loading_unit}"

    def unit(self, kind: str) -> str:
        """The shown unit of a kind of number, as :mod:`propmatch.columns` names them."""
        return {"mass": self.mass_unit, "thrust": self.thrust_unit, "speed": self.speed_unit}.get(kind, kind)

    def number(self, value: float, kind: str, digits: int = 1) -> str:
        """A number of a kind in the shown unit, without it; coarse units have digits enough."""
        if kind == "mass":
            return signed(self.mass_of(value), max(digits, 0 if self.mass_unit == "g" else 1))
        if kind == "thrust":
            return signed(self.thrust_of(value), max(digits, 0 if self.thrust == "gf" else 2))
        if kind == "speed":
            return signed(self.speed_of(value), max(digits, 1 if self.speed == "m_s" else 0))
        return signed(100 * value if kind == "%" else value, digits)

    def text(self, value: float, kind: str, digits: int = 1) -> str:
        """A number of a kind with its unit."""
        known = {"mass": self.mass_text, "thrust": self.thrust_text, "speed": self.speed_text}
        return known[kind](value) if kind in known else f"{self.number(value, kind, digits)} {kind}".strip()

    def cells(self, columns: Sequence[Column], row: object, **said: str) -> dict[str, str]:
        """A row of a text table: heading to number, or to what is ``said`` in place of it, by name of the column.

        ``row`` is an object or a mapping.
        """
        held = row if isinstance(row, Mapping) else {column.name: getattr(row, column.name) for column in columns}
        return {
            column.heading.format(unit=self.unit(column.kind)):
            said.get(column.name) or self.number(held[column.name], column.kind, column.digits) for column in columns
        }  # fmt: skip


def _in_unit(value: float, shown: str, ours: str) -> float:
    """A value in our unit as one in the unit shown."""
    convert = conversion(shown, ours)
    assert convert is not None
    return float(value) / convert.factor


SYSTEMS = {
    "metric": Shown(),
    "imperial": Shown(thrust="oz", speed="mph", wing_loading="oz_ft2"),
    "si": Shown(thrust="n", speed="m_s"),
}
"""Sets of units to choose from."""


def signed(value: float | None, digits: int = 1) -> str:
    """A number with fixed digits; ``-`` when there is none, and never ``-0``."""
    if value is None or not math.isfinite(value):
        return "-"
    text = f"{value:.{digits}f}"
    return text.removeprefix("-") if not text.strip("-0.") else text


def clock(minutes: float) -> str:
    """``7:30``: minutes and seconds; ``-`` when there is no number."""
    if not math.isfinite(minutes):
        return "-"
    seconds = round(60 * minutes)
    return f"{seconds // 60}:{seconds % 60:02d}"


def plain(text: object) -> str:
    """Text in one line without control characters, so that a name from a file cannot steer the terminal."""
    return "".join(sign if sign.isprintable() else " " for sign in str(text))


def wrapped(text: str, *, first: str = "", rest: str | None = None, width: int = WIDTH) -> list[str]:
    """Lines of at most ``width`` columns; ``first`` begins the first line, ``rest`` the others."""
    follow = " " * len(first) if rest is None else rest
    lines = textwrap.wrap(plain(text), width, initial_indent=first, subsequent_indent=follow, break_on_hyphens=False)
    return lines or [first.rstrip()]


def table(
    rows: Iterable[Mapping[str, Any]],
    *,
    columns: Sequence[str] | None = None,
    left: Iterable[str] = (),
    width: int = WIDTH,
) -> list[str]:
    """Columns of plain text: a head, then a line for each row.

    Parameters
    ----------
    rows : iterable of mappings
        Column head to a text or number; a missing one stays blank.
    columns : sequence of str, optional
        Heads in order; default: the keys of the first row.
    left : iterable of str
        Columns set flush left; the others are flush right.
    width : int
        The widest column set flush left is cut with ``...`` until a line fits.
    """
    body = [{key: plain(value) for key, value in row.items()} for row in rows]
    heads = list(columns) if columns is not None else list(body[0]) if body else []
    flush = set(left)
    wide = {head: max([len(head), *(len(row.get(head, "")) for row in body)]) for head in heads}
    spare = width - sum(wide.values()) - 2 * (len(heads) - 1)
    while spare < 0 and (cut := max((head for head in heads if head in flush), key=wide.__getitem__, default="")):
        less = min(-spare, wide[cut] - 8)
        if less <= 0:
            break
        wide[cut] -= less
        spare += less

    def line(cells: Mapping[str, str]) -> str:
        texts = []
        for head in heads:
            text = cells.get(head, "")
            if len(text) > wide[head]:
                text = text[: wide[head] - 3] + "..."
            texts.append(text.ljust(wide[head]) if head in flush else text.rjust(wide[head]))
        return "  ".join(texts).rstrip()

    return [line({head: head for head in heads}), *map(line, body)]
