"""Formulas as a reader writes them, reckoned: names, numbers, + - * / ^, brackets, sqrt() and abs()."""

import ast
import math
import operator
import re
from collections.abc import Callable, Mapping

__all__ = ["evaluate", "substituted", "symbols_of"]

_TWO: dict[type[ast.operator], Callable[[float, float], float]] = {
    ast.Add: operator.add,
    ast.Sub: operator.sub,
    ast.Mult: operator.mul,
    ast.Div: operator.truediv,
    ast.Pow: operator.pow,
}
_NAME = r"[A-Za-z]\w*"
_ONE: dict[str, Callable[[float], float]] = {"sqrt": lambda x: math.sqrt(x) if x >= 0 else math.nan, "abs": abs}


def evaluate(formula: str, values: Mapping[str, float]) -> float:
    """The right-hand side of a formula such as ``V = sqrt(2 * W/(rho * S))``; NaN where it has no value.

    Parameters
    ----------
    formula : str
    values : mapping of every symbol but pi to its number

    Raises
    ------
    KeyError
        A symbol without a number.
    ValueError
        A formula that is none.
    """
    try:
        tree = ast.parse(_right(formula).replace("^", "**"), mode="eval")
    except SyntaxError as error:
        raise ValueError(f"not a formula: {formula!r}") from error
    try:
        return _reckon(tree.body, {"pi": math.pi, **values})
    except (ArithmeticError, OverflowError):
        return math.nan


def _reckon(node: ast.expr, values: Mapping[str, float]) -> float:
    match node:
        case ast.Constant(value=int() | float() as number):
            return float(number)
        case ast.Name(id=name):
            return values[name]
        case ast.BinOp(left=left, op=op, right=right) if type(op) in _TWO:
            return float(_TWO[type(op)](_reckon(left, values), _reckon(right, values)))
        case ast.UnaryOp(op=ast.USub(), operand=inner):
            return -_reckon(inner, values)
        case ast.Call(func=ast.Name(id=name), args=[inner]) if name in _ONE:
            return float(_ONE[name](_reckon(inner, values)))
    raise ValueError(f"no part of a formula: {ast.unparse(node)}")


def symbols_of(formula: str) -> tuple[str, ...]:
    """The symbols of the right-hand side that need a number, each once, in their order."""
    found = re.findall(_NAME, _right(formula))
    return tuple(name for name in dict.fromkeys(found) if name not in ("pi", *_ONE))


def substituted(formula: str, texts: Mapping[str, str]) -> str:
    """The right-hand side with a text in the place of each symbol."""
    return re.sub(_NAME, lambda found: texts.get(found[0], found[0]), _right(formula))


def _right(formula: str) -> str:
    return formula.rpartition("=")[2].strip()
