"""Coefficient tables and the one way to look them up.

A ``CoefficientTable`` keeps the points as they came. For the solver each table is resampled once onto uniform axes
and turned into bicubic cells (``Surface``), with a guard row of cells on every open side, so that a lookup is an index,
sixteen coefficients and no search: Hermite with shape-preserving slopes in both directions (C1 inside the table),
constant past the rpm range, linear past the last advance ratio.

Slopes: F. N. Fritsch and J. Butland, SIAM J. Sci. Stat. Comput. 5 (1984) 300-304 (weighted harmonic mean), with the
one-sided end formula limited as in C. Moler, Numerical Computing with MATLAB, SIAM 2004, ch. 3.
"""

from typing import Any

import attrs
import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["CoefficientTable", "Surface", "SurfaceStack", "monotone_slopes", "stack_surfaces"]

Floats = NDArray[np.float64]

_MIN_J_NODES, _MAX_J_NODES = 24, 64
_MIN_RPM_NODES, _MAX_RPM_NODES = 8, 24


def _readonly(value: ArrayLike) -> Floats:
    array = np.array(value, dtype=np.float64)
    array.setflags(write=False)
    return array


@attrs.frozen(kw_only=True, eq=False)
class CoefficientTable:
    """Thrust and power coefficients of a propeller over advance ratio and rotational speed.

    T = CT rho n^2 D^4, P = CP rho n^3 D^5, J = V/(n D), n in rev/s of the propeller.

    Attributes
    ----------
    rpm : (R,) [rpm], strictly rising and positive
    advance_ratio : (J,) [-], strictly rising from 0
    ct, cp : (R, J) [-]

    Raises
    ------
    ValueError
        Wrong shape, not finite, axes not strictly rising, advance ratio not starting at 0, static CP not positive;
        every fault in one message.
    """

    rpm: Floats = attrs.field(converter=_readonly)
    advance_ratio: Floats = attrs.field(converter=_readonly)
    ct: Floats = attrs.field(converter=_readonly)
    cp: Floats = attrs.field(converter=_readonly)

    def __attrs_post_init__(self) -> None:
        faults = self.faults(self.rpm, self.advance_ratio, self.ct, self.cp)
        if faults:
            raise ValueError("coefficient table: " + "; ".join(faults))

    @staticmethod
    def faults(rpm: Floats, advance_ratio: Floats, ct: Floats, cp: Floats) -> list[str]:
        """Every rule the arrays break, in words; empty when the table is sound."""
        out = []
        shape = (rpm.size, advance_ratio.size)
        if rpm.ndim != 1 or advance_ratio.ndim != 1 or not rpm.size or advance_ratio.size < 2:
            out.append("rpm needs at least 1 and advance_ratio at least 2 values, each in one row")
            return out
        for name, array in (("rpm", rpm), ("advance_ratio", advance_ratio), ("ct", ct), ("cp", cp)):
            if not np.all(np.isfinite(array)):
                out.append(f"{name} holds a value that is not finite")
        for name, array in (("ct", ct), ("cp", cp)):
            if array.shape != shape:
                out.append(f"{name} has shape {array.shape}, expected (rpm, advance_ratio) = {shape}")
        if out:
            return out
        if rpm[0] <= 0 or np.any(np.diff(rpm) <= 0):
            out.append("rpm must be positive and strictly rising")
        if advance_ratio[0] != 0 or np.any(np.diff(advance_ratio) <= 0):
            out.append("advance_ratio must start at 0 and be strictly rising")
        if np.any(cp[:, 0] <= 0):
            out.append("cp at advance ratio 0 must be positive")
        return out

    def lookup(self, rpm: ArrayLike, advance_ratio: ArrayLike) -> "Lookup":
        """CT and CP at (rpm, J), broadcast, with masks that say where the table was held or continued."""
        surface = Surface.of(self)
        stack = stack_surfaces([surface])
        r, j = np.broadcast_arrays(np.asarray(rpm, np.float64), np.asarray(advance_ratio, np.float64))
        zero = np.zeros(r.size, dtype=np.intp)
        ct, cp = stack.coefficients(zero, r.ravel(), j.ravel())
        return Lookup(
            ct=ct.reshape(r.shape),
            cp=cp.reshape(r.shape),
            rpm_below=r < self.rpm[0],
            rpm_above=r > self.rpm[-1],
            beyond=j > self.advance_ratio[-1],
        )


@attrs.frozen(kw_only=True, eq=False)
class Lookup:
    """Coefficients with the masks of where they are not the table's own."""

    ct: Floats
    cp: Floats
    rpm_below: NDArray[np.bool_]
    rpm_above: NDArray[np.bool_]
    beyond: NDArray[np.bool_]


def monotone_slopes(x: Floats, y: Floats) -> Floats:
    """Shape-preserving slopes dy/dx at the nodes, along the last axis.

    Parameters
    ----------
    x : (N,), strictly rising, N >= 2
    y : (..., N)

    Returns
    -------
    (..., N) slopes such that the cubic Hermite interpolant is monotone wherever the data are.
    """
    h = np.diff(x)
    secant = np.diff(y, axis=-1) / h
    if x.size == 2:
        return np.concatenate([secant, secant], axis=-1)
    left, right = secant[..., :-1], secant[..., 1:]
    w1, w2 = 2 * h[1:] + h[:-1], h[1:] + 2 * h[:-1]
    same = left * right > 0
    with np.errstate(divide="ignore", invalid="ignore", over="ignore", under="ignore"):
        inner = np.where(same, (w1 + w2) / (w1 / left + w2 / right), 0.0)
    first = _end_slope(h[0], h[1], secant[..., 0], secant[..., 1])
    last = _end_slope(h[-1], h[-2], secant[..., -1], secant[..., -2])
    return np.concatenate([first[..., None], inner, last[..., None]], axis=-1)


def _end_slope(h0: float, h1: float, s0: Floats, s1: Floats) -> Floats:
    slope = ((2 * h0 + h1) * s0 - h0 * s1) / (h0 + h1)
    slope = np.where(slope * s0 <= 0, 0.0, slope)
    turned = (s0 * s1 <= 0) & (np.abs(slope) > 3 * np.abs(s0))
    return np.where(turned, 3 * s0, slope)


def _resample(x: Floats, y: Floats, new: Floats) -> Floats:
    """Cubic Hermite with monotone slopes from nodes ``x`` to ``new`` (inside the range), last axis."""
    slopes = monotone_slopes(x, y)
    i = np.clip(np.searchsorted(x, new, side="right") - 1, 0, x.size - 2)
    h = x[i + 1] - x[i]
    t = (new - x[i]) / h
    return np.asarray(
        y[..., i] * (1 + 2 * t) * (1 - t) ** 2
        + y[..., i + 1] * t * t * (3 - 2 * t)
        + h * (slopes[..., i] * t * (1 - t) ** 2 + slopes[..., i + 1] * t * t * (t - 1))
    )


def _uniform(x: Floats, least: int, most: int) -> Floats:
    """A uniform axis over the range of ``x``: ``x`` itself when uniform, else fine enough for its closest nodes."""
    if x.size == 1:
        return x
    steps = np.diff(x)
    span = x[-1] - x[0]
    if x.size >= 3 and np.allclose(steps, steps[0], rtol=1e-9):
        return np.linspace(x[0], x[-1], x.size)
    nodes = int(np.clip(2 * np.ceil(span / np.min(steps)) + 1, least, most))
    return np.linspace(x[0], x[-1], nodes)


def _last_slope(values: Floats, slopes: Floats, axis: Floats) -> Floats:
    """Slope for the continuation past the last advance ratio: the last one if negative, else a stated one."""
    stated = -np.maximum(np.abs(values[:, -1]), 0.1 * np.abs(values[:, 0])) / axis[-1]
    return np.where(slopes[:, -1] < 0, slopes[:, -1], stated)


@attrs.frozen(kw_only=True, eq=False)
class Surface:
    """One table on uniform axes as bicubic cells with guard cells.

    Cell (i, k) covers rpm row i (0 below the table, last above it) and advance-ratio column k (last: beyond the table).
    value = sum_ab c[a, b] s^a t^b with s, t the local coordinates in units of the step.

    Attributes
    ----------
    ct_cells, cp_cells : (16, rows x columns), power form, index a * 4 + b
    rows, columns : int, number of cells in rpm and advance ratio, guards included
    rpm0, rpm_step, j_step : float; s = (rpm - rpm0)/rpm_step + 1 - row, t = J/j_step - column
    rpm_min, rpm_max, j_max : float, range of the source points
    j_zero_low, j_zero_high : float, least and greatest advance ratio of zero torque over the rows
    j_thrust_zero_low, j_thrust_zero_high : float, the same for zero thrust
    start_c, start_jz : float, fit CP ~ start_c (1 - (J/start_jz)^2), used for the first guess only
    start_t, start_jt : float, fit CT ~ start_t (1 - J/start_jt), used for the first guess only
    torque_falls, thrust_falls : bool, True when some node has torque (thrust) falling with speed
    """

    ct_cells: Floats
    cp_cells: Floats
    rows: int
    columns: int
    rpm0: float
    rpm_step: float
    j_step: float
    rpm_min: float
    rpm_max: float
    j_max: float
    j_zero_low: float
    j_zero_high: float
    j_thrust_zero_low: float
    j_thrust_zero_high: float
    start_c: float
    start_jz: float
    start_t: float
    start_jt: float
    torque_falls: bool
    thrust_falls: bool

    @classmethod
    def of(cls, table: CoefficientTable) -> "Surface":
        """Resample a table once."""
        j = _uniform(table.advance_ratio, _MIN_J_NODES, _MAX_J_NODES)
        rpm = _uniform(table.rpm, _MIN_RPM_NODES, _MAX_RPM_NODES)
        values = []
        for source in (table.ct, table.cp):
            grid = source if j.size == table.advance_ratio.size else _resample(table.advance_ratio, source, j)
            if rpm.size != table.rpm.size:
                grid = _resample(table.rpm, grid.T, rpm).T
            values.append(np.ascontiguousarray(grid))
        ct, cp = values
        j_step = float(j[1] - j[0])
        rpm_step = float(rpm[1] - rpm[0]) if rpm.size > 1 else 1.0
        rows, columns = rpm.size + 1, j.size
        ct_cells, ct_end = _cells(rpm, j, ct)
        cp_cells, cp_end = _cells(rpm, j, cp)
        zeros, thrust_zeros = _zero_advance_ratio(j, cp, cp_end), _zero_advance_ratio(j, ct, ct_end)
        start_jz, start_jt = float(np.median(zeros)), float(np.median(thrust_zeros))
        return cls(
            ct_cells=ct_cells,
            cp_cells=cp_cells,
            rows=rows,
            columns=columns,
            rpm0=float(rpm[0]),
            rpm_step=rpm_step,
            j_step=j_step,
            rpm_min=float(table.rpm[0]),
            rpm_max=float(table.rpm[-1]),
            j_max=float(table.advance_ratio[-1]),
            j_zero_low=float(np.min(zeros)),
            j_zero_high=float(np.max(zeros)),
            j_thrust_zero_low=float(np.min(thrust_zeros)),
            j_thrust_zero_high=float(np.max(thrust_zeros)),
            start_c=_fit(1 - (j / start_jz) ** 2, cp),
            start_jz=start_jz,
            start_t=_fit(1 - j / start_jt, ct),
            start_jt=start_jt,
            torque_falls=_falls(rpm, j, cp),
            thrust_falls=_falls(rpm, j, ct),
        )


def _cells(rpm: Floats, j: Floats, value: Floats) -> tuple[Floats, Floats]:
    """Power-form bicubic cells (16, rows * columns) and the slope past the last advance ratio."""
    columns = j.size
    dj = j[1] - j[0]
    slope_j = monotone_slopes(j, value)
    if rpm.size > 1:
        dr = rpm[1] - rpm[0]
        slope_r = monotone_slopes(rpm, value.T).T
        cross = monotone_slopes(rpm, slope_j.T).T
    else:
        dr = 1.0
        slope_r, cross = np.zeros_like(value), np.zeros_like(value)
    end = _last_slope(value, slope_j, j)
    # local Hermite data in cell units, shape (4 kinds, R, J): value, d/dt, d/ds, d2/dsdt
    data = np.stack([value, slope_j * dj, slope_r * dr, cross * dr * dj])
    to_power = np.array([[1.0, 0, 0, 0], [0, 0, 1, 0], [-3, 3, -2, -1], [2, -2, 1, 1]])  # from (f0, f1, f0', f1')
    cells = np.zeros((4, 4, rpm.size + 1, columns))
    # columns first: coefficients in t for every row, for value and for d/ds
    in_t = np.zeros((2, 4, rpm.size, columns))
    for kind in range(2):
        f, d = data[2 * kind], data[2 * kind + 1]
        hermite = np.stack([f[:, :-1], f[:, 1:], d[:, :-1], d[:, 1:]])
        in_t[kind, :, :, :-1] = np.einsum("bh,hrk->brk", to_power, hermite)
    in_t[0, 0, :, -1], in_t[0, 1, :, -1] = value[:, -1], end * dj
    in_t[1, 0, :, -1] = data[2][:, -1]
    if rpm.size > 1:
        in_t[1, 1, :, -1] = (monotone_slopes(rpm, end[None, :])[0] * dr) * dj
        hermite = np.stack([in_t[0][:, :-1], in_t[0][:, 1:], in_t[1][:, :-1], in_t[1][:, 1:]])
        cells[:, :, 1:-1, :] = np.einsum("ah,hbrk->abrk", to_power, hermite)
    cells[0, :, 0, :] = in_t[0][:, 0]
    cells[0, :, -1, :] = in_t[0][:, -1]
    return np.ascontiguousarray(cells.reshape(16, -1)), end


def _fit(shape: Floats, values: Floats) -> float:
    """Least-squares factor of a shape over J, where the shape is clearly positive."""
    inside = shape > 0.1
    factor = np.sum(values[:, inside] * shape[inside]) / (values.shape[0] * np.sum(shape[inside] ** 2))
    return float(max(factor, 1e-6))


def _zero_advance_ratio(j: Floats, coefficient: Floats, end_slope: Floats) -> Floats:
    """Advance ratio of zero torque or thrust for each row: first crossing inside, else on the continuation."""
    out = np.empty(coefficient.shape[0])
    for row, values in enumerate(coefficient):
        below = np.flatnonzero(values <= 0)
        if below.size and below[0] > 0:
            k = below[0]
            out[row] = j[k - 1] + (j[k] - j[k - 1]) * values[k - 1] / (values[k - 1] - values[k])
        else:
            out[row] = j[-1] + values[-1] / -end_slope[row]
    return out


def _falls(rpm: Floats, j: Floats, c: Floats) -> bool:
    """True when 2 C + rpm dC/drpm - J dC/dJ is not positive at some node: torque (thrust) then falls with speed."""
    by_j = monotone_slopes(j, c)
    by_rpm = monotone_slopes(rpm, c.T).T if rpm.size > 1 else np.zeros_like(c)
    return bool(np.any(2 * c + rpm[:, None] * by_rpm - j * by_j <= 0))


_STACKED = tuple(a.name for a in attrs.fields(Surface) if a.type is float)


@attrs.frozen(kw_only=True, eq=False)
class SurfaceStack:
    """The surfaces of several propellers end to end, so that one gather serves lanes of any of them.

    Attributes
    ----------
    ct_cells, cp_cells : (16, total cells)
    offset, rows, columns : (P,) integers
    everything else : (P,), as in ``Surface``
    """

    ct_cells: Floats
    cp_cells: Floats
    offset: NDArray[np.intp]
    rows: NDArray[np.intp]
    columns: NDArray[np.intp]
    rpm0: Floats
    rpm_step: Floats
    j_step: Floats
    rpm_min: Floats
    rpm_max: Floats
    j_max: Floats
    j_zero_low: Floats
    j_zero_high: Floats
    j_thrust_zero_low: Floats
    j_thrust_zero_high: Floats
    start_c: Floats
    start_jz: Floats
    start_t: Floats
    start_jt: Floats
    torque_falls: NDArray[np.bool_]
    thrust_falls: NDArray[np.bool_]

    def locate(self, which: NDArray[np.intp], rpm: Floats, j: Floats) -> tuple[NDArray[np.intp], Floats, Floats]:
        """Cell index and local coordinates (s, t) of each lane; rpm and J must be finite and not negative."""
        x = (rpm - self.rpm0[which]) / self.rpm_step[which] + 1.0
        row = np.clip(x, 0.0, self.rows[which] - 1).astype(np.intp)
        y = j / self.j_step[which]
        column = np.minimum(y, self.columns[which] - 1).astype(np.intp)
        return self.offset[which] + row * self.columns[which] + column, x - row, y - column

    def coefficients(self, which: NDArray[np.intp], rpm: Floats, j: Floats) -> tuple[Floats, Floats]:
        """CT and CP of each lane (N,)."""
        cell, s, t = self.locate(which, rpm, j)
        ct = _bicubic(self.ct_cells, cell, s, t)
        cp = _bicubic(self.cp_cells, cell, s, t)
        return ct, cp

    def power_with_slopes(self, which: NDArray[np.intp], rpm: Floats, j: Floats) -> tuple[Floats, Floats, Floats]:
        """CP, dCP/drpm and dCP/dJ of each lane (N,)."""
        return self._with_slopes(self.cp_cells, which, rpm, j)

    def thrust_with_slopes(self, which: NDArray[np.intp], rpm: Floats, j: Floats) -> tuple[Floats, Floats, Floats]:
        """CT, dCT/drpm and dCT/dJ of each lane (N,)."""
        return self._with_slopes(self.ct_cells, which, rpm, j)

    def _with_slopes(
        self, cells: Floats, which: NDArray[np.intp], rpm: Floats, j: Floats
    ) -> tuple[Floats, Floats, Floats]:
        cell, s, t = self.locate(which, rpm, j)
        c = cells[:, cell]
        by_s = [c[4 * a] + t * (c[4 * a + 1] + t * (c[4 * a + 2] + t * c[4 * a + 3])) for a in range(4)]
        by_t = [c[4 * a + 1] + t * (2 * c[4 * a + 2] + 3 * t * c[4 * a + 3]) for a in range(4)]
        value = by_s[0] + s * (by_s[1] + s * (by_s[2] + s * by_s[3]))
        d_s = by_s[1] + s * (2 * by_s[2] + 3 * s * by_s[3])
        d_t = by_t[0] + s * (by_t[1] + s * (by_t[2] + s * by_t[3]))
        return value, d_s / self.rpm_step[which], d_t / self.j_step[which]


def _bicubic(cells: Floats, cell: NDArray[np.intp], s: Floats, t: Floats) -> Floats:
    c = cells[:, cell]
    by_s: list[Any] = [c[4 * a] + t * (c[4 * a + 1] + t * (c[4 * a + 2] + t * c[4 * a + 3])) for a in range(4)]
    return np.asarray(by_s[0] + s * (by_s[1] + s * (by_s[2] + s * by_s[3])))


def stack_surfaces(surfaces: list[Surface]) -> SurfaceStack:
    """Put surfaces end to end."""
    sizes = [s.rows * s.columns for s in surfaces]
    floats = {name: np.array([getattr(s, name) for s in surfaces], dtype=np.float64) for name in _STACKED}
    return SurfaceStack(
        ct_cells=np.concatenate([s.ct_cells for s in surfaces], axis=1),
        cp_cells=np.concatenate([s.cp_cells for s in surfaces], axis=1),
        offset=np.concatenate([[0], np.cumsum(sizes)[:-1]]).astype(np.intp),
        rows=np.array([s.rows for s in surfaces], dtype=np.intp),
        columns=np.array([s.columns for s in surfaces], dtype=np.intp),
        torque_falls=np.array([s.torque_falls for s in surfaces]),
        thrust_falls=np.array([s.thrust_falls for s in surfaces]),
        **floats,
    )
