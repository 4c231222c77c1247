"""Trim change with throttle for the design of a sheet and its other cell counts."""

from collections.abc import Sequence

import numpy as np

from propmatch.aircraft.cures import Cure, TrimCures
from propmatch.aircraft.polar import polar_speeds
from propmatch.aircraft.thrustline import throttle_trim
from propmatch.checks.measures import Setting
from propmatch.checks.placing import Placing, throttle_cases
from propmatch.columns import columns_of, headed
from propmatch.records.parts import PowerTrain
from propmatch.sheet.balancecharts import trim_chart
from propmatch.sheet.picture import Picture, Table
from propmatch.units import GRAM_KG
from propmatch.words.shown import Shown

__all__ = ["cures_table", "trim_picture"]

_SPEEDS = 25


def cures_table(found: TrimCures) -> Table | None:
    """The cures of the trim change, best first; None where it needs none or nothing has an answer."""
    columns, plain = headed(columns_of(Cure)), Shown()
    rows = [
        {"cure": each.cure, "what to do": each.advice,
         **plain.cells(columns, each, **({} if each.found else {"left_deg": f"{each.left_deg:.1f} or more"})),
         "cost": each.cost}
        for each in found.cures
    ]  # fmt: skip
    return Table.of(rows, caption="Cures of the trim change, best first") if found.needed else None


def trim_picture(
    setting: Setting, placing: Placing, trains: Sequence[PowerTrain], shown: Shown
) -> tuple[Picture | None, str]:
    """Elevator against airspeed for the trains of a placing, and its trim change in words; None without its needs."""
    geometry = setting.geometry
    if geometry is None or placing.trim is None or placing.cures is None:
        return None, ""
    masses = placing.all_up_mass_g * GRAM_KG
    stall = float(np.max(polar_speeds(setting.variant.airframe, masses, air=setting.air).stall_speed_m_s))
    held = float(np.max(placing.trim.airspeed_m_s))
    speeds = np.linspace(1.15 * stall, max(2.2 * stall, 1.2 * held), _SPEEDS)
    drawn = throttle_trim(geometry, throttle_cases(setting, geometry, trains, placing.names, airspeed_m_s=speeds))
    picture = trim_chart(drawn, words=placing.trim.readings(show=shown.speed_text), shown=shown)
    return picture, placing.cures.reading(show=shown.speed_text)
