"""Names for arrays: what models and lanes are written in."""

import numpy as np
from numpy.typing import NDArray

__all__ = ["Flags", "Floats", "Floats32", "Index", "Number", "Pick"]

Floats = NDArray[np.float64]
Floats32 = NDArray[np.float32]
Flags = NDArray[np.bool_]
Index = NDArray[np.intp]
Number = float | Floats
"""A number for every lane, or one for each."""
Pick = slice | Index | Flags
"""Some lanes: a slice, their numbers, or a mask."""
