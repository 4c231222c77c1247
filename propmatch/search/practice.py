"""Choices that are usual nowhere, and what they cost in the ranking: common practice, no published source.

Each costs a share of the score that grows from nothing at the edge of what is usual to the whole weight of
``[practice]`` a stated way beyond it.
"""

import attrs
import numpy as np

from propmatch.checks.measures import TrainMeasures
from propmatch.units import percent

__all__ = ["Odd", "practice_cost"]

LARGE_CONTROLLER = (2.0, 4.0)
"""Rating over the current carried: from here on it costs, and here all of it."""
SLOW_PITCH_SPEED = (2.5, 1.5)
"""Pitch speed at rest over stall speed, likewise."""
LIGHT_LOAD, HEAVY_LOAD = (0.30, 0.10), (0.90, 1.00)
"""Load of the motor over its rating, likewise."""


@attrs.frozen
class Odd:
    """What odd choices of a train take away of its score, 0..1, and which they are."""

    share: float
    words: tuple[str, ...]


def practice_cost(measured: TrainMeasures) -> list[Odd]:
    """What is odd about N power trains."""
    current = measured["controller_current"]
    pitch = measured["pitch_speed_ratio"].value
    with np.errstate(divide="ignore", invalid="ignore"):
        loads = [measured[name].value / measured[name].limit for name in ("motor_current_static", "motor_power")]
        load = np.fmax.reduce(loads)
        size = current.limit / current.value
    weights = measured.setting.brief.practice
    out = []
    for lane in range(measured.lanes.size):
        found = (
            (weights.large_controller, _beyond(size[lane], LARGE_CONTROLLER),
             f"a {current.limit[lane]:.0f} A ESC for {current.value[lane]:.1f} A"),
            (weights.slow_pitch_speed, _beyond(pitch[lane], SLOW_PITCH_SPEED),
             f"a pitch speed of {pitch[lane]:.1f} times stall"),
            (weights.motor_load, _beyond(load[lane], LIGHT_LOAD), f"a motor at {percent(load[lane])} of its rating"),
            (weights.motor_load, _beyond(load[lane], HEAVY_LOAD), f"a motor at {percent(load[lane])} of its rating"),
        )  # fmt: skip
        costs = [(weight * way, words) for weight, way, words in found if weight * way > 0]
        out.append(Odd(min(sum(cost for cost, _ in costs), 1.0), tuple(words for _, words in costs)))
    return out


def _beyond(value: float, edge: tuple[float, float]) -> float:
    """0 inside what is usual, 1 at the far edge and beyond."""
    start, end = edge
    return float(np.clip((value - start) / (end - start), 0.0, 1.0)) if np.isfinite(value) else 0.0
