"""The sheet in a real browser: quiet, nothing from elsewhere, names stay text, fits a phone, prints, accessible."""

import json
import re
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from support.browser import CHROMIUM, Browser
from support.sheets import HOSTILE, HOSTILE_PHASE, TAIL_HEAVY, brief, made_sheet, made_text, stock
from support.sheetwords import pages_of

from propmatch import flight_time
from propmatch.brief import loads_brief
from propmatch.checks.measures import settings
from propmatch.questions.asflown import as_flown
from propmatch.sheet import build_sheet, pdf
from propmatch.sheet.pdf import BROWSER, save_pdf
from propmatch.units import GRAM_KG
from propmatch.words.verdictwords import asked_words
from sheet_answers import ASK, compare, data_of, engine, random_states, state_of

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("sheet") / "sheet.html"
    made.write_text(made_text(), encoding="utf-8")
    return made


@pytest.mark.parametrize("width", [1280, 390])
def test_the_sheet_opens_quietly_and_fits(browser: Browser, file: Path, width: int, tmp_path: Path) -> None:
    browser.open(file, width=width)
    assert browser.requests() == [file.as_uri()]
    assert browser.complaints() == []
    assert browser.sideways() == 0
    assert browser.screenshot(tmp_path / "shot.png").stat().st_size > 50_000
    charts = browser.run("return [...document.querySelectorAll('svg.chart')].map(s => s.getBoundingClientRect().width)")
    assert len(charts) >= 5
    assert all(300 < wide <= width for wide in charts)


def test_hostile_names_stay_text(browser: Browser, file: Path) -> None:
    browser.open(file)
    assert browser.run("return document.title") == "reed bed glider: power train"
    assert HOSTILE in browser.text("#parts")
    assert browser.run("return document.querySelectorAll('script:not(body > script), img').length") == 0
    assert browser.run("return document.scripts.length") == 2, "the tables, and what reads them"
    drawn = browser.run("return [...document.querySelectorAll('svg text')].map(t => t.textContent)")
    assert HOSTILE_PHASE in drawn


def test_the_decision_is_the_first_page(browser: Browser, file: Path, tmp_path: Path) -> None:
    """Without the rest, what stands before it prints on one page; with it, the rest begins on the next."""
    browser.open(file)
    whole = pages_of(browser.print_pdf(tmp_path / "whole.pdf").read_bytes())
    browser.run("document.querySelectorAll('main > section, footer').forEach(each => each.remove())")
    assert pages_of(browser.print_pdf(tmp_path / "first.pdf").read_bytes()) == 1
    browser.open(file)
    browser.run("document.querySelectorAll('header, .first').forEach(each => each.remove())")
    assert pages_of(browser.print_pdf(tmp_path / "rest.pdf").read_bytes()) == whole - 1


def test_numbers_read_from_the_page_are_those_of_python(browser: Browser, file: Path) -> None:
    browser.open(file)
    sheet = made_sheet()
    setting = settings(brief())[0]
    limits = setting.brief.limits
    flight = flight_time(
        sheet.design.train, setting.variant.airframe, sheet.design.all_up_mass_g * GRAM_KG, setting.phases,
        reserve_charge=limits.reserve_charge, cutoff_cell_v=limits.cutoff_cell_v, air=setting.air,
    )  # fmt: skip
    minutes = re.search(r"flight time, steady\s+(\d+) \(\d+ to \d+\) min", browser.text("#does"))
    clock = re.search(r"timer setting, as really flown\s+(\d+):(\d\d) min:s", browser.text("#settings"))
    assert minutes is not None
    assert clock is not None
    assert float(minutes[1]) == pytest.approx(flight.minutes, abs=0.5)
    timer = as_flown(sheet.design.train, setting, flight).flown_timer_minutes
    assert int(clock[1]) * 60 + int(clock[2]) == pytest.approx(60 * timer, abs=0.5)


def test_the_numbers_of_a_chart_open_by_keyboard(browser: Browser, file: Path) -> None:
    from selenium.webdriver.common.keys import Keys

    browser.open(file)
    summary = browser.driver.find_element("css selector", "#margins figure:last-child summary")
    assert not browser.run("return document.querySelector('#margins figure:last-child details').open")
    summary.send_keys(Keys.ENTER)
    assert browser.run("return document.querySelector('#margins figure:last-child details').open")
    assert "transect" in browser.text("#margins figure:last-child details")


@pytest.mark.parametrize("width", [1280, 390])
def test_no_serious_accessibility_finding(browser: Browser, file: Path, width: int) -> None:
    browser.open(file, width=width)
    browser.run("document.querySelectorAll('details').forEach(each => each.open = true)")
    assert browser.accessibility() == []


# ---------------------------------------------------------------- it answers


def test_the_sheet_answers_as_the_engine(browser: Browser, file: Path) -> None:
    """Random states against briefs that state them: the bounds of the sheet's own words."""
    browser.open(file)
    options = made_sheet().answering.options
    data, rng = data_of(made_text()), np.random.default_rng(7)
    asked = [(int(rng.integers(len(options))), 0, *state) for state in random_states(data, 40)]
    answers = browser.run(f"const data = arguments[0], asked = arguments[1]; {ASK}", data, asked)
    engines = [
        engine(state_of(brief(), (*state,)), options[at][pack], chances=not number % 8)
        for number, (at, pack, *state) in enumerate(asked)
    ]
    found = compare(answers, engines)
    assert found.pop("verdicts") == [], "none beyond a margin of 0.5 %"
    chances = [off for off, *_ in found.pop("chances")]
    assert max(chances) < 0.05
    assert np.sqrt(np.mean(np.square(chances))) < 0.01
    assert max(found.pop("all limits")) < 0.05
    texts = found.pop("texts")
    assert texts
    assert [
        pair for pair in texts if len({text.partition(" on paper")[0] for text in pair if "Misses" in text}) > 1
    ] == []
    assert len(found) > 15
    assert {key: max(errors) for key, errors in found.items() if not max(errors) < 0.002} == {}


def test_a_balance_that_hangs_on_heavier_builds_than_any_state_does_not_look_sure(browser: Browser, file: Path) -> None:
    heavy = loads_brief(TAIL_HEAVY, "test brief")
    made = build_sheet(heavy, stock(), train=made_sheet().design.train, shortlist=made_sheet().shortlist)
    data, train = json.loads(made.answering.data), made.design.train
    at = next(at for at, (each, *_) in enumerate(made.answering.options) if each is train)
    states = [(15.0, mass, 0.0) for mass in (265.0, 310.0, 330.0, data["axes"][1][-1])]
    browser.open(file)
    asked = [(at, 0, *state) for state in states]
    answers = browser.run(f"const data = arguments[0], asked = arguments[1]; {ASK}", data, asked)
    engines = [engine(state_of(heavy, state), train, chances=True) for state in states]
    balance = engines[-1]["checks"]["balance"]
    assert balance.verdict == "close", "kept on paper at the last mass of the tables, by too few builds"
    assert engines[0]["checks"]["balance"].margin == 1.0, "no miss"
    found = compare(answers, engines)
    assert found["verdicts"] == []
    assert max(off for off, *_ in found["chances"]) <= 0.03
    assert max(found["all limits"]) <= 0.03
    assert max(found["balance"]) < 0.02, "mm"
    assert max(row[3] for answer in answers for row in answer["rows"] if row[2] == "balance") <= 1.0


def test_in_its_own_state_it_says_what_the_engine_says(browser: Browser, file: Path) -> None:
    browser.open(file)
    sheet = made_sheet()
    for at, (train, *_) in enumerate(sheet.answering.options):
        setting = settings(brief())[0]
        known = engine(setting, train, chances=True)
        panel = f"#answering [data-train='{at}']"
        assert browser.text(f"{panel} output") == known["text"]
        assert browser.text(f"{panel} .asked") == asked_words(known["sure"])
        rows = "return [...document.querySelectorAll(arguments[0])].map(r => [r.cells[0].textContent, r.className])"
        said = dict(browser.run(rows, f"{panel} .limits tbody tr"))
        judged = {name: check.verdict for name, check in known["checks"].items() if np.isfinite(check.limit)}
        assert said == judged


def test_a_state_is_chosen_by_keyboard_and_one_outside_is_refused(browser: Browser, file: Path) -> None:
    from selenium.webdriver.common.keys import Keys
    from selenium.webdriver.support.ui import WebDriverWait

    browser.open(file)
    box, slider = (browser.driver.find_element("css selector", f"[name={name}]") for name in ("mass-box", "mass"))
    before = browser.text("#answering .numbers")
    slider.send_keys(Keys.ARROW_RIGHT)
    assert float(box.get_attribute("value")) == float(slider.get_attribute("value"))
    assert browser.text("#answering .numbers") != before
    box.clear()
    box.send_keys("9000")
    assert "Outside what was worked out" in browser.text("#answering [role=status]")
    assert browser.text("#answering .numbers tbody") == ""
    browser.driver.find_element("css selector", "#answering [type=reset]").send_keys(Keys.ENTER)
    # the numbers follow once the form is reset
    WebDriverWait(browser.driver, 20).until(lambda _: browser.text("#answering .numbers") == before)
    assert browser.run("return document.querySelector('#answering output').getAttribute('aria-live')") == "polite"


def test_only_a_chosen_state_is_printed_and_nothing_without_script(browser: Browser, file: Path) -> None:
    def seen(selector: str) -> bool:
        return bool(browser.run("return document.querySelector(arguments[0]).getClientRects().length > 0", selector))

    browser.open(file)
    try:
        browser.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
        assert not seen("#answering")
        browser.run("const box = document.querySelector('[name=mass-box]'); box.value = +box.value + 20;"
                    "box.dispatchEvent(new Event('input'))")  # fmt: skip
        assert seen("#answering .numbers")
        assert seen("#answering .chosen")
        assert not seen("#answering form")
        browser.driver.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": True})
        browser.open(file)
        for media in ("print", "screen"):
            browser.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": media})
            assert not seen("#answering")
    finally:
        browser.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})
        browser.driver.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": False})


def told(printed: bytes) -> dict[str, int]:
    """How often an uncompressed PDF has each mark of a tagged one, as PDF/UA-1 (ISO 14289-1) asks for."""
    marks = (rb"/StructTreeRoot", rb"/Marked true", rb"/Lang ?\(en", rb"/DisplayDocTitle true", rb"/S ?/H1\b",
             rb"/S ?/Table\b", rb"/S ?/TH\b", rb"/S ?/Figure\b", rb"/Alt ?[(<]", rb"/Title ?[(<]")  # fmt: skip
    return {mark.decode().replace(" ?", " "): len(re.findall(mark, printed)) for mark in marks}


def test_the_pdf_of_the_browser_has_structure_language_title_and_alternatives(
    browser: Browser, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv(BROWSER, CHROMIUM)
    monkeypatch.setattr(pdf, "sheet_html", lambda _: made_text())
    printed = save_pdf(made_sheet(), tmp_path / "sheet.pdf").read_bytes()
    assert _sizes(printed) == {(210, 297)}, "A4 in mm"
    found = told(printed)
    assert [mark for mark, count in found.items() if count == 0] == []
    assert found["/Alt [(<]"] >= len(made_sheet().pictures), "every chart has a text alternative"


def test_the_pdf_of_weasyprint_has_them_too() -> None:
    try:
        from weasyprint import HTML
    except (ImportError, OSError) as error:
        pytest.skip(f'no WeasyPrint: pip install "propmatch[pdf]" ({error})')
    printed = HTML(string=made_text()).write_pdf(pdf_variant="pdf/ua-1", uncompressed_pdf=True)
    assert [mark for mark, count in told(printed).items() if count == 0] == []


def test_printed_texts_of_charts_are_large_enough_and_apart(browser: Browser, file: Path) -> None:
    """As the browser measures them, on A4 between margins of 15 mm: 180 mm at 96 px an inch."""
    browser.open(file, width=round(180 / 25.4 * 96))
    browser.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
    found = browser.run("""
      return [...document.querySelectorAll("svg.chart")].map(svg => [...svg.querySelectorAll("text")].map(text => {
        const box = text.getBoundingClientRect(), paper = svg.getBoundingClientRect();
        const scale = text.getScreenCTM(), size = parseFloat(getComputedStyle(text).fontSize);
        return [text.textContent, size * Math.hypot(scale.a, scale.b) * 0.75, box.left, box.top, box.right, box.bottom,
                box.left >= paper.left - 1 && box.right <= paper.right + 1];
      }))""")
    browser.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})
    assert len(found) == len(made_sheet().pictures)
    assert min(size for chart in found for _, size, *_ in chart) >= 7.0
    assert [text for chart in found for text, *_, inside in chart if not inside] == []
    assert [(a[0], b[0]) for chart in found for a, b in combinations(chart, 2) if _meet(a[2:6], b[2:6])] == []


def _meet(one: list[float], other: list[float]) -> bool:
    """Whether two boxes share room; those of texts reach a quarter of their height beyond the letters."""
    (a, b, c, d), (e, f, g, h) = one, other
    return min(c, g) - max(a, e) > 1 and min(d, h) - max(b, f) > 0.35 * min(d - b, h - f)


def test_charts_are_light_on_dark_on_a_dark_screen_and_dark_on_light_on_paper(browser: Browser, file: Path) -> None:
    def looks(media: str, scheme: str) -> list[str]:
        browser.driver.execute_cdp_cmd(
            "Emulation.setEmulatedMedia",
            {"media": media, "features": [{"name": "prefers-color-scheme", "value": scheme}]},
        )
        return browser.run("""
          const of = (node, key) => getComputedStyle(node)[key], chart = document.querySelector("svg.chart");
          return [of(document.documentElement, "backgroundColor"), of(document.body, "color"),
                  of(chart.querySelector('path[fill="#ffffff"]'), "fill"), of(chart.querySelector("text"), "fill")]""")

    browser.open(file)
    light, dark = looks("screen", "light"), looks("screen", "dark")
    assert looks("print", "dark") == light
    looks("", "light")

    def value(colour: str) -> float:
        return sum(map(int, re.findall(r"\d+", colour)[:3])) / 765

    assert [value(colour) > 0.5 for colour in light] == [True, False, True, False]
    assert [value(colour) > 0.5 for colour in dark] == [False, True, False, True]


@pytest.mark.parametrize("paper_mm", [(210.0, 297.0), (215.9, 279.4)], ids=["A4", "Letter"])
def test_it_prints_on_a_few_pages(browser: Browser, file: Path, tmp_path: Path, paper_mm: tuple[float, float]) -> None:
    browser.open(file)
    width_mm, height_mm = paper_mm
    printed = browser.print_pdf(tmp_path / "print.pdf", width_mm=width_mm, height_mm=height_mm).read_bytes()
    pages = pages_of(printed)
    assert 3 <= pages <= 6
    assert _sizes(printed) == {tuple(map(round, paper_mm))}


def _sizes(printed: bytes) -> set[tuple[int, ...]]:
    """Width and height of the pages, in mm."""
    boxes = re.findall(rb"/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)", printed)
    return {tuple(round(float(point) / 72 * 25.4) for point in box) for box in boxes}
