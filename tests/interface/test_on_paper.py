"""Answers on paper: the numbers of the drawn answer, and nothing that only draws can say."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from interface.conftest import Ran
from support.commands import CONTROLLER, MOTOR, PACK, PROPELLER, TRAIN, TYPED

from propmatch import load_brief, load_catalogue, parts_envelope
from propmatch.checks.judged import failing, judged_trains
from propmatch.checks.setting import ResolvedBrief
from propmatch.questions.bought import bought_propeller, bought_train
from propmatch.questions.publishing import conditions
from propmatch.records.fields import replace
from propmatch.records.parts import PowerTrain

BRIEF = """
[aircraft]
name = "bird"
bare_mass_g = 265
[wing]
area_dm2 = 16.0
span_mm = 1100
[limits]
min_flight_minutes = 5
min_thrust_to_weight = 0.9
cells = [2, 3]
[[phase]]
name = "round"
airspeed_m_s = 11
share = 1.0
"""


def numbers(row: dict[str, Any]) -> dict[str, float]:
    return {name: value for name, value in row.items() if isinstance(value, int | float)}


@pytest.mark.parametrize("command", ["time", "cells", "point"])
def test_on_paper_says_the_same_numbers_and_no_range_chance_or_timer(
    command: str, run: Callable[..., Ran], tmp_path: Path
) -> None:
    path = tmp_path / "bird.toml"
    path.write_text(BRIEF)
    words = (command, *TYPED) if command == "point" else (command, str(path), *TRAIN)
    drawn, paper, told = run(*words, "--json"), run(*words, "--on-paper", "--json"), run(*words, "--on-paper")
    assert paper.exit_code == told.exit_code == drawn.exit_code
    for row, other in zip(paper.document["rows"], drawn.document["rows"], strict=True):
        assert not [name for name in row if name.endswith(("_low", "_high"))]
        assert [name for name in other if name.endswith("_low")]
        assert row.get("chance_all_limits") is None
        same = numbers(row)
        assert len(same) > 5
        assert same == pytest.approx({name: other[name] for name in same}, rel=1e-9)
    text = " ".join(told.out.split())
    assert "On paper, every number as stated: no range, no chance and no timer." in text
    assert "of 100" not in text
    assert "Set the timer" not in text
    if command == "time":
        (flight,) = paper.document["flights"]
        assert flight["as_flown"]["flown_timer_minutes"] is None
        assert flight["as_flown"]["flown_minutes"] == drawn.document["flights"][0]["as_flown"]["flown_minutes"]


def test_parts_of_an_envelope_on_paper_are_those_that_pass_one_by_one_in_every_condition(tmp_path: Path) -> None:
    path = tmp_path / "bird.toml"
    path.write_text(BRIEF)
    resolved, stock = ResolvedBrief.of(load_brief(path)), load_catalogue()
    parts = {"motor": MOTOR, "controller": CONTROLLER, "pack": PACK, "propeller": PROPELLER}
    named = {kind: getattr(stock, f"{kind}s")[part] for kind, part in parts.items()}
    design = resolved.as_designed
    found = parts_envelope(resolved, stock, PowerTrain(**named, **design.train_numbers), cells=(2,), on_paper=True)
    each = found.cells[2]
    assert each.holds
    assert {choice.fits for choice in each.propellers} == {True, False}
    where = conditions([design], found.altitude_m, found.temperature_c)
    assert len(where) == 6
    for choice in each.propellers[:6]:
        other = replace(bought_train(each.train), propeller=bought_propeller(choice.part))
        missed = {
            name
            for one in where
            for name in failing(judged_trains(one.setting, [replace(other, **one.setting.train_numbers)])[0])[0]
        }
        assert set(choice.failed) == missed
        assert choice.fits is not bool(missed)


def test_an_envelope_on_paper_says_at_its_top_that_nothing_is_sure(run: Callable[..., Ran], tmp_path: Path) -> None:
    path = tmp_path / "bird.toml"
    path.write_text(BRIEF)
    words = ("envelope", str(path), *TRAIN, "--cells", "2", "--on-paper")
    told, found = run(*words), run(*words, "--json").document
    assert told.out.splitlines()[0] == "On paper: nothing here says how sure."
    assert "of 100" not in told.out
    assert "timer" not in told.out
    assert "nan" not in told.out
    assert "On paper: nothing here says how sure." in found["markdown"]
    (row,) = found["rows"]
    for name in ("chance_brief", "chance_ratings", "flight_minutes_from", "timer_worst_minutes", "thrust_static_n_to"):
        assert row[name] is None
    assert row["design_thrust_static_n"] > 0


def test_a_sheet_on_paper_is_marked_on_its_first_page_and_claims_no_chance(
    run: Callable[..., Ran], tmp_path: Path
) -> None:
    path, file = tmp_path / "bird.toml", tmp_path / "bird.html"
    path.write_text(BRIEF)
    assert run("sheet", str(path), *TRAIN, "--on-paper", "-o", str(file)).exit_code == 0
    text = file.read_text(encoding="utf-8")
    assert "On paper: nothing here says how sure. Not to be published." in text.partition("<main>")[0]
    answers = text.partition('<section id="asked"')[0]
    for claim in ("of 100", "80 % of builds", 'id="answering"', "<script", "(nan"):
        assert claim not in answers
    assert "<script" not in text


def test_parts_that_match_chose_are_chosen_with_chances_and_that_is_said(
    run: Callable[..., Ran], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    stock = load_catalogue()
    ids = {"motor": MOTOR, "controller": CONTROLLER, "pack": PACK, "propeller": PROPELLER}
    parts = {kind: getattr(stock, f"{kind}s")[part] for kind, part in ids.items()}
    monkeypatch.setattr("propmatch.search.matching.best_train", lambda *_, **__: PowerTrain(**parts))
    (tmp_path / "bird.toml").write_text(BRIEF)
    for more, said in (((), "the best that match found."), (("--on-paper",), "match found, chances counted.")):
        assert said in " ".join(run("time", str(tmp_path / "bird.toml"), *more).out.split())
