"""Fits the correction: variances by maximum likelihood, then the posterior of the label's coefficients."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from prediction_training.fit_base import measured_geometry
from prediction_training.measured import MeasuredPropeller
from propmatch_plugins.prediction.base import OUTPUTS, Base, Differences
from propmatch_plugins.prediction.correction import TERMS, Correction, LinePrior, nearness
from propmatch_plugins.prediction.families import FAMILIES, label_terms, reynolds_number
from propmatch_plugins.prediction.shapes import Geometry

__all__ = ["Observed", "fit_correction", "fit_variances", "line_effects", "observe"]

FloatArray = NDArray[np.float64]

_ROWS = 3
_LARGEST = 0.9
"""A larger logarithm is a faulty or too short run, not a propeller."""
_COMMON_SD, _FAMILY_SD, _FAMILY_SLOPE_SD = 0.5, 0.06, 0.08
_PRIOR_SD = {"u": 0.5, "uu": 0.3, "l": 0.2, "ul": 0.1, "ll": 0.05, "d": 0.2, "b": 0.2}


@dataclass(frozen=True)
class Observed:
    """One propeller beside its computed curves: per output (K lists) term rows (n, T) and values (n,)."""

    propeller: MeasuredPropeller
    terms: list[FloatArray]
    values: list[FloatArray]
    u: float
    d: float


def observe(
    base: Base, propeller: MeasuredPropeller, *, use_geometry: bool = False, only_75: bool = False
) -> Observed | None:
    """Differences of a measured propeller from the computed curves, at up to three speeds an output."""
    p = propeller
    geometry = measured_geometry(p) if use_geometry else None
    if p.family is None or (use_geometry and geometry is None):
        return None
    if geometry is not None and only_75:
        beta = float(np.degrees(np.arctan(geometry.pitch_ratio_75 / (np.pi * 0.75))))
        geometry = Geometry.at_75(geometry.chord_75, beta)
    blade = base.blade(p.printed, geometry)
    gaps = measured_differences(base, blade, p)
    columns: list[tuple[FloatArray, FloatArray]] = [(gaps.static_rpm, gaps.static[:, k]) for k in range(2)]
    columns += [(gaps.sweep_rpm, gaps.sweeps[:, k]) for k in range(5)]
    terms, values = [], []
    for rpm, value in columns:
        rpm, value = _thin(rpm, value)
        terms.append(label_terms(TERMS, p.printed, base.polar.limited(reynolds_number(p.diameter_m, rpm))))
        values.append(value)
    return Observed(p, terms, values, *p.printed.size)


def measured_differences(base: Base, blade: object, p: MeasuredPropeller) -> Differences:
    """``Base.differences`` of a measured propeller."""
    static = (p.static_rpm, reynolds_number(p.diameter_m, p.static_rpm), p.static_ct, p.static_cp)
    sweeps = [(s.rpm, float(reynolds_number(p.diameter_m, s.rpm)), s.zero_thrust_j, s.j, s.ct, s.cp) for s in p.sweeps]
    return base.differences(blade, p.blades, static=static, sweeps=sweeps)  # type: ignore[arg-type]


def _thin(rpm: FloatArray, value: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Means of up to three groups of neighbouring speeds."""
    with np.errstate(invalid="ignore"):
        known = np.abs(value) < _LARGEST
    groups = np.array_split(np.flatnonzero(known), min(_ROWS, int(known.sum()))) if known.any() else []
    return (
        np.array([np.exp(np.mean(np.log(rpm[g]))) for g in groups]),
        np.array([np.mean(value[g]) for g in groups]),
    )


def _prior_covariance() -> FloatArray:
    """Prior of the coefficients (T, T): families and their slopes in u differ little from a common, unknown value."""
    out = np.zeros((len(TERMS), len(TERMS)))
    for i, term in enumerate(TERMS):
        for j, other in enumerate(TERMS):
            if term in FAMILIES and other in FAMILIES:
                out[i, j] = _COMMON_SD**2
        if term in FAMILIES:
            out[i, i] += _FAMILY_SD**2
        elif ":" in term:
            out[i, i] = _FAMILY_SLOPE_SD**2
        else:
            out[i, i] = _PRIOR_SD[term] ** 2
    return out


class _Output:
    """The rows of one output over all propellers, and the covariance of what the label does not explain.

    ``merged``: one row a propeller, the mean over its speeds; ``count`` says of how many.
    """

    def __init__(self, observed: Sequence[Observed], k: int, *, merged: bool = False) -> None:
        rows = [o for o in observed if o.values[k].size]
        size = np.array([o.values[k].size for o in rows])
        if merged:
            self.x = np.array([o.terms[k].mean(axis=0) for o in rows])
            self.y = np.array([o.values[k].mean() for o in rows])
            self.owner, self.count = np.arange(len(rows)), size.astype(np.float64)
        else:
            self.x = np.concatenate([o.terms[k] for o in rows])
            self.y = np.concatenate([o.values[k] for o in rows])
            self.owner, self.count = np.repeat(np.arange(len(rows)), size), np.ones(int(size.sum()))
        names = [o.propeller.line for o in rows]
        line = np.array([sorted(set(names)).index(name) for name in names])[self.owner]
        u = np.array([o.u for o in rows])[self.owner]
        self.same_owner = (self.owner[:, None] == self.owner).astype(np.float64)
        self.same_line = (line[:, None] == line).astype(np.float64)
        d = np.array([o.d for o in rows])[self.owner]
        self.near = self.same_line * nearness(u, d, u, d)
        self.same_slope = self.same_line * np.outer(u, u)
        b = np.array([o.propeller.printed.more_blades for o in rows])[self.owner]
        self.same_blades = self.same_line * np.outer(b, b)
        self.prior = _prior_covariance()
        self.fixed = self.x @ self.prior @ self.x.T
        self.doubt = np.ones(len(rows))

    def kernel(self, variance: FloatArray) -> FloatArray:
        """Covariance of line, slope, model and speed effects; ``doubt`` widens the model effect of outliers."""
        line, slope, near, model, speed, solidity = variance[:6]
        own = self.doubt[self.owner]
        out = line * self.same_line + slope * self.same_slope + near * self.near + solidity * self.same_blades
        out += model * self.same_owner * own
        out[np.diag_indices_from(out)] += speed * own / self.count
        return np.asarray(out)

    def loss(self, log_variance: FloatArray, speed: float, solidity: float) -> float:
        """Minus the log likelihood at known variances of speed and solidity, the others pulled to their usual size."""
        from scipy.linalg import cho_factor, cho_solve

        variance = np.concatenate([np.exp(log_variance), [speed, solidity]])
        factor = cho_factor(self.fixed + self.kernel(variance), lower=True)
        pull = 0.5 * np.sum(((log_variance - _USUAL) / 2.5) ** 2)
        return float(0.5 * self.y @ cho_solve(factor, self.y) + np.sum(np.log(np.diag(factor[0]))) + pull)

    def update_doubt(self, variance: FloatArray) -> None:
        """Student-t weights (four degrees of freedom) of the model effects, at the present variances."""
        inside = self.kernel(variance)
        innovation = np.linalg.solve(self.fixed + inside, self.y)
        own = self.doubt[self.owner]
        size = np.bincount(self.owner, self.count)
        effect = variance[3] * self.doubt * np.bincount(self.owner, innovation)
        rest = variance[4] * np.bincount(self.owner, own * innovation) / size
        square = (effect + rest) ** 2 / (variance[3] + variance[4] / size)
        self.doubt = (_FREEDOM + square) / (_FREEDOM + 1.0)


_USUAL = np.log(np.array([0.1, 0.1, 0.05, 0.05]) ** 2)
_FREEDOM = 4.0
_SOLIDITY_SD = np.array([0.13, 0.14, 0.06, 0.03, 0.03, 0.03, 0.03])
"""Per ln(B/2). A line's blades keep their chord as their number grows, or narrow with its root, or anything between
(an even chance, sd 0.29 x 0.5): 0.9 of it in thrust and 0.95 in power with three blades at rest (blade element).
Common practice, no published source; open data has three lines with more than two blades."""


def _speed_variance(rows: _Output) -> float:
    """Variance of one speed about the propeller's own mean and the common trend; residuals held at 3 robust sigmas."""
    size = np.bincount(rows.owner)
    x, y = rows.x.copy(), rows.y.copy()
    y -= (np.bincount(rows.owner, y) / size)[rows.owner]
    for column in x.T:
        column -= (np.bincount(rows.owner, column) / size)[rows.owner]
    slope = np.linalg.solve(x.T @ x / 0.03**2 + np.linalg.inv(rows.prior), x.T @ y / 0.03**2)
    rest = y - x @ slope
    rest *= np.sqrt(size / np.maximum(size - 1, 1))[rows.owner]
    rest = rest[(size > 1)[rows.owner]]
    limit = 3 * 1.4826 * float(np.median(np.abs(rest)))
    return float(np.mean(np.minimum(np.abs(rest), limit) ** 2))


def _trend_variance(observed: Sequence[Observed], k: int) -> float:
    """Variance of the slope in ln Re that a propeller has of its own: quartiles of those with three speeds."""
    place = TERMS.index("l")
    slopes = [
        np.polyfit(o.terms[k][:, place], o.values[k], 1)[0]
        for o in observed
        if o.values[k].size >= _ROWS and np.ptp(o.terms[k][:, place]) > 0.3
    ]
    return float((np.subtract(*np.percentile(slopes, [75, 25])) / 1.349) ** 2) if len(slopes) > 3 else 0.0


def fit_variances(observed: Sequence[Observed]) -> FloatArray:
    """Variances (7, K) of line, slope in u, neighbours, model, speed, solidity and trend in ln rpm; deterministic.

    Those of speed and trend from the scatter within propellers, that of solidity by ``_SOLIDITY_SD``, the others by
    maximum likelihood on the propellers' means.
    """
    from scipy.optimize import minimize

    out = np.zeros((7, len(OUTPUTS)))
    for k in range(len(OUTPUTS)):
        speed, solidity = _speed_variance(_Output(observed, k)), _SOLIDITY_SD[k] ** 2
        rows = _Output(observed, k, merged=True)
        best = _USUAL
        for _ in range(3):
            rows.update_doubt(np.concatenate([np.exp(best), [speed, solidity]]))
            best = minimize(rows.loss, best, args=(speed, solidity), method="L-BFGS-B", options={"maxiter": 15}).x
        out[:, k] = [*np.exp(best), speed, solidity, _trend_variance(observed, k)]
    return out


def fit_correction(observed: Sequence[Observed], variances: FloatArray) -> Correction:
    """Posterior of the label's coefficients at given variances (5, K)."""
    size = len(TERMS)
    mean = np.zeros((len(OUTPUTS), size))
    covariance = np.zeros((len(OUTPUTS), size, size))
    for k in range(len(OUTPUTS)):
        rows = _Output(observed, k)
        for _ in range(3):
            rows.update_doubt(variances[:, k])
        weighted = np.linalg.solve(rows.kernel(variances[:, k]), rows.x)
        covariance[k] = np.linalg.inv(rows.x.T @ weighted + np.linalg.inv(rows.prior))
        mean[k] = covariance[k] @ (weighted.T @ rows.y)
    return Correction(mean, covariance, *variances)


def line_effects(observed: Sequence[Observed], variances: FloatArray) -> dict[str, LinePrior]:
    """Posterior of the offset of every line, all other effects unknown."""
    lines = sorted({o.propeller.line for o in observed})
    mean, variance = (np.zeros((len(lines), len(OUTPUTS))) for _ in range(2))
    for k in range(len(OUTPUTS)):
        rows = _Output(observed, k)
        for _ in range(3):
            rows.update_doubt(variances[:, k])
        names = [o.propeller.line for o in observed if o.values[k].size]
        own = np.array([[name == line for name in names] for line in lines], dtype=np.float64)[:, rows.owner]
        gain = variances[0, k] * np.linalg.solve(rows.fixed + rows.kernel(variances[:, k]), own.T).T
        mean[:, k] = gain @ rows.y
        variance[:, k] = variances[0, k] * (1.0 - np.sum(gain * own, axis=1))
    return {line: LinePrior(m, v) for line, m, v in zip(lines, mean, variance, strict=True)}
