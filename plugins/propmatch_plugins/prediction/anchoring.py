"""Static bench points: the seven outputs conditioned on them, and what to say when they contradict the label."""

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from propmatch.records.packuse import Z80
from propmatch_plugins.prediction.base import OUTPUTS
from propmatch_plugins.prediction.evidence import AnchorPoint
from propmatch_plugins.prediction.knowledge import JOINT, QUANTITIES, quantity_matrix

__all__ = ["anchored", "contradictions", "reaching"]

FloatArray = NDArray[np.float64]


def _at_speed(level: FloatArray, rpm: FloatArray, speed: float) -> FloatArray:
    """ln CT0 and ln CP0 at one speed, linear in ln rpm, held at the ends."""
    return np.array([np.interp(math.log(speed), np.log(rpm), level[:, k]) for k in range(2)])


def _anchor_gaps(level: FloatArray, rpm: FloatArray, points: Sequence[AnchorPoint]) -> list[tuple[int, float, float]]:
    """(output, ln(measured/predicted), standard uncertainty) of every number measured."""
    out = []
    for point in points:
        predicted = _at_speed(level, rpm, point.rpm)
        for output, value in ((0, point.ct0), (1, point.cp0)):
            if value is not None:
                out.append((output, math.log(value) - float(predicted[output]), point.uncertainty))
    return out


_BETWEEN_SPEEDS = 0.03
"""Standard deviation (ln) of a propeller's coefficients from one speed to another about the predicted trend."""


def anchored(
    level: FloatArray, rpm: FloatArray, points: Sequence[AnchorPoint], covariance: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Gaussian conditioning of the seven outputs on the bench points: shift (K,) and covariance left (K, K)."""
    gaps = _anchor_gaps(level, rpm, points)
    pick = np.zeros((len(gaps), len(OUTPUTS)))
    pick[np.arange(len(gaps)), [output for output, _, _ in gaps]] = 1.0
    noise = np.diag([sd**2 + _BETWEEN_SPEEDS**2 for _, _, sd in gaps])
    gain = covariance @ pick.T @ np.linalg.inv(pick @ covariance @ pick.T + noise)
    left = covariance - gain @ pick @ covariance
    left[np.diag_indices_from(left)] += _BETWEEN_SPEEDS**2
    return gain @ np.array([gap for _, gap, _ in gaps]), left


_DOUBTED_SD = 3.5
"""A reading farther than this from the label is more often a slip than an odd propeller, so it narrows nothing."""


def contradictions(
    level: FloatArray,
    rpm: FloatArray,
    points: Sequence[AnchorPoint],
    intervals: dict[str, tuple[float, float]],
) -> tuple[list[str], bool]:
    """What to say of readings outside the label's 80 % intervals, and whether one is too far off to narrow them."""
    out, doubted = [], False
    for output, gap, sd in _anchor_gaps(level, rpm, points):
        name, key = (("thrust", "ct0"), ("power", "cp0"))[output]
        half = math.hypot(math.log1p(intervals[key][1]), Z80 * sd)
        if abs(gap) > half:
            far = Z80 * abs(gap) / half > _DOUBTED_SD
            used = "used, but it is too far off to narrow anything: the intervals reach back to the label's"
            out.append(
                f"The measured static {name} is {100 * math.expm1(gap):+.0f} % from what the label suggests, more than "
                "its 80 % interval: check diameter, pitch, blade count, the readings and the motor's constants. "
                f"The measurement was {used if far else 'used'}."
            )
            doubted |= far
    return out, doubted


def reaching(widths: FloatArray, gap: FloatArray) -> FloatArray:
    """Half-widths (R, Q) at least as wide as what ``gap`` (K,) of the seven outputs means for each quantity.

    Windmilling and the joint bands widen as much as their coefficient's widest quantity.
    """
    count = len(QUANTITIES)
    out = widths.copy()
    out[:, :count] = np.maximum(widths[:, :count], np.abs(quantity_matrix() @ gap))
    for k, letter in enumerate(("ct", "cp")):
        of = [index for index, name in enumerate(QUANTITIES) if name.startswith(letter)]
        wider = np.max(out[:, of] / widths[:, of], axis=1)
        out[:, [count + k, k - len(JOINT)]] *= wider[:, None]
    return out
