"""What the page is told: a picked train with its chart and checks, and the map of all that passes; plain data."""

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

from propmatch.aircraft.speeds import AircraftSpeeds
from propmatch.catalogue.catalogue import Catalogue
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
from propmatch.records.brief import Brief
from propmatch.records.estimates import completed
from propmatch.records.parts import PARTS, PowerTrain
from propmatch.records.trainid import TrainId, parts_in_order
from propmatch.search.candidate import columns
from propmatch.search.front import Passing, passing_map
from propmatch.search.matching import UNNAMED, match, shelf_for
from propmatch.sheet.briefwords import brief_sentences
from propmatch.sheet.speeds import THROTTLES, fastest_of, phase_points, speeds
from propmatch.sheet.trimsection import cures_table
from propmatch.train.coupling import solve
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

__all__ = ["best_answer", "brief_answer", "fault_rows", "map_answer", "measured_train", "numbers", "train_answer"]

MARKS = 2000
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


def train_answer(brief: Brief, catalogue: Catalogue, ids: str, variant: str | None = None) -> dict[str, Any]:
    """One train: its parts, main numbers, checks and operating chart."""
    here, train, measured = measured_train(brief, catalogue, ids, variant)
    design = Design.of(train, here.variant)
    checks = [*checks_of(measured)[0], *catalogue.extra_checks(design, brief)]
    near = closest_limit(checks)
    shown = shown_for(brief)
    speeds = here.speeds(train)
    flight = here.flight_time(train)
    flown = as_flown(train, here, flight)
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
             else value_text(value, column.unit)}
            for column in headed(columns()) if column.page
            for value in [float(column(measured)[0])]
        ],
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
             "text": value_text(c.value, c.unit), "limit_text": limit_text(c)}
            for c in checks
        ],
        "chart": chart(here, train, measured),
        "speeds": airspeeds_of(here, train, speeds, measured),
        "trim": _trim(here, train, shown),
        "assumptions": [
            each.text for each in dict.fromkeys((*completed(train)[1], *speeds.assumptions, *flown.assumptions,
                                                 *balance_assumptions(here, train)))
        ],
    }  # fmt: skip


def airspeeds_of(
    here: Setting, train: PowerTrain, speeds: AircraftSpeeds, measured: TrainMeasures
) -> dict[str, Any]:  # fmt: skip
    """The table of the aircraft's own speeds, and what a pilot would say of them and of the wind."""
    shown = shown_for(here.brief)
    trips = here.wind_trips(train, measured.flight.phase_mah[:, 0].tolist())
    words = [*speed_sentences(speeds, shown), *wind_sentences(trips, here.brief.site, speeds, shown)]
    return {
        "head": SPEEDS_HEAD, "rows": [list(row.values()) for row in speed_rows(speeds, shown)],
        "unit": shown.speed_unit, "words": words,
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


def chart(here: Setting, train: PowerTrain, measured: TrainMeasures) -> dict[str, Any]:
    """Thrust of constant throttle and thrust that level flight needs against airspeed, SI."""
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
    return {
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
        "words": f"At rest full throttle gives {units.thrust_text(thrust[0, 0])} with a full pack and "
                 f"{units.thrust_text(thrust[1, 0])} at the end. Stall at {units.speed_text(grid.stall)}; top speed "
                 + (f"{units.speed_text(top)} at half charge." if np.isfinite(top) else "none: it cannot fly level."),
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
