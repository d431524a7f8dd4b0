"""A part decided along with the causal one: asked for, priced, ordered and claimed like it."""

from __future__ import annotations

from decimal import Decimal

import pytest

from knowngood.job.events import JobOpened, MinutesNoted, PartDecided
from knowngood.job.shop_sheet import ShopNoted
from knowngood.places import account, decision, shelf
from knowngood.places.bench import CheckIn, open_job
from knowngood.places.claim_paper import given_of
from knowngood.places.gather import View, load_job
from knowngood.places.library import find_machine
from knowngood.places.parts import take_list, try_list
from knowngood.places.plan_cost import plan_cost
from knowngood.places.premises import note_shop, prices_of
from knowngood.places.proposal import proposal
from knowngood.places.record import Record, Refused
from knowngood.places.shop_rate import BenchRate, rate_of
from knowngood.places.typed_estimate import prices_of as typed_prices
from knowngood.places.wanted import wanted
from knowngood.shop.estimate import Line
from knowngood.shop.money import Money, Taxes
from tests.places.conftest import SMALL, at
from tests.places.test_decision import proven
from tests.places.test_paperwork import PRICES, TODAY, covered

ALONG = {"part": "harness", "words": "Handle harness", "number": "BW-220"}
PARTS = [("start_box", "Start box", "BW-210"), ("harness", "Handle harness", "BW-220")]


@pytest.fixture
def two(record: Record, dead: View) -> str:
    """Start box, which a list has at 42.00, and the harness with it, which none has."""
    covered(record, dead)
    proven(record, decision.call(record, dead.job.id, "start box", at(3)))
    decision.decide(record, dead.job.id, at(10))
    was = load_job(record, dead.job.id).decision
    assert was is not None
    proof = {**was.proof, "also": [ALONG]}
    record.append(dead.job.id, [PartDecided("start_box", "Start box", "BW-210", True, "", proof)],
                  at(11))  # fmt: skip
    return dead.job.id


def test_its_price_is_asked_for_like_that_of_the_first(record: Record, two: str) -> None:
    job = load_job(record, two)
    cost = plan_cost(record, job, Decimal(60))
    assert cost.not_given == (
        "the price of the handle harness is the machine file's, no list's in USD",
    )
    assert "the handle harness is the machine file's" in cost.sentence
    lines = proposal(record, job, TODAY, Decimal(60)).lines[1:]
    assert [x.words for x in lines] == [
        "1 x Start box BW-210", "1 x Handle harness BW-220 (price not set by the shop)",
    ]  # fmt: skip
    said = proposal(record, job, TODAY, Decimal(60), {"harness": Decimal("31.50")})
    assert said.cost.not_given == ()
    assert [x.amount.amount for x in said.lines[1:]] == [Decimal("42.00"), Decimal("31.50")]


def test_prices_as_they_are_typed() -> None:
    found = typed_prices(["40", "Handle harness=31,50"], PARTS, "USD")
    assert found == {"start_box": Decimal(40), "harness": Decimal("31.50")}
    assert typed_prices(["BW-220=3"], PARTS, "USD") == {"harness": Decimal(3)}
    for wrong in (["bolt=3"], ["3", "4"], ["harness=3", "BW-220=4"]):
        with pytest.raises(Refused, match=r"start box, handle harness\); write each once"):
            typed_prices(wrong, PARTS, "USD")
    with pytest.raises(Refused, match="none yet"):
        typed_prices(["84"], [], "USD")


def test_it_is_wanted_and_ordered_by_its_name(record: Record, two: str) -> None:
    def numbers() -> list[str]:
        return [w.number for b in wanted(record, {}, "USD") for w in b.wants]

    assert numbers() == ["BW-210", "BW-220"]
    shelf.order_part(record, two, "handle harness", at(14))
    order = load_job(record, two).shelf.orders["harness"]
    assert (order.number, order.words) == ("BW-220", "Handle harness")
    assert numbers() == ["BW-210"]


def test_the_claim_asks_for_both(record: Record, two: str) -> None:
    said = given_of(record, load_job(record, two), TODAY).in_short
    assert "for one start box BW-210 and one handle harness BW-220, proven" in said


def test_work_counts_what_is_known_of_both(record: Record, two: str) -> None:
    note_shop(record, ShopNoted(bench_rate=60, currency="USD"), at(12))
    record.append(two, [MinutesNoted("start_box", 30, measured=True)], at(12))
    account.make_estimate(record, two, [Line("labour", "mend", Money(Decimal(90), "USD"))],
                          Taxes({}), "USD", at(13))  # fmt: skip
    found = account.account_of(record, load_job(record, two))
    minutes = Decimal(str(sum(load_job(record, two).minutes_by_step().values())))
    assert found is not None and found.spent == Money(minutes + 42, "USD").rounded()
    assert "the price of the handle harness is not given" in found.gate.sentence


def test_a_rate_of_just_the_usual_figure_is_the_shops_when_it_set_it(record: Record) -> None:
    """90 set, then 100: the job opened in between keeps its 90."""
    small = find_machine(str(SMALL))
    before = open_job(record, CheckIn(small, "dead"), at(0)).job.id
    note_shop(record, ShopNoted(bench_rate=90, currency="USD"), at(1))
    while_90 = open_job(record, CheckIn(small, "dead", prices=prices_of(record)), at(2)).job.id
    note_shop(record, ShopNoted(bench_rate=100, currency="USD"), at(3))
    assert rate_of(record, load_job(record, while_90)) == BenchRate(Decimal("90.0"), True, "USD")
    assert rate_of(record, load_job(record, before)) == BenchRate(Decimal("100.0"), True, "USD")
    old = JobOpened("26-0009", "", "", "", rates={"bench_rate": 90.0, "currency": "USD"})
    record.append("old", [old], at(4))  # written before it was kept who set it
    assert rate_of(record, load_job(record, "old")).amount == 100


def test_a_list_takes_the_question_away(record: Record, two: str) -> None:
    more = PRICES + "BW-220;Handle harness;30.00\n"
    take_list(record, try_list(record, "Brackwater", "USD", more.encode(), "l.csv", None), more,
              at(12))  # fmt: skip
    assert plan_cost(record, load_job(record, two), Decimal(60)).not_given == ()
