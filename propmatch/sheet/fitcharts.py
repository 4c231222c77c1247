"""What a bench log says, drawn: readings with the curve of the fitted motor and its band, and residuals by row."""

import math
from collections.abc import Sequence
from typing import Any

import attrs
import numpy as np

from propmatch.bench.logfit import Z90, FittedRow, LogFit
from propmatch.models.arrays import Floats
from propmatch.models.motor import resistance_at_speed
from propmatch.sheet.bands import Band, shaded
from propmatch.sheet.picture import Picture, Table
from propmatch.sheet.style import GREY, INK, STYLES, key
from propmatch.units import KV_TO_K, RPM_RAD_S
from propmatch.words.fitwords import fit_sentences
from propmatch.words.shown import signed

__all__ = ["fit_chart", "motor_curve"]

_POINTS, _STEP = 40, 1e-6
_QUANTITIES = (("volts", "V", 2), ("amps", "A", 2), ("rpm", "rpm", 0), ("thrust_gf", "gf", 0), ("torque_nm", "N m", 3))


@attrs.frozen(eq=False)
class _Motor:
    """The motor behind the instruments, for D sets of what rows share, (D, 1) each.

    w = (V - R I)/(K + b I), which is V = K w + (R + b w) I solved for w.
    """

    k: Floats
    resistance_ohm: Floats
    slope_ohm_s: Floats
    gains: dict[str, Floats]
    zero_a: Floats

    @classmethod
    def of(cls, fit: LogFit, shared: Floats) -> "_Motor":
        """From the numbers that rows share, (D, names)."""
        named = {name: shared[:, at, None] for at, name in enumerate(fit.names)}
        return cls(
            k=KV_TO_K / np.exp(named["kv_rpm_per_v"]),
            resistance_ohm=np.exp(named["resistance_ohm"]),
            slope_ohm_s=np.exp(named["resistance_slope_ohm_s"]),
            gains={name: np.exp(named[f"gain of {name}"]) for name in ("volts", "amps", "rpm")},
            zero_a=named["zero of amps"],
        )

    def rpm(self, amps: Floats, volts: Floats, motors: float) -> Floats:
        """What a tachometer shows at readings (K,) of the other two, (D, K)."""
        current = (amps - self.zero_a) / self.gains["amps"] / motors
        speed = (volts / self.gains["volts"] - self.resistance_ohm * current) / (self.k + self.slope_ohm_s * current)
        return speed / RPM_RAD_S * self.gains["rpm"]

    def current_a(self, volts: Floats, rpm: Floats) -> Floats:
        """Current of one motor at such readings (K,), (D, K)."""
        w = rpm / self.gains["rpm"] * RPM_RAD_S
        ohm = resistance_at_speed(self.resistance_ohm, self.slope_ohm_s, w)
        return np.asarray((volts / self.gains["volts"] - self.k * w) / ohm)


def _full(fit: LogFit) -> dict[int | None, list[FittedRow]]:
    """Rows at full throttle that the fit rests on and that have volts, amps and rpm, by cell count."""
    found: dict[int | None, list[FittedRow]] = {}
    for row in fit.rows:
        known = None not in (row.fit_amps, row.fit_rpm, row.fit_volts)
        if row.used and row.throttle == 1.0 and known:
            found.setdefault(row.cells, []).append(row)
    return found


def motor_curve(fit: LogFit, rows: Sequence[FittedRow]) -> tuple[Floats, Band]:
    """What rpm should be read over amps (K,), at the volts of some rows, and its 90 % band.

    The band is +- 1.645 sd, from the covariance of everything that rows share, to first order (as intervals are). The
    volts between rows lie on the straight line through theirs. The motor turns on its own gear's input side, so
    readings of a geared propeller are multiplied by the ratio here and divided again.
    """
    gear = fit.expected.gear_ratio
    amps, volts, rpm = (np.array([getattr(row, f"fit_{name}") for row in rows]) for name in ("amps", "volts", "rpm"))
    low, high = amps.min(), amps.max()
    x = np.linspace(0.9 * low, 1.05 * high, _POINTS)
    slope = np.polyfit(amps, volts, 1) if high > 1.05 * low else (0.0, volts.mean())
    there = np.polyval(slope, x)
    best = _Motor.of(fit, fit.ln[None])
    carried = (amps - best.zero_a) / best.gains["amps"]
    motors = float(max(round(float(np.median(carried / best.current_a(volts, gear * rpm)))), 1))
    moved = _Motor.of(fit, fit.ln + _STEP * np.eye(fit.ln.size))
    rpm = best.rpm(x, there, motors)[0] / gear
    slopes = (moved.rpm(x, there, motors) / gear - rpm) / _STEP
    half = Z90 * np.sqrt(np.einsum("ik,ij,jk->k", slopes, fit.covariance, slopes))
    return rpm, Band(x, rpm - half, rpm + half)


def fit_chart(fit: LogFit, *, name: str = "bench") -> Picture:
    """Speed over current as read, beside the curve of the fitted motor for each cell count; and how far rows are off.

    Without a tachometer, and where kV or resistance is left open, only the residuals are drawn.
    """
    known = {"kv_rpm_per_v", "resistance_ohm"} <= set(fit.constants) and not fit.contradicted
    curves = {cells: (rows, *motor_curve(fit, rows)) for cells, rows in _full(fit).items()} if known else {}

    def draw(figure: Any) -> None:
        if curves:
            above, below = figure.subplots(2, 1, height_ratios=(3, 2))
            _speeds(above, fit, curves)
        else:
            below = figure.add_subplot(111)
        _residuals(below, fit)

    rows = [
        {
            "line": str(row.line),
            "propeller": row.propeller or "-",
            "throttle, %": f"{100 * row.throttle:.0f}",
            **{
                f"{quantity.partition('_')[0]} as read and fitted, {unit}": _pair(row, quantity, digits)
                for quantity, unit, digits in _QUANTITIES
                if any(getattr(each, quantity) is not None for each in fit.rows)
            },
            "what is wrong": row.remark or "-",
        }
        for row in fit.rows
    ]
    summary = " ".join(fit_sentences(fit))
    return Picture(
        name=name, title=f"Bench readings of {fit.known.name}, and what they fit", summary=summary,
        table=Table.of(rows), draw=draw, height_in=4.4 if curves else 2.4,
    )  # fmt: skip


def _pair(row: FittedRow, quantity: str, digits: int) -> str:
    read, fitted = getattr(row, quantity), getattr(row, f"fit_{quantity}")
    if read is None and fitted is None:
        return "-"
    return f"{signed(read, digits)}, {signed(fitted, digits)}"


def _speeds(ax: Any, fit: LogFit, curves: dict[int | None, tuple[list[FittedRow], Floats, Band]]) -> None:
    """Readings as marks, and the curve of each cell count with its band."""
    for (cells, (rows, rpm, band)), style in zip(curves.items(), STYLES * 3, strict=False):
        label = "full throttle" if cells is None else f"{cells}S, full throttle"
        shaded(ax, band, style["color"], label="" if ax.collections else "90 % of readings")
        ax.plot(band.x, rpm, color=style["color"], ls=style["linestyle"], lw=1.4)
        _marks(ax, rows, marker=style["marker"], color=style["color"], label=label)
    drawn = {id(row) for rows, *_ in curves.values() for row in rows}
    others = [row for row in fit.rows if id(row) not in drawn]
    for used, marker, label in ((True, "o", "part throttle"), (False, "x", "set aside")):
        some = [row for row in others if row.used is used]
        _marks(ax, some, marker=marker, color=GREY, markerfacecolor="none", label=label)
    ax.set(xlabel="current from the pack, A", ylabel="propeller speed, rpm", xlim=(0, None))
    key(ax)


def _marks(ax: Any, rows: Sequence[FittedRow], **look: Any) -> None:
    """Speed over current, as read."""
    read = [row for row in rows if row.amps is not None and row.rpm is not None]
    if read:
        ax.plot([row.amps for row in read], [row.rpm for row in read], ls="none", **look)


def _residuals(ax: Any, fit: LogFit) -> None:
    """Reading over fit less 1, of each quantity."""
    most = 0.0
    for (quantity, *_), style in zip(_QUANTITIES, (*STYLES, {"color": INK, "marker": "v"}), strict=True):
        points = [(at, _off(row, quantity)) for at, row in enumerate(fit.rows)]
        points = [(at, off) for at, off in points if math.isfinite(off)]
        if points:
            ax.plot(*zip(*points, strict=True), ls="none", marker=style["marker"], color=style["color"],
                    label=quantity.partition("_")[0])  # fmt: skip
            most = max(most, *(abs(off) for _, off in points))
    ax.axhline(0.0, color=INK, lw=0.8)
    labels = [f"{row.line}{'' if row.used and not row.remark else ' !'}" for row in fit.rows]
    ax.set_xticks(range(len(labels)), labels, rotation=90 if len(labels) > 12 else 0)
    ax.set(xlabel="line of the log; ! set aside or remarked on", ylabel="reading less fit, %",
           xlim=(-0.5, len(labels) - 0.5), ylim=(-1.15 * most or -1.0, 1.15 * most or 1.0))  # fmt: skip
    if most:
        key(ax)


def _off(row: FittedRow, quantity: str) -> float:
    read, fitted = getattr(row, quantity), getattr(row, f"fit_{quantity}")
    return math.nan if read is None or not fitted else 100.0 * (read / fitted - 1.0)
