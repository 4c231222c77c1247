"""From which advance ratio on the thrust of a propeller falls with airspeed, whatever drives it.

It does for every drive where it falls both at constant speed of the propeller (dCT/dJ <= 0) and at constant torque,
between which every motor lies: dCT/dJ Q_u - T_u dCP/dJ <= 0 with Q_u = 2 CP + u dCP/du - J dCP/dJ and T_u likewise.
"""

import numpy as np
from numpy.typing import NDArray

from propmatch.surface import Surfaces

__all__ = ["falling_from"]

Floats = NDArray[np.float64]
_SAMPLES = 5


def falling_from(s: Surfaces) -> Floats:
    """Advance ratio of each table from which on thrust falls with airspeed for every drive; samples of every cell."""
    t = np.linspace(0.0, 1.0, _SAMPLES)[:, None]
    power, slope = t ** np.arange(4), np.arange(4) * t ** np.maximum(np.arange(4) - 1, 0)
    rows_of = s.rows.astype(np.intp)
    table_of_row = np.repeat(np.arange(rows_of.size), rows_of)
    columns = s.columns.astype(np.intp)[table_of_row]
    row = np.arange(table_of_row.size) - np.repeat(s.first_row, rows_of)
    out = np.zeros(rows_of.size)
    ends = np.cumsum(columns)
    for p, first in enumerate(s.first_cell.astype(np.intp)):
        mine = table_of_row == p
        stop = first + int(columns[mine].sum())
        ct, cp = (c[first:stop].reshape(-1, 4, 4) for c in (s.ct_cells, s.cp_cells))
        column = np.arange(first, stop) - np.repeat(ends[mine] - columns[mine], columns[mine])
        j = (column[:, None, None] + t[:, 0]) / s.j_scale[p]  # (cells, 1, t)
        u = np.repeat(row[mine], columns[mine])[:, None, None] + t - s.rpm_shift[p]  # (cells, s, 1)

        def read(cells: Floats, in_s: Floats, in_t: Floats) -> Floats:
            return np.asarray(np.einsum("cba,sa,tb->cst", cells, in_s, in_t, optimize=True))

        ct_j, cp_j = (read(c, power, slope) * s.j_scale[p] for c in (ct, cp))
        t_u = 2.0 * read(ct, power, power) + u * read(ct, slope, power) - j * ct_j
        q_u = 2.0 * read(cp, power, power) + u * read(cp, slope, power) - j * cp_j
        rises = (read(ct, power, power) > 0) & ((ct_j > 1e-9) | (ct_j * q_u - t_u * cp_j > 1e-9))
        last = np.max(np.where(rises, j, -np.inf), initial=-np.inf)
        out[p] = max(0.0, last + 1.0 / s.j_scale[p])
    return out
