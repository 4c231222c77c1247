"""How well predictions agree with measured propellers that were left out: errors, percentiles, interval coverage."""

import hashlib
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from prediction_training.measured import MeasuredPropeller, Sweep
from propmatch.models.tables import CoefficientTable
from propmatch.units import INCH_M
from propmatch_plugins.prediction.evidence import Sibling
from propmatch_plugins.prediction.families import reynolds_number
from propmatch_plugins.prediction.knowledge import (
    JOINT,
    QUANTITIES,
    WINDMILLING,
    WINDMILLING_AT,
    curve_spread,
    growing,
)

__all__ = [
    "ERRORS",
    "JUDGED",
    "Comparison",
    "by_line",
    "by_model",
    "compare",
    "coverage",
    "in_scope",
    "measured_sibling",
    "percentiles",
    "weighted",
    "weighted_quantile",
]

FloatArray = NDArray[np.float64]

ERRORS = (
    "CT0",
    "CP0",
    "CT, 0..0.8 J0",
    "CP, 0..0.8 J0",
    "CT error/CT0",
    "CP error/CP0",
    "J0",
    "peak efficiency",
    "static thrust at given power",
)
"""Columns of the accuracy table; ``CT error/CT0`` runs over 0..J0."""


def in_scope(propeller: MeasuredPropeller) -> bool:
    """Nominal diameter 4 to 11 in, 2 to 4 blades, family known: what the goals are stated for."""
    p = propeller
    return 3.99 <= p.diameter_in <= 11.01 and 2 <= p.blades <= 4 and p.family is not None


def by_model(propellers: Sequence[MeasuredPropeller], folds: int = 5) -> list[set[str]]:
    """Models in ``folds`` groups by the SHA-256 of their name: deterministic, specimens stay together."""
    groups: list[set[str]] = [set() for _ in range(folds)]
    for p in propellers:
        groups[int(hashlib.sha256(f"fold {p.model}".encode()).hexdigest(), 16) % folds].add(p.model)
    return groups


def by_line(propellers: Sequence[MeasuredPropeller], groups: int | None = None) -> list[set[str]]:
    """The models of each line: one group a line, or whole lines dealt to ``groups`` in turn."""
    lines = sorted({p.line for p in propellers})
    count = groups or len(lines)
    return [{p.model for p in propellers if p.line in lines[k::count]} for k in range(count)]


JUDGED = (*QUANTITIES, *WINDMILLING, *JOINT)
"""Everything with an interval."""


class Curves(Protocol):
    """What is held against measurements: a prediction, or a baseline without intervals."""

    @property
    def table(self) -> CoefficientTable: ...
    @property
    def zero_thrust_j(self) -> FloatArray: ...
    @property
    def peak_efficiency(self) -> FloatArray: ...


@dataclass(frozen=True)
class Comparison:
    """One propeller beside its prediction.

    ``errors``: predicted/measured - 1 by name. ``logs``: by quantity what its interval must hold,
    ln(measured/predicted) of QUANTITIES, (measured - predicted)/static of WINDMILLING, the largest miss of a sweep in
    standard deviations of JOINT; ``speeds``: the rpm of each.
    """

    propeller: MeasuredPropeller
    prediction: Any
    errors: dict[str, FloatArray]
    logs: dict[str, FloatArray]
    speeds: dict[str, FloatArray]

    def half_widths(self, quantity: str) -> FloatArray:
        """Half-width of the interval at each measured value."""
        widths = self.prediction.widths[:, JUDGED.index(quantity)]
        return np.asarray(np.interp(np.log(self.speeds[quantity]), np.log(self.prediction.table.rpm), widths))

    def covered(self, quantity: str) -> FloatArray:
        """1 where the 80 % interval holds the measured value."""
        return (np.abs(self.logs[quantity]) <= self.half_widths(quantity)).astype(np.float64)

    def growing(self, quantity: str) -> FloatArray:
        """What an interval grows with at each measured value, (N, G)."""
        p = self.propeller
        reynolds = reynolds_number(p.diameter_in * INCH_M, self.speeds[quantity])
        return growing(p.printed, self.prediction.family_chances, reynolds)


def _chosen(size: int, most: int) -> NDArray[np.intp]:
    if not size:
        return np.empty(0, np.intp)
    return np.unique(np.linspace(0, size - 1, min(size, most)).round().astype(np.intp))


class _Notes:
    """Errors by name and what the intervals must hold by quantity, gathered point by point."""

    def __init__(self) -> None:
        self.errors: dict[str, list[float]] = {name: [] for name in ERRORS}
        self.logs: dict[str, list[tuple[float, float]]] = {name: [] for name in JUDGED}

    def ratio(self, name: str, quantity: str | None, predicted: float, measured: float, rpm: float) -> None:
        """One predicted value beside the measured one."""
        self.errors[name].append(predicted / measured - 1.0)
        if quantity is not None:
            sound = predicted > 0 and measured > 0
            self.logs[quantity].append((math.log(measured / predicted) if sound else 1e3, rpm))


def compare(propeller: MeasuredPropeller, prediction: Curves) -> Comparison:
    """Up to 7 static speeds; up to 5 sweeps with up to 6 points each, and those past zero thrust.

    Values are looked up in the predicted table as any user would.
    """
    p, table, notes = propeller, prediction.table, _Notes()
    for k in _chosen(p.static_rpm.size, 7):
        rpm, ct, cp = p.static_rpm[k], p.static_ct[k], p.static_cp[k]
        at = table.lookup(rpm, 0.0)
        merit = float(at.ct) / float(at.cp) ** (2 / 3)
        notes.ratio("CT0", "ct0", float(at.ct), ct, rpm)
        notes.ratio("CP0", "cp0", float(at.cp), cp, rpm)
        notes.ratio("static thrust at given power", "thrust_at_power", merit, ct / cp ** (2 / 3), rpm)
    usable = [s for s in p.sweeps if math.isfinite(s.zero_thrust_j)]
    for index in _chosen(len(usable), 5):
        _compare_sweep(notes, p, prediction, usable[index])
    return Comparison(
        p,
        prediction,
        {name: np.array(values) for name, values in notes.errors.items()},
        {name: np.array([value for value, _ in values]) for name, values in notes.logs.items()},
        {name: np.array([rpm for _, rpm in values]) for name, values in notes.logs.items()},
    )


def _compare_sweep(notes: _Notes, p: MeasuredPropeller, prediction: Curves, sweep: Sweep) -> None:
    zero, rpm = sweep.zero_thrust_j, sweep.rpm
    own_zero = float(np.interp(rpm, prediction.table.rpm, prediction.zero_thrust_j))
    notes.ratio("J0", "zero_thrust_j", own_zero, zero, rpm)
    if math.isfinite(sweep.peak_efficiency):
        peak = float(np.interp(rpm, prediction.table.rpm, prediction.peak_efficiency))
        notes.ratio("peak efficiency", "peak_efficiency", peak, sweep.peak_efficiency, rpm)
    at = prediction.table.lookup(np.full(sweep.j.size, rpm), sweep.j)
    inside = np.flatnonzero(sweep.j <= 0.8 * zero)
    for k in inside[_chosen(inside.size, 6)]:
        band = "to_0.4" if sweep.j[k] < 0.4 * zero else "0.4_to_0.8"
        notes.ratio("CT, 0..0.8 J0", f"ct_{band}", float(at.ct[k]), float(sweep.ct[k]), rpm)
        notes.ratio("CP, 0..0.8 J0", f"cp_{band}", float(at.cp[k]), float(sweep.cp[k]), rpm)
    inside = np.flatnonzero(sweep.j <= zero)
    inside = inside[_chosen(inside.size, 6)]
    first = prediction.table.lookup(rpm, 0.0)
    static = (p.static_ct, p.static_cp) if p.static_rpm.size else (sweep.ct[:1], sweep.cp[:1])
    speeds = p.static_rpm if p.static_rpm.size else np.array([rpm])
    covariance = getattr(prediction, "covariance", None)
    for k, (name, value, measured, level) in enumerate(
        (("CT", at.ct, sweep.ct, first.ct), ("CP", at.cp, sweep.cp, first.cp))
    ):
        notes.errors[f"{name} error/{name}0"] += list(
            (value[inside] - measured[inside]) / np.interp(rpm, speeds, static[k])
        )
        if covariance is None:
            continue
        miss = (measured - value) / float(level)
        past = (sweep.j > zero) & (sweep.j < (2 * WINDMILLING_AT - 1) * zero)
        notes.logs[WINDMILLING[k]] += [(float(each), rpm) for each in miss[past]]
        near = sweep.j <= WINDMILLING_AT * zero
        spread = curve_spread(covariance, sweep.j / own_zero)[:, k]
        notes.logs[JOINT[k]].append((float(np.max(np.abs(miss[near]) / spread[near])), rpm))


def measured_sibling(propeller: MeasuredPropeller) -> Sibling | None:
    """A measured propeller as a sibling: the runs that reach zero thrust on a common J axis, static points at J = 0.

    Past its last point a run goes on with its last slope. None when no run reaches zero thrust.
    """
    usable = [s for s in propeller.sweeps if math.isfinite(s.zero_thrust_j)]
    if not usable or not propeller.static_rpm.size:
        return None
    j = np.linspace(0.0, max(s.zero_thrust_j for s in usable) * 1.02, 25)
    rows = []
    for sweep in usable:
        row = []
        for values, static in ((sweep.ct, propeller.static_ct), (sweep.cp, propeller.static_cp)):
            first = np.interp(sweep.rpm, propeller.static_rpm, static)
            x, y = np.concatenate([[0.0], sweep.j]), np.concatenate([[first], values])
            slope = (y[-1] - y[-3]) / (x[-1] - x[-3])
            row.append(np.where(j <= x[-1], np.interp(j, x, y), y[-1] + slope * (j - x[-1])))
        rows.append(row)
    ct, cp = np.array(rows).transpose(1, 0, 2)
    table = CoefficientTable(rpm=[s.rpm for s in usable], advance_ratio=j, ct=ct, cp=cp)
    return Sibling(propeller.diameter_in, propeller.pitch_in, propeller.blades, table)


def weighted_quantile(values: FloatArray, weights: FloatArray, share: float) -> float:
    """Smallest value whose cumulated weight reaches ``share``."""
    if not values.size:
        return math.nan
    order = np.argsort(values, kind="stable")
    total = np.cumsum(weights[order])
    return float(values[order][np.searchsorted(total, share * total[-1] * (1 - 1e-12))])


def weighted(
    comparisons: Sequence[Comparison], values: Callable[[Comparison], FloatArray]
) -> tuple[FloatArray, FloatArray]:
    """All values, and weights that give every model the same weight."""
    models: dict[str, int] = {}
    for c in comparisons:
        models[c.propeller.model] = models.get(c.propeller.model, 0) + 1
    each = [(values(c), models[c.propeller.model]) for c in comparisons]
    pieces = [(v, np.full(v.size, 1.0 / (v.size * share))) for v, share in each if v.size]
    if not pieces:
        return np.empty(0), np.empty(0)
    return np.concatenate([v for v, _ in pieces]), np.concatenate([w for _, w in pieces])


def percentiles(comparisons: Sequence[Comparison], name: str) -> tuple[float, float, float, float]:
    """Median, 80th and 95th percentile of |error| and the mean error, in percent."""
    values, weights = weighted(comparisons, lambda c: c.errors[name])
    if not values.size:
        return (math.nan,) * 4
    size = [100 * weighted_quantile(np.abs(values), weights, share) for share in (0.5, 0.8, 0.95)]
    return size[0], size[1], size[2], 100 * float(np.average(values, weights=weights))


def coverage(comparisons: Sequence[Comparison], quantity: str) -> tuple[float, float]:
    """Share of measured values inside the 80 % interval and its binomial uncertainty (one sigma, over models)."""
    values, weights = weighted(comparisons, lambda c: c.covered(quantity))
    if not values.size:
        return math.nan, math.nan
    share = float(np.average(values, weights=weights))
    models = len({c.propeller.model for c in comparisons if c.logs[quantity].size})
    return share, math.sqrt(max(share * (1 - share), 0.0) / models)
