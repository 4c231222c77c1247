"""The only place where units are converted: trade and data-sheet units at the edge, SI inside.

Constants for the equations, and one table of the units that people write: what a part typed in a line, an option, a
column of somebody's table and the text shown may be in.

Sources: the international inch, pound and gallon definitions (inch 0.0254 m, pound 0.45359237 kg) and the
standard acceleration of gravity 9.80665 m/s2 (ISO 80000-3, -4).
"""

import math

import attrs

__all__ = ["QUANTITIES", "Conversion", "Unit", "conversion", "is_unit", "percent", "units_for"]

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


@attrs.frozen
class Unit:
    """One unit of a quantity: ``value in the quantity's first unit = factor x + offset``.

    Attributes
    ----------
    name : str
        As it is printed.
    factor, offset : float
    others : tuple of str
        Other spellings in lower case; capitals make no difference.
    turned : bool
        The factor is that of the torque constant K to N m/A, and kV [rpm/V] = 60/(2 pi K) is what is meant.
    """

    name: str
    factor: float
    others: tuple[str, ...] = ()
    offset: float = 0.0
    turned: bool = False


QUANTITIES: dict[str, tuple[Unit, ...]] = {
    "mass": (
        Unit("g", 1.0, ("gram", "grams", "gr", "gramm", "gramme", "grammes", "gramos", "grammi")),
        Unit("kg", 1e3, ("kilogram", "kilograms", "kgs")),
        Unit("mg", 1e-3),
        Unit("oz", OUNCE_KG * 1e3, ("ounce", "ounces")),
        Unit("lb", POUND_KG * 1e3, ("lbs", "pound", "pounds")),
    ),
    "force": (
        Unit("gf", 1.0, ("g",)),
        Unit("kgf", 1e3, ("kg",)),
        Unit("ozf", OUNCE_FORCE_N / GRAM_FORCE_N, ("oz",)),
        Unit("lbf", 16 * OUNCE_FORCE_N / GRAM_FORCE_N, ("lb", "lbs")),
        Unit("N", 1.0 / GRAM_FORCE_N),
    ),
    "length": (
        Unit("in", INCH_M, ("inch", "inches", '"', "zoll", "pouces", "pulgadas", "pollici", "cali")),
        Unit("mm", MM_M, ("millimetre", "millimetres", "millimeter", "millimeters")),
        Unit("cm", 1e-2, ("centimetre", "centimetres", "centimeter", "centimeters")),
        Unit("m", 1.0),
        Unit("ft", FOOT_M),
    ),
    "area": (
        Unit("dm2", 1.0, ("dm²", "dm^2")),
        Unit("m2", 100.0, ("m²", "m^2", "sqm")),
        Unit("cm2", 1e-2, ("cm²", "cm^2")),
        Unit("in2", (INCH_M * 10) ** 2, ("in²", "in^2", "sqin")),
        Unit("ft2", (FOOT_M * 10) ** 2, ("ft²", "ft^2", "sqft")),
    ),
    "speed": (Unit("m/s", 1.0), Unit("km/h", KMH_M_S), Unit("mph", MPH_M_S), Unit("ft/s", FOOT_M)),
    "wing loading": (Unit("g/dm2", 1.0), Unit("oz/ft2", OZ_FT2_KG_M2 / G_DM2_KG_M2)),
    "resistance": (
        Unit("ohm", 1.0, ("ohms", "ω")),
        Unit("mohm", MILLIOHM_OHM, ("mohms", "milliohm", "milliohms", "mω")),
        Unit("uohm", 1e-6, ("microohm",)),
    ),
    "current": (Unit("A", 1.0, ("amp", "amps", "ampere", "amperes")), Unit("mA", 1e-3)),
    "voltage": (Unit("V", 1.0, ("volt", "volts")), Unit("mV", 1e-3)),
    "power": (Unit("W", 1.0, ("watt", "watts")), Unit("kW", 1e3)),
    "charge": (Unit("mAh", MAH_AH), Unit("Ah", 1.0)),
    "time": (Unit("s", 1.0, ("sec", "seconds")), Unit("min", 60.0, ("minutes",))),
    "speed of rotation": (
        Unit("rpm", 1.0, ("1/min", "u/min", "tr/min", "min-1", "r/min")),
        Unit("rev/s", 60.0, ("hz",)),
        Unit("rad/s", 1.0 / RPM_RAD_S),
    ),
    "speed constant": (
        Unit("rpm/V", 1.0, ("kv", "1/min/v", "rpm/volt", "u/min/v", "tr/min/v", "r/min/v")),
        Unit("rad/s/V", 1.0 / RPM_RAD_S),
        Unit("N m/A", 1.0, ("nm/a",), turned=True),
        Unit("mN m/A", 1e-3, ("mnm/a",), turned=True),
        Unit("V s/rad", 1.0, ("vs/rad",), turned=True),
        Unit("mV/rpm", KV_TO_K * 1e-3, turned=True),
    ),
    "current over capacity": (Unit("1/h", 1.0, ("c",)),),
    "temperature": (
        Unit("degC", 1.0, ("c", "°c")),
        Unit("degF", 5 / 9, ("f", "°f"), offset=-160 / 9),
        Unit("K", 1.0, offset=-CELSIUS_K),
    ),
    "share": (Unit("", 1.0), Unit("%", 1e-2, ("percent",))),
}
"""Quantity to the units it may be written in."""

_SPELLINGS = {
    quantity: {word: unit for unit in units for word in (unit.name.lower(), *unit.others)}
    for quantity, units in QUANTITIES.items()
}
_QUANTITY_OF = {unit.name: quantity for quantity, units in QUANTITIES.items() for unit in units}


@attrs.frozen
class Conversion:
    """From another unit to ours: ``ours = factor x + offset``, or ``factor / x`` when ``reciprocal``."""

    theirs: str
    ours: str
    factor: float = 1.0
    offset: float = 0.0
    reciprocal: bool = False

    def __call__(self, value: float) -> float:
        if self.reciprocal:
            return self.factor / value if value else float("inf")
        return self.factor * value + self.offset

    @property
    def words(self) -> str:
        """As in ``oz to g: x 28.3495``."""
        if self.theirs == self.ours:
            return self.ours
        how = f"{self.factor:.6g} / value" if self.reciprocal else f"x {self.factor:.6g}"
        if self.offset:
            how += f" {'-' if self.offset < 0 else '+'} {abs(self.offset):.6g}"
        return f"{self.theirs or 'plain number'} to {self.ours or 'plain number'}: {how}"


def units_for(ours: str) -> tuple[str, ...]:
    """Every unit that a value in unit ``ours`` can be converted from."""
    quantity = _QUANTITY_OF.get(ours)
    return (ours,) if quantity is None else tuple(unit.name for unit in QUANTITIES[quantity])


def is_unit(word: str) -> bool:
    """Whether a word spells a unit of any quantity."""
    lower = " ".join(word.split()).lower()
    return any(lower in spelled for spelled in _SPELLINGS.values() if lower)


def percent(share: float) -> str:
    """``20 %``: a share as whole percent."""
    return f"{100 * share:.0f} %"


def conversion(theirs: str, ours: str) -> Conversion | None:
    """How to read a value given in ``theirs``, however it is spelled, as one in ``ours`` (a name of the table).

    None when they measure different things; a unit the table does not know converts to itself alone.
    """
    word = " ".join(theirs.split())
    if word == ours:
        return Conversion(ours, ours)
    quantity = _QUANTITY_OF.get(ours, "")
    known = _SPELLINGS.get(quantity, {})
    unit, own = known.get(word.lower()), known.get(ours.lower())
    if unit is None or own is None:
        return None
    if unit is own:
        return Conversion(ours, ours)
    if unit.turned:
        return None if own.turned else Conversion(unit.name, ours, KV_TO_K / unit.factor / own.factor, reciprocal=True)
    return Conversion(unit.name, ours, unit.factor / own.factor, (unit.offset - own.offset) / own.factor)
