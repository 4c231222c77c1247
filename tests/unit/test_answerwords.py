"""The answer in a buyer's words: whole minutes, and the part that uses most of its rating."""

import math

import attrs
import pytest
from support.small_aircraft import small_brief, small_train

from propmatch.checks.limits import Design, run_checks
from propmatch.checks.setting import ResolvedBrief
from propmatch.words.answerwords import hardest_check, hardest_words, minutes_text


@pytest.fixture(scope="module")
def checks():
    brief = ResolvedBrief.of(small_brief())
    return run_checks(Design.of(small_train(), brief.as_designed.variant), brief)


@pytest.mark.parametrize(
    ("said", "text"),
    [
        ((34.9, 25.2, 43.7), "35 (25 to 44) min"),
        ((7.4,), "7 min"),
        ((7.4, math.nan, 9.2), "7 (none to 9) min"),
        ((math.nan, math.nan, 9.2), "no flight"),
    ],
)
def test_minutes_are_whole(said, text):
    assert minutes_text(*said) == text


def test_the_hottest_uses_the_largest_share_of_a_rating(checks):
    """The same parts, one of them rated for just what flows: that one is the hottest, at 100 % of its rating."""
    for name, part in (("controller_current", "ESC"), ("motor_power", "motor"), ("pack_burst", "pack")):
        tight = [attrs.evolve(each, limit=each.value if each.name == name else 1e6) for each in checks]
        assert hardest_check(tight).name == name
        assert hardest_words(tight).startswith(f"hottest: the {part}, 100 % of its rating (")
    assert hardest_words([attrs.evolve(each, limit=math.nan) for each in checks]) == ""
