"""Prices as people write them; the ways of writing an amount are common practice, no published source."""

import pytest

from propmatch.records.parts import Motor
from propmatch.records.price import Price, read_price, total


@pytest.mark.parametrize(
    ("text", "amount", "currency"),
    [
        ("12.50", 12.5, ""), ("12", 12, ""), ("12,50 EUR", 12.5, "EUR"), ("€12.5", 12.5, "€"),
        ("$ 1,234.50", 1234.5, "$"), ("1.234,50 €", 1234.5, "€"), ("1 234,50 Kč", 1234.5, "Kč"),
        ("9,-", 9, ""), ("CHF 1'234.50", 1234.5, "CHF"),
        ("1,234,567 JPY", 1234567, "JPY"), ("0", 0, ""),
    ],
)  # fmt: skip
def test_an_amount_is_read_with_its_currency_before_or_behind(text, amount, currency):
    assert read_price(text) == Price(amount, currency)


@pytest.mark.parametrize(
    "text", ["", "free", "1,234", "1.234", "-3", "12 EUR 50", "EUR 12 CHF", "1,23,4.5", "1.2.3,4.5"]
)
def test_what_is_no_amount_or_may_be_two_is_refused(text):
    assert read_price(text) is None


def test_a_part_keeps_its_price_as_written_and_refuses_what_is_none():
    assert Motor(name="falke", kv_rpm_per_v=1450, mass_g=28, count=2, price="12,50 EUR").price == "12,50 EUR"
    with pytest.raises(ValueError, match="must be an amount"):
        Motor(name="falke", kv_rpm_per_v=1450, mass_g=28, price="cheap")


def test_sums_are_made_for_each_currency():
    assert total([(2, Price(1.5, "EUR")), (1, Price(2, "EUR")), (1, Price(3, ""))]) == (Price(5, "EUR"), Price(3, ""))
