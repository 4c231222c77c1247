"""Parts for which enough others of their kind stand, so that none of the best has them.

A part is lesser than another where both have the same numbers but ratings, and the other is rated no lower, for no
fewer cells, and stands before it. Put into a combination in its place the other leaves every measured value as it is,
keeps every limit that was kept, has the same mass and no smaller margin, and so comes first. With as many such others
as rows are asked for, no row has the part. What differs in any number, mass or resistance too, decides both ways
somewhere: less resistance draws more current at full throttle, less mass moves the centre of gravity.
"""

import numpy as np

from propmatch.models.arrays import Flags, Floats, Index
from propmatch.search.shelf import KIND_FIELDS, Shelf

__all__ = ["lesser"]

_MORE = ("motor_stated_a", "motor_w", "motor_cells_most", "controller_a", "controller_cells_most", "usable_a",
         "burst_a", "max_rpm")  # fmt: skip
_LESS = ("motor_cells_least", "controller_cells_least")
"""Ratings of which more, or less, lets more by."""
_CHUNK = 1024
"""Parts that are held against the others of their group at a time."""


def lesser(shelf: Shelf, top: int) -> dict[str, Flags]:
    """For each kind which of its parts (n,) cannot be in the first ``top`` rows."""
    return {kind: _of_kind(shelf, fields, len(shelf.kinds[kind]), top) for kind, fields in KIND_FIELDS.items()}


def _of_kind(shelf: Shelf, fields: tuple[str, ...], count: int, top: int) -> Flags:
    out = np.zeros(count, dtype=bool)
    if count <= top:
        return out
    columns = {name: np.asarray(shelf.column(name), dtype=np.float64) for name in fields}
    sides = [(name, sign) for names, sign in ((_MORE, 1.0), (_LESS, -1.0)) for name in names if name in columns]
    rated = np.array([sign * columns[name] for name, sign in sides])
    # what is not stated is no rating: where, is one more number that must be the same
    same = np.array([*(x for name, x in columns.items() if name not in (*_MORE, *_LESS)), *np.isnan(rated)])
    group = np.unique(np.nan_to_num(same, nan=-1.0).T, axis=0, return_inverse=True)[1].ravel()
    for each in np.flatnonzero(np.bincount(group) > top):
        some = np.flatnonzero(group == each)
        out[some] = _behind(np.nan_to_num(rated[:, some])) >= top
    return out


def _behind(rated: Floats) -> Index:
    """How many before each (ratings, n) are rated no lower in anything."""
    n = rated.shape[1]
    out = np.zeros(n, dtype=np.intp)
    for start in range(0, n, _CHUNK):
        here = np.arange(start, min(start + _CHUNK, n))
        no_lower = np.all(rated[:, :, None] >= rated[:, None, here], axis=0)
        out[here] = np.count_nonzero(no_lower & (np.arange(n)[:, None] < here), axis=0)
    return out
