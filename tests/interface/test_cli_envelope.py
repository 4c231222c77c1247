"""``propmatch envelope`` and ``propmatch fits``: text to paste, and yes or no."""

import pytest
from support.bundled import nearest
from support.commands import TRAIN, narrow_brief  # noqa: F401

PLAIN_CONTROLLER = nearest("controllers", max_current_a=20, servo_supply="none")


ONE_COUNT = ("--cells", "3")


@pytest.fixture(scope="module")
def texts():
    """Answers that several tests read."""
    return {}


@pytest.fixture
def envelope(run, texts):
    if "whole" not in texts:
        texts["whole"] = run("envelope", "club_racer", *ONE_COUNT, "--full", "--assumptions", "--cautions")
    return texts["whole"]


@pytest.mark.slow
def test_the_text_says_where_what_and_how_sure(envelope):
    assert envelope.exit_code == 0
    assert max(map(len, envelope.out.splitlines())) <= 80
    flat = " ".join(envelope.out.split())
    for words in (
        "club racer: from 0 to 1000 m and 0 to 35", "others may fit 3S", "of 100 random builds keep the brief's limits",
        "(80 and 90 asked)", "3S propeller yes: ", "3S pack yes: 1150 mAh 62C", "label kV", "motor mass", "ESC rating",
        "aft of datum", "all-up mass", "CG 180 mm", "static thrust", "battery lead", "timer for any of these",
        "painted", "covered", "Assumed", "Every size tried", "Worst corner", "Mass build-up", "makers' limits",
        "span efficiency", "other builders know a motor by label kV",
    ):  # fmt: skip
        assert words in flat, words


def test_a_narrower_field_is_typed(run):
    """Options stand before the brief's own field."""
    words = ("envelope", "schoolyard_trainer", *TRAIN, "--cells", "2", "--json")
    ran = run(*words, "--altitude", "0..100", "--temperature", "20..20")
    (row,) = ran.document["rows"]
    assert (row["altitude_m_from"], row["altitude_m_to"]) == (0, 100)
    assert (row["temperature_c_from"], row["temperature_c_to"]) == (20, 20)
    assert ran.document["altitude_m"] == [0, 100]


@pytest.mark.parametrize(
    "words",
    [("--altitude", "1000..0"), ("--altitude", "0,100"), ("--temperature", "cold"), ("--temperature", "-90..0")],
)
def test_a_field_that_cannot_be_is_told_at_once(run, words):
    ran = run("envelope", "wetland_logger", *TRAIN, *words)
    assert ran.exit_code == 2
    assert words[0] in ran.err
    assert "Traceback" not in ran.err


@pytest.mark.slow
def test_markdown_and_json_have_every_range_and_size(run):
    document = run("envelope", "club_racer", *ONE_COUNT, "--json").document
    (row,) = document["rows"]
    assert (row["cells"], row["holds"]) == (3, True)
    for name in ("kv_label_rpm_per_v", "motor_mass_g", "pack_mass_g", "all_up_mass_g", "thrust_static_n",
                 "motor_current_static_a", "pack_current_static_a", "flight_minutes", "altitude_m"):  # fmt: skip
        assert row[f"{name}_from"] <= row[f"{name}_to"], name
    assert {each["fits"] for each in row["propellers"]} == {True, False}
    assert all(each["failed"] for each in row["propellers"] if not each["fits"])
    assert row["packs_fitting"] == [each["name"] for each in row["packs"] if each["fits"]]
    assert all(each["id"].startswith("bundled/") for each in row["packs"]), "no pack is made up"
    assert row["chance_brief"] >= document["chances_asked"][0]
    assert row["worst_corner"]["chance"] <= row["chance_brief"]
    assert [each["covered"] for each in document["variants"]] == [True, True]
    text = document["markdown"]
    assert text.startswith("# What others may fit: club racer\n")
    for words in ("## With 3S", "| what | may be |", "## Variants", "## Cautions"):
        assert words in text
    assert "## With 2S" not in text


def test_without_a_train_the_best_is_taken(run, narrow_brief):  # noqa: F811
    ran = run("envelope", narrow_brief, "--csv")
    assert ran.exit_code in (0, 1)
    assert len(ran.out.splitlines()) == 3


def test_exit_code_1_when_nothing_holds(run):
    assert run("envelope", "club_racer", *TRAIN, "--cells", "1").exit_code == 1


@pytest.mark.parametrize("words", [("--cells", "9"), ("--train", "x + y"), ("--pack", "2S -3mAh")])
def test_bad_input_ends_with_2(run, words):
    ran = run("envelope", "wetland_logger", *words)
    assert ran.exit_code == 2
    assert "Traceback" not in ran.err


# ---------------------------------------------------------------- fits


def test_no_with_reasons(run):
    ran = run("fits", "wetland_logger", *TRAIN, "--pack", "3S 820mAh 38C")
    assert ran.exit_code == 1
    flat = " ".join(ran.out.split())
    assert flat.startswith("No: the pack 3S 820mAh 38C may not be fitted to wetland logger")
    for words in ("Why: motor current static", "What changes", "centre of gravity moves", "foamed filament: no"):
        assert words in flat, words
    assert max(map(len, ran.out.splitlines())) <= 80
    full = " ".join(run("fits", "wetland_logger", *TRAIN, "--pack", "3S 820mAh 38C", "--full").out.split())
    for words in ("keeps the motor current below", "Every check", "Mass build-up"):
        assert words in full, words


def test_yes(run):
    ran = run("fits", "wetland_logger", *TRAIN, "--controller", PLAIN_CONTROLLER)
    assert ran.exit_code == 0
    document = run("fits", "wetland_logger", *TRAIN, "--controller", PLAIN_CONTROLLER, "--json").document
    assert document["fits"] is True
    assert ran.out.startswith("Yes: " if document["holds"] else "On paper yes, but may miss")
    assert document["rows"][0]["variant"] == "as designed"


def test_a_typed_propeller_gets_its_table(run):
    ran = run("fits", "wetland_logger", *TRAIN, "--propeller", "5.5x4", "--json")
    assert ran.exit_code in (0, 1)
    assert ran.document["rows"][0]["thrust_static_n"] > 0


@pytest.mark.parametrize(
    ("words", "fault"),
    [
        ((), "names no substitute"),
        (("--pack", "bundled/nothing"), "no part with this id"),
        (("--motor", "1500kV -3g"), "--motor"),
    ],
)
def test_bad_substitutes_end_with_2(run, words, fault):
    ran = run("fits", "wetland_logger", *TRAIN, *words)
    assert ran.exit_code == 2
    assert fault in ran.err
