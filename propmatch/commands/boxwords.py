"""How ``propmatch match --only BOX`` reads: what fits one's box, what misses by how much, what to buy, the list."""

import math
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

import attrs

from propmatch.commands.assumed import mattering
from propmatch.commands.options import shown_units
from propmatch.commands.output import Reply
from propmatch.commands.shoppinglist import all_or_some, kind_name, some_of, spec_text, write_list
from propmatch.commands.trains import LazyCatalogue
from propmatch.words.answerwords import minutes_text
from propmatch.words.chancewords import of_hundred
from propmatch.words.checkwords import (
    check_name,
    check_names,
    danger_words,
    joined,
    limit_number,
    limit_text,
    parts_text,
    value_text,
    warned_words,
)
from propmatch.words.shown import Shown, table, wrapped

if TYPE_CHECKING:
    from propmatch.checks.limits import Check
    from propmatch.questions.box import Box, BoxCells, Miss, PartUse
    from propmatch.questions.purchases import Purchase
    from propmatch.questions.shopping import BoxAnswer
    from propmatch.questions.specs import Spec
    from propmatch.records.brief import Brief
    from propmatch.records.estimates import Assumption

__all__ = ["box_data", "box_reply"]

_KINDS = ("motor", "propeller", "pack", "controller")
_SHOWN_PARTS, _SHOWN_PURCHASES = 12, 4


def box_reply(
    stock: LazyCatalogue, brief: "Brief", options: dict[str, Any], which: str, find: Callable[[], tuple[Reply, bool]]
) -> tuple[Reply, bool]:
    """The answer about a box, before the shortlist of what works in it; and whether anything does.

    ``find`` makes that shortlist: it is asked only where the box has a part of every kind and some cell count.
    """
    from propmatch.questions.shopping import surer_with, what_fits

    answer = what_fits(brief, stock.catalogue, variant=options["variant"])
    shown = shown_units(options["units"], brief)
    whole = not answer.box.missing and any(found.combinations for found in answer.by_cells.values())
    reply, met = find() if whole else (Reply(command="match"), False)
    unsure = [
        cells for cells, holds in reply.extra.get("holds", {}).items() if not holds and cells not in answer.without
    ]
    answer = attrs.evolve(answer, surer=surer_with(answer, brief, stock.catalogue, unsure))
    wrote = write_list(options["shopping"], answer, reply.rows, stock, shown)
    name = f"{brief.aircraft.name}, {answer.setting.variant.name}"
    blocks, made = [*_blocks(answer, shown), _sure_block(answer, unsure, shown)], _assumptions(answer)
    first = [*_dangers(answer, shown), _heading(answer, name), *_buy_first(answer, shown)]
    if met:
        return attrs.evolve(
            reply,
            blocks=[[line for text in first for line in wrapped(text)], *blocks, *map(list, reply.blocks)],
            assumptions=list(dict.fromkeys((*reply.assumptions, *made))),
            notes=[*_notes(answer), *reply.notes, *wrote],
            extra={**reply.extra, "box": box_data(answer)},
        ), met
    sure = [each.best.pick.sure for each in answer.purchases if each.best.pick is not None]
    return Reply(
        command="match",
        headline=[*first, *([which] if which else [])],
        blocks=blocks,
        assumptions=made,
        matter=mattering(made, sure, options) if sure else None,
        faults=(*stock.broken, *reply.faults),
        notes=[*_notes(answer), *reply.notes, *wrote],
        extra={**reply.extra, "box": box_data(answer)},
        caution=True,
    ), met


def _assumptions(answer: "BoxAnswer") -> list["Assumption"]:
    """What the answer rests on: of the brief, of what is to be bought first, of what comes nearest without it."""
    setting = answer.setting
    near = [found.nearest[0].train for found in answer.by_cells.values() if found.nearest]
    trains = [*(each.best.train for each in answer.purchases[:1]), *near]
    if not trains:
        return []
    made = (*setting.assumptions, *(each for train in trains for each in setting.assumptions_of(train)))
    return list(dict.fromkeys(made))


def _dangers(answer: "BoxAnswer", shown: Shown) -> list[str]:
    """A danger of what is to be bought first that only warns, before anything else."""
    return [words for each in answer.purchases[:1] for words in danger_words(each.best.checks, shown)]


# ---------------------------------------------------------------- sentences


def _names(box: "Box") -> str:
    words = [f"'{name}'" for name in box.names]
    return f"your box {words[0]}" if len(words) == 1 else f"your boxes {joined(words)}"


def _heading(answer: "BoxAnswer", name: str) -> str:
    """Which cell counts work."""
    box = answer.box
    held = joined([_held(box, kind) for kind in _KINDS])
    works = [f"{cells}S" for cells in answer.by_cells if cells not in answer.without]
    said = f"{joined(works)} {'works' if len(works) == 1 else 'work'} on paper" if works else "nothing works"
    if box.missing:
        said = f"nothing works without {joined([_a(kind) for kind in box.missing])}"
    elif works and answer.without:
        said += f", {joined([f'{cells}S' for cells in answer.without])} not"
    return f"{name}: with {_names(box)} ({held}) {said}."


def _held(box: "Box", kind: str) -> str:
    """``3 packs``, ``1 of 5 motors enough for 2``."""
    own, few = len(box.own[kind]), len(box.too_few[kind])
    return (
        f"{own or 'none'} of {some_of(own + few, kind_name(kind))} enough for {box.pieces(kind)}"
        if few
        else (some_of(own, kind_name(kind)))
    )


def _a(kind: str) -> str:
    return f"a{'n' if kind == 'controller' else ''} {kind_name(kind)}"


def _buy_first(answer: "BoxAnswer", shown: Shown) -> list[str]:
    if answer.purchases:
        return [_purchase(answer.purchases[0], answer, shown)]
    if answer.box.bare:
        return ["That is more than two parts: 'propmatch match' without --only designs from the whole catalogue."]
    if answer.without:
        return ["No one or two parts of the catalogue make it work: ease a limit of the brief, or bring other parts."]
    return []


def _purchase(bought: "Purchase", answer: "BoxAnswer", shown: Shown, lead: str = "Buy") -> str:
    """What to buy, what works then, and how sure that is."""
    box, best = answer.box, bought.best
    items = joined([_item(spec, bought, shown) for spec in bought.specs])
    verb = "hold" if bought is answer.surer else "work"
    works = f"{joined([f'{count}S' for count in bought.cells])} {verb}{'s' if len(bought.cells) == 1 else ''}"
    owned = [
        all_or_some(parts, len(box.own[kind]), kind)
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


def _notes(answer: "BoxAnswer") -> list[str]:
    box, out = answer.box, []
    few = [f"{part.name} ({part.count} of {box.pieces(kind)})" for kind, some in box.too_few.items() for part in some]
    if few:
        out.append(f"Left out, as there are too few for this aircraft: {', '.join(few)}.")
    if box.uncounted:
        out.append(
            f"The aircraft needs {box.motor_count} of each motor, ESC and propeller; of parts that do not say "
            "how many there are ('count') enough are taken to be there."
        )
    sampled = [found for found in answer.by_cells.values() if found.judged < found.combinations]
    out += [
        f"With {found.cells}S {found.judged} of {found.combinations} combinations were judged: the best that meet the "
        "brief, and others at random; what is said of parts and misses is said of those."
        for found in sampled
    ]
    if answer.purchases:
        out.append(
            "Each part of the catalogue within a specification makes it work on paper with the parts named beside it; "
            "what lies outside may or may not. Chances are those of the parts named as best: towards an end of a range "
            "they can be lower."
        )
    return out


# ---------------------------------------------------------------- blocks


def _blocks(answer: "BoxAnswer", shown: Shown) -> list[list[str]]:
    if answer.box.bare:
        return []
    blocks = [_cells_block(answer, found, shown) for found in answer.by_cells.values()]
    blocks.append(_parts_block(answer, shown))
    others = [
        _purchase(each, answer, shown, "Or buy" if set(each.cells) & set(answer.purchases[0].cells) else "Buy")
        for each in answer.purchases[1:_SHOWN_PURCHASES]
    ]
    if answer.unserved and answer.purchases:
        lost = joined([f"{cells}S" for cells in answer.unserved])
        others.append(f"For {lost} no one or two parts of the catalogue do it.")
    blocks += [wrapped(text, rest="  ") for text in others]
    return blocks


def _sure_block(answer: "BoxAnswer", unsure: Sequence[int], shown: Shown) -> list[str]:
    """What makes sure of the cell counts that work on paper alone."""
    if answer.surer is not None:
        return wrapped(_purchase(answer.surer, answer, shown, "To be sure buy"), rest="  ")
    if unsure:
        return wrapped(f"No one part of the catalogue makes sure of {joined([f'{cells}S' for cells in unsure])}.")
    return []


def _cells_block(answer: "BoxAnswer", found: "BoxCells", shown: Shown) -> list[str]:
    """One cell count: what works, or what everything fails and what comes nearest."""
    box, first = answer.box, f"{found.cells}S: "
    beside = f", with any {' and any '.join(map(kind_name, box.missing))} of the catalogue" if box.missing else ""
    if not found.combinations:
        rule = (
            "no pack of yours"
            if not any(p.cells_series == found.cells for p in box.own["pack"])
            else "no motor or ESC for it"
        )
        return wrapped(f"{rule}.", first=first, rest="  ")
    if found.passing:
        least = "at least " if found.judged < found.combinations else ""
        used = [
            f"{least}{sum(use.passing > 0 for use in uses)} of {some_of(len(uses), kind_name(kind))}"
            for kind in _KINDS
            if (uses := [use for use in found.of(kind) if kind not in box.missing])
        ]
        count = f"{found.passing} of {found.judged} combinations judged: " if box.missing else ""
        return wrapped(f"works on paper{beside}, {count}{joined(used)}.", first=first, rest="  ")
    text = f"none of {found.judged} combinations meets the brief{beside}."
    if found.always:
        fails = joined([_by(*each, shown) for each in zip(found.always, found.beside, strict=True)])
        text += f" Everything fails {fails}."
    lines = wrapped(text, first=first, rest="  ")
    near = found.nearest[0]
    lines += wrapped(f"Nearest: {_train(near, box)}: {_misses(near, shown)}.", first="  ", rest="    ")
    always = {check.name for check in found.always}
    for use in found.of("pack"):
        if use.kind not in box.missing and use.nearest is not None and use.part is not near.train.pack:
            lines += wrapped(_but_for(use, always, shown), first="  ", rest="    ")
    return lines


def _train(miss: "Miss", box: "Box") -> str:
    """The parts of one's own in a combination."""
    return joined([getattr(miss.train, kind).name for kind in _KINDS])


def _by(check: "Check", beside: int, shown: Shown) -> str:
    """``all-up mass by 6 g at best (756 g, at most 750 g)``: by how much a limit is missed at best."""
    if not math.isfinite(check.value):
        return f"{check_name(check.name)} ({_value(check, shown)}, {limit_text(check, shown)})"
    short = abs(check.value - check.limit)
    by = minutes_text(short) if check.unit == "min" else value_text(short, check.unit, shown)
    others = f", where {some_of(beside, 'other limit')} {'is' if beside == 1 else 'are'} missed too" if beside else ""
    return f"{check_name(check.name)} by {by} at best ({_value(check, shown)}, {limit_text(check, shown)}{others})"


def _value(check: "Check", shown: Shown) -> str:
    """The value of a check that fails; of a time whole minutes."""
    if check.unit != "min":
        return value_text(check.value, check.unit, shown, missing="no answer")
    return f"just under {limit_number(check)}" if round(check.value, 0) >= check.limit else minutes_text(check.value)


def _fails(check: "Check", shown: Shown) -> str:
    """``balance 4.2 mm (at most 3 mm)``."""
    return f"{check_name(check.name)} {_value(check, shown)} ({limit_text(check, shown)})"


def _misses(miss: "Miss", shown: Shown) -> str:
    return f"fails {joined([_fails(check, shown) for check in miss.failing])}"


def _but_for(use: "PartUse", always: set[str], shown: Shown) -> str:
    """``With the 850 mAh pack it passes but for controller current``, beside what everything fails."""
    assert use.nearest is not None
    own = [check for check in use.nearest.failing if check.name not in always]
    if not own:
        return f"With {use.part.name} nothing else fails."
    besides = "that and " if always else ""
    fails = joined([_fails(check, shown) for check in own])
    return f"With {use.part.name} it passes but for {besides}{fails}."


def _parts_block(answer: "BoxAnswer", shown: Shown) -> list[str]:
    """One's own motors, packs and the rest: with which cell count each works, or what it fails."""
    box = answer.box
    rows = []
    for kind in _KINDS:
        for part in box.own[kind]:
            row = {"yours": part.name, "part": kind_name(kind), "have": "" if part.count is None else f"{part.count}"}
            for cells, found in answer.by_cells.items():
                use = next((each for each in found.of(kind) if each.part is part), None)
                row[f"{cells}S"] = _use(use, {check.name for check in found.always})
            rows.append(row)
    shown_rows = rows[:_SHOWN_PARTS]
    heads = [f"{cells}S" for cells in answer.by_cells]
    if not rows:
        return []
    if not any(row["have"] for row in shown_rows):
        for row in shown_rows:
            del row["have"]
    with_any = f", with any {' and any '.join(map(kind_name, box.missing))}" if box.missing else ""
    more = [f"  ... and {len(rows) - len(shown_rows)} more (--json has all)"] if len(rows) > len(shown_rows) else []
    beside = " besides what everything fails" if any(found.always for found in answer.by_cells.values()) else ""
    head = f"Each of your parts{with_any}: works, or what fails in the best combination with it{beside}"
    return [*wrapped(f"{head}:"), *table(shown_rows, left=("yours", "part", *heads)), *more]


def _use(use: "PartUse | None", always: set[str]) -> str:
    if use is None:
        return "-"
    if use.nearest is None:
        return "works"
    names = [check.name for check in use.nearest.failing if check.name not in always]
    more = f" and {len(names) - 1} more" if len(names) > 1 else ""
    return check_names(names[:1]) + more if names else "only what all fail"


# ---------------------------------------------------------------- JSON


def box_data(answer: "BoxAnswer") -> dict[str, Any]:
    """What fits, as JSON has it."""
    return {
        "names": answer.box.names,
        "motor_count": answer.box.motor_count,
        "missing": answer.box.missing,
        "too_few": [part.id for some in answer.box.too_few.values() for part in some],
        "own": {kind: [_part_data(part) for part in some] for kind, some in answer.box.own.items()},
        "works": [cells for cells in answer.by_cells if cells not in answer.without],
        "by_cells": {cells: _cells_data(found) for cells, found in answer.by_cells.items()},
        "purchases": [_purchase_data(each) for each in answer.purchases],
        "unserved": answer.unserved,
        "surer": None if answer.surer is None else _purchase_data(answer.surer),
    }


def _part_data(part: Any) -> dict[str, Any]:
    return {"id": part.id, "name": part.name, "count": part.count, "price": part.price}


def _cells_data(found: "BoxCells") -> dict[str, Any]:
    return {
        "combinations": found.combinations,
        "judged": found.judged,
        "passing_on_paper": found.passing,
        "always_failing": found.always,
        "always_failing_beside_others": found.beside,
        "nearest": [_miss_data(each) for each in found.nearest],
        "parts": [
            {"kind": use.kind, "id": use.part.id, "passing_on_paper": use.passing,
             "nearest": None if use.nearest is None else _miss_data(use.nearest)}
            for use in found.parts
        ],
    }  # fmt: skip


def _miss_data(miss: "Miss") -> dict[str, Any]:
    parts = {f"{kind}_id": getattr(miss.train, kind).id for kind in ("motor", "controller", "pack", "propeller")}
    return {**parts, "worst_miss_share": miss.worst, "all_misses_share": miss.total, "failed": miss.failing}


def _purchase_data(bought: "Purchase") -> dict[str, Any]:
    return {
        "kinds": bought.kinds,
        "cells": bought.cells,
        "specifications": [
            {"kind": spec.kind, "pieces": spec.pieces, "ranges": spec.ranges, "same": spec.same,
             "example": _part_data(spec.example), "within": [part.id for part in spec.within]}
            for spec in bought.specs
        ],
        "motors": [part.id for part in bought.motors],
        "packs": [part.id for part in bought.packs],
        "best": bought.best.row,
        "holds": bought.holds,
        "all_that_pass_looked_at": bought.whole,
    }  # fmt: skip
