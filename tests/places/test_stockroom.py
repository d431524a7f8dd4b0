"""The stockroom: counts that stay true, orders that come once, and what a job can go on with."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest

from knowngood.job.shelf import PartOrdered
from knowngood.places import decision, receiving, stockroom
from knowngood.places.gather import View, load_job
from knowngood.places.parts import take_list, try_list
from knowngood.places.record import Record, Refused
from knowngood.places.reorder import advice, buy_last, used_by_month
from knowngood.places.stockroom import Want
from knowngood.places.wanted import wanted
from knowngood.shop.money import Money
from tests.places.conftest import at
from tests.places.test_decision import proven
from tests.shop.test_pricelist import LIST

TODAY = date(2026, 3, 1)


def usd(text: str) -> Money:
    return Money(Decimal(text), "USD")


def test_counts_uses_and_what_waits_for_a_job(record: Record, dead: View) -> None:
    stockroom.count(record, "BW-210", 3, at(1), "Start box", "A2")
    kept = stockroom.reserve(record, "bw210", 2, dead.job.id, at(2))
    assert (kept.number, kept.count, kept.free, kept.bin) == ("BW-210", 3, 1, "A2")
    with pytest.raises(Refused, match="2 of 3 wait for other jobs"):
        stockroom.use(record, "BW-210", 2, at(3))
    assert stockroom.use(record, "BW-210", 1, at(4)).free == 0
    kept = stockroom.use(record, "BW-210", 1, at(5), dead.job.id)
    assert (kept.count, dict(kept.reserved)) == (1, {dead.job.id: 1})
    with pytest.raises(Refused, match="only 1 are free"):
        stockroom.reserve(record, "BW-210", 2, dead.job.id, at(6))
    assert stockroom.reserve(record, "BW-210", 0, dead.job.id, at(7)).free == 1


def test_nothing_falls_below_zero(record: Record) -> None:
    stockroom.count(record, "BW-210", 1, at(1))
    with pytest.raises(Refused, match="but 1 lie there"):
        stockroom.use(record, "BW-210", 2, at(2))
    with pytest.raises(Refused, match="count 0 to"):
        stockroom.count(record, "BW-210", -1, at(2))
    with pytest.raises(Refused, match="a count of 0"):
        stockroom.use(record, "BW-210", 0, at(2))
    with pytest.raises(Refused, match="there is no BW-9 in the stockroom; there are: BW-210"):
        stockroom.use(record, "BW-9", 1, at(2))
    assert stockroom.room_of(record).kept["BW210"].count == 1


def ordered(record: Record, dead: View) -> str:
    proven(record, dead)
    decision.decide(record, dead.job.id, at(10))
    stockroom.place_order(
        record, "PO-1", "Brackwater", [Want("BW-210", 2, Decimal(42), (dead.job.id,))], at(11),
        "USD", "9.50", "2026-03-09",
    )  # fmt: skip
    return dead.job.id


def test_a_receipt_says_which_jobs_can_go_on(record: Record, dead: View) -> None:
    job = ordered(record, dead)
    ready = receiving.receive(record, "PO-1", {"BW-210": 1}, at(12))
    assert [j.id for j in ready.ready] == [job]
    assert [o.part for o in load_job(record, job).shelf.here] == ["start_box"]
    kept = stockroom.room_of(record).kept["BW210"]
    assert (kept.count, kept.free, dict(kept.reserved)) == (1, 0, {job: 1})
    assert receiving.receive(record, "PO-1", None, at(13)).ready == ()
    assert stockroom.room_of(record).kept["BW210"].free == 1


def test_an_order_received_twice_changes_nothing(record: Record, dead: View) -> None:
    ordered(record, dead)
    with pytest.raises(Refused, match="3 of BW-210 came, but 2 are open"):
        receiving.receive(record, "PO-1", {"BW-210": 3}, at(12))
    receiving.receive(record, "PO-1", None, at(12), entry="r1")
    with pytest.raises(Refused, match="all of order PO-1 has come already"):
        receiving.receive(record, "PO-1", None, at(13))
    assert stockroom.room_of(record).kept["BW210"].count == 2
    with pytest.raises(Refused, match="order PO-1 is there already"):
        stockroom.place_order(record, "PO-1", "Brackwater", [Want("1", 1)], at(14))
    with pytest.raises(Refused, match="no order 'PO-2'; there are: PO-1"):
        receiving.receive(record, "PO-2", None, at(14))


def test_what_was_entered_by_mistake_is_taken_back(record: Record, dead: View) -> None:
    ordered(record, dead)
    receiving.receive(record, "PO-1", None, at(12), entry="r1")
    stockroom.use(record, "BW-210", 1, at(13), dead.job.id)
    with pytest.raises(Refused, match="fewer than 0 of BW-210 would lie there"):
        receiving.take_back(record, "r1", "wrong parcel", at(14))
    used = next(e for e in stockroom.room_of(record).entries if e not in ("r1", "PO-1"))
    room = receiving.take_back(record, used, "not used after all", at(15))
    assert room.kept["BW210"].count == 2
    with pytest.raises(Refused, match="have come; take their receipt back first"):
        receiving.take_back(record, "PO-1", "wrong supplier", at(15))
    room = receiving.take_back(record, "r1", "wrong parcel", at(16))
    assert (room.kept["BW210"].count, dict(room.orders["PO-1"].open)) == (0, {"BW210": 2})
    with pytest.raises(Refused, match="no entry 'r1'"):
        receiving.take_back(record, "r1", "again", at(17))
    assert not receiving.take_back(record, "PO-1", "wrong supplier", at(18)).orders


def test_a_wrong_part_goes_back_with_its_reason(record: Record, dead: View) -> None:
    ordered(record, dead)
    receiving.receive(record, "PO-1", None, at(12))
    with pytest.raises(Refused, match="needs its reason"):
        receiving.send_back(record, "PO-1", "BW-210", 1, " ", at(13))
    gone = receiving.send_back(record, "PO-1", "BW-210", 1, "wrong revision", at(13))
    assert (gone.kept.count, gone.waits) == (1, ())  # the one that nobody waited for
    with pytest.raises(Refused, match="but 1 lie there"):
        receiving.send_back(record, "PO-1", "BW-210", 2, "wrong revision", at(14))


def test_what_is_wanted_by_supplier_with_its_minimum(record: Record, dead: View) -> None:
    trial = try_list(record, "Brackwater", "USD", LIST.encode(), "list.csv", None)
    take_list(record, trial, LIST, at())
    assert wanted(record, {}, "USD") == ()
    proven(record, dead)
    decision.decide(record, dead.job.id, at(10))
    (basket,) = wanted(record, {"Brackwater": usd("100")}, "USD")
    # BW-210 became BW-212, and that is what is wanted
    assert basket.wants == (Want("BW-212", 1, Decimal("44.00"), (dead.job.id,)),)
    assert (basket.total, basket.short) == (usd("44.00"), usd("56.00"))
    stockroom.place_order(record, "PO-1", "Brackwater", basket.wants, at(11))
    assert wanted(record, {}, "USD") == ()


def least(mean: float, variance: float, chance: float) -> int:
    """The least count that suffices with this chance, by the recursion of the negative binomial,
    P(k + 1) = P(k) (n + k) / (k + 1) (1 - p), with p = mean / variance and n = mean p / (1 - p)
    (NIST Digital Library of Mathematical Functions 26.4 has its terms; from memory)."""
    p = mean / variance
    n = mean * p / (1 - p)
    k, one = 0, p**n
    total = one
    while total < chance:
        one *= (n + k) / (k + 1) * (1 - p)
        k, total = k + 1, total + one
    return k


def test_advice_shows_its_figures(record: Record) -> None:
    """16 in 12 months: mean 4/3, variance (38 - 16^2 / 12) / 11 = 1.515; so 0.287, 0.336, 0.217,
    0.102 and 0.039 for 0 to 4 in a month: 3 suffice in 94.3 of 100 months, 4 in 98.2."""
    opened = replace(at(), now=at(0).now.replace(year=2025, month=2, day=28))
    stockroom.count(record, "BW-210", 30, opened)
    used = [1, 2, 0, 3, 1, 1, 0, 2, 1, 4, 0, 1]  # March 2025 to February 2026
    for month, many in enumerate(used):
        when = at(0).now.replace(year=2025 + (month + 2) // 12, month=(month + 2) % 12 + 1, day=9)
        if many:
            stockroom.use(record, "BW-210", many, replace(at(), now=when))
    room = stockroom.room_of(record)
    assert used_by_month(room, "BW210", TODAY, 12) == tuple(reversed(used))
    assert advice(record, TODAY, 1.0) == ()  # 14 lie there
    stockroom.count(record, "BW-210", 1, at(1))
    (found,) = advice(record, TODAY, 1.0)
    assert (found.reorder.point, found.buy, found.months) == (4, 3, 12)
    assert found.reorder.service == pytest.approx(0.9818, abs=1e-4)
    assert least(16 / 12, 1.51515, 0.95) == 4
    assert found.sentence.startswith(
        "buy 3 of BW-210: 1 free and 0 on order for the shelf, 1.3 are used while"
    )
    last = buy_last(record, "BW-210", TODAY, 24, too_few=40, too_many=20)
    assert last.ratio == pytest.approx(2 / 3)
    assert last.count == least(32.0, 24 * 50 / 33, 2 / 3)  # 50/33: the variance of a month
    with pytest.raises(Refused, match="too_few is 0"):
        buy_last(record, "BW-210", TODAY, 24, 0, 20)


def test_too_little_use_gives_no_advice(record: Record) -> None:
    stockroom.count(record, "BW-210", 1, at(0))
    assert advice(record, TODAY, 1.0) == ()
    with pytest.raises(Refused, match="too few to say"):
        buy_last(record, "BW-210", TODAY, 24, 1, 1)


def test_a_receipt_taken_back_leaves_the_job_waiting_as_before(record: Record, dead: View) -> None:
    job = ordered(record, dead)
    receiving.receive(record, "PO-1", {"BW-210": 1}, at(12), "r1")
    assert stockroom.last_entry(record) == "r1"
    receiving.take_back(record, "r1", "another box", at(13))
    assert [o.part for o in load_job(record, job).shelf.on_order] == ["start_box"]
    assert stockroom.last_entry(record) == "PO-1"
    again = receiving.receive(record, "PO-1", {"BW-210": 1}, at(14), "r2")
    assert [j.id for j in again.ready] == [job]


def test_of_two_orders_only_that_of_the_receipt_waits_again(record: Record, dead: View) -> None:
    """The number is written otherwise on the second order, from which the part came."""
    job = ordered(record, dead)
    again = [Want("bw 210", 1, Decimal(42), (job,))]
    stockroom.place_order(record, "PO-2", "Tolmin", again, at(12), "USD", expected="2026-03-20")
    receiving.receive(record, "PO-2", None, at(13), "r1")
    receiving.take_back(record, "r1", "another box", at(14))
    events = [e.event for e in record.log.events(job) if e.device_time == at(14).now]
    assert events == [PartOrdered("start_box", "Start box", "bw 210", "Tolmin", "2026-03-20")]
    (waits,) = load_job(record, job).shelf.on_order
    assert waits.number == "bw 210"
    receiving.receive(record, "PO-1", {"BW-210": 1}, at(15), "r2")
    receiving.take_back(record, "r2", "that one too", at(16))
    events = [e.event for e in record.log.events(job) if e.device_time == at(16).now]
    assert [getattr(e, "number", "") for e in events] == ["BW-210"]


def test_a_suppliers_terms_are_remembered(record: Record, dead: View) -> None:
    proven(record, dead)
    decision.decide(record, dead.job.id, at(10))
    stockroom.note_supplier(record, "Brackwater", "USD", "50", "9,50", at(11))
    (basket,) = wanted(record, {}, "USD")
    assert basket.freight == usd("9.50")
    # nobody knows its price: whether 50 are reached cannot be said
    assert (basket.unpriced, basket.short) == (1, usd("0.00"))
    trial = try_list(record, "Brackwater", "USD", LIST.encode(), "list.csv", None)
    take_list(record, trial, LIST, at(11))
    (basket,) = wanted(record, {}, "USD")
    assert (basket.unpriced, basket.total, basket.short) == (0, usd("44.00"), usd("6.00"))
    (given,) = wanted(record, {"Brackwater": usd("0")}, "USD")
    assert given.short == usd("0.00")
    for wrong in (("", "USD", "1", "1"), ("X", "dollars", "1", "1"), ("X", "USD", "-1", "1")):
        with pytest.raises(Refused):
            stockroom.note_supplier(record, *wrong, at(12))


def test_an_order_is_noted_on_its_jobs_and_taken_back_with_them(record: Record, dead: View) -> None:
    job = ordered(record, dead)
    (noted,) = load_job(record, job).shelf.on_order
    assert (noted.part, noted.number, noted.supplier) == ("start_box", "BW-210", "Brackwater")
    assert noted.expected == "2026-03-09"
    receiving.take_back(record, "PO-1", "wrong supplier", at(12))
    assert load_job(record, job).shelf.orders == {}
    assert len(wanted(record, {}, "USD")) == 1


def test_another_part_of_the_order_is_not_the_decided_one(record: Record, dead: View) -> None:
    """The pack comes first: the job goes on waiting for its start box, and that is said."""
    proven(record, dead)
    decision.decide(record, dead.job.id, at(10))
    job = dead.job.id
    wants = [Want(number, 1, jobs=(job,)) for number in ("BW-100", "BW-210")]
    stockroom.place_order(record, "PO-1", "Brackwater", wants, at(11), "USD")
    came = receiving.receive(record, "PO-1", {"BW-100": 1}, at(12))
    assert came.ready == ()
    (said,) = came.told
    assert said == (
        "BW-100 of order PO-1 came for job 26-0001, and is not Start box BW-210: look before it "
        "is fitted"
    )
    waits = load_job(record, job)
    assert waits.shelf.here == () and [o.part for o in waits.shelf.on_order] == ["start_box"]
    assert waits.notes[-1].text.startswith("BW-100 of order PO-1 came for this job, and is not")
    box = receiving.receive(record, "PO-1", None, at(13))
    assert ([j.id for j in box.ready], box.told) == ([job], ())
    assert [o.part for o in load_job(record, job).shelf.here] == ["start_box"]


def test_a_number_that_was_not_ordered_is_another_part(record: Record, dead: View) -> None:
    job = ordered(record, dead)
    before = len(record.log.events("stockroom"))
    with pytest.raises(Refused, match=r"BW-310 is not on order PO-1, which has BW-210: another"):
        receiving.receive(record, "PO-1", {"BW-310": 1}, at(12))
    assert len(record.log.events("stockroom")) == before
    assert load_job(record, job).shelf.here == ()


def test_what_an_ordered_number_became_counts_for_it(record: Record, dead: View) -> None:
    job = ordered(record, dead)
    trial = try_list(record, "Brackwater", "USD", LIST.encode(), "list.csv", None)
    take_list(record, trial, LIST, at(12))  # since then BW-210 has become BW-212
    came = receiving.receive(record, "PO-1", {"BW-212": 1}, at(13))
    assert [j.id for j in came.ready] == [job]
    assert came.told == (
        "BW-212 came for BW-210, which is the same part by the price list: counted as BW-210",
    )
    with pytest.raises(Refused, match="2 of BW-210 came, but 1 are open"):
        receiving.receive(record, "PO-1", {"BW-212": 2}, at(14))
