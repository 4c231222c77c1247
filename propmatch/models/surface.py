"""Coefficient tables as bicubic cells on uniform axes, one or many propellers end to end.

A lookup then is an index and sixteen coefficients, without a search: cubic Hermite with shape-preserving slopes in
both directions (C1 inside the table), constant past the rpm range, linear past the last advance ratio. Guard cells on
the open sides make those continuations part of the table.

Sources: slopes by the weighted harmonic mean of F. N. Fritsch, J. Butland, SIAM J. Sci. Stat. Comput. 5 (1984)
300-304; one-sided end formula limited as in C. Moler, Numerical Computing with MATLAB, SIAM 2004, ch. 3.
"""

from collections.abc import Iterator, Sequence
from typing import Any

import attrs
import numpy as np

from propmatch.models.arrays import Flags, Floats
from propmatch.units import RPM_RAD_S

__all__ = ["Surfaces", "monotone_slopes", "resample", "stack_surfaces", "surfaces_of", "surfaces_of_each"]


_MIN_J_NODES, _MAX_J_NODES = 24, 64
_MIN_RPM_NODES, _MAX_RPM_NODES = 8, 32
_TOGETHER = 64
"""Tables made together: some MB."""
Table = tuple[Floats, Floats, Floats, Floats]
"""Speeds [rpm] (R,), advance ratios (J,), CT and CP (R, J)."""


@attrs.frozen(kw_only=True, eq=False)
class Surfaces:
    """The tables of P propellers on uniform axes; R rows and C cells in all, guards included.

    A propeller's cell (row, column) covers an rpm row (0 is below its table, the last one above) and an advance-ratio
    column (the last is beyond its table). value = sum_ab c[b, a] s^a t^b with s, t in units of the step; row + s =
    rpm_scale u + rpm_shift with u [rad/s], column + t = j_scale J.

    Attributes
    ----------
    ct_cells, cp_cells : (C, 16), index b * 4 + a
    ct_rest, cp_rest : (4, R), the same at J = 0, index a
    first_cell, first_row, rows, columns, rpm_scale, rpm_shift, j_scale : (P,)
    rpm_min, rpm_max, j_max : (P,), range of the source points
    j_zero_low, j_zero_high : (P,), least and greatest advance ratio of zero torque over the rows
    j_thrust_zero_low, j_thrust_zero_high : (P,), the same for zero thrust
    cp_rest_fit, cp_fit : (R,), (3, R); halfway through each row, for first guesses: CP(0), and c0, c1, c2 of
        CP ~ c0 + c1 J + c2 J^2 up to zero torque
    ct_rest_fit, ct_fit : (R,), (3, R); CT likewise
    torque_falls : (P,), True when at some node torque falls with speed
    thrust_falls : (P,), True when thrust does at some node where it is positive
    """

    ct_cells: Floats
    cp_cells: Floats
    ct_rest: Floats
    cp_rest: Floats
    first_cell: Floats
    first_row: Floats
    rows: Floats
    columns: Floats
    rpm_scale: Floats
    rpm_shift: Floats
    j_scale: Floats
    rpm_min: Floats
    rpm_max: Floats
    j_max: Floats
    j_zero_low: Floats
    j_zero_high: Floats
    j_thrust_zero_low: Floats
    j_thrust_zero_high: Floats
    cp_rest_fit: Floats
    cp_fit: Floats
    ct_rest_fit: Floats
    ct_fit: Floats
    torque_falls: Flags
    thrust_falls: Flags

    def times(self, *, ct: float = 1.0, cp: float = 1.0) -> "Surfaces":
        """The same with coefficients times positive factors; they enter cells and fits linearly."""
        changed = {
            f"{name}_{what}": factor * getattr(self, f"{name}_{what}")
            for name, factor in (("ct", ct), ("cp", cp))
            for what in ("cells", "rest", "rest_fit", "fit")
        }
        return attrs.evolve(self, **changed)


def stack_surfaces(surfaces: Sequence[Surfaces]) -> Surfaces:
    """Put surfaces end to end; propeller numbers run on in the order given. The last few are kept."""
    if len(surfaces) == 1:
        return surfaces[0]
    key = tuple(map(id, surfaces))  # those of what is held below stay their own
    if key not in _STACKED:
        _STACKED[key] = tuple(surfaces), _stacked(surfaces)
        while len(_STACKED) > _STACKS:
            _STACKED.pop(next(iter(_STACKED)))
    return _STACKED[key][1]


_STACKS = 6
_STACKED: dict[tuple[int, ...], tuple[tuple[Surfaces, ...], Surfaces]] = {}


def _stacked(surfaces: Sequence[Surfaces]) -> Surfaces:
    joined: dict[str, Any] = {
        field.name: np.concatenate([getattr(s, field.name) for s in surfaces], axis=-1)
        for field in attrs.fields(Surfaces)
        if not field.name.endswith("_cells")
    }
    for name in ("ct_cells", "cp_cells"):
        joined[name], end = np.concatenate([getattr(s, name) for s in surfaces]), 0
        for each in surfaces:  # the same numbers are held once: each table goes on as a part of the stack
            start, end = end, end + len(getattr(each, name))
            object.__setattr__(each, name, joined[name][start:end])
    for name, sizes in (
        ("first_cell", [s.ct_cells.shape[0] for s in surfaces]),
        ("first_row", [s.ct_rest.shape[1] for s in surfaces]),
    ):
        before = np.concatenate([[0], np.cumsum(sizes)[:-1]])
        joined[name] = joined[name] + np.repeat(before, [s.rows.size for s in surfaces])
    return Surfaces(**joined)


def surfaces_of(rpm: Floats, advance_ratio: Floats, ct: Floats, cp: Floats) -> Surfaces:
    """One table, resampled onto uniform axes where its own are not."""
    return surfaces_of_each([(rpm, advance_ratio, ct, cp)])[0]


def surfaces_of_each(tables: Sequence[Table]) -> list[Surfaces]:
    """The same of several (rpm, advance ratio, CT, CP), those of one shape some at a time."""
    evened, alike = [_evened(*table) for table in tables], dict[tuple[int, ...], list[int]]()
    for at, (_, _, both) in enumerate(evened):
        alike.setdefault(both.shape, []).append(at)
    made: dict[int, Surfaces] = {}
    for each in alike.values():
        for start in range(0, len(each), _TOGETHER):
            some = each[start : start + _TOGETHER]
            made.update(zip(some, _made([tables[at] for at in some], [evened[at] for at in some]), strict=True))
    return [made[at] for at in range(len(tables))]


def _evened(rpm: Floats, advance_ratio: Floats, ct: Floats, cp: Floats) -> tuple[Floats, Floats, Floats]:
    """Uniform axes, and CT and CP on them (2, R, J)."""
    j = _uniform(advance_ratio, _MIN_J_NODES, _MAX_J_NODES)
    speeds = _uniform(rpm, _MIN_RPM_NODES, _MAX_RPM_NODES)
    both = resample(advance_ratio, np.stack([ct, cp]), j)
    return speeds, j, resample(rpm, both.swapaxes(1, 2), speeds).swapaxes(1, 2)


def _made(tables: Sequence[Table], evened: Sequence[tuple[Floats, Floats, Floats]]) -> Iterator[Surfaces]:
    """Surfaces of T tables with R speeds and J advance ratios each."""
    speeds, j, both = (np.stack(each) for each in zip(*evened, strict=True))  # (T, R), (T, J), (T, 2, R, J)
    step = speeds[:, 1] - speeds[:, 0] if speeds.shape[1] > 1 else np.ones(len(tables))
    by_j, by_rpm = monotone_slopes(j[:, None, None], both), _slopes_by_rpm(speeds, both)
    cells, end = _cells(speeds, step, j, both, by_j, by_rpm)
    zeros = _zero_advance_ratio(j[:, None, None], both, end)  # (T, 2, R)
    low, high = np.fmin.reduce(zeros, axis=-1), np.fmax.reduce(zeros, axis=-1)
    rows = np.concatenate([both[:, :, :1], 0.5 * (both[:, :, 1:] + both[:, :, :-1]), both[:, :, -1:]], axis=2)
    # 2 C + rpm dC/drpm - J dC/dJ: how thrust and torque rise with speed, of thrust where there is any
    rises = 2 * both + speeds[:, None, :, None] * by_rpm - j[:, None, None] * by_j
    falls = np.any((rises <= 0) & (both > np.array([0.0, -np.inf])[:, None, None]), axis=(2, 3))
    for t, (rpm, advance_ratio, _, _) in enumerate(tables):
        one = {
            "first_cell": 0,
            "first_row": 0,
            "rows": speeds.shape[1] + 1,
            "columns": j.shape[1],
            "rpm_scale": 1.0 / (RPM_RAD_S * step[t]),
            "rpm_shift": 1.0 - speeds[t, 0] / step[t],
            "j_scale": 1.0 / (j[t, 1] - j[t, 0]),
            "rpm_min": rpm[0],
            "rpm_max": rpm[-1],
            "j_max": advance_ratio[-1],
            "j_zero_low": low[t, 1],
            "j_zero_high": high[t, 1],
            "j_thrust_zero_low": low[t, 0],
            "j_thrust_zero_high": high[t, 0],
        }
        ct_cells, cp_cells = cells[t]
        yield Surfaces(
            ct_cells=ct_cells.reshape(-1, 16),
            cp_cells=cp_cells.reshape(-1, 16),
            ct_rest=np.ascontiguousarray(ct_cells[:, 0, 0, :].T),
            cp_rest=np.ascontiguousarray(cp_cells[:, 0, 0, :].T),
            cp_rest_fit=rows[t, 1, :, 0].copy(),
            cp_fit=_parabola(j[t], rows[t, 1], high[t, 1]),
            ct_rest_fit=rows[t, 0, :, 0].copy(),
            ct_fit=_parabola(j[t], rows[t, 0], high[t, 0]),
            torque_falls=falls[t, 1:].copy(),
            thrust_falls=falls[t, :1].copy(),
            **{name: np.array([value], dtype=np.float64) for name, value in one.items()},
        )


# ---------------------------------------------------------------- interpolation


def monotone_slopes(x: Floats, y: Floats) -> Floats:
    """Shape-preserving slopes dy/dx at the nodes, along the last axis.

    Parameters
    ----------
    x : (N,) or (..., N) as ``y``, strictly rising, N >= 2
    y : (..., N)

    Returns
    -------
    (..., N) slopes such that the cubic Hermite interpolant is monotone wherever the data are.
    """
    h = np.diff(x, axis=-1)
    secant = np.diff(y, axis=-1) / h
    if x.shape[-1] == 2:
        return np.concatenate([secant, secant], axis=-1)
    left, right = secant[..., :-1], secant[..., 1:]
    w1, w2 = 2 * h[..., 1:] + h[..., :-1], h[..., 1:] + 2 * h[..., :-1]
    same = left * right > 0
    with np.errstate(divide="ignore", invalid="ignore", over="ignore", under="ignore"):
        inner = np.where(same, (w1 + w2) / (w1 / left + w2 / right), 0.0)
    first = _end_slope(h[..., 0], h[..., 1], secant[..., 0], secant[..., 1])
    last = _end_slope(h[..., -1], h[..., -2], secant[..., -1], secant[..., -2])
    return np.concatenate([first[..., None], inner, last[..., None]], axis=-1)


def _end_slope(h0: Any, h1: Any, s0: Floats, s1: Floats) -> Floats:
    slope = ((2 * h0 + h1) * s0 - h0 * s1) / (h0 + h1)
    slope = np.where(slope * s0 <= 0, 0.0, slope)
    turned = (s0 * s1 <= 0) & (np.abs(slope) > 3 * np.abs(s0))
    return np.where(turned, 3 * s0, slope)


def resample(x: Floats, y: Floats, new: Floats) -> Floats:
    """Cubic Hermite with monotone slopes from nodes ``x`` to ``new`` (inside the range), last axis."""
    if np.array_equal(x, new):
        return y
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
    """A uniform axis over the range of ``x`` that holds every node of it where that takes at most ``most`` nodes.

    Otherwise it is twice as fine as the closest nodes, within ``least`` to ``most``.
    """
    if x.size < 3:
        return x
    place = (x - x[0]) / (x[-1] - x[0])
    for intervals in range(x.size - 1, most):
        off = place * intervals
        if np.all(np.abs(off - np.rint(off)) < 1e-9):
            return x if intervals == x.size - 1 else np.linspace(x[0], x[-1], intervals + 1)
    nodes = int(np.clip(2 * np.ceil(1.0 / np.min(np.diff(place))) + 1, least, most))
    return np.linspace(x[0], x[-1], nodes)


def _slopes_by_rpm(rpm: Floats, data: Floats) -> Floats:
    """Slopes along the rpm axes (T, R) of data (T, 2, R, columns); 0 for a single rpm."""
    if rpm.shape[-1] == 1:
        return np.zeros_like(data)
    return monotone_slopes(rpm[:, None, None], data.swapaxes(-1, -2)).swapaxes(-1, -2)


def _cells(
    rpm: Floats, dr: Floats, j: Floats, value: Floats, slope_j: Floats, slope_rpm: Floats
) -> tuple[Floats, Floats]:
    """Power-form bicubic cells (T, 2, rows, columns, b, a) of CT and CP (T, 2, R, J); slopes past the last J (T, 2, R).

    ``dr`` (T,) is the step of the rpm axes (T, R), ``j`` (T, J).
    """
    tables, _, speeds, columns = value.shape
    dj, dr = (j[:, 1] - j[:, 0])[:, None, None], dr[:, None, None, None]
    end = _last_slope(value, slope_j, j[:, None, -1:])
    twist, bend = _slopes_by_rpm(rpm, slope_j), _slopes_by_rpm(rpm, end[..., None])[..., 0]

    # coefficients in t of every column at each rpm node, for the value and for its slope in s
    in_t = np.zeros((2, tables, 2, speeds, columns, 4))
    for kind, (f, d, last) in enumerate(((value, slope_j, end), (slope_rpm * dr, twist * dr, bend * dr[..., 0]))):
        slope = d * dj[..., None]
        in_t[kind, ..., :-1, :] = _in_powers(f[..., :-1], f[..., 1:], slope[..., :-1], slope[..., 1:])
        in_t[kind, ..., -1, 0], in_t[kind, ..., -1, 1] = f[..., -1], last * dj
    cells = np.zeros((tables, 2, speeds + 1, columns, 4, 4))
    cells[:, :, 0, :, :, 0], cells[:, :, -1, :, :, 0] = in_t[0, :, :, 0], in_t[0, :, :, -1]
    (f0, f1), (d0, d1) = ((each[:, :, :-1], each[:, :, 1:]) for each in in_t)
    cells[:, :, 1:-1] = _in_powers(f0, f1, d0, d1)
    return cells, end


def _in_powers(f0: Floats, f1: Floats, d0: Floats, d1: Floats) -> Floats:
    """Power coefficients (..., 4) of the cubics on 0..1 with these values and slopes at the ends."""
    rise = f1 - f0
    return np.stack([f0, d0, 3.0 * rise - 2.0 * d0 - d1, d0 + d1 - 2.0 * rise], axis=-1)


def _last_slope(values: Floats, slopes: Floats, last: Floats) -> Floats:
    """Slope for the continuation past the last advance ratio: the last one if negative, else a stated one."""
    least = np.maximum(0.1 * np.abs(values[..., 0]), 1e-9)
    stated = -np.maximum(np.abs(values[..., -1]), least) / last
    return np.where(slopes[..., -1] < 0, slopes[..., -1], stated)


# ---------------------------------------------------------------- what the solver wants to know


def _zero_advance_ratio(j: Floats, coefficient: Floats, end_slope: Floats) -> Floats:
    """Advance ratio of zero torque or thrust of rows: first crossing inside, else on the continuation.

    NaN for rows that give none even at rest; the last advance ratio stands for all of a table in which no row gives
    any.

    Parameters
    ----------
    j : (..., 1, J); coefficient : (..., R, J); end_slope : (..., R)
    """
    below = coefficient <= 0
    k = np.maximum(np.argmax(below, axis=-1), 1)[..., None]
    j = np.broadcast_to(j, coefficient.shape)
    (j0, j1), (c0, c1) = (
        (np.take_along_axis(each, k - 1, axis=-1)[..., 0], np.take_along_axis(each, k, axis=-1)[..., 0])
        for each in (j, coefficient)
    )
    with np.errstate(divide="ignore", invalid="ignore"):
        inside = j0 + (j1 - j0) * c0 / (c0 - c1)
    beyond = j[..., -1] + coefficient[..., -1] / -end_slope
    out = np.where(below[..., 0], np.nan, np.where(below.any(axis=-1), inside, beyond))
    return np.where(below[..., 0].all(axis=-1, keepdims=True), j[..., -1], out)


def _parabola(j: Floats, rows: Floats, zero: float) -> Floats:
    """Least-squares c0, c1, c2 of C ~ c0 + c1 J + c2 J^2 up to the highest zero, for each row: (3, rows)."""
    inside = j <= max(zero, j[2] if j.size > 2 else j[-1])
    basis = np.vander(j[inside], 3, increasing=True)
    fit = np.linalg.lstsq(basis, rows[:, inside].T, rcond=None)[0]
    fit[0] = np.maximum(fit[0], 0.1 * rows[:, 0])
    return np.asarray(fit)
