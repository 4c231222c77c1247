"""A flight as really flown, the cold first minute, and what to set for it."""

import math

import numpy as np
import pytest
from scipy.integrate import quad
from support.small_aircraft import small_brief, small_train
from support.trains import simple_pack

from propmatch.aircraft.flight import level_flight
from propmatch.aircraft.passing import charge_after
from propmatch.checks.judged import judged_trains
from propmatch.checks.limits import checks_of
from propmatch.checks.setting import ResolvedBrief
from propmatch.faults import InputFaults
from propmatch.models.pack import CHEMISTRIES
from propmatch.questions.asflown import TIMER_MARGIN, as_flown, warming_k
from propmatch.questions.settings import settings_of
from propmatch.records.brief import Flying, PackUse, Site, loads_brief
from propmatch.records.packuse import FLYING
from propmatch.words.flownwords import flown_sentences, settings_rows
from propmatch.words.shown import Shown

WARM = "temperature_c = 18"
CRUISE = ('[[phase]]\nname = "climb out"\nthrottle = 1.0\nseconds = 20\n', "")


def here(*edits):
    return ResolvedBrief.of(small_brief(*edits)).as_designed


def flown(setting, train=None):
    train = setting.flown(small_train(**setting.train_numbers) if train is None else train)
    flight = setting.flight_time(train)
    return train, flight, as_flown(train, setting, flight)


# ---------------------------------------------------------------- real flying


def test_a_held_flight_takes_its_time_over_the_factor():
    """Charge over current: with f times the current the same charge lasts 1/f of the time."""
    setting = here(CRUISE, (WARM, f"{WARM}\n[flying]\nfactor = 1.25"))
    _, flight, real = flown(setting)
    assert flight.ended_by == "reserve"
    assert real.flown_minutes == pytest.approx(flight.minutes / 1.25, rel=1e-9)
    ends = real.ranges["flown_minutes"]
    assert ends.low < real.flown_minutes < ends.high
    assert real.flown_timer_minutes == min(ends.low, (1 - TIMER_MARGIN) * real.flown_minutes)


def test_throttle_phases_are_flown_as_they_are():
    setting = here(("airspeed_m_s = 11", "throttle = 0.6"), (WARM, f"{WARM}\n[flying]\nfactor = 2"))
    train, flight, real = flown(setting)
    assert real.flown_minutes == pytest.approx(flight.minutes, rel=1e-12)
    (said,) = flown_sentences(real, flight.minutes, flight.cutoff_cell_v, Shown())
    assert said == "No phase holds an airspeed: real flying costs height, and the minutes stay as they are."
    assert not real.assumptions
    one_timer(settings_of(train, setting, flight, real))


def one_timer(found):
    assert [row["set"] for row in settings_rows(found, Shown()) if "timer setting" in row["set"]] == [
        "timer setting, as really flown"
    ]


def test_one_times_the_power_is_not_spoken_of():
    setting = here((WARM, f"{WARM}\n[flying]\nfactor = 1"))
    train, flight, real = flown(setting)
    assert flown_sentences(real, flight.minutes, flight.cutoff_cell_v, Shown()) == []
    assert not real.assumptions
    one_timer(settings_of(train, setting, flight, real))


@pytest.mark.parametrize("factor", [0.85, 1.4])
def test_a_measured_factor_has_flown_with_the_drag_and_the_parts_there_are(factor):
    """Charge over current: ln of the minutes spreads as that of the factor and of the capacity, and no more."""
    setting = here(CRUISE, (WARM, f"{WARM}\n[flying]\nfactor = {factor}\nfactor_sd = 0.03"))
    _, flight, real = flown(setting)
    capacity = np.log(real.draws.sure.drawn.draws.factor("capacity_mah"))
    spread = np.std(np.log(real.draws.minutes))
    assert real.flown_minutes == pytest.approx(flight.minutes / factor, rel=1e-6)
    assert np.std(np.log(real.draws.factor)) == pytest.approx(0.03, rel=0.02)
    assert np.median(real.draws.factor) == pytest.approx(factor, rel=0.005)
    assert spread == pytest.approx(math.hypot(0.03, np.std(capacity)), rel=0.03)
    ends = real.ranges["flown_minutes"]
    assert ends.low < real.flown_minutes < ends.high


@pytest.mark.parametrize("style", FLYING)
def test_a_style_has_a_range_and_says_that_nobody_measured_it(style):
    _, flight, real = flown(here((WARM, f'{WARM}\n[flying]\nstyle = "{style}"')))
    ends = real.ranges["flown_minutes"]
    assert ends.low < real.flown_minutes < ends.high
    assert real.flown_minutes < flight.minutes
    # 80 of 100 draws within the range of the style about its middle, none below steady flight: lognormal by definition
    side = math.sqrt(real.factor_high / real.factor_low)
    low, high = np.quantile(real.draws.factor, (0.1, 0.9))
    assert high == pytest.approx(real.factor * side, rel=0.01)
    assert low == pytest.approx(max(real.factor / side, 1.0), rel=0.01)
    assert "no published source" in real.assumptions[0].text
    assert style in real.assumptions[0].text


def test_without_a_style_club_flying_is_assumed_and_said():
    _, flight, real = flown(here())
    assert real.factor == FLYING["club"].factor
    assert "no style being stated" in real.assumptions[0].text
    text = " ".join(flown_sentences(real, flight.minutes, flight.cutoff_cell_v, Shown()))
    assert f"about {real.flown_minutes:.0f} (" in text


def test_a_style_changes_no_verdict():
    train = small_train()
    plain, wild = (
        checks_of(judged_trains(setting, [setting.flown(train)])[0])[0]
        for setting in (here(), here((WARM, f'{WARM}\n[flying]\nstyle = "aerobatic"')))
    )
    assert [(c.name, c.verdict) for c in plain] == [(c.name, c.verdict) for c in wild]
    assert [c.value for c in plain] == pytest.approx([c.value for c in wild], nan_ok=True)


# ---------------------------------------------------------------- temperature


def test_the_field_decides_how_warm_the_cells_are_unless_stated():
    assert here().train_numbers["pack_temperature_c"] == 18.0
    assert any("as warm as the air" in each.text for each in here().assumptions)
    kept = here((WARM, f"{WARM}\npack_temperature_c = 30"))
    assert kept.train_numbers["pack_temperature_c"] == 30.0
    assert not any("as warm as the air" in each.text for each in kept.assumptions)
    nothing = here((WARM, ""))
    assert nothing.train_numbers["pack_temperature_c"] == 25.0
    assert any(each.field == "pack_temperature_c" for each in nothing.assumptions)


def test_warming_is_i2_r_t_over_m_c():
    """A climb and a glide with 2 A for receiver and servos: I^2 R t/(m c) by hand, R of 2 cells of 12/0.85 mohm."""
    setting = here(
        (WARM, "temperature_c = 25"), ('name = "cruise"\nairspeed_m_s = 11', 'name = "cruise"\nthrottle = 0')
    )
    train = small_train(radio_current_a=2.0, pack_temperature_c=25.0)
    flight = setting.flight_time(train)
    assert flight.phases[1].pack_current_mean_a == pytest.approx(2.0)
    squares = sum(p.pack_current_mean_a**2 * 60 * p.minutes for p in flight.phases)
    mass_kg = 1e-3 * 30.0 * 0.85**0.9 * 2**0.95
    # the rise of the resistance down to a fifth of the charge, 1.6 % by its published curve, is in the bound
    assert warming_k(train, flight) == pytest.approx(0.024 / 0.85 * squares / (mass_kg * 1000.0), rel=0.02)


def test_cells_that_warm_themselves_fly_longer_and_no_longer_than_warm_ones():
    cold = here((WARM, "temperature_c = -10"), CRUISE)
    _, flight, real = flown(cold)
    warm = cold.flight_time(small_train(pack_temperature_c=25.0))
    assert real.pack_start_c == -10.0
    assert real.pack_rise_k > 1.0
    assert flight.minutes < real.warmed_minutes < warm.minutes
    said = " ".join(flown_sentences(real, flight.minutes, flight.cutoff_cell_v, Shown()))
    assert "at most" in said
    assert "first minute" in said


@pytest.mark.parametrize(("celsius", "limit"), [(-15, True), (18, False)])
def test_the_first_minute_is_judged_where_the_brief_says_it_is_cold(celsius, limit):
    setting = here((WARM, f"temperature_c = {celsius}"))
    weak = small_train(pack=simple_pack(cell_resistance_mohm=60.0), **setting.train_numbers)
    check = next(c for c in checks_of(judged_trains(setting, [weak])[0])[0] if c.name == "first_minute")
    assert math.isfinite(check.limit) is limit
    assert check.verdict == ("fails" if limit else "no limit")
    if limit:
        assert "against warm cells" in check.note
        assert check.limit == CHEMISTRIES["lipo"].cutoff_v


# ---------------------------------------------------------------- faults


SMALL = '[aircraft]\nname = "x"\nbare_mass_g = 150\n'


@pytest.mark.parametrize(
    ("text", "key", "right"),
    [
        ('[pack]\ncycles = "2 years"', "pack.cycles", "2000 full charges"),
        ("[pack]\nage_years = 2", "pack.age_years", "unknown key; write cycles instead"),
        ("[pack]\nage = 2", "pack.age", "full charges; years alone say nothing"),
        ("[pack]\nYears = 2", "pack.Years", "full charges; years alone say nothing"),
        ("[pack]\nrest_h = -1", "pack.rest_h", "at least 0"),
        ("[site]\ntemperature_c = 300", "site.temperature_c", "at most 60"),
        ("[site]\npack_temperature_c = -21", "site.pack_temperature_c", "at least -20"),
        ("[site]\ntemperature_c = -21", "site.temperature_c", "such as 15"),
        ('[flying]\nstyle = "wild"', "flying.style", "calm, club, aerobatic"),
        ("[flying]\nfactor = 0.2", "flying.factor", "at least 0.3"),
        ('[flying]\nstyle = "calm"\nfactor = 1.2', "flying.style", "left out"),
    ],
)
def test_what_is_wrong_and_what_would_be_right(text, key, right):
    with pytest.raises(InputFaults) as caught:
        loads_brief(SMALL + text)
    (fault,) = caught.value.faults
    assert fault.key == key
    assert right in str(fault) or right in fault.hint


def test_air_below_what_is_known_of_cells_is_right_with_packs_kept_warm():
    assert Site(temperature_c=-30.0, pack_temperature_c=15.0).pack_temperature_c == 15.0
    assert Site(temperature_c=-20.0).pack_temperature_c is None
    assert PackUse().cycles is None
    assert Flying().taken[0] == FLYING["club"]


# ---------------------------------------------------------------- settings


def test_settings_come_from_the_flight_itself():
    setting = here(CRUISE)
    train, flight, real = flown(setting)
    found = settings_of(train, setting, flight, real)

    def level(charge):
        """The operating point itself, solved at this charge."""
        return level_flight(
            train, setting.variant.airframe, setting.all_up_mass_kg(train.mass_g), 11.0, charge=charge, air=setting.air
        )

    assert flight.ended_by == "reserve"
    assert found.alarm_load_cell_v == pytest.approx(level(flight.charge).cell_voltage_v, rel=1e-9)
    early = 1 - found.recharge_mah / 850.0
    # t = integral of Q dq/I by scipy's quad: down to that charge it takes the time of the timer, real flying the faster
    hours, _ = quad(lambda q: 0.85 / float(level(q).pack_current_a), early, 1.0, limit=200, epsrel=1e-6)
    assert 60 * hours == pytest.approx(found.flown_timer_minutes * flight.minutes / real.flown_minutes, rel=1e-4)
    land = charge_after(flight.legs, (1 - TIMER_MARGIN) * flight.minutes)
    assert found.land_pack_v == pytest.approx(level(land).pack_voltage_v, rel=1e-9)
    assert found.alarm_rest_cell_v == pytest.approx(CHEMISTRIES["lipo"].cell_ocv_v(flight.charge))
    assert found.cutoff_cell_v < found.alarm_load_cell_v < found.alarm_rest_cell_v
    assert found.alarm_load_cell_v < found.land_pack_v / train.pack.cells_series
    # 1C of 850 mAh is 0.85 A: common practice
    assert found.charge_current_a == pytest.approx(0.85)
    assert found.recharge_mah < flight.used_mah
    assert 60 * found.recharge_mah / 850.0 < found.charge_minutes < 120
    assert set(found.basis) == set(vars_of(found))
    for name, ends in found.ranges.items():
        assert ends.low <= getattr(found, name) <= ends.high
    assert all(found.basis.values())


LONG_CLIMB = ("seconds = 20", "seconds = 270")


def test_settings_are_those_of_what_is_flown_when_the_reserve_comes_not_of_what_draws_most():
    """A climb long over takes most of the charge; alarm and landing belong to the cruise after it."""
    setting = here(LONG_CLIMB)
    train, flight, real = flown(setting)
    climb, cruise = flight.phases
    assert climb.used_mah > cruise.used_mah
    found = settings_of(train, setting, flight, real)
    last = level_flight(
        train, setting.variant.airframe, setting.all_up_mass_kg(train.mass_g), 11.0, charge=flight.charge,
        air=setting.air,
    )  # fmt: skip
    assert found.alarm_load_cell_v == pytest.approx(last.cell_voltage_v, rel=1e-9)
    for name in ("land_pack_v", "alarm_load_cell_v"):
        assert "in 'cruise'" in found.basis[name]
    # the climb is over when the timer runs out: only cruise is left out, at its own mean current
    steady = found.flown_timer_minutes * flight.minutes / real.flown_minutes
    assert steady > climb.minutes
    rest_mah = 1000 / 60 * cruise.pack_current_mean_a * (flight.minutes - steady)
    assert found.recharge_mah == pytest.approx(flight.used_mah - rest_mah, rel=2e-2)
    assert found.charge_minutes == pytest.approx(60 * 1.25 * found.recharge_mah / 850.0)


def test_the_alarm_is_read_in_a_climb_that_pays_for_height():
    setting = here(CRUISE, ("share = 1.0", 'share = 1.0\n[[phase]]\nname = "glide"\nthrottle = 0\nshare = 1.0'))
    train, flight, real = flown(setting)
    assert flight.paying_climb_m_s > 0.2
    climbing = level_flight(
        train, setting.variant.airframe, setting.all_up_mass_kg(train.mass_g), 11.0, charge=flight.charge,
        air=setting.air, climb_m_s=flight.paying_climb_m_s,
    )  # fmt: skip
    found = settings_of(train, setting, flight, real)
    assert found.alarm_load_cell_v == pytest.approx(climbing.cell_voltage_v, rel=1e-9)
    assert "'cruise', which draws most" in found.basis["alarm_load_cell_v"]


@pytest.mark.parametrize(
    ("more", "read_in"),
    [
        ('[[phase]]\nname = "approach"\nairspeed_m_s = 10\nseconds = 60', "cruise"),
        ('[[phase]]\nname = "glide in"\nthrottle = 0\nseconds = 60', "cruise"),
    ],
)
def test_the_shares_stand_for_what_comes_after_them(more, read_in):
    setting = here(("share = 1.0", f"share = 1.0\n{more}"))
    train, flight, real = flown(setting)
    found = settings_of(train, setting, flight, real)
    assert f"in '{read_in}'" in found.basis["alarm_load_cell_v"]


def test_of_a_list_that_repeats_the_motor_run_last_counts():
    setting = here(("airspeed_m_s = 11\nshare = 1.0", "throttle = 0\nseconds = 100"))
    train, flight, real = flown(setting)
    found = settings_of(train, setting, flight, real)
    assert "in 'climb out'" in found.basis["land_pack_v"]
    assert found.alarm_load_cell_v < found.alarm_rest_cell_v - 0.05


def vars_of(found):
    return [name for name in type(found).__annotations__ if name not in ("basis", "ranges")]


def test_an_alarm_comes_before_the_cut_off_that_ends_the_flight():
    setting = here(CRUISE, ("[limits]", "[limits]\nreserve_charge = 0\ncutoff_cell_v = 3.6"))
    train, flight, real = flown(setting)
    assert flight.ended_by == "cutoff"
    found = settings_of(train, setting, flight, real)
    assert found.alarm_load_cell_v > found.cutoff_cell_v == 3.6


def test_no_flight_has_no_settings():
    setting = here(("airspeed_m_s = 11", "airspeed_m_s = 60"), CRUISE)
    train, flight, real = flown(setting)
    assert flight.minutes == 0
    assert settings_of(train, setting, flight, real) is None
    assert flown_sentences(real, flight.minutes, flight.cutoff_cell_v, Shown()) == []


def test_every_setting_has_a_row_and_nickel_cells_are_stored_anyhow():
    setting = here(CRUISE)
    nickel = small_train(pack=simple_pack(chemistry="nimh", cells_series=6, capacity_mah=1300.0))
    train, flight, real = flown(setting, nickel)
    rows = settings_rows(settings_of(train, setting, flight, real), Shown())
    assert len(rows) == len(vars_of(settings_of(train, setting, flight, real)))
    assert next(row["to"] for row in rows if "stored" in row["set"]) == "any"
    assert not any(np.isin(row["to"], ["-", "nan"]) for row in rows)
