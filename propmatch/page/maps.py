"""The map of all that meets the brief, with what is known kept between two steps of a number.

The page is told indices of parts, and once which parts these are.
"""

import hashlib
from collections.abc import Callable
from typing import Any

import attrs
import numpy as np

from propmatch.catalogue.catalogue import Catalogue
from propmatch.checks.setting import ResolvedBrief, Setting
from propmatch.faults import Fault, InputFaults
from propmatch.models.arrays import Floats
from propmatch.records.brief import Brief
from propmatch.search.front import Passing, pareto, passing_map
from propmatch.search.keptrows import KeptRows
from propmatch.search.matching import shelf_for
from propmatch.search.shelf import Shelf

__all__ = ["MARKS", "MapMaker", "Maps"]

MARKS = 2000
_STOCKS = 3
"""Shelves kept beside the latest."""
_DIGITS = 6
"""Digits of the numbers of a mark: far more than a drawing shows."""
Tick = Callable[[], None]
"""Called between two blocks of work; what it raises ends it."""


class MapMaker:
    """Answers for one shelf after the other, the rows of the latest place kept."""

    def __init__(self) -> None:
        self._kept: KeptRows | None = None

    def map(self, setting: Setting, shelf: Shelf, tick: Tick, *, moving: bool) -> Passing:
        """What passes, by the rows of its place where they can be kept, else by the search itself."""
        if self._kept is None or not self._kept.serves(setting, shelf):
            self._kept = None
            self._kept = KeptRows.of(setting, shelf, tick)
        if self._kept is not None:
            return self._kept.map(setting, most=MARKS, moving=moving, tick=tick)
        cells = setting.brief.limits.cells
        packs = np.flatnonzero(np.isin(shelf.column("cells"), cells)) if cells else np.arange(len(shelf.packs))
        found = passing_map(setting, shelf.with_packs(packs), most=MARKS, tick=tick)
        found.combination[:, 2] = packs[found.combination[:, 2]]
        return found

    def prepare(self, tick: Tick) -> None:
        """Measure more of the rows that are kept."""
        if self._kept is not None:
            self._kept.prepare(tick)


@attrs.frozen(eq=False)
class _Stock:
    """A shelf, the name by which page and worker know it, and its combinations by the cell counts asked for."""

    shelf: Shelf
    name: str
    combinations: dict[tuple[int, ...], int] = attrs.field(factory=dict)

    def of_cells(self, cells: tuple[int, ...]) -> int:
        """Combinations on packs of these cell counts.

        Raises
        ------
        InputFaults
            A cell count without packs.
        """
        if cells not in self.combinations:
            own = self.shelf.column("cells")
            missing = [each for each in cells if each not in own]
            if missing:
                raise InputFaults([Fault("catalogue", "limits.cells", each, f"the catalogue has no {each}S pack")
                                   for each in missing])  # fmt: skip
            some = np.flatnonzero(np.isin(own, cells)) if cells else np.arange(own.size)
            self.combinations[cells] = self.shelf.with_packs(some).combinations
        return self.combinations[cells]


class Maps:
    """Answers the page's questions about the map, what is the same for the next one kept."""

    def __init__(self) -> None:
        self._maker = MapMaker()
        self._stocks: dict[tuple[Any, ...], _Stock] = {}

    def stock(self, here: Setting, catalogue: Catalogue, log: Any = None) -> _Stock:
        """The shelf of a setting; parts are laid out anew only when parts or what is the same for all trains change."""
        numbers: dict[str, Any] = dict(here.train_numbers)
        warmth = numbers.pop("pack_temperature_c")
        place = (here.brief.parts, *sorted(numbers.items()), here.cutoff_cell_v, str(log))
        key = (*place, warmth)
        if key not in self._stocks:
            like = next((stock for other, stock in self._stocks.items() if other[:-1] == place), None)
            shelf = shelf_for(here, catalogue) if like is None else like.shelf.warmed(warmth)
            ids = "\n".join(str(part.id) for parts in shelf.kinds.values() for part in parts)
            if len(self._stocks) > _STOCKS:
                del self._stocks[next(iter(self._stocks))]
            self._stocks[key] = _Stock(shelf, hashlib.sha256(repr((ids, log)).encode()).hexdigest()[:16])
        return self._stocks[key]

    def parts(self, brief: Brief, catalogue: Catalogue, *, variant: str | None, log: Any = None) -> dict[str, Any]:
        """The ids and names of the parts that a map speaks of by index, and the cells of each pack."""
        stock = self.stock(ResolvedBrief.of(brief).named(variant), catalogue, log)
        kinds = {kind: [str(part.id) for part in parts] for kind, parts in stock.shelf.kinds.items()}
        names = {kind: [part.name for part in parts] for kind, parts in stock.shelf.kinds.items()}
        return {
            "stock": stock.name, **kinds, "names": names, "cells": [pack.cells_series for pack in stock.shelf.packs],
        }  # fmt: skip

    def map(
        self, brief: Brief, catalogue: Catalogue, *, variant: str | None = None, log: Any = None,
        moving: bool = False, tick: Tick = lambda: None,
    ) -> dict[str, Any]:  # fmt: skip
        """Every combination that meets the brief, at most 2,000 of them drawn.

        First stand those, as many as ``front`` says, that none beats in time and thrust to weight, which the map shows.

        Raises
        ------
        InputFaults
            A kind without parts, a cell count without packs.
        """
        here = ResolvedBrief.of(brief).named(variant)
        stock = self.stock(here, catalogue, log)
        combinations = stock.of_cells(here.brief.limits.cells)
        found = self._maker.map(here, stock.shelf, tick, moving=moving)
        # nobody is beaten in these two by one that three criteria leave out, so all of them are held
        front = pareto(found.flight_minutes, found.thrust_to_weight, np.zeros(found.flight_minutes.size))
        order = np.lexsort((~found.front, ~front))[:MARKS]
        found = found.take(order)
        return {
            "total": found.total,
            "combinations": combinations,
            "stock": stock.name,
            "parts": found.combination.ravel().tolist(),
            "flight_minutes": _rounded(found.flight_minutes),
            "thrust_to_weight": _rounded(found.thrust_to_weight),
            "all_up_mass_g": _rounded(found.all_up_mass_g),
            "front": int(np.count_nonzero(front[order])),
        }

    def prepare(self, tick: Tick) -> None:
        """Know more of what was asked for last, for as long as nobody asks."""
        self._maker.prepare(tick)


def _rounded(values: Floats) -> list[float | None]:
    """Numbers with six digits that count, where they are below a million; None where there is none."""
    with np.errstate(all="ignore"):
        scale = 10.0 ** np.clip(_DIGITS - 1.0 - np.floor(np.log10(np.abs(values))), 0.0, 22.0)
        near = np.where(values == 0, 0.0, np.round(values * scale) / scale)
    return [each if known else None for each, known in zip(near.tolist(), np.isfinite(near).tolist(), strict=True)]
