"""``propmatch envelope`` and ``propmatch fits``: text to paste, and yes or no."""

import pytest
from support.bundled import nearest
from support.commands import TRAIN, narrow_brief  # noqa: F401

PLAIN_CONTROLLER = nearest("controllers", max_current_a=20, servo_supply="none")


@pytest.fixture
def envelope(run):
    return run("envelope", "wetland_logger", *TRAIN)


def test_the_text_has_every_range(envelope):
    assert envelope.exit_code == 0
    assert max(map(len, envelope.out.splitlines())) <= 80
    flat = " ".join(envelope.out.split())
    for words in (
        "wetland logger: others may fit", "2S", "3S", "label kV", "motor mass", "winding resistance", "ESC rating",
        "propeller diameter", "mAh", "aft of datum", "all-up mass", "Centre of gravity (CG) 234 mm", "static thrust",
        "battery lead", "timer", "recharge", "field height", "All extremes were tried together", "foamed filament",
        "Assumed", "--cautions",
    ):  # fmt: skip
        assert words in flat, words


def test_the_rest_is_printed_when_asked_for(run):
    flat = " ".join(run("envelope", "wetland_logger", *TRAIN, "--full", "--cautions", "--assumptions").out.split())
    for words in ("What ends the ranges", "Mass build-up", "makers' limits", "span efficiency"):
        assert words in flat, words


def test_markdown(run):
    ran = run("envelope", "wetland_logger", *TRAIN, "--markdown", "--cells", "2")
    assert ran.out.startswith("# What others may fit: wetland logger\n")
    assert "## With 2S" in ran.out
    assert "## With 3S" not in ran.out
    assert "| what | may be |" in ran.out
    assert "## Cautions" in ran.out


def test_json_has_every_range_as_two_numbers(run):
    document = run("envelope", "wetland_logger", *TRAIN, "--json").document
    assert [row["cells"] for row in document["rows"]] == [2, 3]
    row = document["rows"][0]
    for name in ("kv_rpm_per_v", "resistance_ohm", "diameter_in", "pitch_in", "capacity_mah", "all_up_mass_g",
                 "thrust_static_n", "motor_current_static_a", "pack_current_static_a",
                 "flight_minutes", "altitude_m"):  # fmt: skip
        assert row[f"{name}_from"] <= row[f"{name}_to"], name
    assert row["corners_checked"] >= 64
    assert document["markdown"].startswith("# What others may fit")


def test_without_a_train_the_best_is_taken(run, narrow_brief):  # noqa: F811
    ran = run("envelope", narrow_brief, "--csv")
    assert ran.exit_code == 0
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
    ran = run("fits", "wetland_logger", *TRAIN, "--pack", "3S 850mAh 45C")
    assert ran.exit_code == 1
    flat = " ".join(ran.out.split())
    assert flat.startswith("No: the pack 3S 850mAh 45C may not be fitted to wetland logger")
    for words in ("Why: motor current static", "What changes", "centre of gravity moves", "foamed filament: no"):
        assert words in flat, words
    assert max(map(len, ran.out.splitlines())) <= 80
    full = " ".join(run("fits", "wetland_logger", *TRAIN, "--pack", "3S 850mAh 45C", "--full").out.split())
    for words in ("keeps the motor current below", "Every check", "Mass build-up"):
        assert words in full, words


def test_yes(run):
    ran = run("fits", "wetland_logger", *TRAIN, "--controller", PLAIN_CONTROLLER)
    assert ran.exit_code == 0
    assert ran.out.startswith("Yes: ")
    document = run("fits", "wetland_logger", *TRAIN, "--controller", PLAIN_CONTROLLER, "--json").document
    assert document["fits"] is True
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
