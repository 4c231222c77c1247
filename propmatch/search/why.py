"""Why a combination of parts stands where it does: its checks, its place, and what a search knows of it beforehand."""

import attrs
import numpy as np
from numpy.typing import NDArray

from propmatch.catalogue.catalogue import Catalogue
from propmatch.checks.limits import Check, checks_of, excludes
from propmatch.checks.measures import TrainMeasures
from propmatch.checks.setting import setting_named
from propmatch.records.brief import Brief
from propmatch.records.parts import PowerTrain
from propmatch.records.trainid import parts_in_order
from propmatch.search.bounds.scores import lane_bounds, pair_bound
from propmatch.search.bounds.screen import Screen
from propmatch.search.exhaustive import in_order
from propmatch.search.matching import shelf_for
from propmatch.search.ranking import ranking
from propmatch.search.shelf import Shelf

__all__ = ["Why", "why"]

Index = NDArray[np.intp]
_BLOCK = 524288
_CHUNK = 2048
_NEAR = 1e-9


@attrs.frozen(kw_only=True, eq=False)
class Why:
    """One combination against a brief.

    Attributes
    ----------
    id : str
    train : PowerTrain
    checks : tuple of Check
    excluded_by : tuple of Check
        Those that rule it out, in the order in which combinations are counted as left out; the first is the one it is
        counted under.
    score : float
        As the brief prefers; the higher the better.
    score_bound : float
        What no combination of this propeller and this pack can exceed, known before any motor is looked at; -inf where
        it shows that none can pass.
    place : int or None
        1 is the best of those with this cell count; None when it is excluded.
    passing : int
        How many of that cell count pass.
    """

    id: str
    train: PowerTrain
    checks: tuple[Check, ...]
    excluded_by: tuple[Check, ...]
    score: float
    score_bound: float
    place: int | None
    passing: int

    @property
    def meets(self) -> bool:
        """Whether it meets the brief."""
        return not self.excluded_by

    @property
    def sentence(self) -> str:
        """In words."""
        if self.excluded_by:
            limits = "; ".join(
                f"{c.name} {c.value:.4g} against at {'least' if c.least else 'most'} {c.limit:.4g} {c.unit}".rstrip()
                + f" ({c.basis})"
                for c in self.excluded_by
            )
            return f"left out by {limits}"
        return f"number {self.place} of {self.passing} with {self.train.pack.cells_series}S that meet the brief"


def why(brief: Brief, catalogue: Catalogue, id: str, *, variant: str | None = None) -> Why:
    """Why a combination ranks where it does, or what excludes it.

    Parameters
    ----------
    brief : Brief
    catalogue : Catalogue
    id : str
        Ids of motor, controller, pack and propeller joined by `` + ``.
    variant : str, optional
        Which variant of the brief; default the aircraft as designed.

    Raises
    ------
    InputFaults
        An id that names no four parts of the catalogue that the brief lets in.
    """
    setting = setting_named(brief, variant)
    shelf = shelf_for(brief, catalogue, setting)
    row = _row(shelf, id)
    order = ranking(setting)
    measured = TrainMeasures(setting, *shelf.combine(*row[:, None]))
    checks = tuple(checks_of(measured)[0])
    excluded = tuple(check for check in checks if excludes(check))
    cells = shelf.column("cells")
    own = np.flatnonzero(cells == cells[row[2]])
    shelf, row[2] = shelf.with_packs(own), int(np.searchsorted(own, row[2]))
    screen = Screen(setting, shelf, counting=True)
    score = float(order.of(measured)[0])
    mass = float(measured["all_up_mass"].value[0])
    bound = float(pair_bound(screen, order, row[2:3], row[3:4])[0, 0])
    before, passing = _standing(screen, row, score, mass)
    return Why(
        id=id,
        train=shelf.train(*(int(i) for i in row)),
        checks=checks,
        excluded_by=excluded,
        score=score,
        score_bound=bound,
        place=None if excluded else before + 1,
        passing=passing,
    )


def _row(shelf: Shelf, text: str) -> Index:
    """Indices of the four parts."""
    known = {kind: {str(part.id): at for at, part in enumerate(parts)} for kind, parts in shelf.kinds.items()}
    found = parts_in_order(text, known, "why", "no {kind} that the brief lets in has this id")
    return np.array(list(found.values()), dtype=np.intp)


def _standing(screen: Screen, row: Index, score: float, mass: float) -> tuple[int, int]:
    """How many that pass come before a combination, and how many pass; computed where bounds leave it open."""
    shelf, order = screen.shelf, ranking(screen.setting)
    propellers = np.arange(len(shelf.propellers))
    before = passing = 0
    close = []
    for drives in screen.drives(np.arange(len(shelf.packs)), max(1, _BLOCK // propellers.size)):
        lanes, flight, open_ = screen.block(drives, propellers)
        if not lanes.size:
            continue
        lower, rest, shares = lane_bounds(screen, order, drives, lanes, flight)
        upper = rest + shares.sum(axis=1)
        rows = drives.combinations(lanes.drive, lanes.propeller)
        good = ~open_
        if open_.any():
            good[open_] = screen.flown(rows[open_])
        passing += int(np.count_nonzero(good))
        band = _NEAR * abs(score) if np.isfinite(score) else 0.0
        better = good & (lower > score + band)
        before += int(np.count_nonzero(better))
        close.append(rows[good & ~better & (upper >= score - band)])
    rows = np.concatenate([row[None, :0].reshape(0, 4), *close])
    for start in range(0, len(rows), _CHUNK):
        part = rows[start : start + _CHUNK]
        measured = TrainMeasures(screen.setting, *shelf.combine(*part.T))
        scores = np.append(order.of(measured), score)
        masses = np.append(measured["all_up_mass"].value, mass)
        places = in_order(scores, masses, np.vstack([part, row]))
        # the combination itself may be in the list too: it does not stand before itself
        ahead = places[: int(np.flatnonzero(places == len(part))[0])]
        before += int(np.count_nonzero(np.any(part[ahead[ahead < len(part)]] != row, axis=1)))
    return before, passing
