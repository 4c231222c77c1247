"""A line of progress on standard error, after the first second and only where somebody watches."""

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import click

__all__ = ["progress_line"]

_WAIT_S, _EVERY_S = 1.0, 0.2


@contextmanager
def progress_line(what: str) -> Iterator[Callable[[int, int], None]]:
    """A function to call with how much is done and how much there is."""
    start = last = time.monotonic()
    shown = False

    def tell(done: int, total: int) -> None:
        nonlocal last, shown
        now = time.monotonic()
        if not sys.stderr.isatty() or now - start < _WAIT_S or now - last < _EVERY_S:
            return
        last, shown = now, True
        click.echo(f"\r{what}: {100 * done / max(total, 1):3.0f} % of {total}", err=True, nl=False)

    try:
        yield tell
    finally:
        if shown:
            click.echo("\r" + " " * 79 + "\r", err=True, nl=False)
