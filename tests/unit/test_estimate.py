"""How many combinations pass, from a sample: against counting them all."""

import math

import numpy as np
import pytest
from support.random_cases import random_case

from propmatch.search.estimate import estimated_passing
from propmatch.search.exhaustive import exhaustive
from propmatch.search.ranking import ranking


@pytest.mark.slow
def test_the_interval_holds_the_true_number_about_as_often_as_it_says():
    held = tried = 0
    for seed in range(40):
        setting, shelf = random_case(seed)
        true = exhaustive(setting, shelf, ranking(setting)).passing
        for draw in range(5):
            found = estimated_passing(setting, shelf, sample=400, seed=draw)
            assert found.low <= found.passing <= found.high
            held += found.low <= true <= found.high
            tried += 1
    # 95 %, less four standard deviations of a binomial share
    assert held / tried > 0.95 - 4.0 * math.sqrt(0.95 * 0.05 / tried)


def test_the_width_is_that_of_wilson_s_interval():
    setting, shelf = random_case(3, (6, 3, 7, 7))
    found = estimated_passing(setting, shelf, sample=1000)
    share, z = found.passing / shelf.combinations, 1.959963984540054
    # the roots of (p - share)^2 = z^2 p (1 - p)/n
    n = 1000
    roots = np.roots([1.0 + z * z / n, -2.0 * share - z * z / n, share * share])
    low, high = sorted(roots.real * shelf.combinations)
    assert abs(found.high - high) <= 2.0
    assert found.passing == 0 or abs(found.low - low) <= 2.0


def test_the_same_seed_gives_the_same_answer():
    setting, shelf = random_case(3, (6, 3, 7, 7))
    one, two = (estimated_passing(setting, shelf, sample=500, seed=4) for _ in range(2))
    assert one == two
