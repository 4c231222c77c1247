"""Checks: one value against one limit, with margin, verdict and basis, for one design."""

from collections.abc import Iterable, Sequence
from typing import Any, Protocol

import attrs
import numpy as np

from propmatch.checks.chances import Judgement, sureness
from propmatch.checks.judged import judged_trains
from propmatch.checks.measures import CHECKS, CheckRule, TrainMeasures
from propmatch.checks.rule import CLOSE, ESTIMATED, PRACTICE, margins, may_exclude, verdict_at, verdict_of
from propmatch.checks.setting import ResolvedBrief
from propmatch.checks.working import Lane
from propmatch.records.brief import Brief, ResolvedVariant
from propmatch.records.estimates import Assumption, completed
from propmatch.records.parts import Airframe, PowerTrain
from propmatch.tablehtml import table_html

__all__ = [
    "CLOSE",
    "VERDICTS",
    "Check",
    "Design",
    "check_of",
    "checks_html",
    "checks_of",
    "closest_limit",
    "excludes",
    "graded",
    "missed",
    "run_checks",
    "surely",
    "verdict_of",
    "warnings_of",
]


VERDICTS = ("ok", "close", "fails", "no limit", "unknown")
"""What a check may come to; :class:`Check` says what each means."""


@attrs.frozen(kw_only=True)
class Check:
    """One value against one limit.

    Attributes
    ----------
    name : str
    value, limit : float
        NaN where there is no answer, or no limit to judge against.
    unit : str
    margin : float
        (limit - value)/limit, for minima (value - limit)/limit; NaN without a limit.
    verdict : str
        ``ok``, ``close`` (kept on paper, but in fewer builds than asked; where nothing was drawn, margin up to 0.10),
        ``fails`` (on paper), ``no limit`` (nobody gives one) or ``unknown`` (limit or value cannot be known from what
        was stated).
    basis : str
        ``brief``, ``part rating``, ``estimated rating`` or ``common practice``.
    note : str
        What the value is, and what it rests on.
    least : bool
        True when the limit is a minimum.
    excluding : bool
        True when ``fails`` rules a design out: any basis but common practice, and estimated ratings unless the brief
        turns them into warnings.
    assumed : bool
        True when the limit stands in for one that the brief leaves out.
    burst : bool
        True when a burst rating serves, as the brief allows.
    low, high : float
        80 % interval of the value; NaN where nothing varies or that end has no answer.
    chance : float
        Share of draws within the limit; NaN where nothing varies, without a limit, or where nothing was drawn.
    chance_wanted : float
        The chance that the brief asks of it; NaN with ``chance``.
    """

    name: str
    value: float
    limit: float
    unit: str
    margin: float
    verdict: str
    basis: str
    note: str = ""
    least: bool = False
    excluding: bool = attrs.field(default=attrs.Factory(lambda self: may_exclude(self.basis), takes_self=True))
    assumed: bool = False
    burst: bool = False
    low: float = np.nan
    high: float = np.nan
    chance: float = np.nan
    chance_wanted: float = np.nan

    @property
    def limit_source(self) -> str:
        """Where the limit is from: the basis, or ``assumed``."""
        return "assumed" if self.assumed else self.basis

    @property
    def danger(self) -> bool:
        """Whether it is named before all others."""
        return self.verdict == "fails" and self.name in CHECKS and CHECKS[self.name].danger


def excludes(check: Check) -> bool:
    """True when this check alone rules a design out."""
    return check.verdict == "fails" and check.excluding and may_exclude(check.basis)


@attrs.frozen(kw_only=True, eq=False)
class Design:
    """A power train in an airframe, as one variant of a brief.

    Attributes
    ----------
    train : PowerTrain
    airframe : Airframe
    variant : str
        Name of the variant, ``as designed`` for the aircraft itself.
    target_mass_g : float or None
        Limit of the all-up mass of this variant.
    """

    train: PowerTrain
    airframe: Airframe
    variant: str = "as designed"
    target_mass_g: float | None = None

    @classmethod
    def of(cls, train: PowerTrain, variant: ResolvedVariant) -> "Design":
        """The train in a resolved variant of a brief."""
        return cls(train=train, airframe=variant.airframe, variant=variant.name, target_mass_g=variant.target_mass_g)

    @property
    def all_up_mass_g(self) -> float:
        """Bare mass and power train."""
        return self.airframe.all_up_mass_g(self.train.mass_g)


def run_checks(design: Design, brief: Brief | ResolvedBrief, *, extra: Iterable[Any] = ()) -> list[Check]:
    """Every check of one design.

    Parameters
    ----------
    design : Design
    brief : Brief, resolved already or not
    extra : iterable of ExtraCheck
        Checks that plugins add; their results follow the built-in ones.

    Returns
    -------
    list of Check
        In the order of ``measures.CHECKS``. Currents fresh from the charger, thrust and climb at half charge.

    Raises
    ------
    ValueError
        A propeller without a coefficient table.
    """
    resolved = ResolvedBrief.of(brief)
    measured, _ = measures_of(design, resolved)
    checks = checks_of(measured, sure=[sureness(measured.setting, design.train)])[0]
    for each in extra:
        checks += list(each.run(design, resolved.stated))
    return checks


def measures_of(design: Design, resolved: ResolvedBrief) -> tuple[TrainMeasures, tuple[Assumption, ...]]:
    """The measures of one design (one lane) and the estimates they rest on."""
    named = {each.variant.name: each for each in resolved.settings}
    base = named.get(design.variant, resolved.as_designed)
    target = design.target_mass_g or base.variant.target_mass_g
    airframe, _ = completed(design.airframe)
    variant = attrs.evolve(base.variant, name=design.variant, airframe=airframe, target_mass_g=target)
    measured, made = judged_trains(base.with_variant(variant), [design.train])
    return measured, made + variant.assumptions


class Judging(Protocol):
    """What says how sure a check is: :class:`Sureness`, or what was kept of it."""

    def judgement(self, name: str) -> Judgement:
        """Interval and chance."""

    def wanted(self, name: str) -> float:
        """The chance asked for."""


def checks_of(
    measured: TrainMeasures, names: Sequence[str] | None = None, sure: Sequence[Judging] | None = None
) -> list[list[Check]]:
    """Checks of every lane, all or some by name.

    ``sure`` says how sure each lane is: without it checks have no chance, and ``close`` goes by margin alone.
    """
    rules = [CHECKS[name] for name in CHECKS if names is None or name in names]
    lanes = [Lane(measured, index) for index in range(measured.lanes.size)]
    checks = [list(each) for each in zip(*(_checks(measured, rule, lanes) for rule in rules), strict=True)]
    return checks if sure is None else [surely(*each) for each in zip(checks, sure, strict=True)]


def surely(checks: Iterable[Check], sure: Judging) -> list[Check]:
    """Checks on paper of one lane, as sure as they are."""
    return [_with_chance(check, sure) for check in checks]


def _with_chance(check: Check, sure: Judging) -> Check:
    """A check with interval and chance, and the verdict that follows: what fails on paper fails, what is kept in every
    draw is ``ok`` however small its margin.
    """
    if check.verdict in ("no limit", "unknown"):
        return check
    ends, chance = sure.judgement(check.name)
    if np.isnan(chance):
        return attrs.evolve(check, verdict="fails" if check.verdict == "fails" else "ok")
    wanted = sure.wanted(check.name)
    verdict = check.verdict if check.verdict == "fails" else "ok" if chance >= wanted else "close"
    return attrs.evolve(check, verdict=verdict, low=ends.low, high=ends.high, chance=chance, chance_wanted=wanted)


def missed(checks: Iterable[Check]) -> tuple[Check, ...]:
    """Those that rule a design out, a danger first."""
    return tuple(sorted((check for check in checks if excludes(check)), key=lambda check: not check.danger))


def warnings_of(checks: Iterable[Check]) -> tuple[Check, ...]:
    """Limits missed that rule nothing out: common practice, and estimated ratings that only warn; a danger first."""
    found = (check for check in checks if check.verdict == "fails" and not excludes(check))
    return tuple(sorted(found, key=lambda check: not check.danger))


def check_of(measured: TrainMeasures, name: str, index: int = 0) -> Check:
    """One check of one lane."""
    return _checks(measured, CHECKS[name], [Lane(measured, index)])[0]


def _checks(measured: TrainMeasures, rule: CheckRule, lanes: Sequence[Lane]) -> list[Check]:
    """One check of some lanes."""
    measure, shape = measured[rule.name], (measured.lanes.size,)
    margin = margins(measure.value, measure.limit, least=rule.least)
    numbers = [np.broadcast_to(each, shape).tolist() for each in (measure.value, measure.limit, margin)]
    flags = [
        np.broadcast_to(each, shape).tolist()
        for each in (measure.judged, measure.estimated, measure.unknown, measure.bursts)
    ]
    return [_check(rule, lane, [each[lane.index] for each in numbers], [each[lane.index] for each in flags])
            for lane in lanes]  # fmt: skip


def _check(rule: CheckRule, lane: Lane, numbers: Sequence[float], flags: Sequence[bool]) -> Check:
    value, limit, margin = numbers
    judged, estimated, unknown, burst = flags
    return Check(
        name=rule.name,
        value=value,
        limit=limit,
        unit=rule.unit,
        margin=margin,
        verdict="unknown" if unknown else verdict_at(margin, limit),
        basis=ESTIMATED if estimated else rule.basis if judged else PRACTICE,
        note=rule.remark(lane, value),
        least=rule.least,
        excluding=judged,
        assumed=rule.assumed(lane.states.setting),
        burst=burst,
    )


def closest_limit(checks: Sequence[Check]) -> Check | None:
    """The check closest to its limit among those that can exclude and can be near; None when there is none."""
    judged = [c for c in graded(checks) if c.excluding and not np.isnan(c.margin)]
    return min(judged, key=lambda c: c.margin, default=None)


def graded(checks: Sequence[Check]) -> list[Check]:
    """Those that can be near to a limit; a cell count fits or does not."""
    return [check for check in checks if check.name not in CHECKS or CHECKS[check.name].graded]


def checks_html(checks: Iterable[Check]) -> str:
    """A table of checks for a notebook."""
    rows = [[c.name, c.value, c.limit, c.unit, c.verdict, f"{c.chance:.0%}" if c.chance == c.chance else "-", c.basis]
            for c in checks]  # fmt: skip
    return table_html(("check", "value", "limit", "unit", "verdict", "kept in", "limit from"), rows)
