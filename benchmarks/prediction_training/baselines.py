"""What any prediction must beat: a textbook blade element, and the nearest measured propeller."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from prediction_training.accuracy import measured_sibling
from prediction_training.measured import MeasuredPropeller
from propmatch.models.tables import CoefficientTable
from propmatch.units import INCH_M
from propmatch_plugins.prediction.arguments import default_rpm
from propmatch_plugins.prediction.bemt import SectionPolar, solve_blade
from propmatch_plugins.prediction.curves import table_zero_thrust_j
from propmatch_plugins.prediction.families import reynolds_number
from propmatch_plugins.prediction.shapes import RADIUS, WEIGHT

__all__ = ["Baseline", "nearest_propeller", "textbook_blade_element"]

FloatArray = NDArray[np.float64]

_SECTION = SectionPolar(
    slope=5.7, zero_lift_rad=math.radians(-3.5), cl_max=1.6, drag=0.02, drag_exponent=0.0, induced=0.01,
    slope_exponent=0.0,
)  # fmt: skip
"""A cambered section of textbooks: 5.7 a radian, -3.5 degrees, 1.6, 0.02; no Reynolds number."""
_CHORD = 0.16 * np.sqrt(np.clip(1.0 - ((RADIUS - 0.45) / 0.56) ** 2, 0.05, 1.0))
"""c/R of the same blade for all: an ellipse, widest at 45 % of the radius."""
_STEP_U, _STEP_D, _OTHER_BLADES, _OTHER_FAMILY, _OTHER_LINE = 0.15, 0.3, 4.0, 2.0, 1.0


@dataclass(frozen=True)
class Baseline:
    """A table with what is compared of it, (R,)."""

    table: CoefficientTable
    zero_thrust_j: FloatArray
    peak_efficiency: FloatArray

    @classmethod
    def of(cls, table: CoefficientTable) -> "Baseline":
        """From the table alone."""
        zero = [table_zero_thrust_j(table.advance_ratio, row) for row in table.ct]
        with np.errstate(divide="ignore", invalid="ignore"):
            eta = np.where(table.cp > 0, table.advance_ratio * table.ct / table.cp, -np.inf)
        return cls(table, np.array(zero), np.max(eta, axis=1))


def textbook_blade_element(p: MeasuredPropeller) -> Baseline:
    """A true screw of the label's pitch with one blade outline and one section for all propellers."""
    rpm = default_rpm(p.diameter_in)
    ratio = p.pitch_in / p.diameter_in
    j = np.linspace(0.0, 1.8 * ratio + 0.3, 40)
    curves = solve_blade(
        _SECTION,
        radius=RADIUS,
        weight=WEIGHT,
        chord=_CHORD,
        angle_rad=np.arctan(ratio / (math.pi * RADIUS)),
        blades=p.blades,
        advance_ratio=j[None, :, None],
        disk_reynolds=reynolds_number(p.diameter_in * INCH_M, rpm)[:, None, None],
    )
    return Baseline.of(CoefficientTable(rpm=rpm, advance_ratio=j, ct=curves.ct, cp=curves.cp))


def nearest_propeller(p: MeasuredPropeller, others: Sequence[MeasuredPropeller]) -> Baseline | None:
    """The table of the propeller most like it in p/D, diameter, blades, family and line."""
    u, d = p.printed.size

    def away(q: MeasuredPropeller) -> float:
        other_u, other_d = q.printed.size
        return (
            ((u - other_u) / _STEP_U) ** 2
            + ((d - other_d) / _STEP_D) ** 2
            + _OTHER_BLADES * (p.blades != q.blades)
            + _OTHER_FAMILY * (p.family != q.family)
            + _OTHER_LINE * (p.line != q.line)
        )

    for q in sorted(others, key=away):
        sibling = measured_sibling(q)
        if sibling is not None and sibling.table is not None:
            return Baseline.of(sibling.table)
    return None
