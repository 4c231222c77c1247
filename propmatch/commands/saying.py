"""Phrases that the commands about the whole aircraft share: checks in trade units, parts, the mass build-up."""

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from propmatch.words.checkwords import check_name, joined, limit_text, value_text
from propmatch.words.shown import Shown, signed, table, wrapped

if TYPE_CHECKING:
    from propmatch.checks.limits import Check
    from propmatch.checks.setting import Setting
    from propmatch.records.parts import PowerTrain

__all__ = ["check_names", "checks_table", "mass_block", "over_text"]


def over_text(check: "Check", shown: Shown) -> str:
    """``motor current static 17.2 A (at most 11.5 A by the part rating)``."""
    value = value_text(check.value, check.unit, shown, missing="no answer")
    if check.name == "cell_count" and check.limit == 0:
        return f"{value} is fewer cells than motor or controller allow"
    by = {"brief": "by the brief", "part rating": "by the part's rating"}.get(check.basis, f"by {check.basis}")
    return f"{check_name(check.name)} {value} ({limit_text(check, shown)} {by})"


def check_names(names: Sequence[str]) -> str:
    return joined([check_name(name) for name in names])


_GROUPS = {"brief": "by the brief", "part rating": "by the parts' ratings", "common practice": "common practice"}
_MOST_COLUMNS = 5


def checks_table(heads: Sequence[str], designs: Sequence[Sequence[Any]], shown: Shown) -> list[str]:
    """Every check with its value in each design, grouped by basis; over and close are said beside the value."""
    groups: dict[str, list[dict[str, str]]] = {basis: [] for basis in _GROUPS}
    for checks in zip(*designs, strict=True):
        if all(check.verdict == "unknown" for check in checks):
            continue
        first = checks[0]
        _, _, unit = value_text(first.limit if math.isfinite(first.limit) else 1.0, first.unit, shown).partition(" ")
        word = check_name(first.name)
        row = {"": f"    {word if word.endswith(unit) else f'{word} {unit}'}".rstrip()}
        for head, check in zip(heads, checks, strict=True):
            mark = {"over": " over", "close": " close"}.get(check.verdict, "")
            number = value_text(check.value, check.unit, shown, missing="no answer")
            row[head] = ("-" if number == "no answer" else number.partition(" ")[0]) + mark
        limits = list(dict.fromkeys(limit_text(check, shown).removesuffix(f" {unit}") for check in checks))
        row["limit"] = limits[0] if len(limits) == 1 else "by the part"
        groups[first.basis].append(row)
    rows = []
    for basis, word in _GROUPS.items():
        if groups[basis]:
            rows += [{"": f"  {word}"}, *groups[basis]]
    columns = ["", *heads, *(["limit"] if len(heads) <= _MOST_COLUMNS else [])]
    return table(rows, columns=columns, left=("", "limit"))


def mass_block(settings: Sequence["Setting"], train: "PowerTrain", shown: Shown) -> list[str]:
    """What the all-up mass is made of, a column for each variant."""
    from propmatch.records.parts import propeller_mass_g

    names = [setting.variant.name for setting in settings]
    heads = [name if len(name) <= 22 else f"{name[:19]}..." for name in names]
    builds = [setting.build for setting in settings]
    propeller = train.propeller
    blade_g = (
        propeller_mass_g(propeller.diameter_in, propeller.blades) if propeller.mass_g is None else propeller.mass_g
    )
    lines: dict[str, list[float]] = {}
    for at, build in enumerate(builds):
        for line in build.lines:
            lines.setdefault(line.name, [float("nan")] * len(builds))[at] = line.mass_g
    rows = list(lines.items())
    if len(rows) > 1:
        rows.append(("bare", [build.mass_g for build in builds]))
    trains = [setting.train(train.motor, train.controller, train.pack, train.propeller) for setting in settings]
    for at, flown in enumerate(trains):
        count = flown.count
        for name, mass in (
            ("motor", count * train.motor.mass_g),
            ("propeller", count * blade_g),
            ("controller", count * train.controller.mass_g),
            *([("receiver supply", flown.supply_g)] if flown.supply_g else []),
            ("pack", train.pack.mass_g),
        ):
            key = name if count == 1 or name in ("pack", "receiver supply") else f"{name}s"
            found = next((row for row in rows if row[0] == key), None)
            if found is None:
                found = (key, [float("nan")] * len(settings))
                rows.append(found)
            found[1][at] = mass
    totals = [setting.all_up_mass_g(each.mass_g) for setting, each in zip(settings, trains, strict=True)]
    rows.append(("all-up", totals))
    digits = 1
    body = [
        {shown.mass_unit: f"  {name}", **{
            head: signed(shown.mass_of(mass), digits if shown.mass_unit == "g" else 2)
            for head, mass in zip(heads, masses, strict=True)
        }}
        for name, masses in rows
    ]  # fmt: skip
    return [*wrapped("Mass build-up:"), *table(body, left=(shown.mass_unit,))]
