"""Where the texts of a drawing stand, from its SVG and the measures of the charts' own font; what collides."""

import re
from itertools import combinations
from xml.etree import ElementTree

import attrs
import numpy as np

from propmatch.sheet.labels import text_width_pt

SVG = "{http://www.w3.org/2000/svg}"
_UP, _DOWN = 0.73, 0.02
"""Of a capital above the baseline, over the size (DejaVu Sans: 0.729); a little below, as descenders may touch."""
_SLACK_PT = 0.6


@attrs.frozen
class TextBox:
    """A text and the box (left, top, right, bottom) around it, in points as printed."""

    text: str
    size_pt: float
    box: tuple[float, float, float, float]

    def meets(self, other: "TextBox") -> bool:
        (a, b, c, d), (e, f, g, h) = self.box, other.box
        return min(c, g) - max(a, e) > _SLACK_PT and min(d, h) - max(b, f) > _SLACK_PT


def text_boxes(svg: str) -> tuple[list[TextBox], tuple[float, float]]:
    """Every text of a chart, and width and height of the paper."""
    root = ElementTree.fromstring(svg)
    width, height = (float(root.get(name, "").removesuffix("pt")) for name in ("width", "height"))
    whole = [float(n) for n in root.get("viewBox", "").split()]
    assert whole == [0.0, 0.0, width, height], "a unit of the drawing is a point on paper"
    return [_box(node) for node in root.iter(f"{SVG}text") if (node.text or "").strip()], (width, height)


def _box(node: ElementTree.Element) -> TextBox:
    text, size = node.text or "", float(re.sub("px|pt", "", node.get("font-size", "")))
    moved = node.get("transform", "")
    turn = [float(n) for n in re.findall(r"-?[\d.]+", "".join(re.findall(r"rotate\(([^)]*)", moved)))]
    move = re.search(r"translate\(([-\d.]+)[ ,]+([-\d.]+)", moved)
    x, y = (float(move[1]), float(move[2])) if move else (float(node.get("x", 0)), float(node.get("y", 0)))
    wide = text_width_pt(text, size)
    left = x - {"middle": wide / 2, "end": wide}.get(node.get("text-anchor", "start"), 0.0)
    corners = np.array([[left + dx, y + dy] for dx in (0.0, wide) for dy in (-_UP * size, _DOWN * size)])
    if turn and turn[0]:
        angle, pivot = np.radians(turn[0]), np.array(turn[1:] or [x, y])
        spin = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
        corners = pivot + (corners - pivot) @ spin.T
    return TextBox(text, size, (*map(float, corners.min(axis=0)), *map(float, corners.max(axis=0))))


def collisions(svg: str) -> list[str]:
    """Texts upon each other, and texts beyond the paper."""
    found, (width, height) = text_boxes(svg)
    pairs = [f"{a.text!r} upon {b.text!r}" for a, b in combinations(found, 2) if a.meets(b)]
    beyond = [
        f"{each.text!r} beyond the paper"
        for each in found
        if min(each.box[0], each.box[1], width - each.box[2], height - each.box[3]) < -_SLACK_PT
    ]
    return pairs + beyond
