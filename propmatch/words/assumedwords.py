"""Which assumptions a text names: the few that move the answer most. JSON has them all."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import attrs
import numpy as np

if TYPE_CHECKING:
    from propmatch.checks.chances import Sureness
    from propmatch.models.arrays import Floats
    from propmatch.records.estimates import Assumption

__all__ = ["Mattering", "mattering"]

_LEAST_MOVE, _FEWEST, _MOST = 0.05, 2, 4
_NO_MOVE = 0.01
_ANSWERS = {
    "flight_time": "flight time", "thrust_to_weight": "thrust to weight", "controller_current": "motor current",
}  # fmt: skip
"""The checks whose value a reader takes away, and what text calls it."""
_NUMBER_OF = {
    "cd0": "drag", "oswald": "induced_drag", "cl_max": "lift", "radio_current_a": "radio",
    "receiver_current_a": "radio", "servo_current_a": "radio", "flow_rate": "bare_mass",
    "density_g_cm3": "bare_mass", "no_load_exponent": "no_load_current_a",
}  # fmt: skip
"""The number that is drawn where an assumption has another name."""


@attrs.frozen(kw_only=True)
class Mattering:
    """What the text names of the assumptions.

    Attributes
    ----------
    named : tuple of Assumption
        Those that move the answer, the strongest first.
    lines : tuple of str
        What each moves and by how much, and the assumption in short.
    left : int
        How many others there are.
    """

    named: "tuple[Assumption, ...]"
    lines: tuple[str, ...]
    left: int

    @property
    def more(self) -> str:
        """How many others there are, and how to see them; empty where there are none."""
        words = f"{self.left} {'more' if self.named else 'assumptions'}"
        return f"{words}: --assumptions lists all." if self.left else ""


def mattering(
    assumptions: "Sequence[Assumption]",
    sure: "Sequence[Sureness]",
    options: Mapping[str, Any] | None = None,
    said: "Mapping[str, Floats] | None" = None,
    most: int = _MOST,
) -> Mattering | None:
    """The two to four assumptions that move the answer most, a third and fourth where they move it by more than 5 %.

    None that moves it by less than 1 % is named.

    A number moves an answer by sqrt(s) h, with s its share of the answer's variance and h half of the answer's 80 %
    interval over the middle of that.

    Parameters
    ----------
    assumptions : sequence of Assumption
    sure : sequence of Sureness
        Of everything the answer is about; empty where nothing was drawn, so that none is named.
    options : mapping, optional
        Options of the command; None is returned with ``--assumptions``.
    said : mapping of str to draws (N,), optional
        What the answer says of a power train in no aircraft, in place of flight time, thrust and motor current.
    most : int
        So many are named at most.
    """
    if options and options.get("assumptions"):
        return None
    moves = _moves(sure, said)
    found: dict[str, tuple[float, str, list[Assumption]]] = {}
    for each in assumptions:
        name = _NUMBER_OF.get(each.field, each.field)
        move, answer = moves.get((each.subject, name), moves.get(("aircraft", name), (0.0, "")))
        known = found.get(name, (0.0, "", []))
        same = known[2] and known[2][0].subject == each.subject
        if same:
            known[2].append(each)
        elif move > max(known[0], _NO_MOVE):
            found[name] = (move, answer, [each])
    ranked = sorted(found.values(), key=lambda item: -item[0])[:most]
    kept = [item for at, item in enumerate(ranked) if item[0] > _LEAST_MOVE or at < _FEWEST]
    named = tuple(each for _, _, made in kept for each in made)
    left = len(set(assumptions) - set(named))
    return Mattering(named=named, lines=tuple(_line(*item) for item in kept), left=left)


def _line(move: float, answer: str, made: "Sequence[Assumption]") -> str:
    texts = "; ".join(each.text.partition(";")[0] for each in made)
    return f"{answer} by {100 * move:.0f} %: {made[0].subject}: {texts}"


def _moves(sure: "Sequence[Sureness]", said: "Mapping[str, Floats] | None") -> dict[tuple[str, str], tuple[float, str]]:
    """By how much each number of each part moves what it moves most, and what that is."""
    largest: dict[tuple[str, str], tuple[float, str]] = {}
    for each in sure:
        answers = said or {word: each.drawn.measured[name].value for name, word in _ANSWERS.items()}
        for answer, values in answers.items():
            ends = each.interval(values)
            middle = abs(ends.high + ends.low) / 2.0
            half = (ends.high - ends.low) / 2.0 / middle if middle else np.nan
            shares = each.number_shares(values) if np.isfinite(half) else {}
            for number in each.inputs:
                key, move = (number.subject, number.name), np.sqrt(shares.get(number.name, 0.0)) * half
                if move > largest.get(key, (0.0, ""))[0]:
                    largest[key] = (float(move), answer)
    return largest
