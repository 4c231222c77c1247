"""A dry run: the first rows of a table as they would be read, and which column became which."""

from itertools import islice
from pathlib import Path
from typing import Any

import attrs

from propmatch.faults import Fault, InputFaults
from propmatch.hookspecs import PartRow
from propmatch.records.parts import Source
from propmatch_plugins.reading.delimited import read_delimited
from propmatch_plugins.reading.grid import Grid
from propmatch_plugins.reading.heading import (
    Mapping,
    Plan,
    columns_of,
    kind_of_file,
    mapping_beside,
    plan_of,
    read_mapping,
)
from propmatch_plugins.reading.rows import read_rows

__all__ = ["ColumnRead", "Preview", "dry_run", "preview_of"]


@attrs.frozen(kw_only=True)
class ColumnRead:
    """One column: theirs, ours (empty when nobody reads it) and what happens to its numbers."""

    theirs: str
    ours: str = ""
    unit: str = ""

    def __str__(self) -> str:
        if not self.ours:
            return f"{self.theirs}: not used"
        return f"{self.theirs} -> {self.ours}" + (f" [{self.unit}]" if self.unit else "")


@attrs.frozen(kw_only=True)
class Preview:
    """The beginning of one table as it would be read.

    Attributes
    ----------
    where : str
        File, or file:sheet.
    columns : tuple of ColumnRead
    constants : mapping
        Values that every row gets.
    rows : tuple of dict
        The first rows that are sound: our columns and values, only those that are given.
    parts : tuple of (kind, part)
        The same as parts.
    faults : tuple of Fault
        Of the table and of its first rows.
    """

    where: str
    columns: tuple[ColumnRead, ...]
    constants: dict[str, Any]
    rows: tuple[dict[str, Any], ...]
    parts: tuple[tuple[str, Any], ...]
    faults: tuple[Fault, ...]

    def __str__(self) -> str:
        lines = [self.where, *(f"  {column}" for column in self.columns)]
        lines += [f"  {name} = {value!r} in every row" for name, value in self.constants.items()]
        for number, row in enumerate(self.rows, start=1):
            lines.append(f"row {number}: " + ", ".join(f"{name} = {value}" for name, value in row.items()))
        return "\n".join([*lines, *map(str, self.faults)])


def dry_run(path: str | Path, *, mapping: str | Path | None = None, rows: int = 5) -> tuple[Preview, ...]:
    """Show how the first rows of a text table or workbook would be read; nothing is kept.

    Parameters
    ----------
    path : path
        The table; of a workbook every sheet is shown.
    mapping : path, optional
        Mapping file; default: the one beside the table.
    rows : int
        How many rows to read.

    Raises
    ------
    InputFaults
        A faulty mapping file, or a file that is no table.
    OSError
        A file cannot be read.
    """
    path = Path(path)
    beside = Path(mapping) if mapping is not None else mapping_beside(path)
    read = read_mapping(beside) if beside else None
    from propmatch_plugins.spreadsheet import SUFFIXES, sheets_of

    book = path.suffix.lower() in SUFFIXES
    grids = sheets_of(path) if book else [(kind_of_file(path), read_delimited(path))]
    if not any(grid.header for _, grid in grids):
        faults = [fault for _, grid in grids for fault in grid.faults]
        raise InputFaults(faults or [Fault(str(path), rule="holds no table")])
    return tuple(preview_of(grid, kind, read, rows) for kind, grid in grids if grid.header)


def preview_of(grid: Grid, kind: str | None, mapping: Mapping | None, rows: int | None) -> Preview:
    """The first ``rows`` of a grid, None for all, as they would be read."""
    plan = plan_of(grid, kind, mapping)
    few = list(islice(grid.rows, rows))
    grid.leave()
    short = Grid(grid.where, grid.folder, grid.header, grid.header_line, iter(few), grid.marks, grid.first)
    faults: list[Fault] = []
    shown: list[dict[str, Any]] = []
    parts: list[tuple[str, Any]] = []
    for item in read_rows(short, kind, plugin="parts", source=Source(text=grid.where, kind="label"), mapping=mapping):
        if isinstance(item, PartRow):
            faults += item.faults
            if item.part is not None:
                parts.append((item.kind, item.part))
                shown.append(_given(item.part, item.kind, {*plan.kinds[item.kind].columns, *plan.constants}))
        else:
            faults.append(item)
    return Preview(
        where=grid.where,
        columns=tuple(_column(plan, at, theirs or f"column {at + 1}") for at, theirs in enumerate(grid.header)),
        constants=dict(plan.constants),
        rows=tuple(shown),
        parts=tuple(parts),
        faults=(*grid.faults, *faults),
    )


def _column(plan: Plan, at: int, theirs: str) -> ColumnRead:
    if plan.kind_at is not None and plan.kind_at.at == at:
        return ColumnRead(theirs=theirs, ours="kind")
    ours: dict[str, str] = {}
    noted = False
    for fields in plan.kinds.values():
        noted |= at in fields.notes
        for column in (*fields.columns.values(), *fields.doubles):
            if column.at == at:
                ours[column.rule.name] = column.convert.words if column.convert else column.rule.unit
    if noted and not ours:
        return ColumnRead(theirs=theirs, ours="notes")
    return ColumnRead(theirs=theirs, ours=" or ".join(ours), unit=next(iter(ours.values()), ""))


def _given(part: Any, kind: str, names: set[str]) -> dict[str, Any]:
    values = {}
    source = {"source": "text", "source_kind": "kind", "uncertainty": "uncertainty"}
    for name, rule in columns_of(kind).items():
        if name in source and name in names:
            value = getattr(part.source, source[name])
        elif name not in source and (name in names or name not in ("table", "id")) and name != "table":
            value = getattr(part, name)
            value = value if name in names or value != rule.default else None
        else:
            continue
        if value is not None:
            values[name] = value
    return values
