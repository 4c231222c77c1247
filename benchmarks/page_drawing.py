"""How long the page's own drawings take while a slider moves, in a real browser: script and layout, and the next frame.

    python benchmarks/page_drawing.py [--steps 60] [--smoke]

The map with 2,000 combinations that pass, invented here, as their mass goes up and down: most stay, all lose thrust and
time. Then the numbers, chart and bars of a picked train, from two answers of the page. Script and layout is the time on
the main thread until the layout is settled; the next frame is counted from the step, at a chance moment between two
frames, until the browser has drawn. Aims: at most 2 ms and 12 ms. Says so and ends where there is no browser.
"""

import argparse
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT / "tests"))

MARKS = 2000
MEASURE = """
async function measured(step, count) {
  const script = [], frame = [];
  for (let n = 0; n < count; n += 1) {
    await new Promise((go) => setTimeout(go, 30 + 17 * Math.random()));
    const from = performance.now();
    step(n);
    document.body.getBoundingClientRect();
    script.push(performance.now() - from);
    await new Promise((go) => requestAnimationFrame(() => {
      const told = new MessageChannel();
      told.port1.onmessage = go;
      told.port2.postMessage(0);
    }));
    frame.push(performance.now() - from);
  }
  return { script, frame };
}
"""
MAP = (
    MEASURE
    + """
const [marks, count, done] = arguments;
const [{ createMap }, { sized }] = await Promise.all([import("./mapdrawing.js"), import("./plot.js")]);
const place = document.getElementById("map"), map = createMap({ pick() {}, tell() {}, chosen: () => -1 });
place.replaceChildren(map.root, map.key);
const room = sized(place), of = (one) => ({ ...one, rows: (i) => one.keys[i] });
map.update(of(marks[0]), room);
const drawn = map.marks().length;
const seen = await measured((n) => map.update(of(marks[(n + 1) % marks.length]), room, true), count);
const rest = await measured((n) => map.update(of(marks[n % marks.length]), room), Math.min(count, 10));
done({ moving: seen, rest, drawn });
"""
)
TRAIN = (
    MEASURE
    + """
const [count, done] = arguments;
const [{ ask }, { useTrain }, { state }] = await Promise.all(
  [import("./asking.js"), import("./train.js"), import("./state.js")]);
const answers = [];
for (let more = 0; more < 6; more += 1) {
  const mass = Number(document.getElementById("bare_mass").value) + 5 * more;
  answers.push(await ask("train", { train: state.train, moving: true, changes: { "aircraft.bare_mass_g": mass } }));
}
done({ moving: await measured((n) => useTrain({ ...answers[n % answers.length], moving: true }), count) });
"""
)


def combinations(step: int) -> dict[str, Any]:
    """What passes at a step of the mass, the front first, as the page holds it: invented numbers."""
    from propmatch.search.front import pareto

    chance = np.random.default_rng(1)
    size = MARKS + 200
    mass = chance.uniform(380.0, 520.0, size) + 2.0 * step
    thrust = chance.uniform(250.0, 900.0, size) / mass
    minutes = 30.0 * chance.beta(2.0, 3.0, size) / thrust**0.7 * (450.0 / mass) ** 1.5
    kept = np.flatnonzero(minutes > 5.0 + 0.02 * step)[:MARKS]
    mass, thrust, minutes = mass[kept], thrust[kept], minutes[kept]
    best = pareto(minutes, thrust, np.zeros(mass.size))
    order = np.argsort(~best, kind="stable")
    cells = np.where(np.arange(size) % 3, 2, 3)[kept]
    return {
        "size": int(order.size), "front": int(best.sum()), "minutes": minutes[order].tolist(),
        "thrust": thrust[order].tolist(), "mass": mass[order].tolist(), "cells": cells[order].tolist(),
        "keys": [f"{each},0,0,0" for each in kept[order].tolist()],
    }  # fmt: skip


def line(name: str, taken: dict[str, Sequence[float]]) -> None:
    """Least, median and 95th percentile of both times."""
    script, frame = (np.quantile(taken[key], [0.0, 0.5, 0.95]) for key in ("script", "frame"))
    print(f"{name:34s}" + "".join(f"{each:7.2f}" for each in script) + "".join(f"{each:7.1f}" for each in frame))


def main() -> None:
    """Serve, open, measure."""
    from support.browser import CHROMEDRIVER, CHROMIUM, Browser
    from support.pages import served
    from support.sheets import BRIEF, stock

    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--steps", type=int, default=60)
    asked.add_argument("--smoke", action="store_true", help="two steps of each")
    given = asked.parse_args()
    count = 2 if given.smoke else given.steps
    missing = [name for name in (CHROMIUM, CHROMEDRIVER) if not Path(name).exists()]
    if missing:
        print(f"skipped: no {' and no '.join(missing)}; install chromium and chromium-driver")
        return
    with tempfile.TemporaryDirectory() as home, served(BRIEF, stock(), Path(home)) as page:
        browser = Browser(Path(home) / "profile")
        try:
            browser.driver.set_script_timeout(120)
            browser.open(page.address)
            while not browser.run("return document.body.dataset.mapped && document.body.dataset.drawn"):
                pass
            run = browser.driver.execute_async_script
            wrapped = "(async function () { BODY }).apply(null, arguments);"
            train = run(wrapped.replace("BODY", TRAIN), count)
            told = run(wrapped.replace("BODY", MAP), [combinations(step) for step in (0, 1, 2, 1)], count)
        finally:
            browser.close()
    print(f"{MARKS} combinations in {told['drawn']} marks; ms")
    print(f"{'':34s}{'script and layout':>21s}{'next frame':>21s}")
    print(f"{'':34s}" + 2 * f"{'least':>7s}{'median':>7s}{'p95':>7s}")
    line("map, while a slider moves", told["moving"])
    line("map, when it rests", told["rest"])
    line("numbers, chart and bars, moving", train["moving"])


if __name__ == "__main__":
    main()
