"""What a builder sets before a flight: alarm, cutoff, timer, charger; every value from one discharge of one flight."""

from collections.abc import Mapping, Sequence

import attrs
import numpy as np

from propmatch.aircraft.endurance import FlightTime
from propmatch.aircraft.passing import charge_after, leg_at
from propmatch.checks.chances import intervals
from propmatch.checks.setting import Setting
from propmatch.columns import Range, columns_of, drawn_of, number, ranges_of
from propmatch.models.pack import Chemistry
from propmatch.questions.asflown import TIMER_MARGIN, AsFlown
from propmatch.records.estimates import PRACTICE
from propmatch.records.parts import PowerTrain
from propmatch.records.sections import Phase
from propmatch.units import MAH_AH, percent

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
    flown_timer_minutes : float
        What nine builds of ten reach as really flown.
    land_pack_v : float
        Of the whole pack in the phase flown when a tenth of the flight is left.
    alarm_load_cell_v, alarm_rest_cell_v : float
        Of a cell in the phase flown when the reserve begins, and at rest; where the reserve does not end the flight,
        when a tenth of it is left.
    cutoff_cell_v : float
    recharge_mah : float
        Drawn when the timer runs out.
    charge_current_a, charge_minutes, charge_least_c : float
        Usual charging current, the time to put back what the timer draws, and the coldest cells that may be charged.
    storage_cell_v : float
    ranges : mapping of str to Range
        80 % interval of each number that has one.
    basis : dict
        Field to where its value comes from, for each of them.
    """

    flown_timer_minutes: float = number(kind="min", label="timer setting, as really flown")
    land_pack_v: float = number(kind="V", digits=1, label="land when the pack reads, in steady flight")
    alarm_load_cell_v: float = number(kind="V", digits=2, label="low-voltage alarm of a cell, in steady flight")
    alarm_rest_cell_v: float = number(kind="V", digits=2, label="the same cell, motor off")
    cutoff_cell_v: float = number(kind="V", digits=2, label="ESC cutoff of a cell")
    recharge_mah: float = number(
        kind="mAh", digits=0, label="charge to put back", drawn=lambda draws: draws.recharge_mah
    )
    charge_current_a: float = number(kind="A", digits=1, label="charging current")
    charge_minutes: float = number(kind="min", digits=0, label="charging time")
    charge_least_c: float = number(kind="degC", digits=0, label="coldest cells that may be charged")
    storage_cell_v: float = number(kind="V", digits=2, label="voltage of a cell that is stored")
    ranges: Mapping[str, Range] = attrs.field(factory=dict)
    basis: Mapping[str, str] = attrs.field(factory=dict)


@attrs.frozen(kw_only=True)
class _Moment:
    """A moment of a flight, read in a phase with the motor on.

    Attributes
    ----------
    charge, cell_voltage_v : float
    words : str, in which phase it is read
    """

    charge: float
    cell_voltage_v: float
    words: str

    @classmethod
    def of(cls, phases: Sequence[Phase], flight: FlightTime, minutes: float) -> "_Moment":
        """After so many minutes: in what is flown then, or was last flown, with the motor on.

        Once they have begun, shares stand for what comes after them, and of the shares the one that draws most.
        """
        charge = charge_after(flight.legs, minutes)
        begun = flight.legs[: leg_at(flight.legs, minutes) + 1]
        shared = [leg for leg in begun if phases[leg.phases[0]].share is not None]
        powered = [leg for leg in shared or begun if any(load.running[0] for load in leg.loads)]
        leg = (powered or shared or begun)[-1]
        draws = [load.at(np.array([charge])) for load in leg.loads]
        at = max(range(len(draws)), key=lambda i: leg.weights[i] * draws[i].pack_current_a[0])
        most = ", which draws most" if len(draws) > 1 else ""
        return cls(
            charge=charge,
            cell_voltage_v=float(draws[at].cell_voltage_v[0]),
            words=f"in '{phases[leg.phases[at]].name}'{most}",
        )


def settings_of(train: PowerTrain, setting: Setting, flight: FlightTime, flown: AsFlown) -> Settings | None:
    """The settings of a power train for its flight in one setting; None where there is no flight."""
    if not flight.minutes > 0:
        return None
    train = setting.flown(train)
    lanes = flight.legs[0].loads[0].train
    cells: Chemistry = lanes.chemistries[0]
    land = _Moment.of(setting.phases, flight, (1.0 - TIMER_MARGIN) * flight.minutes)
    alarm = _Moment.of(setting.phases, flight, flight.minutes) if flight.ended_by == "reserve" else land
    current = cells.charge_c * train.pack.capacity_mah * MAH_AH
    steady_minutes = flight.minutes * flown.flown_timer_minutes / flown.flown_minutes if flown.flown_minutes else 0.0
    back_mah = float((1.0 - charge_after(flight.legs, steady_minutes)) * lanes.capacity_ah[0] / MAH_AH)
    drawn = drawn_of(columns_of(Settings), flown.draws)
    # draws go by their mean current; the flight itself says what is drawn until the timer runs out
    mean_mah = float(flown.draws.at_mean_current_mah(flight.used_mah, flown.flown_minutes))
    drawn["recharge_mah"] *= back_mah / mean_mah if mean_mah > 0 else 1.0
    (ranges,) = ranges_of(drawn, intervals)
    return Settings(
        flown_timer_minutes=flown.flown_timer_minutes,
        land_pack_v=train.pack.cells_series * land.cell_voltage_v,
        alarm_load_cell_v=alarm.cell_voltage_v,
        alarm_rest_cell_v=float(cells.cell_ocv_v(alarm.charge)),
        cutoff_cell_v=flight.cutoff_cell_v,
        recharge_mah=back_mah,
        charge_current_a=current,
        charge_minutes=60.0 * CHARGE_TAIL * back_mah * MAH_AH / current,
        charge_least_c=CHARGE_LEAST_C,
        storage_cell_v=cells.put_away_v,
        ranges=ranges,
        basis={
            "flown_timer_minutes": f"90 of 100 builds fly as long; by what is stated {percent(TIMER_MARGIN)} longer",
            "land_pack_v": f"{100 * land.charge:.0f} % charge, a tenth of the flight left, {land.words}",
            "alarm_load_cell_v": f"{100 * alarm.charge:.0f} % charge, {alarm.words}; bursts of throttle read less",
            "alarm_rest_cell_v": f"open-circuit voltage at {100 * alarm.charge:.0f} % charge",
            "cutoff_cell_v": _cutoff_basis(setting, cells),
            "recharge_mah": "less says that it may fly longer, more that it must not; losses come on top",
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
