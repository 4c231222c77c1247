"""The pack: open-circuit voltage over charge, and the resistance that makes it sag.

E = S ocv(charge) (:mod:`propmatch.chemistry`); R_b = S/P r_cell factor(charge) + leads; terminal voltage
V_t = E - R_b I_pack.

The rise of resistance at low charge has the shape of the series resistance of M. Chen and G. A. Rincon-Mora, IEEE
Trans. Energy Conversion 21 (2006) 504-511, Rs(s)/Rs(1); the level is the pack's own.
"""

from typing import Any

import numpy as np

from propmatch.chemistry import CHEMISTRIES, Chemistry

__all__ = ["CHEMISTRIES", "Chemistry", "resistance_factor", "temperature_factor"]


def resistance_factor(charge: Any) -> Any:
    """Cell resistance at a charge over that at full charge, (0.1562 exp(-24.37 s) + 0.07446)/(the same at 1) [-].

    1 at full charge, 1.016 at 0.2, 1.18 at 0.1, 3.1 at 0. Shape of Chen and Rincon-Mora (2006).
    """
    s = np.asarray(charge, dtype=np.float64)
    return (0.1562 * np.exp(-24.37 * s) + 0.07446) / (0.1562 * np.exp(-24.37) + 0.07446)


def temperature_factor(temperature_c: Any) -> Any:
    """Cell resistance over that at 25 degC: exp(0.025 (25 - T)) [-], -20 to 60 degC.

    Assumed: doubles about every 28 K of cooling; common experience with lithium cells, no published source.
    """
    t = np.asarray(temperature_c, dtype=np.float64)
    return np.exp(0.025 * (25.0 - np.clip(t, -20.0, 60.0)))
