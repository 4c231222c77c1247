"""``--sources``: where an answer comes from. The laws that were computed name their sources in their docstrings.

While the command runs, each function that is called is noted, once. Of those the docstrings are read, and after them
the sources of the parts that the answer names, and its assumptions that nobody published.
"""

import os
import sys
import threading
from collections.abc import Iterable, Iterator, Mapping, Sequence
from inspect import CO_NEWLOCALS
from types import CodeType, TracebackType
from typing import TYPE_CHECKING, Any

import click

from propmatch.columns import plain_data

if TYPE_CHECKING:
    from propmatch.catalogue.catalogue import Catalogue

__all__ = ["Called", "asked_for", "sources_of_answer", "sources_of_laws", "sources_option", "sources_text"]

_KEY = "propmatch.sources"
_KINDS = ("motor", "controller", "pack", "propeller")
_UNPUBLISHED = ("common practice, no published source", "value from memory", "no published source")
_MOST_NAMES = 4
"""Names of parts that share a source."""
_INSIDE = ("<genexpr>", "<listcomp>", "<setcomp>", "<dictcomp>")
"""Pieces of functions, which are noted themselves."""
Row = Mapping[str, str]


class Called:
    """Notes the functions that are called while it is entered; what is kept on disk is made again meanwhile.

    Attributes
    ----------
    codes : set of code objects
    stock : Catalogue or None
        What the command opened.
    shown : bool
        Whether an answer has named its sources.
    """

    def __init__(self) -> None:
        self.codes: set[CodeType] = set()
        self.stock: Catalogue | None = None
        self.shown = False
        self._tool: int | None = None
        self._cache: str | None = None

    def __enter__(self) -> "Called":
        from propmatch.cache import VARIABLE
        from propmatch.guide.lawbook import modules_of_laws

        modules_of_laws()  # what runs while they are imported is in no answer
        self._cache = os.environ.get(VARIABLE)
        os.environ[VARIABLE] = ""
        if sys.version_info >= (3, 12):
            self._monitor()
        else:
            threading.setprofile(self._profile)
            sys.setprofile(self._profile)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        from propmatch.cache import VARIABLE

        if sys.version_info >= (3, 12):
            if self._tool is not None:
                sys.monitoring.set_events(self._tool, 0)
                sys.monitoring.register_callback(self._tool, sys.monitoring.events.PY_START, None)
                sys.monitoring.free_tool_id(self._tool)
        else:
            sys.setprofile(None)
            threading.setprofile(None)
        if self._cache is None:
            del os.environ[VARIABLE]
        else:
            os.environ[VARIABLE] = self._cache

    def _profile(self, frame: Any, event: str, argument: Any) -> None:
        if event == "call":
            self.codes.add(frame.f_code)

    if sys.version_info >= (3, 12):

        def _monitor(self) -> None:
            """Each function is told of once, so that the rest of its calls cost nothing."""
            watch = sys.monitoring
            self._tool = next(number for number in range(6) if watch.get_tool(number) is None)
            watch.use_tool_id(self._tool, "propmatch")
            watch.register_callback(self._tool, watch.events.PY_START, self._started)
            watch.restart_events()
            watch.set_events(self._tool, watch.events.PY_START)

        def _started(self, code: CodeType, _: int) -> Any:
            self.codes.add(code)
            return sys.monitoring.DISABLE


def sources_option() -> click.Option:
    """--sources."""
    text = "The published sources that the answer used: of laws, parts and assumptions."
    return click.Option(["--sources"], is_flag=True, expose_value=False, callback=_ask, help=text)


def _ask(ctx: click.Context, _: click.Parameter, wanted: bool) -> None:
    if wanted:
        ctx.meta[_KEY] = Called()


def asked_for() -> Called | None:
    """What the running command has called, where its sources are asked for."""
    context = click.get_current_context(silent=True)
    return context.meta.get(_KEY) if context else None


def sources_of_answer(called: Called, answer: Any, assumptions: Iterable[Any] = ()) -> list[Row]:
    """Kind (law, part, cells, assumed), what it is of, and the source, in this order.

    Parameters
    ----------
    called : Called
    answer : plain data
        Rows and whatever else the JSON holds; parts are those that it names.
    assumptions : iterable of Assumption
    """
    called.shown = True
    rows = [*_laws(called.codes), *_parts(called.stock, answer), *_assumed(assumptions)]
    return list({tuple(row.values()): row for row in rows}.values())


def sources_of_laws(called: Called) -> list[Row]:
    """Those of every law that there is, for an answer that may need any."""
    from propmatch.guide.lawbook import lawful_modules, laws_of, sources_of

    called.shown = True
    found: dict[tuple[str, str], None] = {}
    for modules in lawful_modules().values():
        for module in modules:
            each = [*sources_of(module), *(source for law in laws_of(module) for source in law.sources)]
            found |= dict.fromkeys((_place(module.__name__), source) for source in each)
    return list(_rows_of(found))


def sources_text(rows: Sequence[Row]) -> list[str]:
    """The same in lines, what shares a source together."""
    from propmatch.words.shown import wrapped

    if not rows:
        return ["Sources: no law and no part was used."]
    of_each: dict[tuple[str, str], list[str]] = {}
    for row in rows:
        of_each.setdefault((row["kind"], row["of"]), []).append(row["source"])
    shared: dict[str, list[str]] = {}
    for (_, of), sources in of_each.items():
        shared.setdefault("; ".join(sources), []).append(of)
    said = [f"{_some(of)}: {source}" for source, of in shared.items()]
    return ["Sources of this answer:", *(line for text in said for line in wrapped(text, first="  - "))]


def _some(names: Sequence[str]) -> str:
    """The first few names, and how many more there are."""
    more = f" and {len(names) - _MOST_NAMES} more" if len(names) > _MOST_NAMES else ""
    return ", ".join(names[:_MOST_NAMES]) + more


def _laws(codes: Iterable[CodeType]) -> Iterator[Row]:
    """Of the functions that were called, else of the modules they stand in."""
    from propmatch.guide.lawbook import rooms_of_laws, sources_of, written

    rooms = [f"{room}." for room in rooms_of_laws()]
    modules = {
        module.__file__: module
        for name, module in list(sys.modules.items())
        if name.startswith(tuple(rooms)) and getattr(module, "__file__", None)
    }
    found: dict[tuple[str, str], None] = {}
    for code in tuple(codes):
        module = modules.get(code.co_filename)
        if module is not None and code.co_flags & CO_NEWLOCALS and code.co_name not in _INSIDE:
            name = code.co_qualname.partition(".<locals>")[0]
            own = written(module)[name][1].sources if name in written(module) else ()
            found |= dict.fromkeys((module.__name__, source) for source in own or sources_of(module))
    order = [
        (next(at for at, room in enumerate(rooms) if name.startswith(room)), name, source) for name, source in found
    ]
    yield from _rows_of((_place(name), source) for _, name, source in sorted(order))


def _place(module: str) -> str:
    return module.removeprefix(f"{__package__.partition('.')[0]}.")


def _rows_of(found: Iterable[tuple[str, str]]) -> Iterator[Row]:
    """Places with their sources, but what needs none."""
    from propmatch.guide.lawbook import NONE_NEEDED

    return ({"kind": "law", "of": of, "source": source.replace("``", "")} for of, source in found
            if not source.startswith(NONE_NEEDED))  # fmt: skip


def _parts(stock: "Catalogue | None", answer: Any) -> Iterator[Row]:
    """Of the parts that an answer names by id, or with their source beside them."""
    if isinstance(answer, Mapping):
        source = answer.get("source")
        if isinstance(source, Mapping) and "text" in source:
            yield _of_part(answer.get("name"), source)
        elif isinstance(source, str) and "source_kind" in answer:
            yield _of_part(answer.get("name"), {"text": source, "kind": answer["source_kind"]})
        for kind in _KINDS:
            part = getattr(stock, f"{kind}s", {}).get(answer.get(f"{kind}_id")) if stock else None
            if part is not None:
                yield _of_part(part.name, plain_data(part.source))
                yield from _cells(part)
        for each in answer.values():
            yield from _parts(stock, each)
        cells = answer.get("chemistry")
        if isinstance(cells, str):
            yield from _cells_named(cells)
    elif isinstance(answer, list | tuple):
        for each in answer:
            yield from _parts(stock, each)


def _of_part(name: Any, source: Mapping[str, Any]) -> Row:
    sure = source.get("uncertainty")
    how = "" if sure is None else f", standard uncertainty {100 * sure:.0f} %"
    return {"kind": "part", "of": str(name), "source": f"{source['text']} ({source['kind']}{how})"}


def _cells(part: Any) -> Iterator[Row]:
    if getattr(part, "chemistry", None) is not None:
        from propmatch.models.pack import chemistry_of

        cells = chemistry_of(part)
        yield {"kind": "cells", "of": f"{cells.name} cells", "source": cells.source}


def _cells_named(name: str) -> Iterator[Row]:
    from propmatch.models.pack import CHEMISTRIES

    if name in CHEMISTRIES:
        yield {"kind": "cells", "of": f"{name} cells", "source": CHEMISTRIES[name].source}


def _assumed(assumptions: Iterable[Any]) -> Iterator[Row]:
    """Numbers that nobody stated and nobody published."""
    for each in assumptions:
        basis = next((words for words in _UNPUBLISHED if words in each.text), None)
        if basis:
            yield {"kind": "assumed", "of": f"{each.field} of {each.subject}", "source": basis}
