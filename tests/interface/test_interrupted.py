"""Ctrl-C: exit code 130, no answer that looks whole, and only ``match`` shows the best so far, said as such."""

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from types import SimpleNamespace

import pytest
from support.bundled import SMALL_PARTS

from propmatch.commands.matchwords import _what_would
from propmatch.search.bounds import pruned
from propmatch.search.bounds.pruned import Best
from propmatch.search.exhaustive import Interrupted

BRIEF = (
    """
[aircraft]
name = "interrupted bird"
bare_mass_g = 250
[limits]
min_thrust_to_weight = 0.4
[[phase]]
name = "circuits"
airspeed_m_s = 10
share = 1.0
"""
    + SMALL_PARTS
)


@pytest.fixture
def interrupted(run, monkeypatch, tmp_path):
    """Runs a command on the brief, interrupted as soon as a search has something to show."""
    monkeypatch.setenv("PROPMATCH_CACHE", "")
    (tmp_path / "bird.toml").write_text(BRIEF, encoding="utf-8")
    real = Best.add

    def adds(self, drives, lanes, flight, open_):
        real(self, drives, lanes, flight, open_)
        if not open_.all():
            raise KeyboardInterrupt

    monkeypatch.setattr(Best, "add", adds)
    return lambda command, *words: run(command, str(tmp_path / "bird.toml"), *words)


@pytest.mark.parametrize("command", ["time", "sweep", "cells", "envelope", "sheet", "bench", "match --why 1"])
def test_a_command_that_is_interrupted_answers_nothing(interrupted, command, monkeypatch, tmp_path):
    monkeypatch.chdir(tmp_path)
    ran = interrupted(*command.split())
    assert (ran.exit_code, ran.out, ran.err) == (130, "", "Interrupted.\n")
    assert [path.name for path in tmp_path.iterdir()] == ["bird.toml"]


def test_match_shows_the_best_so_far_and_says_so(interrupted):
    text, data = interrupted("match"), interrupted("match", "--json")
    assert text.exit_code == data.exit_code == 130
    assert text.out.startswith("Interrupted: not every combination was looked at.")
    assert ", best so far: " in text.out
    assert "meet the brief on paper" not in text.out, "nothing was counted"
    document = json.loads(data.out)
    assert document["complete"] is False
    assert document["rows"]
    assert (document["passing"], document["left_out"]) == (None, {})
    assert any("best so far" in note for note in document["notes"])


def test_match_says_when_its_time_is_up_and_how_much_better_the_rest_can_be(run, monkeypatch, tmp_path):
    monkeypatch.setattr(pruned, "_BLOCK", 40)  # small steps
    (tmp_path / "bird.toml").write_text(BRIEF, encoding="utf-8")
    words = ("match", str(tmp_path / "bird.toml"), "--on-paper")
    text, data, whole = (
        run(*words, *more) for more in (("--within", "1e-9"), ("--within", "1e-9", "--json"), ("--json",))
    )
    assert text.out.startswith("Time is up: not every combination was looked at.")
    document, ended = json.loads(data.out), json.loads(whole.out)
    assert (document["complete"], ended["complete"]) == (False, True)
    assert "score_at_most" not in ended
    assert set(document["score_at_most"]) == set(ended["by_cells"])
    best = max((row["score"] for row in ended["rows"]), default=0.0)
    assert max(document["score_at_most"].values()) >= best * (1.0 - 1e-9)
    assert json.loads(run(*words, "--within", "600", "--json").out)["rows"] == ended["rows"]


def test_time_up_before_anything_was_found_is_said_once(run, monkeypatch, tmp_path):
    monkeypatch.setattr(pruned, "_BLOCK", 40)  # small steps
    text = BRIEF.replace("min_thrust_to_weight = 0.4", "min_thrust_to_weight = 0.4\nmin_flight_minutes = 600")
    (tmp_path / "bird.toml").write_text(text, encoding="utf-8")
    ran = run("match", str(tmp_path / "bird.toml"), "--on-paper", "--within", "1e-9")
    said = " ".join(ran.out.split())
    assert ran.exit_code == 1
    assert said.startswith("Time was up before anything was found that meets the brief: not every combination")
    assert said.count("found") == 1
    assert "best so far" not in said
    assert "none was found within the time" in " ".join(run("match", "--help").out.split())


@pytest.mark.parametrize("seconds", ["nan", "inf", "-inf", "0"])
def test_a_time_is_a_finite_number(run, seconds):
    ran = run("match", "--within", seconds)
    assert (ran.exit_code, "--within" in ran.err) == (2, True)


@pytest.mark.parametrize(
    ("alone", "says"),
    [
        (0.82, "each limit alone holds often enough, all together in 70 of 100; least certain is flight time (82)"),
        (0.61, "what fails first is flight time, which holds in 61 of 100: ease that limit"),
    ],
)  # fmt: skip
def test_limits_that_fail_together_are_not_said_to_fail_alone(alone, says):
    """A chance of all is at most that of each, and where those are as asked no one limit is what fails."""
    setting = SimpleNamespace(brief=SimpleNamespace(limits=SimpleNamespace(chance=0.8, rating_chance=0.8)),
                              variant=SimpleNamespace(name="as designed"))  # fmt: skip
    drawn = SimpleNamespace(wishes=("flight_time", "thrust_to_weight"), ratings=(), setting=setting)
    chances = {"flight_time": alone, "thrust_to_weight": 0.85}
    sure = SimpleNamespace(
        drawn=drawn, chance=chances.__getitem__, chance_wishes=0.7 * alone / 0.82, chance_ratings=0.9
    )
    said = _what_would(SimpleNamespace(setting=setting), SimpleNamespace(cells=3), SimpleNamespace(least_sure=sure))
    assert says in said


def test_an_interrupted_search_one_by_one_has_no_row_of_a_cell_count_not_reached(run, monkeypatch, tmp_path):
    from propmatch.search import exhaustive

    monkeypatch.setenv("PROPMATCH_CACHE", "")
    monkeypatch.setattr(exhaustive, "_CHUNK", 64)
    (tmp_path / "bird.toml").write_text(BRIEF, encoding="utf-8")
    real, calls = exhaustive.first_failures, []

    def fails(measured):
        calls.append(None)
        if len(calls) == 12:
            raise KeyboardInterrupt
        return real(measured)

    monkeypatch.setattr(exhaustive, "first_failures", fails)
    ran = run("match", str(tmp_path / "bird.toml"), "--exhaustive", "--json")
    assert ran.exit_code == 130
    assert len(json.loads(ran.out)["by_cells"]) == 1


STUCK = """
import sys, time
from propmatch import cli
class Stuck:
    def __call__(self, **_):
        while True:
            try:
                print("on its way", flush=True)
                time.sleep(60)
            except KeyboardInterrupt:
                pass
cli.propmatch = Stuck()
cli.main()
"""


@pytest.mark.skipif(os.name == "nt", reason="no such signal")
def test_what_does_not_clear_up_is_ended_within_two_seconds():
    process = subprocess.Popen([sys.executable, "-c", STUCK], stdout=subprocess.PIPE, text=True)
    process.stdout.readline()
    start = time.monotonic()
    process.send_signal(signal.SIGINT)
    process.communicate(timeout=60)
    assert process.returncode == 130
    assert 1.0 < time.monotonic() - start < 15.0, "1.7 s on a quiet machine"


@pytest.mark.skipif(not Path("/proc/self/task").is_dir(), reason="says no children of a process")
def test_processes_of_a_sweep_end_with_it(tmp_path):
    words = [sys.executable, "-m", "propmatch.cli", "sweep", "--processes", "2", "--samples", "500"]
    process = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True,
                               env={**os.environ, "PROPMATCH_CACHE": ""})  # fmt: skip
    of_its_own = Path(f"/proc/{process.pid}/task/{process.pid}/children")
    while not of_its_own.read_text():
        time.sleep(0.1)
    os.killpg(process.pid, signal.SIGINT)
    out, complaints = process.communicate(timeout=60)
    assert (process.returncode, out) == (130, "")
    assert complaints in ("Interrupted.\n", ""), "where the machine is so busy that it is ended, it says nothing"
    gone = time.monotonic() + 5.0
    while time.monotonic() < gone and _lives(process.pid):
        time.sleep(0.1)
    assert not _lives(process.pid)


def _lives(group):
    try:
        os.killpg(group, 0)
    except ProcessLookupError:
        return False
    return True


def test_an_interruption_is_one_to_whoever_calls_the_library():
    assert issubclass(Interrupted, KeyboardInterrupt)
