"""The sheet in a real browser: quiet, nothing from elsewhere, names stay text, fits a phone, prints, accessible."""

import re
from pathlib import Path

import pytest
from support.browser import Browser
from support.sheets import HOSTILE, HOSTILE_PHASE, brief, made_sheet, made_text

from propmatch import flight_time
from propmatch.checks.measures import settings
from propmatch.questions.asflown import as_flown
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
    assert len(charts) >= 7
    assert all(300 < wide <= width for wide in charts)


def test_hostile_names_stay_text(browser: Browser, file: Path) -> None:
    browser.open(file)
    assert browser.run("return document.title") == "reed bed glider: power train"
    assert HOSTILE in browser.text("#answer")
    assert browser.run("return document.querySelectorAll('script, img, svg script').length") == 0
    drawn = browser.run("return [...document.querySelectorAll('svg text')].map(t => t.textContent)")
    assert HOSTILE_PHASE in drawn


def test_numbers_read_from_the_page_are_those_of_python(browser: Browser, file: Path) -> None:
    browser.open(file)
    sheet = made_sheet()
    setting = settings(brief())[0]
    limits = setting.brief.limits
    flight = flight_time(
        sheet.design.train, setting.variant.airframe, sheet.design.all_up_mass_g * GRAM_KG, setting.phases,
        reserve_charge=limits.reserve_charge, cutoff_cell_v=limits.cutoff_cell_v, air=setting.air,
    )  # fmt: skip
    found = re.search(
        r"([\d.]+) minutes \([\d.]+ to [\d.]+\)\. Set the timer to (\d+):(\d\d)", browser.text("#duration")
    )
    assert found is not None
    assert float(found[1]) == pytest.approx(flight.minutes, abs=0.05)
    timer = as_flown(sheet.design.train, setting, flight).flown_timer_minutes
    assert int(found[2]) * 60 + int(found[3]) == pytest.approx(60 * timer, abs=0.5)


def test_the_numbers_of_a_chart_open_by_keyboard(browser: Browser, file: Path) -> None:
    from selenium.webdriver.common.keys import Keys

    browser.open(file)
    summary = browser.driver.find_element("css selector", "#duration summary")
    assert not browser.run("return document.querySelector('#duration details').open")
    summary.send_keys(Keys.ENTER)
    assert browser.run("return document.querySelector('#duration details').open")
    assert "transect" in browser.text("#duration details")


@pytest.mark.parametrize("width", [1280, 390])
def test_no_serious_accessibility_finding(browser: Browser, file: Path, width: int) -> None:
    browser.open(file, width=width)
    browser.run("document.querySelectorAll('details').forEach(each => each.open = true)")
    assert browser.accessibility() == []


@pytest.mark.parametrize("paper_mm", [(210.0, 297.0), (215.9, 279.4)], ids=["A4", "Letter"])
def test_it_prints_on_a_few_pages(browser: Browser, file: Path, tmp_path: Path, paper_mm: tuple[float, float]) -> None:
    browser.open(file)
    width_mm, height_mm = paper_mm
    printed = browser.print_pdf(tmp_path / "print.pdf", width_mm=width_mm, height_mm=height_mm).read_bytes()
    pages = len(re.findall(rb"/Type\s*/Page\b(?!s)", printed))
    assert 3 <= pages <= 14
    sizes = {tuple(map(float, size)) for size in re.findall(rb"/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)", printed)}
    assert len(sizes) == 1
    assert sizes.pop() == pytest.approx([mm / 25.4 * 72 for mm in paper_mm], abs=1.0)
