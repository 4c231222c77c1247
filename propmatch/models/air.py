"""The air the aircraft flies in: the standard troposphere, with an offset for a warm or cold day.

Linear temperature, hydrostatic pressure; altitude is geopotential. An offset day keeps the pressure of the altitude and
shifts the temperature. Viscosity by Sutherland's law.

Source: ISO 2533:1975 (same numbers as the US Standard Atmosphere 1976 below 11 km), Sutherland's constants too.
"""

from typing import Any

import attrs
import numpy as np
from numpy.typing import ArrayLike

__all__ = ["Air"]

_T0_K, _P0_PA, _LAPSE_K_M = 288.15, 101325.0, 0.0065
_GAS_J_KG_K, _GRAVITY_M_S2, _GAMMA = 287.05287, 9.80665, 1.4
_EXPONENT = _GRAVITY_M_S2 / (_GAS_J_KG_K * _LAPSE_K_M)


def _floats(value: ArrayLike) -> Any:
    array = np.asarray(value, dtype=np.float64)
    return float(array) if array.ndim == 0 else array


@attrs.frozen(kw_only=True, eq=False)
class Air:
    """State of the air; scalars or arrays that broadcast with the lanes of a solve.

    Attributes
    ----------
    density_kg_m3, temperature_k, pressure_pa : float or ndarray
        Density, absolute temperature and static pressure.
    """

    density_kg_m3: Any = attrs.field(converter=_floats)
    temperature_k: Any = attrs.field(default=_T0_K, converter=_floats)
    pressure_pa: Any = attrs.field(default=_P0_PA, converter=_floats)

    @classmethod
    def standard(cls, altitude_m: ArrayLike = 0.0, temperature_offset_k: ArrayLike = 0.0) -> "Air":
        """Air at a geopotential altitude.

        T = 288.15 - 0.0065 H + offset; p = 101325 (1 - 0.0065 H/288.15)^5.25588; rho = p/(287.05287 T).

        Parameters
        ----------
        altitude_m : array_like [m]
            Geopotential altitude, -1000 to 11000. Geometric height differs by 0.015 % of density at 3000 m.
        temperature_offset_k : array_like [K]
            Difference from the standard day at that altitude.

        Raises
        ------
        ValueError
            Outside the troposphere, or a temperature not above 150 K.
        """
        height = np.asarray(altitude_m, dtype=np.float64)
        offset = np.asarray(temperature_offset_k, dtype=np.float64)
        if not np.all((height >= -1000.0) & (height <= 11000.0)):
            raise ValueError("altitude_m must lie in -1000 to 11000 m (troposphere)")
        standard_k = _T0_K - _LAPSE_K_M * height
        temperature = standard_k + offset
        if not np.all((temperature > 150.0) & (temperature < 400.0)):
            raise ValueError("temperature_offset_k leads to a temperature outside 150 to 400 K")
        pressure = _P0_PA * (standard_k / _T0_K) ** _EXPONENT
        return cls(
            density_kg_m3=pressure / (_GAS_J_KG_K * temperature),
            temperature_k=temperature,
            pressure_pa=pressure,
        )

    @classmethod
    def at_site(cls, altitude_m: float, temperature_c: float | None) -> "Air":
        """Air at a field height with the temperature read there (None: the standard one)."""
        if temperature_c is None:
            return cls.standard(altitude_m)
        return cls.standard(altitude_m, temperature_c + 273.15 - (_T0_K - _LAPSE_K_M * altitude_m))

    @property
    def speed_of_sound_m_s(self) -> Any:
        """a = sqrt(1.4 x 287.05287 T) [m/s]."""
        return _floats(np.sqrt(_GAMMA * _GAS_J_KG_K * np.asarray(self.temperature_k)))

    @property
    def viscosity_pa_s(self) -> Any:
        """Dynamic viscosity by Sutherland's law, 1.458e-6 T^1.5/(T + 110.4) [Pa s]."""
        t = np.asarray(self.temperature_k)
        return _floats(1.458e-6 * t**1.5 / (t + 110.4))
