"""The verdict on a power train as sheet, page, ``fits`` and ``match --why`` begin with it: never without its chance."""

from collections.abc import Callable, Sequence

from propmatch.checks.chances import Sureness
from propmatch.checks.limits import Check, missed
from propmatch.words.chancewords import RANGES, TOGETHER, chance_word, least_words, of_hundred, together_words
from propmatch.words.checkwords import check_name, check_names
from propmatch.words.shown import Shown

__all__ = ["asked_words", "doubt_words", "headline_words", "reasons_words", "verdict_table", "verdict_words"]

SAYS = {
    "asked": "The limits of the brief hold in {} ({} asked), the ratings of the parts in {} ({} asked).",
    "misses": "Misses {} on paper: {}.",
    "first": "{}: {} of 100 builds keep it ({} asked)",
    "next": "{}: {} ({})",
    "beside": "{}; in all {}",
    "all": "{}: {}",
    "limit": "{} a limit",
    "together": TOGETHER,
}
"""The sentences of a verdict; what stands in brackets follows in its order."""


def verdict_table(asked: tuple[float, float], draws: int) -> dict[str, object]:
    """The verdict as data: its sentences, and word and number of every chance from how many draws on.

    Parameters
    ----------
    asked : chance of the limits of the brief, and of the ratings
    draws : how many a chance is counted in
    """

    def table(said: Callable[[float, float], str], *wanted: float) -> dict[str, list[tuple[int, str]]]:
        each = {f"{want:g}": [(count, said(count / draws, want)) for count in range(draws + 1)] for want in wanted}
        return {want: [row for at, row in enumerate(rows) if not at or rows[at - 1][1] != row[1]]
                for want, rows in each.items()}  # fmt: skip

    return {"says": SAYS, "of_hundred": table(of_hundred, 0.0, *asked), "word": table(chance_word, 0.0, 1.0, *asked)}


def asked_words(sure: Sureness) -> str:
    """``The limits of the brief hold in 62 (80 asked), the ratings of the parts in 91 (90 asked).``"""
    wish, rate = sure.drawn.asked
    pairs = ((sure.chance_wishes, wish), (sure.chance_ratings, rate))
    said = [(of_hundred(have, asked), of_hundred(asked)) for have, asked in pairs]
    return SAYS["asked"].format(*said[0], *said[1])


def headline_words(sure: Sureness, checks: Sequence[Check]) -> str:
    """``Likely: 88 of 100 builds keep every limit.``, or what it misses on paper, or :func:`doubt_words`."""
    hard = [check_name(each.name) for each in missed(checks)]
    if sure.drawn.on_paper:
        return f"Misses {', '.join(hard)} on paper." if hard else "Misses nothing on paper."
    together = together_words(sure)
    if hard:
        return SAYS["misses"].format(", ".join(hard), together)
    return f"{_capital(SAYS['beside'].format(doubt_words(sure), together) if sure.short else _together(sure))}."


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
        said.append(SAYS["next" if said else "first"].format(head, kept, wish))
        last = word
    return "; ".join(said) or ("" if sure.holds else _together(sure))


def _together(sure: Sureness) -> str:
    """The word of all limits at once; likely only where both chances that are asked for are reached."""
    word = chance_word(sure.chance_all_limits, 0.0 if sure.holds else 1.0)
    return SAYS["all"].format(SAYS["limit"].format(word) if "miss" in word else word, together_words(sure))


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def verdict_words(sure: Sureness, checks: Sequence[Check], shown: Shown) -> str:
    """Whether it meets the brief, how surely, and what is least certain; ``checks`` have their chances."""
    return f"{headline_words(sure, checks)} {reasons_words(sure, checks, shown)}"


def reasons_words(sure: Sureness, checks: Sequence[Check], shown: Shown, *, ranges: bool = True) -> str:
    """What stands behind the headline: limits and ratings apart, what is not counted, and what is least certain.

    ``ranges`` says what brackets are.
    """
    parts = [asked_words(sure)]
    unknown = [each.name for each in checks if each.verdict == "unknown"]
    if unknown:
        parts.append(f"Not counted, as its limit is not known: {check_names(unknown)}.")
    return " ".join(filter(None, (*parts, least_words(sure, checks, shown), RANGES if ranges else "")))
