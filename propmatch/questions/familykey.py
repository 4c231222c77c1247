"""Which family a propeller is of: chances by its size and blades, and by three questions that need no picture."""

import shlex
from collections.abc import Mapping
from typing import Any

import attrs

from propmatch.catalogue.catalogue import Catalogue
from propmatch.catalogue.partsets import table_of
from propmatch.faults import Fault, InputFaults, did_you_mean
from propmatch.records.blades import BENDS, FAMILIES, QUESTIONS, family_chances_after
from propmatch.records.fields import replace
from propmatch.records.parts import Propeller
from propmatch.records.typed import read_part, typed_words
from propmatch.units import INCH_M, MM_M

__all__ = ["SURE_ENOUGH", "FamilyKey", "which_family"]

SURE_ENOUGH = 0.8
"""From here on one family is picked; below it 'unknown', which mixes them, says more."""
_LEFT_OUT = 0.005
"""Chance of a family that a prediction leaves out as seldom: hinges seen still make it the likeliest."""
_HINGES = {"hinged": True, "folding": True, "fixed": False}


@attrs.frozen(kw_only=True)
class FamilyKey:
    """What the key says.

    Attributes
    ----------
    propeller : Propeller
        As typed.
    answers : mapping
        ``hinged`` (bool), ``chord`` over diameter at 75 % radius, ``bend`` (a word of ``BENDS``), those given.
    before, chances : mapping of str to float
        Probability of each family by size, pitch and blades alone, and with the answers; the likeliest first.
    """

    propeller: Propeller
    answers: Mapping[str, Any]
    before: Mapping[str, float]
    chances: Mapping[str, float]

    @property
    def picked(self) -> str | None:
        """The family, where one is likely enough."""
        best = next(iter(self.chances))
        return best if self.chances[best] >= SURE_ENOUGH else None

    @property
    def open_questions(self) -> dict[str, str]:
        """The questions without an answer."""
        return {key: said for key, said in QUESTIONS.items() if key not in self.answers}


def which_family(text: str, catalogue: Catalogue, where: str = "which family") -> FamilyKey:
    """Chances of each family of a propeller typed with its answers: ``5x4.5x3 fixed 11mm springy``.

    The chances by size are those of the plugin that predicts; equal where none does.

    Raises
    ------
    InputFaults
        Every fault of propeller and answers.
    """
    propeller, answers = _answers(text, where)
    bare = replace(propeller, family=None, reads_like=None, sibling=None, chord_75_mm=None, angle_75_deg=None)
    answer = table_of(bare, (), catalogue.plugins, where)
    said = None if answer is None else answer.source.prediction
    before = dict.fromkeys(FAMILIES, 1.0)
    if said is not None:
        before = {name: said.family_chances.get(name, _LEFT_OUT) for name in FAMILIES}
    before = {name: chance / sum(before.values()) for name, chance in before.items()}
    return FamilyKey(
        propeller=propeller, answers=answers, before=before, chances=family_chances_after(before, **answers)
    )


def _with_answers(fault: Fault) -> Fault:
    """The answers of the key beside a word that is none."""
    if fault.rule != "not understood" or not str(fault.value).isalpha():
        return fault
    words = (*_HINGES, *BENDS)
    near = did_you_mean(str(fault.value).lower(), words)
    said = f"the answers are hinged or fixed, a chord such as 14mm, and one of {', '.join(BENDS)}"
    return attrs.evolve(fault, hint=near or said)


def _answers(text: str, where: str) -> tuple[Propeller, dict[str, Any]]:
    """A propeller as typed, and the answers of the key among its words: ``5x4.5x3 fixed 11mm springy``.

    Raises
    ------
    InputFaults
        Every fault of both.
    """
    answers: dict[str, Any] = {}
    rest = []
    faults: list[Fault] = []
    try:
        words = typed_words(Propeller, text)
    except ValueError:
        raise InputFaults([Fault(where, value=text, rule="a quotation mark is not closed")]) from None
    for word in words:
        said = word.lower().rstrip(",;")
        found = {"hinged": _HINGES[said]} if said in _HINGES else {"bend": said} if said in BENDS else {}
        if not found:
            rest.append(f"chord={word}" if said.endswith("mm") and "x" not in said and "=" not in said else word)
        faults += [
            Fault(where, key, said, "answered twice in different ways")
            for key, value in found.items() if answers.setdefault(key, value) != value
        ]  # fmt: skip
    if not rest:
        raise InputFaults(
            [*faults, Fault(where, value=text, rule="needs the propeller's size", hint="such as 5x4.5x3")]
        )
    typed = read_part(Propeller, shlex.join(rest), where)
    if faults or typed.faults:
        raise InputFaults([*faults, *(_with_answers(fault) for fault in typed.faults)])
    propeller: Propeller = typed.part
    if propeller.chord_75_mm is not None:
        answers["chord"] = propeller.chord_75_mm * MM_M / (propeller.diameter_in * INCH_M)
    return propeller, answers
