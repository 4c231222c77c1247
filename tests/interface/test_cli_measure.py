"""``propmatch measure``: what to measure next, and what a reading changes."""

import pytest
from support.commands import TRAIN

ASK = ("measure", "wetland_logger", *TRAIN)


def test_it_says_what_is_least_certain_and_what_to_measure(run):
    ran = run(*ASK)
    assert ran.exit_code == 0, ran.err
    assert max(map(len, ran.out.splitlines())) <= 100
    flat = " ".join(ran.out.split())
    for words in ("Least certain: ", "A verdict given now is wrong in", "Best two: ", "ranges hold 80 % of builds"):
        assert words in flat, words


def test_rows_name_reading_unit_and_work(run):
    document = run(*ASK, "--json").document
    assert document["command"] == "measure"
    assert document["judged"]["chance"] < 1
    for row in document["rows"]:
        assert row["reading_low"] < row["reading"] < row["reading_high"]
        assert row["unit"]
        assert row["minutes"] > 0
        assert row["tools"]
    lines = run(*ASK, "--csv").out.splitlines()
    assert len(lines) == 1 + len(document["rows"])


def test_a_reading_is_used_and_said(run):
    before = run(*ASK, "--check", "thrust to weight", "--json").document
    scale = next(row for row in before["rows"] if row["measurement"] == "scale")
    taken = f"scale={scale['reading']}N"
    after = run(*ASK, "--check", "thrust_to_weight", "--reading", taken, "--json").document
    wide = [each["judged"]["value_high"] - each["judged"]["value_low"] for each in (before, after)]
    assert wide[1] < 0.45 * wide[0]
    assert [each["check"] for each in after["before"]] == [each["check"] for each in after["after"]]
    text = " ".join(run(*ASK, "--reading", taken).out.split())
    assert "measured: scale" in text
    assert "What that says:" in text


def test_a_number_without_a_unit_is_in_the_unit_that_is_shown(run):
    metric, imperial = (
        run(*ASK, "--reading", text, "--units", units, "--json").document["readings"][0]["value"]
        for text, units in (("scale=230", "metric"), ("scale=8.113", "imperial"))
    )
    assert metric == pytest.approx(imperial, rel=1e-3)


def test_every_bad_reading_is_named_at_once(run):
    ran = run(*ASK, "--reading", "foo=3", "--reading", "scale", "--reading", "wattmeter=-1")
    assert ran.exit_code == 2
    assert len(ran.faults) == 3
    for words in ("is no measurement", "must be NAME=NUMBER", "must be above 0"):
        assert words in ran.err
    assert run(*ASK, "--check", "nonsense").exit_code == 2
    assert run(*ASK, "--reading", "wattmeter=900").exit_code == 2
