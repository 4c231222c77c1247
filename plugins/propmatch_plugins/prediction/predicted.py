"""One call for every kind of knowledge: a coefficient table with the interval it deserves."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import attrs
import numpy as np
from numpy.typing import ArrayLike, NDArray

from propmatch.models.tables import CoefficientTable
from propmatch.records.estimates import Assumption
from propmatch.records.parts import Source
from propmatch.tablehtml import pairs_html, table_html
from propmatch_plugins.prediction.anchoring import anchored, contradictions
from propmatch_plugins.prediction.arguments import Asked, checked, default_rpm
from propmatch_plugins.prediction.curves import (
    Evaluated,
    evaluate,
    family_mixture,
    family_state,
    sibling_rows,
)
from propmatch_plugins.prediction.evidence import Anchor, anchor_point
from propmatch_plugins.prediction.knowledge import QUANTITIES, Knowledge, bundled_knowledge, quantity_spread
from propmatch_plugins.prediction.remarks import cross_check, support_remarks
from propmatch_plugins.prediction.shapes import Geometry

__all__ = ["Prediction", "default_rpm", "predict", "predict_from"]

FloatArray = NDArray[np.float64]

_HELD_WORTH_SAYING = 0.05
_ANCHORED_Q80 = 1.15
"""Least multiple once the bench has replaced the scatter of lines, for which the multiples were made."""


@attrs.frozen(kw_only=True, eq=False)
class Prediction:
    """A predicted coefficient table and how far it can be trusted.

    Attributes
    ----------
    diameter_in, pitch_in, blades, family : the label; family None when it was not given
    table : CoefficientTable, its J axis runs past zero thrust at every speed
    tier : what the prediction rests on: ``label``, ``chord and angle``, ``geometry`` or ``siblings``, with
        `` + static point`` when the bench was used
    intervals : quantity name to (low, high), relative, 80 %: the truth lies in predicted x (1 + low) to predicted
        x (1 + high); names in ``knowledge.QUANTITIES``
    ct0, cp0, zero_thrust_j, peak_efficiency : (R,) predicted values at ``table.rpm``
    source : Source of kind ``predicted`` that travels with the table
    remarks : sentences on support, cross-check, contradictions and compressibility
    assumptions : numbers nobody stated
    spread : (K,) standard deviations (ln) of the seven outputs before calibration
    unconverged : elements whose inflow angle was not found; 0 unless something is very wrong
    """

    diameter_in: float
    pitch_in: float
    blades: int
    family: str | None
    table: CoefficientTable
    tier: str
    intervals: dict[str, tuple[float, float]]
    ct0: FloatArray
    cp0: FloatArray
    zero_thrust_j: FloatArray
    peak_efficiency: FloatArray
    source: Source
    remarks: tuple[str, ...]
    assumptions: tuple[Assumption, ...]
    spread: FloatArray
    unconverged: int

    def _repr_html_(self) -> str:
        label = {"label": f"{self.diameter_in:g}x{self.pitch_in:g}, {self.blades} blades", "family": self.family,
                 "rests on": self.tier, "source": self.source.text}  # fmt: skip
        ranges = {f"{n}, 80 %": f"{100 * a:+.0f} to {100 * b:+.0f} %" for n, (a, b) in self.intervals.items()}
        rows = zip(*(column.tolist() for column in (self.table.rpm, self.ct0, self.cp0, self.zero_thrust_j,
                                                    self.peak_efficiency)), strict=True)  # fmt: skip
        heads = ("rpm", "static CT", "static CP", "J of zero thrust", "peak efficiency")
        return pairs_html({**label, **ranges}) + table_html(heads, rows)


def predict(
    diameter_in: float,
    pitch_in: float,
    *,
    blades: int = 2,
    family: str | None = None,
    geometry: Geometry | Mapping[str, ArrayLike] | None = None,
    siblings: Sequence[Any] = (),
    anchors: Sequence[Anchor | Mapping[str, Any]] = (),
    rpm: ArrayLike | None = None,
) -> Prediction:
    """Predict CT and CP over advance ratio and speed for a propeller that was never measured.

    Parameters
    ----------
    diameter_in, pitch_in : label [in]
    blades : 1 to 8; supported by data for 2, weakly for 3 and 4
    family : ``thin``, ``thick``, ``broad``, ``folding`` or ``wide``; None mixes all, with a wider interval
    geometry : measured blade shape, ``Geometry(...)`` or ``Geometry.at_75(chord, angle)``; or a table with the columns
        r_over_R, c_over_R, beta_deg (mapping or data frame)
    siblings : measured propellers of the same line: anything with diameter_in, pitch_in, blades and table
    anchors : static points from the bench: ``Anchor(...)``, or mappings of its fields
    rpm : (R,) speeds of the table, default eight from tip Mach 0.05 to 0.7

    Returns
    -------
    Prediction

    Raises
    ------
    InputFaults
        Size not finite or not above 0, blades out of range, a family that does not exist, a faulty blade shape, sibling
        or bench point, rpm not rising; all at once.
    """
    asked = checked(
        diameter_in,
        pitch_in,
        blades=blades,
        family=family,
        geometry=geometry,
        siblings=siblings,
        anchors=anchors,
        rpm=rpm,
    )
    return predict_from(bundled_knowledge(), asked)


def predict_from(knowledge: Knowledge, asked: Asked) -> Prediction:
    """``predict`` from other tables than those that ship."""
    label, speeds, known, geometry = asked.label, asked.rpm, asked.siblings, asked.geometry
    remarks = list(asked.remarks)
    if known:
        tier = "siblings"
        if geometry is not None:
            remarks.append("Blade shape not used: measured propellers of the same line say more.")
    elif geometry is not None:
        tier = "chord and angle" if geometry.only_75 else "geometry"
    else:
        tier = "label"
    names, weights = family_mixture(knowledge, label.family)
    states = [
        family_state(
            knowledge,
            replace(label, family=name),
            tier=tier,
            rpm=speeds,
            geometry=None if tier == "siblings" else geometry,
            siblings=sibling_rows(knowledge, name, known) if known else (),
        )
        for name in names
    ]

    def run(shift: FloatArray | None = None) -> Evaluated:
        return evaluate(knowledge, states, weights, label, speeds, shift)

    points = [anchor_point(anchor, label.diameter_in) for anchor in asked.anchors]
    answer = run()
    calibration = knowledge.calibrations[tier]
    covariance = calibration.correlation * np.outer(answer.spread, answer.spread)
    before = _intervals(covariance, calibration.q80)
    if points:
        shift, covariance = anchored(answer.level, speeds, points, covariance)
        remarks += contradictions(answer.level, speeds, points, before)
        answer = run(shift)
    intervals = before
    if points:
        q80 = calibration.q80
        intervals = _intervals(covariance, np.where(q80 > 1.0, np.maximum(q80, _ANCHORED_Q80), q80))
    turned = np.concatenate([speeds, [point.rpm for point in points]])
    support = support_remarks(label, geometry, turned)
    remarks += support
    remarks += cross_check(knowledge, answer, label, speeds, intervals)
    if answer.held > _HELD_WORTH_SAYING:
        remarks.append(
            f"Power raised by up to {100 * math.expm1(answer.held):.0f} % so that no thrust costs less than momentum "
            "theory allows: far outside the measured sizes or speeds, measure before you rely on it."
        )
    if answer.unconverged:
        remarks.append(f"{answer.unconverged} blade elements did not converge: do not use this table.")
    level = np.exp(answer.level)
    with np.errstate(divide="ignore", invalid="ignore"):
        eta = np.where(answer.cp > 0, answer.advance_ratio * answer.ct / answer.cp, -np.inf)
    return Prediction(
        diameter_in=label.diameter_in,
        pitch_in=label.pitch_in,
        blades=label.blades,
        family=label.family,
        table=CoefficientTable(rpm=speeds, advance_ratio=answer.advance_ratio, ct=answer.ct, cp=answer.cp),
        tier=tier + (" + static point" if points else ""),
        intervals=intervals,
        ct0=level[:, 0],
        cp0=level[:, 1],
        zero_thrust_j=level[:, 2],
        peak_efficiency=np.max(eta, axis=1),
        source=_source(tier, bool(points), label.family, intervals, support),
        remarks=tuple(remarks),
        assumptions=_family_assumption(names) + tuple(a for point in points for a in point.assumptions),
        spread=np.sqrt(np.diag(covariance)),
        unconverged=answer.unconverged,
    )


def _intervals(covariance: FloatArray, q80: FloatArray) -> dict[str, tuple[float, float]]:
    half = q80 * quantity_spread(covariance)
    return {
        name: (math.expm1(-width), math.expm1(width)) for name, width in zip(QUANTITIES, half.tolist(), strict=True)
    }


def _family_assumption(names: Sequence[str]) -> tuple[Assumption, ...]:
    if len(names) == 1:
        return ()
    text = "blade family not given: mean of all families, weighted by how often they were measured"
    return (Assumption("propeller", "family", math.nan, "", text),)


def _percent(interval: tuple[float, float]) -> str:
    return f"{100 * interval[0]:+.0f}/{100 * interval[1]:+.0f} %"


_TIER_WORDS = {
    "label": "label",
    "chord and angle": "label, chord and angle at 75 % radius",
    "geometry": "measured blade shape",
    "siblings": "label and measured propellers of the same line",
}


def _source(
    tier: str,
    anchored: bool,
    family: str | None,
    intervals: dict[str, tuple[float, float]],
    support: Sequence[str],
) -> Source:
    basis = _TIER_WORDS[tier] + (f", family {family}" if family else ", family unknown")
    if anchored:
        basis += ", static bench point"
    text = (
        f"predicted from {basis}; 80 % interval of static thrust {_percent(intervals['ct0'])}, "
        f"of static power {_percent(intervals['cp0'])}"
    )
    text = " ".join([f"{text}.", *support]).removesuffix(".")
    widest = max(math.log1p(intervals[key][1]) for key in ("ct0", "cp0"))
    return Source(text=text, kind="predicted", uncertainty=round(min(widest / 1.2816, 1.0), 3))
