"""What to set, and the flight as really flown: the same numbers in text, JSON, build sheet and page."""

import re
from pathlib import Path

import pytest
from support.bundled import SMALL_PARTS, bundled_catalogue
from support.commands import TRAIN, TRAIN_ID

from propmatch.brief import loads_brief
from propmatch.checks.setting import ResolvedBrief
from propmatch.columns import columns_of
from propmatch.page.answers import train_answer
from propmatch.questions.asflown import AsFlown
from propmatch.questions.settings import Settings
from propmatch.records.parts import PARTS
from propmatch.records.trainid import parts_in_order
from propmatch.sheet import build_sheet

BRIEF = """
[aircraft]
name = "bird"
bare_mass_g = 265
[wing]
area_dm2 = 16.0
span_mm = 1100
[site]
temperature_c = -10
[pack]
cycles = 150
[flying]
style = "aerobatic"
[[phase]]
name = "round"
airspeed_m_s = 11
share = 1.0
"""


@pytest.fixture
def cold_brief(tmp_path):
    path = tmp_path / "bird.toml"
    path.write_text(BRIEF, encoding="utf-8")
    return str(path)


def test_time_gives_every_setting_with_its_basis(run, cold_brief):
    document = run("time", cold_brief, *TRAIN, "--json").document
    settings = document["settings"]
    names = [column.name for column in columns_of(Settings)]
    assert [name for name in settings if not name.endswith(("_low", "_high"))] == [*names, "source"]
    assert settings["recharge_mah_low"] < settings["recharge_mah"] < settings["recharge_mah_high"]
    assert settings["recharge_mah"] < document["flights"][0]["used_mah"], "put back after a flight to the timer"
    assert set(settings["source"]) == set(names)
    assert settings == document["flights"][0]["settings"]
    flown = document["flights"][0]["as_flown"]
    assert {column.name for column in columns_of(AsFlown)} <= set(flown)
    assert settings["flown_timer_minutes"] == flown["flown_timer_minutes"] <= flown["flown_minutes_low"]
    said = [each["text"] for each in document["assumptions"]]
    assert any("aerobatic" in each for each in said)
    assert any("after 150 cycles" in each for each in said)
    assert any("at -10 degC" in each for each in said)


def test_text_says_the_same(run, cold_brief):
    settings = run("time", cold_brief, *TRAIN, "--json").document["settings"]
    text = run("time", cold_brief, *TRAIN, "--full").out
    out, rows = " ".join(text.split()), {line.strip()[:17]: line for line in text.splitlines()}
    assert "as really flown" in out
    assert "first minute" in out
    assert f" {settings['alarm_load_cell_v']:.2f} V " in rows["low-voltage alarm"]
    assert f" {settings['land_pack_v']:.1f} V " in rows["land when the pac"]
    assert " 5 °C" in rows["coldest cells tha"]
    assert len(re.findall("no published source", out.partition("What to set")[2].partition("Where the")[0])) == 1


def test_text_says_what_the_ranges_are_once_and_the_timer_by_the_low_end(run, cold_brief):
    flight = run("time", cold_brief, *TRAIN, "--json").document["flights"][0]
    out = " ".join(run("time", cold_brief, *TRAIN, "--full").out.split())
    assert out.count("Ranges in brackets hold 80 of 100 builds") == 1
    ends = [flight["as_flown"][f"flown_minutes{end}"] for end in ("", "_low", "_high")]
    said = re.search(r"as really flown.*? about (\d+) \((\d+) to (\d+)\) min", out)
    assert [float(each) for each in said.groups()] == pytest.approx(ends, abs=0.5)
    minutes, seconds = map(int, re.search(r"Set the timer to (\d+):(\d\d)", out).groups())
    assert minutes + seconds / 60 == pytest.approx(flight["settings"]["flown_timer_minutes"], abs=0.01)
    assert f"All limits hold in {round(100 * flight['chance_all_limits'])} of 100." in out


def test_an_older_or_colder_pack_reaches_every_command(run, cold_brief, tmp_path):
    as_new = tmp_path / "new.toml"
    as_new.write_text(BRIEF.replace("cycles = 150", "cycles = 0").replace("= -10", "= 25"), encoding="utf-8")
    for words, key in ((("time",), "flight_minutes"), (("cells",), "flight_minutes")):
        found = []
        for path in (cold_brief, str(as_new)):
            document = run(*words, path, *TRAIN, "--json").document
            found.append((document.get("flights") or document["rows"])[0][key])
        assert found[0] < found[1], words


def test_what_the_options_say_goes_first(run):
    typed = ("point", "--motor", "1500kV 28g", "--propeller", "6x4", "--pack", "2S 450mAh 35C")
    thrust = [
        run(*typed, *more, "--json").document["rows"][0]["thrust_n"]
        for more in ((), ("--pack-cycles", "300"), ("--pack-rest", "24h"), ("--pack-temperature", "-10"))
    ]
    assert all(each < thrust[0] for each in thrust[1:])
    air_cold = run(*typed, "--temperature", "-10", "--json").document["rows"][0]
    kept_warm = run(*typed, "--temperature", "-10", "--pack-temperature", "25", "--json").document["rows"][0]
    assert air_cold["pack_voltage_v"] < kept_warm["pack_voltage_v"]


def test_how_the_pack_is_names_no_part(run, cold_brief):
    """The options on the cells go with a train named as a whole, and with the best that match finds."""
    Path(cold_brief).write_text(BRIEF + SMALL_PARTS, encoding="utf-8")
    for named in (("--train", TRAIN_ID), ()):
        new, old = (
            run("time", cold_brief, *named, *more, "--json").document
            for more in ((), ("--pack-cycles", "800", "--pack-temperature", "25"))
        )
        assert new["train"] == old["train"]
        assert old["flights"][0]["used_mah"] < 0.7 * new["flights"][0]["used_mah"]
        assert old["flights"][0]["as_flown"]["pack_start_c"] == 25


def test_what_does_not_go_with_a_train_is_named_as_it_is_typed(run, cold_brief):
    done = run("time", cold_brief, "--train", TRAIN_ID, "--radio-current", "1", "--motors", "2", "--pack-cycles", "-1")
    assert done.exit_code == 2
    assert "--train: names the whole train, so leave out --motors, --radio-current" in done.err
    assert "--pack-cycles" in done.err
    assert "at least 0" in done.err


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("point", "--motor", "1500kV 28g", "--propeller", "6x4", "--pack", "2S 450mAh 35C", "--temperature", "-25"),
         "kept warm"),
        (("point", "--motor", "1500kV 28g", "--propeller", "6x4", "--pack", "2S 450mAh 35C", "--pack-cycles", "-1"),
         "at least 0"),
        (("sweep", "club_racer", "--temperature", "-30"), "kept warm"),
    ],
)  # fmt: skip
def test_a_fault_says_what_would_be_right(run, words, says):
    result = run(*words, "--json")
    assert result.exit_code == 2
    assert any(says in fault for fault in result.faults)


def test_page_and_sheet_show_the_same_rows():
    train = bundled_catalogue().parts
    brief = loads_brief(BRIEF + SMALL_PARTS)
    answer = train_answer(brief, bundled_catalogue(), TRAIN_ID)
    assert len(answer["settings"]) == len(columns_of(Settings))
    assert any("as really flown" in each for each in answer["as_flown"])
    here = ResolvedBrief.of(brief).as_designed
    parts = parts_in_order(TRAIN_ID, {kind: train(f"{kind}s") for kind in PARTS}, "train")
    sheet = build_sheet(brief, bundled_catalogue(), train=here.train(**parts))
    set_to = {row["set"]: row["to"] for row in answer["settings"]}
    said = dict(sheet.section("settings").tables[0].rows)
    assert said == {label: text for label, text in set_to.items() if label in said}
    assert {"timer setting, as really flown", "charge to put back"} <= set(said)
    assert {each for each in answer["as_flown"] if "first minute" in each} < set(sheet.section("margins").text)
