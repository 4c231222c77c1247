"""Ranges of numbers: declared once with their column, and what draws they come from."""

import math

import attrs
import numpy as np
import pytest
from support.small_aircraft import small_brief, small_train

from propmatch.aircraft.endurance import PhaseTime
from propmatch.aircraft.polar import airframe_lanes
from propmatch.aircraft.speeds import AircraftSpeeds, aircraft_speeds, speeds_lanes
from propmatch.checks.chances import intervals, sureness
from propmatch.checks.setting import ResolvedBrief
from propmatch.columns import Column, Range, columns_of, drawn_of, number, ranges_of, with_ranges
from propmatch.commands.pointdraws import PointDraws, Question
from propmatch.commands.time import fly
from propmatch.models.air import Air
from propmatch.models.tables import CoefficientTable
from propmatch.questions.asflown import STYLE
from propmatch.records.sureness import Uncertainty
from propmatch.tolerances.numbers import tolerances
from propmatch.train.coupling import as_lanes, solve

SHARED = ('[[phase]]\nname = "climb out"\nthrottle = 1.0\nseconds = 20\n', "")


def here(*edits):
    return ResolvedBrief.of(small_brief(*edits)).as_designed


def own(train, setting):
    return setting.flown(attrs.evolve(train, **setting.train_numbers))


# ---------------------------------------------------------------- columns


@attrs.frozen(kw_only=True)
class Row:
    name: str
    plain_a: float = number(kind="A", label="no range")
    drawn_w: float = number(kind="W", label="a range", drawn=lambda draws: draws)


def test_a_range_is_declared_with_its_column_and_stands_behind_its_number():
    draws = np.array([np.arange(101.0), np.full(101, np.nan)])
    ranges = ranges_of(drawn_of(columns_of(Row), draws), lambda values: tuple(np.quantile(values, (0.1, 0.9), axis=1)))
    assert ranges[0] == {"drawn_w": Range(10.0, 90.0)}
    assert math.isnan(ranges[1]["drawn_w"].low)
    assert list(with_ranges({"plain_a": 1.0, "drawn_w": 2.0}, ranges[0])) == [
        "plain_a", "drawn_w", "drawn_w_low", "drawn_w_high",
    ]  # fmt: skip
    assert ranges_of({}, intervals) == [{}]
    assert Column(name="x").drawn is None


# ---------------------------------------------------------------- flights


def test_draws_of_how_it_is_flown_divide_the_time_of_a_held_flight():
    """Charge over current: f times the current, 1/f of the time, draw by draw."""
    setting = here(SHARED)
    flight = fly(own(small_train(), setting), setting)
    draws = flight.flown.draws
    ends = draws.measured.flight
    ran_out = (ends.ended_by == 1) & (draws.measured.flight_at(draws.factor).ended_by == 1)
    assert ran_out.mean() > 0.9
    np.testing.assert_allclose((draws.minutes * draws.factor)[ran_out], ends.minutes[ran_out], rtol=1e-9)


def test_the_share_of_how_it_is_flown_is_that_of_its_variance():
    """ln t = ln t_steady - ln f with both independent: the share of f is var(ln f)/var(ln t)."""
    setting = here(SHARED)
    draws = fly(own(small_train(), setting), setting).flown.draws
    share = np.var(np.log(draws.factor)) / np.var(np.log(draws.minutes))
    assert draws.shares()[STYLE] == pytest.approx(share, abs=0.04)


def test_nine_builds_of_ten_reach_the_timer():
    setting = here()
    flight = fly(own(small_train(), setting), setting)
    reached = (flight.flown.draws.minutes >= flight.flown.flown_timer_minutes).mean()
    assert reached >= 0.9 - 1e-3
    assert flight.flown.flown_timer_minutes <= 0.9 * flight.flown.flown_minutes


def test_every_number_of_a_flight_lies_in_its_range():
    setting = here()
    flight = fly(own(small_train(), setting), setting)
    assert set(flight.phase_ranges[0]) == {column.name for column in columns_of(PhaseTime)}
    for row, ranges in zip(flight.time.phases, flight.phase_ranges, strict=True):
        for name, ends in ranges.items():
            value, slack = getattr(row, name), 1e-6 * abs(ends.high) + 1e-9
            assert ends.low - slack <= value <= ends.high + slack, name
    for name in ("stall_speed_m_s", "top_speed_m_s", "climb_m_s", "glide_ratio", "best_range_mah_per_km"):
        ends = flight.speed_ranges.own[name]
        assert ends.low < getattr(flight.speeds, name) < ends.high, name
    assert flight.summary["chance_all_limits"] <= min(flight.summary["chance_by_check"].values())


def test_exact_numbers_have_no_width():
    """Everything said to be known exactly: the ends meet at the number."""
    setting = here()
    sure = sureness(
        attrs.evolve(setting, brief=attrs.evolve(setting.brief, uncertainty=_EXACT)), own(small_train(), setting)
    )
    stall = sure.interval(sure.measured.stall_m_s)
    assert stall.high == pytest.approx(stall.low, rel=1e-3)


_EXACT = Uncertainty(**{field.name: 0.0 for field in attrs.fields(Uncertainty)})


# ---------------------------------------------------------------- speeds over lanes


def test_speeds_of_lanes_are_those_of_each_aircraft():
    setting = here()
    train = own(small_train(), setting)
    mass_kg = np.array([0.35, 0.5])
    asked = as_lanes(train, setting.air, mass_kg=mass_kg)
    frames, _ = airframe_lanes(setting.variant.airframe, mass_kg)
    found = speeds_lanes(asked.lanes, frames, setting.phases, asked.density, asked.sound)
    for at, mass in enumerate(mass_kg):
        one = aircraft_speeds(train, setting.variant.airframe, mass, setting.phases, air=setting.air)
        for column in columns_of(AircraftSpeeds):
            assert found.own[column.name][at] == pytest.approx(getattr(one, column.name), rel=1e-9), column.name
        assert found.turns["turn_throttle"][:, at] == pytest.approx(
            [turn.turn_throttle for turn in one.turns], rel=1e-9
        )
        assert found.phases["phase_stall_speed_m_s"][1, at] == pytest.approx(one.phases[1].phase_stall_speed_m_s)


# ---------------------------------------------------------------- operating points


def asking(**values):
    given = {"throttle": [1.0], "thrust_n": None, "airspeed_m_s": [0.0], "charge": [1.0]} | values
    return Question(**given, air=Air.standard(), train_numbers={})


def loose(train, count, seed=7):
    """The train with every number drawn by numpy's own generator; CT and CP of the propeller go together, 0.8."""
    rng = np.random.default_rng(seed)
    sd = {(each.subject, each.name): each.sd for each in tolerances(train, Uncertainty())}
    out = []
    for _ in range(count):

        def drawn(part, names):
            return {n: getattr(part, n) * math.exp(sd[part.name, n] * rng.normal()) for n in names}

        one, other, dense = rng.normal(), rng.normal(), math.exp(sd["aircraft", "air_density"] * rng.normal())
        table, name = train.propeller.table, train.propeller.name
        ct = dense * math.exp(sd[name, "ct"] * one)
        cp = dense * math.exp(sd[name, "cp"] * (0.8 * one + 0.6 * other))
        blades = CoefficientTable(table.rpm, table.advance_ratio, ct * table.ct, cp * table.cp)
        out.append(attrs.evolve(
            train,
            motor=attrs.evolve(train.motor, **drawn(train.motor, ("kv_rpm_per_v", "resistance_ohm", "no_load_current_a"))),  # noqa: E501
            controller=attrs.evolve(train.controller, **drawn(train.controller, ("resistance_mohm",))),
            pack=attrs.evolve(train.pack, **drawn(train.pack, ("cell_resistance_mohm", "lead_resistance_mohm"))),
            propeller=attrs.evolve(train.propeller, table=blades),
            radio_current_a=train.radio_current_a * math.exp(sd["aircraft", "radio"] * rng.normal()),
        ))  # fmt: skip
    return out


@pytest.mark.parametrize("speed_m_s", [0.0, 8.0])
def test_ranges_of_a_point_are_those_of_trains_drawn_one_by_one(speed_m_s):
    """800 trains with numpy's normal numbers; the ends of such a sample stray by about 2.5 % of the width."""
    train = small_train()
    names = ["thrust_n", "rpm", "motor_current_a", "pack_current_a", "pack_power_w", "cell_voltage_v"]
    (ranges,) = PointDraws.of(train, asking(airspeed_m_s=[speed_m_s])).ranges(names)
    point = solve(loose(train, 800), airspeed_m_s=speed_m_s)
    for name in names:
        low, high = np.quantile(getattr(point, name), (0.1, 0.9))
        width = high - low
        assert ranges[name].low == pytest.approx(low, abs=0.09 * width), name
        assert ranges[name].high == pytest.approx(high, abs=0.09 * width), name


def test_a_sweep_is_one_batch_and_each_of_its_points_is_that_point_alone():
    train = small_train()
    swept = PointDraws.of(train, asking(throttle=[0.4, 0.7, 1.0]))
    alone = PointDraws.of(train, asking(throttle=[0.7]))
    np.testing.assert_allclose(swept.of_each("thrust_n")[1], alone.of_each("thrust_n")[0], rtol=1e-9)
    assert PointDraws.of(train, asking(throttle=np.linspace(0.2, 1.0, 500).tolist())).of_each("rpm").shape == (500, 128)


def test_a_thrust_that_some_builds_cannot_hold():
    train = small_train()
    most = float(solve(train).thrust_n)
    draws = PointDraws.of(train, asking(throttle=None, thrust_n=[0.3 * most, most]))
    pulls = PointDraws.of(train, asking()).of_each("thrust_n")[0]
    assert draws.answered[0] == 1.0
    # a thrust can be held where full throttle gives at least as much
    assert draws.answered[1] == pytest.approx((pulls >= most).mean(), abs=2 / pulls.size)
    (held, beyond) = draws.ranges(["pack_current_a"])
    assert held["pack_current_a"].low < held["pack_current_a"].high
    assert math.isnan(beyond["pack_current_a"].high)
