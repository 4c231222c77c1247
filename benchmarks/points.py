"""Operating points per second: the solver beside what general-purpose libraries offer, in one run, one thread.

Run ``python benchmarks/points.py [--smoke] [--points N] [--seed S]``. Every method solves the same random points
with the whole physics (gears, no-load exponents, part-throttle loss, several motors on a pack, radio and payload, pack
resistance over charge) and returns speed, motor current and thrust. Power trains and propellers are invented.

Methods: brentq with coefficients from scipy's piecewise polynomials; brentq with everything in plain floats;
scipy.optimize.elementwise.find_root on arrays; a bracketed Newton search on arrays; the solver. Times are
process time, median and least, every method in turn; the brentq loops are timed on a sample, at a relative 1e-10,
and get their numbers as plain floats. Errors are the worst over that sample against brentq at 1e-14: current and thrust
relative to the larger of the number itself and the no-load current or 1 % of the static thrust.
"""

import argparse
import math
import os
import sys
import time
import tracemalloc
from collections.abc import Callable
from pathlib import Path
from typing import Any

for threads in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(threads, "1")
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests"))

import attrs
import numpy as np
from scipy.interpolate import NdPPoly, PPoly
from scipy.optimize import brentq, elementwise
from support.oracle import FloatTable
from support.trains import random_train, rising_rpm_table, simple_train

from propmatch.coupling import hold_lanes, solve, solve_lanes
from propmatch.models import controller
from propmatch.models.lookup import FlightReader, Workspace
from propmatch.train.kernel import CHUNK, chunks, solve_speed
from propmatch.train.lanes import train_lanes
from propmatch.train.torque import THRUST_PER_CT, TORQUE_PER_CP, SpeedProblem, imbalance

RPM = 60.0 / (2.0 * math.pi)
PROPELLERS, TRAINS = 200, 2000
OBJECTS, FLOATS = "brentq, scipy piecewise polynomials", "brentq, plain floats"


def median_time(work: Callable[[], Any], repeats: int = 5) -> float:
    """Median process time of a call [s]."""
    times = []
    for _ in range(repeats):
        start = time.process_time()
        work()
        times.append(time.process_time() - start)
    return sorted(times)[repeats // 2]


class Catalogue:
    """Invented propellers and power trains as lanes."""

    def __init__(self, seed: int) -> None:
        self.rng = np.random.default_rng(seed)
        draw = self.rng.uniform
        self.tables = [
            rising_rpm_table(ct0=draw(0.08, 0.15), cp0=draw(0.03, 0.08), j_thrust=draw(0.5, 1), j_power=draw(0.6, 1.15))
            for _ in range(PROPELLERS)
        ]
        self.lanes, _ = train_lanes([random_train(self.rng, self.tables[i % PROPELLERS]) for i in range(TRAINS)])
        self.floats = [FloatTable(table) for table in self.tables]

    def problem(self, points: int, *, moving: bool, grouped: bool = False) -> SpeedProblem:
        """Random points; half at full throttle, half at 0.5 to 1; airspeeds 1 to 20 m/s."""
        rng = self.rng
        which = rng.integers(0, TRAINS, points)
        if grouped:
            which = which[np.argsort(self.lanes.propeller[which], kind="stable")]
        p = self.lanes.take(which)
        throttle = np.where(rng.random(points) < 0.5, 1.0, rng.uniform(0.5, 1.0, points))
        charge = rng.uniform(0.1, 1.0, points)
        pack_ohm, eta = p.pack_ohm(charge), controller.eta(throttle, p.loss)
        fixed, shared = p.resistance_ohm + p.controller_ohm, p.count * throttle**2 * pack_ohm
        return SpeedProblem(
            **p.columns(),
            source_v=throttle * (p.open_circuit_v(charge) - pack_ohm * p.radio_a),
            resistance_ohm=fixed + shared / eta,
            resistance_back_ohm=fixed + shared * eta,
            which=p.propeller,
            diameter_m=p.diameter_m,
            density_kg_m3=np.full(1, 1.225),
            airspeed_m_s=rng.uniform(1.0, 20.0, points) if moving else np.zeros(1),
            surfaces=p.stack,
        )


# ---------------------------------------------------------------- one point at a time

Curve = Callable[[float, float], float]


def float_curves(table: FloatTable, *, moving: bool) -> tuple[Curve, Curve]:
    """CT and CP of (u, J) in plain floats; at rest four numbers a cell are enough."""
    if moving:
        return lambda u, j: table.ct(u * RPM, j), lambda u, j: table.cp(u * RPM, j)

    def at_rest(cells: list[list[float]]) -> Curve:
        rest = [cells[row * table.columns][:4] for row in range(table.rows)]
        scale, shift, last = table.scale, table.shift, table.rows - 1

        def value(u: float, j: float) -> float:
            x = u * scale + shift
            row = 0 if x < 0 else min(int(x), last)
            c, s = rest[row], x - row
            return c[0] + s * (c[1] + s * (c[2] + s * c[3]))

        return value

    return at_rest(table.ct_cells), at_rest(table.cp_cells)


def scipy_curves(table: Any, *, moving: bool) -> tuple[Curve, Curve]:
    """CT and CP of (u, J) from scipy's piecewise polynomials of the same pieces, held at the first and last rpm."""
    s = table.surfaces
    rows, columns = int(s.rows[0]), int(s.columns[0])
    step, rpm = 1.0 / float(s.rpm_scale[0]), (np.arange(rows - 1) + 1.0 - float(s.rpm_shift[0])) / float(s.rpm_scale[0])
    ratio = np.arange(columns + 1) / float(s.j_scale[0])

    def curve(cells: Any) -> Curve:
        c = cells.reshape(rows, columns, 4, 4)[1:-1].transpose(3, 2, 0, 1)[::-1, ::-1]
        power = np.arange(4)[::-1]
        c = c / (step ** power[:, None, None, None] * ratio[1] ** power[None, :, None, None])
        low, high = float(rpm[0]), float(rpm[-1])
        if moving:
            both = NdPPoly(c, (rpm, ratio), extrapolate=True)
            return lambda u, j: float(both((min(max(u, low), high), j)))
        alone = PPoly(np.ascontiguousarray(c[:, 3, :, 0]), rpm, extrapolate=True)
        return lambda u, j: float(alone(min(max(u, low), high)))

    return curve(s.ct_cells), curve(s.cp_cells)


Lane = tuple[float, ...]
"""Numbers of one point in plain floats, as a loop over them has them; the last two are the ends of the bracket."""


def as_floats(p: SpeedProblem, count: int) -> list[tuple[int, Lane]]:
    """The first so many lanes: propeller, and numbers."""
    columns = (
        p.source_v, p.gear_ratio * p.k, p.resistance_ohm, p.resistance_back_ohm, p.no_load_a,
        p.gear_ratio / p.reference_rad_s, p.exponent, p.gear_ratio * p.k * p.gear_efficiency,
        p.gear_efficiency / (p.gear_ratio * p.k), TORQUE_PER_CP * p.density_kg_m3 * p.diameter_m**5,
        THRUST_PER_CT * p.density_kg_m3 * p.diameter_m**4, 2.0 * np.pi * p.airspeed_m_s / p.diameter_m, *brackets(p),
    )  # fmt: skip
    lanes = zip(*(np.broadcast_to(column, (p.size,))[:count].tolist() for column in columns), strict=True)
    return list(zip(p.which[:count].tolist(), lanes, strict=True))


def by_brentq(lane: Lane, curves: tuple[Curve, Curve], rtol: float = 1e-10) -> tuple[float, float, float]:
    """Speed, motor current and thrust of one lane."""
    volts, gear, r, back, idle, per_ref, x, driving, driven, per_cp, per_ct, per_u, low, high = lane
    ct, cp = curves

    def current(u: float) -> float:
        torque = cp(u, per_u / u) * per_cp * u * u
        no_load = idle * (u * per_ref) ** x if x else idle
        return (torque / driving if torque >= 0 else torque * driven) + no_load

    def left(u: float) -> float:
        amps = current(u)
        return volts - gear * u - (r if amps >= 0 else back) * amps

    u = brentq(left, low, high, xtol=rtol * high, rtol=rtol)
    return u, current(u), ct(u, per_u / u) * per_ct * u * u


# ---------------------------------------------------------------- arrays, general purpose


def with_loads(p: SpeedProblem, u: Any) -> Any:
    """What the others return beside speed: motor current and thrust."""
    reader = FlightReader("cp", p.surfaces, p.which, u.size, Workspace())
    reader.go(u, 2.0 * np.pi * p.airspeed_m_s / p.diameter_m / u)
    square = p.density_kg_m3 * p.diameter_m**4 * u * u
    torque, thrust = TORQUE_PER_CP * square * p.diameter_m * reader.value(), THRUST_PER_CT * square * reader.other()
    e = np.where(torque >= 0, p.gear_efficiency, 1.0 / p.gear_efficiency)
    no_load = p.no_load_a * (p.gear_ratio * u / p.reference_rad_s) ** p.exponent
    return u, torque / (p.gear_ratio * p.k * e) + no_load, thrust


def brackets(p: SpeedProblem) -> tuple[Any, Any]:
    """Ends of the bracket of each lane."""
    gear, s = p.gear_ratio * p.k, p.surfaces
    free, windmill = p.source_v / gear, 2.0 * np.pi * p.airspeed_m_s / p.diameter_m
    no_load = p.no_load_a * (p.gear_ratio * free / p.reference_rad_s) ** p.exponent
    slow = np.maximum((p.source_v - p.resistance_ohm * no_load) / gear, 1e-3)
    low = np.where(p.airspeed_m_s > 0, np.minimum(slow, windmill / s.j_zero_high[p.which] / 1.05), 1e-3)
    return low, np.maximum(free, windmill / s.j_zero_low[p.which] / 0.95)


def by_find_root(p: SpeedProblem, size: int) -> Any:
    """scipy.optimize.elementwise.find_root, in pieces of ``size``."""
    parts = []
    for start in range(0, p.size, size):
        q = p.take(slice(start, min(start + size, p.size)))
        lanes = np.arange(q.size)

        def left(u: Any, lane: Any, q: SpeedProblem = q) -> Any:
            return imbalance(q.take(lane), u)[0]

        found = elementwise.find_root(left, brackets(q), args=(lanes,), tolerances={"xrtol": 1e-14, "xatol": 1e-12})
        parts.append(with_loads(q, found.x))
    return [np.concatenate(column) for column in zip(*parts, strict=True)]


def by_newton(p: SpeedProblem) -> Any:
    """Newton steps in a bracket, on arrays, in the solver's chunks; the usual start in the middle."""
    parts = []
    for part in chunks(p.size):
        q = p.take(part)
        a, b = (np.array(np.broadcast_to(x, (q.size,))) for x in brackets(q))
        u = 0.5 * (a + b)
        for _ in range(60):
            f, slope = imbalance(q, u)
            a, b = np.where(f > 0, u, a), np.where(f > 0, b, u)
            new = u - f / slope
            new = np.where((new > a) & (new < b), new, 0.5 * (a + b))
            done = np.abs(f) <= 1e-12 * q.source_v
            if done.all():
                break
            u = np.where(done, u, new)
        parts.append(with_loads(q, u))
    return [np.concatenate(column) for column in zip(*parts, strict=True)]


# ---------------------------------------------------------------- the run


def worst_errors(p: SpeedProblem, exact: Any, found: Any) -> str:
    """Worst relative error of rpm, current and thrust over the sample."""
    sample = len(exact)
    u, amps, thrust = (np.asarray(column)[:sample] for column in found)
    idle = np.broadcast_to(p.no_load_a, (p.size,))[:sample]
    scale = np.maximum(np.abs(exact[:, 2]), 0.01 * np.median(np.abs(exact[:, 2])))
    errors = (
        np.abs(u / exact[:, 0] - 1.0),
        np.abs(amps - exact[:, 1]) / np.maximum(np.abs(exact[:, 1]), idle),
        np.abs(thrust - exact[:, 2]) / scale,
    )
    return "  ".join(f"{np.max(e):.0e}" for e in errors)


def compare(stock: Catalogue, points: int, sample: int, *, moving: bool) -> None:
    p = stock.problem(points, moving=moving)
    grouped = stock.problem(points, moving=moving, grouped=True)
    floats = [float_curves(t, moving=moving) for t in stock.floats]
    objects = [scipy_curves(t, moving=moving) for t in stock.tables]
    lanes, few = as_floats(p, sample), p.take(slice(0, min(points, 16384)))
    exact = np.array([by_brentq(lane, floats[which], 1e-14) for which, lane in lanes])
    quarter = lanes[: max(sample // 4, 10)]
    ways: dict[str, tuple[int, Callable[[], Any]]] = {
        OBJECTS: (len(quarter), lambda: _columns(quarter, objects)),
        FLOATS: (sample, lambda: _columns(lanes, floats)),
        "find_root, pieces of 16384": (few.size, lambda: by_find_root(few, 16384)),
        "bracketed Newton on arrays": (few.size, lambda: by_newton(few)),
        "this solver": (points, lambda: _three(solve_speed(p))),
        "this solver, points grouped by propeller": (points, lambda: _three(solve_speed(grouped))),
    }
    times: dict[str, list[float]] = {name: [] for name in ways}
    found: dict[str, Any] = {}
    for _ in range(5):
        for name, (count, work) in ways.items():
            start = time.process_time()
            found[name] = work()
            times[name].append((time.process_time() - start) / count)
    share = np.mean(solve_speed(p).torque_nm < 0)
    print(f"\n{'airspeed 1 to 20 m/s' if moving else 'static'}, {points} points; propeller drives in {share:.1%}")
    print(f"{'':43}{'ns/point':>10}{'min':>9}{'x objects':>11}{'x floats':>10}{'min':>8}   worst error rpm, A, N")
    for name, each in times.items():
        errors = "" if "grouped" in name else worst_errors(p, exact[: len(np.asarray(found[name][0]))], found[name])
        beside = [sorted(a / b for a, b in zip(times[base], each, strict=True)) for base in (OBJECTS, FLOATS)]
        print(
            f"{name:43}{sorted(each)[2] * 1e9:10.0f}{min(each) * 1e9:9.0f}{beside[0][2]:11.1f}{beside[1][2]:10.1f}"
            f"{beside[1][0]:8.1f}   {errors}"
        )
    if moving:
        gathers, total = gather_time(p), sorted(times["this solver"])[2]
        print(f"gathers: {gathers * 1e9:.0f} ns/point, {gathers / total:.0%} of the solver's time")


def _columns(lanes: list[tuple[int, Lane]], curves: list[tuple[Curve, Curve]]) -> Any:
    return np.array([by_brentq(lane, curves[which]) for which, lane in lanes]).T


def _three(found: Any) -> Any:
    return found.speed_rad_s, found.motor_current_a, found.thrust_n


def gather_time(p: SpeedProblem) -> float:
    """Fetching both coefficients' cells once for every point, without arithmetic [s/point]."""
    q = p.take(slice(0, min(CHUNK, p.size)))
    u = solve_speed(q).speed_rad_s
    reader = FlightReader("cp", q.surfaces, q.which, u.size, Workspace())
    reader.go(np.where(np.isfinite(u), u, 1.0), np.zeros(1))

    def both() -> None:
        reader._gather(q.surfaces.cp_cells)
        reader._gather(q.surfaces.ct_cells)

    return median_time(lambda: [both() for _ in range(20)]) / 20 / u.size


def growth(stock: Catalogue, sizes: list[int]) -> None:
    print("\ngrowth, ns/point and peak memory beyond the inputs, results included [bytes/point]")
    print(f"{'points':>12}{'static':>10}{'airspeed':>10}{'memory':>10}{'find_root whole':>17}{'memory':>10}")
    for size in sizes:
        cells = []
        for moving in (False, True):
            p = stock.problem(size, moving=moving)
            cells.append(f"{median_time(lambda p=p: solve_speed(p), 3) / size * 1e9:10.0f}")
        cells.append(f"{peak_bytes(lambda p=p: solve_speed(p)) / size:10.0f}")
        if size <= 100_000:
            cells.append(f"{median_time(lambda p=p: by_find_root(p, p.size), 1) / size * 1e9:17.0f}")
            cells.append(f"{peak_bytes(lambda p=p: by_find_root(p, p.size)) / size:10.0f}")
        print(f"{size:12}" + "".join(cells))


def peak_bytes(work: Callable[[], Any]) -> int:
    """Most memory held at once during a call."""
    tracemalloc.start()
    try:
        work()
        return tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()


def whole_answers(stock: Catalogue, points: int) -> None:
    """All twenty numbers and the flags of each point."""
    rng = stock.rng
    lanes = stock.lanes.take(rng.integers(0, TRAINS, points))
    throttle, charge, one = rng.uniform(0.5, 1.0, points), rng.uniform(0.1, 1.0, points), np.ones(1)
    print("\nwhole answers (twenty numbers, status, flags)")
    for name, speed in (("static", 0 * one), ("airspeed", rng.uniform(1.0, 20.0, points))):
        work = lambda v=speed: solve_lanes(lanes, v, throttle, charge, 1.225 * one, 340.0 * one)  # noqa: E731
        print(f"  {name:10}{median_time(work, 3) / points * 1e9:8.0f} ns/point over {points} trains")
    thrust, speed = rng.uniform(0.2, 1.0, points), rng.uniform(1.0, 12.0, points)
    seconds = median_time(lambda: hold_lanes(lanes, thrust, speed, charge, 1.225 * one, 340.0 * one), 3)
    print(f"  {'held':10}{seconds / points * 1e9:8.0f} ns/point over {points} trains, airspeed and thrust given")
    train = simple_train()
    sweep = np.linspace(0.2, 1.0, points)
    seconds = median_time(lambda: solve(train, throttle=sweep, airspeed_m_s=8.0), 3)
    print(f"  {'sweep':10}{seconds / points * 1e9:8.0f} ns/point over {points} throttles of one train")
    solve(train)
    for name, speed in (("static", 0.0), ("airspeed", 8.0)):
        seconds = median_time(lambda v=speed: [solve(train, airspeed_m_s=v) for _ in range(50)], 5) / 50
        print(f"  one {name:10}{seconds * 1e6:7.0f} us a call of solve()")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--smoke", action="store_true", help="a few seconds, to see that it runs")
    parser.add_argument("--points", type=int, default=400_000)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    points, sample = (10_000, 40) if options.smoke else (options.points, 1000)
    stock = Catalogue(options.seed)
    curved = np.mean(stock.lanes.exponent > 0)
    print(
        f"{PROPELLERS} propellers of 8 rpm x 25 advance ratios, {TRAINS} trains, {curved:.0%} with a no-load exponent"
    )
    for moving in (False, True):
        compare(stock, points, sample, moving=moving)
    plain = Catalogue(options.seed)
    plain.lanes = attrs.evolve(plain.lanes, exponent=np.zeros(TRAINS))
    print("\n-- the same without no-load exponents --", end="")
    for moving in (False, True):
        compare(plain, points, sample, moving=moving)
    growth(stock, [1000, 4000] if options.smoke else [1000, 10_000, 100_000, 1_000_000, 3_000_000])
    whole_answers(stock, 4000 if options.smoke else 200_000)


if __name__ == "__main__":
    main()
