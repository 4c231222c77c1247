"""The brief of a command: a file, a bundled one, or the wetland logger; ``propmatch briefs`` lists and prints them."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from propmatch.commands.explain import explain_lines, explain_option
from propmatch.commands.options import Command
from propmatch.faults import Fault, InputFaults, did_you_mean

if TYPE_CHECKING:
    from propmatch.records.brief import Brief

__all__ = ["DEFAULT", "command", "open_brief"]

DEFAULT = "wetland_logger"


def open_brief(text: str | None, only: Sequence[str] = ()) -> "tuple[Brief, str]":
    """A brief and a remark on which one it is; empty for a file of the user's.

    ``only`` names the boxes whose parts alone are considered, instead of those that the brief names.

    Raises
    ------
    InputFaults
        Every fault of the file; for a missing file the bundled names too.
    """
    from propmatch.records.fields import replace

    brief, which = _opened(text)
    return replace(brief, parts=replace(brief.parts, only=tuple(dict.fromkeys(only)))) if only else brief, which


def _opened(text: str | None) -> "tuple[Brief, str]":
    from propmatch.records.brief import load_brief, loads_brief
    from propmatch_datasets import briefs

    if text is not None and (text not in briefs() or Path(text).exists()):
        if not Path(text).exists():
            hint = f"give a file, or one of the bundled briefs: {', '.join(briefs())}"
            raise InputFaults([Fault(text, rule="no such file", hint=hint)])
        return load_brief(text), ""
    name = text or DEFAULT
    brief = loads_brief(_bundled(name), f"bundled brief {name}")
    if text is None:
        return brief, f"No brief was named, so this is the bundled one, {brief.aircraft.name}; all of it is invented."
    return brief, "A bundled brief: the aircraft and the parts are invented."


def _bundled(name: str) -> str:
    from propmatch_datasets import path

    return path(f"briefs/{name}.toml").read_text(encoding="utf-8")


def _about(text: str) -> str:
    """The first sentence of the comment that a brief begins with."""
    return text.lstrip("# ").partition("\n")[0].strip()


@click.command("briefs", cls=Command)
@click.argument("name", required=False)
@explain_option
def command(name: str | None, explain: str | None) -> None:
    """List the bundled briefs, or print one to begin from.

    To keep one: propmatch briefs wetland_logger > mine.toml
    """
    from propmatch.words.shown import wrapped
    from propmatch_datasets import briefs

    if explain is not None:
        click.echo("\n".join(explain_lines(explain)))
    elif name is None:
        for each in briefs():
            click.echo("\n".join(wrapped(f"{each}: {_about(_bundled(each))}", rest="  ")))
    elif name in briefs():
        click.echo(_bundled(name), nl=False)
    else:
        hint = did_you_mean(name, briefs()) or f"they are {', '.join(briefs())}"
        raise InputFaults([Fault("briefs", value=name, rule="no bundled brief has this name", hint=hint)])
