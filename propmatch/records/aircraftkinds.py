"""Kinds of model aircraft and ways to fly: what is usual where a brief says what the aircraft is like, and no more."""

from collections.abc import Mapping

import attrs

__all__ = ["AIRCRAFT_KINDS", "FLYING", "PLAIN_KIND", "AircraftKind", "FlyingStyle", "usual_flying"]


@attrs.frozen(kw_only=True)
class AircraftKind:
    """What is usual for a kind: common practice for 150 g to 2 kg, no published source.

    Attributes
    ----------
    words : str
        What it is, in a few words.
    wing_loading_g_dm2, aspect_ratio, cl_max : float
        All-up mass over wing area, span^2 over area, highest lift coefficient of the wing.
    drag : str
        Wording of ``propmatch.records.parts.CD0_WORDS``; empty for the plain kind's own number.
    """

    words: str = ""
    wing_loading_g_dm2: float = 30.0
    aspect_ratio: float = 6.0
    cl_max: float = 1.1
    drag: str = ""


PLAIN_KIND = AircraftKind()
"""Of an aircraft of which nothing is said."""

AIRCRAFT_KINDS = {
    "trainer": AircraftKind(
        words="slow and stable, to learn on", wing_loading_g_dm2=25.0, aspect_ratio=6.0, cl_max=1.2,
        drag="trainer with fixed gear",
    ),
    "glider": AircraftKind(
        words="climbs with the motor, then soars", wing_loading_g_dm2=22.0, aspect_ratio=10.0, cl_max=1.1,
        drag="clean glider",
    ),
    "sport": AircraftKind(
        words="all-round, rolls and loops", wing_loading_g_dm2=38.0, aspect_ratio=5.5, cl_max=1.1,
        drag="clean sport model",
    ),
    "aerobatic": AircraftKind(
        words="hangs on its propeller", wing_loading_g_dm2=32.0, aspect_ratio=4.5, cl_max=1.1,
        drag="clean sport model",
    ),
    "racer": AircraftKind(
        words="fast between poles", wing_loading_g_dm2=40.0, aspect_ratio=5.5, cl_max=1.0, drag="clean racer",
    ),
    "flying wing": AircraftKind(
        words="no tail, elevons", wing_loading_g_dm2=28.0, aspect_ratio=4.5, cl_max=0.9, drag="flying wing",
    ),
    "slow flyer": AircraftKind(
        words="indoors or in a small park", wing_loading_g_dm2=13.0, aspect_ratio=4.5, cl_max=1.2,
        drag="high wing with struts",
    ),
    "biplane": AircraftKind(
        words="two wings, area of both counted", wing_loading_g_dm2=28.0, aspect_ratio=4.0, cl_max=1.1, drag="biplane",
    ),
}  # fmt: skip
"""What a brief's ``[aircraft] like`` may be."""


@attrs.frozen(kw_only=True)
class FlyingStyle:
    """A way to fly: common practice, no published source.

    Attributes
    ----------
    words : str
    climb_s : float
        Seconds of full throttle after the start.
    phases : tuple of (name, speed over stall speed, load factor, share, motor on)
    thrust_to_weight, minutes : float
        Usual wishes.
    prefer : mapping of str to float
        Weights of the ranking.
    """

    words: str
    climb_s: float
    phases: tuple[tuple[str, float, float, float, bool], ...]
    thrust_to_weight: float
    minutes: float
    prefer: Mapping[str, float]


FLYING = {
    "gentle": FlyingStyle(
        words="circuits and straight runs, wide turns", climb_s=20,
        phases=(("circuits", 1.5, 1.1, 1.0, True),), thrust_to_weight=0.5, minutes=10, prefer={"flight_time": 1.0},
    ),
    "soaring": FlyingStyle(
        words="short climbs, long glides", climb_s=40,
        phases=(("level", 1.3, 1.1, 0.3, True), ("glide", 1.3, 1.0, 0.7, False)), thrust_to_weight=0.5, minutes=20,
        prefer={"flight_time": 0.7, "climb": 0.3},
    ),
    "lively": FlyingStyle(
        words="rolls, loops, tight turns", climb_s=15,
        phases=(("straights", 1.9, 1.1, 0.6, True), ("turns", 1.7, 2.0, 0.4, True)), thrust_to_weight=0.8, minutes=7,
        prefer={"thrust_to_weight": 0.4, "flight_time": 0.6},
    ),
    "hover": FlyingStyle(
        words="hangs on the propeller, pulls out upwards", climb_s=30,
        phases=(("figures", 1.6, 1.5, 1.0, True),), thrust_to_weight=1.3, minutes=5,
        prefer={"thrust_to_weight": 0.6, "flight_time": 0.4},
    ),
    "fast": FlyingStyle(
        words="flat out between two poles", climb_s=10,
        phases=(("straights", 2.4, 1.0, 0.6, True), ("turns", 2.0, 2.5, 0.4, True)), thrust_to_weight=0.8, minutes=5,
        prefer={"top_speed": 0.6, "flight_time": 0.4},
    ),
}  # fmt: skip
"""How an aircraft may be flown."""

_USUAL = {
    "trainer": "gentle", "glider": "soaring", "sport": "lively", "aerobatic": "hover", "racer": "fast",
    "flying wing": "lively", "slow flyer": "gentle", "biplane": "gentle",
}  # fmt: skip


def usual_flying(like: str | None) -> str:
    """How a kind of aircraft is usually flown."""
    return _USUAL.get(like or "", "gentle")
