"""The aircraft's own speeds, and out and back in the wind, as sections of the sheet."""

from propmatch.questions.speedranges import speed_ranges
from propmatch.sheet.case import Case, Section
from propmatch.sheet.picture import Table
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

__all__ = ["airspeeds", "wind"]


def airspeeds(case: Case) -> Section:
    """Stall, glide, cruise, climb and turns."""
    speeds = case.speeds
    tables = (
        Table.of(
            speed_rows(speeds, case.shown, speed_ranges(case.sure).own),
            caption=f"{SPEEDS_HEAD[0].upper()}{SPEEDS_HEAD[1:]}",
        ),
        Table.of(turn_rows(speeds.turns, case.shown), caption=TURNS_HEAD),
    )
    text = " ".join(speed_sentences(speeds, case.shown))
    return Section(name="airspeeds", title="How fast, how slow, how far does it glide?", text=(text,), tables=tables)


def wind(case: Case) -> Section | None:
    """Out and back in the wind of the site; None where the brief names neither wind nor distance."""
    trips = case.setting.wind_trips(case.train, [phase.used_mah for phase in case.flight.phases])
    if not trips:
        return None
    site = case.setting.brief.site
    return Section(
        name="wind", title=f"How far out and back in {wind_words(site, case.shown)}?",
        text=tuple(wind_sentences(trips, site, case.speeds, case.shown)),
        tables=(Table.of(trip_rows(trips, case.shown)),),
    )  # fmt: skip
