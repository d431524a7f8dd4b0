"""What ends a paper: a programme's word, a no, the words of a claim, money as it is said."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal

import pytest

from knowngood.documents.claim import claim_document
from knowngood.documents.document import texts
from knowngood.job.events import JobClosed
from knowngood.job.job import Job
from knowngood.job.paperwork import ClaimWorded
from knowngood.places import account, decision
from knowngood.places.bill_paper import bill_paper
from knowngood.places.claim_paper import given_of
from knowngood.places.claim_words import recorded_words, word_claim
from knowngood.places.cover_asked import cover_card
from knowngood.places.failed_part import failed_part
from knowngood.places.gather import View, load_job, machine_file_of
from knowngood.places.papers_due import papers_due
from knowngood.places.paperwork import choose_programme, claim_page, cover_of
from knowngood.places.premises import letterhead
from knowngood.places.price_first import price_first
from knowngood.places.programme_word import agree_programme
from knowngood.places.record import Record, Refused
from knowngood.places.typed_estimate import line_of, taxes_of, taxes_text
from knowngood.shop.estimate import Line
from knowngood.shop.money import Money, Taxes, step_of, tax_of
from tests.places.conftest import at
from tests.places.test_decision import proven
from tests.places.test_paperwork import TODAY, covered, usd
from tests.shop.test_cover import FILE


@pytest.fixture
def claimed(record: Record, dead: View) -> str:
    covered(record, dead)
    proven(record, decision.call(record, dead.job.id, "start box", at(3)))
    decision.decide(record, dead.job.id, at(10))
    return dead.job.id


def test_a_programmes_word_turns_needs_approval_into_covered(record: Record, claimed: str) -> None:
    """The box at 42.00 and 15 % handling is 48.30 and the labour; asked above 40."""
    def job() -> Job:
        return load_job(record, claimed)

    text = FILE.replace("approval_above: 200", "approval_above: 40")
    choose_programme(record, claimed, text, "b.yaml", at(11))
    cover = cover_of(record, job(), TODAY)
    assert cover is not None and cover.answer == "needs approval"
    assert cover_card(record, job(), TODAY).answer == "needs approval"  # counter and bench
    first = price_first(record, job(), TODAY)
    assert first is not None and first.address.endswith("/papers#approved") and not first.stops
    assert claim_page(record, claimed, TODAY).lacks[0].id == "approval"
    assert any("the programme's word" in due.line(TODAY) for due in papers_due(record, TODAY))
    assert "word comes first: not here yet" in given_of(record, job(), TODAY).in_short
    for amount, who, said in (("-1", "J. Vale", "Give 0 or more"), ("300", "", "whose word")):
        with pytest.raises(Refused, match=said):
            agree_programme(record, claimed, amount, who, "", at(12))
    page = agree_programme(record, claimed, "300", "J. Vale", "PA-118", at(12))
    assert page.cover.answer == "covered" and "approval" not in {x.id for x in page.lacks}
    assert "approved up to 300.00 USD (J. Vale, PA-118)" in page.cover.sentence
    assert "Approved up to 300.00 USD by J. Vale, PA-118." in given_of(
        record, job(), TODAY).in_short  # fmt: skip
    agree_programme(record, claimed, "0", "", "", at(13))
    assert claim_page(record, claimed, TODAY).cover.answer == "needs approval"


def test_days_of_a_claim_run_out_before_a_part_is_decided(record: Record, dead: View) -> None:
    """It failed on 2026-02-20; 30 days for the claim end on 2026-03-22."""
    covered(record, dead)
    said = [d for d in papers_due(record, date(2026, 3, 16)) if "no part is decided" in d.words]
    assert [(d.by, d.late) for d in said] == [(date(2026, 3, 22), True)]
    assert not [d for d in papers_due(record, date(2026, 3, 10)) if "is decided" in d.words]


def test_the_failed_part_is_kept_from_the_day_it_is_replaced(record: Record, claimed: str) -> None:
    """Decided on 1 March, closed on 25 March: 60 days end on 24 May."""
    record.append(claimed, [JobClosed("repaired", "")], at(0, day=25))
    today = date(2026, 4, 30)
    assert claim_page(record, claimed, today).keep_until == date(2026, 5, 24)
    failed = failed_part(record, load_job(record, claimed), today)
    assert failed is not None and failed.until == date(2026, 5, 24)


@pytest.mark.parametrize("answered", [True, False])
def test_a_no_ends_the_estimate_and_leaves_the_fee(
    record: Record, dead: View, answered: bool
) -> None:
    job = dead.job.id
    lines = [Line("labour", "mend", usd("80")), Line("fee", "diagnosis fee", usd("40"), tax="s"),
             Line("credit", "diagnosis fee, credited", usd("-40"), tax="s")]  # fmt: skip
    account.make_estimate(record, job, lines, Taxes({"s": Decimal(10)}), "USD", at(1))
    if answered:
        found = account.agree(record, job, "Mr. Vale", "by phone", "", at(2), no=True)
        assert "Mr. Vale said no to 80.00 USD (by phone): hand it back" in found.gate.sentence
        assert [d.late for d in papers_due(record, date(2026, 4, 1))] == [False]
        assert (found.bill.left, found.estimate.left) == (usd("44.00"), usd("80.00"))
        open_ = " ".join(texts(bill_paper(record, load_job(record, job), at(2).now)))
        assert "80.00 USD" in open_ and "said no" in open_
    decision.close_job(record, job, "returned unrepaired", at(3))
    found = account.account_of(record, load_job(record, job))
    assert found is not None and found.gate.open
    assert (found.bill.taxed.gross, found.bill.left) == (usd("44.00"), usd("44.00"))
    due = papers_due(record, TODAY)
    assert "the customer owes 44.00 USD" in [d.words for d in due]
    assert not any("agreed" in d.words for d in due)
    paper = " ".join(texts(bill_paper(record, load_job(record, job), at(4).now)))
    assert "44.00 USD" in paper and "credited" not in paper
    assert ("said no" in paper) == answered
    later = at(4).now + timedelta(days=60)
    reprinted = bill_paper(record, load_job(record, job), later)
    assert reprinted.date == bill_paper(record, load_job(record, job), at(4).now).date
    assert reprinted.closing != bill_paper(record, load_job(record, job), at(4).now).closing
    account.take_money(record, job, "20", "cash", at(5))
    said = account.paid_words(record, load_job(record, job))
    assert said.startswith("20.00 USD on 20") and said.endswith(", cash; left to pay: 24.00 USD")
    account.take_money(record, job, "24", "card", at(6))
    said = account.paid_words(record, load_job(record, job))
    assert "24.00 USD" in said and said.endswith(", card; paid in full")


def test_the_claims_words_may_be_a_persons(record: Record, claimed: str) -> None:
    def paper() -> str:
        job = load_job(record, claimed)
        machine = machine_file_of(record, job)
        given = given_of(record, job, TODAY)
        return " ".join(texts(claim_document(job, machine, letterhead(record), at(12).now, given)))

    told = recorded_words(record, load_job(record, claimed))
    assert "it is dead" in told.complaint and "Start box" in told.cause
    kept = word_claim(record, claimed, replace(told, cause="Contact burnt  away"), at(11))
    assert kept == replace(told, cause="Contact burnt away")
    assert load_job(record, claimed).paperwork.worded is not None
    assert "Contact burnt away" in paper() and "worded by Ana on" in paper()
    with pytest.raises(Refused, match="at most 600"):
        word_claim(record, claimed, ClaimWorded(cause="x" * 601), at(12))
    word_claim(record, claimed, ClaimWorded(), at(13))
    assert load_job(record, claimed).paperwork.worded is None
    assert "Contact burnt" not in paper()


@pytest.mark.parametrize(
    ("words", "left"),
    [("1 250.00 cash", "0"), ("50,00 cash", "1200"), ("84.00 card 4242", "1166"), ("card", "0")],
)
def test_money_said_at_the_pickup(record: Record, dead: View, words: str, left: str) -> None:
    lines = [Line("labour", "rebuild", usd("1250"))]
    account.make_estimate(record, dead.job.id, lines, Taxes({}), "USD", at(1))
    account.pay_at_pickup(record, dead.job.id, "paid", words, at(2))
    found = account.account_of(record, load_job(record, dead.job.id))
    assert found is not None and found.bill.left == usd(left)


@pytest.mark.parametrize("words", ["cheque no. 17", "card 4242", "2 notes of 50"])
def test_money_that_may_be_another_figure_is_asked_for(
    record: Record, dead: View, words: str
) -> None:
    lines = [Line("labour", "rebuild", usd("1250"))]
    account.make_estimate(record, dead.job.id, lines, Taxes({}), "USD", at(1))
    with pytest.raises(Refused, match=r"how much of 1250\.00 USD was paid"):
        account.pay_at_pickup(record, dead.job.id, "paid", words, at(2))


def test_a_credit_is_taken_off_however_it_is_typed() -> None:
    assert line_of("credit; fee; 40.00", "USD").amount == usd("-40.00")
    assert line_of("credit; fee; -40.00", "USD").amount == usd("-40.00")
    with pytest.raises(Refused, match="what is taken off is a credit"):
        line_of("part; box; -50", "USD")


def test_the_shops_table_is_typed_whole_and_comes_back() -> None:
    """Source of the yen's and the dinar's units: ISO 4217. By hand: 20 % in 99.99 is 16.665, to
    even hundredths 16.66; to 0.05 it is 16.65."""
    text = "vat=20, rounding=0.05, half even, included"
    table = taxes_of(text, "total")
    assert taxes_text(table, "EUR") == text and taxes_of(taxes_text(table, "EUR"), "total") == table
    line = [(Money(Decimal("99.99"), "EUR"), "vat")]
    assert tax_of(line, table, "EUR").tax["vat"].amount == Decimal("16.65")
    even = taxes_of("vat=20, half even, included", "total")
    assert tax_of(line, even, "EUR").tax["vat"].amount == Decimal("16.66")
    assert [step_of(c) for c in ("JPY", "KWD", "EUR")] == [1, Decimal("0.001"), Decimal("0.01")]
    yen = tax_of([(Money(Decimal(1005), "JPY"), "c")], taxes_of("c=10", "total"), "JPY")
    assert str(yen.gross) == "1106 JPY"  # 100.5 half up
    with pytest.raises(Refused, match="rounding to 0"):
        taxes_of("rounding=0", "total")
