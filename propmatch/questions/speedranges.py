"""The ranges of an aircraft's own speeds, from the draws of what nobody knows exactly."""

import attrs
import numpy as np

from propmatch.aircraft.speeds import speeds_lanes
from propmatch.checks.chances import Sureness, intervals
from propmatch.columns import Range, ranges_of

__all__ = ["SpeedRanges", "speed_ranges"]

_DRAWS, _ROUNDS = 128, 2
"""Speeds that are searched for take so many of the draws: ends within 5 % of a range's width. What full throttle
gives, which the checks judge too, takes all."""
_STATED = ("load_factor", "bank_deg", "load_factor_in_turn")


@attrs.frozen(kw_only=True)
class SpeedRanges:
    """80 % intervals of the numbers of ``AircraftSpeeds`` by name; of ``phases`` and ``turns`` for each."""

    own: dict[str, Range]
    phases: list[dict[str, Range]]
    turns: list[dict[str, Range]]


def speed_ranges(sure: Sureness) -> SpeedRanges:
    """The ranges of the speeds of one power train in its setting."""
    m = sure.measured
    some = np.arange(min(_DRAWS, m.lanes.size))
    density, sound = (
        np.broadcast_to(each, (m.lanes.size,))[some]
        for each in (m.setting.air.density_kg_m3, m.setting.air.speed_of_sound_m_s)
    )
    found = speeds_lanes(m.lanes.take(some), m.frames.take(some), m.setting.phases, density, sound, rounds=_ROUNDS)
    full = {name: getattr(m.top, name) for name in found.own if hasattr(m.top, name)}
    (own,) = ranges_of(found.own | full, intervals)
    phases, turns = (
        {name: drawn for name, drawn in each.items() if name not in _STATED} for each in (found.phases, found.turns)
    )
    return SpeedRanges(own=own, phases=ranges_of(phases, intervals), turns=ranges_of(turns, intervals))
