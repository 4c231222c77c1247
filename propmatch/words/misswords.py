"""What a combination misses, and by how much: for a box, and where nothing meets a brief."""

import math
from typing import TYPE_CHECKING

from propmatch.words.answerwords import minutes_text
from propmatch.words.checkwords import check_name, joined, limit_number, limit_text, value_text
from propmatch.words.shown import Shown

if TYPE_CHECKING:
    from propmatch.checks.limits import Check
    from propmatch.questions.box import BoxCells, Miss

__all__ = ["missed_words", "misses_words", "nearest_words", "nothing_words", "sampled_words", "some_of", "train_names"]

_ORDER = ("motor", "propeller", "pack", "controller")


def some_of(count: int, word: str) -> str:
    """``no motors``, ``1 motor``, ``2 motors``."""
    return f"{count or 'no'} {word}{'' if count == 1 else 's'}"


def train_names(miss: "Miss") -> str:
    """The names of the four parts of a combination."""
    return joined([getattr(miss.train, kind).name for kind in _ORDER])


def nothing_words(found: "BoxCells", shown: Shown, beside: str = "") -> str:
    """That nothing of a cell count meets the brief, and what all of it misses; ``beside`` is said of the parts."""
    text = f"none of {found.judged} combinations meets the brief{beside}."
    if found.always:
        missed = joined([_by(*each, shown) for each in zip(found.always, found.beside, strict=True)])
        text += f" Everything misses {missed}."
    return text


def sampled_words(found: "BoxCells") -> str:
    """What was judged where there are too many combinations for all."""
    return (
        f"With {found.cells}S {found.judged} of {found.combinations} combinations were judged: the best that meet the "
        "brief, and others at random; what is said of parts and misses is said of those."
    )


def _by(check: "Check", beside: int, shown: Shown) -> str:
    """``all-up mass by 6 g at best (756 g, at most 750 g)``: by how much a limit is missed at best."""
    if not math.isfinite(check.value):
        return f"{check_name(check.name)} ({_value(check, shown)}, {limit_text(check, shown)})"
    short = abs(check.value - check.limit)
    by = minutes_text(short) if check.unit == "min" else value_text(short, check.unit, shown)
    others = f", where {some_of(beside, 'other limit')} {'is' if beside == 1 else 'are'} missed too" if beside else ""
    return f"{check_name(check.name)} by {by} at best ({_value(check, shown)}, {limit_text(check, shown)}{others})"


def _value(check: "Check", shown: Shown) -> str:
    """The value that misses a limit; of a time whole minutes."""
    if check.unit != "min":
        return value_text(check.value, check.unit, shown, missing="no answer")
    return f"just under {limit_number(check)}" if round(check.value, 0) >= check.limit else minutes_text(check.value)


def missed_words(check: "Check", shown: Shown) -> str:
    """``balance 4.2 mm (at most 3 mm)``."""
    return f"{check_name(check.name)} {_value(check, shown)} ({limit_text(check, shown)})"


def misses_words(miss: "Miss", shown: Shown) -> str:
    """``misses balance 4.2 mm (at most 3 mm) and climb ...``."""
    return f"misses {joined([missed_words(check, shown) for check in miss.failing])}"


def nearest_words(miss: "Miss", shown: Shown) -> str:
    """A combination by its parts, and what it misses."""
    return f"{train_names(miss)}: {misses_words(miss, shown)}"
