"""'At most' and 'at least' for a stated chance: the answer that so large a share of the draws of all numbers bears.

Each draw has an answer of its own, all from the same normal numbers; where more of what is asked for is harder to bear
throughout, the answer that holds with chance c is the largest that a share c of the draws bears, their 1 - c quantile.
"""

from collections.abc import Sequence

import attrs
import numpy as np

from propmatch.checks.chances import SEED, Drawn
from propmatch.checks.measures import TrainMeasures
from propmatch.checks.setting import Setting
from propmatch.models.air import Air
from propmatch.models.arrays import Flags, Floats
from propmatch.records.parts import PowerTrain
from propmatch.records.sections import Limits
from propmatch.records.sureness import Uncertainty
from propmatch.tolerances.draws import Draws, normal_draws
from propmatch.train.coupling import Asked
from propmatch.train.lanes import train_lanes

__all__ = ["WithChance"]

DRAWS = 512
"""Draws behind an answer: they miss a chance by 1.2 points (root mean square)."""


@attrs.frozen(kw_only=True)
class WithChance:
    """How sure an answer must be.

    Attributes
    ----------
    chance : float
        Of what is asked for, and of everything the brief asks for.
    rating_chance : float
        Of every rating of the parts.
    uncertainty : Uncertainty
        How sure the numbers of the brief are.
    """

    chance: float = 0.8
    rating_chance: float = 0.9
    uncertainty: Uncertainty = attrs.field(factory=Uncertainty)

    @classmethod
    def of(cls, limits: Limits, uncertainty: Uncertainty, chance: float | None = None) -> "WithChance":
        """As completed limits ask, or one chance for everything."""
        assert limits.chance is not None
        assert limits.rating_chance is not None
        return cls(
            chance=limits.chance if chance is None else chance,
            rating_chance=limits.rating_chance if chance is None else chance,
            uncertainty=uncertainty,
        )

    @property
    def _raw(self) -> Floats:
        return normal_draws(DRAWS, SEED)

    def spread(self, train: PowerTrain, asked: Asked) -> Asked:
        """A question about one train in all its draws, the draws of each lane together."""
        draws = Draws.of([train], self.uncertainty, self._raw)
        lanes, n = draws.of_lanes(train_lanes([train])[0]), asked.lanes.size
        each, whose = np.tile(np.arange(draws.count), n), np.repeat(np.arange(n), draws.count)
        return attrs.evolve(
            asked,
            lanes=lanes.take(each),
            numbers={name: values[whose] for name, values in asked.numbers.items()},
            density=asked.density[whose] * draws.factor("air_density")[each],
            sound=asked.sound[whose],
        )

    def borne(self, values: Floats) -> Floats:
        """Of the draws of each lane (n N,) the largest value that enough of them reach (n,); NaN reaches nothing."""
        rows = np.where(np.isnan(values), -np.inf, values).reshape(-1, DRAWS)
        found = np.quantile(rows, 1.0 - self.chance, axis=1, method="inverted_cdf")
        return np.where(np.isfinite(found), found, np.nan)

    def drawn(self, setting: Setting, trains: Sequence[PowerTrain]) -> Drawn:
        """Draws of power trains in a setting."""
        return Drawn(setting, trains, self._raw)

    def thrust_to_weight(self, setting: Setting, train: PowerTrain, air: Air, n: int, charge: float) -> Floats:
        """Static thrust to weight at full throttle that holds with the chance, in each of n airs (n,)."""
        was = self.drawn(setting, [train] * n).measured
        drawn, wide = was.setting.air.density_kg_m3 / setting.air.density_kg_m3, np.repeat(np.arange(n), DRAWS)
        density, kelvin, pascal = (
            np.broadcast_to(x, n)[wide] for x in (air.density_kg_m3, air.temperature_k, air.pressure_pa)
        )
        there = Air(density_kg_m3=density * drawn, temperature_k=kelvin, pressure_pa=pascal)
        measured = TrainMeasures(attrs.evolve(was.setting, air=there), was.lanes, was.ratings)
        return self.borne(measured.frames.thrust_to_weight(measured.full(charge).thrust_n))

    def at_masses(self, setting: Setting, train: PowerTrain, all_up_mass_g: Floats) -> Drawn:
        """Draws of one train at each of these all-up masses, as they are weighed; the bare aircraft takes up the
        difference (`MassBuildUp.at`).
        """
        found = self.drawn(setting, [train] * all_up_mass_g.size)
        was = found.measured
        bare = setting.build.at(np.repeat(all_up_mass_g, DRAWS) - was.ratings.mass_g)
        found.measured = TrainMeasures(attrs.evolve(was.setting, lanes=bare), was.lanes, was.ratings)
        return found

    def room(self, drawn: Drawn) -> Floats:
        """The chance of each train over the chance wanted, of wishes or ratings the smaller (M,); 1 is enough."""
        wishes, ratings = drawn.chance(drawn.wishes), drawn.chance(drawn.ratings)
        return np.minimum(wishes / self.chance, ratings / self.rating_chance)

    def keeps(self, drawn: Drawn) -> Flags:
        """Trains that keep wishes and ratings as surely as they must."""
        return np.asarray(self.room(drawn) >= 1.0)
