"""The five numbers that stay in view, and what the page says of cells that are not asked and of an assumed wing."""

from dataclasses import dataclass
from typing import Any

import pytest
from support.sheets import BRIEF, stock

from propmatch.brief import loads_brief
from propmatch.checks.chances import sureness
from propmatch.checks.measures import settings
from propmatch.page.answers import brief_answer, train_answer
from propmatch.search.matching import Candidate, match
from propmatch.words.chancewords import of_hundred


@dataclass
class Told:
    """A picked train and what the page is told of it."""

    best: Candidate
    answer: dict[str, Any]


@pytest.fixture(scope="module")
def told() -> Told:
    asked = loads_brief(BRIEF)
    found = match(asked, stock(), top=1).best
    assert found is not None
    return Told(found, train_answer(asked, stock(), found.id))


def test_the_strip_has_the_numbers_of_the_checks_and_the_chance(told: Told) -> None:
    checks = {each["name"]: each for each in told.answer["checks"]}
    strip = {each["name"]: each for each in told.answer["strip"]}
    assert list(strip) == ["flight_time", "thrust_to_weight", "controller_current", "mass", "limits"]
    for name, check in (
        ("flight_time", "flight_time"),
        ("controller_current", "controller_current"),
        ("mass", "all_up_mass"),
    ):
        assert strip[name]["text"] == checks[check]["text"]
    sure = sureness(settings(loads_brief(BRIEF))[0], told.best.train)
    assert strip["limits"]["text"] == f"{of_hundred(sure.chance_all_limits)} of 100"
    assert strip["limits"]["label"] == "brief and ratings kept"
    assert not any(each["beyond"] for each in strip.values())


def test_what_common_practice_asks_is_said_not_to_be_counted(told: Told) -> None:
    loose = [each["label"] for each in told.answer["checks"] if each["basis"] == "common practice"
             and each["chance"] is not None and each["chance"] < 0.995]  # fmt: skip
    said = "not common practice" in told.answer["beside"]
    assert said == bool(loose)
    assert all(f"{label} holds in" in told.answer["beside"] for label in loose)


def test_what_is_beyond_its_limit_says_so_in_the_strip(told: Told) -> None:
    asked = loads_brief(BRIEF.replace("min_flight_minutes = 5", "min_flight_minutes = 500"))
    answer = train_answer(asked, stock(), told.best.id, moving=True)
    strip = {each["name"]: each for each in answer["strip"]}
    assert [name for name, each in strip.items() if each["beyond"]] == ["flight_time", "limits"]
    assert (strip["limits"]["text"], strip["limits"]["range"]) == ("1 missed", "on paper")


@pytest.mark.parametrize(("cells", "words"), [([4], "more cells are asked"), ([1], "at most 1 S")])
def test_a_picked_train_on_cells_that_the_brief_does_not_ask_for_misses_it(
    told: Told, cells: list[int], words: str
) -> None:
    asked = loads_brief(BRIEF.replace("cells = [2, 3]", f"cells = {cells}"))
    answer = train_answer(asked, stock(), told.best.id, moving=True)
    check = next(each for each in answer["checks"] if each["name"] == "cell_count")
    assert (check["verdict"], check["limit_text"]) == ("fails", words)
    assert "cell count" in answer["verdict"]
    assert not answer["meets"]


def test_a_wing_that_the_brief_does_not_state_is_assumed() -> None:
    start, end = BRIEF.index("[wing]"), BRIEF.index("[limits]")
    words = brief_answer(loads_brief(BRIEF[:start] + BRIEF[end:]))["words"][0]
    assert "dm² of wing on" in words
    assert "assumed" in words
    assert "has" not in words.split()
    half = brief_answer(loads_brief(BRIEF.replace("area_dm2 = 16.0\n", "")))["words"][0]
    assert "; 1100 mm of span" in half
    assert "of wing assumed" in half
    assert "; 16 dm² of wing, 1100 mm of span" in brief_answer(loads_brief(BRIEF))["words"][0]
