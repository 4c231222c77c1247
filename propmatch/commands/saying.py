"""Phrases that the commands about the whole aircraft share: checks in trade units, parts, the mass build-up."""

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from propmatch.words.checkwords import check_name, joined, limit_text, over_text, value_text
from propmatch.words.shown import Shown, signed, table, wrapped

if TYPE_CHECKING:
    from propmatch.checks.limits import Check
    from propmatch.checks.setting import Setting
    from propmatch.records.parts import PowerTrain

__all__ = [
    "CHECKS_LEGEND", "checks_table", "mass_block", "masses_data", "misfits", "nowhere", "speed_words",
    "unplaced_words",
]  # fmt: skip


def speed_words(setting: "Setting", train: "PowerTrain", shown: Shown) -> list[str]:
    """What to say of a propeller over its highest speed, before anything else."""
    from propmatch.checks.judged import judged_trains
    from propmatch.checks.limits import check_of

    check = check_of(judged_trains(setting, [train])[0], "propeller_rpm")
    return [f"Danger: {over_text(check, shown)} at full throttle."] if check.verdict == "fails" else []


def unplaced_words(settings: Sequence["Setting"], train: "PowerTrain") -> list[str]:
    """Which builds have no answer about balance, and the lines without a place that are why."""
    from propmatch.checks.placing import without_place

    builds: dict[tuple[str, ...], list[str]] = {}
    for setting in settings:
        if lines := without_place(setting, train):
            builds.setdefault(lines, []).append(setting.variant.name)
    return [
        f"Balance unknown{'' if len(names) == len(settings) else f' of {joined(names)}'}, as no position says where "
        f"these are: {', '.join(lines)}."
        for lines, names in builds.items()
    ]  # fmt: skip


def nowhere() -> Any:
    """A brief that says nothing but sea level, for questions about a power train alone."""
    from propmatch.records.brief import Aircraft, Brief, Site

    return Brief(aircraft=Aircraft(name="bench", bare_mass_g=100.0), site=Site(altitude_m=0.0))


def misfits(train: "PowerTrain", setting: "Setting | None" = None) -> "list[Check]":
    """The checks of the parts alone that a power train misses, and of the brief's cell counts where there is one."""
    from propmatch.checks.checkrules import PARTS_ALONE
    from propmatch.checks.judged import judged_trains
    from propmatch.checks.limits import checks_of
    from propmatch.checks.setting import settings

    measured, _ = judged_trains(settings(nowhere())[0] if setting is None else setting, [train])
    return [check for check in checks_of(measured, PARTS_ALONE)[0] if check.margin < 0]


_GROUPS = {
    "danger": "danger, before all others", "brief": "by the brief", "assumed": "assumed, as the brief gives none",
    "part rating": "by the parts' ratings", "estimated rating": "by estimated ratings",
    "common practice": "common practice",
}  # fmt: skip
_MARKS = {"fails": " fails", "close": " close", "unknown": " ?"}
CHECKS_LEGEND = "'in 62': within the limit on paper, but in 62 of 100 builds only"
"""Stands above a table of checks."""


def _mark(check: "Check") -> str:
    """The verdict beside a value; of one that is close how many builds of a hundred keep the limit."""
    if check.verdict == "close" and math.isfinite(check.chance):
        return f" in {min(round(100 * check.chance), 99)}"
    return _MARKS.get(check.verdict, "")


def checks_table(heads: Sequence[str], designs: Sequence[Sequence[Any]], shown: Shown) -> list[str]:
    """Every check with its value in each design, grouped by where limits are from; verdicts stand beside the value."""
    groups: dict[str, list[dict[str, str]]] = {source: [] for source in _GROUPS}
    named = [{check.name: check for check in checks} for checks in designs]
    for name in named[0]:
        checks = [each[name] for each in named]
        if all(check.verdict == "no limit" for check in checks):
            continue
        first = checks[0]
        _, _, unit = value_text(first.limit if math.isfinite(first.limit) else 1.0, first.unit, shown).partition(" ")
        word = check_name(first.name)
        row = {"": f"    {word if word.endswith(unit) else f'{word} {unit}'}".rstrip()}
        for head, check in zip(heads, checks, strict=True):
            number = value_text(check.value, check.unit, shown, missing="no answer")
            row[head] = ("-" if number == "no answer" else number.partition(" ")[0]) + _mark(check)
        limits = list(dict.fromkeys(limit_text(check, shown).removesuffix(f" {unit}") for check in checks))
        row["limit"] = limits[0] if len(limits) == 1 else "by the part"
        sources = [check.limit_source for check in checks]
        source = "estimated rating" if "estimated rating" in sources else first.limit_source
        groups["danger" if any(check.danger for check in checks) else source].append(row)
    rows = []
    for basis, word in _GROUPS.items():
        if groups[basis]:
            rows += [{"": f"  {word}"}, *groups[basis]]
    return table(rows, columns=["", "limit", *heads], left=("", "limit"))


def mass_block(settings: Sequence["Setting"], train: "PowerTrain", shown: Shown) -> list[str]:
    """What the all-up mass is made of and where it balances, a column for each variant, as many as fit beside."""
    from propmatch.aircraft.balance import MassBuildUp
    from propmatch.checks.placing import mass_lines, trim_change_deg

    bare: dict[str, list[float]] = {}
    flying: dict[str, list[float]] = {}
    wholes = []
    for at, setting in enumerate(settings):
        lines = mass_lines(setting, train)
        wholes.append(MassBuildUp(lines))
        split = len(setting.build.lines)
        for found, some in ((bare, lines[:split]), (flying, lines[split:])):
            for line in some:
                row = found.setdefault(line.name, [math.nan] * len(settings))
                row[at] = line.mass_g + (0.0 if math.isnan(row[at]) else row[at])
    masses = list(bare.items())
    if len(masses) > 1:
        masses.append(("bare", [setting.build.mass_g for setting in settings]))
    masses += [*flying.items(), ("all-up", [whole.mass_g for whole in wholes])]
    digits = 1 if shown.mass_unit == "g" else 2
    rows = [(name, [shown.mass_of(mass) for mass in of], digits) for name, of in masses]
    rows += [
        ("centre of gravity, mm aft", [whole.position_mm for whole in wholes], 1),
        ("centre of gravity, mm up", [whole.height_mm for whole in wholes], 1),
        ("pack at, mm aft", [_or_nan(whole.lines[-1].position_mm) for whole in wholes], 0),
        ("trim change with throttle, deg", [trim_change_deg(setting, train) for setting in settings], 1),
    ]
    said = [
        {shown.mass_unit: f"  {name}", **{of.variant.name: signed(each, digits)
                                          for of, each in zip(settings, values, strict=True)}}
        for name, values, digits in rows if any(map(math.isfinite, values))
    ]  # fmt: skip
    return ["Mass build-up:", *table(said, left=(shown.mass_unit,)), *_misses(settings, train)]


def _or_nan(value: float | None) -> float:
    return math.nan if value is None else value


def _misses(settings: Sequence["Setting"], train: "PowerTrain") -> list[str]:
    """Of each build that no place of the pack balances: which way it misses, how far, and the ballast for it."""
    from propmatch.aircraft.balance import place_trains

    out = []
    for setting in settings:
        if setting.geometry is not None:
            places = place_trains(setting.geometry, setting.build, [setting.flown(train)])
            if abs(places.miss_mm[0]) > places.tolerance_mm:
                (said,) = places.readings([f"{setting.variant.name}, {train.pack.name}"])
                out += wrapped(said, first="  - ", rest="    ")
    return out


def masses_data(settings: Sequence["Setting"], train: "PowerTrain") -> list[dict[str, Any]]:
    """The same as data: every line of each variant with mass, place and height, their sum, balance and trim."""
    from propmatch.aircraft.balance import MassBuildUp
    from propmatch.checks.placing import mass_lines, trim_change_deg

    out = []
    for setting in settings:
        whole = MassBuildUp(mass_lines(setting, train))
        lines = [{key: getattr(line, key) for key in ("name", "mass_g", "position_mm", "height_mm")}
                 for line in whole.lines]  # fmt: skip
        out.append({
            "variant": setting.variant.name, "all_up_mass_g": whole.mass_g, "cg_mm": whole.position_mm,
            "cg_height_mm": whole.height_mm, "trim_change_deg": trim_change_deg(setting, train), "lines": lines,
        })  # fmt: skip
    return out
