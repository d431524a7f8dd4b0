"""Bills, approvals and amounts as people type them."""

from __future__ import annotations

from datetime import UTC, datetime
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from knowngood.shop.estimate import (
    Approval,
    Line,
    bill,
    labour_line,
    may_go_on,
    repair_or_replace,
)
from knowngood.shop.money import Money, MoneyProblem, Taxes, read_amount

AT = datetime(2026, 5, 4, 9, tzinfo=UTC)
TAX = Taxes({"sales": Decimal("8.25")})


def usd(text: str) -> Money:
    return Money(Decimal(text), "USD")


def test_a_bill_with_a_credited_fee_and_part_payments() -> None:
    lines = [
        labour_line(Decimal(40), Decimal(90), "USD", "finding and replacing"),
        Line("part", "drive board", usd("84.00"), tax="sales"),
        Line("part", "screw", usd("0.35"), Decimal(4), "sales"),
    ]
    found = bill(lines, TAX, "USD", [usd("50.00")], usd("25.00"), Decimal(50))
    # 60.00 + 84.00 + 1.40 - 25.00 = 120.40; tax 8.25 % of 85.40 = 7.0455
    assert found.taxed.net == usd("120.40")
    assert found.taxed.tax == {"sales": usd("7.05")}
    assert found.taxed.gross == usd("127.45")
    assert found.left == usd("77.45")
    assert found.deposit == usd("42.70")


def test_more_paid_than_owed_says_what_to_do() -> None:
    with pytest.raises(MoneyProblem, match=r"take 0\.01 USD back"):
        bill([Line("fee", "looked at", usd("25.00"))], TAX, "USD", [usd("25.01")])


def test_two_currencies() -> None:
    with pytest.raises(MoneyProblem, match="two currencies"):
        bill([Line("fee", "looked at", Money(Decimal(1), "EUR"))], TAX, "USD")


def test_a_tax_that_the_table_lacks() -> None:
    with pytest.raises(MoneyProblem, match="no tax 'vat'; the shop's table has: sales"):
        bill([Line("fee", "looked at", usd("1"), tax="vat")], TAX, "USD")


def test_going_over_is_stopped_until_approved() -> None:
    agreed = [Approval("Mrs. Okafor", "by phone", usd("120.00"), AT)]
    assert not may_go_on(usd("120.00"), [], usd("0")).open
    assert may_go_on(usd("120.00"), agreed, usd("0")).open
    over = may_go_on(usd("127.45"), agreed, usd("0"))
    assert not over.open
    assert over.sentence == (
        "127.45 USD is 7.45 USD above what Mrs. Okafor agreed to (120.00 USD, by phone): ask again "
        "before going on"
    )
    agreed.append(Approval("Mrs. Okafor", "in the shop", usd("130.00"), AT))
    assert may_go_on(usd("127.45"), agreed, usd("0")).open
    assert may_go_on(usd("20.00"), [], usd("25.00")).open


def test_work_may_come_to_exactly_what_was_agreed() -> None:
    agreed = [Approval("Mrs. Okafor", "by phone", usd("120.00"), AT)]
    assert may_go_on(usd("100.00"), agreed, usd("0"), usd("120.00")).open
    assert not may_go_on(usd("100.00"), agreed, usd("0"), usd("120.01")).open


def test_a_line_is_rounded_as_it_is_printed() -> None:
    """Twenty minutes at 100.00 an hour print as 33.33; three such lines are 99.99, not 100.00."""
    lines = [labour_line(Decimal(20), Decimal(100), "USD", "look") for _ in range(3)]
    assert lines[0].amount == usd("33.33")
    assert bill(lines, TAX, "USD").taxed.gross == usd("99.99")


def test_a_deposit_is_of_parts_and_not_of_fees() -> None:
    lines = [Line("part", "board", usd("80")), Line("fee", "look", usd("20"))]
    assert bill(lines, TAX, "USD", deposit_percent=Decimal(50)).deposit == usd("40.00")


def test_repair_or_a_new_one() -> None:
    found = repair_or_replace(usd("120"), usd("450"), Decimal(4), Decimal(8))
    assert (found.repair_a_year, found.new_a_year) == (usd("30.00"), usd("56.25"))
    assert found.sentence.endswith("repair costs less a year")
    with pytest.raises(MoneyProblem, match="above 0"):
        repair_or_replace(usd("120"), usd("450"), Decimal(0), Decimal(8))


@pytest.mark.parametrize(
    ("text", "amount"),
    [
        ("12.50", "12.50"), ("12,50", "12.50"), ("1 250.00", "1250.00"), ("1.250,00", "1250.00"),
        ("1,250.00", "1250.00"), ("1'250.5", "1250.5"), ("-3", "-3"), ("0.125", "0.125"),
        ("12 USD", "12"), ("1,234,567", "1234567"), (".5", ".5"),
    ],
)  # fmt: skip
def test_amounts_as_typed(text: str, amount: str) -> None:
    assert read_amount(text, "USD") == usd(amount)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("1.250", "1250.00 or 1.2500"), ("1,250", "1250.00"), ("", "no amount"),
        ("twelve", "no amount"), ("NaN", "no amount"), ("1e99", "no amount"), ("--1", "no amount"),
        ("12..50", "no amount"), ("12.50.", "no amount"), ("12,4,0", "no amount"),
        ("1,23,4", "no amount"), ("1e3", "no amount"), ("1.23,4,0", "no amount"),
        ("12 50", "no amount"), ("1,2345.00", "no amount"), (".", "no amount"),
        ("12 EUR", "is in EUR, this is in USD"),
    ],
)  # fmt: skip
def test_amounts_that_are_asked_again(text: str, said: str) -> None:
    with pytest.raises(MoneyProblem, match=said):
        read_amount(text, "USD")


@given(st.decimals(-(10**6), 10**6, places=4), st.sampled_from(["0.01", "0.05", "0.001", "1"]))
def test_rounding_goes_to_a_multiple_no_further_than_half_a_step(
    amount: Decimal, step: str
) -> None:
    found = Money(amount, "USD").rounded(Decimal(step)).amount
    assert found % Decimal(step) == 0
    assert abs(found - amount) <= Decimal(step) / 2
