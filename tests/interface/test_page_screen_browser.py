"""How the page looks and reads: one screen, dark, large text, long names, targets, and the map by keyboard."""

import re
from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from interface.test_page_browser import until
from support.browser import Browser
from support.pages import AskedAgain, Served, served
from support.sheets import BRIEF, stock
from support.trains import simple_controller, simple_motor

from propmatch import Catalogue

pytestmark = pytest.mark.browser
LONG = "long" * 75
"""A name of 300 letters without a place to break it."""
TARGET_PX = 24
"""Least size of a target: WCAG 2.2, success criterion 2.5.8."""
CONTRAST = 4.5
"""Least contrast of text: WCAG 2.2, success criterion 1.4.3."""
ON_SCREEN = """
const form = document.querySelector('#sentence'), docked = getComputedStyle(form).position === 'sticky';
const foot = docked ? form.getBoundingClientRect().top : innerHeight;
return arguments[0].map((selector) => {
  const element = document.querySelector(selector), box = element.getBoundingClientRect();
  return box.top >= 0 && box.left >= 0 && box.right <= innerWidth && box.height > 0
    && (box.top + box.bottom) / 2 < (form.contains(element) ? innerHeight : foot);
});
"""
"""Which of some elements are on the screen, at least the upper half of each."""
SMALL = """
const kinds = 'button, input, select, summary, textarea, a[href]';
const shown = [...document.querySelectorAll(kinds)].filter((each) => each.checkVisibility());
return shown.map((each) => [each.id || each.className || each.textContent, each.getBoundingClientRect()])
  .filter(([, box]) => box.width < arguments[0] || box.height < arguments[0])
  .map(([name, box]) => `${name} ${box.width} ${box.height}`);
"""


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    with served(BRIEF, stock(), tmp_path_factory.mktemp("briefs"), AskedAgain) as made:
        yield made


@pytest.fixture(scope="module")
def crowd(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """A page on some hundred combinations, one motor of them with a very long name."""
    parts = stock()
    made = Catalogue.of(
        motors=[simple_motor(name=f"motor {i}" if i else LONG, id=f"made/m{i}", kv_rpm_per_v=1000.0 + 3 * i)
                for i in range(60)],
        controllers=[simple_controller(name=f"controller {i}", id=f"made/c{i}", mass_g=12.0 + i) for i in range(3)],
        packs=[*parts.packs.values()],
        propellers=[*parts.propellers.values()],
    )  # fmt: skip
    with served(BRIEF, made, tmp_path_factory.mktemp("briefs"), AskedAgain) as one:
        yield one


def ready(browser: Browser, page: Served, width: int = 1280, height: int = 900) -> None:
    browser.open(page.address, width=width, height=height)
    until(browser, "document.body.dataset.mapped && document.body.dataset.drawn")


@contextmanager
def dark(browser: Browser) -> Iterator[None]:
    browser.driver.execute_cdp_cmd(
        "Emulation.setEmulatedMedia", {"features": [{"name": "prefers-color-scheme", "value": "dark"}]}
    )
    try:
        yield
    finally:
        browser.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": []})


def everything_open(browser: Browser) -> None:
    browser.run(
        "document.getElementById('pin').click(); document.querySelectorAll('details').forEach(e => e.open = true)"
    )
    until(browser, "document.querySelector('#map-rows tr')")


def luminance(colour: str) -> float:
    """Relative luminance of ``rgb(..)``, as WCAG 2.2 defines it."""
    shares = [int(each) / 255 for each in re.findall(r"\d+", colour)[:3]]
    linear = [each / 12.92 if each <= 0.04045 else ((each + 0.055) / 1.055) ** 2.4 for each in shares]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize(("width", "height"), [(1440, 900), (1280, 800), (390, 844)])
def test_what_is_moved_and_what_it_changes_are_on_one_screen(
    browser: Browser, page: Served, width: int, height: int
) -> None:
    ready(browser, page, width, height)
    figures = [f"#numbers li:nth-child({at})" for at in range(1, 6)]
    assert browser.run(ON_SCREEN, [*figures, "#bare_mass-slider", "#chart svg"]) == [True] * 7
    if width > 1000:
        assert browser.run(ON_SCREEN, ["#margins", "#margins li:nth-child(8)", "#map svg"]) == [True] * 3
    browser.run("document.querySelector('#margins li:nth-child(5)').scrollIntoView({block: 'center'})")
    assert browser.run(ON_SCREEN, [*figures, "#bare_mass-slider", "#margins li:nth-child(5)"]) == [True] * 7


def test_on_a_phone_any_number_can_be_docked(browser: Browser, page: Served) -> None:
    from selenium.webdriver.support.ui import Select

    ready(browser, page, 390)
    Select(browser.driver.find_element("id", "moved")).select_by_value("height")
    assert browser.driver.find_element("id", "height-slider").is_displayed()
    assert not browser.driver.find_element("id", "bare_mass-slider").is_displayed()


@pytest.mark.parametrize("width", [1280, 390])
def test_dark_screens_are_dark_and_read_as_well(browser: Browser, page: Served, width: int) -> None:
    with dark(browser):
        ready(browser, page, width)
        everything_open(browser)
        ground = browser.run("return getComputedStyle(document.documentElement).backgroundColor")
        assert luminance(ground) < 0.05
        for selector in ("body", "#status", "#numbers small", "#margins small", "#chart text", "#map text", "summary"):
            key = "fill" if "text" in selector else "color"
            ink = browser.run(f"return getComputedStyle(document.querySelector('{selector}')).{key}")
            assert contrast(ink, ground) >= CONTRAST, selector
        assert browser.accessibility() == []


@pytest.mark.parametrize("width", [1280, 390])
def test_large_text_and_a_long_name_need_no_sideways_scroll(browser: Browser, crowd: Served, width: int) -> None:
    """Text of 200 % (WCAG 2.2, success criterion 1.4.4), and a name of 300 letters in one word."""
    ready(browser, crowd, width)
    browser.run("document.documentElement.style.fontSize = '200%'; dispatchEvent(new Event('resize'))")
    everything_open(browser)
    row = f"[...document.querySelectorAll('#map-rows button')].find(each => each.textContent.includes('{LONG}'))"
    browser.run(f"{row}.click()")
    until(browser, f"document.getElementById('parts').textContent.includes('{LONG}')")
    assert browser.sideways() == 0
    wide = browser.run(
        "return document.getElementById('parts').scrollWidth - document.getElementById('parts').clientWidth"
    )
    assert wide <= 0


@pytest.mark.parametrize("width", [1280, 390])
def test_targets_are_large_enough(browser: Browser, page: Served, width: int) -> None:
    ready(browser, page, width)
    everything_open(browser)
    assert browser.run(SMALL, TARGET_PX) == []


def test_every_mark_of_a_crowded_map_is_reached_by_keyboard(browser: Browser, crowd: Served) -> None:
    """Combinations are gathered in fewer marks; Page Down goes through all of them in the order of the table."""
    from selenium.webdriver.common.keys import Keys

    ready(browser, crowd)
    total = int(browser.text("#count").split()[0])
    marks = browser.run("return [...document.querySelectorAll('svg.map .mark:not(.away)')].map(e => e.dataset.row)")
    assert 10 < len(marks) < total / 2
    everything_open(browser)
    listed = browser.run("return [...document.querySelectorAll('#map-rows tr')].map(each => each.dataset.of)")
    assert sorted(listed) == sorted(marks)
    counted = browser.run(
        "return [...document.querySelectorAll('#map-rows td:nth-child(6)')].map(e => Number(e.textContent))"
    )
    drawn = browser.text("#count").partition(", ")[2].partition(" ")[0] or str(total)
    assert sum(counted) == int(drawn), "every combination stands in one mark"
    chart = browser.driver.find_element("css selector", "#map svg")
    chart.send_keys(Keys.HOME)
    seen = []
    for _ in listed:
        seen.append(browser.run("return document.querySelector('#map-rows .at').dataset.of"))
        chart.send_keys(Keys.PAGE_DOWN)
    assert seen == listed
    before = browser.run("return document.body.dataset.drawn")
    chart.send_keys(Keys.ENTER)
    until(browser, "document.body.dataset.drawn !== arguments[0]", before)
    assert browser.run("return document.querySelector('#map-rows [aria-current]').dataset.of") == listed[-1]


def test_the_map_marks_what_nothing_beats_in_what_it_shows(browser: Browser, crowd: Served) -> None:
    """By comparing every combination with every other, in time and thrust to weight."""
    told = crowd.ask("map", text=BRIEF).json()
    points = list(zip(told["flight_minutes"], told["thrust_to_weight"], strict=True))
    for at, (minutes, thrust) in enumerate(points):
        others = points[:at] + points[at + 1 :]
        if at < told["front"]:
            assert not any(t > minutes and w > thrust for t, w in others)
        else:
            assert any(t >= minutes and w >= thrust for t, w in others)
    ready(browser, crowd)
    assert browser.run("return document.querySelectorAll('svg.map .mark.front:not(.away)').length") == told["front"]


def test_while_a_slider_moves_marks_keep_their_places(browser: Browser, crowd: Served) -> None:
    """A crowded map shows and hides what is drawn; places are written when the slider rests."""
    ready(browser, crowd)
    browser.run("""
      window.written = [];
      new MutationObserver((seen) => window.written.push(...seen.map((each) => each.attributeName)))
        .observe(document.querySelectorAll('#map svg g')[3], { subtree: true, attributes: true });
      const slider = document.getElementById('bare_mass-slider');
      slider.value = 270; slider.dispatchEvent(new Event('input'));""")
    until(browser, "document.body.dataset.steps === '1'")
    assert set(browser.run("return window.written")) <= {"class"}
    browser.run("document.getElementById('bare_mass-slider').dispatchEvent(new Event('change'))")
    until(browser, "window.written.includes('transform')")


def test_a_bar_beyond_its_limit_looks_beyond(browser: Browser, page: Served) -> None:
    """By shape and by place: left of the limit, higher than a bar of room, with a point."""
    ready(browser, page)
    browser.run("""const asked = document.getElementById('thrust'); asked.value = '1.9';
                   asked.dispatchEvent(new Event('input'));""")
    bar = "document.querySelector('#margins [data-check=thrust_to_weight] .bar')"
    until(browser, f"{bar}.querySelector('.point')")
    room = browser.run(
        "return document.querySelector('#margins li:not(.beyond) .bar rect + rect').getBoundingClientRect().height"
    )
    beyond, limit = browser.run(
        f"return [{bar}.querySelectorAll('rect')[1], {bar}.querySelector('.limit')].map(e => e.getBoundingClientRect())"
    )
    assert beyond["right"] <= limit["right"] + 1
    assert beyond["height"] > 1.5 * room
    assert "beyond" in browser.text("#margins [data-check=thrust_to_weight]")
    assert "beyond" in browser.text("#numbers [data-check=thrust_to_weight]")


def test_an_assumed_limit_is_drawn_as_one(browser: Browser, page: Served) -> None:
    """The brief gives no cell voltage at which the flight ends."""
    ready(browser, page)
    row = "#margins [data-check=cell_voltage]"
    dashes = "return getComputedStyle(document.querySelector('{} .limit')).strokeDasharray"
    assert browser.run(dashes.format(row)) != browser.run(dashes.format("#margins [data-check=flight_time]"))
    assert "assumed" in browser.text(row)


def test_an_explanation_is_read_where_it_opens(browser: Browser, page: Served) -> None:
    """Focus goes to its title, which names the dialog, and back to the number that asked."""
    from selenium.webdriver.common.keys import Keys

    ready(browser, page)
    value = browser.driver.find_element("css selector", "#margins [data-check='all_up_mass'] button")
    value.send_keys(Keys.ENTER)
    until(browser, "document.getElementById('explain').open && document.activeElement.id === 'explain-title'")
    browser.driver.switch_to.active_element.send_keys(Keys.ESCAPE)
    until(browser, "!document.getElementById('explain').open")
    assert browser.run("return document.activeElement.dataset.name") == "all_up_mass"
