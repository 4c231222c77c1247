"""A shortlist as people read it: a few rows of each cell count, controllers that serve alike in one row."""

from typing import Any

import attrs

from propmatch.search.candidate import Candidate
from propmatch.search.matching import Shortlist

__all__ = ["ROWS", "MatchRow", "judged_data", "match_rows"]


ROWS = 5
"""Rows of each cell count where nobody says how many."""


@attrs.frozen(kw_only=True)
class MatchRow:
    """One line of the answer in every form of it.

    Attributes
    ----------
    number : int
        What ``--why`` calls it.
    rank : int
        Among those of its cell count, 1 the best.
    candidate : Candidate
    others : tuple of str
        Ids of other controllers that this motor, pack and propeller may have, best first.
    """

    number: int
    rank: int
    candidate: Candidate
    others: tuple[str, ...] = ()

    @property
    def data(self) -> dict[str, Any]:
        """As CSV has it."""
        return {"number": self.number, "rank": self.rank, **self.candidate.row, "other_controller_ids": self.others}

    @property
    def full(self) -> dict[str, Any]:
        """As JSON has it."""
        return {**self.data, **judged_data(self.candidate)}


def judged_data(one: Candidate) -> dict[str, Any]:
    """Its checks with their chances, and what it fails in other variants, for JSON."""
    by_check = {} if one.pick is None else {"chance_by_check": one.pick.chance_by_check}
    return {**by_check, "checks": one.checks, "failed_in": one.failing_in}


def match_rows(shortlist: Shortlist, top: int) -> list[MatchRow]:
    """At most ``top`` rows of each cell count; combinations that differ in the controller alone share one."""
    rows: list[MatchRow] = []
    for group in shortlist.by_cells.values():
        sets: dict[tuple[str, str, str], list[Candidate]] = {}
        for each in group:
            sets.setdefault((each.motor_id, each.propeller_id, each.pack_id), []).append(each)
        for rank, (first, *others) in enumerate(list(sets.values())[:top], start=1):
            ids = tuple(each.controller_id for each in others)
            rows.append(MatchRow(number=len(rows) + 1, rank=rank, candidate=first, others=ids))
    return rows
