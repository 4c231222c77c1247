"""Other people's columns: a small TOML file says which is which, so that their table is read without editing it.

::

    kind = "motors"                     # unless the file name or a kind column says it
    ignore = ["Price"]                  # columns that are read by nobody, without a remark

    [columns]                           # their column = ours
    "Gewicht" = "mass_g"
    "Ri" = "resistance_ohm"

    [units]                             # their column = the unit it is in, where that is not ours
    "Gewicht" = "oz"
    "Ri" = "mohm"

    [constants]                         # the same for every row
    kv_kind = "label"
    source = "shop listing, spring"

It stands beside the table: ``shop.mapping.toml`` for ``shop.csv`` or ``shop.xlsx``. A workbook with several sheets
takes the kind from the name of the sheet. Columns that already have our names need no line.
"""

from collections.abc import Mapping as MappingType
from pathlib import Path
from typing import Any

import attrs

from propmatch.declared import Declared
from propmatch.faults import Fault, InputFaults, did_you_mean
from propmatch.partsets import KINDS
from propmatch.tomltext import read_toml
from propmatch_plugins.reading.heading import columns_of, kind_of
from propmatch_plugins.reading.units import conversion, units_for

__all__ = ["SUFFIX", "Mapping", "mapping_beside", "read_mapping"]

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
