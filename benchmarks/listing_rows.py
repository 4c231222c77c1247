"""A motor from one row of a listing: how many real rows are refused, and what one row foretells.

Run ``python benchmarks/listing_rows.py FOLDER [--json]``, or ``--smoke`` for a few typed rows. FOLDER holds

* ``bench_five_inch/runs.csv``: P. Cao, J. Strawson, motor_propeller_testing, public repository, 2018, MIT licence;
* ``motors/sweeps.csv``: thrust stands and makers' tables, from open repositories and public figures.

Every full-throttle row is given to :func:`propmatch.records.listing.motor_from_listing` as a shop would print it, with
label kV, mass and the *predicted* propeller of its label, in four kinds: with speed and thrust, with either, with
neither. What comes out predicts (1) the row itself, (2) rows of the same motor and propeller at another voltage, (3)
rows of the same motor at the same voltage on other propellers, predicted and moved half as far. Printed are median
absolute errors of rpm, current and thrust. Left out are rows that the bench's supply limits and bench propeller 5,
whose pitch nobody states. Masses of the bench's motors are from memory. Sea level air.
"""

import argparse
import json
import time
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from prediction_training.five_inch import BENCH_SIZE
from propmatch.coupling import solve
from propmatch.faults import InputFaults
from propmatch.models.air import Air
from propmatch.models.pack import Chemistry
from propmatch.records.listing import ListedMotor, motor_from_listing
from propmatch.records.motorfit import AIR_DENSITY_KG_M3
from propmatch.records.parts import Controller, Pack, PowerTrain, Propeller
from propmatch.units import GRAM_FORCE_N
from propmatch_plugins.prediction import propmatch_coefficient_table

SUPPLY_LIMIT_A, LEAST_VOLTS = 10.8, 0.93
MASS_G, OTHER_MASS_G = {"d": 20.0, "f": 20.0, "h": 20.0}, 28.0
STAND_SIZE = {"9450": "9.4x5", "8045": "8x4.5", "1147": "11x4.7", "1155": "11x5.5", "1150": "11x5", "1045": "10x4.5"}
KINDS = {"rpm and thrust": ("rpm", "gf"), "thrust": ("gf",), "rpm": ("rpm",), "neither": ()}
NUMBERS = ("rpm", "amps", "gf")
SUPPLY_V = (0.5, 40.0)
SUPPLY = Pack(
    name="supply", cells_series=1, capacity_mah=1e5, c_rating=100, mass_g=50, cell_resistance_mohm=0.0,
    lead_resistance_mohm=0.0,
    chemistry=Chemistry(name="supply", charge=[0, 1], ocv_v=SUPPLY_V, source="a source whose charge sets its volts"),
)  # fmt: skip
CONTROLLER = Controller(name="of the row", max_current_a=100, mass_g=0, resistance_mohm=0.0, part_throttle_loss=0.0)

TYPED = """a 2600 28 4 5x4 7.4 7.189 7.711 15418 275.2
a 2600 28 6 5x4.5 7.4 7.182 8.991 15095 298.6
a 2600 28 7 5x4x3 7.4 7.169 9.746 14892 305.3
d 2450 20 4 5x4 7.4 7.314 4.698 13185 200.6
d 2450 20 4 5x4 11.1 10.850 8.866 17846 352.6
k 2400 28 4 5x4 7.4 7.227 7.622 15292 274.5
k 2400 28 6 5x4.5 7.4 7.199 8.758 15038 295.8"""
"""Motor, label kV, g, propeller, its label, nominal volts, volts, amps, rpm, gf: rows of the five-inch bench."""
COLUMNS = ("motor", "label", "mass_g", "propeller", "size", "nominal", "volts", "amps", "rpm", "gf")


def read(folder: Path) -> pd.DataFrame:
    """All rows at full throttle."""
    bench = pd.read_csv(folder / "bench_five_inch/runs.csv", dtype={"propeller_no": str}).set_axis(
        ["motor", "label", "propeller", "blades", "nominal", "pulse", "volts", "amps", "rpm", "gf", "limited", "file"],
        axis=1,
    )
    sound = (bench.limited == 0) & (bench.amps < SUPPLY_LIMIT_A) & (bench.volts >= LEAST_VOLTS * bench.nominal)
    bench = bench[sound & (bench.pulse >= 2000) & (bench.rpm > 1000) & (bench.gf > 0)]
    bench = bench.assign(size=bench.propeller.map(BENCH_SIZE), mass_g=bench.motor.map(MASS_G).fillna(OTHER_MASS_G))
    stand = pd.read_csv(folder / "motors/sweeps.csv").query("full_throttle == 1")
    two_inch = stand.prop.str.startswith("2in 4 blade")
    stand = stand.assign(
        motor=stand.unit, label=stand.kv_label, gf=stand.thrust_gf, nominal=stand.volts.round(), propeller=stand.prop,
        size=stand.prop.replace(STAND_SIZE).mask(two_inch, "2x2x4"),
    )  # fmt: skip
    return pd.concat([bench[[*COLUMNS]], stand[[*COLUMNS]]]).dropna(subset=["size", "rpm"]).reset_index(drop=True)


def smoke() -> pd.DataFrame:
    """The typed rows."""
    rows = pd.DataFrame([line.split() for line in TYPED.splitlines()], columns=COLUMNS)
    numbers = [name for name in COLUMNS if name not in ("motor", "propeller", "size")]
    return rows.astype(dict.fromkeys(numbers, float))


def predicted(size: str, family: str | None = None) -> Propeller:
    """The propeller of a label, such as 5x4.5x3; the family where it is known."""
    diameter, pitch, *blades = (float(number) for number in size.split("x"))
    bare = Propeller(name=size, diameter_in=diameter, pitch_in=pitch, blades=int(*blades or [2]), mass_g=1.0,
                     family=family)  # fmt: skip
    answer = propmatch_coefficient_table(bare, ())
    return Propeller(name=size, diameter_in=diameter, pitch_in=pitch, blades=bare.blades, mass_g=1.0,
                     table=answer.table, source=answer.source)  # fmt: skip


def listed(row: Any, given: Iterable[str], propeller: Propeller) -> ListedMotor:
    """The motor that the row gives."""
    names = {"rpm": "rpm", "gf": "thrust_gf"}
    more = {names[name]: getattr(row, name) for name in given if np.isfinite(getattr(row, name))}
    return motor_from_listing(name="m", propeller=propeller, kv_rpm_per_v=row.label, mass_g=row.mass_g,
                              volts=row.volts, amps=row.amps, **more)  # fmt: skip


def errors(found: ListedMotor, propeller: Propeller, rows: pd.DataFrame) -> list[dict[str, float]]:
    """Relative errors of rpm, current and thrust at the volts of the rows."""
    train = PowerTrain(motor=found.motor, controller=CONTROLLER, pack=SUPPLY, propeller=propeller, radio_current_a=0.0)
    charge = (rows.volts.to_numpy() - SUPPLY_V[0]) / (SUPPLY_V[1] - SUPPLY_V[0])
    point = solve(train, charge=charge, air=Air(density_kg_m3=AIR_DENSITY_KG_M3))
    off = {"rpm": point.rpm, "amps": point.motor_current_a, "gf": np.asarray(point.thrust_n) / GRAM_FORCE_N}
    return pd.DataFrame({name: off[name] / rows[name].to_numpy() - 1.0 for name in NUMBERS}).to_dict("records")


def study(rows: pd.DataFrame) -> dict[str, Any]:
    """Each kind of row: refused, remarked, milliseconds, and median absolute errors [%]."""
    propellers = {size: predicted(size) for size in rows["size"].unique()}
    out = {}
    for kind, given in KINDS.items():
        made: dict[str, list[dict[str, float]]] = {"itself": [], "other volts": [], "other propeller": []}
        refused, remarked, seconds = [], 0, []
        for at, row in zip(rows.index, rows.itertuples(), strict=True):
            propeller, start = propellers[row.size], time.process_time()
            try:
                found = listed(row, given, propeller)
            except InputFaults as error:
                refused.append(f"{row.motor} {row.size}: {error}")
                continue
            seconds.append(time.process_time() - start)
            remarked += bool(found.warnings)
            mine, same = rows.motor == row.motor, rows.propeller == row.propeller
            near = (rows.volts / row.volts - 1.0).abs() < 0.1
            made["itself"] += errors(found, found.propeller, rows.loc[[at]])
            made["other volts"] += errors(found, found.propeller, rows[mine & same & ~near])
            for size, others in rows[mine & ~same & near].groupby("size"):
                made["other propeller"] += errors(found, found.beside(propellers[size]), others)
        medians = {case: {n: 100.0 * float(np.nanmedian(np.abs([e[n] for e in all_])))
                          for n in NUMBERS} | {"rows": len(all_)} for case, all_ in made.items() if all_}  # fmt: skip
        out[kind] = {"rows": len(rows), "refused": refused, "remarked": remarked,
                     "milliseconds": 1e3 * float(np.median(seconds)), "errors": medians}  # fmt: skip
    return out


def show(found: dict[str, Any]) -> None:
    """Print the table."""
    for kind, result in found.items():
        print(f"\nVolts, amps and {kind}: {result['rows']} rows, {len(result['refused'])} refused, "
              f"{result['remarked']} remarked, {result['milliseconds']:.1f} ms")  # fmt: skip
        for case, off in result["errors"].items():
            print(
                f"  {case:<16}{off['rows']:4d} rows, median error, %: "
                + ", ".join(f"{n} {off[n]:.1f}" for n in NUMBERS)
            )
        for each in result["refused"]:
            print("  refused:", each)


def main() -> None:
    """Entry point."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", nargs="?", type=Path, help="holds bench_five_inch and motors")
    parser.add_argument("--smoke", action="store_true", help="typed rows, no data needed")
    parser.add_argument("--json", action="store_true", help="numbers instead of a table")
    options = parser.parse_args()
    if options.smoke == (options.folder is not None):
        parser.error("give the folder that holds the measured data, or --smoke")
    found = study(smoke() if options.smoke else read(options.folder))
    print(json.dumps(found, indent=1)) if options.json else show(found)


if __name__ == "__main__":
    main()
