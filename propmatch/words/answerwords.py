"""The answer as a buyer reads it: whole minutes with their range, and the part that works hardest."""

import math
from collections.abc import Iterable
from typing import TYPE_CHECKING

from propmatch.words.shown import signed

if TYPE_CHECKING:
    from propmatch.checks.limits import Check

__all__ = [
    "NO_FLIGHT", "RATED", "SHORT", "SHORT_MINUTES", "count_text", "hardest_check", "hardest_words", "minutes_text",
]  # fmt: skip

_PART_OF = {
    "motor_current_static": "motor", "motor_current_flight": "motor", "motor_current_phase": "motor",
    "motor_power": "motor", "controller_current": "ESC", "pack_burst": "pack", "pack_sustained": "pack",
}  # fmt: skip
"""Ratings by heat, and whose they are."""
NO_FLIGHT, SHORT, SHORT_MINUTES = "no flight", "under 1 min", 0.5
RATED = tuple(_PART_OF)
"""The checks that :func:`hardest_check` looks at."""


def count_text(count: int) -> str:
    """``3.1 million``, ``68,000``, ``874``: a count as people say it."""
    if count >= 1_000_000:
        return f"{count / 1e6:.3g} million"
    return f"{round(count, -3):,}" if count >= 10_000 else f"{count}"


def minutes_text(minutes: float, low: float = math.nan, high: float = math.nan) -> str:
    """``35 (25 to 44) min``: whole minutes, what holds 80 of 100 builds in brackets; ``no flight`` without a number."""
    if not math.isfinite(minutes):
        return NO_FLIGHT
    if not max(minutes, high) >= SHORT_MINUTES and minutes < SHORT_MINUTES:
        return SHORT
    ends = [f"{end:.0f}" if math.isfinite(end) else "none" for end in (low, high)]
    between = f" ({' to '.join(ends)})" if math.isfinite(low) or math.isfinite(high) else ""
    return f"{minutes:.0f}{between} min"


def hardest_check(checks: "Iterable[Check]") -> "Check | None":
    """Of the ratings by heat of motor, ESC and pack the one with the largest share used; None without a rating."""
    rated = [each for each in checks if each.name in _PART_OF and each.limit > 0 and math.isfinite(each.value)]
    return max(rated, key=lambda each: each.value / each.limit, default=None)


def hardest_words(checks: "Iterable[Check]") -> str:
    """``hottest: the ESC, 79 % of its rating (8.7 of 11 A)``; empty where no rating is known."""
    check = hardest_check(checks)
    if check is None:
        return ""
    share = f"{100 * check.value / check.limit:.0f} % of its rating"
    value, limit = (signed(each, 0 if each >= 30 else 1).removesuffix(".0") for each in (check.value, check.limit))
    return f"hottest: the {_PART_OF[check.name]}, {share} ({value} of {limit} {check.unit})"
