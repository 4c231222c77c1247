"""``propmatch flown``: flights held against their prediction, from the notes of a builder to a line of the brief."""

import math
import tomllib
from collections.abc import Callable
from pathlib import Path

import pytest
from interface.conftest import Ran

from propmatch.bench.flightlog import LevelPower, Minutes, Reading, SecondFlight
from propmatch.bench.loggertable import LoggedPhase
from propmatch.brief import load_brief
from propmatch.columns import columns_of

Run = Callable[..., Ran]
BRIEF = """[aircraft]
name = "test bird"
bare_mass_g = 265
[[variant]]
name = "heavy"
bare_mass_g = 330
[wing]
area_dm2 = 16.0
span_mm = 1100
cl_max = 1.1
cd0 = 0.035
[[phase]]
name = "cruise"
airspeed_m_s = 11
share = 1.0
"""
TRAIN = ("--motor", "kv=1400 measured mass=28g r=0.12 i0=0.6 v0=8", "--propeller", "7x5", "--pack", "2S 850mAh 45C 52g",
         "--controller", "20A 12g")  # fmt: skip
FLIGHT = ("--minutes", "13", "--mah", "640")


@pytest.fixture
def brief(tmp_path: Path) -> str:
    path = tmp_path / "bird.toml"
    path.write_text(BRIEF, encoding="utf-8")
    return str(path)


@pytest.fixture
def log(tmp_path: Path) -> str:
    """Full throttle for 15 s, 11 m/s for four minutes, motor off for 20 s, 14 m/s for a minute."""
    lines, time = ["seconds,volts,amps,airspeed_m_s,throttle"], 0
    for seconds, volts, amps, speed, throttle in (
        (15, 7.4, 9.0, 9, 1), (240, 7.8, 2.4, 11, 0.6), (20, 8.0, 0.2, 9, 0), (60, 7.5, 4.0, 14, 0.8),
    ):  # fmt: skip
        for _ in range(seconds):
            lines.append(f"{time},{volts},{amps},{speed},{throttle}")
            time += 1
    path = tmp_path / "flight.csv"
    path.write_text("\n".join(lines), encoding="utf-8")
    return str(path)


def flat(text: str) -> str:
    return " ".join(text.split())


def test_a_flight_says_the_factor_the_minutes_and_what_it_cannot(run: Run, brief: str) -> None:
    done = run("flown", brief, *FLIGHT, *TRAIN)
    found = run("flown", brief, *FLIGHT, *TRAIN, "--json").document
    power, minutes = found["level_power"], found["minutes"]
    said = flat(done.out)
    assert done.exit_code == 0
    assert f"held airspeeds draw {power['level_power_factor']:.2f} times the current of steady flight (90 %: " in said
    assert f"now {minutes['measured_minutes']:.1f} as measured" in said
    assert "One speed cannot separate drag from propulsion" in said
    assert "econd flight would" in said or "No single further flight would separate them" in said
    assert "reads right to 2 %" in said
    assert max(map(len, done.out.splitlines())) <= 100
    assert found["interval"] == 0.9
    assert found["level_power"]["told_apart"] is False
    assert found["level_power"]["cd0"] is None
    assert {"charge_loss", "charger_sd", "timer_sd", "cd0_sd"} <= {each["field"] for each in found["assumptions"]}


def test_the_json_has_every_column(run: Run, brief: str, log: str) -> None:
    found = run("flown", brief, *FLIGHT, *TRAIN, "--flight-log", log, "--json").document
    for key, cls in (("level_power", LevelPower), ("minutes", Minutes), ("second_flight", SecondFlight)):
        assert {each.name for each in columns_of(cls)} <= set(found[key]), key
    for row in found["rows"]:
        assert {each.name for each in columns_of(Reading)} <= set(row)
    for row in found["logged_phases"]:
        assert {each.name for each in columns_of(LoggedPhase)} <= set(row)
    assert [each["name"] for each in found["rows"]] == [
        "flight 1", "flight.csv, held 11.0 m/s", "flight.csv, held 14.0 m/s",
    ]  # fmt: skip


def test_what_is_pasted_into_the_brief_is_what_time_then_says(run: Run, brief: str, tmp_path: Path) -> None:
    """The lines are TOML that a brief takes; ``time`` then flies the minutes that ``flown`` promised."""
    output = tmp_path / "lines.toml"
    done = run("flown", brief, *FLIGHT, *TRAIN, "--output", str(output), "--json")
    lines = output.read_text(encoding="utf-8")
    assert tomllib.loads(lines) == done.document["brief"]
    Path(brief).write_text(BRIEF + lines, encoding="utf-8")
    flying = load_brief(brief).flying
    assert (flying.factor, flying.factor_sd) == tuple(done.document["brief"]["flying"].values())
    minutes = done.document["minutes"]
    ran = run("time", brief, *TRAIN, "--variant", "as designed", "--json").document
    flown = ran["flights"][0]["as_flown"]
    assert flown["flown_minutes"] == pytest.approx(minutes["measured_minutes"], rel=0.005)
    low, high = flown["flown_minutes_low"], flown["flown_minutes_high"]
    wide = math.log(minutes["measured_minutes_high"] / minutes["measured_minutes_low"])
    assert low < flown["flown_minutes"] < high
    assert math.log(high / low) == pytest.approx(wide, rel=0.08)
    again = run("flown", brief, *FLIGHT, *TRAIN)
    assert "is not used here" in again.out
    text = next(each["text"] for each in ran["assumptions"] if each["field"] == "factor")
    assert text.endswith("; 80 %")
    assert "common practice" not in text


def test_a_factor_below_one_flies_longer_than_steady(run: Run, brief: str) -> None:
    found = run("flown", brief, "--minutes", "26", "--mah", "640", *TRAIN, "--json").document
    factor = found["brief"]["flying"]["factor"]
    assert factor < 1
    assert found["minutes"]["measured_minutes"] > found["minutes"]["flight_minutes"]
    Path(brief).write_text(BRIEF + f"[flying]\nfactor = {factor}\n", encoding="utf-8")
    said = flat(run("time", brief, *TRAIN).out)
    assert f"as really flown, at {factor:g} times the current" in said


def test_two_flights_at_two_speeds(run: Run, brief: str) -> None:
    done = run(
        "flown", brief, *FLIGHT, "--airspeed", "11m/s", "--minutes", "7.5", "--mah", "640", "--airspeed", "50.4km/h",
        *TRAIN, "--airspeed-error", "2", "--json",
    )  # fmt: skip
    assert [round(each["held_airspeed_m_s"], 6) for each in done.document["rows"]] == [11, 14]
    by_brief = run(
        "flown", brief, *FLIGHT, "--airspeed", "-", "--minutes", "7.5", "--mah", "640", "--airspeed", "14", *TRAIN
    )
    assert by_brief.exit_code == 0
    assert "drag from propulsion" in flat(by_brief.out)


def test_a_variant_is_flown_by_its_own_mass(run: Run, brief: str) -> None:
    light, heavy = (
        run("flown", brief, *FLIGHT, *TRAIN, "--variant", name, "--json").document["rows"][0]
        for name in ("as designed", "heavy")
    )
    assert heavy["steady_a"] > light["steady_a"]
    assert heavy["measured_a"] == light["measured_a"]


def test_a_log_is_held_against_the_prediction_by_phase(run: Run, brief: str, log: str) -> None:
    done = run("flown", brief, "--flight-log", log, *TRAIN)
    said = flat(done.out)
    for phase in ("held 11.0 m/s", "held 14.0 m/s", "full throttle", "motor off"):
        assert phase in done.out
    assert "Split by throttle (full from 95 %, off up to 3 %)" in said
    assert "amps right to 3 %" in said
    assert max(map(len, done.out.splitlines())) <= 100


# ---------------------------------------------------------------- bad input


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ((), "needs a flight: --minutes and --mah, or --flight-log; such as --minutes 11.5 --mah 640"),
        (("--minutes", "11"), "each flight needs its minutes and its mAh: 1 and 0 were given"),
        (("--mah", "640"), "each flight needs its minutes and its mAh: 0 and 1 were given"),
        ((*FLIGHT, *FLIGHT, "--airspeed", "11"), "give it for every flight or for none: 1 for 2 flights"),
        (("--minutes", "long", "--mah", "640"), "--minutes: 'long': must be a number above 0 and at most 600 min"),
        (("--minutes", "-3", "--mah", "640"), "--minutes: -3.0: must be a number above 0"),
        (("--minutes", "nan", "--mah", "640"), "--minutes: "),
        (("--minutes", "11,500", "--mah", "640"), "nothing settles what ',' marks; write 11.5 or 11500"),
        (("--minutes", "11", "--mah", "640g"), "the unit must be"),
        (("--minutes", "11", "--mah", "950"), "is more than the 850 mAh that the pack holds"),
        (("--minutes", "120", "--mah", "640"), "this charge cannot last longer than"),
        (("--minutes", "0.5", "--mah", "640"), "another pack, propeller, variant or airspeed was flown"),
        ((*FLIGHT, "--airspeed", "90"), "cannot fly the aircraft at 90 m/s"),
        ((*FLIGHT, "--airspeed-error", "much"), "must be a number of 0 to 30 (per cent)"),
        ((*FLIGHT, "--variant", "hevy"), "did you mean heavy?"),
        ((*FLIGHT, "--flight-log", "nowhere.csv"), "No such file"),
    ],
)
def test_each_bad_input_has_its_own_sentence(run: Run, brief: str, words: tuple[str, ...], said: str) -> None:
    done = run("flown", brief, *words, *TRAIN)
    assert done.exit_code == 2
    assert said in done.err
    assert done.out == ""


def test_every_fault_of_the_flights_at_once(run: Run, brief: str) -> None:
    done = run("flown", brief, "--minutes", "x", "--mah", "y", "--minutes", "5", *TRAIN)
    assert done.exit_code == 2
    assert len(done.faults) == 3


def test_a_log_of_another_aircraft(run: Run, brief: str, log: str) -> None:
    train = [word.replace("2S", "3S") for word in TRAIN]
    done = run("flown", brief, "--flight-log", log, *train)
    assert done.exit_code == 2
    assert "a log of another aircraft, or another pack; it reads like 2S" in done.err
    Path(log).write_text("", encoding="utf-8")
    assert "is empty" in run("flown", brief, "--flight-log", log, *TRAIN).err


def test_a_reading_far_off_is_doubted(run: Run, brief: str) -> None:
    done = run("flown", brief, *FLIGHT, *FLIGHT, "--minutes", "21", "--mah", "640", *TRAIN)
    assert done.exit_code == 0
    assert "warning: flight 3: draws" in flat(done.out)


def test_a_log_without_current_says_that_none_was_read(run: Run, brief: str, tmp_path: Path) -> None:
    still = tmp_path / "still.csv"
    still.write_text("seconds,amps,volts,airspeed_m_s\n" + "".join(f"{at},0,8.1,12\n" for at in range(120)))
    done = run("flown", brief, "--flight-log", str(still), *TRAIN)
    assert done.exit_code == 2
    assert "amps: no current was read" in done.err
