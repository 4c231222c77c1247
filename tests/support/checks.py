"""A check that only the tests know, and formulas reckoned by Python itself."""

import math
from collections.abc import Iterator, Mapping
from contextlib import contextmanager

from propmatch.checks.checkrules import CHECKS
from propmatch.checks.rule import BRIEF, CheckRule, Cost
from propmatch.checks.states import State

MOST_PACK = 0.3
PACK_SHARE = CheckRule(
    name="pack_share",
    what="pack mass over all-up mass",
    basis=BRIEF,
    limit_from="made up for this test",
    asked=lambda setting: MOST_PACK,
    state=State(words="as stated"),
    cost=Cost.PARTS,
    value=lambda m: m.ratings.pack_g / (m.frames.mass_kg * 1e3),
    formula="s = m_pack * 9.80665/1000/W",
)


@contextmanager
def one_more_check() -> Iterator[CheckRule]:
    """``PACK_SHARE`` put before the checks of the flight, and taken out again."""
    before = dict(CHECKS)
    CHECKS.clear()
    for name, rule in before.items():
        if name == "pack_sustained":
            CHECKS[PACK_SHARE.name] = PACK_SHARE
        CHECKS[name] = rule
    try:
        yield PACK_SHARE
    finally:
        CHECKS.clear()
        CHECKS.update(before)


def reckoned(formula: str, numbers: Mapping[str, float]) -> float:
    """The right-hand side by Python itself: ^ is ** there, and the rest reads the same."""
    right = formula.rpartition("=")[2].replace("^", "**").strip()
    known = {"__builtins__": {}, "sqrt": math.sqrt, "abs": abs, "pi": math.pi}
    return float(eval(right, known, dict(numbers)))
