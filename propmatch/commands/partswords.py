"""How parts read: the list of a kind, one part with the origin of each number, a coefficient table."""

from collections.abc import Mapping, Sequence
from typing import Any

from propmatch.records.fields import declared
from propmatch.records.parts import ESTIMATED, is_estimated
from propmatch.tolerances.numbers import part_correlations, part_tolerances
from propmatch.words.partwords import list_rows, value_or_dash
from propmatch.words.shown import plain, signed, table, wrapped

__all__ = ["list_block", "part_blocks", "part_row", "sure_block", "sure_row", "table_block", "table_rows"]


def part_row(part: Any) -> dict[str, Any]:
    """Attribute to value of everything but the coefficient table."""
    return {rule.name: getattr(part, rule.name) for rule in declared(type(part)) if rule.kind != "instance"}


def list_block(kind: str, parts: Mapping[str, Any]) -> list[str]:
    """A line for each part."""
    rows = list_rows(kind, parts)
    words = [head for head in ("BEC", "cells", "family", "kV is") if rows and head in rows[0]]
    heads = [*dict.fromkeys(head for row in rows for head in row)]
    guessed = any(cell.startswith("~") for row in rows for head, cell in row.items() if head != "id")
    said = wrapped("~ is an estimate: no label says it.") if guessed else []
    return [*table(rows, columns=heads, left=("id", "source", "price", *words)), *said] if rows else []


def part_blocks(kind: str, part: Any, warnings: Sequence[Any]) -> list[list[str]]:
    """Every number of one part, what it means and where it comes from."""
    from propmatch.records.estimates import completed

    full, made = completed(part)
    estimated = {each.field: each for each in made}
    source = part.source
    sure = "uncertainty not stated" if source.uncertainty is None else f"about {100 * source.uncertainty:.0f} %"
    head = wrapped(f"{kind.removesuffix('s').capitalize()} {part.id}: {part.name}")
    head += wrapped(f"Source: {source.text} ({source.kind}; {sure}).")
    head += wrapped(f"Notes: {part.notes.rstrip('.')}.") if part.notes else []
    rows = []
    for rule in declared(type(part)):
        if rule.name in ("id", "name", "source", "notes", *ESTIMATED.values()) or rule.kind == "instance":
            continue
        value, origin = getattr(part, rule.name), "stated" if kind == "propellers" else source.kind
        if rule.name in estimated or value != getattr(full, rule.name):
            value, origin = getattr(full, rule.name), "estimated, see below"
        elif value is None:
            origin = "not known"
        elif is_estimated(part, rule.name):
            origin = "estimated, see notes" if part.notes else "estimated"
        elif value == rule.default:
            origin = "stated, or the usual value"
        rows.append(
            {
                "": f"  {rule.name}", "value": value_or_dash(value), "unit": rule.unit, "meaning": rule.doc,
                "source": origin,
            }
        )  # fmt: skip
    blocks = [head, table(rows, left=("", "unit", "meaning", "source"))]
    blocks.append(sure_block(kind, part))
    if getattr(part, "table", None) is not None:
        blocks.append(table_block(part.table))
    if warnings:
        blocks.append([line for each in warnings for line in wrapped(str(each), rest="  ")])
    return blocks


def sure_row(kind: str, part: Any) -> dict[str, dict[str, Any]]:
    """Name of each number that is not exact to its standard uncertainty, and what that rests on."""
    return {
        each.name: {"standard_uncertainty": each.sd, "relative": each.relative, "rests_on": each.basis}
        for each in part_tolerances(part, kind.removesuffix("s"))
    }


def sure_block(kind: str, part: Any) -> list[str]:
    """How sure each number of a part is, and what that rests on."""
    found = part_tolerances(part, kind.removesuffix("s"))
    rows = [
        {"": f"  {each.name}", "sure to": f"{100 * each.sd:.2g} %" if each.relative else f"{each.sd:.2g}",
         "rests on": each.basis}
        for each in found
    ]  # fmt: skip
    together = [
        f"  {one} and {other} go together, correlation {signed(r, 2)}."
        for (one, other), r in part_correlations(part, kind.removesuffix("s")).items()
    ]
    head = "How sure they are, as standard uncertainty; 80 of 100 such parts lie within 1.28 times that:"
    return [*wrapped(head), *table(rows, left=("", "rests on")), *together] if rows else []


def table_rows(coefficients: Any) -> list[dict[str, float]]:
    """A coefficient table as rows of rpm, advance ratio, CT and CP."""
    return [
        {
            "rpm": float(rpm),
            "advance_ratio": float(ratio),
            "ct": float(coefficients.ct[at, along]),
            "cp": float(coefficients.cp[at, along]),
        }
        for at, rpm in enumerate(coefficients.rpm)
        for along, ratio in enumerate(coefficients.advance_ratio)
    ]


def table_block(coefficients: Any) -> list[str]:
    """What a coefficient table holds, in a line for each rpm: static values, best efficiency, end of thrust."""
    import numpy as np

    ratio, ct, cp = coefficients.advance_ratio, coefficients.ct, coefficients.cp
    rows = []
    for at, rpm in enumerate(coefficients.rpm):
        with np.errstate(divide="ignore", invalid="ignore"):
            efficiency = np.where((ct[at] > 0) & (cp[at] > 0), ratio * ct[at] / cp[at], 0.0)
        best = int(np.argmax(efficiency))
        falls = np.flatnonzero((ct[at][:-1] > 0) & (ct[at][1:] <= 0))
        end = "beyond the table"
        if falls.size:
            low = int(falls[0])
            part = ct[at][low] / (ct[at][low] - ct[at][low + 1])
            end = f"{ratio[low] + part * (ratio[low + 1] - ratio[low]):.2f}"
        rows.append(
            {
                "  rpm": f"{rpm:.0f}", "CT standing": f"{ct[at][0]:.4f}", "CP standing": f"{cp[at][0]:.4f}",
                "best efficiency": f"{100 * efficiency[best]:.0f} % at J {ratio[best]:.2f}", "no thrust from J": end,
            }
        )  # fmt: skip
    size = f"{len(coefficients.rpm)} rpm x {len(ratio)} advance ratios J = V/(n D), 0 to {signed(ratio[-1], 2)}"
    return [f"Coefficient table, {plain(size)}:", *table(rows)]
