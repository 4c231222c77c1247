"""How ``propmatch match`` reads: the best in a sentence, a list for each cell count, why, and what was left out."""

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import attrs

from propmatch.columns import headed
from propmatch.commands.output import Reply
from propmatch.commands.trains import LazyCatalogue, train_data
from propmatch.words.checkwords import (
    burst_words,
    check_name,
    danger_words,
    limit_number,
    parts_text,
    speed_question,
    supply_text,
    value_text,
    warned_words,
)
from propmatch.words.shown import Shown, table, wrapped

if TYPE_CHECKING:
    from propmatch.checks.limits import Check
    from propmatch.records.brief import Brief
    from propmatch.search.candidate import Candidate
    from propmatch.search.matching import Shortlist

__all__ = ["check_block", "match_reply", "why_reply"]

_METRIC_WORDS = {
    "flight_time": "flight time", "thrust_to_weight": "thrust to weight", "mass": "low mass", "top_speed": "top speed",
    "climb": "climb", "margin": "distance from the limits",
}  # fmt: skip


_FRONT_LINES = 8


def _full_row(candidate: "Candidate") -> dict[str, Any]:
    return {**candidate.row, "checks": candidate.checks, "failing_in": candidate.failing_in}


def _numbers(candidate: "Candidate", shown: Shown) -> str:
    return (
        f"{candidate.flight_minutes:.1f} minutes, {shown.mass_text(candidate.all_up_mass_g)} all-up, thrust to weight "
        f"{candidate.thrust_to_weight:.2f}"
    )


def match_reply(
    stock: LazyCatalogue, shortlist: "Shortlist", shown: Shown, which: str, lines: int, *, front: bool = False
) -> tuple[Reply, bool]:
    """The answer with so many lines for each cell count, and whether anything meets the brief."""
    best = shortlist.best
    blocks: list[list[str]] = []
    for cells, group in shortlist.by_cells.items():
        blocks.append(_group_block(shortlist, cells, group, shown, lines))
        if group:
            blocks.append(_reasons(shortlist, group[0], shown))
    if front:
        blocks.append(_front_block(shortlist.front, shown))
    blocks.append(_left_out(shortlist))
    remarks = [] if shortlist.complete else ["The search was interrupted: these are the best so far."]
    reply = Reply(
        command="match",
        headline=[
            *_dangers(shortlist, shown),
            _heading(shortlist),
            *_best_sentences(shortlist, shown),
            *([which] if which else []),
        ],
        blocks=blocks,
        rows=[candidate.row for candidate in shortlist.rows],
        assumptions=_assumptions(shortlist),
        faults=(*stock.broken, *shortlist.faults),
        remarks=remarks,
        extra={
            "rows": [_full_row(candidate) for candidate in shortlist.rows],
            "brief": shortlist.brief.aircraft.name,
            "variant": shortlist.setting.variant.name,
            "combinations": shortlist.combinations,
            "passing": shortlist.passing,
            "left_out": shortlist.left_out,
            "by_cells": {
                cells: [_full_row(candidate) for candidate in group] for cells, group in shortlist.by_cells.items()
            },
            "preferred": shortlist.ranking.weights,
            "complete": shortlist.complete,
            **({"front": [attrs.asdict(mark) | {"id": mark.id} for mark in shortlist.front]} if front else {}),
        },
        caution=True,
    )
    return reply, best is not None


def _front_block(marks: Sequence[Any], shown: Shown) -> list[str]:
    """Some of the front, evenly from the longest flight to the shortest."""
    step = max(1, math.ceil(len(marks) / _FRONT_LINES))
    some = marks[::step]
    lines = wrapped(
        f"Nothing beats these in flight time, thrust to weight and all-up mass at once: {len(marks)} combinations"
        + (f", one in {step} shown" if step > 1 else "")
        + "."
    )
    for mark in some:
        lines.append(
            f"  {mark.flight_minutes:5.1f} min  T/W {mark.thrust_to_weight:4.2f}  {shown.mass_text(mark.all_up_mass_g)}"
            f"  {mark.cells}S"
        )
        lines += wrapped(mark.id, first="      ", rest="        ")
    return lines


def _dangers(shortlist: "Shortlist", shown: Shown) -> list[str]:
    """A danger of a first pick that only warns, before anything else."""
    firsts = [group[0] for group in shortlist.by_cells.values() if group]
    return [f"With {each.cells}S: {words}" for each in firsts for words in danger_words(each.checks, shown)]


def _heading(shortlist: "Shortlist") -> str:
    name = f"{shortlist.brief.aircraft.name}, {shortlist.setting.variant.name}"
    many = "some" if shortlist.passing is None else f"{shortlist.passing}"
    if shortlist.best is None:
        return f"{name}: none of {shortlist.combinations} combinations meets the brief."
    return f"{name}: {many} of {shortlist.combinations} combinations meet the brief."


def _best_sentences(shortlist: "Shortlist", shown: Shown) -> list[str]:
    sentences = []
    for cells, group in shortlist.by_cells.items():
        if group:
            of_all = " and of all" if len(shortlist.by_cells) > 1 and group[0] is shortlist.best else ""
            sentences.append(f"Best with {cells}S{of_all}: {parts_text(group[0].train)}: {_numbers(group[0], shown)}.")
        elif shortlist.best is not None:
            sentences.append(f"With {cells}S nothing meets it.")
    return sentences


def _group_block(
    shortlist: "Shortlist", cells: int, group: "Sequence[Candidate]", shown: Shown, lines: int
) -> list[str]:
    """A line of numbers and one of ids for each motor, propeller and pack; other controllers share them."""
    from propmatch.search.candidate import columns

    if not group:
        return []
    alike: dict[tuple[str, str, str], list[Any]] = {}
    for candidate in group:
        alike.setdefault((candidate.motor_id, candidate.propeller_id, candidate.pack_id), []).append(candidate)
    sets = list(alike.values())[:lines]
    shown_columns = headed(columns())
    rows = [
        {
            "": f"{rank}.",
            **shown.cells(shown_columns, candidate),
            "nearest limit": _nearest(candidate.closest),
        }
        for rank, (candidate, *_) in enumerate(sets, start=1)
    ]
    head, *numbers = table(rows, left=("nearest limit",))
    text = [*wrapped(f"With {cells}S, best first by {_order(shortlist.ranking.weights)}:"), head]
    for line, (candidate, *others) in zip(numbers, sets, strict=True):
        text += [line, *wrapped(candidate.id, first="      ")]
        if candidate.train.supply_g:
            text += wrapped(f"and a {supply_text(candidate.train)}", first="      ")
        if others:
            names = ", ".join(other.controller_id.partition("/")[2] or other.controller_id for other in others[:5])
            text += wrapped(f"or with controller {names}{', ...' if len(others) > 5 else ''}", first="      ")
    return text


def _order(weights: dict[str, float]) -> str:
    total = sum(weights.values())
    if len(weights) == 1:
        return _METRIC_WORDS[next(iter(weights))]
    return ", ".join(f"{_METRIC_WORDS[name]} {100 * weight / total:.0f} %" for name, weight in weights.items())


def _nearest(check: "Check | None") -> str:
    if check is None:
        return "-"
    return f"{check_name(check.name)}, {100 * check.margin:.0f} % off"


def _reasons(shortlist: "Shortlist", candidate: "Candidate", shown: Shown) -> list[str]:
    """Why the first of a list is good, which limit binds it, and what it does in the other variants."""

    reasons = []
    for name, word in (("flight_time", "flies"), ("thrust_to_weight", "thrust to weight"), ("climb", "climbs")):
        check = candidate.check(name)
        if math.isfinite(check.limit):
            reasons.append(f"{word} {value_text(check.value, check.unit)} where {limit_number(check)} is asked")
    mass = candidate.check("all_up_mass")
    if math.isfinite(mass.limit):
        below = f"{shown.mass_of(mass.limit - mass.value):.0f} {shown.mass_unit}"
        reasons.append(f"{below} below the target mass")
    sentences = [f"The first: {'; '.join(reasons)}." if reasons else "The first:"]
    if (near := candidate.closest) is not None:
        sentences.append(
            f"What binds it is the {check_name(near.name)}: {value_text(near.value, near.unit)} against "
            f"{limit_number(near)} ({near.limit_source})."
        )
    close = [
        check_name(c.name)
        for c in candidate.checks
        if c.verdict == "fails" and not c.excluding and c.basis == "common practice"
    ]
    sentences += warned_words(candidate.checks)
    if close:
        sentences.append(f"Outside common practice: {', '.join(close)} (--why tells more).")
    sentences += [*burst_words(candidate.checks), *speed_question(candidate.train)]
    for variant, failing in candidate.failing_in.items():
        words = ", ".join(check_name(name) for name in failing)
        sentences.append(f"Variant '{variant}': " + (f"fails {words}." if failing else "meets the brief too."))
    return wrapped(" ".join(sentences), first="  ")


def _left_out(shortlist: "Shortlist") -> list[str]:
    if not shortlist.left_out:
        return []
    from propmatch.checks.measures import CHECKS

    total = shortlist.combinations
    rows = []
    for name, count in shortlist.left_out.items():
        if count:
            what = CHECKS[name].what if name in CHECKS else name
            share = 100 * count / total
            rows.append(
                {
                    "": f"  {count}",
                    "share": f"{share:.0f} %" if share >= 1 else "< 1 %",
                    "limit": check_name(name) + ("" if what == check_name(name) else f": {what}"),
                }
            )
    return ["Left out, counted at the first limit each fails:", *table(rows, left=("limit",))[1:]]


def _assumptions(shortlist: "Shortlist") -> list[Any]:
    """Of the brief and the variant, and of the first train of each list."""
    made = dict.fromkeys(shortlist.setting.assumptions)
    for group in shortlist.by_cells.values():
        for candidate in group[:1]:
            made.update(dict.fromkeys(shortlist.setting.assumptions_of(candidate.train)))
    return list(made)


# ---------------------------------------------------------------- why


def check_block(checks: "Sequence[Check]") -> list[str]:
    """Every check of one design: value, limit, margin, verdict, basis."""
    rows = [
        {
            "check": f"  {check_name(check.name)}",
            "value": value_text(check.value, check.unit),
            "limit": ("at least " if check.least else "at most ") + limit_number(check)
            if math.isfinite(check.limit)
            else "-",
            "margin": f"{100 * check.margin:.0f} %" if math.isfinite(check.margin) else "-",
            "verdict": check.verdict,
            "basis": check.limit_source if math.isfinite(check.limit) else "",
        }
        for check in checks
    ]
    return table(rows, left=("check", "limit", "verdict", "basis"))


def why_reply(stock: LazyCatalogue, brief: "Brief", options: dict[str, Any], which: str) -> tuple[Reply, bool]:
    """Why one combination stands where it does; the second is whether it meets the brief."""
    from propmatch.checks.setting import ResolvedBrief
    from propmatch.commands.choose import train_of_ids
    from propmatch.records.parts import PARTS
    from propmatch.records.trainid import joined_ids
    from propmatch.search.why import why

    train = train_of_ids(stock, options["why"], "--why")
    ids = joined_ids(getattr(train, kind).id for kind in PARTS)
    resolved = ResolvedBrief.of(brief)
    found = why(resolved, stock.catalogue, ids, variant=options["variant"])
    name = parts_text(found.train)
    cells = f"{train.pack.cells_series}S"
    if found.excluded_by:
        words = "; ".join(
            f"{check_name(c.name)} {value_text(c.value, c.unit)} against {limit_number(c)} ({c.limit_source})"
            for c in found.excluded_by
        )
        sentence = f"{name} is left out: {words}."
    else:
        sentence = f"{name} is number {found.place} of the {found.passing} with {cells} that meet the brief."
    known = (
        f"Its score is {found.score:.3f}; nothing with this propeller and this pack can exceed {found.score_bound:.3f}."
        if math.isfinite(found.score_bound) and math.isfinite(found.score)
        else "Already its propeller and pack alone show that nothing with them can meet the brief."
        if math.isinf(found.score_bound)
        else ""
    )
    setting = resolved.named(options["variant"])
    reply = Reply(
        command="match",
        headline=[sentence, *([known] if known else []), *([which] if which else [])],
        blocks=[
            check_block(list(found.checks)),
            [line for c in found.checks if c.note and c.verdict != "no limit" for line in _note(c)],
        ],
        rows=[attrs.asdict(check) for check in found.checks],
        assumptions=list(dict.fromkeys((*setting.variant.assumptions, *setting.assumptions_of(found.train)))),
        faults=stock.broken,
        extra={
            "train": train_data(found.train),
            "failing": [check.name for check in found.excluded_by],
            "place": found.place,
            "passing_of_cells": found.passing,
            "score": found.score,
            "score_bound": found.score_bound,
        },
        caution=True,
    )
    return reply, found.meets


def _note(check: "Check") -> list[str]:
    return wrapped(f"{check_name(check.name)}: {check.note}", first="  ", rest="    ")
