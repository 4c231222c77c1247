"""A table as found in a file, before anybody knows what its columns mean."""

from collections.abc import Iterator
from itertools import chain, islice
from pathlib import Path
from typing import Any

import attrs

from propmatch.faults import Fault
from propmatch.records.written import marks_shown

__all__ = ["BLOCK_ROWS", "Grid", "Row", "blocks"]

BLOCK_ROWS = 4096
"""Rows that are held at a time; memory does not grow with the file."""

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
    """

    where: str
    folder: Path
    header: tuple[str, ...] = ()
    header_line: int = 1
    rows: Iterator[Row] = attrs.field(factory=lambda: iter(()))
    marks: set[str] = attrs.field(factory=set)
    first: list[Row] = attrs.field(factory=list)
    faults: list[Fault] = attrs.field(factory=list)

    @property
    def mark(self) -> str:
        """The decimal mark where the numbers show one and no other, else empty."""
        return next(iter(self.marks)) if len(self.marks) == 1 else ""

    def look(self) -> "Grid":
        """Look at the first block before it is read."""
        self.first = list(islice(self.rows, BLOCK_ROWS))
        self.marks = marks_shown(cell for _, cells in self.first for cell in cells if isinstance(cell, str))
        self.rows = chain(self.first, self.rows)
        return self

    def at(self, line: int) -> str:
        """``file:line`` of a row."""
        return f"{self.where}:{line}"


def blocks(grid: Grid) -> Iterator[list[Row]]:
    """The rows in blocks of ``BLOCK_ROWS``."""
    while block := list(islice(grid.rows, BLOCK_ROWS)):
        yield block
