"""Text tables as people's programs save them: any of comma, semicolon or tab; decimal point or comma; UTF-8 or not.

What is guessed is guessed from the whole first block and said aloud. Lines that start with ``#`` and blank lines are
passed over, wherever they stand.
"""

import csv
import io
import re
from collections.abc import Iterator, Sequence
from itertools import islice
from pathlib import Path

from propmatch.faults import Fault
from propmatch_plugins.reading.grid import Grid, Row

__all__ = ["SUFFIXES", "decode", "grid_of", "read_delimited"]

SUFFIXES = (".csv", ".tsv", ".txt")

_DELIMITERS = "\t;|,"
_LOOKED_AT = 50
_RULED = re.compile(r"(:?-{3,}:?)?")
"""What stands under the headings where a table is drawn with strokes."""


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
    """Open a text table, as :func:`grid_of`; its name in every fault is the path as given.

    Raises
    ------
    OSError
        The file cannot be read.
    """
    return grid_of(path.read_bytes(), str(path), path.parent)


def grid_of(raw: bytes, where: str, folder: Path) -> Grid:
    """The table that a text holds.

    Parameters
    ----------
    raw : bytes
    where : str
        Its name in every fault.
    folder : Path
        Where files that its rows name are looked for.

    Returns
    -------
    Grid
        Its ``rows`` are parsed while they are asked for. A text that holds no table has an empty header and a fault.
    """
    grid = Grid(where, folder)
    text, faults = decode(raw, grid.where)
    grid.faults += faults
    if text is None:
        return grid
    head, skipped = _heading(text)
    if head is None:
        grid.faults.append(Fault(grid.where, rule="holds no table: the first line must name the columns"))
        return grid
    delimiter = _delimiter(text, head, skipped)
    lines = _records(text, delimiter, grid, skipped)
    try:
        grid.header_line, names = next(lines)
    except StopIteration:
        return grid
    grid.header = tuple(names)
    grid.rows = _filled(lines, len(names)) if delimiter == "\t" else lines
    return grid.look()


def _filled(rows: Iterator[Row], width: int) -> Iterator[Row]:
    """Rows whose last cells are empty and were not copied, filled up to the header."""
    for line, cells in rows:
        yield line, (*cells, *[""] * (width - len(cells)))


def _heading(text: str) -> tuple[str | None, int]:
    """The first line that is neither blank nor a note, and how many lines stand before it."""
    for number, line in enumerate(io.StringIO(text)):
        stripped = line.strip()
        if stripped and not stripped.startswith("sep=") and not _is_note(re.split(r"[,;\t|]", stripped)):
            return stripped, number
    return None, 0


def _is_note(cells: Sequence[str]) -> bool:
    """Whether a line is a note: it begins with ``#``, and that is not the heading of numbered rows."""
    return cells[0].startswith("#") and (cells[0].strip() != "#" or not any(cells[1:]))


def _delimiter(text: str, head: str, skipped: int) -> str:
    """The delimiter that splits the first lines into as many fields as the header; of equals a tab before ``;|,``.

    A blank where none of these stands in the header at all.
    """
    bare = re.sub(r'"[^"]*"', "", head)
    there = [sign for sign in _DELIMITERS if sign in bare]
    if len(there) < 2:
        return there[0] if there else " " if " " in bare.strip() else ","
    few = list(islice(io.StringIO(text, newline=""), skipped, skipped + _LOOKED_AT))

    def fits(sign: str) -> float:
        try:
            rows = [row for row in csv.reader(few, delimiter=sign) if any(cell.strip() for cell in row)]
        except csv.Error:
            return 0.0
        return sum(len(row) == len(rows[0]) for row in rows[1:]) / max(1, len(rows) - 1)

    return max(there, key=lambda sign: (round(fits(sign), 1), -_DELIMITERS.index(sign)))


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
            if any(stripped) and not _is_note(stripped) and not all(_RULED.fullmatch(cell) for cell in stripped):
                yield line, stripped
            line = skipped + reader.line_num + 1
    except csv.Error as error:
        reason = "a quotation mark is not closed" if "unexpected end" in str(error) else str(error)
        rule = f"cannot be split into columns: {reason}; this line and all below it were not read"
        grid.faults.append(Fault(grid.at(line), rule=rule, hint='write a quotation mark inside quotes twice: ""'))
