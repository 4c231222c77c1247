"""How long and how wide answers are: counted from what is printed for the bundled briefs where nobody watches."""

import re

import pytest

from propmatch_datasets import briefs

MOST = {"match": 40, "cells": 45}
"""Lines; wanted of each command for every bundled brief."""


@pytest.mark.parametrize("brief", briefs())
@pytest.mark.parametrize("command", MOST)
def test_an_answer_is_short_fits_the_page_and_says_nothing_twice(run, command, brief):
    lines = run(command, brief).out.splitlines()
    assert len(lines) <= MOST[command]
    assert max(map(len, lines)) <= 80
    said = [line for line in lines if line]
    assert len(set(said)) == len(said)
    flat = " ".join(lines)
    assert not re.search(r"\d\.\d+ min", flat)  # whole minutes
    assert re.search(r"\d+ \(\d+ to \d+\) min", flat)  # with their range
    assert lines[-1].startswith("Estimates: ")
    assert flat.count("more: --assumptions lists all.") == 1
    assert 2 <= len(re.findall(r"^  - [a-z ]+ by \d+ %: ", "\n".join(lines), re.MULTILINE)) <= 4
    head = lines[: lines.index("")]
    assert "hottest: the " in " ".join(head)
    assert "of 100 builds keep every limit" in " ".join(head)


@pytest.mark.parametrize("width", ["50", "100"])
def test_an_answer_fits_other_terminals(run, monkeypatch, width):
    monkeypatch.setenv("COLUMNS", width)
    for words in (("match", "schoolyard_trainer", "--full"), ("match", "schoolyard_trainer", "--why", "1")):
        assert max(map(len, run(*words).out.splitlines())) <= int(width)


@pytest.mark.parametrize(
    "words",
    [
        ("point", "--motor", "1500kV 28g", "--propeller", "7x4", "--pack", "2S 1000mAh 30C", "--throttle", "1"),
        ("time", "schoolyard_trainer", "--full"),
    ],
)
def test_every_line_fits_a_narrow_terminal_and_none_is_a_letter_wide(run, monkeypatch, words):
    monkeypatch.setenv("COLUMNS", "60")
    lines = run(*words).out.splitlines()
    assert max(map(len, lines)) <= 60
    assert sum(len(line.split()) == 1 and len(line.strip()) == 1 for line in lines) < 3


def test_help_fits_the_page(run):
    assert max(map(len, run("ask", "--help").out.splitlines())) <= 80


def test_the_verdict_stands_beside_the_value(run):
    lines = run("match", "schoolyard_trainer", "--why", "1").out.splitlines()
    (head,) = [line for line in lines if line.startswith("check ") or " verdict " in line]
    assert head.split()[:4] == ["check", "value", "(range)", "verdict"]


def test_how_many_pass_is_exact_where_asked_and_estimated_where_not_counted(run):
    """Where nobody counts, by a sample; the count itself is that of the search."""
    counted = run("match", "club_racer", "--count", "--json").document
    assert counted["passing_estimate"] is None
    text = run("match", "club_racer", "--count").out
    assert f"\n{counted['passing']:,} of " in text


def test_what_was_not_counted_is_estimated(run, monkeypatch):
    from propmatch.search import matching

    monkeypatch.setattr(matching, "COUNTED", 0)
    estimate = run("match", "club_racer", "--json").document
    about = estimate["passing_estimate"]
    assert estimate["passing"] is None
    assert about["low"] <= run("match", "club_racer", "--count", "--json").document["passing"] <= about["high"]
    assert re.search(r"\nAbout .+ \(.+ to .+, by a sample\) of", run("match", "club_racer").out)


def test_assumptions_and_cautions_in_full_on_request(run):
    words = ("match", "schoolyard_trainer")
    every = run(*words, "--json").document["assumptions"]
    flat = " ".join(run(*words, "--assumptions", "--cautions").out.split())
    assert all(" ".join(each["text"].split()).replace("degC", "°C") in flat for each in every)
    assert "--assumptions" not in flat
    assert "charge packs under watch" in flat


def test_reasons_follow_the_units(run):
    text = run("match", "schoolyard_trainer", "--why", "1", "--units", "imperial").out
    checks = text.split("\n\n")[1]
    assert " oz" in checks
    assert " ft/s" in checks
    assert not re.search(r"\d (g|m|mm|m/s|g/dm2)\b", checks)
