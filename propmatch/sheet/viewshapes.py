"""Side and top view as lines, marks and names in mm, before anybody chooses a scale."""

from collections.abc import Sequence
from typing import Any

import attrs
import numpy as np

from propmatch.aircraft.geometry import Geometry
from propmatch.models.arrays import Floats
from propmatch.records.body import Body
from propmatch.sheet.labels import Label
from propmatch.sheet.style import BLUE, GREEN, GREY, INK, MIST, ORANGE, WASH
from propmatch.sheet.viewlayout import Layout, Mass
from propmatch.words.shown import Shown

__all__ = ["Shape", "View", "side_view", "top_view"]

_SURFACE: dict[str, Any] = {"facecolor": WASH, "edgecolor": INK, "lw": 1.0}
_BAND: dict[str, Any] = {"facecolor": MIST, "edgecolor": "none", "lw": 0.0}
_TRAY: dict[str, Any] = {"color": ORANGE, "lw": 1.4, "marker": "|", "ms": 10.0}
_JET: dict[str, Any] = {"color": BLUE, "lw": 0.9, "ls": (0, (1, 2))}
_THRUST: dict[str, Any] = {"color": BLUE, "lw": 1.0, "ls": "-."}
_DISC: dict[str, Any] = {"color": INK, "lw": 2.2}
_THIN: dict[str, Any] = {"color": GREY, "lw": 0.6}
_BODY: dict[str, Any] = {"color": INK, "lw": 0.9, "ls": "--"}
_GROUND: dict[str, Any] = {"color": GREEN, "lw": 1.2}
_FARTHER: dict[str, Any] = {"color": GREEN, "lw": 0.9, "ls": (0, (4, 2))}
_HALF_BAND = 0.25
"""Height of the target's band either way, over the mean chord."""


@attrs.frozen(eq=False)
class Shape:
    """A line in mm, closed and filled where ``look`` names a face colour."""

    name: str
    x: Floats
    y: Floats
    look: dict[str, Any]


@attrs.frozen(kw_only=True, eq=False)
class View:
    """One projection.

    Attributes
    ----------
    title : str
    shapes : list of Shape
    labels : list of Label
    marks : list of (name, x, y)
        Centre of gravity and neutral point.
    dots : list of (Mass, x, y, mass there in g)
    """

    title: str
    shapes: list[Shape]
    labels: list[Label]
    marks: list[tuple[str, float, float]]
    dots: list[tuple[Mass, float, float, float]]

    def ends(self, axis: int) -> tuple[float, float]:
        """Lowest and highest coordinate of everything that is drawn."""
        return self._ends(axis, self.shapes)

    @property
    def foot(self) -> float:
        """Lowest coordinate of all but the wing and the tail: what stands below it stands at most upon these."""
        return self._ends(1, [shape for shape in self.shapes if shape.name not in ("wing", "tail")])[0]

    def _ends(self, axis: int, shapes: list[Shape]) -> tuple[float, float]:
        drawn = [(shape.x, shape.y)[axis] for shape in shapes]
        points = np.array([each[1 + axis] for each in (*self.marks, *self.dots)])
        every = np.concatenate([*drawn, points])
        return float(every.min()), float(every.max())


def reach(layout: Layout) -> tuple[float, float]:
    """Foremost and rearmost place that anything stated has [mm]."""
    geometry, tail = layout.geometry, layout.geometry.tail
    balance, chord = geometry.balance, layout.tail_chord_mm
    stated = [balance.pack_tray_from_mm, balance.pack_tray_to_mm, geometry.propeller_mm]
    stated += [mass.position_mm for mass in layout.masses]
    stated += [place for spots in (layout.discs_mm, *(m.spots_mm for m in layout.masses)) for place, _, _ in spots]
    stated += [] if layout.fin_mm is None else layout.fin_mm[:2]
    if layout.body is not None:
        own = layout.body
        stated += [own.nose_mm, own.tail_mm, own.main_wheel_mm, own.tail_wheel_mm, own.nose_wheel_mm]
    known = [place for place in stated if place is not None]
    known += [geometry.leading_edge_mm, geometry.leading_edge_mm + geometry.chord_mm, balance.target_cg_mm]
    known += [] if tail is None else [tail.position_mm - 0.25 * chord, tail.position_mm + 0.75 * chord]
    pad = 0.03 * (max(known) - min(known))
    return min(known) - pad, max(known) + pad


def side_view(layout: Layout, shown: Shown) -> View:
    """x aft, z up."""
    geometry = layout.geometry
    left, right = reach(layout)
    tail, chord, level = geometry.tail, geometry.chord_mm, layout.cg_height_mm
    shapes = [_run("level line", (left, right), 0.0, _THIN), _band(geometry, level)]
    lead, wing_mm = geometry.leading_edge_mm, geometry.wing_height_mm
    shapes.append(_section("wing", lead, wing_mm, chord, geometry.wing_incidence_deg))
    labels = [Label(f"wing, mean chord {chord:.0f} mm at {geometry.wing_incidence_deg:g}°",
                    lead + 0.75 * chord, wing_mm + 0.03 * chord, INK)]  # fmt: skip
    if left <= 0 <= right:
        shapes.append(_run("datum", (0.0,), 0.0, {**_THIN, "marker": "|", "ms": 8.0}))
        labels.append(Label("datum", 0.0, 0.0, GREY))
    if layout.fin_mm is not None:
        front, rear, root, tip = layout.fin_mm
        hinge = rear - layout.controls.rudder_chord_fraction * (rear - front)
        shapes.append(Shape("fin", np.array([front, rear, rear, front]), np.array([root, root, tip, tip]), _SURFACE))
        shapes.append(Shape("rudder", np.full(2, hinge), np.array([root, tip]), _THIN))
        labels.append(Label(f"fin {layout.controls.fin_area_dm2:g} dm²", (front + hinge) / 2, tip, INK))
    if tail is not None:
        up, angle = geometry.tail_height_mm, geometry.tail_incidence_deg
        start = tail.position_mm - 0.25 * layout.tail_chord_mm
        shapes.append(_section("tail", start, up, layout.tail_chord_mm, angle))
        labels.append(Label(f"tail at {angle:g}°", tail.position_mm, up, INK))
    more, names = _propellers_aside(layout, left, right)
    ground, underneath = _ground(layout, left, right)
    shapes, labels = [*shapes, *more, *ground, *_body_side(layout, left, right)], [*labels, *names, *underneath]
    return View(
        title="Side view", shapes=[*shapes, *_tray(geometry, geometry.balance.pack_height_mm)],
        labels=[*labels, *_balance_labels(layout, level)], marks=_marks(layout, level),
        dots=[dot for mass in layout.masses
              for dot in _dots(mass, [(x, z) for x, _, z in mass.spots_mm if z is not None])],
    )  # fmt: skip


def top_view(layout: Layout, shown: Shown) -> View:
    """x aft, y up to the right wing."""
    geometry, chord = layout.geometry, layout.tail_chord_mm
    left, right = reach(layout)
    tail, lead = geometry.tail, geometry.leading_edge_mm
    shapes = [_run("centre line", (left, right), 0.0, _THIN)]
    shapes.append(_box("wing", lead, lead + geometry.chord_mm, geometry.wing_span_mm / 2, _SURFACE))
    labels = [Label(f"wing, span {geometry.wing_span_mm:.0f} mm", lead + 0.5 * geometry.chord_mm,
                    geometry.wing_span_mm / 2, INK)]  # fmt: skip
    if tail is not None:
        start = tail.position_mm - 0.25 * chord
        shapes.append(_box("tail", start, start + chord, tail.span_mm / 2, _SURFACE))
        labels.append(Label(f"tail, span {tail.span_mm:.0f} mm", tail.position_mm, tail.span_mm / 2, INK))
    shapes.append(_band(geometry, 0.0))
    if layout.discs_mm:
        ends = layout.radius_mm * np.array([1.0, -1.0])
        shapes += [Shape("propeller disc", np.full(2, x), y + ends, _DISC) for x, y, _ in layout.discs_mm]
        disk, side, _ = max(layout.discs_mm, key=lambda disc: disc[1])
        labels.append(Label(f"disc {2 * layout.radius_mm:.0f} mm", disk, side + layout.radius_mm, INK))
        for x, y, _ in layout.discs_mm:
            shapes += _jet(layout, x, y, 0.0, right)
        for edge in _jet(layout, disk, side, 0.0, right)[-1:]:
            text = f"jet, full throttle at {shown.speed_text(layout.airspeed_m_s)}"
            labels.append(Label(text, float(edge.x[-8]), float(edge.y[-8]), BLUE))
    shapes += _body_above(layout, left, right)
    return View(
        title="Top view", shapes=[*shapes, *_tray(geometry, 0.0)], labels=labels,
        marks=_marks(layout, 0.0),
        dots=[dot for mass in layout.masses for dot in _dots(mass, [(x, y) for x, y, _ in mass.spots_mm])],
    )  # fmt: skip


def _dots(mass: Mass, spots: list[tuple[float, float]]) -> list[tuple[Mass, float, float, float]]:
    """One for each place, with its part of the mass."""
    one = mass.mass_g / max(len(mass.spots_mm), 1)
    return [(mass, x, y, one * spots.count((x, y))) for x, y in dict.fromkeys(spots)]


def _box(name: str, left: float, right: float, half: float, look: dict[str, Any]) -> Shape:
    return Shape(name, np.array([left, right, right, left]), half * np.array([-1.0, -1.0, 1.0, 1.0]), look)


def _run(name: str, ends: Sequence[float], level: float, look: dict[str, Any]) -> Shape:
    return Shape(name, np.asarray(ends, dtype=np.float64), np.full(len(ends), level), look)


def _section(name: str, start: float, height: float, chord: float, incidence_deg: float) -> Shape:
    """A chord as a thin section, turned about its quarter point: flat below, rounded above."""
    t = np.linspace(0.0, 1.0, 31)
    base = height + chord * (0.25 - t) * np.tan(np.radians(incidence_deg))
    top = base + 0.2 * chord * np.sqrt(t) * (1 - t) ** 0.8
    x = start + chord * t
    return Shape(name, np.append(x, x[::-1]), np.append(base, top[::-1]), _SURFACE)


def _propellers_aside(layout: Layout, left: float, right: float) -> tuple[list[Shape], list[Label]]:
    """Discs, thrust lines and jets in side view, each height once."""
    line, propeller = layout.geometry.thrust_line, layout.train.propeller
    seen = list(dict.fromkeys((x, z) for x, _, z in layout.discs_mm if z is not None))
    if line is None or not seen:
        return [], []
    tilt, along = np.radians(line.tilt_deg), np.array([left, right])
    slope, across = float(np.tan(tilt)), layout.radius_mm * np.array([1.0, -1.0])
    shapes: list[Shape] = []
    for disk, height in seen:
        shapes.append(Shape("thrust line", along, height + (along - disk) * slope, _THRUST))
        shapes.append(Shape("propeller disc", disk - across * np.sin(tilt), height + across * np.cos(tilt), _DISC))
        shapes += _jet(layout, disk, height, layout.jet_slope, right)
    disk, height = max(seen, key=lambda disc: disc[1])
    middle = (disk + (right if right - disk > disk - left else left)) / 2
    words = "no tilt" if line.tilt_deg == 0 else f"{abs(line.tilt_deg):g}° {'down' if line.tilt_deg > 0 else 'up'}"
    tip = disk - layout.radius_mm * float(np.sin(tilt)), height + layout.radius_mm * float(np.cos(tilt))
    return shapes, [
        Label(f"propeller {propeller.diameter_in:g} x {propeller.pitch_in:g} in", *tip, INK),
        Label(f"thrust line, {words}", middle, height + (middle - disk) * slope, BLUE),
    ]


def _jet(layout: Layout, disk: float, centre: float, slope: float, right: float) -> list[Shape]:
    """Both edges of a jet behind its disc, the upper one last; none without thrust."""
    behind = max(right - disk, 0.0) * np.linspace(0.0, 1.0, 25) ** 2
    radius = layout.jet_mm(behind)
    if behind[-1] == 0 or not np.all(np.isfinite(radius)):
        return []
    return [Shape("jet", disk + behind, centre + slope * behind + side * radius, _JET) for side in (-1.0, 1.0)]


def _body_side(layout: Layout, left: float, right: float) -> list[Shape]:
    """Top and bottom of the body, and its ends, as far as they are stated."""
    body = layout.body
    return [] if body is None else _outline(body, left, right, body.bottom_mm, body.top_mm)


def _body_above(layout: Layout, left: float, right: float) -> list[Shape]:
    """Sides of the body, and booms where they pass a disc."""
    body = layout.body
    if body is None:
        return []
    half, boom = body.half_width_mm, body.boom_side_mm
    shapes = [] if half is None else _outline(body, left, right, -half, half)
    if boom is not None:
        for x in dict.fromkeys(x for x, _, _ in layout.discs_mm):
            ends = (x - layout.radius_mm, x + layout.radius_mm)
            shapes += [_run("boom", ends, side * boom, _BODY) for side in (-1, 1)]
    return shapes


def _outline(body: Body, left: float, right: float, low: float | None, high: float | None) -> list[Shape]:
    """A box, open where it has no end."""
    ends = (left if body.nose_mm is None else body.nose_mm, right if body.tail_mm is None else body.tail_mm)
    shapes = [_run("body", ends, level, _BODY) for level in (low, high) if level is not None]
    if low is not None and high is not None:
        faces = [end for end in (body.nose_mm, body.tail_mm) if end is not None]
        shapes += [Shape("body", np.full(2, end), np.array([low, high]), _BODY) for end in faces]
    return shapes


def _ground(layout: Layout, left: float, right: float) -> tuple[list[Shape], list[Label]]:
    """Ground under shrunk wheels, their contacts as stated, and the least gap below the disc at the line it is from."""
    body = layout.body
    if body is None or body.main_wheel_height_mm is None:
        return [], []
    contacts = ((body.main_wheel_mm, body.main_wheel_height_mm), (body.nose_wheel_mm, body.nose_wheel_height_mm),
                (body.tail_wheel_mm, body.tail_wheel_height_mm))  # fmt: skip
    wheels = [(x, z) for x, z in contacts if x is not None and z is not None]
    along = np.array(sorted([left, right, *(x for x, _ in wheels)]))
    lines, (nearest, gap) = layout.ground_mm(along), layout.ground_gap_mm
    shapes = [Shape(what.replace(",", ""), along, height, _GROUND if what == nearest else _FARTHER)
              for what, height in lines.items()]  # fmt: skip
    shapes += [_run("wheel", (x,), z, {**_GROUND, "marker": "v", "ms": 6.0}) for x, z in wheels]
    words = f": {gap:.0f} mm below the disc" if gap >= 0 else f": the disc strikes it by {-gap:.0f} mm"
    at = left + 0.02 * (right - left)
    level = float(layout.ground_mm(np.array([at]))[nearest][0])
    return shapes, [Label(f"{nearest}{words if np.isfinite(gap) else ''}", at, level, GREEN)]


def _band(geometry: Geometry, level: float) -> Shape:
    """Where the centre of gravity may be."""
    target, room = geometry.balance.target_cg_mm, geometry.cg_tolerance_mm
    box = _box("target", target - room, target + room, _HALF_BAND * geometry.chord_mm, _BAND)
    return attrs.evolve(box, y=box.y + level)


def _tray(geometry: Geometry, level: float | None) -> list[Shape]:
    start, end = geometry.balance.pack_tray_from_mm, geometry.balance.pack_tray_to_mm
    return [] if start is None or end is None or level is None else [_run("pack tray", (start, end), level, _TRAY)]


def _centre_mm(layout: Layout) -> float:
    """Centre of gravity; the target where it is unknown."""
    return layout.cg_mm if np.isfinite(layout.cg_mm) else layout.geometry.balance.target_cg_mm


def _marks(layout: Layout, level: float) -> list[tuple[str, float, float]]:
    found = [("centre of gravity", _centre_mm(layout), level)]
    return [*found, ("neutral point", layout.neutral_mm, level)] if np.isfinite(layout.neutral_mm) else found


def _balance_labels(layout: Layout, level: float) -> list[Label]:
    geometry = layout.geometry
    target, place = geometry.balance.target_cg_mm, _centre_mm(layout)
    off = f" {place:.0f}" if abs(place - target) > geometry.cg_tolerance_mm else ""
    found = [Label(f"CG{off}, target {target:g} ± {geometry.cg_tolerance_mm:g} mm", place, level, INK)]
    if np.isfinite(layout.neutral_mm):
        found.append(Label(f"neutral point {layout.neutral_mm:.0f} mm", layout.neutral_mm, level, GREEN))
    return found
