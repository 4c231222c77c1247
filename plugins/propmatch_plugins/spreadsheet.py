"""Workbooks (.xlsx, .xlsm, .xls, .ods): one sheet for each kind of part, named after it.

The first row that is not blank names the columns. A sheet of another name may have a ``kind`` column; a sheet called
``notes`` is passed over. Needs the optional extra ``spreadsheets``.
"""

from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from propmatch.faults import Fault, InputFaults
from propmatch.hookspecs import PartRow, hookimpl

if TYPE_CHECKING:
    from propmatch_plugins.reading.grid import Grid

__all__ = ["SUFFIXES", "propmatch_file_reader", "read_workbook", "sheets_of"]

SUFFIXES = (".xlsx", ".xlsm", ".xls", ".ods")

NOTES_SHEET = "notes"
_INSTALL = "pip install 'propmatch[spreadsheets]'"


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
        It is no workbook, or the extra is not installed.
    """
    from propmatch_plugins.reading.heading import kind_of, kind_of_file

    where = str(path)
    path.open("rb").close()
    try:
        from python_calamine import CalamineError, CalamineWorkbook
    except ImportError:
        rule = "reading workbooks needs the extra 'spreadsheets', which is not installed"
        raise InputFaults([Fault(where, rule=rule, hint=f"install it: {_INSTALL}")]) from None
    try:
        book = CalamineWorkbook.from_path(where)
        sheets = [(name, book.get_sheet_by_name(name)) for name in book.sheet_names]
    except CalamineError as error:
        rule = "is no workbook that can be read"
        raise InputFaults([Fault(where, rule=rule, hint="save it again as .xlsx or .ods")]) from error
    found = []
    for name, sheet in sheets:
        grid = None if name.lower() == NOTES_SHEET else _grid(path, name, sheet)
        if grid is not None:
            found.append((kind_of(name) or kind_of_file(Path(name)) or kind_of_file(path), grid))
    return found


def _grid(path: Path, name: str, sheet: Any) -> "Grid | None":
    """The sheet as a grid, None when it is empty; rows keep their numbers."""
    from propmatch_plugins.reading.grid import Grid

    rows = (
        (number, tuple([cell.strip() if isinstance(cell, str) else cell for cell in row]))
        for number, row in enumerate(sheet.iter_rows(), start=1)
        if any(cell != "" for cell in row)
    )
    head = next(rows, None)
    if head is None:
        return None
    header = tuple(str(cell) for cell in head[1])
    return Grid(f"{path}:{name}", path.parent, header=header, header_line=head[0], rows=rows).look()
