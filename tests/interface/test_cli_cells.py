"""``propmatch cells``: the library's numbers, in sentences, tables, JSON and CSV."""

import csv
import io
import json
import re

import pytest
from support.commands import TRAIN, TYPED, narrow_brief  # noqa: F401

import propmatch_datasets
from propmatch.brief import load_brief
from propmatch.catalogue.catalogue import load_catalogue
from propmatch.checks.setting import settings
from propmatch.commands.choose import train_of_ids
from propmatch.commands.trains import LazyCatalogue
from propmatch.questions.cells import compare_cells


def test_the_text_says_what_three_cells_do_and_what_to_change(run):
    ran = run("cells", "wetland_logger", *TRAIN)
    assert ran.exit_code == 0
    flat = " ".join(ran.out.split())
    for words in (
        ") meets every limit on paper: ", ") misses motor current static ", " min; ", "hottest: the ",
        "of 100 builds keep every limit", "Ranges in brackets hold 80 of 100 builds.",
        "What brings it inside the limits", "It balances with the pack at ",
        "Limits missed by other variants: heavier filament, wide tyres 2S ",
        "Estimates: before flight",
    ):  # fmt: skip
        assert words in flat, words
    every = run("cells", "wetland_logger", *TRAIN, "--full").out
    assert max(map(len, (ran.out + every).splitlines())) <= 80
    flat = " ".join(every.split())
    for words in (
        "same energy", "same mass", "same capacity", "What brings 3S inside the limits", "motor 1710-1310: motor ",
        "keeps the motor current below", "full battery the pack then gives", "recalibrated", "duty, not stick",
        "So limited it meets motor current static",
        "BEC heat", "more up elevator than the glide", "centre of gravity moves", "Static margin",
        "pushes the left wing down",
        "Mass build-up", "foamed filament", "heavier filament", "Estimates: before flight",
    ):  # fmt: skip
        assert words in flat, words
    for words in ("safe", "protect", "within their ratings"):
        assert words not in flat, words


def test_rows_are_the_librarys_own(run):
    ran = run("cells", "wetland_logger", *TRAIN, "--json")
    document = ran.document
    assert document["command"] == "cells"
    brief = load_brief(propmatch_datasets.path("briefs/wetland_logger.toml"))
    train = train_of_ids(LazyCatalogue(None, False), TRAIN[1], **settings(brief)[0].train_numbers)
    found = compare_cells(brief, load_catalogue(parts=None), train=train)
    assert len(document["rows"]) == len(found.cases) == 18
    for row, case in zip(document["rows"], found.cases, strict=True):
        assert (row["variant"], row["compared_by"], row["cells"]) == (case.variant, case.compared_by, case.cells)
        assert row["motor_current_static_a"] == pytest.approx(case.motor_current_static_a)
        assert row["flight_minutes"] == pytest.approx(case.flight_minutes)
    assert document["remedies"]["3"]["failed"]
    assert len(document["checks_by_case"][0]["checks"]) > 20
    assert set(document["balance_and_trim"]) == {"same energy", "same mass", "same capacity"}
    rolls = document["steering"]["same energy"]["torque_roll"]
    assert [each["name"] for each in rolls] == ["2S", "3S"]
    assert 0 < rolls[0]["torque_static_nm"] < rolls[1]["torque_static_nm"]


def test_the_cures_of_the_trim_change_are_ranked_in_text_and_json(run):
    document = run("cells", "wetland_logger", *TRAIN, "--json").document
    rows = document["trim_cures"]
    assert {row["cure"] for row in rows} == {"motor height", "tilt", "tail incidence", "tail section", "elevator mix"}
    left = [round(row["left_deg"], 1) for row in rows if row["found"]]
    assert left == sorted(left)
    assert all(row["advice"] and row["cost"] and row["unit"] in ("mm", "deg") for row in rows)
    flat = " ".join(run("cells", "wetland_logger", *TRAIN, "--full").out.split())
    places = [flat.index(f"- {row['advice']}: ") for row in rows]
    assert places == sorted(places)


def test_the_elevator_between_two_thrusts_that_are_named(run):
    ran = run("cells", "wetland_logger", *TRAIN, "--thrusts", "1.0N,2.5N", "--json")
    low, high = ran.document["thrust_pair"]
    assert (low["thrust_n"], high["thrust_n"]) == (1.0, 2.5)
    assert low["airspeed_m_s"] == high["airspeed_m_s"] == 11.0  # that of the one phase which names one
    assert high["more_up_deg"] == pytest.approx(low["elevator_deg"] - high["elevator_deg"], rel=1e-12)
    text = " ".join(run("cells", "wetland_logger", *TRAIN, "--thrusts", "1.0N,2.5N", "--units", "si").out.split())
    assert f"2.50 N of thrust at 11.0 m/s needs {high['more_up_deg']:.1f} degrees more up elevator than 1.00 N" in text


@pytest.mark.parametrize(
    ("thrusts", "brief", "said"),
    [
        ("100gf", "wetland_logger", ["must be two different thrusts, such as 100gf,400gf"]),
        ("100gf,100gf", "wetland_logger", ["must be two different thrusts, such as 100gf,400gf"]),
        ("100,-3N", "wetland_logger", ["needs a unit", "-3"]),
        ("1N,2N", "schoolyard_trainer", ["balance: missing", "tail: missing", "thrust_line: missing"]),
    ],
)
def test_two_thrusts_that_cannot_be_are_refused_with_every_fault(run, thrusts, brief, said):
    ran = run("cells", brief, "--thrusts", thrusts)
    assert ran.exit_code == 2
    assert all(words in ran.err for words in said)
    assert "Traceback" not in ran.err


def test_every_line_of_the_text_is_a_row_and_a_number_that_is_judged_bears_the_checks_name(run):
    document = run("cells", "wetland_logger", *TRAIN, "--json").document
    out = run("cells", "wetland_logger", *TRAIN).out
    lines = re.findall(r"^(\dS) (own|energy|mass|capacity) +(\S+) +(\d+) +(\d+) +(\S+) +(\S+)", out, re.MULTILINE)
    assert len(lines) == 4
    for cells, basis, _, *numbers in lines:
        kind = {"own": "same energy"}.get(basis, f"same {basis}")
        (row,) = (each for each in document["rows"] if each["variant"] == "as designed"
                  and (f"{each['cells']}S", each["compared_by"]) == (cells, kind))  # fmt: skip
        own = (row["all_up_mass_g"], row["thrust_static_n"] / 9.80665e-3, row["thrust_to_weight"],
               row["motor_current_static_a"])  # fmt: skip
        assert [float(each) for each in numbers] == pytest.approx(own, rel=0.01)
    for row, case in zip(document["rows"], document["checks_by_case"], strict=True):
        values = {check["name"]: check["value"] for check in case["checks"]}
        for number, check in document["checked_by"].items():
            assert row[number] == pytest.approx(values[check]), number


def test_csv_holds_a_line_for_each_case_and_units_do_not_touch_it(run):
    texts = [run("cells", "wetland_logger", *TYPED, "--csv", "--units", units).out for units in ("metric", "imperial")]
    assert texts[0] == texts[1]
    rows = list(csv.DictReader(io.StringIO(texts[0])))
    assert len(rows) == 18
    assert float(rows[0]["thrust_static_n"]) > 0


@pytest.mark.parametrize(
    ("units", "words"), [("imperial", ("oz", "mph")), ("si", (" N", "m/s")), ("metric", ("gf", "km/h"))]
)
def test_trade_units(run, units, words):
    out = run("cells", "wetland_logger", *TRAIN, "--units", units, "--full").out
    for word in words:
        assert word in out
    if units == "imperial":
        assert " gf" not in out
        assert "km/h" not in out
        assert " m/s" not in out


@pytest.mark.slow
def test_other_counts_get_a_table_for_each_comparison(run):
    ran = run("cells", "club_racer", "--cells", "1,2,3,4,5,6", *TYPED, "--full")
    assert max(map(len, ran.out.splitlines())) <= 80
    for words in ("packs of the same energy", "packs of the same mass", "1S", "6S", "Each variant"):
        assert words in ran.out
    assert ran.exit_code in (0, 1)


def test_a_brief_without_geometry_says_what_is_missing(run):
    ran = run("cells", "schoolyard_trainer", *TRAIN)
    assert "no [balance]" in " ".join(ran.out.split())


def test_exit_code_1_when_no_count_keeps_the_limits(run, tmp_path):
    path = tmp_path / "hopeless.toml"
    path.write_text('[aircraft]\nname = "brick"\nbare_mass_g = 5000\ntarget_mass_g = 5001\n', encoding="utf-8")
    assert run("cells", str(path), *TRAIN).exit_code == 1


def test_without_a_train_the_best_is_named(run, narrow_brief):  # noqa: F811
    ran = run("cells", narrow_brief)
    assert ran.exit_code == 0
    assert "You named no power train; this is the best that match found." in " ".join(ran.out.split())


@pytest.mark.parametrize(
    ("words", "fault"),
    [
        (("--cells", "0,2"), "must be cell counts of 1 to 6"),
        (("--cells", "2,2"), "names a cell count twice"),
        (("--cells", "two"), "must be cell counts"),
        (("--train", "bundled/nothing"), "no part with this id"),
        (("--motor", "1500kV 28g"), "missing"),
    ],
)
def test_bad_input_ends_with_2(run, words, fault):
    ran = run("cells", "wetland_logger", *words)
    assert ran.exit_code == 2
    assert fault in ran.err
    assert "Traceback" not in ran.err


@pytest.mark.parametrize(("typed", "places"), [("2", 1), ("1", 2), ("3", 2)])
def test_as_many_motors_as_the_brief_has_places_for(run, tmp_path, typed, places):
    # How many is what the brief of this test says: one on its thrust line, or two in the wing.
    text = propmatch_datasets.path("briefs/wetland_logger.toml").read_text(encoding="utf-8")
    path = tmp_path / "placed.toml"
    if places == 2:
        text = text.replace("[aircraft]", "[aircraft]\nmotor_count = 2")
        text += "\n[[motor_place]]\nside_mm = 200\n[[motor_place]]\nside_mm = -200\n"
    path.write_text(text, encoding="utf-8")
    for words in (("cells",), ("ask", "mass"), ("time",)):
        ran = run(*words, str(path), *TYPED, "--motors", typed)
        assert ran.exit_code == 2
        assert f"--motors: {typed}: must be {places}" in ran.err
    assert "--motors" not in run("time", str(path), *TYPED, "--motors", str(places)).err


def test_a_missing_brief_ends_with_2(run):
    ran = run("cells", "nowhere.toml", "--json")
    assert ran.exit_code == 2
    assert json.loads(ran.out)["faults"]
