"""A claim says what was done: the number that went in, and that it is in."""

from __future__ import annotations

import json
from datetime import timedelta

import pytest

from knowngood.documents.claim import claim_document
from knowngood.documents.document import Document, NewPage, texts
from knowngood.job.apart import PartInHand
from knowngood.job.events import DecisionWithdrawn, PartDecided
from knowngood.job.paperwork import ClaimWorded
from knowngood.places import decision, paperwork, shelf, stockroom
from knowngood.places.claim_paper import given_of
from knowngood.places.claim_words import recorded_words, set_aside, take_again, word_claim
from knowngood.places.claims import COLUMNS, all_claims
from knowngood.places.gather import View, load_job, machine_file_of
from knowngood.places.parts import take_list, try_list
from knowngood.places.premises import letterhead
from knowngood.places.record import Record, Refused
from tests.places.conftest import at
from tests.places.test_decision import proven
from tests.places.test_paperwork import TODAY, covered
from tests.shop.test_pricelist import LIST

NOW = at(12).now + timedelta(days=1)


@pytest.fixture
def claimed(record: Record, dead: View) -> str:
    """Decided by BW-210, which the list says became BW-212."""
    covered(record, dead, priced=False)
    proven(record, decision.call(record, dead.job.id, "start box", at(3)))
    decision.decide(record, dead.job.id, at(10))
    take_list(record, try_list(record, "Brackwater", "USD", LIST.encode(), "l.csv", None), LIST,
              at(11))  # fmt: skip
    return dead.job.id


def paper(record: Record, job_id: str) -> Document:
    job = load_job(record, job_id)
    given = given_of(record, job, TODAY)
    return claim_document(job, machine_file_of(record, job), letterhead(record), NOW, given)


def page_one(document: Document) -> str:
    cut = next(n for n, block in enumerate(document.blocks) if isinstance(block, NewPage))
    return "\n".join(texts(document.blocks[:cut]))


def number_in_csv(record: Record) -> object:
    (line,) = all_claims(record)
    return line.cells()[COLUMNS.index("part number")]


def test_it_asks_for_the_number_that_was_ordered(record: Record, claimed: str) -> None:
    assert "for one start box BW-210, proven" in page_one(paper(record, claimed))
    shelf.order_part(record, claimed, "", at(12))
    said = page_one(paper(record, claimed))
    assert "for one start box BW-212 in place of BW-210, proven" in said
    assert "part number BW-212 in place of BW-210." in said
    told = recorded_words(record, load_job(record, claimed)).correction
    assert "part number BW-212 in place of BW-210." in told
    (file,) = paper(record, claimed).attached
    (part,) = json.loads(file.data)["parts"]
    assert (part["number"], part["in_place_of"]) == ("BW-212", "BW-210")
    paperwork.send_claim(record, claimed, at(13))
    assert number_in_csv(record) == "BW-212"


def test_one_from_the_shelf_goes_in_by_its_own_number(record: Record, claimed: str) -> None:
    """The stockroom counts the new number; nothing was ordered."""
    stockroom.count(record, "BW-212", 1, at(12))
    stockroom.reserve(record, "BW-212", 1, claimed, at(13))
    assert "for one start box BW-212 in place of BW-210" in page_one(paper(record, claimed))
    stockroom.reserve(record, "BW-212", 0, claimed, at(14))
    assert "for one start box BW-210, proven" in page_one(paper(record, claimed))


def test_what_was_read_on_the_new_part_goes_first(record: Record, claimed: str) -> None:
    shelf.order_part(record, claimed, "", at(12), old_number=True)
    seen = PartInHand("start_box", "Start box", "right", "bw 212", "", True, -1, -1, "")
    record.append(claimed, [seen], at(13))
    assert "start box bw 212 in place of BW-210" in page_one(paper(record, claimed))
    record.append(claimed, [PartInHand("start_box", "Start box", "right", "bw210", "", True)],
                  at(14))  # fmt: skip
    assert "for one start box BW-210, proven" in page_one(paper(record, claimed))


def test_noted_as_fitted_is_replaced(record: Record, claimed: str) -> None:
    """A claim goes out before the job is closed; the note alone says that the part is in."""
    told = recorded_words(record, load_job(record, claimed)).correction
    assert told.startswith("To be replaced: Start box") and told.endswith("not show it fitted.")
    decision.fit(record, claimed, at(12))
    told = recorded_words(record, load_job(record, claimed)).correction
    assert told.startswith("Replaced: Start box, part number BW-210.")
    assert "fitted" not in told


def test_denied_after_money_came_is_told_alike_everywhere(record: Record, claimed: str) -> None:
    """44.00 + 15 % handling and labour was asked for; 40 came, it was sent again and denied."""
    paperwork.send_claim(record, claimed, at(12))
    paperwork.answer_claim(record, claimed, "short-paid", "40", "cap", at(13))
    paperwork.claim_paid(record, claimed, "40", at(14))
    paperwork.send_claim(record, claimed, at(15))
    paperwork.answer_claim(record, claimed, "denied", "", "no plate", at(16))
    course = paperwork.claim_page(record, claimed, TODAY).course
    told = f"40.00 USD of {course.asked} granted, the rest denied: no plate, paid"
    (line,) = all_claims(record)
    assert course.words == line.words == told
    row = dict(zip(COLUMNS, line.cells(), strict=True))
    assert (row["answer"], str(row["granted"]), row["reason"]) == ("short-paid", "40", "no plate")
    assert line.owed == 0


def test_words_for_another_part_are_set_aside(record: Record, claimed: str) -> None:
    """Cause and correction were written for the start box; the controller has its own."""
    told = ClaimWorded("Dead, no start", "Contact burnt", "New box and gasket")
    word_claim(record, claimed, told, at(12))
    assert "Contact burnt" in page_one(paper(record, claimed))
    record.append(claimed, [DecisionWithdrawn("undone")], at(13))
    assert "Contact burnt" not in page_one(paper(record, claimed))
    record.append(claimed, [PartDecided("controller", "Controller", "BW-310", False, "")], at(14))
    job = load_job(record, claimed)
    said = page_one(paper(record, claimed))
    assert "Dead, no start" in said and "New box" not in said and "Controller" in said
    assert set_aside(job) == (
        "Set aside and not printed, as it was written for the start box: Cause: Contact burnt. "
        "Correction: New box and gasket."
    )
    take_again(record, claimed, at(15))
    said = page_one(paper(record, claimed))
    assert "Contact burnt" in said and "Dead, no start" in said
    assert set_aside(load_job(record, claimed)) == ""
    with pytest.raises(Refused, match="no words of this claim are set aside"):
        take_again(record, claimed, at(16))


def test_words_hold_again_for_their_own_part(record: Record, claimed: str) -> None:
    word_claim(record, claimed, ClaimWorded(cause="Contact burnt"), at(12))
    record.append(claimed, [DecisionWithdrawn("undone")], at(13))
    assert load_job(record, claimed).paperwork.worded is None
    decision.decide(record, claimed, at(14))
    assert "Contact burnt" in page_one(paper(record, claimed))
    assert set_aside(load_job(record, claimed)) == ""
