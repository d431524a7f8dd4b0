"""The shop's own parts: counted, kept for a job, ordered, received, used, ordered again."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any, Final
from uuid import uuid4

from knowngood.job import stockroom as sr
from knowngood.job.events import Event
from knowngood.job.job import Job
from knowngood.job.shelf import PartOrdered
from knowngood.job.stockroom import STOCKROOM, Kept, Placed, Stockroom, entry_of, stockroom_of
from knowngood.places.account import before_ordering
from knowngood.places.gather import load_job
from knowngood.places.part_meant import part_of
from knowngood.places.parts import became, lines_of, number_now
from knowngood.places.record import At, Record, Refused
from knowngood.shop.money import Money, nothing, read_amount
from knowngood.shop.stock import LastBuy, Reorder, demand_of, last_buy, reorder_point
from knowngood.shop.supersession import same_number

SERVICE: Final = 0.95
MONTHS: Final = 12
MOST: Final = 100_000  # of one number
LEAST_USED: Final = 2  # below that a demand is no demand


@dataclass(frozen=True, slots=True)
class Want:
    """A line of an order. `jobs`: ids of the jobs that wait for it."""

    number: str
    count: int
    price: Decimal = Decimal(0)
    jobs: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Basket:
    """What is wanted of one supplier. `short` of the supplier's minimum, zero when reached."""

    supplier: str
    wants: tuple[Want, ...]
    total: Money
    short: Money
    freight: Money


@dataclass(frozen=True, slots=True)
class Advice:
    """`buy` now to reach the point; `months` the demand was counted over."""

    kept: Kept
    on_order: int
    reorder: Reorder
    buy: int
    months: int

    @property
    def sentence(self) -> str:
        """ "buy 3 of BW-210: 1 free and 0 on order, ..."."""
        point = self.reorder
        return (
            f"buy {self.buy} of {self.kept.number}: {self.kept.free} free and {self.on_order} on "
            f"order, {point.mean:.1f} are used while an order is under way, and {point.point} "
            f"suffice in {100 * point.service:.0f} of 100 such times (counted over {self.months} "
            "months)"
        )


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
            f"{many} of {kept.number} used, but {others} of {kept.count} wait for other jobs; set "
            "them free first"
        )
    if job_id:
        load_job(record, job_id)
    write(record, sr.StockUsed(uuid4().hex, kept.key, float(many), job_id), at)
    return room_of(record).kept[kept.key]


def reserve(record: Record, number: str, many: int, job_id: str, at: At) -> Kept:
    """Keep parts for a job; 0 sets them free. More than is free is refused."""
    kept, job = kept_named(record, number), load_job(record, job_id)
    if many < 0:
        raise Refused(f"{many} kept for job {job.name}; give 0 or more")
    room = kept.free + kept.reserved.get(job_id, 0)
    if many > room:
        raise Refused(f"{many} of {kept.number} for job {job.name}, but only {room} are free")
    write(record, sr.StockReserved(kept.key, job_id, float(many)), at)
    return room_of(record).kept[kept.key]


def wanted(record: Record, minimum: Mapping[str, Money], currency: str) -> tuple[Basket, ...]:
    """Parts that jobs are decided on and that nobody ordered or has, by supplier (the maker).
    Jobs whose customer has to agree, or to pay a deposit, first are left out.

    `minimum`: the least order of a supplier, where it is another than was noted.
    """
    room, found = room_of(record), dict[str, list[Want]]()
    under_way = {job for o in room.orders.values() for line in o.lines if o.open.get(line["key"])
                 for job in line.get("jobs", ())}  # fmt: skip
    for summary in record.log.waiting(limit=5000):
        if summary.waits != "order":
            continue
        job = load_job(record, summary.job)
        if not _waits_for_part(job) or job.id in under_way or before_ordering(record, job):
            continue
        assert job.decision is not None and job.opened is not None
        if any(job.id in kept.reserved for kept in room.kept.values()):
            continue
        supplier = job.opened.maker or "supplier not known"
        number = number_now(record, job.decision.number, supplier)[0]
        listed = lines_of(record, number, supplier)
        prices = [one.price for one in listed if one.currency == currency]
        price = prices[0] if prices else Decimal(0)
        found.setdefault(supplier, []).append(Want(number, 1, price, (job.id,)))
    noted = {s: n for s, n in room.suppliers.items() if n.currency == currency}
    least = {s: Money(Decimal(n.minimum), currency) for s, n in noted.items()} | dict(minimum)
    freight = {s: Money(Decimal(n.freight), currency) for s, n in noted.items()}
    return tuple(
        _basket(s, wants, least, freight.get(s, nothing(currency)), currency)
        for s, wants in sorted(found.items())
    )


def _waits_for_part(job: Job) -> bool:
    if job.closed is not None or job.decision is None or not job.decision.number:
        return False
    return job.decision.part not in job.shelf.orders


def _basket(
    supplier: str, wants: Sequence[Want], minimum: Mapping[str, Money], freight: Money,
    currency: str,
) -> Basket:  # fmt: skip
    total = sum((Money(w.price * w.count, currency) for w in wants), nothing(currency))
    least = minimum.get(supplier, nothing(currency))
    short = least - total if total < least else nothing(currency)
    return Basket(supplier, tuple(wants), total, short, freight)


def note_supplier(
    record: Record, supplier: str, currency: str, minimum: str, freight: str, at: At
) -> None:
    """Keep a supplier's terms. Raises Refused, MoneyProblem."""
    if not supplier.strip() or len(supplier) > 80:
        raise Refused("whose terms are these? Name the supplier")
    if len(currency) != 3 or not currency.isalpha():
        raise Refused(f"the currency is {currency!r}; write its three letters, as USD")
    amounts = [read_amount(text or "0", currency).amount for text in (minimum, freight)]
    if min(amounts) < 0:
        raise Refused("a least order and freight are 0 or more")
    noted = sr.SupplierNoted(supplier.strip(), currency, *(str(a) for a in amounts))
    write(record, noted, at)


def place_order(
    record: Record, order: str, supplier: str, wants: Sequence[Want], at: At,
    currency: str = "", freight: str = "0", expected: str = "", old_numbers: bool = False,
) -> Placed:  # fmt: skip
    """Write an order down. `order` is the shop's or the supplier's number, given once.

    A number that became another one by a price list is refused, unless `old_numbers` is meant.
    """
    if not order.strip() or not supplier.strip() or not wants:
        raise Refused("an order needs its number, its supplier and at least one line")
    if order in room_of(record).orders:
        raise Refused(f"order {order} is there already; give it another number")
    if expected and _day(expected) < at.now.date():
        raise Refused(f"it should be here on {expected}, which has passed; give a day to come")
    lines = []
    for want in wants:
        positive(want.count)
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
    write(record, event, at)
    placed = room_of(record).orders[order]
    for job_id in jobs_of(placed):
        on_order(record, job_id, placed, at)
    return placed


def jobs_of(placed: Placed) -> tuple[str, ...]:
    """Ids of the jobs that an order is for."""
    return tuple(dict.fromkeys(j for line in placed.lines for j in line.get("jobs", ())))


def on_order(record: Record, job_id: str, placed: Placed, at: At) -> None:
    """Note on a job which parts of it this order brings."""
    job = load_job(record, job_id)
    noted = [
        PartOrdered(part.part, part.words, line["number"], placed.supplier, placed.expected)
        for line in placed.lines
        if job_id in line.get("jobs", ()) and placed.open.get(line["key"])
        and (part := part_of(record, job, line["number"], placed)) is not None
    ]  # fmt: skip
    if noted:
        record.append(job_id, noted, at)


def last_entry(record: Record) -> str:
    """The latest use, receipt, return or order that stands; "" when there is none."""
    standing = room_of(record).entries
    for envelope in reversed(record.log.events(STOCKROOM)):
        entry = entry_of(envelope.event)
        if entry and entry in standing:
            return entry
    return ""


def advice(
    record: Record, today: date, lead_months: float, lead_varies: float = 0.0,
    service: float = SERVICE, months: int = MONTHS,
) -> tuple[Advice, ...]:  # fmt: skip
    """Numbers to order again, by the demand of the last months. Lead times in months."""
    room = room_of(record)
    found = []
    for key, kept in sorted(room.kept.items()):
        counts = used_by_month(room, key, today, months)
        if sum(counts) < LEAST_USED:
            continue
        during = demand_of(counts).over(lead_months, lead_varies)
        point = reorder_point(during, service)
        on_order = sum(o.open.get(key, 0) for o in room.orders.values())
        buy = point.point - kept.free - on_order
        if buy > 0:
            found.append(Advice(kept, on_order, point, buy, len(counts)))
    return tuple(found)


def buy_last(
    record: Record, number: str, today: date, months_left: float, too_few: float, too_many: float
) -> LastBuy:
    """How many to buy when a number will not be made any more."""
    kept = kept_named(record, number)
    counts = used_by_month(room_of(record), kept.key, today, MONTHS)
    if sum(counts) < LEAST_USED:
        said = f"{kept.number} was used {sum(counts)} times in {MONTHS} months"
        raise Refused(f"{said}: too few to say")
    try:
        return last_buy(demand_of(counts).over(months_left), too_few, too_many)
    except ValueError as error:
        raise Refused(str(error)) from error


def used_by_month(room: Stockroom, key: str, today: date, months: int) -> tuple[int, ...]:
    """Parts used in each of the last whole months, the latest first."""
    now = today.year * 12 + today.month - 1
    counts = [0] * months
    for one in room.used:
        day = date.fromisoformat(one.day)
        ago = now - (day.year * 12 + day.month - 1) - 1
        if one.key == key and 0 <= ago < months:
            counts[ago] += one.count
    return tuple(counts)


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
    orders = room_of(record).orders
    if order not in orders:
        raise Refused(f"there is no order {order!r}; there are: {', '.join(orders) or 'none'}")
    return orders[order]


def positive(many: int) -> None:
    """Raises Refused for a count that is not 1 to `MOST`."""
    if not 0 < many <= MOST:
        raise Refused(f"a count of {many}; give 1 to {MOST}")


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise Refused(f"the day is {text[:40]!r}; write it like 2026-05-04") from None
