"""What the page is told: a picked train with its chart and checks, and the map of all that passes; plain data."""

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

from propmatch.aircraft.speeds import AircraftSpeeds
from propmatch.catalogue.catalogue import Catalogue
from propmatch.checks.chances import Sureness, sureness
from propmatch.checks.judged import judged_trains
from propmatch.checks.limits import Design, checks_of, closest_limit, missed
from propmatch.checks.measures import TrainMeasures
from propmatch.checks.placing import balance_assumptions, placing
from propmatch.checks.setting import ResolvedBrief, Setting
from propmatch.columns import headed
from propmatch.faults import Fault, InputFaults
from propmatch.page.edit import field_values
from propmatch.questions.asflown import as_flown
from propmatch.questions.settings import settings_of
from propmatch.questions.speedranges import speed_ranges
from propmatch.records.brief import Brief
from propmatch.records.estimates import completed
from propmatch.records.parts import PARTS, PowerTrain
from propmatch.records.trainid import TrainId, parts_in_order
from propmatch.search.candidate import columns
from propmatch.search.front import Passing, passing_map
from propmatch.search.matching import UNNAMED, match, shelf_for
from propmatch.sheet.bands import BAND, needed_band, thrust_band
from propmatch.sheet.briefwords import brief_sentences
from propmatch.sheet.margincharts import margin_ends
from propmatch.sheet.speeds import THROTTLES, fastest_of, phase_points, speeds
from propmatch.sheet.trimsection import cures_table
from propmatch.tolerances.draws import DRAWS
from propmatch.train.coupling import solve
from propmatch.words.chancewords import check_ends, range_words, ranged, sure_words
from propmatch.words.checkwords import (
    burst_words,
    check_name,
    limit_text,
    speed_question,
    supply_text,
    value_text,
)
from propmatch.words.flownwords import flown_sentences, settings_rows
from propmatch.words.shown import Shown
from propmatch.words.speedwords import SPEEDS_HEAD, speed_rows, speed_sentences, wind_sentences
from propmatch.words.verdictwords import verdict_words

__all__ = [
    "FEWER",
    "best_answer",
    "brief_answer",
    "fault_rows",
    "map_answer",
    "measured_train",
    "numbers",
    "train_answer",
]

MARKS = 2000
FEWER = 256
"""Draws while a number moves: ends of ranges within 3 % of their width, chances within 1.6 points."""
_FRESH = 1.08  # a full pack turns the propeller that much faster than a half full one, or less


def numbers(values: Any) -> list[float | None]:
    """An array as JSON numbers, NaN and infinity as null."""
    return [float(v) if np.isfinite(v) else None for v in np.atleast_1d(np.asarray(values, dtype=np.float64))]


def _number(value: Any) -> float | None:
    return numbers(value)[0]


def fault_rows(faults: Sequence[Fault]) -> list[dict[str, Any]]:
    """Faults as plain data, each with its sentence."""
    return [{"where": f.where, "key": f.key, "rule": f.rule, "hint": f.hint, "text": str(f)} for f in faults]


def shown_for(brief: Brief) -> Shown:
    """The units of the brief."""
    own = brief.units
    return Shown(thrust=own.thrust, speed=own.speed, wing_loading=own.wing_loading)


def brief_answer(brief: Brief, variant: str | None = None) -> dict[str, Any]:
    """The numbers of the sentence, the builds there are, and the brief in words for one of them."""
    resolved = ResolvedBrief.of(brief)
    here = resolved.named(variant)
    return {
        "name": brief.aircraft.name,
        "values": field_values(brief),
        "variants": [
            {"name": each.variant.name, "bare_mass": value_text(each.variant.airframe.bare_mass_g, "g")}
            for each in resolved.settings
        ],
        "lists": bool(brief.item or brief.structure),
        "words": brief_sentences(here, shown_for(brief)),
        "assumptions": [each.text for each in here.assumptions],
    }


def picked_train(catalogue: Catalogue, here: Setting, ids: str) -> PowerTrain:
    """The power train of four ids, as this brief would fly it."""
    known = {kind: catalogue.parts(f"{kind}s") for kind in PARTS}
    train = here.train(**parts_in_order(ids, known, "train"))
    if train.propeller.table is None:
        raise InputFaults([Fault("train", "propeller", train.propeller.id, "has no thrust and power coefficients")])
    return train


def measured_train(
    brief: Brief, catalogue: Catalogue, ids: str, variant: str | None = None
) -> tuple[Setting, PowerTrain, TrainMeasures]:
    """Setting, train and its measures (one lane)."""
    here = ResolvedBrief.of(brief).named(variant)
    train = picked_train(catalogue, here, ids)
    return here, train, judged_trains(here, [train])[0]


def train_answer(
    brief: Brief, catalogue: Catalogue, ids: str, variant: str | None = None, *, draws: int = DRAWS
) -> dict[str, Any]:
    """One train: its parts, main numbers, checks and operating chart, with ranges and chances from so many draws."""
    here, train, measured = measured_train(brief, catalogue, ids, variant)
    design = Design.of(train, here.variant)
    sure = sureness(here, train, draws=draws)
    checks = [*checks_of(measured, sure=[sure])[0], *catalogue.extra_checks(design, brief)]
    near = closest_limit(checks)
    shown = shown_for(brief)
    speeds = here.speeds(train)
    flight = here.flight_time(train)
    flown = as_flown(train, here, flight, sure)
    settings = settings_of(train, here, flight, flown)
    return {
        "id": ids,
        "cells": train.pack.cells_series,
        "parts": [
            {"kind": kind, "id": str(part.id), "name": part.name, "source": part.source.text}
            for kind in PARTS
            for part in [getattr(train, kind)]
        ],
        "supply": supply_text(train),
        "numbers": [
            {"name": column.page, "label": column.label.partition(",")[0], "value": _number(value), "unit": column.unit,
             "text": shown.speed_text(value) if column.kind == "speed" and np.isfinite(value)
             else value_text(value, column.unit),
             "low": _number(ends.low), "high": _number(ends.high),
             "range": range_words(ends.low, ends.high, column.kind, shown) if np.isfinite(value) else ""}
            for column in headed(columns()) if column.page
            for value, ends in [(float(column(measured)[0]), sure.interval(column(sure.measured)))]
        ],
        "draws": draws,
        "verdict": verdict_words(sure, checks, shown),
        "chance_all_limits": sure.chance_all_limits,
        "as_flown": flown_sentences(flown, flight.minutes, flight.cutoff_cell_v, shown),
        "settings": [] if settings is None else settings_rows(settings, shown),
        "meets": not missed(checks),
        "misses": [f"{check_name(c.name)} {value_text(c.value, c.unit)}, {limit_text(c)}"
                   for c in missed(checks)],
        "beside": " ".join([*burst_words(checks), *speed_question(train)]),
        "closest": None if near is None else f"{check_name(near.name)}: {value_text(near.value, near.unit)}, "
                                             f"{limit_text(near)}",
        "checks": [
            {"name": c.name, "label": check_name(c.name), "value": _number(c.value), "limit": _number(c.limit),
             "margin": _number(c.margin), "verdict": c.verdict, "basis": c.basis, "limit_source": c.limit_source,
             "danger": c.danger, "note": c.note, "unit": c.unit,
             "low": _number(c.low), "high": _number(c.high), "chance": _number(c.chance),
             "range": check_ends(c, shown), "margins": numbers(margin_ends(c)),
             "sure": sure_words(c.chance, c.chance_wanted) if np.isfinite(c.chance) else "",
             "text": value_text(c.value, c.unit), "limit_text": limit_text(c)}
            for c in checks
        ],
        "chart": chart(here, train, measured, sure),
        "speeds": airspeeds_of(here, train, speeds, measured, sure if draws >= DRAWS else None),
        "trim": _trim(here, train, shown),
        "assumptions": [
            each.text for each in dict.fromkeys((*completed(train)[1], *speeds.assumptions, *flown.assumptions,
                                                 *balance_assumptions(here, train)))
        ],
    }  # fmt: skip


def airspeeds_of(
    here: Setting, train: PowerTrain, speeds: AircraftSpeeds, measured: TrainMeasures, sure: Sureness | None
) -> dict[str, Any]:
    """The table of the aircraft's own speeds, and what a pilot would say of them and of the wind.

    Without ``sure`` the table has no ranges: they take longer than all the rest.
    """
    shown = shown_for(here.brief)
    trips = here.wind_trips(train, measured.flight.phase_mah[:, 0].tolist())
    words = [*speed_sentences(speeds, shown), *wind_sentences(trips, here.brief.site, speeds, shown)]
    rows = speed_rows(speeds, shown, None if sure is None else speed_ranges(sure).own)
    return {
        "head": SPEEDS_HEAD, "heads": ["airspeed", *list(rows[0])[1:]], "rows": [list(row.values()) for row in rows],
        "words": words,
    }  # fmt: skip


def _trim(here: Setting, train: PowerTrain, shown: Shown) -> dict[str, Any] | None:
    """What throttle does to trim, and the table of its cures; None without what trim needs."""
    placed = placing(here, [train], [f"{train.pack.cells_series}S"])
    if placed.trim is None or placed.cures is None:
        return None
    table = cures_table(placed.cures)
    return {
        "words": [*placed.trim.readings(show=shown.speed_text), placed.cures.reading(show=shown.speed_text)],
        "heads": list(table.heads) if table else [],
        "rows": [list(row) for row in table.rows] if table else [],
    }


def chart(here: Setting, train: PowerTrain, measured: TrainMeasures, sure: Sureness) -> dict[str, Any]:
    """Thrust of constant throttle and thrust that level flight needs against airspeed, with bands; SI."""
    frame, air = here.variant.airframe, here.air
    mass_kg = here.all_up_mass_kg(train.mass_g)
    reserve = here.brief.limits.reserve_charge or 0.0
    grid = speeds(frame, mass_kg, air, _FRESH * fastest_of(measured.top))
    sets = [(1.0, 1.0), (1.0, reserve), *((d, 1.0) for d in THROTTLES)]
    throttle, charge = (np.array(column)[:, None] for column in zip(*sets, strict=True))
    thrust = np.asarray(
        solve(train, airspeed_m_s=grid.airspeed[None, :], throttle=throttle, charge=charge, air=air).thrust_n
    )
    names = ["full throttle, full pack", "full throttle, at the end", *(f"{100 * d:.0f} % throttle" for d in THROTTLES)]
    top = float(measured.top.top_speed_m_s[0])
    units = shown_for(here.brief)
    bands = thrust_band(sure, grid.airspeed[-1]), needed_band(sure, grid.stall, grid.airspeed[-1])
    return {
        "bands": [
            {"name": name, "airspeed_m_s": numbers(band.x), "low_n": numbers(band.low), "high_n": numbers(band.high)}
            for name, band in zip(("full", "need"), bands, strict=True)
        ],
        "airspeed_m_s": numbers(grid.airspeed),
        "needed_n": numbers(grid.needed),
        "curves": [
            {"name": name, "throttle": d, "charge": q, "thrust_n": numbers(row)}
            for name, (d, q), row in zip(names, sets, thrust, strict=True)
        ],
        "stall_m_s": _number(grid.stall),
        "points": [{"name": n, "airspeed_m_s": v, "thrust_n": _number(t)}
                   for n, v, t in phase_points(here.phases, frame, mass_kg, air)],
        "units": {"speed": units.speed_unit, "per_m_s": units.speed_of(1.0), "thrust": units.thrust_unit,
                  "per_n": units.thrust_of(1.0)},
        "words": f"At rest full throttle gives "
                 f"{ranged(units.thrust_text(thrust[0, 0]), *bands[0].at(0.0), 'thrust', units)} with a full pack and "
                 f"{units.thrust_text(thrust[1, 0])} at the end. Stall at {units.speed_text(grid.stall)}; top speed "
                 + (f"{units.speed_text(top)} at half charge." if np.isfinite(top) else "none: it cannot fly level.")
                 + f" {BAND}",
    }  # fmt: skip


def map_answer(
    brief: Brief,
    catalogue: Catalogue,
    *,
    variant: str | None = None,
    most: int = MARKS,
    compute: Callable[..., Passing] = passing_map,
) -> dict[str, Any]:
    """Every combination that meets the brief, at most ``most`` of them drawn, those of the front first.

    ``compute`` is ``passing_map``, or something that has it done elsewhere.
    """
    here = ResolvedBrief.of(brief).named(variant)
    shelf = shelf_for(here, catalogue)
    cells = shelf.column("cells")
    wanted = brief.limits.cells
    if wanted:
        missing = [count for count in wanted if count not in cells]
        if missing:
            raise InputFaults([Fault("catalogue", "limits.cells", count, f"the catalogue has no {count}S pack")
                               for count in missing])  # fmt: skip
        shelf = shelf.with_packs(np.flatnonzero(np.isin(cells, wanted)))
    found = compute(here, shelf, most=most)
    if len(found.combination) > most:
        # a front that is larger than the map: every so many of it, by flight time
        order = np.argsort(-found.flight_minutes, kind="stable")
        found = found.take(order[np.linspace(0, order.size - 1, most).astype(np.intp)])
    return {
        "total": found.total,
        "combinations": shelf.combinations,
        "id": [TrainId(**shelf.ids(row)).id for row in found.combination.tolist()],
        "flight_minutes": numbers(found.flight_minutes),
        "thrust_to_weight": numbers(found.thrust_to_weight),
        "all_up_mass_g": numbers(found.all_up_mass_g),
        "cells": [int(c) for c in found.cells],
        "front": [bool(f) for f in found.front],
    }


def best_answer(brief: Brief, catalogue: Catalogue, variant: str | None = None) -> dict[str, Any]:
    """The best train of all, and of each cell count."""
    found = match(brief, catalogue, top=1, variant=variant)
    return {
        "id": None if found.best is None else found.best.id,
        "how": UNNAMED,
        "by_cells": {str(cells): group[0].id for cells, group in sorted(found.by_cells.items()) if group},
        "left_out": [{"check": check_name(name), "combinations": n} for name, n in found.left_out.items()],
    }
