"""What other builders buy: parts known by what is printed on them, and random builds of them.

A motor by its label kV, mass and ratings, a pack by capacity and C label, a propeller by size, blades and family: all
else is what is usual for such parts, and varies as they do (:mod:`propmatch.tolerances.numbers`).
"""

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from propmatch.checks.chances import Drawn
from propmatch.checks.measures import TrainMeasures
from propmatch.checks.setting import Setting
from propmatch.models.arrays import Floats, Index
from propmatch.questions.publishing import Condition, measured_in
from propmatch.records.estimates import completed
from propmatch.records.fields import replace
from propmatch.records.parts import Motor, Pack, PowerTrain, Propeller, Source
from propmatch.search.shelf import Shelf, Shelves

__all__ = ["AXES", "LADDERS", "Offer", "bought_motor", "bought_pack", "bought_propeller", "bought_train", "label_kv"]

AXES = ("kv_label_rpm_per_v", "motor_mass_g", "pack", "propeller")
"""What a builder chooses, in the order of a choice."""
LADDERS = (0, 1)
"""Those of them that are a range from one step to another."""
_LABEL = Source(text="known by its label", kind="label")
_KV = tuple(round(1.0 + 0.02 * step, 2) for step in range(-8, 9))
_MASS = (0.75, 0.85, 0.92, 1.0, 1.08, 1.15, 1.3, 1.5)
"""Steps around the design's own motor."""


def label_kv(motor: Motor) -> float:
    """What is printed on a motor, rpm/V; of one that was measured what such a label says."""
    if motor.kv_kind == "label":
        return motor.kv_rpm_per_v
    share = completed(replace(motor, kv_kind="label"))[0].kv_rpm_per_v / motor.kv_rpm_per_v
    return float(round(motor.kv_rpm_per_v / share / 10) * 10)


def bought_motor(like: Motor, kv_rpm_per_v: float, mass_g: float) -> Motor:
    """A motor of this label kV and mass with the ratings, cell counts and gear of another."""
    return replace(
        like, name=f"{kv_rpm_per_v:g} kV {mass_g:.3g} g", kv_rpm_per_v=kv_rpm_per_v, kv_kind="label", mass_g=mass_g,
        resistance_ohm=None, controller_included=False, resistance_slope_ohm_s=None, torque_constant_ratio=None,
        no_load_current_a=None, no_load_voltage_v=None, no_load_exponent=0.0, id=None, source=_LABEL,
    )  # fmt: skip


def bought_pack(like: Pack) -> Pack:
    """A pack of the same label and mass by any maker."""
    return replace(like, cell_resistance_mohm=None, lead_resistance_mohm=None, source=_LABEL)


def bought_propeller(like: Propeller) -> Propeller:
    """A propeller of the same size, blades and family by any maker."""
    return replace(like, source=_LABEL)


def bought_train(train: PowerTrain) -> PowerTrain:
    """The same parts as another builder buys them."""
    motor = bought_motor(train.motor, label_kv(train.motor), train.motor.mass_g)
    return replace(train, motor=motor, pack=bought_pack(train.pack), propeller=bought_propeller(train.propeller))


class Offer:
    """What may be chosen beside the controller of a design.

    Parameters
    ----------
    train : PowerTrain
        The design; its own parts are among what may be chosen.
    packs, propellers : sequences of parts

    Attributes
    ----------
    axes : the choices of each of ``AXES``: label kV, motor masses, packs, propellers
    own : which of each the design has
    off : how far each choice is from the design's own, as logarithms; propellers are in that order already
    """

    def __init__(self, train: PowerTrain, packs: Sequence[Pack], propellers: Sequence[Propeller]) -> None:
        kv, mass = label_kv(train.motor), train.motor.mass_g
        labels = sorted({kv, *(float(round(kv * step / 10) * 10) for step in _KV if step != 1.0)})
        masses = sorted({mass, *(float(np.ceil(mass * s) if s < 1 else np.floor(mass * s)) for s in _MASS if s != 1.0)})
        self.train = train
        self.axes: tuple[tuple[Any, ...], ...] = (tuple(labels), tuple(masses), tuple(packs), tuple(propellers))
        own = (kv, mass, train.pack, train.propeller)
        self.own = tuple(axis.index(value) for axis, value in zip(self.axes, own, strict=True))
        self.off: tuple[Sequence[float], ...] = (
            [abs(math.log(each / kv)) for each in labels], [abs(math.log(each / mass)) for each in masses],
            [abs(math.log(each.capacity_mah / train.pack.capacity_mah)) for each in packs], range(len(propellers)),
        )  # fmt: skip
        self.motors = [bought_motor(train.motor, label, grams) for label in labels for grams in masses]
        self.parts = [bought_pack(each) for each in packs], [bought_propeller(each) for each in propellers]
        self._shelves = Shelves(self.motors, [train.controller], *self.parts)

    def shelf(self, setting: Setting) -> Shelf:
        """The parts as a setting flies them."""
        return self._shelves.of(setting.train_numbers)

    def rows(self, choices: Index) -> Index:
        """Choices (N, 4) as combinations of the shelf (N, 4)."""
        kv, mass, pack, propeller = choices.T
        return np.column_stack([kv * len(self.axes[1]) + mass, np.zeros_like(kv), pack, propeller])

    def on_paper(self, some: Sequence[Condition], choices: Index) -> TrainMeasures:
        """Measures of choices (N, 4) in conditions judged alike, every number as it is usual; those of the first, then
        of the next.
        """
        return measured_in(some, self._shelves, self.rows(choices))

    def drawn(self, setting: Setting, choices: Index, raw: Floats) -> Drawn:
        """One build of each choice (N, 4), drawn by standard normal numbers (N, inputs)."""
        shelf, rows = self.shelf(setting), self.rows(choices)
        trains = [shelf.train(*row) for row in rows.tolist()]
        return Drawn(setting, trains, raw[:, None, :], (shelf.combine(*rows.T)))

    def train_of(self, choice: Sequence[int], setting: Setting) -> PowerTrain:
        """One choice as parts."""
        (row,) = self.rows(np.array([choice], dtype=np.intp)).tolist()
        return self.shelf(setting).train(*row)
