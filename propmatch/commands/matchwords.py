"""How ``propmatch match`` reads: the best for each cell count, the rows, and what the others miss first."""

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import attrs

from propmatch.columns import checked_by, headed
from propmatch.commands.boxwords import miss_data
from propmatch.commands.options import form_of, shown_units
from propmatch.commands.output import Reply
from propmatch.commands.trains import LazyCatalogue
from propmatch.search.listed import MatchRow, judged_data, match_rows
from propmatch.words.answerwords import count_text, hardest_words, minutes_text
from propmatch.words.assumedwords import mattering
from propmatch.words.chancewords import RANGES, chance_words, least_words, of_hundred
from propmatch.words.checkwords import (
    added_words,
    burst_words,
    check_name,
    check_names,
    danger_words,
    joined,
    limit_text,
    parts_text,
    speed_question,
    supply_text,
    value_text,
    warned_words,
)
from propmatch.words.misswords import nearest_words, sampled_words
from propmatch.words.shown import Shown, table, wrapped

if TYPE_CHECKING:
    from propmatch.questions.box import BoxCells
    from propmatch.search.candidate import Candidate
    from propmatch.search.matching import Shortlist
    from propmatch.search.picks import Pick

__all__ = ["match_reply"]

_METRIC_WORDS = {
    "flight_time": "flight time", "thrust_to_weight": "thrust to weight", "mass": "low mass", "top_speed": "top speed",
    "climb": "climb", "margin": "margin",
}  # fmt: skip
_FRONT_LINES = 8
_MOST_REJECTED = 2
_SPARE = ("pack_current_worst_a", "motor_current_worst_a", "top_speed_m_s", "climb_m_s")
"""Columns that wait for a wider page, the first of all the first to go."""


def match_reply(
    stock: LazyCatalogue, shortlist: "Shortlist", which: str, top: int, options: Mapping[str, Any]
) -> tuple[Reply, bool]:
    """The answer with so many rows for each cell count, and whether anything meets the brief."""
    from propmatch.search.candidate import columns

    shown, rows, whole = shown_units(options["units"], shortlist.brief), match_rows(shortlist, top), options["full"]
    firsts = {row.candidate.cells: row.candidate for row in rows if row.rank == 1}
    assumptions = _assumptions(shortlist)
    picks = [first.pick for first in firsts.values() if first.pick is not None]
    details = [_details(shortlist, rows, shown)] if whole else []
    ended = shortlist.complete
    so_far = [] if ended else [_so_far(shortlist, firsts)]
    near = _nearest(stock, shortlist) if ended and not firsts and not shortlist.brief.parts.only else []
    reply = Reply(
        command="match",
        headline=[
            *so_far,
            *_dangers(firsts, shown),
            *_answers(shortlist, firsts, shown),
            *(f"Nearest with {each.cells}S: {nearest_words(each.nearest[0], shown)}." for each in near),
            *([RANGES] if picks else []),
            *([which] if which else []),
        ],
        blocks=[
            _rows_block(shortlist, rows, shown, whole=whole),
            *details,
            *([_front_block(shortlist.front, shown)] if options["front"] and ended else []),
            *([_rejected_block(shortlist, whole=whole or not firsts, exactly=options["count"])] if ended else []),
        ],
        rows=[row.data for row in rows],
        assumptions=assumptions,
        matter=mattering(assumptions, [pick.sure for pick in picks], options) if form_of(options) == "text" else None,
        faults=(*stock.broken, *shortlist.faults),
        notes=[
            *(so_far if form_of(options) != "text" else []),
            *(sampled_words(each) for each in near if each.judged < each.combinations),
        ],
        extra={
            "rows": [row.full for row in rows],
            "checked_by": checked_by(columns()),
            "brief": shortlist.brief.aircraft.name,
            "variant": shortlist.setting.variant.name,
            "combinations": shortlist.combinations,
            "passing": shortlist.passing,
            "passing_estimate": shortlist.passing_estimate if shortlist.passing is None and ended else None,
            "left_out": shortlist.left_out,
            "set_aside": shortlist.set_aside,
            "by_cells": {count: [row.candidate.id for row in rows if row.candidate.cells == count]
                         for count in shortlist.by_cells},
            "on_paper": {cells: {**each.row, **judged_data(each)} for cells, each in shortlist.paper.items()},
            "holds": shortlist.holds,
            "preferred": shortlist.ranking.weights,
            "complete": ended,
            **({"nearest": {each.cells: [miss_data(miss) for miss in each.nearest] for each in near}} if near else {}),
            **({} if ended else {"score_at_most": _known(shortlist.bounds)}),
            **(_front_data(shortlist) if options["front"] and ended else {}),
        },
        caution=True,
    )  # fmt: skip
    return reply, shortlist.best is not None


# ---------------------------------------------------------------- sentences


def _so_far(shortlist: "Shortlist", firsts: Mapping[int, "Candidate"]) -> str:
    """That not all was looked at, and how much better than the first of a cell count the rest can be."""
    if not firsts:
        said = "Time was up" if shortlist.timed else "Interrupted"
        return f"{said} before anything was found that meets the brief: not every combination was looked at."
    said = "Time is up" if shortlist.timed else "Interrupted"
    said += ": not every combination was looked at. These are the best so far, on paper; "
    better = {
        cells: shortlist.bounds[cells] / first.score - 1.0 if first.score > 0 else math.inf
        for cells, first in firsts.items()
        if cells in shortlist.bounds
    }
    most = max(better.values(), default=math.inf)
    if not most < 10.0:
        return said + "others may be better."
    if most <= 0.0:
        return said + "none is better than the first with its cell count."
    worst = next(cells for cells, share in better.items() if share == most)
    return said + f"no other scores more than {math.ceil(100 * most)} % above the first with {worst}S."


def _nearest(stock: LazyCatalogue, shortlist: "Shortlist") -> "list[BoxCells]":
    """What comes nearest with each cell count, where nothing meets the brief."""
    from propmatch.questions.box import judge_cells
    from propmatch.search.matching import shelves_of

    here = shortlist.setting
    judged = [judge_cells(here, shelf, cells) for cells, shelf in shelves_of(here, stock.catalogue)[0].items()]
    return [each for each in judged if each.nearest]


def _known(numbers: Mapping[int, float]) -> dict[int, float | None]:
    return {cells: number if math.isfinite(number) else None for cells, number in numbers.items()}


def _dangers(firsts: Mapping[int, "Candidate"], shown: Shown) -> list[str]:
    """A danger of a first pick that only warns, before anything else."""
    return [f"With {cells}S: {said}" for cells, each in firsts.items() for said in danger_words(each.checks, shown)]


def _answers(shortlist: "Shortlist", firsts: Mapping[int, "Candidate"], shown: Shown) -> list[str]:
    """What to fit with each cell count."""
    variant = shortlist.setting.variant.name
    named = {each.name for each in shortlist.brief.variant}
    about = shortlist.brief.aircraft.name + (f", {variant}" if variant in named else "")
    if not firsts and not shortlist.complete:
        return []
    if not firsts:
        return [f"{about}: none of {count_text(shortlist.combinations)} combinations of parts meets the brief."]
    out = []
    for cells in shortlist.by_cells:
        first = firsts.get(cells)
        if first is None:
            nothing = "nothing was found so far that" if cells in shortlist.bounds else "nothing"
            out.append(f"{about} with {cells}S: {nothing} meets the brief.")
            continue
        best = " (best of all)" if len(shortlist.by_cells) > 1 and first is shortlist.best else ""
        best = best if shortlist.complete else ", best so far"
        holds = shortlist.holds.get(cells, True)
        risk = "" if holds else "nothing is sure to meet the brief; surest is "
        out.append(f"{about} with {cells}S{best}: {risk}{parts_text(first.train)}. {_numbers(first, shown)}")
        if first.pick is not None and not holds:
            out.append(_what_would(shortlist, first, first.pick))
        out += [*burst_words(first.checks), *speed_question(first.train), *warned_words(first.checks)]
        out += added_words(first.checks, shown)
    return out


def _numbers(first: "Candidate", shown: Shown) -> str:
    """What the best of a cell count does, in a buyer's words."""
    pick = first.pick
    ends = (math.nan, math.nan) if pick is None else (pick.minutes_low, pick.minutes_high)
    said = [
        f"{minutes_text(first.flight_minutes, *ends)} of flight, {shown.mass_text(first.all_up_mass_g)} all-up, thrust "
        f"{first.thrust_to_weight:.2f} of the weight",
        hardest_words(first.checks),
        "" if pick is None else f"{of_hundred(pick.chance_all)} of 100 builds keep every limit",
    ]
    return f"{'; '.join(filter(None, said))}."


def _what_would(shortlist: "Shortlist", first: "Candidate", pick: "Pick") -> str:
    """What fails first where nothing holds, and what would make it sure."""
    sure, limits = pick.least_sure, shortlist.setting.brief.limits
    wish, rate = limits.chance or 0.0, limits.rating_chance or 0.0
    by_brief = sure.chance_wishes / wish <= sure.chance_ratings / rate
    chances = {name: sure.chance(name) for name in (sure.drawn.wishes if by_brief else sure.drawn.ratings)}
    least = min(chances, key=lambda name: chances[name])
    asked, together = (wish, sure.chance_wishes) if by_brief else (rate, sure.chance_ratings)
    variant = sure.drawn.setting.variant.name
    where = "" if variant == shortlist.setting.variant.name else f" in '{variant}'"
    cure = "ease that limit, allow other parts" if by_brief else "allow parts that bear more"
    fails = f"what fails first{where} is {check_name(least)}, which {chance_words(chances[least])}"
    if chances[least] >= asked > together:
        fails = (
            f"each {'limit' if by_brief else 'rating'} alone holds often enough{where}, all together in "
            f"{of_hundred(together, asked)} of 100; least certain is {check_name(least)} "
            f"({of_hundred(chances[least])})"
        )
        cure = cure.replace("that limit", "limits")
    return (
        f"Nothing found with {first.cells}S keeps the brief in {100 * wish:.0f} and every rating in {100 * rate:.0f} "
        f"of 100; {fails}: {cure}, or measure ('propmatch measure' says what)."
    )


# ---------------------------------------------------------------- rows


def _rows_block(shortlist: "Shortlist", rows: Sequence[MatchRow], shown: Shown, *, whole: bool) -> list[str]:
    """A line for each row, the parts by their ids."""
    from propmatch.search.candidate import columns

    if not rows:
        return []
    own = headed(columns())
    heads = {column.name: column.heading.format(unit=shown.unit(column.kind)) for column in own}
    spare = [] if whole else [*(heads[name] for name in _SPARE), "of 100"]
    lines = [_cells(row, shown.cells(own, row.candidate, flight_minutes=_span(row.candidate)), whole) for row in rows]
    text = table(lines, left=("motor", "ESC", "pack", "propeller"), spare=spare)
    weights = shortlist.ranking.weights
    order = joined([_METRIC_WORDS[name] for name in sorted(weights, key=lambda name: -weights[name])])
    more, row = "" if whole else ", --full says more of each", min(len(rows), 2)
    return [*text, *wrapped(f"Best first by {order}; --why {row} explains row {row}{more}.")]


def _cells(row: MatchRow, numbers: dict[str, str], whole: bool) -> dict[str, str]:
    """The cells of a row: number, parts, numbers, and how many of a hundred builds keep every limit."""
    one = row.candidate
    ids = (one.motor_id, one.controller_id, one.pack_id, one.propeller_id)
    parts = dict(zip(("motor", "ESC", "pack", "propeller"), (id.removeprefix("bundled/") for id in ids), strict=True))
    if one.train.supply_g:
        parts["ESC"] += "+BEC"
    cells = {"": f"{row.number}", **parts, **numbers}
    if one.pick is None:
        return cells
    wish, rate = one.pick.asked
    kept = {"of 100": of_hundred(one.pick.chance_all)}
    if whole:
        kept |= {
            "brief": of_hundred(one.pick.chance_wishes, wish),
            "ratings": of_hundred(one.pick.chance_ratings, rate),
        }
    return {**cells, **kept}


def _span(one: "Candidate") -> str:
    """The minutes of a row, whole: their range where there is one."""
    if one.pick is None or not math.isfinite(one.pick.minutes_low + one.pick.minutes_high):
        return f"{one.flight_minutes:.0f}"
    return f"{one.pick.minutes_low:.0f} to {one.pick.minutes_high:.0f}"


def _details(shortlist: "Shortlist", rows: Sequence[MatchRow], shown: Shown) -> list[str]:
    """What --full adds: of each row its whole id and what is odd or unsure; of each cell count the other variants."""
    lines: list[str] = []
    for row in rows:
        one = row.candidate
        lines += wrapped(f"{row.number}: {'; '.join([one.id, *_notes(row, shown)])}.", rest="   ")
        if row.rank > 1:
            continue
        said = [least_words(one.pick.sure, one.checks, shown)] if one.pick is not None else []
        practice = [c.name for c in one.checks if c.verdict == "fails" and c.basis == "common practice"]
        said += [f"Outside common practice: {check_names(practice)}."] if practice else []
        for variant, failing in one.failing_in.items():
            told = "" if one.pick is None else f"; {chance_words(one.chance_in[variant])}"
            met = f"misses {check_names(failing)}" if failing else "meets the brief too"
            said.append(f"Variant '{variant}': {met}{told}.")
        paper = shortlist.paper.get(one.cells)
        if paper is not None and paper.pick is not None and paper.id != one.id:
            said.append(f"Best on paper with {one.cells}S: {parts_text(paper.train)}. {_numbers(paper, shown)}")
        lines += wrapped(" ".join(filter(None, said)), first="   ") if any(said) else []
    return lines


def _notes(row: MatchRow, shown: Shown) -> list[str]:
    """What is least certain about a row, what is odd about it, and what it stands for."""
    one, notes = row.candidate, []
    if one.train.supply_g:
        notes.append(f"and a {supply_text(one.train)}")
    if one.pick is None:
        if one.closest is not None:
            near = one.closest
            notes.append(f"closest limit: {check_name(near.name)} {value_text(near.value, near.unit, shown)}, "
                         f"{limit_text(near, shown)}")  # fmt: skip
    else:
        least = one.pick.least_certain
        if least is not None and row.rank > 1:
            notes.append(f"least certain: {check_name(least)}, {chance_words(one.pick.chance_by_check[least])}")
        if one.pick.odd:
            notes.append(f"odd, and counted against it: {', '.join(one.pick.odd)}")
        if one.pick.alike:
            notes.append(f"stands for {one.pick.alike} more of this motor, pack and kind of propeller")
    if row.others:
        notes.append(f"or with ESC {', '.join(row.others)}")
    return notes


def _front_data(shortlist: "Shortlist") -> dict[str, Any]:
    return {"front": [attrs.asdict(mark) | {"id": mark.id} for mark in shortlist.front]}


def _front_block(marks: "Sequence[Any]", shown: Shown) -> list[str]:
    """Those that nothing beats in time, thrust and mass at once, by minutes; evenly some where there are many."""
    if not marks:
        return []
    marks = sorted(marks, key=lambda mark: -mark.flight_minutes)
    step = max(1, len(marks) // _FRONT_LINES)
    some = marks[::step][:_FRONT_LINES]
    rows = [
        {
            "minutes": f"{mark.flight_minutes:.0f}", "T/W": f"{mark.thrust_to_weight:.2f}",
            f"all-up {shown.mass_unit}": shown.number(mark.all_up_mass_g, "mass", 0), "cells": f"{mark.cells}S",
            "id": mark.id,
        }
        for mark in some
    ]  # fmt: skip
    shown_of = f", {len(some)} of them shown" if len(some) < len(marks) else ""
    head = f"Nothing beats these {len(marks)} in flight time, thrust to weight and all-up mass at once{shown_of}:"
    return [*wrapped(head), *table(rows, left=("id",))]


# ---------------------------------------------------------------- the others


def _passing(shortlist: "Shortlist", *, exactly: bool) -> str:
    """How many meet the brief on paper, estimated where they were not counted."""
    if shortlist.passing is not None:
        return f"{shortlist.passing:,}" if exactly else count_text(shortlist.passing)
    about = shortlist.passing_estimate
    if about is None:
        return "Some"
    return f"About {count_text(about.passing)} ({count_text(about.low)} to {count_text(about.high)}, by a sample)"


def _rejected_block(shortlist: "Shortlist", *, whole: bool, exactly: bool) -> list[str]:
    """How many meet the brief, and what the others miss first."""
    from propmatch.checks.measures import CHECKS

    total, missed = shortlist.combinations, {name: count for name, count in shortlist.left_out.items() if count}
    passing = _passing(shortlist, exactly=exactly)
    said = f"{passing} of {count_text(total)} combinations meet the brief on paper."
    if shortlist.set_aside:
        parts = [f"{n:,} {kind}{'' if n == 1 else 's'}" for kind, n in shortlist.set_aside.items()]
        said += f" Set aside first: {' and '.join(parts)}, as enough others are the same and rated no lower."
    if not missed:
        return wrapped(said)
    if not whole:
        most = [f"{check_name(name)} ({_share(missed[name], total)})" for name in list(missed)[:_MOST_REJECTED]]
        return wrapped(f"{said} The others miss first {' or '.join(most)}; --full: all limits.")
    rows = []
    for name, count in missed.items():
        what = CHECKS[name].what if name in CHECKS else name
        limit = check_name(name) + ("" if what == check_name(name) else f": {what}")
        rows.append({"": f"  {count}", "share": _share(count, total), "limit": limit})
    heading = (
        f"{said} Rejected, by the first limit missed:"
        if shortlist.best is not None
        else ("Rejected, by the first limit missed:")
    )
    return [*wrapped(heading), *table(rows, left=("limit",), headed=False)]


def _share(count: int, total: int) -> str:
    share = 100 * count / total
    return f"{share:.0f} %" if share >= 1 else "< 1 %"


def _assumptions(shortlist: "Shortlist") -> list[Any]:
    """Of the brief and the variant, and of the first train of each list."""
    made = dict.fromkeys(shortlist.setting.assumptions)
    for group in shortlist.by_cells.values():
        for candidate in group[:1]:
            made.update(dict.fromkeys(shortlist.setting.assumptions_of(candidate.train)))
    return list(made)
