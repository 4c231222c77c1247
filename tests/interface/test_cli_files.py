"""Every option that names a file to write: what is there stays unless ``--force`` says so, and what cannot be written
is a line that names it, before anything is worked out.
"""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from support.commands import TYPED

from propmatch.cli import COMMANDS, propmatch
from propmatch_datasets import path

TRAIN = TYPED[:6]
OPTIONS = {
    "schema": (("schema", "-o"), ".json"),
    "point": (("point", *TRAIN, "--plot"), ".svg"),
    "time": (("time", "club_racer", "--plot"), ".svg"),
    "cells": (("cells", "club_racer", "--plot"), ".svg"),
    "fit": (("fit", "no log.csv", "--plot"), ".svg"),
    "sheet": (("sheet", "club_racer", "-o"), ".html"),
    "sheet, drawing": (("sheet", "club_racer", "--plot"), ".svg"),
    "bench": (("bench", *TRAIN, "--template"), ".csv"),
    "flown": (("flown", "club_racer", "--minutes", "9", "--mah", "500", "--output"), ".toml"),
    "match": (("match", "club_racer", "--only", "bundled", "--shopping"), ".csv"),
    "parts, drawing": (("parts", "--which-family", "5x4.5x3", "--drawing"), ".svg"),
    "parts, template": (("parts", "--template"), ".toml"),
}
"""The words before the file's name, and an ending it may have."""


@pytest.fixture(params=OPTIONS)
def words(request, tmp_path, monkeypatch):
    """The command, and the name of a file in an empty folder at hand."""
    monkeypatch.chdir(tmp_path)
    before, ending = OPTIONS[request.param]
    return [*before, f"out{ending}"]


def test_what_is_there_stays_and_the_words_are_the_same_everywhere(run, words):
    Path(words[-1]).write_text("mine", encoding="utf-8")
    done = run(*words)
    assert (done.exit_code, done.out) == (2, "")
    assert f"{words[-1]}: exists already; --force replaces it, another name keeps both" in done.faults
    assert Path(words[-1]).read_text(encoding="utf-8") == "mine"
    assert os.listdir() == [words[-1]]


def test_every_place_that_takes_no_file_is_a_line(run, words):
    Path("folder").mkdir()
    ending = Path(words[-1]).suffix
    Path(f"link{ending}").symlink_to("gone")
    Path(f"sub{ending}").mkdir()
    rules = {} if "--template" in words else {"nowhere/out": "its folder does not exist"}  # a box is made for it
    rules |= {"link": "is a link that leads nowhere", "sub": "is a folder"}
    for name, rule in ((f"{name}{ending}", rule) for name, rule in rules.items()):
        done = run(*words[:-1], name, "--force")
        assert (done.exit_code, done.out) == (2, "")
        assert f"{name}: {rule}" in done.faults
    assert sorted(os.listdir()) == ["folder", f"link{ending}", f"sub{ending}"]


def test_every_option_that_writes_is_here():
    """By its help, so that one that comes later is not forgotten."""
    context = propmatch.make_context("propmatch", ["--help"], resilient_parsing=True)
    writing = {
        (name, max(param.opts, key=len))
        for name in COMMANDS
        for param in propmatch.get_command(context, name).params
        if getattr(param, "metavar", "") == "FILE"
        and any(word in (param.help or "") for word in ("Write", "write", "Draw"))
    }
    known = {(words[0], {"-o": "--output"}.get(words[-1], words[-1])) for words, _ in OPTIONS.values()}
    assert {each for each in writing if each[0] != "sheet" or each[1] == "--plot"} <= known | {("sheet", "--plot")}
    assert all("--force" in {opt for param in propmatch.get_command(context, name).params for opt in param.opts}
               for name, _ in writing)  # fmt: skip


PRINTS = "from propmatch.cli import main; main()"


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="a device of Linux")
@pytest.mark.parametrize("words", [("schema",), ("words", "--json")], ids=str)
def test_a_full_disk_behind_standard_output_is_a_line(words):
    with open("/dev/full", "w") as full:
        done = subprocess.run(
            [sys.executable, "-c", PRINTS, *words], stdout=full, stderr=subprocess.PIPE, text=True, check=False
        )
    assert done.returncode == 2
    assert done.stderr == f"{words[0]}: No space left on device\n"


def test_a_device_that_is_full_is_a_line(run):
    done = run("schema", "-o", "/dev/full")
    assert (done.exit_code, done.err) == (2, "/dev/full: No space left on device\n")


def test_standard_output_is_written_to_unless_that_would_cut_it_off(tmp_path):
    """Its name leads to a pipe, which takes the file, or to a file, which a new one in its place would part from it."""
    words = [sys.executable, "-c", PRINTS, "schema", "-o", "/dev/stdout"]
    done = subprocess.run(words, capture_output=True, text=True, check=True)
    assert '"$schema"' in done.stdout
    with (tmp_path / "out").open("w") as out:
        done = subprocess.run(words, stdout=out, stderr=subprocess.PIPE, text=True, check=False)
    assert (done.returncode, done.stderr) == (2, "/dev/stdout: is where this command prints already\n")


@pytest.mark.parametrize("words", [("schema",), ("parts", "motors", "--csv")], ids=str)
def test_who_stops_reading_sees_no_more(words):
    run = [sys.executable, "-c", PRINTS, *words]
    with subprocess.Popen(run, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
        process.stdout.readline()
        process.stdout.close()
        said = process.stderr.read()
    assert said == ""


def test_standard_output_that_is_closed_is_no_fault():
    done = subprocess.run(
        ["sh", "-c", f'exec "{sys.executable}" -c "{PRINTS}" briefs >&-'],
        stderr=subprocess.PIPE,
        text=True,
        check=False,
    )
    assert (done.returncode, done.stderr) == (0, "")


GIVEN = path("briefs/club_racer.toml").read_text(encoding="utf-8")


def test_what_a_command_reads_is_not_replaced(run, tmp_path, monkeypatch):
    """Whatever --force says: the brief, a log, a table of parts."""
    monkeypatch.chdir(tmp_path)
    Path("own").mkdir()
    files = ("brief.toml", "brief.html", "log.svg", "own/motors.csv")
    for name in files:
        Path(name).write_text(GIVEN, encoding="utf-8")
    for words, read in (
        (("sheet", "brief.html", "-o", "../" + tmp_path.name + "/brief.html"), "BRIEF"),
        (("flown", "brief.toml", "--minutes", "9", "--mah", "500", "--output", "brief.toml"), "BRIEF"),
        (("fit", "log.svg", "--plot", "log.svg"), "LOG"),
        (("bench", *TRAIN, "--parts", "own", "--template", "own/motors.csv"), "--parts"),
    ):
        done = run(*words, "--force")
        assert (done.exit_code, done.out) == (2, "")
        assert f"is a file of {read} too, which would be lost" in done.err
    assert {Path(name).read_text(encoding="utf-8") for name in files} == {GIVEN}


def test_a_sheet_is_html_and_its_files_differ(run, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    for more in ((), ("--force",)):
        done = run("sheet", "club_racer", "-o", "y.html", "--pdf", "--plot", "y.pdf", *more)
        assert (done.exit_code, "--plot: 'y.pdf': is named twice" in done.err) == (2, True)
    done = run("sheet", "club_racer", "-o", "y.toml")
    assert (done.exit_code, "must end in .html, .htm" in done.err) == (2, True)
    assert os.listdir() == []
