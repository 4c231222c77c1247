"""SI results in the trade units a reader chose, and text that fits a page of plain characters."""

import math
import shutil
import sys
import textwrap
from collections.abc import Collection, Iterable, Mapping, Sequence
from typing import Any

import attrs

from propmatch.columns import UNIT_OF, Column
from propmatch.units import conversion

__all__ = [
    "RANGE_STEPS", "SYSTEMS", "Form", "Shown", "clock", "digits_of", "page_width", "plain", "signed", "table",
    "wrapped",
]  # fmt: skip

_LEAST_TEXT = 28
"""Columns that a text keeps in a table which has no room for it."""
RANGE_STEPS = ((0.0, 2), (3.0, 1), (30.0, 0))
"""Digits after the point of numbers from a size on."""


@attrs.frozen
class Form:
    """How a number is written.

    Attributes
    ----------
    per : float
        What it is divided by to be in the shown unit.
    unit : str
    steps : tuple of (float, int)
        From which size on, in the shown unit, it has so many digits after the point.
    """

    per: float
    unit: str
    steps: tuple[tuple[float, int], ...]

    def text(self, value: float) -> str:
        """The number with its unit."""
        shown = float(value) / self.per
        return f"{signed(shown, _steps_at(self.steps, shown))} {self.unit}".strip()


def _steps_at(steps: tuple[tuple[float, int], ...], value: float) -> int:
    return next((digits for least, digits in reversed(steps) if abs(value) >= least), steps[0][1])


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

    @property
    def lengths(self) -> dict[str, tuple[str, int]]:
        """Units of height, run, place and climb that are shown in others beside mph, and how many digits more."""
        return {"m": ("ft", 0), "mm": ("in", 1), "m/s": ("ft/s", 0)} if self.speed == "mph" else {}

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
        return self.form("thrust").text(thrust_n)

    def speed_text(self, speed_m_s: float) -> str:
        return self.form("speed", 0).text(speed_m_s)

    def mass_text(self, mass_g: float) -> str:
        return self.form("mass").text(mass_g)

    def area_text(self, area_dm2: float) -> str:
        """Of a wing: square feet beside oz/ft2."""
        imperial = self.wing_loading == "oz_ft2"
        return f"{_in_unit(area_dm2, 'ft2', 'dm2'):.3g} ft²" if imperial else f"{area_dm2:.4g} dm²"

    def loading_text(self, loading_g_dm2: float) -> str:
        return f"{signed(self.loading_of(loading_g_dm2), 1)} {self.loading_unit}"

    def unit(self, kind: str) -> str:
        """The shown unit of a kind of number, as :mod:`propmatch.columns` names them, or of a check's unit."""
        own = {"mass": self.mass_unit, "thrust": self.thrust_unit, "speed": self.speed_unit}
        own |= {"g": self.mass_unit, "g/dm2": self.loading_unit}
        return own.get(kind) or self.lengths.get(kind, (kind, 0))[0]

    def of(self, value: float, kind: str) -> float:
        """A number of a kind, or of a check's unit, in the shown unit."""
        return float(100 * value if kind == "%" else value / self.per(kind))

    def per(self, kind: str) -> float:
        """What a number of a kind, other than a share, is divided by to be in the shown unit."""
        held, shown = UNIT_OF.get(kind, kind), self.unit(kind)
        return 1.0 if shown == held else _factor(shown, held)

    def number(self, value: float, kind: str, digits: int = 1) -> str:
        """A number of a kind in the shown unit, without it; coarse units have digits enough."""
        return signed(self.of(value, kind), self._digits(kind, digits))

    def _digits(self, kind: str, digits: int) -> int:
        least = {"mass": 0 if self.mass_unit == "g" else 1, "thrust": 0 if self.thrust == "gf" else 2,
                 "speed": 1 if self.speed == "m_s" else 0}.get(kind, 0)  # fmt: skip
        return max(digits + self.lengths.get(kind, ("", 0))[1], least)

    def form(self, kind: str, digits: int = 1) -> Form:
        """How a number of a kind, other than a share, is written."""
        steps: tuple[tuple[float, int], ...] = ((0.0, self._digits(kind, digits)),)
        if kind == "mass":
            steps = ((0.0, 1), (10.0, 0)) if self.mass_unit == "g" else ((0.0, 1),)
        if kind == "thrust":
            steps = ((0.0, 0),) if self.thrust == "gf" else RANGE_STEPS
        return Form(self.per(kind), self.unit(kind), steps)

    def text(self, value: float, kind: str, digits: int = 1) -> str:
        """A number of a kind with its unit."""
        if kind == "%":
            return f"{self.number(value, kind, digits)} %"
        return self.form(kind, 0 if kind == "speed" else digits).text(value)

    def cells(self, columns: Sequence[Column], row: object, **said: str) -> dict[str, str]:
        """A row of a text table: heading to number, or to what is ``said`` in place of it, by name of the column.

        ``row`` is an object or a mapping.
        """
        held = row if isinstance(row, Mapping) else {column.name: getattr(row, column.name) for column in columns}
        return {
            column.heading.format(unit=self.unit(column.kind)):
            said.get(column.name) or self.number(held[column.name], column.kind, column.digits) for column in columns
        }  # fmt: skip


def digits_of(largest: float) -> int:
    """Digits after the point of numbers up to this size."""
    return _steps_at(RANGE_STEPS, largest)


def _in_unit(value: float, shown: str, ours: str) -> float:
    """A value in our unit as one in the unit shown."""
    return float(value) / _factor(shown, ours)


def _factor(shown: str, ours: str) -> float:
    convert = conversion(shown, ours)
    assert convert is not None
    return convert.factor


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
    """Text in one line without control characters, so that a name from a file cannot steer the terminal; degC as °C."""
    line = "".join(sign if sign.isprintable() else " " for sign in str(text))
    return line.replace("degC", "°C") if "degC" in line and _shows("°") else line


def _shows(sign: str) -> bool:
    """Whether the terminal's encoding has a sign."""
    try:
        sign.encode(getattr(sys.stdout, "encoding", None) or "ascii")
    except (UnicodeEncodeError, LookupError):
        return False
    return True


def page_width() -> int:
    """Columns a line may have: the terminal's, 80 where nobody watches; no more than 100, which eyes can follow."""
    return min(max(shutil.get_terminal_size((80, 24)).columns, 40), 100)


def wrapped(text: str, *, first: str = "", rest: str | None = None, width: int | None = None) -> list[str]:
    """Lines of at most ``width`` columns, default the page's; ``first`` begins the first line, ``rest`` the others.

    Beside a beginning that leaves no room for a text the text goes on below it. A word longer than a
    line, such as the path of a file, stays whole, so that it can be found and copied.
    """
    follow, wide = " " * len(first) if rest is None else rest, width or page_width()
    if len(first) > wide - _LEAST_TEXT // 2 or len(follow) > wide - _LEAST_TEXT // 2:
        indent = first[: len(first) - len(first.lstrip())]
        first, follow, text = indent, f"{indent}  ", f"{first.lstrip()}{text}"
    lines = textwrap.wrap(
        plain(text),
        wide,
        initial_indent=first,
        subsequent_indent=follow,
        break_long_words=False,
        break_on_hyphens=False,
    )
    return lines or [first.rstrip()]


def table(
    rows: Iterable[Mapping[str, Any]],
    *,
    columns: Sequence[str] | None = None,
    left: Iterable[str] = (),
    spare: Iterable[str] = (),
    width: int | None = None,
    headed: bool = True,
) -> list[str]:
    """Columns of plain text: a head, then a line for each row, none longer than the page.

    Where a line would be longer, the ``spare`` columns go, then heads stand in several lines, then what is set flush
    left, then the columns stand in several tables, each beginning with the first column.

    Parameters
    ----------
    rows : iterable of mappings
        Column head to a text or number; a missing one stays blank.
    columns : sequence of str, optional
        Heads in order; default: the keys of the first row.
    left : iterable of str
        Columns set flush left; the others are flush right.
    spare : iterable of str
        Columns to leave out where there is no room, the first one first.
    width : int, optional
        Of a line; default the page's.
    headed : bool
        Whether the heads are printed.
    """
    body = [{key: plain(value) for key, value in row.items()} for row in rows]
    heads = list(columns) if columns is not None else list(body[0]) if body else []
    page, flush = width or page_width(), frozenset(left)
    wide = {head: max([len(head) if headed else 0, *(len(row.get(head, "")) for row in body)]) for head in heads}
    for head in spare:
        if _across(wide) > page:
            wide.pop(head, None)
    _narrow(wide, body, flush, page)
    lines: list[str] = []
    for part in _strips(wide, page):
        lines += [""] if lines else []
        lines += _row_lines({head: head for head in part}, part, flush, heading=True) if headed else []
        lines += [line for row in body for line in _row_lines(row, part, flush)]
    return lines


def _across(wide: Mapping[str, int]) -> int:
    return sum(wide.values()) + 2 * (len(wide) - 1)


def _narrow(wide: dict[str, int], body: Sequence[Mapping[str, str]], flush: Collection[str], page: int) -> None:
    """Make columns narrower until a line fits, as far as their words allow: heads first, then what is flush left."""

    def longest(texts: Iterable[str]) -> int:
        return max((len(word) for text in texts for word in text.split()), default=0)

    cells = {head: [row.get(head, "") for row in body] for head in wide}
    least = {head: max([longest([head]), *map(len, cells[head])]) for head in wide}
    words = {head: max(longest([head]), min(wide[head], _LEAST_TEXT)) for head in wide if head in flush}
    for floor in (least, words):
        for head in sorted(floor, key=lambda head: floor[head] - wide[head]):
            over = _across(wide) - page
            if over > 0:
                wide[head] = max(wide[head] - over, min(wide[head], floor[head]))


def _strips(wide: Mapping[str, int], page: int) -> list[dict[str, int]]:
    """Columns that fit beside each other, the first of all at the left of each."""
    first, *others = wide.items() or [("", 0)]
    strips = [dict([first])]
    for head, columns in others:
        if len(strips[-1]) > 1 and _across({**strips[-1], head: columns}) > page:
            strips.append(dict([first]))
        strips[-1][head] = columns
    return strips


def _row_lines(
    row: Mapping[str, str], wide: Mapping[str, int], flush: Collection[str], *, heading: bool = False
) -> list[str]:
    """One row in as many lines as its fullest cell needs; a heading stands at the bottom of its lines."""
    cells = {head: _folded(row.get(head, ""), columns) for head, columns in wide.items()}
    tall = max(map(len, cells.values()))
    if heading:
        cells = {head: [""] * (tall - len(texts)) + texts for head, texts in cells.items()}
    lines = []
    for at in range(tall):
        texts = ((head, cells[head][at] if at < len(cells[head]) else "") for head in wide)
        lines.append("  ".join(t.ljust(wide[h]) if h in flush else t.rjust(wide[h]) for h, t in texts).rstrip())
    return lines


def _folded(text: str, columns: int) -> list[str]:
    if len(text) <= columns:
        return [text]
    indent = text[: len(text) - len(text.lstrip())]
    return textwrap.wrap(text, columns, subsequent_indent=indent, break_on_hyphens=False)
