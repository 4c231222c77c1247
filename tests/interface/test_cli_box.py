"""``propmatch match --only BOX`` with a folder as people keep it; the list is read by the csv module (RFC 4180)."""

import csv
import io
import re

import attrs
import pytest

from propmatch.words.misswords import _value
from propmatch.words.shown import Shown

BRIEF = """
[aircraft]
name = "test bird"
bare_mass_g = 265
target_mass_g = 420
[wing]
area_dm2 = 16
span_mm = 1100
[limits]
min_thrust_to_weight = 0.6
min_flight_minutes = 6
max_propeller_diameter_in = 8
cells = [2, 3]
"""
FILES = {
    "motors.csv": "name,kv_rpm_per_v,mass_g,max_current_a,count\nfalke,1450,28,14,1\nhabicht,1100,40,18,2\n",
    "packs.csv": "name,cells_series,capacity_mah,c_rating,mass_g\n2S 850,2,850,30,52\n3S 1300,3,1300,30,115\n",
    "propellers.csv": "name,diameter_in,pitch_in,price\n7x4,7,4,2.50\n8x4,8,4,\n",
}
CONTROLLERS = "name,max_current_a,mass_g,servo_supply\n20A,20,18,linear\n"


@pytest.fixture
def home(tmp_path, monkeypatch):
    folder = tmp_path / "parts"
    (folder / "mine").mkdir(parents=True)
    for name, text in FILES.items():
        (folder / "mine" / name).write_text(text)
    (folder / "shop").mkdir()
    (folder / "shop" / "controllers.csv").write_text(
        'name,max_current_a,mass_g,servo_supply,price\nswift 18,18,14,linear,"14,90 EUR"\n'
    )
    (tmp_path / "bird.toml").write_text(BRIEF)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def plain(text):
    return " ".join(text.split())


def test_a_box_without_a_controller_is_told_which_to_buy_and_the_list_sums_it(home, run):
    words = ("match", "bird.toml", "--only", "mine", "--parts", "parts", "--shopping")
    ran = run(*words, "list.csv")
    assert ran.exit_code == 1
    said = plain(ran.out)
    assert "with your box 'mine' (2 motors, 2 propellers, 2 packs and no ESCs)" in said
    assert "nothing works without an ESC. Buy an ESC, " in said
    rows = list(csv.DictReader(io.StringIO((home / "list.csv").read_text(), newline="")))
    assert [(row["what"], row["kind"]) for row in rows if row["kind"]][:4] == [
        ("have", "motor"), ("buy", "ESC"), ("have", "pack"), ("have", "propeller"),
    ]  # fmt: skip
    assert float(rows[-1]["mass_g"]) == pytest.approx(sum(float(row["mass_g"]) for row in rows[:-1]), abs=0.25)
    again = run(*words, "list.csv")
    assert (again.exit_code, again.faults) == (
        2, ["list.csv: exists already; --force replaces it, another name keeps both"],
    )  # fmt: skip
    assert run(*words, "list.pdf").exit_code == 2


def test_a_whole_box_is_matched_and_the_document_says_what_fits(home, run):
    (home / "parts" / "mine" / "controllers.csv").write_text(CONTROLLERS)
    ran = run("match", "bird.toml", "--only", "mine", "--parts", "parts", "--json", "--top", "2", "--shopping", "l.txt")
    document = ran.document
    box = document["box"]
    assert box["names"] == ["mine"]
    assert set(box["by_cells"]) == {"2", "3"}
    assert (ran.exit_code == 0) == bool(document["rows"])
    assert document["rows"]
    assert all(part.startswith("mine/") for row in document["rows"] for part in row["id"].split(" + "))
    works = [cells for cells, found in box["by_cells"].items() if found["passing_on_paper"]]
    assert [int(cells) for cells in works] == box["works"]
    assert {row["cells"] for row in document["rows"]} == set(box["works"])
    assert box["own"]["motor"][0] == {"id": "mine/falke", "name": "falke", "count": 1, "price": None}
    text = (home / "l.txt").read_text()
    assert "Have:" in text
    assert ("Buy:" in text) == bool(box["purchases"])


def test_a_box_for_two_motors_is_told_what_is_enough_and_the_list_adds_up(home, run):
    text = BRIEF.replace("bare_mass_g = 265", "motor_count = 2\nbare_mass_g = 265").replace("= 420", "= 600")
    (home / "twin.toml").write_text(text)
    ran = run("match", "twin.toml", "--only", "mine", "--parts", "parts", "--shopping", "l.txt")
    assert "1 of 2 motors enough for 2, 2 propellers, 2 packs and no ESCs" in plain(ran.out)
    if "Wrote" in ran.out:
        shown = (home / "l.txt").read_text()
        masses = re.findall(r"; (\d+\.\d) g", plain(shown))
        (whole,) = re.findall(r"Mass of all: (\d+\.\d) g", shown)
        assert sum(map(float, masses)) == pytest.approx(float(whole), abs=1e-6)
        assert len(masses) == 4


def test_what_is_advised_can_be_asked_why(home, run):
    first = run("match", "bird.toml", "--only", "mine", "--parts", "parts", "--json").document["box"]["purchases"][0]
    words = ("match", "bird.toml", "--only", "mine", "--parts", "parts", "--why", first["best"]["id"])
    assert "of the" in plain(run(*words).out)
    assert run(*words).exit_code == 0


def test_rows_that_are_none_are_an_empty_file(home, run):
    assert run("match", "bird.toml", "--only", "mine", "--parts", "parts", "--csv").out == ""


def test_every_part_of_the_table_names_the_parts(home, run, monkeypatch):
    monkeypatch.setenv("COLUMNS", "40")
    lines = run("match", "bird.toml", "--only", "mine", "--parts", "parts").out.splitlines()
    heads = [line for line in lines if line.startswith("yours ")]
    assert heads
    assert sum(line.startswith("habicht ") for line in lines) == len(heads)


def test_minutes_are_whole_and_never_read_as_kept(home, run):
    (home / "long.toml").write_text(BRIEF.replace("min_flight_minutes = 6", "min_flight_minutes = 60"))
    said = plain(run("match", "long.toml", "--only", "mine", "--parts", "parts").out)
    assert "flight time" in said
    assert not re.search(r"\d\.\d+ min\b", said)


def test_a_time_that_falls_short_by_little_is_not_rounded_to_the_limit():
    from propmatch.checks.limits import Check

    near = Check(
        name="flight_time", value=4.77, limit=5.0, unit="min", margin=-0.046, verdict="fails", basis="brief", least=True
    )
    assert _value(near, Shown()) == "just under 5 min"
    assert _value(attrs.evolve(near, value=0.17), Shown()) == "under 1 min"


def test_the_brief_may_name_the_box_and_every_command_takes_the_option(home, run):
    (home / "parts" / "mine" / "controllers.csv").write_text(CONTROLLERS)
    (home / "own.toml").write_text(BRIEF + '[parts]\nonly = ["mine"]\n')
    by_brief = run("time", "own.toml", "--parts", "parts", "--json").document
    by_option = run("time", "bird.toml", "--only", "mine", "--parts", "parts", "--json").document
    assert by_brief["train"] == by_option["train"]
    assert all(
        by_brief["train"][kind]["id"].startswith("mine/") for kind in ("motor", "pack", "propeller", "controller")
    )


def test_a_box_nobody_has_is_a_fault(home, run):
    ran = run("match", "bird.toml", "--only", "mien", "--parts", "parts")
    assert (ran.exit_code, len(ran.faults)) == (2, 1)
    assert "did you mean mine?" in ran.faults[0]


def test_how_many_and_the_price_are_listed(home, run):
    out = run("parts", "motors", "mine", "--parts", "parts").out
    assert out.splitlines()[2].split()[-2:] == ["you", "have"]
    rows = run("parts", "propellers", "mine", "--parts", "parts", "--json").document["rows"]
    assert [(row["id"], row["count"], row["price"]) for row in rows] == [
        ("mine/7x4", None, "2.50"),
        ("mine/8x4", None, None),
    ]
    assert "14,90 EUR" in run("parts", "controllers", "swift", "--parts", "parts").out


@pytest.mark.parametrize("command", ["match", "time"])
def test_parts_that_were_set_aside_are_said_before_what_to_buy(home, run, command):
    (home / "parts" / "mine" / "controllers.csv").write_text("name,mass_g,servo_supply\nswift,18,linear\n")
    ran = run(command, "bird.toml", "--only", "mine", "--parts", "parts")
    said = plain(ran.out + ran.err)
    assert "set aside" in said
    assert "propmatch parts --faults" in said
    if command == "match":
        assert "mine/controllers.csv" in said
