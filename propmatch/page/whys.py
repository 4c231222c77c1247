"""Why one combination is left out or where it stands, and where nothing meets the brief what comes nearest."""

from typing import Any

from propmatch.catalogue.catalogue import Catalogue
from propmatch.checks.setting import ResolvedBrief
from propmatch.faults import InputFaults
from propmatch.page.answers import picked_train, shown_for
from propmatch.questions.box import BoxCells, judge_cells
from propmatch.questions.shopping import what_fits
from propmatch.records.brief import Brief
from propmatch.records.parts import PARTS
from propmatch.records.trainid import joined_ids
from propmatch.search.matching import shelves_of
from propmatch.search.why import letting_in, why
from propmatch.words.boxwords import box_cells, box_dangers, box_heading, box_notes, buy_first, other_purchases
from propmatch.words.checkwords import joined, parts_text
from propmatch.words.misswords import misses_words, nothing_words, sampled_words, train_names
from propmatch.words.shown import Shown
from propmatch.words.standingwords import standing_words

__all__ = ["nearest_answer", "why_answer"]


def why_answer(brief: Brief, catalogue: Catalogue, ids: str, variant: str | None = None) -> dict[str, Any]:
    """Where a train stands among those that meet the brief, or what leaves it out."""
    train = picked_train(catalogue, ResolvedBrief.of(brief).named(variant), ids)
    try:
        found = why(letting_in(brief, train), catalogue, ids, variant=variant)
    except InputFaults as error:
        kinds = [fault.key for fault in error.faults]
        if not {*kinds} <= {*PARTS}:
            raise
        words = f"{parts_text(train)} is left out: the brief lets in other parts alone; see {joined(kinds)}."
        return {"words": words, "meets": False}
    return {"words": standing_words(found, shown_for(brief)), "meets": found.meets}


def nearest_answer(brief: Brief, catalogue: Catalogue, variant: str | None = None) -> dict[str, Any]:
    """What works with each cell count, or what all of it misses and which combinations come nearest.

    Of a box, where the brief names some, also what to buy, as ``match --only`` says it.
    """
    here, shown = ResolvedBrief.of(brief).named(variant), shown_for(brief)
    if brief.parts.only:
        box = what_fits(brief, catalogue, variant=variant)
        first = [*box_dangers(box, shown), box_heading(box, brief.aircraft.name), *buy_first(box, shown)]
        return {
            "first": [*first, *other_purchases(box, shown)],
            "cells": [_cells(found, box_cells(box, found, shown)[0], shown) for found in box.by_cells.values()],
            "notes": box_notes(box),
        }
    judged = [judge_cells(here, shelf, cells) for cells, shelf in shelves_of(here, catalogue)[0].items()]
    words = ["some meet the brief on paper." if found.passing else nothing_words(found, shown) for found in judged]
    return {
        "first": [],
        "cells": [_cells(found, f"{found.cells}S: {text}", shown) for found, text in zip(judged, words, strict=True)],
        "notes": [sampled_words(found) for found in judged if found.judged < found.combinations],
    }


def _cells(found: BoxCells, words: str, shown: Shown) -> dict[str, Any]:
    """One cell count, with its nearest misses as trains that can be picked."""
    return {
        "cells": found.cells,
        "passing": found.passing,
        "words": words,
        "nearest": [
            {"id": joined_ids(getattr(miss.train, kind).id for kind in PARTS), "name": train_names(miss),
             "words": misses_words(miss, shown)}
            for miss in found.nearest
        ],
    }  # fmt: skip
