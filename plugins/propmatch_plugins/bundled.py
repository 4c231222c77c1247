"""The bundled catalogue, all invented: the tables of ``propmatch_datasets`` through the same door as anyone else's."""

from collections.abc import Callable, Iterator
from typing import Any

from propmatch.hookspecs import PartRow, PartSet, hookimpl

__all__ = ["propmatch_controllers", "propmatch_motors", "propmatch_packs", "propmatch_propellers"]

INVENTED = "invented for the bundled catalogue"


def _set(kind: str, description: str, source: str, source_kind: str = "assumed") -> list[PartSet]:
    def load() -> Iterator[PartRow]:
        return _rows(kind)

    return [PartSet(id=kind, description=description, source=source, source_kind=source_kind, load=load)]


@hookimpl
def propmatch_motors() -> list[PartSet]:
    return _set("motors", "outrunners, stators of 16 to 29 mm", INVENTED)


@hookimpl
def propmatch_controllers() -> list[PartSet]:
    return _set("controllers", "controllers, 5 to 53 A", INVENTED)


@hookimpl
def propmatch_packs() -> list[PartSet]:
    return _set("packs", "packs, one to four cells, 190 to 2780 mAh", INVENTED)


@hookimpl
def propmatch_propellers() -> list[PartSet]:
    return _set(
        "propellers",
        "propellers, 3 to 10 in, five families of blades",
        f"{INVENTED}; coefficients predicted from diameter, pitch, blades and family",
        "predicted",
    )


def _rows(kind: str) -> Iterator[PartRow]:
    """Rows of one bundled table; an empty field is a value not given."""
    import csv

    from propmatch.records.fields import declared
    from propmatch.records.parts import KINDS
    from propmatch_datasets import path

    kinds = {rule.name: rule.kind for rule in declared(KINDS[kind])} | {"uncertainty": "number"}
    read: dict[str, Callable[[str], Any]] = {"number": float, "integer": float, "flag": "true".__eq__}
    tables = _tables() if kind == "propellers" else {}
    lines = path(f"{kind}.csv").read_text(encoding="utf-8").splitlines()
    for number, row in enumerate(csv.DictReader(lines), start=2):
        values = {key: read.get(kinds.get(key, ""), str)(text) for key, text in row.items() if text}
        if kind == "propellers":
            values["table"] = tables.get(row["id"])
        yield PartRow(values=values, where=f"{kind}.csv:{number}")


def _tables() -> dict[str, Any]:
    """Coefficient table of each propeller: rows in blocks of one propeller, by rpm and then by advance ratio."""
    import numpy as np

    from propmatch.models.tables import CoefficientTable
    from propmatch_datasets import path

    lines = path("propeller_tables.csv").read_text(encoding="ascii").splitlines()[1:]
    names = [line.partition(",")[0] for line in lines]
    values = np.loadtxt(lines, delimiter=",", usecols=(1, 2, 3, 4))
    starts = [at for at, name in enumerate(names) if at == 0 or name != names[at - 1]]
    tables = {}
    for start, end in zip(starts, [*starts[1:], len(names)], strict=True):
        block = values[start:end]
        rows = int(np.count_nonzero(block[:, 1] == 0.0))
        grid = block.reshape(rows, -1, 4)
        tables[names[start]] = CoefficientTable(
            rpm=grid[:, 0, 0], advance_ratio=grid[0, :, 1], ct=grid[:, :, 2], cp=grid[:, :, 3]
        )
    return tables
