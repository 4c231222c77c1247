"""A cold morning's first minute: full throttle before the pack has warmed itself."""

import attrs
import numpy as np

from propmatch.checks.setting import Setting
from propmatch.checks.states import TrainStates
from propmatch.checks.working import Lane
from propmatch.models.arrays import Flags, Floats
from propmatch.models.pack import USUAL_C
from propmatch.train.coupling import solve_lanes

__all__ = ["COLD_C", "cold_start_c", "first_minute_note", "starts_cold"]

COLD_C = 10.0
"""Cells colder than this are warmed before a flight where that is possible: common practice, no published source."""


def cold_start_c(setting: Setting) -> Floats | None:
    """Temperature of the cells (N,) or (1,) [degC] where one is stated, of cells or air, that is cold, else NaN; None
    where none is.
    """
    stated = setting.brief.site.pack_temperature_c if setting.cells_c is None else setting.cells_c
    cells_c = np.atleast_1d(np.asarray(stated, dtype=np.float64))
    cold = cells_c < COLD_C
    return np.where(cold, cells_c, np.nan) if cold.any() else None


def starts_cold(states: TrainStates) -> Flags:
    """Lanes that it is asked of, (N,) or (1,)."""
    start = cold_start_c(states.setting)
    return np.zeros(1, dtype=np.bool_) if start is None else np.isfinite(start)


def first_minute_note(lane: Lane, _: float) -> str:
    """What the cold takes from the thrust of the first minute."""
    states, cold = lane.states, cold_start_c(lane.states.setting)
    start = np.nan if cold is None else lane.of(np.broadcast_to(cold, states.lanes.size))
    if np.isnan(start):
        return ""
    here = states.lanes.take(slice(lane.index, lane.index + 1))
    kind = states.lanes.chemistries[int(here.chemistry[0])]
    ratio = float(kind.resistance_at(start) / kind.resistance_at(USUAL_C))
    warm = attrs.evolve(here, cells_ohm=here.cells_ohm / ratio)
    rest, full = np.zeros(1), np.ones(1)
    density, sound = (np.array([getattr(states.setting.air, n)]) for n in ("density_kg_m3", "speed_of_sound_m_s"))
    thrust = float(solve_lanes(warm, rest, here.throttle_limit, full, density, sound).thrust_n[0])
    here_n = lane.of(states.full(1.0).thrust_n)
    return f"at {start:g} degC, thrust {100 * (here_n / thrust - 1):+.0f} % against warm cells" if thrust > 0 else ""
