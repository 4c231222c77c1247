"""How long and how wide the answers are, and the words they are made of.

Lines and columns are the project's own promise (what a screen of 80 columns shows), no standard.
"""

import re

import pytest
from support.commands import TYPED

from propmatch.cli import COMMANDS, propmatch
from propmatch.records.parts import FAMILIES
from propmatch.words.glossary import GLOSSARY, glossary_lines

BRIEFS = ("club_racer", "schoolyard_trainer", "wetland_logger")
MOST = {"envelope": 45, "time": 40}
TRAINS = (
    ("--motor", "1500kV 28g", "--propeller", "6x4", "--pack", "2S 450mAh"),
    ("--motor", "2200kV 18g", "--prop", "5x3 thin", "--battery", "2S 450mAh 35C", "--esc", "12A"),
    ("--motor", "1100kV 60g 300W", "--propeller", "9x5 thin", "--pack", "3S 1300mAh 30C"),
)
WHOLE = {"airspeeds": "best climb", "settings": "charging current", "heat": "in the winding"}


def short(out, lines):
    printed = out.splitlines()
    assert max(map(len, printed)) <= 80, max(printed, key=len)
    assert len(printed) <= lines, out
    assert "Assumed" in out
    assert "--assumptions lists all" in out
    assert out.count("--cautions") == 1
    return printed


@pytest.mark.parametrize("brief", BRIEFS)
@pytest.mark.parametrize("command", MOST)
def test_an_answer_for_a_bundled_brief_fits_a_screen(run, command, brief):
    ran = run(command, brief)
    assert ran.exit_code == 0, ran.err
    printed = short(ran.out, MOST[command])
    name = brief.replace("_", " ")
    assert printed[0].startswith(f"{name}: ")
    assert re.search(r"\d", printed[0])


@pytest.mark.parametrize("brief", ["wetland_logger", "schoolyard_trainer"])
def test_an_envelope_begins_with_what_does_not_hold(run, brief):
    """Both designs miss their thrust to weight in thin, warm air."""
    lines = run("envelope", brief).out.splitlines()
    assert "the design itself does not hold from 0 to 1000 m" in " ".join(lines[:2])
    assert " ".join(lines).count("min:s") == 1


@pytest.mark.parametrize("train", TRAINS)
def test_a_point_of_typed_parts_fits_half_a_screen(run, train):
    ran = run("point", *train)
    assert ran.exit_code == 0, ran.err
    short(ran.out, 26)
    assert "Hottest: " in ran.out


def test_what_is_left_out_is_asked_for(run):
    """What the default leaves out is named in it, and printed with --full; nothing of the short answer is lost."""
    least, most = run("time", "wetland_logger").out, run("time", "wetland_logger", "--full").out
    (said,) = (line for line in least.splitlines() if line.startswith("--full adds: "))
    for name, words in WHOLE.items():
        assert name in said
        assert words not in least
        assert words in most
    assert "--full adds" not in most
    assert max(map(len, most.splitlines())) <= 80
    lost = [line for line in least.splitlines() if line not in most and not line.startswith("--full")]
    assert not lost


def test_no_sentence_is_said_twice(run):
    for command in MOST:
        sentences = re.split(r"(?<=[.:;])\s+", " ".join(run(command, "wetland_logger").out.split()))
        long = [sentence for sentence in sentences if len(sentence) > 30]
        assert len(long) == len(set(long)), command


@pytest.mark.parametrize(
    ("ours", "other"), [("--controller", "--esc"), ("--propeller", "--prop"), ("--pack", "--battery")]
)
def test_an_option_has_the_trades_other_word(run, ours, other):
    first = run("point", *TYPED, "--json").out
    assert run("point", *(other if word == ours else word for word in TYPED), "--json").out == first
    for command in ("point", "time", "fits", "ask", "envelope"):
        words = ("ask", "kv") if command == "ask" else (command,)
        assert other in run(*words, "--help").out, command


@pytest.mark.parametrize(
    ("other", "kind"),
    [("esc", "controllers"), ("ESCs", "controllers"), ("props", "propellers"), ("batteries", "packs")],
)
def test_a_kind_has_the_trades_other_word(run, other, kind):
    assert run("parts", other, "--csv").out == run("parts", kind, "--csv").out


def test_no_other_kind_is_made_up(run):
    ran = run("parts", "wheel")
    assert ran.exit_code == 2
    assert "'wheel'" in ran.err


SEARCHED = ("ESC", "BEC", "AUW", "CG", "LiPo", "C rating", "IR", "W/kg", "wing loading", "area^1.5", "stall", "LVC",
            "brushless", "prop", "battery", "down thrust", "pusher", "hand launch", "wire and connector")  # fmt: skip
"""The words people search for."""


def test_the_words_people_search_for_are_explained(run):
    for word in SEARCHED:
        ran = run("words", word)
        assert ran.exit_code == 0, word
        assert word.casefold() in " ".join(ran.out.split()).casefold()
    assert run("words", "flux capacitor").exit_code == 1
    assert len(GLOSSARY) == 25
    whole = run("words").out
    assert max(map(len, whole.splitlines())) <= 80
    assert all(name in whole for name in (*GLOSSARY, *FAMILIES))


def test_the_readme_has_the_same_glossary():
    from pathlib import Path

    readme = Path(__file__).parents[2] / "README.md"
    assert "\n".join(glossary_lines()) in readme.read_text(encoding="utf-8")


def test_the_glossary_names_what_there_is(run):
    """Every option, key and section that the glossary names is one of the commands', the brief's or the parts'."""
    options = {name for command in COMMANDS for name in re.findall(r"--[a-z-]+", run(command, "--help").out)}
    known = run("schema").out
    document = run("time", "wetland_logger", "--json").out + run("parts", "packs", "--json").out
    document += run("parts", "controllers", "--json").out + run("parts", "motors", "--json").out
    for named in re.findall(r"`([^`]+)`", " ".join(GLOSSARY.values())):
        if named.startswith("--"):
            assert named in options, named
        elif named.startswith("parts "):
            assert run(*named.split(), "--top", "1").exit_code == 0, named
        else:
            key = named.strip("[]").partition(" ")[0]
            assert f'"{key}"' in known or f'"{key}"' in document, named
    assert propmatch.commands is not None


def test_w_per_kg_and_mass_over_area_close_by_hand(run):
    """P/m and m/S^1.5 from the numbers that stand beside them: full throttle, static, full battery; 16 dm2 of wing."""
    rows = run("cells", "wetland_logger", *TYPED, "--json").document["rows"]
    for row in rows:
        mass_kg = row["all_up_mass_g"] / 1000
        assert row["pack_power_per_mass_w_kg"] == pytest.approx(row["pack_power_static_w"] / mass_kg, rel=1e-9)
        assert row["cubic_loading_kg_m3"] == pytest.approx(mass_kg / 0.16**1.5, rel=1e-9)
    best = run("match", "wetland_logger", "--json").document["rows"][0]
    assert best["cubic_loading_kg_m3"] == pytest.approx(best["all_up_mass_g"] / 1000 / 0.16**1.5, rel=1e-9)
    flight = run("time", "wetland_logger", *TYPED, "--json").document["flights"][0]
    same = next(row for row in rows if row["cells"] == 2 and row["variant"] == flight["variant"])
    for name in ("pack_power_per_mass_w_kg", "cubic_loading_kg_m3"):
        assert flight[name] == pytest.approx(same[name], rel=1e-6)
        assert flight[f"{name}_low"] < flight[name] < flight[f"{name}_high"]
