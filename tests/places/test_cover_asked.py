"""Cover at check-in: the programme follows from maker and purchase; the answer with its reasons."""

from __future__ import annotations

import re
from datetime import date

import pytest

from knowngood.job.paperwork import CoverNoted
from knowngood.machines.machine import Machine
from knowngood.places import programmes
from knowngood.places.counter import Sheet, check_in
from knowngood.places.cover_asked import cover_card, note_asked
from knowngood.places.gather import load_job
from knowngood.places.library import Known
from knowngood.places.own_machines import keep_file
from knowngood.places.paperwork import cover_of
from knowngood.places.record import Record, Refused
from tests.places.conftest import at
from tests.shop.test_cover import FILE
from tests.shop.test_notice_file import LIST

TODAY = date(2026, 3, 1)
SHEET = Sheet(
    words="dead", machine="mower-battery-56v", maker="Brackwater", model="BM-561",
    serial="2311A00001",
)  # fmt: skip


def opened(record: Record, job: str = "j1", **more: str) -> str:
    from dataclasses import replace

    check_in(record, job, replace(SHEET, **more), at())  # type: ignore[arg-type]
    return job


def test_the_programme_follows_from_maker_and_purchase(record: Record) -> None:
    programmes.keep_programme(record, FILE, "brackwater.yaml", at())
    job = opened(record, purchased="2024-04-19")
    card = cover_card(record, load_job(record, job), TODAY)
    assert card.programme == "Brackwater outdoor cover"
    assert card.answer == "can't say"
    assert card.sentence == "Can't say yet: 6 answers missing"
    fields = [q.field for q in card.questions if not q.answer]
    assert fields == ["use", "failed", "proof", "answer:water", "answer:opened", "made"]
    assert [q.evidence for q in card.questions if q.field == "answer:water"] == ["picture"]
    noted = CoverNoted(
        use="household", proof=("receipt with a date",), answers={"water": "no", "opened": "no"}
    )
    note_asked(record, job, noted, at(1))
    card = cover_card(record, load_job(record, job), TODAY)
    assert card.answer == "covered" and "until 2027-04-19" in card.sentence
    assert any("which part it is" in m for m in card.missing)
    assert card.other_groups == ("battery: can't say",)  # the day it was made is not known
    note_asked(record, job, CoverNoted(answers={"water": "yes"}), at(2))
    card = cover_card(record, load_job(record, job), TODAY)
    assert (card.answer, card.tone) == ("not covered", "loud")
    assert "it has stood in water" in card.sentence


def test_a_machine_of_before_needs_no_question_twice(record: Record) -> None:
    programmes.keep_programme(record, FILE, "brackwater.yaml", at())
    first = opened(record, purchased="2024-04-19")
    note_asked(record, first, CoverNoted(use="commercial"), at(1))
    second = load_job(record, opened(record, "j2"))
    cover = second.paperwork.cover
    assert (cover.purchased, cover.use, dict(cover.answers)) == ("2024-04-19", "commercial", {})
    card = cover_card(record, second, TODAY)
    assert card.answer == "not covered" and "cover ended on 2025-04-19" in card.sentence


def test_without_a_programme_nothing_is_asked(record: Record) -> None:
    job = load_job(record, opened(record, maker="Tolmin"))
    card = cover_card(record, job, TODAY)
    assert (card.sentence, card.questions, card.notices) == ("", (), ())


def test_the_day_of_purchase_is_asked_where_a_programme_exists(record: Record) -> None:
    programmes.keep_programme(record, FILE, "brackwater.yaml", at())
    job = opened(record)
    card = cover_card(record, load_job(record, job), TODAY)
    assert "when was it bought?" in card.sentence
    assert [q.field for q in card.questions] == ["purchased"]
    note_asked(record, job, CoverNoted(purchased="2024-04-19"), at(1))
    assert cover_card(record, load_job(record, job), TODAY).programme


def test_two_programmes_of_one_maker_are_told_apart_by_day(record: Record) -> None:
    new = FILE.replace("brackwater_outdoor", "brackwater_new") + "sold: {from: 2025-01-01}\n"
    old = FILE + "sold: {until: 2024-12-31}\n"
    for text in (new, old):
        programmes.keep_programme(record, text, "brackwater.yaml", at())
    for job, bought, chosen in (("a", "2024-12-31", "outdoor"), ("b", "2025-01-01", "new")):
        opened(record, job, purchased=bought)
        programme = load_job(record, job).paperwork.programme
        assert programme is not None and programme.programme == f"brackwater_{chosen}"


def test_recalls_are_looked_for_by_the_serial(record: Record) -> None:
    programmes.keep_notices(record, LIST, "recalls.yaml", at())
    programmes.keep_programme(record, FILE, "brackwater.yaml", at())
    found = programmes.notices_for(record, "Brackwater", "BM-561", "2304A01175")
    assert [n.id for n in found] == ["R-3", "N-7"]  # the shop's list, then the programme's
    assert programmes.notices_for(record, "Tolmin", "BM-561", "2304A01175") == ()
    job = load_job(record, opened(record, serial="2304A01175"))
    assert [n.id for n in cover_card(record, job, TODAY).notices] == ["R-3", "N-7"]
    under = load_job(record, opened(record, "b", serial="2304A01175", purchased="2024-04-19"))
    judged = cover_of(record, under, TODAY)  # of the papers and the claim
    assert judged is not None and [n.id for n in judged.notices] == ["R-3", "N-7"]
    programmes.drop_file(record, "notices", "notices", at(), "old")
    assert [n.id for n in programmes.notices_for(record, "Brackwater", "BM-561", "2304A01175")] == [
        "N-7"
    ]


def test_what_cannot_be_is_refused(record: Record) -> None:
    programmes.keep_programme(record, FILE, "brackwater.yaml", at())
    job = opened(record, purchased="2024-04-19")
    for noted in (CoverNoted(use="boat"), CoverNoted(failed="yesterday"),
                  CoverNoted(answers={"fire": "no"}), CoverNoted(answers={"water": "maybe"})):
        with pytest.raises(Refused):
            note_asked(record, job, noted, at(1))
    with pytest.raises(Refused, match="no programme 'none'"):
        programmes.drop_file(record, "programme", "none", at())
    opened(record, "odd", serial="odd-1", purchased="last May")
    assert load_job(record, "odd").paperwork.programme is None


def test_a_part_that_no_machine_file_has_keeps_a_programme_out(
    record: Record, small: Known[Machine]
) -> None:
    """Parts of the files that come along and of the shop's own are known, no others."""
    typed = FILE.replace("[pack, charger]", "[pack, loom]")
    with pytest.raises(Refused, match="battery names loom, which is a part of no machine"):
        programmes.keep_programme(record, typed, "b.yaml", at())
    assert programmes.files_of(record).kept == {}
    own = small.text.replace("machine: test-mower", "machine: own-mower")
    keep_file(record, re.sub(r"\bharness\b", "loom", own), "own.yaml", at())
    assert programmes.keep_programme(record, typed, "b.yaml", at()).groups["battery"] == (
        "pack", "loom",
    )


def test_a_day_of_purchase_to_come_is_refused_at_check_in_with_the_way_out(record: Record) -> None:
    programmes.keep_programme(record, FILE, "brackwater.yaml", at())
    with pytest.raises(Refused, match=(
        "bought on 2026-03-02 is still to come, today is 2026-03-01; mend the day, or leave it "
        "empty"
    )):  # fmt: skip
        opened(record, purchased="2026-03-02")
    assert record.log.events("j1") == []  # nothing half done: the same form goes in once mended
    job = opened(record, purchased="2026-03-01")
    assert load_job(record, job).paperwork.cover.purchased == "2026-03-01"
    with pytest.raises(Refused, match="purchased on 2027-01-01 is still to come"):
        note_asked(record, job, CoverNoted(purchased="2027-01-01"), at(1))
