"""Every answer that the page asks for: JSON in, JSON out, all of it validated; no server, no process, no thread.

An answer is made from what its question carries (the brief's text, changes to it, the ids of a train), so tabs do not
disturb each other; a sequence number goes back as it came, and the page drops answers that are late. What is kept
between two questions only saves time.
"""

from collections.abc import Callable, Mapping
from functools import cached_property
from typing import Any

import attrs

from propmatch.catalogue.catalogue import Catalogue
from propmatch.checks.setting import ResolvedBrief
from propmatch.faults import Fault, InputFaults, Unmet
from propmatch.files import name_fault
from propmatch.page.answers import best_answer, brief_answer, fault_rows, picked_train, shown_for, train_answer
from propmatch.page.benched import benched, fit_answer
from propmatch.page.choosing import choices_answer, swap_answer
from propmatch.page.curves import flight_answer, throttle_answer
from propmatch.page.downloads import pdf_file, shortlist_csv
from propmatch.page.dropped import table_answer, with_tables
from propmatch.page.edit import edited
from propmatch.page.explain import explanation
from propmatch.page.families import family_key_answer
from propmatch.page.forms import form_answer
from propmatch.page.maps import Maps
from propmatch.page.views import views_answer
from propmatch.page.whys import nearest_answer, why_answer
from propmatch.records.brief import Brief, dump_brief

__all__ = ["ANSWERS", "Answer", "Asked", "Desk", "Dropped", "Save", "Tell"]

Tell = Callable[[str, float | None], None]
"""Says what is being done and which share of it is done, 0..1 or None; raises :class:`Dropped` where nobody waits."""
Save = Callable[[str, str, bool], str | None]
"""Keeps a text under a name, replacing what has it only if told to: gives where, or None where the name is taken."""


class Dropped(Exception):
    """Nobody waits for this answer any more."""


def _quiet(doing: str, share: float | None) -> None:
    """Whoever asked waits and watches nothing."""


@attrs.frozen(eq=False, slots=False)
class Asked:
    """One question.

    Attributes
    ----------
    desk : Desk
    sent : mapping
        What the question carries, validated.
    tell : Tell
    """

    desk: "Desk"
    sent: Mapping[str, Any]
    tell: Tell

    @cached_property
    def brief(self) -> Brief:
        """The text with its changes; raises ``InputFaults``."""
        return edited(self.sent["text"], self.sent["changes"])

    @cached_property
    def catalogue(self) -> Catalogue:
        """With the parts of the tables and the motor of the log that the question carries."""
        return benched(self.stock, self.sent["log"]).catalogue if self.sent["log"] else self.stock

    @cached_property
    def stock(self) -> Catalogue:
        """With the parts of the tables alone."""
        return with_tables(self.desk.catalogue, self.sent["tables"])

    @property
    def laid_over(self) -> tuple[Any, ...]:
        """What the question lays over the catalogue."""
        return self.sent["log"], self.sent["tables"]

    @property
    def variant(self) -> str | None:
        """The build that is meant; None is the aircraft as designed."""
        return self.sent["variant"] or None

    @property
    def train(self) -> str:
        """The ids of the picked train; empty where none is picked."""
        return self.sent["train"] or ""

    @property
    def moving(self) -> bool:
        """Whether a number moves, so that everything is on paper."""
        return self.sent["moving"] is True

    def count(self, done: int, total: int) -> None:
        """Progress of a search."""
        self.tell(f"Looking through {total} combinations", done / max(total, 1))


@attrs.frozen
class Answer:
    """How a question is answered.

    Attributes
    ----------
    make : callable
        Gives plain data; raises ``InputFaults``.
    where : str
        ``here`` answers at once; ``map`` and ``long`` take their time: each in a process of its own where there is one,
        the newest question of a page wins, and it can be cancelled.
    doing : str
        What is said while it takes its time.
    """

    make: Callable[[Asked], dict[str, Any]]
    where: str = "here"
    doing: str = ""


def _sheet(it: Asked) -> dict[str, Any]:
    """The build sheet of the picked train, with the log of its motor."""
    from propmatch.sheet.content import build_sheet
    from propmatch.sheet.html import sheet_html
    from propmatch.sheet.picture import need

    for module in ("matplotlib", "jinja2"):
        need(module)
    resolved, log = ResolvedBrief.of(it.brief), it.sent["log"]
    train = picked_train(it.catalogue, resolved.as_designed, it.train) if it.train else None
    fit = benched(it.stock, log).fit if log else None
    made = build_sheet(resolved, it.catalogue, train=train, shown=shown_for(it.brief), fit=fit, progress=it.count)
    it.tell("Drawing the build sheet", None)
    if it.sent["form"] == "pdf":
        return pdf_file(made)
    return {"file": "sheet.html", "type": "text/html", "text": sheet_html(made)}


def _save(it: Asked) -> dict[str, Any]:
    """The brief kept under a name; where nothing is kept here, its text for the reader to keep."""
    name, text = it.sent["file"] or "", dump_brief(it.brief)
    rule = name_fault(name, ".toml")
    if rule:
        raise InputFaults([Fault("save", "file", name, rule)])
    if it.desk.save is None:
        return {"file": name, "type": "application/toml", "text": text}
    try:
        place = it.desk.save(name, text, it.sent["replace"] is True)
    except OSError as error:
        raise InputFaults([Fault("save", "file", name, f"cannot be written: {error.strerror}")]) from error
    return {"exists": True, "file": name} if place is None else {"file": place, "saved": True}


ANSWERS: dict[str, Answer] = {
    "brief": Answer(lambda it: {**brief_answer(it.brief, it.variant), "text": dump_brief(it.brief)}),
    "train": Answer(lambda it: train_answer(it.brief, it.catalogue, it.train, it.variant, moving=it.moving)),
    "views": Answer(lambda it: views_answer(it.brief, it.catalogue, it.train, it.variant)),
    "explain": Answer(lambda it: explanation(it.brief, it.catalogue, it.train, it.sent["name"] or "", it.variant)),
    "fit": Answer(lambda it: fit_answer(benched(it.stock, it.sent["log"]), it.train)),
    "form": Answer(lambda it: form_answer()),
    "choices": Answer(lambda it: choices_answer(it.catalogue)),
    "swap": Answer(lambda it: swap_answer(it.catalogue, it.train, it.sent["kind"] or "", it.sent["part"] or "")),
    "family": Answer(lambda it: family_key_answer(it.catalogue, it.sent["name"] or "")),
    "table": Answer(lambda it: table_answer(it.catalogue, it.sent["table"])),
    "why": Answer(lambda it: why_answer(it.brief, it.catalogue, it.train, it.variant)),
    "throttle": Answer(lambda it: throttle_answer(it.brief, it.catalogue, it.train, it.variant)),
    "flight": Answer(lambda it: flight_answer(it.brief, it.catalogue, it.train, it.variant)),
    "nearest": Answer(
        lambda it: nearest_answer(it.brief, it.catalogue, it.variant), "long", "Looking for what comes nearest"
    ),
    "shortlist": Answer(
        lambda it: shortlist_csv(it.brief, it.catalogue, it.variant, progress=it.count), "long", "Making the shortlist"
    ),
    "parts": Answer(lambda it: it.desk.maps.parts(it.brief, it.catalogue, variant=it.variant, log=it.laid_over)),
    "save": Answer(_save),
    "map": Answer(
        lambda it: it.desk.maps.map(
            it.brief, it.catalogue, variant=it.variant, log=it.laid_over, moving=it.moving,
            tick=lambda: it.tell("Looking through the catalogue", None),
        ),
        "map", "Looking through the catalogue",
    ),
    "best": Answer(
        lambda it: best_answer(it.brief, it.catalogue, it.variant, progress=it.count), "long", "Looking for the best"
    ),
    "sheet": Answer(_sheet, "long", "Making the build sheet"),
}  # fmt: skip
"""Every answer by the name of its question."""

_TEXTS = ("variant", "train", "name", "file", "page", "kind", "part", "form")


class Desk:
    """Answers for one catalogue.

    Parameters
    ----------
    catalogue : Catalogue
    text : str
        The brief, as TOML, that a page begins with.
    file : str
        The name it is saved under unless the reader says otherwise.
    folder : str
        Where that is, in words.
    save : Save, optional
        Keeps a brief; default: the reader keeps it.
    """

    catalogue: Catalogue
    maps: Maps

    def __init__(
        self, catalogue: Catalogue, text: str = "", *, file: str = "brief.toml", folder: str = "",
        save: Save | None = None,
    ) -> None:  # fmt: skip
        self.catalogue, self.text, self.file, self.folder, self.save = catalogue, text, file, folder, save
        self.maps = Maps()

    def start(self) -> dict[str, Any]:
        """What a page begins with."""
        return {"text": self.text, "file": self.file, "folder": self.folder}

    def answer(self, what: str, sent: Any, tell: Tell = _quiet) -> dict[str, Any]:
        """The answer to a question, or ``faults``: all that is wrong with it.

        Parameters
        ----------
        what : str
            One of ``ANSWERS``.
        sent : object
            As JSON gave it.
        tell : Tell, optional

        Raises
        ------
        Dropped
            By ``tell``.
        """
        seq = sent.get("seq") if isinstance(sent, dict) else None
        try:
            return {**self._made(what, sent, tell), "seq": seq}
        except InputFaults as error:
            return {"faults": fault_rows(error.faults), "seq": seq}
        except Unmet as error:
            return {"faults": fault_rows([Fault(what, rule=error.args[0])]), "seq": seq}

    def prepare(self, tick: Callable[[], None]) -> None:
        """While nobody asks: keep what the next step of a number will need."""
        self.maps.prepare(tick)

    def _made(self, what: str, sent: Any, tell: Tell) -> dict[str, Any]:
        asked = _checked(sent)
        if what not in ANSWERS:
            raise InputFaults([Fault("request", "question", what, f"must be one of {', '.join(ANSWERS)}")])
        tell(ANSWERS[what].doing, None)
        return ANSWERS[what].make(Asked(self, asked, tell))


def _checked(sent: Any) -> dict[str, Any]:
    """What a question carries, what it leaves out as None."""
    if not isinstance(sent, dict):
        raise InputFaults([Fault("request", rule="must be a JSON object")])
    asked = dict.fromkeys(("moving", "replace", "log", "tables", "table", *_TEXTS)) | {"changes": {}} | sent
    faults = []
    if not _is_text(asked.get("text")):
        faults.append(Fault("request", "text", rule="must be the brief as TOML text"))
    if not isinstance(asked["changes"], dict):
        faults.append(Fault("request", "changes", rule="must be an object of keys and values"))
    if not (asked["log"] is None or isinstance(asked["log"], dict)):
        faults.append(Fault("request", "log", rule="must be an object with the name and the text of a log"))
    faults += [
        Fault("request", key, rule="must be text") for key in _TEXTS if not (asked[key] is None or _is_text(asked[key]))
    ]
    if faults:
        raise InputFaults(faults)
    return asked


def _is_text(value: Any) -> bool:
    """Text that can be written: no half of a pair of surrogates."""
    try:
        return isinstance(value, str) and bool(value.encode() or True)
    except UnicodeEncodeError:
        return False
