"""Lanes of draws: the same power trains and aircraft many times, each number drawn from its own uncertainty.

Standard normal numbers come from a scrambled Sobol sequence, seeded, through the normal quantile; with correlation C
they are z L', L L' = C. A number of relative uncertainty s is multiplied by exp(s z), so that the stated value is its
median. Numbers that a law derived from another follow it: with kV times f an estimated R and b go with 1/f^2 and an
estimated I0 with f.
"""

from collections.abc import Iterable, Sequence
from functools import cached_property, lru_cache
from typing import TypeVar

import attrs
import numpy as np

from propmatch.aircraft.polar import PolarFactors
from propmatch.models.arrays import Floats, Index
from propmatch.records.parts import PARTS, Motor, PowerTrain
from propmatch.records.sureness import Uncertainty
from propmatch.tolerances.numbers import (
    INPUTS,
    NAMES,
    Tolerance,
    aircraft_tolerances,
    correlation,
    correlations,
    drive_tolerances,
    kept_tolerances,
    tolerances,
    usual_loss_sd,
)
from propmatch.tolerances.quantile import normal_quantile
from propmatch.tolerances.sobol import sobol
from propmatch.train.lanes import TrainLanes

__all__ = ["DRAWS", "Draws", "normal_draws"]

DRAWS = 1024
_MOST_LOSS = 0.499
"""The model of part-throttle loss ends at 0.5."""
_EXTREME = 1e-6
_AT = {name: at for at, name in enumerate(NAMES)}
T = TypeVar("T")
_OF_AIRCRAFT = [NAMES.index(name) for name in INPUTS["aircraft"]]


@lru_cache(maxsize=8)
def normal_draws(count: int, seed: int, dimensions: int = len(NAMES)) -> Floats:
    """Standard normal numbers (count, dimensions) from a scrambled Sobol sequence; a power of two spreads best."""
    draws = normal_quantile(np.clip(sobol(count, dimensions, seed), _EXTREME, 1.0 - _EXTREME))
    draws.setflags(write=False)
    return draws


@attrs.frozen(kw_only=True, eq=False)
class Draws:
    """M power trains, N draws of each; lanes run train by train, all draws of one train together.

    Attributes
    ----------
    trains : the power trains, as their parts were stated
    stated : how sure the numbers of the aircraft are said to be
    raw : independent standard normal numbers, (N, inputs) common to all trains, or (M, N, inputs) each train's own
    mixing : (K, inputs, inputs) each L of correlations L L' that occur
    mixed : (M,) which of them a train has
    sd : (M, inputs) standard deviations, 0 for what is exact
    usual_loss_sd : (M,) the same of the part-throttle loss that is usual for the motor
    follows : (M, 3) 1 where R, b and I0 follow kV, else 0
    """

    trains: tuple[PowerTrain, ...]
    stated: Uncertainty
    raw: Floats
    mixing: Floats
    mixed: Index
    sd: Floats
    usual_loss_sd: Floats
    follows: Floats

    @classmethod
    def of(cls, trains: Sequence[PowerTrain], stated: Uncertainty, raw: Floats) -> "Draws":
        """Draws of power trains, as their parts were stated, from standard normal numbers."""
        parts, which = {}, {}
        for kind in PARTS:
            parts[kind], which[kind] = _distinct([getattr(train, kind) for train in trains])
        sd = np.tile(_row(aircraft_tolerances(stated)), (len(trains), 1))
        for kind in ("pack", "propeller"):
            sd += np.array([_row(kept_tolerances(part, kind)) for part in parts[kind]])[which[kind]]
        drives, which_drive = _unlike([which["motor"], which["controller"]])
        beside = [_row(drive_tolerances(parts["motor"][m], parts["controller"][c])) for m, c in drives]
        sd += np.array(beside)[which_drive]
        pairs = {kind: [frozenset(correlations(part, kind).items()) for part in each] for kind, each in parts.items()}
        same = [np.array([each.index(one) for one in each])[which[kind]] for kind, each in pairs.items()]
        sources, mixed = _unlike(same)
        correlated = [correlation(*(each[at] for each, at in zip(pairs.values(), row, strict=True))) for row in sources]
        of_motor = np.array([[usual_loss_sd(motor), *_follows(motor)] for motor in parts["motor"]])[which["motor"]]
        return cls(
            trains=tuple(trains), stated=stated, raw=raw, sd=sd, mixed=mixed,
            mixing=np.array([np.linalg.cholesky(each) for each in correlated]),
            usual_loss_sd=of_motor[:, 0], follows=of_motor[:, 1:],
        )  # fmt: skip

    @property
    def inputs(self) -> tuple[tuple[Tolerance, ...], ...]:
        """For each train its tolerances."""
        return tuple(tolerances(train, self.stated) for train in self.trains)

    @cached_property
    def z(self) -> Floats:
        """Standard normal numbers with each train's correlations, (M, N, inputs)."""
        shared = self.raw.ndim == 2
        out = np.empty((len(self.trains), *self.raw.shape[-2:]))
        for at, factor in enumerate(self.mixing):
            rows = self.mixed == at
            out[rows] = (self.raw if shared else self.raw[rows]) @ factor.T
        return out

    def of_parts(self, rng: "np.random.Generator") -> "Draws":
        """One draw of each train, every number its own; those of the aircraft are the same for all."""
        raw = rng.standard_normal((len(self.trains), 1, len(NAMES)))
        raw[:, :, _OF_AIRCRAFT] = raw[:1, :, _OF_AIRCRAFT]
        return attrs.evolve(self, raw=raw)

    def take(self, trains: Index) -> "Draws":
        """The same draws of some of the trains."""
        return attrs.evolve(
            self, trains=tuple(self.trains[at] for at in trains),
            raw=self.raw[trains] if self.raw.ndim == 3 else self.raw, mixed=self.mixed[trains], sd=self.sd[trains],
            usual_loss_sd=self.usual_loss_sd[trains], follows=self.follows[trains],
        )  # fmt: skip

    @property
    def count(self) -> int:
        """Draws of each train."""
        return int(self.raw.shape[-2])

    @property
    def index(self) -> Index:
        """Which train each lane belongs to."""
        return np.repeat(np.arange(len(self.trains)), self.count)

    def moved(self, name: str) -> Floats:
        """s z of one input, (M N,)."""
        at = NAMES.index(name)
        return np.asarray((self.sd[:, None, at] * self.z[:, :, at]).ravel())

    def factor(self, name: str) -> Floats:
        """exp(s z) of one input, (M N,)."""
        return np.exp(self.moved(name))

    def of_lanes(self, trains: TrainLanes) -> TrainLanes:
        """The trains (M lanes) in all their draws."""
        lanes = trains.take(self.index)
        kv = self.factor("kv_rpm_per_v")
        r, slope, idle = (np.power(kv, p * own[self.index]) for p, own in zip((-2, -2, 1), self.follows.T, strict=True))
        at = NAMES.index("part_throttle_loss")
        usual_loss = lanes.usual_loss + (self.usual_loss_sd[:, None] * self.z[:, :, at]).ravel()
        stated_loss = lanes.stated_loss + self.moved("part_throttle_loss")
        return attrs.evolve(
            lanes,
            k=lanes.k / kv,
            k_torque=lanes.k_torque / kv * self.factor("torque_constant_ratio"),
            resistance_ohm=lanes.resistance_ohm * r * self.factor("resistance_ohm"),
            slope_ohm_s=lanes.slope_ohm_s * slope * self.factor("resistance_slope_ohm_s"),
            no_load_a=lanes.no_load_a * idle * self.factor("no_load_current_a"),
            switch_ohm=lanes.switch_ohm * self.factor("resistance_mohm"),
            usual_loss=np.clip(usual_loss, 0.0, _MOST_LOSS),
            stated_loss=np.clip(stated_loss, 0.0, _MOST_LOSS),
            cells_ohm=lanes.cells_ohm * self.factor("cell_resistance_mohm"),
            leads_ohm=lanes.leads_ohm * self.factor("lead_resistance_mohm"),
            capacity_ah=lanes.capacity_ah * self.factor("capacity_mah"),
            ct_scale=lanes.ct_scale * self.factor("ct"),
            cp_scale=lanes.cp_scale * self.factor("cp"),
            radio_a=lanes.radio_a * self.factor("radio"),
        )

    def polar(self) -> PolarFactors:
        """What multiplies wing and drag, lane by lane."""
        return PolarFactors(
            cd0=self.factor("drag"), k=1.0 / self.factor("induced_drag"), cl_max=self.factor("lift"),
            installed_thrust=self.factor("installed_thrust"),
        )  # fmt: skip


def _distinct(values: Sequence[T]) -> tuple[list[T], Index]:
    """The different objects among values, and which of them each is."""
    known = {id(value): value for value in values}
    number = dict(zip(known, range(len(known)), strict=True))
    return list(known.values()), np.array([number[id(value)] for value in values], dtype=np.intp)


def _unlike(columns: Sequence[Index]) -> tuple[Index, Index]:
    """The different rows that columns (M,) make side by side, and which of them each is."""
    rows, which = np.unique(np.column_stack(columns), axis=0, return_inverse=True)
    return rows, which.ravel()


def _row(inputs: Iterable[Tolerance]) -> Floats:
    """Their standard deviations in the order of ``NAMES``, (inputs,)."""
    out = np.zeros(len(NAMES))
    for each in inputs:
        out[_AT[each.name]] = each.sd
    return out


def _follows(motor: Motor) -> tuple[bool, bool, bool]:
    """Whether a law derives R, b and I0 from kV."""
    slope = motor.resistance_slope_ohm_s is None and (motor.kv_kind == "label" or motor.resistance_ohm is None)
    return motor.resistance_ohm is None, slope, motor.no_load_current_a is None
