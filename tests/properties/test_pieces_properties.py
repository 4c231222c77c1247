"""The search of more parts than are held against each other at once, beside judging every combination."""

import numpy as np
import pytest
from support.random_cases import random_case

from propmatch.search.bounds import pieces
from propmatch.search.bounds.pruned import search, too_many
from propmatch.search.exhaustive import Interrupted, exhaustive
from propmatch.search.ranking import Ranking, ranking

CASES = {seed: random_case(seed, (6, 3, 7, 7)) for seed in (2, 3, 5)}
SETTING, SHELF = CASES[3]


@pytest.fixture(autouse=True)
def small(monkeypatch: pytest.MonkeyPatch) -> None:
    """Everything is too much, and a piece holds a few parts."""
    monkeypatch.setattr(pieces, "_PAIRS", 0)
    monkeypatch.setattr(pieces, "_PIECE", 6)
    monkeypatch.setattr(pieces, "_SAMPLE", dict.fromkeys(pieces._SAMPLE, 2))
    monkeypatch.setattr(pieces, "_GROUPS", 2)
    monkeypatch.setattr(pieces, "_KEPT", 1)
    monkeypatch.setattr(pieces, "_TURNS", (("motor",), ("pack", "propeller")))
    assert too_many(SHELF)


@pytest.mark.parametrize("counting", [True, False])
def test_pieces_together_are_the_whole(counting: bool) -> None:
    order = ranking(SETTING)
    found, plain = search(SETTING, SHELF, order, top=9, count=counting), exhaustive(SETTING, SHELF, order, top=9)
    assert len(plain.combination)
    np.testing.assert_array_equal(found.combination, plain.combination)
    np.testing.assert_allclose(found.score, plain.score, rtol=1e-12)
    assert (found.passing, found.left_out) == ((plain.passing, plain.left_out) if counting else (None, {}))


@pytest.mark.parametrize("seed", CASES)
@pytest.mark.parametrize("metric", ["flight_time", "thrust_to_weight", "top_speed", "mass"])
def test_nothing_exceeds_the_bound_of_its_group_and_propeller(metric: str, seed: int) -> None:
    """Against every combination that passes, computed."""
    setting, shelf = CASES[seed]
    order = Ranking(weights={metric: 1.0}, scales={metric: 1.0})
    some = {kind: np.arange(len(parts)) for kind, parts in shelf.kinds.items()}
    task = pieces.Pieces(setting, shelf, order, 9, None, lambda *_, **__: None)
    groups, bounds = task._bounds(some)
    assert sorted(np.concatenate(groups).tolist()) == some["pack"].tolist()
    group_of = {pack: at for at, group in enumerate(groups) for pack in group.tolist()}
    every = exhaustive(setting, shelf, order, top=10**6)
    at = [group_of[pack] for pack in every.combination[:, 2].tolist()]
    assert len(at)
    assert np.all(bounds[at, every.combination[:, 3]] >= every.score * (1.0 - 1e-9))


def test_what_ends_early_has_a_bound(monkeypatch: pytest.MonkeyPatch) -> None:
    def stop(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(pieces.Pieces, "_near", stop)
    order = ranking(SETTING)
    with pytest.raises(Interrupted) as told:
        search(SETTING, SHELF, order, top=3, count=False)
    found, plain = told.value.found, exhaustive(SETTING, SHELF, order, top=3)
    assert plain.score[0] <= found.bound < np.inf
