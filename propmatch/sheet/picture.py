"""A chart as a thing: what it shows in words and numbers, how it is drawn, and the files it can become.

Drawn with matplotlib's ``Figure`` alone, so that nothing is shared between charts or threads. The SVG is the same byte
for byte each time, keeps its text as text, and carries a title and a description for screen readers.
"""

import io
import re
from collections.abc import Callable, Mapping, Sequence
from html import escape
from pathlib import Path
from threading import RLock
from typing import Any

import attrs

from propmatch.faults import Fault, InputFaults
from propmatch.files import write_file
from propmatch.sheet.plainsvg import PlainFigure
from propmatch.sheet.style import COLUMN_IN, SETTINGS
from propmatch.tablehtml import table_html

__all__ = ["Picture", "Table", "has", "need"]

FORMATS = (".svg", ".png", ".pdf")
_ALONE = RLock()
"""Settings of matplotlib hold for every thread, so charts are drawn one after the other."""


def has(module: str) -> bool:
    """Whether a library is installed."""
    from importlib.util import find_spec

    return find_spec(module) is not None


def need(module: str, extra: str = "report") -> None:
    """Raise ``InputFaults`` that names what to install where a library is missing."""
    if not has(module):
        hint = f'pip install "propmatch[{extra}]"'
        raise InputFaults([Fault(extra, rule=f"needs {module}, which is not installed", hint=hint)])


@attrs.frozen(kw_only=True)
class Table:
    """Numbers as text: heads with units, and rows; the first column names the row.

    Attributes
    ----------
    heads : tuple of str
    rows : tuple of tuples of str
    caption : str
    """

    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    caption: str = ""

    @classmethod
    def of(cls, rows: Sequence[Mapping[str, Any]], caption: str = "") -> "Table":
        """From mappings of head to text; the first one gives the heads."""
        heads = tuple(rows[0]) if rows else ()
        return cls(heads=heads, rows=tuple(tuple(str(row[h]) for h in heads) for row in rows), caption=caption)

    def _repr_html_(self) -> str:
        return table_html(self.heads, self.rows, caption=self.caption)


@attrs.frozen(kw_only=True, eq=False)
class Picture:
    """One chart.

    Attributes
    ----------
    name : str
        Short and unique within a page; letters and hyphens.
    title : str
    summary : str
        What the chart says, in sentences: its text alternative.
    table : Table
        The numbers behind it.
    width_in, height_in : float
        As printed, without a key above the axes.
    draw : callable
        Draws into a matplotlib figure.
    plain : bool
        Whether it draws without axes, so that :class:`propmatch.sheet.plainsvg.PlainFigure` does as well.
    """

    name: str
    title: str
    summary: str
    table: Table
    draw: Callable[[Any], None]
    width_in: float = COLUMN_IN
    height_in: float = 2.5
    plain: bool = False

    def figure(self) -> Any:
        """A matplotlib ``Figure`` with the chart on it."""
        need("matplotlib")
        from matplotlib import rc_context
        from matplotlib.figure import Figure

        with _ALONE, rc_context(SETTINGS):
            figure = Figure(figsize=(self.width_in, self.height_in), layout="constrained")
            self.draw(figure)
        return figure

    def _bytes(self, form: str, **options: Any) -> bytes:
        from matplotlib import rc_context

        figure = self.figure()
        out = io.BytesIO()
        with _ALONE, rc_context({**SETTINGS, "svg.hashsalt": self.name}):
            if figure.axes:
                figure.get_layout_engine().execute(figure)
            figure.set_layout_engine("none")  # else it is drawn once more, unseen, before it is laid out again
            if form == "svg":  # what is laid out need not be drawn unseen before it is written
                from matplotlib.backends.backend_svg import FigureCanvasSVG

                canvas: Any = FigureCanvasSVG(figure)
                canvas.print_svg(out, **options)
            else:
                figure.savefig(out, format=form, **options)
        return out.getvalue()

    def svg(self) -> str:
        """An ``<svg>`` element to stand in a page, labelled for screen readers."""
        if self.plain and not has("matplotlib"):
            plain = PlainFigure(self.width_in * 72, self.height_in * 72)
            self.draw(plain)
            return _labelled(plain.svg(), self.name, self.title, self.summary)
        text = self._bytes("svg", metadata={"Date": None, "Creator": None, "Format": None, "Type": None}).decode()
        return _labelled(text, self.name, self.title, self.summary)

    def save(self, path: str | Path, *, force: bool = True) -> Path:
        """Write ``.svg``, ``.png`` or ``.pdf``, by the name's ending.

        Raises
        ------
        InputFaults
            Another ending, or no matplotlib.
        OSError
            It cannot be written, or is there and ``force`` is off.
        """
        form = Path(path).suffix.lower()
        if form not in FORMATS:
            raise InputFaults([Fault("--plot", value=str(path), rule=f"must end in {', '.join(FORMATS)}")])
        return write_file(path, self.content(form), force=force)

    def content(self, form: str) -> bytes:
        """What stands in a file of that ending."""
        if form == ".svg":
            return ('<?xml version="1.0" encoding="utf-8"?>\n' + self.svg() + "\n").encode()
        options = {"dpi": 200, "metadata": {"Software": None}} if form == ".png" else {"metadata": _NO_DATE}
        return self._bytes(form[1:], **options)

    def _repr_html_(self) -> str:
        table = table_html(self.table.heads, self.table.rows)
        return f"<figure>{self.svg()}<figcaption>{escape(self.summary)}</figcaption></figure>{table}"


_NO_DATE = {"CreationDate": None, "Producer": None, "Creator": None}


def _labelled(text: str, name: str, title: str, summary: str) -> str:
    """The ``<svg>`` element of a drawing without its preamble, with ids of its own, a title and a description.

    Nothing in it has a style of its own, so it may stand where inline styles are forbidden.
    """
    text = text[text.index("<svg") :].strip()
    for unwanted in (r"<metadata>.*?</metadata>\s*", r"<defs>\s*<style.*?</style>\s*</defs>\s*", r"<!--.*?-->\s*"):
        text = re.sub(unwanted, "", text, flags=re.DOTALL)
    used = set(re.findall(r'(?:xlink:href="|href="|url\()#([\w.:-]+)', text))
    text = re.sub(r"<[^<>]+>", lambda tag: _tidy(tag[0], name, used), text)
    head, body = text.split(">", 1)
    size = re.search(r'width="[\d.]+pt" height="[\d.]+pt" viewBox="[^"]*"', head)
    assert size is not None
    start = (
        f'<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" {size[0]} role="img" '
        f'aria-labelledby="{name}-title {name}-desc" class="chart" stroke-linejoin="round">'
    )
    words = f'<title id="{name}-title">{escape(title)}</title><desc id="{name}-desc">{escape(summary)}</desc>'
    return f"{start}\n{words}{body}"


def _tidy(tag: str, name: str, used: set[str]) -> str:
    """A tag with an id of its own, made a class where nothing refers to it, styles as attributes, short numbers."""
    tag = re.sub(r' id="([\w.:-]+)"', lambda m: _known(m[1], name, used), tag)
    tag = re.sub(r'((?:xlink:href="|href="|url\()#)', rf"\g<1>{name}-", tag)
    tag = re.sub(r' transform="rotate\(-0 [^"]*"', "", tag)
    tag = re.sub(r' style="([^"]*)"', lambda m: _attributes(m[1]), tag)
    return re.sub(r"\d+\.\d{3,}", lambda m: f"{float(m[0]):.2f}", tag)


def _known(mark: str, name: str, used: set[str]) -> str:
    if mark in used:
        return f' id="{name}-{mark}"'
    return "" if re.search(r"_\d+$", mark) else f' class="{mark}"'


def _attributes(style: str) -> str:
    """The declarations of a style as attributes; the writer's own list of fonts gives way to the page's."""
    style = re.sub(r"font: ([\d.]+px) ", r"font-size: \1; font-family: ", style)
    pairs = [each.split(": ", 1) for each in style.split("; ")]
    return "".join(f' {key}="{value}"' for key, value in pairs if key != "font-family")
