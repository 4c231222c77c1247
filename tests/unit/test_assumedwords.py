"""Which assumptions a text names: those that move the answer most; correlations and quantiles by numpy."""

import attrs
import numpy as np
import pytest
from support.small_aircraft import small_brief, small_train

from propmatch.checks.chances import sureness
from propmatch.checks.setting import ResolvedBrief
from propmatch.records.estimates import Assumption
from propmatch.records.fields import replace
from propmatch.tolerances.numbers import NAMES
from propmatch.words.assumedwords import mattering

OPTIONS = {"assumptions": False}


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


def test_what_moves_the_answer_is_named_by_how_much_and_the_rest_is_counted(sure):
    large, small = said(sure.train.motor.name, "kv_rpm_per_v"), said(sure.train.pack.name, "cycles")
    found = mattering([small, large], [sure], OPTIONS)
    assert found.named == (large,)
    assert found.more == "1 more: --assumptions lists all."
    assert mattering([large], [sure], OPTIONS).more == ""
    # half of the middle 80 % over its middle, times the correlation: all by numpy from the same draws
    values = sure.measured["controller_current"].value
    low, high = np.quantile(values, (0.1, 0.9))
    raw = sure.drawn.draws.raw[:, NAMES.index("kv_rpm_per_v")]
    moved = abs(np.corrcoef(raw, values)[0, 1]) * (high - low) / (high + low)
    assert moved > 0.05
    assert found.lines == (f"motor current by {100 * moved:.0f} %: {large.subject}: {large.text}",)


def test_two_to_four_are_named_the_strongest_first(sure):
    motor, pack = sure.train.motor.name, sure.train.pack.name
    names = ("resistance_ohm", "kv_rpm_per_v", "resistance_slope_ohm_s", "torque_constant_ratio", "no_load_current_a")
    many = [*(said(motor, name) for name in names), said("airframe", "cd0"), said("wing", "oswald")]
    found = mattering(many, [sure], OPTIONS)
    moves = [int(line.partition(" by ")[2].split()[0]) for line in found.lines]
    assert 2 <= len(moves) <= 4
    assert moves == sorted(moves, reverse=True)
    assert all(move >= 5 for move in moves[2:])
    weak = [said(pack, "lead_resistance_mohm"), said(pack, "cell_resistance_mohm"), said(pack, "capacity_mah")]
    assert len(mattering(weak, [sure], OPTIONS).named) == 2


def test_an_assumption_of_the_aircraft_goes_by_the_number_that_is_drawn(sure):
    """Drag makes most of what is uncertain about the minutes of a flight that cruises; the receiver draws little."""
    drag, radio, servos = said("airframe", "cd0"), said("radio", "receiver_current_a"), said("radio", "servo_current_a")
    found = mattering([radio, drag, servos], [sure], OPTIONS)
    assert found.named == (drag, radio, servos)
    assert found.lines[0].startswith("flight time by ")
    assert len(found.lines) == 2  # receiver and servos are one number that is drawn


def test_what_is_not_drawn_waits_for_the_option(sure):
    others = [said("pack", "cycles"), said("limits", "chance"), said("another motor", "kv_rpm_per_v")]
    found = mattering(others, [sure], OPTIONS)
    assert (found.named, found.lines, found.more) == ((), (), "3 assumptions: --assumptions lists all.")
    assert mattering(others, [], OPTIONS) == found
    assert mattering(others, [sure], {"assumptions": True}) is None
