"""The pack: open-circuit voltage over charge, and the resistance that makes it sag.

E = S ocv(charge); R_b = S/P r_cell factor(charge) + leads; terminal voltage
V_t = E - R_b I_pack.

The rise of resistance at low charge has the shape of the series resistance of M. Chen and G. A. Rincon-Mora, IEEE
Trans. Energy Conversion 21 (2006) 504-511, Rs(s)/Rs(1); the level is the pack's own.
"""

from typing import Any

import attrs
import numpy as np
from numpy.typing import ArrayLike

from propmatch.models.arrays import Floats, Number

__all__ = ["CHEMISTRIES", "Chemistry", "pack_resistance_ohm", "resistance_factor", "temperature_factor"]


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
    source : str
    """

    name: str
    charge: Floats = attrs.field(converter=_row)
    ocv_v: Floats = attrs.field(converter=_row)
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

    def cell_ocv_v(self, charge: Number) -> Any:
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
            source="LiCoO2 pouch cell, Ai et al. 2020 as in the PyBaMM library",
        ),
        Chemistry(
            name="lihv",
            charge=_LIPO_Q,
            ocv_v=[3.0 + (v - 3.0) * 1.35 / 1.2 for v in _LIPO_V],
            source="assumed: the lipo shape stretched to 4.35 V, no published source",
        ),
        Chemistry(
            name="liion",
            charge=[0.0, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0],
            ocv_v=[2.7, 3.05, 3.2, 3.38, 3.5, 3.58, 3.66, 3.75, 3.85, 3.95, 4.05, 4.18],
            source="assumed: a cylindrical energy cell, no published source",
        ),
    )
}
"""The built-in chemistries; plugins may add more through the catalogue."""


def resistance_factor(charge: Number) -> Number:
    """Cell resistance at a charge over that at full charge, (0.1562 exp(-24.37 s) + 0.07446)/(the same at 1) [-].

    1 at full charge, 1.016 at 0.2, 1.18 at 0.1, 3.1 at 0. Shape of Chen and Rincon-Mora (2006).
    """
    s: Floats = np.asarray(charge, dtype=np.float64)
    factor: Floats = (0.1562 * np.exp(-24.37 * s) + 0.07446) / (0.1562 * np.exp(-24.37) + 0.07446)
    return factor


def temperature_factor(temperature_c: Number) -> Number:
    """Cell resistance over that at 25 degC: exp(0.025 (25 - T)) [-], -20 to 60 degC.

    Assumed: doubles about every 28 K of cooling; common experience with lithium cells, no published source.
    """
    t = np.asarray(temperature_c, dtype=np.float64)
    return np.exp(0.025 * (25.0 - np.clip(t, -20.0, 60.0)))


def pack_resistance_ohm(cells_ohm: Number, leads_ohm: Number, charge: Number) -> Number:
    """R_b = S/P r_cell factor(charge) + leads [ohm], from that of the cells at full charge and of the leads."""
    return cells_ohm * resistance_factor(charge) + leads_ohm
