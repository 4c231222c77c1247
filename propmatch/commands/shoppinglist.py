"""``--shopping FILE``: what one has of a design, what to buy by specification, masses, prices and their total."""

from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from propmatch.commands.outputs import file_faults
from propmatch.commands.trains import LazyCatalogue
from propmatch.faults import Fault, InputFaults
from propmatch.files import csv_text
from propmatch.words.boxwords import kind_name, spec_text
from propmatch.words.checkwords import joined, parts_text
from propmatch.words.misswords import some_of
from propmatch.words.shown import Shown, wrapped

if TYPE_CHECKING:
    from propmatch.questions.shopping import BoxAnswer, ShoppingList

__all__ = ["list_csv", "list_faults", "list_text", "write_list"]


def write_list(
    path: str | None, answer: "BoxAnswer", rows: Sequence[Mapping[str, Any]], stock: LazyCatalogue, shown: Shown,
    *, force: bool,
) -> list[str]:  # fmt: skip
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
    text = list_csv(made, shown) if path.lower().endswith(".csv") else list_text(made, shown)
    write_file(path, text, force=force)
    return [f"Wrote {path}: {parts_text(made.train)}."]


def list_faults(path: str | None, force: bool, only: Iterable[str]) -> list[Fault]:
    """What is wrong with the options of a list."""
    if path is None:
        return []
    faults = file_faults("--shopping", path, force=force, endings=(".csv", ".txt"))
    if not tuple(only):
        faults.append(Fault("--shopping", value=path, rule="goes with --only BOX, or parts.only in the brief"))
    return faults


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
    lines = [{**row, "mass_g": f"{row['mass_g']:.1f}"} for row in rows]
    mass = f"{sum(row['mass_g'] for row in rows):.1f}"
    for price in made.total or (None,):
        lines.append({
            "what": "total", "mass_g": mass, "part": _priceless(made),
            **({} if price is None else {"currency": price.currency, "cost": f"{price.amount:.2f}"}),
        })  # fmt: skip
    return csv_text([list(rows[0]), *([line.get(head, "") for head in rows[0]] for line in lines)])


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
