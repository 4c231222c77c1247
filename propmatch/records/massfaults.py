"""What is wrong between the mass lists of a brief, its variants and the places of the aircraft."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from propmatch.faults import did_you_mean
from propmatch.records.fields import Problem
from propmatch.records.masses import Item, ItemChange, Structure, StructureChange

__all__ = ["mass_problems"]

BEYOND_MM, BEYOND_SHARE = 100.0, 0.2
"""How far beyond nose and tail something may sit, the larger of a length and a share of the aircraft's length."""


def mass_problems(brief: Any) -> list[Problem]:
    """Changes of a variant that name nothing, and whatever lies outside the aircraft.

    Parameters
    ----------
    brief : Brief
        Or what can be read of a faulty one: what cannot be read is None and is not looked at.
    """
    found = list(_outside(brief))
    for at, variant in enumerate(brief.variant or (), start=1):
        path = f"variant[{at}]"
        found += _unknown(path, "item", variant.item, brief.item)
        if brief.structure == ():
            found += [Problem(f"{path}.{key}", None, "needs [[structure]] lines to act on")
                      for key in ("filament", "structure") if getattr(variant, key)]  # fmt: skip
        else:
            found += _unknown(path, "structure", variant.structure, brief.structure)
    return found


def _unknown(
    path: str,
    table: str,
    changes: Sequence[ItemChange] | Sequence[StructureChange] | None,
    listed: Sequence[Item] | Sequence[Structure] | None,
) -> Iterator[Problem]:
    """Changes whose name stands for nothing, for several things, or for something changed above."""
    if changes is None or listed is None:
        return
    names = [each.name for each in listed]
    before: set[str] = set()
    every: Sequence[ItemChange | StructureChange] = changes
    for at, each in enumerate(every, start=1):
        if each.name is None or (None in names and each.name not in names):
            continue
        key, count = f"{path}.{table}[{at}].name", names.count(each.name)
        added = getattr(each, "added", False)
        if each.name in before:
            yield Problem(key, each.name, "is changed above already; say it once")
        elif added and count:
            yield Problem(key, each.name, f"is an [[{table}]] already; leave out added = true")
        elif not added and count != 1:
            right = f"must be the name of one [[{table}]]" + (f", not of {count}" if count else "")
            right += "; a new one says added = true" if table == "item" else ""
            yield Problem(key, each.name, right, "" if count else did_you_mean(each.name, names))
        before.add(each.name)


_LENGTHS = {
    "balance": (
        "bare_cg_mm", "pack_tray_from_mm", "pack_tray_to_mm", "motor_mm", "propeller_mm", "controller_mm",
        "nose_ballast_mm", "tail_ballast_mm",
    ),
    "body": ("main_wheel_mm", "tail_wheel_mm", "nose_wheel_mm"),
    "control": ("fin_position_mm",),
}  # fmt: skip
_HEIGHTS = {
    "balance": ("cg_height_mm", "bare_height_mm", "pack_height_mm", "controller_height_mm", "wing_height_mm"),
    "tail": ("height_mm",),
    "thrust_line": ("height_mm",),
    "body": ("main_wheel_height_mm", "tail_wheel_height_mm", "nose_wheel_height_mm"),
}


def _outside(brief: Any) -> Iterator[Problem]:
    """Whatever sits beyond nose and tail, or higher, lower or further out than half the span."""
    ends, spans = _ends_mm(brief), [each.span_mm for each in (brief.wing, *(brief.variant or ())) if each is not None]
    if ends is not None:
        more = max(BEYOND_MM, BEYOND_SHARE * (ends[1] - ends[0]))
        right = (
            f"lies outside the aircraft, which reaches from {ends[0]:.0f} to {ends[1]:.0f} mm at most by wing, tail, "
            f"thrust line and body, or as far ahead of the centre of gravity as behind it; {more:.0f} mm more may "
            "stick out"
        )
        for key, place in _stated(brief, _LENGTHS, "position_mm"):
            if not ends[0] - more <= place <= ends[1] + more:
                yield Problem(key, place, right)
    if brief.wing is None or brief.wing.span_mm is None:
        return
    half = max(span for span in spans if span is not None) / 2
    for key, height in _stated(brief, _HEIGHTS, "height_mm"):
        if abs(height) > half:
            yield Problem(key, height, f"lies outside the aircraft; no height is beyond half the span, {half:g} mm")
    sides = {"thrust_line.side_mm": getattr(brief.thrust_line, "side_mm", None)}
    sides |= {f"motor_place[{at}].side_mm": each.side_mm for at, each in enumerate(brief.motor_place or (), start=1)}
    for key, side in sides.items():
        if side is not None and abs(side) > half:
            yield Problem(key, side, f"must be at most half the span, {half:g} mm: motors sit on the aircraft")


def _stated(brief: Any, sections: Mapping[str, Sequence[str]], of_line: str) -> Iterator[tuple[str, float]]:
    """Path and value of each of these keys that is stated, and of the key ``of_line`` of every line."""
    found = [(section, getattr(brief, section), keys) for section, keys in sections.items()]
    found += [(f"variant[{at}].body", each.body, sections["body"])
              for at, each in enumerate(brief.variant or (), start=1)]  # fmt: skip
    for section, record, keys in found:
        for key in keys:
            value = getattr(record, key, None)
            if value is not None:
                yield f"{section}.{key}", value
    lists = {"item": brief.item, "structure": brief.structure, "motor_place": brief.motor_place}
    lists |= {f"variant[{at}].item": each.item for at, each in enumerate(brief.variant or (), start=1)}
    for path, lines in lists.items():
        for at, line in enumerate(lines or (), start=1):
            value = getattr(line, of_line)
            if value is not None:
                yield f"{path}[{at}].{of_line}", value


def _ends_mm(brief: Any) -> tuple[float, float] | None:
    """How far the aircraft reaches: by the tail, with a nose as long, by the body, or as far as its span; None without.

    Whatever else of wing, thrust line and body is further out counts as well.
    """
    balance, tail, body = brief.balance, brief.tail, brief.body
    target, span = getattr(balance, "target_cg_mm", None), getattr(brief.wing, "span_mm", None)
    stated = [getattr(body, "nose_mm", None), getattr(body, "tail_mm", None)]
    if tail is not None:
        if target is None or None in (tail.position_mm, tail.area_dm2, tail.span_mm):
            return None
        end = tail.position_mm + 0.75 * tail.area_dm2 * 1e4 / tail.span_mm
        stated += [end, 2 * target - end]
    elif None in stated:
        if target is None or span is None:
            return None
        stated += [target - span, target + span]
    edge, chord = getattr(balance, "leading_edge_mm", None), getattr(balance, "chord_mm", None)
    stated += [edge, None if edge is None or chord is None else edge + chord]
    stated.append(getattr(brief.thrust_line, "position_mm", None))
    places = [each for each in stated if each is not None]
    return min(places), max(places)
