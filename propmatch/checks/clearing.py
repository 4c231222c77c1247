"""The propeller in the room that the aircraft leaves: limit, note and numbers of its check."""

from collections.abc import Iterable

import numpy as np

from propmatch.checks.states import TrainStates
from propmatch.checks.working import Input, Lane

__all__ = ["largest_in", "nearest_note", "rooms_beside"]


def largest_in(m: TrainStates) -> float:
    """Largest diameter that keeps every gap wanted [in]; NaN where nothing is near."""
    room = m.setting.clearance
    return np.nan if room is None else room.largest_in


def nearest_note(lane: Lane, value: float) -> str:
    """What is nearest, the gap left and the gap wanted."""
    room = lane.states.setting.clearance
    if room is None:
        return ""
    near = room.nearest
    return f"nearest is the {near.what}: gap {room.gap_mm(value):.0f} mm, {near.least_gap_mm:g} mm wanted"


def rooms_beside(lane: Lane) -> Iterable[Input]:
    """The largest diameter beside each thing that is near."""
    room = lane.states.setting.clearance
    for what, inches in (room.largest_by_what_in if room else {}).items():
        yield Input("", f"largest diameter beside the {what}", inches, "in", "[body] and [thrust_line]")
