"""How far every check is from its limit."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from propmatch.checks.limits import Check
from propmatch.checks.rule import PRACTICE, margins
from propmatch.sheet.picture import Picture, Table
from propmatch.sheet.style import GREY, INK
from propmatch.words.chancewords import chance_words, check_range, of_hundred
from propmatch.words.checkwords import check_name, limit_text, percent, value_text, warned_words

__all__ = ["margin_chart", "margin_ends"]

_LEAST, _MOST = -0.6, 1.0
_LOOK: dict[str, dict[str, Any]] = {
    "brief": {"facecolor": "#0072B2", "edgecolor": "#00405f"},
    "part rating": {"facecolor": "#b7d5e6", "edgecolor": "#00405f", "hatch": "////"},
    "estimated rating": {"facecolor": "#e7f1f7", "edgecolor": "#00405f", "hatch": "||||"},
    "assumed": {"facecolor": "#f2f2f2", "edgecolor": "#00405f", "hatch": "\\\\", "linestyle": ":"},
    "common practice": {"facecolor": "white", "edgecolor": "#00405f", "linestyle": "--"},
}


_KEY = {
    "part rating": "limit from a part's rating", "estimated rating": "limit is an estimated rating",
    "assumed": "limit assumed, as the brief gives none",
}  # fmt: skip


def margin_chart(checks: Sequence[Check], *, name: str = "margins") -> Picture:
    """Bars of margin with the limit at 0: to the right is room, to the left is beyond the limit.

    A thin line spans the margins of 80 % of builds where checks know theirs, and the number of builds of a hundred
    that keep the limit stands behind the value. Checks without a limit are in the table alone.
    """
    judged = sorted(
        (c for c in checks if np.isfinite(c.limit)), key=lambda c: (not c.danger, not np.isnan(c.margin), c.margin)
    )

    def draw(figure: Any) -> None:
        ax = figure.add_subplot(111)
        ax.grid(axis="y", visible=False)
        for at, check in enumerate(judged):
            width = float(np.clip(check.margin, _LEAST, _MOST)) if np.isfinite(check.margin) else _LEAST
            ax.barh(at, width, height=0.62, lw=0.8, **_LOOK.get(check.limit_source, _LOOK["brief"]))
            low, high = (float(np.clip(end, _LEAST, _MOST)) for end in margin_ends(check))
            if np.isfinite(low + high):
                ax.plot([low, high], [at, at], color=INK, lw=1.3, marker="|", ms=7)
                width = max(width, high)
            beyond = " (off the chart)" if check.margin > _MOST or check.margin < _LEAST else ""
            text = "no answer" if np.isnan(check.value) else f"{value_text(check.value, check.unit)}{beyond}"
            if np.isfinite(check.chance):
                text += f", {of_hundred(check.chance)} of 100"
            ax.annotate(text, (max(width, 0.0), at), xytext=(4, 0), textcoords="offset points", va="center",
                        fontsize=7.5)  # fmt: skip
        ax.axvline(0, color=INK, lw=1.6)
        ax.annotate("limit", (0, -0.75), ha="center", va="bottom", fontsize=8, annotation_clip=False)
        ax.set_yticks(range(len(judged)), [f"{check_name(c.name)}\n{limit_text(c)}" for c in judged], fontsize=7.3)
        ax.set(xlim=(_LEAST, 1.3), ylim=(len(judged) - 0.4, -0.8), xlabel="margin, % of the limit")
        ax.set_xticks([-0.5, 0, 0.5, 1.0], ["-50", "0", "50", "100"])
        _key(figure, {c.limit_source for c in judged})

    rows = [
        {
            "check": check_name(c.name),
            "value": check_range(c),
            "limit": limit_text(c),
            "margin": percent(c.margin),
            "margin of 80 % of builds": _range(c),
            "verdict": c.verdict,
            "holds in, of 100 builds": of_hundred(c.chance),
            "limit from": c.limit_source if np.isfinite(c.limit) else "",
            "what it is": c.note,
        }
        for c in checks
    ]
    return Picture(
        name=name, title="Margin of every check", summary=_words(checks), table=Table.of(rows), draw=draw,
        height_in=max(2.0, 1.1 + 0.33 * len(judged)),
    )  # fmt: skip


def _key(figure: Any, bases: set[str]) -> None:
    from matplotlib.patches import Patch

    shown = [basis for basis in _LOOK if basis in bases]
    if shown:
        handles = [Patch(label=_KEY.get(basis, f"limit from {basis}"), **_LOOK[basis]) for basis in shown]
        figure.legend(handles=handles, loc="outside lower center", ncols=min(len(shown), 3), fontsize=7, frameon=False,
                      labelcolor=GREY)  # fmt: skip


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
