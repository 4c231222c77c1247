"""Packs as they are: older, colder or longer at rest never flies longer."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.trains import simple_airframe, simple_train

from propmatch import Phase
from propmatch.aircraft.endurance import flight_time
from propmatch.models.pack import CHEMISTRIES, CellState

FRAME = simple_airframe()
PHASES = [Phase(name="climb", throttle=1.0, seconds=10), Phase(name="cruise", airspeed_m_s=10.0, share=1.0)]
chemistries = st.sampled_from(["lipo", "lihv", "liion", "lifepo4"])
SLACK = 1.0 + 1e-6


def minutes(chemistry, **state):
    train = simple_train(pack={"chemistry": chemistry}, **state)
    return flight_time(train, FRAME, 0.4, PHASES[1:]).minutes


@given(chemistry=chemistries, first=st.floats(-20.0, 60.0), second=st.floats(-20.0, 60.0))
def test_colder_never_flies_longer(chemistry, first, second):
    cold, warm = sorted((first, second))
    assert minutes(chemistry, pack_temperature_c=cold) <= minutes(chemistry, pack_temperature_c=warm) * SLACK


@given(chemistry=chemistries, first=st.integers(0, 2000), second=st.integers(0, 2000))
def test_older_never_flies_longer(chemistry, first, second):
    new, old = sorted((first, second))
    assert minutes(chemistry, pack_cycles=old) <= minutes(chemistry, pack_cycles=new) * SLACK


@given(chemistry=chemistries, first=st.floats(0.0, 2000.0), second=st.floats(0.0, 2000.0))
def test_longer_at_rest_never_flies_longer(chemistry, first, second):
    short, long = sorted((first, second))
    assert minutes(chemistry, pack_rest_h=long) <= minutes(chemistry, pack_rest_h=short) * SLACK


@given(first=st.floats(1.0, 3.0), second=st.floats(1.0, 3.0))
def test_harder_flying_never_flies_longer(first, second):
    calm, wild = (
        flight_time(simple_train(), FRAME, 0.4, PHASES, held_factor=f).minutes for f in sorted((first, second))
    )
    assert wild <= calm * SLACK


@given(
    name=st.sampled_from(sorted(CHEMISTRIES)), celsius=st.floats(-20.0, 25.0), cycles=st.integers(0, 2000),
    rest=st.floats(0.0, 2000.0),
)  # fmt: skip
def test_ratios_multiply_and_never_help(name, celsius, cycles, rest):
    cells = CHEMISTRIES[name]
    each = [CellState(temperature_c=celsius), CellState(cycles=cycles), CellState(rest_h=rest)]
    both = CellState(temperature_c=celsius, cycles=cycles, rest_h=rest)
    for ratio, helps in (("resistance_ratio", -1), ("capacity_ratio", 1)):
        values = [getattr(state, ratio)(cells) for state in each]
        assert getattr(both, ratio)(cells) == pytest.approx(np.prod(values), rel=1e-12)
        assert all(helps * value <= helps * (1.0 + 1e-12 * helps) for value in values)
    assert both.cells(cells).full_v <= cells.full_v
