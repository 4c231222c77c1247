"""Units that other people's columns are in, and the factor to ours.

Exact factors come from :mod:`propmatch.units`; the torque constant is the one quantity that turns over
(kV [rpm/V] = 60/(2 pi K)), so K in N m/A, mN m/A or V s/rad is read as kV.
"""

import attrs

from propmatch.units import INCH_M, KV_TO_K, MAH_AH, MILLIOHM_OHM, MM_M, OUNCE_KG, POUND_KG, RPM_RAD_S

__all__ = ["Conversion", "conversion", "units_for"]

_QUANTITIES: tuple[dict[str, float], ...] = (
    {"g": 1.0, "kg": 1e3, "mg": 1e-3, "oz": OUNCE_KG * 1e3, "lb": POUND_KG * 1e3},
    {"in": INCH_M, "mm": MM_M, "cm": 1e-2, "m": 1.0},
    {"ohm": 1.0, "mohm": MILLIOHM_OHM, "uohm": 1e-6},
    {"A": 1.0, "mA": 1e-3},
    {"V": 1.0, "mV": 1e-3},
    {"W": 1.0, "kW": 1e3},
    {"mAh": MAH_AH, "Ah": 1.0},
    {"s": 1.0, "min": 60.0},
    {"rpm": 1.0, "rev/s": 60.0, "rad/s": 1.0 / RPM_RAD_S},
    {"rpm/V": 1.0, "rad/s/V": 1.0 / RPM_RAD_S},
    {"1/h": 1.0},
    {"": 1.0, "%": 1e-2},
)
_RECIPROCAL = {"rpm/V": {"N m/A": 1.0, "mN m/A": 1e-3, "V s/rad": 1.0, "mV/rpm": KV_TO_K * 1e-3}}

_OTHER_WORDS = {
    "gram": "g", "grams": "g", "gr": "g", "kilogram": "kg", "ounce": "oz", "ounces": "oz", "lbs": "lb",
    "inch": "in", "inches": "in", '"': "in", "ohms": "ohm", "ω": "ohm", "milliohm": "mohm", "mω": "mohm",
    "a": "A", "amp": "A", "amps": "A", "ma": "mA", "v": "V", "volt": "V", "volts": "V", "w": "W", "watt": "W",
    "watts": "W", "mah": "mAh", "ah": "Ah", "sec": "s", "seconds": "s", "minutes": "min", "1/min": "rpm",
    "rpm/v": "rpm/V", "1/min/v": "rpm/V", "kv": "rpm/V", "c": "1/h", "percent": "%", "hz": "rev/s",
    "nm/a": "N m/A", "mnm/a": "mN m/A", "vs/rad": "V s/rad", "g": "g", "kg": "kg", "oz": "oz", "mm": "mm", "cm": "cm",
}  # fmt: skip
"""Other spellings, in lower case."""


@attrs.frozen
class Conversion:
    """From a column's unit to ours: ``ours = factor x``, or ``factor / x`` when ``reciprocal``."""

    theirs: str
    ours: str
    factor: float
    reciprocal: bool = False

    def __call__(self, value: float) -> float:
        if self.reciprocal:
            return self.factor / value if value else float("inf")
        return self.factor * value

    @property
    def words(self) -> str:
        """As in ``oz to g: x 28.3495``."""
        if self.theirs == self.ours:
            return self.ours
        how = f"{self.factor:.6g} / value" if self.reciprocal else f"x {self.factor:.6g}"
        return f"{self.theirs or 'plain number'} to {self.ours or 'plain number'}: {how}"


def _spelling(word: str) -> str:
    stripped = " ".join(word.split())
    known = {unit for group in (*_QUANTITIES, *_RECIPROCAL.values()) for unit in group}
    return stripped if stripped in known else _OTHER_WORDS.get(stripped.lower(), stripped)


def units_for(ours: str) -> tuple[str, ...]:
    """Every unit that a column of ours in unit ``ours`` can be converted from."""
    same = next((tuple(group) for group in _QUANTITIES if ours in group), (ours,))
    return same + tuple(_RECIPROCAL.get(ours, ()))


def conversion(theirs: str, ours: str) -> Conversion | None:
    """How to read a value given in ``theirs`` as one in ``ours``; None when they measure different things."""
    word = _spelling(theirs)
    for group in _QUANTITIES:
        if word in group and ours in group:
            return Conversion(word, ours, 1.0 if word == ours else group[word] / group[ours])
    if word in _RECIPROCAL.get(ours, {}):
        return Conversion(word, ours, KV_TO_K / _RECIPROCAL[ours][word], reciprocal=True)
    return None
