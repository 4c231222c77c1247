"""What to measure next, as people read it: one table, how to do the best of it, and what a reading changed."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from propmatch.bench.next import MEASUREMENTS, HowSure, Measurement, NextMeasurements, Reading
from propmatch.checks.checkrules import CHECKS
from propmatch.words.chancewords import chance_words, hangs_words, of_hundred, ranged
from propmatch.words.checkwords import check_name, joined, percent, value_text
from propmatch.words.shown import Shown, signed, table, wrapped

if TYPE_CHECKING:
    from propmatch.checks.chances import Sureness

__all__ = [
    "LEGEND",
    "changes_block",
    "full_throttle_words",
    "measure_blocks",
    "measure_sentences",
    "of_100",
    "reading_words",
]

LEGEND = (
    "ranges hold 80 % of builds; 'leaves' is what stays of the range of that check, 'then wrong in' how often a "
    "verdict is expected to be wrong afterwards. A reading is used with --reading NAME=VALUE."
)
_LITTLE = 0.985
"""A measurement that leaves more than this share tells nothing worth its minutes."""
_WORTH_A_SECOND = 0.01
_HOW = 2


def of_100(chance: float) -> str:
    """``97 of 100``."""
    return f"{of_hundred(chance)} of 100"


def _unit(check: str, shown: Shown) -> str:
    return value_text(1.0, CHECKS[check].unit, shown).partition(" ")[2]


def _ranged(each: HowSure, shown: Shown) -> str:
    """``0.58 (0.46 to 0.70)``, without the unit."""
    unit = CHECKS[each.check].unit
    return ranged(value_text(each.value, unit, shown).partition(" ")[0], each.value_low, each.value_high, unit, shown)


def _reading_text(measurement: Measurement, value: float, shown: Shown) -> str:
    return shown.number(value, measurement.kind, measurement.digits)


def measure_sentences(
    found: NextMeasurements, sure: "Sureness", shown: Shown, *, why: bool = True, named: bool = False
) -> list[str]:
    """Which check is least certain or was named, what a verdict on it is worth now, and ``why`` it is not surer.

    Draws that readings moved are no more independent, so that they do not say why.
    """
    judged = found.judged
    if judged is None:
        missed = [check_name(name) for name, p in sure.chance_by_check.items() if p == 0.0]
        said = f"{joined(missed)} is missed in every build" if missed else "every limit is kept in every build"
        return [f"No measurement would change a verdict: {said} within its tolerances."]
    rule, unit = CHECKS[judged.check], _unit(judged.check, shown)
    limit = value_text(float(sure.measured[judged.check].limit[0]), rule.unit, shown)
    hangs = hangs_words(sure.hangs_on(judged.check), sure) if why else ""
    return [
        f"{'Asked' if named else 'Least certain'}: {check_name(judged.check)} {_ranged(judged, shown)} {unit}".rstrip()
        + f", at {'least' if rule.least else 'most'} {limit}: {chance_words(judged.chance)} builds. A verdict given "
        f"now is wrong in {of_100(found.wrong_verdict)}{f'; {hangs}' if hangs else ''}."
    ]


def measure_blocks(found: NextMeasurements, shown: Shown) -> list[list[str]]:
    """The table, the best two, and how the best are made."""
    told = [row for row in found.rows if row.remaining_sd <= _LITTLE]
    if not told:
        return [["None of the measurements tells anything about that."]] if found.rows else []
    rows = [
        {
            "measure": f"  {row.measurement.name}", "what is read": row.measurement.what,
            "expect": f"{_reading_text(row.measurement, row.reading_low, shown)} to "
            f"{_reading_text(row.measurement, row.reading_high, shown)} {shown.unit(row.measurement.kind)}",
            "leaves": percent(row.remaining_sd), "then wrong in": of_100(row.wrong_verdict),
            "min": signed(row.minutes, 0),
        }
        for row in told
    ]  # fmt: skip
    lines = ["What to measure, by what it buys:", *table(rows, left=("measure", "what is read", "expect"))]
    rest = [row.measurement.name for row in found.rows if row not in told]
    if rest:
        lines += wrapped(f"Tells little about it: {joined(rest)}.", first="  ", rest="  ")
    if found.impossible:
        lines += wrapped(f"No reading here: {joined([m.name for m in found.impossible])}.", first="  ", rest="  ")
    best = [row.measurement for row in found.best_two]
    if best and found.best_two_remaining_sd > told[0].remaining_sd - _WORTH_A_SECOND:
        lines += wrapped(f"After {told[0].measurement.name} no second one adds to it.", first="  ", rest="  ")
        best = []
    elif best:
        lines += wrapped(
            f"Best two: {joined([m.name for m in best])} leave {percent(found.best_two_remaining_sd)}, then wrong in "
            f"{of_100(found.best_two_wrong_verdict)}, {sum(m.minutes for m in best):.0f} minutes.",
            first="  ", rest="  ",
        )  # fmt: skip
    shown_how = dict.fromkeys([*(row.measurement for row in told[:_HOW]), *best])
    return [lines, ["How:", *(line for each in shown_how for line in _how(each))]]


def _how(each: Measurement) -> list[str]:
    caution = f" Caution: {each.caution}." if each.caution else ""
    return wrapped(f"{each.name} ({each.tools}): {each.how}.{caution}", first="  - ", rest="    ")


def full_throttle_words(found: NextMeasurements, sure: "Sureness") -> list[str]:
    """What to mind where full throttle may be more than the parts bear."""
    enough = sure.chance_ratings >= sure.drawn.asked[1]
    if not any(row.measurement.full_throttle for row in found.rows[:_HOW]) or enough:
        return []
    measured = sure.measured
    limits = [
        float(measured[name].limit[0]) * count
        for name, count in (
            ("motor_current_static", measured.lanes.count[0]), ("controller_current", measured.lanes.count[0]),
            ("pack_burst", 1.0),
        )
        if name in sure.drawn.judged
    ]  # fmt: skip
    stop = f" and stop where the wattmeter shows {min(limits):.3g} A" if limits else ""
    return [
        f"Caution: full throttle keeps every rating in {of_100(sure.chance_ratings)} builds only. Bring the throttle "
        f"up slowly{stop}."
    ]


# ---------------------------------------------------------------- a reading that was taken


def reading_words(readings: Sequence[Reading], shown: Shown) -> str:
    """``wattmeter 9.1 A and scale 210 gf``."""
    return joined(
        [
            f"{each.name} {_reading_text(MEASUREMENTS[each.name], each.value, shown)} "
            f"{shown.unit(MEASUREMENTS[each.name].kind)}"
            for each in readings
        ]
    )


def changes_block(pairs: Sequence[tuple[HowSure, HowSure]], chances: Sequence[float], shown: Shown) -> list[str]:
    """Ranges and chances before and after; ``chances`` of all limits together."""
    rows = []
    for before, after in pairs:
        unit = _unit(before.check, shown)
        row = {"": f"  {check_name(before.check)} {unit}".rstrip()}
        row |= {f"{when} (80 %)": _ranged(each, shown) for when, each in (("before", before), ("after", after))}
        rows.append(row | {"holds in": of_100(before.chance), "then in": of_100(after.chance)})
    rows.append({"": "  every limit", "holds in": of_100(chances[0]), "then in": of_100(chances[1])})
    return ["What that says:", *table(rows, left=("",))]
