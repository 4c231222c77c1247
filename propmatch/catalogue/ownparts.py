"""Parts that a command found out, kept in the user's own folder: a TOML file for each name, which says who wrote it."""

import hashlib
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from propmatch.catalogue.catalogue import folder_module, load_catalogue
from propmatch.catalogue.plugins import FOLDER_PLUGIN
from propmatch.faults import Fault, InputFaults
from propmatch.files import file_name, write_file
from propmatch.records.tomltext import dump_lists, read_toml

__all__ = ["keep_parts", "own_folder"]

_MARK = "# Written by propmatch fit: the same name replaces it, unless a line below is changed by hand.\n# sha256 "


def own_folder(given: str | Path | None = None) -> Path:
    """The folder of the user's parts that the catalogue reads: the one given, that of PROPMATCH_PARTS, else the user's.

    Raises
    ------
    InputFaults
        A folder that was named does not exist.
    """
    module = folder_module()
    found: Path = module.chosen_folder(given) or module.user_folder()
    return found


def keep_parts(
    parts: Mapping[str, Sequence[Any]], name: str, given: str | Path | None = None, *, force: bool = False
) -> Path:
    """Write parts into the user's folder as ``fit-NAME.toml``, where every command finds them.

    Parameters
    ----------
    parts : mapping
        Kind (``motors`` and so on) to parts; their ids are made of their names.
    name : str
        Of the whole.
    given : path, optional
        Folder; default as :func:`own_folder`.
    force : bool
        Whether a file may be replaced that holds something else, or was changed by hand.

    Returns
    -------
    Path
        The file; the same parts give the same bytes.

    Raises
    ------
    InputFaults
        It holds what is not of a fit of this name, or another file of the folder has a part of one of these names.
    OSError
        It cannot be written.
    """
    folder, stem = own_folder(given), f"fit-{file_name(name)}"
    file = folder / f"{stem}.toml"
    body, tables = _texts(parts, stem)
    faults = [] if force else _foreign(file, name)
    faults += _taken(parts, file, given)
    if faults:
        raise InputFaults(faults)
    folder.mkdir(parents=True, exist_ok=True)
    for place, text in tables.items():
        (folder / place).parent.mkdir(exist_ok=True)
        write_file(folder / place, text)
    return write_file(file, f"{_MARK}{_digest(name, body)}\n\n{body}")


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


def _taken(parts: Mapping[str, Sequence[Any]], file: Path, given: str | Path | None) -> list[Fault]:
    """Names that a part of another file in the folder has already."""
    if not own_folder(given).is_dir():
        return []
    catalogue = load_catalogue(plugins=[FOLDER_PLUGIN], parts=given)
    own = read_toml(file).data if file.exists() else {}
    return [
        Fault("--save", value=part.name, rule=f"another file of {file.parent} has {kind} of this name",
              hint="choose another: --save NAME")
        for kind, some in parts.items() for part in some
        if f"{FOLDER_PLUGIN}/{part.name}" in catalogue.listed(kind)
        and part.name not in [each.get("name") for each in own.get(kind, []) if isinstance(each, dict)]
    ]  # fmt: skip
