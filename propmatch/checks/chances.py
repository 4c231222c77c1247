"""How sure an answer is: intervals, the chance of every check and of all together, and what it hangs on.

A power train in its aircraft is solved once for every draw of the numbers nobody knows exactly
(:mod:`propmatch.tolerances.draws`), through the same engine and the same checks. A chance is the share of draws that
pass; a draw without an answer does not. An interval holds the middle 80 % of the draws. What an answer hangs on is the
squared standardised regression of the draws on the independent normal numbers behind them, added up by part.

1,024 scrambled Sobol draws miss the ends of an interval by 1.4 % of its width, 4 % at worst, and a chance by 0.7
points, 1.8 at worst; root mean squares over trains, answers and seeds (``benchmarks/sureness.py``). To 4,096 draws each
nearly halves.

Source: A. Saltelli et al., Global Sensitivity Analysis: The Primer, 2008, ch. 1.
"""

import math
from collections.abc import Collection, Iterable, Mapping, Sequence
from copy import copy
from functools import cached_property
from typing import TypeVar

import attrs
import numpy as np
from numpy.typing import NDArray

from propmatch.aircraft.balance import MassLanes
from propmatch.checks.checkrules import CHECKS, excluding
from propmatch.checks.measures import Setting, TrainMeasures
from propmatch.checks.ratings import RatingLanes, rating_lanes
from propmatch.checks.rule import BRIEF
from propmatch.columns import Column, Range, ranges_of
from propmatch.models.arrays import Flags, Floats, Index
from propmatch.records.parts import PowerTrain
from propmatch.tolerances.draws import DRAWS, Draws, normal_draws
from propmatch.tolerances.numbers import GROUPS, NAMES, Tolerance
from propmatch.train.lanes import TrainLanes, train_lanes

__all__ = [
    "INTERVAL",
    "SEED",
    "Drawn",
    "Interval",
    "Judgement",
    "Sureness",
    "as_stated",
    "drawn",
    "interval",
    "intervals",
    "least_certain",
    "sensitivity",
    "sureness",
    "wanted_of",
]

INTERVAL = 0.8
"""What an interval holds."""
SEED = 13
_LEAST_SPREAD = 1e-9
S = TypeVar("S", bound=np.generic)


@attrs.frozen
class Interval:
    """The middle 80 % of a number's draws; NaN at an end that lies among draws without a finite answer."""

    low: float
    high: float


Judgement = tuple[Interval, float]
"""Interval of what a check judges, and the share of draws within its limit."""


def interval(values: Floats) -> Interval:
    """Interval of draws (N,); those without an answer count as lying below its low end and above its high end."""
    low, high = intervals(values[None])
    return Interval(float(low[0]), float(high[0]))


def intervals(values: Floats) -> tuple[Floats, Floats]:
    """The same of many numbers, (M, N) to (M,) each."""
    tail, draws = (1.0 - INTERVAL) / 2.0, values.shape[1]
    if np.isfinite(values).all():
        low, high = (_between(values, q * (draws - 1)) for q in (tail, 1.0 - tail))
        return low, high
    missing, ends = np.isnan(values), []
    for end, q in ((-np.inf, tail), (np.inf, 1.0 - tail)):
        at = max(math.ceil(q * draws) - 1, 0)
        found = np.partition(np.where(missing, end, values), at, axis=1)[:, at]
        ends.append(np.where(np.isfinite(found), found, np.nan))
    return ends[0], ends[1]


def _between(values: Floats, place: float) -> Floats:
    """The number at a place 0..N - 1 in the order of size, linearly between two; (M, N) to (M,)."""
    at = min(int(place), values.shape[1] - 2) if values.shape[1] > 1 else 0
    beyond = min(at + 1, values.shape[1] - 1)
    ordered = np.partition(values, sorted({at, beyond}), axis=1)
    return np.asarray(ordered[:, at] + (place - at) * (ordered[:, beyond] - ordered[:, at]))


def sensitivity(values: Floats, raw: Floats, groups: Sequence[str]) -> dict[str, float]:
    """Share of each group of inputs in the variance of values.

    Parameters
    ----------
    values : (N,); those that are not finite are left out
    raw : (N, D), independent inputs of equal variance
    groups : (D,), what each input is counted with

    Returns
    -------
    dict
        Group to its share, largest first; squared standardised regression coefficients, which add up to the share
        that is linear. Empty where nothing varies.
    """
    sound = np.isfinite(values)
    y, x = values[sound], raw[sound]
    if y.size <= x.shape[1] + 1:
        return {}
    spread = float(np.std(y))
    if not spread > _LEAST_SPREAD * float(np.abs(np.mean(y))):
        return {}
    x = x - x.mean(axis=0)
    slopes = np.linalg.solve(x.T @ x, x.T @ (y - y.mean())) * x.std(axis=0) / spread
    shares: dict[str, float] = {}
    for group, slope in zip(groups, slopes, strict=True):
        shares[group] = shares.get(group, 0.0) + float(slope**2)
    return dict(sorted(shares.items(), key=lambda item: -item[1]))


def _varies(values: Floats) -> bool:
    """Whether any draw differs from the others, by its number or by having none."""
    missing = ~np.isfinite(values)
    if missing.any():
        return not missing.all()
    return bool(np.ptp(values) > _LEAST_SPREAD * np.abs(values).max())


class Drawn:
    """Draws of M power trains in one setting.

    Attributes
    ----------
    setting : Setting; trains : M power trains, as their parts were stated and as the setting flies them, with their
        lanes and ratings where these are known already
    draws : Draws
    measured : TrainMeasures of all draws, train by train
    """

    def __init__(
        self,
        setting: Setting,
        trains: Sequence[PowerTrain],
        raw: Floats,
        known: tuple[TrainLanes, RatingLanes] | None = None,
    ) -> None:
        self.setting = setting
        self.trains = tuple(setting.flown(train) for train in trains)
        self.draws = draws = Draws.of(self.trains, setting.brief.uncertainty, raw)
        stated, rated = (train_lanes(self.trains)[0], rating_lanes(self.trains)) if known is None else known
        lanes, ratings = draws.of_lanes(stated), rated.take(draws.index)
        density = setting.air.density_kg_m3 * draws.factor("air_density")
        bare, build = draws.factor("bare_mass"), setting.build
        masses = MassLanes(
            mass_g=build.mass_g * bare,
            position_mm=np.full(bare.size, build.position_mm),
            height_mm=np.full(bare.size, build.height_mm),
        )
        varied = attrs.evolve(
            setting, air=attrs.evolve(setting.air, density_kg_m3=density), lanes=masses, polar=draws.polar()
        )
        self.measured = TrainMeasures(varied, lanes, ratings)

    @cached_property
    def on_paper(self) -> bool:
        """Whether every number is as it is stated, so that there is neither a range nor a chance."""
        return not self.draws.raw.any()

    def ranges(self, drawn: Mapping[str, Floats]) -> list[dict[str, Range]]:
        """The 80 % ranges of numbers by name, row by row (:func:`propmatch.columns.ranges_of`); none on paper."""
        found = ranges_of(drawn, intervals)
        return [{} for _ in found] if self.on_paper else found

    @cached_property
    def middle(self) -> TrainMeasures:
        """Measures with every number as it is stated, a lane for each train."""
        return self._with(np.zeros((1, self.draws.raw.shape[-1])))

    def _with(self, raw: Floats) -> TrainMeasures:
        return Drawn(self.setting, self.trains, raw).measured

    def take(self, trains: Index) -> "Drawn":
        """The draws of some of the trains, with what is known of them already."""
        some = copy(self)
        for known in ("middle", "judged"):
            some.__dict__.pop(known, None)
        some.trains, some.draws = tuple(self.trains[at] for at in trains), self.draws.take(trains)
        some.measured = self.measured.take(self.by_train(np.arange(self.measured.lanes.size))[trains].ravel())
        return some

    def by_train(self, values: NDArray[S]) -> NDArray[S]:
        """Values of all draws (..., M N) as (..., M, N)."""
        return values.reshape(*values.shape[:-1], len(self.trains), self.draws.count)

    @cached_property
    def judged(self) -> tuple[str, ...]:
        """The checks that may exclude and have a limit here, by name."""
        return tuple(name for name in excluding() if self.measured.has_limit(name))

    @property
    def each(self) -> "tuple[Sureness, ...]":
        """How sure what is said of each train is."""
        return tuple(Sureness(self, at) for at in range(len(self.trains)))

    def passes(self, names: Iterable[str]) -> Flags:
        """Draws that pass all of these checks, (M, N)."""
        good = np.ones(self.measured.lanes.size, dtype=np.bool_)
        for name in names:
            good &= self.measured.passes(name)
        return self.by_train(good)

    def chance(self, names: Iterable[str]) -> Floats:
        """Share of draws that pass all of these, (M,); NaN on paper."""
        if self.on_paper:
            return np.full(len(self.trains), np.nan)
        return np.asarray(self.passes(names).mean(axis=1))

    def ends(self, columns: Iterable[Column], computed: object) -> list[dict[str, float]]:
        """Both ends of the interval of each column, ``NAME_low`` and ``NAME_high``, for each train.

        ``computed`` is what the columns are read from, a lane for each draw. Nothing on paper.
        """
        out: list[dict[str, float]] = [{} for _ in self.trains]
        if self.on_paper:
            return out
        for column in columns:
            low, high = intervals(self.by_train(column(computed)))
            for row, *both in zip(out, low.tolist(), high.tolist(), strict=True):
                row.update(zip((f"{column.name}_low", f"{column.name}_high"), both, strict=True))
        return out

    @property
    def asked(self) -> tuple[float, float]:
        """The chances that the brief asks for: of its limits, and of the ratings."""
        limits = self.setting.brief.limits
        assert limits.chance is not None
        assert limits.rating_chance is not None
        return limits.chance, limits.rating_chance

    @property
    def near(self) -> Floats:
        """How near each train comes to the chances asked for, (M,); 1 and more where it reaches both."""
        return self.near_by(self.judged)

    def near_by(self, names: Collection[str]) -> Floats:
        """The same by some of the checks alone: no less than by all of them."""
        wish, rate = self.asked
        wishes, ratings = (self.chance(name for name in of if name in names) for of in (self.wishes, self.ratings))
        return np.minimum(wishes / wish, ratings / rate)

    @property
    def wishes(self) -> tuple[str, ...]:
        """Of the checks judged those that the brief asks for."""
        return tuple(name for name in self.judged if CHECKS[name].basis == BRIEF)

    @property
    def ratings(self) -> tuple[str, ...]:
        """And those against a rating of a part."""
        return tuple(name for name in self.judged if CHECKS[name].basis != BRIEF)


@attrs.frozen(eq=False)
class Sureness:
    """How sure what is said of one power train in one setting is.

    Attributes
    ----------
    drawn : Drawn; at : number of the train in it
    """

    drawn: Drawn
    at: int = 0

    @property
    def measured(self) -> TrainMeasures:
        """Measures of all draws, of this train alone."""
        if len(self.drawn.trains) == 1:
            return self.drawn.measured
        raise ValueError("measures of one train of several: use of()")

    @property
    def train(self) -> PowerTrain:
        """The power train, as its parts were stated."""
        return self.drawn.trains[self.at]

    def of(self, values: NDArray[S]) -> NDArray[S]:
        """The draws (N,) of this train among values of all draws."""
        return self.drawn.by_train(values)[..., self.at, :]

    def interval(self, values: Floats) -> Interval:
        """Interval of a number computed from :attr:`measured` for every draw."""
        return interval(self.of(values))

    @property
    def inputs(self) -> tuple[Tolerance, ...]:
        """How sure each number that was varied is."""
        return self.drawn.draws.inputs[self.at]

    def value(self, name: str) -> Interval:
        """Interval of what a check judges."""
        return self.interval(self.drawn.measured[name].value)

    def chance(self, name: str) -> float:
        """Share of draws that pass a check; NaN on paper."""
        return math.nan if self.drawn.on_paper else float(self.of(self.drawn.measured.passes(name)).mean())

    def judgement(self, name: str) -> Judgement:
        """Interval of what a check judges, and the share of draws within its limit, whether or not it may exclude.

        NaN where no draw differs from any other.
        """
        measure = self.drawn.measured[name]
        value, limit = self.of(measure.value), self.of(np.broadcast_to(measure.limit, measure.value.shape))
        within = self.of(measure.within(CHECKS[name]))
        if not (_varies(value) or _varies(limit)):
            return Interval(np.nan, np.nan), np.nan
        return interval(value), float(within.mean())

    @property
    def chance_by_check(self) -> dict[str, float]:
        """Of every check that may exclude and has a limit here."""
        return {name: self.chance(name) for name in self.drawn.judged}

    @property
    def chance_all_limits(self) -> float:
        """Share of draws that pass all of them at once."""
        return float(self.drawn.chance(self.drawn.judged)[self.at])

    @property
    def chance_wishes(self) -> float:
        """Share of draws that keep everything the brief asks for."""
        return float(self.drawn.chance(self.drawn.wishes)[self.at])

    @property
    def chance_ratings(self) -> float:
        """Share of draws that keep every rating of the parts."""
        return float(self.drawn.chance(self.drawn.ratings)[self.at])

    @property
    def holds(self) -> bool:
        """Whether what the brief asks for and the ratings are kept with the chances asked for."""
        return bool(self.drawn.near[self.at] >= 1.0)

    @property
    def short(self) -> dict[str, float]:
        """Of every check whose chance is less than asked, least first."""
        found = {name: chance for name, chance in self.chance_by_check.items() if not chance >= self.wanted(name)}
        return dict(sorted(found.items(), key=lambda item: item[1]))

    def wanted(self, name: str) -> float:
        """The chance that the brief asks of a check: that of its limits, or of ratings."""
        return wanted_of(self.drawn.asked, name)

    @property
    def least_certain(self) -> str | None:
        """The check whose chance falls furthest short of what is asked; None where all hold always, or on paper."""
        return None if self.drawn.on_paper else least_certain(self.chance_by_check, self.drawn.asked)

    def hangs_on(self, name: str) -> dict[str, float]:
        """Share of each part, or number of the aircraft, in the variance of what a check judges, largest first."""
        return self.shares(self.drawn.measured[name].value)

    def shares(self, values: Floats) -> dict[str, float]:
        """The same of any number computed for every draw."""
        return sensitivity(self.of(values), self.drawn.draws.raw, [GROUPS[name] for name in NAMES])

    def number_shares(self, values: Floats) -> dict[str, float]:
        """And of each number that is varied, by its name in ``NAMES``."""
        return sensitivity(self.of(values), self.drawn.draws.raw, NAMES)


def wanted_of(asked: tuple[float, float], name: str) -> float:
    """Of the chances asked for, of the limits of the brief and of ratings, that of one check."""
    wish, rate = asked
    return wish if CHECKS[name].basis == BRIEF else rate


def least_certain(chance_by_check: Mapping[str, float], asked: tuple[float, float]) -> str | None:
    """The check whose chance falls furthest short of what is asked; None where all hold always."""
    short = {name: (1.0 - chance) / (1.0 - wanted_of(asked, name)) for name, chance in chance_by_check.items()}
    worst = max(short, key=lambda name: short[name], default=None)
    return worst if worst is not None and short[worst] > 0 else None


def drawn(setting: Setting, trains: Sequence[PowerTrain], *, draws: int = DRAWS, seed: int = SEED) -> Drawn:
    """Draws of power trains in a setting, the same normal numbers for each.

    Parameters
    ----------
    setting : Setting
    trains : sequence of PowerTrain
    draws : int
        A power of two.
    seed : int
        The same seed gives the same draws.
    """
    return Drawn(setting, trains, normal_draws(draws, seed))


def as_stated(setting: Setting, trains: Sequence[PowerTrain]) -> Drawn:
    """Power trains in a setting with every number as it is stated, as the only draw: no ranges and no chances."""
    return Drawn(setting, trains, np.zeros((1, len(NAMES))))


def sureness(setting: Setting, train: PowerTrain, *, draws: int = DRAWS, seed: int = SEED) -> Sureness:
    """How sure what is said of one power train in one setting is; arguments as in :func:`drawn`."""
    return Sureness(drawn(setting, [train], draws=draws, seed=seed))
