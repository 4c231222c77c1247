"""The build sheet as a file: valid, self-contained, escaped, repeatable, and its numbers those of the functions."""

import gzip
import hashlib
import re
from base64 import b64encode
from pathlib import Path
from typing import Any

import attrs
import html5lib
import numpy as np
import pytest
from support.bundled import SMALL_PARTS
from support.checks import one_more_check
from support.sheets import (
    BRIEF,
    HOSTILE,
    HOSTILE_PHASE,
    HOSTILE_TITLE,
    brief,
    found,
    fresh_sheet,
    made_sheet,
    made_text,
    stock,
    whole_envelope,
)
from support.trains import simple_train

from propmatch import Catalogue, Design, compare_cells, flight_time, run_checks, solve
from propmatch.brief import loads_brief, resolve_variants
from propmatch.checks.chances import sureness
from propmatch.checks.measures import settings
from propmatch.faults import InputFaults
from propmatch.questions import envelope
from propmatch.questions.asflown import as_flown
from propmatch.search.matching import Shortlist
from propmatch.sheet import build_sheet, sheet_html
from propmatch.sheet.case import Sheet
from propmatch.sheet.picture import need
from propmatch.units import GRAM_FORCE_N, GRAM_KG, KMH_M_S
from propmatch.words.chancewords import of_hundred, range_words
from propmatch.words.checkwords import check_name
from propmatch.words.envelopewords import envelope_parts
from propmatch.words.shown import Shown

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture
def catalogue() -> Catalogue:
    return stock()


@pytest.fixture
def shortlist() -> Shortlist:
    return found()


@pytest.fixture
def sheet() -> Sheet:
    return made_sheet()


@pytest.fixture
def text() -> str:
    return made_text()


def parsed(text: str):
    return html5lib.HTMLParser(strict=True, namespaceHTMLElements=False).parse(text)


def test_the_file_is_valid_html_with_unique_ids(text: str) -> None:
    """html5lib's strict parser follows the parsing rules of the WHATWG HTML standard and raises at the first error."""
    tree = parsed(text)
    ids = [node.get("id") for node in tree.iter() if node.get("id")]
    assert len(ids) == len(set(ids))
    wanted = {ref for node in tree.iter() for ref in (node.get("aria-labelledby") or "").split()}
    wanted |= {node.get("href")[1:] for node in tree.iter("a")}
    wanted |= set(re.findall(r'(?:url\(#|xlink:href="#)([^")]+)', text))
    assert wanted
    assert wanted <= set(ids)


def test_nothing_is_fetched_and_nothing_runs_but_the_script_of_the_policy(text: str) -> None:
    """The hash is that of the script alone, as Content Security Policy Level 3 of the W3C says."""
    tree = parsed(text)
    tables, script = (node for node in tree.iter("script"))
    assert tables.get("type") == "application/json"
    digest = b64encode(hashlib.sha256(script.text.encode()).digest()).decode()
    policy = next(node.get("content") for node in tree.iter("meta") if node.get("http-equiv"))
    assert f"script-src 'sha256-{digest}';" in policy
    assert next(node for node in tree.iter("section") if node.get("id") == "answering").get("hidden") == ""
    names = {node.tag for node in tree.iter() if isinstance(node.tag, str)}
    assert not names & {"img", "iframe", "object", "embed", "b", "em", "i"}
    handlers = [key for node in tree.iter() for key in node.attrib if key.startswith("on")]
    assert handlers == []
    addresses = set(re.findall(r"https?://[^\s\"'<]+", text))
    assert addresses <= {"http://www.w3.org/2000/svg", "http://www.w3.org/1999/xlink"}
    assert "@import" not in text
    assert not re.search(r"url\((?!#)", text)


def test_names_from_files_stay_text(text: str) -> None:
    tree = parsed(text)
    words = "".join(tree.itertext())
    assert "&lt;i&gt;wet&lt;/i&gt; wing" in text
    for hostile in (HOSTILE, HOSTILE_PHASE, HOSTILE_TITLE, "<i>wet</i> wing", "made up <em>here</em>", "paint <b>"):
        assert hostile in words
    drawn = ["".join(node.itertext()) for node in tree.iter(f"{SVG}text")]
    assert HOSTILE_PHASE in drawn, "the flight chart names its phases"


def test_every_chart_has_a_text_alternative_and_its_numbers(text: str, sheet: Sheet) -> None:
    tree = parsed(text)
    figures = list(tree.iter("figure"))
    assert len(figures) == len(sheet.pictures) >= 5
    for figure, picture in zip(figures, sheet.pictures, strict=True):
        svg = next(figure.iter(f"{SVG}svg"))
        assert svg.get("role") == "img"
        title, described = next(svg.iter(f"{SVG}title")), next(svg.iter(f"{SVG}desc"))
        assert svg.get("aria-labelledby").split() == [title.get("id"), described.get("id")]
        assert (title.text, described.text) == (picture.title, picture.summary)
        cells = [[cell.text or "" for cell in row] for row in figure.iter("tr")][1:]
        assert cells == [list(row) for row in picture.table.rows]
        assert len(cells) >= 2
        assert all("," in head or head in _NO_UNIT for head in picture.table.heads), picture.table.heads


_NO_UNIT = {"check", "value", "limit", "margin", "margin of 80 % of builds", "verdict", "of 100", "limit from",
            "what it is", "phase", "minutes", "what", "mm aft of the datum"}  # fmt: skip


def test_the_part_that_answers_takes_little_room(text: str) -> None:
    without = re.sub(r"<script.*?</script>|<section id=\"answering\".*?</div>\n</section>", "", text, flags=re.DOTALL)
    assert len(gzip.compress(text.encode())) - len(gzip.compress(without.encode())) < 30_000


def test_the_same_sheet_is_the_same_bytes(text: str) -> None:
    assert sheet_html(fresh_sheet()) == text


# ---------------------------------------------------------------- numbers


def row(table, name: str) -> tuple[str, ...]:
    return next(r for r in table.rows if r[0] == name)


def stated(cells) -> list[str]:
    """Numbers without the range behind them."""
    return [cell.partition(" (")[0] for cell in cells]


def listed(section) -> dict[str, str]:
    """A section of pairs."""
    return dict(section.tables[0].rows)


def test_the_sheet_begins_with_the_chance_of_all_limits(sheet: Sheet) -> None:
    here = settings(brief())[0]
    sure = sureness(here, sheet.design.train)
    assert f"{of_hundred(sure.chance_all_limits)} of 100 builds keep every limit" in sheet.lead[0]
    assert f"hold in {of_hundred(sure.chance_wishes)} (80 asked)" in sheet.section("sure").text[0]
    table = sheet.section("variants").tables[0]
    at = table.heads.index("of 100")
    assert [line[at] for line in table.rows] == [
        of_hundred(sureness(each, sheet.design.train).chance_all_limits) for each in settings(brief())
    ]


def test_the_first_page_is_the_whole_decision(sheet: Sheet) -> None:
    """Issue: what to fit, what it does, timer and charge, cell counts, what never to do, cautions; in this order."""
    assert [each.name for each in sheet.first] == ["parts", "does", "sure", "settings", "counts", "never", "cautions"]
    fit, does, train = listed(sheet.section("parts")), listed(sheet.section("does")), sheet.design.train
    assert fit["motor"] == train.motor.name
    assert fit["battery pack"].startswith(train.pack.name)
    assert {"propeller", "ESC", "receiver supply", "pack place", "CG", "all-up mass"} <= set(fit)
    assert fit["CG"].startswith("180 mm aft of the datum")
    point = solve(train, air=settings(brief())[0].air)
    reading = re.findall(r"([\d.]+) (V|A|W)", does["battery lead, full throttle, static, full battery"])
    assert [unit for _, unit in reading] == ["V", "A", "W"]
    volts, amps, watts = (float(number) for number, _ in reading)
    assert (volts, amps) == pytest.approx((point.pack_voltage_v, point.pack_current_a), abs=0.06)
    assert watts == pytest.approx(point.pack_voltage_v * point.pack_current_a, abs=0.6)
    assert [each[:2] for each in sheet.section("counts").points] == ["2S", "3S"]
    never = " ".join(sheet.section("never").points)
    assert f"ESC {train.controller.max_current_a:g} A" in never
    assert f"motor {train.motor.max_current_a:g} A" in never


def test_minutes_and_thrust_of_the_first_page_have_their_ranges(sheet: Sheet) -> None:
    sure = sureness(settings(brief())[0], sheet.design.train)
    does = listed(sheet.section("does"))
    time, thrust = sure.value("flight_time"), sure.value("thrust_to_weight")
    assert does["flight time, steady"] == f"{sheet.flight.minutes:.0f} ({time.low:.0f} to {time.high:.0f}) min"
    assert does["thrust to weight, half charge"].endswith(f"({range_words(thrust.low, thrust.high)})")


def test_without_a_timer_nothing_is_said_of_it(monkeypatch: pytest.MonkeyPatch, sheet: Sheet) -> None:
    def flown(*args: Any) -> Any:
        return attrs.evolve(as_flown(*args), flown_timer_minutes=0.0)

    monkeypatch.setattr("propmatch.sheet.content.as_flown", flown)
    without = build_sheet(brief(), stock(), train=sheet.design.train)
    assert without is not None
    assert "nine of ten builds" in sheet.section("settings").text[0]
    assert without.section("settings").text[0].startswith("No timer: ")
    assert without.section("settings").tables == ()


def test_flight_and_timer_are_those_of_flight_time(sheet: Sheet) -> None:
    setting = settings(brief())[0]
    limits = setting.brief.limits
    flight = flight_time(
        sheet.design.train, setting.variant.airframe, sheet.design.all_up_mass_g * GRAM_KG, setting.phases,
        reserve_charge=limits.reserve_charge, cutoff_cell_v=limits.cutoff_cell_v, air=setting.air,
    )  # fmt: skip
    assert listed(sheet.section("does"))["flight time, steady"].startswith(f"{flight.minutes:.0f} (")
    seconds = round(60 * as_flown(sheet.design.train, setting, flight).flown_timer_minutes)
    set_to = listed(sheet.section("settings"))
    assert set_to["timer setting, as really flown"] == f"{seconds // 60}:{seconds % 60:02d} min:s"
    table = sheet.section("margins").pictures[1].table
    assert stated(r[1] for r in table.rows) == [f"{phase.minutes:.1f}" for phase in flight.phases]
    assert [r[table.heads.index("used, mAh")] for r in table.rows] == [
        f"{phase.used_mah:.0f}" for phase in flight.phases
    ]


def test_the_other_sets_are_those_of_match(sheet: Sheet, shortlist: Shortlist) -> None:
    (table,) = sheet.section("sets").tables
    own = sheet.design.train
    known = (own.motor.id, own.propeller.id, own.pack.id)
    best = [
        next(c for c in group if (c.motor_id, c.propeller_id, c.pack_id) != known)
        for _, group in sorted(shortlist.by_cells.items())
    ]  # fmt: skip
    assert [line[:3] for line in table.rows] == [
        (c.train.motor.name, c.train.propeller.name, c.train.pack.name) for c in best
    ]
    assert [line[5].split()[0] for line in table.rows] == [f"{c.flight_minutes:.0f}" for c in best]


def test_a_new_check_stands_in_the_margins_of_the_sheet() -> None:
    with one_more_check() as rule:
        table = fresh_sheet().section("margins").pictures[0].table
    assert [line[-1] for line in table.rows if line[0] == "pack share"] == [rule.what]


def test_margins_are_those_of_run_checks(sheet: Sheet) -> None:
    checks = run_checks(sheet.design, brief())
    table = sheet.section("margins").pictures[0].table
    shown = {r[0]: r for r in table.rows}
    assert len(table.rows) == len(checks)
    for check in checks:
        line = shown[check_name(check.name)]
        assert line[5] == check.verdict
        assert line[3] == (f"{100 * check.margin:.0f} %".replace("-0 %", "0 %") if np.isfinite(check.margin) else "-")


def test_thrust_in_the_table_is_that_of_solve(sheet: Sheet) -> None:
    table = sheet.section("thrust").pictures[0].table
    assert table.heads[:2] == ("airspeed, km/h", "100 %, full pack, gf")
    setting = settings(brief())[0]
    at_rest = solve(sheet.design.train, air=setting.air).thrust_n / GRAM_FORCE_N
    assert (table.rows[0][0], *stated(table.rows[0][1:2])) == ("0", f"{at_rest:.0f}")
    fastest = float(table.rows[-1][0]) * KMH_M_S
    there = solve(sheet.design.train, airspeed_m_s=fastest, air=setting.air).thrust_n / GRAM_FORCE_N
    assert float(stated(table.rows[-1][1:2])[0]) == pytest.approx(there, abs=5), "the airspeed is rounded to 1 km/h"


def test_every_variant_stands_in_a_table(sheet: Sheet) -> None:
    (table,) = sheet.section("variants").tables
    variants = resolve_variants(brief())
    assert [r[0] for r in table.rows] == [v.name for v in variants] == ["as designed", "<i>wet</i> wing"]
    for line, variant in zip(table.rows, variants, strict=True):
        assert line[1] == f"{Design.of(sheet.design.train, variant).all_up_mass_g:.0f} g"


def test_the_sheet_says_what_was_assumed_where_numbers_come_from_and_what_to_beware_of(sheet: Sheet) -> None:
    assumed = [" ".join(r) for r in sheet.section("assumed").folded[0].rows]
    assert any(HOSTILE in line and "label" in line for line in assumed)
    assert any("clean glider" in line for line in assumed)
    assert any("ailerons over the outer 40 %" in each for each in assumed)
    assert any("pushes the left wing down" in text for text in sheet.section("steering").text)
    assert "propeller predicted" in sheet.section("sources").text[0]
    sources = sheet.section("sources").folded[0]
    assert row(sources, "propeller")[2:4] == ("predicted", "made up <em>here</em>")
    assert "CP 13 %" in row(sources, "propeller")[4], "1.2816 times the source's 10 %"
    cautions = " ".join(sheet.section("cautions").points)
    for word in ("propeller off", "behind the disc", "charging", "makers' limits", "local rules", "wattmeter"):
        assert word in cautions


@pytest.mark.slow
def test_the_envelope_is_that_of_parts_envelope(catalogue: Catalogue) -> None:
    with whole_envelope():
        sheet = fresh_sheet()
    found = envelope.parts_envelope(brief(), catalogue, sheet.design.train)
    assert [*found.cells] == [2, 3]
    assert not found.on_paper
    (table,) = sheet.section("envelope").tables
    assert table.heads == ("", *(f"{cells}S" for cells, each in found.cells.items() if each.holds))
    lines = {line[0]: line[1] for line in table.rows}
    first = next(part for part in envelope_parts(found, Shown()) if part.title == f"With {table.heads[1]}")
    known = {name.removeprefix(f"{table.heads[1]} "): text.replace("degC", "°C") for name, text in first.lines}
    assert {"motor rating", "ESC rating"} <= {name for name, text in lines.items() if text == known[name]}


def test_cell_counts_are_those_of_compare_cells(sheet: Sheet, catalogue: Catalogue) -> None:
    found = compare_cells(brief(), catalogue, cells=(2, 3), train=sheet.design.train)
    (table,) = sheet.section("counts").folded
    assert table.heads == ("", "2S", "3S")
    cases = [found.case(2), found.case(3)]
    assert stated(row(table, "flight time")[1:]) == [f"{c.flight_minutes:.1f} min" for c in cases]
    currents = [f"{c.motor_current_static_a:.1f} A" for c in cases]
    assert stated(row(table, "current of one motor, full throttle, static, full battery")[1:]) == currents


@pytest.mark.parametrize(
    ("change", "answer"),
    [
        (("mass_g = 265", "mass_g = 9000"), "Misses "),
        (("airspeed_m_s = 11", "airspeed_m_s = 2"), "Misses "),
        (("cells = [2, 3]", "cells = [6]"), "Misses "),
    ],
    ids=["far too heavy", "below the stall", "cells that no pack has"],
)
def test_a_named_train_gets_its_sheet_whatever_it_does(
    catalogue: Catalogue, change: tuple[str, str], answer: str
) -> None:
    asked = loads_brief(BRIEF.replace(*change).replace("target_mass_g = 480", ""), "test brief")
    made = build_sheet(asked, catalogue, train=simple_train())
    assert made is not None
    assert made.lead[0].startswith(answer)
    assert made.section("parts").title == "Parts that miss the brief"
    parsed(sheet_html(made))


# ---------------------------------------------------------------- the command


@pytest.fixture
def brief_file(tmp_path: Path) -> Path:
    file = tmp_path / "glider.toml"
    file.write_text(BRIEF, encoding="utf-8")
    return file


def few(file: Path, *, minutes: float = 5) -> None:
    """Let the bundled catalogue give a handful of parts."""
    text = BRIEF.replace("min_flight_minutes = 5", f"min_flight_minutes = {minutes}")
    file.write_text(text + SMALL_PARTS, encoding="utf-8")


def test_the_command_writes_one_file_and_replaces_none(run, brief_file: Path, tmp_path: Path) -> None:
    few(brief_file)
    out = tmp_path / "out.html"
    out.write_text("mine", encoding="utf-8")
    done = run("sheet", str(brief_file), "-o", str(out))
    assert (done.exit_code, "exists already" in done.err) == (2, True)
    assert out.read_text(encoding="utf-8") == "mine"
    done = run("sheet", str(brief_file), "-o", str(out.with_suffix(".pdf")), "--pdf")
    assert (done.exit_code, "names the HTML file" in done.err) == (2, True)
    done = run("sheet", str(brief_file), "-o", str(out), "--force", "--pdf")
    assert done.exit_code == 0, done.err
    assert {file.name for file in tmp_path.iterdir()} == {"glider.toml", "out.html", "out.pdf"}
    parsed(out.read_text(encoding="utf-8"))


def test_a_brief_that_nothing_meets_makes_no_file(run, brief_file: Path, tmp_path: Path) -> None:
    few(brief_file, minutes=1000)
    done = run("sheet", str(brief_file), "-o", str(tmp_path / "out.html"))
    assert done.exit_code == 1
    assert "no power train of the catalogue meets the brief" in " ".join(done.out.split())
    assert not (tmp_path / "out.html").exists()


def test_bad_input_of_the_command(run, brief_file: Path, tmp_path: Path) -> None:
    done = run("sheet", str(brief_file), "--train", "nonsense", "-o", str(tmp_path / "out.html"))
    assert (done.exit_code, "no part with this id" in done.err) == (2, True)
    done = run("sheet", str(brief_file), "-o", str(tmp_path / "nowhere" / "out.html"))
    assert (done.exit_code, "folder does not exist" in done.err) == (2, True)


def test_a_missing_library_is_named(run, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("importlib.util.find_spec", lambda name: None)
    with pytest.raises(InputFaults, match=r"propmatch\[report\]"):
        need("matplotlib")
    with pytest.raises(InputFaults, match=r"^page: needs starlette"):
        need("starlette", "page")
    done = run("sheet", "wetland_logger")
    assert done.exit_code == 2
    assert 'pip install "propmatch[report]"' in done.err
