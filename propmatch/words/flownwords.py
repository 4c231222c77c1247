"""A flight as really flown and what to set for it, in sentences and rows."""

import math

from propmatch.columns import columns_of
from propmatch.questions.asflown import AsFlown
from propmatch.questions.settings import Settings
from propmatch.records.estimates import PRACTICE
from propmatch.words.shown import Shown, clock, signed

__all__ = ["USUAL", "flown_sentences", "settings_rows"]

USUAL = f"'usual' means {PRACTICE}."
_NOTICED_K, _NOTICED_MINUTES = 1.0, 0.05
_WARM_C = 15.0
"""Cells warmer than this start a flight without more ado: common practice, no published source."""


def flown_sentences(flown: AsFlown, minutes: float, cutoff_cell_v: float, shown: Shown) -> list[str]:
    """What becomes of an ideal flight of so many minutes, if there is one, and the first minute with cold cells."""
    said = _real(flown) if minutes > 0 else []
    if flown.pack_start_c >= _WARM_C:
        return said
    if abs(flown.warmed_minutes - minutes) >= _NOTICED_MINUTES and flown.pack_rise_k >= _NOTICED_K:
        said.append(
            f"The cells start at {flown.pack_start_c:g} degC and warm by {flown.pack_rise_k:.0f} K at most: between "
            f"{minutes:.1f} and {flown.warmed_minutes:.1f} minutes."
        )
    if math.isfinite(flown.first_minute_cell_v):
        low = ", below the cut-off: warm the pack first" if flown.first_minute_cell_v < cutoff_cell_v else ""
        said.append(
            f"In the first minute full throttle at rest gives {shown.thrust_text(flown.first_minute_thrust_n)} "
            f"({signed(100 * (flown.first_minute_thrust_n / flown.warm_thrust_n - 1), 0)} % against warm cells) and "
            f"pulls a cell to {flown.first_minute_cell_v:.2f} V{low}."
        )
    return said


def _real(flown: AsFlown) -> list[str]:
    """What manoeuvres and gusts cost."""
    if not flown.held:
        return ["No phase holds an airspeed: real flying costs height, and the minutes stay as they are."]
    if not flown.acts:
        return []
    span = ""
    if flown.factor_low != flown.factor_high:
        span = f" ({flown.flown_minutes_short:.1f} to {flown.flown_minutes_long:.1f})"
    return [
        f"That is steady flight; as really flown, at {flown.factor:g} times the current, expect about "
        f"{flown.flown_minutes:.1f} minutes{span}, timer {clock(flown.flown_timer_minutes)}."
    ]


def settings_rows(settings: Settings, shown: Shown) -> list[dict[str, str]]:
    """A row for each value: what to set, to what, and where that comes from; ``USUAL`` explains a word of it.

    A timer that real flying does not change has none.
    """
    rows = []
    for column in columns_of(Settings):
        value = getattr(settings, column.name)
        if column.name == "flown_timer_minutes" and math.isnan(value):
            continue
        if column.name.endswith("timer_minutes"):
            text = f"{clock(value)} min:s"
        elif math.isnan(value):
            text = "any"
        else:
            text = shown.text(value, column.kind, column.digits)
        rows.append(
            {"set": column.label, "to": text, "because": settings.basis[column.name].replace(PRACTICE, "usual")}
        )
    return rows
