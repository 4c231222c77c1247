"""``propmatch parts --add``: a table or typed lines on standard input, shown as they would be read, and kept."""

import re
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from propmatch.commands.output import Reply, show
from propmatch.commands.partswords import list_block, part_row
from propmatch.faults import Fault, InputFaults
from propmatch.records.parts import KINDS
from propmatch.words.shown import wrapped

if TYPE_CHECKING:
    from propmatch_plugins.reading.preview import Preview

__all__ = ["add"]

_WHERE = "pasted"


def add(kind: str | None, box: str, parts_folder: Path | None, save: bool, force: bool, form: str) -> None:
    """Read standard input, show what it holds, and keep it in a box where that is asked for.

    Raises
    ------
    InputFaults
        Nothing of it is a part, or the box cannot take what is: nothing is then kept.
    """
    from propmatch.catalogue.boxes import box_folder
    from propmatch.catalogue.ownparts import add_parts

    folder = box_folder(box, parts_folder, where="--box")
    if sys.stdin.isatty():
        click.echo("Paste the table with its headings, then end with Ctrl-D (Ctrl-Z and Return on Windows).", err=True)
    parts, faults, columns = _read(sys.stdin.buffer.read(), kind)
    wrong = [fault for fault in faults if fault.kind == "fault"]
    if not parts:
        raise InputFaults(wrong or [Fault(_WHERE, rule="holds no part", hint="the first line names the columns")])
    counts = {each: sum(found == each for found, _ in parts) for each in KINDS}
    said = ", ".join(f"{count} {each if count != 1 else each[:-1]}" for each, count in counts.items() if count)
    sentence = f"Read {said}"
    sentence += f"; {len(wrong)} fault{'s' if len(wrong) != 1 else ''}, below" if wrong else ""
    if save:
        file, ids = add_parts(parts, box, parts_folder, force=force)
        left = len(parts) - len(ids)
        sentence += f". Saved {len(ids)} to {file}" if ids else ". Nothing new to save"
        sentence += f"; {left} there already with the same numbers" if left else ""
    else:
        sentence += f". Nothing is saved yet: with --save they go to {folder}"
    blocks = [columns] if columns else []
    blocks += [list_block(each, _by_id(each, parts, box)) for each, count in counts.items() if count]
    rows = [{"kind": each} | part_row(part) for each, part in parts]
    show(Reply(command="parts", headline=wrapped(f"{sentence}."), blocks=blocks, rows=rows, faults=faults,
               all_faults=True), form=form)  # fmt: skip


def _by_id(kind: str, parts: list[tuple[str, Any]], box: str) -> dict[str, Any]:
    """Parts of a kind under the ids they will have; of two with the same the second shows its place."""
    found: dict[str, Any] = {}
    for each, part in parts:
        if each == kind:
            own = f"{box}/{part.id.partition('/')[2] if part.id else part.name}"
            found[own if own not in found else f"{own} ({len(found) + 1})"] = part
    return found


def _read(raw: bytes, kind: str | None) -> tuple[list[tuple[str, Any]], list[Fault], list[str]]:
    """Parts by kind, what is to be said, and which column was read as which."""
    import attrs

    from propmatch_plugins.reading.delimited import grid_of
    from propmatch_plugins.reading.preview import preview_of

    grid = grid_of(raw, _WHERE, Path())
    typed = _typed(raw, kind) if len(grid.header) == 1 or _typed_line(raw, kind) else ([], [])
    if typed[0]:
        return *typed, []
    if not grid.header:
        return [], grid.faults, []
    preview = preview_of(grid, kind, None, None)
    if typed[1] and not preview.parts and re.search(r"\d", grid.header[0]):
        return *typed, []
    kindless = "say which kind: propmatch parts motors --add, or controllers, packs, propellers"
    faults = [
        attrs.evolve(fault, hint=kindless) if fault.rule == "cannot tell what the rows are" else fault
        for fault in preview.faults
    ]
    return list(preview.parts), faults, _columns(preview)


def _columns(preview: "Preview") -> list[str]:
    lines = [line for column in preview.columns for line in wrapped(str(column), first="  ")]
    return ["Their column -> ours:", *lines]


def _lines(raw: bytes) -> list[tuple[int, str]]:
    text = raw.decode("utf-8-sig", errors="replace")
    return [(at, line.strip()) for at, line in enumerate(text.splitlines(), start=1)
            if line.strip() and not line.startswith("#")]  # fmt: skip


def _typed_line(raw: bytes, kind: str | None) -> bool:
    """Whether the first line is a part itself and no heading."""
    from propmatch.records.typed import looks_typed, read_part

    first = next((line for _, line in _lines(raw)), "")
    if "\t" in first or ";" in first:
        return False
    return looks_typed(first) or (kind is not None and read_part(KINDS[kind], first, _WHERE).part is not None)


def _typed(raw: bytes, kind: str | None) -> tuple[list[tuple[str, Any]], list[Fault]]:
    """Parts typed one a line, of the kind given or of the one kind that understands a line."""
    import attrs

    from propmatch.records.typed import kind_of_name, read_part

    parts: list[tuple[str, Any]] = []
    faults: list[Fault] = []
    for at, line in _lines(raw):
        where = f"{_WHERE}:{at}"
        tried = {each: read_part(KINDS[each], line, where) for each in ((kind,) if kind else KINDS)}
        good = {each: read for each, read in tried.items() if read.part is not None}
        if len(good) == 1:
            ((each, read),) = good.items()
            notes = "; ".join(assumed.text for assumed in read.assumptions)
            parts.append((each, attrs.evolve(read.part, name=line, notes=notes or None)))
        elif kind:
            faults += tried[kind].faults
        else:
            likely = kind_of_name(line) or min(good or tried, key=lambda each: len(tried[each].faults))
            why = next((str(fault) for fault in tried[likely].faults), "").removeprefix(f"{where}: ")
            rule = f"may be {' or '.join(good)}" if good else f"cannot be read; as one of the {likely}: {why}"
            hint = f"say which kind: propmatch parts {likely} --add" if good else ""
            faults.append(Fault(where, value=line, rule=rule, hint=hint))
    return parts, faults
