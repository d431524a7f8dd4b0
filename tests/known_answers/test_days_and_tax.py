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


SIX = (
    "19.90 9.85 8.29 14.46 35.00 35.00 10.65 1.55 14.37 8.29 16.58 9.95 3.30 3.90 102.12 -109.98"
)
TWENTY_ONE = "10.80 7.60 9.34 18.63"


def published() -> list[tuple[Money, str]]:
    return [(eur(x), "low") for x in SIX.split()] + [(eur(x), "high") for x in TWENTY_ONE.split()]


def cents(prices: str, percent: int, per: int, down: bool = False) -> int:
    """The tax of each price rounded to 1/`per` of a cent, added up in whole numbers of these."""
    whole = 0
    for price in prices.split():
        hundred_parts = round(float(price) * 100) * percent * per  # hundredths of 1/per cent
        step = abs(hundred_parts) // 100 if down else (abs(hundred_parts) + 50) // 100
        whole += step if hundred_parts >= 0 else -step
    return whole


def test_an_invoice_taxed_on_its_total() -> None:
    """The first example invoice of CEN/TC 434 for EN 16931-1 (ubl-tc434-example1.xml of the
    European Commission's eInvoicing-EN16931, Dutch, 20 lines, 6 and 21 %): 183.23 holds 10.99 and
    46.37 holds 9.74; 229.60 net, 20.73 tax, 250.33 to pay."""
    table = Taxes({"low": Decimal(6), "high": Decimal(21)}, on="total")
    found = tax_of(published(), table, "EUR")
    assert found.tax == {"low": eur("10.99"), "high": eur("9.74")}
    assert (found.net, found.gross) == (eur("229.60"), eur("250.33"))


@pytest.mark.parametrize(("line_step", "per"), [("0.01", 1), ("0.001", 10)])
@pytest.mark.parametrize("down", [False, True])
def test_the_same_invoice_taxed_on_each_line(line_step: str, per: int, down: bool) -> None:
    """Both ways are lawful in the EU, each by its country's rule (C-484/06 Ahold, C-302/07
    Wetherspoon). No published invoice states this one by line: here it is counted in whole cents
    and tenths of them, without decimals."""
    table = Taxes(
        {"low": Decimal(6), "high": Decimal(21)}, on="line", line_step=Decimal(line_step),
        mode="down" if down else "half up",
    )  # fmt: skip
    found = tax_of(published(), table, "EUR")
    for name, prices, percent in (("low", SIX, 6), ("high", TWENTY_ONE, 21)):
        summed = cents(prices, percent, per, down)
        end = summed // per if down or per == 1 else (2 * summed + per) // (2 * per)
        assert found.tax[name] == eur(str(Decimal(end) / 100)), name
    by_hand = {("0.01", False): "9.74", ("0.001", False): "9.74",
               ("0.01", True): "9.72", ("0.001", True): "9.73"}  # fmt: skip
    # 21 % of 10.80, 7.60, 9.34 and 18.63: 2.268, 1.596, 1.9614 and 3.9123
    assert found.tax["high"] == eur(by_hand[line_step, down])


def test_a_sum_that_each_line_and_the_whole_paper_round_apart() -> None:
    """Three lines of 0.35 at 21 %: 0.0735 each is 0.07, 0.21 by line; 0.2205 is 0.22 by total."""
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
    for rate, percent in table.percent.items():  # each tax within its steps of the true one
        sums = [p for p, of in lines if of == rate]
        true = sum(sums, Decimal(0)) * percent / (100 + percent if included else 100)
        steps = Decimal("0.005") * max(len(sums) if on == "line" else 1, 1)
        assert abs(found.tax.get(rate, eur("0")).amount - true) <= steps
    assert (found.gross if included else found.net).amount == exact
