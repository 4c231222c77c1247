"""The search of a whole catalogue beside a loop of scipy's brentq, in one run, one thread.

Run ``python benchmarks/search.py [--smoke] [--huge] [--seed S]``. The catalogue is invented: 300 motors, 200
propellers, 60 packs and one controller, 3.6 million combinations, for a brief with a thrust to weight, a flight time, a
full-throttle climb and a cruise. The loop judges one combination after the other with plain floats and brentq, stops at
the first limit that fails, and integrates the flight over the charge as the design does; it is timed on a random sample
and extrapolated. Both sides use the same numbers; the sample's verdicts are compared. Times are process time.
"""

import argparse
import math
import os
import subprocess
import sys
import time
import tracemalloc
from pathlib import Path
from typing import Any

for threads in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(threads, "1")
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests"))

import numpy as np
from scipy.optimize import brentq
from support.oracle import FloatTable
from support.trains import rising_rpm_table

from propmatch.aircraft.discharge import charge_edges, gauss_nodes
from propmatch.battery import resistance_factor
from propmatch.brief import Aircraft, Brief, Limits, Phase, Prefer, Wing
from propmatch.checks.measures import TrainMeasures
from propmatch.checks.setting import Setting, settings
from propmatch.records.parts import Controller, Motor, Pack, Propeller
from propmatch.search.bounds.pruned import search
from propmatch.search.exhaustive import first_failures
from propmatch.search.ranking import ranking
from propmatch.search.shelf import Shelf

RPM = 60.0 / (2.0 * math.pi)
G = 9.80665
NUMBERS = (
    "k", "resistance_ohm", "no_load_a", "controller_ohm", "loss", "cells", "cells_ohm", "leads_ohm", "capacity_ah",
    "radio_a", "diameter_m",
)  # fmt: skip


def brief_for(**prefer: float) -> Brief:
    """A small sport model."""
    return Brief(
        aircraft=Aircraft(name="invented sport model", bare_mass_g=300.0, target_mass_g=620.0),
        wing=Wing(area_dm2=18.0, span_mm=1100.0, cd0=0.04, cl_max=1.1),
        limits=Limits(min_thrust_to_weight=0.8, min_flight_minutes=6.0, reserve_charge=0.2, cutoff_cell_v=3.3),
        phase=(
            Phase(name="climb", throttle=1.0, airspeed_m_s=10.0, seconds=20.0),
            Phase(name="cruise", airspeed_m_s=13.0, share=1.0),
        ),
        prefer=Prefer(**prefer),
    )


def shelf_of(motors: int, propellers: int, packs: int, seed: int, controllers: int = 1) -> Shelf:
    """An invented catalogue."""
    rng = np.random.default_rng(seed)
    mass = np.exp(rng.uniform(np.log(15.0), np.log(90.0), motors))
    kv = np.exp(rng.uniform(np.log(700.0), np.log(3000.0), motors)) * (40.0 / mass) ** 0.3
    made_motors = [
        Motor(
            name=f"motor {i}", id=f"m{i}", kv_rpm_per_v=float(k), mass_g=float(m),
            resistance_ohm=float(60.0 / (k * m) ** 0.5 / k * 60.0 / 10.0 * rng.uniform(0.7, 1.4)),
            no_load_current_a=float(m / 40.0 * rng.uniform(0.4, 1.2)), max_current_a=float(m * rng.uniform(0.3, 0.6)),
            max_power_w=float(m * rng.uniform(3.0, 6.0)),
        )
        for i, (m, k) in enumerate(zip(mass, kv, strict=True))
    ]  # fmt: skip
    made_controllers = [
        Controller(
            name=f"controller {i}", id=f"c{i}", max_current_a=30.0 + 5 * i, mass_g=18.0 + 3 * i, resistance_mohm=4.0
        )
        for i in range(controllers)
    ]
    made_packs = []
    for i in range(packs):
        cells, capacity = int(rng.integers(2, 5)), float(rng.choice([650, 850, 1000, 1300, 1800, 2200]))
        made_packs.append(
            Pack(
                name=f"pack {i}", id=f"p{i}", cells_series=cells, capacity_mah=capacity,
                c_rating=float(rng.uniform(20, 45)),
                mass_g=cells * capacity * float(rng.uniform(0.022, 0.028)),
                cell_resistance_mohm=float(12.0 / capacity * 1000.0 * rng.uniform(0.7, 1.4)),
            )
        )  # fmt: skip
    made_propellers = []
    for i in range(propellers):
        diameter, ratio = float(rng.uniform(4.5, 10.0)), float(rng.uniform(0.4, 0.95))
        table = rising_rpm_table(
            ct0=rng.uniform(0.09, 0.13), cp0=0.055 * ratio * rng.uniform(0.8, 1.2), j_thrust=1.15 * ratio,
            j_power=1.35 * ratio, rpm=np.linspace(2000.0, 20000.0, 9),
        )  # fmt: skip
        made_propellers.append(
            Propeller(name=f"propeller {i}", id=f"q{i}", diameter_in=diameter, pitch_in=diameter * ratio, table=table)
        )
    return Shelf.of(made_motors, made_controllers, made_packs, made_propellers)


# ---------------------------------------------------------------- one combination at a time


class Loop:
    """One combination after the other in plain floats, the first failing limit ends it."""

    def __init__(self, setting: Setting, shelf: Shelf) -> None:
        self.setting, self.shelf = setting, shelf
        frame = setting.airframes(np.zeros(1))
        self.area, self.cd0, self.k = (float(x[0]) for x in (frame.area_m2, frame.cd0, frame.k))
        self.rho = setting.air.density_kg_m3
        self.tables = [FloatTable(p.table) for p in shelf.propellers]
        limits = setting.brief.limits
        nodes = gauss_nodes(charge_edges(shelf.lanes.chemistries[0], float(limits.reserve_charge or 0.0))[:, None])
        self.charges = [float(q) for pair in zip(nodes[0, :, 0], nodes[1, :, 0], strict=True) for q in pair]
        edges = charge_edges(shelf.lanes.chemistries[0], float(limits.reserve_charge or 0.0))
        self.widths = [float(w) / 2 for w in edges[:-1] - edges[1:] for _ in (0, 1)]
        ocv = shelf.lanes.chemistries[0].cell_ocv_v
        self.volts = {q: (float(ocv(q)), float(resistance_factor(q))) for q in (1.0, 0.5, *self.charges)}

    def __call__(self, row: Any, *, top_speed: bool) -> tuple[bool, float]:
        """Whether it passes, and its minutes or top speed."""
        lanes, ratings = self.shelf.combine(*(np.array([i]) for i in row))
        mass = self.setting.all_up_mass_g(float(ratings.mass_g[0]))
        if mass > (self.setting.variant.target_mass_g or math.inf):
            return False, math.nan
        one = Combination(self, lanes, ratings, self.tables[int(row[3])], mass)
        if not one.keeps_ratings():
            return False, math.nan
        minutes = one.minutes()
        if not minutes >= (self.setting.brief.limits.min_flight_minutes or 0.0):
            return False, math.nan
        return True, one.top_speed() if top_speed else minutes


class Combination:
    """One power train in plain floats."""

    def __init__(self, loop: Loop, lanes: Any, ratings: Any, table: FloatTable, mass_g: float) -> None:
        self.loop, self.table, self.limits = loop, table, loop.setting.brief.limits
        self.p = p = {name: float(getattr(lanes, name)[0]) for name in NUMBERS}
        self.weight, self.drag_c = mass_g * 1e-3 * G, 0.5 * loop.rho * loop.area
        s, which, d = lanes.stack, int(lanes.propeller[0]), p["diameter_m"]
        self.slow, self.fast = 1.05 * float(s.j_zero_high[which]), 0.95 * float(s.j_zero_low[which])
        self.per_q, self.per_t = loop.rho * d**5 / (8 * math.pi**3), loop.rho * d**4 / (4 * math.pi**2)
        self.motor_w, self.usable_a = float(ratings.motor_w[0]), float(ratings.usable_a[0])
        usable = self.usable_a - p["radio_a"]
        self.current = min(float(ratings.motor.continuous[0]), float(ratings.controller_a[0]), usable)
        self.rpm = float(np.nan_to_num(ratings.max_rpm[0], nan=math.inf))
        self.climb_a = math.nan

    def electric(self, q: float) -> tuple[float, float]:
        """Voltage behind the radio and payload and resistance of the pack at a charge."""
        p, (volt, factor) = self.p, self.loop.volts[q]
        ohm = p["cells_ohm"] * factor + p["leads_ohm"]
        return p["cells"] * volt - ohm * p["radio_a"], ohm

    def thrust(self, u: float, v: float) -> float:
        return self.table.ct(u * RPM, 2 * math.pi * v / (u * self.p["diameter_m"])) * self.per_t * u * u

    def motor_a(self, u: float, v: float) -> float:
        p = self.p
        torque = self.table.cp(u * RPM, 2 * math.pi * v / (u * p["diameter_m"])) * self.per_q * u * u
        return torque / p["k"] + p["no_load_a"]

    def drag(self, v: float) -> float:
        return self.drag_c * v * v * self.loop.cd0 + self.loop.k * self.weight**2 / (self.drag_c * v * v)

    def point(self, q: float, v: float) -> tuple[float, float]:
        """Speed [rad/s] and current at full throttle."""
        p, k = self.p, self.p["k"]
        e, ohm = self.electric(q)
        r = p["resistance_ohm"] + p["controller_ohm"] + ohm
        low, high = 1.0, e / k
        if v > 0:
            low = min((e - r * p["no_load_a"]) / k, 2 * math.pi * v / (p["diameter_m"] * self.slow))
            high = max(high, 2 * math.pi * v / (p["diameter_m"] * self.fast))
        u = brentq(lambda u: e - k * u - r * self.motor_a(u, v), low, high, xtol=1e-9, rtol=1e-12)
        return u, (e - k * u) / r

    def keeps_ratings(self) -> bool:
        """Currents and power at full throttle, static thrust at half charge, the pack in a climb."""
        p = self.p
        for v in (0.0, 10.0, 13.0):
            u, current = self.point(1.0, v)
            if (
                current > self.current
                or u * RPM > self.rpm
                or (p["k"] * u + p["resistance_ohm"] * current) * current > self.motor_w
            ):
                return False
        u, _ = self.point(0.5, 0.0)
        if self.thrust(u, 0.0) < (self.limits.min_thrust_to_weight or 0.0) * self.weight:
            return False
        self.climb_a = self.point(1.0, 10.0)[1] + p["radio_a"]
        return self.climb_a * 0.995 <= self.usable_a  # mean over the climb, about

    def minutes(self) -> float:
        """Minutes in level flight at 13 m/s after a climb; NaN where a charge does not hold it."""
        p, v, loss, total = self.p, 13.0, self.p["loss"], 0.0
        need = self.drag(v)
        u = brentq(lambda u: self.thrust(u, v) - need, 50.0, 1e4, rtol=1e-12)
        current = self.motor_a(u, v)
        behind = p["k"] * u + (p["resistance_ohm"] + p["controller_ohm"]) * current
        for q, width in zip(self.loop.charges, self.loop.widths, strict=True):
            e, ohm = self.electric(q)
            a, b = loss * e - ohm * current, (1 - loss) * e - loss * behind
            root = b * b + 4 * a * (1 - loss) * behind
            duty = 2 * (1 - loss) * behind / (b + math.sqrt(root)) if root >= 0 else 2.0
            drawn = duty * current / (1 - loss * (1 - duty)) + p["radio_a"] if duty <= 1 else math.inf
            cell_v = (e + ohm * p["radio_a"] - ohm * drawn) / p["cells"]
            if duty > 1 or cell_v < (self.limits.cutoff_cell_v or 0.0):
                return math.nan
            total += width * 3600 * p["capacity_ah"] / drawn
        return (20.0 + total - 20.0 * self.climb_a * total / (0.8 * 3600 * p["capacity_ah"])) / 60.0

    def top_speed(self) -> float:
        """Fastest level flight at half charge [m/s]."""
        return brentq(lambda v: self.thrust(self.point(0.5, v)[0], v) - self.drag(v), 13.0, 120.0, rtol=1e-9)


def timed(work: Any, repeats: int = 3) -> tuple[float, Any]:
    """Median process time and the last answer."""
    times, answer = [], None
    for _ in range(repeats):
        start = time.process_time()
        answer = work()
        times.append(time.process_time() - start)
    return sorted(times)[repeats // 2], answer


def peak_mb(work: Any) -> float:
    """Peak memory that a call takes beside what is there [MB]."""
    tracemalloc.start()
    work()
    peak = tracemalloc.get_traced_memory()[1] / 1e6
    tracemalloc.stop()
    return float(peak)


def compare(shelf: Shelf, sample: int, seed: int) -> None:
    """Ratios against the loop."""
    setting = settings(brief_for(flight_time=1.0))[0]
    loop = Loop(setting, shelf)
    rng = np.random.default_rng(seed)
    rows = np.column_stack([rng.integers(0, n, sample) for n in shelf.sizes])
    rows = rows[shelf.cells_fit(*rows[:, :3].T)]
    total = shelf.combinations
    print(f"\n{' x '.join(map(str, shelf.sizes))}: {total} combinations; the loop on {len(rows)} of them, extrapolated")
    seconds = {}
    for speed in (False, True):
        start = time.process_time()
        verdicts = [loop(row, top_speed=speed)[0] for row in rows]
        seconds[speed] = (time.process_time() - start) / len(rows) * total
    plain = first_failures(TrainMeasures(setting, *shelf.combine(*rows.T)))[0] < 0
    agree = int(np.sum(plain == np.array(verdicts)))
    print(f"verdicts of loop and measures agree on {agree} of {len(rows)}; {np.mean(plain):.1%} pass")
    print(f"lazy brentq loop: flight time {seconds[False]:.0f} s, top speed {seconds[True]:.0f} s")
    for label, prefer, count, against in (
        ("top 20 by flight time", {"flight_time": 1.0}, False, seconds[False]),
        ("top 20 by top speed", {"top_speed": 1.0}, False, seconds[True]),
        ("top 20 by thrust to weight", {"thrust_to_weight": 1.0}, False, seconds[False]),
        ("top 20 by a mix", {"flight_time": 0.5, "top_speed": 0.3, "mass": 0.2}, False, seconds[True]),
        ("full screen, all counted", {"flight_time": 1.0}, True, seconds[False]),
    ):
        chosen = settings(brief_for(**prefer))[0]
        order = ranking(chosen)
        took, found = timed(lambda s=chosen, o=order, c=count: search(s, shelf, o, top=20, count=c))
        memory = peak_mb(lambda s=chosen, o=order, c=count: search(s, shelf, o, top=20, count=c))
        passing = "" if found.passing is None else f", {found.passing} pass"
        print(f"{label:28s} {took * 1e3:8.1f} ms  {against / took:10,.0f} x the loop  peak {memory:6.1f} MB{passing}")


def growth(sizes: list[tuple[int, int, int]], seed: int) -> None:
    """Time over the size of the catalogue."""
    print("\ngrowth          combinations   flight time ms   top speed ms   screen ms")
    table = []
    for size in sizes:
        shelf = shelf_of(*size, seed)
        times = []
        for prefer, count in (({"flight_time": 1.0}, False), ({"top_speed": 1.0}, False), ({"flight_time": 1.0}, True)):
            chosen = settings(brief_for(**prefer))[0]
            order = ranking(chosen)
            if count and shelf.combinations > 2e7:
                times.append(math.nan)
                continue
            times.append(timed(lambda s=chosen, o=order, c=count, f=shelf: search(s, f, o, count=c), 1)[0])
        table.append((shelf.combinations, *times))
        print(
            f"{' x '.join(map(str, size)):15s} {shelf.combinations:12d} " + "  ".join(f"{t * 1e3:13.1f}" for t in times)
        )
    for column, label in ((1, "flight time"), (2, "top speed")):
        span = math.log(table[-1][column] / table[0][column]) / math.log(table[-1][0] / table[0][0])
        print(f"growth exponent, {label}: {span:.2f}")


def command_line() -> None:
    """Wall time of ``propmatch match`` beside importing numpy and pandas."""

    def wall(*words: str) -> float:
        times = []
        for _ in range(3):
            start = time.perf_counter()
            subprocess.run([sys.executable, *words], capture_output=True, check=False)
            times.append(time.perf_counter() - start)
        return sorted(times)[1]

    base = wall("-c", "import numpy, pandas")
    mine = wall("-m", "propmatch.cli", "match")
    print(f"\npropmatch match on the bundled catalogue {mine * 1e3:.0f} ms")
    print(f"import numpy and pandas {base * 1e3:.0f} ms: {mine / base:.2f} times")


def huge(seed: int) -> None:
    """2e10 combinations."""
    start = time.process_time()
    shelf = shelf_of(10_000, 2_000, 1_000, seed)
    print(f"\n{shelf.combinations:.3g} combinations; laid out in {time.process_time() - start:.1f} s")
    for prefer in ({"flight_time": 1.0}, {"mass": 1.0}, {"top_speed": 1.0}, {"thrust_to_weight": 1.0}):
        chosen = settings(brief_for(**prefer))[0]
        took, found = timed(lambda s=chosen: search(s, shelf, ranking(s), top=20), 1)
        print(f"top 20 by {next(iter(prefer)):18s} {took:7.2f} s, best score {found.score[0]:.4f}")


def main() -> None:
    """All of it."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--smoke", action="store_true", help="a few seconds, to see that it runs")
    parser.add_argument("--huge", action="store_true", help="also 2e10 combinations (minutes, 2 GB)")
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    if options.smoke:
        compare(shelf_of(30, 20, 10, options.seed), 60, options.seed)
        growth([(15, 10, 5), (30, 20, 10)], options.seed)
        return
    compare(shelf_of(300, 200, 60, options.seed), 1000, options.seed)
    growth([(120, 80, 24), (190, 127, 38), (300, 200, 60), (476, 317, 95), (770, 513, 154)], options.seed)
    command_line()
    if options.huge:
        huge(options.seed)


if __name__ == "__main__":
    main()
