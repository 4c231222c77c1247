"""Cross-check and fallback: twelve coefficients for each of ln CT0, ln CP0 and ln J0, and a curve shape.

ln CT0, ln CP0, ln J0 = family + c1 u + c2 u^2 + c3 l + c4 u l + c5 l^2 + c6 d + c7 b (ridge regression), then
with x = J/J0: CT/CT0 = (1 - x)(a0 + a1 x + a2 x^2), CP/CP0 = b0 + b1 x + b2 x^2 + b3 x^3.
Fitted to the UIUC Propeller Database, volumes 1-4; valid for p/D 0.32 to 1.11, D 4 to 11 in, 2 to 4 blades.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from propmatch.units import INCH_M
from propmatch_plugins.prediction.coefficients import FittedTable, read_table
from propmatch_plugins.prediction.families import FAMILIES, Label, label_terms, reynolds_number

__all__ = ["RegressionCurves", "regression_curves"]

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class RegressionCurves:
    """Coefficients of one label: ``ct``, ``cp`` (R, J); ``ct0``, ``cp0``, ``zero_thrust_j`` (R,)."""

    ct: FloatArray
    cp: FloatArray
    ct0: FloatArray
    cp0: FloatArray
    zero_thrust_j: FloatArray


def regression_curves(
    diameter_in: float,
    pitch_in: float,
    *,
    blades: int = 2,
    family: str | None = None,
    rpm: ArrayLike,
    advance_ratio: ArrayLike,
    fitted: FittedTable | None = None,
) -> RegressionCurves:
    """CT and CP of a label over ``rpm`` (R,) and ``advance_ratio`` (J,), shape (R, J).

    ``family`` None takes the mean of the families' logarithms. Raises ValueError for an unknown family.
    """
    rpm = np.atleast_1d(np.asarray(rpm, dtype=np.float64))
    j = np.atleast_1d(np.asarray(advance_ratio, dtype=np.float64))
    table = read_table("regression") if fitted is None else fitted
    names = list(FAMILIES) if family is None else [family]
    curves = []
    for name in names:
        label = Label(diameter_in, pitch_in, blades, name)
        columns = label_terms(table.rows, label, reynolds_number(diameter_in * INCH_M, rpm))
        curves.append(columns @ table.values)
    value = dict(zip(table.columns, np.mean(curves, axis=0).T, strict=True))
    ct0, cp0, j0 = np.exp(value["ln_ct0"]), np.exp(value["ln_cp0"]), np.exp(value["ln_j0"])
    x = j / j0[:, None]
    a0, a1, a2 = (value[key][:, None] for key in ("a0", "a1", "a2"))
    b0, b1, b2, b3 = (value[key][:, None] for key in ("b0", "b1", "b2", "b3"))
    return RegressionCurves(
        ct=ct0[:, None] * (1.0 - x) * (a0 + x * (a1 + x * a2)),
        cp=cp0[:, None] * (b0 + x * (b1 + x * (b2 + x * b3))),
        ct0=ct0,
        cp0=cp0,
        zero_thrust_j=j0,
    )
