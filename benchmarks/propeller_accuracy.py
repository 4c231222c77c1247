"""How well propellers are predicted that the fit has not seen, beside the goals.

    python benchmarks/propeller_accuracy.py FOLDER [--leave-out models|lines|nothing] [--strict] [--sweep] [--json FILE]
                                            [--pictures FOLDER]

FOLDER is a copy of the UIUC Propeller Database, volumes 1-4 (Brandt, Deters, Ananda, Dantsker, Selig), in the form that
``prediction_training/measured.py`` describes: dynamic.csv, static.csv, geometry.csv, diameters.csv.

``models``: five groups of models by a hash of their names are left out in turn; the rest of each line is known
(siblings). ``lines``: every line is left out in turn; label, chord and angle, and whole blade shape are tried.
``nothing``: the tables that ship, as they are; for measurements that took no part in the fit, with ``--teach FOLDER``
holding measured propellers that serve as siblings. ``--strict`` refits polar and blade shapes each time too (slow).
Every model has weight 1. Errors are predicted/measured - 1; ``CT error/CT0`` is (predicted - measured)/CT0 over 0..J0.
Anchored rows take one static point in the middle of the speeds, with 3 % normal error of fixed seed, and judge the
other speeds. Nothing is random otherwise: the same folder gives the same table.
"""

import argparse
import json
import math
import sys
import time
import zlib
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from prediction_training.accuracy import (
    ERRORS,
    Comparison,
    by_line,
    by_model,
    compare,
    coverage,
    in_scope,
    measured_sibling,
    percentiles,
)
from prediction_training.fit import Workshop, left_out, predict_measured
from prediction_training.measured import MeasuredPropeller, read_measured
from propmatch.files import write_file
from propmatch.units import INCH_M
from propmatch_plugins.prediction.arguments import checked
from propmatch_plugins.prediction.evidence import Anchor
from propmatch_plugins.prediction.families import FAMILIES
from propmatch_plugins.prediction.knowledge import QUANTITIES, Knowledge, bundled_knowledge
from propmatch_plugins.prediction.predicted import predict, predict_from

GOALS: dict[str, dict[str, str]] = {
    "siblings": {
        "CT0": "6.5/12/22 bias 3",
        "CP0": "7.5/15/28 bias 3",
        "CT error/CT0": "6/12/20",
        "CP, 0..0.8 J0": "9/17/34",
        "J0": "4/8",
        "static thrust at given power": "5/10/20",
        "coverage": "75-85 %",
    },
    "geometry": {
        "CT0": "7/13/22 bias 4",
        "CP0": "9.5/18/28 bias 4",
        "CT error/CT0": "7.5/15/25",
        "CP, 0..0.8 J0": "11/22/38",
        "J0": "5.5/11",
        "static thrust at given power": "6.5/11/17",
        "coverage": "74-85 %",
    },
    "label": {
        "CT0": "12/23/37 bias 4",
        "CP0": "14/27/48 bias 4",
        "CT error/CT0": "10.5/20/32",
        "CP, 0..0.8 J0": "15/31/57",
        "J0": "8/15",
        "static thrust at given power": "7/15/26",
        "coverage": "80-95 %",
    },
    "anchored": {
        "CT0": "6.5/12/20 bias 2",
        "CP0": "3.5/7/11 bias 2",
        "CP, 0..0.8 J0": "6.5/13/24",
        "J0": "4.5/9",
        "static thrust at given power": "7/13/22",
    },
}
"""Median / 80th / 95th percentile of |error| in percent, from the study that set them; bias is an upper limit."""


def anchored(p: MeasuredPropeller, knowledge: Knowledge, *, thrust: bool, **options: Any) -> Comparison | None:
    """Predict with one static point of the middle speed; the other speeds are judged."""
    if p.static_rpm.size < 3:
        return None
    k = p.static_rpm.size // 2
    n, d = p.static_rpm[k] / 60.0, p.diameter_in * INCH_M
    noise = np.random.default_rng(zlib.crc32(f"{p.volume} {p.label}".encode())).normal(0.0, 0.03, 2)
    point = Anchor(
        rpm=float(p.static_rpm[k]),
        shaft_power_w=float(p.static_cp[k] * math.exp(noise[0]) * 1.225 * n**3 * d**5),
        thrust_n=float(p.static_ct[k] * math.exp(noise[1]) * 1.225 * n**2 * d**4) if thrust else None,
    )
    size = {"blades": p.blades, "family": p.family, "anchors": [point]}
    answer = predict_from(knowledge, checked(p.diameter_in, p.pitch_in, **size, **options))
    rest = MeasuredPropeller(**{**vars(p), **{
        name: np.delete(getattr(p, name), k) for name in ("static_rpm", "static_ct", "static_cp")
    }})  # fmt: skip
    return compare(rest, answer)


def run(options: argparse.Namespace) -> dict[str, list[Comparison]]:
    """Comparisons by tier."""
    measured = read_measured(options.folder)
    out: dict[str, list[Comparison]] = {}

    def add(tier: str, comparison: Comparison | None) -> None:
        if comparison is not None:
            out.setdefault(tier, []).append(comparison)

    if options.leave_out == "nothing":
        knowledge = bundled_knowledge()
        teachers = read_measured(options.teach) if options.teach else measured
        for p in filter(in_scope, measured):
            line = [
                s
                for q in teachers
                if q.line == p.line and q.model != p.model and (s := measured_sibling(q)) is not None
            ]
            for tier in ("siblings", "geometry", "chord and angle", "label"):
                prediction = predict_measured(knowledge, p, tier, line)
                if prediction is not None:
                    add(tier, compare(p, prediction))
            unknown = predict_from(knowledge, checked(p.diameter_in, p.pitch_in, blades=p.blades))
            add("label, family unknown", compare(p, unknown))
            add("label + power", anchored(p, knowledge, thrust=False))
            if line:
                add("siblings + power", anchored(p, knowledge, thrust=False, siblings=line))
        return out
    workshop = Workshop.of(measured)
    shipped = bundled_knowledge().calibrations
    if options.leave_out == "models":
        groups, tiers = by_model(workshop.propellers), ["siblings"]
    else:
        groups, tiers = by_line(workshop.propellers), ["label", "chord and angle", "geometry"]
    for case in left_out(workshop, groups, tiers, strict=options.strict, calibrations=shipped):
        p = case.comparison.propeller
        add(case.tier, case.comparison)
        known = [
            workshop.siblings[q.volume, q.label]
            for q in workshop.propellers
            if q.line == p.line and q.model not in case.group and (q.volume, q.label) in workshop.siblings
        ]
        if case.tier == "siblings":
            add("siblings + power", anchored(p, case.knowledge, thrust=False, siblings=known))
            add("siblings + power + thrust", anchored(p, case.knowledge, thrust=True, siblings=known))
        elif case.tier == "label":
            unknown = predict_from(case.knowledge, checked(p.diameter_in, p.pitch_in, blades=p.blades))
            add("label, family unknown", compare(p, unknown))
            add("label + power", anchored(p, case.knowledge, thrust=False))
            add("label + power + thrust", anchored(p, case.knowledge, thrust=True))
    return out


def lines_of(tier: str, comparisons: Sequence[Comparison]) -> Iterator[str]:
    """The table of one tier."""
    models = len({c.propeller.model for c in comparisons})
    goals = GOALS.get("anchored" if tier.endswith("+ power") else tier, {})
    lines = len({c.propeller.line for c in comparisons})
    yield f"\n{tier}: {len(comparisons)} propellers, {models} models, {lines} lines"
    yield f"  {'|error| %':30s}{'median':>8s}{'80th':>8s}{'95th':>8s}{'bias':>8s}   goal"
    for name in ERRORS:
        median, high, highest, bias = percentiles(comparisons, name)
        yield f"  {name:30s}{median:8.1f}{high:8.1f}{highest:8.1f}{bias:+8.1f}   {goals.get(name, '-')}"
    yield f"  80 % interval covers (goal {goals.get('coverage', '-')}), +- binomial over models; median half-width"
    for quantity in QUANTITIES:
        share, sigma = coverage(comparisons, quantity)
        half = float(np.median([math.log1p(c.prediction.intervals[quantity][1]) for c in comparisons]))
        yield f"  {quantity:30s}{100 * share:8.1f} +- {100 * sigma:.1f} %   width {100 * half:.0f} %"


def draw(comparisons: Sequence[Comparison], folder: Path) -> None:
    """One picture a family: the propeller whose static errors are the median ones, predicted and measured."""
    import matplotlib as mpl

    mpl.use("Agg")
    from matplotlib import pyplot as plt

    folder.mkdir(parents=True, exist_ok=True)
    for family in FAMILIES:
        own = [c for c in comparisons if c.propeller.family == family and len(c.propeller.sweeps) > 2]
        if not own:
            continue
        own.sort(key=lambda c: float(np.mean(np.abs(c.errors["CT0"])) + np.mean(np.abs(c.errors["CP0"]))))
        case = own[len(own) // 2]
        p, answer = case.propeller, case.prediction
        figure, axes = plt.subplots(1, 2, figsize=(8.5, 3.4), constrained_layout=True)
        colours = ("#1b6ca8", "#b8500c", "#4b7a2f")
        sweeps = [s for s in p.sweeps if math.isfinite(s.zero_thrust_j)]
        chosen = sweeps[:: max((len(sweeps) - 1) // 2, 1)][:3]
        for axis, name, letter in zip(axes, ("CT", "CP"), ("ct", "cp"), strict=True):
            for sweep, colour in zip(chosen, colours, strict=False):
                j = np.linspace(0.0, sweep.zero_thrust_j * 1.05, 60)
                value = getattr(answer.table.lookup(np.full(j.size, sweep.rpm), j), letter)
                low, high = answer.intervals[f"{letter}0"]
                axis.plot(j, value, color=colour, label=f"predicted, {sweep.rpm:.0f} rpm")
                if sweep is chosen[len(chosen) // 2]:
                    axis.fill_between(j, value * (1 + low), value * (1 + high), color=colour, alpha=0.15, lw=0)
                axis.plot(sweep.j, getattr(sweep, letter), "o", ms=3, color=colour, mfc="none")
                static = np.interp(sweep.rpm, p.static_rpm, getattr(p, f"static_{letter}"))
                axis.plot(0.0, static, "s", ms=5, color=colour, mfc="none", clip_on=False)
            axis.set(xlabel="advance ratio J", ylabel=name, xlim=(0, None), ylim=(0, None))
            axis.grid(alpha=0.3)
        axes[0].legend(fontsize=7, title="o measured, s static; band: 80 % static interval", title_fontsize=6)
        text = f"{family}, {p.diameter_in:g} x {p.pitch_in:g} in, left out; siblings known"
        figure.suptitle(f"{text} (measured: UIUC Propeller Database, vol. {p.volume})", fontsize=9)
        figure.savefig(folder / f"{family}.png", dpi=85)
        plt.close(figure)


def sweep_everything() -> str:
    """Every family, size, pitch and blade count: elements that did not converge, and times."""
    unconverged = tables = 0
    start = time.perf_counter()
    for family in FAMILIES:
        for diameter in (2, 3, 4.5, 6, 8, 10, 13, 16, 20):
            for ratio in (0.3, 0.45, 0.6, 0.75, 0.9, 1.05, 1.2):
                for blades in (2, 3, 4, 6):
                    answer = predict(diameter, ratio * diameter, blades=blades, family=family)
                    unconverged += answer.unconverged
                    tables += 1
    spent = time.perf_counter() - start
    one = min(_timed() for _ in range(20))
    return (
        f"{tables} tables of 8 rpm x 28 J: {unconverged} unconverged elements; {1e3 * one:.1f} ms a table, best of 20; "
        f"100 propellers {100 * spent / tables:.2f} s"
    )


def _timed() -> float:
    start = time.perf_counter()
    predict(9, 6, family="thin")
    return time.perf_counter() - start


def main(arguments: Sequence[str] | None = None) -> int:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("folder", type=Path, nargs="?", help="folder of measured propeller tables")
    parser.add_argument("--smoke", action="store_true", help="times and convergence only, without data")
    parser.add_argument("--leave-out", choices=("models", "lines", "nothing"), default="models")
    parser.add_argument("--teach", type=Path, help="with --leave-out nothing: folder of measured siblings")
    parser.add_argument("--strict", action="store_true", help="refit polar and blade shapes too")
    parser.add_argument("--sweep", action="store_true", help="also times and convergence over all sizes")
    parser.add_argument("--pictures", type=Path, help="with --leave-out models: draw one propeller of each family")
    parser.add_argument("--json", type=Path, help="write the figures there too")
    options = parser.parse_args(arguments)
    if options.smoke:
        print(sweep_everything())
        return 0
    if options.folder is None:
        parser.error("name the folder of measured propeller tables")
    results = run(options)
    for tier, comparisons in results.items():
        print("\n".join(lines_of(tier, comparisons)))
    if options.pictures:
        draw(results["siblings"], options.pictures)
    if options.sweep:
        print("\n" + sweep_everything())
    if options.json:
        figures = {
            tier: {
                "errors": {name: percentiles(each, name) for name in ERRORS},
                "coverage": {name: coverage(each, name) for name in QUANTITIES},
            }
            for tier, each in results.items()
        }
        write_file(options.json, json.dumps(figures, indent=1))
    return 0


if __name__ == "__main__":
    sys.exit(main())
