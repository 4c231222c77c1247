"""Corrected curves of one label: levels and zero-thrust J at each speed, their spread, and the table they give."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from propmatch.units import INCH_M
from propmatch_plugins.prediction.base import OUTPUTS, shape_factor
from propmatch_plugins.prediction.correction import TERMS, Row
from propmatch_plugins.prediction.families import FAMILIES, Label, label_terms, reynolds_number
from propmatch_plugins.prediction.knowledge import BASIS, Knowledge
from propmatch_plugins.prediction.shapes import BladeShape, Geometry

__all__ = ["Evaluated", "FamilyState", "evaluate", "family_state", "sibling_rows"]

FloatArray = NDArray[np.float64]

ADVANCE_RATIOS = 28
_PAST_ZERO_THRUST = 1.3
_FREE, _ROOM = 0.88, 0.10


@dataclass(frozen=True)
class FamilyState:
    """One family's answer before evaluation: blade, (R,) uncorrected zero-thrust J, correction (R, K), spread (K,)."""

    blade: BladeShape
    own_zero_j: FloatArray
    correction: FloatArray
    spread: FloatArray


@dataclass(frozen=True)
class Evaluated:
    """The curves: ``ct``, ``cp`` (R, J); ``level`` (R, 3) ln CT0, CP0, J0; ``spread`` (K,).

    ``held``: the greatest change of ln CP made for the momentum limit; ``unconverged``: elements.
    """

    advance_ratio: FloatArray
    ct: FloatArray
    cp: FloatArray
    level: FloatArray
    spread: FloatArray
    held: float
    unconverged: int


def hold_to_momentum(j: FloatArray, ct: FloatArray, cp: FloatArray) -> tuple[FloatArray, float]:
    """CP (R, J) such that thrust never costs less than an ideal disk needs, and the greatest ln change made.

    CP_ideal = CT (J + sqrt(J^2 + 8 CT/pi))/2 for CT > 0 (Glauert 1926, ch. XV). A ratio e = CP_ideal/CP above 0.88
    becomes 0.88 + 0.10 (1 - exp((0.88 - e)/0.10)), below 0.98, the most that was ever measured.
    """
    thrust = np.maximum(ct, 0.0)
    ideal = 0.5 * thrust * (j + np.sqrt(j * j + (8.0 / np.pi) * thrust))
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.where(thrust > 0.0, np.where(cp > 0.0, ideal / cp, np.inf), 0.0)
    over = ratio > _FREE
    if not np.any(over):
        return cp, 0.0
    capped = _FREE + _ROOM * (1.0 - np.exp((_FREE - ratio[over]) / _ROOM))
    out = cp.copy()
    out[over] = ideal[over] / capped
    with np.errstate(divide="ignore"):
        return out, float(np.max(np.log(ratio[over] / capped)))


def family_state(
    knowledge: Knowledge,
    label: Label,
    *,
    tier: str,
    rpm: FloatArray,
    geometry: Geometry | None,
    siblings: Sequence[Sequence[Row]] = (),
) -> FamilyState:
    """Blade, uncorrected zero thrust and correction at every speed, for a label with its family."""
    reynolds = reynolds_number(label.diameter_in * INCH_M, rpm)
    blade = knowledge.base.blade(label, geometry)
    terms, far = (label_terms(TERMS, label, reynolds, held=held) for held in (True, False))
    correction, spread = knowledge.corrections[BASIS[tier]].predict(terms, *label.size, siblings, far)
    return FamilyState(blade, knowledge.base.zero_thrust_j(blade, label.blades, reynolds), correction, spread)


def evaluate(
    knowledge: Knowledge,
    states: Sequence[FamilyState],
    weights: FloatArray,
    label: Label,
    rpm: FloatArray,
    shift: FloatArray | None = None,
) -> Evaluated:
    """Mean of the families' curves along x = J/J0, with ``shift`` (K,) added to every correction (anchors)."""
    reynolds = reynolds_number(label.diameter_in * INCH_M, rpm)
    total = np.stack([s.correction if shift is None else s.correction + shift for s in states])
    zero_each = np.log(np.stack([s.own_zero_j for s in states])) + total[..., 2]
    zero = np.exp(np.einsum("f,fr->r", weights, zero_each))
    j = np.linspace(0.0, _PAST_ZERO_THRUST * float(np.max(zero)), ADVANCE_RATIOS)
    x = j / zero[:, None]
    levels, thrust, power, unconverged = [], 0.0, 0.0, 0
    for state, each, weight in zip(states, total, weights, strict=True):
        curves = knowledge.base.curves(state.blade, label.blades, reynolds[:, None], x * state.own_zero_j[:, None])
        unconverged += curves.unconverged
        ct = curves.ct * np.exp(each[:, [0]] + shape_factor(each[:, [3]], each[:, [4]], x))
        cp = curves.cp * np.exp(each[:, [1]] + shape_factor(each[:, [5]], each[:, [6]], x))
        levels.append(np.log(np.stack([ct[:, 0], cp[:, 0], zero], axis=1)))
        thrust = thrust + weight * ct / ct[:, [0]]
        power = power + weight * cp / cp[:, [0]]
    stacked = np.stack(levels)
    stacked[..., 2] = zero_each
    level = np.einsum("f,frk->rk", weights, stacked)
    middle = np.mean(stacked, axis=1)
    between = np.zeros(len(OUTPUTS))
    between[:3] = weights @ (middle - weights @ middle) ** 2
    within = np.array([state.spread**2 for state in states])
    ct = np.exp(level[:, [0]]) * np.asarray(thrust)
    cp = np.exp(level[:, [1]]) * np.asarray(power)
    cp, held = hold_to_momentum(j, ct, cp)
    level[:, 1] = np.log(cp[:, 0])
    return Evaluated(
        advance_ratio=j,
        ct=ct,
        cp=cp,
        level=level,
        held=held,
        spread=np.sqrt(weights @ within + between),
        unconverged=unconverged,
    )


def table_zero_thrust_j(j: FloatArray, ct: FloatArray) -> float:
    """First J at which a measured CT row falls to zero, extrapolated a little past its end, else NaN."""
    below = np.flatnonzero(ct <= 0.0)
    if below.size and below[0] > 0:
        k = int(below[0])
    elif not below.size and ct[-1] < 0.25 * np.max(ct):
        k = ct.size - 1
    else:
        return math.nan
    fall = (ct[k] - ct[k - 1]) / (j[k] - j[k - 1])
    return float(j[k] - ct[k] / fall) if fall < 0.0 else math.nan


def sibling_rows(knowledge: Knowledge, family: str, siblings: Sequence[Any]) -> list[list[Row]]:
    """What measured propellers of the line say of each output: differences from their own computed curves.

    A sibling has ``diameter_in``, ``pitch_in``, ``blades`` and ``table``.
    """
    out: list[list[Row]] = [[] for _ in OUTPUTS]
    for sibling in siblings:
        table = sibling.table
        label = Label(float(sibling.diameter_in), float(sibling.pitch_in), int(sibling.blades), family)
        blade = knowledge.base.blade(label)
        chosen = np.unique(np.linspace(0, table.rpm.size - 1, min(5, table.rpm.size)).round().astype(int))
        rpm = table.rpm[chosen]
        reynolds = reynolds_number(label.diameter_in * INCH_M, rpm)
        j = table.advance_ratio
        sweeps = [
            (speed, re, table_zero_thrust_j(j, table.ct[k]), j[1:], table.ct[k, 1:], table.cp[k, 1:])
            for speed, re, k in zip(rpm, reynolds, chosen, strict=True)
        ]
        static = (rpm, reynolds, table.ct[chosen, 0], table.cp[chosen, 0])
        gaps = knowledge.base.differences(blade, label.blades, static=static, sweeps=sweeps)
        values = np.concatenate([gaps.static, gaps.sweeps], axis=1)
        terms = label_terms(TERMS, label, reynolds)
        u, d = label.size
        for k in range(len(OUTPUTS)):
            known = np.isfinite(values[:, k]) & (np.abs(values[:, k]) < 0.9)
            if known.any():
                out[k].append(Row(terms[known].mean(axis=0), u, d, float(values[known, k].mean())))
    return out


def family_mixture(knowledge: Knowledge, family: str | None) -> tuple[list[str], FloatArray]:
    """The families to compute and their weights: one, or all by how many lines of the data each has."""
    if family is not None:
        return [family], np.ones(1)
    lines = knowledge.base.families.column("lines")
    return list(FAMILIES), lines / np.sum(lines)
