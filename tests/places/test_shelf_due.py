"""Paperwork says what waits on the shelf too: late parts, answers, machines nobody collects."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from knowngood.documents.day_sheet import LOCAL_LAW
from knowngood.job.apart import PartTagged
from knowngood.job.counter import CheckedIn, HandedBack
from knowngood.job.events import JobClosed, JobOpened, PartDecided, ReleaseChecked
from knowngood.job.shelf import AnswerAwaited, PartOrdered
from knowngood.job.shop_sheet import ShopNoted
from knowngood.places.due import UNCOLLECTED, Due
from knowngood.places.gather import View
from knowngood.places.papers_due import papers_due
from knowngood.places.premises import note_shop
from knowngood.places.record import Record, Refused
from knowngood.places.shelf_due import still_here
from knowngood.places.stockroom import Want, place_order
from tests.places.conftest import at


def lines(record: Record, today: date) -> list[str]:
    return [("LATE " if d.late else "") + d.line(today) for d in papers_due(record, today)]


def test_a_part_ordered_on_the_shelf_is_late_on_paperwork(record: Record, dead: View) -> None:
    job = dead.job.id
    record.append(job, [PartOrdered("start_box", "Start box", "BW-210", "Brackwater",
                                    "2026-03-05")], at(1))  # fmt: skip
    assert lines(record, date(2026, 3, 5)) == []
    assert lines(record, date(2026, 3, 6)) == [
        "LATE 26-0001: Start box of Brackwater is not here: call the supplier; its day was "
        "1 day ago"
    ]
    record.append(job, [PartOrdered("start_box", "Start box", "BW-210")], at(2))
    assert lines(record, date(2026, 3, 7)) == []
    assert lines(record, date(2026, 3, 8)) == [
        "26-0001: Start box ordered 7 days ago, no day given: ask the supplier for one"
    ]


def test_a_part_of_a_stockroom_order_is_said_once(record: Record, dead: View) -> None:
    part = PartDecided("start_box", "Start box", "BW-210", True, "proven")
    record.append(dead.job.id, [part], at(1))
    wants = [Want("BW-210", 1, jobs=(dead.job.id,))]
    place_order(record, "o7", "Brackwater", wants, at(2), "USD", expected="2026-03-05")
    assert lines(record, date(2026, 3, 8)) == [
        "LATE order o7: 1 part of Brackwater not here (3 days ago)"
    ]


def test_a_question_nobody_answers(record: Record, dead: View) -> None:
    record.append(dead.job.id, [AnswerAwaited("mend it for 120?", "2026-03-04")], at(1))
    assert lines(record, date(2026, 3, 3)) == [
        "26-0001: asked 2 days ago, no answer yet: mend it for 120? (in 1 day)"
    ]
    assert lines(record, date(2026, 3, 5))[0].startswith("LATE 26-0001: asked 4 days ago")
    record.append(dead.job.id, [AnswerAwaited("mend it for 130?")], at(2))
    assert lines(record, date(2026, 3, 7))[0].startswith("26-0001: asked 6 days ago")
    assert lines(record, date(2026, 3, 8))[0].startswith("LATE 26-0001: asked 7 days ago")


def ready(record: Record, dead: View) -> str:
    checks = [ReleaseChecked(c.id, c.words, "pass", "") for c in dead.setup.machine.release]
    assert checks
    record.append(dead.job.id, [CheckedIn(storage="5 USD a day"), *checks], at(1))
    return dead.job.id


def test_a_ready_machine_that_nobody_fetches(record: Record, dead: View) -> None:
    """Usually the job is closed by handing it back: until then it is open, and ready."""
    job = ready(record, dead)
    assert papers_due(record, date(2026, 3, 7)) == ()
    (due,) = papers_due(record, date(2026, 3, 8))
    assert due == Due(
        job, "26-0001", "ready, not fetched for 7 days (5 USD a day)", None, False, UNCOLLECTED
    )
    assert "local law" in LOCAL_LAW
    note_shop(record, ShopNoted(fetch_days=30), at(2))  # the shop's own rule
    assert papers_due(record, date(2026, 3, 30)) == ()
    assert len(papers_due(record, date(2026, 3, 31))) == 1
    with pytest.raises(Refused, match="give 0 to 3650"):
        note_shop(record, ShopNoted(fetch_days=-1), at(3))


def test_an_old_machine_is_not_forgotten_behind_many(record: Record, dead: View) -> None:
    """However many jobs were closed after it."""
    opened = dead.job.opened
    assert opened is not None
    done = JobClosed("no fault found")
    record.append(dead.job.id, [CheckedIn(storage="5 USD a day"), done], at(1))
    for n in range(320):
        came = replace(opened, number=f"27-{n:04}")
        events = [came, CheckedIn(storage="x"), HandedBack("Mr. Vale"), done]
        record.append(f"{n:032x}", events, at(2))
    assert [row.job for row in still_here(record)] == [dead.job.id]
    assert lines(record, date(2026, 4, 20)) == ["26-0001: not fetched for 50 days (5 USD a day)"]


def test_a_machine_file_that_cannot_be_read_stops_no_other_paper(
    record: Record, dead: View
) -> None:
    record.append(dead.job.id, [AnswerAwaited("mend it for 120?", "2026-03-04")], at(1))
    opened = dead.job.opened
    assert opened is not None
    job, broken = "e" * 32, record.files.keep_text("parts: [")
    part = PartDecided("start_box", "Start box", "BW-210", True, "proven")
    record.append(job, [
        replace(opened, number="26-0009", machine_digest=broken), part,
        PartTagged("start_box", "26-0009", "shelf 3", ""), JobClosed("repaired"),
    ], at(1))  # fmt: skip
    found = lines(record, date(2026, 3, 3))
    assert any(line.startswith("26-0009: its failed part: ") for line in found)
    assert any(line.startswith("26-0001: asked 2 days ago") for line in found)


def test_the_shops_own_days_for_a_part_that_was_tagged(record: Record, dead: View) -> None:
    """Without a programme it is the shop's sheet that says how long a failed part is kept."""
    opened = dead.job.opened
    assert opened is not None
    kept: JobOpened = replace(opened, number="26-0009", rates={**opened.rates, "keep_days": 60.0})
    job = "e" * 32
    part = PartDecided("start_box", "Start box", "BW-210", True, "proven")
    record.append(job, [kept, part, JobClosed("handed back")], at(1))
    assert lines(record, date(2026, 3, 20)) == []  # nobody tagged it
    record.append(job, [PartTagged("start_box", "26-0009", "shelf 3", "")], at(2))
    assert lines(record, date(2026, 3, 20)) == [
        "26-0009: failed part (Start box): keep it (in 41 days)"
    ]
    assert lines(record, date(2026, 5, 1)) == [
        "26-0009: failed part (Start box): it may be scrapped, its day was 1 day ago"
    ]
