"""The page on accuracy says what the repository's own measured rows say: each figure is computed again.

What was measured stands in the files beside this one, each with its source in the test that reads it or in
``benchmarks/accuracy.py``. Rows with a date rest on the whole open data; the benchmark computes those.
"""

import math
import re

import attrs
import pytest

import accuracy
from propmatch.guide.accuracy import TESTS, compared
from propmatch.guide.accuracy import accuracy as page

ROWS = {row.name: row for row in compared()}


@pytest.fixture(scope="module")
def found():
    return accuracy.of_repository()


def test_rows_of_the_repository_are_those_that_the_page_says_are_tested(found):
    assert set(found) == {name for name, row in ROWS.items() if row.shown == TESTS}


@pytest.mark.parametrize("name", [name for name, row in ROWS.items() if row.shown == TESTS])
def test_a_figure_is_no_better_on_the_page_and_hardly_worse(found, name):
    """Not padded either: within half a per cent, the step it is rounded to, and a quarter."""
    assert found[name].worse_than(ROWS[name]) == []
    for figure in ("median", "eighty", "bias"):
        said, now = abs(getattr(ROWS[name], figure)), abs(getattr(found[name], figure))
        assert said <= 1.25 * now + 0.5, figure


def test_a_page_that_flatters_is_found_out(found):
    row, now = ROWS["typed cp"], found["typed cp"]
    assert attrs.evolve(now, count=14).worse_than(row) == ["count"]
    for figure in ("median", "eighty", "bias"):
        assert now.worse_than(attrs.evolve(row, **{figure: 0.5 * getattr(now, figure)})) == [figure]
    assert now.worse_than(attrs.evolve(row, bias=-row.bias)) == ["bias"]
    assert now.worse_than(attrs.evolve(row, held=now.held + 1.0)) == ["held"]


def test_errors_are_counted_as_the_page_says():
    """Of 1 to 5 the median is 3, four of five lie within 4.2 (linear between order statistics), the mean 1 of +-."""
    figures = accuracy.Figures.of([-1.0, 2.0, -3.0, 4.0, 5.0], [True, True, True, True, False])
    assert (figures.count, figures.median, figures.held) == (5, 3.0, 80.0)
    assert (figures.eighty, figures.bias) == (pytest.approx(4.2), pytest.approx(1.4))


def test_the_page_prints_every_row_and_dates_the_others():
    text = page(None)
    for row in ROWS.values():
        held = "-" if math.isnan(row.held) else f"{row.held:g}"
        assert f"{row.median:g} | {row.eighty:g} | {row.bias:+g} | {held} | {row.source} |" in text
        assert row.shown == TESTS or re.fullmatch(r"20\d\d-\d\d-\d\d", row.shown)
        assert row.shown == TESTS or row.shown in text
        assert f"\n{row.source}. " in text
    for thing in ("propeller", "motor", "pack", "voltage", "controller"):
        assert f"| {thing}" in text
    assert not re.search("DATE|ROWS", text)
