"""The page in a real browser: opened, typed into, picked from, read back and compared with the Python functions."""

import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pytest
from support.browser import Browser
from support.pages import AskedAgain, Served, served
from support.sheets import BRIEF, HOSTILE, HOSTILE_PHASE, brief, stock
from support.trains import simple_motor, simple_train

from propmatch import solve
from propmatch.brief import loads_brief
from propmatch.checks.chances import sureness
from propmatch.checks.limits import run_checks
from propmatch.checks.measures import settings
from propmatch.commands.page import _open
from propmatch.page.desk import ANSWERS, Answer, Asked
from propmatch.page.edit import edited
from propmatch.records.brief import dump_brief
from propmatch.search.matching import Candidate, match
from propmatch.sheet.style import TEXT_PT
from propmatch.words.chancewords import of_hundred, range_words
from propmatch.words.checkwords import value_text

pytestmark = [pytest.mark.slow, pytest.mark.browser]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("briefs")


@pytest.fixture(scope="module")
def page(folder: Path) -> Iterator[Served]:
    with served(BRIEF, stock(), folder, AskedAgain) as made:
        yield made


def until(browser: Browser, condition: str, *values: Any) -> None:
    """Wait until a JavaScript expression holds."""
    end = time.monotonic() + 60
    while not browser.run(f"return Boolean({condition})", *values):
        assert time.monotonic() < end, f"never: {condition}"
        time.sleep(0.02)


def ready(browser: Browser, page: Served, width: int = 1280) -> None:
    browser.open(page.address, width=width)
    until(browser, "document.body.dataset.mapped && document.body.dataset.drawn")


def type_into(browser: Browser, name: str, text: str) -> None:
    """Replace a number of the sentence as a reader does."""
    from selenium.webdriver.common.keys import Keys

    browser.driver.find_element("id", name).send_keys(Keys.CONTROL + "a" + Keys.NULL, text)


def number(browser: Browser, name: str) -> str:
    return browser.text(f"#numbers [data-name='{name}']")


def shows(browser: Browser, name: str, text: str) -> None:
    """Wait for a number of the picked train."""
    shown = f"document.querySelector('#numbers [data-name={name}]').textContent"
    until(browser, f"{shown} === arguments[0]", text)


def best(changes: dict[str, Any]) -> Candidate:
    found = match(edited(BRIEF, changes), stock(), top=1).best
    assert found is not None
    return found


def test_it_opens_quietly_and_asks_this_machine_alone(browser: Browser, page: Served) -> None:
    ready(browser, page)
    assert browser.complaints() == []
    assert {url for url in browser.requests() if not url.startswith(page.address)} <= {f"{page.origin}/favicon.ico"}
    assert browser.run("return document.title") == "reed bed glider: power train"


@pytest.mark.parametrize("width", [1280, 390])
def test_it_fits_and_is_accessible(browser: Browser, page: Served, width: int) -> None:
    ready(browser, page, width)
    browser.run("document.getElementById('pin').click()")
    browser.run("document.querySelectorAll('details').forEach(each => each.open = true)")
    assert browser.sideways() == 0
    assert browser.accessibility() == []


def test_the_best_train_is_shown_with_the_numbers_of_python(browser: Browser, page: Served) -> None:
    ready(browser, page)
    chosen = best({})
    assert number(browser, "flight_time") == value_text(chosen.flight_minutes, "min")
    assert number(browser, "thrust_to_weight") == value_text(chosen.thrust_to_weight, "")
    assert number(browser, "mass") == value_text(chosen.all_up_mass_g, "g")
    for check in run_checks(chosen.design, brief()):
        if check.limit == check.limit:
            shown = browser.text(f"#margins [data-check='{check.name}'] button")
            assert shown == value_text(check.value, check.unit)


def test_the_views_are_drawn_under_the_rules_of_the_page(browser: Browser, page: Served) -> None:
    ready(browser, page)
    until(browser, "document.querySelector('#views svg .side-wing path')")
    look = "getComputedStyle(document.querySelector('#views svg {} path')).{}"
    assert browser.run(f"return {look.format('.side-wing', 'fill')}") == "rgb(240, 240, 240)"
    assert browser.run(f"return {look.format('.side-wing', 'strokeWidth')}") in ("1px", "1")
    sizes = browser.run("return [...document.querySelectorAll('#views text')].map(t => getComputedStyle(t).fontSize)")
    assert set(sizes) == {f"{TEXT_PT}px"}
    assert "centre of gravity" in browser.text("#views-words")
    assert browser.complaints() == []


def test_typed_numbers_move_everything(browser: Browser, page: Served) -> None:
    ready(browser, page)
    ids = match(brief(), stock(), top=1).rows[0].id
    type_into(browser, "bare_mass", "300")
    type_into(browser, "height", "1500")
    changes = {"aircraft.bare_mass_g": 300, "site.altitude_m": 1500}
    found = match(edited(BRIEF, changes), stock(), top=100)
    same = next(row for row in found.rows if row.id == ids)
    shows(browser, "mass", value_text(same.all_up_mass_g, "g"))
    until(browser, "document.querySelector('#count').textContent.startsWith(arguments[0])", f"{found.passing} of")
    shows(browser, "flight_time", value_text(same.flight_minutes, "min"))
    assert browser.run("return document.querySelectorAll('#map [data-row]').length") == found.passing


def test_a_slider_writes_the_sentence(browser: Browser, page: Served) -> None:
    from selenium.webdriver.common.keys import Keys

    ready(browser, page)
    before = number(browser, "mass")
    browser.driver.find_element("id", "bare_mass-slider").send_keys(Keys.ARROW_RIGHT)
    mass = browser.run("return Number(document.getElementById('bare_mass').value)")
    assert mass == 270
    shows(browser, "mass", value_text(best({"aircraft.bare_mass_g": mass}).all_up_mass_g, "g"))
    assert number(browser, "mass") != before


def test_all_that_is_wrong_stands_in_place(browser: Browser, page: Served) -> None:
    ready(browser, page)
    before = number(browser, "flight_time")
    type_into(browser, "bare_mass", "heavy")
    type_into(browser, "reserve", "7")
    type_into(browser, "cells", "2, 12")
    until(browser, "document.querySelectorAll('#sentence [aria-invalid]').length === 3")
    assert len(browser.driver.find_elements("css selector", "#faults li")) == 3
    assert "reserve" in browser.text("#faults")
    assert number(browser, "flight_time") == before
    type_into(browser, "bare_mass", "280")
    type_into(browser, "reserve", "0.2")
    type_into(browser, "cells", "2, 3")
    until(browser, "document.querySelectorAll('#sentence [aria-invalid]').length === 0")


def test_a_malformed_text_shows_every_fault(browser: Browser, page: Served) -> None:
    ready(browser, page)
    text = "[aircraft]\nname = 'x'\nbare_mass_g = -2\n[limits]\nreserve_charge = 'all'\ncolour = 1\n"
    browser.run("document.getElementById('textual').open = true; document.getElementById('text').value = arguments[0];"
                "document.getElementById('use').click()", text)  # fmt: skip
    until(browser, "document.querySelectorAll('#text-faults li').length === 3")
    told = browser.text("#text-faults")
    for key in ("brief:3", "bare_mass_g", "brief:5", "reserve_charge", "brief:6", "colour"):
        assert key in told
    browser.run("document.getElementById('text').value = arguments[0]; document.getElementById('use').click()", BRIEF)
    until(browser, "document.querySelectorAll('#text-faults li').length === 0")


def test_a_train_is_picked_with_the_keyboard(browser: Browser, page: Served) -> None:
    from selenium.webdriver.common.keys import Keys

    ready(browser, page)
    chart = browser.driver.find_element("css selector", "#map svg")
    before = browser.run("return document.body.dataset.drawn")
    chart.send_keys(Keys.ARROW_RIGHT)
    ids = browser.run("return document.getElementById('reading').dataset.id")
    assert "made/" not in browser.text("#reading"), "names, not ids"
    rows = {row.id: row for row in match(brief(), stock(), top=100, on_paper=True).rows}
    chart.send_keys(Keys.ENTER)
    until(browser, "document.body.dataset.drawn !== arguments[0]", before)
    assert number(browser, "thrust_to_weight") == value_text(rows[ids].thrust_to_weight, "")
    assert browser.run("return document.activeElement.closest('#map') !== null")


def test_a_train_is_picked_with_the_pointer(browser: Browser, page: Served) -> None:
    ready(browser, page)
    rows = {row.id: row for row in match(brief(), stock(), top=100, on_paper=True).rows}
    lightest = min(rows.values(), key=lambda row: row.thrust_to_weight)
    before = browser.run("return document.body.dataset.drawn")
    browser.run("document.querySelector('#map').scrollIntoView({block: 'center'})")
    mark = browser.run(
        "const marks = [...document.querySelectorAll('#map [data-row]')]; return marks.reduce((a, b) => "
        "a.getBoundingClientRect().x < b.getBoundingClientRect().x ? a : b)"
    )
    from selenium.webdriver import ActionChains

    ActionChains(browser.driver).move_to_element(mark).click().perform()
    until(browser, "document.body.dataset.drawn !== arguments[0]", before)
    assert number(browser, "thrust_to_weight") == value_text(lightest.thrust_to_weight, "")


def test_another_build_is_chosen(browser: Browser, page: Served) -> None:
    from selenium.webdriver.support.ui import Select

    ready(browser, page)
    name = "<i>wet</i> wing"
    ids = match(brief(), stock(), top=1).rows[0].id
    found = match(brief(), stock(), top=100, variant=name)
    same = next(row for row in found.rows if row.id == ids)
    Select(browser.driver.find_element("id", "variant")).select_by_value(name)
    shows(browser, "mass", value_text(same.all_up_mass_g, "g"))
    until(browser, "document.querySelector('#count').textContent.startsWith(arguments[0])", f"{found.passing} of")
    until(browser, "document.getElementById('build-mass').textContent.includes('300 g')")
    assert browser.run("return document.querySelectorAll('main i').length") == 0
    Select(browser.driver.find_element("id", "variant")).select_by_index(0)
    shows(browser, "mass", value_text(best({}).all_up_mass_g, "g"))


def test_the_best_is_that_of_the_brief_as_it_stands(browser: Browser, page: Served) -> None:
    ready(browser, page)
    before = match(brief(), stock(), top=1).by_cells[3][0]
    changes = {"aircraft.bare_mass_g": 380}
    after = match(edited(BRIEF, changes), stock(), top=1).by_cells[3][0]
    assert value_text(after.flight_minutes, "min") != value_text(before.flight_minutes, "min")
    type_into(browser, "bare_mass", "380")
    count = match(edited(BRIEF, changes), stock(), top=1).passing
    until(browser, "document.querySelector('#count').textContent.startsWith(arguments[0])", f"{count} of")
    browser.run("document.querySelector(`#bests [data-cells='3']`).click()")
    shows(browser, "flight_time", value_text(after.flight_minutes, "min"))


def test_the_button_makes_the_sheet_of_the_picked_train(browser: Browser, page: Served, folder: Path) -> None:
    """The file that lands in the downloads is the sheet that the server makes for the same train."""
    ready(browser, page)
    place = {"behavior": "allow", "downloadPath": str(folder)}
    browser.driver.execute_cdp_cmd("Browser.setDownloadBehavior", place)
    browser.driver.find_element("id", "sheet").click()
    until(browser, "document.getElementById('status').textContent.includes('in your downloads')")
    file, end = folder / "sheet.html", time.monotonic() + 20
    while not file.exists():
        assert time.monotonic() < end, "no file"
        time.sleep(0.05)
    assert file.read_text(encoding="utf-8") == page.ask("sheet", text=BRIEF, train=best({}).id).json()["text"]


def bench_log() -> str:
    """Readings that the balance itself gives for an invented motor: two propellers of the stock on two packs, and bare.

    The bare shaft turns at w = (V - R I0)/K.
    """
    parts, motor = stock(), simple_motor(name="mine", kv_rpm_per_v=1150.0)
    rows = ["motor,label_kv,mass_g,cells,propeller,volts,amps,rpm"]
    for pack in parts.packs.values():
        cells = pack.cells_series
        for name, propeller in parts.propellers.items():
            train = simple_train(motor=motor, pack=pack, propeller=propeller, radio_current_a=0.0)
            point = solve(train)
            rows.append(f"mine,1240,28,{cells},{name},{point.pack_voltage_v:.2f},{point.pack_current_a:.2f},"
                        f"{point.rpm:.0f}")  # fmt: skip
        volts = 4.15 * cells
        rows.append(f"mine,1240,28,{cells},none,{volts:.2f},0.60,{1150.0 * (volts - 0.126 * 0.6):.0f}")
    return "\n".join(rows) + "\n"


def test_a_log_of_the_bench_is_drawn_and_its_motor_flown(browser: Browser, page: Served) -> None:
    ready(browser, page)
    before = browser.text("#parts")
    drop = """const held = new DataTransfer(); held.items.add(new File([arguments[0]], 'bench.csv'));
              dispatchEvent(new DragEvent('drop', { dataTransfer: held, cancelable: true }));"""
    browser.run(drop, bench_log())
    until(browser, "document.body.dataset.fitted === 'bench.csv'")
    until(browser, "document.getElementById('parts').textContent.includes('mine')")
    assert browser.run("return document.querySelectorAll('#fit svg.chart').length") == 1
    assert "mine, from 6 rows: kV" in browser.text("#fit-words")
    assert browser.complaints() == []
    assert browser.sideways() == 0
    browser.driver.find_element("id", "log-leave").click()
    until(browser, "document.getElementById('parts').textContent === arguments[0]", before)
    browser.run(drop, "colour\nred\n")
    until(browser, "document.getElementById('fit-wrong').textContent.includes('no column says')")
    assert browser.text("#parts") == before, "a log that says nothing changes nothing"


def test_ranges_and_chances_stand_beside_the_numbers(browser: Browser, page: Served) -> None:
    """The ranges of the page are those of the draws; while a slider moves the page is on paper, and says so."""
    ready(browser, page)
    sure = sureness(settings(brief())[0], best({}).train)
    ends = sure.value("flight_time")
    shown = browser.run("return document.querySelector('#numbers [data-name=flight_time]').parentElement.textContent")
    assert shown.endswith(f" {range_words(ends.low, ends.high)}")
    assert f"{of_hundred(sure.chance_all_limits)} of 100 builds keep every limit" in browser.text("#verdict")
    line = browser.text("#margins [data-check='thrust_to_weight']")
    assert f"holds in {of_hundred(sure.chance('thrust_to_weight'))} of 100" in line
    assert browser.run("return document.querySelectorAll('#chart .full-band, #chart .need-band').length") == 2
    assert browser.run("return document.querySelectorAll('#map .reach').length") == 1
    assert "1024 draws" in browser.text("#draws")
    browser.run("""const slider = document.getElementById('bare_mass-slider'); slider.value = 280;
                   slider.dispatchEvent(new Event('input'));""")
    until(browser, "document.getElementById('draws').textContent.startsWith('On paper')")
    assert browser.text("#verdict").startswith("On paper it ")
    assert browser.run("return document.querySelectorAll('#chart .full-band, #map .reach').length") == 0
    browser.run("document.getElementById('bare_mass-slider').dispatchEvent(new Event('change'))")
    until(browser, "document.getElementById('draws').textContent.includes('1024 draws')")


def test_trains_stand_side_by_side(browser: Browser, page: Served) -> None:
    ready(browser, page)
    by_cells = match(brief(), stock(), top=1).by_cells
    for cells in (2, 3):
        browser.run("document.querySelector(`#bests [data-cells='${arguments[0]}']`).click()", cells)
        until(browser, "document.querySelector('#parts').textContent.startsWith(arguments[0])", f"{cells}S")
        browser.run("document.getElementById('pin').click()")
    shown = browser.driver.find_elements("css selector", "#compare tbody tr:nth-child(6) td")
    cells = [each.text.partition(" (")[0] for each in shown]
    assert cells == [value_text(by_cells[count][0].flight_minutes, "min") for count in (2, 3)]
    browser.run("document.querySelector('[aria-label=\"unpin train A\"]').click()")
    assert len(browser.driver.find_elements("css selector", "#compare thead th")) == 1


def test_a_number_is_explained_on_click(browser: Browser, page: Served) -> None:
    from selenium.webdriver.common.keys import Keys

    ready(browser, page)
    browser.driver.find_element("css selector", "#numbers [data-name='mass']").send_keys(Keys.ENTER)
    until(browser, "document.getElementById('explain').open")
    told = browser.text("#explain")
    assert value_text(best({}).all_up_mass_g, "g") in told
    assert "m_bare + m_motors" in told
    assert "made up <em>here</em>" in told
    assert browser.accessibility() == []
    browser.driver.find_element("id", "explain-close").send_keys(Keys.ENTER)
    assert not browser.run("return document.getElementById('explain').open")


def test_hostile_names_stay_text(browser: Browser, page: Served) -> None:
    ready(browser, page)
    ids = next(row.id for row in match(brief(), stock(), top=100).rows if "hostile" in row.motor_id)
    at = browser.run(
        "const sent = {method: 'POST', headers: {'content-type': 'application/json'}}; "
        "sent.body = JSON.stringify({text: arguments[0], changes: {}}); "
        "const ask = async (what) => (await fetch(what, sent)).json(); "
        "const parts = await ask('parts'); "
        "return ['motor', 'controller', 'pack', 'propeller'].map((kind, i) => "
        "parts[kind].indexOf(arguments[1].split(' + ')[i])).join();",
        BRIEF,
        ids,
    )
    before = browser.run("return document.body.dataset.drawn")
    browser.run(
        "const m = document.querySelector(`#map [data-row='${arguments[0]}']`).getBoundingClientRect();"
        "document.querySelector('#map svg').dispatchEvent(new MouseEvent('click', {clientX: m.x + m.width / 2, "
        "clientY: m.y + m.height / 2}))",
        at,
    )
    until(browser, "document.body.dataset.drawn !== arguments[0]", before)
    assert HOSTILE in browser.text("#parts")
    drawn = browser.run("return [...document.querySelectorAll('#chart text')].map(each => each.textContent)")
    assert "transect" in drawn
    browser.run("document.querySelectorAll('details').forEach(each => each.open = true)")
    assert HOSTILE_PHASE in browser.text("#rest")
    assert browser.run("return document.title") == "reed bed glider: power train"
    assert browser.run("return document.querySelectorAll('img, script:not([src]), b, em').length") == 0


def test_two_tabs_do_not_disturb_each_other(browser: Browser, page: Served) -> None:
    ready(browser, page)
    first = browser.driver.current_window_handle
    browser.driver.switch_to.new_window("tab")
    second = browser.driver.current_window_handle
    try:
        ready(browser, page)
        for tab, mass in ((second, 320), (first, 290), (second, 310)):
            browser.driver.switch_to.window(tab)
            type_into(browser, "bare_mass", str(mass))
        for tab, mass in ((first, 290), (second, 310)):
            browser.driver.switch_to.window(tab)
            shows(browser, "mass", value_text(best({"aircraft.bare_mass_g": mass}).all_up_mass_g, "g"))
    finally:
        browser.driver.switch_to.window(second)
        browser.driver.close()
        browser.driver.switch_to.window(first)


def test_saving_asks_before_it_replaces(browser: Browser, page: Served, folder: Path) -> None:
    ready(browser, page)
    file = folder / "kept.toml"
    file.write_text("# precious", encoding="utf-8")
    type_into(browser, "bare_mass", "275")
    type_into(browser, "file", "kept.toml")
    browser.run("document.querySelector('#saving button').click()")
    until(browser, "document.getElementById('ask').open")
    browser.run("document.getElementById('ask-no').click()")
    assert file.read_text(encoding="utf-8") == "# precious"
    browser.run("document.querySelector('#saving button').click()")
    until(browser, "document.getElementById('ask').open")
    browser.run("document.getElementById('ask-yes').click()")
    until(browser, "document.getElementById('saved').textContent.startsWith('Saved as')")
    assert loads_brief(file.read_text(encoding="utf-8")) == edited(BRIEF, {"aircraft.bare_mass_g": 275})


# ---------------------------------------------------------------- nothing lost


def settled(browser: Browser) -> None:
    """Wait until nothing is of an older state and the address has followed."""
    until(browser, "!document.querySelector('.stale') && !document.querySelector('#work li')")
    before = None
    while before != (before := browser.run("return location.hash")):
        time.sleep(0.5)


def test_a_link_and_a_reload_give_the_page_again(browser: Browser, page: Served) -> None:
    """Changes, build, picked train and pins, in another tab from the address alone."""

    def again() -> None:
        until(browser, "document.body.dataset.mapped && document.body.dataset.drawn")
        until(browser, "document.querySelectorAll('#compare thead th').length === 2")
        settled(browser)

    ready(browser, page)
    browser.run("document.getElementById('pin').click()")
    type_into(browser, "bare_mass", "310")
    settled(browser)
    browser.run("document.querySelector(`#bests [data-cells='3']`).click()")
    until(browser, "document.querySelector('#parts').textContent.startsWith('3S')")
    settled(browser)
    browser.run("document.getElementById('pin').click()")
    settled(browser)
    told = "return [...document.querySelectorAll('#parts, #numbers, #compare, #count')].map(each => each.textContent)"
    shown, link = browser.run(told), browser.driver.current_url
    assert link.startswith(page.address + "#")
    first = browser.driver.current_window_handle
    browser.driver.refresh()
    again()
    assert browser.run(told) == shown
    browser.driver.switch_to.new_window("tab")
    try:
        browser.open(link)
        again()
        assert browser.run(told) == shown
        assert browser.run("return document.getElementById('bare_mass').value") == "310"
    finally:
        browser.driver.close()
        browser.driver.switch_to.window(first)


@pytest.mark.parametrize("fragment", ["nonsense", "%00", "q1ZKS1WyMtRRyk3MzFGyUqoFAA"])
def test_an_address_that_holds_no_state_begins_anew(browser: Browser, page: Served, fragment: str) -> None:
    browser.open("about:blank")
    browser.open(f"{page.address}#{fragment}")
    until(browser, "document.body.dataset.mapped && document.body.dataset.drawn")
    assert number(browser, "flight_time") == value_text(best({}).flight_minutes, "min")


def test_undo_and_redo_go_through_what_was_done(browser: Browser, page: Served) -> None:
    """By buttons, by keys, and by the browser's own way back."""
    from selenium.webdriver import ActionChains
    from selenium.webdriver.common.keys import Keys

    ready(browser, page)
    settled(browser)
    mass = "document.getElementById('bare_mass').value === arguments[0]"
    assert browser.run("return document.getElementById('undo').disabled")
    type_into(browser, "bare_mass", "290")
    settled(browser)
    type_into(browser, "height", "900")
    settled(browser)
    browser.driver.find_element("id", "undo").click()
    until(browser, "document.getElementById('height').value !== '900'")
    until(browser, mass, "290")
    browser.driver.back()
    until(browser, mass, "265")
    shows(browser, "mass", value_text(best({}).all_up_mass_g, "g"))
    assert browser.run("return document.getElementById('undo').disabled")
    browser.driver.find_element("id", "redo").click()
    until(browser, mass, "290")
    browser.run("document.activeElement.blur()")
    ActionChains(browser.driver).key_down(Keys.CONTROL).send_keys("z").key_up(Keys.CONTROL).perform()
    until(browser, mass, "265")
    ActionChains(browser.driver).key_down(Keys.CONTROL).send_keys("y").key_up(Keys.CONTROL).perform()
    until(browser, mass, "290")


def test_text_that_is_edited_is_never_written_over(browser: Browser, page: Served) -> None:
    """Neither by the sentence nor by a reload; it is used or left by its reader."""
    ready(browser, page)
    browser.run("document.getElementById('textual').open = true")
    shown = browser.run("return document.getElementById('text').value")
    area = browser.driver.find_element("id", "text")
    area.send_keys("# a thought")
    kept = browser.run("return document.getElementById('text').value")
    type_into(browser, "bare_mass", "300")
    settled(browser)
    assert browser.run("return document.getElementById('text').value") == kept
    assert browser.driver.find_element("id", "text-left").is_displayed()
    browser.driver.refresh()
    until(browser, "document.body.dataset.mapped && document.body.dataset.drawn")
    until(browser, "document.getElementById('text').value === arguments[0]", kept)
    browser.run("document.getElementById('text-leave').click()")
    now = browser.run("return document.getElementById('text').value")
    assert "300" in now
    assert now != shown


def test_a_late_answer_hides_no_newer_fault(browser: Browser, page: Served, monkeypatch: pytest.MonkeyPatch) -> None:
    """The map of before is held back until what came after it is known to be wrong."""
    ready(browser, page)
    let_go, inner = threading.Event(), ANSWERS["map"]

    def held(it: Asked) -> dict[str, Any]:
        made = inner.make(it)
        let_go.wait(30)
        return made

    monkeypatch.setitem(ANSWERS, "map", Answer(held, "map"))
    type_into(browser, "minutes", "6")
    until(browser, "document.querySelector('#map.stale')")
    type_into(browser, "reserve", "7")
    until(browser, "document.querySelectorAll('#faults li').length === 1")
    browser.run("const list = document.getElementById('faults'); window.gone = 0; "
                "const look = () => { window.gone += list.childElementCount ? 0 : 1; }; "
                "new MutationObserver(look).observe(list, { childList: true });")  # fmt: skip
    let_go.set()
    time.sleep(1.0)  # the answer comes now, or was given up for the newer question
    assert browser.run("return window.gone") == 0
    assert "reserve" in browser.text("#faults")
    type_into(browser, "reserve", "0.2")
    until(browser, "!document.querySelector('#faults li')")
    until(browser, "!document.querySelector('.stale')")


def test_pins_keep_the_brief_they_were_made_under(browser: Browser, page: Served) -> None:
    """Two masses of one train side by side; a pin can be taken up again."""
    ready(browser, page)
    ids = best({}).id
    browser.run("document.getElementById('pin').click()")
    type_into(browser, "bare_mass", "330")
    settled(browser)
    browser.run("document.getElementById('pin').click()")
    heavy = {row.id: row for row in match(edited(BRIEF, {"aircraft.bare_mass_g": 330}), stock(), top=100).rows}[ids]
    shown = browser.run("return [...document.querySelectorAll(`#compare [data-name='mass']`)].map(b => b.textContent)")
    assert shown == [value_text(best({}).all_up_mass_g, "g"), value_text(heavy.all_up_mass_g, "g")]
    browser.run("document.querySelector('[aria-label=\"take up train A\"]').click()")
    until(browser, "document.getElementById('bare_mass').value === '265'")
    shows(browser, "mass", shown[0])


def test_a_saved_brief_is_opened_again(browser: Browser, page: Served, folder: Path) -> None:
    ready(browser, page)
    file = folder / "again.toml"
    file.write_text(dump_brief(edited(BRIEF, {"aircraft.bare_mass_g": 295})), encoding="utf-8")
    browser.driver.find_element("id", "open").send_keys(str(file))
    until(browser, "document.getElementById('bare_mass').value === '295'")
    file.write_text("[aircraft]\nbare_mass_g = -1\n", encoding="utf-8")
    browser.driver.find_element("id", "open").send_keys(str(file))
    until(browser, "document.querySelector('#text-faults li')")
    assert browser.run("return document.getElementById('bare_mass').value") == "295"


@pytest.fixture
def folding(monkeypatch: pytest.MonkeyPatch) -> threading.Event:
    """Sheets take for ever; set when one was given up."""
    ended = threading.Event()

    def slow(it: Asked) -> dict[str, Any]:
        try:
            while True:
                it.tell("Folding paper", 0.5)
                time.sleep(0.02)
        finally:
            ended.set()

    monkeypatch.setitem(ANSWERS, "sheet", Answer(slow, "long", "Making the build sheet"))
    return ended


def test_long_work_is_shown_and_stopped(browser: Browser, page: Served, folding: threading.Event) -> None:
    ready(browser, page)
    browser.run("document.getElementById('sheet').click()")
    until(browser, "document.getElementById('work').textContent.includes('Folding paper')")
    assert browser.run("return document.querySelector('#work progress').value") == 0.5
    assert " s" in browser.text("#work span")
    browser.driver.find_element("css selector", "#work button").click()
    until(browser, "!document.querySelector('#work li')")
    assert browser.text("#status") == "Stopped"
    assert folding.wait(10), "the work itself goes on"
    assert browser.complaints() == []


def test_closing_the_tab_ends_its_work(browser: Browser, page: Served, folding: threading.Event) -> None:
    first = browser.driver.current_window_handle
    browser.driver.switch_to.new_window("tab")
    ready(browser, page)
    browser.run("document.getElementById('sheet').click()")
    until(browser, "document.getElementById('work').textContent.includes('Folding paper')")
    assert not folding.is_set()
    browser.driver.close()
    browser.driver.switch_to.window(first)
    assert folding.wait(10)


def test_a_server_that_has_ended_is_said(browser: Browser, folder: Path) -> None:
    with served(BRIEF, stock(), folder) as page:
        ready(browser, page)
        settled(browser)
    kept = browser.run("return location.hash")
    type_into(browser, "bare_mass", "300")
    until(browser, "document.getElementById('status').textContent.includes('has ended')")
    until(browser, "location.hash !== arguments[0]", kept)


def test_the_file_that_opens_the_browser_leads_to_the_page(browser: Browser, page: Served, tmp_path: Path) -> None:
    import webbrowser

    with ExitStack() as door, pytest.MonkeyPatch.context() as patch:
        patch.setattr(webbrowser, "open", browser.driver.get)
        _open(page.address, door)
        until(browser, "location.href.startsWith(arguments[0])", page.address)
