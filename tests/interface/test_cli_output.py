"""Answers as JSON, CSV and text; progress only where somebody watches."""

import csv
import io
import json
import math

import click
import numpy as np
import pytest

from propmatch.commands import progress
from propmatch.commands.output import Reply, show
from propmatch.faults import Fault
from propmatch.records.estimates import Assumption
from propmatch.records.parts import Source
from propmatch.status import Flag, Status

ROW = {
    "rpm": np.float64(9000.0),
    "thrust_n": math.nan,
    "count": np.int64(2),
    "status": Status.CANNOT_HOLD,
    "flags": Flag.RPM_ABOVE_TABLE | Flag.TIP_MACH_HIGH,
    "name": 'a "quoted", name',
    "limit": math.inf,
}


def test_json_has_null_for_what_is_not_a_number(capsys):
    made = Assumption("motor", "resistance_ohm", 0.1, "ohm", "because")
    show(Reply(command="point", rows=[ROW], assumptions=[made], faults=[Fault("f.toml:3", "a.b", -1)]), form="json")
    document = json.loads(capsys.readouterr().out, parse_constant=pytest.fail)
    (row,) = document["rows"]
    assert row["rpm"] == 9000.0
    assert row["thrust_n"] is None
    assert row["limit"] is None
    assert row["count"] == 2
    assert row["status"] == "CANNOT_HOLD"
    assert row["flags"] == ["RPM_ABOVE_TABLE", "TIP_MACH_HIGH"]
    assert document["assumptions"][0]["field"] == "resistance_ohm"
    assert document["faults"][0] == {
        "where": "f.toml:3", "key": "a.b", "value": -1, "rule": "", "hint": "", "kind": "fault",
    }  # fmt: skip


def test_what_a_form_does_not_show_is_not_made(capsys):
    asked = []

    def later(name, value):
        return lambda: asked.append(name) or value

    reply = Reply(
        command="point", headline=["It turns."], rows=later("rows", [{"rpm": 1.0}]),
        details={"losses": later("losses", ["lost"]), "gears": []}, extra=later("extra", {"train": "own"}),
    ).with_extra(box=2)  # fmt: skip
    show(reply)
    assert capsys.readouterr().out == "It turns.\n\n--full adds: losses.\n"
    assert asked == []
    show(reply, form="csv")
    assert capsys.readouterr().out.splitlines() == ["rpm", "1.0"]
    assert asked == ["rows"]
    show(reply, form="json")
    document = json.loads(capsys.readouterr().out)
    assert (document["rows"], document["train"], document["box"]) == ([{"rpm": 1.0}], "own", 2)
    assert asked == ["rows", "rows", "extra"]
    with click.Context(click.Command("point"), info_name="point") as context:
        context.params["full"] = True
        show(reply)
    assert capsys.readouterr().out == "It turns.\n\nlost\n"
    assert asked[3:] == ["losses"]


def test_csv_reads_back(capsys):
    show(Reply(command="point", rows=[ROW, {"rpm": 1.0, "more": "x"}], notes=["mind"]), form="csv")
    printed = capsys.readouterr()
    first, second = csv.DictReader(io.StringIO(printed.out))
    assert first["name"] == ROW["name"]
    assert first["thrust_n"] == ""
    assert first["flags"] == "RPM_ABOVE_TABLE|TIP_MACH_HIGH"
    assert second["more"] == "x"
    assert printed.err == "Note: mind\n"


def test_many_faults_are_cut_short_unless_they_are_the_answer(capsys):
    faults = [Fault(f"file:{line}", "mass_g", -1, "wrong") for line in range(20)]
    show(Reply(command="match", faults=faults))
    short = capsys.readouterr().out
    assert "file:19" not in short
    assert "14 more: 'propmatch parts --faults' lists them all" in short
    show(Reply(command="parts", faults=faults, all_faults=True))
    assert "file:19" in capsys.readouterr().out


class Terminal(io.StringIO):
    def isatty(self):
        return True


@pytest.mark.parametrize(("stream", "told"), [(Terminal(), True), (io.StringIO(), False)])
def test_progress_shows_on_a_terminal_only(monkeypatch, stream, told):
    monkeypatch.setattr("sys.stderr", stream)
    clock = iter(range(100))
    monkeypatch.setattr(progress.time, "monotonic", lambda: float(next(clock)))
    with progress.progress_line("matching") as tell:
        for done in range(4):
            tell(done, 4)
    assert ("matching:" in stream.getvalue()) == told


def test_progress_is_silent_in_the_first_second(monkeypatch):
    stream = Terminal()
    monkeypatch.setattr("sys.stderr", stream)
    monkeypatch.setattr(progress.time, "monotonic", lambda: 5.0)
    with progress.progress_line("matching") as tell:
        tell(1, 2)
    assert stream.getvalue() == ""


def test_csv_says_the_source_in_words_and_holds_no_formula(capsys):
    source = Source(text="bench of the club", kind="measured", uncertainty=0.02)
    show(Reply(command="parts", rows=[{"name": "=1+1", "source": source, "kv": -2.5}]), form="csv")
    (row,) = csv.DictReader(io.StringIO(capsys.readouterr().out))
    assert row == {
        "name": "'=1+1", "source": "bench of the club", "kv": "-2.5", "source_kind": "measured", "uncertainty": "0.02",
    }  # fmt: skip
