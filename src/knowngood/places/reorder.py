"""What to order again, and how many for the last time, by the demand the stockroom counted."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Final

from knowngood.job.stockroom import Kept, Placed, Stockroom
from knowngood.places.record import Record, Refused
from knowngood.places.stockroom import kept_named, room_of
from knowngood.shop.stock import LastBuy, Reorder, demand_of, last_buy, reorder_point

SERVICE: Final = 0.95
MONTHS: Final = 12
LEAST_USED: Final = 2  # below that a demand is no demand
LEAST_MONTHS: Final = 2  # whole ones; fewer say nothing of how much a demand varies


@dataclass(frozen=True, slots=True)
class Advice:
    """`buy` now to reach the point; `on_order` beside what comes for jobs, which take it as it
    comes; `months` the demand was counted over."""

    kept: Kept
    on_order: int
    reorder: Reorder
    buy: int
    months: int

    @property
    def sentence(self) -> str:
        """ "buy 3 of BW-210: 1 free and 0 on order for the shelf, ..."."""
        point = self.reorder
        return (
            f"buy {self.buy} of {self.kept.number}: {self.kept.free} free and {self.on_order} on "
            f"order for the shelf, {point.mean:.1f} are used while an order is under way, and "
            f"{point.point} suffice in {100 * point.service:.0f} of 100 such times (counted over "
            f"{self.months} months)"
        )


def advice(
    record: Record, today: date, lead_months: float, lead_varies: float = 0.0,
    service: float = SERVICE, months: int = MONTHS,
) -> tuple[Advice, ...]:  # fmt: skip
    """Numbers to order again, by the demand of the last months. Lead times in months.

    The demand is counted over whole months since the stockroom's first entry, at most `months`.
    """
    room = room_of(record)
    over = months_counted(room, today, months)
    if over < LEAST_MONTHS:
        return ()
    found = []
    for key, kept in sorted(room.kept.items()):
        counts = used_by_month(room, key, today, over)
        if sum(counts) < LEAST_USED:
            continue
        during = demand_of(counts).over(lead_months, lead_varies)
        point = reorder_point(during, service)
        on_order = sum(for_the_shelf(o, kept) for o in room.orders.values())
        buy = point.point - kept.free - on_order
        if buy > 0:
            found.append(Advice(kept, on_order, point, buy, len(counts)))
    return tuple(found)


def buy_last(
    record: Record, number: str, today: date, months_left: float, too_few: float, too_many: float
) -> LastBuy:
    """How many to buy when a number will not be made any more."""
    kept, room = kept_named(record, number), room_of(record)
    over = months_counted(room, today, MONTHS)
    counts = used_by_month(room, kept.key, today, over)
    if sum(counts) < LEAST_USED or over < LEAST_MONTHS:
        said = f"{kept.number} was used {sum(counts)} times in {over} whole months of this"
        raise Refused(f"{said} stockroom: too few to say")
    try:
        return last_buy(demand_of(counts).over(months_left), too_few, too_many)
    except ValueError as error:
        raise Refused(str(error)) from error


def months_counted(room: Stockroom, today: date, most: int) -> int:
    """Whole months that the stockroom has kept count of until this one, at most `most`."""
    if not room.since:
        return 0
    since = date.fromisoformat(room.since)
    whole = 12 * (today.year - since.year) + today.month - since.month - (since.day > 1)
    return max(min(whole, most), 0)


def for_the_shelf(placed: Placed, kept: Kept) -> int:
    """What is open of a number on an order beside one for each job that waits for it."""
    jobs = {job for line in placed.lines if line["key"] == kept.key for job in line.get("jobs", ())}
    return max(placed.open.get(kept.key, 0) - len(jobs - kept.reserved.keys()), 0)


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
