"""How every chart looks: drawn for its place on paper, told apart by line style and marker without colour.

A chart is as wide as half a page of A4 between its margins unless it says so, at the size it is printed in.
"""

from collections.abc import Sequence
from typing import Any

from propmatch.sheet.labels import folded, text_width_pt

__all__ = [
    "BLUE", "COLUMN_IN", "DARK", "GREEN", "GREY", "INK", "MIST", "ORANGE", "PALE", "PAPER", "PURPLE", "SETTINGS",
    "STYLES", "TEXT_PT", "WASH", "apart", "key", "level",
]  # fmt: skip

COLUMN_IN = 87 / 25.4
TEXT_PT = 7.2
"""Of every text; nothing is smaller."""
INK, BLUE, ORANGE, GREEN, PURPLE, GREY = "#000000", "#0072b2", "#b84a00", "#00795a", "#9a4f7e", "#595959"
"""Dark members of the Okabe and Ito palette (Color Universal Design, 2008); darker where text needs contrast."""
PAPER, WASH, MIST, PALE = "#ffffff", "#f0f0f0", "#d4d4d4", "#b7d5e6"
"""Backgrounds, from white to what stands out, and a light blue."""
DARK = {
    INK: "#e8e8e8", BLUE: "#6cb6ee", ORANGE: "#f0985a", GREEN: "#4cc3a0", PURPLE: "#d493bd", GREY: "#a9adb2",
    PAPER: "#16181b", WASH: "#25282c", MIST: "#464b51", PALE: "#2b4d68",
}  # fmt: skip
"""What each colour becomes on a dark screen; charts have no others."""
STYLES: tuple[dict[str, Any], ...] = (
    {"color": BLUE, "linestyle": "-", "marker": "o"},
    {"color": ORANGE, "linestyle": "--", "marker": "s"},
    {"color": GREEN, "linestyle": "-.", "marker": "^"},
    {"color": PURPLE, "linestyle": ":", "marker": "D"},
)
SETTINGS: Any = {
    "svg.fonttype": "none",
    "svg.hashsalt": "propmatch",
    "pdf.fonttype": 42,
    "font.family": ["sans-serif"],
    "font.sans-serif": ["DejaVu Sans"],
    "font.size": TEXT_PT,
    "axes.labelsize": TEXT_PT,
    "axes.linewidth": 0.7,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.grid": True,
    "axes.labelpad": 2.0,
    "grid.color": MIST,
    "grid.linewidth": 0.5,
    "axes.axisbelow": True,
    "xtick.major.size": 2.5,
    "ytick.major.size": 2.5,
    "xtick.major.pad": 2.0,
    "ytick.major.pad": 2.0,
    "lines.linewidth": 1.4,
    "lines.markersize": 3.4,
    "hatch.linewidth": 0.6,
    "legend.fontsize": TEXT_PT,
    "legend.frameon": False,
    "text.parse_math": False,
    "axes.unicode_minus": True,
    "path.simplify": True,
}
_HANDLE_PT, _GAP_PT = 24.0, 10.0


def apart(levels: Sequence[float], gap: float) -> list[float]:
    """Rising levels moved up where they are nearer to each other than a gap."""
    placed: list[float] = []
    for level in levels:
        placed.append(max(level, placed[-1] + gap) if placed else level)
    return placed


def key(axes: Any, handles: Sequence[Any] = ()) -> None:
    """Name what is drawn in rows above the axes, in as many columns as have room; long names are folded, then cut.

    The figure grows by the height of the key.

    Parameters
    ----------
    axes : matplotlib Axes
    handles : sequence of artists, optional
        Default: every artist with a label.
    """
    found = list(handles) or axes.get_legend_handles_labels()[0]
    room = axes.figure.bbox.width / axes.figure.dpi * 72 - 40
    texts = [_cut(str(each.get_label()), room - _HANDLE_PT) for each in found]
    if texts:
        widest = max(text_width_pt(line, TEXT_PT) for text in texts for line in text.split("\n"))
        columns = max(1, int((room + _GAP_PT) // (widest + _HANDLE_PT + _GAP_PT)))
        rows = -(-len(texts) // columns) * max(text.count("\n") + 1 for text in texts)
        axes.figure.set_figheight(axes.figure.get_figheight() + rows * 1.25 * TEXT_PT / 72)
        axes.legend(
            found, texts, loc="lower left", bbox_to_anchor=(0.0, 1.0), borderaxespad=0.2, borderpad=0.2, ncols=columns,
            handlelength=2.4, handletextpad=0.5, columnspacing=1.2, labelspacing=0.25,
        )  # fmt: skip


def _cut(text: str, width: float) -> str:
    lines = folded(text, width, TEXT_PT)
    return "\n".join(lines if len(lines) < 3 else [lines[0], f"{lines[1][:-1]}…"])


def level(axes: Any, y: float, text: str) -> None:
    """A dotted line across the axes, with its name upon it at the left."""
    axes.axhline(y, color=INK, lw=0.9, ls=(0, (1, 1.5)))
    axes.annotate(text, (0.0, y), xycoords=("axes fraction", "data"), xytext=(3, 2), textcoords="offset points",
                  va="bottom", bbox={"facecolor": PAPER, "edgecolor": "none", "pad": 0.3, "alpha": 0.8})  # fmt: skip
