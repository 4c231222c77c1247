"""Blade families by what a builder can see, and the variables that describe a label."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["FAMILIES", "MEASURING_GUIDE", "Label", "family_weights", "label_terms", "reynolds_number"]

FloatArray = NDArray[np.float64]

FAMILIES: dict[str, str] = {
    "thin": "Stiff and slender: hold it edge on and the blade is a thin, sharp-edged sheet; widest near the "
    "middle of the blade, then tapering almost straight to a narrow tip. Twist follows a true screw.",
    "thick": "Rounded and general purpose: a visibly thick section with a blunt nose, nearly the same width "
    "from a quarter to three quarters of the radius, rounded tip. Hard to bend by hand.",
    "broad": "Wide and flexible, for slow flight: the blade is broadest near the middle (about a fifth of "
    "the radius wide), thin enough to bend between two fingers, and little twisted near the hub.",
    "folding": "Blades hinged on a separate hub so that they fold back along the body when the motor stops.",
    "wide": "Small and very wide: paddle-like blades, more than a fifth of the radius wide from root to "
    "beyond the middle, usually below 6 inches and driven without a gear.",
}
"""Family name to a description a builder can check by looking at the propeller."""

MEASURING_GUIDE = (
    "Mark three quarters of the radius on one blade: measure from the centre of the hole, 0.75 x half the "
    "diameter (for a 9 in propeller 85.7 mm). Chord: close the callipers on the leading and trailing edge "
    "at the mark, square to the blade's length, and divide the reading by the radius in the same unit "
    "(typical 0.10 to 0.25). Angle: lay the propeller flat, hub face down on a table, so that the shaft "
    "stands upright; hold a straight strip (a steel rule) against the flat back of the blade at the "
    "mark, in line with the chord; read the angle between the strip and the table with a protractor "
    "(typical 8 to 25 degrees). Measure both blades and take the mean; two degrees of error cost about "
    "ten percent of the power."
)
"""How to measure chord and angle at 75 % radius with callipers and a protractor."""

REFERENCE_PITCH_RATIO = 0.65
REFERENCE_REYNOLDS = 0.35e6
REFERENCE_DIAMETER_IN = 9.0


def reynolds_number(
    diameter_m: FloatArray | float,
    rpm: FloatArray | float,
    *,
    density_kg_m3: float = 1.225,
    viscosity_pa_s: float = 1.789e-5,
) -> FloatArray:
    """Disk Reynolds number Re_D = rho Omega R^2 / mu [1]; ``diameter_m`` and ``rpm`` broadcast."""
    omega = np.asarray(rpm, dtype=np.float64) * (2.0 * np.pi / 60.0)
    radius = 0.5 * np.asarray(diameter_m, dtype=np.float64)
    return np.asarray(density_kg_m3 * omega * radius**2 / viscosity_pa_s, dtype=np.float64)


def family_weights(family: str | None) -> FloatArray:
    """Weights over ``FAMILIES``: one for a known family, all equal when it is not known."""
    if family is None:
        return np.full(len(FAMILIES), 1.0 / len(FAMILIES))
    if family not in FAMILIES:
        raise ValueError(f"no propeller family {family!r}; the families are {', '.join(FAMILIES)}")
    return np.array([float(name == family) for name in FAMILIES])


_RANGE = {"u": (-0.85, 0.65), "l": (-2.3, 1.3), "d": (-1.3, 0.85), "b": (0.0, 0.7)}
"""Where the measured propellers are: outside, a correction holds its value at the edge."""


@dataclass(frozen=True)
class Label:
    """What is printed on a propeller and what anyone can see; family None: not known."""

    diameter_in: float
    pitch_in: float
    blades: int
    family: str | None

    @property
    def size(self) -> tuple[float, float]:
        """u = ln((p/D)/0.65) and d = ln(D/9 in)."""
        ratio = self.pitch_in / self.diameter_in / REFERENCE_PITCH_RATIO
        return float(np.log(ratio)), float(np.log(self.diameter_in / REFERENCE_DIAMETER_IN))


def label_terms(terms: Sequence[str], label: Label, reynolds: FloatArray, *, held: bool = True) -> FloatArray:
    """Columns of a regression on the label, shape ``reynolds.shape + (len(terms),)``.

    u = ln((p/D)/0.65), l = ln(Re_D/0.35e6), d = ln(D/9 in), b = ln(B/2); a term is a family name (indicator),
    a product such as ``ul`` or ``uu``, or ``FAMILY:u``. ``held`` keeps each symbol within the measured range.
    """
    weights = dict(zip(FAMILIES, family_weights(label.family), strict=True))
    reynolds = np.asarray(reynolds, dtype=np.float64)
    u, d = label.size
    symbols: dict[str, FloatArray | float] = {
        "u": u,
        "l": np.log(reynolds / REFERENCE_REYNOLDS),
        "d": d,
        "b": float(np.log(label.blades / 2.0)),
    }
    if held:
        symbols = {name: np.clip(value, *_RANGE[name]) for name, value in symbols.items()}
    columns = np.ones((*reynolds.shape, len(terms)))
    for index, term in enumerate(terms):
        name, _, product = term.partition(":")
        if name in weights:
            columns[..., index] = weights[name]
        else:
            product = name
        for symbol in product:
            columns[..., index] *= symbols[symbol]
    return columns
