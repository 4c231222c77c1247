"""``--save``: a fit kept as parts in the user's folder, where every command finds them."""

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any, TypeVar

import attrs
import click

if TYPE_CHECKING:
    from propmatch.bench.logfit import LogFit
    from propmatch.faults import Fault

__all__ = ["Kept", "keep", "save_options"]

F = TypeVar("F", bound=Callable[..., Any])


def save_options(function: F) -> F:
    """--save, --force."""
    for option in (
        click.option("--force", is_flag=True, help="With --save: replace a file that is not of a fit, or was changed."),
        click.option("--save", metavar="[NAME]", is_flag=False, flag_value="", default=None,
                     help="After LOG: keep the motor among your parts, for all commands.  [default: the motor's name]"),
    ):  # fmt: skip
        function = option(function)
    return function


@attrs.frozen(kw_only=True)
class Kept:
    """Where a fit was kept: sentences, notes, and what the JSON says; empty where it was not asked for."""

    said: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    data: Mapping[str, Any] | None = None


def _wrong_name(name: str) -> "Fault | None":
    """Why no command could find a part of this name."""
    from propmatch.faults import Fault
    from propmatch.records.typed import looks_typed

    rule = ""
    if not name.isprintable():
        rule = "must be one line"
    elif any(mark in name for mark in ("/", "\\", " + ")):
        rule = "must be without /, \\ and ' + ', which part the ids of a train"
    elif name.startswith(".") or not any(map(str.isalnum, name)):
        rule = "must begin with no dot, and have a letter or digit"
    elif looks_typed(name):
        rule = "reads as a part typed in numbers"
    return Fault("--save", value=name, rule=rule, hint="such as --save 'bench falke'") if rule else None


def keep(fit: "LogFit", options: Mapping[str, Any]) -> Kept:
    """Keep a fit where the options ask for it; one that says too little is not, and that is said.

    Raises
    ------
    InputFaults
        The name is taken by what is not of a fit, or no command could find it.
    OSError
        The folder cannot be written.
    """
    from propmatch.bench.saved import is_fitted, saved_parts
    from propmatch.catalogue.ownparts import keep_parts
    from propmatch.catalogue.plugins import FOLDER_PLUGIN
    from propmatch.commands.fits import substitutes
    from propmatch.commands.trains import LazyCatalogue
    from propmatch.faults import InputFaults

    if options["save"] is None:
        return Kept()
    name = options["save"].strip() or fit.known.name
    if wrong := _wrong_name(name):
        raise InputFaults([wrong])
    again = f"'{fit.known.name}' is of an earlier fit; better fit all rows in one log, as rows of both count twice."
    notes = (again,) if is_fitted(fit.known) else ()
    if not fit.usable:
        said = "Not saved: the rows say too little for a motor, or contradict each other."
        return Kept(said=(said,), notes=notes)
    stock = LazyCatalogue(options["parts_folder"], options["strict"])
    packs = [substitutes(stock, {"pack": text})[0]["pack"] for text in options["pack"]]
    parts = saved_parts(fit, name, packs)
    file = keep_parts(parts, name, options["parts_folder"], force=options["force"])
    ids = [f"{FOLDER_PLUGIN}/{part.name}" for some in parts.values() for part in some]
    said = f"Kept as {' and '.join(ids)} in {file}; every command knows it by that id."
    return Kept(said=(said,), notes=notes, data={"file": str(file), "ids": ids})
