"""What lessens the change of trim with throttle: motor height, tilt, tail incidence, tail section, elevator mix.

Each cure is searched over all cases, states and speeds at once by the one law of `trim`. An elevator angle and a tail
incidence act alike at every throttle, so incidence and section of the tail leave the change as it is: they bring the
elevator to the middle of its travel.
"""

from collections.abc import Callable, Sequence
from typing import Any

import attrs
import numpy as np

from propmatch.aircraft.clearance import Clearance
from propmatch.aircraft.geometry import Geometry
from propmatch.aircraft.thrustline import NOTICEABLE_DEG, ThrottleCases, ThrottleTrim, speed_m_s, throttle_trim
from propmatch.aircraft.trim import trim
from propmatch.columns import number, numbers_of
from propmatch.models.arrays import Floats
from propmatch.records.fields import replace
from propmatch.records.layout import ThrustLine
from propmatch.units import MM_M

__all__ = ["Cure", "TrimCures", "trim_cures"]

TOLERANCE_DEG = 1.0
TILT_STEP_DEG, TILT_RANGE_DEG = 0.05, 15.0
HEIGHT_STEP_MM = 1.0
MIX_STEP_DEG, MIX_RANGE_DEG = 0.1, 20.0
INCIDENCE_RANGE_DEG = 10.0
ZERO_LIFT_RANGE_DEG = 7.0
"""About 6 % of camber; thicker mean lines are no tail sections (common practice, no published source)."""


@attrs.frozen(kw_only=True, eq=False)
class Cure:
    """One change to aircraft or transmitter, and what it leaves.

    Attributes
    ----------
    cure : str
        Motor height, tilt, tail incidence, tail section or elevator mix.
    found : bool
        False where the search ends at its own bound, so that no number is advised, and where nothing has an answer.
    value, value_from, value_to : float
        The number it is set to, and the range around it that leaves at most `TOLERANCE_DEG` more; NaN where there is
        none, and an end that only the search has set. Height of the propeller above the level line, down tilt,
        incidence, zero-lift angle, up elevator at full throttle.
    unit : str
    advice, around : str
        What to do, and the range around it, in words.
    cost : str
        What it costs, in words.

    The other attributes are columns, each with its label.
    """

    cure: str
    found: bool
    value: float
    value_from: float = float("nan")
    value_to: float = float("nan")
    unit: str
    advice: str
    around: str = ""
    cost: str
    left_deg: float = number(
        "change left, deg", kind="deg", label="largest change of elevator from the glide at the same airspeed"
    )
    most_deg: float = number("elevator at most, deg", kind="deg", label="largest elevator angle from neutral")

    @property
    def row(self) -> dict[str, str | bool | float]:
        """As JSON has it."""
        names = ("cure", "found", "value", "value_from", "value_to", "unit", "advice", "cost")
        return {**{name: getattr(self, name) for name in names}, **numbers_of(self)}

    def reading(self) -> str:
        """In a sentence or two."""
        if not self.found:
            return f"{self.advice}: {self.left_deg:.1f} degrees of change or more are left."
        around = f" From {self.around} it stays within {TOLERANCE_DEG:g} degree of that." if self.around else ""
        return (
            f"{self.advice}: {self.left_deg:.1f} degrees of change left, elevator at most {self.most_deg:.1f} degrees "
            f"from neutral.{around} Cost: {self.cost}."
        )


@attrs.frozen(kw_only=True, eq=False)
class TrimCures:
    """The change of trim with throttle as it is, and the cures, best first.

    Attributes
    ----------
    now : ThrottleTrim
    cures : tuple of Cure
        By what they leave, then by the largest elevator angle, both to a tenth of a degree; the easier ones first
        among equals, those without an advised number last.
    lanes_without_answer : int
        Cases times speeds of which a state is left out because the train or the trim has no answer there.
    """

    now: ThrottleTrim
    cures: tuple[Cure, ...]
    lanes_without_answer: int

    @property
    def needed(self) -> bool:
        """Whether the change is large enough to be felt."""
        return self.now.worst_deg >= NOTICEABLE_DEG

    def cure(self, name: str) -> Cure:
        """A cure by name."""
        return next(each for each in self.cures if each.cure == name)

    def reading(self, *, show: Callable[[float], str] = speed_m_s) -> str:
        """The change as it is, for which cases and speeds, and the best cure; ``show`` writes an airspeed in m/s."""
        speeds = _listed([show(float(airspeed)) for airspeed in self.now.airspeed_m_s])
        text = f"Trim change with throttle, for {_listed(self.now.names)} at {speeds}: "
        worst = self.now.worst_deg
        if np.isnan(worst):
            return f"{text}unknown, because no case has an answer at these speeds."
        text += f"at most {worst:.1f} degrees of elevator, {self.now.most_deg:.1f} degrees from neutral."
        best = self.cures[0]
        if not self.needed:
            text += " That is too little to need a cure."
        elif best.left_deg < worst - 0.05:
            advice = f"{best.advice[0].lower()}{best.advice[1:]}"
            text += f" What helps most: {advice}; then {best.left_deg:.1f} degrees are left."
        else:
            text += " None of the cures lessens it."
        if self.lanes_without_answer:
            text += f" Speeds with a state left out for want of an answer: {self.lanes_without_answer}."
        return text

    def readings(self) -> tuple[str, ...]:
        """The cures in sentences, best first; none where the change needs none or nothing has an answer."""
        return tuple(each.reading() for each in self.cures) if self.needed else ()


def _listed(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def _thrust(tilt_deg: float) -> str:
    if abs(tilt_deg) < TILT_STEP_DEG / 2:
        return "0 degrees of tilt"
    return f"{abs(tilt_deg):.1f} degrees of {'down' if tilt_deg > 0 else 'up'} thrust"


def _elevator(up_deg: float) -> str:
    return f"{abs(up_deg):.1f} degrees of {'up' if up_deg > 0 else 'down'} elevator"


def _millimetres(height_mm: float) -> str:
    return f"{height_mm:.0f} mm"


@attrs.frozen(eq=False)
class _Least:
    """The place among searched values with the smallest of the largest changes; NaN throughout without an answer."""

    value: float
    left_deg: float
    value_from: float
    value_to: float
    inside: bool

    @classmethod
    def of(cls, values: Floats, changes: Floats, *, now: float, firm: tuple[bool, bool] = (False, False)) -> "_Least":
        """Among equals the nearest to ``now``; ``firm`` ends are the aircraft's, the others only the search's."""
        nan = float("nan")
        if not np.any(np.isfinite(changes)):
            return cls(nan, nan, nan, nan, False)
        worst = np.where(np.isfinite(changes), changes, -np.inf).max(axis=tuple(range(1, changes.ndim)))
        equal = np.flatnonzero(worst <= worst.min() + 1e-9)
        at, last = int(equal[np.abs(values[equal] - now).argmin()]), values.size - 1
        left = float(worst[at])
        if (at == 0 and not firm[0]) or (at == last and not firm[1]):
            return cls(nan, left, nan, nan, False)
        near = worst <= left + TOLERANCE_DEG
        below, above = np.flatnonzero(~near[:at]), np.flatnonzero(~near[at:])
        low, high = int(below[-1] + 1) if below.size else 0, int(at + above[0] - 1) if above.size else last
        ends = (float(values[low]) if low or firm[0] else nan, float(values[high]) if high < last or firm[1] else nan)
        return cls(float(values[at]), left, *ends, True)

    def around(self, say: Callable[[float], str]) -> str:
        """The range in words where it has two ends."""
        both = np.isfinite(self.value_from) and self.value_to > self.value_from
        return f"{say(self.value_from)} to {say(self.value_to)}" if both else ""


def _changes(geometry: Geometry, cases: ThrottleCases, **changed: Floats) -> Floats:
    """Size of the change from the first state for values of fields of `Flown`, each (N, ...): (N, C, S - 1, V)."""
    lanes = trim(geometry, cases.flown(**changed)).elevator_deg
    return np.asarray(np.abs(lanes[:, :, 1:, :] - lanes[:, :, :1, :]))


def _heights(
    geometry: Geometry, line: ThrustLine, radius: float, reach: float, room: Clearance | None
) -> tuple[Floats, tuple[bool, bool]]:
    """Motor heights to look at [mm], on end about its own, and which ends the aircraft has set; empty without room.

    A propeller clear of the level line behind the wing stays so; it keeps its gaps to body and ground.
    """
    steps = int(np.ceil(reach / HEIGHT_STEP_MM))
    values = line.height_mm + HEIGHT_STEP_MM * np.arange(-steps, steps + 1, dtype=np.float64)
    clear = np.ones(values.shape, dtype=np.bool_)
    tail = geometry.tail
    over = tail is not None and geometry.leading_edge_mm < line.position_mm < tail.position_mm and line.side_mm < radius
    if over and abs(line.height_mm) >= radius:
        clear &= np.sign(line.height_mm) * values >= radius
    if room is not None:
        clear &= room.kept_when_raised(radius, values - line.height_mm)
    if not clear.any():
        return values[:0], (False, False)
    own = int(np.where(clear, np.abs(values - line.height_mm), np.inf).argmin())
    below, above = np.flatnonzero(~clear[:own]), np.flatnonzero(~clear[own:])
    low, high = int(below[-1] + 1) if below.size else 0, int(own + above[0]) if above.size else values.size
    return values[low:high], (bool(below.size), bool(above.size))


def _motor_height(
    geometry: Geometry, line: ThrustLine, cases: ThrottleCases, now: ThrottleTrim, room: Clearance | None
) -> Cure:
    """The motor takes the centre of gravity along, and stays where the propeller has room."""
    radius = float(np.max(cases.diameter_m)) / MM_M / 2.0
    level = cases.by_case(geometry.cg_height_mm if cases.cg_height_mm is None else cases.cg_height_mm)
    share = cases.by_case(cases.on_line_kg) / cases.by_case(cases.mass_kg)

    def at(height_mm: Any) -> dict[str, Any]:
        """The motor at this height, in fields of `Flown`."""
        return {"line_height_mm": height_mm, "cg_height_mm": level + (height_mm - line.height_mm) * share}

    reach = float(np.max(np.abs(line.height_mm - level))) + radius
    values, firm = _heights(geometry, line, radius, reach, room)
    cost = "a new mount or pylon, and room for the propeller above fuselage and ground"
    if not values.size:
        return Cure(
            cure="motor height", unit="mm", value=float("nan"), found=False, left_deg=now.worst_deg,
            most_deg=float("nan"), cost=cost,
            advice=f"No motor height within {reach:.0f} mm of its own leaves the propeller the gaps wanted",
        )  # fmt: skip
    changes = _changes(geometry, cases, **at(values[:, None, None, None]))
    found = _Least.of(values, changes, now=line.height_mm, firm=firm)
    moved = found.value - line.height_mm
    advice = f"No motor height within {reach:.0f} mm of its own does it"
    if found.inside:
        way = f"{'Raise' if moved > 0 else 'Lower'} the motor by {abs(moved):.0f} mm"
        place = f"{abs(found.value):.0f} mm {'above' if found.value >= 0 else 'below'} the level line"
        advice = f"{way}, to {place}" if moved else "Leave the motor where it is"
        if found.value in [end for end, set_there in zip(values[[0, -1]], firm, strict=True) if set_there]:
            clears = "clears fuselage or boom" if room is None else "keeps the gaps wanted"
            advice += f", as far as the propeller {clears} there"
    return Cure(
        cure="motor height", unit="mm", advice=advice, value=found.value, value_from=found.value_from,
        value_to=found.value_to, around=found.around(_millimetres), found=found.inside, left_deg=found.left_deg,
        most_deg=_most(geometry, cases, found, **at(found.value)), cost=cost,
    )  # fmt: skip


def _tilt(geometry: Geometry, line: ThrustLine, cases: ThrottleCases) -> Cure:
    steps = round(TILT_RANGE_DEG / TILT_STEP_DEG)
    values = np.arange(-steps, steps + 1, dtype=np.float64) * TILT_STEP_DEG
    found = _Least.of(values, _changes(geometry, cases, tilt_deg=values[:, None, None, None]), now=line.tilt_deg)
    return Cure(
        cure="tilt", unit="deg", value=found.value, value_from=found.value_from, value_to=found.value_to,
        advice=f"Tilt the thrust line to {_thrust(found.value)}" if found.inside else (
            f"No tilt within {TILT_RANGE_DEG:g} degrees does it"
        ),
        around=found.around(_thrust), found=found.inside,
        left_deg=found.left_deg, most_deg=_most(geometry, cases, found, tilt_deg=found.value),
        cost="a wedge under the motor mount; the pull is no longer quite along the flight",
    )  # fmt: skip


def _most(geometry: Geometry, cases: ThrottleCases, found: _Least, **changed: Any) -> float:
    return throttle_trim(geometry, cases, **changed).most_deg if found.inside else float("nan")


def _mix(cases: ThrottleCases, now: ThrottleTrim) -> Cure:
    """Elevator in proportion to throttle, set in the transmitter."""
    steps = round(MIX_RANGE_DEG / MIX_STEP_DEG)
    values = np.arange(-steps, steps + 1, dtype=np.float64) * MIX_STEP_DEG
    more = cases.throttles()
    mixed = values[:, None, None, None] * (more - more[:, :1, :])[:, 1:, :]
    found = _Least.of(values, np.abs(now.more_up_deg[:, 1:, :] - mixed), now=0.0)
    advice = f"No mix of up to {MIX_RANGE_DEG:g} degrees does it"
    if found.inside:
        advice = f"Mix {_elevator(found.value)} at full throttle with throttle, in proportion"
    return Cure(
        cure="elevator mix", unit="deg", value=found.value, value_from=found.value_from, value_to=found.value_to,
        advice=advice, around=found.around(_elevator), found=found.inside, left_deg=found.left_deg,
        most_deg=now.most_deg,
        cost="nothing to build, but the mix fits one propeller and pack, and takes elevator travel",
    )  # fmt: skip


def _middle(geometry: Geometry, cases: ThrottleCases, now: ThrottleTrim) -> tuple[Cure, Cure]:
    """Incidence and section of the tail that bring the elevator to the middle of its travel."""
    tail = geometry.tail
    assert tail is not None
    found = bool(np.isfinite(now.worst_deg))
    elevator = np.asarray(now.trim.elevator_deg)
    middle = (np.nanmax(elevator) + np.nanmin(elevator)) / 2.0 if found else float("nan")
    turn = geometry.elevator_effectiveness * middle
    incidence = _kept(geometry.tail_incidence_deg + turn, INCIDENCE_RANGE_DEG)
    zero_lift = _kept(geometry.tail_zero_lift_angle_deg - turn, ZERO_LIFT_RANGE_DEG)

    def with_tail(**changed: float) -> ThrottleTrim:
        return throttle_trim(attrs.evolve(geometry, tail=replace(tail, **changed)), cases) if found else now

    turned, curved = with_tail(incidence_deg=incidence), with_tail(zero_lift_angle_deg=zero_lift)
    camber = abs(np.radians(zero_lift)) / 2.0  # a parabolic mean line, thin section theory
    upside = "an inverted section" if zero_lift > 0 else "a section"
    section = f"{upside} of {100 * camber:.1f} % camber" if zero_lift else "a symmetrical section"
    up = "leading edge up" if incidence > 0 else "leading edge down"
    only = "it only centres the elevator, the change stays"
    return (
        Cure(
            cure="tail incidence", unit="deg", found=found, value=incidence,
            advice=f"Set the tail to {abs(incidence):.1f} degrees of incidence{f', {up}' if incidence else ''}",
            left_deg=turned.worst_deg, most_deg=turned.most_deg, cost=f"a shim under the tail; {only}",
        ),
        Cure(
            cure="tail section", unit="deg", found=found, value=zero_lift, advice=f"Give the tail {section}",
            left_deg=curved.worst_deg, most_deg=curved.most_deg,
            cost=f"a new tail; {only}, further from the tail's stall than by incidence",
        ),
    )  # fmt: skip


def _kept(angle_deg: float, range_deg: float) -> float:
    """A buildable angle: tenths of a degree, within a range."""
    return float(np.clip(np.round(angle_deg, 1), -range_deg, range_deg)) + 0.0


def _rank(cure: Cure) -> tuple[bool, float, float]:
    return not cure.found, round(cure.left_deg, 1), round(cure.most_deg, 1)


def trim_cures(geometry: Geometry, cases: ThrottleCases, room: Clearance | None = None) -> TrimCures:
    """Every cure at its best setting for all cases and speeds together, ranked by the change that it leaves.

    Tilts from -15 to 15 degrees in steps of 0.05, heights in steps of 1 mm and mixes up to 20 degrees in steps of 0.1
    are tried at once, finer than anybody can build; among equals the least change to the aircraft is taken. Speeds
    without an answer are left out and counted. Without throttles in the cases there is no mix.

    Parameters
    ----------
    geometry : Geometry
        With tail and thrust line.
    cases : ThrottleCases
    room : Clearance, optional
        What the propeller has to keep its gaps to at any motor height.

    Raises
    ------
    ValueError
        As `trim`.
    """
    now = throttle_trim(geometry, cases)
    line = geometry.thrust_line
    assert line is not None
    cures = [
        *([_mix(cases, now)] if cases.throttle else []), _tilt(geometry, line, cases),
        _motor_height(geometry, line, cases, now, room), *_middle(geometry, cases, now),
    ]  # fmt: skip
    answered = np.all(np.isfinite(now.more_up_deg[:, 1:, :]), axis=1)
    return TrimCures(
        now=now,
        cures=tuple(sorted(cures, key=_rank)),
        lanes_without_answer=int(answered.size - np.count_nonzero(answered)),
    )
