"""The first page of the build sheet: the whole decision. What it says is not said again on the others."""

import math
from collections.abc import Sequence

from propmatch.aircraft.balance import place_trains
from propmatch.checks.judged import judged_trains
from propmatch.checks.limits import Check, checks_of, missed
from propmatch.columns import columns_of
from propmatch.questions.cells import CellCase, ranged_columns
from propmatch.questions.publishing import site_c
from propmatch.questions.remedies import Remedy
from propmatch.questions.settings import Settings
from propmatch.records.parts import PARTS, PowerTrain
from propmatch.search.candidate import Candidate
from propmatch.search.matching import UNNAMED, UNNAMED_ON_PAPER
from propmatch.sheet.bladedrawing import blade_svg
from propmatch.sheet.case import ENVELOPE, Case, Section
from propmatch.sheet.picture import Table
from propmatch.sheet.ranges import cell_text, main_numbers
from propmatch.units import INCH_M, MM_M
from propmatch.words.answerwords import minutes_text
from propmatch.words.chancewords import ON_PAPER, UNSURE, chance_word, of_hundred
from propmatch.words.checkwords import (
    burst_words,
    check_names,
    danger_words,
    joined,
    limit_number,
    over_text,
    several_words,
    speed_question,
    supply_text,
    warned_words,
)
from propmatch.words.flownwords import NO_TIMER, setting_text
from propmatch.words.shown import signed
from propmatch.words.verdictwords import headline_words, reasons_words

__all__ = ["CAUTIONS", "decision", "headline"]

CAUTIONS = (
    "These numbers are estimates: before flight measure on the bench with a wattmeter, the model tied down.",
    "Set up radio and ESC with the propeller off. Running, stay behind the disc, never in or beside it; hands, sleeves "
    "and onlookers away.",
    "The makers' limits come first. A throttle limit holds only while it is set: recalibrating the ESC can lose it.",
    "Never leave a charging pack alone; retire one that is puffed, dented or hot.",
    "Fly where it is allowed and nobody is at risk: check local rules and mass classes, ask a club's safety officer.",
)
_RATED = {
    "motor": ("motor_current_static", "motor_power"), "ESC": ("controller_current",), "pack": ("pack_burst",),
    "propeller": ("propeller_rpm",),
}  # fmt: skip
"""Whose rating each of these checks judges."""
_OWN = (
    "thrust_to_weight", "pack_current_static_a", "pack_power_static_w", "thrust_static_n", "climb_m_s", "top_speed_m_s",
)  # fmt: skip
_SET = ("flown_timer_minutes", "recharge_mah", "land_pack_v", "alarm_load_cell_v", "cutoff_cell_v", "charge_current_a",
        "storage_cell_v")  # fmt: skip
"""Settings of a day at the field; ``time`` and the page have all of them."""
_NAMED = 3
"""Variants that are named one by one; of more the table says which."""


def headline(case: Case) -> tuple[str, ...]:
    """The verdict in a line; where it would be a danger, that goes before; on paper that nothing says how sure."""
    said = " ".join((*danger_words(case.checks, case.shown), headline_words(case.sure, case.checks)))
    return (f"{UNSURE} Not to be published.", said) if case.on_paper else (said,)


def decision(case: Case) -> tuple[Section, ...]:
    """What to fit, what it does and how sure that is, what to set, other cell counts, what never to do, cautions."""
    return (
        _fit(case), _does(case), _sure(case), _settings(case), _counts(case), _never(case),
        Section(name="cautions", title="Cautions", points=CAUTIONS),
    )  # fmt: skip


def _fit(case: Case) -> Section:
    train, geometry = case.train, case.setting.geometry
    sets = "" if train.count == 1 else f"{train.count} times "
    geared = "" if train.motor.gear_ratio == 1 else f" geared {train.motor.gear_ratio:g}:1"
    pack = train.pack
    parallel = "" if pack.cells_parallel == 1 else f" ({pack.cells_series}S{pack.cells_parallel}P)"
    place = cg = "as the plan says; the brief has no [balance]"
    if geometry is not None:
        (reading,) = place_trains(geometry, case.setting.build, [train]).readings([pack.name])
        place = reading.partition(": ")[2].removesuffix(".")
        cg = f"{geometry.balance.target_cg_mm:g} mm aft of the datum, give or take {geometry.cg_tolerance_mm:g}"
    lines = {
        "motor": f"{sets}{train.motor.name}{geared}",
        "propeller": f"{sets}{train.propeller.name}",
        "ESC": f"{sets}{train.controller.name}",
        "receiver supply": supply_text(train),
        "battery pack": f"{pack.name}{parallel}, {case.shown.mass_text(pack.mass_g)}",
        "pack place": place,
        "CG": cg,
        "all-up mass": cell_text(case.own, "all_up_mass_g", case.shown),
    }
    text = (UNNAMED_ON_PAPER if case.on_paper else UNNAMED,) if case.unnamed else ()
    title = "Parts that miss the brief" if missed(case.checks) else "What to fit"
    family = train.propeller.family
    if family is None:
        return Section(name="parts", title=title, text=text, tables=(_pairs(lines),))
    blade = blade_svg(family, diameter_mm=train.propeller.diameter_in * INCH_M / MM_M, radius=60.0)
    return Section(name="parts", title=title, text=text, tables=(_pairs(lines),), drawing=blade,
                   drawn=f"A {family} blade; marked is its usual width at 75 % of the radius.")  # fmt: skip


def _pairs(lines: dict[str, str]) -> Table:
    return Table(heads=("what", ""), rows=tuple(lines.items()))


def _does(case: Case) -> Section:
    own, flown = case.own, case.flown
    said = {name: cell_text(own, name, case.shown) for name in _OWN}
    current, power = own.pack_current_static_a, own.pack_power_static_w
    volts = power / current if current else math.nan
    ends, real = case.sure.value("flight_time"), flown.ranges.get("flown_minutes")
    lines = {
        "flight time, steady": minutes_text(case.flight.minutes, *([] if case.on_paper else [ends.low, ends.high]))
    }
    if flown.acts:
        lines["as really flown"] = minutes_text(flown.flown_minutes, *([real.low, real.high] if real else []))
    lines |= {
        "thrust to weight, half charge": said["thrust_to_weight"],
        "battery lead, full throttle, static, full battery":
            f"{signed(volts)} V, {said['pack_current_static_a']}, {said['pack_power_static_w']}",
        "static thrust then": said["thrust_static_n"],
        "best climb; top speed, half charge": f"{said['climb_m_s']}; {said['top_speed_m_s']}",
    }  # fmt: skip
    brackets = "Brackets hold 80 of 100 builds. Where the wattmeter reads outside them, find out why before flight."
    text = (
        *([] if case.on_paper else [brackets]),
        *several_words(case.train.count),
    )
    return Section(name="does", title="What it does", text=text, tables=(_pairs(lines),))


def _settings(case: Case) -> Section:
    settings = case.settings
    if case.on_paper:
        return Section(name="settings", title="Timer and charger", text=(ON_PAPER,))
    if settings is None or not settings.flown_timer_minutes > 0:
        return Section(name="settings", title="Timer and charger", text=(NO_TIMER,))
    columns = {column.name: column for column in columns_of(Settings)}
    lines = {columns[name].label: setting_text(settings, columns[name], case.shown) for name in _SET}
    text = "For these parts alone: nine of ten builds fly as long. More charge to put back says: fly shorter."
    return Section(name="settings", title="Timer and charger", text=(text,), tables=(_pairs(lines),))


def _sure(case: Case) -> Section:
    sure = [reasons_words(case.sure, case.checks, case.shown, ranges=False), *_elsewhere(case)]
    text = (
        *([UNSURE] if case.on_paper else sure),
        *burst_words(case.checks), *warned_words(case.checks), *speed_question(case.train),
    )  # fmt: skip
    return Section(name="sure", title="How sure", text=text)


def _elsewhere(case: Case) -> list[str]:
    """That the chances are those of one field, and where in the published range they are not kept."""
    own, site = case.envelope.cells.get(case.train.pack.cells_series), case.setting.brief.site
    here = f"{case.shown.text(site.altitude_m or 0.0, 'm', 0)}, {site_c(case.setting):.0f} °C"
    said = f"That is for the brief's own field ({here})"
    if own is None or own.costs is None:
        return [f"{said}."]
    least = own.costs.least
    there = f"at {case.shown.text(least.altitude_m, 'm', 0)} and {least.temperature_c:g} °C"
    kept = f"{of_hundred(least.chance, least.wanted)} ({of_hundred(least.wanted)} asked)"
    return [f"{said}; of what is published, {there} it holds in {kept}: see '{ENVELOPE}'."]


# ---------------------------------------------------------------- cell counts


def _counts(case: Case) -> Section:
    points = [f"{count}S: {_count_words(case, count)}." for count in case.comparison.cells]
    return Section(name="counts", title="Cell counts", points=tuple(points), folded=(_compared(case),))


def _compared(case: Case) -> Table:
    """Every cell count with all else kept."""
    cases = [case.comparison.case(count) for count in case.comparison.cells]
    rows = [
        {"": column.label, **{f"{c.cells}S": cell_text(c, column.name, case.shown) for c in cases}}
        for column in ranged_columns() if column.html
    ]  # fmt: skip
    rows.append({"": "misses on paper", **{
        f"{c.cells}S": check_names([check.name for check in c.failing]) or "nothing" for c in cases
    }})  # fmt: skip
    if not case.on_paper:
        rows.append({"": "limits kept, of 100", **{f"{c.cells}S": of_hundred(c.sure.chance_all_limits) for c in cases}})
    return Table.of(rows, caption="Only the pack changed, packs of the same energy")


def _count_words(case: Case, count: int) -> str:
    """The best of the catalogue with a cell count; where nothing was looked for, the least change of the design."""
    named, found, own = case.brief.limits.cells, case.comparison.case(count), case.train
    if count == own.pack.cells_series:
        return "as above"
    if named and count not in named:
        return f"the brief allows {joined([f'{each}S' for each in named])} alone"
    if case.shortlist is not None:
        best: Candidate | Remedy | CellCase | None = next(iter(case.shortlist.by_cells.get(count, ())), None)
    elif found.failing:
        best = case.comparison.remedies[count].first if count in case.comparison.remedies else None
    else:
        best = found
    if best is not None and best.train.pack is not (found.pack if found.origin == "scaled" else None):
        return f"{best.train.pack.name} {_beside(best.train, own)}: {_numbers(case, best)}"
    if found.origin == "scaled":
        return f"no pack of the catalogue with {count}S fits"
    return "no combination of the catalogue meets the brief"


def _beside(train: PowerTrain, own: PowerTrain) -> str:
    """Which parts but the pack are not those of the design."""
    parts = {kind: getattr(train, kind) for kind in PARTS if kind != "pack"}
    changed = [f"the {kind} {part.name}" for kind, part in parts.items() if part.id != getattr(own, kind).id]
    return f"with {joined(changed)}" if changed else "and the same parts"


def _numbers(case: Case, found: Candidate | Remedy | CellCase) -> str:
    """Minutes, thrust to weight and the chance."""
    sure = case.sure_of(found.train)
    said = main_numbers(sure, found.flight_minutes, found.thrust_to_weight)
    if case.on_paper:
        return "{}, thrust to weight {}".format(*said[:2])
    doubt = "" if sure.holds else f"{chance_word(sure.chance_all_limits, 1.0)}, "
    return "{}, thrust to weight {}; {}{} of 100 builds keep every limit".format(*said[:2], doubt, said[2])


# ---------------------------------------------------------------- never


def _never(case: Case) -> Section:
    points = [
        f"Fit {found.cells}S with nothing else changed: {_worst(failing, case)}."
        for found in case.others if (failing := _failing(found, case))
    ]  # fmt: skip
    ratings = _ratings({check.name: check for check in case.checks})
    if ratings:
        points.append(f"Exceed the lowest rating: {'; '.join(ratings)}.")
    missing = [each for each in case.variants[1:] if each.failing]
    if len(missing) > _NAMED:
        points.append(f"Fit these parts to {len(missing)} of {len(case.variants)} variants: see the table of variants.")
    else:
        points += [f"Fit these parts to '{each.name}': misses {check_names(each.failing)}." for each in missing]
    return Section(name="never", title="Never", points=tuple(points))


def _failing(found: CellCase, case: Case) -> tuple[Check, ...]:
    """What is missed with another pack alone, the one that the envelope names where it does."""
    each = case.envelope.cells.get(found.cells)
    if each is None or not each.failing:
        return found.failing
    return missed(checks_of(judged_trains(case.setting, [each.train])[0])[0])


def _worst(failing: Sequence[Check], case: Case) -> str:
    first = min(failing, key=lambda check: (not check.danger, check.margin))
    more = len(failing) - 1
    return over_text(first, case.shown) + (f", and {more} more limit{'s' if more > 1 else ''}" if more else "")


def _ratings(checks: dict[str, Check]) -> list[str]:
    said = []
    for part, names in _RATED.items():
        found = [checks[name] for name in names if name in checks and "rating" in checks[name].limit_source]
        limits = [limit_number(check) for check in found if math.isfinite(check.limit)]
        said += [f"{part} {joined(limits)}"] if limits else []
    return said
