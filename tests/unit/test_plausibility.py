"""Warnings about numbers that are allowed but hard to believe: each rule fires on a planted number only."""

import pytest
from support.trains import simple_controller, simple_motor, simple_pack, simple_propeller

from propmatch.records.parts import Source
from propmatch.records.plausibility import warnings_of


def keys(part):
    return [warning.key for warning in warnings_of(part)]


@pytest.mark.parametrize(
    "part",
    [
        simple_motor(),
        simple_motor(resistance_ohm=None, no_load_current_a=None),
        simple_controller(),
        simple_pack(),
        simple_pack(cell_resistance_mohm=None),
        simple_propeller(),
        simple_propeller(mass_g=None),
    ],
    ids=lambda part: type(part).__name__,
)
def test_ordinary_parts_raise_no_warning(part):
    assert warnings_of(part) == []


def test_a_motor_whose_resistance_does_not_fit_its_mass_and_kv():
    assert keys(simple_motor(resistance_ohm=1.0)) == ["resistance_ohm"]
    assert keys(simple_motor(resistance_ohm=0.01)) == ["resistance_ohm"]
    # R = 1.1 (K/Km)^2: K = 9.549/2400 = 3.979e-3, Km = 1.04e-3 x 20^(5/6) = 0.012625
    text = str(warnings_of(simple_motor(mass_g=20, kv_rpm_per_v=2400, resistance_ohm=1.0))[0])
    assert "usually have about 0.109 ohm" in text


def test_milliohms_given_as_ohms_are_guessed():
    # a 28 g motor of 700 rpm/V usually has about 0.65 ohm; 9 would be 9 mohm: no guess there
    assert "milliohms?" not in str(warnings_of(simple_motor(kv_rpm_per_v=700, resistance_ohm=9.0))[0])
    heavy = simple_motor(mass_g=900, kv_rpm_per_v=300, resistance_ohm=6.0, no_load_current_a=None)
    assert "milliohms? then it is 0.006 ohm" in str(warnings_of(heavy)[0])


def test_a_motor_with_an_odd_no_load_current():
    assert keys(simple_motor(no_load_current_a=12.0, no_load_voltage_v=None)) == ["no_load_current_a"]


def test_a_printed_kv_taken_as_effective():
    sheet = Source(text="leaflet", kind="data sheet")
    assert keys(simple_motor(source=sheet)) == ["kv_rpm_per_v"]
    assert keys(simple_motor(source=sheet, kv_kind="label")) == []


def test_cell_resistance_far_from_its_capacity():
    assert keys(simple_pack(cell_resistance_mohm=0.5)) == ["cell_resistance_mohm"]
    assert "ohms? then it is 14 mohm" in str(warnings_of(simple_pack(cell_resistance_mohm=0.014))[0])
    assert "cell_resistance_mohm" in keys(simple_pack(cell_resistance_mohm=140.0))


def test_a_c_rating_the_cells_cannot_support():
    # 850 mAh, 14 mohm: 0.7 V of sag at 0.7/(0.85 x 0.014) = 59 C
    assert keys(simple_pack(c_rating=58.0)) == []
    warning = warnings_of(simple_pack(c_rating=120.0))[0]
    assert warning.key == "c_rating"
    assert "about 59 C" in warning.rule
    assert "1.4 V" in warning.rule


def test_masses_and_pitches_out_of_the_ordinary():
    assert keys(simple_pack(mass_g=500.0)) == ["mass_g"]
    assert keys(simple_controller(mass_g=0.5)) == ["mass_g"]
    assert keys(simple_propeller(mass_g=60.0)) == ["mass_g"]
    odd = warnings_of(simple_propeller(diameter_in=5.0, pitch_in=9.0, mass_g=None))[0]
    assert (odd.key, odd.hint) == ("pitch_in", "diameter and pitch exchanged?")


def test_other_things_have_no_rules():
    with pytest.raises(TypeError, match="no plausibility rules for a str"):
        warnings_of("motor")
