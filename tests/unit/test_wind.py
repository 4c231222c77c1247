"""Out and back in wind against closed forms and scipy's integration of the same flight."""

import attrs
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp
from support.trains import simple_airframe, simple_train

from propmatch import InputFaults, Phase, Status
from propmatch.aircraft.flight import full_throttle, level_flight
from propmatch.aircraft.wind import BEST_RANGE, Journey, drawn_before_mah, wind_trips
from propmatch.checks.setting import ResolvedBrief
from propmatch.records.brief import loads_brief
from propmatch.words.shown import Shown
from propmatch.words.speedwords import wind_sentences

TRAIN, FRAME, MASS = simple_train(), simple_airframe(), 0.41
CRUISE = Phase(name="cruise", airspeed_m_s=10.0, share=1.0)


def trips(wind, distance=None, phases=(CRUISE,), **options):
    journey = Journey(wind_m_s=wind, distance_m=distance, **options)
    return {trip.name: trip for trip in wind_trips(TRAIN, FRAME, MASS, phases, journey)}


def charge_after(seconds, airspeed, charge):
    """dq/dt = -I(q)/(3600 Q) in level flight, integrated by scipy."""

    def falls(_, q):
        return -level_flight(TRAIN, FRAME, MASS, airspeed, charge=float(q[0])).pack_current_a / (3600 * 0.85)

    return float(solve_ivp(falls, (0, seconds), [charge], rtol=1e-7, atol=1e-9).y[0, -1])


@given(speed=st.floats(8.5, 14.0), wind=st.floats(0.0, 8.0), distance=st.floats(0.0, 1500.0))
def test_time_out_and_back_is_the_closed_form(speed, wind, distance):
    # d/(V - w) + d/(V + w), any textbook
    phase = Phase(name="cruise", airspeed_m_s=speed, share=1.0)
    trip = trips(wind, distance, (phase,))["cruise"]
    seconds = distance / (speed - wind) + distance / (speed + wind)
    assert 60 * trip.out_and_back_minutes == pytest.approx(seconds, rel=1e-12)
    best = trips(wind, distance, ())[BEST_RANGE]
    seconds = distance / (best.airspeed_against_m_s - wind) + distance / (best.airspeed_with_m_s + wind)
    assert 60 * best.out_and_back_minutes == pytest.approx(seconds, rel=1e-12)


@pytest.mark.parametrize("wind", [0.0, 4.0])
def test_charge_out_and_back_is_scipys(wind):
    for trip in trips(wind, 1200.0, drawn_mah=85.0).values():
        against, along = trip.airspeed_against_m_s, trip.airspeed_with_m_s
        out = charge_after(1200 / (against - wind), against, 0.9)
        back = charge_after(1200 / (along + wind), along, out)
        assert trip.out_and_back_mah == pytest.approx(850 * (0.9 - back), rel=2e-4)


@pytest.mark.parametrize("wind", [0.0, 4.0])
def test_the_farthest_turn_around_point_comes_home_at_the_reserve(wind):
    for trip in trips(wind, reserve_charge=0.3).values():
        against, along = trip.airspeed_against_m_s, trip.airspeed_with_m_s
        for far, (first, v), (second, u) in (
            (trip.farthest_against_m, (against - wind, against), (along + wind, along)),
            (trip.farthest_with_m, (along + wind, along), (against - wind, against)),
        ):
            home = charge_after(far / second, u, charge_after(far / first, v, 1.0))
            assert home == pytest.approx(0.3, abs=2e-4)


def test_what_lies_beyond_the_farthest_point_has_a_time_and_no_charge():
    far = trips(3.0)["cruise"].farthest_against_m
    assert trips(3.0, 0.999 * far)["cruise"].out_and_back_mah == pytest.approx(850 * 0.8, rel=3e-3)
    beyond = trips(3.0, 1.001 * far)["cruise"]
    assert np.isnan(beyond.out_and_back_mah)
    assert beyond.out_and_back_minutes > 0


@given(first=st.floats(0.0, 9.0), second=st.floats(0.0, 9.0))
def test_more_wind_never_lets_one_go_farther_at_the_same_airspeed(first, second):
    less, more = (trips(w)["cruise"] for w in sorted((first, second)))
    assert more.farthest_against_m <= less.farthest_against_m * (1 + 1e-9)
    assert more.farthest_with_m <= less.farthest_with_m * (1 + 1e-9)


def test_no_headway_and_no_flight_are_said():
    windy = trips(10.0, 500.0)["cruise"]
    assert not windy.headway
    assert windy.status is Status.OK
    assert np.isnan(windy.out_and_back_minutes)
    assert windy.farthest_against_m == 0
    top = full_throttle(TRAIN, FRAME, MASS, charge=0.5).top_speed_m_s
    assert trips(0.9 * top)[BEST_RANGE].headway
    assert not trips(1.1 * top)[BEST_RANGE].headway
    slow = Phase(name="slow", airspeed_m_s=4.0, share=1.0)
    assert trips(1.0, phases=(slow,))["slow"].status is Status.BELOW_STALL
    fast = Phase(name="fast", airspeed_m_s=60.0, share=1.0)
    assert trips(1.0, phases=(fast,))["fast"].farthest_against_m == 0


def test_timed_phases_before_the_shares_come_off_the_charge():
    climb, glide = Phase(name="climb", throttle=1.0, seconds=20), Phase(name="glide", throttle=0.0, seconds=30)
    assert drawn_before_mah((climb, CRUISE, glide), [85.0, 500.0, 1.0]) == 85.0
    assert drawn_before_mah((climb, glide), [85.0, 1.0]) == 0.0
    assert drawn_before_mah((CRUISE,), [600.0]) == 0.0


BRIEF = """
[aircraft]
name = "test bird"
bare_mass_g = 265
[wing]
area_dm2 = 16
span_mm = 1100
[site]
{site}
[[phase]]
name = "transect"
{flown}
share = 1.0
"""


@pytest.mark.parametrize(
    ("site", "flown", "keys"),
    [
        ("wind_m_s = 11", "airspeed_m_s = 11", {"phase[1].airspeed_m_s"}),
        ("wind_m_s = 10.9", "airspeed_m_s = 11", set()),
        ("wind_m_s = 11", "throttle = 0.5\nairspeed_m_s = 8", set()),
        ("wind_m_s = -1\ndistance_m = -5", "airspeed_m_s = 11", {"site.wind_m_s", "site.distance_m"}),
        ("wind_m_s = 61\ndistance_m = 100001", "airspeed_m_s = 11", {"site.wind_m_s", "site.distance_m"}),
        ("wind_m_s = 'calm'", "airspeed_m_s = 11", {"site.wind_m_s"}),
        ("wind_m_s = 0\ndistance_m = 0", "airspeed_m_s = 11", {"site.distance_m"}),
        ("wind_m_s = 0\ndistance_m = 0.1", "airspeed_m_s = 11", set()),
    ],
)
def test_every_fault_of_wind_and_distance_is_named(site, flown, keys):
    text = BRIEF.format(site=site, flown=flown)
    if not keys:
        loads_brief(text)
        return
    with pytest.raises(InputFaults) as caught:
        loads_brief(text)
    assert {fault.key for fault in caught.value.faults} == keys
    if "phase[1].airspeed_m_s" in keys:
        assert "faster, or in less wind" in caught.value.faults[0].rule


def test_every_phase_slower_than_the_wind_is_named_with_its_airspeed():
    more = 'airspeed_m_s = 11\nshare = 1\n[[phase]]\nname = "b"\nairspeed_m_s = 14\nshare = 1\n'
    text = BRIEF.format(site="wind_m_s = 12", flown=f'{more}[[phase]]\nname = "c"\nairspeed_m_s = 9')
    with pytest.raises(InputFaults) as caught:
        loads_brief(text)
    assert [(each.key, each.value) for each in caught.value.faults] == [
        ("phase[1].airspeed_m_s", 11.0), ("phase[3].airspeed_m_s", 9.0),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("far_m", "said"), [(10_375.0, "10.3 km"), (10_000.0, "10.0 km"), (9_999.0, "9990 m"), (1_234.0, "1230 m")]
)
def test_a_turning_point_at_the_latest_is_never_written_beyond_the_limit(far_m, said):
    setting = ResolvedBrief.of(loads_brief(BRIEF.format(site="wind_m_s = 0", flown="airspeed_m_s = 11"))).as_designed
    best, *_ = setting.wind_trips(TRAIN, [500.0])
    trip = attrs.evolve(best, farthest_against_m=far_m, farthest_with_m=far_m)
    words = wind_sentences([trip], setting.brief.site, setting.speeds(TRAIN), Shown())
    assert f"in steady flight turn round after {said} at the latest" in words[0]


def test_a_distance_without_wind_is_asked_in_calm_air_and_says_so():
    setting = ResolvedBrief.of(
        loads_brief(BRIEF.format(site="distance_m = 300", flown="airspeed_m_s = 11"))
    ).as_designed
    assert setting.brief.site.wind_m_s == 0
    assert any("calm air" in each.text for each in setting.assumptions)
    best, transect = setting.wind_trips(TRAIN, [500.0])
    assert 60 * transect.out_and_back_minutes == pytest.approx(2 * 300 / 11)
    assert best.airspeed_against_m_s == best.airspeed_with_m_s
    quiet = ResolvedBrief.of(loads_brief(BRIEF.format(site="altitude_m = 0", flown="airspeed_m_s = 11"))).as_designed
    assert quiet.wind_trips(TRAIN, [500.0]) == ()
    assert not any("calm air" in each.text for each in quiet.assumptions)
