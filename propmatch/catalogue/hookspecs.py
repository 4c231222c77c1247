"""The door for data and additions: every hook a plugin may implement, the two markers and what the hooks answer.

Nothing else lives here and nothing heavy is imported, so that ``from propmatch import hookimpl`` costs next to nothing.
A plugin is a module (or an object) whose functions carry ``@hookimpl`` and the name of a hook. Arguments are passed by
name; an implementation may leave out those it does not need but must not give any of them a default value.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import attrs
import pluggy

from propmatch.faults import Fault

if TYPE_CHECKING:
    from pathlib import Path

    from propmatch.checks.limits import Check, Design
    from propmatch.faults import InputFaults
    from propmatch.models.pack import Chemistry
    from propmatch.models.tables import CoefficientTable
    from propmatch.records.brief import Brief
    from propmatch.records.parts import Propeller, Source

__all__ = [
    "GROUP",
    "HOOK_VERSION",
    "SCHEMA_VERSION",
    "ExtraCheck",
    "PartRow",
    "PartSet",
    "SheetSection",
    "TableAnswer",
    "hookimpl",
    "hookspec",
    "propmatch_checks",
    "propmatch_chemistries",
    "propmatch_coefficient_table",
    "propmatch_controllers",
    "propmatch_file_reader",
    "propmatch_motors",
    "propmatch_packs",
    "propmatch_propellers",
    "propmatch_sheet_sections",
]

GROUP = "propmatch"
"""Name of the entry-point group, and of the plugin project inside pluggy."""

HOOK_VERSION = 1
"""Version of the hooks; it rises when one is added or changes. A plugin that says ``HOOK_VERSION = 2`` was written for
a newer one: its hooks that are not known here are passed over, and so is one marked ``hookimpl(optionalhook=True)``."""

SCHEMA_VERSION = 1
"""Version of the row layout of a ``PartSet``; it rises when a column changes its meaning."""


def _must_be(kind: Any, words: str) -> Callable[[Any, Any, Any], None]:
    """A validator that says what a plugin gave instead."""

    def check(record: Any, field: Any, value: Any) -> None:
        if not isinstance(value, kind):
            raise TypeError(f"{type(record).__name__}.{field.name} must be {words}, not {type(value).__name__}")

    return check


_TEXT, _WHOLE, _FUNCTION = _must_be(str, "a text"), _must_be(int, "a whole number"), _must_be(Callable, "a function")

hookspec = pluggy.HookspecMarker(GROUP)
hookimpl = pluggy.HookimplMarker(GROUP)


@attrs.frozen(kw_only=True)
class PartRow:
    """One part as read: column names and values, not yet checked; or one that its reader has checked.

    Attributes
    ----------
    values : mapping
        Keys as in the part class, and optionally ``id``, the part's half of ``plugin/part`` (default: its name).
        None counts as not given.
    where : str
        File, file:line or file:sheet:row, for the fault list.
    kind : str
        ``motors``, ``controllers``, ``packs`` or ``propellers``; only a file reader needs to say it.
    part : record, optional
        The part itself, where the reader checked whole columns and has built it; ``values`` then stays empty.
    faults : tuple of Fault
        What the reader found wrong; the row is then set aside.
    rows : int
        How many rows of the file this stands for, where one fault concerns them all.
    """

    where: str = attrs.field(validator=_TEXT)
    values: Mapping[str, Any] = attrs.field(factory=dict, validator=_must_be(Mapping, "a mapping"))
    kind: str = attrs.field(default="", validator=_TEXT)
    part: Any = None
    faults: tuple[Fault, ...] = attrs.field(default=())
    rows: int = attrs.field(default=1, validator=_WHOLE)

    @faults.validator
    def _are_faults(self, field: Any, value: Any) -> None:
        if not isinstance(value, tuple | list) or not all(isinstance(each, Fault) for each in value):
            raise TypeError("PartRow.faults must be a tuple of Fault")


@attrs.frozen(kw_only=True)
class PartSet:
    """A set of parts of one kind, described but not read yet.

    Attributes
    ----------
    id : str
        Name of the set within its plugin.
    description : str
        One line for the reader.
    source : str
        Where the numbers come from; parts that bring no source of their own get this one.
    load : callable without arguments
        Called once, when the kind is first used. Answers the parts: records, ``PartRow`` or plain mappings in any mix,
        and a ``Fault`` for each thing that could not be read at all.
    source_kind : str
        ``measured``, ``data sheet``, ``predicted`` or ``assumed``.
    uncertainty : float or None
        Relative standard uncertainty of the main numbers, 0..1.
    schema_version : int
        The ``SCHEMA_VERSION`` the set was written for.
    """

    id: str = attrs.field(validator=_TEXT)
    description: str = attrs.field(validator=_TEXT)
    source: str = attrs.field(validator=_TEXT)
    load: Callable[[], Iterable[Any]] = attrs.field(validator=_FUNCTION)
    source_kind: str = attrs.field(default="assumed", validator=_TEXT)
    uncertainty: float | None = None
    schema_version: int = attrs.field(default=SCHEMA_VERSION, validator=_WHOLE)


@attrs.frozen(kw_only=True)
class TableAnswer:
    """A coefficient table for a propeller that had none, with the source that the propeller then carries.

    ``notes`` are sentences for somebody who asks for this one table: how far to trust it, what would improve it; the
    ``prediction`` of the source says the same in numbers.
    """

    table: "CoefficientTable"
    source: "Source"
    notes: tuple[str, ...] = ()


@attrs.frozen(kw_only=True)
class ExtraCheck:
    """A check beside the built-in ones; ``run(design, brief)`` answers the checks of one variant.

    Each has a name of its own, and one of the verdicts of ``propmatch.Check``; it is shown and excludes nothing.
    ``design.all_up_mass_g`` and ``design.airframe`` are always known; what the brief leaves out is None.
    """

    id: str = attrs.field(validator=_TEXT)
    description: str = attrs.field(validator=_TEXT)
    run: "Callable[[Design, Brief], Sequence[Check]]" = attrs.field(validator=_FUNCTION)


@attrs.frozen(kw_only=True)
class SheetSection:
    """An extra section of the build sheet; ``build(design, brief)`` answers its lines as label and plain text."""

    id: str = attrs.field(validator=_TEXT)
    title: str = attrs.field(validator=_TEXT)
    build: "Callable[[Design, Brief], Mapping[str, str]]" = attrs.field(validator=_FUNCTION)


@hookspec
def propmatch_motors() -> "list[PartSet]":  # type: ignore[empty-body]
    """Sets of motors: rows of ``propmatch.Motor``."""


@hookspec
def propmatch_controllers() -> "list[PartSet]":  # type: ignore[empty-body]
    """Sets of controllers: rows of ``propmatch.Controller``."""


@hookspec
def propmatch_packs() -> "list[PartSet]":  # type: ignore[empty-body]
    """Sets of packs: rows of ``propmatch.Pack``."""


@hookspec
def propmatch_propellers() -> "list[PartSet]":  # type: ignore[empty-body]
    """Sets of propellers: rows of ``propmatch.Propeller``; ``table`` is a ``CoefficientTable`` or left out."""


@hookspec
def propmatch_chemistries() -> "list[Chemistry]":  # type: ignore[empty-body]
    """Cell chemistries: open-circuit voltage of one cell over charge, known to packs by their name."""


@hookspec(firstresult=True)
def propmatch_coefficient_table(
    propeller: "Propeller", siblings: "Sequence[Propeller]"
) -> "TableAnswer | InputFaults | None":
    """A table for a propeller that has none; None passes the question on, the first answer wins.

    What is wrong with the propeller itself is answered as ``InputFaults``, which the command then says.
    ``siblings`` are propellers of the same make that were measured, or read at one speed (``read_rpm``).
    """


@hookspec(firstresult=True)
def propmatch_file_reader(path: "Path") -> "Callable[[Path], Iterable[PartRow | Fault]] | None":
    """A reader for this kind of file, judged by its name alone; None passes the question on, the first answer wins.

    The reader is called with the path and answers rows that name their kind, and faults; it raises only ``OSError``.
    """


@hookspec
def propmatch_checks() -> "list[ExtraCheck]":  # type: ignore[empty-body]
    """Checks beside the built-in ones, run for every variant."""


@hookspec
def propmatch_sheet_sections() -> "list[SheetSection]":  # type: ignore[empty-body]
    """Sections of the build sheet beside the built-in ones."""
