"""What the propeller does with the motor off: said where a brief glides, a fault where the blades cannot do it."""

from pathlib import Path

import pytest
from support.commands import TRAIN, TYPED, narrow_brief  # noqa: F401

GLIDE = '[[phase]]\nname = "down"\nthrottle = 0\nshare = 0.2\n\n[site]\n'


@pytest.fixture
def gliding(narrow_brief):  # noqa: F811
    """``gliding("braked")``: the narrow brief with a phase without motor and that word, or none."""

    def made(word: str | None = None) -> str:
        text = Path(narrow_brief).read_text(encoding="utf-8").replace("[site]\n", GLIDE)
        said = "" if word is None else f'motor_off = "{word}"\n'
        path = Path(narrow_brief).with_name(f"{word}.toml")
        path.write_text(text.replace("[aircraft]\n", "[aircraft]\n" + said), encoding="utf-8")
        return str(path)

    return made


@pytest.mark.parametrize("named", [TRAIN, TYPED], ids=["by ids", "part by part"])
def test_folding_is_refused_where_the_named_blades_do_not(run, gliding, named):
    ran = run("time", gliding("folded"), *named)
    assert ran.exit_code == 2
    (line,) = ran.faults
    assert "aircraft.motor_off = 'folded'" in line
    assert "one of stopped, windmilling, braked" in line
    assert "do not fold" in line


def test_a_match_takes_them_as_stopped(run, gliding):
    found = run("match", gliding("folded"), "--json")
    assert found.exit_code == 0
    texts = [each["text"] for each in found.document["assumptions"]]
    assert any("'folded' is asked for, but" in text for text in texts)
    assert any("drag coefficient" in text for text in texts)


def test_the_train_says_what_its_propeller_does(run, gliding):
    for word, taken in ((None, "windmilling"), ("braked", "braked")):
        found = run("time", gliding(word), *TRAIN, "--json")
        assert found.document["train"]["motor_off"] == taken
        assert any("motor off" in each["text"] for each in found.document["assumptions"])


def test_a_word_nobody_knows_is_a_fault(run, gliding):
    ran = run("match", gliding("feathered"))
    assert ran.exit_code == 2
    assert "folded, stopped, windmilling, braked" in ran.err


def test_the_schema_names_the_key(run):
    out = run("schema").out
    assert "motor_off" in out
