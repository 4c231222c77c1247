"""By hand in a real browser: parts picked and locked, tables dropped, phases typed, curves read, files taken away."""

import time
from collections.abc import Iterator
from typing import Any
from xml.etree import ElementTree

import pytest
from interface.test_page_browser import until
from support.browser import Browser
from support.pages import AskedAgain, Served, served
from support.sheets import BRIEF, brief, stock

from propmatch.page.edit import edited
from propmatch.page.families import family_key_answer
from propmatch.search.matching import match

pytestmark = pytest.mark.browser

MOTORS = "name;KV;Weight;Max A\nblue 24;1350;26 g;12\n"


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    with served(BRIEF, stock(), tmp_path_factory.mktemp("briefs"), AskedAgain) as made:
        yield made


@pytest.fixture
def desk(browser: Browser, page: Served) -> Browser:
    """The page, ready, with the names of the parts and the forms there."""
    browser.open(page.address, width=1280)
    until(browser, "document.body.dataset.mapped && document.body.dataset.drawn")
    until(browser, "document.getElementById('form-phase') && document.getElementById('pick-motor').value")
    return browser


def put(browser: Browser, id: str, value: str) -> None:
    """Fill a field in and leave it, as a reader does."""
    browser.run(
        "const at = document.getElementById(arguments[0]); at.value = arguments[1];"
        "at.dispatchEvent(new Event('change', {bubbles: true}))", id, value,
    )  # fmt: skip


def click(browser: Browser, selector: str) -> None:
    browser.run("document.querySelector(arguments[0]).click()", selector)


def open_panel(browser: Browser, id: str) -> None:
    browser.run("document.getElementById(arguments[0]).closest('details').open = true", id)


def shown_train(browser: Browser) -> str:
    """The names of the parts of the picked train, as the fields hold them."""
    return str(browser.run("return ['motor', 'pack'].map(k => document.getElementById(`pick-${k}`).value).join()"))


def drop(browser: Browser, name: str, text: str) -> None:
    browser.run(
        "const carried = new DataTransfer(); carried.items.add(new File([arguments[1]], arguments[0]));"
        "window.dispatchEvent(new DragEvent('drop', {dataTransfer: carried, bubbles: true, cancelable: true}))",
        name, text,
    )  # fmt: skip


def test_three_questions_name_a_family(desk: Browser) -> None:
    open_panel(desk, "families")
    until(desk, "document.querySelectorAll('#families svg').length === 6 && document.getElementById('family-bend')")
    for field, value in (("size", "5x4.3x3"), ("hinged", "fixed"), ("chord", "10"), ("bend", "springy")):
        put(desk, f"family-{field}", value)
    told = family_key_answer(stock(), "5x4.3x3 fixed 10mm springy")["sentence"]
    until(desk, "document.getElementById('family-words').textContent === arguments[0]", told)


def test_a_part_is_picked_by_name_and_locked(desk: Browser) -> None:
    motor = desk.run("return document.getElementById('pick-motor').value")
    other = next(each for each in stock().motors.values() if each.name != motor)
    put(desk, "pick-motor", other.name)
    until(desk, "document.getElementById('parts').textContent.includes(arguments[0])", other.name)
    click(desk, "#lock-motor")
    until(desk, "document.getElementById('lock-motor').getAttribute('aria-pressed') === 'true'")
    passing = match(edited(BRIEF, {"parts.motor": [str(other.id)]}), stock(), count=True, on_paper=True).passing
    until(desk, "document.getElementById('count').textContent.startsWith(arguments[0])", f"{passing} of")
    put(desk, "pick-motor", "no such thing")
    until(desk, "document.getElementById('faults').textContent.includes('no part with this id or name')")
    click(desk, "#lock-motor")
    everything = match(brief(), stock(), count=True, on_paper=True).passing
    until(desk, "document.getElementById('count').textContent.startsWith(arguments[0])", f"{everything} of")


def test_a_dropped_table_is_shown_before_it_is_used(desk: Browser) -> None:
    before = desk.text("#count")
    drop(desk, "what.csv", "here;there\n1;2\n")
    until(desk, "document.getElementById('table-shown').textContent.includes('cannot tell what the rows are')")
    drop(desk, "motors.csv", MOTORS)
    until(desk, "document.querySelector('#table-shown table')")
    said = desk.text("#table-shown")
    assert "motors.csv: Read 1 motor" in said
    assert "mine/blue 24" in said
    assert "KV -> kv_rpm_per_v" in said
    assert desk.text("#count") == before
    click(desk, "#table-use")
    until(desk, "[...document.querySelectorAll('#names-motor option')].some(each => each.value === 'blue 24')")
    put(desk, "pick-motor", "blue 24")
    until(desk, "document.getElementById('parts').textContent.includes('blue 24')")
    assert desk.run("return Boolean(document.getElementById('box-mine'))")
    time.sleep(0.5)  # the address rests for 0.3 s
    desk.driver.refresh()
    until(desk, "document.getElementById('parts')?.textContent.includes('blue 24')")
    until(desk, "document.querySelector('#tables-used button')")
    click(desk, "#tables-used button")
    until(desk, "![...document.querySelectorAll('#names-motor option')].some(each => each.value === 'blue 24')")


def test_phases_cells_and_units_are_set_by_hand(desk: Browser) -> None:
    open_panel(desk, "form-phase")
    put(desk, "at-phase[1].seconds", "35")
    until(desk, "document.getElementById('text').value.includes('seconds = 35.0')")
    click(desk, "#add-phase")
    until(desk, "document.getElementById('text').value.includes('phase 3')")
    put(desk, "at-phase[3].throttle", "7")
    until(desk, "document.getElementById('at-phase[3].throttle').getAttribute('aria-invalid') === 'true'")
    put(desk, "at-phase[3].throttle", "0.3")
    until(desk, "!document.querySelector('[aria-invalid]')")
    click(desk, "#cell-buttons [data-count='3']")
    until(desk, "document.getElementById('cells').value === '2'")
    grams = float(desk.text("#numbers [data-check='mass'] button").split()[0])
    put(desk, "units", "imperial")
    until(desk, "document.querySelector('#numbers [data-check=mass] button').textContent.endsWith('oz')")
    ounces = float(desk.text("#numbers [data-check='mass'] button").split()[0])
    assert ounces == pytest.approx(grams / 28.349523125, abs=0.06)  # the international avoirdupois ounce


def test_what_comes_nearest_is_named_and_taken(desk: Browser) -> None:
    put_input = "const at = document.getElementById('minutes'); at.value = '300'; at.dispatchEvent(new Event('input'))"
    desk.run(put_input)
    until(desk, "document.getElementById('count').textContent.startsWith('0 of')")
    open_panel(desk, "why")
    until(desk, "document.getElementById('why').textContent.includes('misses flight time')")
    until(desk, "!document.getElementById('see-nearest').hidden")
    click(desk, "#see-nearest")
    until(desk, "document.querySelector('#nearest li button')")
    assert "Everything misses flight time" in desk.text("#nearest")
    name = str(desk.run("return document.querySelector('#nearest li button').getAttribute('aria-label')"))
    click(desk, "#nearest li button")
    until(desk, "arguments[0].includes(document.getElementById('pick-motor').value)", name)


def test_curves_are_read_off(desk: Browser) -> None:
    open_panel(desk, "throttle")
    until(desk, "document.querySelectorAll('#throttle svg').length === 2")
    desk.run(
        "const at = document.getElementById('throttle-read'); at.value = at.max; at.dispatchEvent(new Event('input'))"
    )
    full = desk.text("#throttle .read-off output")
    assert full.startswith("100 %; thrust ")
    desk.run(
        "const root = document.querySelector('#throttle svg'), box = root.getBoundingClientRect();"
        "root.dispatchEvent(new PointerEvent('pointermove', {clientX: box.left + box.width / 2, clientY: box.top + 9}))"
    )
    middle = desk.text("#throttle .read-off output")
    assert 40 < float(middle.split(" ")[0]) < 70
    amps = [float(text.split("one motor ")[1].split(" ")[0]) for text in (middle, full)]
    assert amps[0] < amps[1]
    assert "full throttle, full pack" in desk.text(".read-off output")


def test_files_are_taken_away(desk: Browser) -> None:
    desk.run(
        "window.given = []; const make = URL.createObjectURL;"
        "URL.createObjectURL = (blob) => { blob.text().then((text) => window.given.push(text)); return make(blob); }"
    )
    click(desk, "#get-picture")
    until(desk, "window.given.length === 1")
    root = ElementTree.fromstring(given(desk, 0))
    marks = [each for each in root.iter() if "mark" in (each.get("class") or "").split()]
    assert marks
    assert all("fill" in (each.get("style") or "") for each in marks)
    click(desk, "#get-shortlist")
    until(desk, "window.given.length === 2")
    assert given(desk, 1).splitlines()[0].startswith("number,rank,id,")


def given(browser: Browser, at: int) -> Any:
    return browser.run("return window.given[arguments[0]]", at)
