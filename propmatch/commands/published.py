"""Fields and air that an envelope is published for, as options."""

from typing import TYPE_CHECKING

from propmatch.commands.ranges import PUBLISHED_ALTITUDE, PUBLISHED_TEMPERATURE, Quantity, read_values
from propmatch.faults import Fault, InputFaults

if TYPE_CHECKING:
    from propmatch.records.brief import Brief

__all__ = ["published"]


def published(brief: "Brief", altitude: str | None, temperature: str | None) -> "Brief":
    """The brief with other fields and air to be published for, or as it is.

    Raises
    ------
    InputFaults
        Every fault of both texts.
    """
    from propmatch.records.fields import replace

    faults: list[Fault] = []
    changes: dict[str, float] = {}
    for quantity, text in ((PUBLISHED_ALTITUDE, altitude), (PUBLISHED_TEMPERATURE, temperature)):
        if text is not None:
            changes |= _ends(quantity, text, faults)
    if faults:
        raise InputFaults(faults)
    return replace(brief, publish=replace(brief.publish, **changes)) if changes else brief


def _ends(quantity: Quantity, text: str, faults: list[Fault]) -> dict[str, float]:
    stem, _, unit = quantity.rule.name.rpartition("_")
    before, values = len(faults), read_values(quantity, text, faults)
    if len(faults) > before:
        return {}
    if ".." not in text and len(values) != 1:
        faults.append(Fault(quantity.option, value=text, rule="must be one range, such as 0..1000"))
        return {}
    if values[0] > values[-1]:
        faults.append(Fault(quantity.option, value=text, rule="must run from the lower to the higher end"))
    return {f"{stem}_from_{unit}": values[0], f"{stem}_to_{unit}": values[-1]}
