"""Side and top view of the picked train for the page."""

from typing import Any

from propmatch.catalogue.catalogue import Catalogue
from propmatch.checks.setting import ResolvedBrief
from propmatch.page.answers import picked_train, shown_for
from propmatch.records.brief import Brief
from propmatch.sheet.aircraftviews import NO_VIEWS, aircraft_views

__all__ = ["views_answer"]


def views_answer(brief: Brief, catalogue: Catalogue, ids: str, variant: str | None = None) -> dict[str, Any]:
    """The drawing as SVG without styles of its own, and what it says; no drawing where the brief has no places."""
    here = ResolvedBrief.of(brief).named(variant)
    picture = aircraft_views(here, picked_train(catalogue, here, ids), shown=shown_for(brief))
    return {"svg": None, "words": NO_VIEWS} if picture is None else {"svg": picture.svg(), "words": picture.summary}
