"""The guide in a real browser: opened from the page, readable on a phone and in the dark, without a network."""

import pytest
from interface.test_page_browser import until
from support.browser import Browser
from support.pages import served
from support.sheets import BRIEF, stock

from propmatch.cli import propmatch
from propmatch.guide.html import folder, policy, single

pytestmark = pytest.mark.browser


def dark(browser: Browser, on: bool) -> None:
    """Ask for dark colours, as a system does."""
    wish = {"name": "prefers-color-scheme", "value": "dark" if on else "light"}
    browser.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": [wish]})


def test_the_page_opens_the_guide(browser, tmp_path):
    with served(BRIEF, stock(), tmp_path, guide=lambda: (single(propmatch), policy())) as page:
        browser.open(page.address)
        until(browser, "document.getElementById('guide').checkVisibility()")
        target = browser.run("return document.getElementById('guide').href")
        browser.open("about:blank")
        browser.open(target)
        assert browser.text("h1") == "propmatch guide"
        assert browser.complaints() == []
        assert [url for url in browser.requests() if not url.startswith(page.origin)] == []
        assert browser.run("return getComputedStyle(document.querySelector('pre')).overflowX") == "auto"


@pytest.mark.parametrize("wish", [False, True], ids=["light", "dark"])
def test_a_page_suits_a_phone_and_whoever_cannot_see_it(browser, tmp_path, wish):
    file = tmp_path / "tutorial.html"
    file.write_text(folder(propmatch)[file.name], encoding="utf-8")
    dark(browser, wish)
    try:
        browser.open(file, width=390)
        assert browser.sideways() == 0
        light = browser.run("return getComputedStyle(document.documentElement).backgroundColor.match(/\\d+/)[0] > 127")
        assert light is not wish
        assert browser.accessibility() == []
    finally:
        dark(browser, False)
