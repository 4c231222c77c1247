"""What is wrong between the mass lists of a brief, its variants and the places of the aircraft."""

from collections.abc import Iterator, Sequence

from propmatch.faults import did_you_mean
from propmatch.records.fields import Problem
from propmatch.records.masses import Item, ItemChange, Structure, StructureChange
from propmatch.records.sections import Brief

__all__ = ["mass_problems"]

BEYOND_MM, BEYOND_SHARE = 100.0, 0.2
"""How far beyond nose and tail something may sit, the larger of a length and a share of the aircraft's length."""


def mass_problems(brief: Brief) -> list[Problem]:
    """Changes of a variant that name nothing, and whatever lies outside the aircraft."""
    found = list(_outside(brief, "item", brief.item)) + list(_outside(brief, "structure", brief.structure))
    for at, variant in enumerate(brief.variant, start=1):
        found += _unknown(f"variant[{at}]", "item", variant.item, brief.item)
        found += _unknown(f"variant[{at}]", "structure", variant.structure, brief.structure)
        found += _outside(brief, f"variant[{at}].item", variant.item)
    return found


def _unknown(
    path: str,
    table: str,
    changes: Sequence[ItemChange] | Sequence[StructureChange],
    listed: Sequence[Item] | Sequence[Structure],
) -> Iterator[Problem]:
    """Changes whose name stands for nothing, for several things, or for something changed above."""
    names = [each.name for each in listed]
    before: set[str] = set()
    every: Sequence[ItemChange | StructureChange] = changes
    for at, each in enumerate(every, start=1):
        key, count = f"{path}.{table}[{at}].name", names.count(each.name)
        added = isinstance(each, ItemChange) and each.added
        if each.name in before:
            yield Problem(key, each.name, "is changed above already; say it once")
        elif added and count:
            yield Problem(key, each.name, f"is an [[{table}]] already; leave out added = true")
        elif not added and count != 1:
            right = f"must be the name of one [[{table}]]" + (f", not of {count}" if count else "")
            right += "; a new one says added = true" if table == "item" else ""
            yield Problem(key, each.name, right, "" if count else did_you_mean(each.name, names))
        before.add(each.name)


def _outside(brief: Brief, path: str, lines: Sequence[Item | ItemChange | Structure]) -> Iterator[Problem]:
    """Lines that sit beyond nose and tail."""
    ends = _ends_mm(brief)
    if ends is None:
        return
    more = max(BEYOND_MM, BEYOND_SHARE * (ends[1] - ends[0]))
    for at, line in enumerate(lines, start=1):
        place = line.position_mm
        if place is not None and not ends[0] - more <= place <= ends[1] + more:
            right = (
                f"lies outside the aircraft, which reaches from {ends[0]:.0f} to {ends[1]:.0f} mm at most, as far as "
                f"something is stated or as far ahead of the centre of gravity as the tail is behind it; {more:.0f} mm "
                "more may stick out"
            )
            yield Problem(f"{path}[{at}].position_mm", place, right)


def _ends_mm(brief: Brief) -> tuple[float, float] | None:
    """Foremost and rearmost place stated, or a nose as long as the tail; None without a tail."""
    balance, tail = brief.balance, brief.tail
    if balance is None or tail is None:
        return None
    line, target = brief.thrust_line, balance.target_cg_mm
    end = tail.position_mm + 0.75 * tail.area_dm2 * 1e4 / tail.span_mm
    stated = (
        end, 2 * target - end, balance.leading_edge_mm, balance.pack_tray_from_mm, balance.pack_tray_to_mm,
        balance.motor_mm, balance.propeller_mm, balance.controller_mm, balance.nose_ballast_mm,
        balance.tail_ballast_mm, None if line is None else line.position_mm,
    )  # fmt: skip
    places = [each for each in stated if each is not None]
    return min(places), max(places)
