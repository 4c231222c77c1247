"""Parts by name: what there is of each kind and in which box, and a train with another part in place of one."""

from collections import Counter
from typing import Any

from propmatch.catalogue.catalogue import Catalogue, box_of_id
from propmatch.faults import Fault, InputFaults
from propmatch.records.trainid import PART_KINDS, joined_ids, parts_in_order
from propmatch.words.partwords import list_rows

__all__ = ["choices_answer", "swap_answer"]

_SAID_ELSEWHERE = ("id", "source", "kV is")


def choices_answer(catalogue: Catalogue) -> dict[str, Any]:
    """The parts of each kind by names that differ, with the numbers of the list, and the boxes they lie in."""
    boxes: Counter[str] = Counter()
    kinds = {}
    for kind in PART_KINDS:
        parts = catalogue.parts(f"{kind}s")
        boxes.update(map(box_of_id, parts))
        names = Counter(part.name for part in parts.values())
        kinds[kind] = [
            {
                "id": id, "box": box_of_id(id), "name": part.name if names[part.name] == 1 else f"{part.name} ({id})",
                "numbers": ", ".join(f"{text} {head}" for head, text in row.items()
                                     if head not in _SAID_ELSEWHERE and text != "-"),
            }
            for (id, part), row in zip(parts.items(), list_rows(f"{kind}s", parts), strict=True)
        ]  # fmt: skip
    return {"kinds": kinds, "boxes": [{"name": name, "parts": count} for name, count in sorted(boxes.items())]}


def swap_answer(catalogue: Catalogue, ids: str, kind: str, text: str) -> dict[str, Any]:
    """The ids of a train with the part that an id or a name means in place of that of its kind.

    ``taken`` names the part where the text is neither its id nor its name.

    Raises
    ------
    InputFaults
        No part or several of this name, with those that come near; no such kind or train.
    """
    if kind not in PART_KINDS:
        raise InputFaults([Fault("pick", "kind", kind, f"must be one of {', '.join(PART_KINDS)}")])
    if not ids:
        raise InputFaults([Fault("pick", "train", rule="no train is picked yet whose part this could be")])
    train = parts_in_order(ids, {each: catalogue.parts(f"{each}s") for each in PART_KINDS}, "train")
    try:
        train[kind] = catalogue.find(f"{kind}s", text)
    except InputFaults as error:
        raise InputFaults([Fault("pick", f"pick.{kind}", rule=f"'{text[:60]}': {fault.rule}", hint=fault.hint)
                           for fault in error.faults]) from None  # fmt: skip
    part, asked = train[kind], text.strip().lower()
    exact = asked in (part.id.lower(), part.id.partition("/")[2].lower(), part.name.lower())
    return {"train": joined_ids(train[each].id for each in PART_KINDS), "taken": "" if exact else part.name}
