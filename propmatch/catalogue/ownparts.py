"""Parts kept in the user's own folder: those that a command found out, a TOML file for each name, which says who wrote
it; and those that somebody adds, in the TOML file ``added`` of a box, beside what is there.
"""

import hashlib
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from propmatch.catalogue.boxes import box_folder, parts_folder
from propmatch.catalogue.catalogue import load_catalogue
from propmatch.catalogue.plugins import FOLDER_PLUGIN
from propmatch.faults import Fault, InputFaults
from propmatch.files import file_name, write_file, write_files
from propmatch.records.fields import replace
from propmatch.records.tomltext import dump_lists, read_toml

__all__ = ["ADDED", "add_parts", "keep_parts", "same_numbers"]

ADDED = "added.toml"

_MARK = "# Written by propmatch fit: the same name replaces it, unless a line below is changed by hand.\n# sha256 "


def keep_parts(
    parts: Mapping[str, Sequence[Any]], name: str, given: str | Path | None = None, *, box: str = FOLDER_PLUGIN,
    force: bool = False,
) -> Path:  # fmt: skip
    """Write parts into a box of the user's as ``fit-NAME.toml``, where every command finds them.

    Parameters
    ----------
    parts : mapping
        Kind (``motors`` and so on) to parts; their ids are made of their names.
    name : str
        Of the whole.
    given : path, optional
        Folder of the user's parts; default as :func:`propmatch.catalogue.boxes.parts_folder`.
    box : str
        Its folder is made where it is not there.
    force : bool
        Whether a file may be replaced that holds something else, or was changed by hand.

    Returns
    -------
    Path
        The file; the same parts give the same bytes.

    Raises
    ------
    InputFaults
        It holds what is not of a fit of this name, or another file of the box has a part of one of these names.
    OSError
        It cannot be written.
    """
    folder, stem = box_folder(box, given, where="--box"), f"fit-{file_name(name)}"
    file = folder / f"{stem}.toml"
    body, tables = _texts(parts, stem)
    faults = [] if force else _foreign(file, name)
    faults += _taken(parts, file, given, box)
    if faults:
        raise InputFaults(faults)
    folder.mkdir(parents=True, exist_ok=True)
    for place in tables:
        (folder / place).parent.mkdir(exist_ok=True)
    mark = f"{_MARK}{_digest(name, body)}\n\n"
    write_files([*((folder / place, text) for place, text in tables.items()), (file, mark + body)], force=True)
    return file


def add_parts(
    parts: Sequence[tuple[str, Any]], box: str, given: str | Path | None = None, *, force: bool = False
) -> tuple[Path, list[str]]:
    """Add parts to a box, behind what its file ``added.toml`` holds.

    Parameters
    ----------
    parts : sequence of (kind, part)
        The half of an id behind the stroke is kept, else the name is the id.
    box : str
        Its folder is made where it is not there.
    given : path, optional
        Folder of the user's parts; default as :func:`propmatch.catalogue.boxes.parts_folder`.
    force : bool
        Whether a part of that file may be replaced by one of the same id.

    Returns
    -------
    tuple of Path and list of str
        The file, and the ids written; parts that are there with the same numbers are passed over.

    Raises
    ------
    InputFaults
        A part of the box has this id already, two have the same, or the file is faulty; nothing is then written.
    OSError
        It cannot be written.
    """
    folder = box_folder(box, given, where="--box")
    file = folder / ADDED
    found = read_toml(file) if file.exists() else None
    faults = list(found.faults) if found is not None else []
    blocks = {} if found is None else _blocks(found)
    text = file.read_text(encoding="utf-8-sig") if found is not None and not faults else ""
    lines = text.splitlines(keepends=True)
    there = load_catalogue(plugins=[FOLDER_PLUGIN], parts=given)
    new: dict[tuple[str, str], str] = {}
    for kind, part in parts:
        own = part.id.partition("/")[2] if part.id else part.name
        key, before = (kind, own), there.listed(kind).get(f"{box}/{own}")
        bare = replace(part, id=None if own == part.name else own)
        block = dump_lists({kind: [bare]})
        if key in new:
            faults.append(Fault("--add", "name", own, f"two {kind} have this name", "give one another"))
        elif before is not None and same_numbers(before, bare):
            continue
        elif before is not None and key not in blocks:
            rule = f"another file of the box '{box}' has {kind} of this name"
            faults.append(Fault("--add", "name", own, rule, "change it there, or give this one another name"))
        elif key in blocks and not force:
            rule = f"the box '{box}' has {kind} of this name with other numbers"
            faults.append(Fault("--add", "name", own, rule, "--force replaces it; or give this one another name"))
        new[key] = block
    if faults:
        raise InputFaults(faults)
    for key in sorted(set(new) & blocks.keys(), key=blocks.__getitem__, reverse=True):
        begin, end = blocks[key]
        lines[begin:end] = []
    if new:
        kept = "".join(lines).rstrip("\n")
        folder.mkdir(parents=True, exist_ok=True)
        write_file(file, (f"{kept}\n\n" if kept else "") + "\n".join(new.values()), force=True)
    return file, [f"{box}/{own}" for _, own in new]


def same_numbers(one: Any, other: Any) -> bool:
    """Whether two parts differ in nothing but id and source."""
    return bool(replace(one, id=other.id, source=other.source) == other)


def _blocks(found: Any) -> dict[tuple[str, str], tuple[int, int]]:
    """Kind and id of every part of a file to the lines that hold it, up to the next part."""
    heads = sorted(line - 1 for path, line in found.lines.items() if path.endswith("]") and "." not in path)
    spans = dict(zip(heads, [*heads[1:], None], strict=False))
    made: dict[tuple[str, str], tuple[int, int]] = {}
    for kind, members in found.data.items():
        for number, member in enumerate(members if isinstance(members, list) else (), start=1):
            begin = found.lines[f"{kind}[{number}]"] - 1
            own = member.get("id", member.get("name")) if isinstance(member, dict) else None
            made[kind, str(own)] = (begin, spans[begin] or 10**9)
    return made


def _texts(parts: Mapping[str, Sequence[Any]], stem: str) -> tuple[str, dict[str, str]]:
    """The parts as TOML, and the coefficient tables of propellers by the place that the TOML names."""
    blocks: list[str] = []
    tables: dict[str, str] = {}
    for kind, some in parts.items():
        for part in some:
            text, head = dump_lists({kind: [part]}), f"[[{kind}]]\n"
            if getattr(part, "table", None) is not None:
                place = f"tables/{stem}-{len(tables) + 1}.csv"
                tables[place] = _table_text(part.table)
                text = f'{head}table = "{place}"\n{text.removeprefix(head)}'
            blocks.append(text)
    return "\n".join(blocks), tables


def _table_text(table: Any) -> str:
    grid = [
        f"{rpm:.6g},{j:.6g},{table.ct[at, along]:.6g},{table.cp[at, along]:.6g}\n"
        for at, rpm in enumerate(table.rpm)
        for along, j in enumerate(table.advance_ratio)
    ]
    return "rpm,J,CT,CP\n" + "".join(grid)


def _digest(name: str, body: str) -> str:
    return hashlib.sha256(f"{name}\n{body}".encode()).hexdigest()


def _foreign(file: Path, name: str) -> list[Fault]:
    """A fault where a file holds anything but what :func:`keep_parts` wrote under this name."""
    if not file.exists():
        return []
    text = file.read_bytes().decode("utf-8", errors="replace")
    digest, _, body = text.removeprefix(_MARK).partition("\n\n")
    if text.startswith(_MARK) and digest == _digest(name, body):
        return []
    rule = "holds parts that are not of a fit of this name, or were changed by hand since"
    return [Fault(str(file), value=name, rule=rule, hint="--force replaces it, --save NAME writes another")]


def _taken(parts: Mapping[str, Sequence[Any]], file: Path, given: str | Path | None, box: str) -> list[Fault]:
    """Names that a part of another file in the box has already."""
    if not parts_folder(given).is_dir():
        return []
    catalogue = load_catalogue(plugins=[FOLDER_PLUGIN], parts=given)
    own = read_toml(file).data if file.exists() else {}
    return [
        Fault("--save", value=part.name, rule=f"another file of {file.parent} has {kind} of this name",
              hint="choose another: --save NAME")
        for kind, some in parts.items() for part in some
        if f"{box}/{part.name}" in catalogue.listed(kind)
        and part.name not in [each.get("name") for each in own.get(kind, []) if isinstance(each, dict)]
    ]  # fmt: skip
