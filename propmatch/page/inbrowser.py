"""The desk at work inside a browser: questions and answers as text, for the worker of a page that holds the engine."""

import json
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from propmatch.catalogue.catalogue import load_catalogue
from propmatch.page.desk import ANSWERS, Desk

__all__ = ["answered", "opened", "places"]

_PLUGINS = ("bundled", "prediction", "tables")
"""A browser reads no workbooks, and what is installed elsewhere is not there."""
_EVERY_S = 0.2
"""How often it is told how far something is."""


def opened(parts: str | Path | None, text: str = "") -> Desk:
    """A desk with the bundled parts, and those of a folder."""
    return Desk(load_catalogue(plugins=_PLUGINS, parts=parts or None), text)


def places() -> str:
    """Where each question is answered, as JSON: ``here`` at once, or it takes its time."""
    return json.dumps({what: each.where for what, each in ANSWERS.items()})


def answered(desk: Desk, what: str, sent: str, tell: Callable[[str, float | None], Any]) -> str:
    """The answer to a question, both as JSON; ``tell`` hears now and then what is being done."""
    last = 0.0

    def throttled(doing: str, share: float | None) -> None:
        nonlocal last
        now = time.monotonic()
        if now - last > _EVERY_S:
            last = now
            tell(doing, share)

    return json.dumps(desk.answer(what, json.loads(sent), throttled), allow_nan=False)
