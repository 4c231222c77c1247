"""Remedies say what ``may_fit`` says: a part that may be fitted is a remedy, and where none is, none may be fitted."""

from itertools import combinations, product
from typing import Any

import attrs
import numpy as np
import pytest
from support.random_cases import random_brief, random_parts
from support.small_aircraft import small_brief, small_catalogue, small_train
from support.trains import simple_controller

from propmatch.catalogue.catalogue import Catalogue
from propmatch.checks.judged import failing, judged_trains
from propmatch.checks.limits import checks_of, excludes
from propmatch.checks.setting import ResolvedBrief
from propmatch.questions.fits import may_fit
from propmatch.questions.remedies import SHOWN, Remedies, remedies
from propmatch.records.fields import replace
from propmatch.records.parts import PARTS, PowerTrain

pytestmark = pytest.mark.filterwarnings("error")
SEEDS = (0, 2, 43, 166, 253)
"""Each kind of part does it alone in one of them, two do in another, and in one nothing does."""


def case(seed):
    """A train of the first parts of a small random catalogue, in a brief that leaves out or narrows cell counts."""
    rng = np.random.default_rng(seed)
    parts = random_parts(rng, (4, 2, 3, 4))
    brief = random_brief(rng)
    cells = tuple(sorted({int(rng.integers(1, 4)), 2})) if rng.random() < 0.5 else ()
    resolved = ResolvedBrief.of(attrs.evolve(brief, limits=attrs.evolve(brief.limits, cells=cells)))
    setting = resolved.as_designed
    train = setting.train(*(parts[f"{kind}s"][0] for kind in PARTS))
    return resolved, setting, Catalogue.of(**parts), train


def changes_of(stock, train, kinds):
    """Every other part, or pair of parts, of these kinds."""
    others = [[part for part in stock.parts(f"{kind}s").values() if part is not getattr(train, kind)] for kind in kinds]
    return [dict(zip(kinds, some, strict=True)) for some in product(*others)]


@attrs.frozen
class Compared:
    """One case: the remedies, each single part that may be fitted, and whether any pair passes every check."""

    seed: int
    train: PowerTrain
    found: Remedies
    singles: dict[str, list[Any]]
    pairs: bool
    pairs_shown: bool

    @classmethod
    def of(cls, seed):
        resolved, setting, stock, train = case(seed)
        wrong = failing(judged_trains(setting, [train])[0])[0]
        if not wrong:
            return None
        found = remedies(setting, stock, train, failing=wrong)
        singles = {
            kind: [
                change[kind]
                for change in changes_of(stock, train, (kind,))
                if may_fit(resolved, stock, train, **change).fits
            ]
            for kind in PARTS
        }
        pairs = [
            replace(train, **change) for kinds in combinations(PARTS, 2) for change in changes_of(stock, train, kinds)
        ]
        passing = [not any(map(excludes, each)) for each in checks_of(judged_trains(setting, pairs)[0])]
        shown = all(may_fit(resolved, stock, train, **remedy.changes).fits for remedy in found.pairs)
        return cls(seed, train, found, singles, any(passing), shown)

    def disagreements(self, found):
        """Kinds in which remedies and ``may_fit`` differ."""
        out = []
        for kind, theirs in self.singles.items():
            mine = [remedy.changes[kind] for remedy in getattr(found, f"{kind}s")]
            wrong = [part for part in mine if not any(part is each for each in theirs)]
            if wrong or len(mine) != min(SHOWN, len(theirs)):
                out.append(kind)
        if not self.pairs_shown or (not any(self.singles.values()) and self.pairs != bool(found.pairs)):
            out.append("pairs")
        return out


@pytest.fixture(scope="module")
def compared():
    return [each for each in map(Compared.of, SEEDS) if each is not None]


@pytest.mark.slow
def test_remedies_and_fits_agree(compared):
    for each in compared:
        assert each.disagreements(each.found) == [], each.seed
    # the cases are worth comparing: each kind of part does it somewhere, two do where one does not, and nothing does
    assert {kind for each in compared for kind, parts in each.singles.items() if parts} == set(PARTS)
    assert any(each.found.pairs for each in compared)
    assert any(not each.found.every for each in compared)


@pytest.mark.slow
def test_one_way_remedies_would_be_seen(compared):
    """With only smaller propellers, slower motors and larger controllers tried the comparison finds what is missing."""

    def less(each):
        motor, propeller = each.train.motor, each.train.propeller
        return attrs.evolve(
            each.found,
            packs=(),
            motors=tuple(r for r in each.found.motors if r.train.motor.kv_rpm_per_v < motor.kv_rpm_per_v),
            propellers=tuple(r for r in each.found.propellers if r.train.propeller.diameter_in < propeller.diameter_in),
        )

    assert {kind for each in compared for kind in each.disagreements(less(each))} >= {"motor", "propeller", "pack"}


def test_too_little_thrust_takes_more_kv_a_larger_propeller_or_more_cells():
    """By hand: a slow motor with a small propeller on two cells."""
    brief = small_brief(("min_thrust_to_weight = 0.5", "min_thrust_to_weight = 0.8"))
    setting, stock = ResolvedBrief.of(brief).as_designed, small_catalogue()
    train = small_train(
        motor={"kv_rpm_per_v": 1100.0, "resistance_ohm": 0.2, "max_current_a": 20.0}, propeller={"max_rpm": 60000.0}
    )
    wrong = failing(judged_trains(setting, [train])[0])[0]
    assert wrong == ("thrust_to_weight",)
    found = remedies(setting, stock, train, failing=wrong)
    assert found.motors
    assert found.propellers
    assert found.packs
    assert all(r.train.motor.kv_rpm_per_v > 1100.0 for r in found.motors)
    assert all(r.train.propeller.diameter_in > 7.0 for r in found.propellers)
    assert {r.train.pack.cells_series for r in found.packs} == {3}  # the brief allows two and three


def test_a_controller_too_small_takes_a_larger_one():
    """By hand: every other limit is kept."""
    setting, stock = ResolvedBrief.of(small_brief()).as_designed, small_catalogue()
    train = small_train(
        controller=simple_controller(max_current_a=3.0), propeller={"max_rpm": 60000.0}, motor={"max_current_a": 30.0}
    )
    wrong = failing(judged_trains(setting, [train])[0])[0]
    assert set(wrong) == {"controller_current", "motor_current_phase"}
    found = remedies(setting, stock, train, failing=wrong)
    assert found.controllers
    assert all(remedy.train.controller.max_current_a > 3.0 for remedy in found.controllers)
