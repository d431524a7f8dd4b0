"""The work behind ``knowngood stock``; each function returns the exit code."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from pathlib import Path

from knowngood.cli.paperwork import moment, said
from knowngood.cli.person import person
from knowngood.cli.to_read import to_read
from knowngood.job.job import Job
from knowngood.job.stockroom import Placed, SupplierNoted
from knowngood.places import receiving, reorder, stockroom
from knowngood.places.order_terms import against_terms, for_its_jobs, terms_told, terms_words
from knowngood.places.premises import in_shop_time, the_shop
from knowngood.places.record import At, Record, Refused
from knowngood.places.stockroom import Want
from knowngood.places.wanted import all_wanted, wanted_of
from knowngood.places.wanted import wanted as wanted_now
from knowngood.shop.money import Money, read_amount
from knowngood.store.where import store_path

USUAL = "USD"  # where the shop has not said its currency


def show(store: Path | None) -> int:
    """Print the stockroom."""

    def work(record: Record, at: At) -> None:
        room = stockroom.room_of(record)
        for kept in sorted(room.kept.values(), key=lambda k: k.number):
            jobs = stockroom.kept_for(record, kept)
            waits = f", {kept.count - kept.free} for {jobs}" if jobs else ""
            print(f"{kept.number}  {kept.words}  {kept.count}{waits}  {kept.bin}".rstrip())
        for order in room.orders.values():
            if order.open:
                parts = _open(order)
                due = f", expected {order.expected}" if order.expected else ""
                print(f"order {order.order} ({order.supplier}): open {parts}{due}")
        found = all_wanted(record, {}, the_shop(record).currency or USUAL)
        for basket in found.baskets:
            parts = ", ".join(want.number for want in basket.wants)
            short = f", {basket.short} below its least order" if basket.short.amount else ""
            short += f", {basket.unpriced} without a price" if basket.unpriced else ""
            print(f"wanted of {basket.supplier}: {parts}{short}")
        for one in found.lying:
            print(f"{one.sentence}: knowngood stock keep {one.number} 1 --job {one.job_name}")
        for name, words, why in found.unread:
            print(f"job {name} wants {words}: {why}")
        if not room.kept and not room.orders:
            print("Nothing is counted yet: knowngood stock count NUMBER HOW-MANY")

    return _on(store, "", work, make=False)


def count(number: str, many: int, words: str, bin: str, store: Path | None, by: str) -> int:
    """Count a number."""

    def work(record: Record, at: At) -> None:
        kept = stockroom.count(record, number, many, at, words, bin)
        print(f"{kept.number}: {kept.count}")

    return _on(store, by, work)


def use(number: str, many: int, job: str, store: Path | None, by: str) -> int:
    """Take parts off."""

    def work(record: Record, at: At) -> None:
        kept = stockroom.use(record, number, many, at, record.log.find(job) if job else "")
        print(f"{kept.number}: {kept.count} left")

    return _on(store, by, work)


def keep(number: str, many: int, job: str, store: Path | None, by: str) -> int:
    """Keep parts for a job."""

    def work(record: Record, at: At) -> None:
        kept = stockroom.reserve(record, number, many, record.log.find(job), at)
        print(f"{kept.number}: {kept.free} of {kept.count} free")

    return _on(store, by, work)


def order(
    order: str, supplier: str, lines: list[str], wanted: bool, currency: str, freight: str,
    expected: str, store: Path | None, by: str, old_numbers: bool = False,
) -> int:  # fmt: skip
    """Write an order down."""

    def work(record: Record, at: At) -> None:
        money = currency.upper() or the_shop(record).currency or USUAL
        wants = [_want(record, line, money) for line in lines]
        if wanted:
            baskets = wanted_now(record, {}, money)
            wants += wanted_of(baskets, supplier, needed=not wants)
        terms = stockroom.room_of(record).suppliers.get(supplier)
        usual = terms.freight if terms is not None and terms.currency == money else "0"
        cost = str(read_amount(freight or usual, money).amount)
        placed = stockroom.place_order(
            record, order, supplier, wants, at, money, cost, expected, old_numbers
        )
        parts = ", ".join(f"{line['count']} {line['number']}" for line in placed.lines)
        print(f"order {placed.order} at {placed.supplier}: {parts}")
        room = stockroom.room_of(record)
        for word in (*against_terms(room, placed), *for_its_jobs(record, room, placed)):
            print(f"  note: {word}")

    return _on(store, by, work)


def came(order: str, parts: list[str], store: Path | None, by: str) -> int:
    """Receive."""

    def work(record: Record, at: At) -> None:
        counts = dict(_counted(part) for part in parts) if parts else None
        found = receiving.receive(record, order, counts, at)
        placed = stockroom.order_named(record, order)
        name = placed.order
        print(f"still open: {_open(placed)}" if placed.open else f"order {name} is complete")
        for one in found.told:
            print(f"note: {one}")
        for job in found.ready:
            print(f"can go on now: {_named(job)}")

    return _on(store, by, work)


def back(order: str, number: str, many: int, reason: str, store: Path | None, by: str) -> int:
    """Send back."""

    def work(record: Record, at: At) -> None:
        gone = receiving.send_back(record, order, number, many, reason, at)
        print(f"{gone.kept.number}: {gone.kept.count} left")
        for job in gone.waits:
            print(f"wants its part again: {_named(job)}")

    return _on(store, by, work)


def supplier(
    name: str, currency: str, minimum: str, freight: str, store: Path | None, by: str
) -> int:
    """Keep what is given of a supplier's terms; without any, say them, or those of all."""

    def work(record: Record, at: At) -> None:
        room, asked = stockroom.room_of(record), " ".join(name.split())
        if currency or minimum or freight:
            given = _terms(room.suppliers.get(asked), asked, currency, minimum, freight)
            print(f"kept: {stockroom.note_supplier(record, asked, *given, at)}")
            return
        if asked and asked not in room.suppliers:
            known = ", ".join(sorted(room.suppliers)) or "none yet"
            raise Refused(f"no terms of {asked} are kept (there are: {known}); --currency USD, "
                          "--minimum and --freight keep them")  # fmt: skip
        told = [terms_words(room.suppliers[asked])] if asked else terms_told(room)
        print("\n".join(told) or "No terms yet: knowngood stock supplier NAME --currency USD "
              "--minimum 50 --freight 9.50")  # fmt: skip

    return _on(store, by, work, make=bool(currency or minimum or freight))


def _terms(
    before: SupplierNoted | None, name: str, currency: str, minimum: str, freight: str
) -> tuple[str, str, str]:
    """What was given, the rest as it stood: an amount in another currency than now is asked for."""
    currency = currency.upper()
    if before is None:
        if not currency:
            raise Refused(f"in which currency are the terms of {name}? --currency USD")
        return currency, minimum or "0", freight or "0"
    now = currency or before.currency
    for option, text, was in (("--minimum", minimum, before.minimum),
                              ("--freight", freight, before.freight)):  # fmt: skip
        if now != before.currency and not text and Decimal(was):
            old = Money(Decimal(was), before.currency)
            raise Refused(f"the terms of {name} were in {before.currency}, {option[2:]} {old}: "
                          f"give {option} in {now} as well")  # fmt: skip
    return now, minimum or before.minimum, freight or before.freight


def undo(entry: str, reason: str, store: Path | None, by: str) -> int:
    """Take back an entry."""

    def work(record: Record, at: At) -> None:
        which = entry or stockroom.last_entry(record)
        if not which:
            raise Refused("the stockroom has no entry to take back")
        words = stockroom.entry_words(record, which)
        receiving.take_back(record, which, reason, at)
        print(f"taken back: {words}")

    return _on(store, by, work)


def advice(lead: float, varies: float, service: float, store: Path | None) -> int:
    """What to order again."""

    def work(record: Record, at: At) -> None:
        if not (0 < service < 1 and lead >= 0 and varies >= 0):
            raise Refused("--service lies between 0 and 1, --lead and --varies are 0 or more")
        found = reorder.advice(record, at.now.date(), lead, varies, service)
        for one in found:
            print(one.sentence)
        if not found:
            print("Nothing to order again by the demand that was counted.")

    return _on(store, "", work, make=False)


def last(number: str, months: float, too_few: float, too_many: float, store: Path | None) -> int:
    """The last buy."""

    def work(record: Record, at: At) -> None:
        found = reorder.buy_last(record, number, at.now.date(), months, too_few, too_many)
        print(f"have {found.count} for the {months:g} months: {too_few:g} lost for each missing, "
              f"{too_many:g} for each left, so they should suffice in {100 * found.ratio:.0f} of "
              f"100 cases; expected loss {found.cost:.2f}")  # fmt: skip

    return _on(store, "", work, make=False)


def _named(job: Job) -> str:
    opened = job.opened
    words = f" ({job.decision.words})" if job.decision and job.decision.words else ""
    return f"{job.name} {opened.model if opened else ''}".rstrip() + words


def _open(placed: Placed) -> str:
    """ "1 BW-100, 2 BW-210": what has not come, by the numbers as they were ordered."""
    numbers = {line["key"]: line["number"] for line in placed.lines}
    return ", ".join(f"{many} {numbers.get(key, key)}" for key, many in placed.open.items())


def _want(record: Record, line: str, currency: str) -> Want:
    number, *rest = [field.strip() for field in line.split(";")]
    if not 1 <= len(rest) <= 3 or not rest[0].isdecimal():
        raise Refused(f"{line!r} is no line; write it like: BW-210; 2; 42.00; 26-0004")
    price = read_amount(rest[1], currency).amount if len(rest) > 1 and rest[1] else Decimal(0)
    jobs = (record.log.find(rest[2]),) if len(rest) > 2 and rest[2] else ()
    return Want(number, int(rest[0][:9]), price, jobs)


def _counted(text: str) -> tuple[str, int]:
    number, _, many = text.partition(";")
    if not many.strip().isdecimal():
        raise Refused(f"{text!r}: write it like: BW-210; 1")
    return number.strip(), int(many.strip()[:9])


def _on(
    store: Path | None, by: str, work: Callable[[Record, At], None], make: bool = True
) -> int:
    def on_record() -> None:
        with Record.open(store_path(store)) if make else to_read(store) as record:
            work(record, At(in_shop_time(record, moment()), person(record, by)))

    return said(on_record)
