"""One declaration for each field: its unit, range and meaning serve Python, files, columns and the schema.

``number(...)``, ``integer(...)`` and the others make a field of a class marked ``@record``. The declaration
then validates objects built in Python (``TypeError`` or ``ValueError``), lets :func:`build` read a mapping from
a file and report every fault at once, tells the schema exporter and the table readers unit and range, and writes
the types of the signature and the block ``Attributes`` of the class's help.
"""

import inspect
import math
import numbers
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from copy import copy
from functools import cache
from types import SimpleNamespace
from typing import Any, TypeVar, dataclass_transform

import attrs

from propmatch.faults import Fault, did_you_mean, near_words
from propmatch.tablehtml import pairs_html

__all__ = [
    "REQUIRED",
    "Declared",
    "Numbers",
    "Problem",
    "Rule",
    "build",
    "check",
    "choice",
    "declared",
    "flag",
    "instance",
    "integer",
    "many",
    "not_below",
    "number",
    "numbers_by_name",
    "one",
    "placed",
    "readable",
    "record",
    "replace",
    "row",
    "text",
    "text_rule",
    "walk",
    "words_or_number",
]

REQUIRED: Any = attrs.NOTHING
"""Default of a field that has none."""


class Numbers(Mapping[str, float]):
    """Numbers by name, in the order given; it cannot be changed, and has a hash."""

    __slots__ = ("_numbers",)

    def __init__(self, numbers: Mapping[str, float] | None = None) -> None:
        self._numbers = dict(numbers or {})

    def __getitem__(self, name: str) -> float:
        return self._numbers[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._numbers)

    def __len__(self) -> int:
        return len(self._numbers)

    def __hash__(self) -> int:
        return hash(frozenset(self._numbers.items()))

    def __repr__(self) -> str:
        return repr(self._numbers)


@attrs.frozen(kw_only=True)
class Declared:
    """What is known about one field.

    Attributes
    ----------
    kind : str
        ``number``, ``integer``, ``text``, ``flag``, ``choice``, ``words or number``, ``one``, ``many``, ``numbers``,
        ``row`` or ``instance``.
    name : str
        Attribute, key and column name.
    unit, doc : str
        Printed unit (empty for a plain number) and meaning.
    gt, ge, lt, le : float or None
        Range of a number or integer.
    options : tuple of str
        The words allowed.
    item : Declared, tuple of Declared, class or None
        What a list or a table of numbers holds, a row place by place; the class of a nested record, or of the object
        that a text may stand for.
    default : object
        ``REQUIRED`` when there is none. A default of None makes the field optional.
    nothing : str
        A word that says as much as leaving an optional choice out.
    """

    kind: str
    name: str = ""
    unit: str = ""
    doc: str = ""
    gt: float | None = None
    ge: float | None = None
    lt: float | None = None
    le: float | None = None
    options: tuple[str, ...] = ()
    item: Any = None
    default: Any = attrs.field(factory=lambda: REQUIRED)
    nothing: str = ""

    @property
    def required(self) -> bool:
        return self.default is REQUIRED

    @property
    def longest(self) -> int:
        """Most characters of a text; an id has the box or plugin in front of the name."""
        return {"name": 200, "id": 300}.get(self.name, 10_000)

    @property
    def bounds(self) -> str:
        """The range in words with its unit, as in ``above 0 and at most 5000 g``."""
        signs = (("above", self.gt), ("at least", self.ge), ("below", self.lt), ("at most", self.le))
        words = " and ".join(f"{word} {limit:.12g}" for word, limit in signs if limit is not None)
        return f"{words} {self.unit}".strip() if words else self.unit and f"in {self.unit}"

    @property
    def rule(self) -> str:
        """What a right value is, in words."""
        kinds = {"number": "a number", "integer": "a whole number", "flag": "true or false", "text": "a text"}
        if self.kind in ("number", "integer"):
            return f"{kinds[self.kind]} {self.bounds}".strip()
        if self.kind == "choice":
            return "one of " + ", ".join([*self.options, *([f"or {self.nothing}"] if self.nothing else [])])
        if self.kind == "words or number":
            return f"a number {self.bounds}, or one of: ".replace(" ,", ",") + ", ".join(self.options)
        if self.kind == "many":
            return "a list, each " + (self.item.rule if isinstance(self.item, Declared) else "a table")
        if self.kind == "numbers":
            return f"a table, each {self.item.rule}"
        if self.kind == "row":
            return f"a list of {len(self.item)}: " + ", ".join(each.rule for each in self.item)
        if self.kind == "one":
            return "a table"
        if self.kind == "instance":
            return f"a {self.item if isinstance(self.item, str) else self.item.__name__}"
        return kinds[self.kind]


@attrs.frozen
class Problem:
    """One thing wrong with a value, before it is known which file it came from."""

    key: str
    value: object
    rule: str
    hint: str = ""
    wrong_type: bool = False


@attrs.frozen
class Rule:
    """A rule between fields: ``broken(*values)`` of ``keys`` tells whether it is violated.

    The fault names ``at``, by default the first key; ``broken`` may instead answer with every place behind it and what
    stands there, such as ``[2].seconds``: 20, or with the problems themselves. ``text`` says what would be right, or
    makes that from the values. Reading a file skips the rule while one of its fields is faulty itself, unless it takes
    what is left of a nested record (``partly``; None where nothing is).
    """

    keys: tuple[str, ...]
    broken: Callable[..., bool | Mapping[str, object] | Sequence[Problem]]
    text: str | Callable[..., str] = ""
    at: str = ""
    partly: bool = False

    def problems(self, values: Sequence[object], prefix: str = "") -> list[Problem]:
        """The problems these values make."""
        found = self.broken(*values)
        if not found:
            return []
        if isinstance(found, Sequence):
            return [attrs.evolve(each, key=f"{prefix}{each.key}") for each in found]
        key, said = f"{prefix}{self.at or self.keys[0]}", self.said(values)
        if isinstance(found, Mapping):
            return [Problem(f"{key}{place}", value, said) for place, value in found.items()]
        plain = not self.at and isinstance(values[0], str | int | float)
        return [Problem(key, values[0] if plain else None, said)]

    def said(self, values: Sequence[object]) -> str:
        """What would be right beside these values."""
        return self.text if isinstance(self.text, str) else self.text(*values)


def not_below(high: str, low: str) -> Rule:
    """Rule: where both are given, ``high`` is at least ``low``."""
    return Rule((high, low), lambda a, b: a is not None and b is not None and a < b, f"must be at least {low}")


def declared(cls: type) -> tuple[Declared, ...]:
    """The declarations of a record class in order; a field of another making is left out."""
    found: tuple[Declared, ...] = cls.__declared__  # type: ignore[attr-defined]
    return found


# ---------------------------------------------------------------- checking


def _wrong_type(key: str, value: object, right: str, hint: str = "") -> Problem:
    if isinstance(value, Mapping) or (isinstance(value, Sequence) and not isinstance(value, str | bytes)):
        return Problem(key, None, f"{right}, not a {'table' if isinstance(value, Mapping) else 'list'}", hint, True)
    return Problem(key, value, right, hint, True)


def _check_number(rule: Declared, value: object, key: str) -> tuple[Any, list[Problem]]:
    if type(value) is not float and (isinstance(value, bool) or not isinstance(value, numbers.Real)):
        hint = "write it without quotes" if isinstance(value, str) and _is_number(value) else ""
        return None, [_wrong_type(key, value, "must be " + rule.rule, hint)]
    try:
        found = float(value)
    except OverflowError:
        found = math.inf
    if not math.isfinite(found):
        return None, [Problem(key, found, "must be finite: " + rule.rule)]
    outside = (
        (rule.gt is not None and not found > rule.gt)
        or (rule.ge is not None and not found >= rule.ge)
        or (rule.lt is not None and not found < rule.lt)
        or (rule.le is not None and not found <= rule.le)
    )
    whole = rule.kind == "integer"
    if outside or (whole and not found.is_integer()):
        return None, [Problem(key, value, "must be " + rule.rule)]
    return (int(found) if whole else found), []


def _is_number(value: str) -> bool:
    try:
        return math.isfinite(float(value))
    except ValueError:
        return False


def _check_words(rule: Declared, value: object, key: str) -> tuple[Any, list[Problem]]:
    if rule.kind == "words or number" and not isinstance(value, str):
        found, problems = _check_number(rule, value, key)
        return found, [attrs.evolve(problem, rule="must be " + rule.rule) for problem in problems]
    if not isinstance(value, str):
        return None, [_wrong_type(key, value, "must be " + rule.rule)]
    if value not in rule.options:
        return None, [Problem(key, value, "must be " + rule.rule, did_you_mean(value, rule.options))]
    return value, []


def _check_text(rule: Declared, value: object, key: str) -> tuple[Any, list[Problem]]:
    if not isinstance(value, str):
        return None, [_wrong_type(key, value, "must be " + rule.rule)]
    if not value.strip():
        return None, [Problem(key, value, "must not be empty")]
    wrong = text_rule(value)
    if not wrong and len(value) > rule.longest:
        wrong = f"must be at most {rule.longest} characters long"
    return (None, [Problem(key, value, wrong)]) if wrong else (value, [])


_TURNS = re.compile("[\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069]")


def text_rule(value: str) -> str:
    """What is wrong with a text that holds controls of the writing direction, which let a name look like another.

    Empty where there is none. Source: Unicode Standard Annex 9, section 2.
    """
    return "must hold no bidirectional control characters" if _TURNS.search(value) else ""


def _check_many(rule: Declared, value: object, key: str, reading: bool) -> tuple[Any, list[Problem]]:
    if isinstance(value, str | bytes | Mapping) or not isinstance(value, Sequence):
        tables = isinstance(value, Mapping) and not isinstance(rule.item, Declared)
        head = re.sub(r"\[[0-9]+\]", "", key)
        hint = f"write [[{head}]]" if tables else ""
        return None, [_wrong_type(key, value, "must be " + rule.rule, hint)]
    item = rule.item if isinstance(rule.item, Declared) else Declared(kind="one", item=rule.item)
    checked = [check(item, each, f"{key}[{at}]", reading) for at, each in enumerate(value, start=1)]
    return tuple(good for good, _ in checked), [problem for _, bad in checked for problem in bad]


def _check_numbers(rule: Declared, value: object, key: str) -> tuple[Any, list[Problem]]:
    if not isinstance(value, Mapping):
        return None, [_wrong_type(key, value, "must be " + rule.rule)]
    checked = {str(name): _check_number(rule.item, each, f"{key}.{name}") for name, each in value.items()}
    good = Numbers({name: found for name, (found, _) in checked.items()})
    return good, [problem for _, bad in checked.values() for problem in bad]


def _check_row(rule: Declared, value: object, key: str, reading: bool) -> tuple[Any, list[Problem]]:
    if isinstance(value, str | bytes | Mapping) or not isinstance(value, Sequence) or len(value) != len(rule.item):
        return None, [Problem(key, value, "must be " + rule.rule, wrong_type=True)]
    checked = [
        check(item, each, f"{key}[{at}]", reading)
        for at, (item, each) in enumerate(zip(rule.item, value, strict=True), start=1)
    ]
    return tuple(good for good, _ in checked), [problem for _, bad in checked for problem in bad]


def _check_one(rule: Declared, value: object, key: str, reading: bool) -> tuple[Any, list[Problem]]:
    if isinstance(value, rule.item):
        return value, []
    if reading and isinstance(value, Mapping):
        return walk(rule.item, value, key)
    right = "must be a table of keys" if reading else f"must be a {rule.item.__name__}"
    return None, [_wrong_type(key, value, right)]


def check(rule: Declared, value: object, key: str, reading: bool) -> tuple[Any, list[Problem]]:
    """Return the value in its kept form, and what is wrong with it."""
    if rule.default is None and (value is None or (rule.nothing and value == rule.nothing)):
        return None, []
    if rule.kind in ("number", "integer"):
        return _check_number(rule, value, key)
    if rule.kind in ("choice", "words or number"):
        return _check_words(rule, value, key)
    if rule.kind == "text":
        named = rule.item is not None and not reading and isinstance(value, rule.item)
        return (value, []) if named else _check_text(rule, value, key)
    if rule.kind == "numbers":
        return _check_numbers(rule, value, key)
    if nested := {"many": _check_many, "row": _check_row, "one": _check_one}.get(rule.kind):
        return nested(rule, value, key, reading)
    right = isinstance(value, bool) if rule.kind == "flag" else isinstance(value, rule.item)
    return (value, []) if right else (None, [_wrong_type(key, value, "must be " + rule.rule)])


def walk(cls: type, mapping: Mapping[str, Any], path: str) -> tuple[Any, list[Problem]]:
    """Read a record of ``cls`` from a mapping; return it, or None, and every problem.

    A misspelt key counts for the key it comes near to: that one is not called missing as well.
    """
    known = {rule.name: rule for rule in declared(cls)}
    defaults = _defaults(cls)
    prefix = f"{path}." if path else ""
    problems: list[Problem] = []
    good: dict[str, Any] = {}
    bad: set[str] = set()
    for key in mapping:
        if key not in known:
            open_keys = [each for each in known if mapping.get(each) is None]
            told = [hint for part, hint in cls.__hints__.items() if part in str(key).lower()]  # type: ignore[attr-defined]
            near = near_words(str(key), known)
            still_open = [each for each in near if each in open_keys]
            near = still_open or near
            guess = f"did you mean {' or '.join(near)}?" if near else "known keys: " + ", ".join(known)
            hint = told[0] if told else guess
            problems.append(Problem(f"{prefix}{key}", None, "unknown key", hint))
            bad.update(still_open)
    for key, rule in known.items():
        value = mapping.get(key)
        if value is None:
            if rule.required and key not in bad:
                problems.append(Problem(f"{prefix}{key}", None, f"missing; needs {rule.rule}"))
                bad.add(key)
            else:
                good[key] = defaults.get(key, REQUIRED)
            continue
        good[key], wrong = check(rule, value, f"{prefix}{key}", reading=True)
        if wrong:
            problems += wrong
            bad.add(key)
            if rule.kind == "one" and isinstance(value, Mapping):
                good[key] = readable(rule.item, value)
    rules: tuple[Rule, ...] = getattr(cls, "__rules__", ())
    for between in rules:
        if between.partly or bad.isdisjoint(between.keys):
            problems += between.problems([good[key] for key in between.keys], prefix)
    return (None if problems else _checked(cls, good)), problems


@cache
def _defaults(cls: type) -> dict[str, Any]:
    """What fields that are left out hold."""
    return {rule.name: check(rule, rule.default, rule.name, False)[0] for rule in declared(cls) if not rule.required}


def _checked(cls: type, values: Mapping[str, Any]) -> Any:
    """A record of values that were checked already, and are not once more."""
    new: Any = object.__new__(cls)
    for name, value in values.items():
        object.__setattr__(new, name, value)
    return new


def readable(cls: type, mapping: Mapping[str, Any]) -> SimpleNamespace:
    """The fields of a faulty record as far as they can be read, nested ones too: a faulty value is None."""

    def read(rule: Declared, value: object) -> Any:
        if value is None:
            return None if rule.required else rule.default
        nested = isinstance(rule.item, type) and rule.kind in ("one", "many")
        if nested and rule.kind == "one" and isinstance(value, Mapping):
            return readable(rule.item, value)
        if nested and isinstance(value, list) and all(isinstance(each, Mapping) for each in value):
            return tuple(readable(rule.item, each) for each in value)
        found, problems = check(rule, value, rule.name, reading=True)
        return None if problems and rule.kind != "numbers" else found

    return SimpleNamespace(**{rule.name: read(rule, mapping.get(rule.name)) for rule in declared(cls)})


T = TypeVar("T")
_KEY = "propmatch"


def _kept(rule: Declared, value: object, owner: object, name: str) -> object:
    """A value as the field of a record keeps it; raises TypeError or ValueError where it cannot be one."""
    found, problems = check(rule, value, name, reading=False)
    if problems:
        faults = [Fault(type(owner).__name__, each.key, each.value, each.rule, each.hint) for each in problems]
        kind = TypeError if problems[0].wrong_type else ValueError
        raise kind("\n".join(str(fault) for fault in faults))
    return found


_KEEP: Any = attrs.Converter(
    lambda value, owner, field: _kept(field.metadata[_KEY], value, owner, field.name), takes_self=True, takes_field=True
)  # fmt: skip
"""One for all fields: attrs looks into the signature of each."""


def _field(rule: Declared, eq: bool = True) -> Any:
    return attrs.field(default=rule.default, converter=_KEEP, eq=eq, metadata={_KEY: rule})


def number(
    unit: str = "",
    *,
    gt: float | None = None,
    ge: float | None = None,
    lt: float | None = None,
    le: float | None = None,
    default: Any = REQUIRED,
    doc: str = "",
) -> Any:
    """A finite number kept as float; bool is refused."""
    return _field(Declared(kind="number", unit=unit, gt=gt, ge=ge, lt=lt, le=le, default=default, doc=doc))


def integer(
    unit: str = "", *, ge: int | None = None, le: int | None = None, default: Any = REQUIRED, doc: str = ""
) -> Any:
    """A whole number kept as int; 2.0 is accepted, 2.5 and bool are refused."""
    return _field(Declared(kind="integer", unit=unit, ge=ge, le=le, default=default, doc=doc))


def text(*, default: Any = REQUIRED, or_instance: type | None = None, doc: str = "") -> Any:
    """A text that is not blank, kept as written; in Python also the object that the text would name."""
    return _field(Declared(kind="text", item=or_instance, default=default, doc=doc))


def flag(*, default: Any = REQUIRED, doc: str = "") -> Any:
    """True or false."""
    return _field(Declared(kind="flag", default=default, doc=doc))


def choice(options: Sequence[str], *, default: Any = REQUIRED, nothing: str = "", doc: str = "") -> Any:
    """One of a few words; ``nothing`` stands for None."""
    return _field(Declared(kind="choice", options=tuple(options), default=default, nothing=nothing, doc=doc))


def words_or_number(
    options: Sequence[str],
    unit: str = "",
    *,
    gt: float | None = None,
    ge: float | None = None,
    lt: float | None = None,
    le: float | None = None,
    default: Any = REQUIRED,
    doc: str = "",
) -> Any:
    """A number in a range, or one of a few wordings that stand for one."""
    return _field(
        Declared(
            kind="words or number", options=tuple(options), unit=unit,
            gt=gt, ge=ge, lt=lt, le=le, default=default, doc=doc,
        )
    )  # fmt: skip


def one(cls: type, *, default: Any = REQUIRED, doc: str = "") -> Any:
    """A nested record; in a file a table."""
    return _field(Declared(kind="one", item=cls, default=default, doc=doc))


def many(item: Any, *, default: Any = REQUIRED, doc: str = "") -> Any:
    """A list kept as tuple: of records (give the class) or of plain values (give ``integer(...)``)."""
    inner = item if isinstance(item, type) else item.metadata[_KEY]
    return _field(Declared(kind="many", item=inner, default=default, doc=doc))


def numbers_by_name(each: Any, *, default: Any = REQUIRED, doc: str = "") -> Any:
    """A table of numbers by name, kept as ``Numbers``; ``each`` is what ``number(...)`` makes."""
    return _field(Declared(kind="numbers", item=each.metadata[_KEY], default=default, doc=doc))


def row(*places: Any, doc: str = "") -> Any:
    """A short list kept as tuple, one declaration for each place: what ``many`` takes as its item."""
    return _field(Declared(kind="row", item=tuple(each.metadata[_KEY] for each in places), doc=doc))


def instance(cls: type, *, default: Any = REQUIRED, eq: bool = True, doc: str = "") -> Any:
    """A ready object of a class, such as an array carrier; it has no form in a file of keys."""
    return _field(Declared(kind="instance", item=cls, default=default, doc=doc), eq=eq)


def _obey(self: Any) -> None:
    name = type(self).__name__
    problems = [each for rule in type(self).__rules__ for each in rule.problems([getattr(self, k) for k in rule.keys])]
    faults = [str(Fault(name, each.key, each.value, each.rule, each.hint)) for each in problems]
    if faults:
        raise ValueError("\n".join(faults))


@dataclass_transform(
    kw_only_default=True,
    frozen_default=True,
    field_specifiers=(
        number,
        integer,
        text,
        flag,
        choice,
        words_or_number,
        one,
        many,
        numbers_by_name,
        instance,
        attrs.field,
    ),
)
def record(
    *, rules: tuple[Rule, ...] = (), positional: tuple[str, ...] = (), hints: Mapping[str, str] | None = None
) -> Callable[[type[T]], type[T]]:
    """Make a frozen attrs class whose fields are declared here and obey ``rules``, its bases' too.

    Fields are keyword-only but for those named ``positional``. ``hints`` say what to write instead of an unknown key
    that holds such a word.
    """

    def decorate(cls: Any) -> Any:
        for name in cls.__annotations__:
            if name in vars(cls) and name not in positional:
                vars(cls)[name].kw_only = True
        cls.__rules__ = (*getattr(cls, "__rules__", ()), *rules)
        cls.__hints__ = hints or {}
        cls.__attrs_post_init__ = _obey
        made = attrs.frozen(cls, repr=False)
        made.__repr__ = _written
        made._repr_html_ = _html
        made.__declared__ = tuple(
            attrs.evolve(field.metadata[_KEY], name=field.name)
            for field in attrs.fields(made)
            if _KEY in field.metadata
        )
        types = {field.name: field.type for field in attrs.fields(made)}
        made.__init__.__annotations__ = {**types, "return": None}
        made.__doc__ = _Told(cls.__doc__ or "")
        return made

    return decorate


class _Told:
    """The text of a record class for its help, with what is declared: made when somebody asks."""

    def __init__(self, text: str) -> None:
        self._text = text

    def __get__(self, instance: object, owner: type) -> str:
        types = {field.name: field.type for field in attrs.fields(owner)}
        lines = [line for rule in declared(owner) for line in _help_lines(rule, types[rule.name])]
        block = "\n".join(["Attributes", "----------", *lines])
        return "\n\n".join(filter(None, (inspect.cleandoc(self._text), block)))


def _help_lines(rule: Declared, kind: Any) -> list[str]:
    """``name : type [unit], default``; below it the meaning, and the range or the words allowed."""
    unit = f" [{rule.unit}]" if rule.unit else ""
    default = "" if rule.required else f", default {_written(rule.default)}"
    inner = rule.item if isinstance(rule.item, Declared) else rule
    ruled = inner.bounds or inner.options or inner.kind == "row"
    below = [rule.doc or inner.doc, rule.rule if ruled else ""]
    short = re.sub(r"\b(\w+\.)+(?=\w)", "", inspect.formatannotation(kind))
    return [f"{rule.name} : {short}{unit}{default}", *(f"    {line}" for line in below if line)]


def _written(value: Any) -> str:
    """``repr``, a record without the fields that stand at their default."""
    if not hasattr(type(value), "__declared__"):
        return repr(value)
    told = ((rule, getattr(value, rule.name)) for rule in declared(type(value)))
    fields = ", ".join(f"{rule.name}={_written(each)}" for rule, each in told if rule.required or each != rule.default)
    return f"{type(value).__name__}({fields})"


def _html(record: Any) -> str:
    """Name, number and unit of what is not at its default, for a notebook."""
    told = ((rule, getattr(record, rule.name)) for rule in declared(type(record)))
    pairs = {
        f"{rule.name} [{rule.unit}]" if rule.unit else rule.name: value
        if isinstance(value, int | float)
        else str(value)
        for rule, value in told
        if rule.required or value != rule.default
    }
    return pairs_html(pairs, caption=type(record).__name__)


def replace(item: T, **changes: Any) -> T:
    """The same record with some fields changed; what changes is checked, and every rule between fields."""
    rules = {rule.name: rule for rule in getattr(type(item), "__declared__", ())}
    if not changes.keys() <= rules.keys():
        other: T = attrs.evolve(item, **changes)  # type: ignore[misc]
        return other
    new = copy(item)
    for name, value in changes.items():
        object.__setattr__(new, name, _kept(rules[name], value, item, name))
    _obey(new)
    return new


def build(
    cls: type[T],
    mapping: Mapping[str, Any],
    where: str,
    *,
    lines: Mapping[str, int] | None = None,
    path: str = "",
) -> tuple[T | None, list[Fault]]:
    """Read a record from a mapping of keys and report every fault; nothing is raised.

    Parameters
    ----------
    cls : type
        A class marked ``@record``.
    mapping : mapping
        Keys as in the class; None counts as not given. Nested records are mappings, lists are lists.
    where : str
        File, or file:sheet:row.
    lines : mapping, optional
        Line number of a key path; a fault then says file:line. A missing key gets the line of its table.
    path : str, optional
        Key path of the mapping itself, put before every key.

    Returns
    -------
    tuple
        The record, or None when there is any fault, and the list of faults in the order of the file.
    """
    found, problems = walk(cls, mapping, path)
    return found, placed(problems, where, lines or {})


def placed(problems: Sequence[Problem], where: str, lines: Mapping[str, int]) -> list[Fault]:
    """The faults that problems are in a file, in its order; parameters as in :func:`build`."""
    by_line = sorted(((_line_of(each.key, lines), each) for each in problems), key=lambda pair: pair[0])
    return [
        Fault(f"{where}:{line}" if line else where, each.key, each.value, each.rule, each.hint)
        for line, each in by_line
    ]


def _line_of(key: str, lines: Mapping[str, int]) -> int:
    """Line of ``a.b[2].c``, else of ``a.b[2]``, ``a.b`` or ``a``; 0 where none is known."""
    while key and key not in lines:
        cut = key.rfind("[") if key.endswith("]") else key.rfind(".")
        key = key[:cut] if cut > 0 else ""
    return lines.get(key, 0)
