"""The page with the engine inside, opened from disk and from a host with a strict policy, against the engine itself.

Needs the Python for browsers (``.ci/runtime.sh FOLDER``) in the folder that PROPMATCH_RUNTIME names. With
PROPMATCH_STATIC=whole it also looks for the best of every bundled brief, which takes minutes.
"""

import csv
import gzip
import json
import math
import os
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import attrs
import pytest
from support.browser import Browser
from support.hosts import hosted

from propmatch.page.desk import Desk
from propmatch.page.edit import edited
from propmatch.page.inbrowser import opened
from propmatch.page.runtime import Runtime
from propmatch.page.standalone import Standalone, write_file_alone, write_folder
from propmatch.records.brief import dump_brief
from propmatch_datasets import briefs, path

pytestmark = pytest.mark.browser
FOLDER = os.environ.get("PROPMATCH_RUNTIME")
if not FOLDER:
    pytest.skip("PROPMATCH_RUNTIME names no folder with the Python for browsers: .ci/runtime.sh makes one",
                allow_module_level=True)  # fmt: skip
WHOLE = os.environ.get("PROPMATCH_STATIC") == "whole"
OWN = "mine/own 1300"
MOTORS = "name,kv_rpm_per_v,resistance_ohm,no_load_current_a,mass_g,max_current_a\nown 1300,1300,0.12,0.5,28,11\n"
CLOSE = 1e-9
"""How near numbers are: the contract. Those of the map's marks are rounded to six digits."""
SIZE_MB, FOLDER_MB, HEAP_MB = 12, 8, 200
SAVE = "document.getElementById('file').value = arguments[0]; document.querySelector('#saving button').click();"
SLIDE = """
const slider = document.getElementById('bare_mass-slider'); slider.value = 200;
for (const each of ['input', 'change']) slider.dispatchEvent(new Event(each, {bubbles: true}));
"""
REFUSED = """
Object.defineProperty(globalThis, 'localStorage', { get() { throw new DOMException('no', 'SecurityError'); } });
"""
HELD = """
const post = Worker.prototype.postMessage;
globalThis.given = [];
Worker.prototype.postMessage = function (sent) {
  const pass = () => post.call(this, sent);
  if (sent.what) given.push(sent.what);
  if (globalThis.release) pass(); else globalThis.release = pass;
};
"""
STOP = """
const [question] = arguments, button = document.querySelector('#work button');
if (!button || given.at(-1) != question) return false;
button.click();
return true;
"""
ASK = """
const [what, sent, done] = arguments;
ask(what, sent).then(done, (wrong) => done(JSON.stringify(String(wrong))));
"""
ENGINE = """
const done = arguments[0];
(async () => {
  const page = await (await fetch("index.html")).text();
  const start = JSON.parse(page.match(/id="start">(.*?)<\\/script>/s)[1]);
  const part = async (name) => new Uint8Array(await (await fetch(name)).arrayBuffer());
  const [wasm, cargo] = [await part("engine.bin"), await part("python.bin")];
  const worker = new Worker("worker.js"), waiting = new Map();
  let number = 0;
  window.ask = (what, sent) => new Promise((resolve, reject) => {
    waiting.set(number += 1, { resolve, reject });
    worker.postMessage({ id: number, what, sent });
  });
  worker.onmessage = ({ data }) => {
    if (data.broken) done(data.broken);
    if (data.ready) done("ready");
    if (data.answer) waiting.get(data.id).resolve(data.answer);
    if (data.failed) waiting.get(data.id).reject(new Error(data.failed));
  };
  worker.postMessage({ begin: { wasm, cargo, lock: start.lock, env: start.env, parts: start.parts } });
})().catch((error) => done(String(error)));
"""


def text_of(name: str) -> str:
    return path(f"briefs/{name}.toml").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def parts(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("parts")
    (folder / "mine").mkdir()
    (folder / "mine" / "motors.csv").write_text(MOTORS, encoding="utf-8")
    (folder / "mine" / ".hidden.csv").write_text("secret", encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def brief() -> str:
    """With a motor of one's own, and nothing else allowed."""
    return dump_brief(edited(text_of("schoolyard_trainer"), {"parts.motor": [OWN]}))


@pytest.fixture(scope="module")
def desk(parts: Path, brief: str) -> Desk:
    """The engine itself, with the same parts."""
    return opened(parts, brief)


@pytest.fixture(scope="module")
def made(parts: Path, brief: str) -> Standalone:
    return Standalone.of(Runtime.of(FOLDER), brief, file="own.toml", parts=parts)


@pytest.fixture(scope="module")
def file(made: Standalone, tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_file_alone(made, tmp_path_factory.mktemp("file") / "page.html")


@pytest.fixture(scope="module")
def folder(made: Standalone, tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_folder(made, tmp_path_factory.mktemp("host"))


@pytest.fixture(scope="module")
def host(folder: Path) -> Iterator[str]:
    with hosted(folder) as address:
        yield address


def until(browser: Browser, condition: str, *values: Any, seconds: float = 120) -> None:
    end = time.monotonic() + seconds
    while not browser.run(f"return Boolean({condition})", *values):
        assert time.monotonic() < end, f"never: {condition}: {browser.text('#engine')} {browser.text('#status')}"
        time.sleep(0.05)


def differences(here: Any, there: Any, close: float = CLOSE, at: str = "") -> list[str]:
    """Where two answers differ: texts at all, numbers by more than ``close`` of their size."""
    if isinstance(here, dict) and isinstance(there, dict) and here.keys() == there.keys():
        return [each for key in here for each in differences(here[key], there[key], close, f"{at}.{key}")]
    if isinstance(here, list) and isinstance(there, list) and len(here) == len(there):
        pairs = enumerate(zip(here, there, strict=True))
        return [each for i, (one, other) in pairs for each in differences(one, other, close, f"{at}[{i}]")]
    if isinstance(here, float) and isinstance(there, int | float):
        return [] if math.isclose(here, there, rel_tol=close, abs_tol=1e-12) else [f"{at}: {here} {there}"]
    return [] if here == there else [f"{at}: {here} {there}"]


def cells(table: str) -> list[list[Any]]:
    """A table as text with commas, its numbers as such."""

    def value(text: str) -> Any:
        try:
            return float(text)
        except ValueError:
            return text

    return [[value(each) for each in row] for row in csv.reader(table.splitlines())]


def test_what_it_weighs(made: Standalone, file: Path, folder: Path) -> None:
    """At most 12 MB and, packed as hosts do, 8 MB; with every licence, and with nothing that is hidden."""
    assert file.stat().st_size < SIZE_MB * 1e6
    assert sum(len(gzip.compress(each.read_bytes())) for each in folder.iterdir()) < FOLDER_MB * 1e6
    for words in (
        "Mozilla Public License",
        "PYTHON SOFTWARE FOUNDATION LICENSE",
        "NumPy Developers",
        "Hynek Schlawack",
    ):
        assert words in made.licences
    assert b".hidden" not in gzip.decompress(made.python)


def test_the_engine_in_a_browser_answers_as_the_engine_itself(browser: Browser, host: str, desk: Desk) -> None:
    """Ids and texts the same, numbers within 1e-9: the bundled briefs, and one with parts of one's own."""
    browser.open(f"{host}licences.txt")
    browser.driver.set_script_timeout(300)
    assert browser.driver.execute_async_script(ENGINE) == "ready"

    def ask(what: str, **sent: Any) -> tuple[Any, Any]:
        there = browser.driver.execute_async_script(ASK, what, json.dumps(sent))
        return json.loads(json.dumps(desk.answer(what, sent))), json.loads(there)

    def same(what: str, close: float = CLOSE, **sent: Any) -> Any:
        here, there = ask(what, **sent)
        assert differences(here, there, close) == [], what
        assert "faults" not in here
        return here

    best = same("best", text=desk.text)["id"]
    assert best.startswith(OWN)
    for what in ("brief", "form", "choices", "parts", "throttle", "flight", *(("why", "nearest") if WHOLE else ())):
        same(what, text=desk.text, train=best)
    for name in ("mass", "thrust_to_weight", "flight_time"):
        same("explain", text=desk.text, train=best, name=name)
    for name in briefs():
        text = text_of(name)
        marks = same("map", close=2e-6, text=text)
        stock = desk.answer("parts", {"text": text})
        kinds = ("motor", "controller", "pack", "propeller")
        train = " + ".join(stock[kind][at] for kind, at in zip(kinds, marks["parts"][:4], strict=True))
        same("train", text=text, train=train)
        drawn = ask("views", text=text, train=train)
        assert drawn[0]["words"] == drawn[1]["words"]
        assert bool(drawn[0]["svg"]) == bool(drawn[1]["svg"])
        same("train", text=text, train=train, moving=True, changes={"site.altitude_m": 1200.0})
        if WHOLE:
            same("best", text=text)
            assert differences(*(cells(each["text"]) for each in ask("shortlist", text=text))) == []
    faults = ask("train", text="[aircraft]\nbare_mass_g = -1\n", train=best)
    assert faults[0] == faults[1]
    assert faults[1]["faults"]
    heap = browser.run("return performance.memory.totalJSHeapSize") / 1e6
    assert heap < HEAP_MB
    assert browser.complaints() == []
    assert [each for each in browser.requests() if not each.startswith(host)] == []


def test_from_disk_it_shows_at_once_and_follows_a_slider(
    browser: Browser, file: Path, made: Standalone, desk: Desk, brief: str
) -> None:
    """What it shows first is of the engine, made with the file; what follows a number is of the engine inside."""
    browser.open(file)
    until(browser, "document.body.dataset.drawn && document.body.dataset.mapped")
    train = next(json.loads(key.partition(" ")[2])["train"] for key in made.first if key.startswith("train "))
    assert browser.text("#parts").startswith("2S") or browser.text("#parts").startswith("3S")
    until(browser, "document.body.dataset.engine")
    assert not browser.driver.find_element("id", "engine").is_displayed()
    drawn = browser.run("return document.body.dataset.drawn")
    browser.run(SLIDE)
    until(browser, "document.body.dataset.drawn !== arguments[0] && !document.querySelector('#numbers.stale')", drawn)
    told = desk.answer("train", {"text": brief, "changes": {"aircraft.bare_mass_g": 200}, "train": train})
    for row in told["strip"]:
        until(browser, "document.querySelector(`#numbers [data-name='${arguments[0]}']`).textContent === arguments[1]",
              row["name"], row["text"])  # fmt: skip
    assert browser.complaints() == []
    assert browser.requests() == [file.as_uri()]
    until(browser, "!document.querySelector('.stale')")
    assert browser.accessibility() == []
    browser.resize(390)
    assert browser.sideways() == 0


def test_from_a_host_a_brief_is_saved_kept_and_opened_again(browser: Browser, host: str, tmp_path: Path) -> None:
    browser.open(host)
    until(browser, "document.body.dataset.engine")
    place = {"behavior": "allow", "downloadPath": str(tmp_path)}
    browser.driver.execute_cdp_cmd("Browser.setDownloadBehavior", place)
    browser.run(SAVE, "mine.toml")
    until(browser, "document.getElementById('saved').textContent.includes('in your downloads')")
    browser.run("document.getElementById('kept-panel').open = true; document.querySelector('#kept button').click()")
    until(browser, "document.getElementById('saved').textContent.includes('as this browser kept it')")
    browser.run("document.getElementById('licences-panel').open = true")
    until(browser, "document.querySelector('#licences pre').textContent.includes('Mozilla Public License')")
    assert browser.complaints() == []
    assert [each for each in browser.requests() if not each.startswith((host, "blob:"))] == []
    until(browser, "!document.querySelector('.stale')")
    assert browser.accessibility() == []
    end = time.monotonic() + 20
    while not (tmp_path / "mine.toml").exists():
        assert time.monotonic() < end
        time.sleep(0.05)
    assert "[aircraft]" in (tmp_path / "mine.toml").read_text(encoding="utf-8")


@pytest.fixture
def held(browser: Browser) -> Iterator[None]:
    """The engine starts when the page is told ``release()``; ``given`` are the questions that reached its worker."""
    added = browser.driver.execute_cdp_cmd("Page.addScriptToEvaluateOnNewDocument", {"source": HELD})
    yield
    browser.driver.execute_cdp_cmd("Page.removeScriptToEvaluateOnNewDocument", added)


@pytest.mark.usefixtures("held")
def test_what_is_stopped_ends_and_the_next_question_is_answered(browser: Browser, made: Standalone, desk: Desk,
                                                                 tmp_path: Path) -> None:  # fmt: skip
    """A search over all parts that waits is taken off the list; one that has begun ends with its worker, and another
    begins. Either way the next question is answered.
    """
    wide = edited(desk.text, {"parts.motor": None})
    other = attrs.evolve(made, text=dump_brief(wide), first={})

    def stopped(asked: str | None) -> None:
        until(browser, f"(function () {{ {STOP} }})(arguments[0])", asked)
        until(browser, "document.getElementById('status').textContent.startsWith('Stopped')")

    def answered(name: str) -> None:
        browser.run(SAVE, name)
        until(browser, "document.getElementById('saved').textContent.includes(arguments[0])", name)

    with hosted(write_folder(other, tmp_path / "host")) as address:
        browser.open(address)
        stopped(None)
        browser.run("release()")
        until(browser, "document.body.dataset.engine")
        begun = browser.run("return document.body.dataset.engine")
        answered("waited.toml")
        assert browser.run("return document.body.dataset.engine") == begun
        assert "map" not in browser.run("return given")
        until(browser, "document.getElementById('bare_mass-slider')")
        browser.run(SLIDE)
        stopped("map")
        until(browser, "document.body.dataset.engine !== arguments[0]", begun)
        answered("begun.toml")
        assert browser.complaints() == []


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        ("delete globalThis.WebAssembly;", "this browser lacks WebAssembly"),
        ("delete globalThis.Worker;", "this browser lacks Worker"),
    ],
)
def test_a_browser_that_cannot_run_it_says_so_and_keeps_the_brief(
    browser: Browser, file: Path, brief: str, spoil: str, words: str
) -> None:
    added = browser.driver.execute_cdp_cmd("Page.addScriptToEvaluateOnNewDocument", {"source": spoil})
    try:
        browser.open(file)
        until(browser, "document.getElementById('engine').textContent.includes(arguments[0])", words)
        assert browser.run("return document.getElementById('text').value") == brief
    finally:
        browser.driver.execute_cdp_cmd("Page.removeScriptToEvaluateOnNewDocument", added)


def test_a_damaged_engine_and_a_storage_that_is_refused_are_said(
    browser: Browser, made: Standalone, brief: str, tmp_path: Path
) -> None:
    broken = attrs.evolve(made, python=made.python[:-2000])
    added = browser.driver.execute_cdp_cmd("Page.addScriptToEvaluateOnNewDocument", {"source": REFUSED})
    try:
        browser.open(write_file_alone(broken, tmp_path / "page.html"))
        until(browser, "document.getElementById('engine').textContent.includes('does not work here')")
        assert browser.run("return document.getElementById('text').value") == brief
        assert "keeps nothing for this page" in browser.run("return document.getElementById('kept').textContent")
    finally:
        browser.driver.execute_cdp_cmd("Page.removeScriptToEvaluateOnNewDocument", added)
