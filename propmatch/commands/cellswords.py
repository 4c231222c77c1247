"""How ``propmatch cells`` reads: the effect in sentences, the counts side by side, every check, and the ways out."""

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from propmatch.columns import columns_of, headed, numbers_of
from propmatch.commands.output import Reply
from propmatch.commands.saying import checks_table, mass_block, masses_data, unplaced_words
from propmatch.commands.steeringwords import steering_block
from propmatch.commands.trains import LazyCatalogue, train_data
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

__all__ = ["cells_reply", "named_thrusts", "pair_block", "placing_block", "ways_block"]


def _remedy(remedy: Any, shown: Shown) -> str:
    parts = " with ".join(f"{part.name} ({part.id})" if part.id else part.name for part in remedy.changes.values())
    return (
        f"{parts}: motor {signed(remedy.motor_current_static_a)} A, thrust to weight "
        f"{signed(remedy.thrust_to_weight, 2)}, {signed(remedy.flight_minutes)} minutes, "
        f"{shown.mass_text(remedy.all_up_mass_g)} all-up"
    )


def ways_block(comparison: "CellComparison", count: int, shown: Shown) -> list[str]:
    """What brings one count inside the limits; nothing for a count that meets them."""
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
    for word, kind in kinds:
        for remedy in getattr(found, kind):
            say(f"{word if kind == 'pairs' else f'another {word}'}: {_remedy(remedy, shown)}.")
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


_WIDE = 5


def cells_reply(
    stock: LazyCatalogue,
    comparison: "CellComparison",
    settings: Sequence["Setting"],
    shown: Shown,
    which: str,
    chosen: Any,
) -> tuple[Reply, bool]:
    """The answer, and whether any count keeps the limits as designed."""
    from propmatch.questions.cells import BASES

    design = [case for case in comparison.cases if case.variant == comparison.variants[0]]
    blocks: list[list[str]] = []
    for basis, heads, cases in _sheets(comparison, design):
        about = f"{comparison.variants[0]}{basis}"
        blocks.append([*wrapped(f"{about}: full throttle at rest on a full pack, unless said:"),
                       *_numbers(heads, cases, shown)])  # fmt: skip
        table_of_checks = checks_table(heads, [case.checks for case in cases], shown)
        blocks.append([*wrapped(f"Every check{basis}:"), *table_of_checks])
    blocks.append(_packs_block(comparison, shown))
    blocks += [ways_block(comparison, count, shown) for count in comparison.cells]
    blocks.append(placing_block(comparison, shown))
    blocks.append(steering_block(comparison.placing[BASES[0]], shown, about=", packs of the same energy"))
    blocks.append(_variants_block(comparison, shown))
    blocks.append(mass_block(settings, comparison.train, shown))
    reply = Reply(
        command="cells",
        headline=[
            *_headline(comparison, shown),
            *unplaced_words(settings, comparison.train),
            *(text for text in (which, chosen.how) if text),
        ],
        blocks=blocks,
        rows=[case.row for case in comparison.cases],
        assumptions=list(dict.fromkeys((*chosen.assumptions, *comparison.assumptions))),
        faults=(*chosen.doubts, *stock.broken),
        extra={
            "train": train_data(comparison.train),
            "masses": masses_data(settings, comparison.train),
            "packs": list(comparison.packs.values()),
            "checks_by_case": [
                {"variant": case.variant, "compared_by": case.compared_by, "cells": case.cells, "checks": case.checks}
                for case in comparison.cases
            ],
            "remedies": {count: _remedies_data(found) for count, found in comparison.remedies.items()},
            "trim_cures": comparison.placing[BASES[0]].cure_rows,
            "balance_and_trim": {basis: comparison.placing[basis].readings(show=shown.speed_text) for basis in BASES},
            "steering": {basis: comparison.placing[basis].steering.data for basis in BASES},
        },
        caution=True,
    )
    return reply, any(not case.failing for case in design)


def _remedies_data(found: Any) -> dict[str, Any]:
    def data(remedy: Any) -> dict[str, Any]:
        return {
            **{kind: {"id": part.id, "name": part.name} for kind, part in remedy.changes.items()},
            **numbers_of(remedy),
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
                f"{signed(case.flight_minutes)} minutes of the brief's flying"
            )
        else:
            text += (
                f": {shown.thrust_text(case.thrust_static_n)} ({_times(case.thrust_static_n, first.thrust_static_n)}), "
                f"{signed(case.motor_current_static_a)} A "
                f"({_times(case.motor_current_static_a, first.motor_current_static_a)}), heat "
                f"{signed(case.heat_static_w, 0)} W ({_times(case.heat_static_w, first.heat_static_w)}), "
                f"{signed(case.flight_minutes)} minutes"
            )
        sentences.append(" ".join([f"{text}. {_verdict(case, shown)}", *burst_words(case.checks)]))
    return [*sentences, *speed_question(comparison.train)]


def _times(value: float, base: float) -> str:
    return f"{value / base:.1f} times" if base > 0 and math.isfinite(value) else "-"


def _exceeded(case: Any) -> str:
    """How many limits are missed; a danger counts whether or not it excludes."""
    count = len(case.failing) + sum(check.danger and not check.excluding for check in case.checks)
    unknown = sum(check.verdict == "unknown" for check in case.checks)
    return f"{count or 'none'}{f', {unknown} unknown' if unknown else ''}"


def _verdict(case: Any, shown: Shown) -> str:
    danger = " ".join(danger_words(case.checks, shown))
    if not case.failing:
        unknown = check_names([check.name for check in case.checks if check.verdict == "unknown"])
        if unknown:
            return f"{danger} It keeps every limit that can be judged; not known: {unknown}.".strip()
        return (
            f"{danger} It keeps every limit of the brief and of the parts that excludes.".strip()
            if danger
            else ("It keeps every limit of the brief and of the parts.")
        )
    texts = [over_text(check, shown) for check in case.failing]
    more = f" and {len(texts) - 3} more" if len(texts) > 3 else ""
    return f"It exceeds: {'; '.join(texts[:3])}{more}."


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
    texts = [_texts(case, shown) for case in cases]
    rows = [
        {"": f"  {label}", **{head: text[label] for head, text in zip(heads, texts, strict=True)}} for label in texts[0]
    ]
    return table(rows, left=("",))


def _texts(case: "CellCase", shown: Shown) -> dict[str, str]:
    """The numbers of a case, top to bottom."""
    from propmatch.questions.cells import CellCase

    said = {"level_motor_current_a": f"{signed(case.level_motor_current_a)} / {signed(case.level_pack_current_a)}"}
    if case.throttle_limit >= 1:
        said["throttle_limit"] = "none"
    return {
        "pack mAh": signed(case.pack.capacity_mah, 0),
        f"pack {shown.mass_unit}": shown.number(case.pack.mass_g, "mass"),
        **shown.cells(headed(columns_of(CellCase)), case, **said),
        "limits exceeded": _exceeded(case),
    }


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
                    "limits exceeded": _exceeded(case),
                }
            )
            if case.failing:
                names = check_names([check.name for check in case.failing])
                wrong += wrapped(f"{variant}, {count}S exceeds {names}.", first="  - ", rest="    ")
    return ["Each variant, packs of the same energy:", *table(rows, left=("variant",)), *wrong]
