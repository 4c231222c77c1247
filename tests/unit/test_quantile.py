"""Quantiles: of the normal distribution, and of draws."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import chdtrc, ndtri

from propmatch.checks.chances import INTERVAL, intervals
from propmatch.tolerances.quantile import chi_square_tail, normal_quantile


def test_the_normal_quantile_is_that_of_a_statistics_library():
    """Against scipy.special.ndtri, whose own relative error is near 1e-15 (Cephes)."""
    unit = np.concatenate([np.linspace(1e-6, 1.0 - 1e-6, 100_001), 10.0 ** -np.arange(1.0, 10.5, 0.25)])
    np.testing.assert_allclose(normal_quantile(unit), ndtri(unit), rtol=4e-15, atol=1e-16)


@given(st.integers(1, 400), st.floats(0.0, 2000.0))
def test_the_tail_of_chi_square_is_that_of_a_statistics_library(freedom, value):
    """Against scipy.special.chdtrc (Cephes)."""
    np.testing.assert_allclose(chi_square_tail(freedom, value), chdtrc(freedom, value), rtol=1e-10, atol=1e-300)


def test_the_tail_of_chi_square_at_its_ends():
    """The 5 % points of Abramowitz and Stegun, table 26.8; nothing is surely exceeded, and what is no number stays."""
    for freedom, value in ((1, 3.84146), (2, 5.99147), (5, 11.0705), (10, 18.3070), (30, 43.7729)):
        assert chi_square_tail(freedom, value) == pytest.approx(0.05, rel=2e-4)
    assert chi_square_tail(3, 0.0) == 1.0
    assert chi_square_tail(3, np.inf) == 0.0
    assert np.isnan(chi_square_tail(3, np.nan))


@given(st.integers(0, 10**6), st.sampled_from([1, 2, 3, 7, 128, 1024]), st.sampled_from([0.0, 0.05, 0.3, 1.0]))
def test_intervals_are_the_quantiles_of_numpy(seed, draws, lost):
    """Linear between two draws; where some have no answer, one of the draws (its ``inverted_cdf``)."""
    rng = np.random.default_rng(seed)
    values = rng.normal(size=(5, draws))
    values[rng.random(values.shape) < lost] = np.nan
    tail = (1.0 - INTERVAL) / 2.0
    low, high = intervals(values)
    if np.isfinite(values).all():
        wanted = np.quantile(values, (tail, 1.0 - tail), axis=1)
    else:
        filled = [np.where(np.isnan(values), end, values) for end in (-np.inf, np.inf)]
        wanted = [np.quantile(each, q, axis=1, method="inverted_cdf")
                  for each, q in zip(filled, (tail, 1.0 - tail), strict=True)]  # fmt: skip
        wanted = [np.where(np.isfinite(end), end, np.nan) for end in wanted]
    assert low == pytest.approx(wanted[0], rel=1e-12, abs=1e-14, nan_ok=True)
    assert high == pytest.approx(wanted[1], rel=1e-12, abs=1e-14, nan_ok=True)
