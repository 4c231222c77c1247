"""A headless Chromium for tests: opens pages, tells what they asked of the network and what they complained about.

Marked ``browser``; skipped with a reason where no Chromium is installed, except in continuous integration.
"""

import base64
import json
import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

CHROMIUM = shutil.which("chromium") or "/usr/bin/chromium"
CHROMEDRIVER = shutil.which("chromedriver") or "/usr/bin/chromedriver"
AXE = Path(__file__).resolve().parents[2] / ".ci" / "node_modules" / "axe-core" / "axe.min.js"
FLAGS = (
    "--headless=new", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync", "--disable-dev-shm-usage",
    "--no-proxy-server",
)  # fmt: skip
_INNER = ("data:", "blob:", "about:", "chrome:")


class Browser:
    """One browser window.

    Attributes
    ----------
    driver : selenium WebDriver
        For everything the methods do not cover: ``find_element``, keys, clicks.
    """

    def __init__(self, profile: Path) -> None:
        from selenium import webdriver

        options = webdriver.ChromeOptions()
        options.binary_location = CHROMIUM
        for flag in (*FLAGS, f"--user-data-dir={profile}"):
            options.add_argument(flag)
        options.set_capability("goog:loggingPrefs", {"performance": "ALL", "browser": "ALL"})
        self.driver = webdriver.Chrome(options=options, service=webdriver.ChromeService(CHROMEDRIVER))
        self.driver.set_page_load_timeout(60)

    def open(self, address: str | Path, *, width: int = 1280, height: int = 900) -> None:
        """Open an address or a file in a window of this size (390 is a phone), with the records of before cleared."""
        self.resize(width, height)
        self.requests()
        self.complaints()
        self.driver.get(address.resolve().as_uri() if isinstance(address, Path) else address)

    def resize(self, width: int, height: int = 900) -> None:
        """Give the page exactly this many CSS pixels; windows themselves do not get narrower than 500."""
        metrics = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": False}
        self.driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", metrics)

    def requests(self) -> list[str]:
        """Addresses asked for since the last call, the page itself among them; data and blob addresses left out."""
        events = [json.loads(entry["message"])["message"] for entry in self.driver.get_log("performance")]
        sent = [e["params"]["request"]["url"] for e in events if e["method"] == "Network.requestWillBeSent"]
        return [url for url in sent if not url.startswith(_INNER)]

    def complaints(self) -> list[str]:
        """Warnings and errors of the console since the last call."""
        return [
            entry["message"]
            for entry in self.driver.get_log("browser")
            if entry["level"] in ("WARNING", "SEVERE") and "favicon" not in entry["message"]
        ]

    def run(self, script: str, *values: Any) -> Any:
        """What a piece of JavaScript returns."""
        return self.driver.execute_script(script, *values)

    def text(self, selector: str = "body") -> str:
        """The text a reader sees in the first element that a CSS selector finds."""
        return str(self.driver.find_element("css selector", selector).text)

    def screenshot(self, path: Path, *, whole: bool = True) -> Path:
        """A PNG of the whole page, or of what the window shows."""
        shot = self.driver.execute_cdp_cmd("Page.captureScreenshot", {"captureBeyondViewport": whole, "format": "png",
                                           **({"clip": self._whole()} if whole else {})})  # fmt: skip
        path.write_bytes(base64.b64decode(shot["data"]))
        return path

    def _whole(self) -> dict[str, float]:
        size = self.driver.execute_cdp_cmd("Page.getLayoutMetrics", {})["cssContentSize"]
        return {"x": 0, "y": 0, "width": size["width"], "height": size["height"], "scale": 1}

    def print_pdf(self, path: Path, *, width_mm: float = 210, height_mm: float = 297) -> Path:
        """Print the page to a PDF; A4 unless told otherwise, and the page's own @page rules go first."""
        printed = self.driver.execute_cdp_cmd(
            "Page.printToPDF",
            {
                "paperWidth": width_mm / 25.4,
                "paperHeight": height_mm / 25.4,
                "printBackground": False,
                "preferCSSPageSize": True,
            },
        )
        path.write_bytes(base64.b64decode(printed["data"]))
        return path

    def sideways(self) -> int:
        """How many pixels the page is wider than its window: what a reader would have to scroll sideways."""
        return int(self.run("return document.documentElement.scrollWidth - document.documentElement.clientWidth"))

    def accessibility(self) -> list[str]:
        """Serious and critical findings of axe-core, one line each; skips where axe-core is not installed."""
        if not AXE.exists():
            if os.environ.get("CI"):
                pytest.fail(f"axe-core is missing: {AXE}")
            pytest.skip("axe-core is not installed: npm install --prefix .ci --no-save axe-core")
        self.run(AXE.read_text(encoding="utf-8"))
        found = self.driver.execute_async_script(
            "const done = arguments[0]; axe.run(document).then(r => done(r.violations), e => done(String(e)));"
        )
        assert isinstance(found, list), found
        return [
            f"{each['impact']}: {each['id']}: {each['help']}: {[node['target'] for node in each['nodes']][:5]}"
            for each in found
            if each["impact"] in ("serious", "critical")
        ]

    def close(self) -> None:
        self.driver.quit()


def open_browser(profile: Path) -> Browser:
    """A browser, or the reason why there is none."""
    missing = [name for name in (CHROMIUM, CHROMEDRIVER) if not Path(name).exists()]
    if missing:
        if os.environ.get("CI"):
            pytest.fail(f"no {' and no '.join(missing)}")
        pytest.skip(f"no {' and no '.join(missing)}: install chromium and chromium-driver")
    return Browser(profile)


@pytest.fixture(scope="session")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    """One browser for all tests of a run; every test opens its own page."""
    made = open_browser(tmp_path_factory.mktemp("browser"))
    yield made
    made.close()
