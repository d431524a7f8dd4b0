"""What was entered on a job's papers is taken back by an event, and what stood before stands."""

from __future__ import annotations

import pytest

from knowngood.job.paperwork import ClaimWorded, CodesChosen, PaperTakenBack, Paperwork
from knowngood.places import account, decision, paperwork
from knowngood.places.gather import View, load_job
from knowngood.places.paper_undo import take_back, to_take_back
from knowngood.places.programme_word import agree_programme
from knowngood.places.record import Record, Refused
from knowngood.shop.estimate import Line
from knowngood.shop.money import Taxes
from tests.places.conftest import at
from tests.places.test_decision import proven
from tests.places.test_paperwork import covered, usd
from tests.shop.test_cover import FILE


def papers(record: Record, job: str) -> Paperwork:
    return load_job(record, job).paperwork


def back(record: Record, job: str, minute: int) -> str:
    """The last one taken back; its words."""
    last = to_take_back(record, load_job(record, job))[-1]
    take_back(record, job, last.key, "a mistake", at(minute))
    return last.words


def estimated(record: Record, job: str, price: str, minute: int) -> None:
    lines = [Line("labour", "find and mend", usd(price))]
    account.make_estimate(record, job, lines, Taxes({}), "USD", at(minute))


def test_an_agreement_and_an_estimate(record: Record, dead: View) -> None:
    job = dead.job.id
    estimated(record, job, "90", 1)
    account.agree(record, job, "R. Okafor", "by phone", "90", at(2))
    first = papers(record, job)
    estimated(record, job, "120", 3)
    account.agree(record, job, "the neighbour", "in the shop", "200", at(4))
    key = next(x.key for x in to_take_back(record, load_job(record, job)) if "120" in x.words)
    with pytest.raises(Refused, match="the word of the neighbour stands on this one"):
        take_back(record, job, key, "", at(5))
    before = len(record.log.events(job))
    assert back(record, job, 6).startswith("the neighbour agreed to 200")
    gate = account.account_of(record, load_job(record, job))
    assert gate is not None and "30.00 USD above what R. Okafor agreed to" in gate.gate.sentence
    assert back(record, job, 7) == "estimate of 120.00 USD"
    now = papers(record, job)
    assert (now.estimate, now.agreed) == (first.estimate, first.agreed)
    assert len(record.log.events(job)) == before + 2  # by events: nothing was taken out
    back(record, job, 8)
    account.take_money(record, job, "20", "cash", at(9))
    (key,) = (x.key for x in to_take_back(record, load_job(record, job)) if "90" in x.words)
    with pytest.raises(Refused, match="money of the customer stands on this one"):
        take_back(record, job, key, "", at(10))
    assert back(record, job, 11) == "20 USD from the customer, cash"
    back(record, job, 12)
    assert (papers(record, job).estimate, papers(record, job).estimated_at) == (None, None)
    assert to_take_back(record, load_job(record, job)) == ()


def test_the_last_of_a_kind_is_taken_back_once(record: Record, dead: View) -> None:
    """Two open pages show the same entry: the second tap takes back nothing else."""
    job = dead.job.id
    paperwork.choose_codes(record, job, CodesChosen("M05", "C04", "A01"), at(1))
    paperwork.choose_codes(record, job, CodesChosen("M01"), at(2))
    (seen,) = to_take_back(record, load_job(record, job))
    take_back(record, job, seen.key, "another job", at(3))
    assert papers(record, job).codes == CodesChosen("M05", "C04", "A01")
    with pytest.raises(Refused, match="no entry"):
        take_back(record, job, seen.key, "another job", at(4))
    record.append(job, [PaperTakenBack("estimate")], at(5))  # of which there is none
    assert papers(record, job).codes == CodesChosen("M05", "C04", "A01")


def test_a_programme_its_word_and_the_words_of_a_claim(record: Record, dead: View) -> None:
    job = dead.job.id
    covered(record, dead)
    programme = papers(record, job).programme
    other = FILE.replace("approval_above: 200", "approval_above: 40")
    paperwork.choose_programme(record, job, other, "b.yaml", at(4))
    assert back(record, job, 5).startswith("under ")
    assert papers(record, job).programme == programme
    agree_programme(record, job, "300", "J. Vale", "PA-1", at(6))
    record.append(job, [ClaimWorded("it is dead")], at(7))
    assert back(record, job, 8) == "wrote the claim's words"
    assert "J. Vale" in back(record, job, 9)
    assert (papers(record, job).worded, papers(record, job).programme_agreed) == (None, None)
    proven(record, decision.call(record, job, "start box", at(10)))
    decision.decide(record, job, at(20))
    paperwork.send_claim(record, job, at(21), "CL-1")
    under = to_take_back(record, load_job(record, job))[0]
    with pytest.raises(Refused, match="the claim that was sent stands on this one"):
        take_back(record, job, under.key, "", at(22))
    assert back(record, job, 23).startswith("claim of ")
    assert back(record, job, 24).startswith("under ")
    assert papers(record, job).programme is None


def test_days_of_a_claim_do_not_run_backwards(record: Record, dead: View) -> None:
    job = dead.job.id
    covered(record, dead)
    proven(record, decision.call(record, job, "start box", at(10)))
    decision.decide(record, job, at(20))
    paperwork.send_claim(record, job, at(21, day=5), "CL-1")
    with pytest.raises(Refused, match="2026-03-03 is before the claim was sent on 2026-03-05"):
        paperwork.answer_claim(record, job, "accepted", "", "", at(0, day=9), on="2026-03-03")
    paperwork.answer_claim(record, job, "accepted", "", "", at(0, day=9), on="2026-03-06")
    with pytest.raises(Refused, match="before the claim was sent"):
        paperwork.claim_paid(record, job, "5", at(0, day=9), on="2026-03-03")
