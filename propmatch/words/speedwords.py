"""The aircraft's own speeds and trips in wind as people read them: rows of a table and a pilot's sentences."""

import math
from collections.abc import Mapping, Sequence

from propmatch.aircraft.polar import LEAST_SPEED_OVER_STALL
from propmatch.aircraft.speeds import AircraftSpeeds, PhaseStall, Turn
from propmatch.aircraft.wind import BEST_RANGE, WindTrip
from propmatch.columns import Range, columns_of, headed
from propmatch.records.sections import Site
from propmatch.status import Status
from propmatch.units import FOOT_M, MILE_M
from propmatch.words.chancewords import NO_ANSWER, end_words, ranged
from propmatch.words.shown import Shown, clock, signed

__all__ = [
    "SPEEDS_HEAD",
    "TURNS_HEAD",
    "speed_rows",
    "speed_sentences",
    "trip_rows",
    "turn_rows",
    "wind_sentences",
    "wind_words",
]

SPEEDS_HEAD = "airspeeds without wind; climb, cruise and top speed at half charge"
_KM_M, _FAR_M = 1000.0, 10_000.0
"""From the second distances are written in km or miles, to a tenth."""
TURNS_HEAD = f"Level turns at {LEAST_SPEED_OVER_STALL:g} times the stall speed in them, half charge"


def _span(ends: Range, shown: Shown) -> str:
    """A range of speeds in whole units."""
    if math.isnan(ends.low) and math.isnan(ends.high):
        return NO_ANSWER
    return " to ".join(end_words(shown.speed_of(end), 0) for end in (ends.low, ends.high))


def speed_rows(speeds: AircraftSpeeds, shown: Shown, ranges: Mapping[str, Range] | None = None) -> list[dict[str, str]]:
    """What each airspeed is for, the airspeed, and what it gives; with ``ranges`` the ends of both."""
    s, known = speeds, ranges or {}

    def say(name: str, kind: str = "", digits: int = 1, times: float = 1.0) -> str:
        text, ends = shown.number(times * getattr(s, name), kind, digits), known.get(name)
        return text if ends is None else ranged(text, times * ends.low, times * ends.high, kind, shown)

    def row(words: str, speed: float, gives: str, name: str = "") -> dict[str, str]:
        ends = known.get(name)
        said = _span(ends, shown) if ends else ""
        spread = {} if ranges is None else {"80 of 100": said}
        return {"": words, shown.speed_unit: shown.number(speed, "speed", 0), **spread, "what it gives": gives}

    stall = [row("stall", s.stall_speed_m_s, "", "stall_speed_m_s")]
    stall += [
        row(f"stall in {phase.name}", phase.phase_stall_speed_m_s, f"load factor {phase.load_factor:g}")
        for phase in s.phases if phase.load_factor != 1
    ]  # fmt: skip
    rises = s.climb_m_s >= 0
    climb = f"{say('climb_m_s', 'm/s')} {shown.unit('m/s')} up"
    if not rises:
        climb = f"{shown.text(-s.climb_m_s, 'm/s')} down, the best there is"
    way, way_m = _far_unit(shown)
    propeller = f"propeller {s.motor_off}"
    best = [
        ("least sink, motor off", "least_sink_speed_m_s", f"sinks {shown.text(s.sink_m_s, 'm/s', 2)}, {propeller}"),
        ("best glide, motor off", "best_glide_speed_m_s", f"{signed(s.glide_ratio)} to 1, {propeller}"),
        ("longest flight", "least_power_speed_m_s", f"{signed(s.least_power_w)} W from the pack"),
        (
            "farthest flight", "best_range_speed_m_s",
            f"{signed(s.best_range_power_w)} W from the pack, "
            f"{say('best_range_mah_per_km', '', 0, way_m / _KM_M)} mAh for each {way}",
        ),
        ("best climb", "climb_airspeed_m_s", f"{climb}, {_angle(s.climb_angle_deg)}"),
        ("steepest climb", "steepest_airspeed_m_s", _angle(s.steepest_deg)),
    ]  # fmt: skip
    slow = LEAST_SPEED_OVER_STALL * s.stall_speed_m_s * (1 + 1e-6)
    kept = f", at {LEAST_SPEED_OVER_STALL:g} times stall"
    bests = [
        row(words, getattr(s, name), gives + (kept if getattr(s, name) <= slow else ""), name)
        for words, name, gives in best
    ]
    fails = "" if math.isfinite(s.top_speed_m_s) else "full throttle holds no level flight"
    return [*stall, *bests, row("top, level", s.top_speed_m_s, fails, "top_speed_m_s")]


def _angle(degrees: float) -> str:
    return "vertical" if degrees >= 90 else f"{signed(degrees, 0)} degrees"


def turn_rows(turns: Sequence[Turn], shown: Shown) -> list[dict[str, str]]:
    """Bank, load factor, speeds, radius and throttle of each turn."""
    columns = headed(columns_of(Turn))
    return [
        shown.cells(columns, turn, **({} if math.isfinite(turn.turn_throttle) else {"turn_throttle": "loses height"}))
        for turn in turns
    ]


def speed_sentences(speeds: AircraftSpeeds, shown: Shown) -> list[str]:
    """What a pilot would say."""
    s, say = speeds, shown.speed_text
    out = [f"It stalls at {say(s.stall_speed_m_s)}."]
    if s.phases:
        least: dict[str, list[str]] = {}
        for phase in s.phases:
            least.setdefault(say(phase.phase_least_speed_m_s), []).append(phase.name)
        parts = [f"{', '.join(names)} at {speed} or more" for speed, names in least.items()]
        out[0] += f" Fly {'; '.join(parts)}."
        out += [
            f"The brief flies {phase.name} at {say(phase.airspeed_m_s)}, {_near(phase)}."
            for phase in s.phases if phase.airspeed_m_s < phase.phase_least_speed_m_s * (1 - 1e-9)
        ]  # fmt: skip
    glide = f"glides best at {say(s.best_glide_speed_m_s)}, {signed(s.glide_ratio)} to 1"
    off = f"motor off, propeller {s.motor_off}, it {glide}"
    if math.isfinite(s.least_power_speed_m_s):
        long, far = say(s.least_power_speed_m_s), say(s.best_range_speed_m_s)
        off = f"level, {long} keeps it up longest and {far} takes it farthest; {off}"
    out.append(f"{off[0].upper()}{off[1:]}.")
    return out


def _near(phase: PhaseStall) -> str:
    stalled = phase.airspeed_m_s < phase.phase_stall_speed_m_s
    return "slower than it stalls there" if stalled else "near to its stall"


# ---------------------------------------------------------------- wind


def wind_words(site: Site, shown: Shown) -> str:
    """The wind of the site in words."""
    return f"a wind of {shown.speed_text(site.wind_m_s)}" if site.wind_m_s else "calm air"


def trip_rows(trips: Sequence[WindTrip], shown: Shown) -> list[dict[str, str]]:
    """Airspeeds, time, charge and farthest turn-around points of each trip."""
    columns = headed(columns_of(WindTrip))
    return [
        {"airspeed of": trip.name, **shown.cells(columns, trip, out_and_back_minutes=clock(trip.out_and_back_minutes))}
        for trip in trips
    ]


def wind_sentences(
    trips: Sequence[WindTrip], site: Site, speeds: AircraftSpeeds, shown: Shown
) -> list[str]:  # fmt: skip
    """Time, charge and farthest turn-around point, and where no headway is made."""
    wind, out = site.wind_m_s or 0.0, []
    for trip in trips:
        at = "At its airspeeds of best range" if trip.name == BEST_RANGE else f"In {trip.name}"
        if trip.status is not Status.OK:
            out.append(f"{at}: no answer, {trip.status.meaning}.")
        elif not trip.headway:
            out.append(_no_headway(trip, wind, speeds, shown))
        elif trip.name == BEST_RANGE or site.distance_m is not None:
            out.append(_trip_sentence(trip, at, site.distance_m, wind, shown))
    out += [
        f"In {phase.name} at {shown.speed_text(phase.airspeed_m_s)} it makes no headway against "
        f"{wind_words(site, shown)}: fly it faster, or keep upwind of the field."
        for phase in speeds.phases
        if wind >= phase.airspeed_m_s and phase.name not in {trip.name for trip in trips}
    ]
    if any(trip.farthest_against_m > 0 for trip in trips):
        out.append("The turn-around points are what the charge allows: keep the model in sight, as your rules ask.")
    return out


def _no_headway(trip: WindTrip, wind: float, speeds: AircraftSpeeds, shown: Shown) -> str:
    least = shown.speed_text(wind)
    if trip.name == BEST_RANGE:
        top = shown.speed_text(speeds.top_speed_m_s)
        return f"No headway is made against {least} of wind: its top level speed is {top}. Fly in less wind than that."
    return f"In {trip.name} no headway is made against {least} of wind: fly it faster than that, or in less wind."


def _trip_sentence(trip: WindTrip, at: str, distance_m: float | None, wind: float, shown: Shown) -> str:
    v, u = shown.speed_text(trip.airspeed_against_m_s), shown.speed_text(trip.airspeed_with_m_s)
    at += f", {v}" + (f" against the wind and {u} with it" if u != v else "")
    first, other = (_way(far, shown, most=True) for far in (trip.farthest_against_m, trip.farthest_with_m))
    if wind and first != other:
        first = f"{first} against the wind or {other} with it"
    limit = f"in steady flight turn round after {first} at the latest, to be back with the reserve"
    if distance_m is None:
        return f"{at}: {limit}."
    way = f"{_way(distance_m, shown)} out and back takes {clock(trip.out_and_back_minutes)} (minutes:seconds)"
    if math.isfinite(trip.out_and_back_mah):
        return f"{at}, {way} and {trip.out_and_back_mah:.0f} mAh; {limit}."
    return f"{at}, {way}, more than the pack has: {limit}."


def _far_unit(shown: Shown) -> tuple[str, float]:
    """The unit of long ways, and its metres."""
    return ("mile", MILE_M) if shown.speed == "mph" else ("km", _KM_M)


def _way(distance_m: float, shown: Shown, *, most: bool = False) -> str:
    """A distance; one that may not be exceeded (``most``) is rounded down to what is written."""
    far, near = _far_unit(shown), ("ft", FOOT_M) if shown.speed == "mph" else ("m", 1.0)
    (unit, size_m), step, digits = (far, 0.1, 1) if distance_m >= _FAR_M else (near, 10.0 if most else 1.0, 0)
    steps = distance_m / size_m / step
    said = f"{step * (math.floor(steps + 1e-9) if most else round(steps)):.{digits}f}"
    return f"{said} {unit}{'s' if unit == 'mile' else ''}"
