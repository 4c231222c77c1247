"""Which assumptions a text names: those that the answer hangs on. JSON has them all."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import attrs

if TYPE_CHECKING:
    from propmatch.checks.chances import Sureness
    from propmatch.models.arrays import Floats
    from propmatch.records.estimates import Assumption

__all__ = ["Mattering", "mattering"]

_LEAST_SHARE = 0.05
_LOOKED_AT = "flight time, thrust to weight or the least certain check"
_NUMBER_OF = {
    "cd0": "drag", "oswald": "induced_drag", "cl_max": "lift", "radio_current_a": "accessories",
    "receiver_current_a": "accessories", "servo_current_a": "accessories", "flow_rate": "bare_mass",
    "density_g_cm3": "bare_mass", "no_load_exponent": "no_load_current_a",
}  # fmt: skip
"""The number that is drawn where an assumption has another name."""
_ELSEWHERE = ("balance", "tail", "control")
"""Subjects that neither flight time nor thrust nor any current rests on."""
_ASKED = ("chance", "rating_chance")
"""What is asked of an answer, which moves none of its numbers."""


@attrs.frozen(kw_only=True)
class Mattering:
    """What the text names of the assumptions.

    Attributes
    ----------
    named : tuple of Assumption
    more : str
        How many others there are, and how to see them; empty where there are none.
    """

    named: "tuple[Assumption, ...]"
    more: str


def mattering(
    assumptions: "Sequence[Assumption]",
    sure: "Sequence[Sureness]",
    options: Mapping[str, Any],
    said: "Mapping[str, Floats] | None" = None,
) -> Mattering | None:
    """The assumptions that matter to what is said of some power trains.

    Left out are numbers that make less than 5 % of the variance of flight time, thrust to weight and the least certain
    check of each train, and what balance, trim and roll alone rest on. What nobody can say the spread of stays.

    Parameters
    ----------
    assumptions : sequence of Assumption
    sure : sequence of Sureness
        Of everything the answer is about.
    options : mapping
        Options of the command; None is returned with ``--all-assumptions``.
    said : mapping of str to draws (N,), optional
        What the answer says of a power train in no aircraft, in place of flight time and checks.
    """
    if options.get("all_assumptions"):
        return None
    shares = _shares(sure, said)
    named = tuple(each for each in assumptions if _matters(each, shares))
    left = len(assumptions) - len(named)
    looked_at = _LOOKED_AT if said is None else " or ".join(said)
    more = (
        f"{left} more: none makes {100 * _LEAST_SHARE:.0f} % of what is uncertain about {looked_at}; --all-assumptions "
        "names them."
    )
    return Mattering(named=named, more=more if left else "")


def _shares(sure: "Sequence[Sureness]", said: "Mapping[str, Floats] | None") -> dict[tuple[str, str], float]:
    """Largest share of each number of each part in the variance of anything looked at."""
    largest: dict[tuple[str, str], float] = {}
    for each in sure:
        if said is None:
            names = dict.fromkeys(("flight_time", "thrust_to_weight", each.least_certain))
            found = [each.number_shares(each.drawn.measured[name].value) for name in names if name is not None]
        else:
            found = [each.number_shares(draws) for draws in said.values()]
        for number in each.inputs:
            share = max((shares.get(number.name, 0.0) for shares in found), default=0.0)
            key = (number.subject, number.name)
            largest[key] = max(largest.get(key, 0.0), share)
    return largest


def _matters(each: "Assumption", shares: Mapping[tuple[str, str], float]) -> bool:
    if each.subject in _ELSEWHERE or (each.subject == "limits" and each.field in _ASKED):
        return False
    name = _NUMBER_OF.get(each.field, each.field)
    share = shares.get((each.subject, name), shares.get(("aircraft", name)))
    return share is None or share >= _LEAST_SHARE
