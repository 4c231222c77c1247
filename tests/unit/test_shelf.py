"""Parts side by side as columns, put together by index."""

import attrs
import numpy as np
import pytest
from support.random_cases import random_case, random_parts

from propmatch.checks.ratings import RATING_FIELDS, rating_lanes
from propmatch.search.shelf import Shelf
from propmatch.train.lanes import LANE_FIELDS, train_lanes

SETTING, SHELF = random_case(11, (5, 3, 6, 4))


def all_rows(shelf):
    return np.column_stack([x.ravel() for x in np.indices(shelf.sizes)])


def test_a_combination_is_what_the_parts_give_one_by_one():
    rows = all_rows(SHELF)[::7]
    lanes, ratings = SHELF.combine(*rows.T)
    for lane, row in enumerate(rows):
        train = SHELF.train(*row)
        alone, _ = train_lanes([train])
        alone_ratings = rating_lanes([train])
        for name in LANE_FIELDS:
            if name not in ("propeller", "chemistry"):
                assert getattr(lanes, name)[lane] == getattr(alone, name)[0], name
        for name in RATING_FIELDS:
            np.testing.assert_equal(getattr(ratings, name)[lane], getattr(alone_ratings, name)[0])
        assert lanes.chemistries[lanes.chemistry[lane]].name == alone.chemistries[0].name


def test_combinations_are_those_whose_cells_fit():
    for seed in range(11, 17):
        _, shelf = random_case(seed, (5, 3, 6, 4))
        parts = [[kind[at] for kind, at in zip(shelf.kinds.values(), row, strict=True)] for row in all_rows(shelf)]
        fit = [
            max(motor.cells_min or 0, controller.cells_min or 0)
            <= pack.cells_series
            <= min(motor.cells_max or 99, controller.cells_max or 99)
            for motor, controller, pack, _ in parts
        ]
        assert shelf.combinations == sum(fit)


def test_fewer_packs_are_the_same_packs():
    some = np.array([4, 1])
    less = SHELF.with_packs(some)
    assert less.packs == (SHELF.packs[4], SHELF.packs[1])
    rows = all_rows(less)
    back = rows.copy()
    back[:, 2] = some[rows[:, 2]]
    for one, two in zip(less.combine(*rows.T), SHELF.combine(*back.T), strict=True):
        for field in attrs.fields(type(one)):
            if field.name not in ("stack", "chemistries"):
                np.testing.assert_equal(getattr(one, field.name), getattr(two, field.name))


def test_warmer_or_colder_cells_are_what_laying_out_the_parts_again_gives():
    kinds, numbers = list(SHELF.kinds.values()), SETTING.train_numbers
    for warmth in (-8.0, 31.0, None):
        told, same = SHELF.warmed(warmth), Shelf.of(*kinds, **{**numbers, "pack_temperature_c": warmth})
        for one, two in ((told.lanes, same.lanes), (told.ratings, same.ratings)):
            for field in attrs.fields(type(one)):
                if field.name not in ("stack", "chemistries"):
                    np.testing.assert_equal(getattr(one, field.name), getattr(two, field.name))
        assert (told.assumptions, told.like, told.train(0, 0, 0, 0)) == (
            same.assumptions,
            same.like,
            same.train(0, 0, 0, 0),
        )
        assert told.lanes.chemistries == same.lanes.chemistries


def test_columns_have_one_value_for_each_part():
    assert SHELF.column("k").shape == (5,)
    assert SHELF.column("controllers_g").shape == (3,)
    assert SHELF.column("capacity_ah").shape == (6,)
    assert SHELF.column("diameter_in").tolist() == [p.diameter_in for p in SHELF.propellers]


def test_every_kind_is_needed():
    parts = random_parts(np.random.default_rng(0), (1, 1, 1, 1))
    with pytest.raises(ValueError, match="no motor and no pack"):
        Shelf.of([], parts["controllers"], [], parts["propellers"])
