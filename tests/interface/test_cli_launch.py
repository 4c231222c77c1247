"""Launch, motor heat and the currents of several motors as commands and sheet show them."""

import pytest
from support.small_aircraft import BRIEF

from propmatch.brief import load_brief
from propmatch.catalogue.catalogue import load_catalogue
from propmatch.sheet.content import build_sheet

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
    said = f"Thrown at 4.0 m/s, {below:.1f} below the stall: loses {launch['height_lost_m']:.1f} m before it climbs"
    assert said in words(run("time", brief, *PARTS).out)
    rolls = run("time", written("[launch]", 'kind = "runway"'), *PARTS)
    assert "At a rolling friction of 0.1 it rolls" in words(rolls.out)
    assert "a grass field" in words(rolls.out)
    assert run("time", written(), *PARTS, "--json").document["flights"][0]["launch"] is None


def test_a_bad_launch_ends_with_two_and_names_line_and_key(run, written):
    done = run("time", written("[launch]", 'kind = "hand"', "throw_speed_m_s = 0", "rolling_friction = 2"), *PARTS)
    assert done.exit_code == 2
    assert "launch.throw_speed_m_s" in done.err
    assert "launch.rolling_friction" in done.err


def test_time_gives_the_heat_of_the_motor_without_a_verdict(run, written):
    done = run("time", written(), *PARTS)
    text = words(done.out)
    assert "there is no verdict" in text
    assert "A winding 80 K warmer" in text
    heat = run("time", written(), *PARTS, "--json").document["flights"][0]["motor_heat"]
    assert [row["phase"] for row in heat["rows"]] == ["climb out", "cruise", "full throttle at rest"]
    for row in heat["rows"]:
        assert 0 < row["winding_heat_w"] < row["motor_heat_w"]
        assert row["steady_rise_low_k"] < row["steady_rise_high_k"]
    assert heat["hot_thrust_change"] < 0
    assert max(map(len, done.out.splitlines())) <= 100


def test_of_two_motors_everything_says_whose_current_it_is(run, written):
    said = "those of each of 2 motors, each on its own controller"
    assert said in words(run("time", written(motors=2), *PARTS).out)
    assert "Heat in each of 2 motors, as designed" in run("time", written(motors=2), *PARTS).out
    assert said not in words(run("time", written(), *PARTS).out)
    point = run("point", *PARTS, "--motors", "2").out
    assert "current of each of 2 motors" in point
    assert "the same, for each controller" in point
    assert said in words(run("point", *PARTS, "--motors", "2", "--throttle", "0.5,1").out)
    checks = run("point", *PARTS).out
    assert "each of" not in checks


def test_the_sheet_has_launch_and_heat(written):
    brief = load_brief(written("[launch]", 'kind = "runway"', "max_run_m = 30", motors=2))
    sheet = build_sheet(brief, load_catalogue(plugins=["bundled"]))
    assert any("it rolls" in text for text in sheet.section("duration").text)
    (table,) = sheet.section("heat").tables
    assert table.caption == "Heat in each of 2 motors"
    assert len(table.rows) == 3
    notes = {check.name: check.note for check in sheet.checks}
    assert "each of 2 controllers" in notes["controller_current"]
    assert "all 2 motors together" in notes["pack_burst"]
    assert notes["takeoff_run"].endswith("m/s")
