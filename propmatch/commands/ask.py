"""``propmatch ask``: from a limit back to the part, answered in a sentence."""

from collections.abc import Callable
from typing import Any, TypeVar

import click

from propmatch.commands.options import (
    Command,
    answer_options,
    catalogue_options,
    form_of,
    short_answer_options,
    shown_units,
)
from propmatch.commands.trains import LazyCatalogue, train_options

__all__ = ["command"]

F = TypeVar("F", bound=Callable[..., Any])


class _Questions(click.Group):
    """Lists its questions in the order they are asked."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(self.commands)


@click.group("ask", cls=_Questions)
def command() -> None:
    """From a limit back to the part, each by a search on the same models.

    \b
    propmatch ask propeller --limit 12A    largest propeller for a motor current
    propmatch ask kv --current 10A         kV that loads a propeller to a current
    propmatch ask throttle --limit 10A     throttle limit for a motor current
    propmatch ask mass BRIEF               lightest and heaviest all-up mass
    propmatch ask pack BRIEF --minutes 20  pack for a flight time
    propmatch ask field BRIEF              field and temperature for take-off

    Each takes the power train of --train, or of --motor, --propeller, --pack and --controller; without any of them the
    best that match finds for the brief. An answer holds with the chance that the brief asks for, or --chance; what
    holds on paper stands beside it. Exit code 1 when the question has no answer even on paper.
    """


def _question(name: str) -> Callable[[F], click.Command]:
    """A question: brief, train, catalogue and answer options around a function of (ctx, asked)."""

    def decorate(function: F) -> click.Command:
        made = click.pass_context(function)
        for option in (
            answer_options,
            short_answer_options,
            catalogue_options,
            train_options,
            click.option("--on-paper", is_flag=True, help="With the numbers as stated, however sure they are."),
            click.option(
                "--chance",
                metavar="X",
                help="How sure it must be, 0.5 to 0.99.  [default: the brief's, else 0.8; 0.9 for a part's rating]",
            ),
            click.option("--train", metavar="ID", help='The ids of its parts joined by " + ", as match prints them.'),
            click.argument("brief", required=False),
        ):
            made = option(made)
        question = click.command(name, cls=Command)(made)
        command.add_command(question)
        return question

    return decorate


def _answer(ctx: click.Context, words: str, options: dict[str, Any], *, whole: bool) -> None:
    """Choose brief and train, let ``askwords`` answer, show it."""
    from propmatch.checks.setting import ResolvedBrief
    from propmatch.commands import askwords
    from propmatch.commands.briefs import open_brief
    from propmatch.commands.choose import choose_for_brief, names_a_train, wanted_settings
    from propmatch.commands.output import show
    from propmatch.commands.saying import nowhere

    if options["brief"] is None and names_a_train(options) and not whole:
        brief, which = nowhere(), "No brief was named, so this is at sea level on a standard day."
    else:
        brief, which = open_brief(options["brief"], options["only"])
    stock = LazyCatalogue(options["parts_folder"], options["strict"])
    resolved = ResolvedBrief.of(brief)
    settings = wanted_settings(resolved, options.get("variant"))
    chosen = choose_for_brief(stock, resolved, settings[0], options)
    asked = askwords.Asked(
        resolved=resolved, settings=settings, train=chosen.train, stock=stock, options=options,
        shown=shown_units(options["units"], brief if options["brief"] is not None else None),
        said=tuple(text for text in (which, chosen.how) if text), chosen=chosen,
    )  # fmt: skip
    reply, met = getattr(askwords, words)(asked)
    show(reply, form=form_of(options))
    ctx.exit(0 if met else 1)


_VARIANT = click.option("--variant", metavar="NAME", help="One variant of the brief.  [default: all]")
_LIMIT = click.option("--limit", metavar="A", help="Motor current, or several: 8,10,12.  [default: the parts' rating]")


@_question("propeller")
@_LIMIT
@click.option("--pitch-ratio", metavar="X", help="Pitch over diameter.  [default: the propeller's own]")
def propeller(ctx: click.Context, /, **options: Any) -> None:
    """The largest propeller under a motor current: full throttle, static, full battery."""
    _answer(ctx, "propeller", options, whole=False)


@_question("kv")
@click.option("--current", metavar="A", help="Motor current, or several: 8,10,12.  [default: the parts' rating]")
def kv(ctx: click.Context, /, **options: Any) -> None:
    """The kV that loads the propeller to a motor current on the pack: full throttle, static, full battery."""
    _answer(ctx, "kv", options, whole=False)


@_question("throttle")
@_LIMIT
def throttle(ctx: click.Context, /, **options: Any) -> None:
    """The throttle that keeps the motor current below a limit, and what the pack gives there."""
    _answer(ctx, "throttle", options, whole=False)


@_question("mass")
@_VARIANT
def mass(ctx: click.Context, /, **options: Any) -> None:
    """The lightest and heaviest all-up mass at which every check of the brief still passes."""
    _answer(ctx, "mass", options, whole=True)


@_question("pack")
@click.option("--minutes", metavar="MIN", help="Flight time wanted.  [default: the brief's]")
@_VARIANT
def pack(ctx: click.Context, /, **options: Any) -> None:
    """The pack capacity for a flight time, the pack growing heavier with it as the catalogue's packs do."""
    _answer(ctx, "pack", options, whole=True)


@_question("field")
@click.option("--thrust-to-weight", "ratio", metavar="X", help="At half charge.  [default: the brief's]")
@_VARIANT
def field(ctx: click.Context, /, **options: Any) -> None:
    """The field heights and temperatures at which there is thrust enough to take off."""
    _answer(ctx, "field", options, whole=True)
