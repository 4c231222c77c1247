"""The numbers that checks judge, for many power trains at once: each value beside its limit.

One function serves a single design and a search over millions of lanes; :mod:`checks.limits` turns its arrays into
``Check`` objects.
"""

import attrs

from propmatch.checks.checkrules import CHECKS
from propmatch.checks.rule import CheckRule, Measure
from propmatch.checks.setting import Setting, settings
from propmatch.checks.states import Flown, TrainStates
from propmatch.models.arrays import Flags, Floats, Pick

__all__ = [
    "CHECKS",
    "CheckRule",
    "Flown",
    "Measure",
    "Setting",
    "TrainMeasures",
    "settings",
]


class TrainMeasures(TrainStates):
    """The measures of N power trains in one setting by the names of their checks, computed when asked for."""

    def __getitem__(self, name: str) -> Measure:
        """A measure by the name of its check."""
        return self.once(("check", name), lambda: CHECKS[name].measure(self))

    def passes(self, name: str) -> Flags:
        """Lanes that pass a check."""
        return self[name].passes(CHECKS[name])

    def has_limit(self, name: str) -> bool:
        """False when the brief gives a check no limit, so that it need not be computed to judge."""
        return CHECKS[name].has_limit(self.setting)

    def limited(self, throttle: Floats) -> "TrainMeasures":
        """The measures of the same trains with a largest throttle (N,): no phase is flown above it."""
        some = TrainMeasures(self.setting, attrs.evolve(self.lanes, throttle_limit=throttle), self.ratings)
        some.frames = self.frames
        return some

    def again(self, index: Pick) -> "TrainMeasures":
        """The measures of some lanes, nothing known of them yet."""
        return TrainMeasures(self.setting.take(index), self.lanes.take(index), self.ratings.take(index))

    def take(self, index: Pick) -> "TrainMeasures":
        """The measures of some lanes, with what is known of them already."""
        some = self.again(index)
        self.hand_over(some, index)
        return some
