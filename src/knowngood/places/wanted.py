"""What jobs are decided on and nobody has ordered or kept: to be ordered, to be taken from the
shelf, to be named by its number first."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from knowngood.job.job import Job
from knowngood.job.stockroom import Stockroom
from knowngood.job.waiting import FITTED
from knowngood.places.account import before_ordering
from knowngood.places.gather import load_job, machine_file_of
from knowngood.places.number_offered import numbers_missing
from knowngood.places.part_meant import parts_decided
from knowngood.places.part_price import labour_only
from knowngood.places.parts import lines_of, number_now, numbers_of
from knowngood.places.record import Record, Refused
from knowngood.places.stockroom import Want, room_of
from knowngood.shop.money import Money, nothing
from knowngood.store.problem import StoreProblem

MAY_WANT: Final = frozenset({"order", "part", "fit"})


@dataclass(frozen=True, slots=True)
class Basket:
    """What is wanted of one supplier. `total` of what has a price, `unpriced` how many have none;
    `short` of the supplier's minimum: zero when reached, or not to be told without all prices."""

    supplier: str
    wants: tuple[Want, ...]
    total: Money
    short: Money
    freight: Money
    unpriced: int = 0


@dataclass(frozen=True, slots=True)
class Lying:
    """A part that a job wants and that lies free on the shelf."""

    job: str
    job_name: str
    words: str
    number: str
    free: int
    bin: str

    @property
    def sentence(self) -> str:
        """ "job 26-0001 wants BW-210 (Start box): 1 free at A2, keep it for the job"."""
        where = f" at {self.bin}" if self.bin else ""
        return (f"job {self.job_name} wants {self.number} ({self.words}): {self.free} free{where}, "
                "keep it for the job")  # fmt: skip


@dataclass(frozen=True, slots=True)
class Wanted:
    """Baskets by supplier; what lies there; (job, part, why) of those that have no number."""

    baskets: tuple[Basket, ...]
    lying: tuple[Lying, ...] = ()
    unread: tuple[tuple[str, str, str], ...] = ()


def wanted(
    record: Record, minimum: Mapping[str, Money], currency: str
) -> tuple[Basket, ...]:
    """What is to be ordered, by supplier (the maker); see `all_wanted`."""
    return all_wanted(record, minimum, currency).baskets


def wanted_of(
    baskets: Sequence[Basket], supplier: str, needed: bool = True
) -> tuple[Want, ...]:
    """What is wanted of this supplier. Where it is nothing and `needed`, Refused says of whom
    something is."""
    found = next((b.wants for b in baskets if b.supplier == supplier), ())
    if found or not needed:
        return found
    others = "; ".join(f"of {b.supplier} {', '.join(w.number for w in b.wants)}" for b in baskets)
    raise Refused(
        f"jobs want nothing of {supplier}. They want {others}: order it there, or from {supplier} "
        "by a line with its number" if others else "no job wants a part that is to be ordered now"
    )


def all_wanted(record: Record, minimum: Mapping[str, Money], currency: str) -> Wanted:
    """Parts that jobs are decided on, one by one, and that nobody ordered or has. Jobs whose
    customer has to agree, or to pay a deposit, first are left out.

    `minimum`: the least order of a supplier, where it is another than was noted.
    """
    room, found = room_of(record), dict[str, list[Want]]()
    free = {key: kept.free for key, kept in room.kept.items()}
    lying: list[Lying] = []
    unread: list[tuple[str, str, str]] = []
    for summary in record.log.waiting(limit=5000):
        if summary.waits not in MAY_WANT:
            continue
        job = load_job(record, summary.job)
        open_parts = _not_here(job)
        if not open_parts or before_ordering(record, job):
            continue
        maker = (job.opened.maker if job.opened else "") or "supplier not known"
        for part, words, number in open_parts:
            if not number:
                if not labour_only(record, job, part):
                    unread.append((job.name, words, _why_no_number(record, job, part)))
                continue
            keys = numbers_of(record, number, maker)
            if _on_its_way(room, job.id, keys):
                continue
            there = next((key for key in sorted(keys) if free.get(key, 0) > 0), "")
            if there:
                kept = room.kept[there]
                lying.append(Lying(job.id, job.name, words, kept.number, free[there], kept.bin))
                free[there] -= 1
                continue
            now = number_now(record, number, maker)[0]
            found.setdefault(maker, []).append(_want(record, now, maker, currency, job.id))
    baskets = _baskets(room, found, minimum, currency)
    return Wanted(baskets, tuple(lying), tuple(unread))


def _why_no_number(record: Record, job: Job, part: str) -> str:
    """What decides the number and is not known, as the bench says it."""
    try:
        missing = numbers_missing(machine_file_of(record, job), job)
    except (Refused, StoreProblem):
        missing = ()
    return next((one.why for one in missing if one.part == part), "nobody has read its number")


def _not_here(job: Job) -> list[tuple[str, str, str]]:
    """(part, words, number) decided on, neither ordered nor here nor fitted."""
    decision = job.decision
    if job.closed is not None or decision is None or job.release:
        return []
    if any(n.text.startswith(FITTED) and n.at.seq > decision.at.seq for n in job.notes):
        return []
    return [one for one in parts_decided(job)
            if one[0] not in job.shelf.orders and not _in_hand(job, one[0])]  # fmt: skip


def _in_hand(job: Job, part: str) -> bool:
    return part in job.apart.in_hand and job.apart.in_hand[part][0].verdict == "right"


def _on_its_way(room: Stockroom, job: str, keys: Iterable[str]) -> bool:
    """Whether one of these numbers is kept for the job, or open on an order for it."""
    asked = frozenset(keys)
    if any(job in room.kept[key].reserved for key in asked & room.kept.keys()):
        return True
    return any(
        line["key"] in asked and job in line.get("jobs", ()) and order.open.get(line["key"])
        for order in room.orders.values() for line in order.lines
    )  # fmt: skip


def _want(record: Record, number: str, maker: str, currency: str, job: str) -> Want:
    listed = lines_of(record, number, maker)
    prices = [one.price for one in listed if one.currency == currency]
    return Want(number, 1, prices[0] if prices else Decimal(0), (job,))


def _baskets(
    room: Stockroom, found: Mapping[str, Sequence[Want]], minimum: Mapping[str, Money],
    currency: str,
) -> tuple[Basket, ...]:  # fmt: skip
    noted = {s: n for s, n in room.suppliers.items() if n.currency == currency}
    least = {s: Money(Decimal(n.minimum), currency) for s, n in noted.items()} | dict(minimum)
    freight = {s: Money(Decimal(n.freight), currency) for s, n in noted.items()}
    none = nothing(currency)
    return tuple(
        _basket(s, wants, least.get(s, none), freight.get(s, none))
        for s, wants in sorted(found.items())
    )


def _basket(supplier: str, wants: Sequence[Want], least: Money, freight: Money) -> Basket:
    none = nothing(least.currency)
    total = sum((Money(w.price * w.count, least.currency) for w in wants), none)
    unpriced = sum(not w.price for w in wants)
    short = least - total if total < least and not unpriced else none
    return Basket(supplier, tuple(wants), total, short, freight, unpriced)
