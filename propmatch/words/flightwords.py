"""A flight in sentences: what ends it, why it cannot be flown, and where its height goes."""

import math
from typing import TYPE_CHECKING

from propmatch.words.shown import Shown

if TYPE_CHECKING:
    from propmatch.aircraft.endurance import FlightTime, PhaseTime

__all__ = ["end_text", "height_words", "why_not"]

_HIGH_M = 120.0
"""Height from which local rules are named: where many of them end; common practice."""


def end_text(flight: "FlightTime") -> str:
    """What ends a flight, as the end of a sentence."""
    words = {
        "reserve": f"to the reserve of {100 * flight.reserve_charge:.0f} % charge",
        "cutoff": f"until a cell falls to {flight.cutoff_cell_v:g} V",
        "lost thrust": f"until {flight.ended_in} can no longer be held{_with_climb(flight)}",
        "lost climb": f"until {flight.ended_in} no longer reaches its height",
        "ground": "until its height is used up and it is back on the field",
    }
    return words.get(flight.ended_by or "", "")


def why_not(flight: "FlightTime") -> str:
    """What a flight of no length at all came to grief on."""
    where = flight.ended_in
    words = {
        "cutoff": f"in {where} a cell falls below the cutoff of {flight.cutoff_cell_v:g} V even with a full pack",
        "lost climb": f"{where} does not climb to its height, even with a full pack",
        "ground": f"{where} loses height on the field, and no phase before it gains any",
    }
    return words.get(
        flight.ended_by or "", f"{where} needs more thrust than there is, even with a full pack{_with_climb(flight)}"
    )


def _with_climb(flight: "FlightTime") -> str:
    """That the thrust has to climb for others too."""
    if not flight.paying_climb_m_s > 0:
        return ""
    return f", with a climb of {flight.paying_climb_m_s:.2f} m/s that pays for height lost elsewhere"


def height_words(flight: "FlightTime", shown: Shown) -> list[str]:
    """Where the height goes: who loses it, who pays for it, what is cut short, and where the flight ends."""
    out = []
    lost = [phase for phase in flight.phases if phase.paid]
    if lost:
        fallen = shown.text(-sum(phase.gained_m for phase in lost), "m", 0)
        paying = _names([phase for phase in flight.phases if phase.pays])
        out.append(
            f"Height: {_names(lost)} lose{'s' * (len(lost) == 1)} {fallen}; the time holds with {paying} "
            f"climbing {shown.text(flight.paying_climb_m_s, 'm/s', 2)} to pay for it."
        )
    for phase in flight.phases:
        if phase.cut_short:
            out.append(f"Height: '{phase.name}' is cut short where its height is used up: {_flown(phase)}.")
        elif phase.minutes == 0 and flight.minutes > 0:
            out.append(
                f"'{phase.name}' takes no time: it begins at its height or beyond it, or the flight ends before it."
            )
    if math.isfinite(flight.rounds):
        out.append(f"The list is flown {math.ceil(flight.rounds)} times.")
    ends = (flight.greatest_height_m, flight.height_left_m)
    top, last = (f"{shown.text(height_m, 'm', 0)} above the field" for height_m in ends)
    high = flight.greatest_height_m > _HIGH_M
    if high:
        out.append(f"It climbs to {top}: local rules may end below that.")
    if flight.minutes > 0 and flight.height_left_m >= 1.0:
        out.append(f"It ends {'there' if high and last == top else last}: the glide down comes on top.")
    return out


def _flown(phase: "PhaseTime") -> str:
    return f"{60 * phase.minutes:.0f} s in all" if phase.minutes > 0 else "it is not flown at all"


def _names(phases: list["PhaseTime"]) -> str:
    names = [f"'{phase.name}'" for phase in phases]
    return " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)
