"""Ridge correction of the computed curves with random line effects, as Gaussian conditioning.

Each of the seven outputs y is linear in the label, with effects of the product line and of the single model:

    y = x'beta + a_line + s_line u + w_line b + e_model + e_speed

beta has the posterior of the fit (mean, covariance); a, s, e are Gaussian with fitted variances, e_model partly
shared by neighbouring sizes of a line; w, what a line's makers do to the blade as the number b = ln(B/2) of blades
grows, is Gaussian with a variance by common practice. A line of the open data brings a's mean and a narrower variance.
Without siblings the line's effects are unknown and widen the spread; every measured sibling narrows them. The spread is
the leverage form sd^2 = x' cov x + line + model: large for an unknown line or an unusual pitch ratio.

Source: fitted to the UIUC Propeller Database, vols 1 to 4 (J. B. Brandt, R. W. Deters, G. K. Ananda, O. D. Dantsker,
M. S. Selig, University of Illinois at Urbana-Champaign).
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
    """What one measured propeller says of one output: ``terms`` (T,), label ``u``, ``d``, ``b`` and ``value``.

    ``noise``: variance of the reading beside that of the single model.
    """

    terms: FloatArray
    u: float
    d: float
    value: float
    b: float = 0.0
    noise: float = 0.0


@dataclass(frozen=True)
class LinePrior:
    """What is known of a line's offsets before anything of it is read: ``mean`` and ``variance`` (K,)."""

    mean: FloatArray
    variance: FloatArray


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
    line, slope, near, model, speed, solidity, trend : (K,) variances of the line's offset and slope in u, of what
        neighbouring sizes of a line share, of the single model, of one speed, of the line's slope in b, and of the
        propeller's own slope in ln rpm
    terms : names of the T columns
    """

    mean: FloatArray
    covariance: FloatArray
    line: FloatArray
    slope: FloatArray
    near: FloatArray
    model: FloatArray
    speed: FloatArray
    solidity: FloatArray
    trend: FloatArray
    terms: tuple[str, ...] = TERMS

    def predict(
        self,
        terms: FloatArray,
        u: float,
        d: float,
        siblings: Sequence[Sequence[Row]] = (),
        leverage_terms: FloatArray | None = None,
        b: float = 0.0,
        prior: LinePrior | None = None,
    ) -> tuple[FloatArray, FloatArray]:
        """Mean (R, K) at the rows ``terms`` (R, T) and standard deviation (K,) at their middle.

        ``siblings[k]``: what measured propellers of the same line say of output k. ``leverage_terms`` (R, T): terms
        not held to the measured range, so that the spread keeps growing outside it. ``b``: ln(B/2). ``prior``: the
        line's own, else that of any line.
        """
        mean = np.empty((terms.shape[0], len(OUTPUTS)))
        spread = np.empty(len(OUTPUTS))
        middle = np.mean(terms, axis=0)
        far = middle if leverage_terms is None else np.mean(leverage_terms, axis=0)
        targets = np.concatenate([terms, middle[None]])
        known = LinePrior(np.zeros(len(OUTPUTS)), self.line) if prior is None else prior
        for k in range(len(OUTPUTS)):
            shared = targets @ self.covariance[k]
            value = targets @ self.mean[k] + known.mean[k]
            own = known.variance[k] + self.slope[k] * u * u + self.near[k] + self.solidity[k] * b * b
            variance = float(far @ self.covariance[k] @ far) + own
            rows = siblings[k] if siblings else ()
            if rows:
                x = np.array([row.terms for row in rows])
                other_u, other_d = np.array([row.u for row in rows]), np.array([row.d for row in rows])
                other_b = np.array([row.b for row in rows])
                gap = np.array([row.value for row in rows]) - x @ self.mean[k] - known.mean[k]
                line = known.variance[k] + self.slope[k] * np.outer(other_u, other_u)
                line += self.solidity[k] * np.outer(other_b, other_b)
                line += self.near[k] * nearness(other_u, other_d, other_u, other_d)
                among = x @ self.covariance[k] @ x.T + line
                to = known.variance[k] + self.slope[k] * u * other_u + self.solidity[k] * b * other_b
                to = to + self.near[k] * nearness(np.array([u]), np.array([d]), other_u, other_d)[0]
                cross = shared @ x.T + to
                usual = self.model[k] + self.speed[k] / 3.0 + np.array([row.noise for row in rows])
                noise = usual
                for _ in range(_ROBUST_STEPS):
                    inverse = np.linalg.inv(among + np.diag(noise))
                    left = noise * (inverse @ gap)
                    noise = usual * 0.8 + left**2 / 5.0
                value = value + cross @ (inverse @ gap)
                variance -= float(cross[-1] @ inverse @ cross[-1])
            mean[:, k] = value[:-1]
            spread[k] = np.sqrt(variance + self.model[k] + self.speed[k])
        return mean, spread
