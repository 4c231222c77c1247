"""The prediction over its whole range: finite, crossing zero inside the table, every element converged."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from propmatch_plugins.prediction import predict
from propmatch_plugins.prediction.families import FAMILIES

sizes = st.floats(2, 20)
ratios = st.floats(0.3, 1.2)
families = st.sampled_from([*FAMILIES, None])


@settings(max_examples=60)
@given(diameter=sizes, ratio=ratios, blades=st.integers(2, 6), family=families)
def test_any_propeller_gets_a_sound_table(diameter, ratio, blades, family):
    answer = predict(diameter, ratio * diameter, blades=blades, family=family)
    table = answer.table
    assert answer.unconverged == 0
    assert np.all(np.isfinite(table.ct))
    assert np.all(np.isfinite(table.cp))
    assert np.all(table.cp[:, 0] > 0)
    assert np.all(table.ct[:, 0] > 0)
    assert np.all(table.ct[:, -1] < 0)
    assert np.all(table.cp[table.ct > 0] > 0)
    assert all(-1 < low < 0 < high < 5 for low, high in answer.intervals.values())


@settings(max_examples=30)
@given(diameter=st.floats(4, 11), ratio=st.floats(0.35, 1.05), family=st.sampled_from(list(FAMILIES)))
def test_more_pitch_absorbs_more_power_and_goes_faster(diameter, ratio, family):
    less, more = (predict(diameter, r * diameter, family=family, rpm=[4000, 6000]) for r in (ratio, ratio * 1.1))
    assert np.all(more.cp0 > less.cp0)
    assert np.all(more.zero_thrust_j > less.zero_thrust_j)


@settings(max_examples=20)
@given(diameter=sizes, ratio=ratios, family=st.sampled_from(list(FAMILIES)))
def test_one_speed_alone_is_the_same_as_among_others(diameter, ratio, family):
    many = predict(diameter, ratio * diameter, family=family)
    one = predict(diameter, ratio * diameter, family=family, rpm=many.table.rpm[3:4])
    assert np.allclose(one.ct0, many.ct0[3], rtol=1e-6)
    assert np.allclose(one.cp0, many.cp0[3], rtol=1e-6)
    assert np.allclose(one.zero_thrust_j, many.zero_thrust_j[3], rtol=2e-2)
