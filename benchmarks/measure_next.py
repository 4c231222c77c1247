"""What measurements are worth, held against simulated readings, and the ensemble against planted truths.

Run ``python benchmarks/measure_next.py [--readings N] [--coverage N] [--json]``, or ``--smoke`` for a quick run of few.

Ranking: for the pick of each bundled brief and three checks, truths are drawn by numpy's own generator, each instrument
reads them with its error, and Bayes' rule weighs 16,384 draws of the priors by the likelihood of that one reading: no
covariance and no ensemble, and so many draws that hundreds keep their weight. What is left of the standard deviation,
root mean square over the readings, stands beside what the formula foretold. Shares alike to a hundredth rank alike.

Coverage: how often the 80 % interval of the moved ensemble of 1,024 draws holds the truth behind a reading, or behind
the two readings of the best pair.
"""

import argparse
import json
from collections.abc import Iterator
from typing import Any

import numpy as np

from propmatch.bench.next import MEASUREMENTS, Reading, updated, what_to_measure
from propmatch.catalogue.catalogue import load_catalogue
from propmatch.checks.chances import Drawn, Sureness, sureness
from propmatch.checks.setting import ResolvedBrief
from propmatch.records.brief import load_brief
from propmatch.search.matching import best_train
from propmatch.tolerances.draws import normal_draws
from propmatch.tolerances.numbers import NAMES

BRIEFS = ("wetland_logger", "schoolyard_trainer", "club_racer")
CHECKS = ("thrust_to_weight", "motor_current_static", "flight_time")
MANY = 16384


def subjects() -> Iterator[tuple[str, Sureness]]:
    """The pick of every bundled brief."""
    import propmatch_datasets

    catalogue = load_catalogue()
    for name in BRIEFS:
        brief = ResolvedBrief.of(load_brief(propmatch_datasets.path(f"briefs/{name}.toml")))
        yield name, sureness(brief.as_designed, best_train(brief, catalogue))


def redrawn(sure: Sureness, raw: Any) -> Sureness:
    """Other draws of the same train."""
    return Sureness(Drawn(sure.drawn.setting, sure.drawn.trains, raw))


def natural_log(values: Any) -> Any:
    """ln of what is above 0, no further from its median than four times 1.4826 of the median distance from it."""
    y = np.log(np.where(values > 0, values, np.nan))
    distance = 4.0 * 1.4826 * np.nanmedian(np.abs(y - np.nanmedian(y)))
    return np.clip(y, np.nanmedian(y) - distance, np.nanmedian(y) + distance)


def simulated_left(y: Any, h: Any, sd: float, truths: Any, rng: Any) -> float:
    """Share of the standard deviation of y left by a reading, by weights on many draws."""
    left = []
    for truth in truths:
        seen = truth + sd * rng.standard_normal()
        weight = np.exp(-0.5 * ((seen - h) / sd) ** 2)
        mean = np.average(y, weights=weight)
        left.append(np.average((y - mean) ** 2, weights=weight))
    return float(np.sqrt(np.mean(left) / np.var(y)))


def ranking(sure: Sureness, readings: int, many: int = MANY, seed: int = 5) -> list[dict[str, Any]]:
    """Foretold and simulated shares of every measurement for each check."""
    from scipy.stats import spearmanr

    rng = np.random.default_rng(seed)
    wide = redrawn(sure, normal_draws(many, 99)).measured
    truths = redrawn(sure, rng.standard_normal((readings, len(NAMES)))).measured
    out = []
    for check in CHECKS:
        y = natural_log(wide[check].value)
        foretold, simulated = {}, {}
        for row in what_to_measure(sure, check).rows:
            name, sd = row.measurement.name, row.measurement.sd_ln(sure.measured, row.reading)
            h, true = (np.log(row.measurement.value(each)) for each in (wide, truths))
            sound = np.isfinite(y) & np.isfinite(h)
            foretold[name] = row.remaining_sd
            simulated[name] = simulated_left(y[sound], h[sound], sd, true[np.isfinite(true)], rng)
        apart = max(abs(foretold[name] - simulated[name]) for name in foretold)
        rank = float(spearmanr(*(np.round([*shares.values()], 2) for shares in (foretold, simulated))).statistic)
        out.append({"check": check, "spearman": rank, "apart": apart, "foretold": foretold, "simulated": simulated})
    return out


def coverage(sure: Sureness, count: int, seed: int = 6) -> dict[str, dict[str, float]]:
    """For each measurement, and the best two together, how often the new interval of each check holds the truth."""
    rng = np.random.default_rng(seed)
    truths = redrawn(sure, rng.standard_normal((count, len(NAMES)))).measured
    found = what_to_measure(sure, CHECKS[0])
    sets = [(row.measurement.name,) for row in found.rows]
    sets.append(tuple(row.measurement.name for row in found.best_two))
    expected = {row.measurement.name: row.reading for row in found.rows}
    out: dict[str, dict[str, float]] = {}
    for names in sets:
        held: dict[str, list[bool]] = {check: [] for check in CHECKS}
        true = {name: MEASUREMENTS[name].value(truths) for name in names}
        for at in range(count):
            if not all(np.isfinite(true[name][at]) for name in names):
                continue
            sd = {name: MEASUREMENTS[name].sd_ln(sure.measured, expected[name]) for name in names}
            seen = {name: float(true[name][at] * np.exp(sd[name] * rng.standard_normal())) for name in names}
            moved, _ = updated(sure, [Reading(name=name, value=value) for name, value in seen.items()], seed=at)
            for check in CHECKS:
                ends = moved.value(check)
                held[check].append(ends.low <= truths[check].value[at] <= ends.high)
        out[" + ".join(names)] = {check: float(np.mean(hits)) for check, hits in held.items()}
    return out


def show(name: str, found: dict[str, Any]) -> None:
    """Print both tables of one train."""
    for row in found["ranking"]:
        print(f"{name}, {row['check']}: Spearman {row['spearman']:.3f}, at most {row['apart']:.3f} apart")
        for each, share in row["foretold"].items():
            print(f"    {each:12} foretold {share:.3f}  simulated {row['simulated'][each]:.3f}")
    for each, covered in found["coverage"].items():
        print(f"    {each:24} covers " + "  ".join(f"{check} {100 * share:.0f} %" for check, share in covered.items()))
    every = [share for covered in found["coverage"].values() for share in covered.values()]
    print(f"    all {100 * np.mean(every):.1f} %")


def main() -> None:
    """Print both tables."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--readings", type=int, default=200)
    parser.add_argument("--coverage", type=int, default=100)
    parser.add_argument("--smoke", action="store_true")
    parser.add_argument("--json", action="store_true")
    options = parser.parse_args()
    readings, count, many = (20, 4, 2048) if options.smoke else (options.readings, options.coverage, MANY)
    answer: dict[str, Any] = {}
    for name, sure in subjects():
        answer[name] = {"ranking": ranking(sure, readings, many), "coverage": coverage(sure, count)}
        if not options.json:
            show(name, answer[name])
    if options.json:
        print(json.dumps(answer, indent=1))


if __name__ == "__main__":
    main()
