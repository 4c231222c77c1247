"""A program of its own that reads one workbook and answers its cells: what it takes, or breaks, it alone takes.

``python workbookchild.py FILE`` writes a pickled pair to standard output: sheets, each a name and its numbered rows,
and empty words; or no sheets, and why. Before any cell is read the extent of every sheet is counted in its XML, piece
by piece, and the memory of this process is limited where the system can. Cells that hold an error or a formula that
was never calculated are answered as written, ``#N/A`` and ``=A1*2``, because the reader of cells leaves them empty.
"""

import pickle
import re
import sys
import zipfile
from collections.abc import Callable, Iterator
from typing import Any
from xml.etree import ElementTree
from xml.parsers import expat

MOST_CELLS, MOST_BYTES, MOST_UNPACKED = 2_000_000, 64 << 20, 512 << 20
MOST_MEMORY, MOST_SECONDS = 1 << 30, 120
_PIECE = 1 << 18
Marked = dict[tuple[int, int], str]
"""Row and column, from 1, of a cell without a value to what is written in it."""


class TooLarge(Exception):
    """Why a workbook is not read."""


class Extent:
    """The rectangle that the filled cells of a sheet take."""

    def __init__(self, name: str) -> None:
        self.name, self.marked = name, Marked()
        self.low, self.high = [1 << 40, 1 << 40], [0, 0]

    def add(self, row: int, column: int, rows: int = 1, columns: int = 1) -> None:
        """Take in a filled cell, or as many as it is repeated."""
        self.low = [min(self.low[0], row), min(self.low[1], column)]
        self.high = [max(self.high[0], row + rows - 1), max(self.high[1], column + columns - 1)]
        if self.high[0] * self.high[1] > MOST_CELLS:
            rule = f"sheet '{self.name}' reaches to row {self.high[0]:,}, column {self.high[1]:,}"
            raise TooLarge(f"{rule}: more than {MOST_CELLS:,} cells")


def scan(file: Any, start: Callable[..., None], end: Callable[..., None], text: Callable[[str], None]) -> None:
    """Tell the beginning, end and text of the elements of an XML file, without the prefixes of their names."""
    parser = expat.ParserCreate()
    parser.buffer_text = True
    parser.StartElementHandler = lambda name, given: start(name.rpartition(":")[2], given)
    parser.EndElementHandler = lambda name: end(name.rpartition(":")[2])
    parser.CharacterDataHandler = text
    while piece := file.read(_PIECE):
        parser.Parse(piece)
    parser.Parse(b"", True)


class OfficeSheet(Extent):
    """A sheet of an .xlsx file."""

    def read(self, file: Any) -> "OfficeSheet":
        self.row = self.column = 0
        self.kind, self.inside, self.said = "", "", dict[str, str]()
        scan(file, self._start, self._end, self._text)
        return self

    def _start(self, name: str, given: dict[str, str]) -> None:
        if name == "row":
            self.row, self.column = int(given.get("r", self.row + 1)), 0
        elif name == "c":
            self.column += 1
            if found := re.fullmatch(r"\$?([A-Za-z]{1,7})\$?(\d{1,10})", given.get("r", "")):
                self.row, self.column = int(found[2]), column_number(found[1])
            self.kind, self.said = given.get("t", ""), {}
        elif name in ("f", "v", "is"):
            self.inside, self.said[name] = name, ""

    def _text(self, text: str) -> None:
        if self.inside in ("f", "v"):
            self.said[self.inside] += text[:100]

    def _end(self, name: str) -> None:
        if name in ("f", "v", "is"):
            self.inside = ""
        if name != "c" or not self.said:
            return
        value, formula = self.said.get("v"), self.said.get("f")
        if self.kind == "e":
            self.marked[self.row, self.column] = value or "#VALUE!"
        elif formula is not None and not value and self.kind not in ("str", "inlineStr"):
            self.marked[self.row, self.column] = f"={formula}"
        self.add(self.row, self.column)


def column_number(letters: str) -> int:
    """``A`` is 1, ``AA`` is 27."""
    number = 0
    for letter in letters.upper():
        number = 26 * number + ord(letter) - 64
    return number


def office_sheets(book: zipfile.ZipFile) -> Iterator[Extent]:
    """The sheets of an .xlsx file; a part that no sheet is named for is counted too."""

    def parts(member: str, element: str) -> list[dict[str, str]]:
        found = ElementTree.fromstring(book.read(member)).iter() if member in book.namelist() else ()
        return [{key.rpartition("}")[2]: value for key, value in each.attrib.items()}
                for each in found if each.tag.rpartition("}")[2] == element]  # fmt: skip

    target = {each["Id"]: each["Target"] for each in parts("xl/_rels/workbook.xml.rels", "Relationship")}
    names: dict[str, str] = {}
    for each in parts("xl/workbook.xml", "sheet"):
        place = target.get(each.get("id", ""), "")
        names[place[1:] if place.startswith("/") else f"xl/{place}"] = each.get("name", "")
    for member in book.namelist():
        if member in names or re.fullmatch(r"xl/worksheets/[^/]*\.xml", member):
            with book.open(member) as file:
                yield OfficeSheet(names.get(member, member)).read(file)


class OpenSheets:
    """The sheets of an .ods file, whose rows and cells say how often they are repeated."""

    def __init__(self) -> None:
        self.sheets: list[Extent] = []
        self.row, self.rows, self.column, self.columns = 0, 1, 0, 1
        self.given: dict[str, str] = {}
        self.shown, self.depth = "", 0

    def start(self, name: str, given: dict[str, str]) -> None:
        plain = {key.rpartition(":")[2]: value for key, value in given.items()}
        if name == "table":
            self.sheets.append(Extent(plain.get("name", "")))
            self.row, self.rows = 1, 0
        elif name == "table-row":
            self.row, self.rows = self.row + self.rows, int(plain.get("number-rows-repeated", 1))
            self.column, self.columns = 1, 0
        elif name in ("table-cell", "covered-table-cell"):
            self.column, self.columns = self.column + self.columns, int(plain.get("number-columns-repeated", 1))
            self.given, self.shown, self.depth = {**plain, "kind": given.get("calcext:value-type", "")}, "", 1

    def text(self, text: str) -> None:
        if self.depth:
            self.shown += text[:100]

    def end(self, name: str) -> None:
        if name not in ("table-cell", "covered-table-cell"):
            return
        self.depth, formula, sheet = 0, self.given.get("formula"), self.sheets[-1]
        shown, place = self.shown.strip(), (self.row, self.column)
        valued = "value-type" in self.given or bool(shown)
        if formula is not None and (self.given["kind"] == "error" or not valued):
            sheet.marked[place] = shown if shown.startswith("#") else f"={formula.partition(':=')[2] or formula}"
            valued = True
        if valued:
            sheet.add(*place, self.rows, self.columns)


def extents(path: str) -> dict[str, Extent]:
    """The sheets of a workbook that is a ZIP archive, by name; none for another, whose cells are not counted first."""
    if not zipfile.is_zipfile(path):
        return {}
    with zipfile.ZipFile(path) as book:
        if sum(each.file_size for each in book.infolist()) > MOST_UNPACKED:
            raise TooLarge(f"unpacks to more than {MOST_UNPACKED >> 20} MB")
        if "content.xml" not in book.namelist():
            return {each.name: each for each in office_sheets(book)}
        open_sheets = OpenSheets()
        with book.open("content.xml") as file:
            scan(file, open_sheets.start, open_sheets.end, open_sheets.text)
        return {each.name: each for each in open_sheets.sheets}


def numbered(rows: Iterator[list[Any]], marked: Marked) -> Iterator[tuple[int, tuple[Any, ...]]]:
    """The rows that are not blank, from 1, with what cells without a value say."""
    missing: dict[int, dict[int, str]] = {}
    for (line, column), words in marked.items():
        missing.setdefault(line, {})[column] = words
    last, width = max(missing, default=0), 0
    number = 0
    for number, row in enumerate(rows, start=1):
        width = len(row)
        cells = with_marks(row, missing.get(number, {}))
        if any(cell != "" for cell in cells):
            yield number, cells
    for beyond in range(number + 1, last + 1):
        if beyond in missing:
            yield beyond, with_marks([""] * width, missing[beyond])


def with_marks(row: list[Any], marks: dict[int, str]) -> tuple[Any, ...]:
    """Stripped cells, those that have no value as they are written."""
    cells = [cell.strip() if isinstance(cell, str) else cell for cell in row]
    cells += [""] * (max(marks, default=0) - len(cells))
    for column, words in marks.items():
        if cells[column - 1] == "":
            cells[column - 1] = words
    return tuple(cells)


def limit() -> None:
    """Bound memory and time of this process, where the system can."""
    try:
        import resource
    except ImportError:
        return
    for what, most in ((resource.RLIMIT_AS, MOST_MEMORY), (resource.RLIMIT_CPU, MOST_SECONDS)):
        _, hard = resource.getrlimit(what)
        resource.setrlimit(what, (most if hard == resource.RLIM_INFINITY else min(most, hard), hard))


def sheets(path: str) -> list[tuple[str, list[tuple[int, tuple[Any, ...]]]]]:
    """Name and numbered rows of every sheet."""
    from python_calamine import CalamineWorkbook

    counted = extents(path)
    found, cells = [], 0
    with CalamineWorkbook.from_path(path) as book:
        for name in book.sheet_names:
            sheet, extent = book.get_sheet_by_name(name), counted.get(name)
            cells += sheet.total_height * sheet.total_width
            if cells > MOST_CELLS:
                raise TooLarge(f"has more than {MOST_CELLS:,} cells")
            found.append((name, list(numbered(sheet.iter_rows(), extent.marked if extent else {}))))
    return found


def main(path: str) -> None:
    """Write what a workbook holds, or why not."""
    limit()
    try:
        answer: tuple[Any, str] = (sheets(path), "")
    except TooLarge as error:
        answer = ([], str(error))
    except MemoryError:
        answer = ([], f"needs more than {MOST_MEMORY >> 20} MB to be read")
    except Exception:
        answer = ([], "is no workbook that can be read")
    pickle.dump(answer, sys.stdout.buffer, protocol=5)


if __name__ == "__main__":
    main(sys.argv[1])
