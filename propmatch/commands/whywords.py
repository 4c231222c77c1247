"""How ``propmatch match --why`` reads: where one combination stands, and every check of it."""

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import attrs

from propmatch.commands.options import shown_units
from propmatch.commands.output import Reply
from propmatch.commands.trains import LazyCatalogue, train_data
from propmatch.faults import Fault, InputFaults
from propmatch.search.listed import match_rows
from propmatch.words.assumedwords import mattering
from propmatch.words.chancewords import check_range, of_hundred
from propmatch.words.checkwords import check_name, limit_text
from propmatch.words.shown import Shown, table, wrapped
from propmatch.words.standingwords import standing_words
from propmatch.words.verdictwords import headline_words, verdict_words

if TYPE_CHECKING:
    from propmatch.checks.limits import Check
    from propmatch.records.brief import Brief
    from propmatch.search.matching import Shortlist

__all__ = ["checks_block", "row_id", "why_reply"]


def row_id(shortlist: "Shortlist", top: int, number: int) -> str:
    """The id of a row by the number that the text gives it."""
    rows = match_rows(shortlist, top)
    if not 1 <= number <= len(rows):
        rule = f"must be a row, 1 to {len(rows)}, or the ids of its parts"
        raise InputFaults([Fault("--why", value=number, rule=rule)])
    return rows[number - 1].candidate.id


def why_reply(stock: LazyCatalogue, brief: "Brief", options: dict[str, Any], id: str, which: str) -> tuple[Reply, bool]:
    """Why one combination stands where it does; the second is whether it meets the brief."""
    from propmatch.checks.setting import ResolvedBrief
    from propmatch.commands.choose import train_of_ids
    from propmatch.records.parts import PARTS
    from propmatch.records.trainid import joined_ids
    from propmatch.search.why import letting_in, why

    train = train_of_ids(stock, id, "--why")
    resolved = ResolvedBrief.of(letting_in(brief, train))
    ids = joined_ids(getattr(train, kind).id for kind in PARTS)
    found = why(resolved, stock.catalogue, ids, variant=options["variant"])
    setting = resolved.named(options["variant"])
    shown = shown_units(options["units"], brief)
    made = list(dict.fromkeys((*setting.variant.assumptions, *setting.assumptions_of(found.train))))
    reply = Reply(
        command="match",
        headline=[
            standing_words(found, shown),
            verdict_words(found.sure, found.checks, shown),
            f'Its id, for --train: "{ids}".',
            *([which] if which else []),
        ],
        blocks=[
            checks_block(found.checks, shown),
            [line for check in found.checks if check.verdict != "no limit" for line in _note(check)],
        ],
        rows=[attrs.asdict(check) for check in found.checks],
        assumptions=made,
        matter=mattering(made, [found.sure], options),
        faults=stock.broken,
        extra={
            "train": train_data(found.train),
            "failed": [check.name for check in found.excluded_by],
            "verdict": headline_words(found.sure, found.checks),
            "holds": found.meets and found.sure.holds,
            "short_of_asked": found.sure.short,
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


def checks_block(checks: "Sequence[Check]", shown: Shown) -> list[str]:
    """Every check of one design: value with its range, limit, verdict with the builds of 100 that keep it, source."""
    rows = [
        {
            "check": check_name(check.name),
            "value (range)": check_range(check, shown),
            "verdict": check.verdict,
            "limit": limit_text(check, shown),
            "of 100": of_hundred(check.chance, check.chance_wanted),
            "limit from": check.limit_source if math.isfinite(check.limit) else "",
        }
        for check in checks
    ]
    return table(rows, left=("check", "limit", "verdict", "limit from"), spare=("limit from", "of 100"))


def _note(check: "Check") -> list[str]:
    name = check_name(check.name)
    return wrapped(f"{name}: {check.note}", first="  ", rest="    ") if check.note not in ("", name) else []
