"""Families of propellers in words: how each looks, the three questions, and how likely each one is."""

from collections.abc import Mapping, Sequence
from typing import Any

from propmatch.questions.familykey import FamilyKey
from propmatch.records.blades import FAMILIES, STATIONS
from propmatch.units import INCH_M, MM_M
from propmatch.words.shown import table, wrapped

__all__ = ["chances_text", "family_lines", "family_rows", "key_blocks", "key_sentence"]

_SHOWN_FROM = 0.005


def family_lines() -> dict[str, str]:
    """Each family in a sentence, by the word that names it."""
    return {name: str(family) for name, family in FAMILIES.items()}


def chances_text(chances: Mapping[str, float]) -> str:
    """``racing 71 %, thick 20 %``, those that matter, the likeliest first."""
    order = sorted(chances.items(), key=lambda each: -each[1])
    return ", ".join(f"{name} {100 * chance:.0f} %" for name, chance in order if chance >= _SHOWN_FROM)


def key_sentence(key: FamilyKey) -> str:
    """What the key picks, and how sure that is."""
    propeller = key.propeller
    plural = "s" if propeller.blades != 1 else ""
    size = f"{propeller.diameter_in:.3g}x{propeller.pitch_in:.3g}, {propeller.blades} blade{plural}"
    by = f"size, blades and {len(key.answers)} of 3 answers" if key.answers else "size and blades alone"
    said = f"{size}: {chances_text(key.chances)} by {by}."
    if key.picked is not None:
        return f"{said} Take it as {key.picked}."
    more = "answer more" if key.open_questions else "look again"
    if set(key.answers) <= {"chord"}:
        kept = " and keep the chord" if key.answers else ""
        return f"{said} None is sure: say 'unknown'{kept}, which mixes them by these chances, or {more}."
    likeliest = next(iter(key.chances))
    return f"{said} None is sure: {more}, or try {likeliest} and 'unknown', which knows size, blades and chord only."


def key_blocks(key: FamilyKey) -> list[list[str]]:
    """The questions that are still open, and the families beside what this propeller would have in mm."""
    blocks = []
    if key.open_questions:
        head = "Three questions, propeller in hand; add the answers behind the size ('5x4.5x3 fixed 11mm springy'):"
        asked = enumerate(key.open_questions.values(), start=1)
        blocks.append([*wrapped(head), *(line for at, each in asked for line in wrapped(each, first=f"  {at}. "))])
    diameter_in = key.propeller.diameter_in
    rows = family_rows(diameter_in)
    for row in rows:
        row["chance"] = f"{100 * key.chances[row['family']]:.0f} %"
    head = (
        f"Chord at 75 % of the radius, in % of the diameter and in mm at {diameter_in:.3g} in; width of the blade from "
        "hub to tip (0.2 to 1.0 of the radius) in % of the diameter:"
    )
    blocks.append([*wrapped(head), *table(rows, left=("family", "from hub to tip"))])
    blocks.append([line for name, family in FAMILIES.items() for line in wrapped(f"{name}: {family}.", rest="  ")])
    return blocks


def family_rows(diameter_in: float | None = None) -> list[dict[str, Any]]:
    """Chord and outline of each family as text; in mm too where a diameter is named."""
    rows = []
    for name, family in FAMILIES.items():
        low, high = family.chord_range
        row = {"family": name, "chord, %": f"{100 * low:.1f} to {100 * high:.1f}"}
        if diameter_in is not None:
            size = diameter_in * INCH_M / MM_M
            row["chord, mm"] = f"{size * low:.1f} to {size * high:.1f}"
        row["from hub to tip"] = outline_text(family.outline)
        rows.append(row)
    return rows


def outline_text(outline: Sequence[float]) -> str:
    """An outline as a small line of numbers: width in % of the diameter at 0.2, 0.3, ... of the radius."""
    tenths = (round(0.1 * at, 1) for at in range(2, 11))
    return " ".join(f"{50 * outline[STATIONS.index(at)]:.0f}" for at in tenths)
