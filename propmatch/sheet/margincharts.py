"""How far every check is from its limit."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from propmatch.checks.limits import Check
from propmatch.checks.rule import PRACTICE, margins
from propmatch.sheet.bands import BUILDS
from propmatch.sheet.case import KEPT
from propmatch.sheet.labels import folded, text_width_pt
from propmatch.sheet.picture import Picture, Table
from propmatch.sheet.style import BLUE, COLUMN_IN, GREY, INK, PALE, PAPER, TEXT_PT, WASH
from propmatch.words.chancewords import chance_words, check_range, of_hundred
from propmatch.words.checkwords import check_name, limit_text, percent, value_text, warned_words
from propmatch.words.shown import Shown

__all__ = ["margin_chart", "margin_ends"]

_LEAST, _MOST = -0.6, 1.0
_LOOK: dict[str, dict[str, Any]] = {
    "brief": {"facecolor": BLUE, "edgecolor": BLUE},
    "part rating": {"facecolor": PALE, "edgecolor": BLUE, "hatch": "/////"},
    "estimated rating": {"facecolor": PAPER, "edgecolor": BLUE, "hatch": "|||||"},
    "assumed": {"facecolor": WASH, "edgecolor": BLUE, "hatch": "\\\\\\\\\\", "linestyle": ":"},
    "common practice": {"facecolor": PAPER, "edgecolor": BLUE, "linestyle": "--"},
}
_KEY = {
    "brief": "the brief's limit", "part rating": "a part's rating", "estimated rating": "an estimated rating",
    "assumed": "a limit assumed", "common practice": "common practice",
}  # fmt: skip
_LINE_PT, _BAR_PT, _GAP_PT, _BELOW_PT = 9.4, 4.6, 3.6, 44.0
"""Height of a line of text, of a bar, between rows, and of the axis and one row of the key."""
_COLUMNS = 2


def margin_chart(checks: Sequence[Check], shown: Shown | None = None, *, name: str = "margins") -> Picture:
    """Bars of margin with the limit at 0: to the right is room, to the left is beyond the limit.

    Over each bar stand the check, its value, the limit, and how many builds of a hundred keep it. A band behind the bar
    spans the margins of 80 % of builds, where checks know theirs; an arrow says that a bar goes on. Checks without a
    limit are in the table alone.
    """
    judged = sorted(
        (c for c in checks if np.isfinite(c.limit)), key=lambda c: (not c.danger, not np.isnan(c.margin), c.margin)
    )

    bases, width = {c.limit_source for c in judged}, 72 * COLUMN_IN - 8
    texts = [_lines(check_name(c.name), _value(c, shown), width) for c in judged]
    feet = np.cumsum([_LINE_PT * len(lines) + _BAR_PT + _GAP_PT for lines in texts])

    def draw(figure: Any) -> None:
        ax = figure.add_subplot(111)
        ax.set(xlim=(_LEAST, _MOST), ylim=(max([_LINE_PT, *feet]), 0.0), xlabel="margin, % of the limit", yticks=[])
        ax.spines["left"].set_visible(False)
        ax.grid(visible=False)
        ax.set_xticks([-0.5, 0, 0.5, 1.0], ["-50", "limit", "50", "100"])
        for check, lines, foot in zip(judged, texts, feet, strict=True):
            bar = foot - _GAP_PT - _BAR_PT / 2
            low, high = (float(np.clip(end, _LEAST, _MOST)) for end in margin_ends(check))
            if np.isfinite(low + high):
                ax.barh(bar, high - low, left=low, height=_BAR_PT + 2.4, color=GREY, alpha=0.35, lw=0)
            reach = float(np.clip(check.margin, _LEAST, _MOST)) if np.isfinite(check.margin) else _LEAST
            if np.isfinite(check.margin) and reach != check.margin:
                ax.plot(reach, bar, marker=">" if reach > 0 else "<", color=BLUE, clip_on=False, ms=_BAR_PT)
            ax.plot([0.0, 0.0], [bar - _BAR_PT, bar + _BAR_PT], color=INK, lw=1.4)
            ax.barh(bar, reach, height=_BAR_PT, lw=0.7, **_LOOK.get(check.limit_source, _LOOK["brief"]))
            for at, (left, right) in enumerate(lines):
                middle = foot - _GAP_PT - _BAR_PT - 0.8 - _LINE_PT * (len(lines) - at - 0.5)
                for x, text, side in ((0.0, left, "left"), (1.0, right, "right")):
                    ax.text(x, middle, text, ha=side, va="center_baseline", transform=ax.get_yaxis_transform())
        _key(figure, bases, any(np.isfinite(sum(margin_ends(check))) for check in judged))

    rows = [
        {
            "check": check_name(c.name),
            "value": check_range(c, shown),
            "limit": limit_text(c, shown),
            "margin": percent(c.margin),
            "margin of 80 % of builds": _range(c),
            "verdict": c.verdict,
            KEPT: of_hundred(c.chance),
            "limit from": c.limit_source if np.isfinite(c.limit) else "",
            "what it is": c.note,
        }
        for c in checks
    ]
    if not any(np.isfinite(c.chance) for c in checks):
        rows = [{name: text for name, text in row.items() if "builds" not in name and name != KEPT} for row in rows]
    return Picture(
        name=name, title="Margin of every check", summary=_words(checks), table=Table.of(rows), draw=draw,
        height_in=float(max([_LINE_PT, *feet]) + _BELOW_PT + _LINE_PT * (len(bases) // _COLUMNS)) / 72,
    )  # fmt: skip


def _value(check: Check, shown: Shown | None) -> str:
    """Value, limit, and in how many of 100 builds it is kept."""
    text = "no answer" if np.isnan(check.value) else value_text(check.value, check.unit, shown)
    kept = f"; {of_hundred(check.chance)} of 100" if np.isfinite(check.chance) else ""
    return f"{text}, {limit_text(check, shown)}{kept}"


def _lines(name: str, value: str, width: float) -> list[tuple[str, str]]:
    """Texts at the left and at the right of every line; on one line where both have room."""
    if text_width_pt(f"{name}   {value}", TEXT_PT) <= width:
        return [(name, value)]
    left, right = (folded(text, width, TEXT_PT) for text in (name, value))
    return [*((text, "") for text in left), *(("", text) for text in right)]


def _key(figure: Any, bases: set[str], ranged: bool) -> None:
    from matplotlib.patches import Patch

    handles = [Patch(label=_KEY[basis], **look) for basis, look in _LOOK.items() if basis in bases]
    if handles:
        handles += [Patch(label=BUILDS, color=GREY, alpha=0.35, lw=0)] if ranged else []
        figure.legend(handles=handles, loc="outside lower left", ncols=min(len(handles), _COLUMNS), handlelength=1.6,
                      handletextpad=0.4, columnspacing=1.0, borderpad=0.0)  # fmt: skip


def margin_ends(check: Check) -> tuple[float, float]:
    """Worst and best margin of 80 % of builds, against the limit as it stands; NaN where the check knows none."""
    if not np.isfinite(check.limit) or check.limit == 0:
        return np.nan, np.nan
    found = margins((check.low, check.high), check.limit, least=check.least)
    return float(found.min()), float(found.max())


def _range(check: Check) -> str:
    low, high = margin_ends(check)
    return f"{percent(low)} to {percent(high)}" if np.isfinite(low + high) else ""


def _chance(check: Check) -> str:
    return f"{check_name(check.name)} ({chance_words(check.chance)})"


def _words(checks: Sequence[Check]) -> str:
    over = [c for c in checks if c.verdict == "fails"]
    close = [c for c in checks if c.verdict == "close" and np.isfinite(c.chance)]
    hard = [check_name(c.name) for c in over if c.excluding]
    soft = [check_name(c.name) for c in over if not c.excluding and c.basis == PRACTICE]
    parts = []
    parts.append(f"Beyond a limit of the brief or of a part: {', '.join(hard)}." if hard
                 else "On paper every limit of the brief and of the parts is kept.")  # fmt: skip
    if close:
        parts.append(f"Kept on paper, but not as surely as asked: {', '.join(_chance(c) for c in close)}.")
    parts += warned_words(checks)
    if soft:
        parts.append(f"Outside common practice: {', '.join(soft)}.")
    return " ".join(parts)
