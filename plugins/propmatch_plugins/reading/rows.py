"""Rows of a table to parts: clean rows become parts, faulty rows are handed over with all their faults.

Building a part checks every field alone, about 40 microseconds, and reading a mapping checks it once more: 10 s for
100,000 rows. Here a block of rows is turned into columns, each column is held against the declaration as one array
(:mod:`~propmatch_plugins.reading.cells`), the rules between fields run on the rows that are left, and a part is then
assembled from values already checked, about 4 microseconds. Parts are small (some 500 bytes), so they are built at
once; making them later, when asked for, would keep the cells in memory instead and gain nothing.
"""

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import lru_cache
from itertools import repeat
from pathlib import Path
from typing import Any

import attrs

from propmatch.faults import Fault, InputFaults, did_you_mean
from propmatch.hookspecs import PartRow
from propmatch.models.tables import CoefficientTable
from propmatch.records.fields import Rule, text_rule
from propmatch.records.headings import SIGNATURE, STANDS_FOR, same_words
from propmatch.records.parts import ESTIMATED, KINDS, Source
from propmatch.records.typed import from_name, kind_of_name, label_gaps
from propmatch.records.written import BEC, LABEL_V, cells_of_label, out_of_range
from propmatch_plugins.reading.cells import Bad, read_column, read_fields
from propmatch_plugins.reading.grid import Grid, Row, blocks
from propmatch_plugins.reading.heading import Column, Fields, Mapping, Plan, columns_of, kind_of, plan_of

__all__ = ["TableReader", "read_rows"]

TableReader = Callable[[Path], CoefficientTable]
"""Reads the coefficient table a propeller row names; raises ``InputFaults``."""


def read_rows(
    grid: Grid,
    kind: str | None,
    *,
    plugin: str,
    source: Source,
    mapping: Mapping | None = None,
    table_reader: TableReader | None = None,
) -> Iterator[PartRow | Fault]:
    """Every row of a table as a checked part or with its faults, and what is to be said about the table.

    Parameters
    ----------
    grid : Grid
    kind : str or None
        What the rows are, as far as the names of file and sheet say.
    plugin : str
        Put in front of every id, as ``plugin/part``.
    source : Source
        Where the parts come from that do not say.
    mapping : Mapping, optional
        Names the columns that are not called as ours.
    table_reader : callable, optional
        Reads the file named in the column ``table``.
    """
    if grid.header:
        plan = plan_of(grid, kind, mapping)
        first = plan.kind or next(iter(plan.kinds), "")
        yield from (PartRow(where=said.where, faults=(said,), rows=0, kind=first) for said in plan.said)
        if plan.faults:
            rows = max(1, sum(1 for _ in grid.rows))
            yield PartRow(where=grid.at(grid.header_line), faults=plan.faults, rows=rows, kind=plan.kind or "")
        else:
            reader = _Reader(grid, plan, plugin, source, table_reader)
            for block in blocks(grid):
                for row in reader.block(block):
                    grid.faulty += any(fault.kind == "fault" for fault in row.faults)
                    yield row
    yield from grid.faults


class _Reader:
    """Reads the blocks of one table."""

    def __init__(self, grid: Grid, plan: Plan, plugin: str, source: Source, table_reader: TableReader | None) -> None:
        self.grid, self.plan, self.plugin, self.source = grid, plan, plugin, source
        self.table_reader = table_reader
        self.sources: dict[Any, Source] = {}
        self.told: list[Fault] = []
        self.tables: dict[str, CoefficientTable | tuple[Fault, ...]] = {}

    def block(self, rows: list[Row]) -> Iterator[PartRow]:
        whole: list[Row] = []
        for line, cells in rows:
            fault = self._width(line, cells)
            if fault:
                yield PartRow(where=fault.where, faults=(fault,), kind=self.plan.kind or "")
            else:
                whole.append((line, cells))
        for kind, same in self._by_kind(whole):
            if kind in KINDS:
                yield from self._read(kind, same)
            else:
                for line, cells in same:
                    fault = self._kindless(line, cells, kind)
                    yield PartRow(where=fault.where, faults=(fault,))

    def _width(self, line: int, cells: Sequence[Any]) -> Fault | None:
        wanted = len(self.grid.header)
        if len(cells) == wanted and not self.plan.unnamed:
            return None
        for at in (*self.plan.unnamed, *range(wanted, len(cells))):
            if at < len(cells) and cells[at] not in (None, "") and (at >= wanted):
                rule = f"has {len(cells)} fields, the first row names {wanted}"
                hint = "a comma inside a field? put the field in quotes; a decimal comma? write a point"
                return Fault(self.grid.at(line), value=cells[at], rule=rule, hint=hint)
            if at < len(cells) and cells[at] not in (None, ""):
                return Fault(self.grid.at(line), value=cells[at], rule=f"stands in column {at + 1}, which has no name")
        if len(cells) < wanted:
            rule = f"has {len(cells)} fields, the first row names {wanted}"
            hint = "values may have shifted: write an empty field for each value that is not known"
            return Fault(self.grid.at(line), rule=rule, hint=hint)
        return None

    def _by_kind(self, rows: list[Row]) -> Iterable[tuple[str, list[Row]]]:
        """Rows by kind; what is no kind tells why a row has none."""
        if not rows:
            return []
        if self.plan.kind is not None:
            return [(self.plan.kind, rows)]
        column = self.plan.kind_at
        split: dict[str, list[Row]] = {}
        for row in rows:
            kind = self._told(row[1]) if column is None else kind_of(str(row[1][column.at])) or ""
            split.setdefault(kind, []).append(row)
        return split.items()

    def _told(self, cells: Sequence[Any]) -> str:
        """The kind that the filled columns of a row tell, else its name, or the kinds that it may be."""
        kinds = self.plan.kinds
        filled = {
            kind: {name for name, column in fields.columns.items() if cells[column.at] not in (None, "")}
            for kind, fields in kinds.items()
        }
        found = [kind for kind, names in SIGNATURE.items() if kind in kinds and set(names) <= filled[kind]]
        if len(found) > 1:
            return " and ".join(found)
        weak = [kind for kind, name in (("propellers", "size"), ("controllers", "servo_supply"))
                if kind in kinds and name in filled[kind]]  # fmt: skip
        names = [str(cells[fields.columns["name"].at]) for fields in kinds.values() if "name" in fields.columns]
        named = [kind for kind in (kind_of_name(name, self.plan.mark) for name in names[:1]) if kind in kinds]
        headed = [
            kind for kind, names in SIGNATURE.items() if kind in kinds and set(names) <= kinds[kind].columns.keys()
        ]
        return next(iter(found or named or weak or headed[:1] * (len(headed) == 1)), "")

    def _kindless(self, line: int, cells: Sequence[Any], kinds: str) -> Fault:
        column = self.plan.kind_at
        if column is None:
            rule = f"fills columns of {kinds}: a row is one part" if kinds else "cannot tell what this row is"
            return Fault(self.grid.at(line), rule=rule, hint="add a column 'kind': motor, ESC, battery or propeller")
        rule, hint = "must be one of " + ", ".join(KINDS), did_you_mean(str(cells[column.at]), KINDS)
        return Fault(self.grid.at(line), column.shown, cells[column.at], rule, hint)

    # ------------------------------------------------------------ rows of one kind

    def _read(self, kind: str, rows: list[Row]) -> Iterator[PartRow]:
        lines = [line for line, _ in rows]
        cells = list(zip(*(cells for _, cells in rows), strict=False))
        ours, fields, cls = columns_of(kind), self.plan.kinds[kind], KINDS[kind]
        faults: dict[int, list[Fault]] = {}
        values: dict[str, list[Any]] = {}
        for column in (*fields.columns.values(), *fields.doubles):
            found, bad = read_fields(cls, column, cells[column.at], self.plan.mark)
            self._note(column.shown, bad, lines, faults)
            for name, some in found.items():
                self._merge(name, some, values, column, lines, faults)
        for column in fields.foreign:
            self._must_be_empty(kind, column, cells[column.at], lines, faults)
        for name, constant in self.plan.constants.items():
            if name in ours:
                column = Column(at=0, rule=ours[name], shown=f"{name} (constant)")
                (value,), bad = read_column(column, (constant,), ".")
                values[name] = [value] * len(lines)
                self._note(column.shown, {at: bad[0] for at in range(len(lines)) if bad}, lines, faults)
        if "kv_rpm_per_v" in fields.columns and "measured" in same_words(fields.columns["kv_rpm_per_v"].shown):
            values.setdefault("kv_kind", ["measured"] * len(lines))
        self._settle(kind, cls, values, lines, faults)
        self._keep_notes(fields, cells, values, lines, faults)
        yield from self._build(kind, values, lines, faults)
        yield from (PartRow(where=said.where, faults=(said,), rows=0, kind=kind) for said in self.told)
        self.told = []

    def _merge(
        self, name: str, some: list[Any], values: dict[str, list[Any]], column: Column, lines: list[int],
        faults: dict[int, list[Fault]],
    ) -> None:  # fmt: skip
        """Take values of a field; where the row has one already they must agree."""
        if name not in values:
            values[name] = some
            return
        before = values[name]
        for at, value in enumerate(some):
            if before[at] is None:
                before[at] = value
            elif value is not None and not _agree(before[at], value):
                rule = f"contradicts the {_short(before[at])} {column.rule.unit}".rstrip() + " of another column"
                self._note(column.shown, {at: (value, rule, "")}, lines, faults)

    def _settle(
        self, kind: str, cls: type, values: dict[str, list[Any]], lines: list[int], faults: dict[int, list[Fault]]
    ) -> None:
        """What follows from several cells of a row: cells from volts, a BEC of no said kind, fields of a name."""
        for at, volts in enumerate(values.pop(LABEL_V, [])):
            row = {LABEL_V: volts, "chemistry": values.get("chemistry", {at: None})[at],
                   "cells_series": values.setdefault("cells_series", [None] * len(lines))[at]}  # fmt: skip
            wrong = [] if volts is None else cells_of_label(row)
            values["cells_series"][at] = row["cells_series"]
            for fault in wrong or out_of_range(cls, row):
                self._note("cells_series", {at: (fault.value, fault.rule, fault.hint)}, lines, faults)
        lost = [name for name in self.plan.kinds[kind].named if name != "name"]
        for at, name in enumerate(values.get("name", ()) if lost or not self.plan.ours else ()):
            if isinstance(name, str):
                self._from_name(cls, name, at, values, lines, faults)
        for at, there in enumerate(values.pop(BEC, [])):
            supply = values.setdefault("servo_supply", [None] * len(lines))
            supply[at] = supply[at] or ("linear" if there else None)
        self._name_them(kind, values, lines)
        self._estimate(cls, values, lines)

    def _from_name(
        self, cls: type, name: str, at: int, values: dict[str, list[Any]], lines: list[int],
        faults: dict[int, list[Fault]],
    ) -> None:  # fmt: skip
        """Fill the empty cells of a row from its name; where a cell says otherwise it counts, and that is said."""
        read = from_name(cls, name, self.plan.mark)
        wrong = {fault.key: fault for fault in out_of_range(cls, read)}
        for field, value in read.items():
            column = values.setdefault(field, [None] * len(lines))
            if column[at] is None and field in wrong:
                self._note(field, {at: (name, wrong[field].rule, wrong[field].hint)}, lines, faults)
            elif column[at] is None:
                column[at] = value
            elif not _agree(column[at], value):
                rule = f"{_short(column[at])} is taken, the name says {_short(value)}"
                self.told.append(Fault(self.grid.at(lines[at]), field, name, rule, kind="note"))

    def _estimate(self, cls: type, values: dict[str, list[Any]], lines: list[int]) -> None:
        """Numbers that a label may leave out, as of a typed line, and a note that says so."""
        nothing = [None] * len(lines)
        for field in label_gaps(cls, {}):
            column = values.setdefault(field, [*nothing])
            for at in [at for at, value in enumerate(column) if value is None]:
                row = {name: cells[at] for name, cells in values.items() if cells[at] is not None}
                made = label_gaps(cls, row)[field]
                column[at] = made.value
                values.setdefault(ESTIMATED[field], [*nothing])[at] = True
                notes = values.setdefault("notes", [*nothing])
                notes[at] = "; ".join(filter(None, (notes[at], made.text)))

    def _name_them(self, kind: str, values: dict[str, list[Any]], lines: list[int]) -> None:
        """A name of its numbers for every part that has none."""
        names = values.get("name", [])
        if "name" in values and all(names):
            return
        empty: Sequence[Any] = [None] * len(lines)
        columns = {field: values.get(field, empty) for field in ("name", *_NAMED_BY[kind])}
        values["name"] = [
            given or _name(kind, dict(zip(_NAMED_BY[kind], row, strict=True)))
            for given, *row in zip(*columns.values(), strict=True)
        ]

    def _keep_notes(
        self, fields: Fields, cells: Sequence[Sequence[Any]], values: dict[str, list[Any]], lines: list[int],
        faults: dict[int, list[Fault]],
    ) -> None:  # fmt: skip
        """Put the cells of columns that are no field of ours behind the notes."""
        if not fields.notes:
            return
        notes = values.setdefault("notes", [None] * len(lines))
        for at, head in fields.notes.items():
            wrong: Bad = {}
            for row, cell in enumerate(cells[at]):
                if isinstance(cell, str) and not cell.isprintable() and text_rule(cell):
                    wrong[row] = (cell, text_rule(cell), "")
            self._note(head, wrong, lines, faults)
        for row in range(len(lines)):
            said = [
                f"{head}: {cells[at][row]}" for at, head in fields.notes.items() if cells[at][row] not in (None, "")
            ]
            notes[row] = "; ".join([*([notes[row]] if notes[row] else []), *said]) or None

    def _note(self, shown: str, bad: Bad, lines: list[int], faults: dict[int, list[Fault]]) -> None:
        for at, (value, rule, hint) in bad.items():
            faults.setdefault(at, []).append(Fault(self.grid.at(lines[at]), shown, value, rule, hint))

    def _must_be_empty(
        self, kind: str, column: Column, cells: Sequence[Any], lines: list[int], faults: dict[int, list[Fault]]
    ) -> None:
        bad = {
            at: (cell, f"must be empty: {kind} have no such value", "")
            for at, cell in enumerate(cells)
            if cell not in (None, "")
        }
        self._note(column.shown, bad, lines, faults)

    def _build(
        self, kind: str, given: dict[str, list[Any]], lines: list[int], faults: dict[int, list[Fault]]
    ) -> Iterator[PartRow]:
        cls = KINDS[kind]
        values: dict[str, Sequence[Any]] = {**given}
        self._complete(kind, values, lines, faults)
        ours = columns_of(kind)
        fields = {
            field.name: ours[field.name].default if field.name in ours else field.default for field in attrs.fields(cls)
        }
        columns = [values[name] if name in values else repeat(default) for name, default in fields.items()]
        self._obey(cls, fields, values, lines, faults)
        make = _maker(cls)
        place = f"{self.grid.where}:"
        for at, (line, row) in enumerate(zip(lines, zip(*columns, strict=False), strict=False)):
            where = f"{place}{line}"
            if at in faults:
                yield PartRow(where=where, faults=tuple(faults[at]), kind=kind)
            else:
                yield PartRow(where=where, part=make(row), kind=kind)

    def _complete(
        self, kind: str, values: dict[str, Sequence[Any]], lines: list[int], faults: dict[int, list[Fault]]
    ) -> None:
        """Defaults for empty cells, missing values, ids, sources and tables."""
        nothing: Sequence[Any] = (None,) * len(lines)
        for name, rule in columns_of(kind).items():
            found = values.get(name, nothing if rule.required else None)
            if found is None or rule.default is None:
                continue
            empty = [at for at, value in enumerate(found) if value is None]
            if not empty:
                continue
            if rule.required:
                for at in empty:
                    unnamed = name == "name" and name not in self.plan.kinds[kind].columns and at in faults
                    if not unnamed and not any(_concerns(fault, name) for fault in faults.get(at, ())):
                        fault = Fault(self.grid.at(lines[at]), name, rule=f"missing; needs {rule.rule}")
                        faults.setdefault(at, []).append(fault)
            else:
                values[name] = [rule.default if value is None else value for value in found]
        names, ids = values.get("name", nothing), values.get("id", nothing)
        prefix = f"{self.plugin}/"
        values["id"] = [
            prefix + str(own or name).strip().removeprefix(prefix) for own, name in zip(ids, names, strict=True)
        ]
        given = [values.pop(column, nothing) for column in ("source", "source_kind", "uncertainty")]
        values["source"] = [
            self.source if at in faults else self._source(*three) for at, three in enumerate(zip(*given, strict=True))
        ]
        if kind == "propellers":
            paths = values.pop("table", nothing)
            values["table"] = [self._table(path, lines[at], faults, at) for at, path in enumerate(paths)]

    def _source(self, text: str | None, kind: str | None, uncertainty: float | None) -> Source:
        if text is None and kind is None and uncertainty is None:
            return self.source
        key = (text, kind, uncertainty)
        if key not in self.sources:
            default = self.source
            self.sources[key] = Source(
                text=text or default.text,
                kind=kind or default.kind,
                uncertainty=default.uncertainty if uncertainty is None else uncertainty,
            )
        return self.sources[key]

    def _table(self, name: str | None, line: int, faults: dict[int, list[Fault]], at: int) -> CoefficientTable | None:
        if name is None or self.table_reader is None:
            return None
        if name not in self.tables:
            path = self.grid.folder / name
            try:
                self.tables[name] = self.table_reader(path)
            except OSError as error:
                near = did_you_mean(path.name, [each.name for each in path.parent.glob("*")])
                rule = f"names a table that cannot be read: {error.strerror or error}"
                self.tables[name] = (Fault(self.grid.at(line), "table", name, rule, near),)
            except InputFaults as error:
                self.tables[name] = error.faults
        found = self.tables[name]
        if isinstance(found, CoefficientTable):
            return found
        faults.setdefault(at, []).extend(found)
        return None

    def _obey(
        self,
        cls: type,
        fields: dict[str, Any],
        values: dict[str, Sequence[Any]],
        lines: list[int],
        faults: dict[int, list[Fault]],
    ) -> None:
        rules: tuple[Rule, ...] = cls.__rules__  # type: ignore[attr-defined]
        for rule in rules:
            if "source" in rule.keys or values.keys().isdisjoint(rule.keys):
                continue  # the source of a table holds no deviations
            columns = [values.get(key, repeat(fields[key], len(lines))) for key in rule.keys]
            for at, row in enumerate(zip(*columns, strict=True)):
                if at not in faults and rule.broken(*row):
                    self._note(rule.keys[0], {at: (row[0], rule.said(row), "")}, lines, faults)


def _concerns(fault: Fault, name: str) -> bool:
    """Whether a fault of a row is that of a field, or of a column that fills it."""
    key = fault.key.partition(" ")[0]
    return key == name or name in STANDS_FOR.get(key, ())


_NAMED_BY = {
    "motors": ("kv_rpm_per_v", "mass_g"), "controllers": ("max_current_a",),
    "packs": ("cells_series", "capacity_mah", "c_rating"), "propellers": ("diameter_in", "pitch_in", "blades"),
}  # fmt: skip
_NAME_LIKE = {
    "motors": ("{:.12g}kV", "{:.12g}g"), "controllers": ("{:.12g}A",), "packs": ("{}S", "{:.12g}mAh", "{:.12g}C"),
    "propellers": ("{:.6g}", "x{:.6g}", "x{}"),
}  # fmt: skip


def _name(kind: str, row: dict[str, Any]) -> str | None:
    """A name for a part that brings none, of its numbers; None where one of them is not known."""
    values = [value for value in row.values() if value is not None]
    if len(values) < len(row) - (kind == "propellers"):
        return None
    between = "" if kind == "propellers" else " "
    return between.join(word.format(value) for word, value in zip(_NAME_LIKE[kind], values, strict=False))


def _agree(one: Any, other: Any) -> bool:
    """Whether two columns say the same: numbers within the rounding of two units."""
    if isinstance(one, int | float) and isinstance(other, int | float):
        return math.isclose(one, other, rel_tol=_ROUNDED)
    return bool(one == other)


_ROUNDED = 0.02


def _short(value: Any) -> str:
    return f"{value:.6g}" if isinstance(value, float) else str(value)


@lru_cache
def _maker(cls: Any) -> Callable[[Sequence[Any]], Any]:
    """A function that assembles a record from checked values in the order of its fields."""
    setters = [cls.__dict__[field.name].__set__ for field in attrs.fields(cls)]
    new = cls.__new__

    def make(row: Sequence[Any]) -> Any:
        part = new(cls)
        for setter, value in zip(setters, row, strict=True):
            setter(part, value)
        return part

    return make
