"""Workbooks (.xlsx, .xlsm, .xls, .ods): one sheet for each kind of part, named after it.

The first row that is not blank names the columns; titles of a single cell may stand above it. A sheet of another name
may have a ``kind`` column; a sheet called ``notes`` is passed over. Needs the optional extra ``spreadsheets``.
"""

from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from propmatch.faults import Fault, InputFaults
from propmatch.hookspecs import PartRow, hookimpl

if TYPE_CHECKING:
    from propmatch_plugins.reading.grid import Grid

__all__ = ["SUFFIXES", "propmatch_file_reader", "read_workbook", "sheets_of"]

SUFFIXES = (".xlsx", ".xlsm", ".xls", ".ods")

NOTES_SHEET = "notes"


@hookimpl
def propmatch_file_reader(path: Path) -> Callable[[Path], Iterable[PartRow | Fault]] | None:
    return read_workbook if path.suffix.lower() in SUFFIXES else None


def read_workbook(path: Path, *, plugin: str = "parts") -> Iterator[PartRow | Fault]:
    """The parts of every sheet.

    Parameters
    ----------
    path : Path
        A mapping file beside it (``NAME.mapping.toml``) holds for every sheet.
    plugin : str
        Put in front of the ids.

    Raises
    ------
    OSError
        The file cannot be read.
    """
    from propmatch.records.parts import Source
    from propmatch_plugins.measured_tables import table_of_file
    from propmatch_plugins.reading.heading import mapping_beside, read_mapping
    from propmatch_plugins.reading.rows import read_rows

    beside = mapping_beside(path)
    try:
        mapping = read_mapping(beside) if beside else None
        sheets = sheets_of(path)
    except InputFaults as error:
        yield PartRow(where=str(path), faults=error.faults)
        return
    source = Source(text=path.name, kind="label")
    for kind, grid in sheets:
        yield from read_rows(
            grid, kind, plugin=plugin, source=source, mapping=mapping, table_reader=table_of_file
        )  # fmt: skip


def sheets_of(path: Path) -> list[tuple[str | None, "Grid"]]:
    """Kind, as far as names say it, and grid of every sheet that is not empty.

    Raises
    ------
    OSError
        The file cannot be read.
    InputFaults
        It is no workbook, is too large, or the extra is not installed.
    """
    from propmatch.records.workbook import read_sheets
    from propmatch_plugins.reading.grid import LOOKED_AT, Grid, titles
    from propmatch_plugins.reading.heading import kind_of, kind_of_file

    found = []
    for name, rows in read_sheets(path):
        if name.lower() != NOTES_SHEET and rows:
            (line, head), *below = rows[titles([cells for _, cells in rows[:LOOKED_AT]]) :]
            header = tuple(str(cell) for cell in head)
            grid = Grid(f"{path}:{name}", path.parent, header=header, header_line=line, rows=iter(below)).look()
            found.append((kind_of(name) or kind_of_file(Path(name)) or kind_of_file(path), grid))
    return found
