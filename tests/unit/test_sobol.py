"""The scrambled Sobol sequence against scipy's, number for number, and its own spread."""

import numpy as np
import pytest
from scipy.stats import norm, qmc

from propmatch.tolerances.draws import normal_draws
from propmatch.tolerances.sobol import MOST_DIMENSIONS, sobol


@pytest.mark.parametrize(("count", "dimensions", "seed"), [(1024, 19, 13), (64, MOST_DIMENSIONS, 1), (8, 1, 3)])
def test_it_is_the_sequence_of_scipy(count, dimensions, seed):
    """scipy.stats.qmc.Sobol, LMS and shift, of a seed."""
    np.testing.assert_array_equal(sobol(count, dimensions, seed), qmc.Sobol(dimensions, rng=seed).random(count))


def test_every_strip_of_a_dimension_holds_one_point():
    """A (0, m, 1) net in each dimension: I. M. Sobol, 1967."""
    points = sobol(256, MOST_DIMENSIONS, 5)
    for each in points.T:
        assert sorted((256 * each).astype(int)) == list(range(256))


def test_normal_numbers_are_its_normal_quantiles():
    expected = norm.ppf(qmc.Sobol(5, rng=2).random(128))
    np.testing.assert_allclose(normal_draws(128, 2, 5), expected, rtol=1e-12, atol=1e-14)


@pytest.mark.parametrize(("count", "dimensions"), [(0, 1), (8, 0), (8, MOST_DIMENSIONS + 1)])
def test_what_it_cannot_do_is_refused(count, dimensions):
    with pytest.raises(ValueError, match="dimensions"):
        sobol(count, dimensions, 1)
