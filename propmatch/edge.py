"""The edge between what passes and what does not, by halving a bracket; every lane for itself."""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

__all__ = ["edge"]

Floats = NDArray[np.float64]
_STEPS = 44


def edge(passes: Callable[[Floats], NDArray[np.bool_]], good: Floats, bad: Floats, *, steps: int = _STEPS) -> Floats:
    """The value next to the edge, on the passing side.

    Parameters
    ----------
    passes : callable
        Values (N,) to whether each passes; true at ``good``, false at ``bad``, one edge between.
    good, bad : (N,)
        Ends of the bracket.
    steps : int
        Halvings; 44 leave 6e-14 of the bracket.

    Returns
    -------
    (N,) of the largest (or smallest) value known to pass; where ``good`` fails NaN, where ``bad`` passes ``bad``.
    """
    good, bad = np.array(good, dtype=np.float64), np.array(bad, dtype=np.float64)
    hopeless, free = ~passes(good), passes(bad)
    inside, outside = good.copy(), bad.copy()
    for _ in range(steps):
        middle = 0.5 * (inside + outside)
        fine = passes(middle)
        inside, outside = np.where(fine, middle, inside), np.where(fine, outside, middle)
    return np.where(hopeless, np.nan, np.where(free, bad, inside))
