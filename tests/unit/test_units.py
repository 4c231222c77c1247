"""One table of units, read everywhere: factors against ``scipy.constants`` (CODATA, international yard and pound)."""

import math

import pytest
from scipy import constants

from propmatch.commands.ranges import ALTITUDE, TEMPERATURE, THRUST, read_values
from propmatch.records.parts import Controller, Motor, Pack, Propeller
from propmatch.records.sections import Site
from propmatch.records.typed import read_number, read_part
from propmatch.units import QUANTITIES, conversion, units_for
from propmatch.words.shown import SYSTEMS

KNOWN = {
    "lb": (constants.lb / constants.gram, "g"),
    "oz": (constants.oz / constants.gram, "g"),
    "lbf": (constants.lbf, "N"),
    "kgf": (constants.kgf, "N"),
    "ozf": (constants.lbf / 16, "N"),
    "in": (constants.inch, "m"),
    "ft": (constants.foot, "m"),
    "cm": (constants.centi, "m"),
    "mph": (constants.mph, "m/s"),
    "km/h": (constants.kmh, "m/s"),
    "ft/s": (constants.foot, "m/s"),
    "oz/ft2": (constants.oz / constants.gram / (constants.foot / 0.1) ** 2, "g/dm2"),
    "min": (constants.minute, "s"),
    "rad/s": (60 / (2 * constants.pi), "rpm"),
    "uohm": (constants.micro / constants.milli, "mohm"),
    "Ah": (1 / constants.milli, "mAh"),
    "kW": (constants.kilo, "W"),
}


@pytest.mark.parametrize("theirs", KNOWN)
def test_factors(theirs):
    factor, ours = KNOWN[theirs]
    assert conversion(theirs, ours).factor == pytest.approx(factor, rel=4e-15)


@pytest.mark.parametrize("degrees", [-40.0, 0.0, 59.0, 95.0])
def test_temperatures(degrees):
    assert conversion("degF", "degC")(degrees) == pytest.approx(
        constants.convert_temperature(degrees, "Fahrenheit", "Celsius"), abs=1e-12
    )
    assert conversion("K", "degC")(300.0 + degrees) == pytest.approx(
        constants.convert_temperature(300.0 + degrees, "Kelvin", "Celsius"), abs=1e-12
    )


@pytest.mark.parametrize("quantity", QUANTITIES)
def test_there_and_back_is_where_it_began(quantity):
    ours = [unit.name for unit in QUANTITIES[quantity] if not unit.turned]
    for one in ours:
        assert units_for(one) == tuple(unit.name for unit in QUANTITIES[quantity])
        for other in ours:
            there, back = conversion(one, other), conversion(other, one)
            assert back(there(7.0)) == pytest.approx(7.0, rel=1e-12)


def test_no_spelling_means_two_units_of_one_quantity_and_no_name_two_quantities():
    for units in QUANTITIES.values():
        words = [word for unit in units for word in (unit.name.lower(), *unit.others)]
        assert len(words) == len(set(words))
    names = [unit.name for units in QUANTITIES.values() for unit in units]
    assert len(names) == len(set(names))


def test_every_unit_of_a_quantity_may_be_typed_for_a_part():
    fields = {Motor: "mass_g", Pack: "capacity_mah", Controller: "resistance_mohm", Propeller: "diameter_in"}
    for cls, field in fields.items():
        ours = {"mass_g": "g", "capacity_mah": "mAh", "resistance_mohm": "mohm", "diameter_in": "in"}[field]
        for unit in units_for(ours):
            back = conversion(ours, unit)(12.0)
            assert read_number(cls, field, f"{back!r} {unit}", "here") == pytest.approx(12.0)


def test_units_that_only_a_column_knew_are_known_to_a_line_and_an_option():
    # pound, foot and pound-force of scipy.constants; 95 degF is 35 degC
    assert read_part(Motor, "1500kV 0.1lb", "here").part.mass_g == pytest.approx(0.1 * constants.lb / constants.gram)
    # K of one motor: kV = 60/(2 pi K), the definition of the two constants
    assert read_part(Motor, "6.5mNm/A 28g", "here").part.kv_rpm_per_v == pytest.approx(60 / (2 * math.pi * 0.0065))
    assert read_number(Site, "altitude_m", "300ft", "here") == pytest.approx(300 * constants.foot)
    faults = []
    assert read_values(ALTITUDE, "300ft", faults) == pytest.approx([300 * constants.foot])
    assert read_values(TEMPERATURE, "95F", faults) == pytest.approx([35.0])
    assert read_values(THRUST, "0.5lb,8oz,8ozf", faults) == pytest.approx(3 * [constants.lbf / 2])
    assert faults == []
    assert read_values(THRUST, "5", faults) == []
    assert "needs a unit: gf or kgf or ozf or lbf or N" in str(faults[0])


def test_what_is_shown_reads_back():
    for shown in SYSTEMS.values():
        assert conversion(shown.thrust_unit, "N")(shown.thrust_of(3.0)) == pytest.approx(3.0)
        assert conversion(shown.speed_unit, "m/s")(shown.speed_of(3.0)) == pytest.approx(3.0)
        assert conversion(shown.mass_unit, "g")(shown.mass_of(3.0)) == pytest.approx(3.0)
        assert conversion(shown.loading_unit, "g/dm2")(shown.loading_of(3.0)) == pytest.approx(3.0)


PINT = {
    "in": "inch", "ohm": "ohm", "mohm": "milliohm", "uohm": "microohm", "gf": "gram_force", "kgf": "kilogram_force",
    "ozf": "force_ounce", "lbf": "force_pound", "g/dm2": "gram/decimeter**2", "oz/ft2": "ounce/foot**2",
    "rpm": "revolutions_per_minute", "rev/s": "revolution/second", "rad/s": "radian/second", "mAh": "milliampere_hour",
    "Ah": "ampere_hour", "degC": "degC", "degF": "degF", "K": "kelvin", "%": "percent", "": "dimensionless",
    "1/h": "1/hour", "rpm/V": "revolutions_per_minute/volt", "rad/s/V": "radian/second/volt", "km/h": "kilometer/hour",
    "m2": "meter**2", "dm2": "decimeter**2", "cm2": "centimeter**2", "in2": "inch**2", "ft2": "foot**2", "mm2": "mm**2",
    "mph": "mile/hour", "ft/s": "foot/second", "m/s": "meter/second", "oz": "ounce", "lb": "pound",
}  # fmt: skip
"""Our name of a unit to that of the registry of pint, where it has another."""


@pytest.fixture(scope="module")
def registry():
    """The units of pint (BSD-3-Clause), whose definitions cite BIPM and NIST SP 811."""
    return pytest.importorskip("pint").UnitRegistry(autoconvert_offset_to_baseunit=True)


@pytest.mark.parametrize("quantity", QUANTITIES)
def test_every_unit_is_that_of_the_registry(quantity, registry):
    first = QUANTITIES[quantity][0]
    for unit in QUANTITIES[quantity]:
        if unit.turned:
            continue  # the reciprocal of the torque constant: test_mapping has its definition
        for value in (1.0, 7.0):
            theirs = registry.Quantity(value, PINT.get(unit.name, unit.name)).to(PINT.get(first.name, first.name))
            ours = conversion(unit.name, first.name)(value)
            assert ours == pytest.approx(theirs.magnitude, rel=1e-9, abs=1e-9), unit.name


def test_words_people_write_for_a_unit_mean_it_in_the_registry_too(registry):
    asked = {
        "gram": "g", "grams": "g", "kilogram": "kg", "ounce": "oz", "ounces": "oz", "pound": "lb", "pounds": "lb",
        "inch": "in", "inches": "in", "millimetre": "mm", "millimeters": "mm", "centimeter": "cm", "ohms": "ohm",
        "milliohm": "mohm", "microohm": "uohm", "ampere": "A", "amperes": "A", "volt": "V", "volts": "V", "watts": "W",
        "minutes": "min", "seconds": "s", "percent": "%",
    }  # fmt: skip
    for word, ours in asked.items():
        theirs = registry.Quantity(1.0, word).to(PINT.get(ours, ours)).magnitude
        assert conversion(word, ours)(1.0) == pytest.approx(theirs, rel=1e-12) == pytest.approx(1.0)
