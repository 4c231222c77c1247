"""Blade families by what a builder can see, and the variables that describe a label."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from propmatch.records.blades import FAMILIES
from propmatch_plugins.prediction.coefficients import FittedTable

__all__ = [
    "FAMILIES",
    "UNKNOWN",
    "Label",
    "family_chances",
    "family_weights",
    "label_terms",
    "reynolds_number",
]

FloatArray = NDArray[np.float64]

UNKNOWN = "unknown"
"""A family that nobody named, as a user writes it."""

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


def family_chances(families: FittedTable, diameter_in: float, pitch_in: float, blades: int) -> dict[str, float]:
    """Probability of each family given size, pitch and blades; they sum to 1.

    Number of lines times normal densities of d = ln(D/9 in) and u = ln((p/D)/0.65) over a family's lines, times the
    share of its lines with two, three or more blades. ``racing`` is in no open data: its numbers are common practice.
    """
    u, d = Label(diameter_in, pitch_in, blades, None).size
    number = {name: families.column(name) for name in families.columns}
    log = -0.5 * ((d - number["d_mean"]) / number["d_sd"]) ** 2 - np.log(number["d_sd"])
    log = log - 0.5 * ((u - number["u_mean"]) / number["u_sd"]) ** 2 - np.log(number["u_sd"])
    share = number["two_blades" if blades <= 2 else "three_blades" if blades == 3 else "more_blades"]
    chance = number["lines"] * share * np.exp(log - np.max(log))
    return dict(zip(families.rows, (chance / np.sum(chance)).tolist(), strict=True))


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

    @property
    def more_blades(self) -> float:
        """b = ln(B/2)."""
        return float(np.log(self.blades / 2.0))


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
        "b": label.more_blades,
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
