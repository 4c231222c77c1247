"""Families of propellers by command: the key, its drawing, the word unknown, three blades in a listing row."""

from xml.etree import ElementTree

import pytest

from propmatch.records.blades import FAMILIES, QUESTIONS


def test_the_key_asks_three_questions_and_then_picks(run):
    first = run("parts", "--which-family", "5x4.5x3")
    assert first.exit_code == 0
    text = " ".join(first.out.split())
    assert all(question in text for question in QUESTIONS.values())
    document = run("parts", "--which-family", "5x4.3x3 fixed 10mm springy", "--json").document
    assert document["questions"] == {}
    assert document["picked"] == "racing"
    assert document["rows"][0]["family"] == "racing"
    assert sum(row["chance"] for row in document["rows"]) == pytest.approx(1.0)
    assert run("parts", "--which-family", "9x6 hinged", "--json").document["rows"][0]["family"] == "folding"


def test_the_families_are_drawn(run, tmp_path):
    file = tmp_path / "blades.svg"
    assert run("parts", "--which-family", "7x4", "--drawing", str(file)).exit_code == 0
    assert len(ElementTree.parse(file).findall(".//{*}polygon")) == len(FAMILIES)
    assert run("parts", "--which-family", "7x4", "--drawing", str(tmp_path / "blades.xyz")).exit_code == 2


def test_an_unknown_family_is_mixed_and_says_the_chances(run):
    document = run("parts", "--predict", "5x4.5 3-blade", "--family", "unknown", "--json").document
    chances = document["prediction"]["family_chances"]
    assert sum(chances.values()) == pytest.approx(1.0, abs=0.02)
    assert max(chances, key=chances.get) == "racing"
    assert (
        document["prediction"]["interval_80"]["ct0"]["low"] < 0 < document["prediction"]["interval_80"]["ct0"]["high"]
    )
    assert "racing" in run("parts", "--predict", "5x4.5 3-blade").out
    assert "--which-family" in run("parts", "--predict", "5x4.5 3-blade").out


def test_a_listing_row_takes_family_and_blades_of_its_propeller(run):
    row = ("--listing", "2130kV 27g 11.1V 18A 5x4.4 wide 3-blade 570gf", "--pack", "3S 1150mAh 38C")
    done = run("point", *row, "--propeller", "5x4.4 wide 3-blade")
    assert done.exit_code == 0
    assert "wide 3-blade" in done.out


def test_how_sure_a_predicted_propeller_is_travels_with_every_answer(run):
    """The same numbers as of the propeller alone, in words where the range of the answer rests on it."""
    train = ("point", "--motor", "1500kV 28g", "--propeller", "5x4.5x3", "--pack", "2S 450mAh 35C")
    source = run(*train, "--json").document["train"]["propeller"]["source"]
    assert source["prediction"] == run("parts", "--predict", "5x4.5x3", "--json").document["prediction"]
    ends = source["prediction"]["interval_80"]["ct0"]
    text = " ".join(run(*train).out.split())
    assert f"is predicted (label), thrust {100 * ends['low']:+.0f} to {100 * ends['high']:+.0f} %" in text
    read = run(*train[:4], "7x4 thin 9800rpm 62W", *train[5:]).out
    assert "is predicted (" not in read


def test_lines_are_listed_and_one_is_taken(run):
    rows = run("parts", "--lines", "--json").document["rows"]
    line = next(row for row in rows if row["family"] == "thin")
    done = run("parts", "--predict", "7x4 thin", "--reads-like", line["line"], "--json").document
    assert done["prediction"]["rests_on"] == "line"
    assert line["description"] in " ".join(run("parts", "--lines").out.split())
    assert run("parts", "--predict", "7x4 broad", "--reads-like", line["line"]).exit_code == 2


def test_help_names_every_family(run):
    shown = " ".join(run("parts", "--help").out.split())
    assert all(name in shown for name in FAMILIES)


def test_a_family_that_hardly_has_such_propellers_is_questioned(run):
    rare = " ".join(run("parts", "--predict", "5x4.5 wide 3-blade").out.split())
    assert "three questions tell" in rare
    assert "% racing" in rare
    usual = run("parts", "--predict", "9x6 thick").out
    assert "three questions" not in usual


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--which-family", "fixed"), "needs the propeller's size"),
        (("--which-family", "5x4 'fixed"), "quotation mark"),
        (("--drawing", "x.svg"), "--drawing goes with --which-family"),
        (("--which-family", "5x4", "--predict", "5x4"), "exclude each other"),
        (("--predict", "7x4", "--sibling", "8x4"), "teaches nothing"),
    ],
)
def test_faults_of_the_key_and_of_siblings(run, words, said):
    done = run("parts", *words)
    assert done.exit_code == 2
    assert said in done.err
