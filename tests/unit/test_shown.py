"""Trade units and plain tables."""

import io
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from propmatch.words.shown import SYSTEMS, Shown, page_width, plain, signed, table, wrapped


def test_trade_units_of_known_quantities():
    metric, imperial, si = SYSTEMS["metric"], SYSTEMS["imperial"], SYSTEMS["si"]
    # standard gravity 9.80665 m/s2 (ISO 80000-3); avoirdupois ounce 28.349523125 g; mile 1609.344 m; foot 0.3048 m
    assert metric.thrust_of(9.80665) == pytest.approx(1000)
    assert imperial.thrust_of(9.80665 * 0.028349523125) == pytest.approx(1)
    assert si.thrust_of(2.5) == 2.5
    assert metric.speed_of(10) == pytest.approx(36)
    assert imperial.speed_of(1609.344 / 3600) == pytest.approx(1)
    assert imperial.mass_of(28.349523125) == pytest.approx(1)
    assert imperial.loading_of(1.0) == pytest.approx(1 / 28.349523125 * 9.290304)  # 1 ft2 is 9.290304 dm2
    assert metric.loading_of(25.6) == pytest.approx(25.6)


def test_texts_carry_their_unit():
    assert Shown().thrust_text(1.0) == "102 gf"
    assert Shown().speed_text(10.0) == "36 km/h"
    assert Shown().mass_text(356.4) == "356 g"
    assert Shown().mass_text(3.25) == "3.2 g"
    assert Shown(thrust="oz").mass_text(356.4) == "12.6 oz"
    assert Shown().loading_text(25.63) == "25.6 g/dm2"


def test_no_number_and_no_negative_zero():
    assert signed(math.nan) == signed(None) == signed(math.inf) == "-"
    assert signed(-0.0) == "0.0"
    assert signed(-0.04) == "0.0"
    assert signed(-0.06) == "-0.1"


def test_control_characters_become_spaces():
    assert plain("a\x1b[2Jb\nc\u202e") == "a [2Jb c "


def test_a_table_aligns_its_columns():
    rows = [{"part": "long name", "A": 1.5}, {"part": "b", "A": 10}]
    assert table(rows, left=["part"]) == ["part         A", "long name  1.5", "b           10"]


@given(st.lists(st.fixed_dictionaries({"a": st.text(max_size=150), "b": st.floats()}), max_size=4))
def test_a_table_with_a_text_column_fits_the_page(rows):
    lines = table(rows, left=["a"])
    assert all(len(line) <= 80 for line in lines)
    assert all("\n" not in line for line in lines)


@given(st.text(alphabet="ab c", max_size=400))
def test_wrapped_text_fits_and_loses_no_word(text):
    lines = wrapped(text, first="  - ")
    assert " ".join(lines).replace("  - ", "", 1).split() == text.split() or not text.split()
    assert all(len(line) <= 80 or " " not in line.strip() for line in lines)


@given(
    st.lists(st.fixed_dictionaries({f"number {at} of many": st.integers(0, 10**6) for at in range(12)}), max_size=3),
    st.integers(40, 100),
)
def test_a_table_of_many_numbers_stands_in_strips_and_loses_none(rows, width):
    lines = table([{"which": "row", **row} for row in rows], width=width)
    assert all(len(line) <= width for line in lines)
    words = " ".join(lines).split()
    assert all(words.count(str(value)) >= list(row.values()).count(value) for row in rows for value in row.values())


def test_spare_columns_go_before_anything_is_folded():
    row = {"part": "propeller of wood", "A": "12.5", "notes": "x" * 30}
    assert table([row], left=["part"], spare=["notes"], width=40) == [
        "part                  A", "propeller of wood  12.5",
    ]  # fmt: skip
    assert table([row], left=["part"], width=30, columns=["part", "A"], headed=False) == ["propeller of wood  12.5"]


def test_a_line_is_as_wide_as_the_terminal_says(monkeypatch):
    """COLUMNS stands for a terminal's width, as POSIX has it (The Open Group, XBD, Environment Variables)."""
    for said, wide in (("60", 60), ("5", 40), ("300", 100)):
        monkeypatch.setenv("COLUMNS", said)
        assert page_width() == wide
        assert max(map(len, wrapped("word " * 100))) <= wide
    monkeypatch.delenv("COLUMNS")
    monkeypatch.setattr("sys.__stdout__", io.StringIO())  # nobody watches
    assert page_width() == 80
