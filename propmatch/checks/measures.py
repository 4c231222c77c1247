"""The numbers that checks judge, for many power trains at once: each value beside its limit.

One function serves a single design and a search over millions of lanes; :mod:`checks.limits` turns its arrays into
``Check`` objects.
"""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from propmatch.checks.checkrules import CHECKS
from propmatch.checks.rule import CheckRule, Measure
from propmatch.checks.setting import Setting, setting, settings
from propmatch.checks.states import THROTTLE_AIRSPEED, Flown, TrainStates

__all__ = [
    "CHECKS",
    "THROTTLE_AIRSPEED",
    "CheckRule",
    "Flown",
    "Measure",
    "Setting",
    "TrainMeasures",
    "setting",
    "settings",
]

Flags = NDArray[np.bool_]


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

    def take(self, index: Any) -> "TrainMeasures":
        """The measures of some lanes."""
        return TrainMeasures(self.setting, self.lanes.take(index), self.ratings.take(index))
