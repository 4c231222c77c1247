"""How every chart looks: colours told apart by anyone, and by line style, marker and label without colour."""

from collections.abc import Sequence
from typing import Any

__all__ = ["BLUE", "GREEN", "GREY", "INK", "ORANGE", "PURPLE", "SETTINGS", "STYLES", "apart", "end_labels", "panel"]

INK, BLUE, ORANGE, GREEN, PURPLE, GREY = "#000000", "#0072B2", "#B84A00", "#00795A", "#9A4F7E", "#595959"
"""Dark members of the Okabe and Ito palette (Color Universal Design, 2008); darker where text needs contrast."""
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
    "font.size": 8.5,
    "axes.titlesize": 9.0,
    "axes.titlelocation": "left",
    "axes.labelsize": 8.5,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.grid": True,
    "grid.color": "#dddddd",
    "grid.linewidth": 0.6,
    "axes.axisbelow": True,
    "lines.linewidth": 1.8,
    "lines.markersize": 4.5,
    "hatch.linewidth": 0.7,
    "text.parse_math": False,
    "axes.unicode_minus": True,
    "path.simplify": True,
}


def panel(figure: Any, place: Any = 111, **options: Any) -> Any:
    """Axes on a figure or on a part of one."""
    return figure.add_subplot(place, **options)


def apart(levels: Sequence[float], gap: float) -> list[float]:
    """Rising levels moved up where they are nearer to each other than a gap."""
    placed: list[float] = []
    for level in levels:
        placed.append(max(level, placed[-1] + gap) if placed else level)
    return placed


def end_labels(axes: Any, labels: Sequence[tuple[float, float, str, str]]) -> None:
    """Write each line's name beyond the right edge of the axes, moved apart where they would touch.

    Parameters
    ----------
    axes : matplotlib Axes, with its limits already final
    labels : sequence of (x, y, text, colour), in data units
    """
    low, high = axes.get_ylim()
    height_pt = axes.figure.bbox.height / axes.figure.dpi * 72 * axes.get_position().height
    gap = (high - low) * 10.5 / max(height_pt, 1.0)
    ordered = sorted(labels, key=lambda label: label[1])
    for (x, y, text, colour), level in zip(ordered, apart([label[1] for label in ordered], gap), strict=True):
        axes.annotate(
            text, (x, y), xytext=(1.01, level), textcoords=("axes fraction", "data"), color=colour, fontsize=8,
            va="center", annotation_clip=False,
            arrowprops=None if abs(level - y) < gap / 2 else {"arrowstyle": "-", "color": colour, "lw": 0.5},
        )  # fmt: skip
