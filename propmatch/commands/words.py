"""``propmatch words``: the trade's words, what they mean, and what options and data call them."""

from typing import Any

import click

from propmatch.commands.options import Command, answer_options, form_of

__all__ = ["command"]


@click.command("words", cls=Command)
@click.argument("words", nargs=-1, metavar="[WORD]...")
@answer_options
@click.pass_context
def command(ctx: click.Context, /, **options: Any) -> None:
    """What the words of the trade mean, and what options and data call them.

    WORD is any part of a word or its meaning, such as ESC, BEC, AUW, CG, LiPo, LVC, W/kg or family; without one all are
    listed.

    Exit code 1 when no word fits.
    """
    from propmatch.commands.output import Reply, show
    from propmatch.commands.sources import asked_for
    from propmatch.words.bladewords import family_lines
    from propmatch.words.glossary import GLOSSARY
    from propmatch.words.shown import wrapped

    known = GLOSSARY | {f"family {name}": f"of propellers: {look}" for name, look in family_lines().items()}
    asked = [word.casefold() for word in options["words"]]
    rows = [
        {"word": word, "meaning": meaning}
        for word, meaning in known.items()
        if not asked or any(each in f"{word} {meaning}".casefold() for each in asked)
    ]
    called = asked_for()
    if called is not None and not any(row["word"].startswith("family ") for row in rows):
        called.codes.clear()  # they were for families that are not shown
    lines = [line for row in rows for line in wrapped(f"{row['word']}: {row['meaning']}.", rest="  ")]
    head = [] if rows else ["No such word; 'propmatch words' lists all."]
    show(Reply(command="words", headline=head, blocks=[lines], rows=rows), form=form_of(options))
    ctx.exit(0 if rows else 1)
