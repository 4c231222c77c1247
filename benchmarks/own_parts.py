"""Matching with many parts of a user's own: reading them, laying them out, and the exact best on paper.

Run ``python benchmarks/own_parts.py [--smoke] [--brief NAME] [--within SECONDS]``. Written are 500 motors and 500
packs, then ten times as many, beside the bundled parts; times are process time, memory the most of the process. The
last line asks for the best so far within two seconds and tells how much better the rest can be. Then 25,000 of each
kind, the propellers without a table in the half-inch sizes that are sold, for the best so far within 60 seconds of wall
time from first to last, and the score that nothing else exceeds.
"""

import argparse
import os
import resource
import tempfile
import time
from pathlib import Path

for threads in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(threads, "1")

import numpy as np

from propmatch.catalogue.catalogue import load_catalogue
from propmatch.checks.setting import ResolvedBrief, Setting
from propmatch.commands.briefs import open_brief
from propmatch.files import write_file
from propmatch.search.matching import Search, shelves_of
from propmatch.search.ranking import ranking
from propmatch.search.shelf import Shelf

TOP = 50
"""Rows that ``match --on-paper`` asks for, as those that differ in the controller share one line."""


def write_parts(folder: Path, motors: int, packs: int, seed: int, *, others: int = 0) -> None:
    """Invented motors and packs, and so many ``others``: controllers and propellers."""
    rng = np.random.default_rng(seed)
    lines = ["id,name,kv_rpm_per_v,mass_g,resistance_ohm,no_load_current_a,max_current_a,cells_min,cells_max"]
    for i in range(motors):
        mass = float(np.exp(rng.uniform(np.log(15.0), np.log(90.0))))
        kv = float(np.exp(rng.uniform(np.log(700.0), np.log(3000.0)))) * (40.0 / mass) ** 0.3
        ohm = 60.0 / (kv * mass) ** 0.5 / kv * 6.0 * rng.uniform(0.7, 1.4)
        idle, most = mass / 40.0 * rng.uniform(0.4, 1.2), mass * rng.uniform(0.3, 0.6)
        lines.append(f"m{i},outrunner {i},{kv:.0f},{mass:.1f},{ohm:.4f},{idle:.2f},{most:.1f},2,4")
    write_file(folder / "motors.csv", "\n".join(lines) + "\n")
    lines = ["id,name,cells_series,capacity_mah,c_rating,mass_g,cell_resistance_mohm"]
    for i in range(packs):
        cells, mah = int(rng.integers(2, 5)), int(rng.integers(300, 3000))
        mass, ohm = cells * mah * rng.uniform(0.022, 0.030), 12e3 / mah * rng.uniform(0.7, 1.4)
        lines.append(f"p{i},pack {i},{cells},{mah},{rng.uniform(20, 60):.0f},{mass:.1f},{ohm:.1f}")
    write_file(folder / "packs.csv", "\n".join(lines) + "\n")
    if not others:
        return
    lines = ["id,name,max_current_a,resistance_mohm,mass_g,cells_min,cells_max"]
    for i in range(others):
        amps = float(np.exp(rng.uniform(np.log(6.0), np.log(60.0))))
        ohm, mass = 60.0 / amps * rng.uniform(0.7, 1.4), (4.0 + 0.7 * amps) * rng.uniform(0.8, 1.2)
        lines.append(f"c{i},controller {i},{amps:.1f},{ohm:.2f},{mass:.1f},2,{rng.integers(3, 7)}")
    write_file(folder / "controllers.csv", "\n".join(lines) + "\n")
    lines = ["id,name,diameter_in,pitch_in,mass_g,family"]
    for i in range(others):
        inch = 0.5 * int(rng.integers(8, 25))
        pitch, mass = 0.5 * int(np.ceil(2.0 * inch * rng.uniform(0.35, 1.0))), 0.11 * inch**2 * rng.uniform(0.8, 1.2)
        lines.append(f"q{i},propeller {i},{inch:g},{pitch:g},{mass:.2f},{('thin', 'thick')[i % 2]}")
    write_file(folder / "propellers.csv", "\n".join(lines) + "\n")


def measure(name: str, count: int) -> None:
    """One line: so many parts, half motors and half packs."""
    with tempfile.TemporaryDirectory() as folder:
        write_parts(Path(folder), count // 2, count // 2, 1)
        marks = [time.process_time()]
        setting, shelves, total = laid_out(name, folder, marks)
        order = ranking(setting)
        Search(exhaustive=False, count=False, total=total).each(setting, shelves, order, TOP, None)
        marks.append(time.process_time())
    say(count, total, marks)
    timed = Search(exhaustive=False, count=False, total=total, within_s=2.0)
    for cells, each in timed.each(setting, shelves, order, TOP, None).items():
        if each.bound is not None and each.score.size:
            print(f"{'':6} within 2 s of wall time, {cells}S: no other above {each.bound / each.score[0] - 1:.0%} more")


def mixed(name: str, count: int, within_s: float) -> None:
    """One line: so many parts, a quarter of each kind, within so many seconds from first to last."""
    with tempfile.TemporaryDirectory() as folder:
        write_parts(Path(folder), count // 4, count // 4, 1, others=count // 4)
        start, marks = time.monotonic(), [time.process_time()]
        setting, shelves, total = laid_out(name, folder, marks)
        left = max(within_s - (time.monotonic() - start), 1.0)
        search = Search(exhaustive=False, count=False, total=total, within_s=left)
        founds = search.each(setting, shelves, ranking(setting), TOP, None)
        marks.append(time.process_time())
    say(count, total, marks)
    print(f"{'':6} {time.monotonic() - start:.1f} s of wall time")
    for cells, each in founds.items():
        rest = "all looked at" if each.bound is None else f"no other above {each.bound:.4g}"
        best = (
            f"best score {each.score[0]:.4f}, last of {each.score.size} {each.score[-1]:.4f}"
            if each.score.size
            else "none"
        )
        print(f"{'':6} {cells}S: {best}, {rest}")


def laid_out(name: str, folder: str, marks: list[float]) -> tuple[Setting, dict[int, Shelf], int]:
    """A brief as designed, its shelves, and how many combinations; two marks of time."""
    catalogue = load_catalogue(parts=folder)
    for kind in ("motors", "controllers", "packs", "propellers"):
        catalogue.listed(kind)
    marks.append(time.process_time())
    setting = ResolvedBrief.of(open_brief(name, ())[0]).as_designed
    shelves, whole = shelves_of(setting, catalogue)
    marks.append(time.process_time())
    return setting, shelves, whole.combinations


def say(count: int, total: int, marks: list[float]) -> None:
    """The times between marks and the memory."""
    read, laid, found = np.diff(marks)
    print(f"{count:6} own parts, {total:9.2g} combinations: read {read:5.2f} s, laid out {laid:5.2f} s, "
          f"best {TOP} {found:6.2f} s, in all {marks[-1] - marks[0]:6.2f} s, "
          f"{resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB")  # fmt: skip


def main() -> None:
    """Each size."""
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("--smoke", action="store_true", help="40 parts, to see that it runs")
    options.add_argument("--brief", default="club_racer")
    options.add_argument("--within", type=float, default=60.0, help="seconds of wall time for the mixed parts")
    options.add_argument("--mixed", type=int, default=100_000, help="how many mixed parts")
    asked = options.parse_args()
    for count in (40,) if asked.smoke else (1_000, 10_000):
        measure(asked.brief, count)
    mixed(asked.brief, 80 if asked.smoke else asked.mixed, asked.within)


if __name__ == "__main__":
    main()
