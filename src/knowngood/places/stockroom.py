"""The shop's own parts: counted, kept for a job, taken, ordered."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any, Final
from uuid import uuid4

from knowngood.job import stockroom as sr
from knowngood.job.events import Event
from knowngood.job.job import Job
from knowngood.job.shelf import Order, OrderWithdrawn, PartArrived, PartOrdered
from knowngood.job.stockroom import STOCKROOM, Kept, Placed, Stockroom, entry_of, stockroom_of
from knowngood.job.words import in_words
from knowngood.places.account import before_ordering
from knowngood.places.gather import load_job
from knowngood.places.order_terms import terms_words
from knowngood.places.part_meant import needed_part, part_of
from knowngood.places.parts import became
from knowngood.places.record import At, Record, Refused
from knowngood.shop.money import read_amount
from knowngood.shop.supersession import same_number

MOST: Final = 100_000  # of one number


@dataclass(frozen=True, slots=True)
class Want:
    """A line of an order. `jobs`: ids of the jobs that wait for it."""

    number: str
    count: int
    price: Decimal = Decimal(0)
    jobs: tuple[str, ...] = ()


def room_of(record: Record) -> Stockroom:
    """The stockroom as it stands."""
    return stockroom_of(record.log.events(STOCKROOM))


def count(
    record: Record, number: str, counted: int, at: At, words: str = "", bin: str = ""
) -> Kept:
    """What lies there now. Raises Refused below 0."""
    key = key_of(number)
    if not 0 <= counted <= MOST:
        raise Refused(f"{counted} of {number}; count 0 to {MOST}")
    write(record, sr.StockCounted(key, number.strip(), float(counted), words, bin), at)
    return room_of(record).kept[key]


def use(record: Record, number: str, many: int, at: At, job_id: str = "") -> Kept:
    """Take parts off the shelf. More than lie there is refused; so is what waits for other jobs."""
    kept = kept_named(record, number)
    positive(many)
    if many > kept.count:
        raise Refused(f"{many} of {kept.number} used, but {kept.count} lie there: count them first")
    others = sum(n for job, n in kept.reserved.items() if job != job_id)
    if many > kept.count - others:
        raise Refused(
            f"{many} of {kept.number} used, but {others} of {kept.count} wait for other jobs, "
            f"{kept_for(record, kept, job_id)}; set one free first: keep 0 of it for its job"
        )
    notes = _for_job(record, load_job(record, job_id), kept, many, "taken") if job_id else []
    used = sr.StockUsed(uuid4().hex, kept.key, float(many), job_id)
    record.append_all([(STOCKROOM, [used]), (job_id, notes)], at)
    return room_of(record).kept[kept.key]


def reserve(record: Record, number: str, many: int, job_id: str, at: At) -> Kept:
    """Keep parts for a job; 0 sets them free. More than is free is refused.

    A part that the job needs is noted on it as here; one set free, as not here after all.
    """
    kept, job = kept_named(record, number), load_job(record, job_id)
    if many < 0:
        raise Refused(f"{many} kept for job {job.name}; give 0 or more")
    if many and job.closed is not None:
        raise Refused(f"job {job.name} is closed; nothing is kept for it")
    room = kept.free + kept.reserved.get(job_id, 0)
    if many > room:
        others = kept_for(record, kept, job_id)
        waits = f"; the others wait for {others}" if others else ""
        raise Refused(
            f"{many} of {kept.number} for job {job.name}, but only {max(room, 0)} are free{waits}"
        )
    notes: list[Event] = []
    if many:
        notes = _for_job(record, job, kept, many, "kept")
    elif job.closed is None and kept.reserved.get(job_id) and (
        here := part_here(record, job, kept.number)
    ):
        why = f"{kept.number} was set free in the stockroom"
        notes = [OrderWithdrawn(here.part, why, here.words)]
    reserved = sr.StockReserved(kept.key, job_id, float(many))
    record.append_all([(STOCKROOM, [reserved]), (job_id, notes)], at)
    return room_of(record).kept[kept.key]


def kept_for(record: Record, kept: Kept, but: str = "") -> str:
    """The jobs that parts of a number wait for: "26-0001, 26-0004 (closed)"; "" for none."""
    jobs = (load_job(record, job_id) for job_id in kept.reserved if job_id != but)
    return ", ".join(job.name + (" (closed)" if job.closed else "") for job in jobs)


def _for_job(record: Record, job: Job, kept: Kept, many: int, what: str) -> list[Event]:
    """What a job is told of parts that go to it from the shelf. Refused while its customer has not
    agreed, unless they were kept for it already, or a person ordered for it all the same."""
    there = many <= kept.reserved.get(job.id, 0)
    despite = any(order.despite for order in job.shelf.orders.values())
    if not there and not despite and (why := before_ordering(record, job)):
        raise Refused(f"stopped, nothing was {what}; job {job.name}: {why}")
    needed = needed_part(record, job, kept.number)
    if needed is None or part_here(record, job, kept.number) or job.closed is not None:
        return []
    words = needed.words or kept.words or kept.number
    return [PartArrived(needed.part, words, kept.bin, kept.number)]


def part_here(record: Record, job: Job, number: str) -> Order | None:
    """The part of a job that lies there for it under this number; None when none does."""
    meant = needed_part(record, job, number)
    return next((o for o in job.shelf.here if meant is not None and o.part == meant.part), None)


def note_supplier(
    record: Record, supplier: str, currency: str, minimum: str, freight: str, at: At
) -> str:
    """Keep a supplier's terms; they are told back, with the currency they were in where it is
    another one now. Raises Refused, MoneyProblem."""
    if not supplier.strip() or len(supplier) > 80:
        raise Refused("whose terms are these? Name the supplier")
    if len(currency) != 3 or not currency.isalpha():
        raise Refused(f"the currency is {currency!r}; write its three letters, as USD")
    amounts = [read_amount(text or "0", currency).amount for text in (minimum, freight)]
    if min(amounts) < 0:
        raise Refused("a least order and freight are 0 or more")
    noted = sr.SupplierNoted(supplier.strip(), currency, *(str(a) for a in amounts))
    before = room_of(record).suppliers.get(noted.supplier)
    write(record, noted, at)
    if before is None or before.currency == currency:
        return terms_words(noted)
    return f"{terms_words(noted)}; the currency changed: {before.currency} -> {currency}"


def place_order(
    record: Record, order: str, supplier: str, wants: Sequence[Want], at: At,
    currency: str = "", freight: str = "0", expected: str = "", old_numbers: bool = False,
) -> Placed:  # fmt: skip
    """Write an order down, and note it on its jobs. `order` is the shop's or the supplier's number;
    it is given once, and again only after its order was taken back.

    A number that became another one by a price list is refused, unless `old_numbers` is meant.
    """
    order, supplier, room = " ".join(order.split()), supplier.strip(), room_of(record)
    if not order or not supplier or not wants:
        raise Refused("an order needs its number, its supplier and at least one line")
    if there := _alike(room, order):
        raise Refused(f"order {there} is there already; give it another number")
    if expected and _day(expected) < at.now.date():
        raise Refused(f"it should be here on {expected}, which has passed; give a day to come")
    lines = []
    for want in wants:
        positive(want.count)
        if want.price < 0:
            raise Refused(f"{want.number} at {want.price}: the price of a part is 0 or more")
        if not old_numbers and (why := became(record, want.number, supplier)):
            raise Refused(f"nothing was ordered: {why}")
        for job_id in want.jobs:
            job = load_job(record, job_id)
            if why := before_ordering(record, job):
                raise Refused(f"stopped, nothing was ordered; job {job.name}: {why}")
        lines.append({
            "key": key_of(want.number), "number": want.number.strip(), "count": want.count,
            "price": str(want.price), "jobs": list(want.jobs),
        })  # fmt: skip
    event = sr.OrderPlaced(order, supplier, {"lines": lines}, currency, freight, expected)
    placed = sr.with_event(room, event, day_of(at)).orders[order]
    noted = [(job_id, on_order(record, job_id, placed)) for job_id in jobs_of(placed)]
    record.append_all([(STOCKROOM, [event]), *noted], at)
    return placed


def jobs_of(placed: Placed) -> tuple[str, ...]:
    """Ids of the jobs that an order is for."""
    return tuple(dict.fromkeys(j for line in placed.lines for j in line.get("jobs", ())))


def on_order(record: Record, job_id: str, placed: Placed) -> list[Event]:
    """What is noted on a job of the parts of it that this order brings. Of a part that a person
    noted as ordered there, the day stays where the order has none."""
    job = load_job(record, job_id)
    days = {o.part: o.expected for o in job.shelf.on_order
            if o.supplier in ("", placed.supplier)}  # fmt: skip
    return [
        PartOrdered(part.part, part.words, line["number"], placed.supplier,
                    placed.expected or days.get(part.part, ""))
        for line in placed.lines
        if job_id in line.get("jobs", ()) and placed.open.get(line["key"])
        and (part := part_of(record, job, line["number"], placed)) is not None
    ]  # fmt: skip


def last_entry(record: Record) -> str:
    """The latest use, receipt, return or order that stands; "" when there is none. What a job's
    closing wrote is taken back with the closing, not here."""
    standing = room_of(record).entries
    closings = {(e.job, e.server_time) for e in record.log.of_kinds(["JobClosed"])}
    for envelope in reversed(record.log.events(STOCKROOM)):
        event = envelope.event
        entry = entry_of(event)
        if isinstance(event, sr.StockUsed) and (event.job, envelope.server_time) in closings:
            continue
        if entry and entry in standing:
            return entry
    return ""


def entry_words(record: Record, entry: str) -> str:
    """What an entry says, with its job's name: "1 of BW210 used for job 26-0001"; "" for none."""
    found = [e.event for e in record.log.events(STOCKROOM) if entry and entry_of(e.event) == entry]
    if not found:
        return ""
    words = in_words(found[-1])
    job = found[-1].job if isinstance(found[-1], sr.StockUsed) else ""
    return f"{words} for job {load_job(record, job).name}" if job else words


def write(record: Record, event: Event, at: At) -> None:
    """Keep an event of the stockroom. Raises StoreProblem where the record cannot be written."""
    record.append(STOCKROOM, [event], at)


def key_of(number: str) -> str:
    """A part's number as the stockroom goes by it. Raises Refused for what is no number."""
    key = same_number(number)
    if not key:
        raise Refused(f"{number!r} is no part number")
    return key


def kept_named(record: Record, number: str) -> Kept:
    """What the stockroom has of a number. Raises Refused where it never had it."""
    kept: dict[str, Any] = dict(room_of(record).kept)
    key = key_of(number)
    if key not in kept:
        known = ", ".join(k.number for k in list(kept.values())[:8]) or "nothing yet"
        raise Refused(f"there is no {number} in the stockroom; there are: {known}")
    found: Kept = kept[key]
    return found


def order_named(record: Record, order: str) -> Placed:
    """The order with this number. Raises Refused where there is none."""
    room = room_of(record)
    found = _alike(room, order)
    if not found:
        raise Refused(f"there is no order {order!r}; there are: {', '.join(room.orders) or 'none'}")
    return room.orders[found]


def _alike(room: Stockroom, order: str) -> str:
    """The number of the order that is written so, but for blanks and capitals; "" for none."""
    asked = " ".join(order.split()).casefold()
    alike = (one for one in room.orders if " ".join(one.split()).casefold() == asked)
    return order if order in room.orders else next(alike, "")


def day_of(at: At) -> str:
    """The day of an entry as the record tells it (ISO)."""
    return (at.device_time or at.now).date().isoformat()


def positive(many: int) -> None:
    """Raises Refused for a count that is not 1 to `MOST`."""
    if not 0 < many <= MOST:
        raise Refused(f"a count of {many}; give 1 to {MOST}")


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise Refused(f"the day is {text[:40]!r}; write it like 2026-05-04") from None
