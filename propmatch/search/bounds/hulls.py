"""What the tables of propellers do nowhere, proved over whole cells and not at samples of them.

A polynomial sum_k c_k x^k of degree n on 0..1 is sum_i beta_i b_i(x) with beta_i = sum_k C(i, k)/C(n, k) c_k and
b_i(x) = C(n, i) x^i (1 - x)^(n - i). The b_i are not negative and add up to 1, so its values lie between the least and
the greatest beta_i, and p <= r q where beta_i <= r gamma_i for each i, gamma_i those of q. The same holds along both
sides of a bicubic cell. Source: G. Farin, Curves and Surfaces for CAGD, 5th ed. 2002, ch. 5 and 6.
"""

from collections.abc import Iterator
from functools import cache
from math import comb
from typing import Any

import attrs
import numpy as np

from propmatch.models.arrays import Flags, Floats, Index
from propmatch.models.surface import Surfaces

__all__ = ["Hulls", "bernstein", "least_cp"]

_CHUNK = 8192
"""Cells in work at a time, so that what they need stays in the cache."""
_FLAT = 1e-12
"""Rise of a coefficient over a cell that counts as none: rounding, and far below the band that is left to limits."""
_PARTS = 4
"""Parts along each side into which a cell is divided whose coefficients prove nothing."""


@cache
def bernstein(degree: int, given: int) -> Floats:
    """(degree + 1, given): what makes the coefficients beta of so many power coefficients."""
    return np.array([[comb(i, k) / comb(degree, k) for k in range(given)] for i in range(degree + 1)])


@attrs.frozen(kw_only=True, eq=False)
class Hulls:
    """Facts about each table (P,) of some surfaces, for every speed, and every airspeed up to zero thrust.

    Attributes
    ----------
    regular : torque rises with speed, and thrust does where there is any
    flight_ratio : no torque in flight exceeds this multiple of the torque at rest and the same speed
    efficiency : J CT/CP is nowhere greater where torque is positive; infinity where that is not proved
    falling_from : advance ratio from which on thrust falls with airspeed, whatever drives the propeller
    """

    regular: Flags
    flight_ratio: Floats
    efficiency: Floats
    falling_from: Floats

    @classmethod
    def of(cls, s: Surfaces) -> "Hulls":
        """All facts, some cells at a time."""
        first = s.first_cell.astype(np.intp)
        with np.errstate(all="ignore"):
            regular, ratio, efficiency, falls = (
                np.concatenate(found) for found in zip(*(_facts(*part) for part in _cells(s)), strict=True)
            )
        return cls(
            regular=np.logical_and.reduceat(regular, first),
            flight_ratio=np.maximum(np.maximum.reduceat(ratio, first), 1.0),
            efficiency=np.maximum.reduceat(efficiency, first),
            falling_from=np.maximum.reduceat(falls, first),
        )


def least_cp(s: Surfaces, table: Index, u: Floats, low: Floats, high: Floats) -> Floats:
    """Less than CP of tables (N,) at a speed u [rad/s] and any advance ratio from ``low`` to ``high``.

    At one speed each column is a cubic in t, not below its least coefficient beta. The last one goes on straight.
    """
    x = np.nan_to_num(s.rpm_scale[table] * u + s.rpm_shift[table])
    row = np.clip(np.floor(x), 0.0, s.rows[table] - 1.0)
    most = s.columns[table].astype(np.intp)
    first, last = (np.clip(np.nan_to_num(s.j_scale[table] * j), 0.0, most - 1.0).astype(np.intp) for j in (low, high))
    count = last - first + 1
    lane, starts = np.repeat(np.arange(table.size), count), np.cumsum(count) - count
    column = first[lane] + np.arange(lane.size) - starts[lane]
    cell = (s.first_cell[table] + row * s.columns[table])[lane].astype(np.intp) + column
    power = np.einsum("nba,na->nb", s.cp_cells[cell].reshape(-1, 4, 4), (x - row)[lane, None] ** _ORDER)
    beyond = np.where(column == most[lane] - 1, np.maximum((s.j_scale[table] * high)[lane] - column, 1.0), 1.0)
    least = np.min((power * beyond[:, None] ** _ORDER) @ bernstein(3, 4).T, axis=1)
    return np.asarray(np.minimum.reduceat(least, starts))


@attrs.frozen(kw_only=True, eq=False)
class _Cells:
    """Some cells: power coefficients (N, t, s) of CT and CP, and where they stand (N, 1, 1).

    u = row + s in steps of the table, J = (column + t)/j_scale. ``open_`` (N,): thrust may not end along t.
    """

    ct: Floats
    cp: Floats
    row: Floats
    column: Floats
    j_scale: Floats
    open_: Flags

    def take(self, some: Index) -> "_Cells":
        """Some of them."""
        return _Cells(**{a.name: getattr(self, a.name)[some] for a in attrs.fields(_Cells)})

    def along(self, start: float, times: Any) -> "_Cells":
        """A stretch of t, from ``start``, so many times as long."""
        stretch = np.asarray(times, dtype=np.float64).reshape(-1, 1, 1)
        ct, cp = (_moved(c, start, axis=1) * stretch ** _ORDER[:, None] for c in (self.ct, self.cp))
        column, scale = (self.column + start) / stretch, self.j_scale / stretch
        return attrs.evolve(self, ct=ct, cp=cp, column=column, j_scale=scale)

    def across(self, start: float, times: float) -> "_Cells":
        """The same of s."""
        ct, cp = (_moved(c, start, axis=2) * times**_ORDER for c in (self.ct, self.cp))
        return attrs.evolve(self, ct=ct, cp=cp, row=(self.row + start) / times)

    def parts(self) -> "list[_Cells]":
        """The same cells, divided along both sides."""
        starts = np.arange(_PARTS) / _PARTS
        return [self.along(t, 1.0 / _PARTS).across(s, 1.0 / _PARTS) for t in starts for s in starts]


_ORDER = np.arange(4.0)


def _moved(c: Floats, start: float, axis: int) -> Floats:
    """Power coefficients in x - start along an axis."""
    shift = np.array([[comb(k, i) * start ** (k - i) if k >= i else 0.0 for k in range(4)] for i in range(4)])
    return np.asarray(shift @ c if axis == 1 else c @ shift.T)


def _cells(s: Surfaces) -> Iterator[tuple[_Cells, Floats]]:
    """The cells of all tables and the CP at rest of their rows (N, s); the last of a row reaches to zero thrust."""
    rows = s.rows.astype(np.intp)
    table_of_row = np.repeat(np.arange(rows.size), rows)
    columns = s.columns.astype(np.intp)[table_of_row]
    row = np.repeat(np.arange(table_of_row.size), columns)
    column = np.arange(columns.sum()) - np.repeat(np.cumsum(columns) - columns, columns)
    for start in range(0, row.size, _CHUNK):
        part = slice(start, start + _CHUNK)
        here, table = row[part], table_of_row[row[part]]
        place = (here - s.first_row[table] - s.rpm_shift[table], column[part], s.j_scale[table])
        above, along, scale = (np.asarray(x, dtype=np.float64).reshape(-1, 1, 1) for x in place)
        ct, cp = (c[part].reshape(-1, 4, 4) for c in (s.ct_cells, s.cp_cells))
        cells = _Cells(
            ct=ct.copy(), cp=cp.copy(), row=above, column=along, j_scale=scale, open_=np.zeros(len(ct), dtype=bool)
        )
        # beyond the table both are straight lines in t: CT = c0(s) + c1(s) t
        last = np.flatnonzero(column[part] == columns[here] - 1)
        most, fall = np.max(ct[last, 0] @ bernstein(3, 4).T, axis=1), -np.max(ct[last, 1] @ bernstein(3, 4).T, axis=1)
        cells.open_[last] = ~(fall > 0) & (most > 0)
        stretched = cells.take(last).along(0.0, np.where(fall > 0, np.maximum(most / fall, 1.0), 1.0))
        for name in ("ct", "cp", "column", "j_scale"):
            getattr(cells, name)[last] = getattr(stretched, name)
        yield cells, s.cp_rest[:, here].T


def _facts(cells: _Cells, rest: Floats) -> tuple[Flags, Floats, Floats, Floats]:
    """The facts of each cell."""
    ct, cp = _hull(cells.ct), _hull(cells.cp)
    ct_u, cp_u = (_by_speed(c, cells) for c in (cells.ct, cells.cp))
    pulls = np.any(ct > 0, axis=1)
    regular = np.all(_hull(cp_u) > 0, axis=1) & (np.all(_hull(ct_u) > 0, axis=1) | ~pulls) & ~cells.open_
    efficiency, falls, some = np.zeros(pulls.size), np.zeros(pulls.size), np.flatnonzero(pulls)
    pulling = cells.take(some)
    efficiency[some], falls[some] = _efficiency(pulling), _falls_from(pulling, ct_u[some], cp_u[some])
    at_rest = np.tile(rest @ bernstein(3, 4).T, 4)
    ratio = np.where(np.all(at_rest > 0, axis=1), np.max(cp / at_rest, axis=1), np.inf)
    return regular, ratio, efficiency, falls


def _hull(c: Floats) -> Floats:
    """Coefficients beta (N, coefficients) of power coefficients (N, t, s)."""
    n, along, across = c.shape
    return np.asarray(c.reshape(n, -1) @ _both(along, across))


@cache
def _both(along: int, across: int) -> Floats:
    return np.asarray(np.kron(bernstein(along - 1, along), bernstein(across - 1, across)).T, dtype=np.float64)


def _by_speed(c: Floats, cells: _Cells, *, at_one_ratio: bool = False) -> Floats:
    """2 C + u dC/du - J dC/dJ: the rise of C u^2 with u at one airspeed, over u; or at one J."""
    out = (2.0 + _ORDER) * c
    out[:, :, :-1] += cells.row * (c[:, :, 1:] * _ORDER[1:])
    if not at_one_ratio:
        out -= _ORDER[:, None] * c
        out[:, :-1] -= cells.column * _along(c)
    return np.asarray(out)


def _along(c: Floats) -> Floats:
    """d/dt of power coefficients (N, t, s)."""
    return c[:, 1:] * _ORDER[1:, None]


@cache
def _of_product() -> tuple[Floats, ...]:
    """What reads slopes along t and whole cells at as many points as their product has coefficients, and makes these.

    The product is of degree 5 in t and 6 in s.
    """
    t, r = np.linspace(0.0, 1.0, 6), np.linspace(0.0, 1.0, 7)
    along, across = (np.array([[comb(n, k) * x**k * (1.0 - x) ** (n - k) for k in range(n + 1)] for x in at])
                     for n, at in ((5, t), (6, r)))  # fmt: skip
    slope, whole = (np.kron(np.vander(t, given, increasing=True), np.vander(r, 4, increasing=True)) for given in (3, 4))
    made = np.kron(np.linalg.inv(along), np.linalg.inv(across))
    return tuple(np.asarray(x.T, dtype=np.float64) for x in (slope, whole, made))


def _efficiency(cells: _Cells, divided: bool = False) -> Floats:
    """Greatest J CT/CP where both are positive; one degree is put to both in t, that of J CT."""
    j_ct = np.zeros((len(cells.ct), 5, 4))
    j_ct[:, 1:] = cells.ct
    j_ct[:, :4] += cells.column * cells.ct
    gives = _hull(j_ct / cells.j_scale)
    takes = cells.cp.reshape(-1, 16) @ np.kron(bernstein(4, 4), bernstein(3, 4)).T
    pulls, drives = np.any(gives > 0, axis=1), np.all(takes > 0, axis=1)
    out = np.where(pulls, np.where(drives, np.max(gives / takes, axis=1), np.inf), 0.0)
    out[cells.open_] = np.inf
    mixed = np.flatnonzero(pulls & ~drives & ~cells.open_ & ~np.all(takes <= 0, axis=1))
    if mixed.size and not divided:
        out[mixed] = np.max([_efficiency(part, divided=True) for part in cells.take(mixed).parts()], axis=0)
    return out


def _falls_from(cells: _Cells, ct_u: Floats, cp_u: Floats, divided: bool = False) -> Floats:
    """Advance ratio at the end of each cell in which thrust may rise with airspeed for some drive, else 0.

    With torque Q and thrust T of (u, V) and a drive whose torque falls by m >= 0 with speed, du/dV = -Q_V/(Q_u + m), so
    dT/dV (Q_u + m) = (T_V Q_u - T_u Q_V) + m T_V: not positive for any m where neither term is, Q_u being positive. The
    advance ratio rises along it where 2 CP + u dCP/du is not negative, so that what lies beyond stays beyond.
    """
    pulls = np.any(_hull(cells.ct) > 0, axis=1) if divided else np.ones(len(cells.ct), dtype=bool)
    ct_j, cp_j = _along(cells.ct), _along(cells.cp)
    rises = cells.open_ | np.any(_hull(ct_j) > _FLAT, axis=1)
    rises |= np.any(_hull(_by_speed(cells.cp, cells, at_one_ratio=True)) < 0, axis=1)
    slope, whole, coefficients = _of_product()
    ct_j, cp_j = (c.reshape(-1, 12) @ slope for c in (ct_j, cp_j))
    ct_u, cp_u = (c.reshape(-1, 16) @ whole for c in (ct_u, cp_u))
    rises |= np.any((ct_j * cp_u - cp_j * ct_u) @ coefficients > _FLAT, axis=1)
    ends = np.where(cells.open_, np.inf, ((cells.column + 1.0) / cells.j_scale).ravel())
    out = np.where(pulls & rises, ends, 0.0)
    some = np.flatnonzero(pulls & rises & ~cells.open_)
    if some.size and not divided:
        each = [
            _falls_from(part, _by_speed(part.ct, part), _by_speed(part.cp, part), divided=True)
            for part in cells.take(some).parts()
        ]
        out[some] = np.max(each, axis=0)
    return out
