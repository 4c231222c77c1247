"""The command line ``propmatch``: a group that imports a command only when it is called.

Exit codes: 0 answered, 1 what was asked cannot be met, 2 bad input, 130 interrupted (Ctrl-C).
"""

import gc
import os
import signal
import sys
import threading
from importlib import import_module
from typing import Any

import click

from propmatch._version import __version__

__all__ = ["main", "propmatch"]

COMMANDS = {
    "new": "Write a brief of your own from a few questions.",
    "match": "Which combinations of parts meet a brief, and which is best.",
    "time": "How long it flies, phase by phase.",
    "flown": "What minutes flown and mAh put back say about the prediction.",
    "cells": "What 3S instead of 2S does, and what must change with it.",
    "ask": "From a limit back to the part that keeps it.",
    "envelope": "What other builders may fit, as text to paste into the plans.",
    "sweep": "The best for many briefs and sites, and how firm it stands.",
    "fits": "Whether a substitute part may be fitted, and why not.",
    "fit": "What bench readings say about a motor, and how sure.",
    "measure": "What to measure next at home, and what a reading changes.",
    "point": "What a motor, propeller and pack do together.",
    "sheet": "One file to publish with the plans: charts, limits, cautions.",
    "page": "A page in the browser to play with the trade-offs.",
    "bench": "What to run on the bench, in which order, and an empty table for it.",
    "briefs": "List and print the bundled briefs, explain a key.",
    "parts": "List and check parts, predict a propeller, write empty tables.",
    "guide": "Tutorial, how to, accuracy, theory and reference, to read offline.",
    "words": "What the trade's words mean, such as ESC, BEC, AUW, LVC, W/kg.",
    "schema": "Write the brief's JSON Schema, for editors.",
}
"""Command, also the name of its module in ``propmatch.commands``, and its line in the help."""

INTERRUPTED = 130
"""Exit code after Ctrl-C: 128 and the number of the signal, as shells have it."""
_PATIENCE_S = 1.7
"""How long an interrupted command may take to clear up, and ``match`` to show the best so far."""
_MADE = 100_000
"""Objects made before rubbish is looked for: a command makes few circles, and importing it makes many objects."""


class LazyGroup(click.Group):
    """Knows its commands by name and imports the one that is asked for."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        command: click.Command = import_module(f"propmatch.commands.{cmd_name}").command
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        name = args[0]
        if name in COMMANDS or name.startswith("-") or ctx.resilient_parsing:
            return super().resolve_command(ctx, args)
        from propmatch.faults import did_you_mean

        hint = did_you_mean(name, COMMANDS) or "the commands are " + ", ".join(COMMANDS)
        raise click.UsageError(f"there is no command '{name}'; {hint}", ctx)

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except (KeyboardInterrupt, click.Abort) as error:
            # a prompt turns the interrupt into an abort; the end of typed input is one too
            if not isinstance(error, KeyboardInterrupt) and not isinstance(error.__context__, KeyboardInterrupt):
                raise
            click.echo("Interrupted.", err=True)
            ctx.exit(INTERRUPTED)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))


@click.group(cls=LazyGroup, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, prog_name="propmatch")
def propmatch() -> None:
    """Match motor, propeller, controller and pack for a small electric model aircraft.

    \b
    Will it fly at this weight?     propmatch match BRIEF
    How long does it fly?           propmatch time BRIEF
    What does this combination do?  propmatch point --motor "1500kV 28g" --propeller 6x4 --pack "2S 450mAh"

    Exit code: 0 answered, 1 what was asked cannot be met, 2 bad input, 130 interrupted.
    """


def _interrupted(*_: object) -> None:
    """Ctrl-C: what runs is given a moment to clear up, and the process ends however that goes."""
    last = threading.Timer(_PATIENCE_S, _end)
    last.daemon = True
    last.start()
    raise KeyboardInterrupt


def _end() -> None:
    """Leave at once, and no process behind."""
    if processes := sys.modules.get("multiprocessing"):
        for child in processes.active_children():
            child.kill()
    os._exit(INTERRUPTED)


def main() -> None:
    """Entry point of the console script."""
    if signal.getsignal(signal.SIGINT) is signal.default_int_handler:
        signal.signal(signal.SIGINT, _interrupted)
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    os.environ.setdefault("OMP_NUM_THREADS", "1")  # threads of linear algebra cost more than its small matrices do
    gc.set_threshold(_MADE)
    try:
        propmatch(prog_name="propmatch")
    finally:
        gc.freeze()  # what is left goes with the process, and is not gone through once more


if __name__ == "__main__":
    main()
