"""What ``propmatch time`` says of the aircraft's own speeds and of the wind, as text and as data."""

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

__all__ = ["speed_blocks", "speeds_data", "wind_rows"]


def speed_blocks(
    variant: str,
    speeds: "AircraftSpeeds",
    ranges: "SpeedRanges | None",
    trips: "tuple[WindTrip, ...]",
    site: "Site",
    shown: Shown,
) -> list[list[str]]:
    """The airspeeds of one variant, and its trips in the wind where the brief asks."""
    rows = [{**row, "": f"  {row['']}"} for row in speed_rows(speeds, shown, ranges.own if ranges else None)]
    blocks = [
        [
            *wrapped(f"{variant}, {SPEEDS_HEAD}:"),
            *(line for text in speed_sentences(speeds, shown) for line in wrapped(text)),
            *table(rows, left=("", "what it gives")),
        ],
        [f"{TURNS_HEAD}:", *table(turn_rows(speeds.turns, shown))],
    ]
    if trips:
        blocks.append(
            [
                *wrapped(f"{variant}, straight out and back in {wind_words(site, shown)}:"),
                *(line for text in wind_sentences(trips, site, speeds, shown) for line in wrapped(text)),
                *table(trip_rows(trips, shown), left=("airspeed of",)),
            ]
        )
    return blocks


def speeds_data(variant: str, speeds: "AircraftSpeeds", ranges: "SpeedRanges") -> dict[str, Any]:
    """The table of speeds, attribute names as keys, each number with its range."""
    kept = attrs.asdict(speeds, filter=lambda attribute, _: attribute.name != "assumptions")
    for name, own in (("phases", ranges.phases), ("turns", ranges.turns)):
        kept[name] = [with_ranges(row, each) for row, each in zip(kept[name], own, strict=False)]
    return {"variant": variant, **with_ranges(kept, ranges.own)}


def wind_rows(variant: str, trips: "tuple[WindTrip, ...]", site: "Site") -> list[dict[str, Any]]:
    """A row for each trip in the wind of the site."""
    asked = {"variant": variant, "wind_m_s": site.wind_m_s, "distance_m": site.distance_m}
    return [{**asked, **attrs.asdict(trip)} for trip in trips]
