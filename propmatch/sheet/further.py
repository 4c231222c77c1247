"""The pages after the first: reasons and reference for who wants them, in the order of the questions people ask."""

from collections.abc import Callable, Iterator, Mapping

import attrs
import numpy as np

from propmatch.aircraft.stability import stability
from propmatch.checks.checkrules import CHECKS
from propmatch.checks.judged import judged_trains
from propmatch.checks.launching import launch_flown
from propmatch.checks.limits import Check
from propmatch.checks.placing import balance_assumptions
from propmatch.questions.cells import BASES
from propmatch.questions.speedranges import speed_ranges
from propmatch.records.estimates import Assumption, completed
from propmatch.records.parts import PARTS
from propmatch.search.candidate import Candidate
from propmatch.sheet.aircraftviews import views
from propmatch.sheet.briefwords import brief_sentences
from propmatch.sheet.case import ENVELOPE, KEPT, Case, Section, VariantCase
from propmatch.sheet.fitcharts import fit_chart
from propmatch.sheet.flightcharts import FlightPlan, flight_chart
from propmatch.sheet.margincharts import margin_chart
from propmatch.sheet.picture import Table
from propmatch.sheet.ranges import main_numbers, tolerance_text
from propmatch.sheet.thrustcharts import operating_chart, throttle_chart
from propmatch.sheet.trimsection import cures_table, trim_picture
from propmatch.status import Flag
from propmatch.tolerances.numbers import GROUPS
from propmatch.train.coupling import solve
from propmatch.train.lanes import train_lanes
from propmatch.words.assumedwords import mattering
from propmatch.words.chancewords import check_range, hangs_words, of_hundred, sure_words
from propmatch.words.checkwords import check_name, check_names, limit_text
from propmatch.words.envelopewords import envelope_parts
from propmatch.words.fitwords import open_words
from propmatch.words.flightwords import height_words
from propmatch.words.flownwords import cold_sentences
from propmatch.words.motorheatwords import heat_head, heat_rows
from propmatch.words.speedwords import speed_rows, trip_rows, wind_sentences, wind_words

__all__ = ["further"]

_MOST_UNSURE = 3
"""Checks whose chance is explained beside the least certain of all."""
_MOST_MATTER = 3
"""Assumptions that are named; the list that opens has all."""
_OTHER_SETS = 1
"""Of each cell count, beside the parts of this sheet."""
_FLOWN_AT = ("stall", "best glide, motor off", "longest flight", "farthest flight", "best climb")
"""Airspeeds that a pilot keeps in mind; top speed stands on the first page."""
_NEAREST = 7
"""Checks that are drawn; the numbers behind the chart have all."""
_NOT_BOUGHT = (
    "winding resistance", "radio and payload", "pack mass", "pack centre", "static", "T/W", "flight time",
)  # fmt: skip
"""How lines of the envelope begin that say nothing of what a builder buys and where it is flown."""


def _asked(case: Case) -> Section:
    return Section(name="asked", title="What was asked?", text=tuple(brief_sentences(case.setting, case.shown)[:2]))


def _margins(case: Case) -> Section:
    first, unsure = case.sure.least_certain, [c for c in case.checks if c.excluding and c.chance < c.chance_wanted]
    points = tuple(
        f"{check_name(c.name)} {check_range(c, case.shown)}, {limit_text(c, case.shown)}: "
        f"{'; '.join(filter(None, (sure_words(c.chance, c.chance_wanted), why)))}."
        for c in sorted(unsure, key=lambda c: c.chance)[:_MOST_UNSURE] if c.name != first
        for why in [hangs_words(case.sure.hangs_on(c.name), case.sure)]
    )  # fmt: skip
    judged = sorted(
        (c for c in case.checks if np.isfinite(c.limit) and (case.on_paper or not _settled(c))),
        key=lambda c: (not c.danger, c.margin),
    )
    near = attrs.evolve(
        margin_chart(judged[:_NEAREST], case.shown), table=margin_chart(case.checks, case.shown).table,
        title="Margin of the checks nearest to their limits",
    )  # fmt: skip
    plan = FlightPlan.of(case.setting, case.train)
    return Section(
        name="margins", title="How close to the limits, and how does the flight pass?", text=tuple(_flying(case)),
        points=points,
        pictures=(near, flight_chart(plan, flight=case.flight, shown=case.shown, sure=case.drawn)),
    )  # fmt: skip


def _settled(check: Check) -> bool:
    """Whether it is kept by a choice, as a cell count is, and no build differs."""
    return check.name in CHECKS and check.verdict in ("ok", "close") and not np.isfinite(check.chance)


def _flying(case: Case) -> Iterator[str]:
    """How it leaves the ground, what real flying costs, and cold cells."""
    shades = "" if case.on_paper else "; thin lines and shades hold 80 of 100 builds"
    yield f"Bars to the right are room, to the left beyond the limit{shades}."
    launch, flown = launch_flown(judged_trains(case.setting, [case.train])[0]), case.flown
    if launch is not None:
        yield launch.sentence(case.shown.speed_text)
    if flown.acts and case.flight.minutes > 0:
        why = "" if case.on_paper else hangs_words(flown.draws.shares(), flown.draws.sure)
        why = f"; of the spread of its minutes {why.replace(' of that', '', 1)}" if why else ""
        yield f"As really flown it draws {flown.factor:g} times the current{why}."
    yield from height_words(case.flight, case.shown)
    yield from cold_sentences(flown, case.flight.minutes, case.flight.cutoff_cell_v, case.shown)


def _thrust(case: Case) -> Section:
    operating = operating_chart(
        case.train, case.design.airframe, case.mass_kg, air=case.setting.air,
        reserve_charge=case.setting.reserve_charge, phases=case.setting.phases, shown=case.shown, sure=case.drawn,
    )  # fmt: skip
    judged = {c.name: c.limit for c in case.checks}
    limits = {"motor limit": judged["motor_current_static"], "ESC limit": judged["controller_current"]}
    throttle = throttle_chart(case.train, air=case.setting.air, limits_a=limits, shown=case.shown, sure=case.drawn)
    point = solve(case.train, throttle=[0.4, 0.7, 1.0], air=case.setting.air)
    flags = Flag(int(np.bitwise_or.reduce(np.asarray(point.flags, dtype=np.int64))))
    text = (
        "Where a thrust line crosses what level flight needs, the aircraft flies level at that throttle. Throttle is "
        "duty, not stick position.",
        *(f"{each[0].upper()}{each[1:]}." for each in flags.remarks),
    )
    return Section(name="thrust", title="What does the throttle do?", text=text, pictures=(operating, throttle))


def _airspeeds(case: Case) -> Section:
    ranges = None if case.drawn is None else speed_ranges(case.drawn).own
    rows = [row for row in speed_rows(case.speeds, case.shown, ranges) if row[""] in _FLOWN_AT]
    return Section(name="airspeeds", title="How fast, how slow, how far does it glide?", tables=(Table.of(rows),))


def _wind(case: Case) -> Section | None:
    """Out and back in the wind of the site; None where the brief names neither wind nor distance."""
    trips = case.setting.wind_trips(case.train, [phase.used_mah for phase in case.flight.phases])
    if not trips:
        return None
    site = case.setting.brief.site
    return Section(
        name="wind", title=f"How far out and back in {wind_words(site, case.shown)}?",
        text=tuple(wind_sentences(trips, site, case.speeds, case.shown)),
        tables=(Table.of(trip_rows(trips, case.shown)),),
    )  # fmt: skip


def _heat(case: Case) -> Section:
    found = case.setting.motor_heat(case.train, case.flight)
    rows = heat_rows(found)
    text = (
        f"Kelvin above the air, from the mass of the motor alone, within a factor of {found.bound_factor:g}: feel it. "
        + "; ".join(f"{row['phase']}: {row['heat W']} W, {rise} K" for row in rows
                    for rise in [row["K above the air at its end"]] if rise != "-") + "."
    )  # fmt: skip
    return Section(name="heat", title="How warm does the motor get?", text=(text,),
                   folded=(Table.of(rows, caption=heat_head(found)),))  # fmt: skip


def _bench(case: Case) -> Section | None:
    if case.fit is None:
        return None
    own, read = case.train.motor.name, case.fit.known.name
    other = () if own == read else (f"The log is of {read}; the motor of this sheet is {own}.",)
    return Section(name="bench", title="What did the bench say?", text=(*other, *open_words(case.fit)),
                   pictures=(fit_chart(case.fit, name="bench-log"),))  # fmt: skip


# ---------------------------------------------------------------- other packs, variants and parts


def _variants(case: Case) -> Section | None:
    if len(case.variants) < 2:
        return None
    rows = []
    for each in case.variants:
        checks = each.checks
        said = main_numbers(each.sure, checks["flight_time"].value, checks["thrust_to_weight"].value)
        rows.append({
            "variant": each.name,
            "all-up mass": case.shown.mass_text(each.setting.all_up_mass_g(case.train.mass_g)),
            "flight time": said[0], "thrust to weight": said[1], KEPT: said[2],
            "misses on paper, or least certain": _weak(each),
        })  # fmt: skip
    return Section(name="variants", title="What if it comes out heavier?", tables=(Table.of(case.rows(rows)),))


def _weak(each: VariantCase) -> str:
    if each.failing:
        return f"misses {check_names(each.failing)}"
    name = each.sure.least_certain
    return "-" if name is None else f"{check_name(name)} {of_hundred(each.sure.chance(name))} of 100"


def _envelope(case: Case) -> Section:
    """A column for each cell count that holds, a sentence for each other."""
    first, *parts = envelope_parts(case.envelope, case.shown, timer=False)
    counts = {part.title.removeprefix("With "): part for part in parts if part.title.startswith("With ")}
    held = {
        count: {name.removeprefix(f"{count} "): text.replace("degC", "°C") for name, text in part.lines}
        for count, part in counts.items() if part.lines
    }  # fmt: skip
    refused = [
        f"{sentence.partition('. ')[0].removesuffix('.')}.".replace(f"Do not fit {count}:", f"Do not publish {count}:")
        for count, part in counts.items() if count not in held
        for sentence in part.sentences if sentence.startswith("Do not fit")
    ]  # fmt: skip
    noted = [
        f"{sentence.partition('. ')[0].removesuffix('.')}." for count in held for sentence in counts[count].sentences
    ]
    names = dict.fromkeys(name for lines in held.values() for name in lines if not name.startswith(_NOT_BOUGHT))
    rows = [{"": name, **{count: lines.get(name, "") for count, lines in held.items()}} for name in names]
    covers = first.sentences[0].partition(". ")[2]
    said = (*([covers] if held else []), *dict.fromkeys(noted), *refused)
    return Section(
        name="envelope", title=ENVELOPE, text=tuple(text.replace("degC", "°C") for text in said),
        tables=(Table.of(rows),) if rows else (),
    )  # fmt: skip


def _sets(case: Case) -> Section | None:
    rows = [
        {
            "motor": first.train.motor.name,
            "propeller": first.train.propeller.name,
            "pack": first.train.pack.name,
            "ESC": first.train.controller.name + (f", or {len(others)} more" if others else ""),
            "all-up mass": case.shown.mass_text(first.all_up_mass_g),
            "flight time": said[0], "thrust to weight": said[1], KEPT: said[2],
        }
        for first, *others in _other_sets(case)
        for said in [main_numbers(case.sure_of(first.train), first.flight_minutes, first.thrust_to_weight)]
    ]  # fmt: skip
    if not rows:
        return None
    return Section(name="sets", title="Which other power trains meet the brief?", tables=(Table.of(case.rows(rows)),))


def _other_sets(case: Case) -> Iterator[list[Candidate]]:
    """The next best of each cell count, those that differ in the controller alone together."""
    train = case.train
    own = (train.motor.id, train.propeller.id, train.pack.id)
    for _, group in sorted(case.shortlist.by_cells.items() if case.shortlist else ()):
        alike: dict[tuple[str | None, ...], list[Candidate]] = {}
        for each in group:
            alike.setdefault((each.motor_id, each.propeller_id, each.pack_id), []).append(each)
        alike.pop(own, None)
        yield from list(alike.values())[:_OTHER_SETS]


# ---------------------------------------------------------------- balance, roll and yaw


def _balance(case: Case) -> Section | None:
    geometry = case.setting.geometry
    if geometry is None:
        return None
    text = [stability(geometry).reading()] if geometry.tail is not None and geometry.leading_edge_mm is not None else []
    found = case.comparison
    placed = found.placing[BASES[0]]
    trains = [found.case(count).train for count in found.cells]
    trim, change = trim_picture(case.setting, placed, trains, case.shown)
    if trim is not None:
        text.append(change)
    cures = None if placed.cures is None else cures_table(placed.cures)
    return Section(
        name="balance", title="What does throttle do to trim?", text=tuple(text),
        pictures=() if trim is None else (trim,), folded=() if cures is None else (cures,),
    )  # fmt: skip


def _steering(case: Case) -> Section:
    found = case.comparison.placing[BASES[0]].steering
    others, clears = tuple(f"{each.cells}S " for each in case.others), found.clearance is not None
    said = found.readings(show=case.shown.speed_text, mass=case.shown.mass_text)[0 if clears else 1 :]
    return Section(
        name="steering",
        title=f"{'Does the propeller clear, and what' if clears else 'What'} does full throttle do in roll and yaw?",
        text=tuple(text for text in said if not text.startswith(others)),
    )


# ---------------------------------------------------------------- reference


def _extra(case: Case) -> list[Section]:
    found: Mapping[str, Mapping[str, str]] = case.catalogue.extra_sections(case.design, case.brief)
    return [
        Section(name=f"extra-{at}", title=str(title), tables=(Table(
            heads=("what", "value"), rows=tuple((str(label), str(text)) for label, text in lines.items())),))
        for at, (title, lines) in enumerate(found.items(), start=1)
    ]  # fmt: skip


def _sources(case: Case) -> Section:
    rows = [
        {"part": kind, "name": part.name, "kind": part.source.kind, "where its numbers come from": part.source.text,
         "80 % of such parts, within": ", ".join(map(tolerance_text, known))}
        for kind in PARTS
        for part, known in [(getattr(case.train, kind), [e for e in case.sure.inputs if GROUPS[e.name] == kind])]
    ]  # fmt: skip
    text = ", ".join(f"{row['part']} {row['kind']}" for row in rows)
    return Section(name="sources", title="Where do the numbers come from?", text=(f"{text[0].upper()}{text[1:]}.",),
                   folded=(Table.of(rows, caption="Sources, and how far parts differ"),))  # fmt: skip


def _assumed(case: Case) -> Section:
    steering = case.comparison.placing[BASES[0]].steering
    made: dict[Assumption, None] = dict.fromkeys(
        (*case.setting.assumptions, *completed(case.train)[1], *train_lanes([case.train])[1],
         *case.flight.assumptions, *case.flown.assumptions, *case.speeds.assumptions,
         case.setting.motor_heat(case.train, case.flight).assumption,
         *balance_assumptions(case.setting, case.train), *steering.assumptions)
    )  # fmt: skip
    matter = mattering(list(made), [] if case.drawn is None else [case.drawn])
    assert matter is not None
    rows = [{"about": each.subject, "assumed": each.text} for each in made]
    more = "All others: the HTML sheet, or 'propmatch time --assumptions'."
    return Section(
        name="assumed", title="What was assumed, and moves the answer most?",
        points=(*matter.lines[:_MOST_MATTER], more),
        folded=(Table.of(rows, caption=f"All {len(rows)} assumptions"),), small=True,
    )  # fmt: skip


def further(case: Case) -> tuple[Section, ...]:
    """The sections that answer, those without an answer left out."""
    makers: tuple[Callable[[Case], Section | None], ...] = (
        _margins, _thrust, _airspeeds, _wind, _heat, _bench, _variants, _envelope, _sets, views, _balance,
        _steering,
    )  # fmt: skip
    found = [section for make in makers if (section := make(case)) is not None]
    return (*found, *_extra(case), _asked(case), _sources(case), _assumed(case))
