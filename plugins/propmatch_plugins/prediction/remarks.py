"""Remarks on a prediction: what lies outside the measured propellers, and the cross-check by regression."""

import math

import numpy as np
from numpy.typing import NDArray

from propmatch.models.air import Air
from propmatch.units import INCH_M
from propmatch_plugins.prediction.base import OUTPUTS
from propmatch_plugins.prediction.curves import Evaluated
from propmatch_plugins.prediction.families import Label, family_chances
from propmatch_plugins.prediction.knowledge import Knowledge
from propmatch_plugins.prediction.regression import regression_curves
from propmatch_plugins.prediction.shapes import Geometry

__all__ = ["chord_remark", "cross_check", "family_remark", "support_remarks"]

FloatArray = NDArray[np.float64]

_FLAGGED_TIP_MACH = 0.9
_CROSS_CHECK = {"ct0": 0.23, "cp0": 0.27, "zero_thrust_j": 0.15}
"""80 % half-widths (ln) of the regression for a line it never saw: the study of left-out lines that set the goals."""


def support_remarks(label: Label, geometry: Geometry | None, rpm: FloatArray) -> list[str]:
    """Remarks on what lies outside the measured propellers."""
    out = []
    diameter_in, pitch_in, blades = label.diameter_in, label.pitch_in, label.blades
    ratio = pitch_in / diameter_in
    if diameter_in > 30:
        out.append(
            f"Diameter {diameter_in:g} in is hard to believe: {diameter_in:g} mm would be {diameter_in / 25.4:.1f} in."
        )
    elif not 4 <= diameter_in <= 11:
        out.append(f"Diameter {diameter_in:g} in is outside the well measured 4 to 11 in.")
    if not 0.32 <= ratio <= 1.11:
        out.append(f"Pitch over diameter {ratio:.2f} is outside the measured 0.32 to 1.11.")
    if blades != 2:
        out.append(f"{blades} blades: almost all measured propellers have 2; the ratio is computed, not fitted.")
    if label.family == "folding" and geometry is None:
        out.append("Folding: one measured line only, blade shape taken from the thin family.")
    if label.family == "racing" and geometry is None:
        out.append("Racing: in no open data, blade shape by common practice.")
    if geometry is not None:
        actual = geometry.pitch_ratio_75 / ratio
        if not 0.57 <= actual <= 1.73:
            out.append(
                f"The blade angle at 75 % radius means a pitch of {actual:.2f} times the label; measured propellers "
                "have 0.57 to 1.73: check the angle and the label."
            )
    sound = float(Air.standard().speed_of_sound_m_s)
    mach = rpm * (math.pi / 60.0) * diameter_in * INCH_M / sound
    if np.any(mach > _FLAGGED_TIP_MACH):
        first = float(rpm[np.argmax(mach > _FLAGGED_TIP_MACH)])
        out.append(f"Tip Mach above 0.9 from {first:.0f} rpm: compressibility is not in the model.")
    return out


def chord_remark(label: Label, chord_75: float | None) -> list[str]:
    """What a chord without its angle was good for."""
    if chord_75 is None:
        return []
    if label.family is not None:
        return ["Chord not used: alone it only tells the family, which is known; with the angle it says more."]
    return ["The chord tells the chances of the families; with the angle beside it (angle=17deg) it says more."]


_RARE = 0.06
"""A stated family less likely than this by size, pitch and blades is remarked; hinges are seen at once."""


def family_remark(knowledge: Knowledge, label: Label) -> list[str]:
    """Say so when hardly any propeller of the size, pitch and blades is of the stated family."""
    if label.family in (None, "folding") or "d_mean" not in knowledge.base.families.columns:
        return []
    chances = family_chances(knowledge.base.families, label.diameter_in, label.pitch_in, label.blades)
    likely = max(chances, key=lambda name: chances[name])
    if chances[label.family] >= _RARE:
        return []
    share = f"about {100 * chances[label.family]:.0f} %" if chances[label.family] >= 0.01 else "less than 1 %"
    return [
        f"Of propellers of this size, pitch and blades {share} are {label.family}, "
        f"{100 * chances[likely]:.0f} % {likely}; three questions tell: 'propmatch parts --which-family SIZE'."
    ]


def cross_check(
    knowledge: Knowledge,
    answer: Evaluated,
    label: Label,
    rpm: FloatArray,
    intervals: dict[str, tuple[float, float]],
) -> tuple[list[str], FloatArray]:
    """What to say where the twelve-term regression differs by more than both intervals together, and its gaps (K,)."""
    middle = rpm.size // 2
    other = regression_curves(
        label.diameter_in,
        label.pitch_in,
        blades=label.blades,
        family=label.family,
        rpm=rpm[[middle]],
        advance_ratio=[0.0],
        fitted=knowledge.regression,
    )
    out, gaps = [], np.zeros(len(OUTPUTS))
    texts = {"ct0": "static thrust", "cp0": "static power", "zero_thrust_j": "zero-thrust advance ratio"}
    values = (other.ct0[0], other.cp0[0], other.zero_thrust_j[0])
    for column, ((key, own), value) in enumerate(zip(_CROSS_CHECK.items(), values, strict=True)):
        gaps[column] = gap = math.log(value) - float(answer.level[middle, column])
        if abs(gap) > math.hypot(own, math.log1p(intervals[key][1])):
            out.append(
                f"Cross-check: a regression on the label alone gives {100 * math.expm1(gap):+.0f} % on {texts[key]}, "
                "more than the two intervals explain; measure before you rely on it."
            )
    return out, gaps
