"""How ``propmatch match --only BOX`` reads: what fits one's box, what misses by how much, what to buy, the list."""

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

import attrs

from propmatch.commands.options import shown_units
from propmatch.commands.output import Reply, now
from propmatch.commands.shoppinglist import write_list
from propmatch.commands.trains import LazyCatalogue
from propmatch.words.assumedwords import mattering
from propmatch.words.boxwords import (
    KINDS,
    box_cells,
    box_dangers,
    box_heading,
    box_notes,
    buy_first,
    kind_name,
    other_purchases,
    purchase_words,
)
from propmatch.words.checkwords import (
    check_names,
    joined,
)
from propmatch.words.shown import Shown, table, wrapped

if TYPE_CHECKING:
    from propmatch.questions.box import BoxCells, Miss, PartUse
    from propmatch.questions.purchases import Purchase
    from propmatch.questions.shopping import BoxAnswer
    from propmatch.records.brief import Brief
    from propmatch.records.estimates import Assumption

__all__ = ["box_data", "box_reply", "miss_data"]

_SHOWN_PARTS = 12


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
    found_none = Reply(command="match", faults=(*stock.broken, *stock.catalogue.faults))
    reply, met = find() if whole else (found_none, False)
    extra = now(reply.extra)
    unsure = [cells for cells, holds in extra.get("holds", {}).items() if not holds and cells not in answer.without]
    answer = attrs.evolve(answer, surer=surer_with(answer, brief, stock.catalogue, unsure))
    wrote = write_list(options["shopping"], answer, now(reply.rows), stock, shown, force=options["force"])
    name = f"{brief.aircraft.name}, {answer.setting.variant.name}"
    blocks, made = [*_blocks(answer, shown), _sure_block(answer, unsure, shown)], _assumptions(answer)
    first = [*box_dangers(answer, shown), box_heading(answer, name), *buy_first(answer, shown)]
    if met:
        return attrs.evolve(
            reply,
            blocks=[[line for text in first for line in wrapped(text)], *blocks, *map(list, reply.blocks)],
            assumptions=list(dict.fromkeys((*reply.assumptions, *made))),
            notes=[*box_notes(answer), *reply.notes, *wrote],
            extra={**extra, "box": box_data(answer)},
        ), met
    sure = [each.best.pick.sure for each in answer.purchases if each.best.pick is not None]
    return Reply(
        command="match",
        headline=[
            *([] if extra.get("complete", True) else reply.headline[:1]),
            *first,
            *([which] if which else []),
        ],
        blocks=blocks,
        assumptions=made,
        matter=mattering(made, sure, options) if sure else None,
        faults=reply.faults,
        notes=[*box_notes(answer), *reply.notes, *wrote],
        extra={**extra, "box": box_data(answer)},
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


# ---------------------------------------------------------------- blocks


def _blocks(answer: "BoxAnswer", shown: Shown) -> list[list[str]]:
    if answer.box.bare:
        return []
    blocks = [_cells_block(answer, found, shown) for found in answer.by_cells.values()]
    blocks.append(_parts_block(answer, shown))
    return [*blocks, *(wrapped(text, rest="  ") for text in other_purchases(answer, shown))]


def _sure_block(answer: "BoxAnswer", unsure: Sequence[int], shown: Shown) -> list[str]:
    """What makes sure of the cell counts that work on paper alone."""
    if answer.surer is not None:
        return wrapped(purchase_words(answer.surer, answer, shown, "To be sure buy"), rest="  ")
    if unsure:
        return wrapped(f"No one part of the catalogue makes sure of {joined([f'{cells}S' for cells in unsure])}.")
    return []


def _cells_block(answer: "BoxAnswer", found: "BoxCells", shown: Shown) -> list[str]:
    first, *others = box_cells(answer, found, shown)
    return [*wrapped(first, rest="  "), *(line for text in others for line in wrapped(text, first="  ", rest="    "))]


def _parts_block(answer: "BoxAnswer", shown: Shown) -> list[str]:
    """One's own motors, packs and the rest: with which cell count each works, or what it misses."""
    box = answer.box
    rows = []
    for kind in KINDS:
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
    beside = " besides what everything misses" if any(found.always for found in answer.by_cells.values()) else ""
    head = f"Each of your parts{with_any}: works, or what the best combination with it misses{beside}"
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
        "nearest": [miss_data(each) for each in found.nearest],
        "parts": [
            {"kind": use.kind, "id": use.part.id, "passing_on_paper": use.passing,
             "nearest": None if use.nearest is None else miss_data(use.nearest)}
            for use in found.parts
        ],
    }  # fmt: skip


def miss_data(miss: "Miss") -> dict[str, Any]:
    """A combination that misses limits, as JSON has it."""
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
