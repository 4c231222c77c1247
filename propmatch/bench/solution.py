"""The answer of a row model: most probable numbers, how sure they are, and how well rows and priors go together."""

from collections.abc import Sequence
from functools import cached_property

import attrs
import numpy as np

from propmatch.bench.rowmodel import PACK_LINE, RowModel
from propmatch.models.arrays import Flags, Floats
from propmatch.models.leastsquares import GAUSS, STUDENT, information, least
from propmatch.tolerances.quantile import chi_square_tail

__all__ = ["Solution", "evaluated", "solved"]

_FLAT, _NEAR, _ENOUGH = 1e-8, 1e-3, 1e-5


@attrs.frozen(eq=False, slots=False)
class Solution:
    """The plain and the robust answer.

    Attributes
    ----------
    model : RowModel
    plain_x, plain_r, plain_jacobian : of least squares; by it rows are judged
    x, r, jacobian : of Student's t
    nu : degrees of freedom of each residual
    """

    model: RowModel
    plain_x: Floats
    plain_r: Floats
    plain_jacobian: Floats
    x: Floats
    r: Floats
    jacobian: Floats
    nu: Floats

    @cached_property
    def judged(self) -> Flags:
        """Residuals that judge a log: all but those of packs, which recover, cool and run down as they please."""
        model = self.model
        priors = np.ones(model.priors, dtype=bool)
        priors[model.of_packs] = False
        return np.concatenate([priors, [quantity != PACK_LINE for _, quantity in model.places]])

    @property
    def chi_square(self) -> float:
        """Sum of squares of the judged residuals."""
        return float(np.sum(self.plain_r[self.judged] ** 2))

    @property
    def freedom(self) -> int:
        """How many readings there are beyond the rows' own speeds."""
        return int(self.judged.sum() - self.plain_x.size + len(self.model.of_packs))

    @property
    def chance(self) -> float:
        """Chance of a chi-square as large, were everything as it should be."""
        return chi_square_tail(max(self.freedom, 1), self.chi_square)

    @cached_property
    def theta(self) -> Floats:
        """What all rows share, (names,)."""
        return self.model.shared(self.x)

    @cached_property
    def readings(self) -> dict[str, Floats]:
        """What every row should read."""
        return self.model.readings(self.x)

    @cached_property
    def _shared_information(self) -> Floats:
        """Of the shared numbers, the rows' own being whatever fits best."""
        weight, n = information(self.r, self.jacobian, self.nu), self.model.size
        return np.asarray(weight[:n, :n] - weight[:n, n:] @ np.linalg.solve(weight[n:, n:], weight[n:, :n]))

    def covariance(self, flat: Sequence[int] = ()) -> Floats:
        """Covariance of the shared numbers (of logarithms, where they have one), with flat priors on some."""
        weight, scale = self._shared_information.copy(), self.model.scale
        for at in flat:
            weight[at, at] -= 1.0 - _FLAT
        return np.asarray(scale @ np.linalg.inv(weight) @ scale.T)


def _degrees(model: RowModel) -> Floats:
    """Student's t for readings, none for priors."""
    return np.array([GAUSS] * model.priors + [STUDENT] * len(model.places))


def solved(model: RowModel, start: Floats | None = None) -> Solution:
    """The plain answer and, from there, the robust one."""
    plain = least(model.linear, model.start() if start is None else start, GAUSS, near=_NEAR, enough=_ENOUGH)
    nu = _degrees(model)
    return Solution(model, *plain, *least(model.linear, plain[0], nu, near=_NEAR, enough=_ENOUGH), nu)


def evaluated(model: RowModel, x: Floats) -> Solution:
    """Numbers taken as the answer."""
    r, jacobian = model.linear(x)
    return Solution(model, x, r, jacobian, x, r, jacobian, _degrees(model))
