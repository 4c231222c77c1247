import json
import pickle

import attrs
import pytest

from propmatch.faults import Fault, InputFaults, did_you_mean, near_words


@pytest.mark.parametrize(
    ("fault", "line"),
    [
        (
            Fault("b.toml:3", "aircraft.bare_mass_g", -650, "must be a number above 0 g"),
            "b.toml:3: aircraft.bare_mass_g = -650: must be a number above 0 g",
        ),
        (
            Fault("b.toml", "motor.kv", None, "unknown key", "did you mean kv_rpm_per_v?"),
            "b.toml: motor.kv: unknown key; did you mean kv_rpm_per_v?",
        ),
        (Fault("b.toml", rule="no such file"), "b.toml: no such file"),
        (Fault("p.xlsx:motors:7", "kv_kind", "labl", "must be one of a, b"),
         "p.xlsx:motors:7: kv_kind = 'labl': must be one of a, b"),
        (Fault("f", "x", True, "must be a number"), "f: x = true: must be a number"),
        (Fault("f", "x", float("nan"), "must be finite"), "f: x = nan: must be finite"),
        (Fault("f", "kv", 9.0, "is odd for 20 g", kind="warning"), "warning: f: kv = 9.0: is odd for 20 g"),
    ],
)  # fmt: skip
def test_one_plain_line(fault: Fault, line: str) -> None:
    assert str(fault) == line


def test_signs_that_do_not_print_are_shown_as_escapes() -> None:
    """Unicode Standard Annex 9: U+202E turns what follows around, so that a file's name looks like another."""
    assert str(Fault("mot\u202esvc.csv\n", rule="no\x1b[2Jsuch file")) == ("mot\\u202esvc.csv\\n: no\\x1b[2Jsuch file")


def test_any_value_is_kept_short_and_plain() -> None:
    fault = Fault("f", "x", {"a": list(range(200))}, "must be a number")
    assert isinstance(fault.value, str)
    assert len(fault.value) <= 60
    assert len(Fault("f", "x", "y" * 500).value) == 60
    assert "\n" not in str(Fault("f", "x", "two\nlines", "must be short"))
    assert json.loads(json.dumps(attrs.asdict(fault)))["key"] == "x"
    hash(fault)


def test_exception_lists_every_fault_and_travels_between_processes() -> None:
    faults = [Fault("f", "a", 1, "must be 2"), Fault("f", "b", None, "missing")]
    error = InputFaults(faults)
    assert str(error).splitlines() == [str(each) for each in faults]
    assert pickle.loads(pickle.dumps(error)).faults == tuple(faults)


KEYS = ["kv_rpm_per_v", "kv_kind", "mass_g", "resistance_ohm", "max_current_a", "throttle"]


@pytest.mark.parametrize(
    ("word", "best"),
    [
        ("kv", "kv_kind"),
        ("kv_rpm", "kv_rpm_per_v"),
        ("throtle", "throttle"),
        ("Mass_G", "mass_g"),
        ("resistance", "resistance_ohm"),
        ("ohm", "resistance_ohm"),
        ("current", "max_current_a"),
    ],
)
def test_near_words(word: str, best: str) -> None:
    assert best in near_words(word, KEYS)
    assert best in did_you_mean(word, KEYS)


@pytest.mark.parametrize("word", ["", "   ", "zzzzzz", "7"])
def test_no_guess_where_nothing_is_near(word: str) -> None:
    assert near_words(word, KEYS) == []
    assert did_you_mean(word, KEYS) == ""
    assert did_you_mean("kv", []) == ""


def test_prefix_that_letters_miss() -> None:
    # difflib alone rates 'kv' against 'kv_rpm_per_v' at 0.29
    assert "kv_rpm_per_v" in near_words("kv", KEYS)


def test_nothing_that_a_file_brings_is_shown_whole() -> None:
    long = "k" * 1_000_000
    fault = Fault("x.toml:1", long, 10**4000, f"unknown {long}", did_you_mean(long, ["mass_g"]))
    assert len(str(fault)) < 3000
    assert Fault("x", value=10**12).value == 10**12
