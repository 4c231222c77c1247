"""``propmatch new``: a brief of one's own from a few questions."""

import re
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import attrs
import click

from propmatch.commands.explain import explain_lines, explain_option
from propmatch.commands.options import Command
from propmatch.commands.outputs import force_option
from propmatch.records.aircraftkinds import AIRCRAFT_KINDS, FLYING, usual_flying

if TYPE_CHECKING:
    from propmatch.faults import Fault
    from propmatch.questions.newbrief import Wishes

__all__ = ["command"]


@attrs.frozen
class Question:
    """One thing asked: what of :class:`Wishes` it answers, and how it is put.

    Attributes
    ----------
    name : str
        Field of ``Wishes``, name of the option's value.
    option, metavar, help : str
    asked : str
        The question on a terminal; empty where it is an option alone.
    section, key : str
        Class and field of a brief whose declaration reads the answer; empty for a word or a list.
    needed : bool
        Whether there is no brief without it.
    """

    name: str
    option: str
    metavar: str
    help: str
    asked: str = ""
    section: str = ""
    key: str = ""
    needed: bool = False


QUESTIONS = (
    Question("name", "--name", "TEXT", "Name of the aircraft.", "Name of the aircraft", "Aircraft", "name"),
    Question(
        "bare_mass_g", "--bare-mass", "MASS", "Everything but motor, propeller, ESC and pack, such as 190 or 6.7oz.",
        "What does it weigh without motor, propeller, ESC and battery? [g]", "Aircraft", "bare_mass_g", needed=True,
    ),
    Question("motor_count", "--motors", "NUMBER", "Equal motors on one pack.", "How many motors? [Enter: 1]",
             "Aircraft", "motor_count"),
    Question(
        "target_mass_g", "--all-up-mass", "MASS", "Limit of the all-up mass (AUW).",
        "What may it weigh ready to fly? [g; Enter: no limit]", "Aircraft", "target_mass_g",
    ),
    Question("like", "--like", "KIND", f"Its usual wing stands in for what is not given: {', '.join(AIRCRAFT_KINDS)}."),
    Question("area_dm2", "--wing-area", "AREA", "Wing area, such as 13, 0.13m2 or 200sqin.",
             "Wing area? [dm2; Enter: as usual for its kind]", "Wing", "area_dm2"),
    Question("span_mm", "--span", "LENGTH", "Wing span, such as 900 or 90cm.",
             "Wing span? [mm; Enter: as usual for its kind]", "Wing", "span_mm"),
    Question("flying", "--flying", "WAY", f"How it is flown: {', '.join(FLYING)}."),
    Question("cells", "--cells", "LIST", "Cell counts to consider, such as 2,3.",
             "Cells of the battery? [such as 2,3; Enter: any]"),
    Question(
        "min_flight_minutes", "--minutes", "TIME", "Least flight time, such as 8 or 8:30.",
        "Least flight time? [min; Enter: usual]", "Limits", "min_flight_minutes",
    ),
    Question(
        "min_thrust_to_weight", "--thrust-to-weight", "NUMBER", "Least static thrust over weight.",
        "Least thrust over weight? [0.5 gentle, 0.8 lively, 1.3 to hover; Enter: usual]", "Limits",
        "min_thrust_to_weight",
    ),
    Question(
        "max_propeller_diameter_in", "--diameter", "LENGTH", "Largest propeller there is room for.",
        "Largest propeller there is room for? [in; Enter: any]", "Limits", "max_propeller_diameter_in",
    ),
    Question("altitude_m", "--altitude", "HEIGHT", "Height of the field above sea level.", "", "Site", "altitude_m"),
)  # fmt: skip
"""What is asked, in this order."""


_SECONDS = re.compile("[0-5][0-9]")
_DIGITS = 9
"""More than any count or time has."""


def _options(function: Callable[..., Any]) -> Callable[..., Any]:
    for each in reversed(QUESTIONS):
        function = click.option(each.option, each.name, metavar=each.metavar, help=each.help)(function)
    return function


def _read(question: Question, text: str, where: str) -> Any:
    """The answer as a value of ``Wishes``, or a ``Fault``."""
    from propmatch.commands.matching import listed_counts
    from propmatch.faults import Fault, did_you_mean
    from propmatch.records import sections
    from propmatch.records.fields import check, declared
    from propmatch.records.typed import read_number

    words: tuple[str, ...] | None = {"like": tuple(AIRCRAFT_KINDS), "flying": tuple(FLYING)}.get(question.name)
    if words is not None:
        word = text.strip().lower()
        if word in words:
            return word
        return Fault(where, "", text, f"must be one of {', '.join(words)}", did_you_mean(word, words))
    if question.name == "cells":
        rule = next(rule for rule in declared(sections.Limits) if rule.name == "cells")
        parts = [part for each in listed_counts(text) for part in each.split()]
        if not all(part.isdecimal() and len(part) < _DIGITS for part in parts):
            return Fault(where, "", text, "must be cell counts such as 2,3 or 2-3")
        value, problems = check(rule, list(dict.fromkeys(map(int, parts))), "", reading=True)
        return Fault(where, "", text, problems[0].rule) if problems else value
    if question.name == "name":
        return text.strip() or Fault(where, "", text, "must not be blank")
    minutes, colon, seconds = text.strip().partition(":")
    if (
        question.name == "min_flight_minutes"
        and colon
        and minutes.isdecimal()
        and len(minutes) < _DIGITS
        and _SECONDS.fullmatch(seconds)
    ):
        text = f"{int(minutes) + int(seconds) / 60}"
    value = read_number(getattr(sections, question.section), question.key, text, where)
    return value if isinstance(value, Fault) else float(f"{value:.15g}")


def _too_light(values: dict[str, Any], where: str) -> "list[Fault]":
    """An all-up mass that leaves nothing for the power train."""
    from propmatch.faults import Fault

    bare, whole = values.get("bare_mass_g"), values.get("target_mass_g")
    if isinstance(bare, float) and isinstance(whole, float) and whole <= bare:
        return [Fault(where, "", f"{whole:g}", f"must be above the {bare:g} g that it weighs without its power train")]
    return []


def _wishes(given: dict[str, str | None], ask: bool) -> "Wishes":
    """The answers, from options first and then from the terminal.

    Raises
    ------
    InputFaults
        Every option that cannot be read, and what is missing where nobody can be asked.
    """
    from propmatch.faults import Fault, InputFaults
    from propmatch.questions.newbrief import Wishes
    from propmatch.records.fields import walk
    from propmatch.records.sections import Wing

    values: dict[str, Any] = {}
    faults: list[Fault] = []
    for question in QUESTIONS:
        text = given[question.name]
        if text is not None:
            value = _read(question, text, question.option)
            faults += [value] if isinstance(value, Fault) else []
            values[question.name] = value
        elif question.needed and not ask:
            faults.append(Fault(question.option, rule=f"missing: {question.help[:1].lower()}{question.help[1:]}"))
    faults += _too_light(values, "--all-up-mass")
    if faults:
        raise InputFaults(faults)
    if ask:
        _ask(values)
    wing = {key: values[key] for key in ("area_dm2", "span_mm") if values.get(key) is not None}
    if problems := walk(Wing, wing, "")[1]:
        raise InputFaults(Fault("--span and --wing-area", each.key, each.value, each.rule) for each in problems)
    values.setdefault("name", "my aircraft")
    if values.get("flying") is None:
        values["flying"] = usual_flying(values.get("like"))
    return Wishes(**{name: value for name, value in values.items() if value is not None})


def _ask(values: dict[str, Any]) -> None:
    """Ask on the terminal for what no option gave; an answer that cannot be read is asked for again."""
    from propmatch.faults import Fault

    for question in QUESTIONS:
        if question.name in values:
            continue
        text, default = question.asked, "" if not question.needed else None
        if question.name == "like":
            _choices("What is it like?", {word: kind.words for word, kind in AIRCRAFT_KINDS.items()})
            text = "Kind [Enter: none of these]"
        elif question.name == "flying":
            _choices("How will you fly it?", {word: way.words for word, way in FLYING.items()})
            default = usual_flying(values.get("like"))
            text = f"Way [Enter: {default}]"
        elif question.name == "name":
            default = "my aircraft"
            text = f"{text} [Enter: {default}]"
        while text:
            answer = click.prompt(text, default=default, show_default=False, err=True)
            value = _read(question, answer, "") if answer else None
            wrong = [value] if isinstance(value, Fault) else _too_light({**values, question.name: value}, "")
            if wrong:
                click.echo(str(wrong[0]), err=True)
                continue
            values[question.name] = value
            break


def _choices(head: str, words: dict[str, str]) -> None:
    click.echo(head, err=True)
    for word, about in words.items():
        click.echo(f"  {word:<12} {about}", err=True)


@click.command("new", cls=Command)
@click.argument("file", metavar="[FILE]", required=False, type=click.Path(path_type=Path, allow_dash=True))
@_options
@force_option
@explain_option
def command(file: Path | None, force: bool, explain: str | None, **given: str | None) -> None:
    """Write a brief of your own: a few questions, and every other key commented out in the file.

    On a terminal what no option says is asked for; elsewhere the options must say it. FILE is NAME.toml if left out,
    and - prints the brief.
    """
    from propmatch.files import file_name, write_file
    from propmatch.questions.newbrief import new_brief
    from propmatch.records.brieftext import commented_brief

    if explain is not None:
        click.echo("\n".join(explain_lines(explain)))
        return
    wishes = _wishes(given, ask=_on_a_terminal())
    brief, notes = new_brief(wishes)
    head = (
        f"A brief for {wishes.name}. Then: propmatch match THIS_FILE".replace("\n", " "),
        "A line that begins with # is a key that you may use: remove the # and fill in a value.",
        "'assumed' means that a usual value stands in, and every answer says so.",
        "More about a key: propmatch new --explain limits.chance",
    )
    text = commented_brief(brief, notes, head)
    if file is not None and str(file) == "-":
        click.echo(text, nl=False)
        return
    path = file or Path(f"{file_name(wishes.name, 'brief')}.toml")
    write_file(path, text, force=force)
    click.echo(f"Wrote {path}. Now: propmatch match {path}")


def _on_a_terminal() -> bool:
    return sys.stdin.isatty()
