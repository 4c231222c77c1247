"""Files of measured propellers: which columns they have, and the points of each propeller in them.

Two layouts, both plain text. Long tables hold many propellers (``propeller``, optional ``volume`` or other columns
that tell sets apart, ``diameter_in``, ``pitch_in``, ``blades``, ``rpm``, ``J``, ``CT``, ``CP``, and for static sweeps
``rpm``, ``CT0``, ``CP0``). Run files hold one run, ``J CT CP eta``, or one static sweep, ``RPM CT CP``; label, size
and rpm are in their names, as in ``NAME_9x4.5_5000.txt`` and ``NAME_9x4.5_static.txt``. Labels are kept as written.
"""

import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import attrs
import numpy as np

from propmatch.faults import Fault
from propmatch.records.fields import Declared
from propmatch_plugins.reading.cells import read_column
from propmatch_plugins.reading.coefficients import Points
from propmatch_plugins.reading.delimited import read_delimited
from propmatch_plugins.reading.grid import Grid, blocks
from propmatch_plugins.reading.heading import Column

__all__ = ["Specimen", "collect", "layout_of", "lends"]

_NUMBERS = {
    "rpm": Declared(kind="number", name="rpm", unit="rpm", gt=0, le=300000),
    "j": Declared(kind="number", name="J", ge=0, le=10),
    "ct": Declared(kind="number", name="CT", ge=-2, le=2),
    "cp": Declared(kind="number", name="CP", ge=-2, le=2),
    "diameter_in": Declared(kind="number", name="diameter_in", unit="in", gt=0, le=200, default=None),
    "pitch_in": Declared(kind="number", name="pitch_in", unit="in", gt=0, le=200, default=None),
    "blades": Declared(kind="integer", name="blades", ge=1, le=12, default=None),
}
_SAME = {"ct0": "ct", "cp0": "cp", "advance_ratio": "j", "label": "propeller", "name": "propeller", "set": "volume"}
_RUN_NUMBER = re.compile(r"[a-z]{1,3}\d{3,5}|\d{3,5}[a-z]{1,3}")
_SIZE = re.compile(r"(\d+(?:\.\d+)?)x(\d+(?:\.\d+)?)")
_BLADES = re.compile(r"_(\d)b(?:_|$)")


@attrs.define
class Specimen:
    """One propeller as published.

    Attributes
    ----------
    label, volume : str
        As written; the volume is empty where there is none.
    diameter_in, pitch_in, blades : float, float, int or None
    where : str
        First file and line.
    rows : list of tuple
        (rpm, J, CT, CP, run) of every sound point.
    set_aside : int
        Rows left out because of a fault.
    """

    label: str
    volume: str
    where: str
    diameter_in: float | None = None
    pitch_in: float | None = None
    blades: int | None = None
    rows: list[tuple[float, float, float, float, int]] = attrs.field(factory=list)
    set_aside: int = 0

    @property
    def points(self) -> Points:
        """The points as arrays."""
        table = np.array(self.rows, dtype=np.float64).reshape(-1, 5)
        rpm, j, ct, cp = table[:, :4].T
        return Points(rpm, j, ct, cp, table[:, 4].astype(np.intp))


def _roles(header: Sequence[str]) -> dict[str, int]:
    """Role (``rpm``, ``j``, ``ct``, ``cp``, ``propeller``, ...) to place; the first column of a role counts."""
    places: dict[str, int] = {}
    for at, name in enumerate(header):
        lower = name.lower()
        places.setdefault(_SAME.get(lower, lower), at)
    return places


def layout_of(header: Sequence[str]) -> str:
    """``sweep`` (J, CT, CP), ``static`` (rpm, CT, CP) or nothing, for a table of something else."""
    roles = _roles(header)
    if not {"ct", "cp"} <= roles.keys():
        return ""
    return "sweep" if "j" in roles else "static" if "rpm" in roles else ""


def lends(header: Sequence[str]) -> str:
    """``shape`` (blade angles) or ``true diameter`` of measured propellers; nothing for a table of something else."""
    names = set(header)
    if "propeller" not in names:
        return ""
    return "shape" if {"r_over_R", "beta_deg"} <= names else "true diameter" if "true_diameter_in" in names else ""


def collect(
    files: Sequence[Path], *, one: bool = False
) -> tuple[dict[tuple[str, str], Specimen], list[Fault], list[Path]]:
    """Read files and sort their points by propeller.

    Parameters
    ----------
    files : sequence of Path
    one : bool
        All files are of one propeller, whatever their names say.

    Returns
    -------
    tuple
        (volume, label) to ``Specimen``; faults and warnings; files that are no tables of coefficients.
    """
    found: dict[tuple[str, str], Specimen] = {}
    faults: list[Fault] = []
    others: list[Path] = []
    runs: dict[Any, int] = {}
    for path in files:
        grid = read_delimited(path)
        if not layout_of(grid.header):
            others.append(path)
            continue
        _read(grid, path, found, faults, runs, one)
        faults += grid.faults
    return found, faults, others


def _read(
    grid: Grid, path: Path, found: dict[tuple[str, str], Specimen], faults: list[Fault], runs: dict[Any, int], one: bool
) -> None:
    roles = _roles(grid.header)
    label, rpm = _from_name(path)
    static = "j" not in roles
    if "rpm" not in roles and rpm is None:
        rule = "has no column rpm, and its name does not end in one"
        faults.append(Fault(grid.where, rule=rule, hint="name it as in NAME_9x4.5_5000.txt"))
        return
    columns = {role: Column(at=roles[role], rule=rule, shown=grid.header[roles[role]])
               for role, rule in _NUMBERS.items() if role in roles}  # fmt: skip
    width, mark = len(grid.header), grid.mark_or_point
    for block in blocks(grid):
        rows = [(line, cells) for line, cells in block if len(cells) >= width]
        for line, cells in block:
            if len(cells) < width:
                rule = f"has {len(cells)} fields, the first row names {width}"
                faults.append(Fault(grid.at(line), rule=rule))
        grid.faulty += len(block) - len(rows)
        if not rows:
            continue
        fields = list(zip(*(row for _, row in rows), strict=False))
        wrong: set[int] = set()
        values: dict[str, list[Any]] = {}
        for role, column in columns.items():
            values[role], bad = read_column(column, fields[column.at], mark)
            for at, (value, rule, hint) in bad.items():
                faults.append(Fault(grid.at(rows[at][0]), column.shown, value, rule, hint))
            wrong.update(bad)
            if role in ("rpm", "j", "ct", "cp"):
                empty = [at for at, value in enumerate(values[role]) if value is None and at not in bad]
                faults += [Fault(grid.at(rows[at][0]), column.shown, rule="missing value") for at in empty]
                wrong.update(empty)
        grid.faulty += len(wrong)
        nothing = [None] * len(rows)
        names = fields[roles["propeller"]] if "propeller" in roles else [label] * len(rows)
        volumes = fields[roles["volume"]] if "volume" in roles else [""] * len(rows)
        files = fields[roles["source_file"]] if "source_file" in roles else nothing
        speeds = values.get("rpm", [rpm] * len(rows))
        ratios = [0.0] * len(rows) if static else values["j"]
        sizes = zip(*(values.get(role, nothing) for role in ("diameter_in", "pitch_in", "blades")), strict=True)
        for at, (name, volume, size) in enumerate(zip(names, volumes, sizes, strict=True)):
            key = ("", "") if one else (volume, name)
            specimen = found.get(key)
            if specimen is None:
                specimen = found[key] = Specimen(name, volume, grid.at(rows[at][0]), *_sizes(name, size))
            if at in wrong:
                specimen.set_aside += 1
                continue
            run = -1 if static else runs.setdefault((path, key, speeds[at], files[at]), len(runs))
            specimen.rows.append((speeds[at], ratios[at], values["ct"][at], values["cp"][at], run))


def _from_name(path: Path) -> tuple[str, float | None]:
    """Label and rpm that the name of a run file holds; number and initials of the run are no part of the label."""
    pieces = path.stem.split("_")
    rpm = None
    if len(pieces) > 1 and re.fullmatch(r"\d{3,6}", pieces[-1]):
        rpm = float(pieces.pop())
    while len(pieces) > 1 and (pieces[-1].lower() == "static" or _RUN_NUMBER.fullmatch(pieces[-1].lower())):
        pieces.pop()
    return "_".join(pieces), rpm


def _sizes(label: str, given: tuple[Any, Any, Any]) -> tuple[float | None, float | None, int | None]:
    """Diameter, pitch and blades: the columns', else what the label says."""
    diameter, pitch, blades = given
    size, count = _SIZE.search(label), _BLADES.search(label)
    if size and diameter is None:
        diameter = float(size.group(1))
        pitch = float(size.group(2)) if pitch is None else pitch
    if count and blades is None:
        blades = int(count.group(1))
    return diameter, pitch, blades
