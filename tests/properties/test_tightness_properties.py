"""Bounds of the quick search are close as well as valid: what gets wider only makes the search slower, and nobody sees.

How close they are is reasoned where a law says it; elsewhere it is this project's own measure with half as much again,
no published source.
"""

import numpy as np
import pytest
from support.random_cases import random_parts

from propmatch.brief import Aircraft, Brief, Limits, Phase, Prefer, Wing
from propmatch.checks.setting import settings
from propmatch.search.bounds.flighttime import flight_bounds
from propmatch.search.bounds.screen import CURRENTS, Lanes, Screen
from propmatch.search.shelf import Shelf

pytestmark = pytest.mark.filterwarnings("error")

UP, PART, LONG = (
    Phase(name="up", throttle=1.0, seconds=15.0),
    Phase(name="part", throttle=0.6, share=0.5),
    Phase(name="long", throttle=0.5, seconds=200.0),
)
CRUISE, ALONG, HELD, SINK, LAND = (
    Phase(name="cruise", airspeed_m_s=11.0, share=1.0),
    Phase(name="along", airspeed_m_s=11.0, seconds=60.0),
    Phase(name="held", airspeed_m_s=11.0, climb_m_s=1.0, seconds=60.0),
    Phase(name="sink", airspeed_m_s=11.0, climb_m_s=-0.1, seconds=90.0),
    Phase(name="land", airspeed_m_s=9.5, seconds=40.0),
)
GLIDE, OFF = (
    Phase(name="glide", throttle=0.0, airspeed_m_s=9.0, share=0.4),
    Phase(name="off", throttle=0.0, seconds=99.0),
)
MOTOR, DOWN = (
    Phase(name="motor", throttle=0.8, share=0.3),
    Phase(name="down", airspeed_m_s=11.0, climb_m_s=-0.1, share=0.3),
)
HIGH, LOW, STEADY = (
    Phase(name="high", throttle=0.9, to_height_m=80.0),
    Phase(name="low", throttle=0.0, to_height_m=10.0),
    Phase(name="steady", airspeed_m_s=11.0, climb_m_s=1.5, to_height_m=60.0),
)


def flown(phases, **limits):
    """A setting of a light aircraft that hardly limits anything, and a shelf."""
    limits = {"reserve_charge": 0.2, "cutoff_cell_v": 2.5, "estimated_ratings": "warn"} | limits
    brief = Brief(
        aircraft=Aircraft(name="invented", bare_mass_g=150.0, radio_current_a=0.2),
        wing=Wing(area_dm2=18.0, span_mm=1100.0, cd0=0.04, cl_max=1.1),
        limits=Limits(**limits), phase=phases, prefer=Prefer(flight_time=1.0),
    )  # fmt: skip
    setting, parts = settings(brief)[-1], random_parts(np.random.default_rng(5), (8, 4, 8, 8))
    kinds = (parts[kind] for kind in ("motors", "controllers", "packs", "propellers"))
    return setting, Shelf.of(*kinds, **setting.train_numbers)


def gaps(phases, *, rough=False):
    """By how much, as a share, bounds of minutes and of currents lie below and above, (6, N) of those that fly."""
    setting, shelf = flown(phases)
    screen, out = Screen(setting, shelf, counting=True), []
    for drives in screen.drives(np.arange(len(shelf.packs)), 10**6):
        lanes = Lanes.every(drives.size, len(shelf.propellers))
        lanes = lanes.kept(np.ones((drives.size, len(shelf.propellers)), dtype=bool)).take(slice(0, None, 7))
        measured = screen.measured(drives, lanes)
        good = np.logical_and.reduce([measured.passes(name) for name in CURRENTS])
        if not good.any():
            continue
        flight = measured.take(good).flight
        told = flight_bounds(screen.tables, drives, lanes.propeller[good], lanes.drive[good], rough=rough)
        each = (
            (flight.minutes, told.minutes_low, told.minutes_high),
            (np.fmax.reduce(flight.phase_current_a), told.current_low_a, told.current_high_a),
            (np.fmax.reduce(flight.phase_motor_current_a), told.motor_low_a, told.motor_high_a),
        )
        with np.errstate(all="ignore"):
            gap = np.array([gap for value, low, high in each for gap in (1.0 - low / value, high / value - 1.0)])
        out.append(gap[:, np.nan_to_num(flight.minutes) > 1.0])
    return np.concatenate(out, axis=1)


CLOSE = {
    (CRUISE,): (0.003, 0.002, 0.12, 0.13, 0.002, 0.002),
    (UP, CRUISE): (0.004, 0.005, 0.012, 0.008, 0.012, 0.008),
    (UP, CRUISE, GLIDE): (0.04, 0.05, 0.012, 0.008, 0.012, 0.008),
    (UP, PART): (0.25, 0.07, 0.012, 0.008, 0.012, 0.008),
    (UP, HELD, CRUISE, DOWN, LAND): (0.006, 0.012, 0.012, 0.008, 0.012, 0.008),
    (ALONG, CRUISE, UP): (0.012, 0.008, 0.8, 0.5, 0.7, 0.5),
    (UP, ALONG): (0.2, 0.3, 0.3, 0.25, 0.3, 0.25),
    (UP, LONG): (0.35, 0.25, np.inf, 0.25, np.inf, 0.25),
    (UP, OFF, ALONG): (0.35, 0.9, np.inf, 0.25, np.inf, 0.25),
    (HELD, ALONG, SINK): (0.2, 0.2, np.inf, 0.15, np.inf, 0.003),
    (STEADY, LOW): (0.2, 0.2, np.inf, 0.15, np.inf, 0.003),
    (STEADY, SINK): (np.inf, 0.04, np.inf, np.inf, np.inf, np.inf),
    (STEADY, CRUISE, DOWN, OFF): (np.inf, 0.015, np.inf, np.inf, np.inf, np.inf),
    (HIGH, OFF): (np.inf, 0.22, np.inf, np.inf, np.inf, np.inf),
    (HIGH, LOW): (0.45, 0.22, np.inf, 0.22, np.inf, 0.25),
    (HIGH, ALONG, LOW): (0.6, 0.75, np.inf, 0.25, np.inf, 0.3),
    (HIGH, CRUISE, GLIDE, LAND): (np.inf, 0.1, np.inf, np.inf, np.inf, np.inf),
    (HELD, HIGH, OFF): (0.95, 0.55, np.inf, 0.25, np.inf, 0.26),
    (MOTOR, GLIDE): (np.inf, 0.33, np.inf, np.inf, np.inf, np.inf),
}
"""By how much bounds of minutes, pack and motor current lie below and above, half of all at most; inf where they say
nothing. The motor current of a held thrust is the same at any charge: only the nodes of mass lie between."""
ROUGH = {
    (UP, CRUISE): (0.05, 0.03, 0.95, 2.5, 0.95, 2.5),
    (UP, HELD, CRUISE, DOWN, LAND): (0.05, 0.04, 0.95, 2.3, 0.8, 2.3),
    (ALONG, CRUISE, UP): (0.07, 0.03, 0.8, 3.0, 0.7, 3.1),
    (UP, ALONG): (0.8, 11.0, np.inf, 3.2, np.inf, 3.3),
    (UP, OFF, ALONG): (0.95, 5.6, np.inf, 3.4, np.inf, 3.6),
    (HIGH, LOW): (np.inf, 3.4, np.inf, np.inf, np.inf, np.inf),
}


def _named(value):
    return "-".join(each.name for each in value if isinstance(each, Phase)) if isinstance(value, tuple) else str(value)


@pytest.mark.parametrize(
    ("phases", "close", "rough"),
    [(*each, False) for each in CLOSE.items()] + [(*each, True) for each in ROUGH.items()], ids=_named,
)  # fmt: skip
def test_bounds_of_a_flight_hold_and_are_close(phases, close, rough):
    gap = gaps(phases, rough=rough)
    assert not np.any(gap < 0)
    assert np.all(np.median(np.nan_to_num(gap, nan=np.inf, posinf=np.inf), axis=1) <= close)
