"""Numbers of checks, parts and assumptions as people write them."""

import math
from typing import Any

from propmatch.limits import Check
from propmatch.shown import Shown, signed

__all__ = ["check_name", "limit_text", "parts_text", "percent", "value_text"]


def check_name(name: str) -> str:
    """The name of a check as people write it."""
    return name.replace("_", " ").replace("all up", "all-up").replace("rpm", "speed").replace("mach", "Mach")


def value_text(value: float, unit: str) -> str:
    """A value of a check with its unit."""
    if not math.isfinite(value):
        return "-"
    digits = 0 if unit in ("g", "rpm", "S") else 2 if abs(value) < 10 else 1
    return f"{signed(value, digits)} {unit}".strip()


def limit_text(check: Check) -> str:
    """``at most 14 A``, ``at least 0.55``; ``-`` without a limit."""
    if not math.isfinite(check.limit):
        return "-"
    number, space, unit = value_text(check.limit, check.unit).partition(" ")
    number = number.rstrip("0").rstrip(".") if "." in number else number
    return f"at {'least' if check.least else 'most'} {number}{space}{unit}"


def percent(share: float, digits: int = 0) -> str:
    """A share as a percentage; ``-`` when there is none."""
    return "-" if not math.isfinite(share) else f"{signed(100 * share, digits)} %"


def parts_text(train: Any, shown: Shown) -> str:
    """The parts of a train in one line."""
    sets = "" if train.count == 1 else f"{train.count} sets: "
    return f"{sets}{train.motor.name}, {train.propeller.name}, {train.controller.name}, {train.pack.name}"
