"""``propmatch match`` and ``propmatch time`` on a small brief and few parts: the numbers are the library's own."""

import csv
import io
import json
import re

import pytest
from support.bundled import PROPELLER, SMALL_PARTS
from support.checks import MOST_PACK, one_more_check
from support.commands import MOTOR, TRAIN

from propmatch.aircraft.endurance import flight_time
from propmatch.brief import load_brief
from propmatch.catalogue.catalogue import load_catalogue
from propmatch.checks.checkrules import CHECKS
from propmatch.checks.measures import settings
from propmatch.search.matching import match
from propmatch.words.answerwords import count_text
from propmatch.words.chancewords import of_hundred

BRIEF = (
    """
[aircraft]
name = "test bird"
bare_mass_g = 265
target_mass_g = 410
[[variant]]
name = "heavier filament"
bare_mass_g = 330
[wing]
area_dm2 = 16.0
span_mm = 1100
cl_max = 1.1
cd0 = 0.035
[limits]
min_thrust_to_weight = 0.55
min_flight_minutes = 15
max_propeller_diameter_in = 8
cells = [2, 3]
[[phase]]
name = "climb out"
throttle = 1.0
seconds = 25
[[phase]]
name = "transect"
airspeed_m_s = 11
share = 1.0
[prefer]
flight_time = 1.0
thrust_to_weight = 0.5
"""
    + SMALL_PARTS
)


@pytest.fixture
def brief_file(tmp_path):
    path = tmp_path / "bird.toml"
    path.write_text(BRIEF, encoding="utf-8")
    return str(path)


@pytest.fixture
def edited(tmp_path):
    """``edited("old", "new")``: the brief with one text replaced."""

    def make(old, new):
        assert old in BRIEF
        path = tmp_path / "edited.toml"
        path.write_text(BRIEF.replace(old, new), encoding="utf-8")
        return str(path)

    return make


@pytest.fixture(scope="module")
def shortlist(tmp_path_factory):
    path = tmp_path_factory.mktemp("brief") / "bird.toml"
    path.write_text(BRIEF, encoding="utf-8")
    return match(load_brief(path), load_catalogue(plugins=["bundled"]), top=5)


def listed(shortlist):
    """The candidates of each cell count, one count after the other."""
    return [each for group in shortlist.by_cells.values() for each in group]


# ---------------------------------------------------------------- match


def test_json_is_the_shortlist(run, brief_file, shortlist):
    done = run("match", brief_file, "--json")
    assert done.exit_code == 0
    document = done.document
    assert document["combinations"] == shortlist.combinations
    assert document["passing"] in (shortlist.passing, None)
    assert [row["id"] for row in document["rows"]] == [row.id for row in listed(shortlist)]
    for row, candidate in zip(document["rows"], listed(shortlist), strict=True):
        assert row["flight_minutes"] == pytest.approx(candidate.flight_minutes)
        assert {check["name"] for check in row["checks"]} == {check.name for check in candidate.checks}
    ids = {str(cells): [each.id for each in group] for cells, group in shortlist.by_cells.items()}
    assert document["by_cells"] == ids
    assert set(ids) == {"2", "3"}


def test_a_number_that_a_check_judges_bears_the_name_of_the_check(run, brief_file):
    document = run("match", brief_file, "--json").document
    assert set(document["checked_by"].values()) <= CHECKS.keys()
    for row in document["rows"]:
        values = {check["name"]: check["value"] for check in row["checks"]}
        for number, check in document["checked_by"].items():
            assert row[number] == pytest.approx(values[check])


def test_text_json_and_csv_have_the_same_rows(run, brief_file):
    for more in ((), ("--on-paper", "--top", "3")):
        rows = run("match", brief_file, *more, "--json").document["rows"]
        lines = list(csv.DictReader(io.StringIO(run("match", brief_file, *more, "--csv").out)))
        text = re.findall(r"^ *(\d+)  (\S+)  +(\S+)  +(\S+)  +(\S+)", run("match", brief_file, *more).out, re.MULTILINE)
        kinds = ("motor", "controller", "pack", "propeller")
        ids = [tuple(row[f"{kind}_id"].removeprefix("bundled/") for kind in kinds) for row in rows]
        assert [[part.removesuffix("+BEC") for part in parts] for _, *parts in text] == [list(each) for each in ids]
        assert [line["id"] for line in lines] == [row["id"] for row in rows]
        assert [int(number) for number, *_ in text] == [row["number"] for row in rows] == list(range(1, len(rows) + 1))
        assert {row["cells"] for row in rows} == {2, 3}
        assert len({(row["motor_id"], row["pack_id"], row["propeller_id"]) for row in rows}) == len(rows)


def test_the_first_lines_answer_for_each_cell_count(run, brief_file, shortlist):
    head = " ".join(run("match", brief_file).out.split("\n\n")[0].split())
    for cells in (2, 3):
        best = shortlist.by_cells[cells][0]
        of_all = " (best of all)" if best is shortlist.best else ""
        surest = "" if shortlist.holds[cells] else "nothing is sure to meet the brief; surest is "
        assert f"test bird with {cells}S{of_all}: {surest}{best.train.motor.name}, {best.train.propeller.name}" in head
        pick = best.pick
        assert f"{best.flight_minutes:.0f} ({pick.minutes_low:.0f} to {pick.minutes_high:.0f}) min of flight" in head
        assert f"{of_hundred(pick.chance_all)} of 100 builds keep every limit" in head
    assert head.count("hottest: the ") == 2


def test_text_shows_what_the_others_miss_and_all_on_request(run, brief_file, shortlist):
    out, whole = (run("match", brief_file, *more).out for more in ((), ("--full",)))
    text, every = (" ".join(each.split()) for each in (out, whole))
    assert (
        f"of {count_text(shortlist.combinations)} combinations meet the brief on paper. The others miss first " in text
    )
    for words in (
        "east certain: ",
        "Rejected, by the first limit missed:",
        "Variant 'heavier filament'",
        "m/s",
        "ratings",
    ):
        assert words in every
        assert words not in text.partition("--full")[0]
    assert all(row.id in every for row in listed(shortlist))
    assert max(map(len, (out + whole).splitlines())) <= 80


def test_top_and_cells(run, brief_file):
    document = run("match", brief_file, "--cells", "2", "--top", "3", "--json").document
    assert len(document["rows"]) == 3
    assert list(document["by_cells"]) == ["2"]
    assert all(row["cells"] == 2 for row in document["rows"])


def test_csv_rows(run, brief_file, shortlist):
    rows = list(csv.DictReader(io.StringIO(run("match", brief_file, "--csv").out)))
    assert [row["id"] for row in rows] == [row.id for row in listed(shortlist)]


def test_exhaustive_gives_the_same_rows(run, brief_file):
    quick = run("match", brief_file, "--json").document["rows"]
    slow = run("match", brief_file, "--exhaustive", "--json").document["rows"]
    assert [row["id"] for row in quick] == [row["id"] for row in slow]


def test_a_new_check_is_told_everywhere(run, brief_file, shortlist):
    with one_more_check() as rule:
        document = run("match", brief_file, "--json").document
        first = document["rows"][0]
        told = next(check for check in first["checks"] if check["name"] == rule.name)
        assert (told["limit"], told["basis"], told["note"]) == (MOST_PACK, "brief", rule.what)
        why = run("match", brief_file, "--why", shortlist.rows[0].id).out
        assert "pack share" in why
        assert f"at most {MOST_PACK:g}" in why
    assert "pack share" not in run("match", brief_file, "--why", shortlist.rows[0].id).out


def test_why_of_the_best_and_of_one_left_out(run, brief_file, edited):
    document = run("match", brief_file, "--on-paper", "--json").document
    best, second = document["by_cells"]["2"][:2]
    done = run("match", brief_file, "--why", best)
    assert done.exit_code == 0
    assert run("match", brief_file, "--on-paper", "--why", "1").out == done.out
    every = run("match", brief_file, "--cells", "2", "--exhaustive", "--json").document["passing"]
    assert f"is number 1 of the {every} with 2S that meet the brief" in " ".join(done.out.split())
    found = match(load_brief(brief_file), load_catalogue(plugins=["bundled"]), top=50, on_paper=True, variant=None)
    place = [each.id for each in found.by_cells[2]].index(second) + 1
    second = run("match", brief_file, "--why", second, "--json").document
    assert (second["place"], second["passing_of_cells"]) == (place, every)
    assert second["score"] <= second["score_bound"]
    strict = edited("min_flight_minutes = 15", "min_flight_minutes = 600")
    done = run("match", strict, "--why", best)
    assert done.exit_code == 1
    assert " misses flight time " in " ".join(done.out.split())
    document = run("match", strict, "--why", best, "--json").document
    assert document["failed"] == ["flight_time"]


def test_the_front_is_what_nothing_beats(run, brief_file):
    document = run("match", brief_file, "--front", "--top", "1000", "--on-paper", "--json").document
    numbers = [(r["flight_minutes"], r["thrust_to_weight"], -r["all_up_mass_g"]) for r in document["rows"]]
    beaten = {
        row["id"]
        for row, mine in zip(document["rows"], numbers, strict=True)
        if any(other != mine and all(o >= m for o, m in zip(other, mine, strict=True)) for other in numbers)
    }
    assert {mark["id"] for mark in document["front"]} == {row["id"] for row in document["rows"]} - beaten
    assert "Nothing beats these" in run("match", brief_file, "--front").out


def test_a_variant_is_ranked_by_itself(run, brief_file):
    done = run("match", brief_file, "--variant", "heavier filament", "--json")
    assert done.document["variant"] == "heavier filament"
    assert all(row["all_up_mass_g"] > 330 for row in done.document["rows"])


def test_a_brief_that_cannot_be_met_ends_with_one(run, edited):
    done = run("match", edited("target_mass_g = 410", "target_mass_g = 270"))
    assert done.exit_code == 1
    assert "none of" in done.out
    assert "all-up mass" in done.out
    said = " ".join(done.out.split())
    assert re.search(r"Nearest with 2S: .*: misses .*all-up mass \d+ g \(at most 270 g\)", said)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--cells", "4"), "no 4S pack"),
        (("--cells", "two"), "cell counts of 1 to 6"),
        (("--cells", "2,2"), "twice"),
        (("--variant", "lighter"), "heavier filament"),
        (("--why", "bundled/nothing"), "no part with this id"),
        (("--why", "99"), "must be a row, 1 to 10, or the ids of its parts"),
        (("--top", "0"), "--top"),
        (("--json", "--csv"), "exclude each other"),
    ],
)
def test_options_that_make_no_sense(run, brief_file, words, said):
    done = run("match", brief_file, *words)
    assert done.exit_code == 2
    assert said in done.err


@pytest.mark.parametrize("command", ["match", "time"])
def test_an_empty_catalogue(run, monkeypatch, brief_file, command):
    monkeypatch.setenv("PROPMATCH_PLUGINS", "")
    done = run(command, brief_file)
    assert done.exit_code == 2
    for kind in ("motors", "controllers", "packs", "propellers"):
        assert kind in done.err


# ---------------------------------------------------------------- briefs


@pytest.mark.parametrize("command", ["match", "time"])
@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("bare_mass_g = 265", "bare_mass_g = -265", ["bird-or-edited", "aircraft.bare_mass_g", "-265"]),
        ("bare_mass_g = 265", "bare_mass_g = nan", ["bare_mass_g", "finite"]),
        ("bare_mass_g = 265", "bare_mass_g = inf", ["bare_mass_g", "finite"]),
        ("bare_mass_g = 265", 'bare_mass_g = "heavy"', ["bare_mass_g", "must be a number"]),
        ("bare_mass_g = 265", "bare_mas_g = 265", ["unknown key", "did you mean", "bare_mass_g"]),
        ("throttle = 1.0", "throttle = 1.2", ["phase[1].throttle", "at most 1"]),
        ("[wing]", "[wing", ["not valid TOML", ":9"]),
    ],
)
def test_a_faulty_brief(run, edited, command, old, new, said):
    done = run(command, edited(old, new))
    assert done.exit_code == 2
    assert done.out == ""
    for words in said:
        assert words.replace("bird-or-edited", "edited.toml") in done.err


@pytest.mark.parametrize("command", ["match", "time"])
def test_a_missing_brief_names_the_bundled_ones(run, command):
    done = run(command, "nowhere.toml")
    assert done.exit_code == 2
    assert "no such file" in done.err
    assert "wetland_logger" in done.err


def test_a_brief_that_is_not_text(run, tmp_path):
    path = tmp_path / "brief.toml"
    path.write_bytes(b"[aircraft]\nname = '\xff'\n")
    done = run("match", str(path))
    assert done.exit_code == 2
    assert "UTF-8" in done.err


def test_a_brief_that_is_a_folder(run, tmp_path):
    done = run("match", str(tmp_path))
    assert done.exit_code == 2
    assert str(tmp_path) in done.err


def test_without_a_brief_it_is_the_wetland_logger_and_says_so(run):
    done = run("time", *TRAIN)
    assert "No brief was named, so this is the bundled one, wetland logger" in " ".join(done.out.split())


# ---------------------------------------------------------------- time


def test_time_is_flight_time(run, brief_file, shortlist):
    best = shortlist.best
    done = run("time", brief_file, "--train", best.id, "--json")
    assert done.exit_code == 0
    setting = settings(load_brief(brief_file))[0]
    mass_kg = (265 + best.train.mass_g) / 1000
    flown = flight_time(best.train, setting.variant.airframe, mass_kg, setting.phases, air=setting.air)
    first = done.document["flights"][0]
    assert first["flight_minutes"] == pytest.approx(flown.minutes)
    assert first["ended_by"] == flown.ended_by
    assert first["settings"]["flown_timer_minutes"] <= 0.9 * flown.minutes
    rows = [row for row in done.document["rows"] if row["variant"] == "as designed"]
    assert [row["minutes"] for row in rows] == pytest.approx([phase.minutes for phase in flown.phases])
    head = " ".join(run("time", brief_file, "--train", best.id).out.split("\n\n")[0].split())
    assert head.startswith(f"test bird: {flown.minutes:.0f} (")
    assert "Set the timer to" in head


def test_time_without_a_train_takes_the_best(run, brief_file, shortlist):
    done = run("time", brief_file)
    assert done.exit_code == 0
    assert "You named no power train; this is the best that match found." in " ".join(done.out.split())
    assert shortlist.best.train.motor.name in done.out


def test_time_with_typed_parts(run, brief_file):
    words = (
        "--motor",
        "1500kV label 28g",
        "--propeller",
        PROPELLER,
        "--pack",
        "2S 850mAh 35C 50g",
    )
    done = run("time", brief_file, *words)
    assert done.exit_code in (0, 1)
    assert "2S 850mAh 35C 50g" in done.out
    assert max(map(len, done.out.splitlines())) <= 100


def test_a_flight_that_is_too_short_ends_with_one(run, edited, shortlist):
    done = run("time", edited("min_flight_minutes = 15", "min_flight_minutes = 600"), "--train", shortlist.best.id)
    assert done.exit_code == 1
    assert "Wanted 600 min: short by" in " ".join(done.out.split())


@pytest.mark.parametrize(
    ("speed", "cell", "said"),
    [
        # 2 ohm a cell under full throttle sags below any cutoff
        (11, "2000mohm", "in climb out a cell falls below the cutoff of 3.3 V even with a full pack."),
        (90, "10mohm", "transect needs more thrust than there is, even with a full pack."),
    ],
)
def test_a_flight_of_no_length_says_what_it_came_to_grief_on(run, tmp_path, speed, cell, said):
    path = tmp_path / "short.toml"
    shared = BRIEF.replace("seconds = 25", "share = 1.0").replace("airspeed_m_s = 11", f"airspeed_m_s = {speed}")
    path.write_text(shared, encoding="utf-8")
    words = (
        "--motor",
        "1500kV label 28g",
        "--propeller",
        PROPELLER,
        "--pack",
        f"2S 850mAh 50g cell={cell}",
    )
    done = run("time", str(path), *words, "--motors", "2")
    head = " ".join(done.out.split("\n\n")[0].split())
    assert done.exit_code == 1
    assert ": 2 sets of 1500kV" in head
    assert head.startswith(f"test bird: cannot be flown, {said}")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--train", MOTOR), "names no controller and no pack and no propeller"),
        (("--train", f"{MOTOR[:-1]} + x"), f"did you mean {MOTOR}"),
        (("--train", MOTOR, "--motor", "1500kV 28g"), "leave out --motor"),
        (("--motor", "1500kV 28g"), "--pack"),
        (("--variant", "none such"), "the variants are"),
    ],
)
def test_a_train_that_makes_no_sense(run, brief_file, words, said):
    done = run("time", brief_file, *words)
    assert done.exit_code == 2
    assert said in done.err


def test_faults_of_a_brief_as_json(run, edited):
    done = run("match", edited("bare_mass_g = 265", "bare_mass_g = -265"), "--json")
    assert done.exit_code == 2
    assert json.loads(done.out)["faults"][0]["key"] == "aircraft.bare_mass_g"
