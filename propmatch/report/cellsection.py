"""The same aircraft with another cell count, and which other parts will do."""

from typing import Any

from propmatch.matching import Shortlist
from propmatch.report.picture import Table
from propmatch.shown import Shown, signed

__all__ = ["substitutes"]

_MOST = 5


def substitutes(shortlist: Shortlist, shown: Shown) -> tuple[Table, ...]:
    """The next best combinations of each cell count, those that differ in the controller alone on one line."""
    tables = []
    for cells, group in sorted(shortlist.by_cells.items()):
        alike: dict[tuple[str, str, str], list[Any]] = {}
        for candidate in group:
            alike.setdefault((candidate.motor_id, candidate.propeller_id, candidate.pack_id), []).append(candidate)
        rows = [
            {
                "motor": first.train.motor.name,
                "propeller": first.train.propeller.name,
                "pack": first.train.pack.name,
                "controller": " or ".join(dict.fromkeys(c.train.controller.name for c in (first, *others))),
                "all-up mass": shown.mass_text(first.all_up_mass_g),
                "minutes": signed(first.flight_minutes),
                "thrust to weight": signed(first.thrust_to_weight, 2),
            }
            for first, *others in list(alike.values())[:_MOST]
        ]
        if rows:
            tables.append(Table.of(rows, caption=f"{cells}S, best first"))
    return tuple(tables)
