"""The only place where units are converted: trade and data-sheet units at the edge, SI inside.

Sources: the international inch, pound and gallon definitions (inch 0.0254 m, pound 0.45359237 kg) and the
standard acceleration of gravity 9.80665 m/s2 (ISO 80000-3, -4).
"""

import math

INCH_M = 0.0254
GRAVITY_M_S2 = 9.80665
POUND_KG = 0.45359237
OUNCE_KG = POUND_KG / 16
FOOT_M = 0.3048
MILE_M = 1609.344
RPM_RAD_S = 2.0 * math.pi / 60.0
KV_TO_K = 60.0 / (2.0 * math.pi)
"""Torque constant K [V s/rad = N m/A] = KV_TO_K / kV [rpm/V]."""

GRAM_KG = 1e-3
MILLIOHM_OHM = 1e-3
MAH_AH = 1e-3
DM2_M2 = 1e-2
MM_M = 1e-3
CELSIUS_K = 273.15
GRAM_FORCE_N = GRAM_KG * GRAVITY_M_S2
OUNCE_FORCE_N = OUNCE_KG * GRAVITY_M_S2
KMH_M_S = 1.0 / 3.6
MPH_M_S = MILE_M / 3600.0
OZ_FT2_KG_M2 = OUNCE_KG / FOOT_M**2
G_DM2_KG_M2 = GRAM_KG / DM2_M2
