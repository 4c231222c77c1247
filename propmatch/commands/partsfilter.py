"""``--where "mass<25g"``: conditions on the numbers and words of a part."""

import re
from collections.abc import Callable, Sequence
from fnmatch import fnmatchcase
from typing import Any

from propmatch.faults import Fault

__all__ = ["condition"]

_CONDITION = re.compile(r"\s*([A-Za-z_][\w-]*)\s*(<=|>=|!=|<|>|=)\s*(.+?)\s*")
_COMPARE: dict[str, Callable[[Any, Any], bool]] = {
    "<": lambda value, limit: value < limit,
    "<=": lambda value, limit: value <= limit,
    ">": lambda value, limit: value > limit,
    ">=": lambda value, limit: value >= limit,
    "=": lambda value, limit: value == limit,
    "!=": lambda value, limit: value != limit,
}


def condition(cls: type, texts: Sequence[str], faults: list[Fault]) -> Callable[[Any], bool]:
    """A test for parts of a class that must meet every condition; an unknown number meets none.

    What is wrong with a condition goes to ``faults``.
    """
    tests = [test for text in texts if (test := _test(cls, text, faults)) is not None]
    return lambda part: all(test(part) for test in tests)


def _test(cls: type, text: str, faults: list[Fault]) -> Callable[[Any], bool] | None:
    from propmatch.records.typed import field_of, read_value

    found = _CONDITION.fullmatch(text)
    if found is None:
        faults.append(Fault("--where", value=text, rule="must be a key, a sign and a value", hint='such as "mass<25g"'))
        return None
    key, sign, wanted = found.groups()
    rule = field_of(cls, key)
    if not isinstance(rule, Fault):
        value = read_value(rule, wanted)
        if rule.kind not in ("number", "integer") and sign not in ("=", "!="):
            value = Fault("", rule.name, text, "holds words: compare with = or !=")
        if not isinstance(value, Fault):
            return _words(rule.name, sign, value) if isinstance(value, str) else _numbers(rule.name, sign, value)
        rule = value
    faults.append(Fault("--where", rule.key, rule.value, rule.rule, rule.hint))
    return None


def _numbers(name: str, sign: str, limit: float) -> Callable[[Any], bool]:
    compare = _COMPARE[sign]

    def test(part: Any) -> bool:
        value = getattr(part, name)
        return value is not None and compare(value, limit)

    return test


def _words(name: str, sign: str, pattern: str) -> Callable[[Any], bool]:
    lower, wanted = pattern.lower(), sign == "="

    def test(part: Any) -> bool:
        value = getattr(part, name)
        return value is not None and fnmatchcase(str(value).lower(), lower) == wanted

    return test
