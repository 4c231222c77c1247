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
from propmatch.records.parts import Predicted, Source
from propmatch.tablehtml import pairs_html, table_html
from propmatch.units import INCH_M
from propmatch_plugins.prediction.anchoring import anchored, contradictions, reaching
from propmatch_plugins.prediction.arguments import Asked, checked, default_rpm
from propmatch_plugins.prediction.curves import (
    Evaluated,
    evaluate,
    family_mixture,
    family_states,
    ideal_power,
    sibling_rows,
)
from propmatch_plugins.prediction.evidence import Anchor, AnchorPoint, anchor_point
from propmatch_plugins.prediction.families import reynolds_number
from propmatch_plugins.prediction.knowledge import (
    BASIS,
    JOINT,
    QUANTITIES,
    STATIC_POINT,
    WINDMILLING,
    WINDMILLING_AT,
    Knowledge,
    bundled_knowledge,
    curve_spread,
    growing,
    quantity_spread,
)
from propmatch_plugins.prediction.remarks import chord_remark, cross_check, family_remark, support_remarks
from propmatch_plugins.prediction.shapes import Geometry

__all__ = ["Band", "Prediction", "default_rpm", "predict", "predict_from"]

FloatArray = NDArray[np.float64]

_HELD_WORTH_SAYING = 0.05
_EFFICIENCY = "peak_efficiency"
_BLADES_UNREAD = ("label", "chord and angle", "geometry")
"""Tiers where a regression on the label may be as right as the blade elements: nothing of the line was measured."""
_WORTH_NAMING = 0.1
"""Chance from which a source names a family."""


@attrs.frozen(kw_only=True, eq=False)
class Band:
    """Joint 80 % band of one speed: in 8 cases of 10 the whole curve lies inside. All (X,), J to 1.1 of zero thrust."""

    advance_ratio: FloatArray
    ct: FloatArray
    ct_half: FloatArray
    cp: FloatArray
    cp_half: FloatArray


@attrs.frozen(kw_only=True, eq=False)
class Prediction:
    """A predicted coefficient table and how far it can be trusted.

    Attributes
    ----------
    diameter_in, pitch_in, blades, family : the label; family None when it was not given
    table : CoefficientTable, its J axis runs past zero thrust at every speed
    tier : what the prediction rests on, one of ``knowledge.TIERS``, with `` + static point`` when the bench was used
    family_chances : family to its probability; one entry of 1 where the family is given
    intervals : quantity name to (low, high), relative, 80 %, at the middle speed: the truth lies in predicted x (1 +
        low) to predicted x (1 + high); names in ``knowledge.QUANTITIES``
    widths : (R, Q) half-widths at ``table.rpm``: ln for QUANTITIES, shares of the static value for WINDMILLING and, as
        multiples of ``curve_spread``, JOINT
    ct0, cp0, zero_thrust_j, peak_efficiency : (R,) predicted values at ``table.rpm``
    efficiency_room : (R,) how much better, relative, an ideal disk of the same thrust is; no interval goes beyond
    told_by : what the family's chances rest on, in words
    source : Source of kind ``predicted`` that travels with the table
    remarks : sentences on support, cross-check, contradictions and compressibility
    assumptions : numbers nobody stated
    covariance : (K, K) of ln of the seven outputs before calibration
    unconverged : elements whose inflow angle was not found; 0 unless something is very wrong
    """

    diameter_in: float
    pitch_in: float
    blades: int
    family: str | None
    table: CoefficientTable
    tier: str
    family_chances: dict[str, float]
    intervals: dict[str, tuple[float, float]]
    widths: FloatArray
    ct0: FloatArray
    cp0: FloatArray
    zero_thrust_j: FloatArray
    peak_efficiency: FloatArray
    efficiency_room: FloatArray
    told_by: str
    source: Source
    remarks: tuple[str, ...]
    assumptions: tuple[Assumption, ...]
    covariance: FloatArray
    unconverged: int

    @property
    def spread(self) -> FloatArray:
        """Standard deviations (K,) of ln of the seven outputs before calibration."""
        return np.asarray(np.sqrt(np.diag(self.covariance)))

    def interval(self, quantity: str, rpm: float) -> tuple[float, float]:
        """Like ``intervals``, at one speed: wider the slower a propeller turns; of WINDMILLING shares of static."""
        index = (*QUANTITIES, *WINDMILLING).index(quantity)
        at, speeds = math.log(rpm), np.log(self.table.rpm)
        half = float(np.interp(at, speeds, self.widths[:, index]))
        if quantity not in QUANTITIES:
            return -half, half
        most = float(np.interp(at, speeds, self.efficiency_room)) if quantity == _EFFICIENCY else math.inf
        return math.expm1(-half), min(math.expm1(half), most)

    def band(self, rpm: float, points: int = 23) -> Band:
        """Joint 80 % band of CT and CP over J at one speed."""
        speeds = np.log(self.table.rpm)
        x = np.linspace(0.0, WINDMILLING_AT, points)
        j = x * float(np.interp(math.log(rpm), speeds, self.zero_thrust_j))
        at = self.table.lookup(np.full(points, rpm), j)
        spread = curve_spread(self.covariance, x)
        half = [
            np.interp(math.log(rpm), speeds, self.widths[:, k - len(JOINT)]) * spread[:, k] * static
            for k, static in enumerate((float(at.ct[0]), float(at.cp[0])))
        ]
        return Band(advance_ratio=j, ct=np.asarray(at.ct), ct_half=half[0], cp=np.asarray(at.cp), cp_half=half[1])

    def _repr_html_(self) -> str:
        label = {"label": f"{self.diameter_in:.3g}x{self.pitch_in:.3g}, {self.blades} blades", "family": self.family,
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
    geometry: Geometry | Mapping[str, ArrayLike] | float | None = None,
    siblings: Sequence[Any] = (),
    anchors: Sequence[Anchor | Mapping[str, Any]] = (),
    rpm: ArrayLike | None = None,
) -> Prediction:
    """Predict CT and CP over advance ratio and speed for a propeller that was never measured.

    Parameters
    ----------
    diameter_in, pitch_in : label [in]
    blades : 1 to 8; supported by data for 2, weakly for 3 and 4
    family : one of ``FAMILIES``; None or ``unknown`` mixes them by their chances, with a wider interval; or the key of
        a line of the open data that the propeller is of, such as ``thin-1``, see ``known_lines``
    geometry : measured blade shape, ``Geometry(...)`` or ``Geometry.at_75(chord, angle)``; or a table with the columns
        r_over_R, c_over_R, beta_deg (mapping or data frame); or a number, chord over radius at 75 % radius, which
        tells how likely each family is where none is named
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
    prior = knowledge.line_prior(asked.line) if asked.line else None
    if known or prior is not None:
        measured = any(getattr(each, "table", None) is not None for each in known)
        tier = "siblings" if measured else "line" if prior is not None else "sibling reading"
        if geometry is not None:
            remarks.append("Blade shape not used: other propellers of the same line say more.")
    elif geometry is not None:
        tier = "chord and angle" if geometry.only_75 else "geometry"
    else:
        tier = "label"
    chord = geometry.chord_75 if geometry is not None and geometry.only_75 else asked.chord_75
    mixture = family_mixture(knowledge, label, chord)
    remarks += chord_remark(label, asked.chord_75)
    states = [
        state
        for name, chance in mixture.items()
        for state in family_states(
            knowledge,
            replace(label, family=name),
            tier=tier,
            rpm=speeds,
            geometry=geometry if tier in ("chord and angle", "geometry") else None,
            siblings=sibling_rows(knowledge, name, known) if known else (),
            prior=prior,
            chance=chance,
        )
    ]

    def run(shift: FloatArray | None = None) -> Evaluated:
        return evaluate(knowledge, states, label, speeds, shift)

    points = [anchor_point(anchor, label.diameter_in) for anchor in asked.anchors]
    answer = run()
    calibration = knowledge.calibrations[tier]
    covariance = calibration.correlation * np.outer(answer.spread, answer.spread)
    far = growing(label, mixture, reynolds_number(label.diameter_in * INCH_M, speeds))
    widths = _widths(covariance, calibration.wider(far))
    against: list[str] = []
    if points:
        shift, left = anchored(answer.level, speeds, points, covariance)
        against, doubted = contradictions(answer.level, speeds, points, _intervals(widths))
        answer = run(shift)
        if doubted:
            widths = reaching(widths, shift)
        else:
            covariance = left
            calibration = knowledge.calibrations[tier + STATIC_POINT]
            trend = np.sqrt(knowledge.corrections[BASIS[tier]].trend[:2])
            widths = _widths(covariance, calibration.wider(far), trend * _away(speeds, points)[:, None])
    if tier == "sibling reading":
        alone = predict_from(knowledge, attrs.evolve(asked, siblings=())).widths
        narrow = slice(0, -len(JOINT))
        widths[:, narrow] = np.minimum(widths, alone)[:, narrow]
    turned = np.concatenate([speeds, [point.rpm for point in points]])
    support = [*against, *support_remarks(label, geometry, turned)]
    remarks += [*family_remark(knowledge, label), *support]
    crossed, gaps = cross_check(knowledge, answer, label, speeds, _intervals(widths))
    remarks += crossed
    if crossed and not points and tier in _BLADES_UNREAD:
        widths = reaching(widths, gaps)
        remarks.append("The intervals are widened to reach the regression.")
    if answer.held > _HELD_WORTH_SAYING:
        remarks.append(
            f"Power raised by up to {100 * math.expm1(answer.held):.0f} % so that no thrust costs less than momentum "
            "theory allows: far outside the measured sizes or speeds, measure before you rely on it."
        )
    if answer.unconverged:
        remarks.append(f"{answer.unconverged} blade elements did not converge: do not use this table.")
    level = np.exp(answer.level)
    best, room = _best_efficiency(answer)
    intervals = _intervals(widths)
    low, high = intervals[_EFFICIENCY]
    intervals[_EFFICIENCY] = low, min(high, float(room[room.size // 2]))
    told_by = "size, pitch and blades" if chord is None else "size, pitch, blades and chord"
    return Prediction(
        diameter_in=label.diameter_in,
        pitch_in=label.pitch_in,
        blades=label.blades,
        family=label.family,
        table=CoefficientTable(rpm=speeds, advance_ratio=answer.advance_ratio, ct=answer.ct, cp=answer.cp),
        tier=tier + (STATIC_POINT if points else ""),
        family_chances=mixture,
        intervals=intervals,
        widths=widths,
        ct0=level[:, 0],
        cp0=level[:, 1],
        zero_thrust_j=level[:, 2],
        peak_efficiency=best,
        efficiency_room=room,
        told_by=told_by,
        source=_source(tier, bool(points), label.family, mixture, intervals, support),
        remarks=tuple(remarks),
        assumptions=_family_assumption(mixture, told_by) + tuple(a for point in points for a in point.assumptions),
        covariance=covariance,
        unconverged=answer.unconverged,
    )


def _widths(covariance: FloatArray, multiples: FloatArray, trend: FloatArray | float = 0.0) -> FloatArray:
    """Half-widths (R, Q) of QUANTITIES and WINDMILLING, multiples of JOINT; ``trend`` (R, 2) of ln CT0 and ln CP0."""
    windmilling = curve_spread(covariance, np.array([WINDMILLING_AT]))[0]
    spread = np.concatenate([quantity_spread(covariance), windmilling, np.ones(len(JOINT))])
    spread = np.tile(spread, (multiples.shape[0], 1))
    spread[:, :2] = np.hypot(spread[:, :2], trend)
    return np.asarray(multiples * spread)


def _intervals(widths: FloatArray) -> dict[str, tuple[float, float]]:
    half = widths[widths.shape[0] // 2, : len(QUANTITIES)]
    return {
        name: (math.expm1(-width), math.expm1(width)) for name, width in zip(QUANTITIES, half.tolist(), strict=True)
    }


def _away(speeds: FloatArray, points: Sequence[AnchorPoint]) -> FloatArray:
    """Distance in ln rpm (R,) from the nearest speed of the bench."""
    return np.asarray(np.min(np.abs(np.log(speeds[:, None] / [point.rpm for point in points])), axis=1))


def _best_efficiency(answer: Evaluated) -> tuple[FloatArray, FloatArray]:
    """Best efficiency J CT/CP (R,), and how much better, relative, an ideal disk is there, see ``ideal_power``."""
    j = answer.advance_ratio
    with np.errstate(divide="ignore", invalid="ignore"):
        eta = np.where(answer.cp > 0, j * answer.ct / answer.cp, -np.inf)
    at = np.argmax(eta, axis=1)[:, None]
    best, ct = (np.take_along_axis(each, at, axis=1)[:, 0] for each in (eta, answer.ct))
    best_j = j[at[:, 0]]
    with np.errstate(divide="ignore", invalid="ignore"):
        room = best_j * ct / ideal_power(best_j, ct) / best - 1.0
    return best, np.where(np.isfinite(room), np.maximum(room, 0.0), np.inf)


def _family_assumption(mixture: Mapping[str, float], told_by: str) -> tuple[Assumption, ...]:
    if len(mixture) == 1:
        return ()
    first = sorted(mixture.items(), key=lambda pair: -pair[1])[:2]
    likely = ", ".join(f"{family} {100 * chance:.0f} %" for family, chance in first)
    text = f"blade family not given: mean of the families, weighted by {told_by} ({likely})"
    return (Assumption("propeller", "family", math.nan, "", text),)


def _percent(interval: tuple[float, float]) -> str:
    return f"{100 * interval[0]:+.0f}/{100 * interval[1]:+.0f} %"


_TIER_WORDS = {
    "label": "label",
    "chord and angle": "label, chord and angle at 75 % radius",
    "geometry": "measured blade shape",
    "siblings": "label and measured propellers of the same line",
    "line": "label and its line, one of the open data",
    "sibling reading": "label and a reading at rest of others of the same line",
}


def _source(
    tier: str,
    anchored: bool,
    family: str | None,
    mixture: Mapping[str, float],
    intervals: dict[str, tuple[float, float]],
    support: Sequence[str],
) -> Source:
    likely = sorted(mixture.items(), key=lambda each: -each[1])
    chances = ", ".join(f"{name} {100 * chance:.0f} %" for name, chance in likely if chance >= _WORTH_NAMING)
    basis = _TIER_WORDS[tier] + (f", family {family}" if family else f", family unknown ({chances})")
    if anchored:
        basis += ", static bench point"
    text = (
        f"predicted from {basis}; 80 % interval of static thrust {_percent(intervals['ct0'])}, "
        f"of static power {_percent(intervals['cp0'])}"
    )
    text = " ".join([f"{text}.", *support]).removesuffix(".")
    widest = max(math.log1p(intervals[key][1]) for key in ("ct0", "cp0"))
    said = Predicted(
        rests_on=tier + (STATIC_POINT if anchored else ""),
        interval_80={name: {"low": low, "high": high} for name, (low, high) in intervals.items()},
        family_chances=dict(likely),
    )
    return Source(text=text, kind="predicted", uncertainty=round(min(widest / 1.2816, 1.0), 3), prediction=said)
