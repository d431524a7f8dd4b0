"""A claim sent again: its paper names the earlier one and asks for no more than what is open."""

from __future__ import annotations

import json
from typing import Any

import pytest

from knowngood.documents.claim import claim_document
from knowngood.documents.document import Document, texts
from knowngood.places import decision, paperwork
from knowngood.places.claim_paper import given_of
from knowngood.places.gather import View, load_job, machine_file_of
from knowngood.places.premises import letterhead
from knowngood.places.record import Record
from tests.places.conftest import at
from tests.places.test_decision import proven
from tests.places.test_paperwork import TODAY, covered, usd


@pytest.fixture
def claimed(record: Record, dead: View) -> str:
    job = covered(record, dead)
    proven(record, dead)
    decision.decide(record, job, at(12))
    paperwork.send_claim(record, job, at(13), "C-881")
    return job


def paper(record: Record, job_id: str) -> Document:
    job = load_job(record, job_id)
    given = given_of(record, job, TODAY)
    return claim_document(job, machine_file_of(record, job), letterhead(record), at(40).now, given)


def said(record: Record, job_id: str) -> str:
    return " ".join(texts(paper(record, job_id)))


def resubmission(record: Record, job_id: str) -> Any:
    return json.loads(paper(record, job_id).attached[0].data)["resubmission"]


def test_a_claim_paid_short_asks_the_rest_when_it_is_sent_again(
    record: Record, claimed: str
) -> None:
    page = paperwork.claim_page(record, claimed, TODAY)
    assert page.worth is not None
    whole = page.worth.total
    first = paper(record, claimed)
    assert first.title == "Warranty claim" and f"We ask {whole} for" in said(record, claimed)
    assert resubmission(record, claimed) is None
    paperwork.answer_claim(record, claimed, "short-paid", "40", "cap", at(14))
    paperwork.claim_paid(record, claimed, "25", at(15))
    left = whole - usd("40.00")
    for number in ("", "C-881b"):  # printed before the sending is noted, and after
        if number:
            paperwork.send_claim(record, claimed, at(16), number)
        text = said(record, claimed)
        assert paper(record, claimed).title == "Warranty claim, resubmitted"
        assert "resubmission of claim C-881, sent on 1 March 2026; 40.00 USD of" in text
        assert f"of {whole} granted on 1 March 2026 (cap), of which 25.00 USD came in." in text
        assert f"We ask {left} more for one start box" in text
        assert f"We ask {whole}" not in text and "To be sent by" not in text
        assert f"before tax: {whole} less 40.00 USD granted before  {left}" in text
        assert resubmission(record, claimed) == {
            "of": [{"claim_number": "C-881", "sent": "2026-03-01"}], "granted": "40.00",
            "received": "25.00", "reason": "cap", "open": str(left.amount),
        }  # fmt: skip
    paperwork.claim_paid(record, claimed, "15", at(17))
    assert "of which 40.00 USD came in" in said(record, claimed)
    paperwork.answer_claim(record, claimed, "accepted", "", "", at(18))
    assert f"We ask {left} more" in said(record, claimed)  # the copy of what went out


def test_a_claim_denied_and_sent_again_asks_the_whole(record: Record, claimed: str) -> None:
    paperwork.answer_claim(record, claimed, "denied", "", "no reading", at(14))
    paperwork.send_claim(record, claimed, at(15), "C-882")
    page = paperwork.claim_page(record, claimed, TODAY)
    assert page.worth is not None
    text = said(record, claimed)
    assert "claim C-881, sent on 1 March 2026; denied on 1 March 2026 (no reading)." in text
    assert f"We ask {page.worth.total} for" in text and "granted before" not in text


def test_a_claim_granted_whole_at_once_stays_as_it_went_out(record: Record, claimed: str) -> None:
    paperwork.answer_claim(record, claimed, "accepted", "", "", at(14))
    assert paper(record, claimed).title == "Warranty claim"
    assert "resubmission" not in said(record, claimed)
