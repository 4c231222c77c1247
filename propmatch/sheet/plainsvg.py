"""Lines, outlines, markers, words in pt as SVG without matplotlib: what a drawing without axes needs of a figure."""

from collections.abc import Sequence
from html import escape
from typing import Any

import numpy as np

from propmatch.sheet.style import INK, PAPER, TEXT_PT

__all__ = ["PlainFigure"]

_DASHES = {"-": (), "--": (3.7, 1.6), "-.": (6.4, 1.6, 1.0, 1.6), ":": (1.0, 1.65)}
"""In widths of the line, as matplotlib's own."""
_MARKERS = {
    "s": "M-.5-.5H.5V.5H-.5Z", "^": "M0-.5L.5.5H-.5Z", "v": "M0 .5L.5-.5H-.5Z", "|": "M0-.5V.5",
    "P": "M-.167-.5H.167V-.167H.5V.167H.167V.5H-.167V.167H-.5V-.167H-.167Z",
    "o": "M-.5 0A.5 .5 0 1 1 .5 0A.5 .5 0 1 1-.5 0Z",
}  # fmt: skip
"""One pt wide, around zero."""


def _number(value: float) -> str:
    return f"{float(value):.2f}".rstrip("0").rstrip(".")


class _Drawn:
    """One element, with a name if it is given one."""

    def __init__(self, body: str) -> None:
        self.body, self.name = body, ""

    def set_gid(self, name: str) -> None:
        self.name = name

    def __str__(self) -> str:
        return f'<g class="{escape(self.name)}">{self.body}</g>' if self.name else self.body


class PlainFigure:
    """Stands in for a matplotlib figure whose only axes fill it, in pt, downwards from the upper edge."""

    def __init__(self, width_pt: float, height_pt: float) -> None:
        self.width_pt, self.height_pt = width_pt, height_pt
        self._drawn: list[_Drawn] = []

    def add_subplot(self, place: int) -> "PlainFigure":
        return self

    def set_position(self, place: Sequence[float]) -> None:
        """It fills the figure anyway."""

    def set(self, **ends: Any) -> None:
        """Its ends are those of the figure."""

    def set_axis_off(self) -> None:
        """There is none."""

    def fill(self, x: Any, y: Any, *, facecolor: str, edgecolor: str, lw: float) -> list[_Drawn]:
        """A closed outline."""
        edge = "" if edgecolor == "none" else f' stroke="{edgecolor}" stroke-width="{_number(lw)}"'
        return self._put(f'<path d="{self._way(x, y)}Z" fill="{facecolor}"{edge}/>')

    def plot(
        self, x: Any, y: Any, *, color: str = INK, lw: float = 1.4, ls: Any = "-", marker: str = "", ms: float = 3.4,
        **look: Any,
    ) -> list[_Drawn]:  # fmt: skip
        """A line with a marker at each of its points; ``mfc``, ``mec``, ``mew``, ``alpha`` as matplotlib has them."""
        body = ""
        if ls != "none":
            dashes = ls[1] if isinstance(ls, tuple) else _DASHES[ls]
            dashed = "".join(f" {_number(lw * each)}" for each in dashes).strip()
            dashed = f' stroke-dasharray="{dashed}"' if dashed else ""
            body = f'<path d="{self._way(x, y)}" fill="none" stroke="{color}" stroke-width="{_number(lw)}"{dashed}/>'
        if marker:
            body += "".join(self._mark(at, down, color, marker, ms, look) for at, down in zip(x, y, strict=True))
        return self._put(body)

    def text(self, x: float, y: float, words: str, *, color: str, ha: str = "left", **more: Any) -> None:
        """Words whose middle is at the height of the point."""
        anchor = {"center": ' text-anchor="middle"', "right": ' text-anchor="end"'}.get(ha, "")
        self._put(f'<text x="{_number(x)}" y="{_number(y + 0.36 * TEXT_PT)}" font-size="{TEXT_PT}px" fill="{color}"'
                  f"{anchor}>{escape(words)}</text>")  # fmt: skip

    def svg(self) -> str:
        """The drawing as an element."""
        wide, high = _number(self.width_pt), _number(self.height_pt)
        whole = f'<path d="M0 0H{wide}V{high}H0Z" fill="{PAPER}"/>'
        body = "\n".join([whole, *map(str, self._drawn)])
        return f'<svg width="{wide}pt" height="{high}pt" viewBox="0 0 {wide} {high}">\n{body}\n</svg>'

    def _put(self, body: str) -> list[_Drawn]:
        self._drawn.append(_Drawn(body))
        return self._drawn[-1:]

    @staticmethod
    def _way(x: Any, y: Any) -> str:
        points = zip(np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64), strict=True)
        return "M" + "L".join(f"{_number(at)} {_number(down)}" for at, down in points)

    @staticmethod
    def _mark(at: float, down: float, color: str, marker: str, ms: float, look: dict[str, Any]) -> str:
        face, edge, wide = look.get("mfc", color), look.get("mec", color), look.get("mew", 1.0)
        stroke = f' stroke="{edge}" stroke-width="{_number(wide / ms)}"' if wide else ""
        clear = f' opacity="{look["alpha"]}"' if "alpha" in look else ""
        place = f"translate({_number(at)} {_number(down)}) scale({_number(ms)})"
        return f'<path d="{_MARKERS[marker]}" transform="{place}" fill="{face}"{stroke}{clear}/>'
