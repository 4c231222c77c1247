"""Standard deviations and correlations that the source of a part holds: read, refused, written back."""

import pickle

import pytest

from propmatch.records.fields import Numbers, build
from propmatch.records.parts import KINDS, PARTS, Controller, Motor, Pack, Propeller, Source
from propmatch.records.tomltext import dump_record, parse_toml
from propmatch.tolerances.numbers import INPUTS

BENCH = {
    "text": "bench",
    "kind": "measured",
    "sd_ln": {"kv_rpm_per_v": 0.01, "resistance_ohm": 0.03, "mass_g": 0.005},
    "correlations": [["kv_rpm_per_v", "resistance_ohm", 0.6], ["mass_g", "resistance_ohm", -0.1]],
}
MOTOR = {"name": "m", "kv_rpm_per_v": 1500, "mass_g": 30, "resistance_ohm": 0.1}


def faults_of(source: object, cls: type = Motor, numbers: dict[str, object] = MOTOR) -> list[tuple[str, object, str]]:
    part, faults = build(cls, numbers | {"source": source}, "own.toml:3")
    assert (part is None) == bool(faults)
    assert all(fault.where == "own.toml:3" for fault in faults)
    return [(fault.key, fault.value, f"{fault.rule}; {fault.hint}") for fault in faults]


def test_a_source_without_them_is_as_before() -> None:
    plain = Source(text="t", kind="label")
    assert (dict(plain.sd_ln), plain.correlations) == ({}, ())
    assert dump_record(plain) == 'text = "t"\nkind = "label"\n'


def test_the_text_reads_back_as_an_equal_part_and_writes_the_same_bytes() -> None:
    made, faults = build(Motor, MOTOR | {"source": BENCH}, "own.toml")
    assert faults == []
    text = dump_record(made)
    assert text.endswith("[source.sd_ln]\nkv_rpm_per_v = 0.01\nresistance_ohm = 0.03\nmass_g = 0.005\n")
    assert 'correlations = [["kv_rpm_per_v", "resistance_ohm", 0.6], ["mass_g", "resistance_ohm", -0.1]]\n' in text
    again, faults = build(Motor, parse_toml(text, "own.toml").data, "own.toml")
    assert (again, faults) == (made, [])
    assert dump_record(again) == text
    assert hash(again) == hash(made)
    assert pickle.loads(pickle.dumps(made)) == made


def test_a_part_with_another_deviation_is_another_part() -> None:
    one, other = Source(text="t", kind="measured", sd_ln={"mass_g": 0.1}), Source(text="t", kind="measured")
    assert one != other
    assert one == Source(text="t", kind="measured", sd_ln=Numbers({"mass_g": 0.1}))
    with pytest.raises(TypeError):
        one.sd_ln["mass_g"] = 0.2


def test_every_deviation_that_is_none_is_said_at_once() -> None:
    bad = BENCH | {"sd_ln": {"kv": 0.01, "resistance_ohm": 0, "mass_g": 1.5, "max_current_a": 0.1, "name": "x"}}
    found = faults_of(bad | {"uncertainty": 2, "correlations": 7})
    assert [(key, value) for key, value, _ in found] == [
        ("source.uncertainty", 2), ("source.sd_ln.resistance_ohm", 0), ("source.sd_ln.mass_g", 1.5),
        ("source.sd_ln.name", "x"), ("source.correlations", 7), ("source.sd_ln.kv", None),
        ("source.sd_ln.max_current_a", None), ("source.sd_ln.name", None),
    ]  # fmt: skip
    assert "above 0 and at most 1" in found[1][2]
    assert "did you mean kv_rpm_per_v?" in found[5][2]


@pytest.mark.parametrize(
    ("cls", "numbers", "own"),
    [
        (Motor, MOTOR, "resistance_ohm"),
        (Controller, {"name": "c", "max_current_a": 20, "mass_g": 18, "resistance_mohm": 5}, "resistance_mohm"),
        (
            Pack,
            {"name": "p", "cells_series": 2, "capacity_mah": 850, "c_rating": 30, "mass_g": 50,
             "cell_resistance_mohm": 12},
            "cell_resistance_mohm",
        ),
        (Propeller, {"name": "5x4", "diameter_in": 5, "pitch_in": 4}, "cp"),
    ],
)  # fmt: skip
def test_each_part_knows_its_own_numbers(cls: type, numbers: dict[str, object], own: str) -> None:
    source = {"text": "t", "kind": "measured"}
    assert faults_of(source | {"sd_ln": {own: 0.1}}, cls, numbers) == []
    ((key, _, said),) = faults_of(source | {"sd_ln": {"thrust_gf": 0.1}}, cls, numbers)
    assert key == "source.sd_ln.thrust_gf"
    assert "known: " in said or "did you mean" in said


def test_a_deviation_stands_beside_its_number() -> None:
    ((key, value, said),) = faults_of({"text": "t", "kind": "measured", "sd_ln": {"no_load_current_a": 0.2}})
    assert (key, value) == ("source.sd_ln.no_load_current_a", 0.2)
    assert "must state no_load_current_a" in said
    with pytest.raises(ValueError, match="must state resistance_ohm"):
        Motor(
            name="m", kv_rpm_per_v=1500, mass_g=30,
            source=Source(text="t", kind="measured", sd_ln={"resistance_ohm": 0.1}),
        )  # fmt: skip


@pytest.mark.parametrize(
    ("correlations", "place", "words"),
    [
        ([["kv_rpm_per_v", "resistance_ohm", 1.0]], "[1][3]", "above -1 and below 1"),
        ([["kv_rpm_per_v", "resistance_ohm"]], "[1]", "a list of 3"),
        ([["kv_rpm_per_v", "resistance", 0.5]], "[1][2]", "did you mean resistance_ohm?"),
        ([["mass_g", "mass_g", 0.5]], "[1][2]", "another number"),
        ([["mass_g", "kv_rpm_per_v", 0.5], ["kv_rpm_per_v", "mass_g", 0.4]], "[2]", "twice"),
    ],
)
def test_a_correlation_that_is_none(correlations: list[object], place: str, words: str) -> None:
    ((key, _, said),) = faults_of(BENCH | {"correlations": correlations})
    assert key == f"source.correlations{place}"
    assert words in said


def test_a_matrix_that_is_none_names_the_pair_that_weighs_most() -> None:
    """Three numbers with pairs a, b, c: 1 + 2 a b c - a^2 - b^2 - c^2 is the determinant of the matrix."""
    pairs = [
        ["kv_rpm_per_v", "resistance_ohm", 0.3],
        ["mass_g", "resistance_ohm", 0.9],
        ["mass_g", "kv_rpm_per_v", -0.6],
    ]
    assert 1 + 2 * 0.3 * 0.9 * -0.6 - 0.3**2 - 0.9**2 - 0.6**2 < 0
    ((key, value, said),) = faults_of(BENCH | {"correlations": pairs})
    assert (key, value) == ("source.correlations[2]", 0.9)
    assert "resistance_ohm and mass_g" in said
    assert "positive definite" in said
    pairs[1][2] = 0.5
    assert 1 + 2 * 0.3 * 0.5 * -0.6 - 0.3**2 - 0.5**2 - 0.6**2 > 0
    assert faults_of(BENCH | {"correlations": pairs}) == []


@pytest.mark.parametrize("kind", KINDS)
def test_a_deviation_beside_the_part_is_told_its_place(kind: str) -> None:
    _, faults = build(KINDS[kind], {"sd_ln": {}, "correlations": []}, "f")
    hints = {fault.key: fault.hint for fault in faults}
    assert "[motors.source.sd_ln]" in hints["sd_ln"]
    assert "source" in hints["correlations"]


@pytest.mark.parametrize("kind", ["motor", "controller", "pack", "propeller"])
def test_every_number_of_a_part_that_is_varied_may_have_one(kind: str) -> None:
    """The names are those of the tolerances."""
    source = {"text": "t", "kind": "measured", "sd_ln": dict.fromkeys(INPUTS[kind], 0.1)}
    _, faults = build(PARTS[kind], {"source": source}, "f")
    assert [fault.key for fault in faults if "no number that has a deviation" in fault.rule] == []
