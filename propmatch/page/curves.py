"""Curves of the picked train as numbers that the page draws: throttle at rest, and the flight minute by minute."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from propmatch.catalogue.catalogue import Catalogue
from propmatch.checks.chances import sureness
from propmatch.models.arrays import Floats
from propmatch.page.answers import measured_train, numbers, shown_for
from propmatch.records.brief import Brief
from propmatch.sheet.bands import Band, charge_band, throttle_bands
from propmatch.sheet.flightcharts import FlightPlan, flight_chart, stretches
from propmatch.sheet.picture import Picture
from propmatch.sheet.thrustcharts import throttle_chart
from propmatch.train.coupling import solve

__all__ = ["flight_answer", "throttle_answer"]

_MOMENTS = 24
"""Points of a stretch of flight at most."""


def throttle_answer(brief: Brief, catalogue: Catalogue, ids: str, variant: str | None = None) -> dict[str, Any]:
    """Thrust and currents against throttle at rest on a full pack, with the bands of 80 of 100 builds."""
    here, train, measured = measured_train(brief, catalogue, ids, variant)
    sure, shown = sureness(here, train), shown_for(brief)
    picture = throttle_chart(train, air=here.air, shown=shown, sure=sure)
    throttle = np.linspace(0.1, 1.0, 46)
    point = solve(train, airspeed_m_s=0.0, throttle=throttle, charge=1.0, air=here.air)
    bands = throttle_bands(sure, 0.0, 1.0, 100 * throttle)
    limits = [("motor", "motor_current_static"), ("ESC", "controller_current")]
    return _told(picture, "throttle (duty), %", 100 * throttle, [
        _pane(f"thrust, {shown.thrust_unit}", [("thrust", shown.thrust_of(1.0) * np.asarray(point.thrust_n))],
              [("thrust", bands["thrust_n"], shown.thrust_of(1.0))]),
        _pane("current, A",
              [("one motor", np.asarray(point.motor_current_a)), ("pack", np.asarray(point.pack_current_a))],
              [("one motor", bands["motor_current_a"], 1.0), ("pack", bands["pack_current_a"], 1.0)],
              [(f"limit of the {word}", float(measured[check].limit[0])) for word, check in limits]),
    ])  # fmt: skip


def flight_answer(brief: Brief, catalogue: Catalogue, ids: str, variant: str | None = None) -> dict[str, Any]:
    """Pack voltage in each phase, height and charge against minutes since take-off, with the band of the charge."""
    here, train, _ = measured_train(brief, catalogue, ids, variant)
    sure, flight, shown = sureness(here, train), here.flight_time(train), shown_for(brief)
    picture = flight_chart(FlightPlan.of(here, train), flight=flight, shown=shown, sure=sure)
    parts = stretches(flight)
    if not parts:
        return _told(picture, "minutes since take-off", [], [])
    minutes, height, charge = (
        np.concatenate([_some(getattr(part, name)) for part in parts]) for name in ("minutes", "height_m", "charge")
    )
    names = dict.fromkeys(name for part in parts for name in part.names)
    volts = [
        (name, np.concatenate([_some(part.voltage.get(name, np.full(part.minutes.size, np.nan))) for part in parts]))
        for name in names
    ]
    cutoff = train.pack.cells_series * flight.cutoff_cell_v
    return _told(picture, "minutes since take-off", minutes, [
        _pane("pack voltage, V", volts, levels=[("cut-off", cutoff)]),
        _pane("height, m", [("height", height)]),
        _pane("charge left, %", [("charge", 100 * charge)], [("charge", charge_band(sure), 100.0)],
              [("reserve", 100 * here.reserve_charge)]),
    ])  # fmt: skip


def _some(values: Floats) -> Floats:
    """At most so many points of a stretch, its ends among them."""
    return values[np.unique(np.linspace(0, values.size - 1, _MOMENTS).round().astype(np.intp))]


def _pane(
    label: str, lines: Sequence[tuple[str, Floats]], bands: Sequence[tuple[str, Band, float]] = (),
    levels: Sequence[tuple[str, float]] = (),
) -> dict[str, Any]:  # fmt: skip
    """One of the drawings above each other: its lines, the bands of some of them, and levels straight across."""
    return {
        "label": label,
        "lines": [{"name": name, "values": _rounded(values)} for name, values in lines],
        "bands": [
            {"name": name, "x": _rounded(band.x), "low": _rounded(by * band.low), "high": _rounded(by * band.high)}
            for name, band, by in bands
        ],
        "levels": [{"name": name, "value": value} for name, value in levels if np.isfinite(value)],
    }


def _rounded(values: Any) -> list[float | None]:
    return [None if value is None else float(f"{value:.5g}") for value in numbers(values)]


def _told(picture: Picture, axis: str, x: Any, panes: Sequence[dict[str, Any]]) -> dict[str, Any]:
    """A chart as numbers, with the words and the table of the picture that the sheet has of it."""
    table = picture.table
    return {
        "name": picture.name, "title": picture.title, "words": picture.summary, "axis": axis, "x": _rounded(x),
        "panes": list(panes), "heads": list(table.heads), "rows": [list(row) for row in table.rows],
    }  # fmt: skip
