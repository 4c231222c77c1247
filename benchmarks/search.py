"""The search of a whole catalogue beside a loop of scipy's brentq, in one run, one thread.

Run ``python benchmarks/search.py [--smoke] [--huge] [--only PART] [--repeats N] [--seed S]``. The catalogue is
invented: 300 motors, 200 propellers, 60 packs and one controller, 3.6 million combinations, for a brief with a thrust
to weight, a flight time, a full-throttle climb and a cruise. The loop (:class:`Loop`) judges one combination after the
other; it is timed on a random sample and extrapolated. Besides the best 20 there is the work of ``match``: every cell
count for itself, 60 deep, counted, with more limits, and with a least climb. Both sides use the same numbers and run in
turn in one process; the sample's verdicts are compared. Times are process time, median and least of the repeats.
"""

import argparse
import math
import os
import resource
import subprocess
import sys
import time
import tracemalloc
from collections.abc import Callable
from pathlib import Path
from typing import Any

for threads in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(threads, "1")
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests"))

import numpy as np
from scipy.optimize import brentq, minimize_scalar
from support.oracle import FloatTable
from support.trains import rising_rpm_table

from propmatch.aircraft.discharge import charge_edges, gauss_nodes
from propmatch.battery import resistance_factor
from propmatch.brief import Aircraft, Brief, Limits, Phase, Prefer, Wing
from propmatch.checks.measures import TrainMeasures
from propmatch.checks.setting import Setting, settings
from propmatch.records.parts import Controller, Motor, Pack, Propeller
from propmatch.search.bounds import pruned
from propmatch.search.bounds import screen as screens
from propmatch.search.bounds.pruned import search
from propmatch.search.bounds.scores import pair_bound
from propmatch.search.exhaustive import first_failures
from propmatch.search.matching import Search
from propmatch.search.picks import holding
from propmatch.search.ranking import METRICS, Ranking, ranking
from propmatch.search.shelf import Shelf

RPM = 60.0 / (2.0 * math.pi)
G = 9.80665
RTOL, XTOL = 1e-10, 1e-8
MATCHED = {"max_propeller_diameter_in": 9.0, "max_wing_loading_g_dm2": 33.0}
"""Limits beside those of every search."""


def brief_for(prefer: dict[str, float], **more: float) -> Brief:
    """A small sport model; ``more`` limits beside its own."""
    return Brief(
        aircraft=Aircraft(name="invented sport model", bare_mass_g=300.0, target_mass_g=620.0),
        wing=Wing(area_dm2=18.0, span_mm=1100.0, cd0=0.04, cl_max=1.1),
        limits=Limits(min_thrust_to_weight=0.8, min_flight_minutes=6.0, reserve_charge=0.2, cutoff_cell_v=3.3, **more),
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


Curve = Callable[..., float]
Source = tuple[float, float]
"""Voltage behind receiver and servos, and resistance, of a pack."""
Train = tuple[Any, ...]
"""Motor constant, resistance, no-load current; J per V/u, ends of the brackets, torque and thrust of the propeller."""


class Loop:
    """One combination after the other, as a good engineer writes it: each part is a tuple of plain floats.

    Every limit of :func:`brief_for` is judged, the cheap ones first, and the first that fails ends it: nothing is
    computed that a limit before it has made idle. Roots by scipy's ``brentq`` at a relative 1e-10, on the cells that
    the search reads. The flight is integrated over the charge at the nodes that the design integrates at.
    """

    def __init__(self, setting: Setting, shelf: Shelf) -> None:
        lanes, column, limits = shelf.lanes, shelf.column, setting.brief.limits
        assert shelf.count == 1
        for name, value in (("exponent", 0.0), ("slope_ohm_s", 0.0), ("gear_ratio", 1.0), ("gear_efficiency", 1.0)):
            assert np.all(getattr(lanes, name) == value), name

        def rows(*names: str) -> list[tuple[float, ...]]:
            return list(zip(*(column(name).tolist() for name in names), strict=True))

        frame = setting.airframes(np.zeros(1))
        self.rho = float(setting.air.density_kg_m3)
        self.cd0, self.k_drag, self.installed = (float(x[0]) for x in (frame.cd0, frame.k, frame.installed_thrust))
        self.area, self.bare_g = float(frame.area_m2[0]), setting.variant.airframe.bare_mass_g
        self.cl_max = float(frame.cl_max[0])
        self.climb_v, self.cruise_v = (float(phase.airspeed_m_s or 0.0) for phase in setting.phases)
        self.climb_s = float(setting.phases[0].seconds or 0.0)
        self.target_g = setting.variant.target_mass_g or math.inf
        self.widest_in = limits.max_propeller_diameter_in or math.inf
        self.loading = (limits.max_wing_loading_g_dm2 or math.inf) * setting.variant.airframe.wing_area_dm2
        self.least_thrust, self.least_climb = limits.min_thrust_to_weight or 0.0, limits.min_climb_m_s
        self.least_minutes, self.reserve = limits.min_flight_minutes or 0.0, float(limits.reserve_charge or 0.0)
        self.radio_a, self.cutoff_v = float(shelf.radio_current_a), limits.cutoff_cell_v or 0.0
        self.motors = rows("k", "resistance_ohm", "no_load_a", "motor_stated_a", "motor_w", "motors_g")
        self.controllers = rows("switch_ohm", "controller_a", "controllers_g", "supply_g")
        pairs = [
            np.repeat(np.arange(shelf.sizes[0]), shelf.sizes[1]),
            np.tile(np.arange(shelf.sizes[1]), shelf.sizes[0]),
        ]
        first = np.zeros(pairs[0].size, dtype=np.intp)
        self.loss = shelf.combine(*pairs, first, first)[0].loss.reshape(shelf.sizes[:2]).tolist()
        cell = lanes.chemistries[0]
        edges = charge_edges(cell, self.reserve)
        nodes = gauss_nodes(edges[:, None])[:, :, 0].T.ravel().tolist()
        self.widths = [float(w) / 2 for w in edges[:-1] - edges[1:] for _ in (0, 1)]
        self.packs = []
        for cells, ohm, leads, ah, usable_a, pack_g in rows(
            "cells", "cells_ohm", "leads_ohm", "capacity_ah", "usable_a", "pack_g"
        ):
            at = [
                (q, cells * float(cell.cell_ocv_v(q)), ohm * float(resistance_factor(q)) + leads)
                for q in (1.0, 0.5, *nodes)
            ]
            behind = [(e - r * self.radio_a, r) for _, e, r in at]  # behind receiver and servos
            self.packs.append((cells, 3600.0 * ah, usable_a, pack_g, behind[0], behind[1], behind[2:]))
        stack = lanes.stack
        self.propellers = []
        for at, (which, d, inches, grams, rpm) in enumerate(
            rows("propeller", "diameter_m", "diameter_in", "propellers_g", "max_rpm")
        ):
            per = self.rho * d**4 / (4 * math.pi**2)
            ends = float(stack.j_zero_low[int(which)]), float(stack.j_zero_high[int(which)])
            table = FloatTable(shelf.propellers[at].table)
            self.propellers.append(
                (
                    inches,
                    grams,
                    math.inf if math.isnan(rpm) else rpm / RPM,
                    2 * math.pi / d,
                    ends,
                    *curves(table, per, d),
                )
            )

    def drag(self, weight: float, v: float) -> float:
        """Of level flight [N]."""
        pressure = 0.5 * self.rho * self.area * v * v
        return pressure * self.cd0 + self.k_drag * weight * weight / pressure

    def __call__(self, row: tuple[int, int, int, int], *, top_speed: bool = False) -> float:
        """Minutes, or the top speed, of a combination; NaN where it does not meet the brief."""
        m, c, b, p = row
        k, ohm, idle, motor_a, watts, motor_g = self.motors[m]
        switch, controller_a, controller_g, supply_g = self.controllers[c]
        inches, propeller_g, fastest, *propeller = self.propellers[p]
        _, _, usable_a, pack_g, full, half, _ = self.packs[b]
        mass = self.bare_g + motor_g + controller_g + supply_g + pack_g + propeller_g
        if inches > self.widest_in or mass > self.target_g or mass > self.loading:
            return math.nan
        weight, train = mass * 1e-3 * G, (k, ohm + switch, idle, *propeller)
        borne = min(motor_a, controller_a, usable_a - self.radio_a), watts, fastest, ohm
        climb_a = self.full_throttle(train, full, half, weight, borne)
        if math.isnan(climb_a) or climb_a * 0.995 > usable_a:  # the mean of the climb, about
            return math.nan
        minutes = self.minutes(train, b, weight, self.loss[m][c], min(motor_a, controller_a), climb_a)
        if not minutes >= self.least_minutes:
            return math.nan
        return self.top_speed(train, half, weight) if top_speed else minutes

    def full_throttle(self, train: Train, full: Source, half: Source, weight: float, borne: tuple[float, ...]) -> float:
        """Pack current of the climb; NaN where a rating, the thrust or the climb asked for is missed."""
        k, fixed, idle, per_v, _, _, rest_thrust, _, thrust = train
        most, watts, fastest, ohm = borne
        if full[0] <= (fixed + full[1]) * idle:
            return math.nan
        climb_a = math.nan
        for v in (0.0, self.climb_v, self.cruise_v):
            u, current = point(train, full, v)
            if current > most or u > fastest or (k * u + ohm * current) * current > watts:
                return math.nan
            if v == 0.0 and rest_thrust(point(train, half, v)[0]) * self.installed < self.least_thrust * weight:
                return math.nan
            if v == self.climb_v:
                climb_a = current + self.radio_a
        if self.least_climb is None:
            return climb_a

        def pull(v: float) -> float:
            u = point(train, half, v)[0]
            return thrust(u, per_v * v / u)

        return climb_a if self.climbs(weight, pull) else math.nan

    def minutes(self, train: Train, b: int, weight: float, loss: float, most: float, climb_a: float) -> float:
        """Minutes of the climb and of level flight down to the reserve or the cut-off; NaN where a rating is missed."""
        k, fixed, idle, per_v, _, _, _, torque, thrust = train
        cells, coulombs, usable_a, _, _, _, charges = self.packs[b]
        need, v = self.drag(weight, self.cruise_v) / self.installed, self.cruise_v
        u = brentq(lambda u: thrust(u, per_v * v / u) - need, 30.0, 1e4, xtol=XTOL, rtol=RTOL)
        current = torque(u, per_v * v / u) / k + idle
        behind, total, used, share, first = k * u + fixed * current, 0.0, 0.0, 1.0 - loss, 0.0
        for width, (e, pack_ohm) in zip(self.widths, charges, strict=True):
            one = share * e - loss * behind
            root = one * one + 4.0 * (loss * e - pack_ohm * current) * share * behind
            duty = 2.0 * share * behind / (one + math.sqrt(root)) if root >= 0.0 else 2.0
            pulls = duty * current / (1.0 - loss * (1.0 - duty))
            if duty > 1.0 or (e - pack_ohm * pulls) / cells < self.cutoff_v:
                break  # here the flight ends
            pulls += self.radio_a
            first = first or pulls
            total, used = total + width * coulombs / pulls, used + width
        if not total or current > most or coulombs * used / total > usable_a:
            return math.nan
        return (self.climb_s + total - self.climb_s * climb_a / first) / 60.0

    def top_speed(self, train: Train, half: Source, weight: float) -> float:
        """Fastest level flight at half charge [m/s]; NaN where the cruise is not held there."""
        per_v, thrust = train[3], train[-1]

        def spare(v: float) -> float:
            u = point(train, half, v)[0]
            return thrust(u, per_v * v / u) * self.installed - self.drag(weight, v)

        if spare(self.cruise_v) < 0.0:
            return math.nan
        return float(brentq(spare, self.cruise_v, 150.0, rtol=RTOL))

    def climbs(self, weight: float, pull: Callable[[float], float]) -> bool:
        """Whether the climb asked for is reached from 1.2 times the stall speed on, likely airspeeds tried first."""

        def sink(v: float) -> float:
            return -v * min((pull(v) * self.installed - self.drag(weight, v)) / weight, 1.0)

        assert self.least_climb is not None
        stall = math.sqrt(2.0 * weight / (self.rho * self.area * self.cl_max))
        if any(-sink(times * stall) >= self.least_climb for times in (1.3, 1.8, 1.2)):
            return True
        found = minimize_scalar(sink, bounds=(1.2 * stall, 4.0 * stall), method="bounded", options={"xatol": 1e-3})
        return -float(found.fun) >= self.least_climb


def point(train: Train, pack: Source, v: float) -> tuple[float, float]:
    """Speed [rad/s] and current at full throttle."""
    k, fixed, idle, per_v, ends, rest_torque, _, torque, _ = train
    e, pack_ohm = pack
    r = fixed + pack_ohm
    at_k, at_idle = r / k, e - r * idle
    if v == 0.0:
        u = brentq(lambda u: at_idle - k * u - at_k * rest_torque(u), 1e-3, at_idle / k, xtol=XTOL, rtol=RTOL)
    else:
        low = min(at_idle / k, per_v * v / ends[1] / 1.05)
        high = max(e / k, per_v * v / ends[0] / 0.95)
        u = brentq(lambda u: at_idle - k * u - at_k * torque(u, per_v * v / u), low, high, xtol=XTOL, rtol=RTOL)
    return u, (e - k * u) / r


def curves(table: FloatTable, per: float, diameter_m: float) -> tuple[Curve, Curve, Curve, Curve]:
    """Torque [N m] and thrust [N] of one propeller at rest, of u, and in flight, of (u, J)."""
    scale, shift, last = table.scale * math.pi / 30.0 * RPM, table.shift, table.rows - 1
    per_torque = per * diameter_m / (2.0 * math.pi)

    def at_rest(cells: list[list[float]], factor: float) -> Curve:
        rest = [tuple(factor * x for x in cells[row * table.columns][:4]) for row in range(table.rows)]

        def value(u: float) -> float:
            x = u * scale + shift
            row = 0 if x < 0 else min(int(x), last)
            a, b, c, d = rest[row]
            s = x - row
            return (a + s * (b + s * (c + s * d))) * u * u

        return value

    def moving(cells: list[list[float]], factor: float) -> Curve:
        each = [tuple(factor * x for x in cell) for cell in cells]
        columns, j_scale = table.columns, table.j_scale

        def value(u: float, j: float) -> float:
            x, y = u * scale + shift, j * j_scale
            row = 0 if x < 0 else min(int(x), last)
            column = min(int(y), columns - 1)
            s, t = x - row, y - column
            a, b, c, d, e, f, g, h, i, k, m, n, o, p, q, r = each[row * columns + column]
            first, second = a + t * (e + t * (i + t * o)), b + t * (f + t * (k + t * p))
            third, last_one = c + t * (g + t * (m + t * q)), d + t * (h + t * (n + t * r))
            return (first + s * (second + s * (third + s * last_one))) * u * u

        return value

    ct, cp = table.ct_cells, table.cp_cells
    return at_rest(cp, per_torque), at_rest(ct, per), moving(cp, per_torque), moving(ct, per)


# ---------------------------------------------------------------- both sides in turn


def seconds(work: Callable[[], Any]) -> tuple[float, Any]:
    """Process time of a call, and its answer."""
    start = time.process_time()
    answer = work()
    return time.process_time() - start, answer


def median_and_min(times: list[float]) -> tuple[float, float]:
    """Of some numbers."""
    return sorted(times)[len(times) // 2], min(times)


def peak_mb(work: Callable[[], Any]) -> float:
    """Peak memory that a call takes beside what is there [MB]."""
    tracemalloc.start()
    work()
    peak = tracemalloc.get_traced_memory()[1] / 1e6
    tracemalloc.stop()
    return float(peak)


def shelves_by_cells(shelf: Shelf) -> dict[int, Shelf]:
    """One shelf for each cell count, as ``match`` searches them."""
    cells = shelf.column("cells")
    return {int(n): shelf.with_packs(np.flatnonzero(cells == n)) for n in sorted(set(cells.tolist()))}


def as_match(setting: Setting, shelves: dict[int, Shelf], top: int) -> Any:
    """What ``match`` asks of the search: every cell count, so deep, all counted."""
    total = sum(shelf.combinations for shelf in shelves.values())
    return Search(exhaustive=False, count=True, total=total).each(setting, shelves, ranking(setting), top, None)


def compare(shelf: Shelf, sample: int, repeats: int, seed: int) -> None:
    """Ratios against the loop: both in turn, the loop on a random sample and extrapolated."""
    rng = np.random.default_rng(seed)
    rows = np.column_stack([rng.integers(0, n, sample) for n in shelf.sizes])
    rows = rows[shelf.cells_fit(*rows[:, :3].T)]
    listed = [tuple(row) for row in rows.tolist()]
    total, by_cells = shelf.combinations, shelves_by_cells(shelf)
    print(
        f"\n{' x '.join(map(str, shelf.sizes))}: {total} combinations; the loop on {len(listed)} of them, extrapolated"
    )
    print(f"{'':42}{'search ms':>18}{'loop s':>17}{'times the loop':>20}{'peak':>8}")
    print(f"{'':42}{'median     min':>18}{'median     min':>17}{'median      min':>20}{'MB':>8}")
    for label, prefer, more, kind in (
        ("top 20 by flight time", {"flight_time": 1.0}, {}, "best"),
        ("top 20 by top speed", {"top_speed": 1.0}, {}, "best"),
        ("top 20 by thrust to weight", {"thrust_to_weight": 1.0}, {}, "best"),
        ("top 20 by a mix", {"flight_time": 0.5, "top_speed": 0.3, "mass": 0.2}, {}, "best"),
        ("everything counted", {"flight_time": 1.0}, {}, "count"),
        ("match: each cell count, 60 deep, counted", {"flight_time": 1.0}, MATCHED, "match"),
        ("the same with a least climb", {"flight_time": 1.0}, MATCHED | {"min_climb_m_s": 3.0}, "match"),
    ):
        setting = settings(brief_for(prefer, **more))[0]
        order, loop, speed = ranking(setting), Loop(setting, shelf), "top_speed" in prefer

        def find(s: Setting = setting, o: Ranking = order, k: str = kind) -> Any:
            return as_match(s, by_cells, 60) if k == "match" else search(s, shelf, o, top=20, count=k == "count")

        mine, theirs = [], []
        find()
        for _ in range(repeats):
            took, _ = seconds(lambda: [loop(row, top_speed=speed) for row in listed])  # noqa: B023
            theirs.append(took / len(listed) * total)
            mine.append(seconds(find)[0])
        ratios = median_and_min([a / b for a, b in zip(theirs, mine, strict=True)])
        shown, loops = median_and_min([1e3 * x for x in mine]), median_and_min(theirs)
        print(
            f"{label:42}{shown[0]:10.1f}{shown[1]:8.1f}{loops[0]:9.1f}{loops[1]:8.1f}{ratios[0]:11,.0f}{ratios[1]:9,.0f}"
            f"{peak_mb(find):8.0f}"
        )
        plain = first_failures(TrainMeasures(setting, *shelf.combine(*rows.T)))[0] < 0
        agree = sum(passes != math.isnan(loop(row)) for passes, row in zip(plain.tolist(), listed, strict=True))
        if agree < len(listed) or kind == "match":
            print(f"{'':4}{np.mean(plain):.1%} of the sample pass; verdicts agree on {agree} of {len(listed)}")


def evaluated(shelf: Shelf) -> None:
    """What does not depend on the machine: combinations computed over those whose bound reaches the last of the best.

    The bound is that of a propeller on a pack with any motor; 1 is the best that it allows without a closer one.
    """
    counted = [0]

    class Counting(TrainMeasures):
        def __init__(self, setting: Setting, lanes: Any, ratings: Any) -> None:
            counted[0] += lanes.size
            super().__init__(setting, lanes, ratings)

    print("\ncombinations computed exactly, over those whose bound reaches the 20th")
    for metric in METRICS:
        setting = settings(brief_for({metric: 1.0}))[0]
        order, counted[0] = ranking(setting), 0
        for module in (pruned, screens):
            module.TrainMeasures = Counting  # type: ignore[misc]
        found = search(setting, shelf, order, top=20, count=False)
        for module in (pruned, screens):
            module.TrainMeasures = TrainMeasures  # type: ignore[misc]
        screen = screens.Screen(setting, shelf, counting=False)
        bound = pair_bound(screen, order, np.arange(shelf.sizes[2]), np.arange(shelf.sizes[3]))
        fitting = np.zeros(shelf.sizes[2], dtype=np.int64)
        for each in screen.classes:
            fitting[each.some] = each.pairs.size
        reach = int(fitting @ np.count_nonzero(bound >= found.score[-1], axis=1))
        print(f"  by {metric:18}{counted[0]:10,} of {reach:12,}: {counted[0] / reach:.2g}")


def apart(make: Callable[[], Shelf], work: Callable[[Shelf], Any]) -> tuple[float, float, float]:
    """In a process of its own: combinations, process time of a call, and the most memory, making the shelf too [MB]."""
    sight, end = os.pipe()
    child = os.fork()
    if not child:
        shelf = make()
        took, _ = seconds(lambda: work(shelf))
        most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        os.write(end, f"{shelf.combinations} {took} {most}".encode())
        os._exit(0)
    os.close(end)
    with os.fdopen(sight) as told:
        combinations, took, most = map(float, told.read().split())
    os.waitpid(child, 0)
    return combinations, took, most


def chances(setting: Setting, shelf: Shelf) -> None:
    """The best by what holds with the chance asked for, as ``match`` ranks."""
    find, order = Search(exhaustive=False, count=False, total=shelf.combinations), ranking(setting)
    paper = find(setting, shelf, order, 24)
    holding([setting], shelf, order, find, top=20, on_paper=paper.combination)


def growth(sizes: list[tuple[int, int, int]], seed: int) -> None:
    """Time over the size of the catalogue and the exponent from each size to the next, with and without a climb.

    Each row is found in a process of its own, which shares nothing but the catalogue with the others.
    """
    kinds = [(metric, more) for metric in (*METRICS, CHANCE) for more in ({}, {"min_climb_m_s": 3.0})]
    kinds = [(metric, more) for metric, more in kinds if metric != "mass"]
    before: dict[int, tuple[float, float]] = {}
    for size in sizes:
        print(f"\n{' x '.join(map(str, size))}: {math.prod(size):.3g} combinations")
        for at, (metric, more) in enumerate(kinds):
            chosen = settings(brief_for({"flight_time" if metric == CHANCE else metric: 1.0}, **more))[0]

            def find(shelf: Shelf, s: Setting = chosen, m: str = metric) -> None:
                chances(s, shelf) if m == CHANCE else search(s, shelf, ranking(s), count=False)

            many = math.prod(size) > 1e8
            runs = [apart(lambda: shelf_of(*size, seed), find) for _ in range(1 if many else 3)]  # noqa: B023
            now = runs[0][0], median_and_min([took for _, took, _ in runs])[0]
            grown = ""
            if at in before:
                grown = f" ^{math.log(now[1] / before[at][1]) / math.log(now[0] / before[at][0]):5.2f}"
            climb = "with a least climb" if more else ""
            print(f"  by {metric:20}{climb:20}{1e3 * now[1]:10.0f} ms{grown}, {runs[0][2]:.0f} MB", flush=True)
            before[at] = now


def command_line() -> None:
    """CPU time of ``propmatch match --on-paper`` beside importing numpy and pandas, in turn."""

    def spent(*words: str) -> float:
        start = os.times()
        subprocess.run([sys.executable, *words], capture_output=True, check=False)
        end = os.times()
        return end.children_user + end.children_system - start.children_user - start.children_system

    pairs = [
        (spent("-c", "import numpy, pandas"), spent("-m", "propmatch.cli", "match", "--on-paper")) for _ in range(5)
    ]
    base, mine = (median_and_min(list(times)) for times in zip(*pairs, strict=True))
    ratio = median_and_min([b / a for a, b in pairs])
    print(f"\npropmatch match --on-paper {1e3 * mine[0]:.0f} ms of CPU; import numpy and pandas {1e3 * base[0]:.0f} ms")
    print(f"{ratio[0]:.2f} times, at least {ratio[1]:.2f}")


CHANCE = "flight time, holds"
"""Row of the best that hold with the chance asked for."""
GROWTH = [(300, 200, 60), (770, 513, 154), (1_600, 1_000, 380)]
HUGE = [(5_000, 1_600, 500), (10_000, 2_000, 1_000)]
"""Up to 6e8 and 2e10 combinations."""


def main() -> None:
    """All of it."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--smoke", action="store_true", help="a few seconds, to see that it runs")
    parser.add_argument("--huge", action="store_true", help="growth up to 2e10 combinations (minutes)")
    parser.add_argument("--only", choices=("ratios", "growth", "command"), help="one part of it")
    parser.add_argument("--repeats", type=int, default=5)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    if options.smoke:
        compare(shelf_of(30, 20, 10, options.seed), 60, 1, options.seed)
        evaluated(shelf_of(30, 20, 10, options.seed))
        growth([(15, 10, 5), (30, 20, 10)], options.seed)
        return
    if options.only in (None, "ratios"):
        compare(shelf_of(300, 200, 60, options.seed), 3000, options.repeats, options.seed)
        evaluated(shelf_of(300, 200, 60, options.seed))
    if options.only in (None, "growth"):
        growth([*GROWTH, *HUGE[: 2 if options.huge else 0]], options.seed)
    if options.only in (None, "command"):
        command_line()


if __name__ == "__main__":
    main()
