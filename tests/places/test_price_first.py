"""Between the decision and the order a price is asked for; money at the pickup counts."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest

from knowngood.job.counter import PaymentWithdrawn
from knowngood.job.events import PictureAdded
from knowngood.job.shop_sheet import ShopNoted
from knowngood.machines.machine import PartNumber, ServicePart
from knowngood.places import account, decision, paperwork, shelf
from knowngood.places.gather import View, load_job
from knowngood.places.library import part_number
from knowngood.places.parts import take_list, try_list
from knowngood.places.plan_cost import plan_cost
from knowngood.places.premises import note_shop
from knowngood.places.price_first import price_first
from knowngood.places.record import Record, Refused
from knowngood.places.shop_rate import BenchRate, rate_of
from knowngood.shop.estimate import Line
from knowngood.shop.money import Money, Taxes
from tests.places.conftest import at
from tests.places.test_decision import proven
from tests.places.test_paperwork import NOTED
from tests.shop.test_cover import FILE
from tests.shop.test_pricelist import LIST

TODAY = date(2026, 3, 1)


def usd(text: str) -> Money:
    return Money(Decimal(text), "USD")


@pytest.fixture
def decided(record: Record, dead: View) -> str:
    proven(record, decision.call(record, dead.job.id, "start box", at(2)))
    decision.decide(record, dead.job.id, at(10))
    return dead.job.id


def estimate(record: Record, job: str, sum_: str, minute: float = 11) -> None:
    lines = [Line("part", "start box", usd(sum_))]
    account.make_estimate(record, job, lines, Taxes({}), "USD", at(minute))


def test_a_paying_customer_is_asked_for_before_the_order(record: Record, decided: str) -> None:
    asked = price_first(record, load_job(record, decided), TODAY)
    assert asked is not None and not asked.stops
    assert asked.sentence == "The customer pays, and no price is agreed yet"
    assert asked.address == f"/job/{decided}/papers?from=plan#write"
    estimate(record, decided, "72")
    asked = price_first(record, load_job(record, decided), TODAY)
    assert asked is not None and asked.stops and asked.address.endswith("/papers#agree")
    account.agree(record, decided, "Mr. Vale", "by phone", "", at(12))
    assert price_first(record, load_job(record, decided), TODAY) is None


def test_under_a_programme_what_the_claim_lacks_is_said_before_the_order(
    record: Record, decided: str
) -> None:
    paperwork.choose_programme(record, decided, FILE, "brackwater.yaml", at(11))
    asked = price_first(record, load_job(record, decided), TODAY)
    assert asked is not None and not asked.stops
    assert asked.sentence.startswith("the claim lacks why it failed (answer the causes to clear), ")
    assert "a picture of the plate (take it before the machine goes back)" in asked.sentence
    assert "the proof of purchase" in asked.sentence
    assert "USD at risk for it" in asked.sentence
    assert asked.address == f"/job/{decided}/papers#claim"
    decision.answer_cause(record, decided, "water", "no", at(12), "dry inside")
    record.append(decided, [PictureAdded("a" * 64, "", "plate"),
                            PictureAdded("b" * 64, "", "meter"), NOTED], at(13))  # fmt: skip
    assert price_first(record, load_job(record, decided), TODAY) is None


def test_over_the_limit_takes_a_name_and_a_reason(record: Record, decided: str) -> None:
    estimate(record, decided, "72")
    account.agree(record, decided, "Mr. Vale", "by phone", "60", at(12))
    for half in ({}, {"despite": "Ana"}, {"reason": "it is our own machine"}):
        with pytest.raises(Refused, match=r"12\.00 USD above what Mr\. Vale agreed to"):
            shelf.order_part(record, decided, "", at(13), **half)
    shelf.order_part(record, decided, "", at(14), despite="Ana", reason="the shop pays the rest")
    (order,) = load_job(record, decided).shelf.orders.values()
    assert (order.despite, order.reason) == ("Ana", "the shop pays the rest")


def test_money_at_the_pickup_counts_until_it_is_taken_back(record: Record, decided: str) -> None:
    estimate(record, decided, "72")
    account.pay_at_pickup(record, decided, "paid", "50,00 cash", at(20))
    found = account.account_of(record, load_job(record, decided))
    assert found is not None and (found.bill.paid, found.bill.left) == (usd("50"), usd("22"))
    (paid,) = account.payments_of(load_job(record, decided))
    assert (paid.day, paid.way) == (TODAY, "at pickup: 50,00 cash")
    account.pay_at_pickup(record, decided, "paid", "card", at(21))  # said again: all of it
    found = account.account_of(record, load_job(record, decided))
    assert found is not None and found.bill.left == usd("0")
    with pytest.raises(Refused, match=r"80\.00 USD paid, but only 72\.00 USD is owed"):
        account.pay_at_pickup(record, decided, "paid", "80 cash", at(22))
    record.append(decided, [PaymentWithdrawn("undone")], at(23))
    found = account.account_of(record, load_job(record, decided))
    assert found is not None and found.bill.left == usd("72")


def test_without_an_estimate_only_the_words_are_kept(record: Record, decided: str) -> None:
    account.pay_at_pickup(record, decided, "paid", "80 cash", at(20))
    noted = load_job(record, decided).counter.payment
    assert noted is not None and (noted.words, noted.amount) == ("80 cash", "")


def test_a_usual_rate_and_an_example_price_are_no_money_of_the_shop(
    record: Record, decided: str
) -> None:
    job = load_job(record, decided)
    assert rate_of(record, job) == BenchRate(Decimal("90.0"), False, "USD")
    asked = plan_cost(record, job).not_given
    assert asked[0] == "the shop's rate is not set, 90.00 an hour is only the usual one"
    assert len(asked) == 2
    assert plan_cost(record, job, Decimal(80), {"start_box": Decimal("42.50")}).not_given == ()
    note_shop(record, ShopNoted(bench_rate=84), at(12))
    assert rate_of(record, job) == BenchRate(Decimal("84.0"), True, "USD")
    assert len(plan_cost(record, job).not_given) == 1


def test_a_number_of_another_model_is_an_example() -> None:
    part = ServicePart("box", "Start box", (), (PartNumber("BW-1", ("BT-5",)),), 42.0, 5.0)
    assert part_number(part, "bt 5") == "BW-1"  # a model as it may be typed
    assert part_number(part, "QX-18") == part_number(part, "") == ""
    assert part_number(part) == "BW-1"  # a plan of the family, with no machine


def test_an_order_goes_by_the_number_that_replaced_the_old_one(
    record: Record, decided: str
) -> None:
    """The decided part's number in the machine file is old: the list says what it became."""
    take_list(record, try_list(record, "Brackwater", "USD", LIST.encode(), "l.csv", None), LIST,
              at(11))  # fmt: skip
    said = shelf.order_part(record, decided, "", at(12))
    assert said == "BW-210 became BW-212: order BW-212 (list of Brackwater)"
    job = load_job(record, decided)
    assert job.shelf.orders["start_box"].number == "BW-212"
    assert job.notes[-1].text == said
    assert shelf.order_part(record, decided, "", at(13), old_number=True) == ""
    assert load_job(record, decided).shelf.orders["start_box"].number == "BW-210"
    assert shelf.order_part(record, decided, "", at(14), "bw210") == (
        "BW-210 became BW-212: order BW-212 (list of Brackwater)"
    )
