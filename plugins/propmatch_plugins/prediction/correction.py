"""Ridge correction of the computed curves with random line effects, as Gaussian conditioning.

Each of the seven outputs y is linear in the label, with effects of the product line and of the single model:

    y = x'beta + a_line + s_line u + e_model + e_speed

beta has the posterior of the fit (mean, covariance); a, s, e are Gaussian with fitted variances, e_model partly
shared by neighbouring sizes of a line. Without siblings the line's effects are unknown and widen the spread; every
measured sibling narrows them. The spread is the leverage form sd^2 = x' cov x + line + model: large for an unknown
line or an unusual pitch ratio.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from propmatch_plugins.prediction.base import OUTPUTS
from propmatch_plugins.prediction.families import FAMILIES

__all__ = ["TERMS", "Correction", "Row"]

FloatArray = NDArray[np.float64]

_ROBUST_STEPS = 3
"""Student-t weights (four degrees of freedom): one odd sibling does not spoil its line."""

TERMS = (*FAMILIES, "u", "uu", "l", "ul", "ll", "d", "b", *(f"{name}:u" for name in FAMILIES))


@dataclass(frozen=True)
class Row:
    """What one measured propeller says of one output: ``terms`` (T,), label ``u``, ``d`` and ``value``."""

    terms: FloatArray
    u: float
    d: float
    value: float


def nearness(u: FloatArray, d: FloatArray, other_u: FloatArray, other_d: FloatArray) -> FloatArray:
    """Likeness of two sizes of one line, exp(-(du/0.3)^2/2 - (dd/0.3)^2/2), shape (N, M)."""
    apart = ((u[:, None] - other_u) / _NEAR) ** 2 + ((d[:, None] - other_d) / _NEAR) ** 2
    return np.exp(-0.5 * apart)


_NEAR = 0.3


@dataclass(frozen=True)
class Correction:
    """Fitted correction of all outputs.

    Attributes
    ----------
    mean : (K, T) posterior mean of beta
    covariance : (K, T, T)
    line, slope, near, model, speed : (K,) variances of the line's offset and slope in u, of what neighbouring sizes of
        a line share, of the single model and of one speed
    """

    mean: FloatArray
    covariance: FloatArray
    line: FloatArray
    slope: FloatArray
    near: FloatArray
    model: FloatArray
    speed: FloatArray

    def predict(
        self,
        terms: FloatArray,
        u: float,
        d: float,
        siblings: Sequence[Sequence[Row]] = (),
        leverage_terms: FloatArray | None = None,
    ) -> tuple[FloatArray, FloatArray]:
        """Mean (R, K) at the rows ``terms`` (R, T) and standard deviation (K,) at their middle.

        ``siblings[k]``: what measured propellers of the same line say of output k. ``leverage_terms`` (R, T): terms
        not held to the measured range, so that the spread keeps growing outside it.
        """
        mean = np.empty((terms.shape[0], len(OUTPUTS)))
        spread = np.empty(len(OUTPUTS))
        middle = np.mean(terms, axis=0)
        far = middle if leverage_terms is None else np.mean(leverage_terms, axis=0)
        targets = np.concatenate([terms, middle[None]])
        for k in range(len(OUTPUTS)):
            shared = targets @ self.covariance[k]
            value = targets @ self.mean[k]
            own = self.line[k] + self.slope[k] * u * u + self.near[k]
            variance = float(far @ self.covariance[k] @ far) + own
            rows = siblings[k] if siblings else ()
            if rows:
                x = np.array([row.terms for row in rows])
                other_u, other_d = np.array([row.u for row in rows]), np.array([row.d for row in rows])
                gap = np.array([row.value for row in rows]) - x @ self.mean[k]
                line = self.line[k] + self.slope[k] * np.outer(other_u, other_u)
                line += self.near[k] * nearness(other_u, other_d, other_u, other_d)
                among = x @ self.covariance[k] @ x.T + line
                to = self.line[k] + self.slope[k] * u * other_u
                to = to + self.near[k] * nearness(np.array([u]), np.array([d]), other_u, other_d)[0]
                cross = shared @ x.T + to
                noise = np.full(len(rows), self.model[k] + self.speed[k] / 3.0)
                for _ in range(_ROBUST_STEPS):
                    inverse = np.linalg.inv(among + np.diag(noise))
                    left = noise * (inverse @ gap)
                    noise = (self.model[k] + self.speed[k] / 3.0) * 0.8 + left**2 / 5.0
                value = value + cross @ (inverse @ gap)
                variance -= float(cross[-1] @ inverse @ cross[-1])
            mean[:, k] = value[:-1]
            spread[k] = np.sqrt(variance + self.model[k] + self.speed[k])
        return mean, spread
