"""What a check is: one record that holds everything about it, the measure of N lanes, and the law of its margin."""

from collections.abc import Callable, Iterable, Mapping
from enum import Enum

import attrs
import numpy as np
from numpy.typing import ArrayLike

from propmatch.checks.setting import Setting
from propmatch.checks.states import Field, State, TrainStates
from propmatch.checks.working import Input, Lane, Symbol, Working, working
from propmatch.models.arrays import Flags, Floats
from propmatch.status import Status

__all__ = [
    "BRIEF",
    "CLOSE",
    "PRACTICE",
    "RATING",
    "CheckRule",
    "Cost",
    "Measure",
    "margins",
    "may_exclude",
    "no_words",
    "verdict_of",
]


BRIEF, RATING, PRACTICE = "brief", "part rating", "common practice"
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
    return basis in (BRIEF, RATING)


# ---------------------------------------------------------------- margin


def margins(value: ArrayLike, limit: ArrayLike, *, least: bool) -> Floats:
    """(limit - value)/|limit|, for minima (value - limit)/|limit|; 0 on the limit, infinite beside a limit of 0."""
    v, bound = np.asarray(value, dtype=np.float64), np.asarray(limit, dtype=np.float64)
    room = v - bound if least else bound - v
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.where(np.isinf(bound), room, room / np.abs(bound))
    return np.where(room == 0, 0.0, share)


def verdict_of(value: float, limit: float, *, least: bool = False) -> tuple[float, str]:
    """Margin and verdict of a value against a limit; no answer (NaN value) against a limit is ``over``."""
    margin = float(margins(value, limit, least=least))
    if np.isnan(limit):
        return margin, "unknown"
    if not margin >= 0:
        return margin, "over"
    return margin, "close" if margin <= CLOSE else "ok"


@attrs.frozen(kw_only=True, eq=False)
class Measure:
    """A value and its limit for N lanes; ``limit`` is NaN where there is none.

    ``judged`` is True where ``over`` would exclude: the limit comes from the brief or a part's rating.
    """

    value: Floats
    limit: Floats
    judged: Flags | bool

    def passes(self, rule: "CheckRule") -> Flags:
        """Lanes within the limit, or without one to judge; a value that is NaN does not pass."""
        within = self.value >= self.limit if rule.least else self.value <= self.limit
        return np.asarray(within | np.isnan(self.limit) | ~np.asarray(self.judged))

    def margin(self, rule: "CheckRule") -> Floats:
        """Margin of each lane; NaN where nothing that could exclude it is known."""
        return np.where(self.judged, margins(self.value, self.limit, least=rule.least), np.nan)


# ---------------------------------------------------------------- the record


def _always(_: object) -> bool:
    return True


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
    limit_from : str
        The field of the brief, the rating, or what common practice rests on.
    asked : callable
        What of the setting gives the limit; None where the brief leaves it out, so that nothing need be computed.
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
    limit : callable, optional
        Limit of N lanes, NaN where there is none; default ``usual``, else what ``asked`` gives.
    applies : callable, optional
        Where there is anything to judge; default everywhere.
    judged : callable, optional
        Where ``over`` would exclude; default by ``basis``.
    formula : str
        How the value follows, in symbols of ``working.SYMBOLS`` and ``own``; :mod:`checks.formula` reckons it.
    own : mapping of str to Symbol
        Symbols of this check alone.
    beside : callable, optional
        Numbers worth knowing beside those of the formula.
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
    limit_from: str
    asked: Callable[[Setting], object] = _always
    usual: float | None = None
    state: State
    cost: Cost
    field: Field | None = None
    value: Callable[[TrainStates], ArrayLike] | None = None
    limit: Callable[[TrainStates], ArrayLike | None] | None = None
    applies: Callable[[TrainStates], Flags | bool] = _always
    judged: Callable[[TrainStates], Flags | bool] | None = None
    formula: str
    own: Mapping[str, Symbol] = attrs.Factory(dict)
    beside: Callable[[Lane], Iterable[Input]] | None = None
    note: Callable[[Lane, float], str] = no_words
    missing: Callable[[Lane], str] = why_missing

    @property
    def may_exclude(self) -> bool:
        """Whether it may rule a design out."""
        return may_exclude(self.basis)

    def has_limit(self, setting: Setting) -> bool:
        """False when the brief gives no limit, so that the value need not be computed to judge."""
        return self.asked(setting) is not None

    def measure(self, states: TrainStates) -> Measure:
        """Value and limit of N lanes."""
        asked = self.asked(states.setting) if self.usual is None else self.usual
        limit = asked if self.limit is None else self.limit(states)
        shape = (states.lanes.size,)

        if self.value is not None:
            value: ArrayLike = self.value(states)
        else:
            assert self.field is not None
            value = states.worst(self.state, self.field)

        def spread(number: object) -> Floats:
            return np.broadcast_to(np.asarray(np.nan if number is None else number, dtype=np.float64), shape)

        return Measure(
            value=spread(value),
            limit=np.where(self.applies(states), spread(limit), np.nan),
            judged=self.may_exclude if self.judged is None else self.judged(states),
        )

    def working(self, states: TrainStates, index: int) -> Working:
        """How the value of one lane follows."""
        return working(states, index, self.formula, self.state, field=self.field, own=self.own, beside=self.beside)

    def remark(self, lane: Lane, value: float) -> str:
        """What the value of a lane is, what stands beside it, and why it may be missing."""
        parts = (self.what, self.note(lane, value), self.missing(lane) if np.isnan(value) else "")
        return "; ".join(part for part in parts if part)
