"""What costs most where nothing holds everywhere: the chances again without a condition, a variant or a limit."""

from collections.abc import Iterator, Sequence

import attrs
import numpy as np

from propmatch.checks.chances import Drawn, drawn
from propmatch.checks.setting import Setting
from propmatch.questions.everywhere import DRAWN
from propmatch.questions.publishing import Condition, conditions, site_c
from propmatch.records.fields import replace
from propmatch.records.parts import PowerTrain

__all__ = ["Cost", "Costs"]


@attrs.frozen(kw_only=True)
class Cost:
    """The least chance among some conditions.

    Attributes
    ----------
    without : str
        What is left out: ``height``, ``low fields``, ``cold``, ``heat``, ``variant`` or ``limit``; empty for nothing.
    name : str
        The variant or the check that is left out.
    chance, wanted : float
        Of the brief's limits or of the ratings, whichever comes less near to what is asked.
    altitude_m, temperature_c, pack_temperature_c, variant : where that is
    check : str
        The check that is kept least there.
    """

    without: str
    name: str
    chance: float
    wanted: float
    altitude_m: float
    temperature_c: float
    pack_temperature_c: float
    variant: str
    check: str

    @property
    def near(self) -> float:
        """How near it comes to what is asked."""
        return self.chance / self.wanted


@attrs.frozen(kw_only=True)
class Costs:
    """What a design that does not hold everywhere comes to, and without what it comes nearest to holding.

    Attributes
    ----------
    least : Cost, of everything
    without : tuple of Cost, the nearest to what is asked first
    """

    least: Cost
    without: tuple[Cost, ...]

    @classmethod
    def of(cls, design: Setting, covered: Sequence[Setting], train: PowerTrain) -> "Costs":
        """Of a train, as others buy it, over the field of the brief in the variants that are covered."""
        held = [design, *(each for each in covered if each is not design)]
        known: dict[tuple[object, ...], tuple[Condition, Drawn]] = {}

        def draws(
            settings: Sequence[Setting], heights: Sequence[float], warmths: Sequence[float]
        ) -> list[tuple[Condition, Drawn]]:
            out = []
            for each in conditions(settings, heights, warmths):
                key = each.variant, each.altitude_m, each.temperature_c, each.pack_temperature_c
                if key not in known:
                    there = replace(train, **each.setting.train_numbers)
                    known[key] = each, drawn(each.setting, [there], draws=DRAWN)
                out.append(known[key])
            return out

        publish = design.brief.publish
        full = draws(held, publish.altitude_m, publish.temperature_c)
        costs = [
            _least(draws(settings, heights, warmths), without, name)
            for without, name, settings, heights, warmths in _less(design, held)
        ]
        costs += [_least(full, "limit", name, left_out=name) for name in full[0][1].judged]
        order = sorted(costs, key=lambda cost: -cost.near)
        return cls(least=_least(full, "", ""), without=tuple(order))


def _less(
    design: Setting, held: Sequence[Setting]
) -> Iterator[tuple[str, str, Sequence[Setting], Sequence[float], Sequence[float]]]:
    """Fields with one end moved to the brief's own site, and all variants but one."""
    publish = design.brief.publish
    (low, high), (cold, hot) = publish.altitude_m, publish.temperature_c
    site, warm = (
        float(np.clip(design.brief.site.altitude_m or 0.0, low, high)),
        float(np.clip(site_c(design), cold, hot)),
    )
    ends = {
        "height": ((low, site), (cold, hot)), "low fields": ((site, high), (cold, hot)),
        "cold": ((low, high), (warm, hot)), "heat": ((low, high), (cold, warm)),
    }  # fmt: skip
    for without, (heights, warmths) in ends.items():
        if (heights, warmths) != ((low, high), (cold, hot)):
            yield without, "", held, heights, warmths
    for each in held[1:]:
        yield "variant", each.variant.name, [one for one in held if one is not each], (low, high), (cold, hot)


def _least(draws: Sequence[tuple[Condition, Drawn]], without: str, name: str, left_out: str = "") -> Cost:
    """The least chance of draws in conditions, with one check left out where one is named."""
    found = []
    for condition, each in draws:
        for names, wanted in zip((each.wishes, each.ratings), each.asked, strict=True):
            judged = [check for check in names if check != left_out]
            found.append((float(each.chance(judged)[0]), wanted, judged, condition, each))
    chance, wanted, judged, where, each = min(found, key=lambda one: one[0] / one[1])
    worst = min(judged, key=lambda check: float(each.chance([check])[0]), default="")
    return Cost(
        without=without, name=name, chance=chance, wanted=wanted, altitude_m=where.altitude_m,
        temperature_c=where.temperature_c, pack_temperature_c=where.pack_temperature_c, variant=where.variant,
        check=worst,
    )  # fmt: skip
