"""A prediction in plain sentences, for the command line and the page."""

from propmatch.records.blades import FAMILIES, MEASURING_GUIDE
from propmatch_plugins.prediction.predicted import Prediction

__all__ = ["describe"]

_READING = (
    "one reading at rest typed behind the size ('9800rpm 62W' by wattmeter and tachometer, '9800rpm 310gf' by scale)"
)
_SIBLING = "another of the same make with its reading (sibling='8x5 9000rpm 60W')"
_CALLIPERS = "chord and angle at 75 % of the radius (chord=14mm angle=17deg)"
_NEXT_STEP = {
    "label": f"Narrower with: {_READING}, {_SIBLING}, or {_CALLIPERS}.",
    "chord and angle": f"Narrower with: {_READING}, or {_SIBLING}.",
}
"""By tier; for the others a reading at rest."""

_NAMES = {
    "ct0": "static thrust",
    "cp0": "static power (and, nearly, current at a given rpm)",
    "ct_to_0.4": "thrust up to 0.4 of zero-thrust speed",
    "ct_0.4_to_0.8": "thrust from 0.4 to 0.8 of zero-thrust speed",
    "cp_to_0.4": "power up to 0.4 of zero-thrust speed",
    "cp_0.4_to_0.8": "power from 0.4 to 0.8 of zero-thrust speed",
    "zero_thrust_j": "zero-thrust speed",
    "peak_efficiency": "best efficiency",
    "thrust_at_power": "static thrust at given shaft power",
}


def _likeliest(prediction: Prediction) -> list[tuple[str, float]]:
    return sorted(prediction.family_chances.items(), key=lambda each: -each[1])


def describe(prediction: Prediction) -> list[str]:
    """Sentences: what it is, the main numbers, the intervals, remarks, assumptions, what would narrow it."""
    p = prediction
    middle = p.table.rpm.size // 2
    blades = f"{p.blades} blade{'s' if p.blades != 1 else ''}"
    likely = ", ".join(f"{name} {100 * chance:.0f} %" for name, chance in _likeliest(p) if chance >= 0.005)
    family = f"{p.family}: {FAMILIES[p.family]}." if p.family else f"family unknown, by {p.told_by} {likely}."
    out = [
        f"Predicted propeller {p.diameter_in:.3g} x {p.pitch_in:.3g} in, {blades}, {family}",
        f"Rests on: {p.tier}.",
        f"At {p.table.rpm[middle]:.0f} rpm: static thrust coefficient {p.ct0[middle]:.3f}, static power coefficient "
        f"{p.cp0[middle]:.4f}, zero thrust at advance ratio {p.zero_thrust_j[middle]:.2f}, best efficiency "
        f"{p.peak_efficiency[middle]:.2f}.",
        "In 8 cases out of 10 the truth lies within:",
    ]
    for quantity, (low, high) in p.intervals.items():
        out.append(f"  {_NAMES[quantity]}: {100 * low:+.0f} % to {100 * high:+.0f} % of the prediction")
    out += list(p.remarks)
    out += [f"Assumed: {assumption.text}." for assumption in p.assumptions]
    if "static point" not in p.tier:
        out.append(_NEXT_STEP.get(p.tier, f"Narrower with: {_READING}."))
    if p.family is None:
        out.append("Which family it is, three questions tell: 'propmatch parts --which-family SIZE'.")
    if p.tier == "label":
        out.append(f"How to measure chord and angle: {MEASURING_GUIDE}")
    out.append("An estimate: test on the bench with a wattmeter, stand behind the disc, before you fly.")
    return out
