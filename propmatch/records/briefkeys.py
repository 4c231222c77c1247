"""Every key of a brief: its path, unit, range, meaning, default, and what stands in where it is left out."""

from collections.abc import Iterator, Sequence
from functools import cache

import attrs

from propmatch.faults import Fault, InputFaults, did_you_mean
from propmatch.records.body import Body
from propmatch.records.brief import Aircraft, Brief, Site
from propmatch.records.estimates import completed
from propmatch.records.fields import Declared, declared
from propmatch.records.launch import Launch
from propmatch.records.layout import Balance, ThrustLine
from propmatch.records.radio import Radio

__all__ = ["BriefKey", "brief_keys", "keys_named", "sections"]

_EXAMPLE_G = 200.0


@attrs.frozen(kw_only=True)
class BriefKey:
    """One key.

    Attributes
    ----------
    path : str
        As in ``limits.chance``; ``phase[].throttle`` in a list of tables.
    rule : Declared
        Unit, range, meaning and default.
    section : str
        What its table is about.
    left_out : str
        The assumption that stands in for it, with the numbers of an aircraft of 200 g; empty where none does.
    """

    path: str
    rule: Declared
    section: str
    left_out: str = ""

    @property
    def default(self) -> str:
        """What holds where it is left out, in words."""
        if self.rule.required:
            return "it must be given where its table stands"
        if self.left_out:
            return "assumed, and said beside every answer"
        if self.rule.default is None or self.rule.default == ():
            return "as if there were no such thing"
        return str(self.rule.default).lower() if isinstance(self.rule.default, bool) else f"{self.rule.default}"


def sections(cls: type = Brief, path: str = "") -> Iterator[tuple[str, Declared, tuple[Declared, ...]]]:
    """Path, declaration and plain keys of every table of a brief, a table before those inside it.

    A list of tables ends with ``[]``.
    """
    for rule in declared(cls):
        if not _is_table(rule):
            continue
        below = f"{path}{rule.name}{'[]' if rule.kind == 'many' else ''}"
        yield below, rule, tuple(each for each in declared(rule.item) if not _is_table(each))
        yield from sections(rule.item, f"{below}.")


def _is_table(rule: Declared) -> bool:
    return rule.kind in ("one", "many") and isinstance(rule.item, type)


@cache
def brief_keys() -> tuple[BriefKey, ...]:
    """Every key of a brief, in the order of the file."""
    texts = _left_out()
    return tuple(
        BriefKey(path=f"{path}.{rule.name}", rule=rule, section=table.doc, left_out=texts.get((path, rule.name), ""))
        for path, table, rules in sections()
        for rule in rules
    )


def _left_out() -> dict[tuple[str, str], str]:
    """Section and key to what is assumed without it, read off briefs that say next to nothing."""
    texts: dict[tuple[str, str], str] = {}
    for kind in ("hand", "runway"):
        bare = Brief(
            aircraft=Aircraft(name="example", bare_mass_g=_EXAMPLE_G), radio=Radio(), body=Body(),
            launch=Launch(kind=kind), site=Site(distance_m=100.0), balance=Balance(target_cg_mm=100.0),
            thrust_line=ThrustLine(height_mm=0.0, position_mm=0.0),
        )  # fmt: skip
        for each in completed(bare)[1]:
            table = "phase[]" if each.subject == "phase" else each.subject
            texts.setdefault((table, each.field), each.text)
    return texts


_MEANT = {
    **dict.fromkeys(("weight", "mass"), ("aircraft.bare_mass_g", "aircraft.target_mass_g")),
    **dict.fromkeys(("auw", "all-up weight", "all-up mass", "takeoff weight"), ("aircraft.target_mass_g",)),
    **dict.fromkeys(("flight time", "endurance"), ("limits.min_flight_minutes",)),
    **dict.fromkeys(("motors", "number of motors"), ("aircraft.motor_count",)),
}
"""What people call some of the keys."""


def keys_named(asked: str) -> Sequence[BriefKey]:
    """The keys that a text means: a whole path, its last word, or a table.

    Raises
    ------
    InputFaults
        None has this name; with those that are near.
    """
    word = asked.strip().replace("[]", "").strip("[]")
    if word.lower() in _MEANT:
        return [key for key in brief_keys() if key.path in _MEANT[word.lower()]]
    plain = {key: key.path.replace("[]", "") for key in brief_keys()}
    for same in (
        [key for key, path in plain.items() if path == word],
        [key for key, path in plain.items() if path.rpartition(".")[2] == word],
        [key for key, path in plain.items() if path.rpartition(".")[0] == word],
    ):
        if same:
            return same
    known = dict.fromkeys(
        piece for path in plain.values() for piece in (path.partition(".")[0], path.rpartition(".")[2])
    )
    raise InputFaults([Fault("--explain", value=asked, rule="no key of a brief", hint=did_you_mean(word, known))])
