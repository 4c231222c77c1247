"""Reads the fitted coefficient tables that ship in ``propmatch_datasets.prediction``."""

import csv
import io
from functools import cache
from importlib.resources import files

import numpy as np
from numpy.typing import NDArray

__all__ = ["FittedTable", "read_table"]


class FittedTable:
    """A small table with one row name column: ``rows``, ``columns`` and ``values`` (rows, columns)."""

    def __init__(self, text: str) -> None:
        header, *body = list(csv.reader(io.StringIO(text)))
        self.columns: tuple[str, ...] = tuple(header[1:])
        self.rows: tuple[str, ...] = tuple(row[0] for row in body)
        self.values: NDArray[np.float64] = np.array([[float(x) for x in row[1:]] for row in body])
        self.values.setflags(write=False)

    def column(self, name: str) -> NDArray[np.float64]:
        """One column as an array (rows,)."""
        return self.values[:, self.columns.index(name)]

    def row(self, name: str) -> dict[str, float]:
        """One row as column name to value."""
        return dict(zip(self.columns, self.values[self.rows.index(name)].tolist(), strict=True))


@cache
def read_table(name: str) -> FittedTable:
    """The bundled table ``name`` (no extension), read once."""
    path = files("propmatch_datasets.prediction").joinpath(f"{name}.csv")
    return FittedTable(path.read_text(encoding="utf-8"))
