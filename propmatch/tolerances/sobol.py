"""A scrambled Sobol sequence, without the load of a statistics library.

The first 24 dimensions. Scrambling: a random lower triangular matrix on the digits, then a random shift.

Sources: direction numbers: S. Joe, F. Y. Kuo, Constructing Sobol sequences with better two-dimensional projections,
SIAM J. Sci. Comput. 30 (2008) 2635; scrambling: J. Matousek, On the L2-discrepancy for anchored boxes, J. Complexity 14
(1998) 527.
"""

import numpy as np
from numpy.typing import NDArray

from propmatch.models.arrays import Floats

__all__ = ["MOST_DIMENSIONS", "sobol"]

_BITS = 30
_FIRST: tuple[tuple[int, tuple[int, ...]], ...] = (
    (3, (1,)),
    (7, (1, 3)),
    (11, (1, 3, 1)),
    (13, (1, 1, 1)),
    (19, (1, 1, 3, 3)),
    (25, (1, 3, 5, 13)),
    (37, (1, 1, 5, 5, 17)),
    (41, (1, 1, 5, 5, 5)),
    (47, (1, 1, 7, 11, 19)),
    (55, (1, 1, 5, 1, 1)),
    (59, (1, 1, 1, 3, 11)),
    (61, (1, 3, 5, 5, 31)),
    (67, (1, 3, 3, 9, 7, 49)),
    (91, (1, 1, 1, 15, 21, 21)),
    (97, (1, 3, 1, 13, 27, 49)),
    (103, (1, 1, 1, 15, 7, 5)),
    (109, (1, 3, 1, 15, 13, 25)),
    (115, (1, 1, 5, 5, 19, 61)),
    (131, (1, 3, 7, 11, 23, 15, 103)),
    (137, (1, 3, 7, 13, 13, 15, 69)),
    (143, (1, 1, 3, 13, 7, 35, 63)),
    (145, (1, 3, 5, 9, 1, 25, 53)),
    (157, (1, 3, 1, 13, 9, 35, 107)),
)
"""Primitive polynomial of each dimension after the first, its coefficients as binary digits, and first numbers."""
MOST_DIMENSIONS = 1 + len(_FIRST)


def sobol(count: int, dimensions: int, seed: int) -> Floats:
    """Points (count, dimensions) in [0, 1); a power of two spreads best, the same seed gives the same points."""
    if not 1 <= dimensions <= MOST_DIMENSIONS or not 1 <= count < 1 << _BITS:
        raise ValueError(f"1 to {MOST_DIMENSIONS} dimensions and 1 point or more, got {dimensions} and {count}")
    rng = np.random.default_rng(seed).spawn(1)[0]
    places = 1 << np.arange(_BITS)
    shift = rng.integers(2, size=(dimensions, _BITS), dtype=np.uint32) @ places
    lower = np.tril(rng.integers(2, size=(dimensions, _BITS, _BITS), dtype=np.uint32), -1) + np.eye(_BITS)
    high_first = places[::-1]
    digits = ((_directions(dimensions)[:, None, :] & high_first[:, None]) != 0).astype(np.float64)
    numbers = high_first @ (lower @ digits % 2).astype(np.int64)
    at = np.arange(count)
    order, points = at ^ (at >> 1), np.broadcast_to(shift, (count, dimensions)).copy()
    for place in range(count.bit_length()):
        points[(order >> place) & 1 == 1] ^= numbers[:, place]
    return np.asarray(points / (1 << _BITS))


def _directions(dimensions: int) -> NDArray[np.int64]:
    """Direction numbers (dimensions, bits), unscrambled."""
    rows = [[1] * _BITS]
    for polynomial, first in _FIRST[: dimensions - 1]:
        degree, row = len(first), list(first)
        for at in range(degree, _BITS):
            number = row[at - degree]
            for back in range(1, degree + 1):
                if polynomial >> (degree - back) & 1:
                    number ^= row[at - back] << back
            row.append(number)
        rows.append(row)
    return np.array(rows) << np.arange(_BITS)[::-1]
