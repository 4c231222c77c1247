"""``propmatch bench``: the protocol as text and JSON, the empty table, bad input."""

import csv
import math

import pytest
from support.bundled import PROPELLER
from support.commands import TRAIN, TYPED, narrow_brief  # noqa: F401

OWN = ("--motor", "1500kV 28g", "--propeller", "7x4", "--pack", "3S 850mAh 35C")


def test_the_protocol_says_rows_connections_and_cautions(run):
    ran = run("bench", *OWN)
    assert ran.exit_code == 0
    assert max(map(len, ran.out.splitlines())) <= 100
    assert ran.out.startswith("6 rows for 1500kV 28g on 7x4 with 3S 850mAh 35C, about ")
    for words in (
        "What each row tells:",
        "Instruments:",
        "Connect:",
        "Cautions:",
        "wattmeter",
        "Lithium packs",
        "local",
    ):
        assert words in ran.out
    assert "Nobody states the highest speed of 7x4" in ran.out


def test_json_has_the_same_rows(run):
    found = run("bench", *OWN, "--json").document
    assert found["command"] == "bench"
    assert {"rows", "left_out", "instruments", "connect", "cautions", "minutes", "train", "template"} <= found.keys()
    assert [row["row"] for row in found["rows"]] == [1, 2, 3, 4, 5, 6]
    assert found["rows"][0]["propeller"] == "none"
    assert found["rows"][0]["thrust_static_n"] is None
    for row in found["rows"]:
        assert row["amps_low"] < row["amps"] < row["amps_high"]
        assert row["amps_high"] <= row["stop_amps"]


def test_a_brief_brings_its_train_and_no_brief_the_train_alone(run, narrow_brief):  # noqa: F811
    briefed = run("bench", narrow_brief, *TRAIN, "--json").document
    alone = run("bench", *TYPED, "--json").document
    own = [[row["propeller"] for row in each["rows"] if row["what"] == "the propeller"] for each in (briefed, alone)]
    assert own == [[PROPELLER], [PROPELLER]]
    assert run("bench", *TRAIN).exit_code == 0


def test_the_table_is_written_once(run, tmp_path):
    log = tmp_path / "bench.csv"
    ran = run("bench", *OWN, "--template", str(log))
    assert f"Wrote {log}, 6 rows to fill in." in " ".join(ran.out.split())
    text = log.read_text()
    rows = list(csv.DictReader(line for line in text.splitlines() if not line.startswith("#")))
    assert rows[0]["propeller"] == "none"
    assert {row["motor"] for row in rows} == {"1500kV 28g"}
    assert {row["label_kv"] for row in rows} == {"1500"}
    log.write_text("mine")
    again = run("bench", *OWN, "--template", str(log))
    assert again.exit_code == 2
    assert again.faults == [f"{log}: exists already; --force replaces it, another name keeps both"]
    assert log.read_text() == "mine"
    assert run("bench", *OWN, "--template", str(log), "--force", "--json").document["template"] == str(log)
    assert log.read_text() == text, "the same question gives the same bytes"
    assert [each.name for each in tmp_path.iterdir()] == ["bench.csv"]


def test_nothing_to_run_within_the_ratings_is_exit_code_1(run):
    ran = run("bench", "--motor", "1500kV 28g max=0.7A", "--propeller", "7x4", "--pack", "3S 850mAh 35C", "--json")
    assert ran.exit_code == 1
    assert all(row["propeller"] == "none" for row in ran.document["rows"])
    assert any("motor current could reach" in text for text in ran.document["left_out"])


def test_every_fault_at_once(run, tmp_path):
    log = str(tmp_path / "no" / "x.txt")
    ran = run("bench", "--motor", "3", "--propeller", "zz", "--template", log)
    assert ran.exit_code == 2
    assert ran.out == ""
    places = [fault.partition(":")[0] for fault in ran.faults]
    assert places == ["--template", log, "--motor", "--propeller", "--pack"]
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("words", [("nowhere.toml",), ("--train", "a + b"), ("--train", "a", "--motor", "1500kV 28g")])
def test_what_nobody_knows_is_said(run, words):
    ran = run("bench", *words)
    assert (ran.exit_code, ran.out) == (2, "")
    assert ran.faults


def test_numbers_of_the_json_are_finite_or_null(run):
    for row in run("bench", *OWN, "--json").document["rows"]:
        assert all(value is None or not isinstance(value, float) or math.isfinite(value) for value in row.values())
