"""Tables of parts dropped on the page: read as ``parts --add`` reads them, shown, and laid over the catalogue."""

from collections.abc import Iterable
from functools import lru_cache
from typing import Any

import attrs

from propmatch.catalogue.boxes import box_fault
from propmatch.catalogue.catalogue import Catalogue
from propmatch.catalogue.ownparts import same_numbers
from propmatch.catalogue.pasted import Pasted, read_pasted
from propmatch.catalogue.plugins import FOLDER_PLUGIN
from propmatch.faults import Fault, InputFaults
from propmatch.page.hints import WORKBOOKS, for_page
from propmatch.records.fields import replace
from propmatch.records.parts import KINDS
from propmatch.words.partwords import list_rows

__all__ = ["table_answer", "with_tables"]

_BOX = "mine"


@attrs.frozen
class _Table:
    """A table as a request carries it."""

    name: str
    text: str
    kind: str | None
    box: str

    @classmethod
    def of(cls, table: Any) -> "_Table":
        """Checked; ``kind`` may be left open, the box is ``mine`` unless it says another.

        Raises
        ------
        InputFaults
            Every key that is not what it must be.
        """
        held = table if isinstance(table, dict) else {}
        faults = [
            Fault("table", key, rule="must be text") for key in ("name", "text") if not isinstance(held.get(key), str)
        ]
        kind, box = held.get("kind") or None, held.get("box") or _BOX
        if kind is not None and kind not in KINDS:
            faults.append(Fault("table", "kind", kind, f"must be one of {', '.join(KINDS)}"))
        if not isinstance(box, str):
            faults.append(Fault("table", "box", rule="must be text"))
        elif box != FOLDER_PLUGIN and (fault := box_fault(box, "table")):
            faults.append(fault)
        if not faults and (held["name"].lower().endswith(WORKBOOKS) or "\0" in held["text"]):
            faults.append(
                Fault(held["name"], rule="is not text", hint="save it as CSV in your spreadsheet, then drop it")
            )
        if faults:
            raise InputFaults(faults)
        return cls(held["name"], held["text"], kind, box)


def _same(column: str) -> bool:
    """Whether a line ``theirs -> ours`` says twice the same."""
    theirs, _, ours = column.partition(" -> ")
    return theirs.strip() == ours.strip()


@lru_cache(maxsize=16)
def _read(table: _Table) -> Pasted:
    return read_pasted(table.text.encode(), table.kind, table.name)


def with_tables(catalogue: Catalogue, tables: Any) -> Catalogue:
    """The catalogue with the parts of tables, each in its box, as if ``parts --add --save`` had kept them.

    Raises
    ------
    InputFaults
        A table without parts; a part whose name is taken by another with other numbers.
    """
    if not tables:
        return catalogue
    if not isinstance(tables, list):
        raise InputFaults([Fault("table", rule="must be a list of tables")])
    return _laid_over(catalogue, tuple(_Table.of(each) for each in tables))


@lru_cache(maxsize=8)
def _laid_over(catalogue: Catalogue, tables: tuple[_Table, ...]) -> Catalogue:
    new: dict[tuple[str, str], Any] = {}
    faults = [fault for table in tables for fault in _new_parts(catalogue, table, new)]
    if faults:
        raise InputFaults(faults)
    by_kind: dict[str, list[Any]] = {}
    for (kind, _), part in new.items():
        by_kind.setdefault(kind, []).append(part)
    return catalogue.with_parts(**by_kind)


def _new_parts(catalogue: Catalogue, table: _Table, new: dict[tuple[str, str], Any]) -> Iterable[Fault]:
    """Add the parts of a table that are not there to ``new``, by kind and id; why others cannot be."""
    for kind, part in _read(table).parts:
        name = part.id.partition("/")[2] if part.id else part.name
        key = kind, f"{table.box}/{name}"
        before = catalogue.listed(kind).get(key[1])
        if key in new:
            yield Fault(table.name, "name", name, f"two {kind} have this name", "give one another")
        elif before is None:
            new[key] = replace(part, id=key[1])
        elif not same_numbers(before, part):
            rule = f"the box '{table.box}' has {kind} of this name with other numbers"
            yield Fault(table.name, "name", name, rule, "give this one another name, or take another box")


def table_answer(catalogue: Catalogue, table: Any) -> dict[str, Any]:
    """What a table holds, as it would be read, and what keeps it from being used.

    Raises
    ------
    InputFaults
        Nothing of it is a part.
    """
    asked = _Table.of(table)
    pasted = _read(asked)
    taken = list(_new_parts(catalogue, asked, {}))
    lists = [(kind, list_rows(kind, pasted.by_id(kind, asked.box))) for kind in pasted.counts]
    return {
        "sentence": f"{pasted.sentence}.",
        "columns": [each for each in map(str, pasted.columns) if not _same(each)],
        "lists": [
            {"kind": kind, "heads": heads, "rows": [[row.get(head, "") for head in heads] for row in rows]}
            for kind, rows in lists
            for heads in [list(dict.fromkeys(head for row in rows for head in row))]
        ],
        "wrong": [str(for_page(fault)) for fault in (*pasted.faults, *taken) if fault.kind == "fault"],
        "notes": [str(for_page(fault)) for fault in pasted.faults if fault.kind != "fault"],
        "usable": not taken,
    }
