"""Side view to scale with what balances where, and the elevator that a change of throttle takes."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from propmatch.aircraft.balance import MassBuildUp, PackPlaces
from propmatch.aircraft.geometry import Geometry
from propmatch.aircraft.stability import stability
from propmatch.aircraft.thrustline import ThrottleTrim
from propmatch.records.masses import Item
from propmatch.records.parts import PowerTrain
from propmatch.sheet.picture import Picture, Table
from propmatch.sheet.style import BLUE, GREEN, GREY, INK, ORANGE, STYLES, end_labels
from propmatch.units import INCH_M, MM_M
from propmatch.words.shown import Shown, signed

__all__ = ["masses_table", "side_view", "trim_chart"]

_ROWS = 4
"""Rows for names below the side view."""


def side_view(geometry: Geometry, train: PowerTrain, places: PackPlaces, *, name: str = "side") -> Picture:
    """Level line, mean chords, propeller, thrust line, pack range and centre of gravity, nose left, all to one scale.

    ``places`` holds one pack (:func:`propmatch.aircraft.balance.place_packs`).
    """
    balance, line, tail = geometry.balance, geometry.thrust_line, geometry.tail
    radius = train.propeller.diameter_in * INCH_M / MM_M / 2
    disk, target, chord = geometry.propeller_mm, balance.target_cg_mm, geometry.chord_mm
    height = 0.0 if line is None else line.height_mm
    level, pack_height = float(places.cg_height_mm), balance.pack_height_mm or 0.0
    neutral = stability(geometry).neutral_point_mm if tail is not None else float("nan")
    lead = geometry.leading_edge_mm
    tail_chord = 0.0 if tail is None else tail.area_dm2 * 1e4 / tail.span_mm
    xs = [lead, lead + chord, target]
    xs += [] if disk is None else [disk]
    xs += [] if tail is None else [tail.position_mm + 0.75 * tail_chord]
    xs += [x for x in (balance.pack_tray_from_mm, balance.pack_tray_to_mm) if x is not None]
    left, right = min(xs), max(xs)
    pad = 0.06 * (right - left)
    top = max(height + radius, geometry.tail_height_mm, level) + pad
    bottom = min(height - radius, pack_height, geometry.tail_height_mm, level) - pad

    def draw(figure: Any) -> None:
        ax = figure.add_subplot(111)
        ax.set_aspect("equal")
        ax.set(xlim=(left - pad, right + pad), ylim=(bottom - (_ROWS + 1) * 1.3 * pad, top + pad))
        ax.set(xlabel="mm aft of the datum", ylabel="mm above the level line")
        ax.set_yticks([tick for tick in ax.get_yticks() if bottom <= tick <= top + pad])
        ax.axhline(0, color=GREY, lw=0.7)
        notes: list[tuple[float, float, str, str]] = [(lead + 0.8 * chord, 0.0, "wing, mean chord", INK)]
        _chord(ax, lead, 0.0, chord, geometry.wing_incidence_deg)
        if tail is not None:
            start = tail.position_mm - 0.25 * tail_chord
            _chord(ax, start, geometry.tail_height_mm, tail_chord, geometry.tail_incidence_deg)
            notes.append((tail.position_mm, geometry.tail_height_mm, "tail", INK))
        if disk is not None:
            tilt = 0.0 if line is None else np.radians(line.tilt_deg)
            ax.plot([disk + radius * np.sin(tilt), disk - radius * np.sin(tilt)],
                    [height + radius * np.cos(tilt), height - radius * np.cos(tilt)], color=INK, lw=2.5)  # fmt: skip
            ax.annotate("propeller", (disk, height + radius), xytext=(3, 2), textcoords="offset points", fontsize=7.5)
            ahead = np.array([disk - pad, right])
            ax.plot(ahead, height + (ahead - disk) * np.tan(tilt), color=BLUE, ls="-.", lw=1.1)
            ax.annotate("thrust line", (right, height + (right - disk) * np.tan(tilt)), xytext=(0, 3), ha="right",
                        textcoords="offset points", fontsize=7.5, color=BLUE)  # fmt: skip
        for place, label in ((geometry.motor_mm, "motor"), (geometry.controller_mm, "controller")):
            if place is not None and place != disk:
                ax.plot([place], [height if label == "motor" else 0.0], marker="s", color=GREY, ls="none")
                notes.append((place, height if label == "motor" else 0.0, label, GREY))
        start_tray, end_tray = balance.pack_tray_from_mm, balance.pack_tray_to_mm
        if start_tray is not None and end_tray is not None:
            ax.plot([start_tray, end_tray], [pack_height, pack_height], color=ORANGE, lw=5, alpha=0.35,
                    solid_capstyle="butt")  # fmt: skip
            notes.append(((start_tray + end_tray) / 2, pack_height, "pack range", ORANGE))
        if np.isfinite(places.pack_mm):
            ax.plot([places.pack_mm], [pack_height], marker="D", color=ORANGE, ls="none", ms=6)
            notes.append((places.pack_mm, pack_height, "pack", ORANGE))
        ax.axvspan(target - geometry.cg_tolerance_mm, target + geometry.cg_tolerance_mm, color="#e4e4e4", lw=0)
        _centre(ax, places.cg_mm if np.isfinite(places.cg_mm) else target, level)
        notes.append((target, level, f"centre of gravity, target {target:g} mm", INK))
        if np.isfinite(neutral):
            ax.plot([neutral], [level], marker="^", color=GREEN, ls="none", ms=7)
            notes.append((neutral, level, "neutral point", GREEN))
        _callouts(ax, notes, bottom, pad)

    rows = [
        {"what": "target centre of gravity", "mm aft of the datum": signed(target)},
        {"what": "centre of gravity with the pack at its best place", "mm aft of the datum": signed(places.cg_mm)},
        {"what": "pack centre for the target", "mm aft of the datum": signed(places.wanted_mm)},
        {"what": "pack range, front", "mm aft of the datum": signed(balance.pack_tray_from_mm)},
        {"what": "pack range, rear", "mm aft of the datum": signed(balance.pack_tray_to_mm)},
        {"what": "neutral point of wing and tail", "mm aft of the datum": signed(neutral)},
        {"what": "propeller", "mm aft of the datum": signed(disk)},
    ]
    reading = places.readings([train.pack.name])[0]
    share = (top - bottom + (_ROWS + 2) * 1.3 * pad) / (right - left + 2 * pad)
    return Picture(
        name=name, title="Side view to scale, nose to the left", summary=reading, table=Table.of(rows), draw=draw,
        height_in=float(np.clip(4.6 * share + 0.6, 2.2, 5.0)),
    )  # fmt: skip


def _chord(ax: Any, start: float, height: float, chord: float, incidence_deg: float) -> None:
    """A chord as a thin section: flat below, rounded above."""
    t = np.linspace(0.0, 1.0, 31)
    thickness = 0.10 * chord * (2.0 * np.sqrt(t) * (1 - t) ** 0.8)
    slope = np.tan(np.radians(incidence_deg))
    x, base = start + chord * t, height + chord * (0.25 - t) * slope
    ax.fill_between(x, base, base + thickness, facecolor="#f4f4f4", edgecolor=INK, lw=1.0)


def _callouts(ax: Any, notes: list[tuple[float, float, str, str]], bottom: float, pad: float) -> None:
    """Names below the drawing in rows, each with a thin line to what it names."""
    left, right = ax.get_xlim()
    free = [-np.inf] * _ROWS
    for x, y, text, colour in sorted(notes):
        half = 0.0105 * len(text) * (right - left)
        at = min(max(x, left + half), right - half)
        row = next((r for r in range(_ROWS) if free[r] <= at - half), int(np.argmin(free)))
        free[row] = at + half + 0.02 * (right - left)
        ax.annotate(text, (x, y), xytext=(at, bottom - (row + 1) * 1.3 * pad), ha="center", va="center", fontsize=7.5,
                    color=colour, arrowprops={"arrowstyle": "-", "color": colour, "lw": 0.5})  # fmt: skip


def _centre(ax: Any, x: float, y: float) -> None:
    """The quartered circle that drawings use for a centre of gravity."""
    ax.plot([x], [y], marker="o", ms=11, mfc="white", mec=INK, ls="none")
    ax.plot([x], [y], marker="P", ms=7, color=INK, ls="none")


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
        for _, y, style in lines:
            ax.plot(x, y, markevery=max(1, len(x) // 6), **style)
        ax.axhline(0, color=INK, lw=0.8)
        ax.set(xlabel=f"airspeed, {units.speed_unit}", ylabel="more up elevator than in the glide, deg")
        last = [(int(np.flatnonzero(np.isfinite(y))[-1]), y, text, style) for text, y, style in lines]
        end_labels(ax, [(x[i], float(y[i]), text, style["color"]) for i, y, text, style in last])

    rows = [
        {f"airspeed, {units.speed_unit}": signed(x[i], 0), **{f"{text}, deg": signed(float(y[i])) for text, y, _ in
                                                              lines}}
        for i in range(0, len(x), max(1, len(x) // 8))
    ]  # fmt: skip
    summary = " ".join(words or found.readings(show=units.speed_text))
    return Picture(name=name, title="Trim change with throttle", summary=summary, table=Table.of(rows), draw=draw,
                   height_in=3.2)  # fmt: skip


def masses_table(lines: Sequence[Item]) -> Table:
    """Mass lines with their places and heights, and the whole with its centre of gravity."""
    whole = MassBuildUp(tuple(lines))
    rows = [
        {"what": name, "mass, g": signed(mass), "place, mm": signed(place, 0), "height, mm": signed(height, 0)}
        for name, mass, place, height in (
            *((line.name, line.mass_g, line.position_mm, line.height_mm) for line in lines),
            ("all of it, and its centre of gravity", whole.mass_g, whole.position_mm, whole.height_mm),
        )
    ]
    return Table.of(rows)
