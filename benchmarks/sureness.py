"""How right chances and intervals are: a plain Monte Carlo beside the lanes of draws, coverage, convergence, cost.

Run ``python benchmarks/sureness.py [--smoke] [--draws N] [--trains N] [--seed S]``. Ten power trains of the bundled
catalogue fly one brief. Each is drawn again by a loop of its own (``tests/support/drawn.py``: numpy's random numbers,
scipy's brentq, plain floats), 20,000 times. The ends of the 80 % intervals are compared in units of their width, the
chance of keeping limits near the middle in points. The draws of that loop are also the planted truths: 2,000 of them,
an equal number of each train, against the intervals of the lanes. Convergence: the same errors by number of draws,
each over several seeds, against 2^15 draws.
"""

import argparse
import os
import sys
import time
from pathlib import Path

for threads in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(threads, "1")
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests"))

import numpy as np
from support.drawn import ANSWERS, DrawnTrain, random_z

from propmatch.catalogue.catalogue import Catalogue, load_catalogue
from propmatch.checks.chances import INTERVAL, Sureness, interval, sureness
from propmatch.checks.setting import ResolvedBrief, Setting
from propmatch.records.brief import loads_brief
from propmatch.records.parts import PowerTrain

TAIL = (1.0 - INTERVAL) / 2.0
BRIEF = """
[aircraft]
name = "one speed"
bare_mass_g = 250
target_mass_g = 450
[wing]
area_dm2 = 15
span_mm = 1000
cl_max = 1.2
cd0 = 0.04
[radio]
servos = 3
payload_current_a = 0.1
[limits]
min_thrust_to_weight = 0.5
min_flight_minutes = 5
reserve_charge = 0.2
cutoff_cell_v = 3.3
[[phase]]
name = "level"
airspeed_m_s = 12
share = 1.0
[site]
pack_temperature_c = 25
"""


def some_trains(setting: Setting, catalogue: Catalogue, count: int, seed: int) -> list[PowerTrain]:
    """Random combinations of LiPo packs, of two or three cells, that hold the airspeed with thrust to spare."""
    rng = np.random.default_rng(seed)
    kinds = [list(getattr(catalogue, kind).values()) for kind in ("motors", "controllers", "packs", "propellers")]
    kinds[2] = [pack for pack in kinds[2] if pack.chemistry == "lipo" and pack.cells_series in (2, 3)]
    found: list[PowerTrain] = []
    while len(found) < count:
        train = setting.train(*(kind[rng.integers(len(kind))] for kind in kinds))
        measured = sureness(setting, train, draws=64).measured
        ratio, minutes = measured["thrust_to_weight"].value, measured.flight.minutes
        amps, most = measured.full(1.0).motor_current_a, 2.5 * (train.motor.max_current_a or 0.0)
        if 0.3 < np.median(ratio) < 3 and np.median(minutes) > 2 and np.median(amps) < most:
            found.append(train)
    return found


def by_lanes(sure: Sureness) -> np.ndarray:
    """``ANSWERS`` of every draw, (answers, N)."""
    m = sure.measured
    full = m.full(1.0)
    minutes = m.flight.minutes
    rows = (full.thrust_n, m["thrust_to_weight"].value, full.motor_current_a, full.pack_current_a, minutes)
    return np.array(rows)


def ends(values: np.ndarray) -> np.ndarray:
    """Interval of each row, (answers, 2)."""
    return np.array([(each.low, each.high) for each in map(interval, values)])


def errors(values: np.ndarray, truth: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Worst error of an end over the width, and of a chance near 0.6 [points], of each answer."""
    right = ends(truth)
    width = right[:, 1] - right[:, 0]
    of_ends = np.abs(ends(values) - right).max(axis=1) / width
    limits = np.nanquantile(truth, 0.4, axis=1)[:, None]
    chances = [(each > limits).mean(axis=1) for each in (values, truth)]
    return of_ends, 100.0 * (chances[0] - chances[1])


def main(words: list[str] | None = None) -> None:
    """Print the comparison."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--smoke", action="store_true", help="two trains, few draws")
    parser.add_argument("--draws", type=int, default=20_000)
    parser.add_argument("--trains", type=int, default=10)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args(words)
    draws, count = (400, 2) if asked.smoke else (asked.draws, asked.trains)
    setting = ResolvedBrief.of(loads_brief(BRIEF)).as_designed
    trains = some_trains(setting, load_catalogue(), count, asked.seed)
    rng = np.random.default_rng(asked.seed)
    inside, off = [], []
    print(f"{'train':60s}" + "".join(f"{name:>18s}" for name in ANSWERS))
    for train in trains:
        sure = sureness(setting, train)
        lanes, loop = by_lanes(sure), DrawnTrain(setting, train, sure.inputs)
        start = time.process_time()
        truth = np.array([loop.answers(random_z(rng)) for _ in range(draws)]).T
        seconds = time.process_time() - start
        off.append(errors(lanes, truth))
        low, high = ends(lanes).T[:, :, None]
        inside.append((truth >= low) & (truth <= high))
        name = f"{train.motor.name}, {train.pack.name}, {train.propeller.name}"
        cells = "".join(f"{100 * e:8.1f} %{p:+6.1f} pt" for e, p in zip(*off[-1], strict=True))
        print(f"{name[:60]:60s}{cells}  {1e3 * seconds / draws:.2f} ms a draw")
    of_ends, points = (np.array(each) for each in zip(*off, strict=True))
    print(f"ends off by {_spread(100 * of_ends)} (% of the width), chances by {_spread(points)} (points)")
    for planted in (max(1, min(draws, 2000 // count)), draws):
        covered = np.concatenate([each[:, :planted] for each in inside], axis=1)
        shares = zip(ANSWERS, 100.0 * covered.mean(axis=1), strict=True)
        print(f"coverage over {covered.shape[1]}:", ", ".join(f"{name} {share:.1f} %" for name, share in shares))
    convergence(setting, trains[: 1 if asked.smoke else 3], smoke=asked.smoke)


def _spread(values: np.ndarray) -> str:
    return f"{np.sqrt(np.mean(values**2)):.1f} rms and {np.abs(values).max():.1f} at worst"


def convergence(setting: Setting, trains: list[PowerTrain], *, smoke: bool) -> None:
    """Print errors of ends and chances by number of draws."""
    many, seeds = (4096, 2) if smoke else (32768, 8)
    truths = [by_lanes(sureness(setting, train, draws=many, seed=99)) for train in trains]
    for count in (256, 1024) if smoke else (256, 1024, 4096):
        off, start = [], time.process_time()
        for train, truth in zip(trains, truths, strict=True):
            off += [errors(by_lanes(sureness(setting, train, draws=count, seed=seed)), truth) for seed in range(seeds)]
        of_ends, points = (np.array(each) for each in zip(*off, strict=True))
        ms = 1e3 * (time.process_time() - start) / len(off)
        print(
            f"{count:5d} draws: ends off by {_spread(100 * of_ends)} (% of the width), chances by {_spread(points)} "
            f"(points), {ms:.0f} ms a train"
        )


if __name__ == "__main__":
    main()
