"""Work without a part: it costs nothing on a claim, and its claim goes out."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest
from pypdf import PdfReader

from knowngood.documents.pdf import write_claim
from knowngood.job.events import JobClosed, MinutesNoted, PartDecided
from knowngood.job.paperwork import ProgrammeChosen
from knowngood.measure.meter import MeterSheet
from knowngood.places import paperwork
from knowngood.places.bare import bare_machine
from knowngood.places.bench import CheckIn, open_job
from knowngood.places.claim_paper import given_of, prices_of_parts
from knowngood.places.gather import load_job, machine_file_of
from knowngood.places.library import Known, find_machine, shipped_machines
from knowngood.places.papers_due import papers_due
from knowngood.places.plan_cost import plan_cost
from knowngood.places.premises import letterhead
from knowngood.places.record import Record, Refused
from knowngood.shop.claim_check import UNREAD
from knowngood.shop.money import Money
from tests.places.conftest import SMALL, at
from tests.places.test_paperwork import NOTED
from tests.shop.test_cover import FILE

TODAY = date(2026, 3, 1)
CLEARING = """\
  clearing: {words: Deck clearing, price: 0, minutes: 8, contents: [labour only - packed grass]}
"""
LID = "  lid: {words: Start box lid, price: 0, minutes: 8}\n"
FAULTS = """\
  deck_full: {words: deck packed, mode: open, parts: clearing, weight: 1}
  lid_split: {words: lid split, mode: open, parts: lid, weight: 1}
"""


@pytest.fixture
def job(record: Record, meter: Known[MeterSheet], tmp_path: Path) -> str:
    """A covered job on the small machine with a deck to clear, and a lid of an unknown price."""
    text = SMALL.read_text(encoding="utf-8")
    file = tmp_path / "small.yaml"
    text = text.replace("\nparts:\n", f"\nparts:\n{CLEARING}{LID}", 1)
    file.write_text(text.replace("\nfaults:\n", f"\nfaults:\n{FAULTS}", 1), encoding="utf-8")
    check_in = CheckIn(find_machine(str(file)), "dead", "dead", meter, serial="5120", model="BT-5")
    job = open_job(record, check_in, at()).job.id
    paperwork.choose_programme(record, job, FILE, "brackwater.yaml", at(1))
    paperwork.note_cover(record, job, NOTED, at(2))
    return job


def decided(record: Record, job: str, part: str, words: str, minute: float = 10) -> None:
    decision = PartDecided(part, words, "", True, "It is so.", {"part_price": 0.0})
    record.append(job, [decision, MinutesNoted(part, 30, measured=True)], at(minute))


def test_every_shipped_part_without_price_and_number_is_labour_only() -> None:
    parts = [part for name in shipped_machines() for part in find_machine(name).it.parts]
    assert not [p.id for p in parts if p.labour_only != (not p.price and not p.numbers)]
    assert sum(p.labour_only for p in parts) >= 17
    for kind in ("battery", "engine"):  # a part that is not named yet costs nobody knows what
        assert not any(p.labour_only for p in bare_machine(kind).it.parts)


def test_its_claim_is_sent_for_the_labour(record: Record, job: str, tmp_path: Path) -> None:
    decided(record, job, "clearing", "Deck clearing")
    page = paperwork.claim_page(record, job, TODAY)
    # by hand: 30 min at the programme's 60 an hour, no part
    assert page.worth is not None and page.worth.known
    assert page.worth.total == Money(Decimal(30), "USD")
    assert page.worth.parts == Money(Decimal(0), "USD")
    assert page.worth.rules[2] == "labour only" and page.worth.notes == ()
    assert not {"part_price", "part_number"} & {lack.id for lack in page.lacks}
    sent = paperwork.send_claim(record, job, at(12))
    assert sent.course.asked == Money(Decimal(30), "USD")
    assert not plan_cost(record, load_job(record, job)).unpriced
    text = printed(record, job, tmp_path / "programme.pdf")
    assert "labour only 0.00 USD" in text and "price not given" not in text


def test_without_a_programme_it_is_a_line_of_nothing(
    record: Record, job: str, tmp_path: Path
) -> None:
    record.append(job, [ProgrammeChosen("")], at(3))
    decided(record, job, "clearing", "Deck clearing")
    it = load_job(record, job)
    assert prices_of_parts(record, it) == {"clearing": (Decimal(0), "labour only")}
    assert "1 x Deck clearing labour only 0.00 USD" in printed(record, job, tmp_path / "c.pdf")


def test_a_price_nobody_knows_is_not_labour_only(record: Record, job: str) -> None:
    decided(record, job, "lid", "Start box lid")
    page = paperwork.claim_page(record, job, TODAY)
    assert page.worth is not None and page.worth.unpriced == ("start box lid",)
    assert page.lacks[0].fix == UNREAD and UNREAD in page.worth.notes[-1]
    assert "note its number with the part's order first" in UNREAD
    with pytest.raises(Refused, match="price of the start box lid is not given: note its number"):
        paperwork.send_claim(record, job, at(12))
    asked = plan_cost(record, load_job(record, job))
    assert [one.part for one in asked.unpriced] == ["lid"]
    free = plan_cost(record, load_job(record, job), Decimal(60), {"lid": Decimal(0)})
    assert free.not_given == () and free.likely.parts == 0  # a 0 that was typed counts
    with pytest.raises(Refused, match="a price of -1; give 0 or more"):
        plan_cost(record, load_job(record, job), None, {"lid": Decimal(-1)})


def test_a_closed_job_keeps_its_unsent_claim_for_a_time(record: Record, job: str) -> None:
    """Its last day is 2026-03-22; claims mostly go out after closing."""
    decided(record, job, "clearing", "Deck clearing")
    record.append(job, [JobClosed("repaired", "")], at(20))

    def said(day: date) -> bool:
        return any("no claim was sent in time" in due.words for due in papers_due(record, day))

    assert not said(date(2026, 3, 22)) and said(date(2026, 3, 23))
    assert said(date(2026, 5, 21)) and not said(date(2026, 5, 22))  # 60 days after it


def printed(record: Record, job: str, out: Path) -> str:
    it, now = load_job(record, job), at(20).now
    machine = machine_file_of(record, it)
    write_claim(it, machine, letterhead(record), {}, out, now,
                given=given_of(record, it, TODAY))  # fmt: skip
    return " ".join(" ".join(page.extract_text() for page in PdfReader(out).pages).split())
