"""What is wrong with an input: one plain record for each fault, and an exception that carries all of them."""

import difflib
from collections.abc import Iterable
from typing import Literal

import attrs

__all__ = ["Fault", "InputFaults", "did_you_mean"]

_LONGEST_VALUE = 60


def _plain(value: object) -> object:
    """Keep None, numbers, true and false; keep text, and the text form of anything else, short."""
    if value is None or isinstance(value, bool | int | float):
        return value
    text = value if isinstance(value, str) else repr(value)
    return text if len(text) <= _LONGEST_VALUE else text[: _LONGEST_VALUE - 3] + "..."


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
        ``fault`` or ``warning``.
    """

    where: str
    key: str = ""
    value: object = attrs.field(default=None, converter=_plain)
    rule: str = ""
    hint: str = ""
    kind: Literal["fault", "warning"] = "fault"

    def __str__(self) -> str:
        what = self.key
        if self.value is not None:
            shown = repr(self.value) if isinstance(self.value, str) else str(self.value)
            what = f"{what} = {shown}" if what else shown
        line = ": ".join(part for part in (self.where, what, self.rule) if part)
        if self.kind == "warning":
            line = f"warning: {line}"
        return f"{line}; {self.hint}" if self.hint else line


class InputFaults(Exception):
    """Raised once for a whole input; ``faults`` holds every one."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults: tuple[Fault, ...] = tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))

    def __reduce__(self) -> tuple[type["InputFaults"], tuple[tuple[Fault, ...]]]:
        return (InputFaults, (self.faults,))


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """Guess which known word was meant.

    Parameters
    ----------
    word : str
        What was written.
    known : iterable of str
        The words that would have been right.

    Returns
    -------
    str
        ``did you mean kv_rpm_per_v?``, with up to three words, or an empty text when nothing is near.
        Near means: the same but for case, a prefix (``kv``), a part, or similar letters.
    """
    asked = word.strip().lower()
    options = list(dict.fromkeys(known))
    if not asked or not options:
        return ""
    by_lower = {option.lower(): option for option in options}
    near = [by_lower[asked]] if asked in by_lower else []
    near += [by_lower[match] for match in difflib.get_close_matches(asked, list(by_lower), n=3, cutoff=0.7)]
    if not near:
        near = [option for lower, option in by_lower.items() if lower.startswith(asked)]
    if not near and len(asked) > 1:
        near = [option for lower, option in by_lower.items() if asked in lower or lower in asked]
    if not near:
        near = [by_lower[match] for match in difflib.get_close_matches(asked, list(by_lower), n=1, cutoff=0.55)]
    near = list(dict.fromkeys(near))[:3]
    return f"did you mean {' or '.join(near)}?" if near else ""
