"""The verdict on a power train as sheet and page begin with it: never without its chance."""

from collections.abc import Sequence

from propmatch.checks.chances import Sureness
from propmatch.checks.limits import Check, missed
from propmatch.words.chancewords import EVEN, LIKELY, RANGES, least_words, of_hundred, together_words
from propmatch.words.checkwords import check_name, check_names
from propmatch.words.shown import Shown

__all__ = ["asked_words", "verdict_words"]


def asked_words(sure: Sureness) -> str:
    """``the limits of the brief hold in 62 (80 asked), the ratings of the parts in 91 (90 asked)``."""
    wish, rate = sure.drawn.asked
    said = (
        ("the limits of the brief hold in", sure.chance_wishes, wish),
        ("the ratings of the parts in", sure.chance_ratings, rate),
    )
    return ", ".join(f"{words} {of_hundred(have, asked)} ({of_hundred(asked)} asked)" for words, have, asked in said)


def verdict_words(sure: Sureness, checks: Sequence[Check], shown: Shown, subject: str = "it") -> str:
    """Whether it meets the brief, how surely, and what is least certain.

    ``subject`` is what is judged, in a sentence that goes on with ``keeps``; ``checks`` have their chances.
    """
    hard = [check_name(each.name) for each in missed(checks)]
    if hard:
        said = f"Not as the brief asks: {subject} misses {', '.join(hard)}; {together_words(sure)}."
    else:
        chance = sure.chance_all_limits
        word = "Likely" if chance >= LIKELY else "It may miss" if chance >= EVEN else "Likely not"
        word = "Yes" if sure.drawn.near[sure.at] >= 1.0 else word
        said = f"{word}: {subject} keeps every limit of the brief and of the parts on paper; {together_words(sure)}."
    said = f"{said[:-1]}: {asked_words(sure)}."
    unknown = [each.name for each in checks if each.verdict == "unknown"]
    if unknown:
        said += f" Not counted, as its limit is not known: {check_names(unknown)}."
    return " ".join(filter(None, (said, least_words(sure, checks, shown), RANGES)))
