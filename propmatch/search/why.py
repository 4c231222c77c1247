"""Why a combination of parts stands where it does: its checks, its place, and what a search knows of it beforehand."""

import attrs
import numpy as np

from propmatch.catalogue.catalogue import Catalogue, box_of_id
from propmatch.checks.chances import Sureness, sureness
from propmatch.checks.limits import Check, Design, checks_of, missed
from propmatch.checks.measures import TrainMeasures
from propmatch.checks.setting import ResolvedBrief
from propmatch.models.arrays import Index
from propmatch.records.brief import Brief
from propmatch.records.fields import replace
from propmatch.records.parts import PARTS, PowerTrain
from propmatch.records.trainid import parts_in_order
from propmatch.search.bounds.pruned import standing
from propmatch.search.matching import shelf_for
from propmatch.search.ranking import ranking
from propmatch.search.shelf import Shelf

__all__ = ["Why", "letting_in", "why"]


@attrs.frozen(kw_only=True, eq=False)
class Why:
    """One combination against a brief.

    Attributes
    ----------
    id : str
    train : PowerTrain
    checks : tuple of Check; sure : Sureness behind their chances
    excluded_by : tuple of Check
        Those that rule it out, a danger first, then in the order in which combinations are counted as left out.
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
    sure: Sureness
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
                + f" ({c.limit_source})"
                for c in self.excluded_by
            )
            return f"misses {limits}"
        return f"number {self.place} of {self.passing} with {self.train.pack.cells_series}S that meet the brief"


def why(brief: Brief | ResolvedBrief, catalogue: Catalogue, id: str, *, variant: str | None = None) -> Why:
    """Why a combination ranks where it does, or what excludes it.

    Parameters
    ----------
    brief : Brief, resolved already or not
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
    setting = ResolvedBrief.of(brief).named(variant)
    shelf = shelf_for(setting, catalogue)
    row = _row(shelf, id)
    order = ranking(setting)
    measured, train = TrainMeasures(setting, *shelf.combine(*row[:, None])), shelf.train(*row.tolist())
    sure = sureness(setting, train)
    added = catalogue.extra_checks(Design.of(train, setting.variant), setting.stated)
    checks = (*checks_of(measured, sure=[sure])[0], *added)
    excluded = missed(checks)
    cells = shelf.column("cells")
    own = np.flatnonzero(cells == cells[row[2]])
    shelf, row[2] = shelf.with_packs(own), int(np.searchsorted(own, row[2]))
    score = float(order.of(measured)[0])
    stands = standing(setting, shelf, order, row, score=score, mass_g=float(measured["all_up_mass"].value[0]))
    return Why(
        id=id,
        train=train,
        checks=checks,
        sure=sure,
        excluded_by=excluded,
        score=score,
        score_bound=stands.bound,
        place=None if excluded else stands.before + 1,
        passing=stands.passing,
    )


def letting_in(brief: Brief, train: PowerTrain) -> Brief:
    """The brief whose boxes alone are considered, and beside them those parts of the train that lie in none."""
    parts, ids = brief.parts, {kind: str(getattr(train, kind).id) for kind in PARTS}
    others = {kind: id for kind, id in ids.items() if box_of_id(id) not in parts.only}
    if not parts.only or not others:
        return brief
    lists = {kind: getattr(parts, kind) or tuple(f"{box}/*" for box in parts.only) for kind in PARTS}
    lists |= {kind: (*lists[kind], id) for kind, id in others.items()}
    only = tuple(dict.fromkeys((*parts.only, *map(box_of_id, others.values()))))
    return replace(brief, parts=replace(parts, only=only, **lists))


def _row(shelf: Shelf, text: str) -> Index:
    """Indices of the four parts."""
    known = {kind: {str(part.id): at for at, part in enumerate(parts)} for kind, parts in shelf.kinds.items()}
    found = parts_in_order(text, known, "why", "no {kind} that the brief lets in has this id")
    return np.array(list(found.values()), dtype=np.intp)
