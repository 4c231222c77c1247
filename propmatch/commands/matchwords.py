"""How ``propmatch match`` reads: the best in a sentence, a list for each cell count, why, and what was left out."""

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import attrs

from propmatch.columns import headed
from propmatch.commands.assumed import mattering
from propmatch.commands.options import shown_units
from propmatch.commands.output import Reply
from propmatch.commands.trains import LazyCatalogue, train_data
from propmatch.words.chancewords import RANGES, chance_words, check_range, least_words, of_hundred, range_words, ranged
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
from propmatch.words.verdictwords import verdict_words

if TYPE_CHECKING:
    from propmatch.checks.limits import Check
    from propmatch.records.brief import Brief
    from propmatch.search.candidate import Candidate
    from propmatch.search.matching import Shortlist
    from propmatch.search.picks import Pick

__all__ = ["check_block", "match_reply", "why_reply"]

_METRIC_WORDS = {
    "flight_time": "flight time", "thrust_to_weight": "thrust to weight", "mass": "low mass", "top_speed": "top speed",
    "climb": "climb", "margin": "distance from the limits",
}  # fmt: skip


_FRONT_LINES = 8


def _full_row(candidate: "Candidate") -> dict[str, Any]:
    by_check = {} if candidate.pick is None else {"chance_by_check": candidate.pick.chance_by_check}
    return {**candidate.row, **by_check, "checks": candidate.checks, "failing_in": candidate.failing_in}


def _numbers(candidate: "Candidate", shown: Shown) -> str:
    minutes, pick = f"{candidate.flight_minutes:.1f}", candidate.pick
    if pick is not None:
        minutes = ranged(minutes, pick.minutes_low, pick.minutes_high)
    return (
        f"{minutes} minutes, {shown.mass_text(candidate.all_up_mass_g)} all-up, thrust to weight "
        f"{candidate.thrust_to_weight:.2f}"
    )


def match_reply(
    stock: LazyCatalogue, shortlist: "Shortlist", which: str, lines: int, options: Mapping[str, Any]
) -> tuple[Reply, bool]:
    """The answer with so many lines for each cell count, and whether anything meets the brief."""
    best, front = shortlist.best, options["front"]
    shown = shown_units(options["units"], shortlist.brief)
    assumptions = _assumptions(shortlist)
    sureness = [group[0].pick.sure for group in shortlist.by_cells.values() if group and group[0].pick is not None]
    blocks: list[list[str]] = []
    for cells, group in shortlist.by_cells.items():
        blocks.append(_group_block(shortlist, cells, group, shown, lines))
        if group:
            blocks.append(_reasons(shortlist, group[0], shown))
    if front:
        blocks.append(_front_block(shortlist.front, shown))
    blocks.append(_left_out(shortlist))
    remarks = [] if shortlist.complete else ["The search was interrupted: these are the best so far."]
    sure = bool(shortlist.holds)
    reply = Reply(
        command="match",
        headline=[
            *_dangers(shortlist, shown),
            _heading(shortlist),
            *_best_sentences(shortlist, shown),
            *([RANGES] if sure and best is not None else []),
            *([which] if which else []),
        ],
        blocks=blocks,
        rows=[candidate.row for candidate in shortlist.rows],
        assumptions=assumptions,
        matter=mattering(assumptions, sureness, options) if sureness else None,
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
            "on_paper": {cells: _full_row(candidate) for cells, candidate in shortlist.paper.items()},
            "holds": shortlist.holds,
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
    paper = " on paper" if shortlist.holds else ""
    return f"{name}: {many} of {shortlist.combinations} combinations meet the brief{paper}."


def _best_sentences(shortlist: "Shortlist", shown: Shown) -> list[str]:
    sentences = []
    for cells, group in shortlist.by_cells.items():
        if group and group[0].pick is not None:
            sentences += _sure_sentences(shortlist, group[0], group[0].pick, shown)
        elif group:
            of_all = " and of all" if len(shortlist.by_cells) > 1 and group[0] is shortlist.best else ""
            sentences.append(f"Best with {cells}S{of_all}: {parts_text(group[0].train)}: {_numbers(group[0], shown)}.")
        elif shortlist.best is not None:
            sentences.append(f"With {cells}S nothing meets it.")
    return sentences


def _sure_sentences(shortlist: "Shortlist", first: "Candidate", pick: "Pick", shown: Shown) -> list[str]:
    """The first of a cell count with its chances, and what sureness costs beside the best on paper."""
    cells, holds = first.cells, shortlist.holds[first.cells]
    limits = shortlist.setting.brief.limits
    of_all = " and of all" if len(shortlist.by_cells) > 1 and first is shortlist.best else ""
    what = f"Best that holds with {cells}S{of_all}" if holds else f"Surest with {cells}S, though it may well miss"
    chances = (
        f"keeps the brief in {of_hundred(pick.chance_wishes, limits.chance or 0.0)} and every rating in "
        f"{of_hundred(pick.chance_ratings, limits.rating_chance or 0.0)} of 100 builds"
    )
    if any(each.must_hold for each in shortlist.brief.variant):
        chances += ", in every variant that must hold"
    out = [f"{what}: {parts_text(first.train)}: {_numbers(first, shown)}; {chances}."]
    paper = shortlist.paper[cells]
    if paper.id != first.id and paper.pick is not None:
        out.append(
            f"Best on paper is {parts_text(paper.train)}, {paper.flight_minutes:.1f} minutes, but that keeps "
            f"everything in {of_hundred(paper.pick.chance_all)} of 100, the pick in {of_hundred(pick.chance_all)}."
        )
    if not holds:
        out.append(_what_would(shortlist, first, pick))
    return out


def _what_would(shortlist: "Shortlist", first: "Candidate", pick: "Pick") -> str:
    """What fails first where nothing holds, and what would make it sure."""
    sure, limits = pick.least_sure, shortlist.setting.brief.limits
    wish, rate = limits.chance or 0.0, limits.rating_chance or 0.0
    by_brief = sure.chance_wishes / wish <= sure.chance_ratings / rate
    chances = {name: sure.chance(name) for name in (sure.drawn.wishes if by_brief else sure.drawn.ratings)}
    least = min(chances, key=lambda name: chances[name])
    variant = sure.drawn.setting.variant.name
    where = "" if variant == shortlist.setting.variant.name else f" in '{variant}'"
    cure = "ease that limit, allow other parts" if by_brief else "allow parts that bear more"
    return (
        f"Nothing found with {first.cells}S keeps the brief in {100 * wish:.0f} and every rating in {100 * rate:.0f} "
        f"of 100; what fails first{where} is {check_name(least)}, which {chance_words(chances[least])}: {cure}, or "
        "measure ('propmatch measure' says what)."
    )


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
            **_with_range(shown.cells(shown_columns, candidate), candidate),
            **({"nearest limit": _nearest(candidate.closest)} if candidate.pick is None else {}),
        }
        for rank, (candidate, *_) in enumerate(sets, start=1)
    ]
    head, *numbers = table(rows, left=("nearest limit",))
    by = _order(shortlist.ranking.weights)
    low = "" if not shortlist.holds else ", each at the low end of its range,"
    order = f"best first by {by}{low}" if shortlist.holds.get(cells, True) else "surest first,"
    kept = " brief and ratings: kept in so many of 100 builds" if shortlist.holds else ""
    text = [*wrapped(f"With {cells}S, {order if kept else order.removesuffix(',')}{kept}:"), head]
    for line, (candidate, *others) in zip(numbers, sets, strict=True):
        pick = candidate.pick
        text += [line, *wrapped(candidate.id, first="      ")]
        if candidate.train.supply_g:
            text += wrapped(f"and a {supply_text(candidate.train)}", first="      ")
        if pick is not None:
            text += wrapped(_pick_notes(pick), first="      ")
        if others:
            names = ", ".join(other.controller_id.partition("/")[2] or other.controller_id for other in others[:5])
            text += wrapped(f"or with controller {names}{', ...' if len(others) > 5 else ''}", first="      ")
    return text


def _with_range(cells: dict[str, str], candidate: "Candidate") -> dict[str, str]:
    """The cells of a row with the range of its minutes behind them, and how often it holds."""
    pick = candidate.pick
    if pick is None:
        return cells
    (minutes, value), *rest = cells.items()
    ends = range_words(pick.minutes_low, pick.minutes_high)
    limits = pick.sure.drawn.setting.brief.limits
    kept = {
        "brief": of_hundred(pick.chance_wishes, limits.chance or 0.0),
        "ratings": of_hundred(pick.chance_ratings, limits.rating_chance or 0.0),
    }
    return {minutes: value, "low to high": ends, **kept, **dict(rest)}


def _pick_notes(pick: "Pick") -> str:
    """What is the least certain about a pick, what is odd about it, and how many it stands for."""
    least = pick.sure.least_certain
    notes = (
        [] if least is None else [f"least certain: {check_name(least)}, {chance_words(pick.chance_by_check[least])}"]
    )
    if pick.odd:
        notes.append(f"odd, and counted against it: {', '.join(pick.odd)}")
    if pick.alike:
        notes.append(f"stands for {pick.alike} more of this motor, pack and kind of propeller")
    return "; ".join(notes)


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
    if candidate.pick is not None:
        sentences += [words for words in (least_words(candidate.pick.sure, candidate.checks, shown),) if words]
    elif (near := candidate.closest) is not None:
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
        told = "" if candidate.pick is None else f"; {chance_words(candidate.chance_in[variant])}"
        met = f"fails {words}" if failing else "meets the brief too"
        sentences.append(f"Variant '{variant}': {met}{told}.")
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
    """Every check of one design: value with its range, limit, verdict with the builds of 100 that keep it, basis."""
    rows = [
        {
            "check": f"  {check_name(check.name)}",
            "value": check_range(check),
            "limit": ("at least " if check.least else "at most ") + limit_number(check)
            if math.isfinite(check.limit)
            else "-",
            "in 100": _verdict_words(check),
            "basis": check.limit_source if math.isfinite(check.limit) else "",
        }
        for check in checks
    ]
    return table(rows, left=("check", "limit", "in 100", "basis"))


def _verdict_words(check: "Check") -> str:
    if not math.isfinite(check.chance):
        return check.verdict
    return f"{check.verdict} {of_hundred(check.chance, check.chance_wanted)}"


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
        sentence = f"{name} is number {found.place} of the {found.passing} with {cells} that meet the brief on paper."
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
        headline=[
            sentence,
            verdict_words(found.sure, found.checks, shown_units(options["units"], brief)),
            *([known] if known else []),
            *([which] if which else []),
        ],
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
            "chance_all_limits": found.sure.chance_all_limits,
            "chance_by_check": found.sure.chance_by_check,
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
