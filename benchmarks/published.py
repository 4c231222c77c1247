"""Whether what is published holds: random builds inside an envelope, against the chances that it states.

    python benchmarks/published.py [--brief NAME] [--builds N] [--smoke]

For each cell count that may be fitted, builds are drawn part by part: a label kV and a motor mass anywhere in their
ranges, the least ratings asked for, a propeller and a pack of those listed, a field and a day anywhere in what is
published, cells anywhere between the air and warmed ones, any variant that is covered, and every other number by the
tolerance model. Printed: the share that keeps the brief's limits, and every rating, beside those asked for; the least
share of any one part; CPU seconds that the envelope took. Ends with 1 where a share falls short.
"""

import argparse
import math
import time

import attrs
import numpy as np

from propmatch.catalogue.catalogue import load_catalogue
from propmatch.checks.chances import Drawn
from propmatch.checks.setting import ResolvedBrief
from propmatch.questions.bought import bought_motor, bought_pack, bought_propeller
from propmatch.questions.envelope import parts_envelope
from propmatch.questions.publishing import WARMED_C, Condition
from propmatch.records.brief import load_brief
from propmatch.records.fields import replace
from propmatch.search.matching import best_train
from propmatch.tolerances.numbers import NAMES
from propmatch_datasets import path

BRIEFS = ("wetland_logger", "club_racer", "schoolyard_trainer")
BUILDS, SMOKE, SITES, SEED = 2000, 400, 40, 97


@attrs.frozen(kw_only=True)
class Kept:
    """Which random builds keep the limits of the brief, and the ratings, (N,) each; and the parts that each has."""

    brief: np.ndarray
    ratings: np.ndarray
    parts: tuple[tuple[str, ...], ...]

    @property
    def shares(self):
        """Of all of them."""
        return float(self.brief.mean()), float(self.ratings.mean())

    def least_of_a_part(self):
        """The least shares among builds with one propeller, or one pack."""
        out = []
        for good in (self.brief, self.ratings):
            names = {name for parts in self.parts for name in parts}
            have = {name: np.array([name in parts for parts in self.parts]) for name in names}
            out.append(min((float(good[each].mean()), name) for name, each in have.items()))
        return out


def random_train(rng, each):
    """Four parts inside an envelope, with the least ratings that it asks for."""
    kv, mass = (float(rng.uniform(*ends)) for ends in (each.kv_label_rpm_per_v, each.motor_mass_g))
    propeller, pack = (rng.choice([c.part for c in of if c.fits]) for of in (each.propellers, each.packs))

    def burst(rating_a):
        return rating_a if math.isfinite(rating_a) else None

    motor = replace(
        bought_motor(each.train.motor, kv, mass), max_current_a=each.motor_a, max_power_w=each.motor_w,
        burst_current_a=burst(each.motor_burst_a),
    )  # fmt: skip
    controller = replace(
        each.train.controller, max_current_a=each.controller_a, burst_current_a=burst(each.controller_burst_a)
    )
    return replace(
        each.train, motor=motor, controller=controller, propeller=bought_propeller(propeller), pack=bought_pack(pack)
    )


def random_condition(rng, envelope, settings):
    """A covered variant at a field and on a day inside what is published."""
    covered = [each.variant for each in envelope.variants if each.covered or each is envelope.variants[0]]
    variant = rng.choice(covered)
    setting = next(each for each in settings if each.variant.name == variant)
    height, air = (float(rng.uniform(*ends)) for ends in (envelope.altitude_m, envelope.temperature_c))
    cells = setting.stated.site.pack_temperature_c
    cells = float(rng.uniform(air, max(air, WARMED_C))) if cells is None else cells
    return Condition.of(setting, height, air, cells)


def kept_builds(brief, envelope, each, builds, seed=SEED):
    """Random builds of one cell count of an envelope."""
    rng, settings = np.random.default_rng(seed), ResolvedBrief.of(brief).settings
    sites = max(1, min(SITES, builds // 10))
    good, parts = [], []
    for _ in range(sites):
        there = random_condition(rng, envelope, settings)
        some = [replace(random_train(rng, each), **there.setting.train_numbers) for _ in range(builds // sites)]
        raw = rng.standard_normal((len(some), 1, len(NAMES)))
        drawn = Drawn(there.setting, some, raw)
        good.append([drawn.passes(drawn.wishes)[:, 0], drawn.passes(drawn.ratings)[:, 0]])
        parts += [(train.propeller.name, train.pack.name) for train in some]
    wishes, ratings = np.concatenate(good, axis=1)
    return Kept(brief=wishes, ratings=ratings, parts=tuple(parts))


def judge(name, builds, catalogue):
    """One brief; whether every share reaches what is asked."""
    brief = load_brief(path(f"briefs/{name}.toml"))
    train = best_train(brief, catalogue)
    start = time.process_time()
    envelope = parts_envelope(brief, catalogue, train)
    took = time.process_time() - start
    fine, asked = True, envelope.asked
    for cells, each in envelope.cells.items():
        if not each.holds:
            print(f"{name} {cells}S: nothing may be fitted")
            continue
        kept = kept_builds(brief, envelope, each, builds)
        wishes, ratings = kept.shares
        (of_wishes, worst), (of_ratings, hottest) = kept.least_of_a_part()
        fine &= wishes >= asked[0] and ratings >= asked[1]
        print(
            f"{name} {cells}S: of {len(kept.parts)} random builds {100 * wishes:.1f} % keep the brief's limits (asked "
            f"{100 * asked[0]:.0f}, stated {100 * each.chance_brief:.0f} where it is hardest), {100 * ratings:.1f} % "
            f"every rating (asked {100 * asked[1]:.0f}, stated {100 * each.chance_ratings:.0f}); least of one part "
            f"{100 * of_wishes:.0f} % ({worst}) and {100 * of_ratings:.0f} % ({hottest})"
        )
    print(f"{name}: the envelope took {took:.1f} s of CPU time")
    return fine


def main():
    """Every bundled brief."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--brief", choices=BRIEFS)
    parser.add_argument("--builds", type=int, default=BUILDS)
    parser.add_argument("--smoke", action="store_true")
    asked = parser.parse_args()
    names = [asked.brief] if asked.brief else BRIEFS[1:2] if asked.smoke else BRIEFS
    catalogue = load_catalogue()
    fine = [judge(name, SMOKE if asked.smoke else asked.builds, catalogue) for name in names]
    raise SystemExit(0 if all(fine) else 1)


if __name__ == "__main__":
    main()
