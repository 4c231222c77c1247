"""A table as found in a file, before anybody knows what its columns mean."""

from collections.abc import Iterator, Sequence
from itertools import chain, islice
from pathlib import Path
from typing import Any

import attrs

from propmatch.faults import Fault
from propmatch.records.written import amount, marks_shown

__all__ = ["BLOCK_ROWS", "LOOKED_AT", "Grid", "Row", "blocks", "titles"]

BLOCK_ROWS, MOST_ROWS = 4096, 300_000
"""Rows that are held at a time, and that are read of one table; memory does not grow with the file."""

MOST_TITLES = 3
"""Rows of a single filled cell, such as a title, that may stand above the headings."""
LOOKED_AT = MOST_TITLES + 1

MOST_FAULTY = 2000
"""Faulty rows that are told whatever their share; beyond them a table most of which is faulty is given up."""

Row = tuple[int, tuple[Any, ...]]
"""Line (or sheet row) and its cells."""


@attrs.define
class Grid:
    """One table.

    Attributes
    ----------
    where : str
        File, or file:sheet.
    folder : Path
        Where the file stands; a row may name other files beside it.
    header : tuple of str
        Column names as written, stripped.
    header_line : int
    rows : iterator of (line, cells)
        Rows that are not blank, read while they are asked for. Cells are stripped text; a workbook's may be numbers,
        true or false, dates.
    marks : set of str
        The decimal marks, ``.`` and ``,``, that numbers in text of the first block show.
    first : list of (line, cells)
        The first block again, to look at.
    faults : list of Fault
        Filled while the rows are read: warnings about the file, and faults for which rows could not be read at all.
    faulty : int
        Rows with faults so far, as whoever reads them counts.
    """

    where: str
    folder: Path
    header: tuple[str, ...] = ()
    header_line: int = 1
    rows: Iterator[Row] = attrs.field(factory=lambda: iter(()))
    marks: set[str] = attrs.field(factory=set)
    first: list[Row] = attrs.field(factory=list)
    faults: list[Fault] = attrs.field(factory=list)
    faulty: int = 0

    @property
    def mark(self) -> str:
        """The decimal mark where the numbers show one and no other, else empty."""
        return next(iter(self.marks)) if len(self.marks) == 1 else ""

    @property
    def mark_or_point(self) -> str:
        """The decimal mark; a point where the numbers show none and none of them has a comma."""
        if self.marks:
            return self.mark
        commas = (cell for _, cells in self.first for cell in cells if isinstance(cell, str) and "," in cell)
        return "" if any(amount(cell) for cell in commas) else "."

    def look(self) -> "Grid":
        """Look at the first block before it is read."""
        self.first = list(islice(self.rows, BLOCK_ROWS))
        self.marks = marks_shown(cell for _, cells in self.first for cell in cells if isinstance(cell, str))
        self.rows = chain(self.first, self.rows)
        if _filled(self.header) == 1 and any(_filled(cells) > 1 for _, cells in self.first):
            rule, hint = f"line {self.header_line} has one filled cell", "are the headings further down?"
            self.faults.append(Fault(self.at(self.header_line), rule=rule, hint=hint, kind="warning"))
        return self

    def leave(self) -> None:
        """Read no further: a file that rows are left in is closed as soon as nobody holds them."""
        self.rows = iter(())

    def at(self, line: int) -> str:
        """``file:line`` of a row."""
        return f"{self.where}:{line}"


def _filled(cells: Sequence[Any]) -> int:
    return sum(cell not in (None, "") for cell in cells)


def titles(rows: Sequence[Sequence[Any]]) -> int:
    """How many of the first rows, none blank, stand above the headings: those of one filled cell.

    None where the row below has no words alone, and so cannot be the headings.
    """
    above = next((at for at, cells in enumerate(rows) if _filled(cells) > 1), 0)
    heads = rows[above] if above else ()
    return 0 if any(not isinstance(cell, str) or cell[:1].isdigit() for cell in heads) else above


def blocks(grid: Grid) -> Iterator[list[Row]]:
    """The rows in blocks of ``BLOCK_ROWS``, no more than ``MOST_ROWS`` and none below a great many faulty ones."""
    rows, read = islice(grid.rows, MOST_ROWS), 0
    try:
        while block := list(islice(rows, BLOCK_ROWS)):
            yield block
            read += len(block)
            if grid.faulty > max(MOST_FAULTY, read // 2) and (below := next(rows, None)):
                rule = f"{grid.faulty:,} of {read:,} rows above have faults; this one and all below it were not read"
                grid.faults.append(Fault(grid.at(below[0]), rule=rule, hint="mend the first of them and read it again"))
                return
        if more := next(grid.rows, None):
            rule = f"has more than {MOST_ROWS:,} rows; this one and all below it were not read"
            grid.faults.append(Fault(grid.at(more[0]), rule=rule, hint="split the table"))
    finally:
        grid.leave()
