"""What a page with the engine inside weighs, how soon it shows, how soon its engine answers, what a slider costs.

    python benchmarks/static_page.py [BRIEF] [--steps 30] [--smoke]

Makes the page as one file and as a folder, with the Python for browsers in the folder that PROPMATCH_RUNTIME names,
opens both in a headless browser, and prints wall times with the load of the machine beside, and the CPU time of the
page's process, which holds its worker. Aims: 12 MB, 8 MB packed, 8 s to the first chart, 10 s to the map, 150 ms from
slider to chart, 200 MB. Says so and ends where there is no such folder or no browser.
"""

import argparse
import gzip
import os
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests"))

STEP = """
const [value, done] = arguments, slider = document.getElementById('bare_mass-slider');
const before = document.body.dataset.drawn, from = performance.now();
const seen = new MutationObserver(() => {
  if (document.body.dataset.drawn === before) return;
  seen.disconnect();
  done(performance.now() - from);
});
seen.observe(document.body, { attributes: true });
slider.value = value;
slider.dispatchEvent(new Event('input', { bubbles: true }));
"""
NOW = "return performance.now()"
PAINT = "return performance.getEntriesByName('first-contentful-paint')[0]?.startTime ?? null"


def renderers(driver_pid: int) -> dict[int, float]:
    """CPU seconds of the processes below a driver that draw pages, by their ids (Linux)."""
    parents, times = {}, {}
    for place in Path("/proc").glob("[0-9]*"):
        try:
            fields = (place / "stat").read_text().rpartition(")")[2].split()
            words = (place / "cmdline").read_bytes()
        except OSError:
            continue
        parents[int(place.name)] = int(fields[1])
        if b"--type=renderer" in words:
            times[int(place.name)] = (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")

    def below(pid: int) -> bool:
        return pid == driver_pid or (pid in parents and below(parents[pid]))

    return {pid: spent for pid, spent in times.items() if below(pid)}


def spent(browser: Any) -> float:
    return sum(renderers(browser.driver.service.process.pid).values())


def wait(browser: Any, condition: str) -> float:
    """Milliseconds from the page's beginning until a JavaScript expression holds."""
    while not browser.run(f"return Boolean({condition})"):
        time.sleep(0.02)
    return float(browser.run(NOW))


def measure(browser: Any, name: str, address: Any, steps: int) -> None:
    before = spent(browser)
    browser.open(address)
    chart = wait(browser, "document.body.dataset.drawn")
    shown = wait(browser, "document.body.dataset.mapped")
    paint = browser.run(PAINT)
    wait(browser, "document.body.dataset.engine")
    ready = float(browser.run("return document.body.dataset.engine"))
    print(f"{name}: first words {paint or float('nan'):.0f} ms, chart {chart / 1e3:.1f} s, map {shown / 1e3:.1f} s, "
          f"engine {ready / 1e3:.1f} s, its process {spent(browser) - before:.1f} s of CPU; "
          f"load {os.getloadavg()[0]:.1f}")  # fmt: skip
    time.sleep(1.0)
    walls, cpu = [], []
    middle = float(browser.run("return document.getElementById('bare_mass-slider').value"))
    for step in range(steps):
        start = spent(browser)
        walls.append(browser.driver.execute_async_script(STEP, middle + 5 * (step % 8 + 1)))
        time.sleep(0.5)
        cpu.append(spent(browser) - start)
    walls.sort(), cpu.sort()
    print(f"  slider to chart: median {walls[steps // 2]:.0f} ms, least {walls[0]:.0f}; chart and map together "
          f"{cpu[steps // 2] * 1e3:.0f} ms of CPU; load {os.getloadavg()[0]:.1f}")  # fmt: skip
    browser.driver.execute_cdp_cmd("Performance.enable", {})
    used = {
        each["name"]: each["value"] for each in browser.driver.execute_cdp_cmd("Performance.getMetrics", {})["metrics"]
    }
    print(f"  JavaScript heap of the page itself {used['JSHeapTotalSize'] / 1e6:.0f} MB")


def main() -> None:
    from support.browser import CHROMEDRIVER, CHROMIUM, Browser
    from support.hosts import hosted

    from propmatch.page.runtime import Runtime
    from propmatch.page.standalone import Standalone, write_file_alone, write_folder
    from propmatch_datasets import path

    parser = argparse.ArgumentParser()
    parser.add_argument("brief", nargs="?", default="wetland_logger")
    parser.add_argument("--steps", type=int, default=30)
    parser.add_argument("--smoke", action="store_true")
    options = parser.parse_args()
    runtime = os.environ.get("PROPMATCH_RUNTIME")
    if not runtime or not all(Path(each).exists() for each in (CHROMIUM, CHROMEDRIVER)):
        print("nothing measured: PROPMATCH_RUNTIME names no folder, or there is no browser")
        return
    text = path(f"briefs/{options.brief}.toml").read_text(encoding="utf-8")
    with tempfile.TemporaryDirectory() as place:
        made = Standalone.of(Runtime.of(runtime), text, file=f"{options.brief}.toml")
        file, folder = write_file_alone(made, Path(place) / "page.html"), write_folder(made, Path(place) / "host")
        packed = sum(len(gzip.compress(each.read_bytes())) for each in folder.iterdir())
        print(f"one file {file.stat().st_size / 1e6:.2f} MB, folder {packed / 1e6:.2f} MB packed")
        with hosted(folder) as address:
            for name, where in (("from disk", file), ("from a host", address)):
                browser = Browser(Path(place) / name)
                try:
                    measure(browser, name, where, 3 if options.smoke else options.steps)
                finally:
                    browser.close()


if __name__ == "__main__":
    main()
