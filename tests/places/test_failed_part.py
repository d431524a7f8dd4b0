"""The failed part: kept by the programme's days, a pack never inside, and what waits of it."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from knowngood.job.counter import CheckedIn, HandedBack
from knowngood.job.events import JobClosed
from knowngood.job.paperwork import ClaimAnswered, ClaimSent
from knowngood.places import decision, stockroom
from knowngood.places.bench import CheckIn, open_job
from knowngood.places.counter import hand_back, override_hold
from knowngood.places.failed_part import failed_part, let_go, tag_failed
from knowngood.places.gather import View, load_job
from knowngood.places.library import find_machine, find_meter
from knowngood.places.papers_due import papers_due
from knowngood.places.paperwork import choose_programme, having
from knowngood.places.record import Record, Refused
from knowngood.places.stockroom import Want
from tests.places.conftest import at
from tests.places.test_decision import proven
from tests.shop.test_cover import FILE


def decided(record: Record, dead: View) -> str:
    job = dead.job.id
    choose_programme(record, job, FILE, "brackwater.yaml", at(1))
    proven(record, decision.call(record, job, "start box", at(2)))
    decision.decide(record, job, at(10))
    return job


def test_it_is_kept_as_long_as_the_programme_says(record: Record, dead: View) -> None:
    job = decided(record, dead)
    failed = failed_part(record, load_job(record, job), date(2026, 3, 1))
    assert failed is not None
    assert failed.until == date(2026, 3, 1) + timedelta(60)
    assert failed.care == ()
    assert "part_kept" not in having(load_job(record, job))
    tag_failed(record, job, "shelf 3", "open in every position", at(11))
    assert "part_kept" in having(load_job(record, job))
    # not replaced yet: the 60 days run from the day it is, so on 20 March not before 19 May
    with pytest.raises(Refused, match="is to be kept until 2026-05-19"):
        let_go(record, job, "scrapped", "", at(0, day=20))
    with pytest.raises(Refused, match="no end of a part"):
        let_go(record, job, "eaten", "", at(12))
    gone = let_go(record, job, "scrapped", "the programme said so by phone", at(12), "g1")
    assert gone.gone is not None
    assert let_go(record, job, "scrapped", "again", at(13), "g1") == gone  # sent twice


def test_a_pack_is_never_kept_inside(record: Record) -> None:
    machine, meter = find_machine("mower-battery-56v"), find_meter("generic-6000")
    job = open_job(record, CheckIn(machine, "dead", "dead", meter), at()).job.id
    decision.call(record, job, "pack", at(1))
    decision.decide(record, job, at(2), "pack")
    failed = failed_part(record, load_job(record, job), date(2026, 3, 1))
    assert failed is not None and failed.place.startswith("outdoors")
    assert any("do not keep it indoors" in line for line in failed.care)
    with pytest.raises(Refused, match="not kept inside"):
        tag_failed(record, job, "", "", at(3))
    with pytest.raises(Refused, match="disposal"):
        let_go(record, job, "scrapped", "old", at(4))
    let_go(record, job, "handed over for disposal", "to the depot", at(4))


def test_what_waits_is_said(record: Record, dead: View) -> None:
    job = decided(record, dead)

    def words(today: date) -> list[str]:
        return [d.line(today) for d in papers_due(record, today)]

    override_hold(record, job, "Ida", "sold for parts", at(12))
    record.append(job, [CheckedIn(storage="5 USD a day"), JobClosed("repaired")], at(13))
    name = load_job(record, job).name
    assert f"{name}: not fetched for 9 days (5 USD a day)" in words(date(2026, 3, 10))
    assert any("has no tag" in line for line in words(date(2026, 3, 10)))

    def untagged_late(today: date) -> list[bool]:
        return [d.late for d in papers_due(record, today) if "has no tag" in d.words]

    assert untagged_late(date(2026, 3, 1)) == [False]  # 60 days are left
    assert untagged_late(date(2026, 4, 28)) == [True]
    tag_failed(record, job, "shelf 3", "", at(14))
    assert any("failed part (Start box): keep it (in 51 days)" in w
               for w in words(date(2026, 3, 10)))  # fmt: skip
    assert any("it may be scrapped" in line for line in words(date(2026, 5, 1)))
    record.append(job, [ClaimSent("c1", "2026-03-02", "105.52", "USD")], at(15))
    assert any("keep it, its claim is not answered" in line for line in words(date(2026, 5, 1)))
    with pytest.raises(Refused, match="until its claim is answered"):
        let_go(record, job, "scrapped", "", at(60 * 24 * 90))
    answered = ClaimAnswered("c2", "2026-03-09", "accepted", "105.52", "USD")
    record.append(job, [answered], at(15))
    assert any("it may be scrapped" in line for line in words(date(2026, 5, 1)))
    stockroom.place_order(record, "o7", "Brackwater", [Want("BW-9", 2)], at(1), "USD",
                          expected="2026-03-05")  # fmt: skip
    late = [d for d in papers_due(record, date(2026, 3, 8)) if d.late and not d.job]
    assert [d.line(date(2026, 3, 8)) for d in late] == [
        "order o7: 2 parts of Brackwater not here (3 days ago)"
    ]
    hand_back(record, job, HandedBack("Mr. Vale"), "repaired", at(16))
    assert not any("not fetched" in line for line in words(date(2026, 3, 10)))
