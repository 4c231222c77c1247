"""Any number of the page explained: the arithmetic of its check, with where each number comes from."""

from typing import Any

import numpy as np

from propmatch.catalogue.catalogue import Catalogue
from propmatch.checks.chances import Sureness, sureness
from propmatch.checks.checkrules import CHECKS, TOP, TOP_SPEED
from propmatch.checks.formula import evaluate, substituted
from propmatch.checks.limits import Check, Design, checks_of
from propmatch.checks.working import Input, Stated, Working, working
from propmatch.faults import Fault, InputFaults
from propmatch.models.arrays import Floats
from propmatch.page.answers import measured_train
from propmatch.records.brief import Brief
from propmatch.records.estimates import completed
from propmatch.records.parts import PowerTrain
from propmatch.words.chancewords import NO_ANSWER, hangs_words, range_words, sure_words
from propmatch.words.checkwords import check_name, limit_text, value_text

__all__ = ["explanation"]

_ALIAS = {"mass": "all_up_mass"}
_ADDED = Working("a check that a plugin adds; how it is made is the plugin's own")
_DIGITS = range(3, 16)


def explanation(brief: Brief, catalogue: Catalogue, ids: str, name: str, variant: str | None = None) -> dict[str, Any]:
    """Formula, inputs and sources of one number of one train; the arithmetic closes with the inputs as printed.

    Raises
    ------
    InputFaults
        No number of this name.
    """
    here, train, measured = measured_train(brief, catalogue, ids, variant)
    asked = _ALIAS.get(name, name)
    sure = sureness(here, train)
    check: Check | None = None
    state, surely = "", ""
    if asked == "top_speed":
        value, unit, state = float(measured.top.top_speed_m_s[0]), "m/s", TOP.words
        how = working(measured, 0, TOP_SPEED, TOP)
        surely = _range(sure, sure.measured.top.top_speed_m_s, unit)
    else:
        added = catalogue.extra_checks(Design.of(train, here.variant), brief)
        check = _check([*checks_of(measured, sure=[sure])[0], *added], asked)
        value, unit, how = check.value, check.unit, _ADDED
        if asked in CHECKS:
            surely = _range(sure, sure.measured[asked].value, unit)
            if np.isfinite(check.chance):
                surely += f" Its limit: {sure_words(check.chance, check.chance_wanted)}."
        if asked in CHECKS:
            how, state = CHECKS[asked].working(measured, 0), CHECKS[asked].state.words
    numbers = _printed(how, value, unit)
    own = {each.symbol: text for each, text in zip(how.inputs, numbers, strict=True) if each.symbol}
    return {
        "name": name,
        "title": f"{check_name(asked)}: {value_text(value, unit)}",
        "value": value if np.isfinite(value) else None,
        "unit": unit,
        "formula": how.formula,
        "arithmetic": f"{substituted(how.formula, own)} = {value_text(value, unit)}"
        if own and "-" not in own.values()
        else "",
        "state": state,
        "inputs": [
            {
                "symbol": each.symbol,
                "label": each.label,
                "value": each.value if np.isfinite(each.value) else None,
                "text": f"{text} {each.unit}".strip(),
                "source": _source(train, each),
            }
            for each, text in zip(how.inputs, numbers, strict=True)
        ],
        "limit": "" if check is None else _limit(check),
        "sure": surely,
        "note": "" if check is None else check.note,
        "assumptions": [f"{a.subject}: {a.text}" for a in (*here.assumptions, *completed(train)[1])],
    }


def _check(checks: list[Check], asked: str) -> Check:
    for check in checks:
        if check.name == asked:
            return check
    known = ", ".join(("top_speed", *(check.name for check in checks)))
    raise InputFaults([Fault("explain", "name", asked, f"must be one of {known}")])


def _range(sure: Sureness, values: Floats, unit: str) -> str:
    """The range of a number, and what it hangs on; empty where nothing varies."""
    ends, why = sure.interval(values), hangs_words(sure.shares(values), sure)
    if not why:
        return ""
    unanswered = np.isnan(ends.low) and np.isnan(ends.high)
    said = NO_ANSWER if unanswered else f"{range_words(ends.low, ends.high, unit)} {unit}".rstrip()
    return f"In 80 of 100 builds {said}; {why}."


def _limit(check: Check) -> str:
    if not np.isfinite(check.limit):
        return ""
    source = f": {CHECKS[check.name].limit_from}" if check.name in CHECKS else ""
    return f"{limit_text(check)}; from {check.limit_source}{source}"


def _source(train: PowerTrain, each: Input) -> str:
    if not isinstance(each.source, Stated):
        return each.source
    part = getattr(train, each.source.part)
    if getattr(part, each.source.field) is None:
        return f"{part.name}: estimated, see the assumptions"
    return f"{part.name}: {part.source.text} ({part.source.kind})"


def _printed(how: Working, value: float, unit: str) -> list[str]:
    """The inputs with the fewest digits, three or more, from which the formula gives the value as it is printed."""
    wanted, texts = value_text(value, unit), [_number(each.value, _DIGITS[0]) for each in how.inputs]
    if not np.isfinite([value, *(each.value for each in how.inputs if each.symbol)]).all():
        return texts
    for digits in _DIGITS:
        texts = [_number(each.value, digits) for each in how.inputs]
        given = {e.symbol: float(text) for e, text in zip(how.inputs, texts, strict=True) if e.symbol}
        if not given or value_text(evaluate(how.formula, given), unit) == wanted:
            break
    return texts


def _number(value: float, digits: int) -> str:
    """A number with so many digits that count, and no fewer than its whole part has; ``-`` where there is none."""
    if not np.isfinite(value):
        return "-"
    whole = len(str(int(abs(value))))
    return np.format_float_positional(value, precision=max(digits, whole), fractional=False, trim="-")
