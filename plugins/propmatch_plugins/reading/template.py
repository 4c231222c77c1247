"""Empty files to fill in: columns, units and notes from the declarations, and one example row of each kind.

The example parts are invented; reading a template back gives exactly them.
"""

import errno
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from propmatch.faults import Fault, InputFaults
from propmatch.files import write_files
from propmatch.records.fields import Declared
from propmatch.records.parts import KINDS
from propmatch_plugins.reading.heading import columns_of

__all__ = ["EXAMPLES", "columns_with_notes", "write_template"]

_SOURCE = {"source": "example row, invented: replace it", "source_kind": "assumed"}

EXAMPLES: dict[str, dict[str, Any]] = {
    "motors": {
        "id": "0042", "name": "example outrunner 2109", "kv_rpm_per_v": 1450, "mass_g": 28, "kv_kind": "label",
        "resistance_ohm": 0.145, "no_load_current_a": 0.5, "no_load_voltage_v": 8, "max_current_a": 12,
        "burst_current_a": 16, "burst_seconds": 20, "max_power_w": 120, "cells_min": 2, "cells_max": 3, **_SOURCE,
    },
    "controllers": {
        "id": "c20", "name": "example controller 20 A", "max_current_a": 20, "mass_g": 18, "resistance_mohm": 4,
        "burst_current_a": 25, "burst_seconds": 10, "servo_supply": "switching", "servo_supply_v": 5, "cells_min": 2,
        "cells_max": 4, **_SOURCE,
    },
    "packs": {
        "id": "2s-850", "name": "example pack 2S 850", "cells_series": 2, "capacity_mah": 850, "c_rating": 30,
        "mass_g": 52, "chemistry": "lipo", "cell_resistance_mohm": 14, "lead_resistance_mohm": 8,
        "burst_c_rating": 45, **_SOURCE,
    },
    "propellers": {
        "id": "8x4.5", "name": "example 8x4.5", "diameter_in": 8, "pitch_in": 4.5, "blades": 2, "mass_g": 8.5,
        "max_rpm": 16000, "family": "thick", **_SOURCE,
    },
}  # fmt: skip
"""One invented part of each kind."""

_INTRODUCTION = (
    "One row for each part. Leave a cell empty where the value is not known: an estimate stands in and says so.",
    "Numbers without unit words; the unit of a column is in its name. Keep the first row.",
)


def columns_with_notes(kind: str) -> list[tuple[str, str]]:
    """The columns of a kind in order, id first, each with its meaning, its rule and whether it is needed."""
    rules = columns_of(kind)
    return [(name, _note(rules[name])) for name in ("id", *(name for name in rules if name != "id"))]


def _note(rule: Declared) -> str:
    need = "needed" if rule.required else "may stay empty"
    default = f", then {rule.default}" if not rule.required and rule.default is not None else ""
    what = "part's half of the id, its name if empty" if rule.name == "id" else rule.doc
    return f"{what}: {rule.rule}; {need}{default}"


def write_template(path: str | Path, *, force: bool = False) -> tuple[Path, ...]:
    """Write empty files to fill in.

    Parameters
    ----------
    path : path
        ``NAME.xlsx``: a workbook with a sheet for each kind; ``NAME.toml``: one TOML file; ``motors.csv`` and the
        like: one table of that kind; without an ending: a folder with one CSV file for each kind.
    force : bool
        Whether files that are there may be replaced.

    Returns
    -------
    tuple of Path
        The files written.

    Raises
    ------
    InputFaults
        Another ending, or the extra for workbooks is not installed.
    OSError
        A file cannot be written (``FileExistsError``: it is there and ``force`` is off); none is then.
    """
    path = Path(path)
    suffix = path.suffix.lower()
    kind = next((kind for kind in KINDS if path.stem.lower().startswith(kind)), None)
    if suffix == ".xlsx":
        return _write({path: _workbook(path)}, force)
    if suffix == ".toml":
        return _write({path: _toml()}, force)
    if suffix == ".csv" and kind is not None:
        return _write({path: _csv(kind)}, force)
    if suffix == "":
        return _write({path / f"{kind}.csv": _csv(kind) for kind in KINDS}, force)
    names = ", ".join(f"{kind}.csv" for kind in KINDS)
    rule = f"cannot tell what to write: name it NAME.xlsx, NAME.toml, one of {names}, or a folder without an ending"
    raise InputFaults([Fault(str(path), rule=rule)])


def _write(files: Mapping[Path, str | bytes], force: bool) -> tuple[Path, ...]:
    """Write them into a folder that is made where it is not there, such as a box of one's parts."""
    folder = next(iter(files)).parent
    if folder.is_file():
        raise NotADirectoryError(errno.ENOTDIR, "is a file; name a folder", str(folder))
    folder.mkdir(parents=True, exist_ok=True)
    return write_files(files.items(), force=force)


def _csv(kind: str) -> str:
    import csv
    import io

    out = io.StringIO()
    last = "Lines that begin with # and a blank are notes."
    for line in (f"{kind}: {_INTRODUCTION[0]}", *_INTRODUCTION[1:], last, ""):
        out.write(f"# {line}".rstrip() + "\n")
    columns = columns_with_notes(kind)
    for name, note in columns:
        out.write(f"# {name}: {note}\n")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow([name for name, _ in columns])
    writer.writerow([EXAMPLES[kind].get(name, "") for name, _ in columns])
    return out.getvalue()


def _toml() -> str:
    return "\n".join(_toml_lines()) + "\n"


def _toml_lines() -> Iterator[str]:
    import json

    yield from (f"# {line}" for line in _INTRODUCTION)
    yield "# Repeat a block with its heading for every further part; a line that begins with # is a note."
    for kind in KINDS:
        yield ""
        yield f"[[{kind}]]"
        for name, note in columns_with_notes(kind):
            value = EXAMPLES[kind].get(name)
            yield f"# {note}"
            yield f"# {name} =" if value is None else f"{name} = {json.dumps(value)}"


def _workbook(path: Path) -> bytes:
    import io

    try:
        from openpyxl import Workbook
        from openpyxl.comments import Comment
        from openpyxl.styles import Font
    except ImportError:
        rule = "writing workbooks needs the extra 'spreadsheets', which is not installed"
        hint = "install it: pip install 'propmatch[spreadsheets]'"
        raise InputFaults([Fault(str(path), rule=rule, hint=hint)]) from None
    book = Workbook()
    book.remove(book.active)
    bold = Font(bold=True)
    for kind in KINDS:
        sheet = book.create_sheet(kind)
        rules = columns_of(kind)
        for at, (name, note) in enumerate(columns_with_notes(kind), start=1):
            head, cell = sheet.cell(1, at, name), sheet.cell(2, at, EXAMPLES[kind].get(name))
            head.font, head.comment = bold, Comment(note, "propmatch")
            sheet.column_dimensions[head.column_letter].width = max(10, len(name) + 2)
            if rules[name].kind in ("text", "choice"):
                cell.number_format = "@"
                sheet.column_dimensions[head.column_letter].number_format = "@"
        sheet.freeze_panes = "A2"
    notes = book.create_sheet("notes")
    for row in (*((line,) for line in _INTRODUCTION), (), ("sheet", "column", "unit", "meaning")):
        notes.append(row)
    for kind in KINDS:
        for name, note in columns_with_notes(kind):
            notes.append((kind, name, columns_of(kind)[name].unit, note))
    notes.column_dimensions["B"].width, notes.column_dimensions["D"].width = 24, 90
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()
