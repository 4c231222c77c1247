"""How well predictions agree with measured propellers that were left out: errors, percentiles, interval coverage."""

import hashlib
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from prediction_training.measured import MeasuredPropeller, Sweep
from propmatch.models.tables import CoefficientTable
from propmatch_plugins.prediction.evidence import Sibling
from propmatch_plugins.prediction.knowledge import QUANTITIES
from propmatch_plugins.prediction.predicted import Prediction

__all__ = [
    "ERRORS",
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


@dataclass(frozen=True)
class Comparison:
    """One propeller: relative errors (predicted/measured - 1) by name, and ln(measured/predicted) by quantity."""

    propeller: MeasuredPropeller
    prediction: Prediction
    errors: dict[str, FloatArray]
    logs: dict[str, FloatArray]

    def covered(self, quantity: str) -> FloatArray:
        """1 where the 80 % interval holds the measured value."""
        low, high = self.prediction.intervals[quantity]
        value = np.expm1(self.logs[quantity])
        return ((value >= low) & (value <= high)).astype(np.float64)


def _chosen(size: int, most: int) -> NDArray[np.intp]:
    if not size:
        return np.empty(0, np.intp)
    return np.unique(np.linspace(0, size - 1, min(size, most)).round().astype(np.intp))


def compare(propeller: MeasuredPropeller, prediction: Prediction) -> Comparison:
    """Up to 7 static speeds; up to 5 sweeps with up to 6 points each.

    Values are looked up in the predicted table as any user would.
    """
    p, table = propeller, prediction.table
    pairs: dict[str, list[tuple[float, float]]] = {name: [] for name in ERRORS}
    bands: dict[str, list[float]] = {name: [] for name in QUANTITIES}
    for k in _chosen(p.static_rpm.size, 7):
        at = table.lookup(p.static_rpm[k], 0.0)
        ct, cp = float(at.ct), float(at.cp)
        pairs["CT0"].append((ct, p.static_ct[k]))
        pairs["CP0"].append((cp, p.static_cp[k]))
        pairs["static thrust at given power"].append((ct / cp ** (2 / 3), p.static_ct[k] / p.static_cp[k] ** (2 / 3)))
    fractions: dict[str, list[float]] = {"CT error/CT0": [], "CP error/CP0": []}
    usable = [s for s in p.sweeps if math.isfinite(s.zero_thrust_j)]
    for index in _chosen(len(usable), 5):
        sweep = usable[index]
        zero = sweep.zero_thrust_j
        pairs["J0"].append((_zero_thrust(prediction, sweep.rpm), zero))
        if math.isfinite(sweep.peak_efficiency):
            pairs["peak efficiency"].append((_peak(prediction, sweep.rpm), sweep.peak_efficiency))
        for most, relative in ((0.8, True), (1.0, False)):
            inside = np.flatnonzero(sweep.j <= most * zero)
            inside = inside[_chosen(inside.size, 6)]
            at = table.lookup(np.full(inside.size, sweep.rpm), sweep.j[inside])
            x = sweep.j[inside] / zero
            if relative:
                _add_points(pairs, bands, sweep, inside, x, at.ct, at.cp)
            else:
                ct0 = np.interp(sweep.rpm, p.static_rpm, p.static_ct) if p.static_rpm.size else sweep.ct[0]
                cp0 = np.interp(sweep.rpm, p.static_rpm, p.static_cp) if p.static_rpm.size else sweep.cp[0]
                fractions["CT error/CT0"] += list((at.ct - sweep.ct[inside]) / ct0)
                fractions["CP error/CP0"] += list((at.cp - sweep.cp[inside]) / cp0)
    errors = {
        name: np.array([predicted / measured - 1.0 for predicted, measured in values]) for name, values in pairs.items()
    }
    errors |= {name: np.array(values) for name, values in fractions.items()}
    names = {
        "ct0": "CT0",
        "cp0": "CP0",
        "zero_thrust_j": "J0",
        "peak_efficiency": "peak efficiency",
        "thrust_at_power": "static thrust at given power",
    }
    logs = {key: np.array(values) for key, values in bands.items()}
    logs |= {key: -np.log1p(errors[name]) for key, name in names.items()}
    return Comparison(p, prediction, errors, logs)


def _add_points(
    pairs: dict[str, list[tuple[float, float]]],
    bands: dict[str, list[float]],
    sweep: Sweep,
    inside: NDArray[np.intp],
    x: FloatArray,
    ct: FloatArray,
    cp: FloatArray,
) -> None:
    for k, place, thrust, power in zip(inside, x, ct, cp, strict=True):
        pairs["CT, 0..0.8 J0"].append((thrust, sweep.ct[k]))
        pairs["CP, 0..0.8 J0"].append((power, sweep.cp[k]))
        band = "to_0.4" if place < 0.4 else "0.4_to_0.8"
        for name, value, measured in (("ct", thrust, sweep.ct[k]), ("cp", power, sweep.cp[k])):
            ratio = measured / value if value > 0 and measured > 0 else 1e3
            bands[f"{name}_{band}"].append(math.log(ratio))


def _row(prediction: Prediction, values: FloatArray, rpm: float) -> float:
    return float(np.interp(rpm, prediction.table.rpm, values))


def _zero_thrust(prediction: Prediction, rpm: float) -> float:
    return _row(prediction, prediction.zero_thrust_j, rpm)


def _peak(prediction: Prediction, rpm: float) -> float:
    return _row(prediction, prediction.peak_efficiency, rpm)


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
