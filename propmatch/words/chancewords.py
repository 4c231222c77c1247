"""How sure things are, in words: chances as builds of a hundred, ranges behind numbers, and what an answer hangs on."""

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from propmatch.words.checkwords import check_name, limit_text, value_text
from propmatch.words.shown import Shown, digits_of, signed

if TYPE_CHECKING:
    from propmatch.checks.chances import Sureness
    from propmatch.checks.limits import Check

__all__ = [
    "NO_ANSWER",
    "ON_PAPER",
    "RANGES",
    "TOGETHER",
    "UNSURE",
    "chance_word",
    "chance_words",
    "check_ends",
    "check_range",
    "end_words",
    "hangs_words",
    "least_words",
    "of_hundred",
    "predicted_words",
    "range_words",
    "ranged",
    "share_words",
    "sure_words",
    "together_words",
    "worth_saying",
]

RANGES = "Ranges in brackets hold 80 of 100 builds."
"""Said once in an answer that has ranges."""
ON_PAPER = "On paper, every number as stated: no range, no chance and no timer."
"""Said once in an answer that was not drawn."""
UNSURE = "On paper: nothing here says how sure."
"""Said at the top of what is read on its own or handed on, where it was not drawn."""
TOGETHER = "{} of 100 builds keep every limit"
NO_ANSWER = "no answer"
_WORDS = ((0.9, "very likely"), (0.66, "likely"), (0.33, "may miss"), (0.0, "likely misses"))
"""From which chance on a word serves: Mastrandrea and others, guidance note on uncertainties (IPCC, 2010); values from
memory."""
_SHARES = (
    (0.9, "nearly all"), (0.71, "three quarters"), (0.58, "two thirds"), (0.42, "half"), (0.29, "a third"),
    (0.22, "a quarter"), (0.15, "a fifth"), (0.07, "a tenth"),
)  # fmt: skip
_SECOND = 0.22
"""Chance from which on a family is named."""
_KNOWN_BY = {
    "label": "which nobody measured", "assumed": "whose numbers are assumed", "measured": "which is measured",
    "predicted": "which is predicted, not measured", "data sheet": "known from its data sheet",
}  # fmt: skip
_AIRCRAFT = {
    "bare mass": "which nobody weighed", "drag": "which nobody measured", "highest lift": "which nobody measured",
    "thrust lost to the airframe": "which nobody measured", "radio and payload": "whose current nobody measured",
}  # fmt: skip


# ---------------------------------------------------------------- chances


def of_hundred(chance: float, wanted: float = 0.0) -> str:
    """``97``, ``over 99``, ``under 1``: a chance as builds of a hundred, never rounded up to certainty, nor from below
    to the chance that is wanted.
    """
    if not math.isfinite(chance):
        return "-"
    count = round(100 * chance)
    if chance < wanted:
        count = min(count, math.ceil(100 * wanted) - 1)
    if count == 100 and chance < 1:
        return "over 99"
    return "under 1" if count == 0 and chance > 0 else f"{count}"


def chance_words(chance: float) -> str:
    """``holds in 97 of 100``."""
    return f"holds in {of_hundred(chance)} of 100"


def chance_word(chance: float, wanted: float) -> str:
    """``very likely``, ``likely``, ``may miss`` or ``likely misses``; no answer misses.

    What is less than wanted is not called likely, however high it is.
    """
    words = _WORDS if chance >= wanted else _WORDS[2:]
    return next((word for least, word in words if chance >= least), _WORDS[-1][1])


def sure_words(chance: float, wanted: float) -> str:
    """The verdict of a chance: where it is less than wanted its word before it, and behind it what is asked."""
    if chance >= wanted:
        return chance_words(chance)
    kept = of_hundred(chance, wanted)
    return f"{chance_word(chance, wanted)}, holds in {kept} of 100 ({of_hundred(wanted)} asked)"


# ---------------------------------------------------------------- ranges


def range_words(low: float, high: float, kind: str = "", shown: Shown | None = None) -> str:
    """``0.46 to 0.70``: an interval in the reader's unit, without it; ``no answer`` where neither end has one.

    ``kind`` is a kind of column (``mass``, ``thrust``, ``speed``, ``%``) or the unit itself.
    """
    units = shown or Shown()
    ends = [units.of(end, kind) if math.isfinite(end) else end for end in (low, high)]
    largest = max((abs(end) for end in ends if math.isfinite(end)), default=math.nan)
    if math.isnan(largest):
        return NO_ANSWER
    return " to ".join(end_words(end, digits_of(largest)) for end in ends)


def end_words(end: float, digits: int = 1) -> str:
    """One end of a range, ``no answer`` where it has none."""
    return signed(end, digits) if math.isfinite(end) else NO_ANSWER


def ranged(text: str, low: float, high: float, kind: str = "", shown: Shown | None = None) -> str:
    """``0.58 (0.46 to 0.70)``: what was said of a number, and its interval; a text without a number has none."""
    return f"{text} ({range_words(low, high, kind, shown)})" if any(map(str.isdigit, text)) else text


def check_range(check: "Check", shown: Shown | None = None) -> str:
    """The value of a check with its interval where anything varies."""
    text, ends = value_text(check.value, check.unit, shown), check_ends(check, shown)
    return f"{text} ({ends})" if ends else text


def check_ends(check: "Check", shown: Shown | None = None) -> str:
    """The interval of the value of a check; empty where nothing varies, nothing was drawn or there is no value."""
    varies = math.isfinite(check.chance) and math.isfinite(check.value) and check.low != check.high
    return range_words(check.low, check.high, check.unit, shown) if varies else ""


# ---------------------------------------------------------------- what it hangs on


def share_words(share: float) -> str:
    """``two thirds``: a share of a variance."""
    return next((word for least, word in _SHARES if share >= least), "little")


def hangs_words(shares: Mapping[str, float], sure: "Sureness") -> str:
    """``two thirds of that from the propeller, which nobody measured``; empty where nothing has a share to name."""
    ranked = sorted(shares.items(), key=lambda item: -item[1])
    named = [item for at, item in enumerate(ranked[:2]) if item[1] >= (_SECOND if at else _SHARES[-1][0])]
    texts: list[str] = []
    for group, share in named:
        reason = _reason(group, sure)
        said = f"{share_words(share)}{'' if texts else ' of that'} from the {group}"
        texts.append(f"{said}, {reason}" if reason else said)
    return "; ".join(texts)


def _reason(group: str, sure: "Sureness") -> str:
    part = getattr(sure.train, group, None)
    if part is not None:
        return _KNOWN_BY[part.source.kind]
    stated = any(each.group == group and each.stated for each in sure.inputs)
    return "" if stated else _AIRCRAFT.get(group, "")


def predicted_words(shares: Mapping[str, float], sure: "Sureness") -> str:
    """How sure a predicted propeller is, where the range of an answer rests on it; else empty."""
    propeller = sure.train.propeller
    said = propeller.source.prediction
    if said is None or shares.get("propeller", 0.0) < _SECOND:
        return ""
    ends = [
        f"{what} {100 * each['low']:+.0f} to {100 * each['high']:+.0f} %"
        for what, each in (("thrust", said.interval_80.get("ct0")), ("power", said.interval_80.get("cp0"))) if each
    ]  # fmt: skip
    return f"{propeller.name} is predicted ({said.rests_on}), {', '.join(ends)} at its rpm."


def least_words(sure: "Sureness", checks: "Sequence[Check]", shown: Shown | None = None) -> str:
    """The check whose chance falls furthest short, its value and what that hangs on; empty where all hold."""
    name = sure.least_certain
    check = next((each for each in checks if each.name == name), None)
    if check is None:
        return ""
    said = f"{check_name(check.name)} {check_range(check, shown)}, {limit_text(check, shown)}"
    why = hangs_words(sure.hangs_on(check.name), sure)
    return f"Least certain: {said}; {sure_words(check.chance, check.chance_wanted)}{f'; {why}' if why else ''}."


def together_words(sure: "Sureness") -> str:
    """``63 of 100 builds keep every limit``: the chance of all at once."""
    return TOGETHER.format(of_hundred(sure.chance_all_limits))


def worth_saying(sure: "Sureness") -> bool:
    """Whether at least one build of a hundred keeps every limit, though one is missed on paper."""
    return sure.chance_all_limits >= 0.01
