"""The build sheet as a PDF: the same sections and charts, laid out on A4 by matplotlib alone."""

import io
import textwrap
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import attrs

from propmatch.files import write_file
from propmatch.sheet.case import Section, Sheet
from propmatch.sheet.picture import Picture, Table, need

__all__ = ["save_pdf"]

_PAGE = (210 / 25.4, 297 / 25.4)
_MARGIN = 15 / 25.4
_WIDTH = _PAGE[0] - 2 * _MARGIN
_ROOM = _PAGE[1] - 2 * _MARGIN
_COLUMNS, _TABLE_COLUMNS = 104, 122


@attrs.frozen
class _Block:
    """Something of a known height; ``draw(figure, top_in)`` puts it on a page.

    ``kept`` blocks stay on one page with the next.
    """

    height_in: float
    draw: Callable[[Any, float], None]
    kept: bool = False


def save_pdf(sheet: Sheet, path: str | Path) -> Path:
    """Write the sheet; the same bytes for the same sheet.

    Raises
    ------
    InputFaults
        matplotlib is not installed.
    """
    need("matplotlib")
    from matplotlib import rc_context
    from matplotlib.backends.backend_pdf import PdfPages
    from matplotlib.figure import Figure

    from propmatch.sheet.style import SETTINGS

    meta = {"CreationDate": None, "Title": sheet.title, "Creator": "propmatch", "Producer": None}
    with rc_context(SETTINGS), PdfPages(out := io.BytesIO(), metadata=meta) as pages:
        for at, blocks in enumerate(_pages(list(_blocks(sheet))), start=1):
            figure = Figure(figsize=_PAGE, layout="constrained")
            top = _PAGE[1] - _MARGIN
            for block in blocks:
                block.draw(figure, top)
                top -= block.height_in
            _write(figure, f"{sheet.title}, page {at}", _MARGIN - 0.25, size=7.5)
            pages.savefig(figure)
    return write_file(path, out.getvalue())


def _pages(blocks: list[_Block]) -> list[list[_Block]]:
    pages: list[list[_Block]] = [[]]
    room = _ROOM
    for at, block in enumerate(blocks):
        together = block.height_in
        for last, after in zip(blocks[at:], blocks[at + 1 :], strict=False):
            if not last.kept:
                break
            together += after.height_in
        if (together if together < _ROOM else block.height_in) > room and pages[-1]:
            pages.append([])
            room = _ROOM
        pages[-1].append(block)
        room -= block.height_in
    return pages


def _blocks(sheet: Sheet) -> Iterator[_Block]:
    yield _line(sheet.title, size=17, weight="bold", height=0.42)
    for text in sheet.lead:
        yield from _paragraph(text)
    for section in sheet.sections:
        yield from _section(section)


def _section(section: Section) -> Iterator[_Block]:
    yield _line("", height=0.12)
    yield attrs.evolve(_line(section.title, size=12.5, weight="bold", height=0.32), kept=True)
    words = [block for text in section.text for block in _paragraph(text)]
    words += [block for point in section.points for block in _paragraph(point, first="• ", rest="  ")]
    yield from (attrs.evolve(block, kept=bool(section.pictures) and len(words) < 14) for block in words)
    for picture in section.pictures:
        yield _chart(picture)
        yield from _paragraph(picture.summary, size=8)
    for table in section.tables:
        yield from _table(table)


def _write(figure: Any, text: str, bottom_in: float, *, size: float = 9, **look: Any) -> None:
    figure.text(_MARGIN / _PAGE[0], bottom_in / _PAGE[1], text, fontsize=size, va="bottom", **look)


def _line(text: str, *, size: float = 9, height: float = 0.17, **look: Any) -> _Block:
    return _Block(height, lambda figure, top: _write(figure, text, top - height + 0.03, size=size, **look))


def _paragraph(text: str, *, size: float = 9, first: str = "", rest: str = "") -> Iterator[_Block]:
    columns = int(_COLUMNS * 9 / size)
    for line in textwrap.wrap(text, columns, initial_indent=first, subsequent_indent=rest):
        yield _line(line, size=size, height=0.0189 * size)
    yield _line("", height=0.05)


def _chart(picture: Picture) -> _Block:
    scale = min(0.88, (_WIDTH - 1.0) / picture.width_in)
    wide, high = scale * picture.width_in, min(scale * picture.height_in, _ROOM - 0.6)

    def draw(figure: Any, top: float) -> None:
        _write(figure, picture.title, top - 0.2, size=9.5, weight="bold")
        above = _PAGE[1] - top + 0.28
        grid = figure.add_gridspec(3, 3, height_ratios=(above, high, _PAGE[1] - above - high),
                                   width_ratios=(_MARGIN, wide, _PAGE[0] - _MARGIN - wide))  # fmt: skip
        picture.draw(figure.add_subfigure(grid[1, 1]))

    return _Block(high + 0.36, draw, kept=True)


def _table(table: Table) -> Iterator[_Block]:
    """Rows in columns of fixed width, long cells wrapped."""
    if table.caption:
        yield attrs.evolve(_line(table.caption, size=8.5, style="italic", height=0.2), kept=True)
    longest = [max([len(head), *(len(row[i]) for row in table.rows)]) for i, head in enumerate(table.heads)]
    spare = _TABLE_COLUMNS - 2 * (len(longest) - 1)
    widths = [min(length, max(10, spare // len(longest))) for length in longest]
    for i in sorted(range(len(longest)), key=lambda i: longest[i]):
        widths[i] = min(longest[i], max(widths[i], spare - sum(widths) + widths[i]))
    for at, row in enumerate((table.heads, *table.rows)):
        cells = [textwrap.wrap(cell, width) or [""] for cell, width in zip(row, widths, strict=True)]
        for line in range(max(map(len, cells))):
            text = "  ".join((cell[line] if line < len(cell) else "").ljust(width)
                             for cell, width in zip(cells, widths, strict=True))  # fmt: skip
            yield _line(text.rstrip(), size=6.6, height=0.135, family="monospace",
                        weight="bold" if at == 0 else "normal")  # fmt: skip
    yield _line("", height=0.1)
