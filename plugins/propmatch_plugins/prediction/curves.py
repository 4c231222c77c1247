"""Corrected curves of one label: levels and zero-thrust J at each speed, their spread, and the table they give."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from propmatch.records.blades import family_chances_after
from propmatch.units import INCH_M
from propmatch_plugins.prediction.base import OUTPUTS, shape_factor
from propmatch_plugins.prediction.correction import LinePrior, Row
from propmatch_plugins.prediction.evidence import anchor_point
from propmatch_plugins.prediction.families import Label, family_chances, label_terms, reynolds_number
from propmatch_plugins.prediction.knowledge import BASIS, Knowledge
from propmatch_plugins.prediction.shapes import BladeShape, Geometry

__all__ = ["Evaluated", "FamilyState", "evaluate", "family_mixture", "family_states", "ideal_power", "sibling_rows"]

FloatArray = NDArray[np.float64]

ADVANCE_RATIOS = 28
_PAST_ZERO_THRUST = 1.3
_FREE, _ROOM = 0.88, 0.10


@dataclass(frozen=True)
class FamilyState:
    """One family's answer before evaluation: blade, (R,) uncorrected zero-thrust J, correction (R, K), spread (K,).

    ``family`` and its ``chance``; ``share`` (3,): how much of the family's CT, CP and J0 it gives.
    """

    blade: BladeShape
    own_zero_j: FloatArray
    correction: FloatArray
    spread: FloatArray
    family: str
    chance: float
    share: FloatArray

    @property
    def weight(self) -> FloatArray:
        """Weight (3,) among all states."""
        return self.chance * self.share


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


def ideal_power(j: FloatArray, ct: FloatArray) -> FloatArray:
    """CP of an ideal disk, CT (J + sqrt(J^2 + 8 CT/pi))/2, 0 without thrust (Glauert 1926, ch. XV)."""
    thrust = np.maximum(ct, 0.0)
    return np.asarray(0.5 * thrust * (j + np.sqrt(j * j + (8.0 / np.pi) * thrust)))


def hold_to_momentum(j: FloatArray, ct: FloatArray, cp: FloatArray) -> tuple[FloatArray, float]:
    """CP (R, J) such that thrust never costs less than an ideal disk needs, and the greatest ln change made.

    A ratio e = ``ideal_power``/CP above 0.88 becomes 0.88 + 0.10 (1 - exp((0.88 - e)/0.10)), below 0.98, the most
    that was ever measured.
    """
    ideal = ideal_power(j, ct)
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.where(ideal > 0.0, np.where(cp > 0.0, ideal / cp, np.inf), 0.0)
    over = ratio > _FREE
    if not np.any(over):
        return cp, 0.0
    capped = _FREE + _ROOM * (1.0 - np.exp((_FREE - ratio[over]) / _ROOM))
    out = cp.copy()
    out[over] = ideal[over] / capped
    with np.errstate(divide="ignore"):
        return out, float(np.max(np.log(ratio[over] / capped)))


def family_states(
    knowledge: Knowledge,
    label: Label,
    *,
    tier: str,
    rpm: FloatArray,
    geometry: Geometry | None,
    siblings: Sequence[Sequence[Row]] = (),
    prior: LinePrior | None = None,
    chance: float = 1.0,
) -> list[FamilyState]:
    """Blade, uncorrected zero thrust and correction at every speed, for a label with its family.

    A blade shape has a second state beside it: the label alone, with the share that its left-out errors deserve.
    """
    assert label.family is not None
    reynolds = reynolds_number(label.diameter_in * INCH_M, rpm)
    kept = knowledge.label_share(tier) if geometry is not None else np.zeros(3)
    shares = [(tier, geometry, 1.0 - kept)] + ([("label", None, kept)] if np.any(kept > 0.0) else [])
    out: list[FamilyState] = []
    for basis, shape, share in shares:
        blade = knowledge.base.blade(label, shape)
        model = knowledge.corrections[BASIS[basis]]
        terms = label_terms(model.terms, label, knowledge.base.polar.limited(reynolds))
        far = label_terms(model.terms, label, reynolds, held=False)
        said = (*label.size, siblings, far, label.more_blades, prior)
        correction, spread = model.predict(terms, *said)
        seen = np.array([bool(rows) for rows in siblings]) if siblings else np.zeros(len(OUTPUTS), dtype=bool)
        if np.any(seen) and not np.all(seen):
            alone = model.predict(terms, *label.size, (), far, label.more_blades, prior)
            correlation = knowledge.calibrations["label"].correlation
            correction, spread = _told(correlation, seen, alone, (correction, spread))
        if geometry is None:
            spread = np.hypot(spread, knowledge.doubt(label.family))
        zero = knowledge.base.zero_thrust_j(blade, label.blades, reynolds)
        spread = out[0].spread if out else spread
        out.append(FamilyState(blade, zero, correction, spread, label.family, chance, share))
    return out


def evaluate(
    knowledge: Knowledge,
    states: Sequence[FamilyState],
    label: Label,
    rpm: FloatArray,
    shift: FloatArray | None = None,
) -> Evaluated:
    """Mean of the families' curves along x = J/J0, with ``shift`` (K,) added to every correction (anchors).

    The spread is that within the families and that between their levels.
    """
    weights = np.array([state.weight for state in states])
    reynolds = reynolds_number(label.diameter_in * INCH_M, rpm)
    total = np.stack([s.correction if shift is None else s.correction + shift for s in states])
    zero_each = np.log(np.stack([s.own_zero_j for s in states])) + total[..., 2]
    zero = np.exp(np.einsum("s,sr->r", weights[:, 2], zero_each))
    j = np.linspace(0.0, _PAST_ZERO_THRUST * float(np.max(zero)), ADVANCE_RATIOS)
    x = j / zero[:, None]
    levels, thrust, power, unconverged = [], 0.0, 0.0, 0
    for state, each, weight in zip(states, total, weights, strict=True):
        curves = knowledge.base.curves(state.blade, label.blades, reynolds[:, None], x * state.own_zero_j[:, None])
        unconverged += curves.unconverged
        ct = curves.ct * np.exp(each[:, [0]] + shape_factor(each[:, [3]], each[:, [4]], x))
        cp = curves.cp * np.exp(each[:, [1]] + shape_factor(each[:, [5]], each[:, [6]], x))
        levels.append(np.log(np.stack([ct[:, 0], cp[:, 0], zero], axis=1)))
        thrust = thrust + weight[0] * ct / ct[:, [0]]
        power = power + weight[1] * cp / cp[:, [0]]
    stacked = np.stack(levels)
    stacked[..., 2] = zero_each
    level = np.einsum("sk,srk->rk", weights, stacked)
    middle = np.mean(stacked, axis=1)
    own = {s.family: sum(w * m for t, w, m in zip(states, weights, middle, strict=True) if t.family == s.family)
           for s in states}  # fmt: skip
    chances = {state.family: state.chance for state in states}
    between = np.zeros(len(OUTPUTS))
    mean = sum(own.values())
    for family, chance in chances.items():
        between[:3] += chance * (own[family] / chance - mean) ** 2
    within = {state.family: state.chance * state.spread**2 for state in states}
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
        spread=np.sqrt(np.sum(list(within.values()), axis=0) + between),
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


def _told(
    correlation: FloatArray,
    seen: NDArray[np.bool_],
    before: tuple[FloatArray, FloatArray],
    after: tuple[FloatArray, FloatArray],
) -> tuple[FloatArray, FloatArray]:
    """Correction (R, K) and spread (K,) where siblings told of the outputs ``seen`` only: the others follow them.

    By the correlation of what lines do; what is learnt of the seen outputs is passed on by linear regression.
    """
    covariance = correlation * np.outer(before[1], before[1])
    gain = covariance[np.ix_(~seen, seen)] @ np.linalg.inv(covariance[np.ix_(seen, seen)])
    correction, spread = after[0].copy(), after[1].copy()
    correction[:, ~seen] += (after[0] - before[0])[:, seen] @ gain.T
    learnt = 1.0 - np.minimum(after[1] / before[1], 1.0)[seen] ** 2
    root = np.sqrt(learnt)
    taken = gain @ (covariance[np.ix_(seen, seen)] * np.outer(root, root)) @ gain.T
    spread[~seen] = np.sqrt(np.maximum(before[1][~seen] ** 2 - np.diag(taken), 0.1 * before[1][~seen] ** 2))
    return correction, spread


def sibling_rows(knowledge: Knowledge, family: str, siblings: Sequence[Any]) -> list[list[Row]]:
    """What other propellers of the line say of each output: differences from their own computed curves.

    A sibling has ``diameter_in``, ``pitch_in``, ``blades`` and ``table``, or ``anchors`` in its place.
    """
    out: list[list[Row]] = [[] for _ in OUTPUTS]
    for sibling in siblings:
        label = Label(float(sibling.diameter_in), float(sibling.pitch_in), int(sibling.blades), family)
        read = _of_table if sibling.table is not None else _of_readings
        rpm, values, noise = read(knowledge, label, sibling)
        reynolds = knowledge.base.polar.limited(reynolds_number(label.diameter_in * INCH_M, rpm))
        terms = label_terms(knowledge.corrections["label"].terms, label, reynolds)
        u, d = label.size
        for k in range(len(OUTPUTS)):
            known = np.isfinite(values[:, k]) & (np.abs(values[:, k]) < 0.9)
            if known.any():
                value, unsure = float(values[known, k].mean()), float(noise[known].mean() / known.sum())
                out[k].append(Row(terms[known].mean(axis=0), u, d, value, label.more_blades, unsure))
    return out


def _of_table(knowledge: Knowledge, label: Label, sibling: Any) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Up to five speeds of a table (S,), what they say (S, K), and the variance of its reading (S,)."""
    table = sibling.table
    chosen = np.unique(np.linspace(0, table.rpm.size - 1, min(5, table.rpm.size)).round().astype(int))
    rpm, j = table.rpm[chosen], table.advance_ratio
    reynolds = reynolds_number(label.diameter_in * INCH_M, rpm)
    sweeps = [
        (speed, re, table_zero_thrust_j(j, table.ct[k]), j[1:], table.ct[k, 1:], table.cp[k, 1:])
        for speed, re, k in zip(rpm, reynolds, chosen, strict=True)
    ]
    static = (rpm, reynolds, table.ct[chosen, 0], table.cp[chosen, 0])
    gaps = knowledge.base.differences(knowledge.base.blade(label), label.blades, static=static, sweeps=sweeps)
    return rpm, np.concatenate([gaps.static, gaps.sweeps], axis=1), np.zeros(rpm.size)


def _of_readings(knowledge: Knowledge, label: Label, sibling: Any) -> tuple[FloatArray, FloatArray, FloatArray]:
    """The same of readings at rest, which say nothing of the curve."""
    points = [anchor_point(anchor, label.diameter_in) for anchor in sibling.anchors]
    rpm = np.array([point.rpm for point in points])
    reynolds = reynolds_number(label.diameter_in * INCH_M, rpm)
    computed = knowledge.base.curves(knowledge.base.blade(label), label.blades, reynolds, np.zeros(rpm.size))
    values = np.full((rpm.size, len(OUTPUTS)), np.nan)
    for row, point in enumerate(points):
        for column, (read, own) in enumerate(((point.ct0, computed.ct[row]), (point.cp0, computed.cp[row]))):
            if read is not None:
                values[row, column] = math.log(read / own)
    return rpm, values, np.array([point.uncertainty**2 for point in points])


_SELDOM = 0.01
"""A family less likely than this is left out of the mixture."""


def family_mixture(knowledge: Knowledge, label: Label, chord_75: float | None = None) -> dict[str, float]:
    """The families to compute and their chances: the one that is known, or all that are likely.

    ``chord_75``: chord over radius at 75 % radius, which tells how likely each is as the key's question does.
    """
    if label.family is not None:
        return {label.family: 1.0}
    chances = family_chances(knowledge.base.families, label.diameter_in, label.pitch_in, label.blades)
    likely = _likely(chances)
    return likely if chord_75 is None else _likely(family_chances_after(likely, chord=0.5 * chord_75))


def _likely(chances: Mapping[str, float]) -> dict[str, float]:
    likely = {family: chance for family, chance in chances.items() if chance >= _SELDOM}
    return {family: chance / sum(likely.values()) for family, chance in likely.items()}
