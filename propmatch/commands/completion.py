"""What the shell completes: briefs, ids of parts, families of propellers, boxes, kinds of aircraft, pages of the guide.

By click's own mechanism: ``eval "$(_PROPMATCH_COMPLETE=bash_source propmatch)"``, likewise ``zsh_source``.
"""

from collections.abc import Callable, Iterable

import click
from click.shell_completion import CompletionItem

__all__ = ["COMPLETED"]


class _Words(click.types.StringParamType):
    """Text of which some words are known."""

    def __init__(self, known: Callable[[click.Context], Iterable[str]], files: bool = False) -> None:
        self._known, self._files = known, files

    def shell_complete(self, ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem]:
        found = [CompletionItem(word) for word in self._known(ctx) if word.startswith(incomplete)]
        return [*found, CompletionItem(incomplete, type="file")] if self._files else found


def _briefs(_: click.Context) -> Iterable[str]:
    from propmatch_datasets import briefs

    return briefs()


def _families(_: click.Context) -> Iterable[str]:
    from propmatch.records.parts import FAMILIES

    return (*FAMILIES, "unknown")


def _kinds(_: click.Context) -> Iterable[str]:
    from propmatch.records.aircraftkinds import AIRCRAFT_KINDS

    return AIRCRAFT_KINDS


def _pages(_: click.Context) -> Iterable[str]:
    from propmatch.guide.contents import PAGES

    return PAGES


def _boxes(ctx: click.Context) -> Iterable[str]:
    from propmatch.catalogue.boxes import boxes

    return boxes(ctx.params.get("parts_folder"))[0]


def _ids(kind: str) -> Callable[[click.Context], Iterable[str]]:
    def known(ctx: click.Context) -> Iterable[str]:
        from propmatch.catalogue.catalogue import load_catalogue

        return sorted(load_catalogue(parts=ctx.params.get("parts_folder")).parts(kind))

    return known


COMPLETED: dict[str | None, click.types.StringParamType] = {
    "brief": _Words(_briefs, files=True),
    "briefs": _Words(_briefs, files=True),
    "family": _Words(_families),
    "like": _Words(_kinds),
    "only": _Words(_boxes),
    "page": _Words(_pages),
    **{kind: _Words(_ids(f"{kind}s")) for kind in ("motor", "controller", "pack", "propeller")},
}
"""Name of an argument or option to what completes it."""
