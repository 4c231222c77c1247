"""Prices as people write them: an amount with a currency before it or behind it, or alone."""

import re
from collections.abc import Iterable

import attrs

__all__ = ["Price", "read_price", "total"]

_PRICE = re.compile(r"([^\d.,+-]*)(\d[\d.,' \u00a0\u202f]*)([^\d.,+-]*|,?-+[^\d.,+-]*)")
_BLANKS = str.maketrans("", "", "' \u00a0\u202f")


@attrs.frozen
class Price:
    """An amount, and the currency as it was written, empty where none was."""

    amount: float
    currency: str = ""

    def __str__(self) -> str:
        return f"{self.amount:.2f} {self.currency}".rstrip()


def read_price(text: str) -> Price | None:
    """``12.50``, ``12,50 EUR``, ``$ 1,234.50`` or ``9,-``; None for what is no amount, or may be two (``1,234``)."""
    found = _PRICE.fullmatch(text.strip())
    if found is None or (found[1].strip() and found[3].strip(" -,")):
        return None
    number = found[2].translate(_BLANKS).rstrip(",.")
    last = max(number.rfind(","), number.rfind("."))
    marks = set(number) & set(",.")
    if len(marks) == 2:
        if number.count(number[last]) > 1:
            return None
        whole, part = number[:last], number[last + 1 :]
    elif last >= 0 and number.count(number[last]) == 1 and len(number) - last - 1 != 3:
        whole, part = number[:last], number[last + 1 :]
    elif last >= 0 and number.count(number[last]) == 1:
        return None
    else:
        whole, part = number, ""
    digits = re.sub("[.,]", "", whole)
    if last >= 0 and whole != digits and not re.fullmatch(r"\d{1,3}([.,]\d{3})+", whole):
        return None
    return Price(float(f"{digits}.{part or 0}"), found[1].strip() or found[3].strip(" -,"))


def total(prices: Iterable[tuple[int, Price]]) -> tuple[Price, ...]:
    """The sum of each currency, of so many pieces at a price each."""
    sums: dict[str, float] = {}
    for count, price in prices:
        sums[price.currency] = sums.get(price.currency, 0.0) + count * price.amount
    return tuple(Price(amount, currency) for currency, amount in sums.items())
