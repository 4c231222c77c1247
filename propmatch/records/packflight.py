"""What the cells of a pack mean for its flights: where they end, and the resistance through a whole discharge."""

from collections.abc import Iterable

from propmatch.faults import Fault
from propmatch.models.pack import USUAL_C, CellState, Chemistry, chemistry_of
from propmatch.records.estimates import PRACTICE, Assumption
from propmatch.records.parts import Pack, PowerTrain

__all__ = ["curve_notes", "cutoff_faults", "flight_notes", "state_notes"]


def _kinds(packs: Iterable[Pack]) -> tuple[Chemistry, ...]:
    return tuple({each.name: each for each in map(chemistry_of, packs)}.values())


def cutoff_faults(asked_v: float | None, packs: Iterable[Pack]) -> list[Fault]:
    """A cutoff [V] that none of these packs allows."""
    kinds = _kinds(packs)
    if asked_v is None or not kinds or any(each.least_cutoff_v <= asked_v < each.full_v for each in kinds):
        return []
    ranges = " or ".join(f"from {each.least_cutoff_v:g} to below {each.full_v:g} V for {each.name}" for each in kinds)
    return [Fault("brief", "limits.cutoff_cell_v", asked_v, f"must be {ranges} cells")]


def curve_notes(packs: Iterable[Pack]) -> tuple[Assumption, ...]:
    """Where the open-circuit curve of other cells than LiPo comes from."""
    return tuple(
        Assumption("pack", "chemistry", each.nominal_v, "V", f"open-circuit curve of {each.name} cells: {each.source}")
        for each in _kinds(packs)
        if each.name != "lipo"
    )


def state_notes(train: PowerTrain) -> tuple[Assumption, ...]:
    """What temperature, age and rest do to the cells of a power train."""
    state, cells = train.cell_state, chemistry_of(train.pack)
    made = []
    if state.temperature_c not in (None, USUAL_C):
        warm = CellState(temperature_c=state.temperature_c)
        resistance, capacity = warm.resistance_ratio(cells), warm.capacity_ratio(cells)
        keeps = f"capacity by {capacity:.2f}" if capacity != 1.0 else "capacity kept"
        text = f"{cells.name} cells at {state.temperature_c:g} degC: resistance multiplied by {resistance:.2f}, {keeps}"
        made.append(Assumption("pack", "pack_temperature_c", resistance, "", f"{text}; {cells.cold_basis}"))
    if state.cycles:
        life = cells.life
        low, capacity, high = (
            float(life.capacity_after(state.cycles, end)) for end in (life.cycles_low, None, life.cycles_high)
        )
        rise = [float(life.resistance_after(state.cycles, end)) for end in (None, life.ratio_low, life.ratio_high)]
        text = (
            f"{cells.name} cells after {state.cycles:g} cycles: capacity multiplied by {capacity:.2f} ({low:.2f} to "
            f"{high:.2f}), resistance by {rise[0]:.2f} ({rise[1]:.2f} to {rise[2]:.2f}); {life.basis}"
        )
        if state.cycles > life.cycles:
            text += f"; such cells are usually retired after about {life.cycles:g}"
        made.append(Assumption("pack", "pack_cycles", capacity, "", text, low, high))
    if state.rest_h:
        volts = state.cells(cells).full_v
        text = (
            f"{cells.name} cells {state.rest_h:g} h after charging: a full one rests at {volts:.2f} V, not "
            f"{cells.full_v:.2f}; {PRACTICE}"
        )
        made.append(Assumption("pack", "pack_rest_h", volts, "V", text))
    return tuple(made)


def flight_notes(asked_v: float | None, packs: Iterable[Pack]) -> tuple[Assumption, ...]:
    """What flights with these packs assume: the cutoff of the cells, and their resistance through a discharge.

    A cutoff is the usual one where none is asked for, and the least that the cells allow where less is.
    """
    made = [*curve_notes(packs)]
    for each in _kinds(packs):
        volts = each.flown_to_v(asked_v)
        if asked_v is None:
            text = f"the flight ends when a cell falls to {volts:g} V under load, usual for {each.name}; {PRACTICE}"
            made.append(Assumption("limits", "cutoff_cell_v", volts, "V", text))
        elif volts > asked_v:
            text = f"the cutoff of {asked_v:g} V is raised to {volts:g} V, the least that {each.name} cells allow"
            made.append(Assumption("limits", "cutoff_cell_v", volts, "V", text))
        ratio = each.sustained_ratio
        if ratio > 1.0:
            text = (
                f"{each.name} cells: flown with {ratio:g} times the resistance, as discharges of a Li-ion cell show; "
                "whole discharges show up to twice what a charger or the first seconds do"
            )
            made.append(Assumption("flight time", "sustained_ratio", ratio, "", text, 1.0, 2.0))
    return tuple(made)
