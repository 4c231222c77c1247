"""Samples of a catalogue whose parts differ from their data sheets, to see how firm a ranking stands.

Every motor's kV and winding resistance and every pack's cell resistance is multiplied by exp(s z), z from a scrambled
Sobol sequence through the normal quantile, s the relative standard deviation below, or the part's own stated
uncertainty for kV. Common practice, no published source: two motors of one make differ by a few per cent in kV, a
resistance read from a data sheet by a fifth. What only a shop's row says (source kind ``label``) is less sure.
"""

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np

from propmatch.records.estimates import Assumption, completed
from propmatch.records.fields import replace
from propmatch.records.parts import Motor, Pack

__all__ = ["LABEL_SPREAD", "SAMPLE_SPREAD", "part_spread", "sampled", "spread_assumptions"]

SAMPLE_SPREAD = {"kv_rpm_per_v": 0.03, "resistance_ohm": 0.20, "cell_resistance_mohm": 0.20}
"""Relative standard deviation of each number that is varied."""
LABEL_SPREAD = {"kv_rpm_per_v": 0.05, "resistance_ohm": 0.35, "cell_resistance_mohm": 0.45}
"""The same of a part whose source is a label; common practice, no published source."""


def part_spread(part: Motor | Pack, field: str) -> float:
    """Relative standard deviation of a number of a part."""
    return (LABEL_SPREAD if part.source.kind == "label" else SAMPLE_SPREAD)[field]


def spread_assumptions() -> tuple[Assumption, ...]:
    """What the samples rest on."""
    return tuple(
        Assumption(
            subject="samples",
            field=field,
            value=spread,
            unit="",
            text=(
                f"{field} varied by {spread:.0%} standard deviation, {LABEL_SPREAD[field]:.0%} where only a label says "
                "it; common practice, no published source"
            ),
        )
        for field, spread in SAMPLE_SPREAD.items()
    )


def sampled(
    motors: Sequence[Motor], packs: Sequence[Pack], count: int, *, seed: int = 1
) -> Iterator[tuple[tuple[Motor, ...], tuple[Pack, ...]]]:
    """The same motors and packs with other numbers, ``count`` times.

    Parameters
    ----------
    motors, packs
    count : int
        A power of two spreads the samples best.
    seed : int
        The same seed gives the same samples.
    """
    from scipy.stats import norm, qmc

    full: list[Any] = [completed(m)[0] for m in motors]
    cells: list[Any] = [completed(p)[0] for p in packs]
    dimensions = 2 * len(motors) + len(packs)
    if dimensions > qmc.Sobol.MAXDIM:
        unit = np.random.default_rng(seed).random((count, dimensions))
    else:
        unit = qmc.Sobol(dimensions, rng=seed).random(count)
    draws = norm.ppf(np.clip(unit, 1e-6, 1 - 1e-6))
    for z in draws:
        kv, winding, cell = np.split(z, [len(motors), 2 * len(motors)])
        yield (
            tuple(
                replace(
                    motor,
                    kv_rpm_per_v=motor.kv_rpm_per_v
                    * float(np.exp((motor.source.uncertainty or part_spread(motor, "kv_rpm_per_v")) * a)),
                    resistance_ohm=motor.resistance_ohm * float(np.exp(part_spread(motor, "resistance_ohm") * b)),
                )
                for motor, a, b in zip(full, kv, winding, strict=True)
            ),
            tuple(
                replace(
                    pack,
                    cell_resistance_mohm=pack.cell_resistance_mohm
                    * float(np.exp(part_spread(pack, "cell_resistance_mohm") * c)),
                )
                for pack, c in zip(cells, cell, strict=True)
            ),
        )
