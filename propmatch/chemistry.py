"""Cell chemistries: the open-circuit voltage of a cell over its charge.

The ``lipo`` curve is the open-circuit voltage of a LiCoO2/graphite pouch cell, 4.20 V full: parameter set "Ai2020" of
the PyBaMM library (W. Ai, L. Kraft, J. Sturm, A. Jossen, B. Wu, J. Electrochem. Soc. 167 (2020) 013512). ``lihv`` (the
same shape raised to 4.35 V) and ``liion`` are assumed, no published source.
"""

from typing import Any

import attrs
import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["CHEMISTRIES", "Chemistry"]

Floats = NDArray[np.float64]


def _row(value: ArrayLike) -> Floats:
    array = np.array(value, dtype=np.float64)
    array.setflags(write=False)
    return array


@attrs.frozen(kw_only=True, eq=False)
class Chemistry:
    """A cell's open-circuit voltage, linear between nodes.

    Attributes
    ----------
    name : str
    charge : (N,) rising from 0 to 1
    ocv_v : (N,) [V], rising
    nominal_v : float [V] per cell
    source : str
    """

    name: str
    charge: Floats = attrs.field(converter=_row)
    ocv_v: Floats = attrs.field(converter=_row)
    nominal_v: float
    source: str

    def __attrs_post_init__(self) -> None:
        q, v = self.charge, self.ocv_v
        sound = (
            q.ndim == 1
            and q.size >= 2
            and q.shape == v.shape
            and bool(np.all(np.isfinite(q) & np.isfinite(v)))
            and q[0] == 0.0
            and q[-1] == 1.0
            and bool(np.all(np.diff(q) > 0) and np.all(np.diff(v) > 0))
        )
        if not sound:
            raise ValueError(f"chemistry {self.name!r}: charge must rise from 0 to 1 and ocv_v rise with it, finite")

    def cell_ocv_v(self, charge: Any) -> Any:
        """Open-circuit voltage of one cell [V] at a charge 0..1; NaN outside."""
        q = np.asarray(charge, dtype=np.float64)
        return np.where((q >= 0) & (q <= 1), np.interp(q, self.charge, self.ocv_v), np.nan)


_LIPO_Q = [0.0, 0.05, 0.10, 0.20, 0.30, 0.40, 0.50, 0.60, 0.70, 0.80, 0.90, 0.95, 1.0]
_LIPO_V = [3.0, 3.5421, 3.6396, 3.6954, 3.7331, 3.7622, 3.7925, 3.8365, 3.9089, 3.9945, 4.0879, 4.1384, 4.2]

CHEMISTRIES: dict[str, Chemistry] = {
    chemistry.name: chemistry
    for chemistry in (
        Chemistry(
            name="lipo",
            charge=_LIPO_Q,
            ocv_v=_LIPO_V,
            nominal_v=3.7,
            source="LiCoO2 pouch cell, Ai et al. 2020 as in the PyBaMM library",
        ),
        Chemistry(
            name="lihv",
            charge=_LIPO_Q,
            ocv_v=[3.0 + (v - 3.0) * 1.35 / 1.2 for v in _LIPO_V],
            nominal_v=3.8,
            source="assumed: the lipo shape stretched to 4.35 V, no published source",
        ),
        Chemistry(
            name="liion",
            charge=[0.0, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0],
            ocv_v=[2.7, 3.05, 3.2, 3.38, 3.5, 3.58, 3.66, 3.75, 3.85, 3.95, 4.05, 4.18],
            nominal_v=3.6,
            source="assumed: a cylindrical energy cell, no published source",
        ),
    )
}
"""The built-in chemistries; plugins may add more through the catalogue."""
