"""A paper entered the morning after carries the day it went out, not the day it was typed."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, timedelta, timezone
from decimal import Decimal

import pytest

from knowngood.job.paperwork import UNSAID, CoverNoted
from knowngood.places import account, decision, paperwork
from knowngood.places.gather import View, load_job
from knowngood.places.paper_days import day_text
from knowngood.places.record import Record, Refused
from knowngood.shop.estimate import Line
from knowngood.shop.money import Money, Taxes
from tests.places.conftest import at
from tests.places.test_decision import proven
from tests.places.test_paperwork import covered


def test_a_claim_of_the_last_day_entered_a_day_later(record: Record, dead: View) -> None:
    """Failed on 20 February, 30 days: the last day is 22 March."""
    job = covered(record, dead)
    proven(record, dead)
    decision.decide(record, job, at(12))
    for wrong, said in (("2026-03-24", "still to come"), ("2026-02-28", "before the machine came"),
                        ("last Friday", "write the day like")):  # fmt: skip
        with pytest.raises(Refused, match=said):
            paperwork.send_claim(record, job, at(0, day=23), "CL-7", on=wrong)
    page = paperwork.send_claim(record, job, at(0, day=23), "CL-7", on="2026-03-22")
    assert page.cover.answer == "covered"
    assert page.course.words == "sent 1 day ago, no answer yet"
    asked = str(page.course.asked.amount)
    paperwork.answer_claim(record, job, "accepted", "", "", at(0, day=27), on="2026-03-25")
    paperwork.claim_paid(record, job, asked, at(0, day=30), on="2026-03-28")
    days = [move.day for move in load_job(record, job).paperwork.moves]
    assert days == ["2026-03-22", "2026-03-25", "2026-03-28"]


def test_no_paper_is_a_day_before_the_machine(record: Record, dead: View) -> None:
    """A phone west of the shop's zone had 28 February still: that day counts, none before it."""
    job = load_job(record, dead.job.id)
    assert job.opened_at is not None and job.opened_at.server_time.date() == date(2026, 3, 1)
    with pytest.raises(Refused, match="2026-02-28 is before the machine came in on 2026-03-01"):
        day_text(at(5), "2026-02-28", job)
    assert day_text(at(5), "2026-03-01", job) == "2026-03-01"
    evening = datetime(2026, 2, 28, 19, 30, tzinfo=timezone(timedelta(hours=-5)))
    west = replace(job, opened_at=replace(job.opened_at, device_time=evening))
    assert day_text(at(5), "2026-02-28", west) == "2026-02-28"
    with pytest.raises(Refused, match="came in on 2026-02-28"):
        day_text(at(5), "2026-02-27", west)


def test_money_of_the_customer_too(record: Record, dead: View) -> None:
    line = Line("labour", "find and mend", Money(Decimal("45"), "USD"))
    account.make_estimate(record, dead.job.id, [line], Taxes(), "USD", at(1))
    account.take_money(record, dead.job.id, "20", "transfer", at(0, day=9), on="2026-03-06")
    (paid,) = account.payments_of(load_job(record, dead.job.id))
    assert paid.day == date(2026, 3, 6)


def test_what_cover_depends_on_is_taken_back(record: Record, dead: View) -> None:
    """A proof ticked and a day noted by mistake are not known again; all of it stays an event."""
    job = covered(record, dead)
    back = CoverNoted(failed=UNSAID, proof=(UNSAID,), answers={"water": UNSAID})
    paperwork.note_cover(record, job, back, at(5))
    noted = load_job(record, job).paperwork.cover
    assert (noted.failed, noted.proof, noted.answers) == ("", (), {"opened": "no"})
    assert noted.purchased == "2024-04-19"
    cover = paperwork.cover_of(record, load_job(record, job), date(2026, 3, 1))
    assert cover is not None and cover.answer == "can't say"
    assert "proof: receipt with a date" in cover.missing
