"""``propmatch fits``: whether a substitute part may be fitted, and why not."""

from typing import Any

import click

from propmatch.commands.options import Command, answer_options, catalogue_options, form_of, shown_units
from propmatch.commands.output import Reply
from propmatch.commands.saying import checks_table, mass_block, masses_data, unplaced_words
from propmatch.commands.steeringwords import steering_block
from propmatch.commands.trains import TRAIN_OPTIONS, LazyCatalogue, train_data, with_table
from propmatch.faults import Fault, InputFaults
from propmatch.words.checkwords import (
    burst_words,
    danger_words,
    joined,
    limit_sentences,
    over_text,
    parts_text,
    speed_question,
)
from propmatch.words.shown import Shown, table, wrapped

__all__ = ["command", "fits_reply", "substitutes"]


def substitutes(stock: LazyCatalogue, typed: dict[str, str]) -> tuple[dict[str, Any], list[Any], list[Fault]]:
    """Parts from ids or typed texts, what was assumed to read them, and what is hard to believe about them.

    Raises
    ------
    InputFaults
        Every fault of every part; nothing named.
    """
    import attrs

    from propmatch.records.parts import PARTS
    from propmatch.records.plausibility import warnings_of
    from propmatch.records.typed import looks_typed, read_part

    found: dict[str, Any] = {}
    made: list[Any] = []
    doubts: list[Fault] = []
    faults: list[Fault] = []
    if not typed:
        faults.append(
            Fault("fits", rule="names no substitute", hint="give --motor, --propeller, --pack or --controller")
        )
    for kind, text in typed.items():
        if looks_typed(text):
            read = read_part(PARTS[kind], text, f"--{kind}")
            faults += read.faults
            made += read.assumptions
            found[kind] = read.part
            if read.part is not None:
                doubts += warnings_of(read.part)
        else:
            try:
                found[kind] = stock.catalogue.find(f"{kind}s", text)
            except InputFaults as error:
                faults += [attrs.evolve(fault, where=f"--{kind}") for fault in error.faults]
    if faults:
        raise InputFaults(faults)
    if "propeller" in found and found["propeller"].table is None:
        found["propeller"] = with_table(stock.catalogue, found["propeller"])
    return found, made, doubts


def fits_reply(
    stock: LazyCatalogue, fit: Any, settings: Any, shown: Shown, said: tuple[str, ...], made: list[Any],
    doubts: list[Fault],
) -> Reply:  # fmt: skip
    """The answer."""
    first = fit.variants[0]
    names = joined([f"the {kind} {part.name}" for kind, part in fit.changes.items()])
    where = f"{fit.brief.aircraft.name} with {parts_text(fit.design)}"
    sentences = [f"{'Yes' if fit.fits else 'No'}: {names} {'may' if fit.fits else 'may not'} be fitted to {where}."]
    sentences += [*danger_words(first.checks, shown), *_why(first, shown)]
    for each in fit.variants[1:]:
        reasons = "; ".join(over_text(check, shown) for check in each.failing)
        sentences.append(f"{each.variant}: {'yes' if each.fits else f'no, {reasons}'}.")
    sentences += [*unplaced_words(settings, fit.train), *burst_words(first.checks)]
    sentences += speed_question(fit.train)
    blocks = [
        _changes(first, shown),
        ["Every check, as designed:", *checks_table(["the design", "substitute"], [first.before, first.checks], shown)],
        _placing(fit, shown),
        steering_block(fit.placing, shown),
        mass_block(settings, fit.train, shown),
    ]
    return Reply(
        command="fits",
        headline=[*sentences, *said],
        blocks=blocks,
        rows=[
            {
                "variant": each.variant, "fits": each.fits, "failing": [c.name for c in each.failing],
                "outside_practice": [c.name for c in each.outside_practice], **each.numbers,
                **{f"{name}_before": value for name, value in each.numbers_before.items()},
                **each.limited.row,
            }
            for each in fit.variants
        ],
        assumptions=list(dict.fromkeys((*made, *fit.assumptions))),
        faults=(*doubts, *stock.broken),
        extra={
            "train": train_data(fit.train), "masses": masses_data(settings, fit.train), "checks": first.checks,
            "fits": fit.fits, "steering": fit.placing.steering.data, "trim_cures": fit.placing.cure_rows,
        },
        caution=True,
    )  # fmt: skip


def _why(first: Any, shown: Shown) -> list[str]:
    from propmatch.checks.limits import graded

    sentences = []
    if first.fits:
        near = [check for check in graded(first.checks) if check.verdict == "close"]
        if near:
            sentences.append(f"Close to a limit: {'; '.join(over_text(check, shown) for check in near)}.")
        if first.outside_practice:
            texts = "; ".join(over_text(check, shown) for check in first.outside_practice)
            sentences.append(f"Missed, though no reason to refuse it: {texts}.")
        return sentences
    sentences.append(f"Why: {'; '.join(over_text(check, shown) for check in first.failing)}.")
    if not first.new_failing:
        sentences.append("The design exceeds these itself.")
    return [*sentences, *limit_sentences(first.limited, shown)]


def _changes(first: Any, shown: Shown) -> list[str]:
    from propmatch.questions.fits import NUMBERS

    before, after = (shown.cells(NUMBERS, numbers) for numbers in (first.numbers_before, first.numbers))
    rows = [{"": f"  {word}", "the design": text, "substitute": after[word]} for word, text in before.items()]
    return ["What changes:", *table(rows, left=("",))]


def _placing(fit: Any, shown: Shown) -> list[str]:
    lines = ["Balance and trim:"]
    for text in fit.placing.readings(show=shown.speed_text):
        lines += wrapped(text, first="  - ", rest="    ")
    return lines


@click.command("fits", cls=Command)
@click.argument("brief", required=False)
@click.option("--train", metavar="ID", help='The design: ids joined by " + ".  [default: the best that match finds]')
@click.option("--motor", metavar="PART", help='Substitute, by id or typed: "1500kV 28g".')
@click.option("--propeller", metavar="PART", help='Substitute, by id or typed: "6x4".')
@click.option("--pack", metavar="PART", help='Substitute, by id or typed: "3S 850mAh 45C".')
@click.option("--controller", metavar="PART", help='Substitute, by id or typed: "20A 18g".')
@catalogue_options
@answer_options
@click.pass_context
def command(ctx: click.Context, /, **options: Any) -> None:
    """May this part be fitted instead of the design's? Yes or no, and why.

    BRIEF is a file, or the name of a bundled brief; --train is the design, the other options name what replaces a part
    of it.

    Exit code 1 when it may not.
    """
    from propmatch.checks.setting import ResolvedBrief
    from propmatch.commands.briefs import open_brief
    from propmatch.commands.choose import choose_for_brief
    from propmatch.commands.fits import fits_reply, substitutes
    from propmatch.commands.output import show
    from propmatch.questions.fits import may_fit
    from propmatch.records.parts import PARTS

    brief, which = open_brief(options["brief"])
    stock = LazyCatalogue(options["parts_folder"], options["strict"])
    resolved = ResolvedBrief.of(brief)
    typed = {kind: options[kind] for kind in TRAIN_OPTIONS if kind in PARTS and options[kind] is not None}
    parts, made, doubts = substitutes(stock, typed)
    chosen = choose_for_brief(stock, resolved, resolved.as_designed, {"train": options["train"]})
    fit = may_fit(resolved, stock.catalogue, chosen.train, **parts)
    shown = shown_units(options["units"], brief)
    said = tuple(text for text in (which, chosen.how) if text)
    reply = fits_reply(stock, fit, resolved.settings, shown, said, made, doubts)
    show(reply, form=form_of(options))
    ctx.exit(0 if fit.fits else 1)
