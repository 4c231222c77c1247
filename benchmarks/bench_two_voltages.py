"""From 7.4 V to 11.1 V on the bench: constants fitted at the lower voltage predict the higher one.

Run ``python benchmarks/bench_two_voltages.py FOLDER [--json]`` with a folder that holds ``runs.csv`` of the
five-inch bench set (P. Cao, J. Strawson, motor_propeller_testing, public repository, 2018, MIT licence: outrunners on
five-inch propellers at 7.4 and 11.1 V), or ``--smoke`` to use a few typed rows of its 7.4 V part instead.

Left out: rows in which the supply limits its current (marked, or 10.8 A and more), rows without a speed, and full
throttle below 93 % of the nominal voltage. The data hold no torque, no air density and no no-load rows; density is
taken as 1.225 kg/m3 and goes into the fitted coefficients.

Fitted for each motor at 7.4 V: kV and resistance (with controller and leads) by least squares of V = rpm/kV + R I at
full throttle; CP and CT of each propeller on it from its row there. Twice: with no-load current 0 and the default loss
of the controller, and with the no-load current and the loss that fit the part-throttle rows at 7.4 V best.
Predicted at 11.1 V, full throttle, with the measured terminal voltage: rpm, current and thrust by ``solve``. At part
throttle the controller's pulse is no duty, so rpm is held and the pack current predicted by ``hold_thrust``.
"""

import argparse
import csv
import json
import math
from collections.abc import Sequence
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from propmatch.coupling import hold_thrust, solve
from propmatch.models.air import Air
from propmatch.models.pack import Chemistry
from propmatch.models.tables import CoefficientTable
from propmatch.records.parts import Controller, Motor, Pack, PowerTrain, Propeller
from propmatch.units import GRAM_FORCE_N, INCH_M, KV_TO_K

DENSITY, DIAMETER_IN = 1.225, 5.0
SUPPLY_LIMIT_A, LEAST_VOLTS = 10.8, 0.93
DEFAULT_LOSS = 0.10
IDLE_A = 0.075
"""What the controller draws with the motor stopped, from the rows at the shortest pulse."""

TYPED = """a 1 7.143 8.734 15065 287.9
a 2 7.167 10.109 14796 316.6
a 3 7.145 9.181 14943 292.9
a 4 7.189 7.711 15418 275.2
a 6 7.182 8.991 15095 298.6
a 7 7.169 9.746 14892 305.3
a 8 7.058 10.412 14477 329.6
k 1 7.178 8.594 15005 286.9
k 2 7.166 9.960 14707 320.0
k 3 7.187 9.126 14943 302.0
k 4 7.227 7.622 15292 274.5
k 6 7.199 8.758 15038 295.8
k 7 7.180 9.501 14858 302.7
k 8 7.152 10.438 14577 340.4"""
"""Motor, propeller, volts, amps, rpm, gf: full throttle at 7.4 V, typed from the set."""


def read(folder: Path) -> list[dict[str, Any]]:
    """The rows that can be used."""
    with (folder / "runs.csv").open(encoding="utf-8") as file:
        rows = [
            {
                "motor": row["motor"], "propeller": row["propeller_no"], "nominal": float(row["supply_nominal_V"]),
                "pulse": float(row["esc_us"]), "volts": float(row["voltage_V"]), "amps": float(row["current_A"]),
                "rpm": float(row["rpm_electrical"]), "gf": float(row["thrust_gf"]),
                "limited": row["supply_current_limited"] == "1",
            }
            for row in csv.DictReader(file)
        ]  # fmt: skip
    # where any row of a run is limited by the supply, higher pulses repeat it
    return [
        row
        for row in rows
        if not row["limited"] and row["amps"] < SUPPLY_LIMIT_A and row["rpm"] > 1000 and row["gf"] > 0
    ]


def full_throttle(rows: Sequence[dict[str, Any]], nominal: float) -> list[dict[str, Any]]:
    """Rows at the longest pulse that hold their voltage."""
    return [
        row
        for row in rows
        if row["pulse"] >= 2000 and row["nominal"] == nominal and row["volts"] >= LEAST_VOLTS * nominal
    ]


def fitted(rows: Sequence[dict[str, Any]]) -> tuple[float, float]:
    """kV [rpm/V] and resistance [ohm] of V = rpm/kV + R I."""
    rpm, amps = (np.array([row[name] for row in rows]) for name in ("rpm", "amps"))
    volts = np.array([row["volts"] for row in rows])
    (slope, resistance), *_ = np.linalg.lstsq(np.column_stack([rpm, amps - IDLE_A]), volts, rcond=None)
    return 1.0 / float(slope), float(resistance)


class Constants(NamedTuple):
    """What is fitted for one motor with its controller."""

    kv: float
    ohm: float
    no_load_a: float
    loss: float


def coefficients(row: dict[str, Any], motor: Constants) -> tuple[float, float]:
    """CT and CP of a propeller from one row at full throttle."""
    n, size = row["rpm"] / 60.0, DIAMETER_IN * INCH_M
    torque = KV_TO_K / motor.kv * (row["amps"] - IDLE_A - motor.no_load_a)
    return (
        row["gf"] * GRAM_FORCE_N / (DENSITY * n**2 * size**4),
        torque * 2.0 * math.pi / (DENSITY * n**2 * size**5),
    )


def tables(rows: Sequence[dict[str, Any]], motor: Constants) -> dict[str, tuple[float, float]]:
    """Coefficients of every propeller that has a row at full throttle."""
    return {row["propeller"]: coefficients(row, motor) for row in rows}


SUPPLY_V = (2.0, 14.0)
SUPPLY = Chemistry(name="supply", charge=[0, 1], ocv_v=SUPPLY_V, source="bench")
"""A source whose charge sets its volts."""


def charge_of(rows: Sequence[dict[str, Any]]) -> np.ndarray:
    """The charge at which the supply has the volts of each row."""
    return (np.array([row["volts"] for row in rows]) - SUPPLY_V[0]) / (SUPPLY_V[1] - SUPPLY_V[0])


def train(motor: Constants, ct: float, cp: float) -> PowerTrain:
    """Motor, controller and propeller on the supply."""
    ratio = np.array([0.0, 1.0])
    table = CoefficientTable(rpm=[10000.0], advance_ratio=ratio, ct=[[ct, 0.5 * ct]], cp=[[cp, 0.5 * cp]])
    return PowerTrain(
        motor=Motor(name="m", kv_rpm_per_v=motor.kv, mass_g=30, resistance_ohm=motor.ohm,
                    no_load_current_a=motor.no_load_a),
        controller=Controller(name="c", max_current_a=50, mass_g=10, resistance_mohm=0.0,
                              part_throttle_loss=motor.loss),
        pack=Pack(name="p", cells_series=1, capacity_mah=1000, c_rating=50, mass_g=50, chemistry=SUPPLY,
                  cell_resistance_mohm=0.0, lead_resistance_mohm=0.0),
        propeller=Propeller(name="q", diameter_in=DIAMETER_IN, pitch_in=4.0, mass_g=4.0, table=table),
        radio_current_a=IDLE_A,
    )  # fmt: skip


def predicted(rows: Sequence[dict[str, Any]], motor: Constants, table: dict[str, Any]) -> list[dict[str, Any]]:
    """Full throttle: relative errors of rpm, current and thrust of each row whose propeller is known."""
    known = [row for row in rows if row["propeller"] in table]
    if not known:
        return []
    trains = [train(motor, *table[row["propeller"]]) for row in known]
    point = solve(trains, charge=charge_of(known), air=Air(density_kg_m3=DENSITY))
    found = {"rpm": point.rpm, "amps": point.pack_current_a, "gf": np.asarray(point.thrust_n) / GRAM_FORCE_N}
    return [
        {name: row[name] for name in ("motor", "propeller", "volts", "rpm", "amps", "gf")}
        | {f"{name}_error": float(value[at]) / row[name] - 1.0 for name, value in found.items()}
        for at, row in enumerate(known)
    ]


def held_errors(rows: Sequence[dict[str, Any]], motor: Constants, table: dict[str, Any]) -> np.ndarray:
    """Part throttle: relative error of the pack current with rpm held, NaN where there is no answer."""
    known = [row for row in rows if row["propeller"] in table]
    size = DIAMETER_IN * INCH_M
    thrust = [table[row["propeller"]][0] * DENSITY * (row["rpm"] / 60.0) ** 2 * size**4 for row in known]
    trains = [train(motor, *table[row["propeller"]]) for row in known]
    point = hold_thrust(trains, np.array(thrust), charge=charge_of(known), air=Air(density_kg_m3=DENSITY))
    return np.asarray(point.pack_current_a) / np.array([row["amps"] for row in known]) - 1.0


def refined(rows: Sequence[dict[str, Any]], low: Sequence[dict[str, Any]], motor: Constants) -> Constants:
    """No-load current and loss that fit part-throttle rows best, by the closed form of a held speed on a stiff supply.

    I = I0 + (I_full - I0) (n/n_full)^2, d = (K w + R I)/V, pack current d I/(1 - k (1 - d)).
    """
    full = {row["propeller"]: row for row in low}
    known = [row for row in rows if row["propeller"] in full]
    rpm, amps, volts = (np.array([row[name] for row in known]) for name in ("rpm", "amps", "volts"))
    top_rpm, top_amps = (np.array([full[row["propeller"]][name] for row in known]) for name in ("rpm", "amps"))

    def error(no_load_a: float, loss: float) -> float:
        current = no_load_a + (top_amps - IDLE_A - no_load_a) * (rpm / top_rpm) ** 2
        duty = np.minimum((rpm / motor.kv + motor.ohm * current) / volts, 1.0)
        return rms((duty * current / (1.0 - loss * (1.0 - duty)) + IDLE_A) / amps - 1.0)

    grid = [(float(a), float(k)) for a in np.linspace(0.0, 2.0, 41) for k in np.linspace(0.0, 0.45, 46)]
    no_load_a, loss = min(grid, key=lambda pair: error(*pair))
    return motor._replace(no_load_a=no_load_a, loss=loss)


def part_rows(rows: Sequence[dict[str, Any]], nominal: float) -> list[dict[str, Any]]:
    """Rows between idle and full throttle."""
    return [row for row in rows if row["nominal"] == nominal and row["pulse"] < 1990 and row["amps"] > 0.3]


def rms(errors: Sequence[float] | np.ndarray) -> float:
    """Root mean square of the finite errors, in per cent."""
    found = np.asarray(errors, dtype=float)
    found = found[np.isfinite(found)]
    return 100.0 * float(np.sqrt(np.mean(found**2))) if found.size else float("nan")


def study(rows: Sequence[dict[str, Any]]) -> dict[str, Any]:
    """Everything, motor by motor, with plain constants and with refined ones."""
    out: dict[str, Any] = {"plain": [], "refined": [], "plain_rows": [], "refined_rows": []}
    for name in sorted({row["motor"] for row in rows}):
        mine = [row for row in rows if row["motor"] == name]
        low, high = full_throttle(mine, 7.4), full_throttle(mine, 11.1)
        if len(low) < 3:
            continue
        plain = Constants(*fitted(low), no_load_a=0.0, loss=DEFAULT_LOSS)
        for kind, motor in (("plain", plain), ("refined", refined(part_rows(mine, 7.4), low, plain))):
            table = tables(low, motor)
            full = predicted(high, motor, table)
            held = held_errors(part_rows(mine, 11.1), motor, table)
            errors = {key: rms([row[f"{key}_error"] for row in full]) for key in ("rpm", "amps", "gf")}
            out[kind].append(
                {
                    "motor": name, **motor._asdict(), "propellers": len(low), "full_rows": len(full),
                    **{f"full_{key}": value for key, value in errors.items()},
                    "fit_rpm": rms([row["rpm_error"] for row in predicted(low, motor, table)]),
                    "part_rows": int(np.isfinite(held).sum()), "no_answer": int(np.isnan(held).sum()),
                    "part_amps": rms(held), "part_mean": 100.0 * float(np.nanmean(held)),
                }
            )  # fmt: skip
            out[f"{kind}_rows"] += full
    return out


def show(found: dict[str, Any]) -> None:
    """Print the tables."""
    words = {"plain": "no-load current 0, default loss", "refined": "no-load current and loss fitted at 7.4 V"}
    print("Full throttle at 11.1 V from constants fitted at 7.4 V, errors in per cent (predicted over measured):")
    print("                           plain: rpm   amps     gf | refined: rpm   amps     gf")
    print("motor prop  volts    rpm")
    for one, other in zip(found["plain_rows"], found["refined_rows"], strict=True):
        errors = [100 * row[f"{name}_error"] for row in (one, other) for name in ("rpm", "amps", "gf")]
        print(
            f"{one['motor']:>5} {one['propeller']:>4} {one['volts']:6.2f} {one['rpm']:6.0f}"
            f"{errors[0]:14.2f} {errors[1]:6.2f} {errors[2]:6.2f} |{errors[3]:13.2f} {errors[4]:6.2f} {errors[5]:6.2f}"
        )
    for kind, word in words.items():
        print(f"\nBy motor, {word}; rms in per cent. Part throttle at 11.1 V: pack current with rpm held.")
        print("motor     kV  mohm    I0  loss  fit rpm | full rows  rpm  amps    gf | part rows  amps   (mean)")
        for m in found[kind]:
            print(
                f"{m['motor']:>5} {m['kv']:6.0f} {1e3 * m['ohm']:5.0f} {m['no_load_a']:5.2f} {m['loss']:5.2f} "
                f"{m['fit_rpm']:8.2f} | {m['full_rows']:9d} {m['full_rpm']:4.1f} {m['full_amps']:5.1f} "
                f"{m['full_gf']:5.1f} | {m['part_rows']:9d} {m['part_amps']:5.1f}  ({m['part_mean']:+5.1f})"
            )
        every = {n: rms([row[f"{n}_error"] for row in found[f"{kind}_rows"]]) for n in ("rpm", "amps", "gf")}
        print("all full-throttle rows: " + ", ".join(f"{n} {value:.2f} %" for n, value in every.items()))


def smoke() -> dict[str, Any]:
    """Typed rows: each motor's own constants give its rpm back, and one motor's propellers predict the other."""
    names = ("motor", "propeller", "volts", "amps", "rpm", "gf")
    rows: list[dict[str, Any]] = []
    for line in TYPED.splitlines():
        words = line.split()
        rows.append(dict(zip(names, (*words[:2], *map(float, words[2:])), strict=True)))
    fits = {
        name: Constants(*fitted([row for row in rows if row["motor"] == name]), no_load_a=0.0, loss=DEFAULT_LOSS)
        for name in "ak"
    }
    table = tables([row for row in rows if row["motor"] == "a"], fits["a"])
    crossed = predicted([row for row in rows if row["motor"] == "k"], fits["k"], table)
    return {"fits": fits, "rows": crossed}


def main() -> None:
    """Entry point."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", nargs="?", type=Path, help="holds runs.csv")
    parser.add_argument("--smoke", action="store_true", help="typed rows, no data needed")
    parser.add_argument("--json", action="store_true", help="numbers instead of tables")
    options = parser.parse_args()
    if options.smoke == (options.folder is not None):
        parser.error("give the folder that holds runs.csv, or --smoke")
    if options.folder is not None and not (options.folder / "runs.csv").is_file():
        parser.error(f"no runs.csv in {options.folder}")
    found = smoke() if options.smoke else study(read(options.folder))
    if options.json:
        print(json.dumps(found, indent=1))
    elif options.smoke:
        for name, motor in found["fits"].items():
            print(f"motor {name}: kV {motor.kv:.0f} rpm/V, {1e3 * motor.ohm:.1f} mohm")
        errors = {name: rms([row[f"{name}_error"] for row in found["rows"]]) for name in ("rpm", "amps", "gf")}
        print("motor k with propellers measured on motor a, % rms:", {k: round(v, 2) for k, v in errors.items()})
    else:
        show(found)


if __name__ == "__main__":
    main()
