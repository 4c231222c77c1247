"""The propellers of the five-inch bench, on which nothing is fitted: thrust and rpm of eight racing propellers.

P. Cao, J. Strawson, motor_propeller_testing, public repository, 2018, MIT licence (``runs.csv``).
"""

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from propmatch.units import GRAM_FORCE_N, INCH_M

__all__ = ["BENCH_SIZE", "DIAMETER_IN", "NO_LABEL", "read_bench"]

FloatArray = NDArray[np.float64]

BENCH_SIZE = {"1": "5x4x3", "2": "5x4.5x3", "3": "5x4.5x3", "4": "5x4", "6": "5x4.5", "7": "5x4x3", "8": "5x5.3x3"}
"""Labels by number, as the source lists them; number 5 has none."""
NO_LABEL = {"5": "5x4x4"}
"""Number 5 has four blades; its pitch is taken as the commonest of the others."""
DIAMETER_IN = 5.0
_LEAST_RPM, _LEAST_GF = 4000.0, 15.0
_SUPPLY_LIMIT_A = 10.8
_FAULTY = ("b", "4")
"""One run reads 60 % of the thrust that six others read on the same propeller."""
_DENSITY_KG_M3 = 1.225


def read_bench(path: Path) -> dict[str, tuple[FloatArray, FloatArray]]:
    """Number of each propeller to rpm (N,) and CT0 = T/(rho n^2 D^4) (N,) of its sound rows."""
    import pandas as pd

    rows = pd.read_csv(path, dtype={"propeller_no": str})
    rows = rows.assign(rpm=rows.rpm_electrical, gf=rows.thrust_gf)
    sound = (rows.supply_current_limited == 0) & (rows.current_A < _SUPPLY_LIMIT_A)
    sound &= (rows.rpm > _LEAST_RPM) & (rows.gf > _LEAST_GF)
    sound &= ~((rows.motor == _FAULTY[0]) & (rows.propeller_no == _FAULTY[1]))
    out = {}
    for number, own in rows[sound].groupby("propeller_no"):
        turns = own.rpm.to_numpy(dtype=np.float64)
        thrust = own.gf.to_numpy(dtype=np.float64) * GRAM_FORCE_N
        out[str(number)] = (turns, thrust / (_DENSITY_KG_M3 * (turns / 60.0) ** 2 * (DIAMETER_IN * INCH_M) ** 4))
    return out
