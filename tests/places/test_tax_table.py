"""The shop's own taxes: kept with the shop, and what every estimate begins with."""

from __future__ import annotations

from dataclasses import asdict
from decimal import Decimal

import pytest

from knowngood.job.shop_files import TaxesSet
from knowngood.job.shop_sheet import ShopNoted
from knowngood.places import account
from knowngood.places.gather import View, load_job
from knowngood.places.premises import note_shop
from knowngood.places.proposal import proposal
from knowngood.places.record import Record, Refused
from knowngood.places.tax_table import kinds_for, read_table, set_taxes, shop_taxes, table_words
from knowngood.places.typed_estimate import line_of, lines_of, text_of
from knowngood.shop.estimate import Line, bill
from knowngood.shop.money import Money, Taxes
from tests.places.conftest import at
from tests.places.test_paperwork import TODAY, usd


def test_every_estimate_begins_with_the_shops_table(record: Record, dead: View) -> None:
    """The estimate before had no tax at all; the table wins over it, and is let go again."""
    job = dead.job.id
    account.make_estimate(record, job, [Line("labour", "mend", usd("90"))], Taxes({}), "USD", at(1))
    assert not proposal(record, load_job(record, job), TODAY).taxes.percent
    assert shop_taxes(record, "USD") is None
    set_taxes(record, "sales=8.25", ["labour=none"], "line", at(2))
    found = proposal(record, load_job(record, job), TODAY)
    assert (dict(found.taxes.percent), found.taxes.on) == ({"sales": Decimal("8.25")}, "line")
    assert {line.kind: line.tax for line in found.lines} == {"labour": "", "part": "sales"}
    set_taxes(record, "", [], "total", at(3))
    assert shop_taxes(record, "USD") is None
    assert not proposal(record, load_job(record, job), TODAY).taxes.percent


def test_a_line_has_the_tax_of_its_kind_unless_it_says_none(record: Record) -> None:
    set_taxes(record, "standard=20, reduced=5.5", ["labour=reduced", "part=standard"], "total",
              at(1))  # fmt: skip
    usual = shop_taxes(record, "EUR")
    assert usual is not None
    typed = "labour; mend; 60.00\npart; board; 84.00\npart; gift; 5.00; none\nfee; look; 20.00"
    lines = lines_of(typed, "EUR", usual.kinds)
    assert [line.tax for line in lines] == ["reduced", "standard", "", "reduced"]
    assert lines_of(text_of(lines, usual.kinds), "EUR", usual.kinds) == lines
    # 5.5 % of 80 and 20 % of 84, worked by hand
    taxed = bill(lines, usual.taxes, "EUR").taxed
    assert {n: t.amount for n, t in taxed.tax.items()} == {
        "reduced": Decimal("4.40"), "standard": Decimal("16.80"),
    }  # fmt: skip
    # a table typed for one estimate has no rate of that name, so nothing is put on in silence
    assert line_of("part; board; 84", "EUR", kinds_for(usual, Taxes({"eco": Decimal(1)}))).tax == ""


def test_the_step_of_the_tax_is_one_of_the_shops_own_money(record: Record) -> None:
    """Five rappen in the shop's own francs; an estimate in euro is rounded to the cent."""
    note_shop(record, ShopNoted(currency="CHF"), at(1))
    set_taxes(record, "vat=8.1, rounding=0.05, half even", [], "line", at(2))
    here, there = shop_taxes(record, "CHF"), shop_taxes(record, "EUR")
    assert here is not None and there is not None
    assert (here.taxes.step, there.taxes.step) == (Decimal("0.05"), None)
    lines = [Line("part", "cable", Money(Decimal("31.50"), "CHF"), tax="vat")]  # 8.1 %: 2.5515
    assert bill(lines, here.taxes, "CHF").taxed.tax["vat"].amount == Decimal("2.55")
    assert "rounded on each line, half even to 0.05" in " ".join(
        table_words(read_table("vat=8.1, rounding=0.05, half even", [], "line")))  # fmt: skip


@pytest.mark.parametrize(
    ("rates", "kinds", "on", "said"),
    [
        ("vat=200", [], "total", "0 to 100 percent"),
        ("none=2", [], "total", "no name of a tax"),
        ("included", [], "total", "no rate is given"),
        ("a=1, b=2", ["part=a"], "total", "which of a, b is for labour"),
        ("a=1", ["labor=a"], "total", "there are labour, part, fee, credit"),
        ("a=1", ["part=a", "part=none"], "total", "is there twice"),
        ("a=1", ["part=b"], "total", "no tax 'b' for part"),
        ("a=1", [], "both", "may be line or total"),
        ("a=1, rounding=0", [], "total", "the step the tax is rounded to"),
    ],
)
def test_a_table_that_is_off_is_not_kept(
    record: Record, rates: str, kinds: list[str], on: str, said: str
) -> None:
    with pytest.raises(Refused, match=said):
        set_taxes(record, rates, kinds, on, at(1))
    assert shop_taxes(record, "USD") is None


def test_a_decimal_comma_is_one_as_no_rate_is_without_a_name() -> None:
    table = read_table("sales=8,25 %,eco=1,rounding=0,05", ["labour=sales", "part=sales"], "total")
    assert (dict(table.percent), table.step) == ({"sales": "8.25", "eco": "1"}, "0.05")
    with pytest.raises(Refused, match=r"'25' is no tax; write it like sales=8\.25"):
        read_table("sales=8, 25", [], "total")


def test_one_rate_is_for_every_kind_of_line() -> None:
    assert asdict(read_table("vat=20, included", [], "total")) == asdict(TaxesSet(
        {"vat": "20"}, dict.fromkeys(("labour", "part", "fee", "credit"), "vat"), included=True,
    ))  # fmt: skip
