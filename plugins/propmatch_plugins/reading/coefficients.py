"""From measured points to a coefficient table that the solver reads without moving them.

Points come in runs of one rotational speed, each over its own range of advance ratio, and in static sweeps at J = 0.
The solver wants one rectangle. What is done, and counted in :class:`Changes`:

1. exact duplicates go, points are sorted by J, points with negative CT (the air drives the propeller) stay;
2. speeds within 2 % are one speed; points of such repeated runs closer than 0.007 in J, and of one
   run closer than 0.001, are averaged;
3. static points become the points at J = 0, by speed; without any, each run is continued to J = 0 along the straight
   line through its first three points;
4. a run that ends before the longest one is continued with the shape of the nearest run that goes on, a speed with a
   static point alone takes its shape from the nearest runs;
5. the rectangle has uniform axes, which the solver takes as they are. Values at its nodes are corrected by what the
   solver's own lookup misses at the measured points until none is off by more than 0.2 % of the greatest value; the
   coarsest grid that gets there is kept.
"""

import heapq
from collections.abc import Callable, Iterator, Sequence

import attrs
import numpy as np
from numpy.typing import NDArray

from propmatch.models.arrays import Floats
from propmatch.models.surface import resample
from propmatch.models.tables import CoefficientTable

__all__ = ["MOST_MOVED", "Changes", "Points", "Sweep", "sweeps_of", "table_of"]

SAME_SPEED = 0.02
SAME_J = 0.007
SAME_READING_J = 0.001
MOST_MOVED = 0.002
_GRIDS = (
    (9, 49), (13, 49), (17, 65), (25, 65), (33, 65), (33, 97), (49, 97), (65, 97), (49, 129), (65, 129), (97, 129),
    (97, 193),
)  # fmt: skip
"""Speeds and advance ratios, tried in this order from about as many speeds as were measured."""
_ROUNDS = 30
_GAIN = 1.5


@attrs.frozen(eq=False)
class Points:
    """Measured points of one propeller, each array (N,): rpm, advance ratio, CT, CP; static points have J = 0.

    ``run`` numbers the runs the points come from; two runs may have the same speed.
    """

    rpm: Floats
    j: Floats
    ct: Floats
    cp: Floats
    run: NDArray[np.intp]


@attrs.frozen(kw_only=True)
class Changes:
    """What was done to the points of one propeller.

    Attributes
    ----------
    points, static_points : int
        Points read, and how many of them static.
    duplicates : int
        Exact repeats left out.
    unsorted : int
        Steps back in J within a run.
    windmilling : int
        Points with negative CT, kept.
    merged_speeds : int
        Runs joined to another one within 2 %.
    averaged : int
        Points averaged with one that repeats them.
    averaged_by : float
        Farthest such a point is from what the lookup answers at its place, as a share of the greatest value.
    extrapolated : int
        Runs continued to J = 0 along a straight line because no static point exists.
    continued : int
        Runs continued beyond their last J with the shape of another.
    moved : float
        Farthest any point is from what the solver's lookup answers, as a share of the greatest value.
    grid : (int, int)
        Speeds and advance ratios of the table.
    """

    points: int
    static_points: int
    duplicates: int
    unsorted: int
    windmilling: int
    merged_speeds: int
    averaged: int
    averaged_by: float
    extrapolated: int
    continued: int
    moved: float
    grid: tuple[int, int]

    def __str__(self) -> str:
        return "; ".join(self._words())

    def _words(self) -> Iterator[str]:
        yield f"{self.points} points, {self.static_points} of them static"
        for count, words in (
            (self.duplicates, "exact duplicates left out"),
            (self.unsorted, "steps back in J sorted"),
            (self.windmilling, "with negative CT kept"),
            (self.merged_speeds, "runs joined to one within 2 % of their speed"),
            (self.extrapolated, "runs continued to J = 0 on a straight line, there being no static point"),
            (self.continued, "runs continued with the shape of the nearest longer run"),
        ):
            if count:
                yield f"{count} {words}"
        if self.averaged:
            yield f"{self.averaged} repeated points averaged, the farthest {self.averaged_by:.2%} from the table"
        speeds, ratios = self.grid
        yield f"table of {speeds} speeds x {ratios} advance ratios moves no point by more than {self.moved:.2%}"


@attrs.frozen(eq=False)
class Sweep:
    """One speed: J rising (N,), with CT and CP as (2, N)."""

    rpm: float
    j: Floats
    values: Floats


@attrs.define
class _Tally:
    duplicates: int = 0
    unsorted: int = 0
    merged_speeds: int = 0
    averaged: int = 0
    extrapolated: int = 0
    continued: int = 0


def sweeps_of(points: Points, tally: _Tally | None = None) -> list[Sweep]:
    """Runs by rising speed: duplicates dropped, sorted by J, speeds within 2 % joined, close repeats averaged."""
    tally = tally or _Tally()
    tally.unsorted += int(np.count_nonzero((np.diff(points.j) < 0) & (np.diff(points.run) == 0) & (points.j[1:] > 0)))
    rows = np.column_stack([points.rpm, points.j, points.ct, points.cp])
    unique, first = np.unique(rows, axis=0, return_index=True)
    run_of = points.run[first]
    tally.duplicates += rows.shape[0] - unique.shape[0]
    speed = _joined_speeds(unique[:, 0], unique[:, 1] > 0)
    sweeps = []
    for rpm in np.unique(speed):
        run, number = unique[speed == rpm], run_of[speed == rpm]
        tally.merged_speeds += max(0, np.unique(number[run[:, 1] > 0]).size - 1)
        order = np.argsort(run[:, 1], kind="stable")
        run, number = run[order], number[order]
        means = []
        for same in _repeats(run[:, 1], number):
            tally.averaged += len(same) if len(same) > 1 else 0
            means.append(run[same].mean(axis=0))
        mean = np.array(means)
        sweeps.append(Sweep(float(rpm), mean[:, 1], mean[:, 2:].T.copy()))
    return sweeps


def _joined_speeds(rpm: Floats, moving: NDArray[np.bool_]) -> Floats:
    """Speed of each point after joining: runs nearest to each other first, then static points to a run or alone."""
    running, still = np.unique(rpm[moving]), np.unique(rpm[~moving])
    run_speed, still_speed = _centres(running), still.copy()
    lonely = np.ones(still.size, dtype=bool)
    if running.size:
        runs = np.unique(run_speed)
        above = np.clip(np.searchsorted(runs, still), 1, max(runs.size - 1, 1))
        nearest = np.where(still - runs[above - 1] <= runs[above % runs.size] - still, above - 1, above % runs.size)
        lonely = np.abs(runs[nearest] / still - 1) > SAME_SPEED
        still_speed[~lonely] = runs[nearest[~lonely]]
    still_speed[lonely] = _centres(still[lonely])
    speed = np.empty_like(rpm)
    speed[moving] = run_speed[np.searchsorted(running, rpm[moving])]
    speed[~moving] = still_speed[np.searchsorted(still, rpm[~moving])]
    return speed


def _centres(rising: Floats) -> Floats:
    """The mean of each speed's group: joined to neighbours, closest first, while its ends differ by at most 2 %."""

    def span(left: list[int], right: list[int]) -> float:
        apart = float(1 - rising[left[0]] / rising[right[-1]])
        return apart if apart <= SAME_SPEED else np.inf

    centres = np.empty_like(rising)
    for group in _joined(rising.size, span):
        centres[group] = float(np.mean(rising[group]))
    return centres


def _joined(size: int, span: Callable[[list[int], list[int]], float]) -> list[list[int]]:
    """Neighbours in a row joined, closest first, as long as the span of two groups is finite."""
    groups: list[list[int]] = [[at] for at in range(size)]
    left, right = list(range(-1, size - 1)), [*range(1, size), -1]
    waiting = [(span([at], [at + 1]), at, at + 1, 1, 1) for at in range(size - 1)]
    heapq.heapify(waiting)
    while waiting:
        apart, one, other, size_one, size_other = heapq.heappop(waiting)
        if not np.isfinite(apart):
            break
        if (len(groups[one]), len(groups[other])) != (size_one, size_other):
            continue  # either has been joined to another since
        groups[one] += groups[other]
        groups[other] = []
        right[one] = after = right[other]
        if after >= 0:
            left[after] = one
        for a, b in ((left[one], one), (one, after)):
            if min(a, b) >= 0:
                heapq.heappush(waiting, (span(groups[a], groups[b]), a, b, len(groups[a]), len(groups[b])))
    return [group for group in groups if group]


def _repeats(j: Floats, run: NDArray[np.intp]) -> list[list[int]]:
    """Places by rising J that are one point measured again: closer than 0.001, or 0.007 between two runs."""

    def span(left: list[int], right: list[int]) -> float:
        between = float(j[right[-1]] - j[left[0]])
        if between <= SAME_READING_J:
            return between
        if between > SAME_J or j[left[0]] <= 0:
            return np.inf
        places = np.array(left + right)
        of_one_run = max(np.ptp(j[places[run[places] == each]]) for each in set(run[places].tolist()))
        return between if of_one_run <= SAME_READING_J else np.inf

    return _joined(j.size, span)


# ---------------------------------------------------------------- the table


def table_of(points: Points) -> tuple[CoefficientTable, Changes]:
    """The table through measured points.

    Parameters
    ----------
    points : Points
        Finite; rpm above 0, J at least 0, at least one point with J above 0.

    Raises
    ------
    ValueError
        No point moves through the air, or the points make no sound table; in words.
    """
    tally = _Tally()
    sweeps = sweeps_of(points, tally)
    runs, static_rpm, static = _with_static(sweeps, tally)
    j_most = max(run.j[-1] for run in runs)
    scale = np.max(np.abs(np.concatenate([static, *(run.values for run in runs)], axis=1)), axis=1)
    best: tuple[float, CoefficientTable] | None = None
    measured = len({*(run.rpm for run in runs), *static_rpm})
    for speeds, ratios in _GRIDS:
        if speeds < 0.8 * min(measured, _GRIDS[-1][0]):
            continue
        grid_j = np.linspace(0.0, j_most, ratios)
        shape = _Shape(runs, static_rpm, grid_j, speeds)
        error, table = _fitted(shape, runs, static_rpm, static, scale)
        if best is None or error < best[0]:
            best = (error, table)
        if best[0] <= MOST_MOVED:
            break
    assert best is not None
    tally.continued = sum(run.j[-1] < j_most for run in runs)
    error, table = best
    changes = Changes(
        points=points.rpm.size,
        static_points=int(np.count_nonzero(points.j == 0)),
        windmilling=int(np.count_nonzero(points.ct < 0)),
        moved=error,
        averaged_by=_repeats_off(points, table, scale) if tally.averaged else 0.0,
        grid=(table.rpm.size, table.advance_ratio.size),
        **attrs.asdict(tally),
    )
    return table, changes


def _repeats_off(points: Points, table: CoefficientTable, scale: Floats) -> float:
    """Farthest any published point is from the lookup at its joined speed; it exceeds ``moved`` by averaging alone."""
    speed = _joined_speeds(points.rpm, points.j > 0)
    found = table.lookup(speed, points.j)
    off = np.abs(np.stack([found.ct - points.ct, found.cp - points.cp])) / scale[:, None]
    return float(np.max(off))


def _with_static(sweeps: Sequence[Sweep], tally: _Tally) -> tuple[list[Sweep], Floats, Floats]:
    """Runs that all start at J = 0, and the static points (S,) and (2, S) at every speed that has one."""
    moving = [sweep for sweep in sweeps if sweep.j[-1] > 0]
    if not moving:
        raise ValueError("has static points only; a table needs points at some advance ratio above 0")
    still = [(sweep.rpm, sweep.values[:, 0]) for sweep in sweeps if sweep.j[0] == 0]
    static_rpm = np.array([rpm for rpm, _ in still])
    static = np.array([value for _, value in still]).reshape(-1, 2).T
    first = min(moving, key=lambda sweep: sweep.j[0])
    runs = []
    for run in moving:
        if run.j[0] == 0:
            runs.append(run)
            continue
        if static_rpm.size:
            start = np.array([np.interp(run.rpm, static_rpm, value) for value in static])
        else:
            tally.extrapolated += 1
            start = _straight_start(run if run.j[0] <= first.j[0] + 0.05 else first)
            if run.j[0] > first.j[0] + 0.05:
                start = start + run.values[:, 0] - _at(first, run.j[:1])[:, 0]
        runs.append(Sweep(run.rpm, np.concatenate([[0.0], run.j]), np.column_stack([start, run.values])))
    return runs, static_rpm, static


def _straight_start(run: Sweep) -> Floats:
    """CT and CP at J = 0 on the least-squares line through the first three points; of a single point, its value."""
    few = min(3, run.j.size)
    if few < 2:
        return run.values[:, 0]
    return np.array([np.polynomial.Polynomial.fit(run.j[:few], row[:few], 1)(0.0) for row in run.values])


def _at(run: Sweep, j: Floats) -> Floats:
    """CT and CP (2, N) of a run at any J, shape-preserving, its end value held."""
    if run.j.size < 2:
        return np.repeat(run.values, j.size, axis=1)
    return resample(run.j, run.values, np.clip(j, run.j[0], run.j[-1]))


class _Shape:
    """Spreads values known along runs and at static points over a whole grid."""

    def __init__(self, runs: Sequence[Sweep], static_rpm: Floats, grid_j: Floats, speeds: int) -> None:
        self.grid_j = grid_j
        self.run_rpm = np.array([run.rpm for run in runs])
        alone = np.array([not np.any(np.isclose(self.run_rpm, rpm, rtol=1e-9)) for rpm in static_rpm], dtype=bool)
        self.alone = np.flatnonzero(alone)
        self.static_rpm = static_rpm[self.alone]
        rows = np.concatenate([self.run_rpm, self.static_rpm])
        self.order = np.argsort(rows)
        self.rows = rows[self.order]
        self.rpm = np.linspace(self.rows[0], self.rows[-1], speeds if self.rows.size > 1 else 1)
        near = min(run.j[run.j > 0][0] for run in runs)
        t = np.clip(grid_j / near, 0.0, 1.0)
        self.fade = (1 - t) ** 2 * (1 + 2 * t)

    def over(self, curves: Floats, static: Floats) -> Floats:
        """Curves (2, runs, J) and static values (2, S) to the whole grid (2, rpm, J)."""
        rows = curves
        if self.alone.size:
            base = _between(self.run_rpm, curves, self.static_rpm)
            lift = static[:, self.alone] - base[:, :, 0]
            rows = np.concatenate([curves, base + lift[:, :, None] * self.fade], axis=1)
        return _between(self.rows, rows[:, self.order], self.rpm)


def _between(rpm: Floats, rows: Floats, wanted: Floats) -> Floats:
    """Rows (2, R, J) at other speeds, shape-preserving, the outermost held."""
    if rpm.size == 1:
        return np.repeat(rows, wanted.size, axis=1)
    along_rpm = resample(rpm, np.swapaxes(rows, 1, 2), np.clip(wanted, rpm[0], rpm[-1]))
    return np.swapaxes(along_rpm, 1, 2)


def _curves(runs: Sequence[Sweep], grid_j: Floats) -> Floats:
    """Every run over the whole J axis (2, runs, J); a short one goes on with the shape of the nearest longer one."""
    curves = np.stack([_at(run, grid_j) for run in runs], axis=1)
    longest_first = sorted(range(len(runs)), key=lambda at: -runs[at].j[-1])
    for place, at in enumerate(longest_first):
        longer = [other for other in longest_first[:place] if runs[other].j[-1] > runs[at].j[-1]]
        if longer:
            other = min(longer, key=lambda each: abs(runs[each].rpm - runs[at].rpm))
            beyond = grid_j > runs[at].j[-1]
            end = np.array([np.interp(runs[at].j[-1], grid_j, row) for row in curves[:, other]])
            curves[:, at, beyond] += curves[:, other, beyond] - end[:, None]
    return curves


def _fitted(
    shape: _Shape, runs: Sequence[Sweep], static_rpm: Floats, static: Floats, scale: Floats
) -> tuple[float, CoefficientTable]:
    """Correct the nodes by what the solver's lookup misses at the points; the best table and its worst miss."""
    rpm = np.concatenate([*(np.full(run.j.size, run.rpm) for run in runs), static_rpm])
    j = np.concatenate([*(run.j for run in runs), np.zeros(static_rpm.size)])
    values = np.concatenate([*(run.values for run in runs), static], axis=1)
    cuts = np.cumsum([run.j.size for run in runs])
    grid = shape.over(_curves(runs, shape.grid_j), static)
    best: tuple[float, CoefficientTable] | None = None
    errors: list[float] = []
    for number in range(_ROUNDS):
        table = CoefficientTable(rpm=shape.rpm, advance_ratio=shape.grid_j, ct=grid[0], cp=grid[1])
        found = table.lookup(rpm, j)
        missed = values - np.stack([found.ct, found.cp])
        error = float(np.max(np.abs(missed) / scale[:, None]))
        slow = number > 3 and error > 0.97 * errors[-2]
        errors.append(error)
        if best is None or error < best[0]:
            best = (error, table)
        if error <= 0.75 * MOST_MOVED or slow:
            break
        pieces = np.split(missed, cuts, axis=1)
        along = np.stack(
            [
                np.stack([np.interp(shape.grid_j, run.j, row) for row in piece])
                for run, piece in zip(runs, pieces, strict=False)
            ],
            axis=1,
        )
        grid = grid + _GAIN * shape.over(along, pieces[-1])
    assert best is not None
    return best
