import json
import tomllib

import jsonschema
import pytest

from propmatch.brief import dump_brief, loads_brief
from propmatch.records.parts import Motor
from propmatch.records.schema import brief_schema, record_schema

GOOD = """
[aircraft]
name = "x"
bare_mass_g = 265
[[variant]]
name = "v"
cd0 = "floats"
[limits]
cells = [2, 3]
[[phase]]
name = "p"
throttle = 1
share = 1
[balance]
target_cg_mm = 80
"""

VALIDATOR = jsonschema.Draft202012Validator(brief_schema())


def test_the_schema_is_a_schema_and_plain_json() -> None:
    jsonschema.Draft202012Validator.check_schema(brief_schema())
    assert json.loads(json.dumps(brief_schema())) == brief_schema()
    assert brief_schema()["$schema"] == "https://json-schema.org/draft/2020-12/schema"


def test_a_good_brief_passes_both() -> None:
    assert list(VALIDATOR.iter_errors(tomllib.loads(GOOD))) == []
    assert list(VALIDATOR.iter_errors(tomllib.loads(dump_brief(loads_brief(GOOD))))) == []


@pytest.mark.parametrize(
    ("old", "new", "place"),
    [
        ('name = "x"', "", "aircraft"),
        ('name = "x"', "name = 3", "aircraft/name"),
        ('name = "x"', 'name = " "', "aircraft/name"),
        ("265", "-265", "aircraft/bare_mass_g"),
        ("265", "true", "aircraft/bare_mass_g"),
        ("265", "265\ntarget_mas_g = 3", "aircraft"),
        ('"floats"', '"flots"', "variant/0/cd0"),
        ('"floats"', "0.9", "variant/0/cd0"),
        ("[2, 3]", "[2, 2.5]", "limits/cells/1"),
        ("[2, 3]", "[7]", "limits/cells/0"),
        ("[2, 3]", "2", "limits/cells"),
        ("throttle = 1", "throttle = 1.2", "phase/0/throttle"),
        ("share = 1", "share = 0", "phase/0/share"),
        ("target_cg_mm = 80", "", "balance"),
        ("[balance]", "[balnce]", ""),
    ],
)
def test_a_bad_brief_fails_in_the_same_place(old: str, new: str, place: str) -> None:
    errors = list(VALIDATOR.iter_errors(tomllib.loads(GOOD.replace(old, new))))
    assert place in {"/".join(str(step) for step in error.absolute_path) for error in errors}


def test_unit_range_and_meaning_are_told() -> None:
    mass = brief_schema()["properties"]["aircraft"]["properties"]["bare_mass_g"]
    assert mass["type"] == "number"
    assert (mass["minimum"], mass["maximum"]) == (1, 25000)
    assert mass["description"].endswith("[g]")
    assert brief_schema()["required"] == ["aircraft"]


def test_parts_have_a_schema_too_without_what_a_file_cannot_hold() -> None:
    schema = record_schema(Motor)
    assert schema["required"] == ["name", "kv_rpm_per_v", "mass_g"]
    assert schema["properties"]["kv_kind"]["default"] == "effective"
    jsonschema.Draft202012Validator.check_schema(schema)


def test_deviations_and_correlations_have_a_schema() -> None:
    motor = jsonschema.Draft202012Validator(record_schema(Motor))
    good = {
        "name": "m", "kv_rpm_per_v": 1500, "mass_g": 30,
        "source": {"text": "t", "kind": "measured", "sd_ln": {"kv_rpm_per_v": 0.1, "mass_g": 0.2},
                   "correlations": [["kv_rpm_per_v", "mass_g", 0.4]]},
    }  # fmt: skip
    assert list(motor.iter_errors(good)) == []
    bad = good | {"source": {"text": "t", "kind": "measured", "sd_ln": {"mass_g": 2}, "correlations": [["a", 1, 0.4]]}}
    places = {"/".join(str(step) for step in error.absolute_path) for error in motor.iter_errors(bad)}
    assert places == {"source/sd_ln/mass_g", "source/correlations/0/1"}
