"""How a job ends decides what is asked of its customer, and whether its parts are in it."""

from __future__ import annotations

from datetime import date

import pytest

from knowngood.job import paperwork as pw
from knowngood.job.counter import HandedBack
from knowngood.job.events import JobClosed
from knowngood.places import account, counter, decision
from knowngood.places.bill_paper import bill_paper
from knowngood.places.ends import end_of
from knowngood.places.gather import View, load_job
from knowngood.places.papers_due import papers_due
from knowngood.places.record import Record, Refused
from knowngood.shop.estimate import Line
from knowngood.shop.money import Taxes
from tests.places.conftest import at
from tests.places.test_paperwork import usd

LATER = date(2026, 4, 20)


def estimated(record: Record, job: str, sum_: str = "80") -> None:
    """Labour, and a fee of 40 that is credited when the repair goes ahead."""
    lines = [Line("labour", "mend", usd(sum_)), Line("fee", "diagnosis fee", usd("40")),
             Line("credit", "diagnosis fee, credited", usd("-40"))]  # fmt: skip
    account.make_estimate(record, job, lines, Taxes({}), "USD", at(1))


def stands(record: Record, job: str) -> account.Account:
    found = account.account_of(record, load_job(record, job))
    assert found is not None
    return found


def test_who_said_no_pays_the_fee_at_the_pickup(record: Record, dead: View) -> None:
    """The pickup asks for money before the machine goes: the job is open then."""
    job = dead.job.id
    estimated(record, job)
    account.agree(record, job, "Mr. Vale", "by phone", "", at(2), no=True)
    found = stands(record, job)
    assert (found.bill.left, found.estimate.left) == (usd("40"), usd("80"))
    assert not found.gate.open and "said no to 80.00 USD" in found.gate.sentence
    assert account.before_ordering(record, load_job(record, job))
    account.pay_at_pickup(record, job, "paid", "", at(3))
    assert stands(record, job).bill.left == usd("0")
    decision.close_job(record, job, "returned unrepaired", at(4))
    assert stands(record, job).bill.left == usd("0")
    assert not [d for d in papers_due(record, LATER) if "USD" in d.words]


@pytest.mark.parametrize("outcome", ["closed with blanks", "closed", "handed back",
                                     "repaired, belt new", "no fault found"])  # fmt: skip
def test_a_bill_that_was_paid_stands(record: Record, dead: View, outcome: str) -> None:
    """Nobody typed the agreement, and the customer paid what was asked: that is a word too."""
    job = dead.job.id
    estimated(record, job)
    account.pay_at_pickup(record, job, "paid", "80.00 card", at(2))
    record.append(job, [JobClosed(outcome)], at(3))
    found = stands(record, job)
    assert (found.bill.taxed.gross, found.bill.left) == (usd("80"), usd("0"))
    assert found.gate.open and found.gate.sentence == "80.00 USD: paid in full"
    assert "80.00 USD" in str(bill_paper(record, load_job(record, job), at(4).now))
    assert [due.about for due in papers_due(record, LATER)] == ["uncollected"]


@pytest.mark.parametrize("outcome", ["closed with blanks", "repaired"])
def test_of_a_closed_job_the_debt_is_said(record: Record, dead: View, outcome: str) -> None:
    estimated(record, dead.job.id)
    record.append(dead.job.id, [JobClosed(outcome)], at(3))
    (due,) = papers_due(record, LATER)
    assert due.words.startswith("the customer owes 80.00 USD; no invoice yet: ") and not due.late


@pytest.mark.parametrize(("outcome", "owed"), [
    ("returned unrepaired", "40"), ("scrapped", "40"), ("no fault found", "80"),
    ("handed back", "80"), ("repaired, old belt scrapped", "80"),
])  # fmt: skip
def test_what_was_agreed_is_owed_for_a_repair(
    record: Record, dead: View, outcome: str, owed: str
) -> None:
    """The part was not to be had after the customer agreed: the fee alone. Of a search that found
    nothing the labour may be what was agreed to."""
    job = dead.job.id
    estimated(record, job)
    account.agree(record, job, "Mr. Vale", "by phone", "", at(2))
    record.append(job, [JobClosed(outcome)], at(3))
    assert stands(record, job).bill.left == usd(owed)


def test_a_search_that_found_nothing_and_nobody_agreed_to(record: Record, dead: View) -> None:
    estimated(record, dead.job.id)
    record.append(dead.job.id, [JobClosed("no fault found")], at(3))
    assert stands(record, dead.job.id).bill.left == usd("40")


def test_a_bill_prints_the_word_that_holds(record: Record, dead: View) -> None:
    """What was said before and replaced stays in the record and is on no paper."""
    job = dead.job.id
    estimated(record, job)
    account.agree(record, job, "Kay", "by pigeon", "90", at(2))
    account.agree(record, job, "Kay", "by phone", "85", at(3))
    for ends in ((), ("repaired",)):
        record.append(job, [JobClosed(one) for one in ends], at(4))
        paper = str(bill_paper(record, load_job(record, job), at(5).now))
        assert "Kay agreed to 85.00 USD" in paper and "pigeon" not in paper
    assert len(load_job(record, job).paperwork.agreed) == 2


def test_agreed_to_nothing_is_no_no(record: Record, dead: View) -> None:
    """A goodwill job of 0.00; a record of before has no such word, there 0 is a no."""
    job = dead.job.id
    estimated(record, job, "0")
    with pytest.raises(Refused, match="Give 0 or more"):
        account.agree(record, job, "Kay", "by phone", "-1", at(2))
    account.agree(record, job, "Kay", "by phone", "", at(2))
    paper = str(bill_paper(record, load_job(record, job), at(2).now))
    assert "Kay agreed to 0.00 USD" in paper and stands(record, job).gate.open
    estimated(record, job)
    assert "80.00 USD above what Kay agreed to" in stands(record, job).gate.sentence
    with pytest.raises(Refused, match=r"agreed to 0.00 USD of 80.00\? Say no, or give an amount"):
        account.agree(record, job, "Kay", "by phone", "0", at(3))
    record.append(job, [pw.CustomerAgreed("Kay", "by phone", "0", "USD")], at(4))
    assert "Kay said no to 80.00 USD" in stands(record, job).gate.sentence


@pytest.mark.parametrize(("typed", "end"), [
    ("Fixed.", "repaired"), ("repaired, belt new", "repaired, belt new"),
    ("closed with blanks", "closed with blanks"), ("customer declined", "customer declined"),
    ("no fault found", "no fault found"), ("handed back", "handed back"),
])  # fmt: skip
def test_the_words_that_end_a_job(typed: str, end: str) -> None:
    assert end_of(typed) == end


def test_a_word_that_is_no_end_hands_nothing_back(record: Record, dead: View) -> None:
    counter.override_hold(record, dead.job.id, "Ana", "the customer waits", at(13))
    with pytest.raises(Refused, match=r"'repared' is no end of a job\. Did you mean repaired"):
        counter.hand_back(record, dead.job.id, HandedBack("Mr. Vale"), "repared", at(14))
    assert load_job(record, dead.job.id).closed is None
