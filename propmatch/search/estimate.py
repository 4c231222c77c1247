"""How many combinations of a large shelf pass, from a random sample of them."""

import math

import attrs
import numpy as np

from propmatch.checks.measures import Setting, TrainMeasures
from propmatch.models.arrays import Index
from propmatch.search.exhaustive import first_failures
from propmatch.search.shelf import Shelf

__all__ = ["PassingEstimate", "estimated_passing"]

_NORMAL_95 = 1.959963984540054
"""Two-sided 95 % point of the standard normal distribution."""
_CHUNK = 4096


@attrs.frozen(kw_only=True)
class PassingEstimate:
    """Combinations that pass, estimated: the share of a sample times their number, with a 95 % interval."""

    passing: int
    low: int
    high: int
    sample: int


def estimated_passing(setting: Setting, shelf: Shelf, *, sample: int = 20_000, seed: int = 0) -> PassingEstimate:
    """Judge combinations drawn at random, each alike likely, with replacement.

    Interval: E. B. Wilson, Probable inference, the law of succession, and statistical inference, J. Am. Stat. Assoc. 22
    (1927) 209-212. The same seed and sample give the same answer.
    """
    rng = np.random.default_rng(seed)
    good = 0
    for start in range(0, sample, _CHUNK):
        rows = _drawn(shelf, rng, min(_CHUNK, sample - start))
        good += first_failures(TrainMeasures(setting, *shelf.combine(*rows.T)))[1].size if len(rows) else 0
    share, square = good / sample, _NORMAL_95**2 / sample
    middle = (share + 0.5 * square) / (1.0 + square)
    half = _NORMAL_95 / (1.0 + square) * math.sqrt(share * (1.0 - share) / sample + 0.25 * square / sample)
    total = shelf.combinations
    low, high = (total * min(max(middle + side * half, 0.0), 1.0) for side in (-1.0, 1.0))
    return PassingEstimate(
        passing=round(total * share), low=math.floor(low) if good else 0, high=math.ceil(high), sample=sample
    )


def _drawn(shelf: Shelf, rng: "np.random.Generator", count: int) -> Index:
    """Combinations (N, 4) whose cell counts go together, drawn until there are so many; none where none go together."""
    out = np.empty((0, 4), dtype=np.intp)
    while shelf.combinations and len(out) < count:
        rows = np.column_stack([rng.integers(0, size, 4 * count) for size in shelf.sizes]).astype(np.intp)
        out = np.concatenate([out, rows[shelf.cells_fit(*rows[:, :3].T)]])
    return out[:count]
