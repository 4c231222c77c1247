"""What fits a box, in sentences: which cell counts work, what comes nearest, and what to buy."""

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from propmatch.words.chancewords import of_hundred
from propmatch.words.checkwords import danger_words, joined, parts_text, warned_words
from propmatch.words.misswords import (
    missed_words,
    nearest_words,
    nothing_words,
    sampled_words,
    some_of,
)
from propmatch.words.shown import Shown

if TYPE_CHECKING:
    from propmatch.questions.box import Box, BoxCells, PartUse
    from propmatch.questions.purchases import Purchase
    from propmatch.questions.shopping import BoxAnswer
    from propmatch.questions.specs import Spec

__all__ = [
    "KINDS", "box_cells", "box_dangers", "box_heading", "box_notes", "buy_first", "kind_name", "other_purchases",
    "purchase_words", "spec_text",
]  # fmt: skip

KINDS = ("motor", "propeller", "pack", "controller")
"""Kinds of parts in the order in which a box is told."""
_SHOWN_PURCHASES = 4
_UNITS = {
    "kv_rpm_per_v": "rpm/V", "capacity_mah": "mAh", "max_current_a": "A", "c_rating": "C", "diameter_in": "in",
    "pitch_in": "in", "mass_g": "g",
}  # fmt: skip
_BEFORE = {"diameter_in": "diameter ", "pitch_in": "pitch "}


def kind_name(kind: str) -> str:
    """A kind of part as people call it."""
    return "ESC" if kind == "controller" else kind


def _all_or_some(parts: Sequence[Any], count: int, kind: str) -> str:
    """``2 of your 5 motors (a, b)``, ``all 3 of your packs (...)``, ``your motor (a)``."""
    names = ", ".join(part.name for part in parts)
    if count == 1:
        return f"your {kind} ({names})"
    return f"{'all' if len(parts) == count else f'{len(parts)} of'} your {count} {kind}s ({names})"


def spec_text(spec: "Spec", shown: Shown) -> str:
    """A specification from-to; the very part where others with its numbers do not do it."""
    if not spec.ranges:
        return f"just {spec.example.id}, as others with its numbers fail"
    same = {"cells_series": "{}S", "blades": "{} blades", "servo_supply": "{} BEC", "family": "{} blades"}
    words = [same[name].format(value) for name, value in spec.same.items() if name in ("cells_series", "blades")]
    words += [_range(name, least, most, shown) for name, (least, most) in spec.ranges.items()]
    words += [same.get(name, "{}").format(value) for name, value in spec.same.items() if isinstance(value, str)]
    words += ["blades of no stated family"] if spec.same.get("family", "") is None else []
    if spec.kind in ("motor", "controller"):
        words.append(f"for {joined([f'{cells}S' for cells in spec.cells])}")
    return ", ".join(words).replace("none BEC", "no BEC")


def _range(name: str, least: float | None, most: float | None, shown: Shown) -> str:
    unit, before = _UNITS[name], _BEFORE.get(name, "")

    def text(value: float | None) -> str:
        number = math.nan if value is None else value
        return f"{shown.mass_of(number) if name == 'mass_g' else number:.5g}"

    unit = shown.mass_unit if name == "mass_g" else unit
    if most is None:
        return f"{before}{text(least)} {unit} or more"
    if least is None:
        return f"{before}at most {text(most)} {unit}"
    return f"{before}{text(least)} {unit}" if least == most else f"{before}{text(least)} to {text(most)} {unit}"


def box_dangers(answer: "BoxAnswer", shown: Shown) -> list[str]:
    """A danger of what is to be bought first that only warns, before anything else."""
    return [words for each in answer.purchases[:1] for words in danger_words(each.best.checks, shown)]


def _names(box: "Box") -> str:
    words = [f"'{name}'" for name in box.names]
    return f"your box {words[0]}" if len(words) == 1 else f"your boxes {joined(words)}"


def box_heading(answer: "BoxAnswer", name: str) -> str:
    """Which cell counts work."""
    box = answer.box
    held = joined([_held(box, kind) for kind in KINDS])
    works = [f"{cells}S" for cells in answer.by_cells if cells not in answer.without]
    said = f"{joined(works)} {'works' if len(works) == 1 else 'work'} on paper" if works else "nothing works"
    if box.missing:
        said = f"nothing works without {joined([_a(kind) for kind in box.missing])}"
    elif works and answer.without:
        said += f", {joined([f'{cells}S' for cells in answer.without])} not"
    return f"{name}: with {_names(box)} ({held}) {said}."


def _held(box: "Box", kind: str) -> str:
    """``3 packs``, ``1 of 5 motors enough for 2``, ``no ESCs (4 set aside: propmatch parts --faults)``."""
    own, few = len(box.own[kind]), len(box.too_few[kind])
    if few:
        return f"{own or 'none'} of {some_of(own + few, kind_name(kind))} enough for {box.pieces(kind)}"
    aside = box.set_aside.get(kind, 0)
    why = f" ({aside} set aside: propmatch parts --faults)" if aside and not own else ""
    return f"{some_of(own, kind_name(kind))}{why}"


def _a(kind: str) -> str:
    return f"a{'n' if kind == 'controller' else ''} {kind_name(kind)}"


def buy_first(answer: "BoxAnswer", shown: Shown) -> list[str]:
    """What to buy before anything else; that nothing helps; nothing where all works."""
    if answer.purchases:
        return [purchase_words(answer.purchases[0], answer, shown)]
    if answer.box.bare:
        return ["That is more than two parts: 'propmatch match' without --only designs from the whole catalogue."]
    if answer.without:
        return ["No one or two parts of the catalogue make it work: ease a limit of the brief, or bring other parts."]
    return []


def purchase_words(bought: "Purchase", answer: "BoxAnswer", shown: Shown, lead: str = "Buy") -> str:
    """What to buy, what works then, and how sure that is."""
    box, best = answer.box, bought.best
    items = joined([_item(spec, bought, shown) for spec in bought.specs])
    verb = "hold" if bought is answer.surer else "work"
    works = f"{joined([f'{count}S' for count in bought.cells])} {verb}{'s' if len(bought.cells) == 1 else ''}"
    owned = [
        _all_or_some(parts, len(box.own[kind]), kind)
        for kind, parts in (("motor", bought.motors), ("pack", bought.packs)) if parts
    ]  # fmt: skip
    with_them = f", with {'' if bought.whole else 'at least '}{joined(owned)}" if owned else ""
    mass = shown.mass_text(best.all_up_mass_g)
    return (
        f"{lead} {items}: then {works}{with_them}. Best: {parts_text(best.train)}: {_minutes(bought)}, {mass}, thrust "
        f"to weight {best.thrust_to_weight:.2f}{_sure(bought, answer)}. {' '.join(warned_words(best.checks))}".rstrip()
    )


def _minutes(bought: "Purchase") -> str:
    text, pick = f"{bought.best.flight_minutes:.0f}", bought.best.pick
    return f"{text} minutes" if pick is None else f"{text} ({pick.minutes_low:.0f} to {pick.minutes_high:.0f}) minutes"


def _sure(bought: "Purchase", answer: "BoxAnswer") -> str:
    pick, limits = bought.best.pick, answer.setting.brief.limits
    if pick is None:
        return ", on paper"
    wishes = of_hundred(pick.chance_wishes, limits.chance or 0.0)
    ratings = of_hundred(pick.chance_ratings, limits.rating_chance or 0.0)
    few = "" if bought.holds else ", fewer than asked"
    return f"; these very parts keep the brief in {wishes} and every rating in {ratings} of 100 builds{few}"


def _item(spec: "Spec", bought: "Purchase", shown: Shown) -> str:
    """``an ESC, 16 A or more, at most 21 g (bundled/16a and 2 more of the catalogue)``."""
    count = f"{spec.pieces} {kind_name(spec.kind)}s" if spec.pieces > 1 else _a(spec.kind)
    if not spec.ranges:
        return f"{count}, {spec_text(spec, shown)}{f' ({spec.example.price})' if spec.example.price else ''}"
    more = len(spec.within) - 1
    price = f", {spec.example.price}" if spec.example.price else ""
    others = f" and {more} more of the catalogue" if more else ", the only one found so"
    return f"{count}, {spec_text(spec, shown)} ({spec.example.id}{price}{others})"


def other_purchases(answer: "BoxAnswer", shown: Shown) -> list[str]:
    """What else could be bought, and what no purchase serves."""
    others = [
        purchase_words(each, answer, shown, "Or buy" if set(each.cells) & set(answer.purchases[0].cells) else "Buy")
        for each in answer.purchases[1:_SHOWN_PURCHASES]
    ]
    if answer.unserved and answer.purchases:
        lost = joined([f"{cells}S" for cells in answer.unserved])
        others.append(f"For {lost} no one or two parts of the catalogue do it.")
    return others


def box_notes(answer: "BoxAnswer") -> list[str]:
    """What was left out, taken to be there, or judged by a sample."""
    box, out = answer.box, []
    few = [f"{part.name} ({part.count} of {box.pieces(kind)})" for kind, some in box.too_few.items() for part in some]
    if few:
        out.append(f"Left out, as there are too few for this aircraft: {', '.join(few)}.")
    if box.uncounted:
        out.append(
            f"The aircraft needs {box.motor_count} of each motor, ESC and propeller; of parts that do not say "
            "how many there are ('count') enough are taken to be there."
        )
    out += [sampled_words(found) for found in answer.by_cells.values() if found.judged < found.combinations]
    if answer.purchases:
        out.append(
            "Each part of the catalogue within a specification makes it work on paper with the parts named beside it; "
            "what lies outside may or may not. Chances are those of the parts named as best: towards an end of a range "
            "they can be lower."
        )
    return out


def box_cells(answer: "BoxAnswer", found: "BoxCells", shown: Shown) -> list[str]:
    """Of one cell count what works, or what everything misses and what comes nearest: a sentence and those below it."""
    box, first = answer.box, f"{found.cells}S: "
    beside = f", with any {' and any '.join(map(kind_name, box.missing))} of the catalogue" if box.missing else ""
    if not found.combinations:
        rule = (
            "no pack of yours"
            if not any(p.cells_series == found.cells for p in box.own["pack"])
            else "no motor or ESC for it"
        )
        return [f"{first}{rule}."]
    if found.passing:
        least = "at least " if found.judged < found.combinations else ""
        used = [
            f"{least}{sum(use.passing > 0 for use in uses)} of {some_of(len(uses), kind_name(kind))}"
            for kind in KINDS
            if (uses := [use for use in found.of(kind) if kind not in box.missing])
        ]
        count = f"{found.passing} of {found.judged} combinations judged: " if box.missing else ""
        return [f"{first}works on paper{beside}, {count}{joined(used)}."]
    said = [f"{first}{nothing_words(found, shown, beside)}"]
    near = found.nearest[0]
    said.append(f"Nearest: {nearest_words(near, shown)}.")
    always = {check.name for check in found.always}
    for use in found.of("pack"):
        if use.kind not in box.missing and use.nearest is not None and use.part is not near.train.pack:
            said.append(_but_for(use, always, shown))
    return said


def _but_for(use: "PartUse", always: set[str], shown: Shown) -> str:
    """``With the 850 mAh pack it passes but for controller current``, beside what everything misses."""
    assert use.nearest is not None
    own = [check for check in use.nearest.failing if check.name not in always]
    if not own:
        return f"With {use.part.name} it misses nothing else."
    besides = "that and " if always else ""
    missed = joined([missed_words(check, shown) for check in own])
    return f"With {use.part.name} it passes but for {besides}{missed}."
