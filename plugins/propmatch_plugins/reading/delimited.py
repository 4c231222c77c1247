"""Text tables as people's programs save them: any of comma, semicolon or tab; decimal point or comma; UTF-8 or not.

What is guessed is guessed from the whole first block and said aloud. Notes and blank lines are passed over, wherever
they stand. A note begins with ``#``; a row whose name does is one with as many fields as the heading.
"""

import codecs
import csv
import io
import re
from collections.abc import Callable, Iterator, Sequence
from itertools import count, islice
from pathlib import Path
from typing import BinaryIO

from propmatch.faults import Fault
from propmatch_plugins.reading.grid import LOOKED_AT, Grid, Row, titles

__all__ = ["SUFFIXES", "decode", "grid_of", "read_delimited"]

SUFFIXES = (".csv", ".tsv", ".txt")

_DELIMITERS = "\t;|,"
_LOOKED_AT = 50
_PIECE, _LONGEST_LINE = 1 << 20, 1_000_000
_RULED = re.compile(r"(:?-{3,}:?)?")
"""What stands under the headings where a table is drawn with strokes."""


def decode(raw: bytes, where: str) -> tuple[str | None, list[Fault]]:
    """Text of a file, by :func:`_encoding`; None means no text at all."""
    encoding, faults = _encoding(io.BytesIO(raw), where)
    return encoding and raw.decode(encoding, errors="replace"), faults


def _encoding(file: BinaryIO, where: str) -> tuple[str | None, list[Fault]]:
    """How a file is written: UTF-8 with or without byte-order mark, UTF-16 with one, else Latin-1 with a warning.

    Latin-1 stands for Windows-1252, its superset that programs write under this name. None means no text at all.
    """
    decoder = codecs.getincrementaldecoder("utf-8")()
    found, faults, lines = "utf-8-sig", list[Fault](), 1
    for at, piece in enumerate(iter(lambda: file.read(_PIECE), b"")):
        if not at and piece.startswith((b"\xff\xfe", b"\xfe\xff")):
            return "utf-16", []
        if b"\0" in piece:
            rule = "is not a text table"
            hint = "save it as CSV, or as a workbook with the ending .xlsx or .ods"
            return None, [Fault(where, rule=rule, hint=hint)]
        if not faults:
            held = decoder.getstate()[0]
            try:
                decoder.decode(piece)
            except UnicodeDecodeError as error:
                found, faults = "cp1252", [_not_utf_8(held + piece, error.start, lines, where)]
        lines += piece.count(b"\n")
    try:
        decoder.decode(b"", final=not faults)
    except UnicodeDecodeError:
        found, faults = "cp1252", [_not_utf_8(decoder.getstate()[0], 0, lines, where)]
    return found, faults


def _not_utf_8(raw: bytes, at: int, line: int, where: str) -> Fault:
    """A warning with the word around the byte that is no UTF-8."""
    word = re.search(r"\S*$", raw[max(0, at - 100) : at].decode("cp1252", errors="replace"))
    tail = re.match(r"\S*", raw[at : at + 100].decode("cp1252", errors="replace"))
    shown = (word.group() if word else "") + (tail.group() if tail else "")
    place = f"{where}:{line + raw.count(10, 0, at)}"
    rule, hint = "is not UTF-8; the file was read as Latin-1", "check accented letters, or save it as UTF-8"
    return Fault(place, value=shown[:40], rule=rule, hint=hint, kind="warning")


def read_delimited(path: Path) -> Grid:
    """Open a text table, as :func:`grid_of`; its name in every fault is the path as given.

    Raises
    ------
    OSError
        The file cannot be read.
    """
    return _grid(lambda: path.open("rb"), str(path), path.parent)


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
    return _grid(lambda: io.BytesIO(raw), where, folder)


def _grid(opened: Callable[[], BinaryIO], where: str, folder: Path) -> Grid:
    """The table of a file, which is opened anew for its encoding, its heading and its rows; none is held whole."""
    grid = Grid(where, folder)
    with opened() as file:
        encoding, faults = _encoding(file, grid.where)
    grid.faults += faults
    if encoding is None:
        return grid
    with _text(opened, encoding) as text:
        few, skipped = _beginning(text)
    if not few:
        grid.faults.append(Fault(grid.where, rule="holds no table: the first line must name the columns"))
        return grid
    above = _titles(few)
    few, skipped = few[above:], skipped + above
    delimiter = _delimiter(few)
    lines = _records(_text(opened, encoding), delimiter, grid, skipped)
    try:
        grid.header_line, names = next(lines)
    except StopIteration:
        return grid
    grid.header = tuple(names)
    grid.rows = _filled(lines, len(names)) if delimiter == "\t" else lines
    grid.look()
    if delimiter == "," and grid.marks == {","}:  # commas part the fields: those in numbers settle nothing
        grid.marks = {",", "."}
    return grid


def _text(opened: Callable[[], BinaryIO], encoding: str) -> io.TextIOWrapper:
    return io.TextIOWrapper(opened(), encoding, errors="replace", newline="")


def _lines(text: io.TextIOWrapper) -> Iterator[str]:
    """Its lines, none longer than ``_LONGEST_LINE``."""
    while line := text.readline(_LONGEST_LINE):
        if len(line) == _LONGEST_LINE:
            raise csv.Error(f"a line is longer than {_LONGEST_LINE:,} characters")
        yield line


def _filled(rows: Iterator[Row], width: int) -> Iterator[Row]:
    """Rows whose last cells are empty and were not copied, filled up to the header."""
    for line, cells in rows:
        yield line, (*cells, *[""] * (width - len(cells)))


def _beginning(text: io.TextIOWrapper) -> tuple[list[str], int]:
    """The first lines from the one that is neither blank nor a note, and how many lines stand before it."""
    for number in count():
        line = text.readline(_LONGEST_LINE)
        if not line:
            break
        stripped = line.strip()
        if stripped and not stripped.startswith("sep=") and not _is_note(re.split(r"[,;\t|]", stripped)):
            return [line, *(text.readline(_LONGEST_LINE) for _ in range(_LOOKED_AT - 1))], number
    return [], 0


def _titles(few: Sequence[str]) -> int:
    """How many of the first lines are titles above the headings, and blank lines below those."""
    filled = [at for at, line in enumerate(few) if line.strip()]
    for above in filled[1:LOOKED_AT]:
        sign = _delimiter(few[above:])
        if sign != " " and (count := titles([_split(few[at], sign) for at in filled[:LOOKED_AT]])):
            return filled[count]
    return 0


def _split(line: str, sign: str) -> list[str]:
    """Stripped cells of a line; none where a quotation mark is left open."""
    try:
        return [cell.strip() for cell in next(csv.reader([line], delimiter=sign, strict=True))]
    except csv.Error:
        return []


def _is_note(cells: Sequence[str]) -> bool:
    """Whether a line is a note: it begins with ``#``, and that is not the heading of numbered rows."""
    return cells[0].startswith("#") and (cells[0].strip() != "#" or not any(cells[1:]))


def _is_named_so(first: str, cells: Sequence[str], width: int) -> bool:
    """Whether a row begins with ``#`` because its name does: quoted, or joined to a word in a row of full width."""
    joined = cells[0][1:2].strip(" #") != "" and len(cells) == width > 1
    return first.lstrip().startswith('"') or (joined and any(re.search(r"\d", cell) for cell in cells[1:]))


def _delimiter(few: Sequence[str]) -> str:
    """The delimiter that splits the first lines into as many fields as the header; of equals a tab before ``;|,``.

    A blank where none of these stands in the header at all.
    """
    bare = re.sub(r'"[^"]*"', "", few[0].strip())
    there = [sign for sign in _DELIMITERS if sign in bare]
    if len(there) < 2:
        return there[0] if there else " " if " " in bare.strip() else ","

    def fits(sign: str) -> float:
        try:
            rows = [row for row in csv.reader(few, delimiter=sign) if any(cell.strip() for cell in row)]
        except csv.Error:
            return 0.0
        return sum(len(row) == len(rows[0]) for row in rows[1:]) / max(1, len(rows) - 1)

    return max(there, key=lambda sign: (round(fits(sign), 1), -_DELIMITERS.index(sign)))


def _records(text: io.TextIOWrapper, delimiter: str, grid: Grid, skipped: int) -> Iterator[Row]:
    """Line number and stripped cells of every row that is not blank and no note."""
    pulled: list[str] = []
    lines = (pulled.append(each) or each for each in islice(_lines(text), skipped, None))  # type: ignore[func-returns-value]
    reader = csv.reader(lines, delimiter=delimiter, strict=True, skipinitialspace=delimiter == " ")
    line, told = skipped + 1, False
    try:
        for cells in reader:
            stripped = tuple([cell.strip() for cell in cells])
            if delimiter == " ":
                stripped = tuple([cell for cell in stripped if cell])
            note = bool(stripped) and _is_note(stripped) and not _is_named_so(pulled[0], stripped, len(grid.header))
            if any(stripped) and not note and not all(_RULED.fullmatch(cell) for cell in stripped):
                if not told and stripped[0].startswith("#") and grid.header and not pulled[0].startswith('"'):
                    told = True
                    rule, hint = "is read as a row whose name begins with #", "begin a note with # and a blank"
                    grid.faults.append(Fault(grid.at(line), value=stripped[0], rule=rule, hint=hint, kind="note"))
                yield line, stripped
            pulled.clear()
            line = skipped + reader.line_num + 1
    except csv.Error as error:
        reason = "a quotation mark is not closed" if "unexpected end" in str(error) else str(error)
        rule = f"cannot be split into columns: {reason}; this line and all below it were not read"
        hint = "" if "longer" in reason else 'write a quotation mark inside quotes twice: ""'
        grid.faults.append(Fault(grid.at(line), rule=rule, hint=hint))
    finally:
        text.close()
