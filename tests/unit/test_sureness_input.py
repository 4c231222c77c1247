"""What a brief and a part may say about how sure their numbers are: every fault at once, with its place."""

import pytest

from propmatch.brief import loads_brief
from propmatch.faults import InputFaults
from propmatch.records.estimates import completed
from propmatch.records.fields import declared
from propmatch.records.parts import Controller, Motor, Pack, Propeller
from propmatch.records.sureness import Uncertainty
from propmatch.tolerances.numbers import aircraft_tolerances, part_tolerances

BRIEF = """
[aircraft]
name = "bird"
bare_mass_g = 250
target_mass_g = 420
"""


def faults_of(text):
    with pytest.raises(InputFaults) as caught:
        loads_brief(BRIEF + text, "b.toml")
    return caught.value.faults


def test_every_uncertainty_out_of_range_is_named_at_once():
    names = [rule.name for rule in declared(Uncertainty)]
    text = "".join(f"{name} = {1.2 if at % 2 else -0.1}\n" for at, name in enumerate(names))
    found = faults_of(f"[uncertainty]\n{text}[limits]\nchance = 1\nrating_chance = 0.3\n")
    rules = {fault.key: fault.rule for fault in found}
    assert rules.keys() == {"limits.chance", "limits.rating_chance", *(f"uncertainty.{name}" for name in names)}
    assert all(fault.where.startswith("b.toml") for fault in found)
    assert all("at least 0 and at most 1" in rules[f"uncertainty.{name}"] for name in names)
    assert "at least 0.5 and at most 0.99" in rules["limits.chance"]


@pytest.mark.parametrize("value", ["0.49", "1", "1.0", "-0.8", "nan", '"high"', "true"])
def test_a_chance_is_between_even_and_nearly_sure(value):
    (fault,) = faults_of(f"[limits]\nchance = {value}\n")
    assert fault.key == "limits.chance"


@pytest.mark.parametrize(
    ("key", "meant"),
    [("bare_mas", "bare_mass"), ("darg", "drag"), ("air_densty", "air_density"), ("accessories", "mean radio?")],
)
def test_a_key_that_nobody_knows_has_a_guess(key, meant):
    (fault,) = faults_of(f"[uncertainty]\n{key} = 0.1\n")
    assert fault.key == f"uncertainty.{key}"
    assert meant in fault.hint
    (fault,) = faults_of("[limits]\nchanse = 0.9\n")
    assert "chance" in fault.hint


def test_what_the_brief_says_goes_before_what_is_usual():
    stated = loads_brief(BRIEF + "[uncertainty]\nbare_mass = 0.01\ndrag = 0\n").uncertainty
    by_name = {each.name: each for each in aircraft_tolerances(stated)}
    assert (by_name["bare_mass"].sd, by_name["drag"].sd) == (0.01, 0.0)
    assert by_name["bare_mass"].stated
    assert by_name["lift"].sd > 0
    assert not by_name["lift"].stated


def ends_of(kind):
    """Parts with each number at both ends of its declared range, the others ordinary."""
    ordinary = {
        Motor: {"kv_rpm_per_v": 1400.0, "mass_g": 30.0}, Controller: {"max_current_a": 20.0, "mass_g": 12.0},
        Pack: {"cells_series": 3, "capacity_mah": 1000.0, "c_rating": 30.0, "mass_g": 90.0},
        Propeller: {"diameter_in": 7.0, "pitch_in": 5.0},
    }[kind]  # fmt: skip
    for rule in declared(kind):
        for end in (rule.ge, rule.le):
            if rule.kind in ("number", "integer") and end is not None:
                try:
                    yield rule.name, kind(name="x", **{**ordinary, rule.name: end})
                except ValueError:  # what the part needs beside it
                    continue


@pytest.mark.parametrize("kind", [Motor, Controller, Pack, Propeller])
def test_no_estimate_leaves_the_range_of_its_number(kind):
    """A part at an end of a range is filled in with numbers that are valid themselves, each with a finite spread."""
    seen = 0
    for name, part in ends_of(kind):
        full, _ = completed(part)
        for rule in declared(kind):
            value = getattr(full, rule.name)
            if rule.kind in ("number", "integer") and value is not None:
                assert rule.ge is None or value >= rule.ge, (name, rule.name)
                assert rule.le is None or value <= rule.le, (name, rule.name)
        for each in part_tolerances(part, kind.__name__.lower()):
            assert 0.0 <= each.sd < 1.5, (name, each)
        seen += 1
    assert seen > 4
