"""Files that a command writes: what is wrong with a name is said before anything is worked out."""

import os
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

if TYPE_CHECKING:
    from propmatch.faults import Fault

__all__ = ["check_file", "disk_fault", "file_faults", "force_option"]

F = TypeVar("F", bound=Callable[..., Any])
_TABLES = (".toml", ".csv", ".tsv", ".txt", ".xlsx", ".ods")
"""Endings of files in a folder of parts that are read."""


def force_option(function: F) -> F:
    """--force."""
    return click.option("--force", is_flag=True, help="Replace files that exist.")(function)


def disk_fault(error: OSError, command: str = "") -> "Fault":
    """Why a file cannot be read or written, and for one that is there how it may be."""
    from propmatch.faults import Fault

    hint = "--force replaces it, another name keeps both" if isinstance(error, FileExistsError) else ""
    return Fault(str(error.filename or command), rule=error.strerror or str(error), hint=hint)


def file_faults(option: str, path: str | Path | None, *, force: bool, endings: Sequence[str] = ()) -> "list[Fault]":
    """Why a file that an option names cannot be written; empty where it can, or where none is named."""
    from propmatch.faults import Fault
    from propmatch.files import check_target

    if path is None:
        return []
    faults = []
    if endings and Path(path).suffix.lower() not in endings:
        faults.append(Fault(option, value=str(path), rule=f"must end in {', '.join(endings)}"))
    if others := _also_named_by(option, path):
        return [*faults, Fault(option, value=str(path), rule=f"is a file of {others} too, which would be lost")]
    try:
        check_target(path, force=force)
    except OSError as error:
        faults.append(disk_fault(error))
    return faults


def _also_named_by(option: str, path: str | Path) -> str:
    """The other words and options of the running command that name a file which is there, or its folder of parts."""
    context = click.get_current_context(silent=True)
    if context is None or not os.path.isfile(path):
        return ""
    place = Path(os.path.realpath(path))
    found = []
    for param in context.command.params:
        said = None if option in param.opts else context.params.get(param.name or "")
        named = [Path(os.path.realpath(each)) for each in (said if isinstance(said, tuple) else (said,))
                 if isinstance(each, str | Path)]  # fmt: skip
        within = param.name == "parts_folder" and any(each in place.parents for each in named)
        if place in named or (within and place.suffix.lower() in _TABLES):
            found.append(param.opts[-1] if isinstance(param, click.Option) else param.human_readable_name)
    return " and ".join(found)


def check_file(option: str, path: str | Path | None, *, force: bool, endings: Sequence[str] = ()) -> None:
    """Raise ``InputFaults`` for a file that cannot be written."""
    from propmatch.faults import InputFaults

    if faults := file_faults(option, path, force=force, endings=endings):
        raise InputFaults(faults)
