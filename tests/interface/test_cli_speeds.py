"""The aircraft's own speeds and the wind in ``time``, on the sheet and on the page: one table, the same numbers."""

import re
from collections.abc import Callable
from pathlib import Path

import pytest
from interface.conftest import Ran
from support.commands import TRAIN
from support.sheets import BRIEF, stock

import propmatch_datasets
from propmatch.aircraft.speeds import AircraftSpeeds, PhaseStall, Turn
from propmatch.aircraft.wind import WindTrip
from propmatch.brief import loads_brief
from propmatch.checks.chances import sureness
from propmatch.checks.setting import ResolvedBrief
from propmatch.columns import columns_of
from propmatch.page.answers import train_answer
from propmatch.questions.speedranges import speed_ranges
from propmatch.search.matching import match
from propmatch.sheet import build_sheet
from propmatch.words.shown import Shown
from propmatch.words.speedwords import speed_rows, speed_sentences, wind_sentences

Run = Callable[..., Ran]
WINDY = "[site]\nwind_m_s = 4.0\ndistance_m = 800.0"


@pytest.fixture
def windy(tmp_path: Path) -> Callable[[str], str]:
    """The bundled wetland logger at a site with more lines."""

    def made(site: str) -> str:
        text = propmatch_datasets.path("briefs/wetland_logger.toml").read_text(encoding="utf-8")
        file = tmp_path / "windy.toml"
        file.write_text(text.replace("[site]", site), encoding="utf-8")
        return str(file)

    return made


def test_time_shows_the_table_and_says_what_a_pilot_would(run: Run) -> None:
    out = run("time", "schoolyard_trainer", *TRAIN, "--full", "--assumptions").out
    speeds = run("time", "schoolyard_trainer", *TRAIN, "--json").document["speeds"][0]
    flat = " ".join(out.split())
    stall = 3.6 * speeds["stall_speed_m_s"]
    assert f"It stalls at {stall:.0f} km/h. Fly " in flat
    assert re.search(rf"stall in circuits +{stall * 1.15**0.5:.0f} +load factor 1.15\n", out)
    assert f"glides best at {3.6 * speeds['best_glide_speed_m_s']:.0f} km/h, {speeds['glide_ratio']:.1f} to 1" in flat
    assert re.search(rf"steepest climb +{3.6 * speeds['steepest_airspeed_m_s']:.0f} ", out)
    assert "no best speed is quoted below 1.2 times the stall speed" in flat
    assert f"motor off, propeller {speeds['motor_off']}, it glides best" in flat
    assert "in a wind" not in flat
    assert max(map(len, out.splitlines())) <= 80


def test_json_has_every_column_of_every_variant(run: Run, windy: Callable[[str], str]) -> None:
    document = run("time", windy(WINDY), *TRAIN, "--json").document
    assert [row["variant"] for row in document["speeds"]] == [row["variant"] for row in document["flights"]]
    for row in document["speeds"]:
        assert {column.name for column in columns_of(AircraftSpeeds)} <= set(row)
        assert {column.name for column in columns_of(PhaseStall)} <= set(row["phases"][0])
        assert {column.name for column in columns_of(Turn)} <= set(row["turns"][0])
    for row in document["wind"]:
        assert {column.name for column in columns_of(WindTrip)} <= set(row)
        assert (row["wind_m_s"], row["distance_m"]) == (4.0, 800.0)
        against, along = row["airspeed_against_m_s"] - 4, row["airspeed_with_m_s"] + 4
        assert 60 * row["out_and_back_minutes"] == pytest.approx(800 / against + 800 / along)
    assert [row["name"] for row in document["wind"]][:2] == ["best range", "transect"]


def test_top_speed_and_climb_are_those_of_match(run: Run) -> None:
    document = run("match", "wetland_logger", "--top", "1", "--json").document
    best = document["rows"][0]
    speeds = run("time", "wetland_logger", "--train", best["id"], "--json").document["speeds"][0]
    for name in ("top_speed_m_s", "climb_m_s"):
        assert speeds[name] == pytest.approx(best[name], rel=1e-9)


def test_wind_is_said_in_sentences_and_a_table(run: Run, windy: Callable[[str], str]) -> None:
    out = run("time", windy(WINDY), *TRAIN, "--full").out
    flat = " ".join(out.split())
    assert "straight out and back in a wind of 14 km/h:" in flat
    assert re.search(
        r"In transect, 40 km/h, 800 m out and back takes \d+:\d\d \(minutes:seconds\) and \d+ mAh; in steady flight "
        "turn round after",
        flat,
    )
    assert "keep the model in sight" in flat
    assert re.search(r"\nbest range +\d+ +\d+ +\d+:\d\d +\d+ +\d+ +\d+\n", out)
    calm = " ".join(run("time", windy("[site]\ndistance_m = 800.0"), *TRAIN, "--full", "--assumptions").out.split())
    assert "straight out and back in calm air:" in calm
    assert "calm air on the way out and back, no wind being stated" in calm
    only = " ".join(run("time", windy("[site]\nwind_m_s = 4.0"), *TRAIN).out.split())
    assert "turn round after" in only
    assert "out and back takes" not in only


def test_wind_above_the_airspeed_of_a_phase_is_a_fault_and_above_the_top_speed_a_statement(
    run: Run, windy: Callable[[str], str], tmp_path: Path
) -> None:
    ran = run("time", windy("[site]\nwind_m_s = 12\ndistance_m = -1"), *TRAIN)
    assert ran.exit_code == 2
    assert len(ran.faults) == 1  # rules between sections wait for sound sections
    ran = run("time", windy("[site]\nwind_m_s = 12"), *TRAIN)
    assert ran.exit_code == 2
    assert "phase[2].airspeed_m_s = 11.0: must be above [site] wind_m_s = 12," in ran.err
    file = tmp_path / "storm.toml"
    file.write_text(
        '[aircraft]\nname = "a"\nbare_mass_g = 265\n[wing]\narea_dm2 = 16\nspan_mm = 1100\n[site]\nwind_m_s = 55\n'
        '[[phase]]\nname = "flying"\nthrottle = 0.7\nshare = 1\n',
        encoding="utf-8",
    )
    ran = run("time", str(file), *TRAIN)
    flat = " ".join(ran.out.split())
    assert ran.exit_code == 0
    assert re.search(r"No headway is made against 198 km/h of wind: its top level speed is \d+ km/h. Fly in less", flat)
    assert re.search(r"In flying at \d+ km/h it makes no headway against a wind of 198 km/h: fly it faster", flat)


def test_sheet_and_page_show_the_rows_of_time() -> None:
    text = f"{BRIEF}\n{WINDY}"
    asked = loads_brief(text, "windy")
    found = match(asked, stock(), top=1)
    assert found.best is not None
    setting, train, shown = ResolvedBrief.of(asked).as_designed, found.best.train, Shown()
    speeds = setting.speeds(train)
    ranges = speed_ranges(sureness(setting, train)).own
    sure = sureness(setting, train)
    for name in ("climb_m_s", "top_speed_m_s"):
        ends = sure.interval(getattr(sure.measured.top, name))
        assert (ranges[name].low, ranges[name].high) == (ends.low, ends.high), "the same as where it is judged"
    rows = [tuple(row.values()) for row in speed_rows(speeds, shown, ranges)]
    trips = setting.wind_trips(train, [phase.used_mah for phase in setting.flight_time(train).phases])
    said = wind_sentences(trips, setting.brief.site, speeds, shown)
    page = train_answer(asked, stock(), found.best.id)["speeds"]
    assert [tuple(row) for row in page["rows"]] == rows
    assert page["heads"][1:] == list(speed_rows(speeds, shown, ranges)[0])[1:]
    assert "speeds" not in train_answer(asked, stock(), found.best.id, moving=True)
    assert page["words"] == [*speed_sentences(speeds, shown), *said]
    sheet = build_sheet(asked, stock(), train=train)
    assert sheet is not None
    assert set(sheet.section("airspeeds").tables[0].rows) < set(rows)
    assert sheet.section("wind").text == tuple(said)
    calm = build_sheet(loads_brief(BRIEF, "calm"), stock(), train=train)
    assert calm is not None
    assert [section.name for section in calm.sections if section.name == "wind"] == []
