"""How the pack is when it flies, and how the aircraft is flown: what a data sheet and an ideal flight leave out."""

import math

import attrs

from propmatch.models.pack import COLDEST_C
from propmatch.records.fields import Rule, choice, integer, number, record

__all__ = [
    "FLYING", "LEAST_FACTOR", "LONGEST_REST_H", "MOST_CYCLES", "MOST_FACTOR", "TOO_COLD", "WARMEST_C", "Flying",
    "PackUse", "Style",
]  # fmt: skip

MOST_CYCLES, LONGEST_REST_H, WARMEST_C = 2000, 2000.0, 60.0
"""The ranges in which anything is said about cells."""
TOO_COLD = (
    f"leaves the cells below {COLDEST_C:g} degC, of which nothing is known; state the temperature of the cells, "
    "such as 15 for packs kept warm"
)
"""What is wrong with air so cold where nobody states the temperature of the cells."""


_CHARGES = "write cycles instead: full charges; years alone say nothing"


@record(hints={"age": _CHARGES, "year": _CHARGES})
class PackUse:
    """The pack as it is: used, and charged a while ago."""

    cycles: int | None = integer(
        "full charges", ge=0, le=MOST_CYCLES, default=None,
        doc="how often the pack was charged and flown before; years alone say nothing",
    )  # fmt: skip
    rest_h: float | None = number(
        "h", ge=0, le=LONGEST_REST_H, default=None, doc="rest of the full pack since charging"
    )


@attrs.frozen
class Style:
    """Power of real flying over that of the steady phases, and its range; those by name are common practice."""

    factor: float
    low: float
    high: float

    @property
    def sd_ln(self) -> float:
        """Standard deviation of ln of the factor, the range holding 80 %."""
        return math.log(self.high / self.low) / (2.0 * Z80)


FLYING = {"calm": Style(1.1, 1.0, 1.25), "club": Style(1.3, 1.15, 1.5), "aerobatic": Style(1.6, 1.3, 2.0)}
"""Manoeuvres, corrections and gusts by style of flying."""
USUAL_STYLE = "club"
Z80 = 1.2816
"""Half width of an 80 % interval in standard deviations of a normal distribution."""
LEAST_FACTOR, MOST_FACTOR = 0.3, 3.0
"""The level-power factors that are believed."""


@record(
    rules=(
        Rule(
            ("style", "factor"),
            lambda style, factor: style is not None and factor is not None,
            "must be left out where factor says it",
        ),
        Rule(
            ("factor_sd", "factor"),
            lambda sd, factor: sd is not None and factor is None,
            "must be left out without factor, whose spread it is",
        ),
    )
)
class Flying:
    """How it is flown beside the steady phases; it does not change what is ranked."""

    style: str | None = choice(tuple(FLYING), default=None, doc="manoeuvres and gusts beside the steady phases")
    factor: float | None = number(
        ge=LEAST_FACTOR, le=MOST_FACTOR, default=None,
        doc="power of real flying over that of the steady phases, as 'propmatch flown' finds it; or name a style",
    )  # fmt: skip
    factor_sd: float | None = number(
        ge=0, le=0.5, default=None, doc="standard deviation of ln of factor, as 'propmatch flown' finds it"
    )

    @property
    def taken(self) -> tuple[Style, str]:
        """The factor with its 80 % range, and what it rests on; no style means ``club``."""
        if self.factor is not None:
            spread = math.exp(Z80 * (self.factor_sd or 0.0))
            basis = f"the brief's {self.factor:g} times the power"
            return Style(self.factor, self.factor / spread, self.factor * spread), basis
        return self.usual

    @property
    def usual(self) -> tuple[Style, str]:
        """The same before anybody has measured it."""
        style = self.style or USUAL_STYLE
        return FLYING[style], f"{style} flying{'' if self.style else ', no style being stated'}"
