"""What ``--explain KEY`` says of a key of a brief."""

from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from collections.abc import Callable

    from propmatch.records.briefkeys import BriefKey

__all__ = ["explain_lines", "explain_option"]


def explain_option(function: "Callable[..., Any]") -> "Callable[..., Any]":
    """--explain."""
    return click.option(
        "--explain", metavar="KEY", help='What a key of a brief does, such as "limits.chance", or all of "[tail]".'
    )(function)


def explain_lines(asked: str) -> list[str]:
    """The keys that a text means, a block each: what it does, unit and range, default, and which check reads it.

    Raises
    ------
    InputFaults
        None has this name.
    """
    from propmatch.records.briefkeys import keys_named

    blocks = [_block(key) for key in keys_named(asked)]
    return [line for at, block in enumerate(blocks) for line in ([""] if at else []) + block]


def _block(key: "BriefKey") -> list[str]:
    from propmatch.checks.checkrules import CHECKS
    from propmatch.words.shown import wrapped

    table, _, name = key.path.rpartition(".")
    where = f"[[{table.replace('[]', '')}]]" if table.endswith("[]") else f"[{table.replace('[]', '')}]"
    doc = key.rule.doc or getattr(key.rule.item, "doc", "")
    lines = wrapped(f"{where} {name}: {doc}")
    lines += wrapped(f"What is right: {key.rule.rule}.", first="  ", rest="    ")
    lines += wrapped(f"Left out: {key.default}.", first="  ", rest="    ")
    if key.left_out:
        lines += wrapped(f"For an aircraft of 200 g of which nothing else is said: {key.left_out}.", first="  ",
                         rest="    ")  # fmt: skip
    for rule in CHECKS.values():
        if table == "limits" and rule.limit_key == name:
            least = "least" if rule.least else "most"
            lines += wrapped(f"Effect: {least} {rule.what}; what misses it is left out.", first="  ", rest="    ")
    lines += wrapped(f"Belongs to: {key.section}.", first="  ", rest="    ")
    return lines
