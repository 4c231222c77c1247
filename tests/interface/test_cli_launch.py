"""Launch, motor heat and the currents of several motors as commands and sheet show them."""

import re
from pathlib import Path

import pytest
from support.small_aircraft import BRIEF, small_catalogue, small_train

from propmatch.brief import load_brief
from propmatch.sheet.content import build_sheet
from propmatch.words.shown import SYSTEMS

PARTS = ("--motor", "1400kV 28g", "--propeller", "7x5 thin", "--controller", "20A 15g", "--pack", "2S 850mAh 35C 50g")


@pytest.fixture
def written(tmp_path):
    def write(*lines, motors=1):
        path = tmp_path / "bird.toml"
        count = f"bare_mass_g = 265\nmotor_count = {motors}"
        text = BRIEF.replace("bare_mass_g = 265", count)
        if motors > 1:
            text = text.replace("[thrust_line]", "[thrust_line]\nside_mm = 150")
        path.write_text(text + "\n".join(lines), encoding="utf-8")
        return str(path)

    return write


def words(text):
    return " ".join(text.split())


def test_time_says_the_launch_and_gives_its_numbers(run, written):
    brief = written("[launch]", 'kind = "hand"', "throw_speed_m_s = 4")
    done = run("time", brief, *PARTS, "--json")
    launch = done.document["flights"][0]["launch"]
    assert launch["throw_speed_m_s"] == 4
    assert launch["height_lost_m"] > 0
    assert launch["takeoff_run_m"] is None
    below = launch["stall_speed_m_s"] - 4
    said = f"Thrown at 4.0 m/s, {below:.1f} m/s below the stall: loses {launch['height_lost_m']:.1f} m before it climbs"
    assert said in words(run("time", brief, *PARTS, "--units", "si").out)
    rolls = run("time", written("[launch]", 'kind = "runway"'), *PARTS, "--assumptions")
    assert "At a rolling friction of 0.1 it rolls" in words(rolls.out)
    assert "a grass field" in words(rolls.out)
    assert run("time", written(), *PARTS, "--json").document["flights"][0]["launch"] is None


@pytest.mark.parametrize(("units", "unit", "per_m_s"), [("metric", "km/h", 3.6), ("imperial", "mph", 3600 / 1609.344)])
def test_launch_speeds_are_in_the_units_of_the_reader(run, written, units, unit, per_m_s):
    """1 m/s = 3.6 km/h = 3600/1609.344 mph: the international mile."""
    thrown = written("[launch]", 'kind = "hand"', "throw_speed_m_s = 4")
    stall = run("time", thrown, *PARTS, "--json").document["flights"][0]["launch"]["stall_speed_m_s"]
    out = words(run("time", thrown, *PARTS, "--units", units).out)
    assert f"Thrown at {4 * per_m_s:.0f} {unit}, {(stall - 4) * per_m_s:.0f} {unit} below the stall" in out
    sheet = build_sheet(load_brief(thrown), small_catalogue(), train=small_train(), shown=SYSTEMS[units], on_paper=True)
    assert any(text.startswith("Thrown at ") and unit in text for text in sheet.section("margins").text)
    out = words(run("time", written("[launch]", 'kind = "runway"'), *PARTS, "--units", units).out)
    assert re.search(rf"it rolls [\d.]+ m to 1\.\d+ times the stall, \d+ {unit}", out)


def test_tables_in_metres_per_second_have_a_digit(run, written):
    brief = written("[[phase]]", 'name = "half"', "airspeed_m_s = 11.5", "share = 1", "[units]", 'speed = "m_s"')
    text = Path(brief).read_text().replace("temperature_c = 18", "temperature_c = 18\nwind_m_s = 3")
    Path(brief).write_text(text)
    out = run("time", brief, *PARTS, "--full").out
    assert re.search(r"^ +half +\S+ +11\.5 ", out, re.MULTILINE)  # phase by phase
    assert re.search(r"^ *half +11\.5 +11\.5 ", out, re.MULTILINE)  # trips in the wind
    turn = next(line for line in out.splitlines() if line.split()[:2] == ["60", "2.00"])
    assert all(re.fullmatch(r"\d+\.\d", number) for number in turn.split()[2:4])


def test_a_bad_launch_ends_with_two_and_names_line_and_key(run, written):
    done = run("time", written("[launch]", 'kind = "hand"', "throw_speed_m_s = 0", "rolling_friction = 2"), *PARTS)
    assert done.exit_code == 2
    assert "launch.throw_speed_m_s" in done.err
    assert "launch.rolling_friction" in done.err


def test_time_gives_the_heat_of_the_motor_without_a_verdict(run, written):
    done = run("time", written(), *PARTS, "--full")
    text = words(done.out)
    assert "there is no verdict" in text
    assert "A winding 80 K warmer" in text
    heat = run("time", written(), *PARTS, "--json").document["flights"][0]["motor_heat"]
    assert [row["phase"] for row in heat["rows"]] == ["climb out", "cruise", "full throttle, static"]
    for row in heat["rows"]:
        assert 0 < row["winding_heat_w"] < row["motor_heat_w"]
        assert row["steady_rise_low_k"] < row["steady_rise_high_k"]
    assert heat["hot_thrust_change"] < 0
    assert max(map(len, done.out.splitlines())) <= 80


def test_of_two_motors_everything_says_whose_current_it_is(run, written):
    said = "those of each of 2 motors, each on its own ESC"
    assert said in words(run("time", written(motors=2), *PARTS).out)
    assert "Heat in each of 2 motors, as designed" in run("time", written(motors=2), *PARTS, "--full").out
    assert said not in words(run("time", written(), *PARTS).out)
    point = run("point", *PARTS, "--motors", "2").out
    assert "each of 2 motors" in point
    assert "same, for each ESC" in point
    assert said in words(run("point", *PARTS, "--motors", "2", "--throttle", "0.5,1").out)
    checks = run("point", *PARTS).out
    assert "each of" not in checks


def test_the_sheet_has_launch_and_heat(written):
    brief = load_brief(written("[launch]", 'kind = "runway"', "max_run_m = 30", motors=2))
    sheet = build_sheet(brief, small_catalogue(), train=small_train(count=2), on_paper=True)
    assert any("it rolls" in text for text in sheet.section("margins").text)
    (table,) = sheet.section("heat").folded
    assert table.caption == "Heat in each of 2 motors"
    assert len(table.rows) == 3
    notes = {check.name: check.note for check in sheet.checks}
    assert "each of 2 controllers" in notes["controller_current"]
    assert "all 2 motors together" in notes["pack_burst"]
    assert notes["takeoff_run"].endswith("m/s")


def test_a_flight_that_cannot_be_flown_keeps_its_launch_its_cold_minute_and_its_reason(run, written):
    """The first variant and every other say the same of themselves."""
    brief = Path(written("[launch]", 'kind = "hand"'))
    text = brief.read_text()
    assert "temperature_c = 18" in text
    text = text.replace("temperature_c = 18", "temperature_c = -10").replace("= 11\n", "= 60\n")
    brief.write_text(text.replace('[[phase]]\nname = "climb out"\nthrottle = 1.0\nseconds = 20\n', ""))
    out = words(run("time", str(brief), *PARTS).out)
    assert out.count("cannot be flown, cruise") == 2
    assert out.count("cruise needs more thrust than there is, even with a full pack") == 2
    assert "In the first minute full throttle, static, gives" in out
    assert out.partition("as designed (")[0].count("hrown at ") == 2


def test_another_variant_without_an_answer_says_why(run, written):
    """Its stall speed in cruise, sqrt(2 m g/(rho S cl_max)), is above 11 m/s from 1.3 kg on."""
    brief = Path(written("[launch]", 'kind = "hand"'))
    brief.write_text(brief.read_text().replace("bare_mass_g = 330", "bare_mass_g = 1600"))
    document = run("time", str(brief), *PARTS, "--json").document
    heavy = next(each for each in document["flights"] if each["variant"] == "heavy")
    assert heavy["flight_minutes"] is None
    out = words(run("time", str(brief), *PARTS).out)
    assert re.search(r"heavy, 1\d+ g all-up.*: no answer, ", out)
    assert "slower than the stall speed: the wing cannot carry this load; thrown at" in out


def test_a_variant_is_thrown_as_its_own_mass_goes(run, written):
    """V = sqrt(2 E/(m + m_arm)), 58 J and 1.5 kg: common practice, no published source; 65 g more than designed."""
    flights = run("time", written("[launch]", 'kind = "hand"'), *PARTS, "--json").document["flights"]
    thrown = [each["launch"]["throw_speed_m_s"] for each in flights]
    assert thrown == pytest.approx([(2 * 58 / (0.460 + 1.5)) ** 0.5, (2 * 58 / (0.525 + 1.5)) ** 0.5], rel=1e-9)
    stated = run("time", written("[launch]", 'kind = "hand"', "throw_speed_m_s = 6"), *PARTS, "--json")
    assert [each["launch"]["throw_speed_m_s"] for each in stated.document["flights"]] == [6, 6]
