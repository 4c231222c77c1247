"""Estimated cell resistance and cold capacity held against measured cells and packs, before and after.

Run ``python benchmarks/packs.py FOLDER [--json]`` with a folder that holds ``packs.csv`` (kind, capacity, label C and
resistance times capacity of cells and packs, by charger, pulse or discharge) and ``cold_liion.csv`` (capacity of round
cells at 1C down to 3.0 V, from 25 to -30 degC), or ``--smoke`` to use a few typed rows instead.

Discharges of one round cell of 3 A h labelled 5C, 1C to 4C down to 3.3 V, are known by how far the law before
overstates their length: 8, 24, 47 and 74 %.

Before stands for one law for every pack, 12 mohm A h, and a capacity that the cold leaves alone. Bias is the mean of
ln(estimate/measured), rms its root mean square; a factor of 1.6 is 0.47 of it, one of 1.8 is 0.59.
"""

import argparse
import csv
import json
import math
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from propmatch.battery import CHEMISTRIES, resistance_factor

BEFORE_MOHM_AH = 12.0
COLD_C = (-10.0, -20.0)
DISCHARGED_LABEL_C, DISCHARGED_TO_V = 5.0, 3.3
OVERSTATED = {1.0: 0.08, 2.0: 0.24, 3.0: 0.47, 4.0: 0.74}
"""How far the law before overstates the discharge at a rate [1/h]; public figures of one cell."""

PACKS = """lipo 95 7.46
lipo-lowC 8 78
liion 8 65
liion 2 100
liion 5 39"""
"""Kind, label C and mohm A h, typed from public figures."""
COLD = """18650 25 2.54
18650 -10 1.89
18650 -20 1.56"""
"""Cell, degC and A h down to 3.0 V at 1C, typed from public figures."""
CHEMISTRY = {"lipo": "lipo", "lipo-lowC": "lipo", "liion": "liion", "liion-pulse": "liion"}
"""Chemistry of each kind."""


def read(folder: Path) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Rows of packs and of cold cells."""
    with (folder / "packs.csv").open(encoding="utf-8") as file:
        packs = [
            {"kind": row["kind"], "label_c": float(row["label_c"]), "mohm_ah": float(row["mohm_ah"])}
            for row in csv.DictReader(file)
        ]
    with (folder / "cold_liion.csv").open(encoding="utf-8") as file:
        cold = [
            {"cell": row["cell"], "celsius": float(row["T"]), "ah": float(row["Ah_3V"])} for row in csv.DictReader(file)
        ]
    return packs, cold


def typed() -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """The typed rows."""
    packs = [line.split() for line in PACKS.splitlines()]
    cold = [line.split() for line in COLD.splitlines()]
    return (
        [{"kind": kind, "label_c": float(c), "mohm_ah": float(level)} for kind, c, level in packs],
        [{"cell": cell, "celsius": float(t), "ah": float(ah)} for cell, t, ah in cold],
    )


def spread(errors: Sequence[float], factor: float) -> dict[str, float]:
    """Bias, rms and the share within a factor."""
    n = len(errors)
    return {
        "rows": n,
        "bias": sum(errors) / n,
        "rms": math.sqrt(sum(error * error for error in errors) / n),
        "within": sum(abs(error) <= math.log(factor) for error in errors) / n,
    }


def resistance(packs: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
    """For each chemistry the errors of both laws."""
    found = []
    for name in sorted({CHEMISTRY[row["kind"]] for row in packs}):
        law = CHEMISTRIES[name].resistance
        rows = [row for row in packs if CHEMISTRY[row["kind"]] == name]
        laws: dict[str, Callable[[float], float]] = {
            "before": lambda c: BEFORE_MOHM_AH,
            "after": lambda c, law=law: law.cell_mohm(1.0, c),  # type: ignore[misc]
        }
        for when, level in laws.items():
            errors = [math.log(level(row["label_c"]) / row["mohm_ah"]) for row in rows]
            found.append({"chemistry": name, "law": when, "factor": law.factor, **spread(errors, law.factor)})
    return found


def cold_capacity(cold: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
    """At each temperature the mean measured share of the warm capacity, and that of the law."""
    warm = {row["cell"]: row["ah"] for row in cold if row["celsius"] == 25.0}
    found = []
    for celsius in COLD_C:
        shares = [row["ah"] / warm[row["cell"]] for row in cold if row["celsius"] == celsius]
        found.append(
            {
                "celsius": celsius,
                "rows": len(shares),
                "measured": sum(shares) / len(shares),
                "before": 1.0,
                "after": float(CHEMISTRIES["liion"].capacity_at(celsius)),
            }
        )
    return found


def given(level_mohm_ah: float, c_rate: float, cutoff_v: float) -> float:
    """Share of the charge that a full Li-ion cell gives at a constant current before its voltage falls to a cut-off."""
    charge = np.linspace(0.0, 1.0, 20_001)
    ohm_ah = level_mohm_ah * 1e-3 * np.asarray(resistance_factor(charge))
    low = charge[CHEMISTRIES["liion"].cell_ocv_v(charge) - c_rate * ohm_ah < cutoff_v]
    return 1.0 - float(low[-1]) if low.size else 1.0


def discharges() -> list[dict[str, Any]]:
    """Length of each discharge over the measured one, less 1."""
    kind = CHEMISTRIES["liion"]
    after = kind.resistance.cell_mohm(1.0, DISCHARGED_LABEL_C)
    found = []
    for c_rate, over in OVERSTATED.items():
        measured = given(BEFORE_MOHM_AH, c_rate, DISCHARGED_TO_V) / (1.0 + over)
        levels = {"before": BEFORE_MOHM_AH, "first_seconds": after, "after": kind.sustained_ratio * after}
        errors = {name: given(level, c_rate, DISCHARGED_TO_V) / measured - 1.0 for name, level in levels.items()}
        found.append({"c_rate": c_rate, **errors})
    return found


def main() -> None:
    """Entry point."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument(
        "folder", nargs="?", type=Path, help="holds packs.csv and cold_liion.csv, or a folder motors that does"
    )
    parser.add_argument("--smoke", action="store_true", help="typed rows, no data needed")
    parser.add_argument("--json", action="store_true", help="numbers instead of tables")
    options = parser.parse_args()
    if options.smoke == (options.folder is not None):
        parser.error("give the folder that holds packs.csv and cold_liion.csv, or --smoke")
    if options.folder and (options.folder / "motors").is_dir():
        options.folder /= "motors"
    missing = [n for n in ("packs.csv", "cold_liion.csv") if options.folder and not (options.folder / n).is_file()]
    if missing:
        parser.error(f"no {' and no '.join(missing)} in {options.folder}")
    packs, cold = typed() if options.smoke else read(options.folder)
    found = {"resistance": resistance(packs), "capacity": cold_capacity(cold), "discharges": discharges()}
    if options.json:
        print(json.dumps(found, indent=1))
        return
    print("cell resistance, ln(estimate/measured)")
    for row in found["resistance"]:
        errors = (
            f"bias {row['bias']:+.2f}  rms {row['rms']:.2f}  within a factor {row['factor']:g}: {row['within']:.0%}"
        )
        print(f"  {row['chemistry']:<6} {row['law']:<7} {row['rows']:>3} rows  {errors}")
    print("Li-ion capacity down to 3.0 V at 1C over that at 25 degC")
    for row in found["capacity"]:
        print(
            f"  {row['celsius']:+.0f} degC {row['rows']:>3} cells  measured {row['measured']:.2f}"
            f"  before {row['before']:.2f}  after {row['after']:.2f}"
        )
    print("time to 3.3 V of the 3 A h, 5C cell over the measured one, less 1")
    for row in found["discharges"]:
        print(
            f"  {row['c_rate']:g}C  before {row['before']:+.0%}  resistance of the first seconds "
            f"{row['first_seconds']:+.0%}  after {row['after']:+.0%}"
        )


if __name__ == "__main__":
    main()
