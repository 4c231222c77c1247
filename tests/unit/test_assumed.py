"""Which assumptions a text names: those that make a share of what is uncertain; squared correlations by numpy."""

import attrs
import numpy as np
import pytest
from support.small_aircraft import small_brief, small_train

from propmatch.checks.chances import sureness
from propmatch.checks.setting import ResolvedBrief
from propmatch.commands.assumed import mattering
from propmatch.records.estimates import Assumption
from propmatch.records.fields import replace
from propmatch.tolerances.numbers import NAMES

OPTIONS = {"all_assumptions": False}


@pytest.fixture(scope="module")
def sure():
    train = small_train()
    motor = replace(train.motor, source=attrs.evolve(train.motor.source, uncertainty=0.1))
    return sureness(ResolvedBrief.of(small_brief()).as_designed, replace(train, motor=motor))


def said(subject, field):
    return Assumption(subject, field, 1.0, "", f"{field} of {subject}")


def test_shares_of_numbers_are_squared_correlations(sure):
    """Inputs are independent: each standardised slope is a correlation, but for what 1,024 draws leave of others."""
    values = sure.measured["thrust_to_weight"].value
    shares = sure.number_shares(values)
    raw = sure.drawn.draws.raw
    for at, name in enumerate(NAMES):
        assert shares[name] == pytest.approx(np.corrcoef(raw[:, at], values)[0, 1] ** 2, abs=0.02), name
    assert shares["kv_rpm_per_v"] > 0.3
    assert shares["lead_resistance_mohm"] < 0.05


def test_a_number_that_makes_a_share_is_named_and_one_that_makes_none_is_counted(sure):
    large, small = said(sure.train.motor.name, "kv_rpm_per_v"), said(sure.train.pack.name, "lead_resistance_mohm")
    found = mattering([large, small], [sure], OPTIONS)
    assert found.named == (large,)
    assert found.more.startswith("1 more: ")
    assert "--all-assumptions" in found.more
    assert mattering([large], [sure], OPTIONS).more == ""


def test_an_assumption_of_the_aircraft_goes_by_the_number_that_is_drawn(sure):
    """Drag makes most of what is uncertain about the minutes of a flight that cruises; the receiver draws little."""
    drag, radio = said("airframe", "cd0"), said("radio", "receiver_current_a")
    found = mattering([drag, radio], [sure], OPTIONS)
    assert found.named == (drag,)


def test_what_has_no_spread_stays_and_what_neither_time_nor_thrust_rests_on_does_not(sure):
    cells, tail, asked = said("pack", "cycles"), said("tail", "zero_lift_angle_deg"), said("limits", "chance")
    reserve, other = said("limits", "reserve_charge"), said("another motor", "kv_rpm_per_v")
    found = mattering([cells, tail, asked, reserve, other], [sure], OPTIONS)
    assert found.named == (cells, reserve, other)
    assert found.more.startswith("2 more: ")


def test_all_of_them_on_request(sure):
    assert mattering([said("tail", "x")], [sure], {"all_assumptions": True}) is None
