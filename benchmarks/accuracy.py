"""Every row of the guide's page on accuracy, computed again: predicted against measured, beside what the page says.

    python benchmarks/accuracy.py FOLDER | --smoke

Rows that the page dates to ``tests`` rest on rows typed into ``tests/reference`` (named beside them there) and are held
in continuous integration; ``--smoke`` computes these alone. The others need FOLDER, with ``propellers``,
``bench_five_inch`` and ``motors`` in it as ``propeller_accuracy.py``, ``laws.py`` and ``packs.py`` describe them; every
propeller is predicted by a fit that has not seen it, or its whole product line (67 s of CPU). A figure that is worse
than the page says is marked, and ends the run with 1.

Errors are predicted/measured - 1 in percent. Propellers have equal weight, whatever their number of rows.
"""

import argparse
import csv
import math
import sys
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import attrs
import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests"))

from support import measured_cells

import laws
import listing_rows
import packs
import propeller_accuracy
from prediction_training.accuracy import coverage, percentiles
from prediction_training.fit import Workshop
from prediction_training.five_inch import BENCH_SIZE
from prediction_training.measured import read_measured
from propmatch import Air, PowerTrain, fit_log, solve
from propmatch.guide.accuracy import Compared, compared
from propmatch.models.pack import CHEMISTRIES
from propmatch.units import GRAM_FORCE_N
from propmatch_plugins.prediction import predict

REFERENCE = Path(__file__).resolve().parents[1] / "tests" / "reference"
RACING_RPM = 11000.0
QUANTITIES = {"rpm": "rpm", "amps": "current", "gf": "thrust"}
TIERS = {
    "label": "label", "label, family unknown": "size", "chord and angle": "chord", "geometry": "blade",
    "label + static point": "reading", "siblings": "siblings",
}  # fmt: skip
"""Tier of ``propeller_accuracy.py`` to the name of its rows."""
OF_TIER = {"CT0": "ct0", "CP0": "cp0", "CP, 0..0.8 J0": "cp_0.4_to_0.8", "J0": "zero_thrust_j"}
"""Error to the interval that is counted."""


@attrs.frozen
class Figures:
    """Number compared, median and 80th percentile of the size of the error, mean error, share in the interval [%]."""

    count: int
    median: float
    eighty: float
    bias: float
    held: float = math.nan

    @classmethod
    def of(cls, errors: Any, inside: Any = None) -> "Figures":
        """From errors [%] and whether the stated interval holds each."""
        e = np.asarray(errors, dtype=np.float64)
        size = np.abs(e)
        held = math.nan if inside is None else 100.0 * float(np.mean(inside))
        return cls(e.size, float(np.median(size)), float(np.quantile(size, 0.8)), float(np.mean(e)), held)

    def worse_than(self, said: Compared) -> list[str]:
        """What is worse than the page says."""
        out = [name for name in ("median", "eighty") if not getattr(self, name) <= getattr(said, name)]
        if not min(0.0, said.bias) <= self.bias <= max(0.0, said.bias):
            out.append("bias")
        if self.count != said.count:
            out.append("count")
        if math.isnan(self.held) != math.isnan(said.held) or self.held < said.held:
            out.append("held")
        return out


# ---------------------------------------------------------------- propellers


def typed_propellers() -> Iterator[tuple[str, Figures]]:
    """Points typed from tables of the open database, predicted from the label."""
    with (REFERENCE / "propeller_measured.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    errors: dict[str, list[float]] = {"ct": [], "cp": []}
    inside: dict[str, list[bool]] = {"ct": [], "cp": []}
    for row in rows:
        rpm, j = float(row["rpm"]), float(row["advance_ratio"])
        size = float(row["diameter_in"]), float(row["pitch_in"])
        answer = predict(*size, blades=int(row["blades"]), family=row["family"])
        at = answer.table.lookup(rpm, j)
        for name in errors:
            ratio = float(getattr(at, name)) / float(row[name])
            low, high = answer.interval(f"{name}{'0' if j == 0 else '_to_0.4'}", rpm)
            errors[name].append(100.0 * (ratio - 1.0))
            inside[name].append(1 + low <= 1 / ratio <= 1 + high)
    for name in errors:
        yield f"typed {name}", Figures.of(errors[name], inside[name])


def racing_propellers() -> Figures:
    """CT at rest of labelled five-inch propellers, which no fit has seen.

    ``racing_propellers.csv``: pitch, blades and median CT0 = T/(rho n^2 D^4) at 1.225 kg/m3 over seven motors: P. Cao,
    J. Strawson, motor_propeller_testing, 2018, thrust and rpm of runs.csv below the supply's limit, above 4000 rpm.
    """
    with (REFERENCE / "racing_propellers.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    errors, inside = [], []
    for row in rows:
        answer = predict(5, float(row["pitch_in"]), blades=int(row["blades"]), family="racing")
        ratio = float(answer.table.lookup(RACING_RPM, 0.0).ct) / float(row["ct0"])
        low, high = answer.interval("ct0", RACING_RPM)
        errors.append(100.0 * (ratio - 1.0))
        inside.append(1 + low <= 1 / ratio <= 1 + high)
    return Figures.of(errors, inside)


def all_propellers(folder: Path) -> Iterator[tuple[str, Figures]]:
    """The open database, each propeller predicted by a fit that has not seen it."""
    workshop = Workshop.of(read_measured(folder))
    results = propeller_accuracy.models_left_out(workshop, False) | propeller_accuracy.lines_left_out(workshop, False)
    groups = {name: results[tier] for tier, name in TIERS.items()}
    groups["broad"] = [each for each in groups["size"] if each.propeller.family == "broad"]
    for name, some in groups.items():
        for error, interval in OF_TIER.items():
            median, eighty, _, bias = percentiles(some, error)
            held, _ = coverage(some, interval)
            yield f"{name} {error}", Figures(len(some), median, eighty, bias, 100.0 * held)


# ---------------------------------------------------------------- motors, controllers, voltages


def motors(rows: pd.DataFrame, which: str) -> Iterator[tuple[str, Figures]]:
    """Motors known by label and mass on measured propellers, and the same at another voltage."""
    by_label = laws.by_label(rows, laws.after)
    low = by_label[by_label.nominal == 7.4]
    changed, known = laws.change(by_label), laws.by_low_rows(rows, laws.after)
    held = laws.by_label(rows, laws.after, held=True)
    for short, name in QUANTITIES.items():
        yield f"{which} motor {name}", Figures.of(low[f"{short}_error"], low[f"{short}_in"] / 100.0)
        yield f"{which} voltage change {name}", Figures.of(changed[f"{short}_error"])
        yield f"{which} voltage known {name}", Figures.of(known[f"{short}_error"])
    yield f"{which} part throttle", Figures.of(held.amps_error)


def stands(source: Path) -> Iterator[tuple[str, Figures]]:
    """Heavily loaded motors with measured torque."""
    rows = laws.stands(source)
    torque = rows[(rows.torque_nm > 0) & (rows.gf > 0) & rows.full]
    found = laws.judged(torque, laws.after, idle=0.0)
    for short, name in QUANTITIES.items():
        yield f"stands {name}", Figures.of(found[f"{short}_error"], found[f"{short}_in"] / 100.0)


def fits_at_7_4_v() -> tuple[pd.DataFrame, dict[str, Any]]:
    """Full-throttle rows of three motors, and what a fit of their 7.4 V rows finds."""
    rows = pd.read_csv(REFERENCE / "bench_two_voltages.csv", dtype={"propeller": str})
    blades = {n: attrs.evolve(listing_rows.predicted(size, "racing"), name=n) for n, size in BENCH_SIZE.items()}
    columns = ["motor", "label_kv", "mass_g", "propeller", "volts", "amps", "rpm", "thrust_gf"]
    return rows, {
        motor: fit_log(own[columns], propellers=blades) for motor, own in rows[rows.nominal_v == 7.4].groupby("motor")
    }


def foretold(rows: pd.DataFrame, fits: Mapping[str, Any]) -> Iterator[tuple[str, Figures]]:
    """11.1 V rows from motors and propellers fitted at 7.4 V."""
    errors: dict[str, list[float]] = {name: [] for name in QUANTITIES.values()}
    low, high = listing_rows.SUPPLY_V
    for row in rows[rows.nominal_v == 11.1].itertuples():
        fit = fits[row.motor]
        propeller = next(each for each in fit.propeller_parts() if each.name == row.propeller)
        train = PowerTrain(motor=fit.part(), controller=listing_rows.CONTROLLER, pack=listing_rows.SUPPLY,
                           propeller=propeller, radio_current_a=0.0)  # fmt: skip
        point = solve(train, charge=(row.volts - low) / (high - low), air=Air(density_kg_m3=1.225))
        answers = point.rpm / row.rpm, point.motor_current_a / row.amps, point.thrust_n / GRAM_FORCE_N / row.thrust_gf
        for name, ratio in zip(errors, answers, strict=True):
            errors[name].append(100.0 * (ratio - 1.0))
    for name in errors:
        yield f"fit {name}", Figures.of(errors[name])


# ---------------------------------------------------------------- packs


def cells(name: str, rows: Sequence[tuple[float, float, float]]) -> Figures:
    """Estimated resistance of cells (A h, label C, mohm)."""
    law = CHEMISTRIES[name].resistance
    ratios = np.array([law.cell_mohm(ah, c) / mohm for ah, c, mohm in rows])
    return Figures.of(100.0 * (ratios - 1.0), np.abs(np.log(ratios)) <= math.log(law.factor))


def discharges() -> Figures:
    """Time to 3.3 V of one round cell at 1C to 4C."""
    return Figures.of([100.0 * row["after"] for row in packs.discharges()])


def cold_cells() -> Figures:
    """Charge of round cells in the cold over the warm, each against what the law gives to the same voltage."""
    errors = []
    for celsius, by_volts in measured_cells.COLD_SHARES.items():
        for volts, shares in by_volts.items():
            found = measured_cells.cold_share(celsius, volts)
            errors += [100.0 * (found / share - 1.0) for share in shares]
    return Figures.of(errors)


# ---------------------------------------------------------------- together


def of_repository() -> dict[str, Figures]:
    """Rows that rest on what is in the repository."""
    return dict([
        *typed_propellers(),
        ("racing CT0", racing_propellers()),
        *motors(laws.bench(laws.TYPED), "typed"),
        *foretold(*fits_at_7_4_v()),
        ("typed cells lipo", cells("lipo", measured_cells.LIPO)),
        ("typed cells liion", cells("liion", measured_cells.LI_ION)),
        ("discharges", discharges()),
        ("cold", cold_cells()),
    ])  # fmt: skip


def of_folder(folder: Path) -> dict[str, Figures]:
    """Rows that rest on the whole open data."""
    found = dict(all_propellers(folder / "propellers"))
    found |= dict(motors(laws.bench(folder / "bench_five_inch" / "runs.csv"), "bench"))
    found |= dict(stands(folder / "motors" / "sweeps.csv"))
    rows, _ = packs.read(folder / "motors")
    for name in ("lipo", "liion"):
        own = [(1.0, r["label_c"], r["mohm_ah"]) for r in rows if packs.CHEMISTRY[r["kind"]] == name]
        found[f"cells {name}"] = cells(name, own)
    return found


def lines(found: Mapping[str, Figures]) -> Iterator[tuple[str, bool]]:
    """A line for each row of the page that was computed, and whether it is as good as said."""
    for said in compared():
        if (now := found.get(said.name)) is not None:
            worse = now.worse_than(said)
            figures = [f"{getattr(now, key):.1f} of {getattr(said, key):g}" for key in ("median", "eighty", "bias")]
            held = "" if math.isnan(now.held) else f", holds {now.held:.0f} of {said.held:g} %"
            line = f"{said.what:46s} {now.count:4d}  {'  '.join(figures)}{held}"
            yield f"{line}{'  WORSE: ' + ', '.join(worse) if worse else ''}", not worse


def main(words: Sequence[str] | None = None) -> int:
    """Print the rows."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("folder", type=Path, nargs="?", help="folder of the open data")
    parser.add_argument("--smoke", action="store_true", help="rows of the repository alone")
    asked = parser.parse_args(words)
    if asked.smoke == (asked.folder is not None):
        parser.error("name the folder of the open data, or --smoke")
    found = of_repository() | ({} if asked.smoke else of_folder(asked.folder))
    said = list(lines(found))
    print("computed of what the page says, in percent")
    print("\n".join(line for line, _ in said))
    missing = {name: now for name, now in found.items() if name not in {row.name for row in compared()}}
    for name, now in missing.items():
        print(f"not on the page: {name}, {now}")
    return 0 if all(good for _, good in said) and not missing else 1


if __name__ == "__main__":
    sys.exit(main())
