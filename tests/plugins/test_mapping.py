"""Other people's columns through a mapping file: units, constants, a dry run, and faults of the mapping itself.

Conversion figures: the international inch (25.4 mm) and avoirdupois ounce (28.349523125 g) are exact by definition;
kV = 60/(2 pi K) is the definition of the two constants of one motor.
"""

import math

import pytest

from propmatch.catalogue.catalogue import load_catalogue
from propmatch.faults import InputFaults
from propmatch.units import conversion, units_for
from propmatch_plugins.reading.heading import read_mapping
from propmatch_plugins.reading.preview import dry_run

SHOP = "Bezeichnung;Drehzahl je V;Gewicht;Ri;Preis\nfalke;1450;1,0;145;9,90\nhabicht;1100;28 g;95;12,00\n"
MAPPING = """
kind = "motors"
ignore = ["Preis"]
[columns]
Bezeichnung = "name"
"Drehzahl je V" = "kv_rpm_per_v"
Gewicht = "mass_g"
Ri = "resistance_ohm"
[units]
Gewicht = "oz"
Ri = "mohm"
[constants]
kv_kind = "label"
source = "listing, spring"
"""


@pytest.fixture
def shop(tmp_path):
    (tmp_path / "shop.csv").write_text(SHOP)
    (tmp_path / "shop.mapping.toml").write_text(MAPPING)
    return tmp_path


def test_a_table_is_read_without_editing_it(shop):
    catalogue = load_catalogue(plugins=["parts"], parts=shop)
    (motor,) = catalogue.motors.values()
    assert motor.mass_g == pytest.approx(28.349523125, rel=1e-12)
    assert motor.resistance_ohm == pytest.approx(0.145, rel=1e-12)
    assert (motor.name, motor.kv_rpm_per_v, motor.kv_kind) == ("falke", 1450, "label")
    assert motor.source.text == "listing, spring"
    (fault,) = catalogue.faults
    assert (fault.where.rpartition("/")[2], fault.key) == ("shop.csv:3", "mass_g (column 'Gewicht')")
    assert "write 0.9877: the column is in oz" in fault.hint


def test_a_value_out_of_range_is_shown_as_written_and_as_read(shop):
    (shop / "shop.csv").write_text(SHOP.replace("1,0", "1000"))
    faults = load_catalogue(plugins=["parts"], parts=shop).faults
    assert "'1000': read as 28349.5 g" in str(faults[0])


def test_the_dry_run_shows_columns_units_and_first_rows(shop):
    (preview,) = dry_run(shop / "shop.csv", rows=1)
    assert preview.rows == (
        {
            "name": "falke",
            "kv_rpm_per_v": 1450,
            "mass_g": pytest.approx(28.349523125),
            "kv_kind": "label",
            "resistance_ohm": pytest.approx(0.145),
            "source": "listing, spring",
        },
    )
    assert not preview.faults
    words = str(preview)
    assert "Gewicht -> mass_g [oz to g: x 28.3495]" in words
    assert "Preis: not used" in words
    assert "kv_kind = 'label' in every row" in words
    (both,) = dry_run(shop / "shop.csv")
    assert len(both.rows) == 1
    assert [fault.key for fault in both.faults] == ["mass_g (column 'Gewicht')"]


def test_the_dry_run_takes_another_mapping_and_keeps_the_rest_for_itself(shop, tmp_path):
    other = tmp_path / "other.toml"
    other.write_text(MAPPING.replace('kv_kind = "label"', ""))
    (preview,) = dry_run(shop / "shop.csv", mapping=other, rows=1)
    assert "kv_kind" not in preview.rows[0]


def test_every_fault_of_a_mapping_has_its_line(tmp_path):
    path = tmp_path / "shop.mapping.toml"
    path.write_text(
        'kind = "moters"\nignor = ["x"]\n[columns]\nA = "mass"\nB = "mass_g"\nC = "mass_g"\n'
        '[units]\nB = "mm"\nD = "g"\n[constants]\nmass_g = 3\nkv_knd = "label"\n'
    )
    with pytest.raises(InputFaults) as raised:
        read_mapping(path)
    found = [(fault.where.rpartition(":")[2], fault.key, fault.hint) for fault in raised.value.faults]
    assert [(line, key) for line, key, _ in found] == [
        ("2", "ignor"), ("1", "kind"), ("4", "columns.A"), ("6", "columns.C"), ("8", "units.B"), ("9", "units.D"),
        ("11", "constants.mass_g"), ("12", "constants.kv_knd"),
    ]  # fmt: skip
    hints = {key: hint for _, key, hint in found}
    assert hints["ignor"] == "did you mean ignore?"
    assert hints["kind"] == "did you mean motors?"
    assert hints["constants.kv_knd"] == "did you mean kv_kind?"
    assert "oz" in hints["units.B"]


def test_a_mapped_column_that_the_table_lacks_is_a_fault(shop):
    (shop / "shop.csv").write_text(SHOP.replace("Gewicht", "Gewicht g"))
    catalogue = load_catalogue(plugins=["parts"], parts=shop)
    assert not catalogue.motors
    assert catalogue.set_aside("motors") == 2
    assert any("did you mean 'Gewicht g'?" in fault.hint for fault in catalogue.faults)


def test_a_faulty_mapping_sets_its_table_aside(shop):
    (shop / "shop.mapping.toml").write_text(MAPPING.replace("mohm", "mm"))
    catalogue = load_catalogue(plugins=["parts"], parts=shop)
    assert [fault.key for fault in catalogue.faults] == ["units.Ri"]
    assert catalogue.set_aside("motors") == 2


@pytest.mark.parametrize(
    ("value", "theirs", "ours", "expected"),
    [
        (203.2, "mm", "in", 8.0),
        (1.0, "oz", "g", 28.349523125),
        (1.0, "lb", "g", 453.59237),
        (2.2, "Ah", "mAh", 2200.0),
        (14.0, "mohm", "ohm", 0.014),
        (0.0065, "N m/A", "rpm/V", 60 / (2 * math.pi * 0.0065)),
        (6.5, "mN m/A", "rpm/V", 60 / (2 * math.pi * 0.0065)),
        (1.0, "mV/rpm", "rpm/V", 1000.0),
        (100.0, "rev/s", "rpm", 6000.0),
        (5.0, "%", "", 0.05),
        (8.0, "Inches", "in", 8.0),
        (30.0, "C", "1/h", 30.0),
    ],
)
def test_units(value, theirs, ours, expected):
    assert conversion(theirs, ours)(value) == pytest.approx(expected, rel=1e-12)


def test_units_of_another_quantity_do_not_convert():
    assert conversion("mm", "g") is None
    assert conversion("furlong", "in") is None


def test_every_unit_of_our_columns_is_known():
    from propmatch_plugins.reading.heading import columns_of

    for rule in columns_of(None).values():
        if rule.kind in ("number", "integer"):
            assert conversion(rule.unit, rule.unit).factor == 1.0
            assert rule.unit in units_for(rule.unit)
