"""What ``propmatch time`` says of the aircraft's own speeds and of the wind, as text and as data."""

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import attrs

from propmatch.columns import with_ranges
from propmatch.words.shown import Shown, table, wrapped
from propmatch.words.speedwords import (
    SPEEDS_HEAD,
    TURNS_HEAD,
    speed_rows,
    speed_sentences,
    trip_rows,
    turn_rows,
    wind_sentences,
    wind_words,
)

if TYPE_CHECKING:
    from propmatch.aircraft.speeds import AircraftSpeeds
    from propmatch.aircraft.wind import WindTrip
    from propmatch.questions.speedranges import SpeedRanges
    from propmatch.records.sections import Site

__all__ = ["pilot_sentences", "speed_blocks", "speeds_data", "wind_rows"]


def pilot_sentences(
    speeds: "AircraftSpeeds", trips: "tuple[WindTrip, ...]", site: "Site", shown: Shown
) -> list[str]:  # fmt: skip
    """What a pilot asks first: airspeeds, and the way out and back where the brief asks for it."""
    sentences = speed_sentences(speeds, shown)
    if trips:
        sentences.append(f"Straight out and back in {wind_words(site, shown)}:")
        sentences += wind_sentences(trips, site, speeds, shown)
    return sentences


def speed_blocks(
    variant: str,
    speeds: "AircraftSpeeds",
    ranges: "Callable[[], SpeedRanges | None]",
    trips: "tuple[WindTrip, ...]",
    site: "Site",
    shown: Shown,
) -> dict[str, Any]:
    """The tables of one variant by what they are called: airspeeds, turns, trips where the brief asks for them."""

    def airspeeds() -> list[str]:
        own = known.own if (known := ranges()) else None
        rows = [{**row, "": f"  {row['']}"} for row in speed_rows(speeds, shown, own)]
        return [*wrapped(f"{variant}, {SPEEDS_HEAD}:"), *table(rows, left=("", "what it gives"))]

    turns = table(turn_rows(speeds.turns, shown))
    blocks = {"airspeeds": airspeeds, "turns": [*wrapped(f"{TURNS_HEAD}:"), *turns]}
    if trips:
        head = wrapped(f"{variant}, straight out and back in {wind_words(site, shown)}:")
        blocks["out and back"] = [*head, *table(trip_rows(trips, shown), left=("airspeed of",))]
    return blocks


def speeds_data(variant: str, speeds: "AircraftSpeeds", ranges: "SpeedRanges | None") -> dict[str, Any]:
    """The table of speeds, attribute names as keys, each number with its range where it was drawn."""
    kept = attrs.asdict(speeds, filter=lambda attribute, _: attribute.name != "assumptions")
    if ranges is None:
        return {"variant": variant, **kept}
    for name, own in (("phases", ranges.phases), ("turns", ranges.turns)):
        kept[name] = [with_ranges(row, each) for row, each in zip(kept[name], own, strict=False)]
    return {"variant": variant, **with_ranges(kept, ranges.own)}


def wind_rows(variant: str, trips: "tuple[WindTrip, ...]", site: "Site") -> list[dict[str, Any]]:
    """A row for each trip in the wind of the site."""
    asked = {"variant": variant, "wind_m_s": site.wind_m_s, "distance_m": site.distance_m}
    return [{**asked, **attrs.asdict(trip)} for trip in trips]
