"""The parts on the shop's own shelves: counted, reserved, ordered, received, used.

Kept in the record under the id `STOCKROOM` as a job's events are. A part goes by its number, as
`same_number` of the shop's rules compares it; counts are whole.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from knowngood.job.plain import Plain

if TYPE_CHECKING:
    from knowngood.job.events import Envelope

STOCKROOM = "stockroom"
"""Where the record keeps it; no job has this id."""


@dataclass(frozen=True, slots=True)
class StockCounted:
    """So many lie there now; replaces what was reckoned."""

    key: str
    number: str
    count: float
    words: str = ""
    bin: str = ""


@dataclass(frozen=True, slots=True)
class StockUsed:
    """Taken off the shelf for a job, or sold ("" job)."""

    entry: str
    key: str
    count: float
    job: str = ""


@dataclass(frozen=True, slots=True)
class StockReserved:
    """Kept for a job; 0 sets it free again."""

    key: str
    job: str
    count: float


@dataclass(frozen=True, slots=True)
class OrderPlaced:
    """An order at a supplier. `lines`: under "lines" mappings with key, number, count, price, jobs
    (ids that wait for it). `expected`: a date or ""."""

    order: str
    supplier: str
    lines: Plain
    currency: str = ""
    freight: str = "0"
    expected: str = ""


@dataclass(frozen=True, slots=True)
class OrderReceived:
    """What came of an order: under "lines" mappings with key and count."""

    entry: str
    order: str
    lines: Plain


@dataclass(frozen=True, slots=True)
class PartSentBack:
    """A wrong or surplus part goes back to its supplier."""

    entry: str
    order: str
    key: str
    count: float
    reason: str = ""


@dataclass(frozen=True, slots=True)
class StockWithdrawn:
    """A use, a receipt or a return was entered by mistake; an order, when `entry` is its id."""

    entry: str
    reason: str = ""


@dataclass(frozen=True, slots=True)
class SupplierNoted:
    """A supplier's terms; each replaces the one before. `minimum`: the least order it takes,
    `freight`: what an order costs beside the parts."""

    supplier: str
    currency: str
    minimum: str = "0"
    freight: str = "0"


@dataclass(frozen=True, slots=True)
class PriceListTaken:
    """A maker's price list was taken in place of the one before. `digest` of its text among the
    files, `columns` as they were named, `decimals` the sign it was read with."""

    maker: str
    currency: str
    digest: str
    columns: Plain
    decimals: str = ""
    parts: float = 0.0


@dataclass(frozen=True, slots=True)
class PriceListWithdrawn:
    """A list was taken by mistake: the one before it stands again. `digest` "": all of the maker's
    lists go."""

    maker: str
    digest: str = ""
    reason: str = ""


StockroomEvent = (
    StockCounted
    | StockUsed
    | StockReserved
    | OrderPlaced
    | OrderReceived
    | PartSentBack
    | StockWithdrawn
    | SupplierNoted
    | PriceListTaken
    | PriceListWithdrawn
)


@dataclass(frozen=True, slots=True)
class Kept:
    """One number on the shelf. `reserved`: job -> count."""

    key: str
    number: str
    words: str = ""
    bin: str = ""
    count: int = 0
    reserved: Mapping[str, int] = field(default_factory=dict)

    @property
    def free(self) -> int:
        """What no job waits for; below zero when more is reserved than there is."""
        return self.count - sum(self.reserved.values())


@dataclass(frozen=True, slots=True)
class Placed:
    """An order; `open` by key: what has not come yet, `back` what came and was sent back."""

    order: str
    supplier: str
    lines: tuple[Mapping[str, Any], ...]
    open: Mapping[str, int]
    currency: str
    freight: str
    expected: str
    day: str
    back: Mapping[str, int] = field(default_factory=dict)

    def there(self, key: str) -> int:
        """How many of a number came of this order and were not sent back."""
        ordered = sum(int(line["count"]) for line in self.lines if line["key"] == key)
        return ordered - self.open.get(key, 0) - self.back.get(key, 0)


@dataclass(frozen=True, slots=True)
class Used:
    """A use with its day (ISO), for the demand."""

    key: str
    count: int
    day: str
    job: str


@dataclass(frozen=True, slots=True)
class Stockroom:
    kept: Mapping[str, Kept] = field(default_factory=dict)
    orders: Mapping[str, Placed] = field(default_factory=dict)
    used: tuple[Used, ...] = ()
    suppliers: Mapping[str, SupplierNoted] = field(default_factory=dict)
    entries: frozenset[str] = frozenset()
    """Uses, receipts, returns and orders that stand."""
    since: str = ""
    """The day of its first event (ISO); "" while there is none."""


def stockroom_of(events: Iterable[Envelope]) -> Stockroom:
    """The stockroom as its events tell it; what was withdrawn is left out from the start.

    An order's number may be given again once the order was taken back; any other entry is told
    once, so that what a device sends again after that changes nothing.
    """
    history = sorted({e.seq: e for e in events}.values(), key=lambda e: e.seq)
    gone = {e.event.entry: e.seq for e in history if isinstance(e.event, StockWithdrawn)}
    room = Stockroom()
    for envelope in history:
        event = envelope.event
        entry = entry_of(event)
        again = isinstance(event, OrderPlaced) and envelope.seq > gone.get(entry, envelope.seq)
        if (entry in gone and not again) or (entry and entry in room.entries):
            continue  # withdrawn, or two devices said so
        room = with_event(room, event, envelope.device_time.date().isoformat())
    return room


def with_event(room: Stockroom, event: object, day: str) -> Stockroom:
    """The stockroom after one event more; as it was for an event of something else."""
    fold = _FOLD.get(type(event))
    if fold is None:
        return room
    entry = entry_of(event)
    entries = room.entries | {entry} if entry else room.entries
    since = min(room.since, day) if room.since else day
    return replace(fold(room, event, day), entries=entries, since=since)


def entry_of(event: object) -> str:
    """The name under which an event can be taken back, "" when it cannot."""
    if isinstance(event, StockUsed | OrderReceived | PartSentBack):
        return event.entry
    return event.order if isinstance(event, OrderPlaced) else ""


def _changed(room: Stockroom, key: str, **fields: Any) -> Stockroom:
    there = room.kept.get(key, Kept(key, key))
    return replace(room, kept={**room.kept, key: replace(there, **fields)})


def _moved(room: Stockroom, key: str, by: int) -> Stockroom:
    return _changed(room, key, count=room.kept.get(key, Kept(key, key)).count + by)


def _counted(room: Stockroom, event: StockCounted, day: str) -> Stockroom:
    there = room.kept.get(event.key, Kept(event.key, event.number))
    return _changed(
        room, event.key, number=event.number, count=int(event.count),
        words=event.words or there.words, bin=event.bin or there.bin,
    )  # fmt: skip


def _used(room: Stockroom, event: StockUsed, day: str) -> Stockroom:
    count = int(event.count)
    room = _moved(room, event.key, -count)
    reserved = dict(room.kept[event.key].reserved)
    if event.job in reserved:
        left = reserved.pop(event.job) - count
        reserved |= {event.job: left} if left > 0 else {}
    room = _changed(room, event.key, reserved=reserved)
    return replace(room, used=(*room.used, Used(event.key, count, day, event.job)))


def _reserved(room: Stockroom, event: StockReserved, day: str) -> Stockroom:
    there = room.kept.get(event.key, Kept(event.key, event.key))
    reserved = {job: n for job, n in there.reserved.items() if job != event.job}
    if event.count > 0:
        reserved[event.job] = int(event.count)
    return _changed(room, event.key, reserved=reserved)


def _placed(room: Stockroom, event: OrderPlaced, day: str) -> Stockroom:
    lines = tuple(event.lines.get("lines", ()))
    waits: dict[str, int] = {}
    for line in lines:
        waits[line["key"]] = waits.get(line["key"], 0) + int(line["count"])
    placed = Placed(
        event.order, event.supplier, lines, waits, event.currency, event.freight, event.expected,
        day,
    )  # fmt: skip
    for line in lines:
        there = room.kept.get(line["key"])
        room = _changed(room, line["key"], number=there.number if there else line["number"])
    return replace(room, orders={**room.orders, event.order: placed})


def _received(room: Stockroom, event: OrderReceived, day: str) -> Stockroom:
    placed = room.orders.get(event.order)
    for line in event.lines.get("lines", ()):
        key, count = line["key"], int(line["count"])
        room = _moved(room, key, count)
        if placed is not None:
            waits = {**placed.open, key: max(placed.open.get(key, 0) - count, 0)}
            placed = replace(placed, open={k: n for k, n in waits.items() if n > 0})
            for job in _jobs_of(placed, key):
                there = room.kept[key].reserved
                if job not in there and room.kept[key].free > 0:
                    room = _changed(room, key, reserved={**there, job: 1})
    if placed is not None:
        room = replace(room, orders={**room.orders, event.order: placed})
    return room


def _jobs_of(placed: Placed, key: str) -> list[str]:
    return [job for line in placed.lines if line["key"] == key for job in line.get("jobs", ())]


def _sent_back(room: Stockroom, event: PartSentBack, day: str) -> Stockroom:
    """What was kept for a job may be gone with it; the last job of the order gives first."""
    key, many = event.key, int(event.count)
    room = _moved(room, key, -many)
    placed = room.orders.get(event.order)
    if placed is None:
        return room
    back = {**placed.back, key: placed.back.get(key, 0) + many}
    room = replace(room, orders={**room.orders, event.order: replace(placed, back=back)})
    for job in reversed(_jobs_of(placed, key)):
        reserved = dict(room.kept[key].reserved)
        if room.kept[key].free < 0 and job in reserved:
            del reserved[job]
            room = _changed(room, key, reserved=reserved)
    return room


def _supplier(room: Stockroom, event: SupplierNoted, day: str) -> Stockroom:
    return replace(room, suppliers={**room.suppliers, event.supplier: event})


def stock_words(event: StockroomEvent) -> str:
    """The event as half a sentence."""
    match event:
        case StockCounted():
            return f"{event.count:g} of {event.number} counted"
        case StockUsed():
            return f"{event.count:g} of {event.key} used"
        case StockReserved():
            return f"{event.count:g} of {event.key} kept for a job"
        case OrderPlaced():
            return f"order {event.order} placed at {event.supplier}"
        case OrderReceived():
            return f"parts of order {event.order} came"
        case PartSentBack():
            why = event.reason and f": {event.reason}"
            return f"{event.count:g} of {event.key} sent back{why}"
        case StockWithdrawn():
            return "entry of the stockroom withdrawn" + (event.reason and f": {event.reason}")
        case SupplierNoted():
            return f"terms of {event.supplier}: from {event.minimum}, freight {event.freight}"
        case PriceListTaken():
            return f"price list of {event.maker} taken, {event.parts:g} parts"
        case PriceListWithdrawn():
            return f"price list of {event.maker} taken back"


_FOLD: Mapping[type[Any], Callable[[Stockroom, Any, str], Stockroom]] = {
    StockCounted: _counted,
    StockUsed: _used,
    StockReserved: _reserved,
    OrderPlaced: _placed,
    OrderReceived: _received,
    PartSentBack: _sent_back,
    SupplierNoted: _supplier,
}
