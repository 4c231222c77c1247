"""A folder of invented propellers in the dataset's form, whose truth is known: for the smoke run and the tests."""

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

import numpy as np

from propmatch.files import csv_text, write_file
from propmatch_plugins.prediction.families import Label
from propmatch_plugins.prediction.knowledge import bundled_knowledge
from propmatch_plugins.prediction.predicted import predict
from propmatch_plugins.prediction.shapes import RADIUS

__all__ = ["write_invented"]

_SIZE = ("propeller", "volume", "diameter_in", "pitch_in", "blades")
_VOLUME = 9


def write_invented(
    folder: Path, lines: Mapping[str, tuple[str, float]], sizes: Sequence[tuple[float, float]], *, shapes: bool = False
) -> None:
    """Two-blade propellers as ``predict`` has them from their label, with another thrust.

    Parameters
    ----------
    folder : where the four files go
    lines : family and factor on CT of each line
    sizes : diameter and pitch [in] of the propellers of every line
    shapes : whether the family's mean blade is written as their measured shape
    """
    static: list[Sequence[object]] = []
    dynamic: list[Sequence[object]] = []
    geometry: list[Sequence[object]] = []
    for line, (family, factor) in lines.items():
        for diameter, pitch in sizes:
            table = predict(diameter, pitch, family=family, rpm=[3000, 4500, 6000]).table
            label = f"{line}_{diameter}x{pitch}"
            who = (label, _VOLUME, diameter, pitch, 2)
            for k, rpm in enumerate(table.rpm):
                static.append((*who, rpm, factor * table.ct[k, 0], table.cp[k, 0]))
                sweep = zip(table.advance_ratio[2:-5], table.ct[k, 2:-5], table.cp[k, 2:-5], strict=True)
                dynamic += [(*who, rpm * 1.001, j, factor * ct, cp) for j, ct, cp in sweep]
            if shapes:
                blade = bundled_knowledge().base.blade(Label(diameter, pitch, 2, family))
                rows = zip(RADIUS, blade.chord, np.degrees(blade.angle_rad), strict=True)
                geometry += [(label, _VOLUME, *row) for row in rows]
    _write(folder / "static.csv", (*_SIZE, "rpm", "CT0", "CP0"), static)
    _write(folder / "dynamic.csv", (*_SIZE, "rpm", "J", "CT", "CP"), dynamic)
    _write(folder / "geometry.csv", ("propeller", "volume", "r_over_R", "c_over_R", "beta_deg"), geometry)
    _write(folder / "diameters.csv", ("propeller", "volume", "true_diameter_in"), ())


def _write(path: Path, header: Sequence[str], rows: Iterable[Sequence[object]]) -> None:
    write_file(path, csv_text([header, *rows]), force=True)
