"""A flight as really flown and what to set for it, in sentences and rows."""

import math

from propmatch.columns import STATED, Column, columns_of
from propmatch.questions.asflown import AsFlown
from propmatch.questions.settings import Settings
from propmatch.records.estimates import PRACTICE
from propmatch.words.answerwords import minutes_text
from propmatch.words.chancewords import hangs_words, ranged
from propmatch.words.shown import Shown, clock, signed

__all__ = [
    "NO_TIMER", "USUAL", "cold_sentences", "flown_sentences", "landing_words", "setting_text", "settings_rows",
    "timer_sentence",
]  # fmt: skip

NO_TIMER = "No timer: at least 10 of 100 builds do not fly at all. Measure before you fly."
USUAL = f"'usual' means {PRACTICE}."
_NOTICED_K, _NOTICED_MINUTES = 1.0, 0.05
_WARM_C = 15.0
"""Cells warmer than this start a flight without more ado: common practice, no published source."""


def flown_sentences(
    flown: AsFlown, minutes: float, cutoff_cell_v: float, shown: Shown, *, why: bool = True
) -> list[str]:
    """What becomes of an ideal flight of so many minutes, if there is one, and the first minute with cold cells.

    ``why`` says what the minutes hang on.
    """
    said = _real(flown, why) if minutes > 0 else []
    return said + cold_sentences(flown, minutes, cutoff_cell_v, shown)


def cold_sentences(flown: AsFlown, minutes: float, cutoff_cell_v: float, shown: Shown) -> list[str]:
    """What cold cells do to an ideal flight of so many minutes and to its first; nothing where they are warm."""
    said = list[str]()
    if flown.pack_start_c >= _WARM_C:
        return said
    if abs(flown.warmed_minutes - minutes) >= _NOTICED_MINUTES and flown.pack_rise_k >= _NOTICED_K:
        said.append(
            f"The cells start at {flown.pack_start_c:g} degC and warm by {flown.pack_rise_k:.0f} K at most: between "
            f"{minutes:.1f} and {flown.warmed_minutes:.1f} minutes."
        )
    if math.isfinite(flown.first_minute_cell_v):
        volts, ends = f"{flown.first_minute_cell_v:.2f}", flown.ranges.get("first_minute_cell_v")
        volts = volts if ends is None else ranged(volts, ends.low, ends.high)
        low = ", below the cutoff: warm the pack first" if flown.first_minute_cell_v < cutoff_cell_v else ""
        said.append(
            f"In the first minute full throttle, static, gives {shown.thrust_text(flown.first_minute_thrust_n)} "
            f"({signed(100 * (flown.first_minute_thrust_n / flown.warm_thrust_n - 1), 0)} % against warm cells) and "
            f"pulls a cell to {volts} V{low}."
        )
    return said


def _real(flown: AsFlown, why: bool) -> list[str]:
    """What manoeuvres and gusts cost."""
    if not flown.held:
        return ["No phase holds an airspeed: real flying costs height, and the minutes stay as they are."]
    if not flown.acts:
        return []
    ends = flown.ranges.get("flown_minutes", STATED)
    minutes = minutes_text(flown.flown_minutes, ends.low, ends.high)
    hangs = hangs_words(flown.draws.shares(), flown.draws.sure) if why else ""
    return [
        f"That is steady flight; as really flown, at {flown.factor:g} times the current, about {minutes}"
        f"{f'; {hangs}' if hangs else ''}."
    ]


def timer_sentence(flown: AsFlown, settings: Settings) -> str:
    """What to set the timer to, and what charging then puts back."""
    if not flown.flown_timer_minutes > 0:
        return NO_TIMER
    ends = settings.ranges["recharge_mah"]
    back = ranged(f"{settings.recharge_mah:.0f}", ends.low, ends.high)
    return (
        f"Set the timer to {clock(flown.flown_timer_minutes)} (min:s), which 90 of 100 builds reach so flown; "
        f"recharging should put back about {back} mAh."
    )


def landing_words(settings: Settings) -> str:
    """What the pack and a cell read when it is time to land."""
    return f"Land when the pack reads {settings.land_pack_v:.1f} V; alarm at {settings.alarm_load_cell_v:.2f} V a cell."


def settings_rows(settings: Settings, shown: Shown) -> list[dict[str, str]]:
    """A row for each value: what to set, to what, and where that comes from; ``USUAL`` explains a word of it."""
    return [
        {"set": column.label, "to": setting_text(settings, column, shown),
         "because": settings.basis[column.name].replace(PRACTICE, "usual")}
        for column in columns_of(Settings)
    ]  # fmt: skip


def setting_text(settings: Settings, column: Column, shown: Shown) -> str:
    """What a setting is set to, with its range."""
    value, ends = getattr(settings, column.name), settings.ranges.get(column.name)
    if column.name == "flown_timer_minutes":
        return f"{clock(value)} min:s"
    if math.isnan(value):
        return "any"
    text = shown.text(value, column.kind, column.digits)
    return text if ends is None else ranged(text, ends.low, ends.high, column.kind, shown)
