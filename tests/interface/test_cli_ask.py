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
        "The largest propeller that keeps the motor current below 8 A in 80 of 100 builds is about",
        "Propellers of the catalogue",
    ),
    "kv": ("A measured kV of about", "Motors of the catalogue nearest to 8 A", "on a label"),
    "throttle": ("keeps the motor current below 6 A", "static on a full battery the pack", "recalibrated"),
    "mass": (
        f"as designed ({265 + TRAIN_G:.0f} g all-up) meets the brief on paper from",
        "at no mass as surely as is asked",
        "the surest, every limit holds in",
        "heavier filament",
        "mass build-up",
    ),
    "pack": (
        "20 minutes in 80 of 100 builds need a 2S pack of about",
        "mAh on paper)",
        "lipo packs of the catalogue",
        "foamed filament",
        "mass build-up",
    ),
    "field": (
        "It stays at 0.55 or more in 80 of 100 builds up to",
        "Highest field by air temperature",
        "mass build-up",
    ),
}


@pytest.mark.parametrize("name", QUESTIONS)
def test_each_question_is_answered_in_a_sentence(run, name):
    ran = run(*QUESTIONS[name], *TRAIN)
    assert ran.exit_code == 0, ran.err
    assert max(map(len, ran.out.splitlines())) <= 80
    assert len(ran.out.splitlines()) <= 40
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


ON_PAPER = {
    "propeller": "The largest propeller that keeps the motor current below 8 A is about",
    "kv": "on a label) draws 8 A through the motor",
    "throttle": "keeps the motor current below 6 A (full throttle",
    "mass": "(lighter: balance)",
    "pack": "20 minutes need a 2S pack of about",
    "field": "It stays at 0.55 or more up to",
}


@pytest.mark.parametrize("name", QUESTIONS)
def test_on_paper_no_chance_is_spoken_of(run, name):
    ran = run(*QUESTIONS[name], *TRAIN, "--on-paper")
    flat = " ".join(ran.out.split())
    assert ran.exit_code == 0, ran.err
    assert ON_PAPER[name] in flat
    assert "of 100 builds" not in flat
    assert "on paper" not in flat


ANSWERS = {
    "propeller": ("diameter_in", "diameter_on_paper_in", -1),
    "kv": ("kv_rpm_per_v", "kv_on_paper_rpm_per_v", -1),
    "throttle": ("throttle_at_limit", "throttle_at_limit_on_paper", -1),
    "pack": ("capacity_mah", "capacity_on_paper_mah", 1),
}


@pytest.mark.parametrize("name", ANSWERS)
def test_the_surer_an_answer_must_be_the_less_it_allows(run, name):
    key, on_paper, sign = ANSWERS[name]
    words = (*QUESTIONS[name], *(("--variant", "as designed") if name == "pack" else ()), *TYPED, "--json")
    rows = [
        run(*words, *more).document["rows"][0]
        for more in (("--on-paper",), ("--chance", "0.6"), (), ("--chance", "95%"))
    ]
    found = [sign * row[key] for row in rows]
    assert found == sorted(found)
    assert found[-1] > found[0]
    assert rows[0]["chance"] is None
    assert [row["chance"] for row in rows[1:]] == pytest.approx([0.6, 0.8, 0.95])
    assert len({row[on_paper] for row in rows}) == 1
    assert rows[0][key] == rows[0][on_paper]


def test_a_rating_asks_for_the_chance_of_ratings(run):
    (row,) = run("ask", "throttle", *TYPED, "--json").document["rows"]
    assert row["chance"] == 0.9


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (("--chance", "1"), "0.99"), (("--chance", "0.3"), "0.5"), (("--chance", "often"), "--chance"),
        (("--chance", "0.9", "--on-paper"), "exclude each other"),
    ],
)  # fmt: skip
def test_a_chance_that_is_none(run, more, said):
    ran = run(*QUESTIONS["throttle"], *TYPED, *more)
    assert ran.exit_code == 2
    assert said in ran.err


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
