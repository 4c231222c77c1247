"""Where and how other people fly what is published: the conditions that an envelope is held at.

The corners of a field from its lowest to its highest and from its coldest to its warmest air, cells as warm as the air
and, in the cold, also cells kept warm; a temperature of the cells that the brief states is kept.
"""

from collections.abc import Iterable, Sequence
from itertools import product
from typing import Any

import attrs
import numpy as np

from propmatch.checks.checkrules import CHECKS
from propmatch.checks.measures import TrainMeasures
from propmatch.checks.setting import Setting
from propmatch.models.air import Air
from propmatch.models.arrays import Index
from propmatch.records.estimates import PRACTICE, Assumption
from propmatch.records.fields import replace
from propmatch.records.sections import Publish
from propmatch.search.shelf import Shelves
from propmatch.units import CELSIUS_K

__all__ = [
    "WARMED_C",
    "Condition",
    "conditions",
    "judged_alike",
    "measured_in",
    "publish_assumptions",
    "site_c",
    "together",
]

WARMED_C = 20.0
"""Temperature of cells kept warm until the start on a cold day [degC]; common practice, no published source."""


@attrs.frozen(kw_only=True, eq=False)
class Condition:
    """One build of the aircraft at one field on one day.

    Attributes
    ----------
    setting : Setting
        With the air of that field, and its cells as warm as said.
    altitude_m, temperature_c, pack_temperature_c : float
    """

    setting: Setting
    altitude_m: float
    temperature_c: float
    pack_temperature_c: float

    @classmethod
    def of(cls, setting: Setting, altitude_m: float, temperature_c: float, pack_temperature_c: float) -> "Condition":
        """A setting moved to another field."""
        site = replace(
            setting.brief.site, altitude_m=altitude_m, temperature_c=temperature_c,
            pack_temperature_c=pack_temperature_c,
        )  # fmt: skip
        brief = replace(setting.brief, site=site)
        there = attrs.evolve(setting, brief=brief, air=Air.at_site(altitude_m, temperature_c))
        return cls(
            setting=there, altitude_m=altitude_m, temperature_c=temperature_c, pack_temperature_c=pack_temperature_c
        )

    @property
    def variant(self) -> str:
        """Which build of the aircraft."""
        return self.setting.variant.name


def site_c(setting: Setting) -> float:
    """Air temperature at the brief's own site [degC]."""
    return float(setting.air.temperature_k - CELSIUS_K)


def conditions(
    settings: Iterable[Setting], altitude_m: Sequence[float], temperature_c: Sequence[float]
) -> tuple[Condition, ...]:
    """Every setting at every field height on a day of every temperature."""
    return tuple(
        Condition.of(setting, height, warmth, cells)
        for setting in settings
        for height, warmth in product(dict.fromkeys(altitude_m), dict.fromkeys(temperature_c))
        for cells in _cells_c(setting, warmth)
    )


def judged_alike(where: Sequence[Condition]) -> list[list[int]]:
    """The numbers of the conditions, those together that judge one variant by the same checks, however warm its cells.

    Such differ in nothing but air and warmth of the cells, so that :func:`together` makes one setting of them.
    """
    alike: dict[tuple[object, ...], list[int]] = {}
    for at, each in enumerate(where):
        setting = attrs.evolve(each.setting, cells_c=np.full(1, np.nan))
        asked = tuple(rule.has_limit(setting) for rule in CHECKS.values())
        alike.setdefault((each.variant, *asked), []).append(at)
    return list(alike.values())


def together(some: Sequence[Condition], lanes: int) -> Setting:
    """Conditions judged alike as one setting of so many lanes for each: those of the first, then of the next."""
    setting = some[0].setting
    air = {
        a.name: np.repeat([float(getattr(each.setting.air, a.name)) for each in some], lanes) for a in attrs.fields(Air)
    }
    cells_c = np.repeat([each.pack_temperature_c for each in some], lanes)
    return attrs.evolve(setting, air=Air(**air), cells_c=cells_c)


def measured_in(some: Sequence[Condition], shelves: Shelves, rows: Index) -> TrainMeasures:
    """Measures of combinations (N, 4) in conditions judged alike: those of the first, then of the next."""
    each = [shelves.of(condition.setting.train_numbers).combine(*rows.T) for condition in some]
    return TrainMeasures(together(some, len(rows)), *map(_joined, zip(*each, strict=True)))


def _joined(each: Sequence[Any]) -> Any:
    """Columns of the same parts one after the other; what is no column is the same for all."""
    first = each[0]
    columns = [a.name for a in attrs.fields(type(first)) if isinstance(getattr(first, a.name), np.ndarray)]
    return attrs.evolve(first, **{name: np.concatenate([getattr(x, name) for x in each]) for name in columns})


def _cells_c(setting: Setting, air_c: float) -> tuple[float, ...]:
    stated = setting.stated.site.pack_temperature_c
    if stated is not None:
        return (stated,)
    return (air_c, WARMED_C) if air_c < WARMED_C else (air_c,)


def publish_assumptions(publish: Publish) -> tuple[Assumption, ...]:
    """What stands in for the field that nobody states, and for how its cells are."""
    made = []
    stated = {
        "altitude_to_m": (publish.altitude_from_m, publish.altitude_to_m, publish.altitude_m, "m", "field heights"),
        "temperature_to_c": (
            publish.temperature_from_c, publish.temperature_to_c, publish.temperature_c, "degC", "air",
        ),
    }  # fmt: skip
    for name, (low, high, ends, unit, what) in stated.items():
        if low is None or high is None:
            text = f"{what} of {ends[0]:g} to {ends[1]:g} {unit} for what is published; {PRACTICE}"
            made.append(Assumption("publish", name, ends[1], unit, text))
    text = (
        f"cells as warm as the air, and below {WARMED_C:g} degC also kept at {WARMED_C:g} degC until the start; "
        f"{PRACTICE}"
    )
    return (*made, Assumption("publish", "pack_temperature_c", WARMED_C, "degC", text))
