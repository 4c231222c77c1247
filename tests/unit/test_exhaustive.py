"""Judging every combination, against judging one design at a time."""

import numpy as np
import pytest
from support.random_cases import random_case

from propmatch.checks.limits import Design, excludes, run_checks
from propmatch.checks.measures import CHECKS, TrainMeasures
from propmatch.search.exhaustive import Interrupted, exhaustive, first_failures, in_order
from propmatch.search.ranking import ranking

SETTING, SHELF = random_case(5, (3, 2, 4, 4))


@pytest.mark.slow
def test_passing_and_left_out_are_those_of_single_designs():
    names = list(CHECKS)
    counts, passing = dict.fromkeys(names, 0), set()
    rows = np.column_stack([x.ravel() for x in np.indices(SHELF.sizes)])
    rows = rows[SHELF.cells_fit(*rows[:, :3].T)]
    for row in rows:
        checks = run_checks(Design.of(SHELF.train(*row), SETTING.variant), SETTING.stated)
        failed = [c.name for c in checks if excludes(c)]
        if failed:
            counts[failed[0]] += 1
        else:
            passing.add(tuple(row.tolist()))
    found = exhaustive(SETTING, SHELF, ranking(SETTING), top=10**6)
    assert found.combinations == len(rows)
    assert found.passing == len(passing)
    assert set(map(tuple, found.combination.tolist())) == passing
    assert found.left_out == {name: n for name, n in counts.items() if n}


def test_first_failures_keep_the_measures_of_what_passes():
    rng = np.random.default_rng(1)
    rows = np.column_stack([rng.integers(0, n, 60) for n in SHELF.sizes])
    measured = TrainMeasures(SETTING, *SHELF.combine(*rows.T))
    failed, alive, rest = first_failures(measured)
    np.testing.assert_array_equal(np.flatnonzero(failed < 0), alive)
    assert rest.lanes.size == alive.size


def test_order_is_score_then_mass_then_place():
    score, mass = np.array([1.0, 2.0, 2.0, 2.0]), np.array([5.0, 9.0, 7.0, 7.0])
    place = np.array([[0, 0, 0, 0], [0, 0, 0, 1], [2, 0, 0, 0], [1, 0, 0, 0]])
    assert in_order(score, mass, place).tolist() == [3, 2, 1, 0]


def test_an_interruption_keeps_the_best_so_far():
    def stop(done, total):
        raise KeyboardInterrupt

    with pytest.raises(Interrupted) as caught:
        exhaustive(SETTING, SHELF, ranking(SETTING), top=3, progress=stop)
    found = caught.value.found
    assert len(found.combination) <= 3
    assert (found.passing, found.left_out) == (None, {}), "nothing looks counted"
