"""A cold morning's first minute: full throttle before the pack has warmed itself."""

import attrs
import numpy as np

from propmatch.checks.setting import Setting
from propmatch.checks.working import Lane
from propmatch.models.pack import USUAL_C
from propmatch.train.coupling import solve_lanes

__all__ = ["COLD_C", "cold_start_c", "first_minute_note"]

COLD_C = 10.0
"""Cells colder than this are warmed before a flight where that is possible: common practice, no published source."""


def cold_start_c(setting: Setting) -> float | None:
    """Temperature of the cells [degC] where the brief states one, of cells or air, that is cold; else None."""
    stated = setting.brief.site.pack_temperature_c
    return stated if stated is not None and stated < COLD_C else None


def first_minute_note(lane: Lane, _: float) -> str:
    """What the cold takes from the thrust of the first minute."""
    states, start = lane.states, cold_start_c(lane.states.setting)
    if start is None:
        return ""
    here = states.lanes.take(slice(lane.index, lane.index + 1))
    kind = states.lanes.chemistries[int(here.chemistry[0])]
    ratio = float(kind.resistance_at(start) / kind.resistance_at(USUAL_C))
    warm = attrs.evolve(here, cells_ohm=here.cells_ohm / ratio)
    rest, full = np.zeros(1), np.ones(1)
    density, sound = (np.array([getattr(states.setting.air, n)]) for n in ("density_kg_m3", "speed_of_sound_m_s"))
    thrust = float(solve_lanes(warm, rest, here.throttle_limit, full, density, sound).thrust_n[0])
    cold = lane.of(states.full(1.0).thrust_n)
    return f"at {start:g} degC, thrust {100 * (cold / thrust - 1):+.0f} % against warm cells" if thrust > 0 else ""
