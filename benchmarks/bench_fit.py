"""Whether the intervals of a fit to bench readings hold: motors planted, readings made, constants found again.

Run ``python benchmarks/bench_fit.py [N] [--json]`` (default 2,000 motors a set), or ``--smoke`` for a few. Motors,
packs and propellers are drawn from what the fit expects of them, readings from what it expects of the instruments, so
that coverage judges the algorithm and not the priors. Every row is made by a loop of its own, the balance of pack,
motor and propeller solved by scipy's brentq. Printed are, for each set of rows, the share of motors whose 90 % interval
holds the planted number, the median half-width, and how many were determined; then false alarms, gross errors found,
and milliseconds a fit.
"""

import argparse
import json
import math
import time
from collections.abc import Sequence
from typing import Any

import attrs
import numpy as np
from scipy.optimize import brentq

from propmatch.bench.fit import LogFit, fit_log
from propmatch.models.tables import CoefficientTable
from propmatch.records.parts import Motor, Pack, Propeller, Source

SETS: dict[str, Sequence[tuple[str, int]]] = {
    "bare + 1 propeller": (("middle", 0), ("none", 0), ("middle", 0)),
    "bare + 3 propellers": (("small", 0), ("large", 0), ("none", 0), ("middle", 0)),
    "bare + 2, two packs": (("small", 0), ("none", 0), ("large", 0), ("large", 1), ("none", 1), ("small", 1)),
    "2 propellers, no bare run": (("small", 0), ("middle", 0), ("middle", 0), ("small", 0)),
    "3 propellers, no bare run": (("middle", 0), ("large", 0), ("small", 0)),
    "full throttle x 3, one propeller": (("middle", 0),) * 3,
}
"""Rows of a set: the propeller, and which of two packs (the second has a cell more)."""
LOADS = {"small": 0.25, "middle": 0.5, "large": 0.75}
"""Share of 3.5 W for each gram of motor that each propeller takes."""
CONSTANTS = ("kv_rpm_per_v", "resistance_ohm", "no_load_current_a", "pack_resistance_ohm")
CT0, CP0, RHO = 0.11, 0.045, 1.225
SD = {"kv": math.hypot(0.05, 0.014), "r": math.hypot(0.40, 0.16), "kt": 0.05, "i0": math.hypot(0.45, 0.15)}
GAINS = {"volts": 0.007, "amps": 0.015, "rpm": 0.0005}
NOISE = {"volts": 0.0005, "amps": 0.003, "rpm": 0.0005}
STEP = {"volts": 0.01, "amps": 0.1, "rpm": 10.0}
ZERO_A, MODEL, FALL_V, PACK_V = 0.03, 0.0025, 0.01, 0.015


@attrs.frozen(kw_only=True)
class Planted:
    """A motor with what it is measured with, and its log."""

    motor: Motor
    packs: tuple[Pack, ...]
    propellers: dict[str, Propeller]
    rows: list[dict[str, Any]]
    truth: dict[str, float]
    ohm_at: tuple[float, float]


def planted(rng: np.random.Generator, rows: Sequence[tuple[str, int]]) -> Planted:
    """Draw everything and make the readings."""
    z = rng.standard_normal
    mass, cells = float(np.exp(rng.uniform(math.log(12), math.log(80)))), int(rng.integers(2, 4))
    label = float(10 ** rng.uniform(2.9, 3.35) * (30 / mass) ** 0.4)
    kv = 0.95 * label * math.exp(SD["kv"] * z())
    k, k0 = 60 / (2 * math.pi * kv), 60 / (2 * math.pi * 0.95 * label)
    km = 1.04e-3 * mass ** (5 / 6)
    b_sd = math.sqrt(0.35**2 + 0.15**2 + (0.12 * math.log(30 / mass)) ** 2)
    r = 1.10 * (k / km) ** 2 * math.exp(SD["r"] * z())
    b = 2.6 * (30 / mass) ** 1.25 * k**2 * math.exp(b_sd * z())
    ratio = math.exp(SD["kt"] * z()) / 1.05
    i0 = 1.12e-4 * mass / (k * ratio) * math.exp(SD["i0"] * z())
    speed0 = min(1571.0, 60 / k0)
    i0 *= (speed0 / 1571.0) ** 0.3
    props, factors = {}, {}
    for name, share in LOADS.items():
        amps = share * 3.5 * mass / (3.7 * cells)
        w = max(3.9 * cells - 1.6 * 1.10 * (k0 / km) ** 2 * amps, 1.5 * cells) / k0
        torque = k0 / 1.05 * amps * 0.9
        inch = (2 * math.pi * torque / (CP0 * RHO * (w / (2 * math.pi)) ** 2)) ** 0.2 / 0.0254
        table = CoefficientTable(rpm=[3000.0, 30000.0], advance_ratio=[0.0, 0.8],
                                 ct=[[CT0, 0.0]] * 2, cp=[[CP0, 0.0]] * 2)  # fmt: skip
        props[name] = Propeller(name=name, diameter_in=inch, pitch_in=0.6 * inch, table=table,
                                source=Source(text="planted", kind="predicted"))  # fmt: skip
        a = z()
        factors[name] = math.exp(0.20 * (0.8 * a + 0.6 * z()))
    packs, electric = [], []
    for more in sorted({pack for _, pack in rows}):
        mah = float(rng.uniform(40, 70) * mass)
        packs.append(Pack(name=f"pack {more}", cells_series=cells + more, capacity_mah=mah, c_rating=30, mass_g=100))
        cell, leads = 510.0 / (mah / 1000) / 30 * 1e-3, 0.008 if mah < 1000 else 0.004
        open_v = (cells + more) * 4.0 * math.exp(0.03 * z())
        electric.append((open_v, ((cells + more) * cell + leads) * math.exp(0.45 * z()), FALL_V * z()))
    gain = {name: math.exp(sd * z()) for name, sd in GAINS.items()}
    zero, log, seen, drawn = ZERO_A * z(), [], dict.fromkeys(range(len(packs)), 0), []
    for name, pack in rows:
        open_v, pack_r, fall = electric[pack]
        off, at = math.exp(MODEL * z()), seen[pack]
        seen[pack] += 1
        load = (
            0.0
            if name == "none"
            else factors[name] * CP0 * RHO * (props[name].diameter_in * 0.0254) ** 5 / (2 * math.pi)
        )

        def current(w: float, load: float = load) -> float:
            return load * (w / (2 * math.pi)) ** 2 / (k * ratio) + i0 * (w / speed0) ** 0.3

        def behind(w: float, off: float = off) -> float:
            return (k * w + (r + b * w) * current(w)) * off

        scatter = PACK_V * z()
        w = brentq(lambda w: open_v - pack_r * current(w) - fall * at + scatter - behind(w), 1e-3, 1.2 * open_v / k)  # noqa: B023
        truth = {"volts": gain["volts"] * behind(w), "amps": gain["amps"] * current(w) + zero,
                 "rpm": gain["rpm"] * w * 30 / math.pi}  # fmt: skip
        read = {q: round(v * (1 + NOISE[q] * z()) / STEP[q]) * STEP[q] for q, v in truth.items()}
        log.append({"label_kv": label, "mass_g": mass, "cells": packs[pack].cells_series,
                    "propeller": name, **{q: max(v, 0.0) for q, v in read.items()}})  # fmt: skip
        drawn.append(current(w))
    return Planted(
        motor=Motor(name="planted", kv_rpm_per_v=label, kv_kind="label", mass_g=mass), packs=tuple(packs),
        propellers=props, rows=log, ohm_at=(r, b),
        truth={"kv_rpm_per_v": kv, "no_load_current_a": i0 * speed0**-0.3, "pack_resistance_ohm": electric[0][1]},
    )  # fmt: skip


def fitted(made: Planted, rows: list[dict[str, Any]] | None = None) -> LogFit:
    """The fit of a planted log."""
    return fit_log(made.rows if rows is None else rows, motor=made.motor, propellers=made.propellers, packs=made.packs)


def truths(made: Planted, fit: LogFit) -> dict[str, float]:
    """The planted numbers, at the speeds that the fit gives its own for."""
    r, b = made.ohm_at
    at, free = (rpm * math.pi / 30 for rpm in (fit.at_rpm, fit.no_load_rpm))
    return {
        **made.truth,
        "resistance_ohm": r + b * at,
        "no_load_current_a": made.truth["no_load_current_a"] * free**0.3,
    }


def found_of(fit: LogFit) -> dict[str, Any]:
    """The constants that the fit determines; the first pack's resistance among them."""
    first = next(iter(fit.packs.values()))
    more = {"pack_resistance_ohm": first["resistance_ohm"]} if "resistance_ohm" in first else {}
    return {**fit.constants, **more}


def coverage(name: str, count: int, seed: int) -> dict[str, Any]:
    """Coverage, median half-width and share determined of each constant; false alarms; milliseconds a fit."""
    rng = np.random.default_rng(seed)
    held: dict[str, list[bool]] = {key: [] for key in CONSTANTS}
    width: dict[str, list[float]] = {key: [] for key in CONSTANTS}
    seconds, alarms = [], 0
    for _ in range(count):
        made = planted(rng, SETS[name])
        for propeller in made.propellers.values():
            propeller.table.surfaces  # noqa: B018
        start = time.process_time()
        fit = fitted(made)
        seconds.append(time.process_time() - start)
        alarms += fit.contradicted or any(row.remark for row in fit.rows)
        truth = truths(made, fit)
        for key, each in found_of(fit).items():
            if key in CONSTANTS:
                held[key].append(each.low <= truth[key] <= each.high)
                width[key].append(math.sqrt(each.high / each.low) - 1.0)
    return {
        "motors": count, "false_alarms_percent": 100 * alarms / count, "milliseconds": 1e3 * float(np.median(seconds)),
        **{key: {
            "determined_percent": 100 * len(held[key]) / count,
            "coverage_percent": 100 * float(np.mean(held[key])) if held[key] else None,
            "half_width_percent": 100 * float(np.median(width[key])) if width[key] else None,
        } for key in CONSTANTS},
    }  # fmt: skip


def spoiled(count: int, seed: int) -> dict[str, Any]:
    """How often one gross error (12 to 40 %), rpm times pole pairs, and cells filed wrongly are said."""
    rng = np.random.default_rng(seed)
    told = {"flagged": 0, "named": 0, "pole pairs": 0, "cells": 0}
    for _ in range(count):
        made = planted(rng, SETS["bare + 3 propellers"])
        at, key = int(rng.integers(1, 4)), str(rng.choice(["volts", "amps", "rpm"]))
        factor = math.exp(rng.choice([-1, 1]) * rng.uniform(math.log(1.12), math.log(1.4)))
        fit = fitted(made, [{**row, key: row[key] * factor} if n == at else row for n, row in enumerate(made.rows)])
        marked = [n for n, row in enumerate(fit.rows) if row.remark]
        told["flagged"] += bool(marked) or fit.contradicted
        told["named"] += at in marked
        pairs = int(rng.choice([6, 7]))
        fit = fitted(made, [{**row, "rpm": row["rpm"] * pairs} for row in made.rows])
        told["pole pairs"] += any(f"{pairs} times" in fault.rule for fault in fit.faults)
        fit = fitted(made, [{**row, "cells": 5 - row["cells"]} for row in made.rows])
        told["cells"] += any(fault.key == "cells" for fault in fit.faults)
    return {"logs": count, **{f"{key}_percent": 100 * value / count for key, value in told.items()}}


def study(count: int, seed: int = 1) -> dict[str, Any]:
    """All sets."""
    sets = {name: coverage(name, count, seed + at) for at, name in enumerate(SETS)}
    return {"sets": sets, "spoiled": spoiled(max(count // 4, 2), seed + 100)}


def show(found: dict[str, Any]) -> None:
    """Print the table."""
    heads = ("kV", "R", "I0", "pack R")
    print(f"{'90 % intervals: coverage/median half-width, %':<46}" + "".join(f"{head:>14}" for head in heads))
    for name, result in found["sets"].items():
        cells = []
        for key in CONSTANTS:
            each = result[key]
            many = each["determined_percent"]
            said = f"{each['coverage_percent']:.0f}/{each['half_width_percent']:.1f}" if many else "-"
            cells.append(f"{said + ('' if many >= 99.5 else f' ({many:.0f})'):>14}")
        print(f"{name:<46}" + "".join(cells))
    print("(number): determined, % of motors, where not all")
    for name, result in found["sets"].items():
        print(f"{name}: false alarms {result['false_alarms_percent']:.1f} %, {result['milliseconds']:.1f} ms a fit")
    print("spoiled logs: " + ", ".join(f"{key} {value:.0f}" for key, value in found["spoiled"].items()))


def main() -> None:
    """Entry point."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("count", nargs="?", type=int, default=2000, help="motors a set")
    parser.add_argument("--smoke", action="store_true", help="a few motors")
    parser.add_argument("--json", action="store_true", help="numbers instead of a table")
    options = parser.parse_args()
    found = study(4 if options.smoke else options.count)
    print(json.dumps(found, indent=1)) if options.json else show(found)


if __name__ == "__main__":
    main()
