"""The pages of the guide, in the order they are read, and their Markdown."""

from collections.abc import Callable, Mapping
from functools import cache
from importlib import import_module
from importlib.resources import files
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import click

__all__ = ["GROUPS", "PAGES", "WRITERS", "markdown"]

GROUPS: Mapping[str, Mapping[str, str]] = {
    "How far to trust it": {
        "accuracy": "Predicted against measured: propellers, motors, packs and voltages.",
    },
    "Tutorial": {
        "tutorial": "From an empty folder to a published sheet for a design of your own.",
    },
    "How to": {
        "safe": "What is safe to fit, and what to mind with propellers and lithium packs.",
        "my-box": "Match with the parts in your own box.",
        "fit": "Make a part of bench readings.",
        "more-cells": "What happens when somebody fits 3S instead of 2S.",
        "plugin": "Bring parts, a check or a section of the sheet by a plugin.",
        "script": "Ask from a Python script.",
        "cluster": "Sweep many briefs and sites, on several machines too.",
        "in-one-file": "Give the page and the sheet to people who install nothing.",
    },
    "Theory": {
        "nomenclature": "Every symbol, its unit and what the data call it.",
        "theory": "The equations: air, propeller, motor, controller, pack, flight.",
        "bounds": "How each bound of the search is proved.",
    },
    "Reference": {
        "words": "What the words of the trade mean here.",
        "brief": "Every key of a brief: unit, range, default.",
        "parts": "Every field of a motor, controller, pack and propeller.",
        "commands": "Every command and option.",
        "columns": "Every number of every answer, its unit and meaning.",
        "checks": "Every check, with its formula and where its limit comes from.",
        "statuses": "What became of a calculation that has no answer.",
        "python": "The functions and classes for scripts.",
        "hooks": "What a plugin may answer.",
    },
}
"""Heading to the pages below it, each with the line that a list of pages shows."""
PAGES = {name: about for pages in GROUPS.values() for name, about in pages.items()}
WRITERS = {
    "accuracy": "propmatch.guide.accuracy",
    **dict.fromkeys(GROUPS["Theory"], "propmatch.guide.theory"),
    **dict.fromkeys(GROUPS["Reference"], "propmatch.guide.reference"),
}
"""Module whose function ``NAME(program)`` writes a page from what the program declares."""


@cache
def markdown(name: str, program: "click.Group") -> str:
    """The Markdown of a page; ``program`` is the command line, which the page of commands describes."""
    if name in WRITERS:
        write: Callable[[click.Group], str] = getattr(import_module(WRITERS[name]), name)
        return write(program)
    return files(__package__).joinpath("pages", f"{name}.md").read_text(encoding="utf-8")
