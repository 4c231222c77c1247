"""The sheet in a real browser: quiet, nothing from elsewhere, names stay text, fits a phone, prints, accessible."""

import re
from itertools import combinations
from pathlib import Path

import pytest
from support.browser import CHROMIUM, Browser
from support.sheets import HOSTILE, HOSTILE_PHASE, brief, made_sheet, made_text
from support.sheetwords import pages_of

from propmatch import flight_time
from propmatch.checks.measures import settings
from propmatch.questions.asflown import as_flown
from propmatch.sheet import pdf
from propmatch.sheet.pdf import BROWSER, save_pdf
from propmatch.units import GRAM_KG

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
    assert HOSTILE in browser.text("#fit")
    assert browser.run("return document.querySelectorAll('script, img, svg script').length") == 0
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
