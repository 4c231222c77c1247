"""Fits every table of the prediction to measured propellers. Deterministic.

Steps: section polar; mean shapes and two numbers of each family; variances and correction of each tier; the
regression; then five-fold models left out (known line) and six groups of whole lines left out, everything refitted
(unknown line), give the correlation of the errors and the multiples that make 80 % intervals.
"""

import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import attrs
import numpy as np
from numpy.typing import NDArray

from prediction_training.accuracy import (
    JUDGED,
    Comparison,
    by_line,
    by_model,
    compare,
    in_scope,
    measured_sibling,
    weighted,
    weighted_quantile,
)
from prediction_training.fit_base import fit_family_numbers, fit_polar, mean_shapes, measured_geometry
from prediction_training.fit_correction import Observed, fit_correction, fit_variances, line_effects, observe
from prediction_training.fit_regression import fit_regression
from prediction_training.measured import MeasuredPropeller
from propmatch_plugins.prediction.arguments import checked
from propmatch_plugins.prediction.base import OUTPUTS, Base
from propmatch_plugins.prediction.coefficients import FittedTable
from propmatch_plugins.prediction.correction import LinePrior, Row
from propmatch_plugins.prediction.evidence import Sibling
from propmatch_plugins.prediction.families import FAMILIES
from propmatch_plugins.prediction.knowledge import (
    BASIS,
    GROWTH,
    STATIC_POINT,
    TIERS,
    Calibration,
    Knowledge,
)
from propmatch_plugins.prediction.predicted import Prediction, predict_from
from propmatch_plugins.prediction.shapes import Geometry

__all__ = [
    "LEAST_DIAMETER_IN",
    "LeftOut",
    "Workshop",
    "described_lines",
    "fit_blend",
    "fit_knowledge",
    "left_out",
    "predict_left_out",
    "predict_measured",
]

FloatArray = NDArray[np.float64]

LEAST_DIAMETER_IN = 2.9
_LINE_GROUPS = 6
_COVER = (0.81, 0.80)
"""Share of left-out values that the intervals are made to cover; for a label less, as most lines are in the data."""


@dataclass(frozen=True)
class Workshop:
    """Everything computed once and needed to refit without some models."""

    propellers: list[MeasuredPropeller]
    base: Base
    observed: dict[str, list[Observed]]
    variances: dict[str, FloatArray]
    siblings: dict[tuple[str, str], Sibling]

    @classmethod
    def of(cls, propellers: Sequence[MeasuredPropeller]) -> "Workshop":
        """Base, differences and variances of all propellers of 2.9 in and more whose family is known."""
        rows = [p for p in propellers if p.diameter_in >= LEAST_DIAMETER_IN and p.family is not None]
        base = fit_base(rows)
        observed = _observed(base, rows)
        siblings = {(p.volume, p.label): s for p in rows if (s := measured_sibling(p)) is not None}
        variances = {name: fit_variances(each) for name, each in observed.items()}
        return cls(rows, base, observed, variances, siblings)

    def knowledge(
        self,
        without: set[str] = frozenset(),  # type: ignore[assignment]
        *,
        strict: bool = False,
        calibrations: dict[str, Calibration] | None = None,
        tiers: Sequence[str] = TIERS,
        blend: FittedTable | None = None,
    ) -> Knowledge:
        """Fit without some models what ``tiers`` need; ``strict`` refits polar and shapes too."""
        needed = {BASIS[tier.removesuffix(STATIC_POINT)] for tier in (*tiers, "label")}
        rows = [p for p in self.propellers if p.model not in without]
        base, observed = self.base, self.observed
        if strict:
            base = fit_base(rows)
            observed = _observed(base, rows)
        kept = {
            name: [o for o in each if o.propeller.model not in without]
            for name, each in observed.items()
            if name in needed
        }
        units = dict.fromkeys((tier + end for tier in TIERS for end in ("", STATIC_POINT)), _unit(np.eye(len(OUTPUTS))))
        return Knowledge(
            base=base,
            corrections={name: fit_correction(each, self.variances[name]) for name, each in kept.items()},
            calibrations=calibrations or units,
            regression=fit_regression(rows),
            blend=blend,
            lines=described_lines(rows, line_effects(kept["label"], self.variances["label"])) if "siblings" in tiers
            else None,
        )  # fmt: skip


def fit_base(propellers: Sequence[MeasuredPropeller]) -> Base:
    """Polar, shapes and family numbers."""
    polar, shapes = fit_polar(propellers), mean_shapes(propellers)
    return Base(polar, shapes, fit_family_numbers(propellers, polar, shapes))


def _observed(base: Base, propellers: Sequence[MeasuredPropeller]) -> dict[str, list[Observed]]:
    kinds = {
        "label": {"use_geometry": False},
        "chord_angle": {"use_geometry": True, "only_75": True},
        "geometry": {"use_geometry": True},
    }
    return {
        name: [o for p in propellers if (o := observe(base, p, **options)) is not None]
        for name, options in kinds.items()
    }


def predict_measured(
    knowledge: Knowledge, p: MeasuredPropeller, tier: str, siblings: Sequence[Sibling] = (), *, thrust: bool = False
) -> Prediction | None:
    """Predict a measured propeller with the knowledge of one tier; None when that tier does not apply.

    ``siblings``: measured, or read at rest for ``sibling reading``. A tier with a static point takes ``p``'s own, of
    power and perhaps ``thrust``.
    """
    plain, anchored = tier.removesuffix(STATIC_POINT), tier.endswith(STATIC_POINT)
    shaped = plain in ("geometry", "chord and angle")
    geometry = measured_geometry(p) if shaped else None
    taught = plain in ("siblings", "sibling reading")
    lines = () if knowledge.lines is None else knowledge.lines.rows
    lacks = (shaped and geometry is None, taught and not siblings, plain == "line" and p.line not in lines)
    if any(lacks) or (anchored and p.static_rpm.size < 3):
        return None
    if geometry is not None and plain == "chord and angle":
        angle = float(np.degrees(np.arctan(geometry.pitch_ratio_75 / (0.75 * np.pi))))
        geometry = Geometry.at_75(geometry.chord_75, angle)
    anchors = [p.static_point(thrust=thrust)] if anchored else []
    asked = checked(p.diameter_in, p.pitch_in, blades=p.blades, family=p.family, geometry=geometry,
                    siblings=siblings if taught else (), anchors=anchors)  # fmt: skip
    return predict_from(knowledge, attrs.evolve(asked, line=p.line if plain == "line" else None))


@dataclass(frozen=True)
class LeftOut:
    """One prediction of a propeller whose ``group`` of models took no part in the fit."""

    tier: str
    group: set[str]
    knowledge: Knowledge
    comparison: Comparison


def left_out(
    workshop: Workshop,
    groups: Sequence[set[str]],
    tiers: Sequence[str],
    *,
    strict: bool = False,
    calibrations: dict[str, Calibration] | None = None,
    blend: FittedTable | None = None,
) -> Iterator[LeftOut]:
    """Refit without each group of models and predict them."""
    for group in groups:
        targets = [p for p in workshop.propellers if p.model in group and in_scope(p)]
        if not targets:
            continue
        knowledge = workshop.knowledge(group, strict=strict, calibrations=calibrations, tiers=tiers, blend=blend)
        for p in targets:
            for tier in tiers:
                case = predict_left_out(workshop, group, knowledge, p, tier)
                if case is not None:
                    yield case


def predict_left_out(
    workshop: Workshop, group: set[str], knowledge: Knowledge, p: MeasuredPropeller, tier: str, *, thrust: bool = False
) -> LeftOut | None:
    """One tier of one propeller; siblings are those of its line outside ``group``, of which one is read at rest."""
    known = [q for q in workshop.propellers if q.line == p.line and q.model not in group]
    siblings = [workshop.siblings[q.volume, q.label] for q in known if (q.volume, q.label) in workshop.siblings]
    if tier.startswith("sibling reading"):
        known = [q for q in known if q.static_rpm.size]
        read = known[zlib.crc32(p.model.encode()) % len(known)] if known else None
        siblings = [] if read is None else [
            Sibling(read.diameter_in, read.pitch_in, read.blades, anchors=(read.static_point(),))
        ]  # fmt: skip
    prediction = predict_measured(knowledge, p, tier, siblings, thrust=thrust)
    if prediction is None:
        return None
    judged = p.without_static_point if tier.endswith(STATIC_POINT) else p
    return LeftOut(tier, group, knowledge, compare(judged, prediction))


def _output_errors(workshop: Workshop, case: LeftOut) -> FloatArray:
    """Left-out errors of the seven outputs (truth minus prediction) in standard deviations, NaN unknown, (K,)."""
    observed = workshop.observed[BASIS[case.tier]]
    p = case.comparison.propeller
    own = next(o for o in observed if o.propeller is p)
    rows: list[list[Row]] = [[] for _ in OUTPUTS]
    if case.tier == "siblings":
        for o in observed:
            if o.propeller.line == p.line and o.propeller.model not in case.group:
                for k, value in enumerate(o.values):
                    if value.size:
                        b = o.propeller.printed.more_blades
                        rows[k].append(Row(o.terms[k].mean(axis=0), o.u, o.d, float(value.mean()), b))
    out = np.full(len(OUTPUTS), np.nan)
    correction = case.knowledge.corrections[BASIS[case.tier]]
    for k, value in enumerate(own.values):
        if value.size:
            mean, spread = correction.predict(own.terms[k], own.u, own.d, rows, b=p.printed.more_blades)
            out[k] = float(np.mean(value - mean[:, k])) / spread[k]
    return out


def _correlation(errors: FloatArray) -> FloatArray:
    """Correlation (K, K) of error rows (N, K), outliers held at 2.5, drawn a tenth of the way to none."""
    held = np.clip(np.where(np.isfinite(errors), errors, 0.0), -2.5, 2.5)
    second = held.T @ held
    scale = np.sqrt(np.diag(second))
    return np.asarray(0.9 * second / np.outer(scale, scale) + 0.1 * np.eye(len(OUTPUTS)))


_GROWTH_DRAW = 4.0
_USUAL_GROWTH = np.array([0.2, 0.5, 0.1, 0.2, 0.1])
"""Pull of the growth of intervals to what propellers kept apart showed: below Re_D 50,000, above p/D 0.8 and with three
blades intervals without growth held 30 to 55 % in place of 80. In left-out lines per square of the slope."""


def _growth(cases: Sequence[LeftOut], quantity: str, cover: float) -> FloatArray:
    """Multiple of the standard deviation and its growth (1 + G,): what covers ``cover`` of the left-out values.

    The cases were predicted with multiples of 1. The growth is that of the scale of a Laplace distribution by maximum
    likelihood, at least 0, every line with weight 1; the multiple then the quantile over models of the misses divided
    by it.
    """
    from scipy.optimize import minimize

    comparisons = [case.comparison for case in cases]
    values, weights = weighted(comparisons, lambda c: np.abs(c.logs[quantity]) / c.half_widths(quantity))
    if not values.size:
        return np.concatenate([[1.0], np.zeros(len(GROWTH))])
    kept = [c for c in comparisons if c.logs[quantity].size]
    features = np.concatenate([c.growing(quantity) for c in kept])
    lines = [c.propeller.line for c in kept]
    each = np.concatenate(
        [np.full(c.logs[quantity].size, 1.0 / lines.count(c.propeller.line) / c.logs[quantity].size) for c in kept]
    )
    held = np.minimum(values, weighted_quantile(values, weights, 0.97))

    def loss(vector: FloatArray) -> float:
        log_scale = vector[0] + features @ vector[1:]
        pull = 0.5 * _GROWTH_DRAW * np.sum((vector[1:] - _USUAL_GROWTH) ** 2)
        return float(each @ (log_scale + held * np.exp(-log_scale)) + pull)

    bounds = [(None, None)] + [(0.0, 1.5)] * len(GROWTH)
    growth = minimize(loss, np.zeros(1 + len(GROWTH)), method="L-BFGS-B", bounds=bounds).x[1:]
    multiple = weighted_quantile(values / np.exp(features @ growth), weights, cover)
    return np.concatenate([[multiple], growth])


def _unit(correlation: FloatArray) -> Calibration:
    """Multiples of 1 that grow with nothing."""
    return Calibration(np.ones(len(JUDGED)), correlation, np.zeros((len(JUDGED), len(GROWTH))))


def _calibrate(workshop: Workshop, blend: FittedTable) -> dict[str, Calibration]:
    """Correlation of the left-out errors of the outputs, then the multiples for the intervals of every tier.

    Tiers that know something of the line are judged on left-out models, the others on left-out lines.
    """
    cases = list(left_out(workshop, by_model(workshop.propellers), ["siblings"]))
    unknown = by_line(workshop.propellers, _LINE_GROUPS)
    cases += list(left_out(workshop, unknown, ["label", "chord and angle", "geometry"], strict=True, blend=blend))
    found = {
        tier: _correlation(np.array([_output_errors(workshop, case) for case in cases if case.tier == tier]))
        for tier in dict.fromkeys(case.tier for case in cases)
    }
    found |= {"line": found["siblings"], "sibling reading": found["label"]}
    ends = ("", STATIC_POINT)
    units = {tier + end: _unit(correlation) for tier, correlation in found.items() for end in ends}
    judged: dict[str, list[LeftOut]] = {}
    for case in cases:
        knowledge = replace(case.knowledge, calibrations=units)
        plain = (case.tier, "line", "sibling reading") if case.tier == "siblings" else (case.tier,)
        p = case.comparison.propeller
        for tier in (tier + end for tier in plain for end in ends):
            again = predict_left_out(workshop, case.group, knowledge, p, tier)
            if again is not None:
                judged.setdefault(tier, []).append(again)
    out = {}
    for tier, unit in units.items():
        fitted = np.array([_growth(judged.get(tier, ()), quantity, _COVER[tier == "label"]) for quantity in JUDGED])
        out[tier] = Calibration(fitted[:, 0], unit.correlation, fitted[:, 1:])
    return out


def fit_blend(workshop: Workshop) -> FittedTable:
    """Share of the label's own CT, CP and J0 beside a blade shape: that with the least mean error of left-out lines.

    Every model has weight 1; outside 0 to 0.6 is not looked at.
    """
    unseen = ["label", "chord and angle", "geometry"]
    cases = list(left_out(workshop, by_line(workshop.propellers), unseen))
    label = {id(c.comparison.propeller): c.comparison for c in cases if c.tier == "label"}
    rows = []
    for tier in unseen[1:]:
        own = [c.comparison for c in cases if c.tier == tier]
        row = []
        for quantity in ("ct0", "cp0", "zero_thrust_j"):
            losses = []
            for share in _SHARES:

                def miss(c: Comparison, share: float = share, quantity: str = quantity) -> FloatArray:
                    other = label[id(c.propeller)].logs[quantity]
                    return np.abs((1 - share) * c.logs[quantity] + share * other)

                values, weights = weighted(own, miss)
                losses.append(np.average(values, weights=weights))
            row.append(_SHARES[int(np.argmin(losses))])
        rows.append(row)
    return FittedTable(unseen[1:], ["ct", "cp", "j0"], rows)


_SHARES = np.round(np.linspace(0.0, 0.6, 13), 2)


def described_lines(
    propellers: Sequence[MeasuredPropeller], effects: dict[str, LinePrior], *, named: bool = True
) -> FittedTable:
    """Offsets of every line with its number and range of sizes, by the data's own name or by number in its family."""
    rows: dict[str, list[float]] = {}
    for family in FAMILIES:
        own: dict[str, list[MeasuredPropeller]] = {}
        for p in propellers:
            if p.family == family and p.line in effects:
                own.setdefault(p.line, []).append(p)
        for number, line in enumerate(sorted(own, key=lambda line: (-len(own[line]), effects[line].mean[0])), 1):
            sizes = [p.diameter_in for p in own[line]]
            ratios = [round(p.pitch_in / p.diameter_in, 2) for p in own[line]]
            effect = effects[line]
            rows[line if named else f"{family}-{number}"] = [
                len(sizes), min(sizes), max(sizes), min(ratios), max(ratios), *effect.mean, *np.sqrt(effect.variance),
            ]  # fmt: skip
    columns = ["propellers", "least_diameter_in", "most_diameter_in", "least_pitch_ratio", "most_pitch_ratio"]
    return FittedTable(rows, [*columns, *OUTPUTS, *(f"{output}_sd" for output in OUTPUTS)], list(rows.values()))


def fit_knowledge(workshop: Workshop) -> Knowledge:
    """The knowledge that ships: all propellers, with intervals calibrated on left-out ones."""
    blend = fit_blend(workshop)
    knowledge = workshop.knowledge(calibrations=_calibrate(workshop, blend), blend=blend)
    effects = line_effects(workshop.observed["label"], workshop.variances["label"])
    return replace(knowledge, lines=described_lines(workshop.propellers, effects, named=False))
