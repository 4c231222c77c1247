"""The sections of the build sheet, in the order of the questions people ask."""

from collections.abc import Callable, Mapping

import numpy as np

from propmatch.aircraft.balance import place_trains
from propmatch.checks.chances import Sureness, sureness
from propmatch.checks.judged import judged_trains
from propmatch.checks.launching import launch_flown
from propmatch.checks.limits import checks_of, missed
from propmatch.checks.placing import balance_assumptions
from propmatch.questions.cells import BASES
from propmatch.questions.settings import settings_of
from propmatch.records.estimates import Assumption, completed
from propmatch.search.candidate import Candidate, columns
from propmatch.search.matching import UNNAMED
from propmatch.sheet.aircraftviews import views
from propmatch.sheet.briefwords import train_reasons
from propmatch.sheet.case import Case, Section
from propmatch.sheet.cellsection import cells_table, cells_text, envelope_words, substitutes
from propmatch.sheet.fitcharts import fit_chart
from propmatch.sheet.flightcharts import FlightPlan, flight_chart
from propmatch.sheet.margincharts import margin_chart
from propmatch.sheet.picture import Table
from propmatch.sheet.ranges import KEPT, ranged_values, tolerance_text
from propmatch.sheet.speedsection import airspeeds, wind
from propmatch.sheet.steeringsection import steering_of, steering_section
from propmatch.sheet.thrustcharts import compare_chart, operating_chart, throttle_chart
from propmatch.sheet.trimsection import cures_table, stability_text, trim_picture
from propmatch.status import Flag
from propmatch.tolerances.numbers import GROUPS
from propmatch.train.lanes import train_lanes
from propmatch.units import GRAM_KG
from propmatch.words.chancewords import check_range, hangs_words, of_hundred, ranged, sure_words
from propmatch.words.checkwords import (
    burst_words,
    check_name,
    danger_words,
    limit_text,
    parts_text,
    speed_question,
    supply_text,
)
from propmatch.words.fitwords import open_words
from propmatch.words.flownwords import USUAL, flown_sentences, settings_rows, timer_sentence
from propmatch.words.motorheatwords import heat_head, heat_rows, heat_sentences
from propmatch.words.verdictwords import verdict_words

__all__ = ["CAUTIONS", "assumed", "cautions", "extra", "questions", "sources"]

_MOST_UNSURE = 4
"""Checks whose chance is explained, the least certain first."""
CAUTIONS = (
    "These numbers are estimates. Before flight measure current and voltage on the bench with a wattmeter, the model "
    "tied down.",
    "Take the propeller off while you set up the radio and the controller. Running, stand behind the disc, never in it "
    "or beside it, and keep hands, sleeves and onlookers away.",
    "Never exceed the lowest rating of motor, controller, pack and propeller. The makers' limits come first.",
    "A throttle limit in the transmitter keeps the current below a value only while it is set: it can be lost when a "
    "controller is recalibrated.",
    "Never leave a charging pack alone. Store packs at about half charge; retire one that is puffed, dented or hot.",
    "Fly where it is allowed and nobody is at risk. Rules and mass classes differ by country and change: check your "
    "local rules, and ask a club's safety officer where you can.",
)


def answer(case: Case) -> Section:
    mass = case.shown.mass_text(case.design.all_up_mass_g)
    subject = f"with {parts_text(case.train)} at {mass} all-up it"
    verdict = verdict_words(case.sure, case.checks, case.shown, subject)
    text = [
        *danger_words(case.checks, case.shown),
        verdict,
        *((UNNAMED,) if case.unnamed else ()),
        *burst_words(case.checks),
        *speed_question(case.train),
    ]
    asked = case.brief.limits.cells
    for cells in asked:
        if case.shortlist is not None and not case.shortlist.by_cells.get(cells):
            text.append(f"With {cells}S no combination of the catalogue meets the brief.")
    if case.shortlist is not None:
        count = case.shortlist.passing
        text.append(f"{'Of' if count is None else f'{count} of'} {case.shortlist.combinations} combinations of parts "
                    f"{'considered, these are the best.' if count is None else 'meet the brief.'}")  # fmt: skip
    points = [f"{key}: {reason}" for key, best in case.best.items() for reason in [train_reasons(best, case.shown)]]
    return Section(name="answer", title="Will it fly at this weight?", text=tuple(text), points=tuple(points),
                   tables=(_recommended(case),) if case.best else ())  # fmt: skip


def _recommended(case: Case) -> Table:
    shown, best = case.shown, case.best
    lines: list[tuple[str, Callable[[Candidate], str]]] = [
        ("motor", lambda c: c.train.motor.name),
        ("propeller", lambda c: c.train.propeller.name),
        ("controller", lambda c: c.train.controller.name),
        ("radio and payload", lambda c: supply_text(c.train)),
        ("pack", lambda c: c.train.pack.name),
    ]
    rows = [{"": label, **{key: say(c) for key, c in best.items()}} for label, say in lines]
    for column in columns():
        found = ranged_values(best.values(), column, case.best_sure.values(), shown)
        rows.append({"": column.label, **dict(zip(best, found, strict=True))})
    rows.append({"": KEPT, **{key: of_hundred(each.chance_all_limits) for key, each in case.best_sure.items()}})
    return Table.of(rows, caption=f"The best combination {'for each cell count' if len(best) > 1 else 'found'}")


def thrust(case: Case) -> Section:
    picture = operating_chart(
        case.train, case.design.airframe, case.mass_kg, air=case.setting.air,
        reserve_charge=case.setting.reserve_charge, phases=case.setting.phases, shown=case.shown, sure=case.sure,
    )  # fmt: skip
    text = "Where a thrust line crosses the line of what level flight needs, the aircraft flies level at that throttle."
    remarks = _flags(case)
    return Section(name="thrust", title="How much thrust is there, and how much does it need?", text=(text, *remarks),
                   pictures=(picture,))  # fmt: skip


def _flags(case: Case) -> tuple[str, ...]:
    from propmatch.train.coupling import solve

    point = solve(case.train, throttle=[0.4, 0.7, 1.0], air=case.setting.air)
    return tuple(
        f"{text[0].upper()}{text[1:]}."
        for text in Flag(int(np.bitwise_or.reduce(np.asarray(point.flags, dtype=np.int64)))).remarks
    )


def throttle(case: Case) -> Section:
    static = next(c for c in case.checks if c.name == "motor_current_static")
    controller = next(c for c in case.checks if c.name == "controller_current")
    limits = {"motor limit": static.limit, "controller limit": controller.limit}
    held = [p.airspeed_m_s for p in case.setting.phases if p.throttle is None and p.airspeed_m_s]
    pictures = [throttle_chart(case.train, air=case.setting.air, limits_a=limits, shown=case.shown, sure=case.sure)]
    if held:
        pictures.append(throttle_chart(case.train, airspeed_m_s=held[0], air=case.setting.air, limits_a=limits,
                                       shown=case.shown, sure=case.sure, name="throttle-flight"))  # fmt: skip
    text = "With a full pack. Throttle is duty, not stick position: check with a wattmeter where your stick is."
    return Section(name="throttle", title="What does the throttle do?", text=(text,), pictures=tuple(pictures))


def duration(case: Case) -> Section:
    plan = FlightPlan(
        train=case.train, airframe=case.design.airframe, mass_kg=case.mass_kg, phases=case.setting.phases,
        reserve_charge=case.setting.reserve_charge, cutoff_cell_v=case.setting.cutoff_cell_v, air=case.setting.air,
    )  # fmt: skip
    picture = flight_chart(plan, flight=case.flight, shown=case.shown, sure=case.sure)
    settings = settings_of(case.train, case.setting, case.flight, case.flown)
    text = picture.summary
    if settings is not None:
        ends = case.sure.value("flight_time")
        text = (
            f"{ranged(f'{case.flight.minutes:.1f} minutes', ends.low, ends.high, 'min')}. "
            f"{timer_sentence(case.flown, settings)}"
        )
        if case.flown.flown_timer_minutes > 0:
            text += (
                " If it is more, fly shorter. The timer is for exactly these parts: others of the ranges below fly as "
                "long as their own line says."
            )
    launch = launch_flown(judged_trains(case.setting, [case.train])[0])
    rows = [] if settings is None else settings_rows(settings, case.shown)
    tables = (Table.of(rows, caption=f"What to set, all from this flight; {USUAL}"),) if rows else ()
    said = flown_sentences(case.flown, case.flight.minutes, case.flight.cutoff_cell_v, case.shown)
    begins = () if launch is None else (launch.sentence(case.shown.speed_text),)
    return Section(name="duration", title="How long does it fly?", text=(*begins, text, *said), pictures=(picture,),
                   tables=tables)  # fmt: skip


def heat(case: Case) -> Section:
    found = case.setting.motor_heat(case.train, case.flight)
    return Section(name="heat", title="How warm does the motor get?", text=heat_sentences(found),
                   tables=(Table.of(heat_rows(found), caption=heat_head(found)),))  # fmt: skip


def margins(case: Case) -> Section:
    picture = margin_chart(case.checks)
    text = (
        "A bar to the right is room to the limit, a bar to the left is beyond it. The thin line spans the margins of "
        "80 % of builds, '97 of 100' says in how many the limit is kept: every number that nobody knows exactly was "
        f"drawn {case.sure.drawn.draws.count} times from its own uncertainty, all of them at once, and everything was "
        "worked out for each draw. Only limits of the brief and ratings of parts rule a combination out.",
    )
    unsure = sorted((c for c in case.checks if c.excluding and c.chance < c.chance_wanted), key=lambda c: c.chance)
    points = tuple(
        f"{check_name(c.name)} {check_range(c, case.shown)}, {limit_text(c, case.shown)}: "
        f"{'; '.join(filter(None, (sure_words(c.chance, c.chance_wanted), why)))}."
        for c in unsure[:_MOST_UNSURE]
        for why in [hangs_words(case.sure.hangs_on(c.name), case.sure)]
    )
    return Section(name="margins", title="How close is it to the limits?", text=text, points=points,
                   pictures=(picture,))  # fmt: skip


def bench(case: Case) -> Section | None:
    if case.fit is None:
        return None
    own, read = case.train.motor.name, case.fit.known.name
    other = () if own == read else (f"The log is of {read}; the motor of this sheet is {own}.",)
    return Section(name="bench", title="What did the bench say?", text=(*other, *open_words(case.fit)),
                   pictures=(fit_chart(case.fit, name="bench-log"),))  # fmt: skip


def cells(case: Case) -> Section:
    found = case.comparison
    cases = [found.case(count) for count in found.cells]
    charts = [
        compare_chart(
            {f"{c.cells}S": c.train for c in cases}, case.design.airframe,
            {f"{c.cells}S": c.all_up_mass_g * GRAM_KG for c in cases}, air=case.setting.air, shown=case.shown,
            title="Only the pack changed", sure={f"{c.cells}S": c.sure for c in cases},
        )
    ]  # fmt: skip
    if len(case.best) > 1:
        charts.append(
            compare_chart(
                {key: c.train for key, c in case.best.items()}, case.design.airframe,
                {key: c.all_up_mass_g * GRAM_KG for key, c in case.best.items()}, air=case.setting.air,
                shown=case.shown, title="The best of each cell count, each with its own motor and propeller",
                sure=case.best_sure, name="compare-best",
            )
        )  # fmt: skip
    counts = [f"{c.cells}S" for c in cases]
    others = [name for name in counts if name != case.own_cells]
    return Section(
        name="cells", title=f"What if somebody fits {' or '.join(others)}?", text=cells_text(found, cases, case.shown),
        pictures=tuple(charts), tables=(cells_table(cases, case.shown),),
    )  # fmt: skip


def others(case: Case) -> Section | None:
    rows = []
    for setting in case.resolved.settings:
        sure = sureness(setting, case.train)
        checks = {c.name: c for c in checks_of(judged_trains(setting, [case.train])[0], sure=[sure])[0]}
        failing = [check_name(c.name) for c in missed(checks.values())]
        rows.append(
            {
                "build": setting.variant.name,
                "all-up mass": case.shown.mass_text(setting.all_up_mass_g(case.train.mass_g)),
                **{check_name(name): check_range(checks[name]) for name in ("flight_time", "thrust_to_weight")},
                "limits missed on paper": ", ".join(failing) or "none",
                KEPT: of_hundred(sure.chance_all_limits),
                "the least certain of them": _least(sure),
            }
        )
    if len(rows) < 2:
        return None
    return Section(name="builds", title="What if it comes out heavier?", text=("The same power train in every build.",),
                   tables=(Table.of(rows),))  # fmt: skip


def _least(sure: Sureness) -> str:
    name = sure.least_certain
    return "-" if name is None else f"{check_name(name)}, {of_hundred(sure.chance(name))}"


def envelope(case: Case) -> Section:
    text, tables = envelope_words(case.resolved, case.catalogue, case.train, case.shown)
    return Section(name="envelope", title="Which other parts will do?", text=text, tables=tables)


def sets(case: Case) -> Section | None:
    tables = () if case.shortlist is None else substitutes(case)
    if not tables:
        return None
    text = "Each line is a whole set that meets the brief; do not mix parts of different lines without matching again."
    return Section(name="sets", title="Which sets of the catalogue meet the brief?", text=(text,), tables=tables,
                   small=True)  # fmt: skip


def balance(case: Case) -> Section | None:
    geometry = case.setting.geometry
    if geometry is None:
        return None
    text = list(place_trains(geometry, case.setting.build, [case.train]).readings([case.train.pack.name]))
    if geometry.tail is not None and geometry.leading_edge_mm is not None:
        text.append(stability_text(geometry))
    found = case.comparison
    trains = [found.case(count).train for count in found.cells]
    placed = found.placing[BASES[0]]
    trim, change = trim_picture(case.setting, placed, trains, case.shown)
    if trim is not None:
        text.append(change)
    cures = None if placed.cures is None else cures_table(placed.cures)
    return Section(
        name="balance", title="Where does the pack go, and what does throttle do to trim?", text=tuple(text),
        pictures=() if trim is None else (trim,), tables=() if cures is None else (cures,),
    )  # fmt: skip


def extra(case: Case) -> list[Section]:
    found: Mapping[str, Mapping[str, str]] = case.catalogue.extra_sections(case.design, case.brief)
    return [
        Section(name=f"extra-{at}", title=str(title), tables=(Table(
            heads=("what", "value"), rows=tuple((str(label), str(text)) for label, text in lines.items())),))
        for at, (title, lines) in enumerate(found.items(), start=1)
    ]  # fmt: skip


def sources(case: Case) -> Section:
    rows = []
    for kind in ("motor", "propeller", "controller", "pack"):
        part = getattr(case.train, kind)
        known = [each for each in case.sure.inputs if GROUPS[each.name] == kind]
        rows.append(
            {
                "part": kind,
                "name": part.name,
                "where its numbers come from": part.source.text,
                "kind": part.source.kind,
                "80 % of such parts": ", ".join(map(tolerance_text, known)),
            }
        )
    return Section(name="sources", title="Where do the numbers come from?", tables=(Table.of(rows),), small=True)


def assumed(case: Case) -> Section:
    made: dict[Assumption, None] = dict.fromkeys(
        (*case.setting.assumptions, *completed(case.train)[1], *train_lanes([case.train])[1],
         *case.flight.assumptions, *case.flown.assumptions, *case.speeds.assumptions,
         case.setting.motor_heat(case.train, case.flight).assumption,
         *balance_assumptions(case.setting, case.train), *steering_of(case).assumptions)
    )  # fmt: skip
    if not made:
        return Section(name="assumed", title="What was assumed?", text=("Nothing: every number was stated.",))
    rows = [{"about": each.subject, "assumed": each.text} for each in made]
    return Section(name="assumed", title="What was assumed, because nobody stated it?", tables=(Table.of(rows),),
                   small=True)  # fmt: skip


def cautions(case: Case) -> Section:
    return Section(name="cautions", title="Before you run it", points=CAUTIONS)


def questions(case: Case) -> list[Section]:
    """The sections that answer, those without an answer left out."""
    makers: tuple[Callable[[Case], Section | None], ...] = (
        answer, thrust, throttle, duration, airspeeds, wind, heat, margins, bench, cells, others, envelope, sets,
        balance, views, steering_section,
    )  # fmt: skip
    return [section for make in makers if (section := make(case)) is not None]
