"""Roots and edges by bracket, every lane for itself: for lanes that plain steps do not settle, and for limits.

scipy's ``elementwise.find_root`` is no substitute: equal roots and 6.3 evaluations a lane too, but 1.7 to 3 times the
time (10 lanes 2.7 ms for 0.9, 1000 4.4 for 2.5, 100 000 165 for 99), 0.6 s of imports, brackets of wrong sense taken.
"""

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from propmatch.models.arrays import Flags, Floats, Index
from propmatch.status import Status

__all__ = ["bracketed_newton", "edge", "first_crossing"]

Function = Callable[[Index, Floats], tuple[Floats, Floats]]
"""function(lanes, x) -> (f, df/dx) of those lanes."""
_STEPS = 200
_GRID = 96


def bracketed_newton(
    function: Function, low: Floats, high: Floats, limit: Floats, *, falling: bool
) -> tuple[Floats, NDArray[np.int8]]:
    """Newton steps kept inside a shrinking bracket, halving it whenever a step leaves it or gains too little.

    Parameters
    ----------
    function : f changes from positive to negative over the bracket when ``falling``, else the other way
    low, high : (N,), ends of the brackets, not negative
    limit : (N,), |f| that counts as settled
    falling : bool

    Returns
    -------
    x and status, (N,): OK, NO_SOLUTION where the bracket holds no sign change, NOT_CONVERGED; x is NaN unless OK.
    """
    sign = 1.0 if falling else -1.0
    low, high = np.maximum(low, 1e-9), np.maximum(high, 2e-9)
    x = np.full(low.shape, np.nan)
    status = np.full(low.shape, Status.NOT_CONVERGED, dtype=np.int8)
    everyone = np.arange(low.size)
    with np.errstate(all="ignore"):
        at_low, at_high = (sign * function(everyone, end)[0] for end in (low, high))
        for end, f, wrong in ((low, at_low, ~(at_low >= 0)), (high, at_high, ~(at_high <= 0))):
            hit = np.abs(f) <= limit
            x[hit], status[hit] = end[hit], Status.OK
            status[wrong & ~hit & (status != Status.OK)] = Status.NO_SOLUTION
        lanes = np.flatnonzero(status == Status.NOT_CONVERGED)
        a, b = low[lanes], high[lanes]
        here, last = 0.5 * (a + b), b - a
        for _ in range(_STEPS):
            if not lanes.size:
                break
            f, df = (sign * each for each in function(lanes, here))
            done = (np.abs(f) <= limit[lanes]) | (b - a <= 4e-16 * b)
            x[lanes[done]], status[lanes[done]] = here[done], Status.OK
            a, b = np.where(f > 0, here, a), np.where(f > 0, b, here)
            step = -f / df
            trial = here + step
            poor = ~((trial > a) & (trial < b)) | (np.abs(step) > 0.5 * np.abs(last))
            new = np.where(poor, 0.5 * (a + b), trial)
            last, here = (new - here)[~done], new[~done]
            lanes, a, b = lanes[~done], a[~done], b[~done]
    return x, status


def first_crossing(function: Function, low: Floats, high: Floats) -> tuple[Floats, Floats]:
    """Narrow each bracket to the first step of a 96-step grid over which the function turns positive."""
    before, after = low.copy(), high.copy()
    found = np.zeros(low.shape, dtype=bool)
    everyone: Any = np.arange(low.size)
    previous = np.maximum(low, 1e-9)
    with np.errstate(all="ignore"):
        for i in range(1, _GRID + 1):
            here = low + (high - low) * i / _GRID
            crossed = ~found & (function(everyone, here)[0] >= 0)
            before[crossed], after[crossed] = previous[crossed], here[crossed]
            found |= crossed
            if found.all():
                break
            previous = here
    return before, after


_HALVINGS = 44


def edge(
    passes: Callable[[Floats], Flags], good: Floats, bad: Floats, *, steps: int = _HALVINGS, at_once: int = 1
) -> Floats:
    """The value next to the edge, on the passing side.

    Parameters
    ----------
    passes : callable
        Values (N,), or (M, N) where several halvings are made at once, to whether each passes; true at ``good``, false
        at ``bad``, one edge between.
    good, bad : (N,)
        Ends of the bracket.
    steps : int
        Halvings; 44 leave 6e-14 of the bracket.
    at_once : int
        Halvings that one call answers, by all values that they may come to: what is asked of a few lanes costs little
        more for many. The same value to the last bit, whatever it is.

    Returns
    -------
    (N,) of the largest (or smallest) value known to pass; where ``good`` fails NaN, where ``bad`` passes ``bad``.
    """
    good, bad = np.array(good, dtype=np.float64), np.array(bad, dtype=np.float64)
    hopeless, free = ~passes(good), passes(bad)
    inside, outside = good.copy(), bad.copy()
    left = 0 if (hopeless | free).all() else steps
    while left > 0:
        rungs = _rungs(inside, outside, min(left, at_once))
        inner = rungs[1:-1]
        fine = passes(inner if at_once > 1 else inner[0]).reshape(inner.shape)
        inside, outside = _narrowed(rungs, fine)
        left -= at_once
    return np.where(hopeless, np.nan, np.where(free, bad, inside))


def _rungs(inside: Floats, outside: Floats, halvings: int) -> Floats:
    """Both ends and every value that so many halvings may come to, (2^halvings + 1, N), each as halving makes it."""
    rungs = np.array([inside, outside])
    for _ in range(halvings):
        finer = np.empty((2 * len(rungs) - 1, inside.size))
        finer[::2], finer[1::2] = rungs, 0.5 * (rungs[:-1] + rungs[1:])
        rungs = finer
    return rungs


def _narrowed(rungs: Floats, fine: Flags) -> tuple[Floats, Floats]:
    """The two neighbours among the rungs that halving comes to."""
    lanes = np.arange(rungs.shape[1])
    low, high = np.zeros(lanes.size, dtype=np.intp), np.full(lanes.size, len(rungs) - 1)
    while high[0] - low[0] > 1:
        middle = (low + high) // 2
        passed = fine[middle - 1, lanes]
        low, high = np.where(passed, middle, low), np.where(passed, high, middle)
    return rungs[low, lanes], rungs[high, lanes]
