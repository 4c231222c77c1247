"""Faults and advice as the page says them: never a command, but what the page has in its place."""

import re

import attrs

from propmatch.faults import Fault

__all__ = ["WORKBOOKS", "for_page", "without_commands"]

WORKBOOKS = (".xlsx", ".xlsm", ".xls", ".ods")
"""Endings of files that a page cannot read."""

_COMMAND = re.compile(r"propmatch [a-z]|--[a-z]")
_INSTEAD = (
    ("lists them", "the box lists them as you type"),
    ("which kind", "say beside 'its rows are' which kind"),
    ("mass_g", "add a column mass_g to the log"),
    ("what to buy", "'What works, and what comes nearest' says what to buy"),
)
"""Words of a hint that names a command, and what the page says in its place."""


def for_page(fault: Fault) -> Fault:
    """The fault with hints that can be followed on the page alone."""
    hints = [_here(each) if _COMMAND.search(each) else each for each in fault.hint.split("; ")]
    where = "" if fault.where.startswith("--") else fault.where
    return attrs.evolve(fault, where=where, hint="; ".join(filter(None, hints)))


def _here(hint: str) -> str:
    return next((instead for words, instead in _INSTEAD if words in hint), "")


def without_commands(text: str) -> str:
    """A sentence without what stands in brackets of a command."""
    return re.sub(r" \('propmatch [^)]*\)", "", text)
