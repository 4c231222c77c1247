"""The verdict on a power train as sheet, page, ``fits`` and ``match --why`` begin with it: never without its chance."""

from collections.abc import Sequence

from propmatch.checks.chances import Sureness
from propmatch.checks.limits import Check, missed
from propmatch.words.chancewords import RANGES, chance_word, least_words, of_hundred, together_words
from propmatch.words.checkwords import check_name, check_names
from propmatch.words.shown import Shown

__all__ = ["asked_words", "doubt_words", "headline_words", "reasons_words", "verdict_words"]


def asked_words(sure: Sureness) -> str:
    """``the limits of the brief hold in 62 (80 asked), the ratings of the parts in 91 (90 asked)``."""
    wish, rate = sure.drawn.asked
    said = (
        ("the limits of the brief hold in", sure.chance_wishes, wish),
        ("the ratings of the parts in", sure.chance_ratings, rate),
    )
    return ", ".join(f"{words} {of_hundred(have, asked)} ({of_hundred(asked)} asked)" for words, have, asked in said)


def headline_words(sure: Sureness, checks: Sequence[Check]) -> str:
    """``Likely: 88 of 100 builds keep every limit.``, or what it misses on paper, or :func:`doubt_words`."""
    hard, together = [check_name(each.name) for each in missed(checks)], together_words(sure)
    if hard:
        return f"Misses {', '.join(hard)} on paper: {together}."
    return f"{_capital(f'{doubt_words(sure)}; in all {together}' if sure.short else _together(sure))}."


def doubt_words(sure: Sureness) -> str:
    """``may miss thrust to weight: 58 of 100 builds keep it (80 asked); ...``: all that is less sure than asked.

    Each word is that of the chance beside it, :func:`propmatch.words.chancewords.chance_word`; empty where all holds.
    """
    said: list[str] = []
    last = ""
    for name, chance in sure.short.items():
        asked = sure.wanted(name)
        word, kept, wish = chance_word(chance, asked), of_hundred(chance, asked), of_hundred(asked)
        head = check_name(name) if word == last else f"{word} {check_name(name)}"
        said.append(f"{head}: {kept} ({wish})" if said else f"{head}: {kept} of 100 builds keep it ({wish} asked)")
        last = word
    return "; ".join(said) or ("" if sure.holds else _together(sure))


def _together(sure: Sureness) -> str:
    """The word of all limits at once; likely only where both chances that are asked for are reached."""
    word = chance_word(sure.chance_all_limits, 0.0 if sure.holds else 1.0)
    return f"{word}{' a limit' if 'miss' in word else ''}: {together_words(sure)}"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def verdict_words(sure: Sureness, checks: Sequence[Check], shown: Shown) -> str:
    """Whether it meets the brief, how surely, and what is least certain; ``checks`` have their chances."""
    return f"{headline_words(sure, checks)} {reasons_words(sure, checks, shown)}"


def reasons_words(sure: Sureness, checks: Sequence[Check], shown: Shown, *, ranges: bool = True) -> str:
    """What stands behind the headline: limits and ratings apart, what is not counted, and what is least certain.

    ``ranges`` says what brackets are.
    """
    said = asked_words(sure)
    parts = [f"{_capital(said)}."]
    unknown = [each.name for each in checks if each.verdict == "unknown"]
    if unknown:
        parts.append(f"Not counted, as its limit is not known: {check_names(unknown)}.")
    return " ".join(filter(None, (*parts, least_words(sure, checks, shown), RANGES if ranges else "")))
