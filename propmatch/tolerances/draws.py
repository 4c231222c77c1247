"""Lanes of draws: the same power trains and aircraft many times, each number drawn from its own uncertainty.

Standard normal numbers come from a scrambled Sobol sequence, seeded, through the normal quantile; with correlation C
they are z L', L L' = C. A number of relative uncertainty s is multiplied by exp(s z), so that the stated value is its
median. Numbers that a law derived from another follow it: with kV times f an estimated R and b go with 1/f^2 and an
estimated I0 with f.
"""

from collections.abc import Sequence
from functools import cached_property, lru_cache

import attrs
import numpy as np

from propmatch.aircraft.polar import PolarFactors
from propmatch.models.arrays import Floats, Index
from propmatch.records.parts import PowerTrain
from propmatch.records.sureness import Uncertainty
from propmatch.tolerances.numbers import INPUTS, NAMES, Tolerance, correlation, tolerances, usual_loss_sd
from propmatch.tolerances.quantile import normal_quantile
from propmatch.tolerances.sobol import sobol
from propmatch.train.lanes import TrainLanes

__all__ = ["DRAWS", "Draws", "normal_draws"]

DRAWS = 1024
_MOST_LOSS = 0.499
"""The model of part-throttle loss ends at 0.5."""
_EXTREME = 1e-6
_AT = {name: at for at, name in enumerate(NAMES)}
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
    inputs : for each train its tolerances
    raw : independent standard normal numbers, (N, inputs) common to all trains, or (M, N, inputs) each train's own
    mixing : for each train (inputs, inputs), L of its correlations L L'
    sd : (M, inputs) standard deviations, 0 for what is exact
    usual_loss_sd : (M,) the same of the part-throttle loss that is usual for the motor
    follows : (M, 3) 1 where R, b and I0 follow kV, else 0
    """

    inputs: tuple[tuple[Tolerance, ...], ...]
    raw: Floats
    mixing: tuple[Floats, ...]
    sd: Floats
    usual_loss_sd: Floats
    follows: Floats

    @classmethod
    def of(cls, trains: Sequence[PowerTrain], stated: Uncertainty, raw: Floats) -> "Draws":
        """Draws of power trains, as their parts were stated, from standard normal numbers."""
        inputs = tuple(tolerances(train, stated) for train in trains)
        sd = np.zeros((len(trains), len(NAMES)))
        for row, each in zip(sd, inputs, strict=True):
            for one in each:
                row[_AT[one.name]] = one.sd
        factors: dict[bytes, Floats] = {}
        mixing: list[Floats] = []
        for train in trains:
            matrix = correlation(train)
            key = matrix.tobytes()
            if key not in factors:
                factors[key] = np.asarray(np.linalg.cholesky(matrix), dtype=np.float64)
            mixing.append(factors[key])
        estimated = [
            [train.motor.resistance_ohm is None, _by_law(train, "resistance_slope_ohm_s"),
             train.motor.no_load_current_a is None]
            for train in trains
        ]  # fmt: skip
        return cls(
            inputs=inputs, raw=raw, mixing=tuple(mixing), sd=sd, follows=np.array(estimated, dtype=np.float64),
            usual_loss_sd=np.array([usual_loss_sd(train.motor) for train in trains]),
        )  # fmt: skip

    @cached_property
    def z(self) -> Floats:
        """Standard normal numbers with each train's correlations, (M, N, inputs)."""
        if self.raw.ndim == 3:
            return np.asarray(np.matmul(self.raw, np.array(self.mixing).swapaxes(1, 2)), dtype=np.float64)
        of_all = {id(factor): self.raw @ factor.T for factor in self.mixing}
        return np.array([of_all[id(factor)] for factor in self.mixing])

    def of_parts(self, rng: np.random.Generator) -> "Draws":
        """One draw of each train, every number its own; those of the aircraft are the same for all."""
        raw = rng.standard_normal((len(self.inputs), 1, len(NAMES)))
        raw[:, :, _OF_AIRCRAFT] = raw[:1, :, _OF_AIRCRAFT]
        return attrs.evolve(self, raw=raw)

    def take(self, trains: Index) -> "Draws":
        """The same draws of some of the trains."""
        own = {name: tuple(getattr(self, name)[at] for at in trains) for name in ("inputs", "mixing")}
        return attrs.evolve(
            self, raw=self.raw[trains] if self.raw.ndim == 3 else self.raw, sd=self.sd[trains],
            usual_loss_sd=self.usual_loss_sd[trains], follows=self.follows[trains], **own,
        )  # fmt: skip

    @property
    def count(self) -> int:
        """Draws of each train."""
        return int(self.raw.shape[-2])

    @property
    def index(self) -> Index:
        """Which train each lane belongs to."""
        return np.repeat(np.arange(len(self.inputs)), self.count)

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
            radio_a=lanes.radio_a * self.factor("accessories"),
        )

    def polar(self) -> PolarFactors:
        """What multiplies wing and drag, lane by lane."""
        return PolarFactors(
            cd0=self.factor("drag"), k=1.0 / self.factor("induced_drag"), cl_max=self.factor("lift"),
            installed_thrust=self.factor("installed_thrust"),
        )  # fmt: skip


def _by_law(train: PowerTrain, field: str) -> bool:
    """Whether a law fills in a number of the motor."""
    motor = train.motor
    return getattr(motor, field) is None and (motor.kv_kind == "label" or motor.resistance_ohm is None)
