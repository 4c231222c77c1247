"""A folder of one's own parts: every CSV, TOML and JSON file in it, and any other kind that a plugin can read.

The kind of a table is the beginning of its file's name (``motors*.csv``, ``controllers*``, ``packs*``,
``propellers*``), a column that says it, or what its columns tell; headings are understood by their words. TOML and
JSON name it as the key of a list. ``NAME.mapping.toml`` beside a table says which of its columns is which of ours.
Files with columns J, CT, CP are measured propellers, and tables of their blade angles and true diameters go with them;
one that a row of ``propellers`` names in its column ``table`` belongs to that row. The sub-folder ``tables`` is for
measured propellers. Other sub-folders of the user's folder are boxes, each a plugin of its own; a sub-folder of a box
that holds files of these kinds is not looked into, and that is said.
"""

from collections.abc import Iterator
from contextlib import AbstractContextManager
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

import attrs

from propmatch.faults import Fault, InputFaults, cause_of
from propmatch.hookspecs import PartRow, PartSet, hookimpl
from propmatch.records.fields import replace
from propmatch.records.parts import KINDS

if TYPE_CHECKING:
    from propmatch.models.tables import CoefficientTable

__all__ = ["PartsFolder"]

TABLES_FOLDER = "tables"
_END: Any = object()
_PASSED_OVER = {"", ".md", ".rst", ".pdf", ".png", ".jpg", ".jpeg", ".svg", ".part", ".bak"}


class Plugins(Protocol):
    """The loaded plugins, as far as a folder asks them."""

    def first(self, hook: str, **arguments: Any) -> Any:
        """The first answer to a hook."""

    def watched(self, plugin: str, hook: str) -> AbstractContextManager[None]:
        """Around what a plugin does: it is named where it takes long, and prints nothing into an answer."""


def _no_row(item: Any) -> str:
    """What is wrong with an item that a reader answers; empty where nothing is."""
    if isinstance(item, Fault):
        return ""
    if not isinstance(item, PartRow):
        return f"answered {type(item).__name__} where rows and faults are promised"
    if item.kind not in (*KINDS, "") or (not item.kind and not item.faults):
        return f"answered a row of kind {item.kind!r}; the kinds are {', '.join(KINDS)}"
    return ""


class PartsFolder:
    """The plugin made from one folder.

    Parameters
    ----------
    folder : Path
    report : Plugins
        Asked for readers of files other than text tables, TOML and JSON.
    name : str
        Plugin name, in front of every id.
    within : PartsFolder, optional
        The folder whose sub-folder this one is, as a box; the tables that its rows name are none of the box's.
    """

    def __init__(self, folder: Path, report: Plugins, name: str = "parts", within: "PartsFolder | None" = None) -> None:
        self.folder = folder
        self.report = report
        self.name = name
        self.within = within
        self.named: set[Path] = set()
        self._shared: dict[Path, list[PartRow | Fault]] = {}

    @hookimpl
    def propmatch_motors(self) -> list[PartSet]:
        return self._sets("motors")

    @hookimpl
    def propmatch_controllers(self) -> list[PartSet]:
        return self._sets("controllers")

    @hookimpl
    def propmatch_packs(self) -> list[PartSet]:
        return self._sets("packs")

    @hookimpl
    def propmatch_propellers(self) -> list[PartSet]:
        return self._sets("propellers")

    def _sets(self, kind: str) -> list[PartSet]:
        def load() -> Iterator[PartRow | Fault]:
            return self._load(kind)

        description = f"{kind} of the folder {self.folder}"
        return [PartSet(id="folder", description=description, source=str(self.folder), source_kind="label", load=load)]

    # ------------------------------------------------------------ files

    def _load(self, kind: str) -> Iterator[PartRow | Fault]:
        """Everything of one kind."""
        yield from self._rows(kind)
        if kind == "propellers":
            yield from self._measured()

    def _rows(self, kind: str) -> Iterator[PartRow | Fault]:
        """Rows of one kind. What cannot be told to be of any kind is answered with the motors, so that it is once."""
        from propmatch_plugins.reading.heading import kind_of_file

        for path in self._files():
            own = kind_of_file(path)
            if own is not None and own != kind and path.suffix.lower() in (".csv", ".tsv", ".txt"):
                continue
            if own == kind:
                yield from self._read(path)
                continue
            if path not in self._shared:
                self._shared[path] = list(self._read(path))
            for item in self._shared[path]:
                of = item.kind if isinstance(item, PartRow) else ""
                if of == kind or (not of and kind == "motors"):
                    yield item

    def _files(self) -> list[Path]:
        from propmatch_plugins.reading.heading import SUFFIX

        return sorted(
            path
            for path in self.folder.iterdir()
            if path.is_file() and not path.name.startswith((".", "~$")) and not path.name.lower().endswith(SUFFIX)
        )

    def _read(self, path: Path) -> Iterator[PartRow | Fault]:
        """Everything in one file; a row of its own kind where only the file name says it carries that kind too.

        Whatever a reader raises or answers wrongly costs this file alone, and is said with the plugin it came from.
        """
        if not path.name.isprintable():
            yield Fault(str(path), rule="its name holds signs that do not print; it was not used", hint="rename it")
            return
        items = self._items(path)
        while True:
            try:
                item = next(items, _END)
            except OSError as error:
                yield Fault(str(path), rule=f"cannot be read: {error.strerror or error}")
                return
            except KeyboardInterrupt:
                raise
            except BaseException as error:
                rule = f"{self._reader_of(path)} failed to read it: {cause_of(error)}"
                yield Fault(str(path), rule=rule, hint="this file was not used to its end, all others are")
                return
            if item is _END:
                return
            wrong = _no_row(item)
            yield Fault(str(path), rule=f"{self._reader_of(path)} {wrong}") if wrong else item

    def _reader_of(self, path: Path) -> str:
        """The plugin whose reader a file goes to, in words."""
        from propmatch_plugins.reading import delimited, documents

        own = path.suffix.lower() in (*delimited.SUFFIXES, *documents.SUFFIXES)
        answer = None if own else self.report.first("propmatch_file_reader", path=path)
        return f"plugin '{self.name if answer is None else answer.plugin}'"

    def _items(self, path: Path) -> Iterator[Any]:
        from propmatch_plugins.reading import delimited, documents

        suffix = path.suffix.lower()
        if suffix in delimited.SUFFIXES:
            yield from self._table(path)
        elif suffix in documents.SUFFIXES:
            yield from documents.read_document(path, table_reader=self._coefficients)
        else:
            yield from self._other(path)

    def _table(self, path: Path) -> Iterator[PartRow | Fault]:
        from propmatch.records.parts import Source
        from propmatch_plugins.reading.delimited import read_delimited
        from propmatch_plugins.reading.heading import kind_of_file, mapping_beside, plan_of, read_mapping
        from propmatch_plugins.reading.rows import read_rows
        from propmatch_plugins.reading.runs import layout_of, lends

        beside = mapping_beside(path)
        kind = kind_of_file(path)
        grid = read_delimited(path)
        if beside is None and kind is None:
            if layout_of(grid.header) or lends(grid.header):
                return
            if path.suffix.lower() == ".txt" and not plan_of(grid, None).kinds:
                return
        try:
            mapping = read_mapping(beside) if beside else None
        except InputFaults as error:
            yield PartRow(where=str(path), faults=error.faults, rows=max(1, sum(1 for _ in grid.rows)), kind=kind or "")
            return
        source = Source(text=path.name, kind="label")
        yield from read_rows(
            grid, kind, plugin=self.name, source=source, mapping=mapping, table_reader=self._coefficients
        )

    def _other(self, path: Path) -> Iterator[PartRow | Fault]:
        if path.suffix.lower() in _PASSED_OVER:
            return
        answer = self.report.first("propmatch_file_reader", path=path)
        if answer is None:
            rule = "no plugin reads this kind of file; it was not used"
            yield Fault(str(path), rule=rule, kind="warning")
            return
        with self.report.watched(answer.plugin, f"the file {path.name}"):
            for item in answer.value(path):
                yield item if not isinstance(item, PartRow) or item.part is None else self._of_this_folder(item)

    def _of_this_folder(self, row: PartRow) -> PartRow:
        """A part that a reader of any folder has made, under the name of this one."""
        own = str(row.part.id or row.part.name)
        return attrs.evolve(row, part=replace(row.part, id=f"{self.name}/{own.removeprefix('parts/')}"))

    def _coefficients(self, path: Path) -> "CoefficientTable":
        from propmatch_plugins.measured_tables import table_of_file

        self.named.add(path.resolve())
        return table_of_file(path)

    def _measured(self) -> Iterator[Any]:
        """Propellers of measured tables that no row names, and the sub-folders that were passed over."""
        from propmatch_plugins.measured_tables import rows_of
        from propmatch_plugins.reading.delimited import SUFFIXES, read_delimited
        from propmatch_plugins.reading.heading import kind_of_file, mapping_beside
        from propmatch_plugins.reading.runs import layout_of, lends

        inside = self.folder / TABLES_FOLDER
        free = []
        for path in self._files():
            if path.suffix.lower() in SUFFIXES and kind_of_file(path) is None and not mapping_beside(path):
                header = () if self._named(path) else read_delimited(path).header
                if layout_of(header) or lends(header):
                    free.append(path)
        below = sorted(inside.rglob("*")) if inside.is_dir() else []
        free += [path for path in below if path.suffix.lower() in SUFFIXES and path.is_file() and not self._named(path)]
        if free and self.within is not None and not self.within.named:
            for _ in self.within._rows("propellers"):
                pass
            free = [path for path in free if not self._named(path)]
        if free:
            yield from rows_of(free)
        if self.within is not None:
            yield from self._passed_over(inside)

    def _named(self, path: Path) -> bool:
        """Whether a row of propellers names this file, or a folder it lies in, as its table."""
        named = self.named if self.within is None else self.named | self.within.named
        return any(each in named for each in (path.resolve(), *path.resolve().parents))

    def _passed_over(self, inside: Path) -> Iterator[Fault]:
        """A warning for each sub-folder with tables or parts in it that is not looked into."""
        from propmatch_plugins.reading import delimited, documents

        known = {*delimited.SUFFIXES, *documents.SUFFIXES, ".xlsx", ".ods"}
        for folder in sorted(self.folder.iterdir()):
            if not folder.is_dir() or folder == inside or folder.name.startswith("."):
                continue
            held = [path for path in folder.iterdir() if path.is_file() and path.suffix.lower() in known]
            if held and not all(self._named(path) for path in held):
                rule = f"sub-folder with {len(held)} file{'s' if len(held) > 1 else ''}, not looked into"
                hint = f"name it itself, or put measured tables into {TABLES_FOLDER}"
                yield Fault(str(folder), rule=rule, hint=hint, kind="warning")
