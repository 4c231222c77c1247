"""Measured propellers: a folder of wind-tunnel tables becomes propellers with coefficient tables.

The folder is named by the environment variable PROPMATCH_TABLES. Its text files are read in the layouts of
:mod:`~propmatch_plugins.reading.runs`; ``geometry.csv`` (r_over_R, beta_deg) lends a pitch to labels without one, and
``diameters.csv`` (true_diameter_in) the diameter that the coefficients were reduced with. Every table goes through
:mod:`~propmatch_plugins.reading.coefficients`; a table once made is kept in the user's cache folder, under a name made
from its points and from the code that made it.
"""

import os
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import attrs

from propmatch.faults import Fault, InputFaults
from propmatch.hookspecs import PartRow, PartSet, hookimpl

if TYPE_CHECKING:
    from propmatch.models.tables import CoefficientTable
    from propmatch.records.parts import Propeller
    from propmatch_plugins.reading.coefficients import Changes, Points
    from propmatch_plugins.reading.runs import Specimen

__all__ = ["MeasuredPropeller", "MeasuredTables", "propmatch_propellers", "read_tables", "table_of_file"]

FOLDER_VARIABLE = "PROPMATCH_TABLES"
_TABLES_KEPT = 5000
_LENT = {"r_over_R": (0.0, 1.1), "beta_deg": (-90.0, 90.0), "true_diameter_in": (0.1, 200.0)}


@hookimpl
def propmatch_propellers() -> list[PartSet]:
    folder = os.environ.get(FOLDER_VARIABLE)
    if not folder:
        return []

    def load() -> Iterator[PartRow | Fault]:
        return rows_of(Path(folder))

    source = f"measured tables in {folder}"
    return [
        PartSet(
            id="tables", description="measured propeller tables", source=source, source_kind="measured", load=load
        )
    ]  # fmt: skip


@attrs.frozen(kw_only=True)
class MeasuredPropeller:
    """One propeller read: the part, its points as published, and what was done to them."""

    propeller: "Propeller"
    points: "Points"
    changes: "Changes"
    where: str


@attrs.frozen(kw_only=True)
class MeasuredTables:
    """A folder of measured tables.

    Attributes
    ----------
    propellers : tuple of MeasuredPropeller
    set_aside : tuple of Fault
        Propellers that could not become one, and why.
    faults : tuple of Fault
        Faulty rows, and warnings about files.
    others : tuple of Path
        Files that hold no coefficients and were not used.
    """

    propellers: tuple[MeasuredPropeller, ...]
    set_aside: tuple[Fault, ...]
    faults: tuple[Fault, ...]
    others: tuple[Path, ...]


def rows_of(where: Path | Sequence[Path]) -> Iterator[PartRow | Fault]:
    """What a folder (or some files) hold, as rows for the catalogue."""
    try:
        read = read_tables(where)
    except OSError as error:
        yield Fault(str(error.filename or where), rule=f"cannot be read: {error.strerror or error}")
        return
    for each in read.propellers:
        yield PartRow(where=each.where, part=each.propeller, kind="propellers")
    yield from (*read.set_aside, *read.faults)
    if read.others:
        more = f", nor were {len(read.others) - 1} more such files" if len(read.others) > 1 else ""
        rule = f"holds no measured propellers (columns J, CT, CP, or rpm, CT, CP); it was not used{more}"
        yield Fault(str(read.others[0]), rule=rule, kind="warning")


def read_tables(where: str | Path | Sequence[Path], *, cache: bool = True) -> MeasuredTables:
    """Read a folder of measured tables, its subfolders included.

    Parameters
    ----------
    where : path, or sequence of paths
        The folder, or the files themselves.
    cache : bool
        Keep the tables made in the user's cache folder, and take them from there.

    Raises
    ------
    OSError
        The folder or a file cannot be read.
    """
    from propmatch_plugins.reading.delimited import SUFFIXES
    from propmatch_plugins.reading.runs import collect

    if isinstance(where, str | Path):
        folder = Path(where)
        if not folder.is_dir():
            raise FileNotFoundError(2, "no such folder", str(folder))
        files = sorted(each for each in folder.rglob("*") if each.suffix.lower() in SUFFIXES and each.is_file())
    else:
        files = list(where)
    found, faults, others = collect(files)
    lent = _Lent(others)
    many = [label for _, label in found]
    propellers, aside = [], []
    for (volume, label), specimen in found.items():
        part_id = label if many.count(label) == 1 else f"{label}@{volume or specimen.where}"
        made = _propeller(specimen, part_id, lent, cache)
        if isinstance(made, Fault):
            aside.append(made)
        else:
            propellers.append(made)
    unused = tuple(path for path in others if path not in lent.used)
    return MeasuredTables(
        propellers=tuple(propellers), set_aside=tuple(aside), faults=(*faults, *lent.faults), others=unused
    )


def table_of_file(path: Path) -> "CoefficientTable":
    """The table of one propeller from one file (rpm, J, CT, CP), or from a folder of its run files.

    Raises
    ------
    InputFaults
        Every fault of the file.
    OSError
        It cannot be read.
    """
    from propmatch_plugins.reading.runs import collect

    files = sorted(each for each in path.iterdir() if each.is_file()) if path.is_dir() else [path]
    found, faults, _ = collect(files, one=True)
    wrong = [fault for fault in faults if fault.kind == "fault"]
    if not found and not wrong:
        wrong = [Fault(str(path), rule="holds no coefficients: it needs columns J, CT, CP and rpm")]
    if wrong:
        raise InputFaults(wrong)
    (specimen,) = found.values()
    try:
        return _table(specimen.points, cache=True)[0]
    except ValueError as error:
        raise InputFaults([Fault(str(path), rule=str(error))]) from error


def _propeller(specimen: "Specimen", part_id: str, lent: "_Lent", cache: bool) -> MeasuredPropeller | Fault:
    from propmatch.records.fields import build
    from propmatch.records.parts import Propeller

    notes = [f"measured, published as {specimen.label}" + (f", volume {specimen.volume}" if specimen.volume else "")]
    key = (specimen.volume, specimen.label)
    diameter, pitch = specimen.diameter_in, specimen.pitch_in
    if key in lent.true_diameter_in:
        if diameter is not None and abs(lent.true_diameter_in[key] - diameter) > 1e-9:
            notes.append(f"true diameter {lent.true_diameter_in[key]:g} in, nominal {diameter:g}")
        diameter = lent.true_diameter_in[key]
    if pitch is None and key in lent.pitch_to_diameter and diameter is not None:
        pitch = lent.pitch_to_diameter[key] * diameter
        notes.append("pitch from the blade angle at three quarters of the radius")
    for name, value in (("diameter_in", diameter), ("pitch_in", pitch)):
        if value is None:
            hint = "give it in a column, or in the label as in 9x4.5"
            return Fault(specimen.where, name, rule=f"{specimen.label}: not known; the table was not used", hint=hint)
    if not specimen.rows:
        return Fault(specimen.where, rule=f"{specimen.label}: every row has a fault")
    try:
        table, changes = _table(specimen.points, cache=cache)
    except ValueError as error:
        return Fault(specimen.where, rule=f"{specimen.label}: {error}")
    values: dict[str, Any] = {
        "id": part_id,
        "name": specimen.label,
        "diameter_in": diameter,
        "pitch_in": pitch,
        "blades": 2 if specimen.blades is None else specimen.blades,
        "table": table,
        "source": {"text": "; ".join([*notes, str(changes)]), "kind": "measured"},
    }
    made, faults = build(Propeller, values, specimen.where)
    if made is None:
        return faults[0]
    return MeasuredPropeller(propeller=made, points=specimen.points, changes=changes, where=specimen.where)


class _Lent:
    """What tables beside the coefficients know: blade angles and true diameters, by (volume, label)."""

    def __init__(self, files: Sequence[Path]) -> None:
        self.pitch_to_diameter: dict[tuple[str, str], float] = {}
        self.true_diameter_in: dict[tuple[str, str], float] = {}
        self.used: set[Path] = set()
        self.faults: list[Fault] = []
        for path in files:
            self._read(path)

    def _read(self, path: Path) -> None:
        import math

        import numpy as np

        from propmatch_plugins.reading.delimited import read_delimited
        from propmatch_plugins.reading.runs import lends

        grid = read_delimited(path)
        what = lends(grid.header)
        if not what:
            grid.leave()
            return
        columns = ("r_over_R", "beta_deg") if what == "shape" else ("true_diameter_in",)
        blades: dict[tuple[str, str], list[tuple[float, float]]] = {}
        for line, cells in grid.rows:
            if len(cells) < len(grid.header):
                rule = f"has {len(cells)} fields, the first row names {len(grid.header)}"
                self.faults.append(Fault(grid.at(line), rule=rule))
                continue
            row = dict(zip(grid.header, cells, strict=False))
            values = [_number(row[name], grid.mark_or_point, _LENT[name]) for name in columns]
            wrong = [name for name, value in zip(columns, values, strict=True) if value is None and row[name].strip()]
            rules = {name: f"must be a number from {_LENT[name][0]:g} to {_LENT[name][1]:g}" for name in wrong}
            self.faults += [Fault(grid.at(line), name, row[name], rule) for name, rule in rules.items()]
            if any(value is None for value in values):
                continue
            key = (row.get("volume", ""), row["propeller"])
            if what == "shape":
                blades.setdefault(key, []).append((values[0], values[1]))  # type: ignore[arg-type]
            elif "nominal" not in row.get("coefficients_based_on", ""):
                self.true_diameter_in[key] = values[0]  # type: ignore[assignment]
        for key, stations in blades.items():
            radii, angles = np.array(sorted(stations)).T
            if radii[0] <= 0.75 <= radii[-1]:
                angle = math.radians(float(np.interp(0.75, radii, angles)))
                self.pitch_to_diameter[key] = math.pi * 0.75 * math.tan(angle)
        self.faults += grid.faults
        self.used.add(path)


def _number(text: str, mark: str, ends: tuple[float, float]) -> float | None:
    """The one number that a text means, or None; also where it lies beyond the ends."""
    from propmatch.records.written import readings

    found = readings(text, mark)
    return found[0] if len(found) == 1 and ends[0] <= found[0] <= ends[1] else None


# ---------------------------------------------------------------- tables once made


def _table(points: "Points", *, cache: bool) -> "tuple[CoefficientTable, Changes]":
    """The table through the points, from the cache folder when it was made before."""
    import numpy as np

    import propmatch.models
    from propmatch.cache import digest, kept
    from propmatch.models.tables import CoefficientTable
    from propmatch_plugins.reading import coefficients

    def write(made: "tuple[CoefficientTable, Changes]") -> list[dict[str, Any]]:
        return [{name: np.asarray(value).tolist() for name, value in attrs.asdict(each).items()} for each in made]

    def read(told: Any) -> "tuple[CoefficientTable, Changes]":
        table, changes = told
        return CoefficientTable(**table), coefficients.Changes(**{**changes, "grid": tuple(changes["grid"])})

    code = Path(coefficients.__file__), Path(str(propmatch.models.__file__)).parent
    axes = [getattr(points, name) for name in ("rpm", "j", "ct", "cp", "run")]
    name = digest(*axes, code=code) if cache else None
    return kept("tables", name, lambda: coefficients.table_of(points), write=write, read=read, most=_TABLES_KEPT)
