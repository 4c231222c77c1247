"""What a check is: one record that holds everything about it, the measure of N lanes, and the law of its margin."""

import math
from collections.abc import Callable, Iterable, Mapping
from enum import Enum

import attrs
import numpy as np
from numpy.typing import ArrayLike

from propmatch.checks.ratings import Rating
from propmatch.checks.setting import Setting
from propmatch.checks.states import Field, State, TrainStates
from propmatch.checks.working import Input, Lane, Symbol, Working, working
from propmatch.models.arrays import Flags, Floats
from propmatch.status import Status

__all__ = [
    "BRIEF",
    "CLOSE",
    "ESTIMATED",
    "PRACTICE",
    "RATING",
    "CheckRule",
    "Cost",
    "Measure",
    "margins",
    "may_exclude",
    "no_words",
    "verdict_at",
    "verdict_of",
]


BRIEF, RATING, ESTIMATED, PRACTICE = "brief", "part rating", "estimated rating", "common practice"
CLOSE = 0.10
"""Margin below which a check is ``close``."""


class Cost(Enum):
    """What a check of one combination takes, from little to much."""

    PARTS = "numbers of the parts alone"
    REST = "one operating point at rest"
    POINT = "operating points at rest and in flight"
    SEARCH = "operating points at many airspeeds"
    FLIGHT = "the whole flight"


def may_exclude(basis: str) -> bool:
    """Whether a limit from there rules a design out; common practice does not."""
    return basis in (BRIEF, RATING, ESTIMATED)


# ---------------------------------------------------------------- margin


def margins(value: ArrayLike, limit: ArrayLike, *, least: bool) -> Floats:
    """(limit - value)/|limit|, for minima (value - limit)/|limit|; 0 on the limit, infinite beside a limit of 0."""
    v, bound = np.asarray(value, dtype=np.float64), np.asarray(limit, dtype=np.float64)
    room = v - bound if least else bound - v
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.where(np.isinf(bound), room, room / np.abs(bound))
    return np.where(room == 0, 0.0, share)


def verdict_of(value: float, limit: float, *, least: bool = False) -> tuple[float, str]:
    """Margin and verdict of a value against a limit; physics without an answer (NaN value) ``fails`` a limit."""
    margin = float(margins(value, limit, least=least))
    return margin, verdict_at(margin, limit)


def verdict_at(margin: float, limit: float) -> str:
    """The verdict of a margin from a limit."""
    if math.isnan(limit):
        return "no limit"
    if not margin >= 0:
        return "fails"
    return "close" if margin <= CLOSE else "ok"


@attrs.frozen(kw_only=True, eq=False)
class Measure:
    """A value and its limit for N lanes; ``limit`` is NaN where there is none.

    ``judged`` is True where ``fails`` would exclude, ``estimated`` where the limit is an estimated rating, ``unknown``
    where limit or value cannot be known, ``bursts`` where a burst rating serves.
    """

    value: Floats
    limit: Floats
    judged: Flags | bool
    estimated: Flags | bool = False
    unknown: Flags | bool = False
    bursts: Flags | bool = False

    def passes(self, rule: "CheckRule") -> Flags:
        """Lanes within the limit, or without one to judge; a value that is NaN does not pass."""
        return np.asarray(self.within(rule) | ~np.asarray(self.judged))

    def within(self, rule: "CheckRule") -> Flags:
        """Lanes within the limit, or without one, whether or not it may exclude."""
        within = self.value >= self.limit if rule.least else self.value <= self.limit
        return np.asarray(within | np.isnan(self.limit))

    def margin(self, rule: "CheckRule") -> Floats:
        """Margin of each lane; NaN where nothing that could exclude it is known."""
        return np.where(self.judged, margins(self.value, self.limit, least=rule.least), np.nan)


# ---------------------------------------------------------------- the record


def _always(_: object) -> bool:
    return True


def _never(_: object) -> bool:
    return False


def no_words(*_: object) -> str:
    """Nothing to say."""
    return ""


def why_missing(lane: Lane) -> str:
    """Why a value taken at full throttle is missing."""
    status = int(lane.of(lane.states.full(1.0).status))
    return Status(status).meaning if status else "no answer here"


@attrs.frozen(kw_only=True, eq=False)
class CheckRule:
    """Everything about one check.

    Attributes
    ----------
    name : str
    what : str
        The value in plain words.
    unit : str
    least : bool
        True when the limit is a minimum.
    graded : bool
        False where a value fits or does not, so that one on its limit is not near to anything.
    basis : str
        ``brief``, ``part rating`` or ``common practice``; where the limit may come from either, the one that excludes.
        A rating that is an estimate has the basis ``estimated rating`` in the lanes that ``estimated`` names.
    danger : bool
        True where a limit missed is named before all others.
    limit_key : str
        The key of ``[limits]`` that gives the limit; one that the brief leaves out and that is filled in is assumed.
    limit_from : str
        The field of the brief, the rating, or what common practice rests on.
    asked : callable
        What of the setting gives the limit, by default ``limit_key``; None where the brief leaves it out, so that
        nothing need be computed.
    usual : float, optional
        The limit of common practice.
    state : State
        What the value is taken at.
    cost : Cost
        What it takes in a search.
    field : callable, optional
        What of an operating point is judged: its largest value in the state.
    value : callable, optional
        Value of N lanes, where it is no such field.
    rating : callable, optional
        What the parts bear at full throttle: it gives the limit, where that is an estimate, and where a burst serves.
    limit : callable, optional
        Limit of N lanes, NaN where there is none; default ``usual``, else what ``asked`` gives.
    applies : callable, optional
        Where there is anything to judge; default everywhere.
    judged : callable, optional
        Where ``fails`` would exclude; default by ``basis``, and by the brief for estimated ratings.
    estimated : callable, optional
        Where the limit is an estimated rating.
    unknown : callable, optional
        Where limit or value cannot be known from what was stated.
    bursts : callable, optional
        Where a burst rating serves.
    formula : str
        How the value follows, in symbols of ``working.SYMBOLS`` and ``own``; :mod:`checks.formula` reckons it.
    own : mapping of str to Symbol
        Symbols of this check alone.
    beside : callable, optional
        Numbers worth knowing beside those of the formula.
    several : str
        Whose value it is where a train has several motors, ``{}`` for their number.
    note : callable
        What stands beside the value of one lane, from the lane and the value.
    missing : callable
        Why the value of a lane is NaN; empty where there is just nothing to judge.
    """

    name: str
    what: str
    unit: str = ""
    least: bool = False
    graded: bool = True
    basis: str
    danger: bool = False
    limit_from: str
    limit_key: str = ""
    asked: Callable[[Setting], object] | None = None
    usual: float | None = None
    state: State
    cost: Cost
    field: Field | None = None
    value: Callable[[TrainStates], ArrayLike] | None = None
    rating: Callable[[TrainStates], Rating] | None = None
    limit: Callable[[TrainStates], ArrayLike | None] | None = None
    applies: Callable[[TrainStates], Flags | bool] = _always
    judged: Callable[[TrainStates], Flags | bool] | None = None
    estimated: Callable[[TrainStates], Flags | bool] = _never
    unknown: Callable[[TrainStates], Flags | bool] = _never
    bursts: Callable[[TrainStates], Flags | bool] = _never
    formula: str
    own: Mapping[str, Symbol] = attrs.Factory(dict)
    beside: Callable[[Lane], Iterable[Input]] | None = None
    several: str = ""
    note: Callable[[Lane, float], str] = no_words
    missing: Callable[[Lane], str] = why_missing

    @property
    def may_exclude(self) -> bool:
        """Whether it may rule a design out."""
        return may_exclude(self.basis)

    def asks(self, setting: Setting) -> object:
        """What of a setting gives the limit; None where it gives none."""
        if self.asked is not None:
            return self.asked(setting)
        return getattr(setting.brief.limits, self.limit_key) if self.limit_key else True

    def has_limit(self, setting: Setting) -> bool:
        """False when the brief gives no limit, so that the value need not be computed to judge."""
        return self.asks(setting) is not None

    def may_have_limit(self, setting: Setting) -> bool:
        """False where neither the brief nor common practice nor anything else gives one."""
        return self.usual is not None or self.limit is not None or self.has_limit(setting)

    def assumed(self, setting: Setting) -> bool:
        """Whether the limit stands in for one that the brief leaves out."""
        if not self.limit_key or getattr(setting.stated.limits, self.limit_key) is not None:
            return False
        return self.limit is not None or getattr(setting.brief.limits, self.limit_key) is not None

    def measure(self, states: TrainStates) -> Measure:
        """Value and limit of N lanes."""
        limit = self.usual if self.usual is not None else self.asks(states.setting)
        if self.limit is not None:
            limit = self.limit(states)
        shape = (states.lanes.size,)

        if self.value is not None:
            value: ArrayLike = self.value(states)
        else:
            assert self.field is not None
            value = states.worst(self.state, self.field)

        def spread(number: object) -> Floats:
            return np.broadcast_to(np.asarray(np.nan if number is None else number, dtype=np.float64), shape)

        estimated, bursts = (np.broadcast_to(flags(states), shape) for flags in (self.estimated, self.bursts))
        if self.rating is not None:
            own, seconds = self.rating(states), states.setting.burst_load_seconds
            limit, estimated = own.limit(seconds), own.estimated & ~own.bursts(seconds)
            bursts = own.bursts(seconds) & (spread(value) > own.continuous)
        judged: Flags | bool = self.may_exclude if self.judged is None else self.judged(states)
        warned = estimated & (states.setting.brief.limits.estimated_ratings == "warn")
        return Measure(
            value=spread(value),
            limit=np.where(self.applies(states), spread(limit), np.nan),
            judged=np.broadcast_to(judged, shape) & ~warned,
            estimated=estimated,
            unknown=np.broadcast_to(self.unknown(states), shape),
            bursts=bursts,
        )

    def working(self, states: TrainStates, index: int) -> Working:
        """How the value of one lane follows."""
        return working(states, index, self.formula, self.state, field=self.field, own=self.own, beside=self.beside)

    def remark(self, lane: Lane, value: float) -> str:
        """What the value of a lane is, what stands beside it, and why it may be missing."""
        motors = int(lane.of(lane.states.lanes.count))
        whose = self.several.format(motors) if motors > 1 else ""
        parts = (self.what, whose, self.note(lane, value), self.missing(lane) if np.isnan(value) else "")
        return "; ".join(part for part in parts if part)
