"""From the names in a table's first row to a plan: which cell is which of our columns, in which unit."""

import difflib
from collections.abc import Iterable
from collections.abc import Mapping as MappingType
from functools import lru_cache
from pathlib import Path
from typing import Any

import attrs

from propmatch.faults import Fault, InputFaults, did_you_mean
from propmatch.records.fields import Declared, declared
from propmatch.records.parts import KINDS, LISTED, Source
from propmatch.records.tomltext import read_toml
from propmatch.units import Conversion, conversion, units_for
from propmatch_plugins.reading.grid import Grid

__all__ = ["SUFFIX", "Column", "Mapping", "Plan", "columns_of", "kind_of", "mapping_beside", "plan_of", "read_mapping"]

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
    """The kind that a word means: ``motor`` and ``Motors`` are ``motors``."""
    lower = word.strip().lower()
    return next((kind for kind in KINDS if lower in (kind, kind[:-1])), None)


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
        Our column; ``kind`` for the column that says what a row is.
    shown : str
        Its name in faults: ours, and theirs when it differs.
    convert : Conversion or None
    """

    at: int
    rule: Declared
    shown: str
    convert: Conversion | None = None


@attrs.frozen(kw_only=True)
class Plan:
    """How to read the rows of one table.

    Attributes
    ----------
    kind : str or None
        None when a ``kind`` column says it row by row.
    columns : dict
        Our name to ``Column``.
    constants : mapping
    unnamed : tuple of int
        Places without a name: nothing may stand there.
    faults : tuple of Fault
        For which no row can be read.
    warnings : tuple of Fault
    """

    kind: str | None
    columns: dict[str, Column]
    constants: dict[str, Any]
    unnamed: tuple[int, ...] = ()
    faults: tuple[Fault, ...] = ()
    warnings: tuple[Fault, ...] = ()


_KIND = Declared(kind="choice", name="kind", options=tuple(KINDS), doc="what the row describes")


def plan_of(grid: Grid, kind: str | None, mapping: "Mapping | None" = None) -> Plan:
    """Plan the reading of a table.

    Parameters
    ----------
    grid : Grid
    kind : str or None
        What its rows are, as far as file or sheet name say; a mapping file says it with more right.
    mapping : Mapping, optional
    """
    where = grid.at(grid.header_line)
    kind = (mapping.kind if mapping else None) or kind
    given = dict(mapping.columns) if mapping else {}
    constants = dict(mapping.constants) if mapping else {}
    if "kind" in constants:
        kind = kind_of(str(constants.pop("kind"))) or kind
    ours = {**columns_of(kind), "kind": _KIND}
    columns: dict[str, Column] = {}
    faults: list[Fault] = []
    warnings: list[Fault] = []
    hinted: set[str] = set()
    for at, theirs in enumerate(grid.header):
        name = given.get(theirs, theirs if theirs in ours else theirs.lower())
        if not theirs or (mapping and theirs in mapping.ignore):
            continue
        if name not in ours:
            if mapping is None:
                near = near_miss(name, ours)
                hinted.update(near)
                (faults if near else warnings).append(_unknown(where, theirs, near, ours))
        elif name in columns:
            rule = "stands twice" if theirs == name else f"stands twice, here as '{theirs}'"
            faults.append(Fault(where, name, rule=rule, hint="remove one of the two columns"))
        else:
            shown = name if name == theirs else f"{name} (column '{theirs}')"
            unit = mapping.units.get(theirs) if mapping else None
            convert = None if unit is None else conversion(unit, ours[name].unit)
            columns[name] = Column(at=at, rule=ours[name], shown=shown, convert=convert)
    if mapping:
        faults += _not_there(mapping, grid.header)
    if kind is None and "kind" not in columns:
        rule = "cannot tell what the rows are"
        hint = f"begin the file name with {', '.join(KINDS)}, or add a column 'kind'"
        faults.append(Fault(where, rule=rule, hint=hint))
    elif kind is not None:
        missing = [
            rule for name, rule in columns_of(kind).items()
            if rule.required and not any(name in known for known in (columns, constants, hinted))
        ]  # fmt: skip
        faults += [Fault(where, rule.name, rule=f"missing column; needs {rule.rule}") for rule in missing]
    return Plan(
        kind=None if "kind" in columns else kind,
        columns=columns,
        constants=constants,
        unnamed=tuple(at for at, theirs in enumerate(grid.header) if not theirs),
        faults=tuple(faults),
        warnings=tuple(warnings),
    )


def near_miss(name: str, known: Iterable[str]) -> list[str]:
    """The columns of ours that a name looks like: similar letters, or the beginning up to the unit (``kv``)."""
    lower = name.strip().lower().replace(" ", "_")
    options = list(known)
    near = difflib.get_close_matches(lower, options, n=2, cutoff=0.75)
    near += [option for option in options if lower and option.startswith(lower + "_")]
    return list(dict.fromkeys(near))[:3]


def _unknown(where: str, theirs: str, near: list[str], ours: dict[str, Declared]) -> Fault:
    if near:
        words = " or ".join(f"{name} [{ours[name].unit}]" if ours[name].unit else name for name in near)
        return Fault(where, theirs, rule="unknown column; no row was read", hint=f"did you mean {words}?")
    hint = "list it under ignore in a mapping file, or see the template for the columns there are"
    return Fault(where, theirs, rule="unknown column; it is not used", hint=hint, kind="warning")


def _not_there(mapping: "Mapping", header: tuple[str, ...]) -> list[Fault]:
    lost = [theirs for theirs in (*mapping.columns, *mapping.units) if theirs not in header]
    names = {name.lower(): name for name in header}
    faults = []
    for theirs in dict.fromkeys(lost):
        near = difflib.get_close_matches(theirs.lower(), list(names), n=1, cutoff=0.6)
        hint = f"did you mean '{names[near[0]]}'?" if near else "it has " + ", ".join(name for name in header if name)
        faults.append(Fault(mapping.where, f"columns.{theirs}", rule="the table has no such column", hint=hint))
    return faults
