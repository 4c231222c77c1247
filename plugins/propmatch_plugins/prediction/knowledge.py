"""All that was fitted, in one object: uncorrected base, a correction for each kind of knowledge, intervals."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from propmatch.files import write_files
from propmatch_plugins.prediction.base import OUTPUTS, Base
from propmatch_plugins.prediction.bemt import SectionPolar
from propmatch_plugins.prediction.coefficients import FittedTable, read_table
from propmatch_plugins.prediction.correction import Correction, LinePrior
from propmatch_plugins.prediction.families import Label

__all__ = [
    "BASIS",
    "JOINT",
    "QUANTITIES",
    "STATIC_POINT",
    "TIERS",
    "WINDMILLING",
    "Calibration",
    "Knowledge",
    "bundled_knowledge",
    "curve_spread",
    "growing",
    "kept_knowledge",
    "quantity_matrix",
    "quantity_spread",
]

FloatArray = NDArray[np.float64]

TIERS = ("label", "chord and angle", "geometry", "siblings", "line", "sibling reading")
"""What is known: the label; two numbers at 75 % radius; the whole blade; measured propellers of the same line; which
line of the open data it is; what was read at rest of others of its line."""

STATIC_POINT = " + static point"
"""Behind a tier where the propeller itself was read at rest."""

BASIS = {"label": "label", "siblings": "label", "chord and angle": "chord_angle", "geometry": "geometry",
         "line": "label", "sibling reading": "label"}  # fmt: skip
"""The correction that serves each tier."""

SHIPPED_IN = "propmatch_datasets.prediction"

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

WINDMILLING = ("windmilling_ct", "windmilling_cp")
"""CT and CP at ``WINDMILLING_AT`` of zero-thrust J, whose intervals are shares of the static value."""
WINDMILLING_AT = 1.1
JOINT = ("band_ct", "band_cp")
"""CT and CP over the whole of 0 to ``WINDMILLING_AT`` of zero-thrust J at once."""

GROWTH = ("slow", "steep", "small", "blades", "soft")
"""What an interval grows with: ln of 1e5/Re_D, of (p/D)/0.8, of 6.5 in/D, each where above 0, ln(B/2), and the chance
that the family is one of ``SOFT``."""
SOFT = ("broad", "wide")
"""Families whose blades bend and differ from specimen to specimen."""

_POLAR = ("slope", "zero_lift_rad", "cl_max", "drag", "drag_exponent", "induced", "slope_exponent", "most_reynolds",
          "beyond")  # fmt: skip
_EFFECTS = ("line", "slope", "near", "model", "speed", "solidity", "trend")
_DOUBTS = ("doubt_ct0", "doubt_cp0", "doubt_j0")


def growing(label: Label, chances: Mapping[str, float], reynolds: FloatArray) -> FloatArray:
    """The numbers of ``GROWTH``, (R, G), at disk Reynolds numbers (R,)."""
    re = np.atleast_1d(np.asarray(reynolds, dtype=np.float64))
    ratio = label.pitch_in / label.diameter_in
    soft = sum(chances.get(family, 0.0) for family in SOFT)
    rest = [*np.log([ratio / 0.8, 6.5 / label.diameter_in, label.blades / 2.0]), soft]
    columns = np.column_stack([np.log(1e5 / re), np.tile(rest, (re.size, 1))])
    return np.asarray(np.maximum(columns, 0.0))


def _thrust(x: FloatArray) -> tuple[FloatArray, FloatArray]:
    """CT/CT0 of the mean curve and minus its slope times x."""
    cubic = 1 + 0.75 * x - 0.31 * x * x
    return (1 - x) * cubic, x * cubic - x * (1 - x) * (0.75 - 0.62 * x)


def _power(x: FloatArray) -> tuple[FloatArray, FloatArray]:
    """CP/CP0 of the mean curve and minus its slope times x."""
    return 0.99 + 0.22 * x - 0.69 * x * x - 0.24 * x**3, -x * (0.22 - 1.38 * x - 0.72 * x * x)


def curve_spread(covariance: FloatArray, x: FloatArray) -> FloatArray:
    """Standard deviation of CT/CT0 and CP/CP0 (X, 2) at x = J/J0, by the mean curves of ``quantity_matrix``."""
    at = np.minimum(x, 1.0)
    four, eight = at * (0.8 - at) / 0.16, at * (at - 0.4) / 0.32
    rows = np.zeros((x.size, 2, covariance.shape[0]))
    for k, (curve, column) in enumerate(((_thrust, 3), (_power, 5))):
        value, moved = curve(x)
        rows[:, k, k], rows[:, k, 2] = value, moved
        rows[:, k, column], rows[:, k, column + 1] = value * four, value * eight
    return np.asarray(np.sqrt(np.einsum("xki,ij,xkj->xk", rows, covariance, rows)))


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
    """For one tier: ``q80`` multiples of the standard deviation that cover 80 %; ``correlation`` (K, K) of outputs.

    ``q80`` has the columns QUANTITIES, WINDMILLING and JOINT; ``growth`` (Q, G) its logarithms' slopes in ``GROWTH``.
    """

    q80: FloatArray
    correlation: FloatArray
    growth: FloatArray

    def wider(self, growing: FloatArray) -> FloatArray:
        """Multiples of the standard deviation (R, Q) where ``growing`` (R, G) says how far from the ordinary."""
        return np.asarray(self.q80 * np.exp(growing @ self.growth.T))


@dataclass(frozen=True)
class Knowledge:
    """Everything ``predict`` rests on; ``bundled_knowledge`` is the one that ships.

    ``blend``: tiers with a blade shape to the share (3,) of CT, CP, J0 that the label alone keeps; ``lines``: the
    lines of the open data, by number within their family.
    """

    base: Base
    corrections: dict[str, Correction]
    calibrations: dict[str, Calibration]
    regression: FittedTable
    blend: FittedTable | None = None
    lines: FittedTable | None = None

    def label_share(self, tier: str) -> FloatArray:
        """Share (3,) of CT, CP and J0 that the label keeps beside a blade shape."""
        known = self.blend is not None and tier in self.blend.rows
        return self.blend.values[self.blend.rows.index(tier)] if known else np.zeros(3)  # type: ignore[union-attr]

    def doubt(self, family: str) -> FloatArray:
        """Standard deviations (K,) of a family that nobody measured, beside those of any line."""
        numbers = self.base.families.row(family)
        out = np.zeros(len(OUTPUTS))
        out[: len(_DOUBTS)] = [numbers.get(name, 0.0) for name in _DOUBTS]
        return out

    def line_prior(self, line: str) -> LinePrior:
        """Offsets of a line of the open data."""
        assert self.lines is not None
        row = self.lines.row(line)
        mean, sd = ([row[f"{output}{end}"] for output in OUTPUTS] for end in ("", "_sd"))
        return LinePrior(np.array(mean), np.array(sd) ** 2)

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
                OUTPUTS, [*c.terms, *_EFFECTS], np.concatenate([c.mean, effects], axis=1)
            ).dump("output")
            rows = [f"{output}|{term}" for output in OUTPUTS for term in c.terms]
            out[f"covariance_{name}.csv"] = FittedTable(rows, c.terms, c.covariance.reshape(-1, len(c.terms))).dump(
                "output|term"
            )
        tiers = list(self.calibrations)
        judged = (*QUANTITIES, *WINDMILLING, *JOINT)
        out["q80.csv"] = FittedTable(tiers, judged, [self.calibrations[t].q80 for t in tiers]).dump("tier")
        out["growth.csv"] = FittedTable(
            [f"{tier}|{name}" for tier in tiers for name in judged],
            GROWTH,
            np.concatenate([self.calibrations[t].growth for t in tiers]),
        ).dump("tier|quantity")
        if self.blend is not None:
            out["blend.csv"] = self.blend.dump("tier")
        if self.lines is not None:
            out["effects.csv"] = self.lines.dump("line")
        out["correlation.csv"] = FittedTable(
            [f"{tier}|{output}" for tier in tiers for output in OUTPUTS],
            OUTPUTS,
            np.concatenate([self.calibrations[t].correlation for t in tiers]),
        ).dump("tier|output")
        return out

    def save(self, folder: Path) -> None:
        """Write the tables."""
        folder.mkdir(parents=True, exist_ok=True)
        write_files([(folder / name, text) for name, text in self.tables().items()], force=True)


def _read(package: str) -> tuple[Base, Correction, FittedTable]:
    """Base, label correction and regression of a package of tables."""
    table = read_table("polar", package)
    polar = dict(zip(table.rows, table.column("value").tolist(), strict=True))
    base = Base(SectionPolar(**polar), read_table("shapes", package), read_table("families", package))
    return base, _correction("label", package), read_table("regression", package)


def _correction(name: str, package: str) -> Correction:
    table, covariance = read_table(f"correction_{name}", package), read_table(f"covariance_{name}", package)
    terms = covariance.columns
    effects = {
        effect: table.column(effect) if effect in table.columns else np.zeros(len(OUTPUTS)) for effect in _EFFECTS
    }
    size = len(terms)
    return Correction(
        mean=table.values[:, :size],
        covariance=covariance.values.reshape(len(OUTPUTS), size, size),
        terms=terms,
        **effects,
    )


@cache
def bundled_knowledge() -> Knowledge:
    """The knowledge that ships in ``propmatch_datasets.prediction``, read once."""
    base, label, regression = _read(SHIPPED_IN)
    rest = [name for name in dict.fromkeys(BASIS.values()) if name != "label"]
    q80, correlation, growth = read_table("q80"), read_table("correlation"), read_table("growth")
    size, judged = len(OUTPUTS), len(q80.columns)
    return Knowledge(
        base=base,
        corrections={"label": label} | {name: _correction(name, SHIPPED_IN) for name in rest},
        calibrations={
            tier: Calibration(
                q80.values[k],
                correlation.values[size * k : size * (k + 1)],
                growth.values[judged * k : judged * (k + 1)],
            )
            for k, tier in enumerate(q80.rows)
        },
        regression=regression,
        blend=read_table("blend"),
        lines=read_table("effects"),
    )


def kept_knowledge(package: str) -> Knowledge:
    """The label's knowledge of a package of tables that are kept as they once were."""
    base, label, regression = _read(package)
    q80, correlation = read_table("q80", package), read_table("correlation", package)
    judged = len(QUANTITIES) + len(WINDMILLING) + len(JOINT)
    known = np.concatenate([q80.values[0], np.ones(judged - len(q80.columns))])
    calibration = Calibration(known, correlation.values, np.zeros((judged, len(GROWTH))))
    return Knowledge(base, {"label": label}, {"label": calibration}, regression)
