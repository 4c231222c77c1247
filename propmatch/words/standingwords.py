"""Where a combination stands among those that meet a brief, or what leaves it out."""

import math
from typing import TYPE_CHECKING

from propmatch.words.checkwords import check_name, limit_text, parts_text, value_text
from propmatch.words.shown import Shown

if TYPE_CHECKING:
    from propmatch.search.why import Why

__all__ = ["standing_words"]


def standing_words(found: "Why", shown: Shown) -> str:
    """Its number among those of its cell count, or what rules it out."""
    name = parts_text(found.train)
    if not found.excluded_by:
        cells = found.train.pack.cells_series
        sure, (wish, rate) = found.sure, found.sure.drawn.asked
        chosen = found.place != 1 and sure.chance_wishes >= wish and sure.chance_ratings >= rate
        why = " That place is by what it does on paper; a choice is also by how surely it does it." if chosen else ""
        return f"{name} is number {found.place} of the {found.passing} with {cells}S that meet the brief on paper.{why}"
    words = "; ".join(
        f"{check_name(check.name)} {value_text(check.value, check.unit, shown)}, {limit_text(check, shown)} "
        f"({check.limit_source})"
        for check in found.excluded_by
    )
    cannot = math.isinf(found.score_bound)
    bound = " Nothing with its propeller and its pack can meet the brief." if cannot else ""
    return f"{name} misses {words}.{bound}"
