"""From the names in a table's first row to a plan: which cell is which of our columns, in which unit."""

import difflib
from collections.abc import Iterable
from collections.abc import Mapping as MappingType
from functools import cached_property, lru_cache
from pathlib import Path
from typing import Any

import attrs

from propmatch.faults import Fault, InputFaults, did_you_mean
from propmatch.records.fields import Declared, declared
from propmatch.records.headings import (
    KIND_HEADINGS,
    SIGNATURE,
    STANDS_FOR,
    WORDS,
    Meant,
    kind_in,
    meant,
    phrases,
    same_words,
)
from propmatch.records.parts import KINDS, LISTED, Propeller, Source
from propmatch.records.tomltext import read_toml
from propmatch.records.typed import chemistry_of, from_name, kind_of_name, label_gaps
from propmatch.records.written import SIZE, plain
from propmatch.units import Conversion, conversion, units_for
from propmatch_plugins.reading.grid import Grid

__all__ = [
    "SUFFIX",
    "Column",
    "Fields",
    "Mapping",
    "Plan",
    "columns_of",
    "kind_of",
    "mapping_beside",
    "plan_of",
    "read_mapping",
]

SUFFIX = ".mapping.toml"


@attrs.frozen(kw_only=True)
class Mapping:
    """What a mapping file says.

    Attributes
    ----------
    where : str
        The file.
    kind : str or None
        ``motors``, ``controllers``, ``packs`` or ``propellers``.
    columns : mapping
        Their column to ours.
    units : mapping
        Their column to its unit.
    constants : mapping
        Our column to the value every row gets.
    ignore : tuple of str
        Their columns that are passed over.
    """

    where: str = ""
    kind: str | None = None
    columns: MappingType[str, str] = attrs.field(factory=dict)
    units: MappingType[str, str] = attrs.field(factory=dict)
    constants: MappingType[str, Any] = attrs.field(factory=dict)
    ignore: tuple[str, ...] = ()


def mapping_beside(table: Path) -> Path | None:
    """The mapping file that belongs to a table, if there is one."""
    path = table.with_name(table.stem + SUFFIX)
    return path if path.is_file() else None


def read_mapping(path: str | Path) -> Mapping:
    """Read a mapping file.

    Raises
    ------
    InputFaults
        Every fault of the file, with its line.
    """
    found = read_toml(path)
    data, faults = dict(found.data), list(found.faults)

    def fault(key: str, value: object, rule: str, hint: str = "") -> None:
        line = next((found.lines[each] for each in (key, key.partition(".")[0]) if each in found.lines), None)
        faults.append(Fault(found.where if line is None else f"{found.where}:{line}", key, value, rule, hint))

    known = [field.name for field in attrs.fields(Mapping) if field.name != "where"]
    for key in data:
        if key not in known:
            fault(key, None, "unknown key", did_you_mean(key, known) or "known keys: " + ", ".join(known))
    tables = {name: data.get(name, {}) for name in ("columns", "units", "constants")}
    for name, table in tables.items():
        if not isinstance(table, dict):
            fault(name, table, f"must be a table: write [{name}] above its lines")
            tables[name] = {}
    kind = data.get("kind")
    if kind is not None and (not isinstance(kind, str) or kind_of(kind) is None):
        fault("kind", kind, "must be one of " + ", ".join(KINDS), did_you_mean(str(kind), KINDS))
        kind = None
    ignore = data.get("ignore", [])
    if not isinstance(ignore, list) or not all(isinstance(each, str) for each in ignore):
        fault("ignore", None, "must be a list of column names")
        ignore = []
    kind = kind_of(kind) if kind else None
    ours = columns_of(kind)
    _check_columns(tables["columns"], ours, fault)
    _check_units(tables["units"], tables["columns"], ours, fault)
    for key in tables["constants"]:
        if key not in ours and key != "kind":
            fault(f"constants.{key}", None, "is no column of ours", did_you_mean(key, ours))
        elif key in tables["columns"].values():
            fault(f"constants.{key}", None, "is given by a column too; one of the two is enough")
    if faults:
        raise InputFaults(faults)
    return Mapping(where=found.where, kind=kind, ignore=tuple(ignore), **tables)


def _check_columns(columns: dict[str, Any], ours: dict[str, Declared], fault: Any) -> None:
    taken: dict[str, str] = {}
    for theirs, name in columns.items():
        if not isinstance(name, str) or (name not in ours and name != "kind"):
            hint = did_you_mean(str(name), ours) or "ours are " + ", ".join(ours)
            fault(f"columns.{theirs}", name, "is no column of ours", hint)
        elif name in taken:
            fault(f"columns.{theirs}", name, f"is already given by column '{taken[name]}'")
        else:
            taken[name] = theirs


def _check_units(units: dict[str, Any], columns: dict[str, Any], ours: dict[str, Declared], fault: Any) -> None:
    for theirs, unit in units.items():
        key = f"units.{theirs}"
        rule = ours.get(str(columns.get(theirs, theirs)))
        if rule is None:
            if theirs not in columns:
                fault(key, unit, "is the unit of a column that [columns] does not name", did_you_mean(theirs, columns))
        elif rule.kind not in ("number", "integer"):
            fault(key, unit, f"{rule.name} is no number and has no unit")
        elif not isinstance(unit, str) or conversion(unit, rule.unit) is None:
            words = ", ".join(each or "plain number" for each in units_for(rule.unit))
            fault(key, unit, f"cannot be read as {rule.unit or 'a plain number'} for {rule.name}", f"units: {words}")


SOURCE_COLUMNS = {"text": "source", "kind": "source_kind", "uncertainty": "uncertainty"}
"""A part's source is three columns of a table; deviations and correlations of single numbers need TOML or JSON."""


@lru_cache
def columns_of(kind: str | None) -> dict[str, Declared]:
    """Our columns for a kind (None: for all of them together) with what is declared about each."""
    if kind is None:
        return {name: rule for each in KINDS for name, rule in columns_of(each).items()}
    found = {rule.name: rule for rule in declared(KINDS[kind]) if rule.kind not in ("one", "many", "instance")}
    for name, word in LISTED.get(KINDS[kind], {}).items():
        found[name] = attrs.evolve(found[name], default=word)
    for rule in declared(Source):
        if rule.name in SOURCE_COLUMNS:
            found[SOURCE_COLUMNS[rule.name]] = attrs.evolve(rule, name=SOURCE_COLUMNS[rule.name], default=None)
    if kind == "propellers":
        found["table"] = Declared(
            kind="text", name="table", doc="file with its coefficients: rpm, J, CT, CP", default=None
        )
    return found


def kind_of(word: str) -> str | None:
    """The kind that a word means: ``Motors`` and ``brushless motor`` are ``motors``, ``ESC`` is ``controllers``."""
    lower = word.strip().lower()
    return next((kind for kind in KINDS if lower in (kind, kind[:-1])), None) or kind_in(word)


def kind_of_file(path: Path) -> str | None:
    """The kind that a file name begins with, as in ``motors_shop.csv``."""
    lower = path.name.lower()
    return next((kind for kind in KINDS if lower.startswith(kind)), None)


@attrs.frozen(kw_only=True)
class Column:
    """One column of a table that we read.

    Attributes
    ----------
    at : int
        Place in the row.
    rule : Declared
        Our column; ``kind`` for the column that says what a row is, ``cells``, ``voltage`` and ``size`` for those that
        fill others.
    shown : str
        Its name in faults: ours, and theirs when it differs.
    convert : Conversion or None
        From the unit that mapping or heading say.
    stated : bool
        The unit is said, by heading, mapping or our own name: a cell of another unit contradicts it.
    """

    at: int
    rule: Declared
    shown: str
    convert: Conversion | None = None
    stated: bool = True


@attrs.frozen(kw_only=True)
class Fields:
    """The columns of a table as one kind of part reads them.

    Attributes
    ----------
    columns : dict
        Our name to ``Column``.
    doubles : tuple of Column
        Further columns of the same fields, which must agree with the first.
    foreign : tuple of Column
        Columns of other kinds under our names: nothing may stand there.
    notes : dict
        Place to heading of what is kept as notes.
    named : tuple of str
        Needed fields that no column gives and the name of a part may.
    """

    columns: dict[str, Column]
    doubles: tuple[Column, ...] = ()
    foreign: tuple[Column, ...] = ()
    notes: dict[int, str] = attrs.field(factory=dict)
    named: tuple[str, ...] = ()


@attrs.frozen(kw_only=True)
class Plan:
    """How to read the rows of one table.

    Attributes
    ----------
    kinds : dict
        Kind to ``Fields``; of several kinds each row says which it is.
    kind_at : Column or None
        The column that says it; without one it is told by what a row fills.
    mark : str
        Settled decimal mark, ``.`` or ``,``, else empty.
    constants : mapping
    unnamed : tuple of int
        Places without a name: nothing may stand there.
    faults : tuple of Fault
        For which no row can be read.
    said : tuple of Fault
        Faults of single headings, and one note of what was guessed.
    ours : bool
        Every heading is one of our own names: the name of a part is then no label to read.
    """

    kinds: dict[str, Fields]
    kind_at: Column | None = None
    mark: str = ""
    constants: dict[str, Any] = attrs.field(factory=dict)
    unnamed: tuple[int, ...] = ()
    faults: tuple[Fault, ...] = ()
    said: tuple[Fault, ...] = ()
    ours: bool = False

    @property
    def kind(self) -> str | None:
        """The kind of every row, None where rows differ."""
        return next(iter(self.kinds)) if len(self.kinds) == 1 and self.kind_at is None else None


_LOOKED_AT = 50
"""Rows whose names are read before the table."""
_KIND = Declared(kind="choice", name="kind", options=tuple(KINDS), doc="what the row describes")


def plan_of(grid: Grid, kind: str | None, mapping: "Mapping | None" = None) -> Plan:
    """Plan the reading of a table.

    Parameters
    ----------
    grid : Grid
    kind : str or None
        What its rows are, as far as file or sheet name say; a mapping file says it with more right.
    mapping : Mapping, optional
        Its columns are read as it says and the others under our names alone; without one headings are understood.
    """
    return _Planner(grid, kind, mapping or Mapping(), natural=mapping is None).plan()


class _Planner:
    """Makes the plan of one table."""

    def __init__(self, grid: Grid, kind: str | None, mapping: Mapping, natural: bool) -> None:
        self.grid, self.mapping, self.natural = grid, mapping, natural
        self.where = grid.at(grid.header_line)
        self.constants = dict(mapping.constants)
        constant = kind_of(str(self.constants.pop("kind", ""))) if "kind" in self.constants else None
        self.kind = constant or mapping.kind or kind
        self.heads = {at: each for at, each in enumerate(grid.header) if each and each not in mapping.ignore}
        self.said: dict[tuple[str, str], Fault] = {}
        self.kinds: list[str] = []

    def plan(self) -> Plan:
        kind_at = self._kind_column()
        self.kinds = kinds = self._kinds(kind_at)
        fields = {each: self._fields(each, kind_at) for each in kinds}
        faults = [] if self.natural else _not_there(self.mapping, self.grid.header)
        if not kinds:
            rule = "cannot tell what the rows are"
            begin = f"begin the file name with {', '.join(KINDS)}, or add a column 'kind'"
            faults.append(Fault(self.where, rule=rule, hint=begin))
        elif len(kinds) == 1 and kind_at is None:
            faults += self._missing(kinds[0], fields[kinds[0]])
        ours = all(column.stated and column.shown == column.rule.name
                   for each in fields.values() for column in each.columns.values())  # fmt: skip
        return Plan(
            kinds=fields,
            kind_at=kind_at,
            mark=self.grid.mark_or_point if ours else self.grid.mark,
            constants=self.constants,
            unnamed=tuple(at for at, theirs in enumerate(self.grid.header) if not theirs),
            faults=tuple(faults),
            said=(*self.said.values(), *self._guessed(fields)),
            ours=ours,
        )

    # ------------------------------------------------------------ what the rows are

    def _kind_column(self) -> Column | None:
        """The column that says what each row is: called kind, or a ``type`` most of whose cells are."""
        words = {same_words(each) for each in KIND_HEADINGS.split(";")}
        for at, theirs in self.heads.items():
            exact = self.mapping.columns.get(theirs, theirs.lower()) == "kind"
            if exact or (self.natural and same_words(theirs) in words and self._mostly_kinds(at)):
                return Column(
                    at=at, rule=_KIND, shown="kind" if theirs.lower() == "kind" else f"kind (column '{theirs}')"
                )
        return None

    def _mostly_kinds(self, at: int) -> bool:
        cells = [str(row[at]) for _, row in self.grid.first if at < len(row) and row[at] not in (None, "")]
        kinds = sum(kind_of(cell) is not None for cell in cells)
        return kinds > 0 and 2 * kinds >= len(cells) and not all(chemistry_of(cell) for cell in cells)

    def _kinds(self, kind_at: Column | None) -> list[str]:
        if kind_at is not None:
            return list(KINDS)
        if self.kind is not None:
            return [self.kind]
        if not self.natural:
            return []
        given = {kind: self._given(kind) for kind in KINDS}
        strong = [kind for kind, names in SIGNATURE.items() if all(name in given[kind] for name in names)]
        at = self._name_at()
        headed = None if at is None else kind_in(self.heads[at])
        named = {headed} if headed else {kind_of_name(name, self.grid.mark) for name in self._names(at)}
        if len(strong) == 1:
            return [kind for kind in KINDS if kind in strong or (kind in named and not headed)]
        if strong:
            also = [kind for kind in ("controllers", "propellers") if kind not in strong]
            return [kind for kind in KINDS if kind in strong or (kind in also and self._could_be(kind, given[kind]))]
        if "size" in given["propellers"] or self._headed("propellers", "size"):
            return ["propellers"]
        if "max_current_a" in given["controllers"]:
            return ["controllers"]
        return [kind for kind in KINDS if kind in named]

    def _headed(self, kind: str, field: str) -> bool:
        """Whether a heading may mean a field among others."""
        found = [meant(KINDS[kind], theirs, columns_of(kind)) for theirs in self.heads.values()]
        return any(isinstance(each, tuple) and field in [one.rule.name for one in each] for each in found)

    def _could_be(self, kind: str, names: set[str]) -> bool:
        return "size" in names if kind == "propellers" else "max_current_a" in names

    def _name_at(self) -> int | None:
        known = {words for cls in KINDS.values() for words in phrases(cls)["name"]}
        return next((at for at, theirs in self.heads.items() if same_words(theirs) in known), None)

    def _names(self, at: int | None) -> list[str]:
        return [] if at is None else [str(row[at]) for _, row in self.grid.first if at < len(row)]

    def _given(self, kind: str) -> set[str]:
        """The fields that headings mean for sure."""
        found = [meant(KINDS[kind], theirs, columns_of(kind)) for theirs in self.heads.values()]
        return {each[0].rule.name for each in found if isinstance(each, tuple) and len(each) == 1}

    # ------------------------------------------------------------ columns of one kind

    def _fields(self, kind: str, kind_at: Column | None) -> Fields:
        columns: dict[str, Column] = {}
        doubles: list[Column] = []
        foreign: list[Column] = []
        notes: dict[int, str] = {}
        open_heads: dict[int, tuple[Meant, ...]] = {}
        for at, theirs in self._by_right(kind):
            if kind_at is not None and at == kind_at.at:
                continue
            found = self._meant(kind, theirs)
            if isinstance(found, str):
                self._say(theirs, found, "say the right unit, or leave it out")
                found = ()
            if len(found) == 1 and self._holds(at, found[0]):
                self._take(at, theirs, found[0], columns, doubles, notes)
            elif len(found) > 1:
                open_heads[at] = found
            else:
                self._pass_over(kind, at, theirs, foreign, notes)
        for at, found in open_heads.items():
            left = [each for each in found if each.rule.name not in columns]
            if len(left) > 1 and len(same := [each for each in left if each.rule.name in self._sure(at)]) == 1:
                left = same
            if {each.rule.name for each in left} == {"name", "size"}:
                left = [each for each in left if each.rule.name == ("size" if self._sizes(at) else "name")]
            if len(left) == 1:
                self._take(at, self.heads[at], left[0], columns, doubles, notes)
            else:
                names = " or ".join(each.rule.name for each in found)
                self._say(self.heads[at], f"may be {names}; it was kept as a note", f"call it {names}")
                notes[at] = self.heads[at]
        ours = columns_of(kind)
        filled = {name for each in columns for name in (each, *STANDS_FOR.get(each, ()))} | self.constants.keys()
        lost = tuple(name for name, rule in ours.items() if rule.required and name not in filled)
        return Fields(columns=columns, doubles=tuple(doubles), foreign=tuple(foreign), notes=notes, named=lost)

    def _by_right(self, kind: str) -> list[tuple[int, str]]:
        """The headings in the order in which they may have a field: our own names before others, usual names first."""
        order = [same_words(each) for each in WORDS[KINDS[kind]]["name"].split(";")]

        def right(item: tuple[int, str]) -> tuple[bool, int]:
            words = same_words(item[1])
            return item[1].lower() not in columns_of(kind), order.index(words) if words in order else 0

        return sorted(self.heads.items(), key=right)

    def _meant(self, kind: str, theirs: str) -> tuple[Meant, ...] | str:
        ours = columns_of(kind)
        if self.natural:
            found = meant(KINDS[kind], theirs, ours)
            read = kind == "propellers" and same_words(theirs) == {"rpm"} and self._read_at_rest
            return (Meant(ours["read_rpm"], "rpm"),) if read else found
        name = self.mapping.columns.get(theirs, theirs if theirs in ours else theirs.lower())
        return (Meant(ours[name], self.mapping.units.get(theirs, ""), exact=True),) if name in ours else ()

    @cached_property
    def _read_at_rest(self) -> bool:
        """Whether a table of propellers holds power or thrust: a bare speed is then that of the reading, no limit."""
        ours = columns_of("propellers")
        found = [meant(Propeller, each, ours) for each in self.heads.values()]
        names = {each[0].rule.name for each in found if isinstance(each, tuple) and len(each) == 1}
        return bool(names & {"read_shaft_w", "read_input_w", "read_thrust_gf"})

    def _holds(self, at: int, means: Meant) -> bool:
        """Whether a column that a heading of words names holds any of the words that its field knows."""
        if means.exact or not (means.rule.kind == "choice" or means.rule.name == "chemistry"):
            return True
        if means.rule.name == "servo_supply":
            return True
        cells = [row[at].lower() for _, row in self.grid.first if at < len(row) and isinstance(row[at], str)]
        chemistry = means.rule.name == "chemistry"
        return any(chemistry_of(cell) if chemistry else cell in means.rule.options for cell in cells)

    def _sure(self, at: int) -> set[str]:
        """What a heading means for the other kinds of the table, where that is one field: it has one meaning."""
        found = [self._meant(kind, self.heads[at]) for kind in self.kinds]
        return {each[0].rule.name for each in found if isinstance(each, tuple) and len(each) == 1}

    def _sizes(self, at: int) -> bool:
        """Whether a column holds sizes of propellers alone, no word of their shape."""
        cells = [row[at] for _, row in self.grid.first if at < len(row) and row[at] not in (None, "")]
        return all(isinstance(cell, str) and SIZE.fullmatch(plain(cell)) for cell in cells)

    def _take(
        self,
        at: int,
        theirs: str,
        means: Meant,
        columns: dict[str, Column],
        doubles: list[Column],
        notes: dict[int, str],
    ) -> None:
        name = means.rule.name
        unit = means.unit
        convert = conversion(unit, means.rule.unit) if unit else None
        stated = means.exact or bool(unit) or not means.rule.unit
        shown = name if name == theirs else f"{name} (column '{theirs}')"
        column = Column(at=at, rule=means.rule, shown=shown, convert=convert, stated=stated)
        first = columns.get(name)
        if first is None:
            columns[name] = column
        elif name in ("name", "notes", "id") and self.natural and theirs != self.heads[first.at]:
            notes[at] = theirs
        else:
            doubles.append(column)
            other = self.heads[first.at]
            if means.exact or theirs.lower() == other.lower():
                here = "" if theirs == name else f", here as '{theirs}'"
                self._say(name, f"stands twice{here}", "remove one of the two columns")

    def _pass_over(self, kind: str, at: int, theirs: str, foreign: list[Column], notes: dict[int, str]) -> None:
        """A column that this kind of part has not: one of another kind, one misspelt, or a note."""
        if not self.natural:
            return
        name = theirs.lower()
        if name in columns_of(None):
            foreign.append(Column(at=at, rule=columns_of(None)[name], shown=name))
            if self.kind is None and kind != self.kind:
                return
        if near := near_miss(name, columns_of(kind)) if name not in columns_of(None) else []:
            words = " or ".join(f"{each} [{columns_of(kind)[each].unit}]" if columns_of(kind)[each].unit else each
                                for each in near)  # fmt: skip
            self._say(theirs, "unknown column; it was kept as a note", f"did you mean {words}?")
        notes[at] = theirs

    def _say(self, theirs: str, rule: str, hint: str) -> None:
        self.said.setdefault((theirs, rule), Fault(self.where, theirs, rule=rule, hint=hint))

    # ------------------------------------------------------------ what is said

    def _missing(self, kind: str, fields: Fields) -> list[Fault]:
        """Needed fields without a column, where no name of the first rows gives them either."""
        ours = columns_of(kind)
        by_name = "name" in fields.columns and self.natural
        at = fields.columns["name"].at if by_name else len(self.grid.header)
        names = [str(row[at]) for _, row in self.grid.first[:_LOOKED_AT] if at < len(row)]
        read = [from_name(KINDS[kind], name, self.grid.mark) for name in names]
        lost = [name for name in fields.named if name != "name" or not self.natural]
        usual = label_gaps(KINDS[kind], {})
        lost = [name for name in lost if name not in usual and not any(name in each for each in read)]
        unread = [f"'{theirs}'" for theirs in fields.notes.values()]
        hint = f"not understood: {', '.join(unread)}" if unread and self.natural else ""
        return [Fault(self.where, name, rule=f"missing column; needs {ours[name].rule}", hint=hint) for name in lost]

    def _guessed(self, fields: MappingType[str, Fields]) -> list[Fault]:
        """One note for the file: which heading was read as what, and what was kept as notes."""
        if not self.natural:
            return []
        read: dict[str, str] = {}
        kept: dict[int, str] = {}
        used = {column.at for each in fields.values() for column in (*each.columns.values(), *each.doubles)}
        for each in fields.values():
            for column in (*each.columns.values(), *each.doubles):
                theirs = self.heads[column.at]
                if theirs.lower() != column.rule.name or column.rule.name in STANDS_FOR:
                    names = dict.fromkeys([*read.get(theirs, "").split(" or "), _said(column, theirs)])
                    read[theirs] = " or ".join(filter(None, names))
            kept |= {at: theirs for at, theirs in each.notes.items() if at not in used}
        words = [f"{theirs} read as {ours}" for theirs, ours in read.items()]
        if kept:
            words.append(f"kept as notes: {', '.join(dict.fromkeys(kept.values()))}")
        return [Fault(self.where, rule="; ".join(words), kind="note")] if words else []


def _said(column: Column, theirs: str) -> str:
    name, unit = column.rule.name, column.rule.unit
    if name == "kv_rpm_per_v":
        return f"{name}, {'measured' if 'measured' in same_words(theirs) else 'label'}"
    if name == "servo_supply":
        return f"{name}, linear where a cell says BEC and not which"
    if name in STANDS_FOR:
        return {"cells": "count of cells", "voltage": "cells by their nominal voltage", "size": "diameter x pitch"}[
            name
        ]
    return name if column.stated or not unit else f"{name}, in {unit} where no unit stands"


def near_miss(name: str, known: Iterable[str]) -> list[str]:
    """The columns of ours that a name in our style looks like: similar letters, or the beginning up to the unit."""
    lower = name.strip().lower().replace(" ", "_")
    options = list(known)
    near = difflib.get_close_matches(lower, options, n=2, cutoff=0.8) if "_" in lower else []
    near += [option for option in options if "_" in lower and option.startswith(lower + "_")]
    return list(dict.fromkeys(near))[:3]


def _not_there(mapping: "Mapping", header: tuple[str, ...]) -> list[Fault]:
    lost = [theirs for theirs in (*mapping.columns, *mapping.units) if theirs not in header]
    names = {name.lower(): name for name in header}
    faults = []
    for theirs in dict.fromkeys(lost):
        near = difflib.get_close_matches(theirs.lower(), list(names), n=1, cutoff=0.6)
        hint = f"did you mean '{names[near[0]]}'?" if near else "it has " + ", ".join(name for name in header if name)
        faults.append(Fault(mapping.where, f"columns.{theirs}", rule="the table has no such column", hint=hint))
    return faults
