"""A row of the shortlist, and its columns: each number is declared here, in one line, for every form of the answer."""

from collections.abc import Sequence
from functools import cached_property
from typing import Any, cast

import attrs
import numpy as np
from numpy.typing import NDArray

from propmatch.checks.chances import sureness
from propmatch.checks.judged import failing, judged_trains
from propmatch.checks.limits import Check, Design, checks_html, checks_of, closest_limit
from propmatch.checks.measures import Setting, TrainMeasures
from propmatch.columns import CUBIC_LOADING, POWER_LOADING, Column, columns_of, lanes_of, number
from propmatch.records.fields import replace
from propmatch.records.parts import PowerTrain
from propmatch.records.trainid import TrainId
from propmatch.search.picks import Pick
from propmatch.search.ranking import metric_value
from propmatch.search.shelf import Shelf
from propmatch.tablehtml import number_text, pairs_html

__all__ = ["Candidate", "candidates", "columns"]


_CHECK_OF = {"mass": "all_up_mass", "top_speed": ""}
"""The check that judges a metric where it bears another name, or none."""


def _metric(metric: str, heading: str, label: str, kind: str = "", digits: int = 1, place: int = 9) -> Any:
    """A metric of the ranking; the page shows and explains it."""
    return number(heading, lambda measured: metric_value(measured, metric), label=label, kind=kind, digits=digits,
                  place=place, page=metric, check=_CHECK_OF.get(metric, metric))  # fmt: skip


def _load(check: str, heading: str, label: str, kind: str = "", digits: int = 1) -> Any:
    """A load, as the check that judges it has it."""
    return number(heading, lambda measured: measured[check].value, label=label, kind=kind, digits=digits,
                  check=check)  # fmt: skip


@attrs.frozen(kw_only=True, eq=False)
class Candidate(TrainId):
    """One power train of a shortlist.

    The numbers are columns: thrust to weight, speed and climb at half charge; currents the largest at full throttle on
    a full pack.

    Attributes
    ----------
    cells : int
    score : float
    design : Design
    checks : tuple of Check
    closest : Check or None
        The check closest to its limit among those that can exclude.
    failing_in : dict
        For each other variant of the brief the names of the checks that rule this train out there.
    pick : Pick or None
        How sure it is; None where the ranking is that on paper.
    others : the other variants of the brief
    """

    cells: int
    all_up_mass_g: float = _metric("mass", "AUW {unit}", "all-up mass", "mass", 0)
    thrust_to_weight: float = _metric("thrust_to_weight", "T/W", "thrust to weight, half charge", digits=2, place=2)
    flight_minutes: float = _metric("flight_time", "{unit}", "flight time", "min", place=1)
    top_speed_m_s: float = _metric("top_speed", "top {unit}", "top level speed, half charge", "speed", 0)
    climb_m_s: float = _metric("climb", "climb {unit}", "best climb, half charge", "m/s")
    motor_current_worst_a: float = _load(
        "controller_current", "motor {unit}", "motor current, full throttle, static or in flight, full battery", "A"
    )
    pack_current_worst_a: float = _load(
        "pack_burst", "pack {unit}", "pack current, full throttle, static or in flight, full battery", "A"
    )
    pack_power_per_mass_w_kg: float = number(kind="W/kg", digits=0, label=POWER_LOADING, html=False)
    cubic_loading_kg_m3: float = number(kind="kg/m3", label=CUBIC_LOADING, html=False)
    score: float
    design: Design
    checks: tuple[Check, ...]
    closest: Check | None
    failing_in: dict[str, tuple[str, ...]]
    pick: Pick | None = None
    others: Sequence[Setting] = ()

    @cached_property
    def chance_in(self) -> dict[str, float]:
        """The chance of all limits together in each other variant; computed."""
        return {other.variant.name: sureness(other, self.train).chance_all_limits for other in self.others}

    @property
    def train(self) -> PowerTrain:
        """The power train."""
        return self.design.train

    def __repr__(self) -> str:
        """One line: its parts and the numbers of the shortlist."""
        numbers = (f"{column.name} {number_text(getattr(self, column.name))}" for column in columns() if column.html)
        return f"{self.cells}S {self.id}: {', '.join(numbers)}"

    def _repr_html_(self) -> str:
        numbers = {column.name: getattr(self, column.name) for column in columns()}
        return pairs_html(numbers, caption=self.id) + checks_html(self.checks)

    @property
    def row(self) -> dict[str, str | int | float | None]:
        """Ids and numbers, as JSON and CSV have them."""
        ids = {field.name: getattr(self, field.name) for field in attrs.fields(TrainId)}
        return {
            "id": self.id,
            **ids,
            "cells": self.cells,
            **{column.name: getattr(self, column.name) for column in columns()},
            **({} if self.pick is None else self.pick.row),
            "receiver_supply_mass_g": self.train.supply_g,
            "score": self.score,
            "closest_limit": self.closest.name if self.closest else None,
            "closest_limit_margin": self.closest.margin if self.closest else None,
            **({} if self.pick is None else {"least_certain": self.pick.least_certain}),
        }

    def check(self, name: str) -> Check:
        """A check by name."""
        return next(c for c in self.checks if c.name == name)


def columns() -> tuple[Column, ...]:
    """The columns of a shortlist."""
    return columns_of(Candidate)


def candidates(
    setting: Setting,
    others: Sequence[Setting],
    shelf: Shelf,
    rows: NDArray[np.intp],
    score: NDArray[np.float64],
    picks: Sequence[Pick] = (),
) -> list[Candidate]:
    """Rows of a shelf, (N, 4) indices, with their checks, and what rules them out in other settings."""
    if not len(rows):
        return []
    lanes, ratings = shelf.combine(*rows.T)
    measured = TrainMeasures(setting, lanes, ratings)
    trains = [shelf.train(*row) for row in rows.tolist()]
    elsewhere = {}
    for other in others:
        own = [replace(train, **other.train_numbers) for train in trains]
        elsewhere[other.variant.name] = failing(judged_trains(other, own)[0])
    checks = checks_of(measured, sure=picks or None)
    values = lanes_of(columns(), measured)
    out = []
    for lane, train in enumerate(trains):
        out.append(
            Candidate(
                motor_id=str(train.motor.id),
                controller_id=str(train.controller.id),
                pack_id=str(train.pack.id),
                propeller_id=str(train.propeller.id),
                **cast(dict[str, Any], values[lane]),
                design=Design.of(train, setting.variant),
                cells=train.pack.cells_series,
                score=float(score[lane]),
                checks=tuple(checks[lane]),
                closest=closest_limit(checks[lane]),
                failing_in={name: lists[lane] for name, lists in elsewhere.items()},
                pick=picks[lane] if picks else None,
                others=tuple(others),
            )
        )
    return out
