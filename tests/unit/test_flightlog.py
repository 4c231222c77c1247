"""Flights held against their prediction: the level-power factor, its interval, and what one speed cannot tell."""

import math

import attrs
import numpy as np
import pytest
from support.small_aircraft import small_brief, small_train
from support.trains import simple_controller, simple_motor, simple_pack, simple_propeller

from propmatch.bench.flightlog import Z90, Band, Flown, LevelPower, Minutes, level_power
from propmatch.bench.flightworld import AT, UNKNOWNS
from propmatch.checks.setting import ResolvedBrief, Setting
from propmatch.faults import InputFaults
from propmatch.questions.asflown import TIMER_MARGIN
from propmatch.records.brief import Flying, loads_brief
from propmatch.records.fields import replace
from propmatch.records.parts import PowerTrain, Source

LEVEL_ONLY = ('[[phase]]\nname = "climb out"\nthrottle = 1.0\nseconds = 20\n', "")
SPEED, CD0 = "airspeed_m_s = 11", "cd0 = 0.035"
MEASURED = Source(text="bench", kind="measured", uncertainty=0.02)


def here(*edits: tuple[str, str]) -> Setting:
    return ResolvedBrief.of(small_brief(*edits)).as_designed


def train_of(setting: Setting, **changes: object) -> PowerTrain:
    return small_train(**setting.train_numbers, **changes)


def measured_train(setting: Setting) -> PowerTrain:
    """Every part measured to a few per cent."""
    return train_of(
        setting,
        motor=simple_motor(source=MEASURED, resistance_slope_ohm_s=0.0, torque_constant_ratio=1.0),
        propeller=simple_propeller(source=MEASURED),
        controller=simple_controller(source=MEASURED, part_throttle_loss=0.02),
        pack=simple_pack(source=MEASURED),
    )


def flown_at(setting: Setting, train: PowerTrain, factor: float, end_charge: float = 0.25) -> Flown:
    """A flight to a charge as the engine flies it with a factor, without any error of timer or charger."""
    limits = replace(setting.brief.limits, reserve_charge=end_charge)
    found = attrs.evolve(setting, brief=replace(setting.brief, limits=limits)).flight_time(train, factor)
    assert found.ended_by == "reserve"
    return Flown(minutes=found.minutes, recharge_mah=found.used_mah / 0.99)


def at_speed(speed_m_s: float) -> Setting:
    return here(LEVEL_ONLY, (SPEED, f"airspeed_m_s = {speed_m_s}"))


# ---------------------------------------------------------------- one flight


@pytest.mark.parametrize("factor", [0.8, 1.0, 1.3, 1.9])
def test_one_flight_gives_the_factor_that_flew_it(factor: float) -> None:
    """Charge over current: a flight at f times the current of every held airspeed must come back as f.

    The prior draws it by the square of the instruments' 3 % over the prior's 13 to 25 %: 1 to 4 % of the distance.
    """
    setting = here()
    train = train_of(setting)
    power = level_power(train, setting, [flown_at(setting, train, factor)])
    assert power.level_power_factor == pytest.approx(factor, rel=0.002 + 0.04 * abs(math.log(factor / 1.3)))
    assert power.level_power_factor_low < factor < power.level_power_factor_high


def test_the_interval_is_that_of_charger_timer_and_flight() -> None:
    """sd of ln: 2 % charger, 1.5 % flight to flight, 6 s of 12 minutes; the wide prior hardly narrows it."""
    setting = here(LEVEL_ONLY)
    train = train_of(setting)
    flight = flown_at(setting, train, 1.3)
    power = level_power(train, setting, [flight])
    own = math.hypot(0.02, 0.015, 0.1 / flight.minutes)
    assert power.level_power_factor_sd == pytest.approx(own, rel=0.02)
    assert power.level_power_factor_high / power.level_power_factor == pytest.approx(
        math.exp(Z90 * power.level_power_factor_sd)
    )
    (reading,) = power.readings
    assert reading.ratio == pytest.approx(reading.measured_a / reading.steady_a)
    assert reading.measured_a == pytest.approx(0.99 * flight.recharge_mah * 0.06 / flight.minutes)
    assert reading.ratio == pytest.approx(1.3, rel=1e-3)


def test_the_same_charger_does_not_average_away() -> None:
    setting = here()
    train = train_of(setting)
    flight = flown_at(setting, train, 1.3)
    sds = [level_power(train, setting, [flight] * count).level_power_factor_sd for count in (1, 2, 6)]
    assert sds[0] > sds[1] > sds[2] > 0.02 * 0.95


@pytest.mark.parametrize("measured", [False, True])
def test_one_speed_tells_drag_and_propulsion_apart_never(measured: bool) -> None:
    setting = here()
    train = measured_train(setting) if measured else train_of(setting)
    power = level_power(train, setting, [flown_at(setting, train, 1.3)] * 5, airspeed_sd=0.0)
    assert not power.told_apart
    assert math.isnan(power.cd0)
    assert math.isnan(power.drag_factor)
    assert set(power.keys) == {"flying"}
    assert 0.4 < power.drag_sd / power.prior_drag_sd < 1.0


def two_speeds(drag: float, factor: float, speeds: tuple[float, float] = (7.5, 14.5)) -> LevelPower:
    """What flights of an aircraft with more drag, at two speeds, say about the aircraft without it."""
    setting = at_speed(speeds[0])
    train = measured_train(setting)
    flights = []
    for speed in speeds:
        dirty = here(LEVEL_ONLY, (SPEED, f"airspeed_m_s = {speed}"), (CD0, f"cd0 = {0.035 * drag}"))
        flights.append(replace(flown_at(dirty, train, factor), airspeed_m_s=speed))
    return level_power(train, setting, flights, airspeed_sd=0.0)


@pytest.mark.parametrize(("drag", "factor"), [(1.0, 1.3), (1.35, 1.3), (0.8, 1.25), (1.3, 1.4)])
def test_two_speeds_far_apart_tell_drag_from_propulsion(drag: float, factor: float) -> None:
    power = two_speeds(drag, factor)
    assert power.told_apart
    assert power.second is None
    assert power.drag_factor_low < drag < power.drag_factor_high
    assert abs(math.log(power.drag_factor / drag)) < 0.5 * abs(math.log(drag)) + 0.03
    assert power.cd0 == pytest.approx(0.035 * power.drag_factor)
    assert power.keys["wing"]["cd0"] == pytest.approx(power.cd0, rel=0.01)
    assert power.keys["flying"]["factor"] == pytest.approx(power.cd0_power_factor, rel=0.01)
    assert power.drag_sd < 0.75 * power.prior_drag_sd


def test_the_pasted_drag_and_factor_fly_as_long_as_the_factor_alone() -> None:
    """Both stand for the same power at the brief's speed."""
    power = two_speeds(1.35, 1.3)
    setting = at_speed(7.5)
    train = measured_train(setting)
    both = here(LEVEL_ONLY, (SPEED, "airspeed_m_s = 7.5"), (CD0, f"cd0 = {power.cd0}"))
    minutes = both.flight_time(train, power.cd0_power_factor).minutes
    assert minutes == pytest.approx(setting.flight_time(train, power.level_power_factor).minutes, rel=1e-3)


def test_the_factor_is_less_sure_away_from_the_speed_flown() -> None:
    setting = at_speed(11)
    train = train_of(setting)
    power = level_power(train, setting, [flown_at(setting, train, 1.3)], airspeed_sd=0.0)
    widths = [math.log(each.factor_high / each.factor_low) for each in map(power.at, (11.0, 9.0, 7.5))]
    assert widths[0] < widths[1] < widths[2]
    assert power.at(11.0).factor == pytest.approx(power.level_power_factor, rel=0.01)


# ---------------------------------------------------------------- the next flight


def test_the_second_flight_leaves_what_it_says() -> None:
    """Flown as asked, with the current expected, it leaves the sd of CD0 that was promised."""
    setting = at_speed(14)
    train = measured_train(setting)
    first = replace(flown_at(setting, train, 1.3), airspeed_m_s=14.0)
    power = level_power(train, setting, [first], airspeed_sd=0.01)
    second = power.second
    assert second is not None
    assert second.tells_apart
    assert not 13.0 < second.second_airspeed_m_s < 15.0
    there = at_speed(second.second_airspeed_m_s)
    flight = flown_at(there, train, power.at(second.second_airspeed_m_s).factor, end_charge=0.3)
    assert flight.minutes == pytest.approx(second.second_minutes, rel=0.05)
    after = level_power(
        train, setting, [first, replace(flight, airspeed_m_s=second.second_airspeed_m_s)], airspeed_sd=0.01
    )
    assert after.told_apart
    assert after.drag_sd == pytest.approx(second.second_drag_sd, rel=0.05)


def test_poorly_known_airspeeds_are_asked_to_be_known_better() -> None:
    setting = at_speed(14)
    train = measured_train(setting)
    power = level_power(train, setting, [replace(flown_at(setting, train, 1.3), airspeed_m_s=14.0)], airspeed_sd=0.1)
    assert power.second is not None
    assert power.second.tells_apart
    assert 0.01 <= power.second.second_airspeed_sd < 0.1


# ---------------------------------------------------------------- the estimate by another way


def test_the_estimate_is_the_least_squares_of_priors_and_readings() -> None:
    """At the answer, priors and whitened readings stacked: ``numpy.linalg.lstsq`` moves no further, and the inverse of
    their normal matrix is the covariance."""
    setting = at_speed(11)
    train = train_of(setting)
    flights = [
        replace(flown_at(at_speed(speed), train, factor), airspeed_m_s=speed)
        for speed, factor in ((11, 1.2), (15, 1.6))
    ]
    there = level_power(train, setting, flights).posterior
    h = np.array([each.by for each in there.slopes])
    off = there.measured - [each.value for each in there.slopes]
    white = np.linalg.cholesky(np.linalg.inv(there.noise)).T
    left = np.vstack([np.eye(len(UNKNOWNS)), white @ h])
    right = np.concatenate([-there.u, white @ off])
    assert np.abs(np.linalg.lstsq(left, right, rcond=None)[0]).max() < 1e-3
    np.testing.assert_allclose(there.covariance, np.linalg.inv(left.T @ left), rtol=1e-6, atol=1e-9)


def test_slopes_with_drag_are_those_of_the_polar() -> None:
    """Where nothing but drag draws current it follows the drag: d ln D/d ln CD0 = CD0/(CD0 + CL^2/(pi e AR)).

    Efficiencies change a little with the load: within 15 %.
    """
    setting = at_speed(11)
    numbers = {**setting.train_numbers, "radio_current_a": 0.0}
    train = small_train(**numbers, motor=simple_motor(no_load_current_a=0.01))
    there = level_power(train, setting, [flown_at(setting, train, 1.3)]).posterior
    mass = setting.all_up_mass_kg(train.mass_g)
    pressure = 0.5 * float(setting.air.density_kg_m3) * 11.0**2
    lift = mass * 9.80665 / (pressure * 0.16)
    induced = lift**2 / (math.pi * 0.8 * 1.1**2 / 0.16)
    at_zero = there.aircraft.slope(there.readings[0], there.aircraft.around(0.0 * there.u))
    assert at_zero.by[AT["drag"]] == pytest.approx(0.27 * 0.035 / (0.035 + induced), rel=0.15)
    assert at_zero.by[AT["flying"]] == pytest.approx(Flying().usual[0].sd_ln, rel=1e-3)
    assert len(at_zero.by) == len(UNKNOWNS)


# ---------------------------------------------------------------- what it is for


def test_minutes_before_and_after() -> None:
    setting = here()
    train = train_of(setting)
    power = level_power(train, setting, [flown_at(setting, train, 1.5)])
    minutes = Minutes.of(power, setting, train)
    assert minutes.flight_minutes == setting.flight_time(train).minutes
    assert minutes.usual_minutes == setting.flight_time(train, 1.3).minutes
    assert minutes.measured_minutes == pytest.approx(setting.flight_time(train, 1.5).minutes, rel=0.01)
    assert minutes.measured_minutes_low < minutes.measured_minutes < minutes.measured_minutes_high
    latest = min((1 - TIMER_MARGIN) * minutes.measured_minutes, minutes.measured_minutes_low)
    assert minutes.measured_timer_minutes == latest
    before = minutes.usual_minutes_high / minutes.usual_minutes_low
    assert minutes.measured_minutes_high / minutes.measured_minutes_low < before


def test_the_factor_has_its_spread_in_the_brief() -> None:
    style, basis = Flying(factor=0.9, factor_sd=0.05).taken
    assert (style.factor, style.low, style.high) == pytest.approx((0.9, 0.9 * 0.938, 0.9 * 1.0662), rel=1e-3)
    assert style.sd_ln == pytest.approx(0.05)
    assert "0.9" in basis
    assert Flying(factor=1.2).taken[0].low == 1.2
    assert Flying(factor=1.2).usual[0].factor == 1.3
    with pytest.raises(InputFaults, match=r"factor_sd.*without factor"):
        loads_brief('[aircraft]\nname = "a"\nbare_mass_g = 300\n[flying]\nfactor_sd = 0.05\n')
    with pytest.raises(InputFaults, match=r"must be a number at least 0\.3 and at most 3"):
        loads_brief('[aircraft]\nname = "a"\nbare_mass_g = 300\n[flying]\nfactor = 0.2\n')


def test_the_usual_style_is_the_prior_whatever_factor_the_brief_has() -> None:
    """An earlier answer in the brief is not counted twice."""
    plain, stated = here(), here(("temperature_c = 18", "temperature_c = 18\n[flying]\nfactor = 2.5"))
    train = train_of(plain)
    flight = flown_at(plain, train, 1.3)
    found = [level_power(train, each, [flight]).level_power_factor for each in (plain, stated)]
    assert found[0] == found[1]


# ---------------------------------------------------------------- what cannot be


@pytest.mark.parametrize(
    ("flight", "said"),
    [
        ({"minutes": 10, "recharge_mah": 950}, "is more than the 850 mAh that the pack holds"),
        ({"minutes": 90, "recharge_mah": 600}, "this charge cannot last longer than"),
        ({"minutes": 12, "recharge_mah": 3}, "at the very least"),
        ({"minutes": 0.8, "recharge_mah": 700}, "another pack, propeller, variant or airspeed was flown"),
        ({"minutes": 8, "recharge_mah": 600, "airspeed_m_s": 60}, "cannot fly the aircraft at 60 m/s"),
        ({"minutes": 8, "recharge_mah": 600, "airspeed_m_s": 4}, "cannot fly the aircraft at 4 m/s"),
    ],
)
def test_what_cannot_be_is_said(flight: dict[str, float], said: str) -> None:
    setting = here()
    train = train_of(setting)
    good = Flown(minutes=10, recharge_mah=600)
    with pytest.raises(InputFaults) as caught:
        level_power(train, setting, [good, Flown(**flight), Flown(**flight)])
    assert [fault.where for fault in caught.value.faults] == ["flight 2", "flight 3"]
    assert all(said in str(fault) for fault in caught.value.faults)


def test_a_brief_that_holds_no_airspeed_needs_one_said() -> None:
    setting = here((SPEED, "throttle = 0.6"))
    train = train_of(setting)
    with pytest.raises(InputFaults, match="no phase of the brief holds one: say which was flown"):
        level_power(train, setting, [Flown(minutes=10, recharge_mah=600)])
    power = level_power(train, setting, [Flown(minutes=12, recharge_mah=600, airspeed_m_s=11)])
    assert power.level_power_factor > 0
    with pytest.raises(InputFaults, match="missing: the minutes flown"):
        level_power(train, setting, [])


def test_a_reading_far_from_everything_has_many_sigmas() -> None:
    setting = here()
    train = train_of(setting)
    good = flown_at(setting, train, 1.3)
    odd = replace(good, minutes=good.minutes * 1.5)
    readings = level_power(train, setting, [good, odd, good]).readings
    assert max(abs(each.sigmas) for each in readings) > 3
    assert max(abs(each.sigmas) for each in level_power(train, setting, [good, good]).readings) < 1


def test_bands_of_one_log_share_their_ammeter() -> None:
    setting = here()
    train = train_of(setting)
    there = level_power(train, setting, [flown_at(setting, train, 1.3)])
    amps = there.readings[0].steady_a * 1.3
    band = Band(
        seconds=300, amps=amps, volts=7.6, airspeed_m_s=11, climb_m_s=0, charge=0.6, parts=30, log=0, amps_sd=0.03,
        speed_sd=0.0,
    )  # fmt: skip
    one, several, two_logs = (
        level_power(train, setting, bands).level_power_factor_sd
        for bands in ([band], [band] * 4, [band, attrs.evolve(band, log=1)])
    )
    assert one > several > 0.03 * 0.97
    assert two_logs < 0.03
