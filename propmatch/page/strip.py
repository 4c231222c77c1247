"""The five numbers that stay in view on the page: time, thrust, current, mass, and the chance of brief and ratings."""

from collections.abc import Mapping, Sequence
from typing import Any

from propmatch.checks.chances import Sureness
from propmatch.checks.limits import Check, missed
from propmatch.words.chancewords import of_hundred

__all__ = ["strip"]

_FIGURES = (
    ("flight_time", "flight_time", "flight time"), ("thrust_to_weight", "thrust_to_weight", "thrust to weight"),
    ("controller_current", "controller_current", "motor current"), ("mass", "all_up_mass", "all-up mass"),
)  # fmt: skip
"""Name of the number, of the check that judges it, and its label here."""


def strip(rows: Sequence[Mapping[str, Any]], checks: Sequence[Check], sure: Sureness | None) -> list[dict[str, Any]]:
    """The figures in their order; ``rows`` are those of the numbers and of the checks, as the page has them.

    Without ``sure`` the last one says what holds on paper.
    """
    told, failing = {row["name"]: row for row in rows}, {check.name for check in checks if check.verdict == "fails"}
    figures = [
        {"name": name, "label": label, "text": told[name]["text"], "range": told[name]["range"], "explained": True,
         "beyond": check in failing}
        for name, check, label in _FIGURES
    ]  # fmt: skip
    hard = missed(checks)
    if sure is None:
        text, beside = ("kept" if not hard else f"{len(hard)} missed"), "on paper"
    else:
        text, beside = f"{of_hundred(sure.chance_all_limits)} of 100", "builds"
        if hard:
            beside += f"; \u25c0 {len(hard)} missed on paper"
    last = {"name": "limits", "label": "brief and ratings kept", "text": text, "range": beside, "explained": False,
            "beyond": bool(hard)}  # fmt: skip
    return [*figures, last]
