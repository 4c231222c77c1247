"""Names beside a drawing that keep off each other: widths of texts, rows of names, numbers in a line. Lengths in pt."""

from collections.abc import Sequence
from functools import lru_cache

import attrs

__all__ = ["Label", "callouts", "columned", "folded", "spread", "text_width_pt"]

_GAP_PT = 5.0
_WIDE = 650
_WIDTHS = dict(zip(map(chr, range(32, 127)), (
    318, 401, 460, 838, 636, 950, 780, 275, 390, 390, 500, 838, 318, 361, 318, 337, 636, 636, 636, 636, 636, 636, 636,
    636, 636, 636, 337, 337, 838, 838, 838, 531, 1000, 684, 686, 698, 770, 632, 575, 775, 752, 295, 295, 656, 557, 863,
    748, 787, 603, 787, 695, 635, 611, 732, 684, 989, 685, 611, 685, 390, 337, 390, 838, 500, 500, 613, 635, 550, 635,
    615, 352, 635, 634, 278, 278, 579, 278, 974, 634, 612, 635, 635, 411, 521, 392, 634, 592, 818, 592, 592, 525, 636,
    337, 636, 838,
), strict=True))  # fmt: skip
"""Widths of printable ASCII in DejaVu Sans 2.37, and of any other sign about, in thousandths of the size."""


@attrs.frozen
class Label:
    """A name and the point that it names, in the units of the drawing."""

    text: str
    x: float
    y: float
    colour: str


@lru_cache(4096)
def text_width_pt(text: str, size_pt: float) -> float:
    """Width of a text in the charts' own font; without matplotlib by its table of widths, without kerning."""
    try:
        from matplotlib.font_manager import FontProperties
        from matplotlib.textpath import text_to_path
    except ImportError:
        return size_pt * sum(_WIDTHS.get(sign, _WIDE) for sign in text) / 1000

    font = FontProperties(family="DejaVu Sans", size=size_pt)
    return float(text_to_path.get_text_width_height_descent(text, font, ismath=False)[0])


def spread(wanted: Sequence[float], gap: float, low: float, high: float) -> list[float]:
    """Rising places at least ``gap`` apart between two ends, near the wanted ones; squeezed where there is no room."""
    if not wanted:
        return []
    step = min(gap, (high - low) / max(len(wanted) - 1, 1))
    placed: list[float] = []
    for want in wanted:
        placed.append(max(want, placed[-1] + step if placed else low))
    last = high
    for at in range(len(placed) - 1, -1, -1):
        placed[at] = min(placed[at], last)
        last = placed[at] - step
    return placed


def callouts(points: Sequence[float], widths: Sequence[float], width: float) -> list[tuple[float, int]]:
    """Left edge and row (0 nearest to the drawing) of a text above each point; texts never overlap.

    From right to left, each text begins over its point, or ends at the right edge, in the nearest row in which it keeps
    off the texts there and off the lines that lead down from others.

    Parameters
    ----------
    points, widths : sequence of N
        Where each line leads down, and how wide each text is.
    width : float
        From 0 to here there is room.
    """
    rows: list[list[tuple[float, float]]] = []
    leads: list[tuple[float, int]] = []
    found: dict[int, tuple[float, int]] = {}

    def free(left: float, right: float, point: float, row: int) -> bool:
        beside = all(right < low or left > high for low, high in rows[row])
        crossed = any(left < x < right and above > row for x, above in leads)
        passes = any(low < point < high for below in rows[:row] for low, high in below)
        return beside and not crossed and not passes

    for at in sorted(range(len(points)), key=lambda i: -points[i]):
        point, wide = points[at], widths[at]
        left = min(max(point, 0.0), max(width - wide, 0.0))
        fits = (row for row in range(len(rows)) if free(left - _GAP_PT / 2, left + wide + _GAP_PT, point, row))
        row = next(fits, len(rows))
        if row == len(rows):
            rows.append([])
        rows[row].append((left, left + wide))
        leads.append((point, row))
        found[at] = (left, row)
    return [found[at] for at in range(len(points))]


def folded(text: str, width: float, size_pt: float) -> list[str]:
    """A text in lines no wider than ``width``; a word that is wider is broken."""
    lines: list[str] = []
    words = text.split()[::-1]
    while words:
        word = words.pop()
        wide = text_width_pt(word, size_pt)
        fits = len(word) if wide <= width else max(int(1.2 * len(word) * width / wide), 1)
        while fits > 1 and text_width_pt(word[:fits], size_pt) > width:
            fits -= 1
        if fits < len(word):
            words.append(word[fits:])
            word = word[:fits]
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_width_pt(longer, size_pt) <= width:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines


def columned(texts: Sequence[str], width: float, size_pt: float) -> list[list[str]]:
    """Texts in two columns of lines, or in one where the longest would take more than two lines of a column."""
    half = (width - 2 * _GAP_PT) / 2
    lines = [folded(text, half, size_pt) for text in texts]
    if any(len(each) > 2 for each in lines):
        return [[line for text in texts for line in folded(text, width, size_pt)]]
    total = sum(map(len, lines))
    first: list[list[str]] = []
    for each in lines:
        if 2 * sum(map(len, first)) >= total:
            break
        first.append(each)
    left = [line for each in first for line in each]
    return [left, [line for each in lines[len(first) :] for line in each]]
