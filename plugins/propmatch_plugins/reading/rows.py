"""Rows of a table to parts: clean rows become parts, faulty rows are handed over with all their faults.

Building a part checks every field alone, about 40 microseconds, and reading a mapping checks it once more: 10 s for
100,000 rows. Here a block of rows is turned into columns, each column is held against the declaration as one array
(:mod:`~propmatch_plugins.reading.cells`), the rules between fields run on the rows that are left, and a part is then
assembled from values already checked, about 4 microseconds. Parts are small (some 500 bytes), so they are built at
once; making them later, when asked for, would keep the cells in memory instead and gain nothing.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import lru_cache
from itertools import repeat
from pathlib import Path
from typing import Any

import attrs

from propmatch.faults import Fault, InputFaults, did_you_mean
from propmatch.hookspecs import PartRow
from propmatch.models.tables import CoefficientTable
from propmatch.records.fields import Rule
from propmatch.records.parts import KINDS, Source
from propmatch_plugins.reading.cells import Bad, read_column
from propmatch_plugins.reading.grid import Grid, Row, blocks
from propmatch_plugins.reading.heading import Column, Mapping, Plan, columns_of, kind_of, plan_of

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
        yield from plan.warnings
        if plan.faults:
            rows = max(1, sum(1 for _ in grid.rows))
            yield PartRow(where=grid.at(grid.header_line), faults=plan.faults, rows=rows, kind=plan.kind or "")
        else:
            reader = _Reader(grid, plan, plugin, source, table_reader)
            for block in blocks(grid):
                yield from reader.block(block)
    yield from grid.faults


class _Reader:
    """Reads the blocks of one table."""

    def __init__(self, grid: Grid, plan: Plan, plugin: str, source: Source, table_reader: TableReader | None) -> None:
        self.grid, self.plan, self.plugin, self.source = grid, plan, plugin, source
        self.table_reader = table_reader
        self.sources: dict[Any, Source] = {}
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
            if kind is None:
                yield from self._kindless(same)
            else:
                yield from self._read(kind, same)

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

    def _by_kind(self, rows: list[Row]) -> Iterable[tuple[str | None, list[Row]]]:
        if not rows:
            return []
        if self.plan.kind is not None:
            return [(self.plan.kind, rows)]
        at = self.plan.columns["kind"].at
        split: dict[str | None, list[Row]] = {}
        for row in rows:
            split.setdefault(kind_of(str(row[1][at])), []).append(row)
        return split.items()

    def _kindless(self, rows: list[Row]) -> Iterator[PartRow]:
        column = self.plan.columns["kind"]
        for line, cells in rows:
            word = cells[column.at]
            rule, hint = "must be one of " + ", ".join(KINDS), did_you_mean(str(word), KINDS)
            fault = Fault(self.grid.at(line), column.shown, word, rule, hint)
            yield PartRow(where=fault.where, faults=(fault,))

    # ------------------------------------------------------------ rows of one kind

    def _read(self, kind: str, rows: list[Row]) -> Iterator[PartRow]:
        lines = [line for line, _ in rows]
        cells = list(zip(*(cells for _, cells in rows), strict=False))
        ours = columns_of(kind)
        faults: dict[int, list[Fault]] = {}
        values: dict[str, Sequence[Any]] = {}
        for name, column in self.plan.columns.items():
            if name == "kind":
                continue
            if name not in ours:
                self._must_be_empty(kind, column, cells[column.at], lines, faults)
                continue
            values[name], bad = read_column(column, cells[column.at], self.grid.comma)
            self._note(column.shown, bad, lines, faults)
        for name, constant in self.plan.constants.items():
            if name in ours:
                column = Column(at=0, rule=ours[name], shown=f"{name} (constant)")
                (value,), bad = read_column(column, (constant,), comma=False)
                values[name] = (value,) * len(lines)
                self._note(column.shown, {at: bad[0] for at in range(len(lines)) if bad}, lines, faults)
        yield from self._build(kind, values, lines, faults)

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
        self, kind: str, values: dict[str, Sequence[Any]], lines: list[int], faults: dict[int, list[Fault]]
    ) -> Iterator[PartRow]:
        cls = KINDS[kind]
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
                    if not any(fault.key.partition(" ")[0] == name for fault in faults.get(at, ())):
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
        values["source"] = [self._source(*three) for three in zip(*given, strict=True)]
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
