"""Draws stay inside the models' domain, count as failing where there is no answer, and stand each for itself."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.random_cases import bursting_case, cold_case, random_case

from propmatch.checks.chances import Drawn, Sureness, interval
from propmatch.checks.checkrules import CHECKS
from propmatch.records.fields import replace
from propmatch.records.parts import Source
from propmatch.tolerances.draws import normal_draws
from propmatch.tolerances.numbers import NAMES
from propmatch.train.lanes import LANE_FIELDS

seeds = st.integers(0, 10_000_000)
kinds = st.sampled_from((random_case, cold_case, bursting_case))
DRAWS = 16


def some_trains(make, seed, count=2):
    setting, shelf = make(seed)
    rng = np.random.default_rng(seed)
    trains = [shelf.train(*(rng.integers(size) for size in shelf.sizes)) for _ in range(count)]
    words = rng.choice(["measured", "data sheet", "label", "assumed"])
    unsure = Source(text="by chance", kind=str(words), uncertainty=float(rng.choice([0.0, 0.1, 1.0])))
    return setting, [replace(each, motor=replace(each.motor, source=unsure)) for each in trains]


@given(kinds, seeds)
def test_no_draw_leaves_the_domain_of_the_models(make, seed):
    setting, trains = some_trains(make, seed)
    wild = 4.0 * normal_draws(DRAWS, seed % 97)
    lanes = Drawn(setting, trains, wild).measured.lanes
    stated = Drawn(setting, trains, 0.0 * wild).measured.lanes
    assert np.all((lanes.loss >= 0) & (lanes.loss <= 0.499))
    for name in LANE_FIELDS:
        values, middle = getattr(lanes, name), getattr(stated, name)
        if name in ("stated_loss", "usual_loss", "loss"):
            continue
        assert np.array_equal(np.isfinite(values), np.isfinite(middle)), name
        assert np.all((values > 0) == (middle > 0)), name


@given(kinds, seeds)
def test_a_draw_without_an_answer_fails(make, seed):
    setting, trains = some_trains(make, seed)
    drawn = Drawn(setting, trains, 2.0 * normal_draws(DRAWS, seed % 97))
    for name in drawn.judged:
        measure = drawn.measured[name]
        lost = np.isnan(measure.value) & ~np.isnan(measure.limit) & np.asarray(measure.judged)
        assert not (lost & drawn.measured.passes(name)).any(), name
    for each in (Sureness(drawn, at) for at in range(len(trains))):
        chances = each.chance_by_check
        assert all(0.0 <= chance <= 1.0 for chance in chances.values())
        together = each.chance_all_limits
        assert together <= min(chances.values(), default=1.0)
        assert together >= 1.0 - sum(1.0 - chance for chance in chances.values()) - 1e-9
        assert together <= min(each.chance_wishes, each.chance_ratings) + 1e-12


@given(kinds, seeds, st.integers(0, DRAWS - 1))
def test_a_draw_is_the_same_among_others_and_alone(make, seed, at):
    setting, trains = some_trains(make, seed)
    raw = normal_draws(DRAWS, seed % 97)
    many = Drawn(setting, trains, raw)
    alone = Drawn(setting, trains[1:], raw[at : at + 1])
    for name in CHECKS:
        if not many.measured.has_limit(name):
            continue
        found, single = (each.by_train(each.measured[name].value) for each in (many, alone))
        assert found[1, at] == pytest.approx(single[0, 0], rel=1e-7, abs=1e-9, nan_ok=True), name


@pytest.mark.filterwarnings("error")
@given(st.lists(st.one_of(st.sampled_from((np.nan, np.inf)), st.floats(-1e3, 1e3)), min_size=10, max_size=60))
def test_an_interval_leaves_a_tenth_at_most_on_either_side(values):
    found, given_values = interval(np.array(values)), np.array(values)
    missing = np.isnan(given_values)
    if missing.mean() > 0.1:
        assert np.isnan(found.low)
        assert np.isnan(found.high)
    elif not np.isnan(found.low):
        assert np.mean(missing | (given_values < found.low)) <= 0.1 + 1e-12
    if not np.isnan([found.low, found.high]).any():
        assert found.low <= found.high
        assert np.isfinite([found.low, found.high]).all()


def test_every_input_of_a_draw_moves_something():
    """One number at a time: the lanes, the masses, the drag or the air differ from the stated ones."""
    setting, trains = some_trains(random_case, 11)
    still = np.zeros((1, len(NAMES)))
    middle = Drawn(setting, trains, still)
    for at, name in enumerate(NAMES):
        if not middle.draws.sd[:, at].any():
            continue
        moved = Drawn(setting, trains, still + np.eye(len(NAMES))[at])
        parts = [(getattr(moved.measured.lanes, f), getattr(middle.measured.lanes, f)) for f in LANE_FIELDS]
        frames = [(getattr(moved.measured.frames, f), getattr(middle.measured.frames, f))
                  for f in ("mass_kg", "cd0", "k", "cl_max", "installed_thrust")]  # fmt: skip
        air = [(moved.measured.setting.air.density_kg_m3, middle.measured.setting.air.density_kg_m3)]
        assert any(not np.array_equal(a, b, equal_nan=True) for a, b in (*parts, *frames, *air)), name
