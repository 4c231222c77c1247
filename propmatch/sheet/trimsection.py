"""Trim change with throttle for the trains of a sheet."""

from collections.abc import Mapping

import numpy as np

from propmatch.aircraft.balance import place_trains
from propmatch.aircraft.flight import level_flight
from propmatch.aircraft.geometry import Geometry
from propmatch.aircraft.polar import polar_speeds
from propmatch.aircraft.stability import stability
from propmatch.aircraft.thrustline import STATES, ThrottleCases, best_tilt, throttle_trim
from propmatch.checks.measures import Setting
from propmatch.records.parts import PowerTrain
from propmatch.sheet.balancecharts import trim_chart
from propmatch.sheet.picture import Picture
from propmatch.train.coupling import solve
from propmatch.units import INCH_M
from propmatch.words.shown import Shown

__all__ = ["stability_text", "trim_picture"]

_SPEEDS = 25


def stability_text(geometry: Geometry) -> str:
    """The static margin in a sentence, and what it leaves out."""
    found = stability(geometry)
    return " ".join((found.reading(), *found.notes))


def trim_picture(setting: Setting, trains: Mapping[str, PowerTrain], shown: Shown) -> tuple[Picture | None, str]:
    """Elevator against airspeed for each train, and the advice on tilt; None without tail or thrust line."""
    geometry = setting.geometry
    if geometry is None or geometry.tail is None or geometry.thrust_line is None:
        return None, ""
    every, frame, air = list(trains.values()), setting.variant.airframe, setting.air
    masses = setting.all_up_mass_kg(np.array([train.mass_g for train in every]))
    stall = float(np.max(polar_speeds(frame, masses, air=air).stall_speed_m_s))
    held = [p.airspeed_m_s for p in setting.phases if p.airspeed_m_s]
    speeds = np.linspace(1.15 * stall, max(2.2 * stall, 1.2 * max(held, default=0.0)), _SPEEDS)
    full = [solve(train, airspeed_m_s=speeds, charge=0.5, air=air).thrust_n for train in every]
    level = [
        level_flight(train, frame, mass, speeds, charge=0.5, air=air).thrust_n
        for train, mass in zip(every, masses, strict=True)
    ]
    places = place_trains(geometry, setting.build, every)
    cg = np.where(np.isfinite(places.cg_mm), places.cg_mm, geometry.balance.target_cg_mm)
    cases = ThrottleCases.of(
        tuple(trains), airspeed_m_s=speeds, thrust_n={STATES[1]: np.array(level), STATES[2]: np.array(full)},
        mass_kg=masses, diameter_m=[train.propeller.diameter_in * INCH_M for train in every], cg_mm=cg,
        count=every[0].count, density_kg_m3=air.density_kg_m3,
    )  # fmt: skip
    picture = trim_chart(throttle_trim(geometry, cases), shown=shown)
    return picture, best_tilt(geometry, cases).reading()
