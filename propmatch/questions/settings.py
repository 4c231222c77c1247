"""What a builder sets before a flight: alarm, cut-off, timer, charger; every value from one discharge of one flight."""

from collections.abc import Mapping

import attrs
import numpy as np

from propmatch.aircraft.discharge import load_of
from propmatch.aircraft.endurance import TIMER_MARGIN, FlightTime
from propmatch.aircraft.polar import airframe_lanes
from propmatch.checks.setting import Setting
from propmatch.columns import number
from propmatch.models.pack import Chemistry
from propmatch.questions.asflown import AsFlown
from propmatch.records.estimates import PRACTICE
from propmatch.records.parts import PowerTrain
from propmatch.train.coupling import as_lanes
from propmatch.units import MAH_AH

__all__ = ["CHARGE_LEAST_C", "Settings", "settings_of"]

CHARGE_LEAST_C = 5.0
"""Coldest cells that are charged [degC]: common practice, no published source; makers ask for 0 to 10."""
CHARGE_TAIL = 1.25
"""Charging time over that at full current, the end at constant voltage included: common practice."""


@attrs.frozen(kw_only=True)
class Settings:
    """What to set for a power train in one setting; NaN where nothing is to be set.

    Attributes
    ----------
    timer_minutes, flown_timer_minutes : float
    land_pack_v : float
        Of the whole pack in the phase that draws most of the charge, when the timer runs out.
    alarm_load_cell_v, alarm_rest_cell_v : float
        Of a cell in that phase and at rest, when the reserve begins; where the cut-off ends the flight, when the timer
        runs out.
    cutoff_cell_v : float
    timer_recharge_mah, recharge_mah : float
        Drawn when the timer runs out, and at the end of the flight.
    charge_current_a, charge_minutes, charge_least_c : float
        Usual charging current, the time to put back what the timer draws, and the coldest cells that may be charged.
    storage_cell_v : float
    basis : dict
        Field to where its value comes from, for each of them.
    """

    timer_minutes: float = number(kind="min", label="timer setting, 10 % early")
    flown_timer_minutes: float = number(kind="min", label="timer setting, 10 % early, as really flown")
    land_pack_v: float = number(kind="V", digits=1, label="land when the pack reads, in steady flight")
    alarm_load_cell_v: float = number(kind="V", digits=2, label="low-voltage alarm of a cell, in steady flight")
    alarm_rest_cell_v: float = number(kind="V", digits=2, label="the same cell, motor off")
    cutoff_cell_v: float = number(kind="V", digits=2, label="controller cut-off of a cell")
    timer_recharge_mah: float = number(kind="mAh", digits=0, label="charge to put back, flown to the timer")
    recharge_mah: float = number(kind="mAh", digits=0, label="charge to put back")
    charge_current_a: float = number(kind="A", digits=1, label="charging current")
    charge_minutes: float = number(kind="min", digits=0, label="charging time after a flight to the timer")
    charge_least_c: float = number(kind="degC", digits=0, label="coldest cells that may be charged")
    storage_cell_v: float = number(kind="V", digits=2, label="voltage of a cell that is stored")
    basis: Mapping[str, str] = attrs.field(factory=dict)


def settings_of(train: PowerTrain, setting: Setting, flight: FlightTime, flown: AsFlown) -> Settings | None:
    """The settings of a power train for its flight in one setting; None where there is no flight."""
    if not flight.minutes > 0:
        return None
    train = setting.flown(train)
    asked = as_lanes(train, setting.air, mass_kg=setting.all_up_mass_kg(train.mass_g))
    cells: Chemistry = asked.lanes.chemistries[0]
    frame, _ = airframe_lanes(setting.variant.airframe, asked["mass_kg"])
    at = max(range(len(flight.phases)), key=lambda i: flight.phases[i].used_mah)
    load = load_of(setting.phases[at], asked.lanes, frame, setting.reserve_charge, asked.density, asked.sound)

    early = 1.0 - (1.0 - TIMER_MARGIN) * (1.0 - flight.charge)
    alarm = flight.charge if flight.ended_by == "reserve" else early
    landing_v, alarm_v = (float(load.at(np.array([q])).cell_voltage_v[0]) for q in (early, alarm))
    current = cells.charge_c * train.pack.capacity_mah * MAH_AH
    back_mah = (1.0 - TIMER_MARGIN) * flight.recharge_mah
    steady = f"in '{flight.phases[at].name}', which draws most"
    return Settings(
        timer_minutes=flight.timer_minutes,
        flown_timer_minutes=flown.flown_timer_minutes,
        land_pack_v=train.pack.cells_series * landing_v,
        alarm_load_cell_v=alarm_v,
        alarm_rest_cell_v=float(cells.cell_ocv_v(alarm)),
        cutoff_cell_v=flight.cutoff_cell_v,
        timer_recharge_mah=back_mah,
        recharge_mah=flight.recharge_mah,
        charge_current_a=current,
        charge_minutes=60.0 * CHARGE_TAIL * back_mah * MAH_AH / current,
        charge_least_c=CHARGE_LEAST_C,
        storage_cell_v=cells.put_away_v,
        basis={
            "timer_minutes": f"the ideal flight less {TIMER_MARGIN:.0%}; {PRACTICE}",
            "flown_timer_minutes": f"the flight as really flown less {TIMER_MARGIN:.0%}; {PRACTICE}",
            "land_pack_v": f"{100 * early:.0f} % charge, when the timer runs out, {steady}",
            "alarm_load_cell_v": f"{100 * alarm:.0f} % charge, {steady}; bursts of throttle read less",
            "alarm_rest_cell_v": f"open-circuit voltage at {100 * alarm:.0f} % charge",
            "cutoff_cell_v": _cutoff_basis(setting, cells),
            "timer_recharge_mah": "mean current of the flight for as long as the timer runs; losses come on top",
            "recharge_mah": "flown to the end; more than that was taken from the reserve",
            "charge_current_a": f"{cells.charge_c:g}C for {cells.name}; the maker's limit comes first; {PRACTICE}",
            "charge_minutes": f"{CHARGE_TAIL:g} times that at full current: it ends at constant voltage; {PRACTICE}",
            "charge_least_c": f"the maker's limit comes first; {PRACTICE}",
            "storage_cell_v": f"for {cells.name}; {PRACTICE}",
        },
    )  # fmt: skip


def _cutoff_basis(setting: Setting, cells: Chemistry) -> str:
    asked = setting.stated.limits.cutoff_cell_v
    if asked is None:
        return f"for {cells.name}; {PRACTICE}"
    return "the brief" if asked >= cells.least_cutoff_v else f"the least that {cells.name} cells allow"
