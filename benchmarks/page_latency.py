"""How long the map of the page takes to follow a number: from the input event to the map redrawn, in a real browser.

    python benchmarks/page_latency.py [BRIEF] [--steps 30] [--smoke]

Steps each of mass, thrust, time, diameter, cells, reserve, altitude and temperature, one after the other as a slider
makes them; median and 95th percentile of the wall time, the CPU time of the worker for a step, and the bytes of an
answer. Aims: 150 ms and 300 ms, 700 ms for altitude and temperature, less than 284 kB. Says so and ends where there is
no browser.
"""

import argparse
import os
import re
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests"))

SLIDERS = {
    "mass": ("bare_mass", 2.5, 8), "thrust": ("thrust", 0.01, 20), "time": ("minutes", 0.25, 20),
    "diameter": ("propeller", 0.25, 12), "reserve": ("reserve", 0.01, 20), "altitude": ("height", 50, 30),
    "temperature": ("temperature", 1, 20),
}  # fmt: skip
"""Id of the number on the page, the step it moves by, and how many steps it goes before it turns back."""
NAMES = ("mass", "thrust", "time", "diameter", "cells", "reserve", "altitude", "temperature")
SMALL = "schoolyard_trainer"
_PATIENCE_S = 180
CELLS = ["2", "3", "2, 3", "1, 2", "", "3, 4"]
STEP = """
const [id, value, slider, done] = arguments;
const input = document.getElementById(slider ? id + '-slider' : id);
const before = document.body.dataset.steps, from = performance.now();
const seen = new MutationObserver(() => {
  if (document.body.dataset.steps === before) return;
  seen.disconnect();
  requestAnimationFrame(() => setTimeout(() => done(performance.now() - from), 0));
});
seen.observe(document.body, { attributes: true, attributeFilter: ['data-steps'] });
input.value = value;
input.dispatchEvent(new Event('input'));
"""


def cpu_s(process: int) -> float:
    """User and system time of the processes that a process began [s]."""
    total = 0
    for thread in Path(f"/proc/{process}/task").iterdir():
        for child in (thread / "children").read_text(encoding="ascii").split():
            stat = Path(f"/proc/{child}/stat").read_text(encoding="ascii").rpartition(")")[2].split()
            total += int(stat[11]) + int(stat[12])
    return total / os.sysconf("SC_CLK_TCK")


def steps_of(name: str, start: float, count: int) -> list[str]:
    """Values that a number takes, forth and back from where it is."""
    if name == "cells":
        return [CELLS[i % len(CELLS)] for i in range(count)]
    _, step, turn = SLIDERS[name]
    return [f"{start + step * (turn - abs(i % (2 * turn) - turn)):.4g}" for i in range(1, count + 1)]


def measured(browser: Any, server: int, count: int, names: Sequence[str]) -> None:
    """Print a line for each number."""
    print(f"{'number':12s} {'median':>7s} {'p95':>7s} {'worst':>7s} ms   worker CPU ms a step   marks")
    for name in names:
        own = SLIDERS[name][0] if name in SLIDERS else "cells"
        stated = browser.run("return document.getElementById(arguments[0]).value", own)
        start = float(stated) if name in SLIDERS and stated else 0.0
        before, taken = cpu_s(server), []
        for value in steps_of(name, start, count):
            taken.append(browser.driver.execute_async_script(STEP, own, value, name in SLIDERS))
        cpu = (cpu_s(server) - before) / count * 1e3
        marks = browser.run("return document.querySelectorAll('#map [data-row]:not(.away)').length")
        median, late, worst = np.quantile(taken, [0.5, 0.95, 1.0])
        print(
            f"{name:12s} {median:7.0f} {late:7.0f} {worst:7.0f}      {cpu:7.0f}                {marks:5d}", flush=True
        )
        slider = name in SLIDERS
        browser.driver.execute_async_script(STEP, own, stated, slider)
        if slider:
            browser.run("document.getElementById(arguments[0] + '-slider').dispatchEvent(new Event('change'))", own)
        time.sleep(4.0)


def main() -> None:
    """Serve, open, measure."""
    from support.browser import CHROMEDRIVER, CHROMIUM, Browser

    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("brief", nargs="?", default="wetland_logger")
    asked.add_argument("--steps", type=int, default=30)
    asked.add_argument("--smoke", action="store_true", help="one step each of mass and thrust, on a small brief")
    given = asked.parse_args()
    brief, steps, names = (SMALL, 1, NAMES[:2]) if given.smoke else (given.brief, given.steps, NAMES)
    missing = [name for name in (CHROMIUM, CHROMEDRIVER) if not Path(name).exists()]
    if missing:
        print(f"skipped: no {' and no '.join(missing)}; install chromium and chromium-driver")
        return
    words = [sys.executable, "-m", "propmatch.cli", "page", brief, "--no-open"]
    server = subprocess.Popen(words, stdout=subprocess.PIPE, text=True, env={**os.environ, "PYTHONUNBUFFERED": "1"})
    browser = None
    try:
        assert server.stdout is not None
        address = next(found[0] for line in server.stdout if (found := re.search(r"http://\S+/", line)))
        with tempfile.TemporaryDirectory() as profile:
            browser = Browser(Path(profile))
            browser.driver.set_script_timeout(120)
            browser.open(address)
            began = time.monotonic()
            while not browser.run("return document.body.dataset.mapped && document.body.dataset.drawn"):
                if time.monotonic() - began > _PATIENCE_S:
                    raise SystemExit(f"no map after {_PATIENCE_S} s: {browser.complaints()}")
                time.sleep(0.1)
            print(f"{brief}: first map and train after {time.monotonic() - began:.1f} s")
            time.sleep(6.0)
            size = "return performance.getEntriesByName(location.href.split('#')[0] + 'map').pop().decodedBodySize"
            print(f"an answer of the map: {browser.run(size) / 1e3:.0f} kB")
            measured(browser, server.pid, steps, names)
    finally:
        if browser is not None:
            browser.close()
        server.terminate()
        server.wait(timeout=20)


if __name__ == "__main__":
    main()
