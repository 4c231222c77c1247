"""How ``propmatch match`` reads: the best in a sentence, a list for each cell count, why, and what was left out."""

import math
from collections.abc import Sequence
from typing import Any

import attrs

from propmatch.commands.output import Reply
from propmatch.commands.trains import LazyCatalogue, train_data
from propmatch.shown import Shown, signed, table, wrapped

__all__ = ["candidate_row", "check_block", "match_reply", "why_reply"]

_METRIC_WORDS = {
    "flight_time": "flight time", "thrust_to_weight": "thrust to weight", "mass": "low mass", "top_speed": "top speed",
    "climb": "climb", "margin": "distance from the limits",
}  # fmt: skip


def candidate_row(candidate: Any) -> dict[str, Any]:
    """A candidate for JSON and CSV."""
    names = ("id", "motor_id", "controller_id", "pack_id", "propeller_id", "cells", "all_up_mass_g", "thrust_to_weight",
             "flight_minutes", "top_speed_m_s", "climb_m_s", "motor_current_a", "pack_current_a", "score")  # fmt: skip
    return {
        **{name: getattr(candidate, name) for name in names},
        "nearest": candidate.nearest.name if candidate.nearest else None,
        "nearest_margin": candidate.nearest.margin if candidate.nearest else None,
    }


def _full_row(candidate: Any) -> dict[str, Any]:
    return {**candidate_row(candidate), "checks": candidate.checks, "variants": candidate.variants}


def _parts(candidate: Any) -> str:
    train = candidate.train
    return f"{train.motor.name}, {train.propeller.name}, {train.pack.name}, {train.controller.name}"


def _numbers(candidate: Any, shown: Shown) -> str:
    return (
        f"{candidate.flight_minutes:.1f} minutes, {shown.mass_text(candidate.all_up_mass_g)} all-up, thrust to weight "
        f"{candidate.thrust_to_weight:.2f}"
    )


def match_reply(stock: LazyCatalogue, shortlist: Any, shown: Shown, which: str) -> tuple[Reply, bool]:
    """The answer, and whether anything meets the brief."""
    best = shortlist.best
    heading = _heading(shortlist)
    blocks: list[list[str]] = []
    for cells, group in shortlist.by_cells.items():
        blocks.append(_group_block(shortlist, cells, group, shown))
        if group:
            blocks.append(_reasons(shortlist, group[0], shown))
    blocks.append(_left_out(shortlist))
    remarks = [which] if which else []
    if not shortlist.complete:
        remarks.insert(0, "The search was interrupted: these are the best so far.")
    reply = Reply(
        command="match",
        headline=[heading, *_best_sentences(shortlist, shown)],
        blocks=blocks,
        rows=[candidate_row(candidate) for candidate in shortlist.rows],
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
        },
        caution=True,
    )
    return reply, best is not None


def _heading(shortlist: Any) -> str:
    name = f"{shortlist.brief.aircraft.name}, {shortlist.setting.variant.name}"
    many = "some" if shortlist.passing is None else f"{shortlist.passing}"
    if shortlist.best is None:
        return f"{name}: none of {shortlist.combinations} combinations meets the brief."
    return f"{name}: {many} of {shortlist.combinations} combinations meet the brief."


def _best_sentences(shortlist: Any, shown: Shown) -> list[str]:
    sentences = []
    for cells, group in shortlist.by_cells.items():
        if group:
            sentences.append(f"Best with {cells}S: {_parts(group[0])}: {_numbers(group[0], shown)}.")
        elif shortlist.best is not None:
            sentences.append(f"With {cells}S nothing meets it.")
    return sentences


def _group_block(shortlist: Any, cells: int, group: Sequence[Any], shown: Shown) -> list[str]:
    if not group:
        return []
    weights = shortlist.ranking.weights
    total = sum(weights.values())
    order = ", ".join(
        f"{_METRIC_WORDS.get(name, name)}" + ("" if len(weights) == 1 else f" {100 * weight / total:.0f} %")
        for name, weight in weights.items()
    )
    rows = []
    for rank, candidate in enumerate(group, start=1):
        rows.append(
            {
                "": f"{rank}.",
                "min": signed(candidate.flight_minutes),
                "thrust/weight": signed(candidate.thrust_to_weight, 2),
                f"all-up {shown.mass_unit}": signed(
                    shown.mass_of(candidate.all_up_mass_g), 0 if shown.mass_unit == "g" else 1
                ),
                f"top {shown.speed_unit}": signed(shown.speed_of(candidate.top_speed_m_s), 0),
                "climb m/s": signed(candidate.climb_m_s),
                "motor A": signed(candidate.motor_current_a),
                "pack A": signed(candidate.pack_current_a),
                "nearest limit": _nearest(candidate.nearest),
            }
        )
    head, *lines = table(rows, left=("nearest limit",))
    text = [f"With {cells}S, best first by {order}:", head]
    for line, candidate in zip(lines, group, strict=True):
        text += [line, *wrapped(candidate.id, first="      ")]
    return text


def _nearest(check: Any) -> str:
    if check is None:
        return "-"
    return f"{check.name.replace('_', ' ')}, {100 * check.margin:.0f} % off"


def _value(check: Any) -> str:
    digits = 0 if check.unit in ("g", "rpm") else 2 if abs(check.value) < 10 else 1
    return f"{signed(check.value, digits)} {check.unit}".strip()


def _limit(check: Any) -> str:
    digits = 0 if check.unit in ("g", "rpm") else 2 if abs(check.limit) < 10 else 1
    return f"{signed(check.limit, digits)} {check.unit}".strip()


def _worded_limit(check: Any) -> str:
    if not math.isfinite(check.limit):
        return "-"
    return f"at {'least' if check.least else 'most'} {_limit(check)}"


def _reasons(shortlist: Any, candidate: Any, shown: Shown) -> list[str]:
    """Why the first of a list is good, which limit binds it, and what it does in the other variants."""
    reasons = []
    for name, word in (("flight_time", "flies"), ("thrust_to_weight", "thrust to weight"), ("climb", "climbs")):
        check = candidate.check(name)
        if math.isfinite(check.limit):
            reasons.append(f"{word} {_value(check)} where {_limit(check)} is asked")
    mass = candidate.check("all_up_mass")
    if math.isfinite(mass.limit):
        reasons.append(f"{shown.mass_text(mass.limit - mass.value)} below the target mass")
    sentences = [f"The first: {'; '.join(reasons)}." if reasons else "The first:"]
    if candidate.nearest is not None:
        near = candidate.nearest
        sentences.append(
            f"What binds it is the {near.name.replace('_', ' ')}: {_value(near)} against {_limit(near)} ({near.basis})."
        )
    close = [c.name.replace("_", " ") for c in candidate.checks if c.verdict == "over" and c.basis == "common practice"]
    if close:
        sentences.append(f"Outside common practice: {', '.join(close)} (--why tells more).")
    for variant, failing in candidate.variants.items():
        words = ", ".join(name.replace("_", " ") for name in failing)
        sentences.append(f"Variant '{variant}': " + (f"fails {words}." if failing else "meets the brief too."))
    return wrapped(" ".join(sentences), first="  ")


def _left_out(shortlist: Any) -> list[str]:
    if not shortlist.left_out:
        return []
    from propmatch.measures import CHECKS

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
                    "limit": f"{name.replace('_', ' ')}: {what}",
                }
            )
    return ["Left out, counted at the first limit each fails:", *table(rows, left=("limit",))[1:]]


def _assumptions(shortlist: Any) -> list[Any]:
    """Of the brief and the variant, and of the first train of each list."""
    from propmatch.estimates import completed

    made = dict.fromkeys((*completed(shortlist.brief)[1], *shortlist.setting.variant.assumptions))
    for group in shortlist.by_cells.values():
        for candidate in group[:1]:
            made.update(dict.fromkeys(completed(candidate.train)[1]))
    return list(made)


# ---------------------------------------------------------------- why


def check_block(checks: Sequence[Any]) -> list[str]:
    """Every check of one design: value, limit, margin, verdict, basis."""
    rows = [
        {
            "check": f"  {check.name.replace('_', ' ')}",
            "value": _value(check),
            "limit": ("at least " if check.least else "at most ") + _limit(check)
            if math.isfinite(check.limit)
            else "-",
            "margin": f"{100 * check.margin:.0f} %" if math.isfinite(check.margin) else "-",
            "verdict": check.verdict,
            "basis": check.basis if math.isfinite(check.limit) else "",
        }
        for check in checks
    ]
    return table(rows, left=("check", "limit", "verdict", "basis"))


def why_reply(stock: LazyCatalogue, shortlist: Any, text: str, shown: Shown, which: str) -> tuple[Reply, bool]:
    """Every check of one combination, and where it stands; the second is whether it meets the brief."""
    from propmatch.commands.choose import train_of_ids
    from propmatch.estimates import completed
    from propmatch.limits import Design, excludes, run_checks

    variant = shortlist.setting.variant
    train = train_of_ids(
        stock, text, "--why", count=variant.motor_count, accessory_current_a=variant.accessory_current_a,
        pack_temperature_c=shortlist.setting.brief.site.pack_temperature_c,
    )  # fmt: skip
    checks = run_checks(Design.of(train, variant), shortlist.brief)
    failing = [check for check in checks if excludes(check)]
    group = shortlist.by_cells.get(train.pack.cells_series, ())
    name = f"{train.motor.name}, {train.propeller.name}, {train.pack.name}, {train.controller.name}"
    if failing:
        words = "; ".join(f"{c.name.replace('_', ' ')} {_value(c)} against {_limit(c)} ({c.basis})" for c in failing)
        sentence = f"{name} is left out: {words}."
    else:
        place = [
            at
            for at, candidate in enumerate(group, start=1)
            if {candidate.motor_id, candidate.controller_id, candidate.pack_id, candidate.propeller_id}
            == {train.motor.id, train.controller.id, train.pack.id, train.propeller.id}
        ]
        stands = (
            f"is number {place[0]} of those with {train.pack.cells_series}S"
            if place
            else f"meets the brief, but is not among the first {len(group)} with {train.pack.cells_series}S"
        )
        sentence = f"{name} {stands}."
    reply = Reply(
        command="match",
        headline=[sentence],
        blocks=[check_block(checks), [line for c in checks if c.note for line in _note(c)]],
        rows=[attrs.asdict(check) for check in checks],
        assumptions=list(dict.fromkeys((*variant.assumptions, *completed(train)[1]))),
        faults=stock.broken,
        remarks=[which] if which else [],
        extra={"train": train_data(train), "excluded_by": [check.name for check in failing]},
        caution=True,
    )
    return reply, not failing


def _note(check: Any) -> list[str]:
    return wrapped(f"{check.name.replace('_', ' ')}: {check.note}", first="  ", rest="    ")
