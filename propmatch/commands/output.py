"""What a command answers, and its three forms: text, JSON and CSV."""

import json
from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any, TypeVar

import attrs
import click

from propmatch.columns import comma_separated, plain_data
from propmatch.commands.sources import asked_for, sources_of_answer, sources_text
from propmatch.faults import Fault, Unmet
from propmatch.words.shown import plain, wrapped

if TYPE_CHECKING:
    from propmatch.records.estimates import Assumption
    from propmatch.words.assumedwords import Mattering

__all__ = ["CAUTION", "CAUTIONS", "Reply", "as_rows", "now", "show", "show_faults", "show_unmet"]

CAUTION = "Estimates: before flight measure the current, model tied down (--cautions)."
"""The line under every answer that somebody may fly by."""
CAUTIONS = (
    "Estimates: before flight measure on the bench with a wattmeter, model tied down, everybody behind the propeller's "
    "disc. Never exceed the lowest rating of motor, ESC, pack and propeller; charge packs under watch; local "
    "rules and the makers' limits come first."
)


_MOST_FAULTS = 6
T = TypeVar("T")


@attrs.frozen(kw_only=True)
class Reply:
    """The answer of a command; what makes rows, details and further keys may stand for them, where not every form
    needs them.

    Attributes
    ----------
    command : str
    headline : sequence of str
        The answer in sentences.
    blocks : sequence of sequences of str
        Finished lines, one block below the other.
    details : mapping of str to sequence of str
        Further blocks by what they are called; the text has them with ``--full``, else the names of those that have
        lines, as every one has that is yet to be made.
    rows : sequence of mappings
        The numbers: attribute name to value, in the units of the attribute.
    assumptions : sequence of Assumption
        Estimates the rows rest on.
    matter : Mattering, optional
        Those of them that the text names; default all.
    faults : sequence of Fault
        What is wrong, or hard to believe, and yet did not stop the answer.
    notes : sequence of str
        What the reader must know besides.
    all_faults : bool
        Whether the text lists every fault, however many.
    extra : mapping
        Further keys of the JSON.
    caution : bool
        Whether the cautions belong to the answer.
    """

    command: str
    headline: Sequence[str] = ()
    blocks: Sequence[Sequence[str]] = ()
    details: Mapping[str, Sequence[str] | Callable[[], Sequence[str]]] = attrs.field(factory=dict)
    rows: Sequence[Mapping[str, Any]] | Callable[[], Sequence[Mapping[str, Any]]] = ()
    assumptions: "Sequence[Assumption]" = ()
    matter: "Mattering | None" = None
    faults: Sequence[Fault] = ()
    notes: Sequence[str] = ()
    all_faults: bool = False
    extra: Mapping[str, Any] | Callable[[], Mapping[str, Any]] = attrs.field(factory=dict)
    caution: bool = False

    def with_extra(self, **more: Any) -> "Reply":
        """The same with further keys of the JSON."""
        return attrs.evolve(self, extra=lambda: {**now(self.extra), **more})


def now(what: T | Callable[[], T]) -> T:
    """What stands there, made where it was yet to be."""
    return what() if callable(what) else what


def as_rows(result: Any, fields: Sequence[str]) -> list[dict[str, Any]]:
    """The lanes of a result whose fields are arrays, or scalars, as one mapping each."""
    import numpy as np

    from propmatch.status import Flag, Status

    columns = {name: np.ravel(getattr(result, name)) for name in fields}
    rows = [{name: column[at].item() for name, column in columns.items()} for at in range(len(columns[fields[0]]))]
    for row in rows:
        row["status"], row["flags"] = Status(int(row["status"])), Flag(int(row["flags"]))
    return rows


def _document(reply: Reply) -> str:
    content = {
        "command": reply.command,
        "assumptions": reply.assumptions,
        "faults": reply.faults,
        "rows": now(reply.rows),
        "notes": reply.notes,
        **now(reply.extra),
    }
    if called := asked_for():
        content["sources"] = sources_of_answer(called, plain_data(content), reply.assumptions)
    return json.dumps(plain_data(content), indent=1, ensure_ascii=False, allow_nan=False)


def _notes(reply: Reply) -> list[list[str]]:
    """Notes, doubts and assumptions, a block each."""
    blocks = []
    most = len(reply.faults) if reply.all_faults else _MOST_FAULTS
    if reply.notes:
        blocks.append([line for text in reply.notes for line in wrapped(text, first="Note: ")])
    doubts = [line for fault in reply.faults[:most] for line in wrapped(str(fault), rest="  ")]
    if len(reply.faults) > most:
        doubts.append(f"... and {len(reply.faults) - most} more: 'propmatch parts --faults' lists them all.")
    if doubts:
        blocks.append(doubts)
    if reply.assumptions:
        blocks.append(_assumed(reply.assumptions) if reply.matter is None else _mattering(reply.matter))
    return blocks


def _mattering(matter: "Mattering") -> list[str]:
    """A line for each assumption that moves the answer, and how many more there are."""
    if not matter.named:
        return wrapped(matter.more) if matter.more else []
    head = wrapped("Assumed (not given), and how far it moves the answer:")
    lines = [line for text in matter.lines for line in wrapped(text, first="  - ")]
    return [*head, *lines, *(wrapped(matter.more, first="  ") if matter.more else [])]


def _assumed(assumptions: "Sequence[Assumption]") -> list[str]:
    """A line for each assumption, those about one subject together."""
    subjects: dict[str, list[str]] = {}
    for each in assumptions:
        subjects.setdefault(each.subject, []).append(each.text)
    lines = ["Assumed (not given):"]
    for subject, texts in subjects.items():
        lines += wrapped(subject, first="  ")
        lines += [line for text in texts for line in wrapped(text, first="    - ")]
    return lines


def _asked(name: str) -> bool:
    """Whether an option of the running command is set."""
    context = click.get_current_context(silent=True)
    return bool(context and context.params.get(name))


def _caution() -> list[str]:
    """One line, or with ``--cautions`` the whole."""
    return wrapped(CAUTIONS if _asked("cautions") else CAUTION)


def _details(details: Mapping[str, Any]) -> list[str]:
    """What ``--full`` adds, where it is not asked for."""
    names = ", ".join(name for name, lines in details.items() if lines)
    return wrapped(f"--full adds: {names}.") if names and not _asked("full") else []


def _sources(reply: Reply) -> list[str]:
    """What ``--sources`` adds."""
    called = asked_for()
    if called is None:
        return []
    named = plain_data([*now(reply.rows), now(reply.extra)])
    return sources_text(sources_of_answer(called, named, reply.assumptions))


def _page(blocks: Sequence[Sequence[str]]) -> str:
    return "\n\n".join("\n".join(block) for block in blocks if block)


def show(reply: Reply, *, form: str = "text") -> None:
    """Print an answer; ``form`` is ``text``, ``json`` or ``csv``.

    With CSV what is not a row goes to standard error, so that a file of rows stays one.
    """
    if form == "json":
        click.echo(_document(reply))
    elif form == "csv":
        click.echo(comma_separated(now(reply.rows)), nl=False)
        if notes := _page([*_notes(reply), _sources(reply)]):
            click.echo(notes, err=True)
    else:
        head = [line for sentence in reply.headline for line in wrapped(sentence)]
        last = [*_details(reply.details), *(_caution() if reply.caution else [])]
        full = [now(lines) for lines in reply.details.values()] if _asked("full") else []
        click.echo(_page([head, *reply.blocks, *full, *_notes(reply), last, _sources(reply)]))


def show_faults(command: str, faults: Sequence[Fault], *, form: str = "text") -> None:
    """Print what is wrong with an input, a line each on standard error; as JSON on standard output too."""
    if form == "json":
        try:
            click.echo(_document(Reply(command=command, faults=faults)))
        except BrokenPipeError:
            raise
        except OSError:  # standard output takes nothing, as a line below says
            pass
    for fault in faults:
        click.echo(plain(fault), err=True)


def show_unmet(command: str, error: Unmet, *, form: str = "text") -> None:
    """Print that what was asked cannot be met: an answer without rows, its sentences the notes of the JSON."""
    if form == "text":
        show(Reply(command=command, headline=error.args))
    else:
        show(Reply(command=command, notes=error.args), form=form)
