"""Parts in TOML and JSON: lists of tables under the name of their kind, with the keys of the part classes.

::

    [[motors]]
    name = "example outrunner"
    kv_rpm_per_v = 1400
    mass_g = 28

Beside the lists a document may have ``source``, ``source_kind`` and ``uncertainty``, which hold for every part that
brings none. A JSON document may also be one list, whose kind the file name or a key ``kind`` of each member says.
"""

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from propmatch.faults import Fault, InputFaults, did_you_mean
from propmatch.hookspecs import PartRow
from propmatch.records.jsontext import parse_json
from propmatch.records.parts import KINDS
from propmatch.records.tomltext import read_keys, read_toml
from propmatch_plugins.reading.delimited import decode
from propmatch_plugins.reading.heading import kind_of, kind_of_file
from propmatch_plugins.reading.rows import TableReader

__all__ = ["SUFFIXES", "read_document"]

SUFFIXES = (".toml", ".json")

_SHARED = ("source", "source_kind", "uncertainty")


def read_document(path: Path, *, table_reader: TableReader | None = None) -> Iterator[PartRow | Fault]:
    """The parts of a TOML or JSON file as rows that name their kind, unchecked, and faults.

    Raises
    ------
    OSError
        The file cannot be read.
    """
    where = str(path)
    lines: dict[str, int] = {}
    if path.suffix.lower() == ".toml":
        found = read_toml(path)
        yield from found.faults
        if found.faults:
            return
        data, lines = found.data, found.lines
    else:
        raw, too_large = read_keys(path)
        text, doubts = decode(raw, where)
        yield from (*too_large, *doubts)
        if too_large or text is None:
            return
        data, faults = parse_json(text, where)
        yield from faults
        if faults:
            return
    yield from _parts(data, path, lines, table_reader)


def _parts(
    data: Any, path: Path, lines: Mapping[str, int], table_reader: TableReader | None
) -> Iterator[PartRow | Fault]:
    where = str(path)
    by_name = kind_of_file(path)
    if isinstance(data, list):
        data = {by_name or "": data}
    if not isinstance(data, dict):
        yield Fault(where, value=data, rule="must be a list of parts, or lists under " + ", ".join(KINDS))
        return
    shared = {key: data[key] for key in _SHARED if key in data}
    for key, members in data.items():
        if key in _SHARED:
            continue
        if key and kind_of(key) is None:
            line = lines.get(key)
            hint = did_you_mean(key, KINDS) or "a file holds lists under " + ", ".join(KINDS)
            yield Fault(where if line is None else f"{where}:{line}", key, rule="unknown key", hint=hint)
        elif not isinstance(members, list):
            yield Fault(where, key, rule="must be a list of parts")
        else:
            for number, member in enumerate(members, start=1):
                path_of = f"{key}[{number}]"
                place = f"{where}:{lines[path_of]}" if path_of in lines else f"{where}:{path_of}"
                yield _part(member, kind_of(key), shared, place, path.parent, table_reader)


def _part(
    member: Any, kind: str | None, shared: dict[str, Any], where: str, folder: Path, table_reader: TableReader | None
) -> PartRow:
    if not isinstance(member, dict):
        return PartRow(
            where=where, kind=kind or "", faults=(Fault(where, value=member, rule="must be a table of keys"),)
        )
    values = dict(member)
    word = values.pop("kind", None)
    stated = kind if word is None else kind_of(str(word))
    if stated is None:
        rule, hint = "must be one of " + ", ".join(KINDS), did_you_mean(str(word or ""), KINDS)
        return PartRow(where=where, faults=(Fault(where, "kind", word, rule, hint),))
    if not isinstance(values.get("source"), dict):
        values = {**shared, **values}
    name = values.get("table")
    if stated == "propellers" and isinstance(name, str) and table_reader is not None:
        try:
            values["table"] = table_reader(folder / name)
        except OSError as error:
            rule = f"names a table that cannot be read: {error.strerror or error}"
            return PartRow(where=where, kind=stated, faults=(Fault(where, "table", name, rule),))
        except InputFaults as error:
            return PartRow(where=where, kind=stated, faults=error.faults)
    return PartRow(where=where, kind=stated, values=values)
