"""The worst of everything allowed together: a kV and a mass at an end, a pack, a propeller, a field and a day."""

from collections.abc import Sequence
from itertools import product

import attrs
import numpy as np

from propmatch.checks.chances import drawn
from propmatch.checks.judged import failing, smallest_margins
from propmatch.models.arrays import Flags
from propmatch.questions.bought import LADDERS, Offer
from propmatch.questions.everywhere import DRAWN
from propmatch.questions.publishing import Condition
from propmatch.records.parts import PowerTrain

__all__ = ["Corner", "worst_corner"]

_DRAWN_AGAIN = 12
"""Corners with the least margins on paper in each condition that are drawn."""


@attrs.frozen(kw_only=True, eq=False)
class Corner:
    """The choice of allowed parts that keeps the limits least, and where.

    Attributes
    ----------
    train : PowerTrain
    variant : str
    altitude_m, temperature_c, pack_temperature_c : float
    chance : float
        Share of its builds there that keep every limit and rating; NaN on paper.
    check : str
        The one they keep least; on paper the first that it misses, empty where it misses none.
    """

    train: PowerTrain
    variant: str
    altitude_m: float
    temperature_c: float
    pack_temperature_c: float
    chance: float
    check: str


def worst_corner(
    offer: Offer, allowed: Sequence[Flags], where: Sequence[Condition], *, on_paper: bool = False
) -> Corner:
    """The corner of what is allowed that fewest builds keep every limit and rating in, in any of these conditions.

    ``on_paper`` : the one with the least margin, every number as it is stated.
    """
    ends = []
    for axis, each in enumerate(allowed):
        left = np.flatnonzero(each)
        ends.append(dict.fromkeys(left[[0, -1]].tolist() if axis in LADDERS else left.tolist()))
    choices = np.array(list(product(*ends)), dtype=np.intp)
    found: list[tuple[float, Corner]] = []
    for condition in where:
        measured = offer.on_paper([condition], choices)
        margins = np.nan_to_num(smallest_margins(measured), nan=-np.inf)
        if on_paper:
            at = int(np.argmin(margins))
            (missed,) = failing(measured.take(np.array([at])))
            train = offer.train_of(choices[at], condition.setting)
            found.append((float(margins[at]), _corner(train, condition, np.nan, next(iter(missed), ""))))
            continue
        some = choices[np.argsort(margins, kind="stable")[:_DRAWN_AGAIN]]
        draws = drawn(condition.setting, [offer.train_of(row, condition.setting) for row in some], draws=DRAWN)
        chances = draws.chance(draws.judged)
        at = int(np.argmin(chances))
        least, chance = min(draws.judged, key=lambda name: draws.each[at].chance(name)), float(chances[at])
        found.append((chance, _corner(draws.trains[at], condition, chance, least)))
    return min(found, key=lambda each: each[0])[1]


def _corner(train: PowerTrain, condition: Condition, chance: float, check: str) -> Corner:
    return Corner(
        train=train, variant=condition.variant, altitude_m=condition.altitude_m, temperature_c=condition.temperature_c,
        pack_temperature_c=condition.pack_temperature_c, chance=chance, check=check,
    )  # fmt: skip
