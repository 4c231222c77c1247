"""What is wrong with an input: one plain record for each fault, and an exception that carries all of them."""

import difflib
from collections.abc import Iterable
from typing import Literal

import attrs

__all__ = ["Fault", "InputFaults", "Unmet", "cause_of", "did_you_mean", "near_words"]

_LONGEST_VALUE, _LONGEST_KEY, _LONGEST_WORDS = 60, 120, 2000


def _plain(value: object) -> object:
    """Keep None, numbers, true and false; keep text, and the text form of anything else, short."""
    if value is None or isinstance(value, bool | float) or (isinstance(value, int) and abs(value) < _LONG_NUMBER):
        return value
    return _short(value if isinstance(value, str) else repr(value))


_LONG_NUMBER = 10**_LONGEST_VALUE


def _short(text: str, longest: int = _LONGEST_VALUE) -> str:
    return text if len(text) <= longest else text[: longest - 3] + "..."


def _visible(text: str) -> str:
    """With every sign that does not print, or turns the direction of writing, as its escape."""
    if text.isprintable():
        return text
    return "".join(sign if sign.isprintable() else sign.encode("unicode_escape").decode() for sign in text)


def _short_key(key: str) -> str:
    return _short(_visible(key), _LONGEST_KEY)


def _short_words(words: str) -> str:
    return _short(_visible(words), _LONGEST_WORDS)


@attrs.frozen
class Fault:
    """One thing wrong with an input, or (kind ``warning``) one thing that is allowed but hard to believe.

    Attributes
    ----------
    where : str
        File, file:line or file:sheet:row; for objects built in Python the class name.
    key : str
        Key path, as in ``phase[2].throttle``; empty when the whole file is meant.
    value : object
        What was found: text, number, true, false or None; anything else as short text.
    rule : str
        What would be right.
    hint : str
        A guess at what was meant; may be empty.
    kind : str
        ``fault``, ``warning``, or ``note``: how something was read that could have been written more plainly.
    """

    where: str = attrs.field(converter=_visible)
    key: str = attrs.field(default="", converter=_short_key)
    value: object = attrs.field(default=None, converter=_plain)
    rule: str = attrs.field(default="", converter=_short_words)
    hint: str = attrs.field(default="", converter=_short_words)
    kind: Literal["fault", "warning", "note"] = "fault"

    def __str__(self) -> str:
        what = self.key
        if self.value is not None:
            shown = repr(self.value) if isinstance(self.value, str) else str(self.value)
            shown = shown.lower() if isinstance(self.value, bool) else shown
            what = f"{what} = {shown}" if what else shown
        line = ": ".join(part for part in (self.where, what, self.rule) if part)
        if self.kind != "fault":
            line = f"{self.kind}: {line}"
        return f"{line}; {self.hint}" if self.hint else line


def cause_of(error: BaseException) -> str:
    """Kind and words of an exception on one line; its words are those of whoever wrote it, and may fail."""
    try:
        said = " ".join(str(error).split())
    except Exception:
        said = "(no words)"
    return f"{type(error).__name__}: {said}".removesuffix(": ")


class InputFaults(Exception):
    """Raised once for a whole input; ``faults`` holds every one."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults: tuple[Fault, ...] = tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))

    def __reduce__(self) -> tuple[type["InputFaults"], tuple[tuple[Fault, ...]]]:
        return (InputFaults, (self.faults,))


class Unmet(Exception):
    """Raised where what was asked cannot be met, though the input is sound; its arguments are sentences that say so."""

    def __str__(self) -> str:
        return " ".join(self.args)


def near_words(word: str, known: Iterable[str]) -> list[str]:
    """Known words that ``word`` may stand for, best first, at most three.

    Near means: the same but for case, similar letters, a prefix (``kv`` for ``kv_rpm_per_v``), or a part.
    """
    asked = word.strip().lower()
    options = {option.lower(): option for option in known}
    if not asked or len(asked) > _LONGEST_KEY:
        return []
    if asked in options:
        return [options[asked]]
    similar = {each: difflib.SequenceMatcher(None, asked, each).ratio() for each in options}
    best = max(similar.values(), default=0.0)
    near = [each for each in options if similar[each] >= max(0.7, best - 0.08)]
    if not near:
        near = [each for each in options if each.startswith(asked)]
    if not near and len(asked) > 1:
        near = [each for each in options if asked in each or (len(each) > 1 and each in asked)]
    if not near:
        near = [each for each in options if similar[each] >= 0.55]
    return [options[each] for each in sorted(near, key=lambda each: -similar[each])[:3]]


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """``did you mean kv_rpm_per_v?`` with up to three known words near ``word``; empty when none is near."""
    near = near_words(word, known)
    return f"did you mean {' or '.join(near)}?" if near else ""
