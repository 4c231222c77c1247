"""Monotone relations of the whole aircraft, for one or two motors, geared or not, in any pack.

Physics rather than numbers: more mass needs more thrust at the same speed; thin air gives less static thrust from
coefficients that do not depend on speed; a lower C rating allows less.
"""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.small_aircraft import lawful_pack, small_brief, small_train
from support.trains import random_train, simple_airframe, smooth_table

from propmatch.aircraft.endurance import flight_time
from propmatch.checks.judged import failing, judged_trains
from propmatch.checks.limits import Design, run_checks
from propmatch.checks.measures import settings
from propmatch.coupling import solve
from propmatch.models.air import Air
from propmatch.questions.ask import largest_propeller, throttle_for_current
from propmatch.records.fields import replace
from propmatch.records.sections import Phase

SEEDS = st.integers(0, 10_000)


@given(SEEDS, st.floats(0.25, 0.6), st.floats(1.0, 1.6), st.floats(9.0, 16.0))
def test_heavier_never_flies_longer_at_the_same_speed(seed: int, mass: float, factor: float, speed: float) -> None:
    train = random_train(np.random.default_rng(seed))
    phases = (Phase(name="cruise", airspeed_m_s=speed, share=1.0),)
    frame = simple_airframe()
    light, heavy = (flight_time(train, frame, each, phases) for each in (mass, mass * factor))
    if math.isfinite(light.minutes) and math.isfinite(heavy.minutes):
        assert heavy.minutes <= light.minutes * (1 + 1e-9) + 1e-9
    else:  # a heavier aircraft may lose the flight, a lighter one may glide, but never the other way round
        assert math.isnan(heavy.minutes) or heavy.minutes <= 1e-9 or math.isnan(light.minutes)


@given(SEEDS, st.floats(0, 2500), st.floats(0, 2500), st.floats(-15, 25))
def test_a_higher_field_never_raises_static_thrust(seed: int, low: float, rise: float, warm: float) -> None:
    train = random_train(np.random.default_rng(seed), smooth_table())
    here, above = (solve(train, air=Air.standard(h, warm)).thrust_n for h in (low, low + rise))
    if math.isfinite(here) and math.isfinite(above):
        assert above <= here * (1 + 1e-9)


@given(SEEDS, st.floats(-20, 30), st.floats(0, 30))
def test_a_warmer_day_never_raises_static_thrust(seed: int, offset: float, more: float) -> None:
    train = random_train(np.random.default_rng(seed), smooth_table())
    cold, hot = (solve(train, air=Air.standard(300.0, t)).thrust_n for t in (offset, offset + more))
    if math.isfinite(cold) and math.isfinite(hot):
        assert hot <= cold * (1 + 1e-9)


@given(st.floats(3.0, 80.0), st.floats(0.1, 1.0), st.integers(1, 3))
def test_a_lower_c_rating_never_loosens_a_check(rating: float, share: float, cells: int) -> None:
    brief = small_brief()
    variant = settings(brief)[0].variant
    checks = [
        {
            c.name: c
            for c in run_checks(Design.of(small_train(pack=lawful_pack(cells, 850.0, c_rating=c)), variant), brief)
        }
        for c in (rating, rating * share)
    ]
    rank = {"ok": 0, "close": 1, "fails": 2, "no limit": 0, "unknown": 0}
    for name, strict in checks[1].items():
        loose = checks[0][name]
        assert rank[strict.verdict] >= rank[loose.verdict], name
        if name in ("pack_burst", "pack_sustained"):
            assert strict.limit <= loose.limit * (1 + 1e-12)
        elif math.isfinite(loose.value):
            assert strict.value == pytest.approx(loose.value)


@given(SEEDS, st.floats(0.3, 0.9), st.floats(0.3, 0.9))
def test_a_lower_limit_never_asks_for_more(seed: int, one: float, other: float) -> None:
    train = random_train(np.random.default_rng(seed))
    full = solve(train).motor_current_a
    if not (math.isfinite(full) and full > 0):
        return
    limits = np.sort([one * full, other * full])
    caps = throttle_for_current(train, limits)
    if np.all(np.isfinite(caps.throttle_at_limit)):
        assert caps.throttle_at_limit[0] <= caps.throttle_at_limit[1] + 1e-9
        assert np.all(caps.motor_current_at_limit_a <= limits * (1 + 1e-6))
        # the pack shows no more than the motors carry and the radio and payload take, divided by the loss
        bound = (train.count * caps.motor_current_at_limit_a * caps.throttle_at_limit) / (
            1 - train.controller.part_throttle_loss * (1 - caps.throttle_at_limit)
        ) + train.radio_current_a
        assert caps.pack_current_at_limit_a == pytest.approx(bound, rel=1e-6)
    sizes = largest_propeller(train, limits).diameter_in
    if np.all(np.isfinite(sizes)):
        assert sizes[0] <= sizes[1] + 1e-9


@given(st.floats(0.0, 1.5), st.floats(0.0, 1.5))
def test_more_radio_current_never_flies_longer(one: float, other: float) -> None:
    low, high = sorted((one, other))
    brief = small_brief()
    setting = settings(brief)[0]
    trains = [replace(small_train(), radio_current_a=each) for each in (low, high)]
    minutes = judged_trains(setting, trains)[0]["flight_time"].value
    assert minutes[1] <= minutes[0] * (1 + 1e-9)


@given(st.integers(1, 3), st.integers(1, 3), st.integers(1, 3))
def test_cells_in_parallel_are_one_larger_pack(cells: int, parallel: int, motors: int) -> None:
    """2S2P of 850 mAh cells is 2S of 1700 mAh with half the cell resistance: the same in every check."""
    brief = small_brief()
    one = lawful_pack(cells, 850.0 * parallel, cells_parallel=1, cell_resistance_mohm=14.0 / parallel)
    many = replace(one, cells_parallel=parallel, cell_resistance_mohm=14.0)
    setting = settings(brief)[0]
    trains = [replace(small_train(pack=pack), count=motors) for pack in (one, many)]
    measured, _ = judged_trains(setting, trains)
    assert failing(measured)[0] == failing(measured)[1]
    for name in ("flight_time", "thrust_to_weight", "pack_burst", "pack_sustained"):
        value, limit = measured[name].value, measured[name].limit
        assert value[0] == pytest.approx(value[1], rel=1e-9, nan_ok=True)
        assert limit[0] == pytest.approx(limit[1], rel=1e-9, nan_ok=True)


@given(st.floats(-1000, 4000), st.floats(-20, 40), st.floats(0.1, 3.0))
def test_many_lanes_are_single_lanes(height: float, warm: float, mass: float) -> None:
    """Masses and fields varied by lane give what a setting of its own gives."""
    brief = small_brief()
    height = max(height, -400.0)
    site = replace(brief.site, altitude_m=height, temperature_c=warm)
    own = settings(replace(brief, site=site))[0]
    train = small_train()
    all_up = 1000 * mass
    bare = all_up - train.mass_g
    if bare < 2:
        return
    frame = replace(own.variant.airframe, bare_mass_g=bare)
    checks = run_checks(Design(train=train, airframe=frame), replace(brief, site=site))
    varied, _ = judged_trains(settings(brief)[0], [train, train], all_up_mass_g=[all_up, 400.0],
                              air=Air(density_kg_m3=[own.air.density_kg_m3, 1.2],
                                      temperature_k=[own.air.temperature_k, 288.0]))  # fmt: skip
    for check in checks:
        if check.name != "balance":
            assert varied[check.name].value[0] == pytest.approx(check.value, rel=1e-9, nan_ok=True), check.name
