"""``--save``: a fit kept as parts in the user's folder, where every command finds them."""

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any, TypeVar

import attrs
import click

if TYPE_CHECKING:
    from propmatch.bench.logfit import LogFit
    from propmatch.commands.trains import LazyCatalogue
    from propmatch.faults import Fault
    from propmatch.records.parts import Propeller

__all__ = ["Kept", "keep", "save_options"]

_EXACT = 0.001
"""sd of ln of what a fit says at rest while flight is predicted from it; what is open in it, the source keeps."""
F = TypeVar("F", bound=Callable[..., Any])


def save_options(function: F) -> F:
    """--save, --box, --force."""
    for option in (
        click.option("--box", metavar="NAME",
                     help="With --save: the box, a sub-folder of your parts.  [default: parts]"),
        click.option("--force", is_flag=True,
                     help="Replace a picture that exists, or with --save a file that is not of a fit, or was changed."),
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


def _flight_after_rest(stock: "LazyCatalogue", part: "Propeller") -> "Propeller":
    """A fitted propeller whose table was predicted, with flight predicted anew from what it reads at rest."""
    from propmatch.commands.trains import table_answer
    from propmatch.records.fields import replace

    if part.read_rpm is None or part.table is None:
        return part
    exact = replace(part.source, sd_ln={"ct": _EXACT, "cp": _EXACT}, correlations=())
    found = table_answer(stock.catalogue, replace(part, table=None, source=exact), "--save").table
    kept, made = (table.lookup(part.read_rpm, 0.0) for table in (part.table, found))
    at_rest = found.times(ct=float(kept.ct / made.ct), cp=float(kept.cp / made.cp))
    text = f"{part.source.text}; in flight as such readings suggest"
    return replace(part, table=at_rest, source=replace(part.source, text=text))


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
    from propmatch.catalogue.boxes import box_folder
    from propmatch.catalogue.ownparts import keep_parts
    from propmatch.catalogue.plugins import FOLDER_PLUGIN
    from propmatch.commands.fits import substitutes
    from propmatch.commands.trains import LazyCatalogue
    from propmatch.faults import InputFaults

    if options["save"] is None:
        if options["box"] is not None:
            raise click.UsageError("--box goes with --save", click.get_current_context())
        return Kept()
    box = FOLDER_PLUGIN if options["box"] is None else options["box"]
    box_folder(box, options["parts_folder"], where="--box")
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
    parts = dict(saved_parts(fit, name, packs))
    if "propellers" in parts:
        parts["propellers"] = [_flight_after_rest(stock, each) for each in parts["propellers"]]
    file = keep_parts(parts, name, options["parts_folder"], box=box, force=options["force"])
    ids = [f"{box}/{part.name}" for some in parts.values() for part in some]
    said = f"Kept as {' and '.join(ids)} in {file}; every command knows it by that id."
    return Kept(said=(said,), notes=notes, data={"file": str(file), "ids": ids})
