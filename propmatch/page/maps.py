"""The map of all that meets the brief: made in one worker that keeps what it knows between two steps of a number.

The page is told indices of parts, and once which parts these are. The newest question of a page wins: one that it gave
up is dropped by the worker as soon as it looks.
"""

import contextlib
import hashlib
from collections.abc import Callable
from concurrent.futures import BrokenExecutor, Executor, Future
from functools import partial
from itertools import count
from threading import Lock
from typing import Any, Protocol

import attrs
import numpy as np

from propmatch.catalogue.catalogue import Catalogue
from propmatch.checks.setting import ResolvedBrief, Setting
from propmatch.faults import Fault, InputFaults
from propmatch.models.arrays import Floats
from propmatch.records.brief import Brief
from propmatch.search.front import Passing, passing_map
from propmatch.search.keptrows import KeptRows, place_of
from propmatch.search.matching import shelf_for
from propmatch.search.shelf import Shelf

__all__ = ["EVERY", "MARKS", "Dropped", "MapMaker", "Maps", "in_worker"]

MARKS = 2000
EVERY = -1
"""Signals that every question is given up: the server ends."""
_DIGITS = 6
"""Digits of the numbers of a mark: far more than a drawing shows."""


class Dropped(Exception):
    """Nobody waits for this answer any more."""


class Signal(Protocol):
    """The number of the question that was given up, in memory that both processes see."""

    value: int


@attrs.define
class _Here:
    """A signal within one process."""

    value: int = 0


class MapMaker:
    """Answers for one shelf after the other, the rows of the latest place kept."""

    def __init__(self) -> None:
        self._kept: KeptRows | None = None

    def map(self, setting: Setting, shelf: Shelf, tick: Callable[[], None], *, moving: bool) -> Passing:
        """What passes, by the rows that are kept where they serve, else by the search itself."""
        if self._kept is not None and self._kept.serves(setting, shelf):
            return self._kept.map(setting, most=MARKS, moving=moving, tick=tick)
        cells = setting.brief.limits.cells
        packs = np.flatnonzero(np.isin(shelf.column("cells"), cells)) if cells else np.arange(len(shelf.packs))
        found = passing_map(setting, shelf.with_packs(packs), most=MARKS, tick=tick)
        found.combination[:, 2] = packs[found.combination[:, 2]]
        return found

    def keep(self, setting: Setting, shelf: Shelf, tick: Callable[[], None]) -> None:
        """Keep the rows of a place, where they can be and are not kept already."""
        if self._kept is None or not self._kept.serves(setting, shelf):
            self._kept = None
            self._kept = KeptRows.of(setting, shelf, tick)


_IN_WORKER: dict[str, Any] = {}


def in_worker(signal: Signal | None = None) -> None:
    """Give a worker process what it needs."""
    _IN_WORKER.update(maker=MapMaker(), signal=signal or _Here(), shelf=None)


def _tick(signal: Signal, ticket: int) -> None:
    if signal.value in (ticket, EVERY):
        raise Dropped


def _work(ticket: int, what: str, setting: Setting, shelf: Shelf | None, **more: Any) -> Any:
    """One question in the worker; a shelf is sent with the first question about it."""
    if shelf is not None:
        _IN_WORKER["shelf"] = shelf
    tick = partial(_tick, _IN_WORKER["signal"], ticket)
    tick()
    return getattr(_IN_WORKER["maker"], what)(setting, _IN_WORKER["shelf"], tick, **more)


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
    """The door of the room: answers the page's questions about the map, by the worker or here.

    Parameters
    ----------
    worker : Executor, optional
        One other process, begun with :func:`in_worker`.
    signal : Signal, optional
        What that process looks at.
    """

    def __init__(self, worker: Executor | None = None, signal: Signal | None = None) -> None:
        self._worker, self._signal = worker, signal or _Here()
        self._tickets, self._lock, self._here = count(1), Lock(), Lock()
        self._maker = MapMaker()
        self._of_page: dict[str, int] = {}
        self._stocks: dict[tuple[Any, ...], _Stock] = {}
        self._preparing: tuple[int, Any] | None = None
        self._sent: str | None = None

    def stock(self, here: Setting, catalogue: Catalogue, log: Any = None) -> _Stock:
        """The shelf of a setting; parts are laid out anew only when parts or what is the same for all trains change."""
        numbers = tuple(sorted(here.train_numbers.items(), key=lambda item: item[0]))
        key = (here.brief.parts, numbers, here.cutoff_cell_v, str(log))
        if key not in self._stocks:
            shelf = shelf_for(here, catalogue)
            ids = "\n".join(str(part.id) for parts in shelf.kinds.values() for part in parts)
            name = hashlib.sha256(repr((ids, numbers, log)).encode()).hexdigest()[:16]
            if len(self._stocks) > 3:
                self._stocks.clear()
            self._stocks[key] = _Stock(shelf, name)
        return self._stocks[key]

    def parts(self, brief: Brief, catalogue: Catalogue, *, variant: str | None, log: Any = None) -> dict[str, Any]:
        """The ids of the parts that a map speaks of by index, and the cells of each pack."""
        stock = self.stock(ResolvedBrief.of(brief).named(variant), catalogue, log)
        kinds = {kind: [str(part.id) for part in parts] for kind, parts in stock.shelf.kinds.items()}
        return {"stock": stock.name, **kinds, "cells": [pack.cells_series for pack in stock.shelf.packs]}

    def map(
        self, brief: Brief, catalogue: Catalogue, *, variant: str | None = None, log: Any = None,
        moving: bool = False, page: str = "",
    ) -> dict[str, Any]:  # fmt: skip
        """Every combination that meets the brief, at most 2,000 of them drawn, those of the front first.

        Raises
        ------
        InputFaults
            A kind without parts, a cell count without packs.
        Dropped
            The page asked again before this was answered.
        """
        here = ResolvedBrief.of(brief).named(variant)
        stock = self.stock(here, catalogue, log)
        combinations, place = stock.of_cells(here.brief.limits.cells), (stock.name, place_of(here))
        ticket = self._next(page, place)
        try:
            found = self._answered(ticket, here, stock, moving)
        finally:
            with self._lock:
                if self._of_page.get(page) == ticket:
                    del self._of_page[page]
        if not moving:
            self._prepare(here, stock, place)
        order = np.argsort(-found.front.astype(np.int8), kind="stable")[:MARKS]
        found = found.take(order)
        return {
            "total": found.total,
            "combinations": combinations,
            "stock": stock.name,
            "parts": found.combination.ravel().tolist(),
            "flight_minutes": _rounded(found.flight_minutes),
            "thrust_to_weight": _rounded(found.thrust_to_weight),
            "all_up_mass_g": _rounded(found.all_up_mass_g),
            "front": int(np.count_nonzero(found.front)),
        }

    def _next(self, page: str, place: Any) -> int:
        """The number of a question; what the same page asked before, and rows of another place, are given up."""
        with self._lock:
            ticket = next(self._tickets)
            if self._preparing is not None and self._preparing[1] != place:
                self._signal.value = self._preparing[0]
                self._preparing = None
            if page in self._of_page:
                self._signal.value = self._of_page[page]
            if page:
                self._of_page[page] = ticket
            return ticket

    def _answered(self, ticket: int, here: Setting, stock: _Stock, moving: bool) -> Passing:
        """By the worker; here where there is none, or it died."""
        worker = self._worker
        if worker is not None:
            with contextlib.suppress(BrokenExecutor):
                return self._submitted(worker, ticket, "map", here, stock, moving=moving).result()  # type: ignore[no-any-return]
            self._worker = None
        with self._here:
            return self._maker.map(here, stock.shelf, partial(_tick, self._signal, ticket), moving=moving)

    def _submitted(
        self, worker: Executor, ticket: int, what: str, here: Setting, stock: _Stock, **more: Any
    ) -> Future[Any]:
        """A question put to the worker, with the shelf if it has another."""
        with self._lock:
            shelf = None if self._sent == stock.name else stock.shelf
            asked = worker.submit(_work, ticket, what, here, shelf, **more)
            self._sent = stock.name
            return asked

    def _prepare(self, here: Setting, stock: _Stock, place: Any) -> None:
        """Have the worker keep the rows of a place while nobody asks."""
        worker = self._worker  # another thread may find it dead meanwhile
        if worker is None or (self._preparing is not None and self._preparing[1] == place):
            return
        ticket = next(self._tickets)
        self._preparing = ticket, place
        with contextlib.suppress(BrokenExecutor):
            self._submitted(worker, ticket, "keep", here, stock)


def _rounded(values: Floats) -> list[float | None]:
    """Numbers with six digits that count; None where there is none."""
    return [float(f"{v:.{_DIGITS}g}") if np.isfinite(v) else None for v in values.tolist()]
