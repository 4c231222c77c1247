"""``propmatch ask``: each question answered in a sentence with the library's own number."""

import pytest
from support.bundled import PROPELLER, bundled_catalogue
from support.commands import CONTROLLER, MOTOR, PACK, TRAIN, TYPED

from propmatch.records.estimates import completed

SHELF = bundled_catalogue()
PARTS = (SHELF.motors[MOTOR], SHELF.controllers[CONTROLLER], SHELF.packs[PACK], SHELF.propellers[PROPELLER])
TRAIN_G = sum(completed(part)[0].mass_g for part in PARTS)

QUESTIONS = {
    "propeller": ("ask", "propeller", "--limit", "8A"),
    "kv": ("ask", "kv", "--current", "8A"),
    "throttle": ("ask", "throttle", "--limit", "6"),
    "mass": ("ask", "mass", "wetland_logger"),
    "pack": ("ask", "pack", "wetland_logger", "--minutes", "20"),
    "field": ("ask", "field", "wetland_logger"),
}
SAYS = {
    "propeller": (
        "The largest propeller that keeps the motor current below 8 A is about",
        "Propellers of the catalogue",
    ),
    "kv": ("A measured kV of about", "Motors of the catalogue nearest to 8 A", "on a label"),
    "throttle": ("keeps the motor current below 6 A", "a wattmeter at the pack", "recalibrated"),
    "mass": (
        f"as designed ({265 + TRAIN_G:.0f} g all-up) meets the brief",
        "where balance binds",
        "heavier filament",
        "Mass build-up",
    ),
    "pack": ("20 minutes need a 2S pack of about", "lipo packs of the catalogue", "foamed filament", "Mass build-up"),
    "field": ("It stays at 0.55 or more up to", "Highest field by air temperature", "Mass build-up"),
}


@pytest.mark.parametrize("name", QUESTIONS)
def test_each_question_is_answered_in_a_sentence(run, name):
    ran = run(*QUESTIONS[name], *TRAIN)
    assert ran.exit_code == 0, ran.err
    assert max(map(len, ran.out.splitlines())) <= 100
    flat = " ".join(ran.out.split())
    for words in (*SAYS[name], "Estimates: before flight"):
        assert words in flat, words
    assert "safe" not in flat


@pytest.mark.parametrize("name", QUESTIONS)
def test_each_question_has_rows(run, name):
    document = run(*QUESTIONS[name], *TYPED, "--json").document
    assert document["command"] == "ask"
    assert document["rows"]
    assert document["train"]["motor"]["id"] == MOTOR
    lines = run(*QUESTIONS[name], *TYPED, "--csv").out.splitlines()
    assert len(lines) == 1 + len(document["rows"])


def test_several_limits_at_once(run):
    rows = run("ask", "propeller", "--limit", "6,8,10", *TRAIN, "--json").document["rows"]
    assert [row["motor_current_limit_a"] for row in rows] == [6, 8, 10]
    sizes = [row["diameter_in"] for row in rows]
    assert sizes == sorted(sizes)


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ((), "fewer amps than the motor carries; thrust"),
        (("--motors", "2"), "fewer amps than the 2 motors carry together; thrust"),
        (("--radio-current", "9A"), "W; thrust"),  # a wattmeter then shows more than the motor carries
    ],
)
def test_the_wattmeter_beside_the_motor_current_at_a_cap(run, more, said):
    done = run("ask", "throttle", "--limit", "4A", *TYPED, *more, "--json")
    row, train = done.document["rows"][0], done.document["train"]
    assert (row["pack_current_at_limit_a"] < train["count"] * row["motor_current_at_limit_a"]) == ("fewer" in said)
    text = " ".join(run("ask", "throttle", "--limit", "4A", *TYPED, *more).out.split())
    assert said in text


def test_by_default_the_limit_is_the_lower_rating(run):
    (row,) = run("ask", "throttle", *TRAIN, "--json").document["rows"]
    least = min(SHELF.motors[MOTOR].max_current_a, SHELF.controllers[CONTROLLER].max_current_a)
    assert row["motor_current_limit_a"] == least


def test_a_brief_moves_the_answer_to_its_site(run, tmp_path):
    path = tmp_path / "high.toml"
    path.write_text('[aircraft]\nname = "high"\nbare_mass_g = 265\n[site]\naltitude_m = 3000\n', encoding="utf-8")
    low = run("ask", "propeller", "--limit", "8", *TRAIN, "--json").document["rows"][0]["diameter_in"]
    high = run("ask", "propeller", str(path), "--limit", "8", *TRAIN, "--json").document["rows"][0]["diameter_in"]
    assert high > low


def test_one_variant_alone(run):
    ran = run("ask", "mass", "wetland_logger", "--variant", "foamed filament", *TRAIN)
    assert "as designed" not in ran.out
    assert run("ask", "mass", "wetland_logger", "--variant", "foamd filament", *TRAIN).exit_code == 2


def test_exit_code_1_without_an_answer(run):
    assert run("ask", "pack", "wetland_logger", "--minutes", "1400", *TRAIN).exit_code == 1
    assert run("ask", "field", "wetland_logger", "--thrust-to-weight", "9", *TRAIN).exit_code == 1
    assert run("ask", "mass", "club_racer", *TRAIN).exit_code in (0, 1)


@pytest.mark.parametrize(
    "words",
    [
        ("ask", "propeller", "--limit", "many"),
        ("ask", "propeller", "--limit", "-3"),
        ("ask", "propeller", "--pitch-ratio", "x"),
        ("ask", "kv", "--current", "8,,9"),
        ("ask", "pack", "wetland_logger", "--minutes", "nan"),
        ("ask", "field", "wetland_logger", "--thrust-to-weight", "0"),
        ("ask", "mass", "nowhere.toml"),
        ("ask", "nonsense"),
    ],
)
def test_bad_input_ends_with_2(run, words):
    ran = run(*words, *(TRAIN if words[1] != "nonsense" else ()))
    assert ran.exit_code == 2
    assert "Traceback" not in ran.err
    assert ran.err


def test_the_help_lists_the_questions(run):
    out = run("ask", "--help").out
    for name in QUESTIONS:
        assert name in out
