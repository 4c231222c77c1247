"""What builders may choose around a centre: lists and ranges that hold in every condition, whoever builds.

Random builds choose of each axis at random and draw every number that nobody knows exactly. A part, or a step of a
range, stays while the builds that have it keep the chances asked for in every condition; what keeps them least goes
first, a range from its ends, and never what the centre has. What fails alone on paper is not tried. What went is tried
again beside what stayed, the nearest to the centre first, and comes back where all that is listed holds with it.
"""

from collections.abc import Sequence

import attrs
import numpy as np

from propmatch.checks.chances import SEED, Drawn
from propmatch.checks.judged import failing, smallest_margins
from propmatch.models.arrays import Flags, Floats, Index
from propmatch.questions.bought import LADDERS, Offer
from propmatch.questions.publishing import Condition, judged_alike
from propmatch.tolerances.draws import normal_draws

__all__ = ["Builds", "Grown", "grown", "grown_on_paper"]

_BUILDS, _LEAST, _FEW = 2048, 256, 32
"""Random builds of a round in each condition that costs most; below so many of what is left, or so many of one part,
another round is drawn."""
_TRIED, _KNOWN, _REACH = 8192, 0.75, 4
"""Random builds with what went, the share of them that has of an axis what stayed, and so many steps of a range beyond
its ends are tried."""
_SHOWN = 1024
"""Random builds of what is left in each of all conditions: they confirm it and are shown."""
_ROUNDS = 8
_HARD = 2
"""So many conditions with the least margins on paper are those that cost most."""


@attrs.frozen(kw_only=True, eq=False)
class Builds:
    """Random builds of what may be chosen, in several conditions.

    Attributes
    ----------
    choices : (M, axes) what each has
    draws : Drawn in each condition
    kept : (K, 2, M) whether it keeps the limits of the brief, and the ratings
    weight : (M,) how often a builder makes it over how often it was drawn
    """

    choices: Index
    draws: tuple[Drawn, ...]
    kept: Flags
    weight: Floats

    @classmethod
    def of(cls, offer: Offer, odds: Sequence[Floats], where: Sequence[Condition], count: int, seed: int) -> "Builds":
        """So many builds that choose with these odds of each axis, the same in each condition."""
        rng = np.random.default_rng(seed)
        chances = [each / each.sum() for each in odds]
        choices = np.column_stack([rng.choice(each.size, count, p=each) for each in chances])
        weight = np.prod([1.0 / each[column] for each, column in zip(chances, choices.T, strict=True)], axis=0)
        raw = normal_draws(count, seed)
        draws = tuple(offer.drawn(condition.setting, choices, raw) for condition in where)
        kept = [[each.passes(names)[:, 0] for names in (each.wishes, each.ratings)] for each in draws]
        return cls(choices=choices, draws=draws, kept=np.array(kept), weight=weight)

    @property
    def chance(self) -> Floats:
        """Least share, among the conditions, that keeps the limits of the brief, and the ratings, (2,)."""
        return np.asarray(self.kept.mean(axis=2).min(axis=0))

    def having(self, axis: int, option: int) -> Flags:
        """Builds with this choice, (M,)."""
        return np.asarray(self.choices[:, axis] == option)

    def alive(self, allowed: Sequence[Flags]) -> Flags:
        """Builds of what is allowed still."""
        return np.asarray(
            np.logical_and.reduce([each[column] for each, column in zip(allowed, self.choices.T, strict=True)])
        )


@attrs.frozen(kw_only=True, eq=False)
class Grown:
    """What may be chosen.

    Attributes
    ----------
    allowed : of each axis, which of its choices
    why : (axis, choice) to the checks that speak against it
    chance : (axis, choice) to the least share of builds with it that keep the limits of the brief, and the ratings
    builds : Builds in every condition, which chose nothing; None on paper
    hard : the conditions that cost most
    """

    allowed: tuple[Flags, ...]
    why: dict[tuple[int, int], tuple[str, ...]]
    chance: dict[tuple[int, int], tuple[float, float]]
    builds: Builds | None
    hard: tuple[Condition, ...]


def grown(offer: Offer, hard: Sequence[Condition], where: Sequence[Condition], asked: tuple[float, float]) -> Grown:
    """What may be chosen of an offer whose own parts hold.

    Parameters
    ----------
    offer : Offer
    hard : the conditions that cost most
    where : all conditions
    asked : chance of the limits of the brief, and of the ratings
    """
    on_paper, why, _ = _on_paper(offer, hard)
    growth = _Growth(offer, [each.copy() for each in on_paper], np.array(asked), why)
    seed = SEED
    for seed in range(SEED + 1, SEED + _ROUNDS):
        if not growth.thin(Builds.of(offer, growth.odds(), hard, _BUILDS, seed)):
            break
    tried = growth.dropped(on_paper)
    growth.widen(Builds.of(offer, growth.odds(tried), hard, _TRIED, seed := seed + 1), tried)
    for again in range(seed + 1, seed + _ROUNDS):
        builds = Builds.of(offer, growth.odds(), where, _SHOWN, again)
        if not growth.thin(builds, last=True):
            break
    chance = {}
    for axis, option in growth.named:
        worst = builds.kept[:, :, builds.having(axis, option)].mean(axis=2).min(axis=0)
        chance[axis, option] = (float(worst[0]), float(worst[1]))
    return Grown(allowed=tuple(growth.allowed), why=growth.why, chance=chance, builds=builds, hard=tuple(hard))


def grown_on_paper(offer: Offer, where: Sequence[Condition]) -> Grown:
    """What passes in every condition beside the centre's own parts, every number as it is stated."""
    allowed, why, margins = _on_paper(offer, where)
    hard = np.argsort(margins, kind="stable")[:_HARD]
    return Grown(allowed=tuple(allowed), why=why, chance={}, builds=None, hard=tuple(where[at] for at in hard))


def _on_paper(
    offer: Offer, where: Sequence[Condition]
) -> tuple[list[Flags], dict[tuple[int, int], tuple[str, ...]], Floats]:
    """Of each axis what passes in every condition beside the centre's own parts, why the rest does not, and the least
    margin of what passes in each condition.
    """
    named = [(axis, option) for axis, each in enumerate(offer.axes) for option in range(len(each))]
    choices = np.tile(np.array(offer.own, dtype=np.intp), (len(named), 1))
    for row, (axis, option) in zip(choices, named, strict=True):
        row[axis] = option
    wrong: dict[tuple[int, int], dict[str, None]] = {each: {} for each in named}
    missed: dict[int, list[tuple[str, ...]]] = {}
    margins = np.empty((len(where), len(named)))
    for some in judged_alike(where):
        measured = offer.on_paper([where[at] for at in some], choices)
        names, margins[some] = failing(measured), smallest_margins(measured).reshape(len(some), -1)
        missed |= {at: names[turn * len(named) : (turn + 1) * len(named)] for turn, at in enumerate(some)}
    for at in range(len(where)):
        for each, checks in zip(named, missed[at], strict=True):
            wrong[each] |= dict.fromkeys(checks)
    allowed = [
        np.array([not wrong[axis, option] for option in range(len(each))]) for axis, each in enumerate(offer.axes)
    ]
    for axis, (good, own) in enumerate(zip(allowed, offer.own, strict=True)):
        good[own] = True
        if axis in LADDERS:
            _keep_around(good, own)
    passed = np.array([not names for names in wrong.values()])
    least = np.min(np.nan_to_num(margins, nan=-np.inf), axis=1, where=passed, initial=np.inf)
    return allowed, {each: tuple(checks) for each, checks in wrong.items() if checks}, least


def _keep_around(good: Flags, own: int) -> None:
    """Of a ladder only the steps that hang together with the centre's."""
    bad = np.flatnonzero(~good)
    low = max((at for at in bad if at < own), default=-1)
    high = min((at for at in bad if at > own), default=good.size)
    good[: low + 1] = good[high:] = False


class _Growth:
    """What is allowed still, and why the rest is not."""

    def __init__(
        self, offer: Offer, allowed: list[Flags], asked: Floats, why: dict[tuple[int, int], tuple[str, ...]]
    ) -> None:
        self.offer, self.allowed, self.asked, self.why = offer, allowed, asked, why

    @property
    def named(self) -> list[tuple[int, int]]:
        """What is allowed still, axis and choice."""
        return [(axis, at) for axis, each in enumerate(self.allowed) for at in np.flatnonzero(each).tolist()]

    def odds(self, tried: Sequence[Flags] | None = None) -> list[Floats]:
        """With what odds a random build chooses: alike among what is allowed, and less often what is tried again."""
        if tried is None:
            return [each.astype(np.float64) for each in self.allowed]
        return [
            good / good.sum() if not new.any() else _KNOWN * good / good.sum() + (1.0 - _KNOWN) * new / new.sum()
            for good, new in zip(self.allowed, tried, strict=True)
        ]

    def dropped(self, on_paper: Sequence[Flags]) -> list[Flags]:
        """Of each axis what passes on paper and went, of a ladder within reach."""
        gone = [was & ~now for was, now in zip(on_paper, self.allowed, strict=True)]
        for axis in LADDERS:
            low, high = np.flatnonzero(self.allowed[axis])[[0, -1]]
            gone[axis][: max(low - _REACH, 0)] = gone[axis][high + 1 + _REACH :] = False
        return gone

    def widen(self, builds: Builds, tried: Sequence[Flags]) -> None:
        """Take back what all that is listed holds with: of each axis in turn the nearest to the centre's own."""
        left = [sorted(np.flatnonzero(each).tolist(), key=self.offer.off[axis].__getitem__)
                for axis, each in enumerate(tried)]  # fmt: skip
        more = True
        while more:
            more = False
            for axis, each in enumerate(left):
                more |= self._one_more(builds, axis, each)

    def _one_more(self, builds: Builds, axis: int, left: list[int]) -> bool:
        """Allow the first of what is left that holds; what does not is not tried again."""
        good = self.allowed[axis]
        while ready := [at for at in left if axis not in LADDERS or good[max(at - 1, 0) : at + 2].any()]:
            left.remove(at := ready[0])
            good[at] = True
            alive = builds.alive(self.allowed)
            near = self._near(builds, alive, sure=False)[0]
            near[1 + self.named.index((axis, at))] = self._near(builds, alive & builds.having(axis, at), sure=True)[0][
                0
            ]
            if near.min() >= 1.0:
                self.why.pop((axis, at), None)
                return True
            good[at] = False
        return False

    def _near(self, builds: Builds, alive: Flags, *, sure: bool) -> tuple[Floats, Floats, Flags]:
        """How near all builds that are alive, and those with each that is allowed still, come to the chances asked for.

        (1 + L, K, 2), how many builds that rests on (1 + L,), and which (1 + L, M). Unless it has to be ``sure``, each
        choice is given its standard error.
        """
        have = np.array([alive, *(alive & builds.having(axis, option) for axis, option in self.named)])
        weight = have * builds.weight
        total = np.maximum(weight.sum(axis=1), np.finfo(np.float64).tiny)
        counts = np.maximum(total**2 / np.maximum((weight**2).sum(axis=1), np.finfo(np.float64).tiny), 1.0)
        share = np.einsum("kcm,om->okc", builds.kept, weight) / total[:, None, None]
        slack = np.sqrt(self.asked * (1.0 - self.asked) / counts[:, None, None])
        slack[0] = 0.0
        return (share + (0.0 if sure else slack)) / self.asked, counts, have

    def thin(self, builds: Builds, *, last: bool = False) -> bool:
        """Drop choices until builds with each of the rest keep the chances, or too few are left to tell.

        ``last`` : one at most, and only for what falls short of the chances by more than its standard error, or for
        all builds together. Whether any was dropped.
        """
        dropped = False
        while True:
            named = self.named
            least, counts, have = self._near(builds, builds.alive(self.allowed), sure=not last)
            if dropped and (last or counts[0] < _LEAST or counts.min() < _FEW):
                return True
            may = np.array([self._droppable(axis, option) for axis, option in named])
            if least.min() >= 1.0 or not may.any():
                return dropped
            _, at, kind = np.unravel_index(int(np.argmin(least)), least.shape)
            drop = int(np.argmin(np.where(may, least[1:, at, kind], np.inf)))
            axis, option = named[drop]
            self.allowed[axis][option], dropped = False, True
            self.why[axis, option] = self._reasons(builds.draws[int(at)], have[1 + drop])

    def _droppable(self, axis: int, option: int) -> bool:
        """Not what the centre has; of a ladder only an end."""
        if option == self.offer.own[axis]:
            return False
        ends = np.flatnonzero(self.allowed[axis])[[0, -1]]
        return axis not in LADDERS or option in ends

    def _reasons(self, drawn: Drawn, have: Flags) -> tuple[str, ...]:
        return (min(drawn.judged, key=lambda name: float(drawn.measured.passes(name)[have].mean())),)
