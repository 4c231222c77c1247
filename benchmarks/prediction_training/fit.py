"""Fits every table of the prediction to measured propellers. Deterministic.

Steps: section polar; mean shapes and two numbers of each family; variances and correction of each tier; the
regression; then five-fold models left out (known line) and six groups of whole lines left out, everything refitted
(unknown line), give the correlation of the errors and the multiples that make 80 % intervals.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from prediction_training.accuracy import (
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
from prediction_training.fit_correction import Observed, fit_correction, fit_variances, observe
from prediction_training.fit_regression import fit_regression
from prediction_training.measured import MeasuredPropeller
from propmatch_plugins.prediction.arguments import checked
from propmatch_plugins.prediction.base import OUTPUTS, Base
from propmatch_plugins.prediction.correction import Row
from propmatch_plugins.prediction.evidence import Sibling
from propmatch_plugins.prediction.knowledge import BASIS, QUANTITIES, TIERS, Calibration, Knowledge, quantity_spread
from propmatch_plugins.prediction.predicted import Prediction, predict_from
from propmatch_plugins.prediction.shapes import Geometry

__all__ = ["LEAST_DIAMETER_IN", "Workshop", "fit_knowledge", "left_out", "predict_measured"]

FloatArray = NDArray[np.float64]

LEAST_DIAMETER_IN = 2.9
_LINE_GROUPS = 6
_COVER = {"label": 0.84, "chord and angle": 0.81, "geometry": 0.81, "siblings": 0.81}
"""Share of left-out values that the intervals of each tier are made to cover."""


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
    ) -> Knowledge:
        """Fit without some models what ``tiers`` need; ``strict`` refits polar and shapes too."""
        needed = {BASIS[tier] for tier in tiers}
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
        unit = Calibration(np.ones(len(QUANTITIES)), np.eye(len(OUTPUTS)))
        return Knowledge(
            base=base,
            corrections={name: fit_correction(each, self.variances[name]) for name, each in kept.items()},
            calibrations=calibrations or dict.fromkeys(TIERS, unit),
            regression=fit_regression(rows),
        )


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
    knowledge: Knowledge, p: MeasuredPropeller, tier: str, siblings: Sequence[Sibling] = ()
) -> Prediction | None:
    """Predict a measured propeller with the knowledge of one tier; None when that tier does not apply."""
    geometry = measured_geometry(p) if tier in ("geometry", "chord and angle") else None
    if tier in ("geometry", "chord and angle"):
        if geometry is None:
            return None
        if tier == "chord and angle":
            angle = float(np.degrees(np.arctan(geometry.pitch_ratio_75 / (0.75 * np.pi))))
            geometry = Geometry.at_75(geometry.chord_75, angle)
    if tier == "siblings" and not siblings:
        return None
    known = siblings if tier == "siblings" else ()
    return predict_from(
        knowledge,
        checked(p.diameter_in, p.pitch_in, blades=p.blades, family=p.family, geometry=geometry, siblings=known),
    )


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
) -> Iterator[LeftOut]:
    """Refit without each group of models and predict them."""
    for group in groups:
        targets = [p for p in workshop.propellers if p.model in group and in_scope(p)]
        if not targets:
            continue
        knowledge = workshop.knowledge(group, strict=strict, calibrations=calibrations, tiers=tiers)
        for p in targets:
            line = [
                workshop.siblings[q.volume, q.label]
                for q in workshop.propellers
                if q.line == p.line and q.model not in group and (q.volume, q.label) in workshop.siblings
            ]
            for tier in tiers:
                prediction = predict_measured(knowledge, p, tier, line)
                if prediction is not None:
                    yield LeftOut(tier, group, knowledge, compare(p, prediction))


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
                        rows[k].append(Row(o.terms[k].mean(axis=0), o.u, o.d, float(value.mean())))
    out = np.full(len(OUTPUTS), np.nan)
    correction = case.knowledge.corrections[BASIS[case.tier]]
    for k, value in enumerate(own.values):
        if value.size:
            mean, spread = correction.predict(own.terms[k], own.u, own.d, rows)
            out[k] = float(np.mean(value - mean[:, k])) / spread[k]
    return out


def _correlation(errors: FloatArray) -> FloatArray:
    """Correlation (K, K) of error rows (N, K), outliers held at 2.5, drawn a tenth of the way to none."""
    held = np.clip(np.where(np.isfinite(errors), errors, 0.0), -2.5, 2.5)
    second = held.T @ held
    scale = np.sqrt(np.diag(second))
    return np.asarray(0.9 * second / np.outer(scale, scale) + 0.1 * np.eye(len(OUTPUTS)))


def _calibrate(workshop: Workshop) -> dict[str, Calibration]:
    """Correlation of the left-out errors of the outputs, then the multiples for the intervals."""
    cases = list(left_out(workshop, by_model(workshop.propellers), ["siblings"]))
    unknown = by_line(workshop.propellers, _LINE_GROUPS)
    cases += list(left_out(workshop, unknown, ["label", "chord and angle", "geometry"], strict=True))
    out = {}
    for tier in TIERS:
        own = [case for case in cases if case.tier == tier]
        correlation = _correlation(np.array([_output_errors(workshop, case) for case in own]))
        comparisons = [case.comparison for case in own]
        q80 = []
        for index, quantity in enumerate(QUANTITIES):

            def ratio(
                c: Comparison, quantity: str = quantity, index: int = index, correlation: FloatArray = correlation
            ) -> FloatArray:
                spread = quantity_spread(correlation * np.outer(c.prediction.spread, c.prediction.spread))
                return np.asarray(np.abs(c.logs[quantity]) / spread[index])

            values, weights = weighted(comparisons, ratio)
            q80.append(weighted_quantile(values, weights, _COVER[tier]))
        out[tier] = Calibration(np.array(q80), correlation)
    return out


def fit_knowledge(workshop: Workshop) -> Knowledge:
    """The knowledge that ships: all propellers, with intervals calibrated on left-out ones."""
    return workshop.knowledge(calibrations=_calibrate(workshop))
