"""Text tables as people's programs save them: any of comma, semicolon or tab; decimal point or comma; UTF-8 or not.

What is guessed is guessed from the whole first block and said aloud. Lines that start with ``#`` and blank lines are
passed over, wherever they stand.
"""

import csv
import io
import re
from collections.abc import Iterator
from itertools import chain, islice
from pathlib import Path

from propmatch.faults import Fault
from propmatch_plugins.reading.grid import BLOCK_ROWS, Grid, Row

__all__ = ["SUFFIXES", "decode", "read_delimited"]

SUFFIXES = (".csv", ".tsv", ".txt")

_DELIMITERS = ",;\t|"
_POINT = re.compile(r"[+-]?\d*\.\d+")
_COMMA = re.compile(r"[+-]?\d+,\d+")


def decode(raw: bytes, where: str) -> tuple[str | None, list[Fault]]:
    """Text of a file: UTF-8 with or without byte-order mark, UTF-16 with one, else Latin-1 with a warning.

    Latin-1 stands for Windows-1252, its superset that programs write under this name. None means no text at all.
    """
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        return raw.decode("utf-16", errors="replace"), []
    if b"\0" in raw:
        rule = "is not a text table"
        return None, [Fault(where, rule=rule, hint="save it as CSV, or as a workbook with the ending .xlsx or .ods")]
    try:
        return raw.decode("utf-8-sig"), []
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        text = raw.decode("cp1252", errors="replace")
        word = re.search(r"\S*$", raw[: error.start].decode("cp1252", errors="replace"))
        tail = re.match(r"\S*", raw[error.start :].decode("cp1252", errors="replace"))
        shown = (word.group() if word else "") + (tail.group() if tail else "")
        return text, [
            Fault(
                f"{where}:{line}", value=shown[:40], rule="is not UTF-8; the file was read as Latin-1",
                hint="check accented letters, or save it as UTF-8", kind="warning",
            )
        ]  # fmt: skip


def read_delimited(path: Path) -> Grid:
    """Open a text table.

    Parameters
    ----------
    path : Path
        The file; its name in every fault is the path as given.

    Returns
    -------
    Grid
        Its ``rows`` are parsed while they are asked for. A file that holds no table has an empty header and a fault.

    Raises
    ------
    OSError
        The file cannot be read.
    """
    grid = Grid(str(path), path.parent)
    text, faults = decode(path.read_bytes(), grid.where)
    grid.faults += faults
    if text is None:
        return grid
    head, skipped = _heading(text)
    if head is None:
        grid.faults.append(Fault(grid.where, rule="holds no table: the first line must name the columns"))
        return grid
    delimiter = _delimiter(head)
    lines = _records(text, delimiter, grid, skipped)
    try:
        grid.header_line, names = next(lines)
    except StopIteration:
        return grid
    grid.header = tuple(names)
    first = list(islice(lines, BLOCK_ROWS))
    grid.comma = _decimal_comma(first)
    grid.rows = chain(first, lines)
    return grid


def _heading(text: str) -> tuple[str | None, int]:
    """The first line that is neither blank nor a note, and how many lines stand before it."""
    for number, line in enumerate(io.StringIO(text)):
        stripped = line.strip()
        if stripped and not stripped.startswith(("#", "sep=")):
            return stripped, number
    return None, 0


def _delimiter(head: str) -> str:
    """The delimiter that splits the header into most names, a blank if none does; text in quotes does not count."""
    bare = re.sub(r'"[^"]*"', "", head)
    best = max(_DELIMITERS, key=bare.count)
    return best if best in bare or " " not in bare.strip() else " "


def _records(text: str, delimiter: str, grid: Grid, skipped: int) -> Iterator[Row]:
    """Line number and stripped cells of every row that is not blank and no note."""
    stream = io.StringIO(text, newline="")
    for _ in range(skipped):
        stream.readline()
    reader = csv.reader(stream, delimiter=delimiter, strict=True, skipinitialspace=delimiter == " ")
    line = skipped + 1
    try:
        for cells in reader:
            stripped = tuple([cell.strip() for cell in cells])
            if delimiter == " ":
                stripped = tuple([cell for cell in stripped if cell])
            if any(stripped) and not stripped[0].startswith("#"):
                yield line, stripped
            line = skipped + reader.line_num + 1
    except csv.Error as error:
        reason = "a quotation mark is not closed" if "unexpected end" in str(error) else str(error)
        rule = f"cannot be split into columns: {reason}; this line and all below it were not read"
        grid.faults.append(Fault(grid.at(line), rule=rule, hint='write a quotation mark inside quotes twice: ""'))


def _decimal_comma(rows: list[Row]) -> bool:
    """Whether more numbers of these rows have a decimal comma than a point."""
    commas = sum(1 for _, cells in rows for cell in cells if "," in cell and _COMMA.fullmatch(cell))
    if not commas:
        return False
    return commas >= sum(1 for _, cells in rows for cell in cells if "." in cell and _POINT.fullmatch(cell))
