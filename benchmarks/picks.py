"""What the quick way to picks that hold loses: against every combination that passes on paper, judged by draws.

    python benchmarks/picks.py [--brief NAME] [--most N] [--smoke]

For each cell count of the bundled briefs every combination that passes on paper (or N random ones) is looked at to
first order; the best that come near the chances asked for are judged by draws of another seed and confirmed by those
that every command shows; the best of each motor, pack and propeller family is held against the pick. Printed: the low
end of the score of the first pick over that of the best found the long way; how many of its first eight kinds the picks
have; the chance shown against that of 8,192 fresh draws.
"""

import argparse
import time

import numpy as np

from propmatch.catalogue.catalogue import load_catalogue
from propmatch.checks.chances import SEED as SEED_SHOWN
from propmatch.checks.setting import ResolvedBrief
from propmatch.records.brief import load_brief
from propmatch.search import matching, picks
from propmatch.search.bounds.pruned import PropellerTables, passing
from propmatch.search.ranking import ranking
from propmatch.tolerances.draws import DRAWS, normal_draws
from propmatch_datasets import path

BRIEFS = ("wetland_logger", "schoolyard_trainer", "club_racer")
CHUNK, NEAR, LONG, FRESH, FIRST = 800, 400, 256, 8192, 8
SEED = 4711


def long_way(setting, shelf, order, most):
    """The best pick of each kind, judged without any search."""
    found = passing(setting, shelf, tables=PropellerTables(setting, shelf))
    rows = np.concatenate([np.empty((0, 4), dtype=np.intp), *(part for part, _ in found)])
    rows = rows[np.random.default_rng(SEED).permutation(len(rows))[:most]]
    total, raw = len(rows), normal_draws(512, SEED)
    parts = [rows[start : start + CHUNK] for start in range(0, len(rows), CHUNK)]
    first = [picks.FirstOrder.of([setting], shelf, part, order=order) for part in parts]
    if not first:
        return total, []
    wishes, ratings = (np.concatenate(each) for each in zip(*(one.chances(raw) for one in first), strict=True))
    low = np.concatenate([one.score_low for one in first])
    wish, rate = setting.brief.limits.chance, setting.brief.limits.rating_chance
    near = np.flatnonzero((wishes >= wish - 0.15) & (ratings >= rate - 0.15))
    some = near[np.argsort(-low[near])][:NEAR]
    judged = picks.drawn_picks([setting], shelf, order, rows[some], LONG, SEED + 1)
    may = [
        each.combination for each in judged if each.chance_wishes >= wish - 0.03 and each.chance_ratings >= rate - 0.03
    ]
    rows = np.array(may, dtype=np.intp).reshape(-1, 4)
    confirmed = picks.drawn_picks([setting], shelf, order, rows, DRAWS, SEED_SHOWN)
    good = [each for each in confirmed if each.chance_wishes >= wish and each.chance_ratings >= rate]
    best = {}
    for each in sorted(good, key=lambda pick: -pick.score_low):
        best.setdefault(picks.kind_of(shelf, each.combination), each)
    return total, list(best.values())


def compare(name, most, cell_counts=None):
    """One brief, every cell count or the first few."""
    resolved = ResolvedBrief.of(load_brief(path(f"briefs/{name}.toml")))
    setting, catalogue = resolved.as_designed, load_catalogue()
    order = ranking(setting)
    for cells, shelf in [*matching.shelves_of(setting, catalogue)[0].items()][:cell_counts]:
        find = matching.Search(exhaustive=False, count=False, total=shelf.combinations)
        start = time.process_time()
        paper = find(setting, shelf, order, 24).combination
        mine = picks.holding([setting], shelf, order, find, top=FIRST, on_paper=paper)
        took = time.process_time() - start
        passed, long = long_way(setting, shelf, order, most)
        kinds = {picks.kind_of(shelf, pick.combination) for pick in mine.rows} if mine.hold else set()
        wanted = {picks.kind_of(shelf, pick.combination) for pick in long[:FIRST]}
        ratio = mine.rows[0].score_low / long[0].score_low if mine.hold and long else np.nan
        shown = [pick.chance_all for pick in mine.rows]
        rows = np.array([pick.combination for pick in mine.rows], dtype=np.intp).reshape(-1, 4)
        fresh = [picks.drawn_picks([setting], shelf, order, row[None], FRESH, SEED + 2)[0].chance_all for row in rows]
        off = max((abs(a - b) for a, b in zip(shown, fresh, strict=True)), default=np.nan)
        print(
            f"{name} {cells}S: {passed} of those that pass on paper; first pick {100 * ratio:5.1f} % of the best the "
            f"long way; {len(kinds & wanted)} of its first {len(wanted)} kinds; chance shown within "
            f"{100 * off:.1f} points of {FRESH} fresh draws; {took:.1f} s"
        )


def main():
    """Every bundled brief."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--brief", choices=BRIEFS)
    parser.add_argument("--most", type=int, default=10**9)
    parser.add_argument("--smoke", action="store_true")
    asked = parser.parse_args()
    for name in [asked.brief] if asked.brief else BRIEFS[-1:] if asked.smoke else BRIEFS:
        compare(name, 800 if asked.smoke else asked.most, 1 if asked.smoke else None)


if __name__ == "__main__":
    main()
