"""A bench log dropped on the page: its fit, drawn, and the catalogue with the motor that it gives."""

from functools import lru_cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import attrs

from propmatch.bench.fit import fit_log
from propmatch.bench.logfit import LogFit
from propmatch.bench.readings import read_log
from propmatch.bench.saved import saved_parts
from propmatch.catalogue.catalogue import Catalogue
from propmatch.faults import Fault, InputFaults
from propmatch.files import write_file
from propmatch.page.hints import WORKBOOKS, for_page
from propmatch.records.fields import replace
from propmatch.records.trainid import joined_ids
from propmatch.sheet.fitcharts import fit_chart
from propmatch.sheet.picture import has
from propmatch.words.fitwords import fit_sentences, open_words

__all__ = ["Benched", "benched", "fit_answer"]


@attrs.frozen(kw_only=True, eq=False)
class Benched:
    """A log that was fitted.

    Attributes
    ----------
    fit : LogFit
    catalogue : Catalogue
        With its motor, where the log says enough for one.
    motor_id : str or None
        Of that motor.
    faults : tuple of Fault
    """

    fit: LogFit
    catalogue: Catalogue
    motor_id: str | None
    faults: tuple[Fault, ...]


def benched(catalogue: Catalogue, log: Any) -> Benched:
    """The fit of a log as a request carries it: its ``name``, its ``text``, and the id of the ``motor`` it is of.

    What is known of that motor counts where the log itself says no label kV.

    Raises
    ------
    InputFaults
        The log cannot be read or fitted.
    """
    wrong = [
        Fault("log", key, rule="must be text")
        for key in ("name", "text") if not isinstance(log, dict) or not isinstance(log.get(key), str)
    ]  # fmt: skip
    if wrong:
        raise InputFaults(wrong)
    if log["name"].lower().endswith(WORKBOOKS):
        raise InputFaults([Fault(log["name"], rule="is a workbook", hint="save it as CSV in your spreadsheet")])
    return _benched(catalogue, log["name"] or "log.csv", log["text"], str(log.get("motor") or ""))


@lru_cache(maxsize=4)
def _benched(catalogue: Catalogue, name: str, text: str, motor_id: str) -> Benched:
    with TemporaryDirectory() as folder:
        file = Path(folder) / f"log{_ending(name)}"
        write_file(file, text, force=True)
        try:
            labelled = any(each.label_kv is not None for each in read_log(file).readings)
            fit = fit_log(file, motor=None if labelled else catalogue.motors.get(motor_id), catalogue=catalogue)
        except InputFaults as error:
            raise InputFaults([_named(fault, file, name) for fault in error.faults]) from None
    fit = attrs.evolve(fit, where=name)
    faults, stock, own = [_named(fault, file, name) for fault in fit.faults], catalogue, None
    if fit.usable:
        try:
            (motor,) = saved_parts(fit, fit.known.name)["motors"]
        except InputFaults as error:
            faults += map(for_page, error.faults)
        else:
            own = f"bench/{motor.name}"
            stock = catalogue.with_parts(motors=[replace(motor, id=own)])
    return Benched(fit=fit, catalogue=stock, motor_id=own, faults=tuple(faults))


def _ending(name: str) -> str:
    """What tells a reader the kind of a log; any name may have been given."""
    return "." + "".join(sign for sign in name.rpartition(".")[2] if sign.isalnum())[:8] if "." in name else ""


def _named(fault: Fault, file: Path, name: str) -> Fault:
    """The fault as the page says it, of the log by the name it was given and not by the file it was read from."""
    return for_page(attrs.evolve(fault, where=fault.where.replace(str(file), name)))


def fit_answer(found: Benched, train: str) -> dict[str, Any]:
    """What the log says, in words and drawn, and a train with its motor in place of the other."""
    picture = fit_chart(found.fit)
    ids = train.split(" + ")
    return {
        "words": fit_sentences(found.fit),
        "open": open_words(found.fit),
        "wrong": [str(fault) for fault in found.faults],
        "svg": picture.svg() if has("matplotlib") else "",
        "motor": found.motor_id,
        "train": joined_ids([found.motor_id, *ids[1:]]) if found.motor_id and len(ids) > 1 else None,
    }
