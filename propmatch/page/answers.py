"""What the page is told: a picked train with its chart and checks, and the map of all that passes; plain data."""

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

from propmatch.aircraft.speeds import AircraftSpeeds
from propmatch.catalogue.catalogue import Catalogue
from propmatch.checks.chances import Sureness, sureness
from propmatch.checks.judged import judged_trains
from propmatch.checks.limits import Check, Design, checks_of, closest_limit, missed
from propmatch.checks.measures import TrainMeasures
from propmatch.checks.placing import balance_assumptions, placing
from propmatch.checks.rule import PRACTICE
from propmatch.checks.setting import ResolvedBrief, Setting
from propmatch.columns import headed
from propmatch.faults import Fault, InputFaults
from propmatch.page.edit import field_values
from propmatch.page.hints import for_page, without_commands
from propmatch.page.strip import strip
from propmatch.questions.asflown import as_flown
from propmatch.questions.settings import settings_of
from propmatch.questions.speedranges import speed_ranges
from propmatch.records.brief import Brief
from propmatch.records.estimates import completed
from propmatch.records.parts import PARTS, PowerTrain
from propmatch.records.trainid import parts_in_order
from propmatch.search.candidate import columns
from propmatch.search.matching import UNNAMED, match
from propmatch.sheet.bands import BAND, needed_band, thrust_band
from propmatch.sheet.briefwords import brief_sentences
from propmatch.sheet.margincharts import margin_ends
from propmatch.sheet.speeds import THROTTLES, fastest_of, phase_points, speeds
from propmatch.sheet.trimsection import cures_table
from propmatch.tolerances.draws import DRAWS
from propmatch.train.coupling import solve
from propmatch.words.chancewords import check_ends, of_hundred, range_words, ranged, sure_words
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
    "best_answer",
    "brief_answer",
    "fault_rows",
    "measured_train",
    "numbers",
    "train_answer",
]

_FRESH = 1.08  # a full pack turns the propeller that much faster than a half full one, or less


def numbers(values: Any) -> list[float | None]:
    """An array as JSON numbers, NaN and infinity as null."""
    return [float(v) if np.isfinite(v) else None for v in np.atleast_1d(np.asarray(values, dtype=np.float64))]


def _number(value: Any) -> float | None:
    return numbers(value)[0]


def fault_rows(faults: Sequence[Fault]) -> list[dict[str, Any]]:
    """Faults as plain data, each with its sentence."""
    return [{"where": f.where, "key": f.key, "rule": f.rule, "hint": f.hint, "text": str(f)}
            for f in map(for_page, faults)]  # fmt: skip


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
            {"name": each.variant.name, "bare_mass": shown_for(brief).mass_text(each.variant.airframe.bare_mass_g)}
            for each in resolved.settings
        ],
        "lists": bool(brief.item or brief.structure),
        "words": brief_sentences(here, shown_for(brief)),
        "assumptions": [each.text for each in here.assumptions],
        "left_out": {f"{each.subject}.{each.field}": each.text for each in here.assumptions},
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
    brief: Brief, catalogue: Catalogue, ids: str, variant: str | None = None, *, moving: bool = False
) -> dict[str, Any]:
    """One train: its parts, main numbers, checks and operating chart, with ranges, chances and all that stands beside.

    While a number moves, parts, numbers, checks and chart on paper alone.
    """
    here, train, measured = measured_train(brief, catalogue, ids, variant)
    sure = None if moving else sureness(here, train)
    drawn = chart(here, train, measured, sure)  # first: the whole of full throttle serves numbers and checks too
    checks = [
        *checks_of(measured, sure=None if sure is None else [sure])[0],
        *catalogue.extra_checks(Design.of(train, here.variant), brief),
    ]
    figures, rows = _numbers(measured, sure, shown_for(brief)), _check_rows(checks, shown_for(brief))
    told = {
        "id": ids,
        "moving": moving,
        "cells": train.pack.cells_series,
        "parts": [
            {"kind": kind, "id": str(part.id), "name": part.name, "source": part.source.text}
            for kind in PARTS
            for part in [getattr(train, kind)]
        ],
        "supply": supply_text(train),
        "numbers": figures,
        "strip": strip([*rows, *figures], checks, sure),
        "verdict": _paper_words(checks) if sure is None else verdict_words(sure, checks, shown_for(brief)),
        "meets": not missed(checks),
        "holds": None if sure is None else not missed(checks) and sure.holds,
        "checks": rows,
        "chart": drawn,
    }
    return told if sure is None else told | _beside(here, train, measured, sure, checks)


def _paper_words(checks: Sequence[Check]) -> str:
    hard = [check_name(each.name) for each in missed(checks)]
    return f"On paper it misses {', '.join(hard)}." if hard else "On paper it keeps every limit."


def _uncounted(checks: Sequence[Check]) -> list[str]:
    """What of common practice does not surely hold, as no chance of the whole counts it."""
    loose = [f"{check_name(each.name)} holds in {of_hundred(each.chance)}" for each in checks
             if each.basis == PRACTICE and each.chance < 0.995]  # fmt: skip
    if not loose:
        return []
    return [f"Counted are the brief and the ratings of the parts, not common practice: {', '.join(loose)} of 100."]


def _numbers(measured: TrainMeasures, sure: Sureness | None, shown: Shown) -> list[dict[str, Any]]:
    """The main numbers, with their ranges where these were drawn."""
    out = []
    for column in headed(columns()):
        if column.page:
            value = float(column(measured)[0])
            speed = column.kind == "speed" and np.isfinite(value)
            row = {
                "name": column.page, "label": column.label.partition(",")[0], "value": _number(value),
                "unit": column.unit,
                "text": shown.speed_text(value) if speed else value_text(value, column.unit, shown),
                "low": None, "high": None, "range": "",
            }  # fmt: skip
            if sure is not None:
                ends = sure.interval(column(sure.measured))
                row |= {"low": _number(ends.low), "high": _number(ends.high)}
                if np.isfinite(value):
                    row["range"] = range_words(ends.low, ends.high, column.kind, shown)
            out.append(row)
    return out


def _check_rows(checks: Sequence[Check], shown: Shown) -> list[dict[str, Any]]:
    return [
        {"name": c.name, "label": check_name(c.name), "value": _number(c.value), "limit": _number(c.limit),
         "margin": _number(c.margin), "verdict": c.verdict, "basis": c.basis, "limit_source": c.limit_source,
         "danger": c.danger, "note": c.note, "unit": c.unit,
         "low": _number(c.low), "high": _number(c.high), "chance": _number(c.chance),
         "range": check_ends(c, shown), "margins": numbers(margin_ends(c)),
         "sure": sure_words(c.chance, c.chance_wanted) if np.isfinite(c.chance) else "",
         "text": value_text(c.value, c.unit, shown), "limit_text": limit_text(c, shown)}
        for c in checks
    ]  # fmt: skip


def _beside(
    here: Setting, train: PowerTrain, measured: TrainMeasures, sure: Sureness, checks: Sequence[Check]
) -> dict[str, Any]:
    """What is said of a train beside its numbers, checks and chart."""
    shown, near, speeds = shown_for(here.brief), closest_limit(checks), here.speeds(train)
    flight = here.flight_time(train)
    flown = as_flown(train, here, flight, sure)
    settings = settings_of(train, here, flight, flown)
    return {
        "draws": DRAWS,
        "chance_all_limits": sure.chance_all_limits,
        "as_flown": flown_sentences(flown, flight.minutes, flight.cutoff_cell_v, shown),
        "settings": [] if settings is None else settings_rows(settings, shown),
        "misses": [
            f"{check_name(c.name)} {value_text(c.value, c.unit, shown)}, {limit_text(c, shown)}" for c in missed(checks)
        ],
        "beside": " ".join([*_uncounted(checks), *burst_words(checks), *map(without_commands, speed_question(train))]),
        "closest": None if near is None else f"{check_name(near.name)}: "
                                             f"{value_text(near.value, near.unit, shown)}, {limit_text(near, shown)}",
        "speeds": airspeeds_of(here, train, speeds, measured, sure),
        "trim": _trim(here, train, shown),
        "assumptions": [
            each.text for each in dict.fromkeys((*completed(train)[1], *speeds.assumptions, *flown.assumptions,
                                                 *balance_assumptions(here, train)))
        ],
    }  # fmt: skip


def airspeeds_of(
    here: Setting, train: PowerTrain, speeds: AircraftSpeeds, measured: TrainMeasures, sure: Sureness
) -> dict[str, Any]:
    """The table of the aircraft's own speeds, and what a pilot would say of them and of the wind."""
    shown = shown_for(here.brief)
    trips = here.wind_trips(train, measured.flight.phase_mah[:, 0].tolist())
    words = [*speed_sentences(speeds, shown), *wind_sentences(trips, here.brief.site, speeds, shown)]
    rows = speed_rows(speeds, shown, speed_ranges(sure).own)
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


def chart(here: Setting, train: PowerTrain, measured: TrainMeasures, sure: Sureness | None) -> dict[str, Any]:
    """Thrust of constant throttle and thrust that level flight needs against airspeed; SI; with bands if drawn."""
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
    fastest = grid.airspeed[-1]
    bands = () if sure is None else (thrust_band(sure, fastest), needed_band(sure, grid.stall, fastest))
    full, last = (units.thrust_text(value) for value in thrust[:2, 0])
    if bands:
        full = ranged(full, *bands[0].at(0.0), "thrust", units)
    return {
        "bands": [
            {"name": name, "airspeed_m_s": numbers(band.x), "low_n": numbers(band.low), "high_n": numbers(band.high)}
            for name, band in zip(("full", "need"), bands, strict=False)
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
        "words": f"At rest full throttle gives {full} with a full pack and {last} at the end. "
                 f"Stall at {units.speed_text(grid.stall)}; top speed "
                 + (f"{units.speed_text(top)} at half charge." if np.isfinite(top) else "none: it cannot fly level.")
                 + (f" {BAND}" if bands else ""),
    }  # fmt: skip


def best_answer(
    brief: Brief,
    catalogue: Catalogue,
    variant: str | None = None,
    *,
    progress: Callable[[int, int], None] | None = None,
) -> dict[str, Any]:
    """The best train of all, and of each cell count."""
    found = match(brief, catalogue, top=1, variant=variant, progress=progress)
    return {
        "id": None if found.best is None else found.best.id,
        "how": UNNAMED,
        "by_cells": {str(cells): group[0].id for cells, group in sorted(found.by_cells.items()) if group},
        "left_out": [{"check": check_name(name), "combinations": n} for name, n in found.left_out.items()],
    }
