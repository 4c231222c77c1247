"""Side and top view on paper: one scale, names and numbers that keep off each other, scale bar, key. Lengths in pt."""

from typing import Any

import attrs
import numpy as np

from propmatch.sheet.labels import Label, callouts, columned, folded, spread, text_width_pt
from propmatch.sheet.style import BLUE, GREEN, GREY, INK, ORANGE, PAPER, TEXT_PT
from propmatch.sheet.viewlayout import Layout, Mass
from propmatch.sheet.viewshapes import View, side_view, top_view
from propmatch.words.shown import Shown

__all__ = ["Paper", "arranged"]

_WIDTH, _EDGE, _TALLEST = 280.0, 6.0, 1.15
"""Width, margin, and the most that both views may be high over the width."""
_ROW, _BALL = 10.5, 12.5
_HEAVIEST = 15.0
"""Diameter of the dot of the heaviest line."""


@attrs.frozen(kw_only=True, eq=False)
class _Panel:
    """A view at its place: where its zero lies, its names and its numbers with their left edge or middle and height."""

    view: View
    zero: tuple[float, float]
    title: float
    names: list[tuple[Label, float, float]]
    numbers: list[tuple[Mass, float, float]]


@attrs.frozen(kw_only=True, eq=False)
class Paper:
    """Everything at its place, heights downwards from the upper edge; ``scale`` in pt per mm.

    Attributes
    ----------
    width_pt, height_pt, scale : float
    panels : list
    bar : (length in mm, height)
    texts : list of (text, left, height, colour)
        Key and notes.
    """

    width_pt: float
    height_pt: float
    scale: float
    panels: list[_Panel]
    bar: tuple[float, float]
    texts: list[tuple[str, float, float, str]]

    def draw(self, figure: Any) -> None:
        """Into a matplotlib figure."""
        axes = figure.add_subplot(111)
        axes.set_position((0.0, 0.0, 1.0, 1.0))
        axes.set(xlim=(0.0, self.width_pt), ylim=(self.height_pt, 0.0), aspect="equal")
        axes.set_axis_off()
        pen = _Pen(axes)
        grams = [each[3] for panel in self.panels for each in panel.view.dots]
        heaviest = max((each for each in grams if np.isfinite(each)), default=0.0)
        for panel in self.panels:
            _draw_view(pen, panel, self.scale, heaviest)
        length, down = self.bar
        pen.line(
            "scale bar",
            [_EDGE, _EDGE + self.scale * length],
            [down, down],
            {"color": INK, "lw": 2.0, "marker": "|", "ms": 6.0},
        )
        pen.text(_EDGE + self.scale * length + 6, down, f"{length:g} mm", INK)
        for text, left, down, colour in self.texts:
            pen.text(left, down, text, colour)


@attrs.frozen
class _Pen:
    """Axes in pt."""

    axes: Any

    def line(self, name: str, x: Any, y: Any, look: dict[str, Any]) -> None:
        """A line, or a filled outline."""
        if "facecolor" in look:
            (drawn,) = self.axes.fill(x, y, **look)
        else:
            (drawn,) = self.axes.plot(x, y, solid_capstyle="butt", dash_capstyle="butt", **look)
        if name:
            drawn.set_gid(name.replace(" ", "-"))

    def mark(self, name: str, x: float, y: float, **look: Any) -> None:
        """A marker."""
        self.line(name, [x], [y], {"ls": "none", **look})

    def text(self, x: float, y: float, words: str, colour: str, **more: Any) -> None:
        """Words, by default to the right of the point."""
        self.axes.text(x, y, words, color=colour, va="center_baseline", parse_math=False, **more)


def _draw_view(pen: _Pen, panel: _Panel, scale: float, heaviest: float) -> None:
    view, (x0, y0), which = panel.view, panel.zero, panel.view.title.split()[0].lower()
    pen.text(_EDGE, panel.title, view.title, GREY)
    for shape in view.shapes:
        pen.line(f"{which} {shape.name}", x0 + scale * shape.x, y0 - scale * shape.y, shape.look)
    for label, left, down in panel.names:
        x = x0 + scale * label.x
        pen.line("", [x, x], [down + 4, y0 - scale * label.y], {"color": label.colour, "lw": 0.4})
        pen.text(left, down, label.text, label.colour)
    for mass, x, y, grams in sorted(view.dots, key=lambda dot: -np.nan_to_num(dot[3])):
        name, at, down = f"{which} mass {mass.number}", x0 + scale * x, y0 - scale * y
        for _, ball, level in (each for each in panel.numbers if each[0] is mass):
            pen.line("", [at, ball], [down, level], {"color": GREY, "lw": 0.4})
        if np.isnan(grams):
            pen.mark(name, at, down, marker="s", ms=5.0, mfc=PAPER, mec=INK, mew=0.8)
        elif grams > 0:
            colour, wide = ORANGE if mass.flown else BLUE, _HEAVIEST * float(np.sqrt(grams / heaviest))
            pen.mark(name, at, down, marker="o", ms=wide, mfc=colour, mec=colour, mew=0.0, alpha=0.55)
    for name, x, y in view.marks:
        at, down = x0 + scale * x, y0 - scale * y
        if name == "neutral point":
            pen.mark(f"{which} {name}", at, down, marker="^", ms=7.0, color=GREEN)
        else:
            pen.mark(f"{which} {name}", at, down, marker="o", ms=9.0, mfc=PAPER, mec=INK, mew=1.0)
            pen.mark("", at, down, marker="P", ms=6.0, color=INK, mew=0.0)
    for mass, ball, level in panel.numbers:
        pen.mark("", ball, level, marker="o", ms=11.5, mfc=PAPER, mec=GREY, mew=0.5)
        pen.text(ball, level, str(mass.number), ORANGE if mass.flown else INK, ha="center")


def arranged(layout: Layout, shown: Shown, *, key: bool = True) -> Paper:
    """Both views above each other on the same places from left to right, then scale bar, key if wanted, and notes."""
    views = (side_view(layout, shown), top_view(layout, shown))
    low, high = (pick(view.ends(0)[at] for view in views) for at, pick in enumerate((min, max)))
    tall = sum(top - bottom for bottom, top in (view.ends(1) for view in views))
    scale = min((_WIDTH - 2 * _EDGE - _HEAVIEST) / (high - low), _TALLEST * _WIDTH / tall)
    panels, down = [], 0.0
    for view in views:
        panel, down = _placed(view, _WIDTH / 2 - scale * (low + high) / 2, scale, down)
        panels.append(panel)
    bar, down = (_round_length(0.3 * _WIDTH / scale), down + 4), down + 8
    texts: list[tuple[str, float, float, str]] = []
    columns = columned([_entry(layout, mass, shown) for mass in layout.masses if key], _WIDTH - 2 * _EDGE, TEXT_PT)
    for at, column in enumerate(columns):
        left = _EDGE + at * (_WIDTH / 2 - _EDGE)
        texts += [(line, left, down + _ROW * (row + 1), INK) for row, line in enumerate(column)]
    down += _ROW * max(map(len, columns)) + 4
    for line in (line for note in layout.missing for line in folded(note, _WIDTH - 2 * _EDGE, TEXT_PT)):
        down += _ROW
        texts.append((line, _EDGE, down, GREY))
    return Paper(width_pt=_WIDTH, height_pt=down + _ROW, scale=scale, panels=panels, bar=bar, texts=texts)


def _placed(view: View, x0: float, scale: float, down: float) -> tuple[_Panel, float]:
    """A view below what is there already, and how far down it reaches."""
    bottom, top = view.ends(1)
    title = down + _ROW
    rows = callouts([x0 + scale * label.x - _EDGE for label in view.labels],
                    [text_width_pt(label.text, TEXT_PT) for label in view.labels], _WIDTH - 2 * _EDGE)  # fmt: skip
    first = title + _ROW * (1 + max(row for _, row in rows))
    names = [(label, left + _EDGE, first - _ROW * row) for label, (left, row) in zip(view.labels, rows, strict=True)]
    zero = first + 6 + max(scale * top, _HEAVIEST / 2)
    under = zero - scale * min(view.foot, 0.0) + _HEAVIEST / 2
    numbers = _numbered(view, x0, scale, under + _BALL / 2)
    lowest = max([under, *(level + _BALL / 2 for *_, level in numbers)])
    panel = _Panel(view=view, zero=(x0, zero), title=title, names=names, numbers=numbers)
    return panel, max(lowest, zero - scale * bottom) + 6


def _numbered(view: View, x0: float, scale: float, level: float) -> list[tuple[Mass, float, float]]:
    """Middle and height of each number, in as many rows as they take."""
    places = {mass: x0 + scale * x for mass, x, *_ in view.dots}
    order = sorted(places, key=lambda mass: (places[mass], mass.number))
    rows = -(-len(order) * _BALL // (_WIDTH - 2 * _EDGE))
    found = []
    for row in range(int(rows)):
        mine = order[row :: int(rows)]
        at = spread([places[mass] for mass in mine], _BALL, _EDGE + _BALL / 2, _WIDTH - _EDGE - _BALL / 2)
        found += [(mass, x, level + row * _BALL) for mass, x in zip(mine, at, strict=True)]
    return found


def _entry(layout: Layout, mass: Mass, shown: Shown) -> str:
    """A line of the key."""
    text = f"{mass.number}: {mass.name}"
    if np.isnan(mass.mass_g):
        return f"{text}, {mass.position_mm:.0f} mm"
    balance = layout.geometry.balance
    text += f", {shown.mass_text(mass.mass_g)}"
    if mass.name == "pack" and mass.flown and balance.pack_tray_from_mm is not None:
        text += f" ({balance.pack_tray_from_mm:g} to {balance.pack_tray_to_mm:g} mm)"
    return text


def _round_length(most: float) -> float:
    """The largest of 1, 2 or 5 times a power of ten [mm] that is not above ``most``."""
    power = 10.0 ** np.floor(np.log10(most))
    return float(max(step * power for step in (1.0, 2.0, 5.0) if step * power <= most))
