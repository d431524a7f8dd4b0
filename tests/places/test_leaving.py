"""As a machine leaves: what is asked of the customer, and what becomes of the parts kept for it."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest

from knowngood.job.job import Job
from knowngood.job.waiting import fitted_at
from knowngood.places import account, decision, receiving, shelf, stockroom
from knowngood.places.gather import View, load_job
from knowngood.places.papers_due import papers_due
from knowngood.places.record import Record, Refused
from knowngood.places.stockroom import Want
from knowngood.shop.estimate import Line
from knowngood.shop.money import Taxes
from tests.places.conftest import at
from tests.places.test_paperwork import usd
from tests.places.test_stock_of_jobs import decided


def estimated(record: Record, job: str, *words: str) -> None:
    """80 of work and 40 of a fee that is credited; and the customer's words on it."""
    lines = [Line("labour", "mend", usd("80")), Line("fee", "diagnosis fee", usd("40")),
             Line("credit", "diagnosis fee, credited", usd("-40"))]  # fmt: skip
    account.make_estimate(record, job, lines, Taxes({}), "USD", at(11))
    for up_to in words:
        account.agree(record, job, "Mr. Vale", "by phone", up_to, at(12), no=up_to == "no")


def asked(record: Record, job: str) -> str:
    found = account.account_of(record, load_job(record, job))
    assert found is not None
    return str(found.bill.taxed.gross)


def test_after_a_no_only_the_fee_is_asked_at_the_pickup(record: Record, dead: View) -> None:
    job = dead.job.id
    estimated(record, job, "no")
    stands = account.account_of(record, load_job(record, job))
    assert stands is not None and not stands.gate.open  # asked again, it may be a yes
    account.pay_at_pickup(record, job, "paid", "", at(13))
    decision.close_job(record, job, "returned unrepaired", at(14))
    it = account.account_of(record, load_job(record, job))
    assert it is not None
    assert (it.bill.taxed.gross, it.bill.paid, it.bill.left) == (usd("40"), usd("40"), usd("0"))


@pytest.mark.parametrize(
    ("words", "outcome", "gross"),
    [
        ((), "closed with blanks", "80.00 USD"),  # mended, and nobody typed the agreement
        ((), "handed back", "80.00 USD"),
        ((), "repaired, belt new", "80.00 USD"),
        ((), "no fault found", "40.00 USD"),
        ((), "scrapped", "40.00 USD"),
        (("80",), "no fault found", "80.00 USD"),  # the search was agreed to
        (("80",), "returned unrepaired", "40.00 USD"),  # the part is not to be had
        (("80", "no"), "handed back", "40.00 USD"),
        (("no", "80"), "closed with blanks", "80.00 USD"),
    ],
)
def test_what_is_asked_by_how_it_ended(
    record: Record, dead: View, words: tuple[str, ...], outcome: str, gross: str
) -> None:
    estimated(record, dead.job.id, *words)
    said_no = words[-1:] == ("no",)
    assert asked(record, dead.job.id) == ("40.00 USD" if said_no else "80.00 USD")
    decision.close_job(record, dead.job.id, outcome, at(14))
    assert asked(record, dead.job.id) == gross


def test_a_closed_job_says_what_is_owed_and_no_more(record: Record, dead: View) -> None:
    """Nobody typed the agreement; it waits for no word any more."""
    job = dead.job.id
    estimated(record, job)
    decision.close_job(record, job, "closed with blanks", at(14))
    day = date(2026, 4, 20)
    (due,) = papers_due(record, day)
    assert due.words.startswith("the customer owes 80.00 USD") and not due.late
    account.take_money(record, job, "80", "card", at(15))
    assert papers_due(record, day) == ()


@pytest.mark.parametrize(
    ("words", "paid"),
    [("$30.00", "30.00"), ("paid 30.00 cash", "30.00"), ("cash 30.00", "30.00"),
     ("30.00 card 4242", "30.00"), ("card", "80.00")],
)  # fmt: skip
def test_money_in_the_words_of_the_pickup(
    record: Record, dead: View, words: str, paid: str
) -> None:
    estimated(record, dead.job.id, "80")
    account.pay_at_pickup(record, dead.job.id, "paid", words, at(13))
    (found,) = account.payments_of(load_job(record, dead.job.id))
    assert found.amount == usd(paid)


def test_words_of_the_pickup_that_may_be_either_are_asked_again(record: Record, dead: View) -> None:
    estimated(record, dead.job.id, "80")
    for words in ("card 4242", "cash 20.00 or 60.00"):
        with pytest.raises(Refused, match=r"as '80\.00 cash'"):
            account.pay_at_pickup(record, dead.job.id, "paid", words, at(13))


def arrived(record: Record, dead: View) -> str:
    job = decided(record, dead)
    wants = [Want("BW-210", 1, Decimal(42), (job,))]
    stockroom.place_order(record, "PO-1", "Brackwater", wants, at(11), "USD")
    receiving.receive(record, "po-1", None, at(12))  # an order's number, as it is typed
    return job


def test_fitted_is_one_thing(record: Record, dead: View) -> None:
    job = arrived(record, dead)

    def now() -> Job:
        return load_job(record, job)

    assert fitted_at(now()) is None
    decision.fit(record, job, at(13))
    stamp = fitted_at(now())
    assert stamp is not None and stamp.server_time == at(13).now


def test_parts_that_wait_are_named_with_their_jobs(record: Record, dead: View) -> None:
    job = arrived(record, dead)
    with pytest.raises(Refused, match="wait for other jobs, 26-0001; set one free"):
        stockroom.use(record, "BW-210", 1, at(13))
    decision.close_job(record, job, "returned unrepaired", at(14))
    with pytest.raises(Refused, match="26-0001 is closed; nothing is kept for it"):
        stockroom.reserve(record, "BW-210", 1, job, at(15))


def test_a_part_noted_at_the_bench_is_late_beside_an_order(record: Record, dead: View) -> None:
    """Its own day has passed; another part of the job is on an order that is not due yet."""
    job = decided(record, dead)
    shelf.order_part(record, job, "", at(11), expected="2026-03-09")
    wants = [Want("BW-100", 1, Decimal(42), (job,))]
    stockroom.place_order(record, "PO-2", "Brackwater", wants, at(12), "USD", expected="2026-12-01")
    said = [due.words for due in papers_due(record, date(2026, 3, 20))]
    assert [words for words in said if "is not here: call the supplier" in words]
