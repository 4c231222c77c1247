"""Checks of many trains, masses and fields at once: the measures of the limits with any of them varied by lane."""

from collections.abc import Sequence
from typing import Any

import attrs
import numpy as np
from numpy.typing import ArrayLike

from propmatch.checks.checkrules import CHECKS, excluding
from propmatch.checks.measures import Setting, TrainMeasures
from propmatch.checks.ratings import RatingLanes, rating_lanes
from propmatch.models.air import Air
from propmatch.models.arrays import Flags, Floats
from propmatch.records.estimates import Assumption, supply_assumed
from propmatch.records.motoroff import motor_off_notes
from propmatch.records.packflight import flight_notes
from propmatch.records.parts import PowerTrain
from propmatch.train.lanes import TrainLanes, train_lanes

__all__ = ["failing", "judged", "judged_trains", "passing", "smallest_margins"]


def judged(
    setting: Setting,
    lanes: TrainLanes,
    ratings: RatingLanes,
    *,
    all_up_mass_g: ArrayLike | None = None,
    air: Air | None = None,
) -> TrainMeasures:
    """The measures of N lanes.

    Parameters
    ----------
    setting : Setting
    lanes, ratings : N power trains
    all_up_mass_g : array_like (N,) [g], optional
        Instead of bare mass and power train; the bare aircraft takes up the difference (`MassBuildUp.at`), and where
        none is as light there is no answer.
    air : Air, optional
        Of each lane; default the brief's site.
    """
    if air is not None:
        setting = attrs.evolve(setting, air=air)
    if all_up_mass_g is None:
        return TrainMeasures(setting, lanes, ratings)
    mass = np.broadcast_to(np.asarray(all_up_mass_g, dtype=np.float64), (lanes.size,))
    setting = attrs.evolve(setting, lanes=setting.build.at(mass - ratings.mass_g))
    return TrainMeasures(setting, lanes, ratings)


def judged_trains(
    setting: Setting, trains: Sequence[PowerTrain], **numbers: Any
) -> tuple[TrainMeasures, tuple[Assumption, ...]]:
    """The same for power trains as the setting flies them, with the estimates made for their parts."""
    trains = [setting.flown(train) for train in trains]
    lanes, made = train_lanes(trains)
    of_mass = [each for train in trains for each in supply_assumed(train)]
    of_flight = flight_notes(setting.cutoff_cell_v, [train.pack for train in trains])
    of_glide = [each for train in trains for each in motor_off_notes(train, setting.phases)]
    assumed = tuple(dict.fromkeys((*made, *of_mass, *of_flight, *of_glide)))
    return judged(setting, lanes, rating_lanes(trains), **numbers), assumed


def _failures(measured: TrainMeasures, without: Sequence[str]) -> dict[str, Flags]:
    return {name: ~measured.passes(name) for name in excluding() if name not in without and measured.has_limit(name)}


def failing(measured: TrainMeasures, *, without: Sequence[str] = ()) -> list[tuple[str, ...]]:
    """For each lane the checks of the brief and of ratings that it fails, a danger first."""
    failed = dict(sorted(_failures(measured, without).items(), key=lambda item: not CHECKS[item[0]].danger))
    return [tuple(name for name, out in failed.items() if out[lane]) for lane in range(measured.lanes.size)]


def passing(measured: TrainMeasures, *, without: Sequence[str] = ()) -> Flags:
    """Lanes that pass every check of the brief and of part ratings."""
    good = np.ones(measured.lanes.size, dtype=np.bool_)
    for out in _failures(measured, without).values():
        good &= ~out
    return good


def smallest_margins(measured: TrainMeasures) -> Floats:
    """Smallest margin of each lane over the checks that can exclude and be near; 1 where none has a limit."""
    each = [measured[name].margin(CHECKS[name]) for name in excluding() if CHECKS[name].graded]
    least = np.fmin.reduce([np.where(np.isposinf(margin), np.nan, margin) for margin in each])
    return np.where(np.isnan(least), 1.0, least)
