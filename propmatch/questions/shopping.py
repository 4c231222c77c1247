"""What fits my box, answered whole; and the list of what one has of a design and what is to be bought."""

from collections.abc import Iterable
from functools import partial
from typing import Any

import attrs

from propmatch.catalogue.catalogue import Catalogue
from propmatch.catalogue.partsets import table_of
from propmatch.checks.setting import ResolvedBrief, Setting
from propmatch.questions.box import Box, BoxCells, box_of, judge_box
from propmatch.questions.purchases import Purchase, purchases, surer
from propmatch.questions.specs import Spec
from propmatch.records.brief import Brief
from propmatch.records.estimates import completed
from propmatch.records.fields import replace
from propmatch.records.parts import PARTS, PowerTrain, Propeller
from propmatch.records.price import Price, read_price, total

__all__ = ["BoxAnswer", "ShoppingLine", "ShoppingList", "shopping_list", "surer_with", "what_fits"]


@attrs.frozen(kw_only=True, eq=False)
class BoxAnswer:
    """What fits a box.

    Attributes
    ----------
    setting : Setting, the variant that was asked for
    box : Box
    by_cells : dict of cell count to BoxCells
    purchases : tuple of Purchase
        What to buy for the cell counts that do not work, the best first; empty where all do, or nothing helps.
    surer : Purchase or None
        One part that makes sure of what works on paper alone, where that was asked.
    """

    setting: Setting
    box: Box
    by_cells: dict[int, BoxCells]
    purchases: tuple[Purchase, ...]
    surer: Purchase | None = None

    @property
    def without(self) -> tuple[int, ...]:
        """Cell counts that do not work with the box alone."""
        return tuple(cells for cells, found in self.by_cells.items() if self.box.missing or not found.passing)

    @property
    def unserved(self) -> tuple[int, ...]:
        """Those of them that nothing found to buy makes work."""
        served = {cells for each in self.purchases for cells in each.cells}
        return tuple(cells for cells in self.without if cells not in served)


def what_fits(brief: Brief | ResolvedBrief, catalogue: Catalogue, *, variant: str | None = None) -> BoxAnswer:
    """What works of the boxes that ``parts.only`` of a brief names, why the rest does not, and what to buy.

    Parameters
    ----------
    brief : Brief, resolved already or not
    catalogue : Catalogue
        Everything beside the boxes could be bought.
    variant : str, optional
        Which variant of the brief; default the aircraft as designed.

    Raises
    ------
    InputFaults
        A box or a variant that does not exist.
    """
    resolved = ResolvedBrief.of(brief)
    setting = resolved.named(variant)
    box = box_of(setting, catalogue)
    answer = BoxAnswer(setting=setting, box=box, by_cells=judge_box(setting, box), purchases=())
    if not answer.without:
        return answer
    bought = purchases(_must_hold(resolved, setting), box, answer.without, partial(_tabled, catalogue))
    return attrs.evolve(answer, purchases=bought)


def surer_with(
    answer: BoxAnswer, brief: Brief | ResolvedBrief, catalogue: Catalogue, cells: Iterable[int]
) -> Purchase | None:
    """One part with which cell counts that work on paper alone hold; None where there are none, or none is found."""
    unsure, settings = tuple(cells), _must_hold(ResolvedBrief.of(brief), answer.setting)
    return surer(settings, answer.box, unsure, partial(_tabled, catalogue)) if unsure else None


def _must_hold(resolved: ResolvedBrief, setting: Setting) -> list[Setting]:
    """The variant that was asked for, then the others in which a pick must hold."""
    name = setting.variant.name
    others = (each for each in resolved.settings if each.variant.must_hold and each.variant.name != name)
    return [setting, *others]


def _tabled(catalogue: Catalogue, propeller: Propeller) -> Propeller | None:
    """The propeller with the table that a plugin predicts."""
    answer = table_of(propeller, (), catalogue.plugins)
    return None if answer is None else replace(propeller, table=answer.table, source=answer.source)


# ---------------------------------------------------------------- the list


@attrs.frozen(kw_only=True, eq=False)
class ShoppingLine:
    """One part of a design.

    Attributes
    ----------
    kind : str
    part : Part
        One's own, or an example of what to buy.
    spec : Spec or None
        What to buy, by specification; None for what one has.
    have, buy : int
        Pieces of each.
    price : Price or None
        Of one piece to buy, where it is known.
    """

    kind: str
    part: Any
    spec: Spec | None
    have: int
    buy: int
    price: Price | None

    @property
    def mass_g(self) -> float:
        """Of all pieces."""
        return (self.have + self.buy) * float(completed(self.part)[0].mass_g)


@attrs.frozen(kw_only=True, eq=False)
class ShoppingList:
    """What a design is made of.

    Attributes
    ----------
    train : PowerTrain
    lines : tuple of ShoppingLine
    supply_g : float
        Mass of a separate supply (BEC) that the design flies with, 0 where it needs none.
    """

    train: PowerTrain
    lines: tuple[ShoppingLine, ...]
    supply_g: float

    @property
    def total(self) -> tuple[Price, ...]:
        """What the pieces to buy whose price is known come to, by currency."""
        return total((line.buy, line.price) for line in self.lines if line.buy and line.price)

    @property
    def unpriced(self) -> int:
        """Pieces to buy whose price nobody stated."""
        return sum(line.buy for line in self.lines if line.price is None)


def shopping_list(box: Box, train: PowerTrain, specs: Iterable[Spec] = ()) -> ShoppingList:
    """The parts of a train as lines: what the box has, and what is to be bought by specification."""
    by_kind = {spec.kind: spec for spec in specs}
    lines = []
    for kind in PARTS:
        part, spec = getattr(train, kind), by_kind.get(kind)
        buy = 0 if spec is None else spec.pieces
        price = read_price(part.price) if buy and part.price is not None else None
        lines.append(ShoppingLine(kind=kind, part=part, spec=spec, have=box.pieces(kind) - buy, buy=buy, price=price))
    return ShoppingList(train=train, lines=tuple(lines), supply_g=train.supply_g)
