"""Phrases that the commands about the whole aircraft share: checks in trade units, parts, the mass build-up."""

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from propmatch.words.checkwords import check_name, limit_text, over_text, value_text
from propmatch.words.shown import Shown, signed, table, wrapped

if TYPE_CHECKING:
    from propmatch.checks.limits import Check
    from propmatch.checks.setting import Setting
    from propmatch.records.parts import PowerTrain

__all__ = [
    "checks_table", "mass_block", "masses_data", "misfits", "nowhere", "speed_words",
]  # fmt: skip


def speed_words(setting: "Setting", train: "PowerTrain", shown: Shown) -> list[str]:
    """What to say of a propeller over its highest speed, before anything else."""
    from propmatch.checks.judged import judged_trains
    from propmatch.checks.limits import check_of

    check = check_of(judged_trains(setting, [train])[0], "propeller_rpm")
    return [f"Danger: {over_text(check, shown)} at full throttle."] if check.verdict == "fails" else []


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
_MOST_COLUMNS = 5


def checks_table(heads: Sequence[str], designs: Sequence[Sequence[Any]], shown: Shown) -> list[str]:
    """Every check with its value in each design, grouped by where limits are from; verdicts stand beside the value."""
    if len(heads) > _MOST_COLUMNS:
        half = -(-len(heads) // 2)
        parts = (slice(half), slice(half, None))
        first, second = (checks_table(heads[part], designs[part], shown) for part in parts)
        return [*first, "", *second]
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
            mark = _MARKS.get(check.verdict, "")
            number = value_text(check.value, check.unit, shown, missing="no answer")
            row[head] = ("-" if number == "no answer" else number.partition(" ")[0]) + mark
        limits = list(dict.fromkeys(limit_text(check, shown).removesuffix(f" {unit}") for check in checks))
        row["limit"] = limits[0] if len(limits) == 1 else "by the part"
        sources = [check.limit_source for check in checks]
        source = "estimated rating" if "estimated rating" in sources else first.limit_source
        groups["danger" if any(check.danger for check in checks) else source].append(row)
    rows = []
    for basis, word in _GROUPS.items():
        if groups[basis]:
            rows += [{"": f"  {word}"}, *groups[basis]]
    return table(rows, columns=["", *heads, "limit"], left=("", "limit"))


def mass_block(settings: Sequence["Setting"], train: "PowerTrain", shown: Shown) -> list[str]:
    """What the all-up mass is made of, a column for each variant."""
    from propmatch.aircraft.balance import MassBuildUp
    from propmatch.checks.placing import mass_lines

    names = [setting.variant.name for setting in settings]
    heads = [name if len(name) <= 22 else f"{name[:19]}..." for name in names]
    nothing = [float("nan")] * len(settings)
    bare: dict[str, list[float]] = {}
    flying: dict[str, list[float]] = {}
    wholes = []
    for at, setting in enumerate(settings):
        lines = mass_lines(setting, train)
        wholes.append(MassBuildUp(lines))
        split = len(setting.build.lines)
        for found, some in ((bare, lines[:split]), (flying, lines[split:])):
            for line in some:
                row = found.setdefault(line.name, [*nothing])
                row[at] = line.mass_g + (0.0 if math.isnan(row[at]) else row[at])
    rows = list(bare.items())
    if len(rows) > 1:
        rows.append(("bare", [setting.build.mass_g for setting in settings]))
    rows += flying.items()
    trains = [setting.flown(train) for setting in settings]
    totals = [setting.all_up_mass_g(each.mass_g) for setting, each in zip(settings, trains, strict=True)]
    rows.append(("all-up", totals))
    digits = 1 if shown.mass_unit == "g" else 2
    body = [
        {shown.mass_unit: f"  {name}", **{
            head: signed(shown.mass_of(mass), digits) for head, mass in zip(heads, masses, strict=True)
        }}
        for name, masses in rows
    ]  # fmt: skip
    for name, places in (
        ("  balances at, mm aft", [each.position_mm for each in wholes]),
        ("  at a height of, mm", [each.height_mm for each in wholes]),
    ):
        if any(map(math.isfinite, places)):
            body.append({shown.mass_unit: name, **{h: signed(at, 1) for h, at in zip(heads, places, strict=True)}})
    return [*wrapped("Mass build-up:"), *table(body, left=(shown.mass_unit,))]


def masses_data(settings: Sequence["Setting"], train: "PowerTrain") -> list[dict[str, Any]]:
    """The same as data: every line of each variant with mass, place and height, their sum and centre of gravity."""
    from propmatch.aircraft.balance import MassBuildUp
    from propmatch.checks.placing import mass_lines

    out = []
    for setting in settings:
        whole = MassBuildUp(mass_lines(setting, train))
        lines = [{key: getattr(line, key) for key in ("name", "mass_g", "position_mm", "height_mm")}
                 for line in whole.lines]  # fmt: skip
        out.append({
            "variant": setting.variant.name, "all_up_mass_g": whole.mass_g, "cg_mm": whole.position_mm,
            "cg_height_mm": whole.height_mm, "lines": lines,
        })  # fmt: skip
    return out
