"""A power train by name: the ids of motor, controller, pack and propeller joined by `` + ``."""

from collections.abc import Iterable, Mapping
from typing import TypeVar

import attrs

from propmatch.faults import Fault, InputFaults, did_you_mean

__all__ = ["PART_KINDS", "TrainId", "joined_ids", "parts_in_any_order", "parts_in_order"]

T = TypeVar("T")
_JOINER = " + "

PART_KINDS = ("motor", "controller", "pack", "propeller")
"""The parts of a power train in the order of its id."""


@attrs.frozen(kw_only=True, eq=False)
class TrainId:
    """The ids of the four parts."""

    motor_id: str
    controller_id: str
    pack_id: str
    propeller_id: str

    @property
    def id(self) -> str:
        """Ids of motor, controller, pack and propeller joined by `` + ``."""
        return joined_ids((self.motor_id, self.controller_id, self.pack_id, self.propeller_id))


def joined_ids(ids: Iterable[object]) -> str:
    """Ids in the order of ``PART_KINDS`` as one text."""
    return _JOINER.join(map(str, ids))


def _split(text: str) -> list[str]:
    return [piece.strip() for piece in text.split(_JOINER)]


def parts_in_order(
    text: str, known: Mapping[str, Mapping[str, T]], where: str, rule: str = "no part with this id"
) -> dict[str, T]:
    """What four ids in the order of ``PART_KINDS`` mean.

    Parameters
    ----------
    text : str
    known : mapping
        Each of ``PART_KINDS`` to its parts by id.
    where : str
        What the faults name as their place.
    rule : str
        What is said of an id that is not known; ``{kind}`` stands for what it should be.

    Raises
    ------
    InputFaults
        Not four ids; every id that is not known.
    """
    names = _split(text)
    if len(names) != len(PART_KINDS):
        raise InputFaults(
            [Fault(where, value=text, rule=f"must be ids of {', '.join(PART_KINDS)} joined by '{_JOINER}'")]
        )
    named = dict(zip(PART_KINDS, names, strict=True))
    faults = [
        Fault(where, kind, name, rule.format(kind=kind), did_you_mean(name, known[kind]))
        for kind, name in named.items()
        if name not in known[kind]
    ]
    if faults:
        raise InputFaults(faults)
    return {kind: known[kind][name] for kind, name in named.items()}


def parts_in_any_order(text: str, known: Mapping[str, Mapping[str, T]], where: str) -> dict[str, T]:
    """What four ids in any order mean; arguments as for :func:`parts_in_order`.

    Raises
    ------
    InputFaults
        Every id that no kind has, a kind named twice or not at all.
    """
    faults: list[Fault] = []
    found: dict[str, T] = {}
    for name in _split(text):
        having = [kind for kind in PART_KINDS if name in known[kind]]
        free = [kind for kind in having if kind not in found]
        if free:
            found[free[0]] = known[free[0]][name]
        elif having:
            faults.append(Fault(where, value=name, rule=f"is a second {having[0]}"))
        else:
            ids = [each for kind in PART_KINDS for each in known[kind]]
            faults.append(Fault(where, value=name, rule="no part with this id", hint=did_you_mean(name, ids)))
    missing = [kind for kind in PART_KINDS if kind not in found]
    if missing and not faults:
        rule = f"names no {' and no '.join(missing)}"
        faults.append(Fault(where, value=text, rule=rule, hint=f'join four ids by "{_JOINER}" in one quoted word'))
    if faults:
        raise InputFaults(faults)
    return found
