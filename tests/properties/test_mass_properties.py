"""What holds of mass lists whatever they are: sums, shares, places, and one rule for every other mass."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from propmatch.aircraft.balance import MassBuildUp
from propmatch.records.fields import replace
from propmatch.records.masses import (
    FILAMENTS,
    Item,
    ItemChange,
    Structure,
    StructureChange,
    build_lines,
    stays_g,
)
from propmatch.records.sections import Variant

GRAMS, PLACES = st.floats(1, 500), st.floats(-300, 900)
ITEMS = st.builds(
    lambda grams, at, up: Item(name="i", mass_g=grams, position_mm=at, height_mm=up), GRAMS, PLACES, PLACES
)
WORDS = st.sampled_from([*FILAMENTS, None])
PARTS = st.builds(
    lambda grams, flow, word, glue, share, at, up: Structure(
        name="p", slicer_g=grams, flow_rate=flow, material=word, glue_g=glue, finish_share=share, position_mm=at,
        height_mm=up,
    ),
    GRAMS, st.floats(0.2, 1.2), WORDS, st.floats(0, 20), st.floats(0, 0.5), PLACES, PLACES,
)  # fmt: skip


def build_of(items, parts, **changes):
    return MassBuildUp(build_lines(items, parts, Variant(name="v", **changes) if changes else None)[0])


@given(st.lists(ITEMS, max_size=4), st.lists(PARTS, min_size=1, max_size=4), st.floats(1.001, 5))
def test_another_mass_changes_filament_alone_and_lanes_say_the_same(items, parts, more):
    build = build_of(items, parts)
    mass = stays_g(build.lines) * more + 0.1
    other, lanes = build.scaled_to(mass), build.at(np.array([mass, stays_g(build.lines)]))
    assert other.mass_g == pytest.approx(mass)
    assert other.lines[: len(items)] == build.lines[: len(items)]
    added = [line.mass_g - line.varies_g for line in build.lines[len(items) :]]
    assert [line.mass_g - line.varies_g for line in other.lines[len(items) :]] == pytest.approx(added, abs=1e-6)
    assert stays_g(other.lines) == pytest.approx(stays_g(build.lines))
    for name in ("mass_g", "position_mm", "height_mm"):
        found = getattr(lanes, name)
        assert found[0] == pytest.approx(getattr(other, name), rel=1e-9, abs=1e-6)
        assert np.isnan(found[1])
    back = other.scaled_to(build.mass_g)
    assert back.position_mm == pytest.approx(build.position_mm, rel=1e-9, abs=1e-6)
    places = [line.position_mm for line in build.lines]
    assert min(places) - 1e-6 <= other.position_mm <= max(places) + 1e-6


@given(PARTS, st.sampled_from(list(FILAMENTS)), st.floats(0.2, 1.2))
def test_a_part_weighs_the_same_in_a_filament_however_its_grams_are_stated(part, word, flow):
    weighed = replace(part, slicer_g=None, weighed_g=part.mass_g, glue_g=0.0, finish_share=0.0,
                      printed_share=part.filament_g / part.mass_g)  # fmt: skip
    sliced = replace(part, slicer_g=part.filament_g, slicer_flow=part.flow_rate, glue_g=0.0, finish_share=0.0)
    masses = []
    for each in (part, weighed, sliced):
        change = StructureChange(name="p", material=word, flow_rate=flow)
        (line,) = build_of((), [each], structure=(change,)).lines
        masses.append(line.varies_g)
        if word == part.material or word == "solid":
            assert line.varies_g == pytest.approx(part.filament_g * flow / part.flow_rate)
    assert masses == pytest.approx([masses[0]] * 3)


@given(st.lists(ITEMS, min_size=1, max_size=4), PARTS)
def test_a_change_to_what_is_there_already_changes_nothing(items, part):
    items = [replace(each, name=f"i{at}") for at, each in enumerate(items)]
    first = items[0]
    same = ItemChange(name=first.name, mass_g=first.mass_g, position_mm=first.position_mm, height_mm=first.height_mm)
    own = StructureChange(name="p", flow_rate=part.flow_rate)
    assert build_of(items, [part], item=(same,), structure=(own,)) == build_of(items, [part])
    without = build_of(items, [part], item=(ItemChange(name=first.name, removed=True),))
    assert without == build_of(items[1:], [part])
    new = ItemChange(name="new", added=True, mass_g=first.mass_g, position_mm=first.position_mm)
    more = build_of(items[1:], [part], item=(new,))
    assert more.mass_g == pytest.approx(build_of(items, [part]).mass_g)
    assert more.position_mm == pytest.approx(build_of(items, [part]).position_mm, abs=1e-6)
