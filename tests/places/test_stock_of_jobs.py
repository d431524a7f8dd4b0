"""What the stockroom and the jobs say of each other: ordered again, sent back, kept, fitted."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest

from knowngood.job import stockroom as sr
from knowngood.job.counter import HandedBack
from knowngood.job.events import Event, JobClosed, NoteAdded, PartDecided
from knowngood.job.words import in_words
from knowngood.places import account, counter, decision, receiving, stockroom
from knowngood.places.bench import note_details
from knowngood.places.gather import View, load_job
from knowngood.places.record import At, Record, Refused
from knowngood.places.reorder import advice
from knowngood.places.shelf import order_part
from knowngood.places.stockroom import STOCKROOM, Want, room_of
from knowngood.places.undo import undo
from knowngood.places.wanted import all_wanted
from knowngood.shop.estimate import Line
from knowngood.shop.money import Money, Taxes
from knowngood.store.problem import StoreProblem
from tests.places.conftest import at
from tests.places.test_decision import proven


def decided(record: Record, dead: View) -> str:
    proven(record, dead)
    decision.decide(record, dead.job.id, at(10))
    return dead.job.id


def order(record: Record, job: str, number: str = "PO-1", supplier: str = "Brackwater") -> None:
    stockroom.place_order(
        record, number, supplier, [Want("BW-210", 1, Decimal(42), (job,))], at(11), "USD"
    )


def waits(record: Record, job: str) -> str:
    summary = record.log.summary(job)
    assert summary is not None
    return summary.waits


def test_an_order_taken_back_is_written_again_under_its_number(record: Record, dead: View) -> None:
    job = decided(record, dead)
    order(record, job, supplier="Tolmin")
    receiving.take_back(record, "PO-1", "wrong supplier", at(12))
    order(record, job)
    placed = room_of(record).orders["PO-1"]
    assert (placed.supplier, dict(placed.open)) == ("Brackwater", {"BW210": 1})
    (noted,) = load_job(record, job).shelf.on_order
    assert noted.supplier == "Brackwater"
    assert [j.id for j in receiving.receive(record, "PO-1", None, at(13)).ready] == [job]


def test_a_receipt_sent_twice_stays_taken_back(record: Record, dead: View) -> None:
    job = decided(record, dead)
    order(record, job)
    receiving.receive(record, "PO-1", None, at(12), "r1")
    receiving.take_back(record, "r1", "another box", at(13))
    record.append(STOCKROOM, [
        sr.OrderReceived("r1", "PO-1", {"lines": [{"key": "BW210", "count": 1}]})
    ], at(14))  # fmt: skip
    assert room_of(record).kept["BW210"].count == 0


def test_numbers_of_orders_that_differ_by_blanks_are_one(record: Record, dead: View) -> None:
    job = decided(record, dead)
    order(record, job, " PO 1 ")
    with pytest.raises(Refused, match="order PO 1 is there already"):
        order(record, job, "po  1")
    assert receiving.receive(record, "PO 1 ", None, at(12)).ready


def test_an_order_and_its_jobs_are_written_together(
    record: Record, dead: View, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A stop before the second entry leaves nothing, and the order can be written again."""
    job = decided(record, dead)
    put = stockroom.sr.OrderPlaced
    from knowngood.store import log

    whole = log._put

    def stops(write: object, of: str, *rest: object) -> object:
        if of == job:
            raise StoreProblem("the disk is full")
        return whole(write, of, *rest)  # type: ignore[arg-type]

    monkeypatch.setattr(log, "_put", stops)
    with pytest.raises(StoreProblem, match="the disk is full"):
        order(record, job)
    monkeypatch.undo()
    assert not any(isinstance(e.event, put) for e in record.log.events(STOCKROOM))
    order(record, job)
    assert load_job(record, job).shelf.on_order


def test_a_part_that_goes_back_is_wanted_again(record: Record, dead: View) -> None:
    job = decided(record, dead)
    order(record, job)
    receiving.receive(record, "PO-1", None, at(12))
    assert waits(record, job) == "fit"
    with pytest.raises(Refused, match="2 of BW-210 sent back, but 1 lie"):
        receiving.send_back(record, "PO-1", "BW-210", 2, "wrong revision", at(13))
    gone = receiving.send_back(record, "PO-1", "bw 210", 1, "wrong revision", at(13))
    assert (gone.kept.count, gone.kept.free, [j.id for j in gone.waits]) == (0, 0, [job])
    assert (waits(record, job), load_job(record, job).shelf.orders) == ("order", {})
    (basket,) = all_wanted(record, {}, "USD").baskets
    assert basket.wants[0].jobs == (job,)
    receiving.take_back(record, stockroom.last_entry(record), "it was right", at(14))
    (here,) = load_job(record, job).shelf.here
    assert (here.number, here.supplier, waits(record, job)) == ("BW-210", "Brackwater", "fit")


def test_no_more_goes_back_than_its_order_brought(record: Record, dead: View) -> None:
    job = decided(record, dead)
    order(record, job)
    receiving.receive(record, "PO-1", None, at(12))
    stockroom.count(record, "BW-210", 6, at(13))
    with pytest.raises(Refused, match="5 of BW-210 sent back, but 1 of order PO-1 are here"):
        receiving.send_back(record, "PO-1", "BW-210", 5, "too many", at(14))
    # what came in its place and was counted is not on the order, and goes back
    stockroom.count(record, "BW-999", 1, at(15))
    assert receiving.send_back(record, "PO-1", "BW-999", 1, "not ordered", at(16)).kept.count == 0


def also(record: Record, job: str) -> None:
    """A second part is decided on with the first."""
    made = load_job(record, job).decision
    assert made is not None
    proof = {"also": [{"part": "pack", "words": "Pack", "number": "BW-100"}]}
    record.append(job, [PartDecided(
        made.part, made.words, made.number, made.proven, made.sentence, proof
    )], at(10))  # fmt: skip


def test_each_part_of_a_job_is_wanted_for_itself(record: Record, dead: View) -> None:
    """A spark plug kept for the job, or one part on order, hides no other part of it."""
    job = decided(record, dead)
    also(record, job)
    stockroom.count(record, "SP-7", 1, at(10))
    stockroom.reserve(record, "SP-7", 1, job, at(10))
    (basket,) = all_wanted(record, {}, "USD").baskets
    assert [w.number for w in basket.wants] == ["BW-210", "BW-100"]
    order(record, job)
    (basket,) = all_wanted(record, {}, "USD").baskets
    assert [w.number for w in basket.wants] == ["BW-100"]


def test_what_lies_there_is_kept_and_not_ordered(record: Record, dead: View) -> None:
    job = decided(record, dead)
    stockroom.count(record, "BW-210", 2, at(10), "Start box", "A2")
    found = all_wanted(record, {}, "USD")
    assert found.baskets == ()
    assert [one.sentence for one in found.lying] == [
        "job 26-0001 wants BW-210 (Start box): 2 free at A2, keep it for the job"
    ]
    stockroom.reserve(record, "BW-210", 1, job, at(11))
    (here,) = load_job(record, job).shelf.here
    assert (here.part, here.where, waits(record, job)) == ("start_box", "A2", "fit")
    assert all_wanted(record, {}, "USD").lying == ()
    stockroom.reserve(record, "BW-210", 0, job, at(12))
    assert (waits(record, job), len(all_wanted(record, {}, "USD").lying)) == ("order", 1)


def test_a_part_whose_number_nobody_read_is_named(record: Record, dead: View) -> None:
    job = decided(record, dead)
    record.append(job, [PartDecided("start_box", "Start box", "", True, "")], at(11))
    found = all_wanted(record, {}, "USD")
    known = "the number of start box is BW-210, known since it was decided"
    assert (found.baskets, found.unread) == ((), (("26-0001", "Start box", known),))
    record.append(job, [PartDecided("controller", "Controller", "", True, "")], at(12))
    note_details(record, job, at(12), serial="worn off")
    by_serial = "the number of controller goes by the serial, and worn off is not written like 4999"
    assert all_wanted(record, {}, "USD").unread == (("26-0001", "Controller", by_serial),)
    record.append(job, [PartDecided("frame", "Frame", "", True, "")], at(13))
    nobody = "nobody has read its number"
    assert all_wanted(record, {}, "USD").unread == (("26-0001", "Frame", nobody),)


def test_fitted_parts_leave_the_shelf_with_the_job(record: Record, dead: View) -> None:
    job = decided(record, dead)
    order(record, job)
    receiving.receive(record, "PO-1", None, at(12))
    decision.fit(record, job, at(13))
    decision.close_job(record, job, "returned unrepaired", at(14))  # but the part is in it
    room = room_of(record)
    assert (room.kept["BW210"].count, dict(room.kept["BW210"].reserved)) == (0, {})
    assert [(u.key, u.count, u.job) for u in room.used] == [("BW210", 1, job)]


def test_parts_of_a_job_that_ends_without_them_are_free(record: Record, dead: View) -> None:
    job = decided(record, dead)
    stockroom.place_order(record, "PO-1", "Brackwater", [
        Want("BW-210", 1, Decimal(42), (job,)), Want("BW-100", 1, Decimal(42), (job,)),
    ], at(11), "USD")  # fmt: skip
    receiving.receive(record, "PO-1", {"BW-210": 1}, at(12))
    decision.close_job(record, job, "returned unrepaired", at(14))
    late = receiving.receive(record, "PO-1", None, at(15))  # the other comes after that
    assert late.ready == ()
    assert "which is closed: it lies there free" in late.told[0]
    room = room_of(record)
    assert {k.number: (k.count, k.free) for k in room.kept.values()} == {
        "BW-210": (1, 1), "BW-100": (1, 1),
    }  # fmt: skip
    assert room.used == ()


@pytest.mark.parametrize(("outcome", "left"), [
    ("closed with blanks", 0), ("closed", 0), ("handed back", 0), ("", 0), ("scrapped", 1),
    ("no fault found", 1),
])  # fmt: skip
def test_parts_of_a_machine_that_left_mended_are_in_it(
    record: Record, dead: View, outcome: str, left: int
) -> None:
    """Whatever word closed it, unless that says it was not repaired; "" is the counter's usual."""
    job = decided(record, dead)
    order(record, job)
    receiving.receive(record, "PO-1", None, at(12))
    if outcome:
        decision.close_job(record, job, outcome, at(14))
    else:
        counter.override_hold(record, job, "Ana", "the customer waits", at(13))
        counter.hand_back(record, job, HandedBack("Mr. Vale"), "", at(14))
    kept = room_of(record).kept["BW210"]
    assert (kept.count, kept.free, len(room_of(record).used)) == (left, left, 1 - left)


def came_for(record: Record, dead: View) -> str:
    job = decided(record, dead)
    order(record, job)
    receiving.receive(record, "PO-1", None, at(12))
    return job


def shelf(record: Record, job: str) -> tuple[int, int, int]:
    """There, kept for the job, used."""
    room = room_of(record)
    kept = room.kept["BW210"]
    return kept.count, kept.reserved.get(job, 0), len(room.used)


def test_a_closing_undone_takes_its_entries_back(record: Record, dead: View) -> None:
    job = came_for(record, dead)
    decision.close_job(record, job, "returned unrepaired", at(14))
    assert shelf(record, job) == (1, 0, 0)
    undo(record, job, at(15))
    assert (shelf(record, job), waits(record, job)) == ((1, 1, 0), "fit")
    decision.close_job(record, job, "closed", at(16))  # by mistake
    assert shelf(record, job) == (0, 0, 1)
    undo(record, job, at(17))
    assert (shelf(record, job), waits(record, job)) == ((1, 1, 0), "fit")
    decision.close_job(record, job, "returned unrepaired", at(18))
    assert shelf(record, job) == (1, 0, 0)


def test_a_part_that_another_took_meanwhile_is_not_here(record: Record, dead: View) -> None:
    job = came_for(record, dead)
    decision.close_job(record, job, "returned unrepaired", at(14))
    stockroom.use(record, "BW-210", 1, at(15))
    undo(record, job, at(16))
    assert (shelf(record, job), waits(record, job)) == ((0, 0, 1), "order")
    assert room_of(record).kept["BW210"].free == 0


def test_what_was_fitted_or_counted_since_stays_so(record: Record, dead: View) -> None:
    job = came_for(record, dead)
    decision.close_job(record, job, "closed", at(14))
    stockroom.count(record, "BW-210", 0, at(15))
    undo(record, job, at(16))
    assert shelf(record, job) == (0, 0, 1)
    stockroom.count(record, "BW-210", 1, at(17))
    stockroom.reserve(record, "BW-210", 1, job, at(17))
    decision.fit(record, job, at(18))
    decision.close_job(record, job, "closed", at(19))
    undo(record, job, at(20))
    assert shelf(record, job) == (0, 0, 2)  # it is in the machine
    decision.close_job(record, job, "closed", at(21))
    assert shelf(record, job) == (0, 0, 2)


def test_a_use_after_the_closing_is_none_of_it(record: Record, dead: View) -> None:
    job = came_for(record, dead)
    decision.close_job(record, job, "closed", at(14))
    stockroom.count(record, "SP-7", 1, at(15))
    stockroom.use(record, "SP-7", 1, at(16), job)
    used = stockroom.last_entry(record)
    assert stockroom.entry_words(record, used) == "1 of SP7 used for job 26-0001"
    undo(record, job, at(17))
    assert [u.key for u in room_of(record).used] == ["SP7"]


def test_the_last_entry_is_none_that_a_closing_wrote(record: Record, dead: View) -> None:
    """Else the part of a machine that has left would lie there free."""
    job = came_for(record, dead)
    last = stockroom.last_entry(record)
    assert stockroom.entry_words(record, last) == "parts of order PO-1 came"
    decision.close_job(record, job, "closed", at(14))
    assert stockroom.last_entry(record) == last


def test_parts_kept_for_a_closed_job_are_named(record: Record, dead: View) -> None:
    """As older versions left them; nothing new is kept so."""
    job = decided(record, dead)
    stockroom.count(record, "OLD-1", 1, at(11))
    record.append(job, [JobClosed("repaired")], at(12))
    record.append(STOCKROOM, [sr.StockReserved("OLD1", job, 1.0)], at(13))
    with pytest.raises(Refused, match=r"wait for other jobs, 26-0001 \(closed\); set one free"):
        stockroom.use(record, "OLD-1", 1, at(14))
    with pytest.raises(Refused, match="job 26-0001 is closed; nothing is kept for it"):
        stockroom.reserve(record, "OLD-1", 1, job, at(14))
    assert stockroom.reserve(record, "OLD-1", 0, job, at(15)).free == 1
    assert stockroom.use(record, "OLD-1", 1, at(16)).count == 0


def test_parts_for_a_job_stop_where_its_customer_has_not_agreed(record: Record, dead: View) -> None:
    job = decided(record, dead)
    line = Line("part", "Start box", Money(Decimal(42), "USD"))
    account.make_estimate(record, job, [line], Taxes({}), "USD", at(10))
    stockroom.count(record, "BW-210", 2, at(10))
    with pytest.raises(Refused, match="stopped, nothing was kept; job 26-0001"):
        stockroom.reserve(record, "BW-210", 1, job, at(11))
    with pytest.raises(Refused, match="stopped, nothing was taken; job 26-0001"):
        stockroom.use(record, "BW-210", 1, at(11), job)
    account.agree(record, job, "Rosa", "by phone", "42", at(12))
    stockroom.reserve(record, "BW-210", 1, job, at(13))
    assert stockroom.use(record, "BW-210", 1, at(14), job).count == 1


def month(number: int, day: int = 9) -> At:
    return replace(at(), now=at().now.replace(month=number, day=day))


def test_advice_leaves_out_what_comes_for_jobs(record: Record, dead: View) -> None:
    """4 used in the two whole months the shop counts: mean 2, none spread, so Poisson; 5 suffice in
    98.3 of 100 months and 4 in 94.7 (the tables of Abramowitz & Stegun, from memory)."""
    stockroom.count(record, "BW-210", 9, month(1, 20))
    for one in (2, 3):
        stockroom.use(record, "BW-210", 2, month(one))
    today = date(2026, 4, 2)
    assert advice(record, date(2026, 3, 30), 1.0) == ()  # February is the only whole one
    stockroom.count(record, "BW-210", 0, month(4, 1))
    (found,) = advice(record, today, 1.0)
    assert (found.months, found.reorder.mean, found.buy) == (2, 2.0, 5)
    stockroom.place_order(record, "PO-1", "Brackwater", [
        Want("BW-210", 2, Decimal(42), (dead.job.id,)),
    ], month(4, 1), "USD")  # fmt: skip
    (found,) = advice(record, today, 1.0)
    assert (found.on_order, found.buy) == (1, 4)  # one of the two is for the job


def test_a_line_of_the_old_kind_that_lay_unseen_opens(record: Record, dead: View) -> None:
    """An order written again after its withdrawal by an older version stands, without its jobs."""
    lines = {"lines": [{"key": "BW210", "number": "BW-210", "count": 1, "price": "42",
                        "jobs": [dead.job.id]}]}  # fmt: skip
    events: list[Event] = [
        sr.OrderPlaced("PO-1", "Tolmin", lines), sr.StockWithdrawn("PO-1"),
        sr.OrderPlaced("PO-1", "Brackwater", lines), NoteAdded("of no matter"),
    ]  # fmt: skip
    record.append(STOCKROOM, events, at(1))
    assert room_of(record).orders["PO-1"].supplier == "Brackwater"


def test_a_day_noted_by_hand_outlives_an_order_taken_back(record: Record, dead: View) -> None:
    job = decided(record, dead)
    order_part(record, job, "", at(10), supplier="Brackwater", expected="2026-12-04")
    order(record, job, "PB-77")
    (noted,) = load_job(record, job).shelf.on_order
    assert noted.expected == "2026-12-04"
    receiving.take_back(record, "PB-77", "typed twice", at(12))
    (noted,) = load_job(record, job).shelf.on_order
    assert (noted.supplier, noted.expected) == ("Brackwater", "2026-12-04")
    stockroom.place_order(
        record, "PB-78", "Brackwater", [Want("BW-210", 1, Decimal(42), (job,))], at(13), "USD"
    )
    (noted,) = load_job(record, job).shelf.on_order
    assert noted.expected == "2026-12-04"
    with pytest.raises(Refused, match="2 of BW-210 came, but 1 are open on order PB-78"):
        receiving.receive(record, "PB-78", {"bw210": 2}, at(14))


def test_an_order_taken_back_is_named_by_its_part_s_words(record: Record, dead: View) -> None:
    job = decided(record, dead)
    order(record, job)
    receiving.take_back(record, "PO-1", "wrong supplier", at(12))
    assert load_job(record, job).shelf.orders == {}
    said = in_words(record.log.events(job)[-1].event)
    assert said == "Start box is not on order after all (wrong supplier)"
