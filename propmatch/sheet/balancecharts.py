"""The elevator that a change of throttle takes."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from propmatch.aircraft.thrustline import ThrottleTrim
from propmatch.sheet.picture import Picture, Table
from propmatch.sheet.style import INK, STYLES, key
from propmatch.words.shown import Shown, signed

__all__ = ["trim_chart"]


def trim_chart(
    found: ThrottleTrim, *, words: Sequence[str] = (), shown: Shown | None = None, name: str = "trim"
) -> Picture:
    """Up elevator beyond that of the glide at the same speed, for level flight and full throttle of each case.

    ``words`` say what it shows; default: the worst speed of each case.
    """
    units = shown or Shown()
    x = np.array([units.speed_of(v) for v in found.airspeed_m_s])
    change = found.more_up_deg
    lines = [
        (f"{case}, {found.states[state]}", change[c, state], STYLES[(2 * c + state - 1) % len(STYLES)])
        for c, case in enumerate(found.names)
        for state in range(len(found.states) - 1, 0, -1)
        if np.isfinite(change[c, state]).any()
    ]

    def draw(figure: Any) -> None:
        ax = figure.add_subplot(111)
        for text, y, style in lines:
            ax.plot(x, y, markevery=max(1, len(x) // 6), label=text, **style)
        ax.axhline(0, color=INK, lw=0.8)
        ax.set(xlabel=f"airspeed, {units.speed_unit}", ylabel="more up elevator, deg")
        key(ax)

    rows = [
        {f"airspeed, {units.speed_unit}": signed(x[i], 0), **{f"{text}, deg": signed(float(y[i])) for text, y, _ in
                                                              lines}}
        for i in range(0, len(x), max(1, len(x) // 8))
    ]  # fmt: skip
    summary = " ".join(words or found.readings(show=units.speed_text))
    return Picture(name=name, title="Trim change with throttle", summary=summary, table=Table.of(rows), draw=draw,
                   height_in=2.1)  # fmt: skip
