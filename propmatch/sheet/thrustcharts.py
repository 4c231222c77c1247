"""Thrust available and required against airspeed, and thrust and currents against throttle or any other sweep."""

from collections.abc import Mapping, Sequence
from typing import Any

import attrs
import numpy as np

from propmatch.aircraft.flight import full_throttle
from propmatch.checks.chances import Sureness
from propmatch.models.air import Air
from propmatch.models.arrays import Floats
from propmatch.records.parts import Airframe, PowerTrain
from propmatch.records.sections import Phase
from propmatch.sheet.bands import BUILDS, Band, needed_band, shaded, throttle_bands, thrust_band
from propmatch.sheet.picture import Picture, Table
from propmatch.sheet.speeds import THROTTLES, Speeds, fastest_m_s, phase_points, speeds
from propmatch.sheet.style import BLUE, GREY, INK, ORANGE, PAPER, STYLES, WASH, apart, key
from propmatch.train.coupling import OperatingPoint, solve
from propmatch.words.chancewords import ranged
from propmatch.words.shown import Shown, signed

__all__ = ["compare_chart", "operating_chart", "sweep_chart", "throttle_chart"]

_LIMITS = ((1.0, 1.5), (4.0, 1.5), (4.0, 1.5, 1.0, 1.5))
"""Dashes of lines of limits."""


def _some(values: Floats, count: int = 9) -> list[int]:
    """Places of some values, ends included."""
    return sorted({int(i) for i in np.linspace(0, len(values) - 1, count)})


def _even(thrust: Floats, count: int = 6) -> list[int]:
    """Places at about even steps of a thrust, from the least above zero to the most."""
    known = np.flatnonzero(np.isfinite(thrust) & (thrust > 0))
    if not known.size:
        return _some(thrust, 2)
    steps = np.linspace(thrust[known].min(), thrust[known].max(), count)
    return sorted({int(known[np.argmin(np.abs(thrust[known] - step))]) for step in steps})


def operating_chart(
    train: PowerTrain,
    airframe: Airframe,
    mass_kg: float,
    *,
    air: Air | None = None,
    reserve_charge: float = 0.2,
    phases: Sequence[Phase] = (),
    shown: Shown | None = None,
    sure: Sureness | None = None,
) -> Picture:
    """Thrust of constant throttle, and thrust that level flight needs, against airspeed.

    Full throttle is drawn for a full pack and for the end of the flight; the other throttles for a full pack. Thrust is
    the propellers' own; what level flight needs is drag over the installed-thrust factor, so the lines cross where the
    aircraft flies level. ``sure``, of the same train in the same aircraft, adds bands to full throttle on a full pack
    and to what level flight needs.
    """
    units, here = shown or Shown(), air or Air.standard()
    grid = speeds(airframe, mass_kg, here, fastest_m_s(train, airframe, mass_kg, here))
    charges = (1.0, reserve_charge)
    fresh, late = (solve(train, airspeed_m_s=grid.airspeed, charge=q, air=here).thrust_n for q in charges)
    parts = {d: solve(train, airspeed_m_s=grid.airspeed, throttle=d, air=here).thrust_n for d in THROTTLES}
    tops = [float(full_throttle(train, airframe, mass_kg, charge=q, air=here).top_speed_m_s) for q in charges]
    marks = phase_points(phases, airframe, mass_kg, here)
    full = need = None
    if sure is not None:
        full, need = thrust_band(sure, grid.airspeed[-1]), needed_band(sure, grid.stall, grid.airspeed[-1])
    x, f = np.array([units.speed_of(v) for v in grid.airspeed]), units.thrust_of(1.0)

    def draw(figure: Any) -> None:
        ax = figure.add_subplot(111)
        tallest = fresh if full is None else full.high
        high = 1.05 * f * float(np.nanmax([np.nanmax(fresh), np.nanmax(tallest), *(point for *_, point in marks)]))
        ax.set(xlim=(0, x[-1]), ylim=(0, high), xlabel=f"airspeed, {units.speed_unit}", ylabel="thrust, "
               + units.thrust_unit)  # fmt: skip
        if full is None or need is None:
            ax.fill_between(x, f * fresh, f * late, color=WASH, lw=0)
        else:
            shaded(ax, full, BLUE, x=units.speed_of(1.0), y=f, label=BUILDS)
            shaded(ax, need, ORANGE, x=units.speed_of(1.0), y=f)
        for thrust in parts.values():
            ax.plot(x, f * thrust, color=GREY, lw=0.7)
        ax.plot(x, f * fresh, color=BLUE, marker="o", markevery=10, label="full throttle")
        ax.plot(x, f * late, color=BLUE, linestyle="--", marker="s", markevery=10, markerfacecolor=PAPER,
                label=f"at {100 * reserve_charge:.0f} % charge")  # fmt: skip
        ax.plot(x, f * grid.needed, color=ORANGE, linestyle="-.", lw=1.8, label="level flight")
        ax.axvline(units.speed_of(grid.stall), color=INK, lw=0.8, ls=":", label="stall")
        for (label, speed, point), marker in zip(marks, "XPDv*^<>" * len(marks), strict=False):
            ax.plot([units.speed_of(speed)], [f * point], marker=marker, color=INK, ls="none", ms=6, label=label)
        _start_labels(ax, [(f * float(t[0]), f"{100 * d:.0f} %") for d, t in parts.items()])
        key(ax)

    at = _some(grid.airspeed)
    rows = [
        {
            f"airspeed, {units.speed_unit}": signed(x[i], 0),
            f"100 %, full pack, {units.thrust_unit}": _banded(units, fresh[i], full, grid.airspeed[i]),
            f"100 %, {100 * reserve_charge:.0f} % charge, {units.thrust_unit}": _thrust(units, late[i]),
            **{f"{100 * d:.0f} %, {units.thrust_unit}": _thrust(units, t[i]) for d, t in parts.items()},
            f"needed, {units.thrust_unit}": _banded(units, grid.needed[i], need, grid.airspeed[i]),
        }
        for i in at
    ]
    rest = _static(units, fresh, full)
    summary = (
        f"At rest full throttle gives {rest} on a full pack, {units.thrust_text(late[0])} at "
        f"{100 * reserve_charge:.0f} % charge. Level flight goes from the stall, {units.speed_text(grid.stall)}, to "
        f"{_top(units, tops[0])} on a full pack, {_top(units, tops[1])} at the end."
    )
    return Picture(
        name="operating", title="Thrust and what level flight needs, against airspeed", summary=summary,
        table=Table.of(rows), draw=draw,
    )  # fmt: skip


def _top(units: Shown, speed: float) -> str:
    return units.speed_text(speed) if np.isfinite(speed) else "nowhere (full throttle does not suffice)"


def _thrust(units: Shown, thrust_n: float) -> str:
    return signed(units.thrust_of(thrust_n), 0 if units.thrust == "gf" else 2)


def _banded(units: Shown, thrust_n: float, band: Band | None, x: float) -> str:
    """A thrust with its range at a place of the axis."""
    text = _thrust(units, thrust_n)
    return text if band is None or not np.isfinite(thrust_n) else ranged(text, *band.at(x), "thrust", units)


def _static(units: Shown, thrust_n: Floats, band: Band | None) -> str:
    """The thrust at rest, the first of a curve, with its range."""
    text = units.thrust_text(thrust_n[0])
    return text if band is None else ranged(text, *band.at(0.0), "thrust", units)


def _start_labels(ax: Any, labels: Sequence[tuple[float, str]]) -> None:
    """Names of curves just inside the left edge, above their beginnings."""
    low, high = ax.get_ylim()
    known = sorted(label for label in labels if np.isfinite(label[0]))
    for (_, text), at in zip(known, apart([y for y, _ in known], 0.09 * (high - low)), strict=True):
        ax.annotate(text, (0.0, at), xytext=(2, 1), textcoords="offset points", color=GREY, va="bottom",
                    bbox={"facecolor": PAPER, "edgecolor": "none", "pad": 0.2, "alpha": 0.8})  # fmt: skip


def compare_chart(
    trains: Mapping[str, PowerTrain],
    airframe: Airframe,
    mass_kg: Mapping[str, float],
    *,
    air: Air | None = None,
    shown: Shown | None = None,
    title: str = "",
    sure: Mapping[str, Sureness] | None = None,
    name: str = "compare",
) -> Picture:
    """Full throttle of several trains against airspeed at half charge, each with what level flight needs at its mass.

    ``sure`` adds a band to the full throttle of each.
    """
    charge = 0.5
    units, here = shown or Shown(), air or Air.standard()
    fastest = max(fastest_m_s(train, airframe, mass_kg[key], here) for key, train in trains.items())
    grids = {key: speeds(airframe, mass_kg[key], here, fastest) for key in trains}
    thrusts = {
        key: solve(train, airspeed_m_s=grids[key].airspeed, charge=charge, air=here).thrust_n
        for key, train in trains.items()
    }
    bands = {key: thrust_band(each, fastest, charge) for key, each in (sure or {}).items()}
    f = units.thrust_of(1.0)

    def draw(figure: Any) -> None:
        ax = figure.add_subplot(111)
        tallest = [*thrusts.values(), *(band.high for band in bands.values())]
        high = 1.05 * f * max(float(np.nanmax(t)) for t in tallest)
        ax.set(xlim=(0, units.speed_of(fastest)), ylim=(0, high), xlabel=f"airspeed, {units.speed_unit}",
               ylabel=f"thrust, {units.thrust_unit}")  # fmt: skip
        for (each, thrust), style in zip(thrusts.items(), STYLES * 3, strict=False):
            x = np.array([units.speed_of(v) for v in grids[each].airspeed])
            if each in bands:
                label = "" if ax.collections else BUILDS
                shaded(ax, bands[each], style["color"], x=units.speed_of(1.0), y=f, label=label)
            ax.plot(x, f * thrust, markevery=10, label=f"{each}, full throttle", **style)
            ax.plot(x, f * grids[each].needed, color=style["color"], ls=style["linestyle"], lw=0.8,
                    label=f"{each}, level flight")  # fmt: skip
        key(ax)

    first = next(iter(grids.values()))
    rows = [
        {
            f"airspeed, {units.speed_unit}": units.number(first.airspeed[i], "speed", 0),
            **{f"{key}, {units.thrust_unit}": _banded(units, float(np.interp(
                first.airspeed[i], grids[key].airspeed, t)), bands.get(key), first.airspeed[i])
               for key, t in thrusts.items()},
            **{f"needed with {key}, {units.thrust_unit}": _thrust(units, _needed(grids[key], first.airspeed[i]))
               for key in thrusts},
        }
        for i in _some(first.airspeed)
    ]  # fmt: skip
    tops = [
        f"{key}: {_static(units, thrusts[key], bands.get(key))} at rest, up to "
        + _top(units, float(full_throttle(train, airframe, mass_kg[key], charge=charge, air=here).top_speed_m_s))
        for key, train in trains.items()
    ]
    return Picture(
        name=name, title=title or f"{' beside '.join(trains)}: full throttle at {100 * charge:.0f} % charge",
        summary=f"At {100 * charge:.0f} % charge. {'; '.join(tops)}.",
        table=Table.of(rows), draw=draw,
    )  # fmt: skip


def _needed(grid: Speeds, speed: float) -> float:
    return float(np.interp(speed, grid.airspeed, grid.needed)) if speed >= grid.stall else float("nan")


def throttle_chart(
    train: PowerTrain,
    *,
    airspeed_m_s: float = 0.0,
    charge: float = 1.0,
    air: Air | None = None,
    limits_a: Mapping[str, float] | None = None,
    shown: Shown | None = None,
    sure: Sureness | None = None,
    name: str = "throttle",
) -> Picture:
    """Thrust, motor current and pack current against throttle at one airspeed and charge; ``sure`` adds bands."""
    throttle = np.linspace(0.1, 1.0, 46)
    point = solve(train, airspeed_m_s=airspeed_m_s, throttle=throttle, charge=charge, air=air)
    units = shown or Shown()
    where = "at rest" if airspeed_m_s == 0 else f"at {units.speed_text(airspeed_m_s)}"
    bands = {} if sure is None else throttle_bands(sure, airspeed_m_s, charge, 100 * throttle)
    made = sweep_chart(
        100 * throttle, point, axis="throttle (duty), %", title=f"Thrust and current against throttle, {where}",
        limits_a=limits_a, shown=units, by_thrust=True, bands=bands,
    )  # fmt: skip
    return attrs.evolve(made, name=name)


def sweep_chart(
    x: Any,
    point: OperatingPoint,
    *,
    axis: str,
    title: str,
    limits_a: Mapping[str, float] | None = None,
    shown: Shown | None = None,
    by_thrust: bool = False,
    bands: Mapping[str, Band] | None = None,
) -> Picture:
    """Thrust above, motor and pack current below, against any swept quantity ``x`` (M,).

    With ``by_thrust`` the table of numbers goes by even steps of thrust, and says what ``x`` each takes. ``bands`` are
    of thrust_n, motor_current_a and pack_current_a, against ``x``.
    """
    units, x = shown or Shown(), np.asarray(x, dtype=np.float64)
    thrust, motor, pack = (
        np.broadcast_to(np.asarray(getattr(point, field), dtype=np.float64), x.shape)
        for field in ("thrust_n", "motor_current_a", "pack_current_a")
    )
    bands = bands or {}
    f, known = units.thrust_of(1.0), dict[float, list[str]]()
    for name, limit in (limits_a or {}).items():
        if np.isfinite(limit):
            known.setdefault(limit, []).append(name)
    marker = {} if len(x) > 12 else {"marker": "o"}

    def draw(figure: Any) -> None:
        above, below = figure.subplots(2, 1, sharex=True)
        for name, ax, colour, scale in (
            ("thrust_n", above, BLUE, f), ("motor_current_a", below, BLUE, 1.0), ("pack_current_a", below, ORANGE, 1.0),
        ):  # fmt: skip
            if name in bands:
                shaded(ax, bands[name], colour, y=scale, label=BUILDS if colour == ORANGE else "")
        above.plot(x, f * thrust, color=BLUE, **marker)
        above.set(ylabel=f"thrust, {units.thrust_unit}")
        below.plot(x, motor, color=BLUE, label="one motor", **marker)
        below.plot(x, pack, color=ORANGE, ls="--", label="pack", **marker)
        below.set(xlabel=axis, ylabel="current, A", xlim=(float(x.min()), float(x.max())) if len(x) > 1 else None)
        curves = (motor, pack, *(band.high for name, band in bands.items() if name != "thrust_n"))
        drawn = [np.nanmax(c) for c in curves if np.isfinite(c).any()]
        top = 1.2 * max([*drawn, *(a for a in known if a < 2.5 * max(drawn, default=1.0))], default=1.0)
        bottom = min([0.0, *(1.3 * float(np.nanmin(c)) for c in (motor, pack) if np.isfinite(c).any())])
        below.set_ylim(bottom, top)
        for a, dashes in zip(sorted(a for a in known if a < top), _LIMITS * 9, strict=False):
            below.axhline(a, color=INK, lw=0.9, ls=(0, dashes), label=f"{' and '.join(known[a])}, {a:g} A")
        key(below)

    thrust_head = f"thrust, {units.thrust_unit}"
    rows = [
        {
            axis: signed(x[i], 2 if abs(x).max() < 10 else 0),
            thrust_head: _banded(units, float(thrust[i]), bands.get("thrust_n"), x[i]),
            "motor current, A": _amps(float(motor[i]), bands.get("motor_current_a"), x[i]),
            "pack current, A": _amps(float(pack[i]), bands.get("pack_current_a"), x[i]),
        }
        for i in (_even(thrust) if by_thrust else _some(x))
    ]
    if by_thrust:
        rows = [{thrust_head: row[thrust_head], **row} for row in rows]
    summary = _sweep_words(x, thrust, motor, pack, axis, units)
    return Picture(name="sweep", title=title, summary=summary, table=Table.of(rows), draw=draw)


def _amps(current_a: float, band: Band | None, x: float) -> str:
    """A current with its range at a place of the axis."""
    return signed(current_a) if band is None or not np.isfinite(current_a) else ranged(signed(current_a), *band.at(x))


def _sweep_words(x: Floats, thrust: Floats, motor: Floats, pack: Floats, axis: str, units: Shown) -> str:
    known = np.flatnonzero(np.isfinite(thrust))
    if not known.size:
        return "No point of this sweep has an answer."
    low, high = int(known[0]), int(known[-1])
    quantity, _, unit = axis.partition(", ")
    ends = [f"{signed(x[i], 2 if abs(x).max() < 10 else 0)} {unit}".strip() for i in (low, high)]
    return (
        f"From {quantity} {ends[0]} to {ends[1]}: thrust {units.thrust_text(thrust[low])} to "
        f"{units.thrust_text(thrust[high])}, one motor {motor[low]:.1f} to {motor[high]:.1f} A, pack "
        f"{pack[low]:.1f} to {pack[high]:.1f} A. At part throttle a motor carries more than the pack gives."
    )
