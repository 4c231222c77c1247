"""``propmatch fits``: whether a substitute part may be fitted, and why not."""

from collections.abc import Mapping
from typing import Any

import click

from propmatch.commands.options import (
    Command,
    answer_options,
    catalogue_options,
    form_of,
    short_answer_options,
    shown_units,
)
from propmatch.commands.output import Reply
from propmatch.commands.saying import CHECKS_LEGEND, checks_table, mass_block, masses_data, unplaced_words
from propmatch.commands.steeringwords import steering_block
from propmatch.commands.trains import TRAIN_OPTIONS, LazyCatalogue, train_data, with_table
from propmatch.faults import Fault, InputFaults
from propmatch.words.answerwords import hardest_words
from propmatch.words.chancewords import (
    RANGES,
    chance_words,
    least_words,
    of_hundred,
    ranged,
    together_words,
    worth_saying,
)
from propmatch.words.checkwords import (
    burst_words,
    check_names,
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
    doubts: list[Fault], options: Mapping[str, Any],
) -> Reply:  # fmt: skip
    """The answer."""
    from propmatch.words.assumedwords import mattering

    first = fit.variants[0]
    assumptions = list(dict.fromkeys((*made, *fit.assumptions)))
    names = joined([f"the {kind} {part.name}" for kind, part in fit.changes.items()])
    where = f"{fit.brief.aircraft.name} with {parts_text(fit.design)}"
    hottest = hardest_words(first.checks)
    sentences = [f"{_answer(first)}: {names} {'may' if fit.fits else 'may not'} be fitted to {where}."]
    if fit.fits and not first.holds:
        sentences = [f"{_answer(first)}.", f"Asked: {names} on {where}."]
    sentences += [*danger_words(first.checks, shown), *_why(first, shown)]
    sentences.append(" ".join([f"{hottest[0].upper()}{hottest[1:]}."] * bool(hottest) + _chances(first, shown)))
    for each in fit.variants[1:]:
        missing = "" if each.fits else f", it misses {check_names([check.name for check in each.failing])}"
        chance = f"; {together_words(each.sure)}" if each.fits or worth_saying(each.sure) else ""
        sentences.append(f"{each.variant}: {_lower(_answer(each))}{missing}{chance}.")
    sentences += [*unplaced_words(settings, fit.train), *burst_words(first.checks)]
    sentences += speed_question(fit.train)
    limited = [line for text in limit_sentences(first.limited, shown) for line in wrapped(text)]
    details = {
        "throttle limit": [] if first.fits else limited,
        "every check": [
            *wrapped(f"Every check, as designed ({CHECKS_LEGEND}):"),
            *checks_table(["the design", "substitute"], [first.before, first.checks], shown),
        ],
        "trim": _placing(fit, shown),
        "room, roll and yaw": steering_block(fit.placing, shown),
        "mass build-up": mass_block(settings, fit.train, shown),
    }
    return Reply(
        command="fits",
        headline=[*sentences, " ".join(said)],
        blocks=[_changes(first, shown), _balance(fit)],
        details=details,
        rows=lambda: [each.row for each in fit.variants],
        assumptions=assumptions,
        matter=mattering(assumptions, [first.sure], options),
        faults=(*doubts, *stock.broken),
        extra=lambda: {
            "train": train_data(fit.train), "masses": masses_data(settings, fit.train), "checks": first.checks,
            "fits": fit.fits, "holds": first.holds, "verdict": _answer(first), "short_of_asked": first.sure.short,
            "least_certain": first.sure.least_certain, "hangs_on": _hangs_on(first.sure),
            "steering": fit.placing.steering.data, "trim_cures": fit.placing.cure_rows,
        },
        caution=True,
    )  # fmt: skip


def _answer(found: Any) -> str:
    """Yes or no, never a plain yes where a check or all of them together hold less surely than asked."""
    from propmatch.words.verdictwords import doubt_words

    if found.fits and not found.holds:
        return f"On paper yes, but {doubt_words(found.sure)}"
    return "Yes" if found.fits else "No"


def _lower(text: str) -> str:
    return text[:1].lower() + text[1:]


def _why(first: Any, shown: Shown) -> list[str]:
    from propmatch.checks.limits import graded

    sentences = []
    if first.fits:
        told = first.sure.least_certain
        near = [check for check in graded(first.checks) if check.verdict == "close" and check.name != told]
        if near:
            sentences.append(f"Close to a limit: {'; '.join(_near(check, shown) for check in near)}.")
        if first.outside_practice:
            texts = "; ".join(over_text(check, shown) for check in first.outside_practice)
            sentences.append(f"Missed, though no reason to refuse it: {texts}.")
        return sentences
    own = "" if first.new_failing else " The design misses these itself."
    sentences.append(f"Why: {'; '.join(over_text(check, shown) for check in first.failing)}.{own}")
    return sentences


def _near(check: Any, shown: Shown) -> str:
    """A check that is close, and how many builds keep it where the first words do not say so."""
    text = over_text(check, shown)
    return f"{text}: {chance_words(check.chance)}" if check.chance >= check.chance_wanted else text


def _chances(first: Any, shown: Shown) -> list[str]:
    """How many builds keep all limits, and what the least certain check of one that fits hangs on."""
    before = of_hundred(first.sure_before.chance_all_limits)
    least = least_words(first.sure, first.checks, shown) if first.fits else ""
    kept = of_hundred(first.sure.chance_all_limits)
    return [f"In {kept} of 100 builds it keeps every limit, the design itself in {before}.",
            *([least] if least else []), RANGES]  # fmt: skip


def _hangs_on(sure: Any) -> dict[str, float]:
    """What the least certain check hangs on; empty where all hold."""
    return {} if sure.least_certain is None else sure.hangs_on(sure.least_certain)


def _changes(first: Any, shown: Shown) -> list[str]:
    from propmatch.questions.fits import NUMBERS

    sides = {"the design": (first.numbers_before, first.ends_before), "substitute": (first.numbers, first.ends)}
    rows = []
    for column in NUMBERS:
        head = column.heading.format(unit=shown.unit(column.kind))
        row = {"": f"  {head}"}
        for side, (numbers, ends) in sides.items():
            text = shown.number(numbers[column.name], column.kind, column.digits)
            row[side] = ranged(text, ends[f"{column.name}_low"], ends[f"{column.name}_high"], column.kind, shown)
        rows.append(row)
    return ["What changes:", *table(rows, left=("",))]


def _balance(fit: Any) -> list[str]:
    """Where the packs must sit; nothing where the brief gives no balance."""
    said = fit.placing.pack_readings()
    lines = [line for text in said for line in wrapped(text, first="  - ", rest="    ")]
    return ["Balance:", *lines] if lines else []


def _placing(fit: Any, shown: Shown) -> list[str]:
    lines = ["Trim:"]
    for text in fit.placing.trim_readings(show=shown.speed_text):
        lines += wrapped(text, first="  - ", rest="    ")
    return lines


@click.command("fits", cls=Command)
@click.argument("brief", required=False)
@click.option("--train", metavar="ID", help='The design: ids joined by " + ".  [default: the best that match finds]')
@click.option("--motor", metavar="PART", help='Substitute, by id or typed: "1500kV 28g".')
@click.option("--propeller", metavar="PART", help='Substitute, by id or typed: "6x4".')
@click.option("--pack", metavar="PART", help='Substitute, by id or typed: "3S 820mAh 38C".')
@click.option("--controller", metavar="PART", help='Substitute, by id or typed: "20A 18g".')
@catalogue_options
@short_answer_options
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

    brief, which = open_brief(options["brief"], options["only"])
    stock = LazyCatalogue(options["parts_folder"], options["strict"])
    resolved = ResolvedBrief.of(brief)
    typed = {kind: options[kind] for kind in TRAIN_OPTIONS if kind in PARTS and options[kind] is not None}
    parts, made, doubts = substitutes(stock, typed)
    chosen = choose_for_brief(stock, resolved, resolved.as_designed, {"train": options["train"]})
    fit = may_fit(resolved, stock.catalogue, chosen.train, **parts)
    shown = shown_units(options["units"], brief)
    said = tuple(text for text in (which, chosen.how) if text)
    reply = fits_reply(stock, fit, resolved.settings, shown, said, made, doubts, options)
    show(reply, form=form_of(options))
    ctx.exit(0 if fit.fits else 1)
