"""Coefficients of many lanes at many speeds, read again and again without allocating.

A reader follows one coefficient, ``"cp"`` or ``"ct"``: it keeps the axes of each lane's table and the cells gathered
last, and gathers again only where a lane has moved to another cell. The other coefficient can be read at the place
reached. ``RestReader`` serves lanes at no airspeed (four coefficients a lane), ``FlightReader`` any
(sixteen). Speeds u are the propeller's, in rad/s.

Source: none needed, polynomials of third order.
"""

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from propmatch.models.arrays import Floats, Index
from propmatch.models.surface import Surfaces

__all__ = ["FlightReader", "RestReader", "Workspace"]

Indices = Index
_BLOCK = 512
"""Cells turned at a time, so that they stay in the first-level cache."""


class Workspace:
    """Arrays by name, kept from chunk to chunk."""

    def __init__(self) -> None:
        self._held: dict[str, NDArray[Any]] = {}

    def array(self, name: str, *shape: int, kind: Any = np.float64) -> NDArray[Any]:
        """An uninitialised contiguous array; the same memory each time the name is asked for."""
        size = math.prod(shape)
        held = self._held.get(name)
        if held is None or held.size < size:
            held = self._held[name] = np.empty(shape, dtype=kind)
        return held if held.shape == shape else held.reshape(-1)[:size].reshape(shape)


def _cubic(c: Floats, x: Floats, value: Floats, slope: Floats) -> None:
    """c0 + c1 x + c2 x^2 + c3 x^3 and its derivative by Horner's rule, along the first axis of ``c``."""
    np.multiply(c[3], x, out=slope)
    np.add(c[2], slope, out=value)
    np.add(value, slope, out=slope)
    np.multiply(value, x, out=value)
    np.add(value, c[1], out=value)
    np.multiply(slope, x, out=slope)
    np.add(slope, value, out=slope)
    np.multiply(value, x, out=value)
    np.add(value, c[0], out=value)


def _cubic_value(c: Floats, x: Floats, value: Floats) -> None:
    """c0 + c1 x + c2 x^2 + c3 x^3, along the first axis of ``c``."""
    np.multiply(c[3], x, out=value)
    for k in (2, 1, 0):
        np.add(value, c[k], out=value)
        if k:
            np.multiply(value, x, out=value)


class _Reader:
    """What both readers share: rpm rows and the cell each lane was last seen in."""

    def __init__(self, coefficient: str, surfaces: Surfaces, which: Indices, lanes: int, room: Workspace) -> None:
        self.coefficient, self.surfaces, self.which, self.lanes, self.room = coefficient, surfaces, which, lanes, room
        self._other = "ct" if coefficient == "cp" else "cp"
        self.rpm_scale, self.rpm_shift = surfaces.rpm_scale[which], surfaces.rpm_shift[which]
        self.first_row, self._last_row = surfaces.first_row[which], surfaces.rows[which] - 1.0
        self._number, self._s, self._row, self._speed = (
            room.array(f"reader {k}", lanes) for k in ("number", "s", "row", "speed")
        )
        self._cell, self._before = (room.array(f"reader {k}", lanes, kind=np.intp) for k in ("cell", "before"))
        self._held = False

    def _find_row(self, u: Floats) -> None:
        """Row number (a whole float) and place s inside it; past the guards the place is held."""
        np.multiply(u, self.rpm_scale, out=self._speed)
        np.add(self._speed, self.rpm_shift, out=self._s)
        np.maximum(self._s, 0.0, out=self._s)
        np.minimum(self._s, self._last_row, out=self._s)
        np.floor(self._s, out=self._row)
        np.subtract(self._s, self._row, out=self._s)

    def _moved(self) -> Indices | None:
        """Settle the cell numbers; the lanes whose cell changed, None for (nearly) all."""
        self._cell, self._before = self._before, self._cell
        np.copyto(self._cell, self._number, casting="unsafe")
        if not self._held:
            self._held = True
            return None
        moved = np.flatnonzero(self._cell != self._before)
        return None if moved.size > self.lanes // 3 else moved

    def of_row(self, numbers: Floats, u: Floats) -> Floats:
        """Numbers (..., R) of the rpm rows that speeds u lie in: (..., lanes)."""
        self._find_row(u)
        np.add(self.first_row, self._row, out=self._number)
        np.copyto(self._cell, self._number, casting="unsafe")
        out = self.room.array("of row", *numbers.shape[:-1], self.lanes)
        return np.take(numbers, self._cell, axis=-1, out=out, mode="clip")


class RestReader(_Reader):
    """Lanes at J = 0."""

    def __init__(self, coefficient: str, surfaces: Surfaces, which: Indices, lanes: int, room: Workspace) -> None:
        super().__init__(coefficient, surfaces, which, lanes, room)
        self._cells, self._other_cells = (getattr(surfaces, f"{c}_rest") for c in (coefficient, self._other))
        self._c, self._other_c = room.array("c", 4, lanes), room.array("other c", 4, lanes)
        self._value, self._slope, self._other_value = (room.array(k, lanes) for k in ("value", "slope", "other"))

    def go(self, u: Floats, j: Floats) -> None:
        """Move to propeller speeds u [rad/s]; J is taken as 0."""
        self._find_row(u)
        np.add(self.first_row, self._row, out=self._number)
        moved = self._moved()
        if moved is None:
            np.take(self._cells, self._cell, axis=1, out=self._c, mode="clip")
        elif moved.size:
            self._c[:, moved] = np.take(self._cells, self._cell[moved], axis=1, mode="clip")

    def value(self) -> Floats:
        """The coefficient here."""
        _cubic_value(self._c, self._s, self._value)
        return self._value

    def value_and_slope(self) -> tuple[Floats, Floats]:
        """The coefficient C and u dC/du here."""
        _cubic(self._c, self._s, self._value, self._slope)
        np.multiply(self._slope, self._speed, out=self._slope)
        return self._value, self._slope

    def other(self) -> Floats:
        """The other coefficient here."""
        np.take(self._other_cells, self._cell, axis=1, out=self._other_c, mode="clip")
        _cubic_value(self._other_c, self._s, self._other_value)
        return self._other_value


class FlightReader(_Reader):
    """Lanes at any advance ratio."""

    def __init__(self, coefficient: str, surfaces: Surfaces, which: Indices, lanes: int, room: Workspace) -> None:
        super().__init__(coefficient, surfaces, which, lanes, room)
        self._cells, self._other_cells = (getattr(surfaces, f"{c}_cells") for c in (coefficient, self._other))
        self._c, self._taken = room.array("c", 4, 4, lanes), room.array("taken", _BLOCK, 16)
        self._t, self._column, self._ratio = (room.array(f"reader {k}", lanes) for k in ("t", "column", "ratio"))
        self._in_s, self._in_s_by_t = room.array("in s", 4, lanes), room.array("in s by t", 4, lanes)
        self._value, self._by_s, self._by_t = (room.array(k, lanes) for k in ("value", "slope", "by t"))
        self._other_value = room.array("other", lanes)
        self.first_cell, self.j_scale = surfaces.first_cell[which], surfaces.j_scale[which]
        self.columns = surfaces.columns[which]
        self._last_column = self.columns - 1.0

    def go(self, u: Floats, j: Floats) -> None:
        """Move to propeller speeds u [rad/s] and advance ratios J."""
        self._find_row(u)
        np.multiply(j, self.j_scale, out=self._ratio)
        np.minimum(self._ratio, self._last_column, out=self._column)
        np.floor(self._column, out=self._column)
        np.subtract(self._ratio, self._column, out=self._t)
        np.multiply(self._row, self.columns, out=self._number)
        np.add(self._number, self._column, out=self._number)
        np.add(self._number, self.first_cell, out=self._number)
        moved = self._moved()
        if moved is None:
            self._gather(self._cells)
        elif moved.size:
            self._c.reshape(16, self.lanes)[:, moved] = np.take(self._cells, self._cell[moved], axis=0, mode="clip").T

    def _gather(self, cells: Floats) -> None:
        """Copy each lane's sixteen numbers, a whole cell at a time, and turn them to (b, a, lanes)."""
        turned = self._c.reshape(16, self.lanes)
        for start in range(0, self.lanes, _BLOCK):
            part = slice(start, start + _BLOCK)
            cell = self._cell[part]
            turned[:, part] = np.take(cells, cell, axis=0, out=self._taken[: cell.size], mode="clip").T

    def value(self) -> Floats:
        """The coefficient here."""
        return self._evaluate(self._value)

    def value_and_slope(self) -> tuple[Floats, Floats]:
        """The coefficient C and u dC/du at constant airspeed here."""
        _cubic(self._c, self._t, self._in_s, self._in_s_by_t)
        _cubic(self._in_s, self._s, self._value, self._by_s)
        _cubic_value(self._in_s_by_t, self._s, self._by_t)
        np.multiply(self._by_s, self._speed, out=self._by_s)
        np.multiply(self._by_t, self._ratio, out=self._by_t)
        np.subtract(self._by_s, self._by_t, out=self._by_s)
        return self._value, self._by_s

    def other(self) -> Floats:
        """The other coefficient here; the cells held are given up for it."""
        self._gather(self._other_cells)
        self._held = False
        return self._evaluate(self._other_value)

    def _evaluate(self, out: Floats) -> Floats:
        _cubic_value(self._c, self._t, self._in_s)
        _cubic_value(self._in_s, self._s, out)
        return out
