"""How ``propmatch cells`` reads: the effect in sentences, the counts side by side, every check, and the ways out."""

import math
from collections.abc import Mapping, Sequence
from functools import partial
from typing import TYPE_CHECKING, Any

import attrs
import numpy as np

from propmatch.columns import checked_by, columns_of, headed, numbers_of
from propmatch.commands.output import Reply
from propmatch.commands.saying import CHECKS_LEGEND, checks_table, mass_block, masses_data, unplaced_words
from propmatch.commands.steeringwords import steering_block
from propmatch.commands.trains import LazyCatalogue, train_data
from propmatch.words.answerwords import hardest_words, minutes_text
from propmatch.words.chancewords import ON_PAPER, RANGES, least_words, of_hundred, range_words
from propmatch.words.checkwords import (
    NO_CHANGE,
    burst_words,
    check_names,
    danger_words,
    joined,
    limit_sentences,
    over_text,
    parts_text,
    percent_down,
    speed_question,
)
from propmatch.words.shown import Shown, signed, table, wrapped

if TYPE_CHECKING:
    from propmatch.aircraft.thrustline import ThrottleTrim
    from propmatch.checks.setting import Setting
    from propmatch.questions.cells import CellCase, CellComparison

__all__ = ["cells_reply", "named_thrusts", "pair_block", "placing_block", "remedy_chances", "ways_block"]


_WORDS = {"propeller": "propeller", "controller": "ESC", "motor": "motor", "pack": "pack"}


def _parts(remedy: Any) -> str:
    """``motor 1913-1980 with pack 2s-1900-28c``: what is changed."""
    return " with ".join(
        f"{_WORDS[kind]} {part.id.removeprefix('bundled/') if part.id else part.name}"
        for kind, part in remedy.changes.items()
    )


def _remedy(remedy: Any, chance: float, shown: Shown) -> str:
    return (
        f"{_parts(remedy)}: motor {signed(remedy.motor_current_static_a)} A, thrust to weight "
        f"{signed(remedy.thrust_to_weight, 2)}, {minutes_text(remedy.flight_minutes)}, "
        f"{shown.mass_text(remedy.all_up_mass_g)} all-up{_kept(chance)}"
    )


def _kept(chance: float) -> str:
    """How many builds keep every limit; nothing on paper."""
    return f"; {of_hundred(chance)} of 100 builds keep every limit" if math.isfinite(chance) else ""


def remedy_chances(setting: "Setting", found: Any) -> list[float]:
    """The chance of all limits of each change, in the order of ``every``."""
    from propmatch.checks.chances import drawn

    if not found.every:
        return []
    return [each.chance_all_limits for each in drawn(setting, [remedy.train for remedy in found.every]).each]


def _no_chances(found: Any) -> list[float]:
    """The same on paper, where there are none."""
    return [math.nan] * len(found.every)


def ways_block(comparison: "CellComparison", count: int, chances: Sequence[float], shown: Shown) -> list[str]:
    """What brings one count inside the limits, with the chance of each; nothing for a count that meets them."""
    from propmatch.checks.throttlelimit import LIMIT_NOTE

    found = comparison.remedies.get(count)
    if found is None:
        return []
    lines = wrapped(f"What brings {count}S inside the limits (packs of the same energy, as designed):")

    def say(text: str) -> None:
        lines.extend(wrapped(text, first="  - ", rest="    "))

    kinds = (
        ("propeller", "propellers"), ("ESC", "controllers"), ("motor", "motors"), ("battery pack", "packs"),
        ("two parts together", "pairs"),
    )  # fmt: skip
    of = dict(zip(map(id, found.every), chances, strict=True))
    for _, kind in kinds:
        for remedy in getattr(found, kind):
            say(f"{_remedy(remedy, of[id(remedy)], shown)}.")
    if not found.every:
        say(f"{NO_CHANGE.removesuffix('.')} with {count}S.")
    else:
        none = [
            f"{word} of {count}S" if kind == "packs" else word for word, kind in kinds[:4] if not getattr(found, kind)
        ]
        if none:
            say(f"no other {' and no other '.join(none)} of the catalogue does it alone.")
    kv, size = found.kv, found.diameter
    if math.isfinite(kv.kv_rpm_per_v) and math.isfinite(size.diameter_in):
        say(
            f"by the number: with this propeller a measured kV of about {kv.kv_rpm_per_v:.0f} rpm/V, or with this "
            f"motor a propeller of about {size.diameter_in:.1f} x {size.pitch_in:.1f} in, draws "
            f"{signed(found.motor_current_limit_a)} A at rest, the lower rating of motor and ESC."
        )
    sentences = limit_sentences(comparison.case(count).limited, shown)
    for text in (*sentences, *([LIMIT_NOTE] if sentences else ())):
        say(text)
    return lines


def placing_block(comparison: "CellComparison", shown: Shown) -> list[str]:
    """Balance and trim: at the same energy, and what is different in the other comparisons."""
    from propmatch.questions.cells import BASES

    lines = ["Balance and trim, packs of the same energy:"]
    said: set[str] = set()
    for basis in BASES:
        readings = comparison.placing[basis].readings(show=shown.speed_text)
        new = [text for text in readings if text not in said]
        said.update(readings)
        if not new:
            continue
        if basis != BASES[0]:
            new = [text for text in new if "Static margin" not in text]
            if not new:
                continue
            lines.append(f"With packs of the {basis}:")
        for text in new:
            lines += wrapped(text, first="  - ", rest="    ")
    trim = comparison.placing[BASES[0]].trim
    if trim is not None:
        lines += wrapped("Left out: " + " ".join(trim.notes), first="  ", rest="  ")
    return lines


def named_thrusts(thrusts_n: Sequence[float], shown: Shown) -> dict[str, float]:
    """Thrusts by what text calls them."""
    return {f"{shown.thrust_text(thrust)} of thrust": thrust for thrust in thrusts_n}


def pair_block(pair: "ThrottleTrim", shown: Shown) -> list[str]:
    """The elevator between two thrusts at each airspeed."""
    lines = ["The elevator between two thrusts:"]
    for at in range(pair.airspeed_m_s.size):
        lines += wrapped(pair.reading(0, at, show=shown.speed_text), first="  - ", rest="    ")
    return lines


_WIDE, _BROAD = 5, 4
_RANGED = ("thrust_to_weight", "motor_current_static_a", "pack_current_static_a", "flight_minutes", "climb_m_s")
"""The numbers whose interval stands below them."""


def cells_reply(
    stock: LazyCatalogue,
    comparison: "CellComparison",
    settings: Sequence["Setting"],
    shown: Shown,
    said: Sequence[str],
    chosen: Any,
    options: Mapping[str, Any],
) -> tuple[Reply, bool]:
    """The answer, and whether any count keeps the limits as designed; ``said`` is told before the tables."""
    from propmatch.words.assumedwords import mattering

    assumptions = list(dict.fromkeys((*chosen.assumptions, *comparison.assumptions)))
    design = comparison.of_variant[comparison.variants[0]]
    of_each = _no_chances if options["on_paper"] else partial(remedy_chances, settings[0])
    chances = {count: of_each(found) for count, found in comparison.remedies.items()}
    blocks = [_rows_block(_lines(comparison, design), shown), *_answer_blocks(comparison, chances, shown)]
    if options["full"]:
        blocks = [blocks[0], *_all_blocks(comparison, settings, design, chances, shown)]
    reply = Reply(
        command="cells",
        headline=[
            *_headline(comparison, shown),
            ON_PAPER if options["on_paper"] else RANGES,
            *unplaced_words(settings, comparison.train),
            *(text for text in said if text),
        ],
        blocks=blocks,
        rows=lambda: [case.row for case in comparison.cases],
        assumptions=assumptions,
        matter=mattering(assumptions, [] if options["on_paper"] else _own_sure(comparison), options),
        faults=(*chosen.doubts, *stock.broken),
        extra=lambda: _data(comparison, settings, chances, shown),
        caution=True,
    )
    return reply, any(not case.failing for case in design)


def _data(
    comparison: "CellComparison", settings: Sequence["Setting"], chances: Mapping[int, Sequence[float]], shown: Shown
) -> dict[str, Any]:
    """Further keys of the JSON."""
    from propmatch.questions.cells import BASES, CellCase

    return {
        "checked_by": checked_by(columns_of(CellCase)),
        "train": train_data(comparison.train),
        "masses": masses_data(settings, comparison.train),
        "packs": list(comparison.packs.values()),
        "checks_by_case": [
            {
                "variant": case.variant,
                "compared_by": case.compared_by,
                "cells": case.cells,
                "checks": case.checks,
                "least_certain": case.sure.least_certain,
                "hangs_on": _hangs_on(case),
            }
            for case in comparison.cases
        ],
        "remedies": {count: _remedies_data(found, chances[count]) for count, found in comparison.remedies.items()},
        "trim_cures": comparison.placing[BASES[0]].cure_rows,
        "balance_and_trim": {basis: comparison.placing[basis].readings(show=shown.speed_text) for basis in BASES},
        "steering": {basis: comparison.placing[basis].steering.data for basis in BASES},
    }


def _own_sure(comparison: "CellComparison") -> list[Any]:
    """How sure the design with its own pack is; the first of all where its cell count is not asked for."""
    own = comparison.train.pack.cells_series
    return [comparison.case(own if own in comparison.cells else comparison.cells[0]).sure]


def _all_blocks(
    comparison: "CellComparison", settings: Sequence["Setting"], design: Sequence[Any],
    chances: Mapping[int, Sequence[float]], shown: Shown,
) -> list[list[str]]:  # fmt: skip
    """What --full adds: every number and check, every way out, balance, trim, roll, variants and masses."""
    from propmatch.questions.cells import BASES

    blocks: list[list[str]] = []
    for basis, heads, cases in _sheets(comparison, design):
        about = f"{comparison.variants[0]}{basis}"
        blocks.append([*wrapped(f"{about}: full throttle static on a full battery, unless said:"),
                       *_numbers(heads, cases, shown)])  # fmt: skip
        table_of_checks = checks_table(heads, [case.checks for case in cases], shown)
        blocks.append([*wrapped(f"Every check{basis} ({CHECKS_LEGEND}):"), *table_of_checks])
    return [
        *blocks,
        _sure_block(design, shown),
        _packs_block(comparison, shown),
        *(ways_block(comparison, count, chances.get(count, ()), shown) for count in comparison.cells),
        placing_block(comparison, shown),
        steering_block(comparison.placing[BASES[0]], shown, about=", packs of the same energy"),
        _variants_block(comparison, shown),
        mass_block(settings, comparison.train, shown),
    ]


def _sure_block(design: Sequence[Any], shown: Shown) -> list[str]:
    """The least certain check of each count with packs of the same energy."""
    from propmatch.questions.cells import BASES

    said = {f"{case.cells}S": least_words(case.sure, case.checks, shown) for case in design
            if case.compared_by == BASES[0]}  # fmt: skip
    return [line for name, text in said.items() if text for line in wrapped(f"{name}: {text}", rest="    ")]


def _hangs_on(case: Any) -> dict[str, float]:
    """What the least certain check hangs on; empty where all hold."""
    name = case.sure.least_certain
    return {} if name is None else case.sure.hangs_on(name)


def _remedies_data(found: Any, chances: Sequence[float]) -> dict[str, Any]:
    of = dict(zip(map(id, found.every), chances, strict=True))

    def data(remedy: Any) -> dict[str, Any]:
        return {
            **{kind: {"id": part.id, "name": part.name} for kind, part in remedy.changes.items()},
            **numbers_of(remedy),
            "chance_all_limits": of[id(remedy)],
        }

    kinds = ("propellers", "controllers", "motors", "packs", "pairs")
    return {
        "failed": found.failing,
        **{kind: [data(each) for each in getattr(found, kind)] for kind in kinds},
        "motor_current_limit_a": found.motor_current_limit_a,
        "kv_rpm_per_v": found.kv.kv_rpm_per_v,
        "diameter_in": found.diameter.diameter_in,
        "pitch_in": found.diameter.pitch_in,
    }


# ---------------------------------------------------------------- sentences


def _headline(comparison: "CellComparison", shown: Shown) -> list[str]:
    """What each count does to the same parts, the fewest cells first."""
    train, first = comparison.train, comparison.case(comparison.cells[0])
    out = [f"{comparison.brief.aircraft.name} with {parts_text(train, pack=False)}:"]
    own = train.pack.capacity_mah * train.pack.cells_series
    for count in comparison.cells:
        case = comparison.case(count)
        more = case.pack.capacity_mah * count / own
        off = f", {100 * abs(more - 1):.0f} % {'more' if more > 1 else 'less'} energy" if abs(more - 1) > 0.1 else ""
        said = [
            minutes_text(case.flight_minutes, *_ends(case, "flight_minutes")),
            f"{shown.thrust_text(case.thrust_static_n)} static thrust{_times(case, first, 'thrust_static_n')}",
            f"motor {signed(case.motor_current_static_a)} A{_times(case, first, 'motor_current_static_a')}",
            hardest_words(case.paper),
            _kept(case.sure.chance_all_limits).removeprefix("; "),
        ]
        danger = danger_words(case.paper, shown)
        name = f"{count}S ({case.pack.name}, {shown.mass_text(case.pack.mass_g)}{off})"
        text = f"{name} {_verdict(case, shown)}: {'; '.join(filter(None, said))}."
        out.append(" ".join([*danger, text, *burst_words(case.paper)]))
    return [*out, *speed_question(train)]


def _verdict(case: Any, shown: Shown) -> str:
    """``meets every limit``, or the first it misses and how many more."""
    if case.failing and case.failing[0].name == "cell_count":
        return f"cannot be used, as {over_text(case.failing[0], shown)}"
    if case.failing:
        more = f" and {len(case.failing) - 1} more limits" if len(case.failing) > 1 else ""
        return f"misses {over_text(case.failing[0], shown)}{more}".replace("1 more limits", "1 more limit")
    unknown = check_names([check.name for check in case.paper if check.verdict == "unknown"])
    return f"meets every limit that can be judged ({unknown} not known)" if unknown else "meets every limit on paper"


def _ends(case: Any, name: str) -> tuple[float, float]:
    return case.ends.get(f"{name}_low", math.nan), case.ends.get(f"{name}_high", math.nan)


def _times(case: Any, first: Any, name: str) -> str:
    """`` (1.8 times)``: a number against that of the fewest cells."""
    value, base = getattr(case, name), getattr(first, name)
    return f" ({value / base:.1f} times)" if case is not first and base > 0 and math.isfinite(value) else ""


def _missed(case: "CellCase") -> int:
    """How many limits are missed; a danger counts whether or not it excludes."""
    return len(case.failing) + sum(check.danger and not check.excluding for check in case.paper)


def _exceeded(case: "CellCase") -> str:
    """The same in words, with how many limits cannot be judged."""
    unknown = sum(check.verdict == "unknown" for check in case.paper)
    return f"{_missed(case) or 'none'}{f', {unknown} unknown' if unknown else ''}"


# ---------------------------------------------------------------- the short answer

_ROW_HEADS = {
    "all_up_mass_g": "AUW {unit}", "thrust_static_n": "thrust {unit}", "thrust_to_weight": "T/W",
    "motor_current_static_a": "motor {unit}", "flight_minutes": "{unit}", "climb_m_s": "climb {unit}",
}  # fmt: skip
"""Numbers of the short table; of what --full says in full."""
_BEST_WAYS = 3


def _lines(comparison: "CellComparison", design: Sequence[Any]) -> list[Any]:
    """The cases as designed, the design's own pack once, by cell count."""
    from propmatch.questions.cells import BASES

    once = [case for case in design if case.origin != "own" or case.compared_by == BASES[0]]
    return sorted(once, key=lambda case: (case.cells, BASES.index(case.compared_by)))


def _rows_block(cases: Sequence[Any], shown: Shown) -> list[str]:
    """A line for each pack."""
    from propmatch.questions.cells import CellCase

    own = {column.name: column for column in columns_of(CellCase)}
    columns = [attrs.evolve(own[name], heading=heading) for name, heading in _ROW_HEADS.items()]
    rows = []
    for case in cases:
        low, high = _ends(case, "flight_minutes")
        minutes = minutes_text(case.flight_minutes, low, high)
        span = minutes.partition("(")[2].partition(")")[0] or minutes.removesuffix(" min")
        rows.append({
            "": _head(case), "pack": _pack_text(case), **shown.cells(columns, case, flight_minutes=span),
            "limits missed": _exceeded(case), **_of_hundred(case.sure.chance_all_limits),
        })  # fmt: skip
    note = "energy, mass, capacity: a pack of as much of it as the design's own." if len(cases) > 1 else ""
    made = "* is no pack of the catalogue." if any(case.origin == "scaled" for case in cases) else ""
    text = table(rows, left=("", "pack"), spare=(f"climb {shown.unit('m/s')}",))
    return [*text, *wrapped(" ".join(filter(None, (note, made))))]


def _pack_text(case: Any) -> str:
    if case.origin == "scaled":
        return f"{case.pack.capacity_mah:.0f} mAh *"
    return str(case.pack.id or case.pack.name).removeprefix("bundled/")


def _answer_blocks(
    comparison: "CellComparison", chances: Mapping[int, Sequence[float]], shown: Shown
) -> list[list[str]]:
    """The best ways out of each count that misses a limit, and what else changes, in short."""
    rows: list[dict[str, str]] = []
    none = []
    for count in comparison.remedies:
        ways = _best_ways(comparison, count, chances.get(count, ()), shown)
        rows += ways
        none += [] if ways else [f"{count}S"]
    drawn = any(math.isfinite(chance) for each in chances.values() for chance in each)
    first = "surest" if drawn else "least change"
    head = wrapped(f"What brings it inside the limits, the {first} of each kind (--full: every way):") if rows else []
    last = wrapped(f"{NO_CHANGE.removesuffix('.')} with {joined(none)}.") if none else []
    ways_out = [*head, *(table(rows, left=("",)) if rows else []), *last]
    return [ways_out, [*_placing_lines(comparison), *_variants_line(comparison)]]


def _best_ways(
    comparison: "CellComparison", count: int, chances: Sequence[float], shown: Shown
) -> list[dict[str, str]]:
    """The surest changes that bring one count inside the limits, and a throttle limit that does."""
    rows: list[dict[str, str]] = []
    kinds: set[tuple[str, ...]] = set()
    ranked = sorted(zip(comparison.remedies[count].every, chances, strict=True), key=lambda each: -each[1])
    for remedy, chance in ranked:
        if (kind := tuple(remedy.changes)) not in kinds and len(rows) < _BEST_WAYS:
            kinds.add(kind)
            way = _way(remedy, remedy.motor_current_static_a, remedy.all_up_mass_g, shown)
            rows.append({"": f"  {count}S: {_parts(remedy)}", **way, **_of_hundred(chance)})
    case = comparison.case(count)
    limit = case.limited
    if limit.throttle < 1 and not limit.leaves and not limit.costs:
        way = _way(limit, limit.motor_current_a, case.all_up_mass_g, shown)
        rows.append({"": f"  {count}S: throttle limit {percent_down(limit.throttle)}", **way})
    return rows


def _of_hundred(chance: float) -> dict[str, str]:
    """The column of how many builds keep every limit; none on paper."""
    return {"of 100": of_hundred(chance)} if math.isfinite(chance) else {}


def _way(made: Any, motor_a: float, mass_g: float, shown: Shown) -> dict[str, str]:
    """The numbers of a way out."""
    return {
        "motor A": signed(motor_a), "T/W": signed(made.thrust_to_weight, 2), "min": signed(made.flight_minutes, 0),
        f"AUW {shown.mass_unit}": shown.number(mass_g, "mass", 0),
    }  # fmt: skip


def _placing_lines(comparison: "CellComparison") -> list[str]:
    """Where the packs of the same energy go, and how the trim changes with throttle."""
    from propmatch.questions.cells import BASES

    found = comparison.placing[BASES[0]]
    said: list[str] = []
    if found.places is not None:
        lanes = zip(found.names, *np.broadcast_arrays(found.places.pack_mm, found.places.miss_mm), strict=True)
        fits = {name: (place, abs(miss) <= found.places.tolerance_mm) for name, place, miss in lanes}
        where = [f"{place:.0f} mm with {name}" for name, (place, well) in fits.items() if well]
        no = [name for name, (_, well) in fits.items() if not well]
        said += [f"It balances with the pack at {joined(where)}, inside the tray."] if where else []
        said += [f"No place of the pack balances {joined(no)} (--full: ballast)."] if no else []
    if found.trim is not None:
        full = found.trim.more_up_deg[:, -1, :]
        worst = [max(row, key=lambda each: abs(each) if math.isfinite(each) else -1.0) for row in full.tolist()]
        known = [(name, each) for name, each in zip(found.names, worst, strict=True) if math.isfinite(each)]
        turns = joined([f"{signed(abs(each))} {'up' if each > 0 else 'down'} with {name}" for name, each in known])
        said += [f"Full throttle takes elevator, in degrees: {turns}."] if known else []
    return wrapped(" ".join([*said, *([found.missing] if found.missing else [])]))


def _variants_line(comparison: "CellComparison") -> list[str]:
    """How many limits every other variant misses."""
    said = []
    for variant in comparison.variants[1:]:
        cases = [comparison.case(count, variant=variant) for count in comparison.cells]
        said.append(f"{variant} {', '.join(f'{case.cells}S {_missed(case)}' for case in cases)}")
    return wrapped(f"Limits missed by other variants: {'; '.join(said)}.") if said else []


# ---------------------------------------------------------------- tables


def _sheets(comparison: "CellComparison", design: Sequence[Any]) -> list[tuple[str, list[str], list[Any]]]:
    """Columns that fit a page: everything side by side, or a table for each way of comparing."""
    from propmatch.questions.cells import BASES

    own = [case for case in design if case.compared_by == BASES[0] and case.origin == "own"]
    others = [case for case in design if case.origin != "own"]
    if len(own) + len(others) <= _WIDE:
        cases = sorted(
            [*own, *others], key=lambda case: (case.cells, case.origin != "own", BASES.index(case.compared_by))
        )
        return [("", [_head(case) for case in cases], cases)]
    sheets = []
    for basis in BASES:
        cases = [case for case in design if case.compared_by == basis]
        sheets.append((f", packs of the {basis}", [f"{case.cells}S" for case in cases], cases))
    return sheets


def _head(case: Any) -> str:
    return f"{case.cells}S own" if case.origin == "own" else f"{case.cells}S {case.compared_by.removeprefix('same ')}"


def _numbers(heads: Sequence[str], cases: "Sequence[CellCase]", shown: Shown) -> list[str]:
    texts = [_texts(case, shown, narrow=len(cases) > _BROAD) for case in cases]
    rows = []
    for lines in zip(*texts, strict=True):
        rows.append({"": f"  {lines[0][0]}", **{head: text for head, (_, text) in zip(heads, lines, strict=True)}})
    return table(rows, left=("",))


def _texts(case: "CellCase", shown: Shown, *, narrow: bool) -> list[tuple[str, str]]:
    """The numbers of a case, top to bottom, with the intervals of those that matter, in two lines where ``narrow``."""
    from propmatch.questions.cells import CellCase

    said = {"level_motor_current_a": f"{signed(case.level_motor_current_a)} / {signed(case.level_pack_current_a)}"}
    if case.throttle_limit >= 1:
        said["throttle_limit"] = "none"
    lines = [("pack mAh", signed(case.pack.capacity_mah, 0)),
             (f"pack {shown.mass_unit}", shown.number(case.pack.mass_g, "mass"))]  # fmt: skip
    for column in headed(columns_of(CellCase)):
        lines += shown.cells([column], case, **said).items()
        if column.name in _RANGED and case.ends:
            ends = range_words(*_ends(case, column.name), column.kind, shown)
            low, _, high = ends.partition(" to ")
            lines += [("  from", low), ("  to", high or low)] if narrow else [("  80 of 100 builds", ends)]
    held = _of_hundred(case.sure.chance_all_limits).values()
    return [*lines, ("limits exceeded", _exceeded(case)), *(("all limits, of 100 builds", each) for each in held)]


def _packs_block(comparison: "CellComparison", shown: Shown) -> list[str]:
    lines = ["Which packs:"]
    for each in comparison.packs.values():
        if each.origin == "own":
            continue
        name = f"{each.cells}S, {each.compared_by}"
        mass = shown.mass_text(each.pack.mass_g)
        if each.origin == "catalogue":
            off = f"{_off(each.nearest_pack_off)} in {_what(each.compared_by)}"
            text = f"{each.pack.name} ({each.pack.id or 'typed'}), {mass}, {off}"
        else:
            near = (
                f"the nearest, {each.nearest_pack.name}, is {_off(each.nearest_pack_off)}"
                if each.nearest_pack is not None
                else f"the catalogue has no {each.cells}S pack of these cells"
            )
            text = f"{each.pack.name}, {mass}: no pack of the catalogue is close ({near})"
        lines += wrapped(text, first=f"  {name:<20}", rest=" " * 22)
    return lines if len(lines) > 1 else []


def _off(share: float) -> str:
    if not math.isfinite(share):
        return "not to be had"
    if abs(share) < 0.005:
        return "equal"
    return f"{abs(share):.0%} {'more' if share > 0 else 'less'}"


def _what(basis: str) -> str:
    return basis.removeprefix("same ")


def _variants_block(comparison: "CellComparison", shown: Shown) -> list[str]:
    """Every variant at the same energy: what its mass does to it."""
    if len(comparison.variants) < 2:
        return []
    rows, wrong = [], []
    for variant in comparison.variants:
        for count in comparison.cells:
            case = comparison.case(count, variant=variant)
            rows.append(
                {
                    "variant": f"  {variant}",
                    "cells": f"{count}S",
                    f"all-up {shown.mass_unit}": shown.number(case.all_up_mass_g, "mass", 0),
                    "T/W": signed(case.thrust_to_weight, 2),
                    "min": signed(case.flight_minutes, 0),
                    f"climb {shown.unit('m/s')}": shown.number(case.climb_m_s, "m/s"),
                    f"top {shown.speed_unit}": shown.number(case.top_speed_m_s, "speed", 0),
                    "exceeded": _exceeded(case),
                    **_of_hundred(case.sure.chance_all_limits),
                }
            )
            if case.failing:
                names = check_names([check.name for check in case.failing])
                wrong += wrapped(f"{variant}, {count}S exceeds {names}.", first="  - ", rest="    ")
    about = "Each variant, packs of the same energy; limits exceeded, and how many of 100 builds keep them all:"
    return [*wrapped(about), *table(rows, left=("variant",)), *wrong]
