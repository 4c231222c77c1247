"""What is near the propeller's disc, where each motor sits, and the controls in roll and yaw.

Coordinates are those of `layout`: mm aft of the datum, mm above the level line, mm to the side of the centre line.
`disc_rooms` says how large a disc may be beside each thing that is near.
"""

import math
from collections.abc import Sequence
from typing import Any

import attrs

from propmatch.models.clearance import box_distance_mm, ground_line
from propmatch.records.estimates import PRACTICE
from propmatch.records.fields import Problem, Rule, choice, declared, number, record, replace, walk
from propmatch.records.layout import ThrustLine

__all__ = [
    "BODY_RULES",
    "LEAST_GAP_MM",
    "LEAST_GROUND_GAP_MM",
    "Body",
    "Control",
    "DiscPlace",
    "MotorPlace",
    "Room",
    "body_laid_over",
    "body_problems",
    "common_line",
    "disc_places",
    "disc_rooms",
    "gaps_assumed",
    "ground_contacts",
]

LEAST_GAP_MM, LEAST_GROUND_GAP_MM = 10.0, 25.0
"""Gaps of a brief that names none; common practice, no published source."""


def _both_or_neither(what: str) -> Rule:
    return Rule(
        (f"{what}_mm", f"{what}_height_mm"),
        lambda place, height: (place is None) != (height is None),
        "place and height of a ground contact must both be given, or neither",
    )


def _needs_main(what: str, side: str) -> Rule:
    """The contact ahead of (-1) or behind (1) the main wheels."""
    way = 1 if side == "aft of" else -1
    return Rule(
        (f"{what}_mm", "main_wheel_mm"),
        lambda place, main: place is not None and (main is None or way * (place - main) <= 0),
        f"must be {side} main_wheel_mm, which must be given too",
    )


@record(
    rules=(
        Rule(
            ("main_wheel_height_mm", "main_wheel_mm"),
            lambda height, place: height is None and place is not None,
            "missing; main_wheel_mm needs the height of its ground contact",
        ),
        _both_or_neither("tail_wheel"),
        _both_or_neither("nose_wheel"),
        _needs_main("tail_wheel", "aft of"),
        _needs_main("nose_wheel", "ahead of"),
        Rule(
            ("top_mm", "bottom_mm"),
            lambda top, bottom: top is not None and bottom is not None and top <= bottom,
            "must be above bottom_mm",
        ),
        Rule(
            ("tail_mm", "nose_mm"),
            lambda tail, nose: tail is not None and nose is not None and tail <= nose,
            "must be aft of nose_mm",
        ),
        Rule(
            ("boom_side_mm", "half_width_mm"),
            lambda boom, width: boom is not None and width is not None and boom <= width,
            "must be beyond half_width_mm: the booms stand beside the body",
        ),
    )
)
class Body:
    """What is near the disc: a body below, above or beside it, two booms, the ground. What is None is not there.

    The body is a box about the centre line: fuselage, pod, boom or wing in the plane of the disc; a face that is None
    is infinitely far away. It counts for the discs between its ends, so not for one ahead of ``nose_mm``.
    """

    top_mm: float | None = number("mm", ge=-5_000, le=5_000, default=None, doc="its highest point at the disc")
    bottom_mm: float | None = number("mm", ge=-5_000, le=5_000, default=None, doc="its lowest point at the disc")
    half_width_mm: float | None = number(
        "mm", gt=0, le=5_000, default=None, doc="its side at the disc, from the centre line"
    )
    nose_mm: float | None = number(
        "mm", ge=-10_000, le=10_000, default=None, doc="its foremost place, aft of the datum"
    )
    tail_mm: float | None = number(
        "mm", ge=-10_000, le=10_000, default=None, doc="its rearmost place, aft of the datum"
    )
    boom_side_mm: float | None = number(
        "mm", gt=0, le=5_000, default=None, doc="inner faces of two booms that discs turn between, from the centre line"
    )
    main_wheel_mm: float | None = number(
        "mm", ge=-10_000, le=10_000, default=None, doc="ground contact of main wheels or skid, aft of the datum"
    )
    main_wheel_height_mm: float | None = number(
        "mm", ge=-5_000, le=5_000, default=None, doc="the same above the level line, so usually below 0"
    )
    tail_wheel_mm: float | None = number(
        "mm", ge=-10_000, le=10_000, default=None, doc="ground contact of tail wheel or tail skid, aft of the datum"
    )
    tail_wheel_height_mm: float | None = number(
        "mm", ge=-5_000, le=5_000, default=None, doc="the same above the level line"
    )
    nose_wheel_mm: float | None = number(
        "mm", ge=-10_000, le=10_000, default=None, doc="ground contact of the nose wheel, aft of the datum"
    )
    nose_wheel_height_mm: float | None = number(
        "mm", ge=-5_000, le=5_000, default=None, doc="the same above the level line"
    )
    wheel_shrink_mm: float | None = number(
        "mm", ge=0, le=500, default=None, doc="how far tyres give and gear bends at each wheel in a firm landing"
    )
    least_gap_mm: float | None = number(
        "mm", ge=0, le=500, default=None, doc="least gap wanted beside body, booms and other discs"
    )
    least_ground_gap_mm: float | None = number(
        "mm", ge=0, le=500, default=None, doc="least gap wanted above the ground"
    )


_WHEELS = tuple(f"{wheel}_wheel{what}_mm" for wheel in ("main", "tail", "nose") for what in ("", "_height"))


def _values_laid_over(base: Body | None, own: Body) -> dict[str, float | None]:
    names = [rule.name for rule in declared(Body)]
    above = {name: value for name in names if (value := getattr(own, name)) is not None}
    kept = [name for name in names if name not in _WHEELS or not any(wheel in above for wheel in _WHEELS)]
    return {name: getattr(base, name, None) for name in kept} | above


def body_laid_over(base: Body | None, own: Body | None) -> Body | None:
    """What is near the disc of a variant: what it states over that of the aircraft, any wheel stated for all wheels."""
    return base if own is None else Body(**_values_laid_over(base, own))


@record()
class MotorPlace:
    """One of two to four motors; what is None is that of ``[thrust_line]``."""

    side_mm: float = number("mm", ge=-5_000, le=5_000, doc="from the centre line, positive to the right")
    height_mm: float | None = number(
        "mm", ge=-5_000, le=5_000, default=None, doc="propeller centre above the level line"
    )
    position_mm: float | None = number(
        "mm", ge=-10_000, le=10_000, default=None, doc="propeller disk, aft of the datum"
    )
    turns: str = choice(("right", "left"), default="right", doc="way the propeller turns, seen from behind")


@record(
    rules=(
        Rule(
            ("fin_position_mm", "fin_area_dm2"),
            lambda place, area: (place is None) != (area is None),
            "must come with fin_area_dm2: a fin works by its area times its arm",
        ),
    )
)
class Control:
    """Ailerons, fin and rudder. What is None is assumed, and said so; without a fin's area nothing is said of it."""

    aileron_chord_fraction: float | None = number(gt=0, le=1, default=None, doc="aileron chord over wing chord")
    aileron_span_fraction: float | None = number(
        ge=0, le=1, default=None, doc="part of each half of the wing, from the tip inwards; 0: no ailerons"
    )
    aileron_travel_deg: float | None = number("deg", gt=0, le=60, default=None, doc="each aileron, either way")
    fin_area_dm2: float | None = number("dm2", gt=0, le=500, default=None, doc="fin with rudder, seen from the side")
    fin_height_mm: float | None = number("mm", gt=0, le=5_000, default=None, doc="its span, root to tip")
    fin_position_mm: float | None = number(
        "mm", ge=-10_000, le=10_000, default=None, doc="its quarter chord, aft of the datum"
    )
    rudder_chord_fraction: float | None = number(gt=0, le=1, default=None, doc="rudder chord over fin chord")
    rudder_travel_deg: float | None = number("deg", gt=0, le=60, default=None, doc="either way")


# ---------------------------------------------------------------- places


@attrs.frozen(kw_only=True)
class DiscPlace:
    """Centre of one disc [mm] and the way it turns: 1 right, -1 left, seen from behind."""

    position_mm: float
    height_mm: float
    side_mm: float
    turns: int = 1


def disc_places(line: ThrustLine | None, places: Sequence[MotorPlace], motor_count: int) -> tuple[DiscPlace, ...]:
    """Where each propeller turns: the places listed, else a pair beside the centre line, else one on it.

    Four motors on one ``side_mm`` are a pair here: where the other two are nobody says. Empty without a thrust line.
    """
    if line is None:
        return ()
    if places:
        return tuple(
            DiscPlace(
                position_mm=line.position_mm if each.position_mm is None else each.position_mm,
                height_mm=line.height_mm if each.height_mm is None else each.height_mm,
                side_mm=each.side_mm, turns=1 if each.turns == "right" else -1,
            )
            for each in places
        )  # fmt: skip
    sides = (line.side_mm, -line.side_mm) if motor_count > 1 and line.side_mm > 0 else (0.0,)
    return tuple(DiscPlace(position_mm=line.position_mm, height_mm=line.height_mm, side_mm=side) for side in sides)


def common_line(line: ThrustLine | None, places: Sequence[MotorPlace]) -> ThrustLine | None:
    """The thrust line in the middle of the motors listed; their mean distance from the centre line is its side."""
    discs = disc_places(line, places, len(places))
    if line is None or not places:
        return line

    def mean(values: Sequence[float]) -> float:
        return math.fsum(values) / len(discs)

    return replace(
        line, position_mm=mean([each.position_mm for each in discs]),
        height_mm=mean([each.height_mm for each in discs]), side_mm=mean([abs(each.side_mm) for each in discs]),
    )  # fmt: skip


# ---------------------------------------------------------------- room


@attrs.frozen(kw_only=True)
class Room:
    """How large a disc may be beside one thing.

    Attributes
    ----------
    what : str
        What is near: ``body``, ``booms``, ``ground, tail up``, ``ground, tail down``, ``other disc`` and so on.
    disc : int
        Which disc, from 0.
    radius_mm : float [mm]
        Largest radius that keeps the gap wanted; 0 or below where no disc does.
    least_gap_mm : float [mm]
        The gap wanted.
    lost : float [-]
        Gap lost for each mm of radius.
    raised : float [-]
        Radius won for each mm that the motor is raised; 0 where raising it is no plain cure.
    """

    what: str
    disc: int
    radius_mm: float
    least_gap_mm: float
    lost: float = 1.0
    raised: float = 0.0

    def gap_mm(self, radius_mm: Any) -> Any:
        """Gap that a disc of this radius leaves; below 0 it strikes."""
        return self.least_gap_mm + self.lost * (self.radius_mm - radius_mm)


def disc_rooms(body: Body | None, places: Sequence[DiscPlace], tilt_deg: float = 0.0) -> tuple[Room, ...]:
    """Room of every disc beside body, booms, ground and the other discs.

    Discs stand square to the centre line; the tilt counts for the ground alone, where it lifts the lowest point by
    R (1 - cos tilt) and takes it aft by R sin tilt. A disc is a circle, the ground a straight line in side view, level
    from side to side.
    """
    own, gap = Body() if body is None else body, _gap_mm(body)
    out: list[Room] = []
    for at, place in enumerate(places):
        out += _beside_structure(own, at, place, gap)
        out += _above_ground(own, at, place, math.radians(tilt_deg))
    for at, one in enumerate(places):
        for other in places[at + 1 :]:
            if abs(one.position_mm - other.position_mm) > gap:
                continue  # discs one behind the other may overlap
            apart = math.hypot(one.side_mm - other.side_mm, one.height_mm - other.height_mm)
            out.append(Room(what="other disc", disc=at, radius_mm=(apart - gap) / 2, least_gap_mm=gap, lost=2.0))
    return tuple(out)


def _gap_mm(body: Body | None) -> float:
    return LEAST_GAP_MM if body is None or body.least_gap_mm is None else body.least_gap_mm


def _beside_structure(body: Body, at: int, place: DiscPlace, gap: float) -> list[Room]:
    faces = {"half_width_mm": body.half_width_mm, "top_mm": body.top_mm, "bottom_mm": body.bottom_mm}
    ends = (-math.inf if body.nose_mm is None else body.nose_mm, math.inf if body.tail_mm is None else body.tail_mm)
    out = []
    if any(face is not None for face in faces.values()) and ends[0] <= place.position_mm <= ends[1]:
        box = {name: (-math.inf if name == "bottom_mm" else math.inf) if x is None else x for name, x in faces.items()}
        distance = float(box_distance_mm(place.side_mm, place.height_mm, **box))
        over = body.top_mm is not None and abs(place.side_mm) <= box["half_width_mm"] and place.height_mm > body.top_mm
        out.append(Room(what="body", disc=at, radius_mm=distance - gap, least_gap_mm=gap, raised=1.0 if over else 0.0))
    if body.boom_side_mm is not None:
        distance = body.boom_side_mm - abs(place.side_mm)
        out.append(Room(what="booms", disc=at, radius_mm=distance - gap, least_gap_mm=gap))
    return out


def ground_contacts(body: Body | None) -> dict[str, dict[str, float]]:
    """The ways it stands on the ground: what and the numbers of `ground_line`; empty without main wheels."""
    if body is None or body.main_wheel_height_mm is None:
        return {}
    main = {"wheel_mm": body.main_wheel_mm or 0.0, "wheel_height_mm": body.main_wheel_height_mm,
            "shrink_mm": body.wheel_shrink_mm or 0.0}  # fmt: skip
    out = {}
    if body.nose_wheel_mm is None:
        out["ground" if body.tail_wheel_mm is None else "ground, tail up"] = main
    for what, x, z in (
        ("ground, on the nose wheel", body.nose_wheel_mm, body.nose_wheel_height_mm),
        ("ground, tail down", body.tail_wheel_mm, body.tail_wheel_height_mm),
    ):
        if x is not None and z is not None:
            out[what] = main | {"other_mm": x, "other_height_mm": z}
    return out


def _above_ground(body: Body, at: int, place: DiscPlace, tilt: float) -> list[Room]:
    gap = LEAST_GROUND_GAP_MM if body.least_ground_gap_mm is None else body.least_ground_gap_mm
    out = []
    for what, contacts in ground_contacts(body).items():
        ground, slope = ground_line(place.position_mm, **contacts)
        square = 1.0 / math.hypot(1.0, slope)
        down = max(math.cos(tilt) + slope * math.sin(tilt), 1e-6)
        radius = (place.height_mm - ground - gap / square) / down
        out.append(Room(what=what, disc=at, radius_mm=float(radius), least_gap_mm=gap, lost=float(down * square),
                        raised=float(1.0 / down)))  # fmt: skip
    return out


def gaps_assumed(body: Body, several: bool) -> dict[str, tuple[float, str]]:
    """What stands in for gaps and wheels that nobody stated: key to value and text; only for what is near."""
    faces = (body.top_mm, body.bottom_mm, body.half_width_mm, body.boom_side_mm)
    out = {}
    if several or any(face is not None for face in faces):
        out["least_gap_mm"] = (
            LEAST_GAP_MM, f"{LEAST_GAP_MM:g} mm wanted between a propeller and what stands beside it; {PRACTICE}"
        )  # fmt: skip
    if body.main_wheel_height_mm is not None:
        out["least_ground_gap_mm"] = (
            LEAST_GROUND_GAP_MM, f"{LEAST_GROUND_GAP_MM:g} mm wanted between a propeller and the ground; {PRACTICE}"
        )  # fmt: skip
        out["wheel_shrink_mm"] = (0.0, "wheels and gear do not give way; state wheel_shrink_mm where they do")
    return out


# ---------------------------------------------------------------- rules of a brief


def _rooms(body: Body | None, line: ThrustLine | None, places: Sequence[MotorPlace], *what: str) -> list[Room]:
    """Where no disc of any size keeps its gap beside one of these."""
    if line is None:
        return []
    discs = disc_places(line, places, max(len(places), 2))
    found = disc_rooms(body, discs, line.tilt_deg)
    return [room for room in found if room.radius_mm <= 0 and room.what.startswith(what)]


def _too_low(body: Body, line: ThrustLine, places: Sequence[MotorPlace]) -> str:
    short = max((-room.radius_mm / room.raised, room.what) for room in _rooms(body, line, places, "ground"))
    return (
        f"must be lower by more than {short[0]:.0f} mm under the motor ({short[1]}), or the motor as much higher: no "
        "disc of any size keeps least_ground_gap_mm"
    )


def _counts(aircraft: Any, variant: Sequence[Any]) -> set[int]:
    return {aircraft.motor_count, *(each.motor_count for each in variant if each.motor_count is not None)}


_DISCS = ("body", "thrust_line", "motor_place")
BODY_RULES = (
    Rule(
        ("thrust_line", "body", "motor_place"),
        lambda line, body, places: line is None and (body is not None or bool(places)),
        "missing; [body] and [[motor_place]] need its height_mm and position_mm",
    ),
    Rule(
        _DISCS,
        lambda body, line, places: bool(_rooms(body, line, places, "body", "booms")),
        "leaves room for no disc of any size: every motor must stand clear of top_mm, bottom_mm, half_width_mm and "
        "boom_side_mm by more than least_gap_mm",
    ),
    Rule(
        _DISCS,
        lambda body, line, places: bool(_rooms(body, line, places, "ground")),
        _too_low,
        at="body.main_wheel_height_mm",
    ),
    Rule(
        (*_DISCS, "aircraft"),
        lambda body, line, places, aircraft: bool(
            aircraft.motor_count > 1 and not places and _rooms(body, line, places, "other")
        ),
        lambda body, *_: (
            f"must be above {_gap_mm(body) / 2:g} mm, half of body.least_gap_mm, which no disc of any size keeps nearer"
        ),
        at="thrust_line.side_mm",
    ),
    Rule(
        ("motor_place", "thrust_line", "body"),
        lambda places, line, body: bool(places and _rooms(body, line, places, "other")),
        "must stand apart by more than body.least_gap_mm, in side_mm, height_mm or position_mm",
    ),
    Rule(
        ("thrust_line", "motor_place", "aircraft", "variant"),
        lambda line, places, aircraft, variant: (
            line is not None and not places and line.side_mm == 0 and min(_counts(aircraft, variant)) > 1
        ),
        "must be above 0 with two motors or more, or [[motor_place]] must list where each one is",
        at="thrust_line.side_mm",
    ),
    Rule(
        ("motor_place", "aircraft", "variant"),
        lambda places, aircraft, variant: bool(
            places and (len(places) not in (2, 3, 4) or _counts(aircraft, variant) != {len(places)})
        ),
        "must list every motor of aircraft.motor_count and of each variant, 2 to 4 of them",
    ),
    Rule(
        ("thrust_line", "motor_place"),
        lambda line, places: line is not None and line.side_mm > 0 and bool(places),
        "must be left out where [[motor_place]] lists where each motor is",
        at="thrust_line.side_mm",
    ),
    Rule(
        ("control", "balance"),
        lambda control, balance: (
            control is not None
            and control.fin_position_mm is not None
            and (balance is None or control.fin_position_mm <= balance.target_cg_mm)
        ),
        "must be aft of balance.target_cg_mm, which must be given: without an arm a fin does nothing",
        at="control.fin_position_mm",
    ),
)
"""Rules between these sections and the others of a brief."""


def body_problems(brief: Any, own: Body, path: str) -> list[Problem]:
    """What shows only when the body of a variant at ``path`` is laid over that of the aircraft."""
    body, found = walk(Body, _values_laid_over(brief.body, own), f"{path}.body")
    for rule in () if body is None else (rule for rule in BODY_RULES if "body" in rule.keys):
        values = [body if key == "body" else getattr(brief, key) for key in rule.keys]
        of_body = (rule.at or rule.keys[0]).startswith("body")
        found += rule.problems(values, f"{path}." if of_body else "")
    return found
