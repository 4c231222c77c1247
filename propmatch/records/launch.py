"""How the aircraft gets into the air: thrown by hand, or rolling."""

from typing import Any

from propmatch.records.estimates import PRACTICE
from propmatch.records.fields import Rule, choice, number, record

__all__ = ["ROLLING_FRICTION", "Launch", "launch_usual", "usual_throw_m_s"]

ROLLING_FRICTION = {
    "tarmac": (0.02, "J. D. Anderson, Introduction to Flight, ch. 6, paved and smooth"),
    "short grass": (0.10, "J. D. Anderson, Introduction to Flight, ch. 6, a grass field"),
    "long grass": (0.2, PRACTICE),
}
"""Rolling friction over the load on the wheels, and its source; small wheels roll harder than those of full size."""
HAND_HEIGHT_M = 1.7
THROW_J, ARM_KG = 58.0, 1.5
"""Law of :func:`usual_throw_m_s`."""
THROW_SPREAD = 0.25
SURFACE = "short grass"


def usual_throw_m_s(mass_g: float) -> float:
    """Speed of a level throw at a few steps' run: what the arm gives, V = sqrt(2 E/(m + m_arm)) [m/s].

    8 m/s at 0.3 kg, 7 m/s at 0.9 kg, 5 m/s at 3 kg.

    Source: common practice, no published source.
    """
    return float((2 * THROW_J / (mass_g / 1000 + ARM_KG)) ** 0.5)


def _only(kind: str, key: str) -> Rule:
    return Rule(
        (key, "kind"), lambda value, chosen: value is not None and chosen != kind, f'goes with kind = "{kind}" alone'
    )


@record(
    rules=(
        *(_only("hand", key) for key in ("throw_speed_m_s", "height_m", "max_height_lost_m")),
        *(_only("runway", key) for key in ("surface", "rolling_friction", "max_run_m")),
        Rule(
            ("rolling_friction", "surface"),
            lambda friction, surface: friction is not None and surface is not None,
            "must be left out where surface names it; give one of the two",
        ),
    )
)
class Launch:
    """The launch: by hand or from a runway; what is None of its kind is assumed, a limit left out is not judged."""

    kind: str = choice(("hand", "runway"), doc="thrown by hand, or rolling until it flies")
    throw_speed_m_s: float | None = number(
        "m/s", ge=1, le=20, default=None, doc="speed of a level throw over the ground; by the mass if left out"
    )
    height_m: float | None = number("m", ge=0.3, le=10, default=None, doc="height of the hand above the ground")
    max_height_lost_m: float | None = number(
        "m", ge=0, le=50, default=None, doc="height a throw may lose before it climbs; else that of the hand"
    )
    surface: str | None = choice(tuple(ROLLING_FRICTION), default=None, doc="what it rolls on")
    rolling_friction: float | None = number(
        ge=0, le=0.5, default=None, doc="friction over the load on the wheels, instead of surface"
    )
    max_run_m: float | None = number("m", gt=0, le=1000, default=None, doc="room for the take-off run")


def launch_usual(stated: Launch, mass_g: float, basis: str) -> dict[str, tuple[Any, ...]]:
    """What stands in for keys left out, at this all-up mass: value, text, and the range where one is known."""
    if stated.kind == "hand":
        throw = usual_throw_m_s(mass_g)
        low, high = ((1 + sign * THROW_SPREAD) * throw for sign in (-1, 1))
        return {
            "throw_speed_m_s": (
                throw, f"thrown level at {throw:.1f} m/s, {low:.0f} to {high:.0f}, by {basis}; {PRACTICE}", low, high,
            ),
            "height_m": (HAND_HEIGHT_M, f"thrown from {HAND_HEIGHT_M:g} m above the ground; {PRACTICE}"),
        }  # fmt: skip
    if stated.rolling_friction is not None:
        return {}
    surface = stated.surface or SURFACE
    friction, source = ROLLING_FRICTION[surface]
    return {"rolling_friction": (friction, f"rolling friction {friction:g} of {surface}; {source}")}
