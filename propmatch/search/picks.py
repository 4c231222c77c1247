"""Picks that hold: of all combinations those that keep the brief and every rating with the chance asked for.

The chance of all limits together is at most that of the least certain one, so every limit can be screened alone: at its
own quantile, moved by its own spread. The least spread among a sample of combinations, less a tenth, moves it (the
mass exactly), so that hardly anything is lost that would have held; ``benchmarks/picks.py`` counts what is. The exact
search runs under the moved limits. Of what it finds, first-order draws (each input once, one standard deviation up)
tell who may hold and in which order; draws through the engine judge those, best first, and fresh draws, which neither
ordered nor chose them, confirm them and give the chance that is shown: the best of many estimates flatters itself
(J. E. Smith, R. L. Winkler, The Optimizer's Curse, Manage. Sci. 52 (2006) 311).
"""

from collections import Counter
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from functools import cached_property, partial
from itertools import zip_longest
from typing import Any

import attrs
import numpy as np

from propmatch.checks.chances import (
    INTERVAL,
    SEED,
    Drawn,
    Interval,
    Judgement,
    Sureness,
    intervals,
    least_certain,
    wanted_of,
)
from propmatch.checks.checkrules import CHECKS, by_cost
from propmatch.checks.measures import Setting, TrainMeasures
from propmatch.checks.ratings import RatingLanes
from propmatch.checks.rule import BRIEF
from propmatch.models.arrays import Flags, Floats, Index
from propmatch.records.fields import declared, replace
from propmatch.records.parts import PowerTrain
from propmatch.records.sections import Limits
from propmatch.search.exhaustive import Found
from propmatch.search.practice import practice_cost
from propmatch.search.ranking import Ranking
from propmatch.search.shelf import Shelf
from propmatch.tolerances.draws import DRAWS, normal_draws
from propmatch.tolerances.numbers import NAMES, aircraft_tolerances
from propmatch.tolerances.quantile import normal_quantile

__all__ = [
    "Finder", "FirstOrder", "Pick", "Picks", "combinations_of", "drawn_picks", "holding", "kind_of", "sure_of",
    "tightened",
]  # fmt: skip

Finder = Callable[[Setting, Shelf, Ranking, int], Found]
Kind = tuple[int, int, str]
"""Motor, pack and propeller family: what makes a pick a different one."""

FOUND = 4000
"""Combinations looked at behind the rows, best first under the moved limits."""
SAMPLE, SLACK = 24, 0.9
"""Combinations whose spreads are looked at, and the share of the least that moves a limit."""
PER_TRAIN, PER_KEY, FIRST_ORDER = 6, 60, 1000
"""Of one motor, pack and propeller; of one motor, pack and propeller family; and in all."""
JUDGED = 128
"""Draws that judge a combination; those that confirm it are the ones that every command shows."""
LEAST_KINDS, LEAST_SHOWN = 20, 6
"""So many kinds are judged, and the best confirmed, however few are asked for: the first is always the same."""
_BATCH, _OF_A_KIND, _BATCHES, _AFTERWARDS, _ROUNDS = 32, 4, 8, 2, 4
"""Combinations judged at a time, of one kind among them, how often at most, and again once some were not confirmed; and
in how many rounds."""
_LUCK = 0.05
"""By this share of the chance asked for the first draws may fall short: their standard deviation."""
_ROUNDING = 1.0 + 1e-9
_ROOM = 0.15
"""By so much a first-order chance may fall short and yet be judged."""
_LIMITS = {
    "thrust_to_weight": "min_thrust_to_weight", "flight_time": "min_flight_minutes", "climb": "min_climb_m_s",
    "hand_launch": "min_launch_thrust_to_weight",
}  # fmt: skip
"""Wishes whose limit can be moved, and the key that holds it."""
_RATINGS = {
    "motor_current_static": ("motor_stated_a", "motor_burst_a"), "motor_power": ("motor_w",),
    "controller_current": ("controller_a", "controller_burst_a"), "pack_burst": ("usable_a", "burst_a"),
    "propeller_rpm": ("max_rpm",),
}  # fmt: skip
"""Ratings that can be moved, and the columns that hold them."""


@attrs.frozen(kw_only=True)
class Pick:
    """One combination, and how sure it is.

    Attributes
    ----------
    combination : indices of motor, controller, pack, propeller
    score_low : the score that nine of ten draws exceed, less what odd choices cost
    odd : what is usual nowhere, in words
    minutes_low, minutes_high : 80 % interval
    chance_wishes, chance_ratings, chance_all : of the brief's limits, of the ratings, of all together, each the least
        among the variant that is ranked and those that must hold
    chance_by_check : of each, in the variant that is ranked
    worst : number of the variant that comes least near to what is asked
    near : how near it comes there to the chances asked for, 1 where it reaches them
    asked : those chances
    sure_in : the draws behind that, in a variant by its number
    judged : what was asked of :meth:`judgement` already
    alike : how many near equals it stands for: the same motor, pack and propeller family
    """

    combination: tuple[int, ...]
    score_low: float
    odd: tuple[str, ...]
    minutes_low: float
    minutes_high: float
    chance_wishes: float
    chance_ratings: float
    chance_all: float
    chance_by_check: Mapping[str, float]
    worst: int
    near: float
    asked: tuple[float, float]
    sure_in: Callable[[int], Sureness]
    judged: dict[str, Judgement] = attrs.field(factory=dict)
    alike: int = 0

    @cached_property
    def sure(self) -> Sureness:
        """The draws in the variant that is ranked; of a pick that was kept they are drawn only now."""
        return self.sure_in(0)

    @cached_property
    def least_sure(self) -> Sureness:
        """The same in the variant that comes least near to what is asked."""
        return self.sure_in(self.worst)

    def judgement(self, name: str) -> Judgement:
        """As :meth:`Sureness.judgement`."""
        if name not in self.judged:
            self.judged[name] = self.sure.judgement(name)
        return self.judged[name]

    def wanted(self, name: str) -> float:
        """As :meth:`Sureness.wanted`."""
        return wanted_of(self.asked, name)

    @property
    def least_certain(self) -> str | None:
        """As :attr:`Sureness.least_certain`."""
        return least_certain(self.chance_by_check, self.asked)

    @property
    def data(self) -> dict[str, Any]:
        """As JSON knows it, with every check that has a limit."""
        setting = self.sure.drawn.setting
        limited = [name for name, rule in CHECKS.items() if rule.may_have_limit(setting)]
        each = {name: self.judgement(name) for name in limited}
        judged = {name: [ends.low, ends.high, chance] for name, (ends, chance) in each.items()}
        told = attrs.asdict(self, recurse=False, filter=lambda field, _: field.name not in ("asked", "sure_in"))
        return {**told, "judged": judged}

    @classmethod
    def of_data(cls, settings: Sequence[Setting], shelf: Shelf, data: Mapping[str, Any]) -> "Pick":
        """The same again."""
        row = combinations_of([data["combination"]], shelf)[0]
        judged = {name: (Interval(low, high), chance) for name, (low, high, chance) in data["judged"].items()}
        told = {**data, "combination": tuple(row.tolist()), "odd": tuple(data["odd"]), "judged": judged}
        return cls(**told, asked=_asked(settings[0]), sure_in=partial(_drawn_alone, settings, shelf, row))

    @property
    def row(self) -> dict[str, Any]:
        """As JSON and CSV have it."""
        return {
            "flight_minutes_low": self.minutes_low,
            "flight_minutes_high": self.minutes_high,
            "chance_all_limits": self.chance_all,
            "chance_brief": self.chance_wishes,
            "chance_ratings": self.chance_ratings,
            "alike": self.alike,
            "odd": list(self.odd),
        }


@attrs.frozen(kw_only=True)
class Picks:
    """The best that hold, best first; where nothing does the surest, surest first, and ``hold`` is False.

    ``paper`` : the best on paper, where anything passes there and it was asked about.
    """

    rows: tuple[Pick, ...]
    hold: bool
    paper: tuple[Pick, ...] = ()

    @property
    def data(self) -> dict[str, Any]:
        """As JSON knows it."""
        return {"hold": self.hold, **{name: [pick.data for pick in getattr(self, name)] for name in ("rows", "paper")}}

    @classmethod
    def of_data(cls, settings: Sequence[Setting], shelf: Shelf, data: Mapping[str, Any]) -> "Picks":
        """The same again."""
        rows, paper = (tuple(Pick.of_data(settings, shelf, each) for each in data[name]) for name in ("rows", "paper"))
        return cls(rows=rows, hold=bool(data["hold"]), paper=paper)


def combinations_of(rows: Any, shelf: Shelf) -> Index:
    """Combinations (N, 4) of a shelf from lists of their indices.

    Raises
    ------
    IndexError
        One that the shelf does not have.
    """
    found = np.array(rows, dtype=np.intp).reshape(-1, 4)
    if np.any((found < 0) | (found >= np.array(shelf.sizes))):
        raise IndexError("a combination that the shelf does not have")
    return found


def holding(
    settings: Sequence[Setting], shelf: Shelf, order: Ranking, find: Finder, *, top: int, on_paper: Index
) -> Picks:
    """The picks of a shelf.

    Parameters
    ----------
    settings : the variant that is ranked, then the others that must hold
    shelf, order
    find : callable
        The exact search: setting, shelf, ranking and how many, to what it found.
    top : int
    on_paper : (n, 4), some combinations that pass on paper, best first
    """
    setting = settings[0]
    if not len(on_paper):
        return Picks(rows=(), hold=False)
    spread = least_spread(setting, shelf, on_paper)
    alike = [each for each in settings if each.train_numbers == setting.train_numbers]
    found = [find(*tightened(each, shelf, spread), order, FOUND).combination for each in alike]
    picks = _judged(settings, shelf, order, _in_turns(found), top)
    if picks:
        return Picks(rows=tuple(picks), hold=True)
    farthest = Ranking(weights={"margin": 1.0}, scales=order.scales)
    found = [find(each, shelf, farthest, FOUND).combination for each in alike]
    surest = _surest(settings, shelf, order, _in_turns(found), top)
    held = [pick for pick in surest if pick.near >= 1.0]
    best = sorted(held, key=lambda pick: -pick.score_low) if held else surest
    return Picks(rows=tuple(best), hold=bool(held))


def _in_turns(lists: Sequence[Index]) -> Index:
    """The rows of lists, first those that stand first in any, each once."""
    rows = [row for each in zip_longest(*(rows.tolist() for rows in lists)) for row in each if row is not None]
    return np.array(list(dict.fromkeys(map(tuple, rows))), dtype=np.intp).reshape(-1, 4)


# ---------------------------------------------------------------- moved limits


def least_spread(setting: Setting, shelf: Shelf, rows: Index) -> dict[str, float]:
    """Least sd of ln of what each movable check judges, among some combinations: the first, and random ones."""
    rng = np.random.default_rng(SEED)
    some = [rows[:SAMPLE], np.column_stack([rng.choice(rows[:, kind], SAMPLE) for kind in range(4)])]
    mixed = np.concatenate(some)
    fits = shelf.cells_fit(*mixed[:, :3].T)
    first = FirstOrder.of([setting], shelf, mixed[fits], names=(*_LIMITS, *_RATINGS))
    out = {}
    for name, linear in first.checks.items():
        sound = linear.sd[np.isfinite(linear.sd)]
        out[name] = SLACK * float(sound.min()) if sound.size else 0.0
    return out


def tightened(setting: Setting, shelf: Shelf, spread: Mapping[str, float]) -> tuple[Setting, Shelf]:
    """The setting and shelf with every movable limit at the quantile that it must be kept with by itself."""
    limits = setting.brief.limits
    wish, rate = normal_quantile(np.array(_asked(setting)))
    most = {rule.name: rule.le for rule in declared(Limits)}
    changes = {
        key: min(getattr(limits, key) * float(np.exp(wish * spread.get(name, 0.0))), most[key] or np.inf)
        for name, key in _LIMITS.items()
        if getattr(limits, key) is not None
    }
    heavier = setting.build.mass_g * float(np.expm1(wish * _bare_sd(setting)))
    target = setting.variant.target_mass_g
    loading, area = limits.max_wing_loading_g_dm2, setting.variant.airframe.wing_area_dm2
    if loading is not None:
        changes["max_wing_loading_g_dm2"] = max(loading - heavier / area, 1e-3)
    moved = attrs.evolve(
        setting,
        brief=replace(setting.brief, limits=replace(limits, **changes)),
        variant=attrs.evolve(setting.variant, target_mass_g=None if target is None else max(target - heavier, 1e-3)),
    )
    factors = {
        field: float(np.exp(-rate * spread.get(name, 0.0))) for name, fields in _RATINGS.items() for field in fields
    }
    ratings: RatingLanes = attrs.evolve(
        shelf.ratings, **{field: getattr(shelf.ratings, field) * factor for field, factor in factors.items()}
    )
    return moved, attrs.evolve(shelf, ratings=ratings)


def _bare_sd(setting: Setting) -> float:
    return next(each.sd for each in aircraft_tolerances(setting.brief.uncertainty) if each.name == "bare_mass")


# ---------------------------------------------------------------- first order


@attrs.frozen
class Linear:
    """A check of M combinations as a line: value (M,), slopes (M, inputs), limit (M,); whether that is the least."""

    value: Floats
    slopes: Floats
    limit: Floats
    least: bool

    def take(self, some: Index) -> "Linear":
        """Some of the combinations."""
        return Linear(self.value[some], self.slopes[some], self.limit[some], self.least)

    @property
    def sd(self) -> Floats:
        """Standard deviation, (M,)."""
        return np.asarray(np.sqrt(np.sum(self.slopes**2, axis=1)))

    def within(self, raw: Floats) -> Flags:
        """Draws (M, N) within the limit or without one."""
        drawn = self.value[:, None] + self.slopes @ raw.T
        within = drawn >= self.limit[:, None] if self.least else drawn <= self.limit[:, None]
        return np.asarray(within | np.isnan(self.limit)[:, None])


@attrs.define
class _Kept:
    """Which draws (M, N) keep all wishes, and which all ratings."""

    wishes: Flags
    ratings: Flags

    @classmethod
    def all(cls, combinations: int, draws: int) -> "_Kept":
        """Before any check."""
        return cls(*(np.ones((combinations, draws), dtype=np.bool_) for _ in range(2)))

    def by(self, checks: Mapping[str, Linear], raw: Floats) -> None:
        """These checks too; of combinations far within a limit nothing need be reckoned."""
        farthest = float(np.sqrt(np.max(np.sum(raw**2, axis=1))))
        for name, check in checks.items():
            room = check.value - check.limit if check.least else check.limit - check.value
            open_ = np.flatnonzero(~(room > farthest * check.sd * _ROUNDING) & ~np.isnan(check.limit))
            good = self.wishes if CHECKS[name.split()[-1]].basis == BRIEF else self.ratings
            for start in range(0, open_.size, _BATCH):
                some = open_[start : start + _BATCH]
                good[some] &= check.take(some).within(raw)

    def take(self, some: Index) -> "_Kept":
        """Some of the combinations."""
        return _Kept(self.wishes[some], self.ratings[some])

    @property
    def chances(self) -> tuple[Floats, Floats]:
        """Shares of the draws, (M,) each."""
        return self.wishes.mean(axis=1), self.ratings.mean(axis=1)


def _probed(settings: Sequence[Setting], shelf: Shelf, rows: Index) -> list[Drawn]:
    """Combinations as stated and with each input by itself one standard deviation up, in each setting."""
    probes = np.vstack([np.zeros(len(NAMES)), np.eye(len(NAMES))])
    trains = [shelf.train(*row) for row in rows.tolist()]
    return [Drawn(each, trains, probes, None if at else shelf.combine(*rows.T)) for at, each in enumerate(settings)]


def _checks_of(each: Sequence[Drawn], names: Collection[str]) -> dict[str, Linear]:
    """Some checks as lines, those of the other settings under the number of the setting."""
    out = {}
    for at, probed in enumerate(each):
        for name in probed.judged:
            if name in names:
                measure = probed.measured[name]
                limit = np.where(measure.judged, measure.limit, np.nan)
                linear = _linear(probed, measure.value, limit, least=CHECKS[name].least)
                if linear is not None:
                    out[f"{at} {name}" if at else name] = linear
    return out


@attrs.frozen(kw_only=True)
class FirstOrder:
    """Checks and score of M combinations, linear in the normal numbers behind the draws.

    Attributes
    ----------
    checks : by name, as ln where every limit is positive
    score, score_slopes : (M,), (M, inputs)
    """

    checks: Mapping[str, Linear]
    score: Floats
    score_slopes: Floats

    @classmethod
    def of(
        cls, settings: Sequence[Setting], shelf: Shelf, rows: Index, *, names: Sequence[str] | None = None,
        order: Ranking | None = None,
    ) -> "FirstOrder":  # fmt: skip
        """From the stated numbers and each input by itself one standard deviation up."""
        each = _probed(settings, shelf, rows)
        return cls.of_drawn(each, _checks_of(each, CHECKS if names is None else names), order)

    @classmethod
    def of_drawn(cls, each: Sequence[Drawn], checks: Mapping[str, "Linear"], order: Ranking | None) -> "FirstOrder":
        """With these checks, the score from the first setting."""
        probed = each[0]
        score = probed.by_train(np.zeros(probed.measured.lanes.size) if order is None else order.of(probed.measured))
        return cls(checks=checks, score=score[:, 0], score_slopes=score[:, 1:] - score[:, :1])

    @classmethod
    def hopeful(
        cls, settings: Sequence[Setting], shelf: Shelf, rows: Index, order: Ranking, raw: Floats
    ) -> tuple["FirstOrder", Index]:
        """Of those combinations whose chances over independent normal numbers may be judged good, and which they are.

        Checks are taken cheapest first; what one of them rules out is not asked about the others.
        """
        wish, rate = (chance - _ROOM for chance in _asked(settings[0]))
        each, kept, good = _probed(settings, shelf, rows), np.arange(len(rows)), _Kept.all(len(rows), len(raw))
        checks: dict[str, Linear] = {}
        for group in by_cost():
            found = _checks_of(each, group)
            checks |= found
            good.by(found, raw)
            wishes, ratings = good.chances
            may = np.flatnonzero((wishes >= wish) & (ratings >= rate))
            if may.size < kept.size:
                each, kept, good = [drawn.take(may) for drawn in each], kept[may], good.take(may)
                checks = {name: linear.take(may) for name, linear in checks.items()}
            if not kept.size:
                break
        return cls.of_drawn(each, checks, order if kept.size else None), kept

    def chances(self, raw: Floats) -> tuple[Floats, Floats]:
        """Of all wishes and of all ratings, (M,) each, over independent normal numbers (N, inputs)."""
        good = _Kept.all(self.score.size, len(raw))
        good.by(self.checks, raw)
        return good.chances

    @property
    def score_low(self) -> Floats:
        """The score that nine of ten draws exceed."""
        sd = np.sqrt(np.sum(self.score_slopes**2, axis=1))
        return self.score - normal_quantile(np.array([0.5 + INTERVAL / 2])) * np.where(np.isfinite(sd), sd, np.inf)


def _in_ln(limit: Floats) -> bool:
    return bool(np.all(limit[np.isfinite(limit)] > 0))


def _linear(drawn: Drawn, value: Floats, limit: Floats, *, least: bool) -> Linear | None:
    """A check as a line, None where it has no limit in any lane."""
    values, bound = drawn.by_train(value), drawn.by_train(limit)[:, 0]
    if np.isnan(bound).all():
        return None
    fails = -np.inf if least else np.inf
    if _in_ln(bound):
        # nothing is as good as very little of what should be small, and no answer of what should be large
        with np.errstate(divide="ignore", invalid="ignore"):
            values = np.log(values) if least else np.log(np.maximum(values, 1e-3 * bound[:, None]))
            bound = np.log(bound)
        values = np.where(np.isfinite(values), values, np.nan)
    start = np.where(np.isnan(values[:, 0]) & ~np.isnan(bound), fails, values[:, 0])
    slopes = values[:, 1:] - values[:, :1]
    # without an answer one standard deviation up: lost there, as far as the limit and once more
    lost = np.where(np.isfinite(bound - start), bound - start, 0.0)[:, None] * 2.0
    return Linear(start, np.where(np.isfinite(slopes), slopes, lost), bound, least)


# ---------------------------------------------------------------- judging


def kind_of(shelf: Shelf, row: Sequence[int]) -> Kind:
    """What makes a pick a different one: motor, pack and propeller family."""
    propeller = shelf.propellers[row[3]]
    return row[0], row[2], propeller.family or f"{propeller.blades} blades"


def _first(shelf: Shelf, rows: Index) -> tuple[Index, dict[Kind, int]]:
    """Some combinations of each kind, best first, and how many of each there were."""
    counts: dict[Kind, int] = {}
    taken: Counter[tuple[Any, ...]] = Counter()
    kept: list[list[int]] = []
    for row in rows.tolist():
        key, train = kind_of(shelf, row), (row[0], row[2], row[3], "any controller")
        counts[key] = counts.get(key, 0) + 1
        if taken[key] < PER_KEY and taken[train] < PER_TRAIN and len(kept) < FIRST_ORDER:
            kept.append(row)
            taken.update([key, train])
    return np.array(kept, dtype=np.intp).reshape(-1, 4), counts


def _judged(settings: Sequence[Setting], shelf: Shelf, order: Ranking, rows: Index, top: int) -> list[Pick]:
    """Those that hold, best first."""
    some, counts = _first(shelf, rows)
    if not len(some):
        return []
    first, hopeful = FirstOrder.hopeful(settings, shelf, some, order, normal_draws(512, SEED + 2))
    some = some[hopeful]
    queue = np.argsort(-first.score_low, kind="stable").tolist()
    judged: dict[Kind, Pick] = {}
    picks: dict[Kind, Pick] = {}
    left = _BATCHES
    for _ in range(_ROUNDS):
        while left:
            batch = _next(shelf, some, queue, {*judged, *picks})
            found = sorted((pick.score_low for pick in (*judged.values(), *picks.values())), reverse=True)
            enough = len(found) >= max(top, LEAST_KINDS)
            if not batch or (enough and first.score_low[batch[0]] <= found[LEAST_SHOWN - 1]):
                break
            queue, left = [at for at in queue if at not in batch], left - 1
            for pick in drawn_picks(settings, shelf, order, some[batch], JUDGED, SEED + 1, least=1.0 - _LUCK):
                kind = kind_of(shelf, pick.combination)
                if kind not in judged or pick.score_low > judged[kind].score_low:
                    judged[kind] = pick
        most = max(max(top, LEAST_SHOWN) - len(picks), 0) + 2
        best = sorted(judged.values(), key=lambda pick: -pick.score_low)[:most]
        rows = np.array([pick.combination for pick in best], dtype=np.intp).reshape(-1, 4)
        held = drawn_picks(settings, shelf, order, rows, DRAWS, SEED, least=1.0)
        for pick in best:
            del judged[kind_of(shelf, pick.combination)]
        for pick in held:
            kind = kind_of(shelf, pick.combination)
            picks[kind] = attrs.evolve(pick, alike=counts[kind] - 1)
        if not best or (len(picks) >= top and len(held) == len(best)):
            break
        left = max(left, _AFTERWARDS)
    return sorted(picks.values(), key=lambda pick: -pick.score_low)[:top]


def _next(shelf: Shelf, some: Index, queue: Sequence[int], without: Collection[Kind]) -> list[int]:
    """The next to judge: the best that are left of each kind that has none yet, a few of one kind."""
    batch: list[int] = []
    taken: Counter[Kind] = Counter()
    for at in queue:
        kind = kind_of(shelf, some[at].tolist())
        if kind not in without and taken[kind] < _OF_A_KIND:
            batch.append(at)
            taken[kind] += 1
        if len(batch) >= _BATCH:
            break
    return batch


def _surest(settings: Sequence[Setting], shelf: Shelf, order: Ranking, rows: Index, top: int) -> list[Pick]:
    """Where nothing holds: by how near they come to the chances asked for."""
    some, counts = _first(shelf, rows)
    if not len(some):
        return []
    wish, rate = _asked(settings[0])
    wishes, ratings = FirstOrder.of(settings, shelf, some, order=order).chances(normal_draws(512, SEED + 2))
    near = np.minimum(wishes / wish, ratings / rate)
    chosen: dict[Kind, int] = {}
    for at in np.argsort(-near, kind="stable").tolist():
        chosen.setdefault(kind_of(shelf, some[at].tolist()), at)
    several = max(top, LEAST_SHOWN) + 2
    judged = drawn_picks(
        settings, shelf, order, some[list(chosen.values())[: max(2 * several, LEAST_KINDS)]], JUDGED, SEED + 1
    )
    rows = np.array([pick.combination for pick in sorted(judged, key=_nearness)[:several]], dtype=np.intp)
    best = drawn_picks(settings, shelf, order, rows, DRAWS, SEED)
    best = [attrs.evolve(pick, alike=counts[kind_of(shelf, pick.combination)] - 1) for pick in best]
    return sorted(best, key=_nearness)[:top]


def _nearness(pick: Pick) -> float:
    return -pick.near


def _asked(setting: Setting) -> tuple[float, float]:
    limits = setting.brief.limits
    return limits.chance or 0.0, limits.rating_chance or 0.0


def sure_of(settings: Sequence[Setting], shelf: Shelf, order: Ranking, row: Index) -> Pick:
    """How sure one combination (4,) is, whatever was looked for."""
    return drawn_picks(settings, shelf, order, row[None], DRAWS, SEED)[0]


def _drawn_alone(settings: Sequence[Setting], shelf: Shelf, row: Index, number: int) -> Sureness:
    """The draws behind a pick in one of the settings."""
    known = None if number else shelf.combine(*row[:, None])
    return Drawn(settings[number], [shelf.train(*row.tolist())], normal_draws(DRAWS, SEED), known).each[0]


def _of_several(each: Sequence[Drawn], at: int, number: int) -> Sureness:
    return each[number].each[at]


def _within_reach(each: list[Drawn], rows: Index, least: float) -> tuple[list[Drawn], Index]:
    """Those that come as near as ``least`` in every setting, dropped as soon as cheap checks say that they do not."""
    names: tuple[str, ...] = ()
    for group in by_cost():
        names += group
        for at in range(len(each)):
            keep = np.flatnonzero(each[at].near_by(names) >= least)
            if keep.size < len(rows):
                each, rows = [drawn.take(keep) for drawn in each], rows[keep]
            if not keep.size:
                return each, rows
    return each, rows


def drawn_picks(
    settings: Sequence[Setting], shelf: Shelf, order: Ranking, rows: Index, draws: int, seed: int,
    least: float = -np.inf,
) -> list[Pick]:  # fmt: skip
    """Combinations judged by draws, those that come as near as ``least`` to the chances asked for.

    A chance of several settings is the least of them.
    """
    raw = normal_draws(draws, seed)
    out: list[Pick] = []
    for part in _parts(rows):
        trains: list[PowerTrain] = [shelf.train(*row) for row in part.tolist()]
        stated = shelf.combine(*part.T)
        drawn = [Drawn(setting, trains, raw, None if at else stated) for at, setting in enumerate(settings)]
        each, part = _within_reach(drawn, part, least)
        if not len(part):
            continue
        stated, first = shelf.combine(*part.T), each[0]
        low, high = intervals(first.by_train(first.measured["flight_time"].value))
        score, _ = intervals(first.by_train(order.of(first.measured)))
        wishes = np.array([drawn.chance(drawn.wishes) for drawn in each])
        ratings = np.array([drawn.chance(drawn.ratings) for drawn in each])
        near = np.array([drawn.near for drawn in each])
        worst = np.argmin(near, axis=0)
        whole = np.min([drawn.chance(drawn.judged) for drawn in each], axis=0)
        by_check = {name: first.chance([name]) for name in first.judged}
        costs = practice_cost(TrainMeasures(settings[0], *stated))
        for at, row in enumerate(part.tolist()):
            out.append(
                Pick(
                    combination=tuple(row),
                    score_low=float(score[at] - costs[at].share * abs(score[at])),
                    odd=costs[at].words,
                    minutes_low=float(low[at]),
                    minutes_high=float(high[at]),
                    chance_wishes=float(wishes[:, at].min()),
                    chance_ratings=float(ratings[:, at].min()),
                    chance_all=float(whole[at]),
                    chance_by_check={name: float(chance[at]) for name, chance in by_check.items()},
                    worst=int(worst[at]),
                    near=float(near[:, at].min()),
                    asked=_asked(settings[0]),
                    sure_in=partial(_of_several, each, at),
                )
            )
    return out


def _parts(rows: Index) -> Iterator[Index]:
    return (rows[start : start + _BATCH] for start in range(0, len(rows), _BATCH))
