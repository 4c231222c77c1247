"""How ``propmatch cells`` reads: the effect in sentences, the counts side by side, every check, and the ways out."""

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from propmatch.columns import columns_of, headed, numbers_of
from propmatch.commands.output import Reply
from propmatch.commands.saying import CHECKS_LEGEND, checks_table, mass_block, masses_data, unplaced_words
from propmatch.commands.steeringwords import steering_block
from propmatch.commands.trains import LazyCatalogue, train_data
from propmatch.words.chancewords import (
    RANGES,
    least_words,
    of_hundred,
    range_words,
    ranged,
    together_words,
    worth_saying,
)
from propmatch.words.checkwords import (
    NO_CHANGE,
    burst_words,
    check_names,
    danger_words,
    joined,
    limit_sentences,
    over_text,
    parts_text,
    speed_question,
)
from propmatch.words.shown import Shown, signed, table, wrapped

if TYPE_CHECKING:
    from propmatch.aircraft.thrustline import ThrottleTrim
    from propmatch.checks.setting import Setting
    from propmatch.questions.cells import CellCase, CellComparison

__all__ = ["cells_reply", "named_thrusts", "pair_block", "placing_block", "remedy_chances", "ways_block"]


def _remedy(remedy: Any, chance: float, shown: Shown) -> str:
    parts = " with ".join(f"{part.name} ({part.id})" if part.id else part.name for part in remedy.changes.values())
    return (
        f"{parts}: motor {signed(remedy.motor_current_static_a)} A, thrust to weight "
        f"{signed(remedy.thrust_to_weight, 2)}, {signed(remedy.flight_minutes)} minutes, "
        f"{shown.mass_text(remedy.all_up_mass_g)} all-up; all limits in {of_hundred(chance)} of 100 builds"
    )


def remedy_chances(setting: "Setting", found: Any) -> list[float]:
    """The chance of all limits of each change, in the order of ``every``."""
    from propmatch.checks.chances import drawn

    if not found.every:
        return []
    return [each.chance_all_limits for each in drawn(setting, [remedy.train for remedy in found.every]).each]


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
    for word, kind in kinds:
        for remedy in getattr(found, kind):
            say(f"{word if kind == 'pairs' else f'another {word}'}: {_remedy(remedy, of[id(remedy)], shown)}.")
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
            f"{signed(found.motor_current_limit_a)} A at rest, the lower rating of motor and controller."
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
    from propmatch.commands.assumed import mattering
    from propmatch.questions.cells import BASES

    assumptions = list(dict.fromkeys((*chosen.assumptions, *comparison.assumptions)))
    design = [case for case in comparison.cases if case.variant == comparison.variants[0]]
    blocks: list[list[str]] = []
    for basis, heads, cases in _sheets(comparison, design):
        about = f"{comparison.variants[0]}{basis}"
        blocks.append([*wrapped(f"{about}: full throttle at rest on a full pack, unless said:"),
                       *_numbers(heads, cases, shown)])  # fmt: skip
        table_of_checks = checks_table(heads, [case.checks for case in cases], shown)
        blocks.append([*wrapped(f"Every check{basis} ({CHECKS_LEGEND}):"), *table_of_checks])
    blocks.append(_packs_block(comparison, shown))
    chances = {count: remedy_chances(settings[0], found) for count, found in comparison.remedies.items()}
    blocks += [ways_block(comparison, count, chances.get(count, ()), shown) for count in comparison.cells]
    blocks.append(placing_block(comparison, shown))
    blocks.append(steering_block(comparison.placing[BASES[0]], shown, about=", packs of the same energy"))
    blocks.append(_variants_block(comparison, shown))
    blocks.append(mass_block(settings, comparison.train, shown))
    reply = Reply(
        command="cells",
        headline=[
            *_headline(comparison, shown),
            *unplaced_words(settings, comparison.train),
            *(text for text in said if text),
        ],
        blocks=blocks,
        rows=[case.row for case in comparison.cases],
        assumptions=assumptions,
        matter=mattering(assumptions, [case.sure for case in design if case.compared_by == BASES[0]], options),
        faults=(*chosen.doubts, *stock.broken),
        extra={
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
        },
        caution=True,
    )
    return reply, any(not case.failing for case in design)


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
        "failing": found.failing,
        **{kind: [data(each) for each in getattr(found, kind)] for kind in kinds},
        "motor_current_limit_a": found.motor_current_limit_a,
        "kv_rpm_per_v": found.kv.kv_rpm_per_v,
        "diameter_in": found.diameter.diameter_in,
        "pitch_in": found.diameter.pitch_in,
    }


# ---------------------------------------------------------------- sentences


def _headline(comparison: "CellComparison", shown: Shown) -> list[str]:
    name = (
        f"{comparison.brief.aircraft.name}, {comparison.variants[0]}, with {parts_text(comparison.train, pack=False)}"
    )
    counts = joined([f"{count}S" for count in comparison.cells])
    sentences = [f"{name}: what {counts} do, packs of the same energy."]
    first = comparison.case(comparison.cells[0])
    for count in comparison.cells:
        case = comparison.case(count)
        more = (
            case.pack.capacity_mah * count / (comparison.train.pack.capacity_mah * comparison.train.pack.cells_series)
        )
        off = f", {100 * abs(more - 1):.0f} % {'more' if more > 1 else 'less'} energy" if abs(more - 1) > 0.1 else ""
        text = f"{count}S ({case.pack.name}, {shown.mass_text(case.pack.mass_g)}{off})"
        if case is first:
            text += (
                f": {shown.thrust_text(case.thrust_static_n)} of static thrust, "
                f"{signed(case.motor_current_static_a)} A through the motor, "
                f"{_minutes(case)} minutes of the brief's flying"
            )
        else:
            text += (
                f": {shown.thrust_text(case.thrust_static_n)} ({_times(case.thrust_static_n, first.thrust_static_n)}), "
                f"{signed(case.motor_current_static_a)} A "
                f"({_times(case.motor_current_static_a, first.motor_current_static_a)}), heat "
                f"{signed(case.heat_static_w, 0)} W ({_times(case.heat_static_w, first.heat_static_w)}), "
                f"{_minutes(case)} minutes"
            )
        sentences.append(" ".join([f"{text}. {_verdict(case, shown)}", *burst_words(case.checks)]))
    return [*sentences, RANGES, *speed_question(comparison.train)]


def _minutes(case: Any) -> str:
    return ranged(signed(case.flight_minutes), *_ends(case, "flight_minutes"))


def _ends(case: Any, name: str) -> tuple[float, float]:
    return case.ends[f"{name}_low"], case.ends[f"{name}_high"]


def _times(value: float, base: float) -> str:
    return f"{value / base:.1f} times" if base > 0 and math.isfinite(value) else "-"


def _exceeded(case: Any) -> str:
    """How many limits are missed; a danger counts whether or not it excludes."""
    count = len(case.failing) + sum(check.danger and not check.excluding for check in case.checks)
    unknown = sum(check.verdict == "unknown" for check in case.checks)
    return f"{count or 'none'}{f', {unknown} unknown' if unknown else ''}"


def _verdict(case: Any, shown: Shown) -> str:
    danger = " ".join(danger_words(case.checks, shown))
    if case.failing:
        texts = [over_text(check, shown) for check in case.failing]
        more = f" and {len(texts) - 3} more" if len(texts) > 3 else ""
        sure = f"; {together_words(case.sure)}" if worth_saying(case.sure) else ""
        return f"It exceeds: {'; '.join(texts[:3])}{more}{sure}."
    unknown = check_names([check.name for check in case.checks if check.verdict == "unknown"])
    kept = "that can be judged" if unknown else f"of the brief and of the parts{' that excludes' if danger else ''}"
    return " ".join(
        text for text in (
            danger, f"On paper it keeps every limit {kept}; {together_words(case.sure)}.",
            f"Not known: {unknown}." if unknown else "", least_words(case.sure, case.checks, shown),
        ) if text
    )  # fmt: skip


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
        if column.name in _RANGED:
            ends = range_words(*_ends(case, column.name), column.kind, shown)
            low, _, high = ends.partition(" to ")
            lines += [("  from", low), ("  to", high or low)] if narrow else [("  80 of 100 builds", ends)]
    return [*lines, ("limits exceeded", _exceeded(case)), ("all limits, of 100 builds", _hold(case))]


def _hold(case: Any) -> str:
    return of_hundred(case.sure.chance_all_limits)


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
                    "min": signed(case.flight_minutes),
                    "climb m/s": signed(case.climb_m_s),
                    f"top {shown.speed_unit}": shown.number(case.top_speed_m_s, "speed", 0),
                    "exceeded": _exceeded(case),
                    "of 100": _hold(case),
                }
            )
            if case.failing:
                names = check_names([check.name for check in case.failing])
                wrong += wrapped(f"{variant}, {count}S exceeds {names}.", first="  - ", rest="    ")
    about = "Each variant, packs of the same energy; limits exceeded, and how many of 100 builds keep them all:"
    return [*wrapped(about), *table(rows, left=("variant",)), *wrong]
