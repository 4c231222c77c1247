"""Every combination of a shelf, judged one by one: the plain way, and the proof of the quick one.

Checks come in stages, the cheap ones first: masses and diameters, full throttle at rest, full throttle in flight,
climb, the rest at half charge, and last the flight itself. Each stage computes only what the one before left over, and
keeps what that one computed.
"""

from collections.abc import Callable, Iterator
from typing import Any

import attrs
import numpy as np
from numpy.typing import NDArray

from propmatch.checks.checkrules import CHECKS, stages
from propmatch.checks.measures import Setting, TrainMeasures
from propmatch.models.arrays import Floats, Index
from propmatch.search.ranking import Ranking
from propmatch.search.shelf import Shelf

__all__ = ["Found", "Interrupted", "exhaustive", "first_failures", "in_order"]


_CHUNK = 65536
"""Combinations in work at a time, some 60 MB; a tenth of that takes twice the time, since each stage then has few."""


@attrs.frozen(kw_only=True, eq=False)
class Found:
    """The best combinations of a shelf, and what became of the rest.

    Attributes
    ----------
    combination : (n, 4), indices of motor, controller, pack, propeller, best first
    score : (n,)
    combinations : int, those whose cell counts go together
    passing : int or None
        How many pass every excluding check; None when that was not counted.
    left_out : dict
        Combinations counted under the first check they fail, in the order of ``CHECKS``; empty when not counted.
    bound : float or None
        Of a search that did not come to its end: score that nothing which was not looked at exceeds.
    set_aside : dict
        Parts of each kind that were set aside first, as enough others are the same and rated no lower.
    """

    combination: Index
    score: Floats
    combinations: int
    passing: int | None
    left_out: dict[str, int]
    bound: float | None = None
    set_aside: dict[str, int] = attrs.field(factory=dict)

    def first(self, top: int) -> "Found":
        """The same with so many of the best."""
        return attrs.evolve(self, combination=self.combination[:top], score=self.score[:top])

    @classmethod
    def so_far(cls, combination: Index, score: Floats, combinations: int, bound: float = np.inf) -> "Found":
        """The best of a search that did not come to its end: nothing is counted."""
        return cls(
            combination=combination, score=score, combinations=combinations, passing=None, left_out={}, bound=bound
        )


class Interrupted(KeyboardInterrupt):
    """A search was interrupted (Ctrl-C); ``found`` is the best so far, which is no answer to what was asked."""

    def __init__(self, found: Any) -> None:
        super().__init__("interrupted")
        self.found = found


def in_order(score: Floats, mass_g: Floats, combination: Index) -> Index:
    """Order of rows: best score, then least mass, then position in the catalogue."""
    keys = tuple(combination[:, column] for column in (2, 1, 3, 0))
    return np.lexsort((*keys, mass_g, -score))


def first_failures(measured: TrainMeasures) -> tuple[NDArray[np.int8], Index, TrainMeasures]:
    """For each lane the position in ``CHECKS`` of the first excluding check it fails, or -1.

    Costly checks are made only for lanes that passed the cheap ones. Also returned: the passing lanes, and their
    measures.
    """
    positions = {name: at for at, name in enumerate(CHECKS)}
    failed = np.full(measured.lanes.size, -1, dtype=np.int8)
    alive = np.arange(measured.lanes.size)
    for stage in stages():
        if not alive.size:
            break
        mine = np.full(alive.size, -1, dtype=np.int8)
        for name in stage:
            if not measured.has_limit(name):
                continue
            out = ~measured.passes(name) & (mine < 0)
            mine[out] = positions[name]
        failed[alive] = mine
        keep = mine < 0
        if not keep.all():
            alive = alive[keep]
            measured = measured.take(keep)
    return failed, alive, measured


def _combinations(shelf: Shelf) -> Iterator[Index]:
    """Chunks (n, 4) of the combinations whose cell counts go together."""
    motors, controllers, packs, propellers = shelf.sizes
    m, c, p = (x.ravel() for x in np.indices((motors, controllers, packs)))
    fit = shelf.cells_fit(m, c, p)
    drives = np.column_stack([m[fit], c[fit], p[fit]]).astype(np.intp)
    step = max(1, _CHUNK // propellers)
    every = np.arange(propellers, dtype=np.intp)
    for start in range(0, len(drives), step):
        some = drives[start : start + step]
        yield np.column_stack([np.repeat(some, propellers, axis=0), np.tile(every, len(some))])


def exhaustive(
    setting: Setting,
    shelf: Shelf,
    ranking: Ranking,
    *,
    top: int = 20,
    progress: Callable[[int, int], None] | None = None,
) -> Found:
    """Judge every combination whose cell counts go together.

    Parameters
    ----------
    setting, shelf, ranking
    top : int
    progress : callable, optional
        Called with the combinations done and their number.

    Returns
    -------
    Found
        Exact, with counts.

    Raises
    ------
    Interrupted
        At Ctrl-C, with the best so far.
    """
    names = list(CHECKS)
    counts = np.zeros(len(names), dtype=np.int64)
    best = np.empty((0, 4), dtype=np.intp)
    score, mass = np.empty(0), np.empty(0)
    motors, controllers, packs, propellers = shelf.sizes
    m, c, p = (x.ravel() for x in np.indices((motors, controllers, packs)))
    total = int(np.sum(shelf.cells_fit(m, c, p))) * propellers
    done = passing = 0
    try:
        for rows in _combinations(shelf):
            measured = TrainMeasures(setting, *shelf.combine(*rows.T))
            failed, alive, survivors = first_failures(measured)
            counts += np.bincount(failed[failed >= 0], minlength=len(names))
            passing += alive.size
            if alive.size:
                all_best = np.concatenate([best, rows[alive]])
                all_score = np.concatenate([score, ranking.of(survivors)])
                all_mass = np.concatenate([mass, survivors["all_up_mass"].value])
                order = in_order(all_score, all_mass, all_best)[:top]
                best, score, mass = all_best[order], all_score[order], all_mass[order]
            done += len(rows)
            if progress is not None:
                progress(done, total)
    except KeyboardInterrupt:
        raise Interrupted(Found.so_far(best, score, total)) from None
    return Found(
        combination=best,
        score=score,
        combinations=total,
        passing=passing,
        left_out={name: int(count) for name, count in zip(names, counts, strict=True) if count},
    )
