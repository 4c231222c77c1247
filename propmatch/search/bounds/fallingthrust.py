"""From which advance ratio on the thrust of a propeller falls with airspeed, whatever drives it.

It does for every drive where it falls both at constant speed of the propeller (dCT/dJ <= 0) and at constant torque,
between which every motor lies: dCT/dJ Q_u - T_u dCP/dJ <= 0 with Q_u = 2 CP + u dCP/du - J dCP/dJ and T_u likewise.
The signs are read at samples of each bicubic cell, which is no proof: thrust that rises only between them is not seen.
"""

import numpy as np

from propmatch.models.arrays import Floats
from propmatch.models.surface import Surfaces

__all__ = ["falling_from"]

_SAMPLES = 4
"""Readings along each side of a bicubic cell; what counts is the first one after the last cell that rises."""
_CHUNK = 8192
"""Cells in work at a time, so that what they need stays in the cache."""


def falling_from(s: Surfaces) -> Floats:
    """Advance ratio of each table from which on thrust falls with airspeed for every drive; samples of every cell."""
    t = np.linspace(0.0, 1.0, _SAMPLES)[:, None]
    power, slope = t ** np.arange(4), np.arange(4) * t ** np.maximum(np.arange(4) - 1, 0)
    rows = s.rows.astype(np.intp)
    table_of_row = np.repeat(np.arange(rows.size), rows)
    columns = s.columns.astype(np.intp)[table_of_row]
    row = np.repeat(np.arange(table_of_row.size) - np.repeat(s.first_row, rows), columns)
    column = np.arange(columns.sum()) - np.repeat(np.cumsum(columns) - columns, columns)
    table = np.repeat(table_of_row, columns)
    last = np.empty(table.size)
    for start in range(0, table.size, _CHUNK):
        part = slice(start, start + _CHUNK)
        which = table[part]
        per_j = s.j_scale[which][:, None]
        j = (column[part][:, None] + t[:, 0]) / per_j  # (cells, t)
        u = row[part][:, None] + t[:, 0] - s.rpm_shift[which][:, None]  # (cells, s), in units of the step
        ct, cp = (c[part].reshape(-1, 4, 4) for c in (s.ct_cells, s.cp_cells))
        (ct_v, ct_j, ct_u), (cp_v, cp_j, cp_u) = (_read(c, power, slope) for c in (ct, cp))
        ct_j, cp_j, u = ct_j * per_j, cp_j * per_j, u.T[:, :, None]  # all (s, cells, t)
        t_u, q_u = 2.0 * ct_v + u * ct_u - j * ct_j, 2.0 * cp_v + u * cp_u - j * cp_j
        rises = (ct_v > 0) & ((ct_j > 1e-9) | (ct_j * q_u - t_u * cp_j > 1e-9))
        last[part] = np.max(np.where(rises, j, -np.inf), axis=(0, 2))
    return np.maximum(np.maximum.reduceat(last, s.first_cell.astype(np.intp)) + 1.0 / s.j_scale, 0.0)


def _read(cells: Floats, power: Floats, slope: Floats) -> tuple[Floats, Floats, Floats]:
    """Value, slope along J and slope along rpm at the samples of cells (cells, b, a): (s, cells, t) each."""
    in_s, by_s = (np.tensordot(x, cells, axes=(1, 2)) for x in (power, slope))
    return in_s @ power.T, in_s @ slope.T, by_s @ power.T
