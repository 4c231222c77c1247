"""``--sources`` on every command: what was computed, the parts that the answer names, and what nobody published."""

import json
import os
import subprocess
import sys

import click

from propmatch.cache import VARIABLE
from propmatch.cli import COMMANDS, propmatch
from propmatch.commands.sources import Called, sources_of_answer, sources_text
from propmatch.models import air, slipstream

TYPED = ("--motor", "1500kV 28g", "--propeller", "6x4", "--pack", "2S 450mAh")


def commands(group, above):
    for name in group.list_commands(above):
        command = group.get_command(above, name)
        if isinstance(command, click.Group):
            yield from commands(command, click.Context(command, parent=above))
        else:
            yield command


def test_every_command_has_it():
    found = list(commands(propmatch, click.Context(propmatch)))
    assert len(found) > len(COMMANDS)
    assert [each.name for each in found if not any("--sources" in param.opts for param in each.params)] == []


def test_an_answer_names_laws_parts_cells_and_assumptions(run):
    document = run("point", *TYPED, "--json", "--sources").document
    by_kind = {}
    for each in document["sources"]:
        by_kind.setdefault(each["kind"], {}).setdefault(each["of"], []).append(each["source"])
    assert list(by_kind) == ["law", "part", "cells", "assumed"]
    # the laws' own sources: Drela's note and the standard atmosphere are what a point at rest rests on
    assert any("M. Drela" in source for source in by_kind["law"]["models.motor"])
    assert any("ISO 2533" in source for source in by_kind["law"]["models.air"])
    assert any("predicted" in source for source in by_kind["part"]["6x4"])
    assert by_kind["part"]["1500kV 28g"] == ["typed in (label)"]
    assert any("Ai et al. 2020" in source for source in by_kind["cells"]["lipo cells"])
    assert "common practice, no published source" in by_kind["assumed"]["radio_current_a of radio"]
    # nothing flies or is thrown in it
    assert "aircraft.launch" not in by_kind["law"]
    assert "aircraft.trim" not in by_kind["law"]
    assert not any("none needed" in each["source"] for each in document["sources"])


def test_without_it_nothing_is_said(run):
    assert "sources" not in run("point", *TYPED, "--json").document


def test_text_has_them_after_the_answer(run):
    out = run("point", *TYPED, "--sources").out
    answer, _, said = out.partition("Sources of this answer:")
    assert "--cautions" in answer
    assert "models.motor: M. Drela" in said
    assert max(map(len, out.splitlines())) <= 80


def test_an_answer_that_is_a_file_stays_one(run):
    ran = run("schema", "--sources")
    json.loads(ran.out)
    assert ran.err.startswith("Source")


def test_an_exit_code_is_kept(run):
    """What cannot be met ends with 1 and names its sources all the same."""
    words = ("ask", "kv", "--current", "400A", *TYPED)
    plain, named = run(*words), run(*words, "--sources")
    assert plain.exit_code == named.exit_code == 1
    assert "models.motor: M. Drela" in named.out + named.err


def test_what_other_processes_compute_cannot_be_followed(run):
    ran = run("sweep", "club_racer", "--processes", "2", "--sources")
    assert ran.exit_code == 2
    assert "--sources follows what this process computes" in ran.err


def test_what_is_called_is_noted_and_what_is_kept_is_made_again(monkeypatch):
    monkeypatch.setenv(VARIABLE, "somewhere")
    with Called() as called:
        assert os.environ[VARIABLE] == ""
        air.Air.standard(500.0)
        rows = sources_of_answer(called, {})
    assert os.environ[VARIABLE] == "somewhere"
    assert {each["of"] for each in rows} == {"models.air"}
    with Called() as called:
        slipstream.disk_area_m2(0.2)
    (of,) = {each["of"] for each in sources_of_answer(called, {})}
    assert of == "models.slipstream"
    with Called() as called:
        air.Air.standard(500.0)
    assert {each["of"] for each in sources_of_answer(called, {})} == {"models.air"}, "what was noted is noted again"


def test_what_shares_a_source_stands_together():
    rows = [{"kind": "part", "of": name, "source": "a stand (measured)"} for name in "abcdef"]
    assert sources_text(rows)[1:] == ["  - a, b, c, d and 2 more: a stand (measured)"]
    assert sources_text([]) == ["Sources: no law and no part was used."]


def test_what_runs_while_modules_are_imported_is_in_no_answer(run):
    """In a process of its own, where nothing has been imported."""
    code = "from propmatch.cli import main; main()"
    for words in (("schema",), ("words", "ESC")):
        done = subprocess.run(
            [sys.executable, "-c", code, *words, "--sources"], capture_output=True, text=True, check=True
        )
        assert "Sources: no law and no part was used." in done.stdout + done.stderr
    assert "records.blades" in run("words", "thick", "--sources").out
