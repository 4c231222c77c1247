"""Lines of the open data, by description only: what was fitted to them serves a propeller that looks like theirs."""

import math
from dataclasses import dataclass
from functools import cache

from propmatch_plugins.prediction.coefficients import read_table

__all__ = ["Line", "known_lines"]


@dataclass(frozen=True)
class Line:
    """A line's family, number of propellers, range of sizes, and its factors on what its family has from the label."""

    family: str
    propellers: int
    diameter_in: tuple[float, float]
    pitch_ratio: tuple[float, float]
    ct0: float
    cp0: float
    j0: float

    @property
    def description(self) -> str:
        """One sentence of numbers, no names."""
        low, high = self.diameter_in
        size = f"{low:.3g} in" if low == high else f"{low:.3g} to {high:.3g} in"
        steep, steeper = self.pitch_ratio
        ratio = f"{steep:.2f}" if steep == steeper else f"{steep:.2f} to {steeper:.2f}"
        many = "1 propeller" if self.propellers == 1 else f"{self.propellers} propellers"
        beside = ", ".join(
            f"{name} {round(100 * (value - 1)):+d} %"
            for name, value in (("thrust", self.ct0), ("power", self.cp0), ("zero-thrust speed", self.j0))
        )
        return f"{self.family}, {many} of {size}, pitch over diameter {ratio}; beside its family: {beside}"


@cache
def known_lines() -> dict[str, Line]:
    """Key, such as ``thin-1``, to the line."""
    table = read_table("effects")
    out = {}
    for name in table.rows:
        row = table.row(name)
        out[name] = Line(
            family=name.rpartition("-")[0],
            propellers=int(row["propellers"]),
            diameter_in=(row["least_diameter_in"], row["most_diameter_in"]),
            pitch_ratio=(row["least_pitch_ratio"], row["most_pitch_ratio"]),
            ct0=math.exp(row["ct0"]),
            cp0=math.exp(row["cp0"]),
            j0=math.exp(row["j0"]),
        )
    return out
