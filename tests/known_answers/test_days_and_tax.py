"""Months as papers count them, and tax rounded by the published rules."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from knowngood.shop.days import after_days, after_months
from knowngood.shop.money import Money, Taxes, tax_of


def test_months_end_on_the_same_number() -> None:
    """Court of Justice, case 152/85 (Misset), ECR 1987, 223: a measure of 18 February 1985 and
    three months: the period ended on 18 May, and the two days of distance on 20 May."""
    end = after_months(date(1985, 2, 18), 3)
    assert end == date(1985, 5, 18)
    assert after_days(end, 2) == date(1985, 5, 20)


@pytest.mark.parametrize(
    ("start", "months", "end"),
    [
        ("2023-01-31", 1, "2023-02-28"),
        ("2024-01-31", 1, "2024-02-29"),
        ("2024-02-29", 12, "2025-02-28"),
        ("2024-02-29", 48, "2028-02-29"),
        ("2023-08-31", 6, "2024-02-29"),
        ("2023-12-31", 2, "2024-02-29"),
        ("2099-11-30", 3, "2100-02-28"),  # 2100 is no leap year
    ],
)
def test_no_such_day_in_the_last_month(start: str, months: int, end: str) -> None:
    """Regulation (EEC, Euratom) 1182/71, article 3(2): where the day does not occur in the last
    month, the period ends with the last day of that month."""
    assert after_months(date.fromisoformat(start), months) == date.fromisoformat(end)


@given(st.dates(date(1900, 1, 1), date(2200, 1, 1)), st.integers(0, 400))
def test_the_next_day_is_never_in_the_period(start: date, months: int) -> None:
    end = after_months(start, months)
    number = end.year * 12 + end.month - start.year * 12 - start.month
    assert number == months
    assert end.day == start.day or (
        end.day < start.day and (end + timedelta(days=1)).month != end.month
    )


def eur(text: str) -> Money:
    return Money(Decimal(text), "EUR")


def test_a_line_rounded_to_a_tenth_of_a_penny_and_to_the_nearest_penny() -> None:
    """HMRC Notice 700, paragraph 17.5 (kinds of rounding confirmed by VATREC12010; its figures from
    memory): 86.76p of tax on a line is 86.7p rounded down to a tenth, 87p to the nearest penny."""
    tax = Money(Decimal("0.8676"), "GBP")
    assert tax.rounded(Decimal("0.001"), "down").amount == Decimal("0.867")
    assert tax.rounded(Decimal("0.01")).amount == Decimal("0.87")


def test_each_line_or_the_whole_paper() -> None:
    """Both ways are lawful in the EU, each by its country's rule (C-484/06 Ahold, C-302/07
    Wetherspoon): three lines of 0.33 at 21 % are 0.21 by line and 0.21 by total, of 0.35 they are
    0.21 (0.0735 each, 0.07) by line and 0.22 (0.2205) by total. Arithmetic."""
    lines = [(eur("0.35"), "high")] * 3
    percent = {"high": Decimal(21)}
    assert tax_of(lines, Taxes(percent, on="line"), "EUR").tax["high"] == eur("0.21")
    assert tax_of(lines, Taxes(percent, on="total"), "EUR").tax["high"] == eur("0.22")
    down = Taxes(percent, on="total", mode="down")
    assert tax_of([(eur("9.9995"), "high")], down, "EUR").tax["high"] == eur("2.09")


def test_tax_inside_a_price() -> None:
    """Gross 120.00 at 20 % holds 20.00: the VAT fraction 1/6 (HMRC Notice 700, section 3.1: the
    fraction of a rate r is r / (100 + r))."""
    found = tax_of([(eur("120.00"), "std")], Taxes({"std": Decimal(20)}, included=True), "EUR")
    assert (found.net, found.gross) == (eur("100.00"), eur("120.00"))
    assert found.tax == {"std": eur("20.00")}


@given(
    st.lists(st.tuples(st.decimals(0, 10_000, places=2), st.sampled_from(["", "a", "b"]))),
    st.sampled_from(["line", "total"]), st.booleans(),
)  # fmt: skip
def test_net_and_tax_are_the_gross(
    lines: list[tuple[Decimal, str]], on: str, included: bool
) -> None:
    table = Taxes({"a": Decimal(21), "b": Decimal("5.5")}, on=on, included=included)  # type: ignore[arg-type]
    found = tax_of([(Money(p, "EUR"), rate) for p, rate in lines], table, "EUR")
    assert found.net + sum(found.tax.values(), eur("0")) == found.gross
    exact = sum((p for p, _ in lines), Decimal(0))
    assert (found.gross if included else found.net).amount == exact
