"""One declaration for each field: its unit, range and meaning serve Python, files, columns and the schema.

``number(...)``, ``integer(...)`` and the others make a field of a class marked ``@record``. The declaration
then validates objects built in Python (``TypeError`` or ``ValueError``), lets :func:`build` read a mapping from
a file and report every fault at once, and tells the schema exporter and the table readers unit and range.
"""

from collections.abc import Callable, Mapping, Sequence
from typing import Any, TypeVar, dataclass_transform

import attrs

from propmatch.declared import REQUIRED, Declared, Rule, check, declared, not_below, walk
from propmatch.faults import Fault

__all__ = [
    "REQUIRED",
    "Declared",
    "Rule",
    "build",
    "choice",
    "declared",
    "flag",
    "instance",
    "integer",
    "many",
    "not_below",
    "number",
    "one",
    "record",
    "replace",
    "text",
    "words_or_number",
]

T = TypeVar("T")
_KEY = "propmatch"


def _field(rule: Declared, eq: bool = True) -> Any:
    def keep(value: object, owner: object, attribute: Any) -> object:
        found, problems = check(rule, value, attribute.name, reading=False)
        if problems:
            name = type(owner).__name__
            faults = [Fault(name, each.key, each.value, each.rule, each.hint) for each in problems]
            kind = TypeError if problems[0].wrong_type else ValueError
            raise kind("\n".join(str(fault) for fault in faults))
        return found

    converter = attrs.Converter(keep, takes_self=True, takes_field=True)
    return attrs.field(default=rule.default, converter=converter, eq=eq, metadata={_KEY: rule})


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


def choice(options: Sequence[str], *, default: Any = REQUIRED, doc: str = "") -> Any:
    """One of a few words."""
    return _field(Declared(kind="choice", options=tuple(options), default=default, doc=doc))


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


def instance(cls: type, *, default: Any = REQUIRED, eq: bool = True, doc: str = "") -> Any:
    """A ready object of a class, such as an array carrier; it has no form in a file of keys."""
    return _field(Declared(kind="instance", item=cls, default=default, doc=doc), eq=eq)


def _obey(self: Any) -> None:
    name = type(self).__name__
    problems = [rule.problem([getattr(self, key) for key in rule.keys]) for rule in type(self).__rules__]
    faults = [str(Fault(name, each.key, each.value, each.rule)) for each in problems if each]
    if faults:
        raise ValueError("\n".join(faults))


@dataclass_transform(
    kw_only_default=True,
    frozen_default=True,
    field_specifiers=(number, integer, text, flag, choice, words_or_number, one, many, instance, attrs.field),
)
def record(*, rules: tuple[Rule, ...] = (), positional: tuple[str, ...] = ()) -> Callable[[type[T]], type[T]]:
    """Make a frozen attrs class whose fields are declared here and obey ``rules``, its bases' too.

    Fields are keyword-only but for those named ``positional``.
    """

    def decorate(cls: Any) -> Any:
        for name in cls.__annotations__:
            if name in vars(cls) and name not in positional:
                vars(cls)[name].kw_only = True
        cls.__rules__ = (*getattr(cls, "__rules__", ()), *rules)
        cls.__attrs_post_init__ = _obey
        made = attrs.frozen(cls)
        made.__declared__ = tuple(
            attrs.evolve(field.metadata[_KEY], name=field.name)
            for field in attrs.fields(made)
            if _KEY in field.metadata
        )
        return made

    return decorate


def replace(item: T, **changes: Any) -> T:
    """The same record with some fields changed; everything is checked again."""
    changed: T = attrs.evolve(item, **changes)  # type: ignore[misc]
    return changed


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
    placed = sorted(((_line_of(each.key, lines or {}), each) for each in problems), key=lambda pair: pair[0])
    faults = [
        Fault(f"{where}:{line}" if line else where, each.key, each.value, each.rule, each.hint) for line, each in placed
    ]
    return found, faults


def _line_of(key: str, lines: Mapping[str, int]) -> int:
    """Line of ``a.b[2].c``, else of ``a.b[2]``, ``a.b`` or ``a``; 0 where none is known."""
    while key and key not in lines:
        cut = key.rfind("[") if key.endswith("]") else key.rfind(".")
        key = key[:cut] if cut > 0 else ""
    return lines.get(key, 0)
