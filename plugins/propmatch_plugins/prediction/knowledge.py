"""All that was fitted, in one object: uncorrected base, a correction for each kind of knowledge, intervals."""

from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from propmatch.files import write_file
from propmatch_plugins.prediction.base import OUTPUTS, Base
from propmatch_plugins.prediction.bemt import SectionPolar
from propmatch_plugins.prediction.coefficients import FittedTable, read_table
from propmatch_plugins.prediction.correction import TERMS, Correction

__all__ = [
    "BASIS",
    "QUANTITIES",
    "TIERS",
    "Calibration",
    "Knowledge",
    "bundled_knowledge",
    "quantity_matrix",
    "quantity_spread",
]

FloatArray = NDArray[np.float64]

TIERS = ("label", "chord and angle", "geometry", "siblings")
"""What is known: the label; two numbers at 75 % radius; the whole blade; measured propellers of the same line."""

BASIS = {"label": "label", "siblings": "label", "chord and angle": "chord_angle", "geometry": "geometry"}
"""The correction that serves each tier."""

QUANTITIES = (
    "ct0",
    "cp0",
    "ct_to_0.4",
    "ct_0.4_to_0.8",
    "cp_to_0.4",
    "cp_0.4_to_0.8",
    "zero_thrust_j",
    "peak_efficiency",
    "thrust_at_power",
)
"""Quantities with an interval; ``ct_to_0.4`` means CT over advance ratios up to 0.4 of zero thrust."""

_POLAR = ("slope", "zero_lift_rad", "cl_max", "drag", "drag_exponent", "induced", "slope_exponent")
_EFFECTS = ("line", "slope", "near", "model", "speed")


def quantity_matrix() -> FloatArray:
    """How ln of each quantity follows the seven outputs, (Q, K), at the mean curve shape.

    CT/CT0 = (1 - x)(1 + 0.75 x - 0.31 x^2), CP/CP0 = 0.99 + 0.22 x - 0.69 x^2 - 0.24 x^3: a factor on zero-thrust J
    moves ln CT by -d ln CT/d ln x, at x = 0.2, 0.6, and 0.8 for the peak efficiency.
    """

    def weights(x: float) -> tuple[float, float]:
        return x * (0.8 - x) / 0.16, x * (x - 0.4) / 0.32

    def thrust(x: float) -> float:
        return x / (1 - x) - x * (0.75 - 0.62 * x) / (1 + 0.75 * x - 0.31 * x * x)

    def power(x: float) -> float:
        return -x * (0.22 - 1.38 * x - 0.72 * x * x) / (0.99 + 0.22 * x - 0.69 * x * x - 0.24 * x**3)

    rows: list[list[float]] = [[1, 0, 0, 0, 0, 0, 0], [0, 1, 0, 0, 0, 0, 0]]
    rows += [[1, 0, thrust(x), *weights(x), 0, 0] for x in (0.2, 0.6)]
    rows += [[0, 1, power(x), 0, 0, *weights(x)] for x in (0.2, 0.6)]
    rows += [[0, 0, 1, 0, 0, 0, 0], [1, -1, 1, 0, 1, 0, -1], [1, -2 / 3, 0, 0, 0, 0, 0]]
    return np.array(rows, dtype=np.float64)


def quantity_spread(covariance: FloatArray) -> FloatArray:
    """Standard deviation (Q,) of ln of each quantity from the covariance (K, K) of the outputs."""
    matrix = quantity_matrix()
    return np.asarray(np.sqrt(np.einsum("qi,ij,qj->q", matrix, covariance, matrix)))


@dataclass(frozen=True)
class Calibration:
    """For one tier: ``q80`` (Q,) multiples of the standard deviation that cover 80 %; ``correlation`` (K, K)."""

    q80: FloatArray
    correlation: FloatArray


@dataclass(frozen=True)
class Knowledge:
    """Everything ``predict`` rests on; ``bundled_knowledge`` is the one that ships."""

    base: Base
    corrections: dict[str, Correction]
    calibrations: dict[str, Calibration]
    regression: FittedTable

    def tables(self) -> dict[str, str]:
        """File name to text, as they ship."""
        out = {
            "polar.csv": FittedTable(_POLAR, ["value"], [[getattr(self.base.polar, name)] for name in _POLAR]).dump(
                "parameter"
            ),
            "shapes.csv": self.base.shapes.dump("r_over_R"),
            "families.csv": self.base.families.dump("family"),
            "regression.csv": self.regression.dump("term"),
        }
        for name, c in self.corrections.items():
            effects = np.stack([getattr(c, effect) for effect in _EFFECTS], axis=1)
            out[f"correction_{name}.csv"] = FittedTable(
                OUTPUTS, [*TERMS, *_EFFECTS], np.concatenate([c.mean, effects], axis=1)
            ).dump("output")
            rows = [f"{output}|{term}" for output in OUTPUTS for term in TERMS]
            out[f"covariance_{name}.csv"] = FittedTable(rows, TERMS, c.covariance.reshape(-1, len(TERMS))).dump(
                "output|term"
            )
        tiers = list(self.calibrations)
        out["q80.csv"] = FittedTable(tiers, QUANTITIES, [self.calibrations[t].q80 for t in tiers]).dump("tier")
        out["correlation.csv"] = FittedTable(
            [f"{tier}|{output}" for tier in tiers for output in OUTPUTS],
            OUTPUTS,
            np.concatenate([self.calibrations[t].correlation for t in tiers]),
        ).dump("tier|output")
        return out

    def save(self, folder: Path) -> None:
        """Write the tables."""
        folder.mkdir(parents=True, exist_ok=True)
        for name, text in self.tables().items():
            write_file(folder / name, text)


@cache
def bundled_knowledge() -> Knowledge:
    """The knowledge that ships in ``propmatch_datasets.prediction``, read once."""
    polar = dict(zip(read_table("polar").rows, read_table("polar").column("value").tolist(), strict=True))
    corrections = {}
    for name in dict.fromkeys(BASIS.values()):
        table, covariance = read_table(f"correction_{name}"), read_table(f"covariance_{name}")
        corrections[name] = Correction(
            table.values[:, : len(TERMS)],
            covariance.values.reshape(len(OUTPUTS), len(TERMS), len(TERMS)),
            *(table.column(effect) for effect in _EFFECTS),
        )
    q80, correlation = read_table("q80"), read_table("correlation")
    size = len(OUTPUTS)
    return Knowledge(
        base=Base(SectionPolar(**polar), read_table("shapes"), read_table("families")),
        corrections=corrections,
        calibrations={
            tier: Calibration(q80.values[k], correlation.values[size * k : size * (k + 1)])
            for k, tier in enumerate(q80.rows)
        },
        regression=read_table("regression"),
    )
