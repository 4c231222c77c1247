"""From a brief and a catalogue to everything the build sheet says, before anybody draws or prints it."""

from collections.abc import Callable

from propmatch.bench.logfit import LogFit
from propmatch.catalogue.catalogue import Catalogue
from propmatch.checks.chances import as_stated, sureness
from propmatch.checks.judged import judged_trains
from propmatch.checks.limits import Design, checks_of
from propmatch.checks.setting import ResolvedBrief
from propmatch.faults import InputFaults
from propmatch.questions.asflown import as_flown
from propmatch.records.brief import Brief
from propmatch.records.parts import PowerTrain
from propmatch.search.matching import Shortlist, best_train, match, nothing_meets
from propmatch.sheet.answering import answering
from propmatch.sheet.case import Case, Section, Sheet
from propmatch.sheet.decision import decision, headline
from propmatch.sheet.further import further
from propmatch.words.shown import Shown

__all__ = ["Section", "Sheet", "build_sheet"]

_TOP = 40
"""Combinations looked for, because those that differ in the controller alone share a line of the sheet."""


def build_sheet(
    brief: Brief | ResolvedBrief,
    catalogue: Catalogue,
    *,
    train: PowerTrain | None = None,
    shortlist: Shortlist | None = None,
    shown: Shown | None = None,
    fit: LogFit | None = None,
    on_paper: bool = False,
    progress: Callable[[int, int], None] | None = None,
) -> Sheet:
    """Put the sheet together.

    Parameters
    ----------
    brief : Brief, resolved already or not
    catalogue : Catalogue
    train : PowerTrain, optional
        The train that the charts show; default the best for the brief.
    shortlist : Shortlist, optional
        What :func:`propmatch.match` found; default: found here.
    shown : Shown, optional
        Units; default the brief's.
    fit : LogFit, optional
        Of a bench log of the motor, drawn on the sheet.
    on_paper : bool
        Every number as it is stated: no ranges, chances, timer, nothing that answers, nothing to publish.
    progress : callable, optional
        Called with combinations matched and in all.

    Raises
    ------
    InputFaults
        The catalogue lacks what the brief asks for and no train was given.
    Unmet
        No train was given and none of the catalogue meets the brief.
    """
    resolved, found = ResolvedBrief.of(brief), shortlist
    if found is None:
        try:
            found = match(resolved, catalogue, top=_TOP, on_paper=on_paper, progress=progress)
        except InputFaults:
            if train is None:
                raise
    chosen = train or (found.best.train if found and found.best else None)
    if on_paper and train is None and chosen is not None:
        chosen = best_train(resolved, catalogue)
    if chosen is None:
        raise nothing_meets(resolved.stated)
    setting, stated, units = resolved.as_designed, resolved.stated, resolved.stated.units
    design = Design.of(chosen, setting.variant)
    flight = setting.flight_time(chosen)
    sure = as_stated(setting, [chosen]).each[0] if on_paper else sureness(setting, chosen)
    own = checks_of(judged_trains(setting, [chosen])[0], sure=None if on_paper else [sure])[0]
    case = Case(
        resolved=resolved, catalogue=catalogue, train=chosen, design=design,
        checks=(*own, *catalogue.extra_checks(design, stated)), sure=sure, flight=flight,
        flown=as_flown(chosen, setting, flight, sure), shortlist=found,
        unnamed=train is None, fit=fit,
        shown=shown or Shown(thrust=units.thrust, speed=units.speed, wing_loading=units.wing_loading),
    )  # fmt: skip
    return Sheet(
        title=f"{stated.aircraft.name}: power train",
        lead=headline(case), first=decision(case), rest=further(case),
        answering=None if on_paper else answering(case),
        design=design, checks=case.checks, flight=flight, shortlist=found,
    )  # fmt: skip
