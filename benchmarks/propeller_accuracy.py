"""How well propellers are predicted that the fit has not seen, beside the goals and two baselines.

    python benchmarks/propeller_accuracy.py FOLDER [--strict] [--json FILE] [--pictures FOLDER]
    python benchmarks/propeller_accuracy.py FOLDER --leave-out nothing [--teach FOLDER]

FOLDER is a copy of the UIUC Propeller Database, volumes 1-4 (Brandt, Deters, Ananda, Dantsker, Selig), in the form that
``prediction_training/measured.py`` describes: dynamic.csv, static.csv, geometry.csv, diameters.csv. The runs of the
five-inch bench are read from ``../bench_five_inch/runs.csv`` beside it, where they are.

Models left out: five groups of models by a hash of their names in turn; the rest of each line is known (siblings, one
of them read at rest, the line by its description). Lines left out: every line in turn; label, chord and angle, whole
blade. ``--leave-out nothing``: the tables that ship, as they are, for measurements that took no part in the fit, with
``--teach FOLDER`` holding measured propellers that serve as siblings. ``--strict`` refits polar and blade shapes too.

Every model has weight 1. Errors are predicted/measured - 1; ``CT error/CT0`` is (predicted - measured)/CT0 over 0..J0.
A static point is the shaft power of the middle speed, with 3 % normal error of fixed seed; the other speeds are judged.
Coverage of the 80 % intervals is held against 80 % by an exact binomial test over models, ``*`` where it is rejected at
1 %; models of one left-out line err together, so the test is stricter than it says. Baselines: a textbook blade
element, and the table of the nearest propeller that was not left out. Nothing is random otherwise.
"""

import argparse
import io
import json
import math
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import numpy as np

from prediction_training.accuracy import (
    ERRORS,
    JUDGED,
    Comparison,
    by_line,
    by_model,
    compare,
    coverage,
    in_scope,
    measured_sibling,
    percentiles,
)
from prediction_training.baselines import nearest_propeller, textbook_blade_element
from prediction_training.fit import Workshop, left_out, predict_left_out, predict_measured
from prediction_training.five_inch import BENCH_SIZE, DIAMETER_IN, NO_LABEL, read_bench
from prediction_training.measured import MeasuredPropeller, read_measured
from propmatch.files import write_file
from propmatch_plugins.prediction.arguments import checked
from propmatch_plugins.prediction.families import FAMILIES, reynolds_number
from propmatch_plugins.prediction.knowledge import STATIC_POINT, bundled_knowledge
from propmatch_plugins.prediction.predicted import predict, predict_from

GOALS: dict[str, dict[str, str]] = {
    "label": {"CT0": "9.5/18", "CP0": "11/21", "CP, 0..0.8 J0": "13/26", "J0": "6/11"},
    "geometry": {"CT0": "5/11", "CP0": "8/15", "CP, 0..0.8 J0": "10/20", "J0": "4/8"},
    "label + static point": {"CT0": "5/11", "CP0": "3/5.5", "CP, 0..0.8 J0": "6.5/12.5", "J0": "4/8"},
    "siblings": {"CT0": "4.5/10", "CP0": "5/11", "CP, 0..0.8 J0": "6.5/13", "J0": "2.4/5"},
}
"""Median / 80th percentile of |error| in percent; coverage of the 80 % intervals 75 to 86 %."""

BENCH_GOAL = 8.0
BASELINES = ("textbook blade element", "nearest propeller")
BEATEN_IN = ("CT, 0..0.8 J0", "CP, 0..0.8 J0", "peak efficiency")

Group = tuple[str, Callable[[MeasuredPropeller], bool]]


def _between(of: Callable[[MeasuredPropeller], float], low: float, high: float) -> Callable[[MeasuredPropeller], bool]:
    return lambda p: low <= of(p) < high


GROUPS: tuple[Group, ...] = (
    *((f"family {name}", lambda p, name=name: p.family == name) for name in FAMILIES),
    *((f"{low:g} to {high:g} in", _between(lambda p: p.diameter_in, low - 0.01, high - 0.01))
      for low, high in ((4, 6), (6, 8.5), (8.5, 10), (10, 11.1))),
    *((f"{count} blades", lambda p, count=count: p.blades == count) for count in (2, 3, 4)),
    *((f"p/D {low:g} to {high:g}", _between(lambda p: p.pitch_in / p.diameter_in, low, high))
      for low, high in ((0, 0.5), (0.5, 0.65), (0.65, 0.8), (0.8, 2))),
)  # fmt: skip
REYNOLDS = ((0.0, 5e4), (5e4, 1e5), (1e5, 2e5), (2e5, 4e5), (4e5, 1e9))
GROUPED = (("CT0", "ct0"), ("CP0", "cp0"), ("CP, 0..0.8 J0", "cp_0.4_to_0.8"), ("J0", "zero_thrust_j"))
LEAST_MODELS = 3


class Results(dict[str, list[Comparison]]):
    """Comparisons by tier."""

    def add(self, tier: str, comparison: Comparison | None) -> None:
        """One more, unless there is none."""
        if comparison is not None:
            self.setdefault(tier, []).append(comparison)


def shipped(measured: Sequence[MeasuredPropeller], teachers: Sequence[MeasuredPropeller]) -> Results:
    """The tables that ship, on measurements that took no part in the fit."""
    out, knowledge = Results(), bundled_knowledge()
    for p in filter(in_scope, measured):
        known = [q for q in teachers if q.line == p.line and q.model != p.model]
        line = [s for q in known if (s := measured_sibling(q)) is not None]
        for tier in (
            "siblings",
            "siblings + static point",
            "geometry",
            "chord and angle",
            "label",
            "label + static point",
        ):
            prediction = predict_measured(knowledge, p, tier, line)
            judged = p.without_static_point if tier.endswith(STATIC_POINT) else p
            out.add(tier, None if prediction is None else compare(judged, prediction))
        unknown = predict_from(knowledge, checked(p.diameter_in, p.pitch_in, blades=p.blades))
        out.add("label, family unknown", compare(p, unknown))
        add_baselines(out, "any", p, teachers)
    return out


def add_baselines(out: Results, split: str, p: MeasuredPropeller, others: Sequence[MeasuredPropeller]) -> None:
    """Both baselines of one propeller, the nearest of other models."""
    nearest = nearest_propeller(p, [q for q in others if q.model != p.model])
    for name, curves in zip(BASELINES, (textbook_blade_element(p), nearest), strict=True):
        out.add(f"{name}, {split}", None if curves is None else compare(p, curves))


def models_left_out(workshop: Workshop, strict: bool) -> Results:
    """The rest of each line is known."""
    out, kept = Results(), bundled_knowledge()
    known = ("siblings", "siblings + static point", "line", "line + static point", "sibling reading")
    cases = left_out(workshop, by_model(workshop.propellers), ["label", *known], strict=strict,
                     calibrations=kept.calibrations, blend=kept.blend)  # fmt: skip
    for case in cases:
        if case.tier == "label":
            out.add("label, line known to the fit", case.comparison)
            others = [q for q in workshop.propellers if q.model not in case.group]
            add_baselines(out, "models left out", case.comparison.propeller, others)
        else:
            out.add(case.tier, case.comparison)
    return out


def lines_left_out(workshop: Workshop, strict: bool) -> Results:
    """Nothing of the line is known."""
    out, kept = Results(), bundled_knowledge()
    known = ("chord and angle", "geometry", "label + static point", "geometry + static point")
    cases = left_out(workshop, by_line(workshop.propellers), ["label", *known], strict=strict,
                     calibrations=kept.calibrations, blend=kept.blend)  # fmt: skip
    for case in cases:
        p = case.comparison.propeller
        out.add(case.tier, case.comparison)
        if case.tier == "label":
            if p.geometry is not None:
                out.add("label, those with geometry", case.comparison)
            unknown = predict_from(case.knowledge, checked(p.diameter_in, p.pitch_in, blades=p.blades))
            out.add("label, family unknown", compare(p, unknown))
            read = predict_left_out(workshop, case.group, case.knowledge, p, "label" + STATIC_POINT, thrust=True)
            out.add("label + static point, thrust also", None if read is None else read.comparison)
            add_baselines(out, "lines left out", p, [q for q in workshop.propellers if q.model not in case.group])
    return out


def rejected(comparisons: Sequence[Comparison], quantity: str) -> tuple[float, str]:
    """Share covered [%], and ``*`` where an exact binomial test over models rejects 80 % at 1 %."""
    from scipy.stats import binomtest

    share, _ = coverage(comparisons, quantity)
    models = len({c.propeller.model for c in comparisons if c.logs[quantity].size})
    if not models:
        return math.nan, " "
    p_value = binomtest(round(share * models), models, 0.8).pvalue
    return 100 * share, "*" if p_value < 0.01 else " "


def lines_of(tier: str, comparisons: Sequence[Comparison]) -> Iterator[str]:
    """The table of one tier."""
    models = len({c.propeller.model for c in comparisons})
    goals = GOALS.get(tier, {})
    lines = len({c.propeller.line for c in comparisons})
    yield f"\n{tier}: {len(comparisons)} propellers, {models} models, {lines} lines"
    yield f"  {'|error| %':30s}{'median':>8s}{'80th':>8s}{'95th':>8s}{'bias':>8s}   goal"
    for name in ERRORS:
        median, high, highest, bias = percentiles(comparisons, name)
        yield f"  {name:30s}{median:8.1f}{high:8.1f}{highest:8.1f}{bias:+8.1f}   {goals.get(name, '-')}"
    if not hasattr(comparisons[0].prediction, "widths"):
        return
    yield "  80 % intervals hold % (goal 75 to 86); median half-width at the middle speed"
    for quantity in JUDGED:
        share, mark = rejected(comparisons, quantity)
        widths = [c.prediction.widths for c in comparisons]
        half = float(np.median([w[w.shape[0] // 2, JUDGED.index(quantity)] for w in widths]))
        yield f"  {quantity:30s}{share:8.1f}{mark}   {100 * half:.0f} %"
    yield from groups_of(comparisons)


def groups_of(comparisons: Sequence[Comparison]) -> Iterator[str]:
    """Bias and coverage by family, size, blades, p/D and Reynolds number."""
    yield f"  {'bias %, held %':22s}{'models':>7s}" + "".join(f"{name:>19s}" for name, _ in GROUPED)
    for name, of in GROUPS:
        yield from _group_line(name, [c for c in comparisons if of(c.propeller)])
    for low, high in REYNOLDS:
        part = [_only(c, low, high) for c in comparisons]
        yield from _group_line(f"Re_D {low / 1e3:g} to {high / 1e3:.4g}k", part)


def _group_line(name: str, own: Sequence[Comparison]) -> Iterator[str]:
    models = len({c.propeller.model for c in own if any(c.logs[quantity].size for _, quantity in GROUPED)})
    if models < LEAST_MODELS:
        return
    cells = []
    for error, quantity in GROUPED:
        share, mark = rejected(own, quantity)
        bias = percentiles(own, error)[3] if name[:4] != "Re_D" else _log_bias(own, quantity)
        cells.append(f"{bias:+10.1f}{share:8.0f}{mark}")
    yield f"  {name:22s}{models:7d}" + "".join(cells)


def _log_bias(own: Sequence[Comparison], quantity: str) -> float:
    values = [-float(np.mean(c.logs[quantity])) for c in own if c.logs[quantity].size]
    return 100 * math.expm1(float(np.mean(values))) if values else math.nan


def _only(c: Comparison, low: float, high: float) -> Comparison:
    """The values of one range of the disk Reynolds number."""
    logs, speeds = {}, {}
    for name, value in c.logs.items():
        reynolds = reynolds_number(c.propeller.diameter_m, c.speeds[name])
        use = (reynolds >= low) & (reynolds < high)
        logs[name], speeds[name] = value[use], c.speeds[name][use]
    return Comparison(c.propeller, c.prediction, c.errors, logs, speeds)


def beaten(results: Results, split: str, tiers: Sequence[str]) -> Iterator[str]:
    """Whether each tier's median error is below both baselines on the same propellers."""
    yield f"\nMedian |error| % beside {BASELINES[0]} / {BASELINES[1]}, {split}"
    for tier in tiers:
        same = {(c.propeller.volume, c.propeller.label) for c in results[tier]}
        cells = []
        for name in BEATEN_IN:
            own = percentiles(results[tier], name)[0]
            other = [
                percentiles(
                    [c for c in results[f"{each}, {split}"] if (c.propeller.volume, c.propeller.label) in same], name
                )[0]
                for each in BASELINES
            ]
            cells.append(f"{name} {own:.1f} of {other[0]:.1f} / {other[1]:.1f} {'yes' if own < min(other) else 'NO'}")
        yield f"  {tier:26s}" + "; ".join(cells)


def bench_lines(path: Path) -> Iterator[str]:
    """CT0 of eight racing propellers, a foreign check: nothing is fitted to it."""
    rows = read_bench(path)
    yield f"\nFive-inch bench, CT0 of {len(rows)} propellers (number: mean error %, * outside the interval at its rpm)"
    for family in ("racing", None, *(name for name in FAMILIES if name not in ("racing", "folding"))):
        cells, biases, held = [], [], []
        for number, (rpm, ct) in rows.items():
            diameter, pitch, *blades = (float(each) for each in (BENCH_SIZE | NO_LABEL)[number].split("x"))
            answer = predict(diameter, pitch, blades=int(*blades or [2]), family=family)
            gap = np.log(ct) - np.interp(rpm, answer.table.rpm, np.log(answer.ct0))
            half = np.interp(np.log(rpm), np.log(answer.table.rpm), answer.widths[:, 0])
            inside = float(np.mean(np.abs(gap) <= half))
            biases.append(100 * math.expm1(-float(np.mean(gap))))
            held.append(inside)
            cells.append(f"{number}: {biases[-1]:+.0f}{' ' if inside >= 0.5 else '*'}")
        bias = float(np.mean(biases))
        goal = f"  (goal: bias within {BENCH_GOAL:g})" if family == "racing" else ""
        name = f"  {family or 'unknown':10s} bias {bias:+5.1f} %, holds {100 * np.mean(held):3.0f} %"
        yield f"{name}  {'  '.join(cells)}{goal}"
    assert diameter == DIAMETER_IN


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
                axis.plot(j, value, color=colour, label=f"predicted, {sweep.rpm:.0f} rpm")
                if sweep is chosen[len(chosen) // 2]:
                    band = answer.band(sweep.rpm)
                    middle, half = getattr(band, letter), getattr(band, f"{letter}_half")
                    axis.fill_between(band.advance_ratio, middle - half, middle + half, color=colour, alpha=0.15, lw=0)
                axis.plot(sweep.j, getattr(sweep, letter), "o", ms=3, color=colour, mfc="none")
                static = np.interp(sweep.rpm, p.static_rpm, getattr(p, f"static_{letter}"))
                axis.plot(0.0, static, "s", ms=5, color=colour, mfc="none", clip_on=False)
            axis.set(xlabel="advance ratio J", ylabel=name, xlim=(0, None), ylim=(0, None))
            axis.grid(alpha=0.3)
        axes[0].legend(fontsize=7, title="o measured, s static; band: 80 % for the whole curve", title_fontsize=6)
        text = f"{family}, {p.diameter_in:g} x {p.pitch_in:g} in, left out; siblings known"
        figure.suptitle(f"{text} (measured: UIUC Propeller Database, vol. {p.volume})", fontsize=9)
        out = io.BytesIO()
        figure.savefig(out, format="png", dpi=85)
        write_file(folder / f"{family}.png", out.getvalue(), force=True)
        plt.close(figure)


def sweep_everything() -> str:
    """Every family with sizes, pitches and blade counts: elements that did not converge, and times."""
    unconverged = tables = 0
    start = time.perf_counter()
    for family in FAMILIES:
        for diameter in (2, 4.5, 8, 13, 20):
            for ratio in (0.3, 0.6, 0.9, 1.2):
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


def report(options: argparse.Namespace) -> Results:
    """Print everything."""
    measured = read_measured(options.folder)
    results = Results()
    if options.leave_out == "nothing":
        results |= shipped(measured, read_measured(options.teach) if options.teach else measured)
        splits = {"any": ("label", "chord and angle", "geometry", "siblings")}
    else:
        workshop = Workshop.of(measured)
        results |= models_left_out(workshop, options.strict)
        results |= lines_left_out(workshop, options.strict)
        splits = {"models left out": ("siblings", "line", "sibling reading"),
                  "lines left out": ("label", "chord and angle", "geometry", "label + static point")}  # fmt: skip
    for tier, comparisons in results.items():
        print("\n".join(lines_of(tier, comparisons)))
    for split, tiers in splits.items():
        present = [tier for tier in tiers if tier in results]
        print("\n".join(beaten(results, split, present)))
    bench = options.folder.parent / "bench_five_inch" / "runs.csv"
    if bench.exists():
        print("\n".join(bench_lines(bench)))
    return results


def main(arguments: Sequence[str] | None = None) -> int:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("folder", type=Path, nargs="?", help="folder of measured propeller tables")
    parser.add_argument("--smoke", action="store_true", help="times and convergence only, without data")
    parser.add_argument("--leave-out", choices=("models and lines", "nothing"), default="models and lines")
    parser.add_argument("--teach", type=Path, help="with --leave-out nothing: folder of measured siblings")
    parser.add_argument("--strict", action="store_true", help="refit polar and blade shapes too")
    parser.add_argument("--pictures", type=Path, help="draw one left-out propeller of each family")
    parser.add_argument("--json", type=Path, help="write the figures there too")
    options = parser.parse_args(arguments)
    if options.smoke:
        print(sweep_everything())
        return 0
    if options.folder is None:
        parser.error("name the folder of measured propeller tables")
    results = report(options)
    if options.pictures:
        draw(results["siblings"], options.pictures)
    if options.json:
        figures = {
            tier: {
                "errors": {name: percentiles(each, name) for name in ERRORS},
                "coverage": {name: coverage(each, name) for name in JUDGED}
                if hasattr(each[0].prediction, "widths") else {},
            }
            for tier, each in results.items()
        }  # fmt: skip
        write_file(options.json, json.dumps(figures, indent=1), force=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
