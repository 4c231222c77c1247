"""``propmatch parts --add``: a table or typed lines on standard input, shown as they would be read, and kept."""

import sys
from pathlib import Path

import click

from propmatch.commands.output import Reply, show
from propmatch.commands.partswords import list_block, part_row
from propmatch.words.shown import wrapped

__all__ = ["add"]

_ZIP = b"PK\3\4"


def add(kind: str | None, box: str, parts_folder: Path | None, save: bool, force: bool, form: str) -> None:
    """Read standard input, show what it holds, and keep it in a box where that is asked for.

    Raises
    ------
    InputFaults
        Nothing of it is a part, or the box cannot take what is: nothing is then kept.
    """
    from propmatch.catalogue.boxes import box_folder
    from propmatch.catalogue.ownparts import add_parts
    from propmatch.catalogue.pasted import read_pasted
    from propmatch.faults import Fault, InputFaults

    folder = box_folder(box, parts_folder, where="--box")
    if sys.stdin.isatty():
        click.echo("Paste the table with its headings, then end with Ctrl-D (Ctrl-Z and Return on Windows).", err=True)
    raw = sys.stdin.buffer.read()
    if raw.startswith(_ZIP):
        raise InputFaults([Fault("standard input", rule="is a workbook", hint=f"copy its file into {folder}")])
    pasted = read_pasted(raw, kind)
    sentence, parts = pasted.sentence, pasted.parts
    if save:
        file, ids = add_parts(parts, box, parts_folder, force=force)
        left = len(parts) - len(ids)
        sentence += f". Saved {len(ids)} to {file}" if ids else ". Nothing new to save"
        sentence += f"; {left} there already with the same numbers" if left else ""
    else:
        sentence += f". Nothing is saved yet: with --save they go to {folder}"
    blocks = []
    if pasted.columns:
        blocks.append(
            ["Their column -> ours:", *(line for text in pasted.columns for line in wrapped(text, first="  "))]
        )
    blocks += [list_block(each, pasted.by_id(each, box)) for each in pasted.counts]
    rows = [{"kind": each} | part_row(part) for each, part in parts]
    show(Reply(command="parts", headline=wrapped(f"{sentence}."), blocks=blocks, rows=rows, faults=pasted.faults,
               all_faults=True), form=form)  # fmt: skip
