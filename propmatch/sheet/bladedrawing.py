"""One blade from hub to tip as a small SVG to scale, with the chord at 75 % of the radius marked."""

from collections.abc import Sequence
from html import escape

from propmatch.records.blades import FAMILIES, MARK, STATIONS
from propmatch.sheet.style import BLUE, GREY

__all__ = ["blade_svg", "families_svg"]

_HUB = 0.12
"""Radius of the hub over that of the propeller, as it is drawn."""
_AHEAD = 0.4
"""Share of the chord in front of the line from hub to tip."""
_TEXT_PX = 10.0


def _outline(family: str, radius: float, x: float, y: float) -> str:
    """Points of a blade that begins at the hub's middle (x, y), leading edge up."""
    chords = FAMILIES[family].outline
    root = (_HUB, 0.5 * chords[0])
    stations = [root, *zip(STATIONS, chords, strict=True)]
    front = [(x + radius * r, y - radius * _AHEAD * chord) for r, chord in stations]
    back = [(x + radius * r, y + radius * (1 - _AHEAD) * chord) for r, chord in reversed(stations)]
    return " ".join(f"{px:.1f},{py:.1f}" for px, py in (*front, *back))


def _blade(family: str, radius: float, x: float, y: float) -> str:
    """Hub, outline and the marked chord."""
    chord = 2.0 * FAMILIES[family].chord * radius
    pin = f'<circle cx="{x + _HUB * radius:.1f}" cy="{y:.1f}" r="2.5" fill="{GREY}"/>' if family == "folding" else ""
    at, top, bottom = x + MARK * radius, y - _AHEAD * chord, y + (1 - _AHEAD) * chord
    return (
        f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{_HUB * radius:.1f}" fill="none" stroke="{GREY}"/>'
        f'<polygon points="{_outline(family, radius, x, y)}" fill="currentColor" fill-opacity="0.06" '
        f'stroke="currentColor" stroke-linejoin="round"/>{pin}'
        f'<path d="M{at:.1f} {top:.1f}V{bottom:.1f}M{at - 3:.1f} {top:.1f}h6M{at - 3:.1f} {bottom:.1f}h6" fill="none" '
        f'stroke="{BLUE}" stroke-width="1.6"/>'
    )


def _svg(body: str, width: float, height: float, title: str) -> str:
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:.0f} {height:.0f}" width="{width:.0f}" '
        f'height="{height:.0f}" role="img" font-family="DejaVu Sans, sans-serif" font-size="{_TEXT_PX:g}">'
        f"<title>{escape(title)}</title>{body}</svg>"
    )


def blade_svg(family: str, *, diameter_mm: float | None = None, radius: float = 120.0) -> str:
    """One blade of a family.

    Parameters
    ----------
    family : str
        A name of :data:`propmatch.records.blades.FAMILIES`.
    diameter_mm : float, optional
        The chord is then given in mm too.
    radius : float
        Of the propeller in the drawing [px].

    Returns
    -------
    str
        An ``<svg>`` element with a title for screen readers.
    """
    chord = FAMILIES[family].chord
    said = f"{100 * chord:.1f} % of D" + (f", {chord * diameter_mm:.1f} mm" if diameter_mm else "")
    hub = _HUB * radius + 1.0
    above, below = max(hub, 0.4 * _widest() * radius), max(hub, 0.6 * _widest() * radius)
    x, y = hub + MARK * radius, above + below + _TEXT_PX + 3
    text = f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="middle" fill="currentColor">{said}</text>'
    title = f"Blade of the {family} family, hub on the left; chord at 75 % of the radius {said}"
    wide = hub + max(radius, MARK * radius + 0.32 * _TEXT_PX * len(said)) + 2
    return _svg(_blade(family, radius, hub, above) + text, wide, above + below + _TEXT_PX + 7, title)


def families_svg(families: Sequence[str] = tuple(FAMILIES), *, radius: float = 120.0) -> str:
    """Blades of several families below each other, to one scale, each with its name and chord."""
    step = _widest() * radius + 10.0
    hub, names = _HUB * radius + 1.0, 62.0
    body = ""
    for at, name in enumerate(families):
        family = FAMILIES[name]
        low, high = family.chord_range
        y = at * step + 0.45 * step
        body += f'<text x="0" y="{y + 3:.1f}" font-weight="bold" fill="currentColor">{name}</text>'
        body += _blade(name, radius, names + hub, y)
        body += (
            f'<text x="{names + hub + radius + 8:.1f}" y="{y + 3:.1f}" fill="currentColor">{100 * family.chord:.1f} % '
            f"({100 * low:.1f} to {100 * high:.1f})</text>"
        )
    title = "Blades of the families to one scale; marked is the chord at 75 % of the radius, in % of the diameter"
    foot = "chord at 75 % of the radius, % of the diameter (middle 80 %)"
    body += f'<text x="0" y="{len(families) * step + _TEXT_PX:.1f}" fill="currentColor">{foot}</text>'
    return _svg(body, names + hub + radius + 125.0, len(families) * step + _TEXT_PX + 6, title)


def _widest() -> float:
    return max(max(family.outline) for family in FAMILIES.values())
