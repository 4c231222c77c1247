"""``--shopping FILE``: what one has of a design, what to buy by specification, masses, prices and their total."""

import csv
import io
import math
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from propmatch.commands.trains import LazyCatalogue
from propmatch.faults import Fault, InputFaults
from propmatch.words.checkwords import joined, parts_text
from propmatch.words.shown import Shown, wrapped

if TYPE_CHECKING:
    from propmatch.questions.shopping import BoxAnswer, ShoppingList
    from propmatch.questions.specs import Spec

__all__ = ["all_or_some", "kind_name", "list_csv", "list_faults", "list_text", "some_of", "spec_text", "write_list"]

_UNITS = {
    "kv_rpm_per_v": "rpm/V", "capacity_mah": "mAh", "max_current_a": "A", "c_rating": "C", "diameter_in": "in",
    "pitch_in": "in", "mass_g": "g",
}  # fmt: skip
_BEFORE = {"diameter_in": "diameter ", "pitch_in": "pitch "}


def kind_name(kind: str) -> str:
    """A kind of part as people call it."""
    return "ESC" if kind == "controller" else kind


def all_or_some(parts: Sequence[Any], count: int, kind: str) -> str:
    """``2 of your 5 motors (a, b)``, ``all 3 of your packs (...)``, ``your motor (a)``."""
    names = ", ".join(part.name for part in parts)
    if count == 1:
        return f"your {kind} ({names})"
    return f"{'all' if len(parts) == count else f'{len(parts)} of'} your {count} {kind}s ({names})"


def some_of(count: int, word: str) -> str:
    """``no motors``, ``1 motor``, ``2 motors``."""
    return f"{count or 'no'} {word}{'' if count == 1 else 's'}"


def spec_text(spec: "Spec", shown: Shown) -> str:
    """A specification from-to; the very part where others with its numbers do not do it."""
    if not spec.ranges:
        return f"just {spec.example.id}, as others with its numbers fail"
    same = {"cells_series": "{}S", "blades": "{} blades", "servo_supply": "{} BEC", "family": "{} blades"}
    words = [same[name].format(value) for name, value in spec.same.items() if name in ("cells_series", "blades")]
    words += [_range(name, least, most, shown) for name, (least, most) in spec.ranges.items()]
    words += [same.get(name, "{}").format(value) for name, value in spec.same.items() if isinstance(value, str)]
    words += ["blades of no stated family"] if spec.same.get("family", "") is None else []
    if spec.kind in ("motor", "controller"):
        words.append(f"for {joined([f'{cells}S' for cells in spec.cells])}")
    return ", ".join(words).replace("none BEC", "no BEC")


def _range(name: str, least: float | None, most: float | None, shown: Shown) -> str:
    unit, before = _UNITS[name], _BEFORE.get(name, "")

    def text(value: float | None) -> str:
        number = math.nan if value is None else value
        return f"{shown.mass_of(number) if name == 'mass_g' else number:.5g}"

    unit = shown.mass_unit if name == "mass_g" else unit
    if most is None:
        return f"{before}{text(least)} {unit} or more"
    if least is None:
        return f"{before}at most {text(most)} {unit}"
    return f"{before}{text(least)} {unit}" if least == most else f"{before}{text(least)} to {text(most)} {unit}"


def write_list(
    path: str | None, answer: "BoxAnswer", rows: Sequence[Mapping[str, Any]], stock: LazyCatalogue, shown: Shown
) -> list[str]:
    """The shopping list on disk, and a remark that says so: of what is to be bought first, else of the best row.

    Raises
    ------
    InputFaults
        Nothing works, whatever one buys.
    OSError
        The file cannot be written.
    """
    from propmatch.commands.choose import train_of_ids
    from propmatch.files import write_file
    from propmatch.questions.shopping import shopping_list

    if path is None:
        return []
    if answer.purchases:
        first = answer.purchases[0]
        made = shopping_list(answer.box, first.best.train, first.specs)
    elif rows:
        train = train_of_ids(stock, str(rows[0]["id"]), **answer.setting.train_numbers)
        made = shopping_list(answer.box, train)
    else:
        raise InputFaults([Fault("--shopping", value=path, rule="nothing to list: no one or two parts make it work")])
    write_file(path, list_csv(made, shown) if path.lower().endswith(".csv") else list_text(made, shown))
    return [f"Wrote {path}: {parts_text(made.train)}."]


def list_faults(path: str | None, force: bool, only: Iterable[str]) -> list[Fault]:
    """What is wrong with the options of a list."""
    if path is None:
        return []
    if Path(path).suffix.lower() not in (".csv", ".txt"):
        return [Fault("--shopping", value=path, rule="must end in .csv or .txt")]
    if not tuple(only):
        return [Fault("--shopping", value=path, rule="goes with --only BOX, or parts.only in the brief")]
    if Path(path).exists() and not force:
        return [Fault("--shopping", value=path, rule="exists already", hint="--force replaces it")]
    return []


def _rows(made: "ShoppingList", shown: Shown) -> list[dict[str, Any]]:
    rows = []
    for line in made.lines:
        spec = "" if line.spec is None else spec_text(line.spec, shown)
        for what, pieces in (("have", line.have), ("buy", line.buy)):
            if pieces:
                cost = line.price if what == "buy" else None
                rows.append({
                    "what": what, "kind": kind_name(line.kind), "pieces": pieces,
                    "part": line.part.name if what == "have" or not spec else f"such as {line.part.name}",
                    "specification": spec if what == "buy" else "",
                    "mass_g": round(pieces * line.mass_g / (line.have + line.buy), 1),
                    "price_each": "" if cost is None else f"{cost.amount:.2f}",
                    "currency": "" if cost is None else cost.currency,
                    "cost": "" if cost is None else f"{pieces * cost.amount:.2f}",
                })  # fmt: skip
    if made.supply_g:
        rows.append({"what": "have or buy", "kind": "separate supply (BEC)", "pieces": 1, "part": "", "specification":
                     "feeds receiver and servos", "mass_g": round(made.supply_g, 1), "price_each": "", "currency": "",
                     "cost": ""})  # fmt: skip
    return rows


def list_csv(made: "ShoppingList", shown: Shown) -> str:
    """The list as CSV: a line for each part, then one for each currency's total."""
    rows = _rows(made, shown)
    out = io.StringIO()
    writer = csv.DictWriter(out, rows[0], lineterminator="\n")
    writer.writeheader()
    for row in rows:
        writer.writerow({**row, "mass_g": f"{row['mass_g']:.1f}"})
    mass = f"{sum(row['mass_g'] for row in rows):.1f}"
    for price in made.total or (None,):
        writer.writerow({
            "what": "total", "mass_g": mass, "part": _priceless(made),
            **({} if price is None else {"currency": price.currency, "cost": f"{price.amount:.2f}"}),
        })  # fmt: skip
    return out.getvalue()


def list_text(made: "ShoppingList", shown: Shown) -> str:
    """The list as text."""
    rows = _rows(made, shown)
    lines = [f"Parts for {parts_text(made.train)}", ""]
    for what in ("have", "buy", "have or buy"):
        some = [row for row in rows if row["what"] == what]
        lines += [f"{what.capitalize()}:"] if some else []
        for row in some:
            words = [f"{row['pieces']} x {row['kind']}", row["specification"], row["part"]]
            price = f"; {row['cost']} {row['currency']}".rstrip() if row["cost"] else ""
            text = f"{', '.join(filter(None, words))}; {shown.text(row['mass_g'], 'g')}{price}"
            lines += wrapped(text, first="  ", rest="      ")
    lines += ["", f"Mass of all: {shown.text(sum(row['mass_g'] for row in rows), 'g')}"]
    if any(line.buy for line in made.lines):
        lines.append(f"Total to pay: {joined([str(price) for price in made.total]) or 'not known'}")
    if made.unpriced:
        lines.append(f"{_priceless(made).capitalize()}.")
    return "\n".join(lines) + "\n"


def _priceless(made: "ShoppingList") -> str:
    return f"{some_of(made.unpriced, 'part')} to buy without a known price" if made.unpriced else ""
