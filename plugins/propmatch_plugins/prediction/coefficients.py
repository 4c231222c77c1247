"""The fitted coefficient tables: small comma-separated files that ship in ``propmatch_datasets.prediction``."""

import csv
import io
from collections.abc import Iterable
from functools import cache
from importlib.resources import files

import attrs
import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["FittedTable", "read_table"]


def _names(values: Iterable[str]) -> tuple[str, ...]:
    return tuple(values)


def _readonly(values: ArrayLike) -> NDArray[np.float64]:
    array = np.array(values, dtype=np.float64, ndmin=2)
    array.setflags(write=False)
    return array


@attrs.frozen(eq=False)
class FittedTable:
    """A table with named rows and columns: ``values`` has shape (rows, columns)."""

    rows: tuple[str, ...] = attrs.field(converter=_names)
    columns: tuple[str, ...] = attrs.field(converter=_names)
    values: NDArray[np.float64] = attrs.field(converter=_readonly)

    @classmethod
    def parse(cls, text: str) -> "FittedTable":
        """From comma-separated text: a header, then one name and its numbers a row."""
        header, *body = list(csv.reader(io.StringIO(text)))
        return cls([row[0] for row in body], header[1:], [[float(x) for x in row[1:]] for row in body])

    def dump(self, corner: str) -> str:
        """As comma-separated text, seven significant digits."""
        lines = [",".join([corner, *self.columns])]
        for name, row in zip(self.rows, self.values, strict=True):
            lines.append(",".join([name, *(f"{value:.7g}" for value in row)]))
        return "\n".join(lines) + "\n"

    def column(self, name: str) -> NDArray[np.float64]:
        """One column as an array (rows,)."""
        return self.values[:, self.columns.index(name)]

    def row(self, name: str) -> dict[str, float]:
        """One row as column name to value."""
        return dict(zip(self.columns, self.values[self.rows.index(name)].tolist(), strict=True))


@cache
def read_table(name: str, package: str = "propmatch_datasets.prediction") -> FittedTable:
    """The table ``name`` (no extension) that ships in ``package``, read once."""
    path = files(package).joinpath(f"{name}.csv")
    return FittedTable.parse(path.read_text(encoding="utf-8"))
