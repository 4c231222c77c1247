"""A few inputs of every way in, as hypothesis chooses them, and the judge held against numbers known by heart."""

import tempfile
from pathlib import Path
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from .harness import Fuzzer, Reader, Trial
from .oracle import Judge, scan
from .physics import points
from .readers import READERS

FEW = {"pasted": 3, "workbook": 3, "desk": 2, "command": 2, "physics": 1}


@pytest.mark.parametrize("reader", READERS, ids=lambda reader: reader.name)
def test_no_input_breaks_a_reader_or_is_misread(reader):
    @given(st.randoms(use_true_random=False))
    @settings(max_examples=FEW.get(reader.name, 8), deadline=None)
    def tried(rng):
        with tempfile.TemporaryDirectory() as folder:
            reader.run(Trial(rng, Path(folder)))

    if reader.name == "physics":
        points(Trial(Random(5), Path()))
    else:
        tried()


@pytest.mark.parametrize(
    ("text", "numbers", "unit"),
    [
        ("1.100", {1.1, 1100.0}, ""),
        ("1,100", {1.1, 1100.0}, ""),
        ("1.100,5", {1100.5}, ""),
        ("1\u00a0100,5 g", {1100.5}, "g"),
        ("1'100.25kV", {1100.25}, "kV"),
        ("−5", {-5.0}, ""),
        ("0,500", {0.5}, ""),
        ("007", {7.0}, ""),
        ("1.5e3", {1500.0}, ""),
        ("12 %", {12.0}, "%"),
        ("1,100,000.5", {1100000.5}, ""),
    ],
)  # fmt: skip
def test_the_judge_reads_as_a_person_does(text, numbers, unit):
    """Conventions of the SI Brochure, 5.4.4, and of English, German and Swiss print."""
    cell = scan(text)
    assert {float(value) for value in cell.numbers.values()} == numbers
    assert cell.unit == unit


@pytest.mark.parametrize("text", ["", "nan", "inf", "1.2.3", "1,10,000", "x5", "--5", "#N/A", "½"])
def test_the_judge_shakes_the_head(text):
    assert scan(text) is None


def _misreads(trial):
    judge = Judge(type("Rule", (), {"unit": "g", "kind": "number", "gt": 0, "ge": None, "lt": None, "le": 5000})())
    if judge.allowed(f"1,{trial.rng.randint(100, 999)}") != [1.1]:
        raise AssertionError("caught")


def _dies(trial):
    import os

    os._exit(3)


def test_the_harness_sees_what_goes_wrong(capfd):
    fuzzer = Fuzzer([Reader("misreads", _misreads), Reader("dies", _dies), Reader("sound", lambda trial: None)], seed=1)
    fuzzer.run(inputs=9)
    assert {name: tally.inputs for name, tally in fuzzer.tallies.items()} == {"misreads": 3, "dies": 3, "sound": 3}
    assert {name: sum(tally.count.values()) for name, tally in fuzzer.tallies.items()} == {
        "misreads": 3, "dies": 3, "sound": 0,
    }  # fmt: skip
    assert "abort, 3 times" in fuzzer.table()
