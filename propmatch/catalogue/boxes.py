"""Where a user's own parts are: one folder, and in it a sub-folder for each box (``mine``, ``club``, ``shop``).

The folder is the one given (``--parts``), else that of the variable PROPMATCH_PARTS, else ``parts`` in the user data
folder of the platform. A sub-folder of it is a box, and its parts are ``box/part``; files that lie directly in the
folder are the box ``parts``. The sub-folder ``tables`` is no box: measured propellers of the box ``parts``.
"""

import os
from collections.abc import Collection
from pathlib import Path

from propmatch.catalogue.plugins import FOLDER_PLUGIN, plugin_names
from propmatch.faults import Fault, InputFaults

__all__ = ["FOLDER_VARIABLE", "TABLES", "box_fault", "box_folder", "boxes", "parts_folder"]

FOLDER_VARIABLE = "PROPMATCH_PARTS"
TABLES = "tables"
"""Sub-folder of measured propellers, and the name of the plugin that reads them: no box can have it."""
_LONGEST = 60
_DEVICES = {"con", "prn", "aux", "nul", *(f"{name}{n}" for name in ("com", "lpt") for n in range(1, 10))}


def parts_folder(given: str | Path | None = None) -> Path:
    """The folder of the user's parts; the platform's own need not exist yet.

    Raises
    ------
    InputFaults
        A folder that was named does not exist.
    """
    named = given if given is not None else os.environ.get(FOLDER_VARIABLE) or None
    if named is None:
        import platformdirs

        return Path(platformdirs.user_data_dir("propmatch", appauthor=False)) / "parts"
    if not Path(named).is_dir():
        by = "--parts" if given is not None else FOLDER_VARIABLE
        raise InputFaults([Fault(str(named), rule="no such folder", hint=f"named by {by}; make it first")])
    return Path(named)


def box_folder(name: str, given: str | Path | None = None, *, where: str = "box") -> Path:
    """The folder of a box, which need not exist yet; ``parts`` is the folder of the user's parts itself.

    Parameters
    ----------
    name : str
    given : path, optional
        Folder of the user's parts, as :func:`parts_folder` takes it.
    where : str
        Named by a fault.

    Raises
    ------
    InputFaults
        A name that no box can have, or a folder that was named and does not exist.
    """
    if name == FOLDER_PLUGIN:
        return parts_folder(given)
    if fault := box_fault(name, where):
        raise InputFaults([fault])
    return parts_folder(given) / name


def box_fault(name: str, where: str = "box", taken: Collection[str] | None = None) -> Fault | None:
    """Why a box cannot have this name; ``taken`` are the names of the plugins, by default of all that are installed."""
    plugins = {each.lower() for each in (plugin_names() if taken is None else taken)}
    rule, hint = "", "such as mine, club or shop"
    if name.lower() in {*plugins, FOLDER_PLUGIN, TABLES}:
        rule = "is the name of a plugin: its parts and those of the box would share ids"
    elif not name or len(name) > _LONGEST or name != name.strip() or name.endswith("."):
        rule = f"must have 1 to {_LONGEST} signs, no blank at an end and no point behind"
    elif not name[0].isalnum() or not all(sign.isalnum() or sign in " -_." for sign in name):
        rule = "must be letters, digits, blanks, - _ and points, a letter or digit first"
    elif name.partition(".")[0].lower() in _DEVICES:
        rule = "is the name of a device on some systems"
    return Fault(where, value=name, rule=rule, hint=hint) if rule else None


def boxes(given: str | Path | None = None) -> tuple[dict[str, Path], list[Fault]]:
    """Name to folder of every box, ``parts`` first, and a warning for each sub-folder whose name no box can have.

    Raises
    ------
    InputFaults
        A folder that was named does not exist.
    """
    folder = parts_folder(given)
    found: dict[str, Path] = {}
    faults: list[Fault] = []
    if not folder.is_dir():
        return found, faults
    found[FOLDER_PLUGIN] = folder
    taken = plugin_names()
    for path in sorted(folder.iterdir()):
        if not path.is_dir() or path.name.startswith(".") or path.name.lower() == TABLES:
            continue
        if fault := box_fault(path.name, str(path), taken):
            faults.append(Fault(fault.where, rule=f"a box {fault.rule}" if fault.rule.startswith("must") else
                                f"its name {fault.rule}", hint="rename the folder; its parts are not used",
                                kind="warning"))  # fmt: skip
        else:
            found[path.name] = path
    return found, faults
