"""The brief of a command: a file, the name of a bundled one, or the wetland logger when nothing is named."""

from pathlib import Path
from typing import TYPE_CHECKING

from propmatch.faults import Fault, InputFaults

if TYPE_CHECKING:
    from propmatch.records.brief import Brief

__all__ = ["DEFAULT", "open_brief"]

DEFAULT = "wetland_logger"


def open_brief(text: str | None) -> "tuple[Brief, str]":
    """A brief and a remark on which one it is; empty for a file of the user's.

    Raises
    ------
    InputFaults
        Every fault of the file; for a missing file the bundled names too.
    """
    from propmatch.records.brief import load_brief, loads_brief
    from propmatch_datasets import briefs, path

    if text is not None and (text not in briefs() or Path(text).exists()):
        if not Path(text).exists():
            hint = f"give a file, or one of the bundled briefs: {', '.join(briefs())}"
            raise InputFaults([Fault(text, rule="no such file", hint=hint)])
        return load_brief(text), ""
    name = text or DEFAULT
    brief = loads_brief(path(f"briefs/{name}.toml").read_text(encoding="utf-8"), f"bundled brief {name}")
    which = "No brief was named, so this is the bundled one" if text is None else "This is the bundled brief"
    return brief, f"{which}, {brief.aircraft.name}: an invented aircraft with invented parts."
