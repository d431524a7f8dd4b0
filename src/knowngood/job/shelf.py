"""While a job waits: what was ordered and came, what the customer was asked, where the machine is.

Dates are dates in the shop's zone as text, 2026-03-06, or "" when none was given.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from knowngood.job.chapter import Chapter
from knowngood.job.plain import Stamp


@dataclass(frozen=True, slots=True)
class PartOrdered:
    """A part is on order; said again it replaces. `expected`: the date it should be here.

    `despite` and `reason`: who had it ordered although the customer had not agreed, and why.
    """

    part: str
    words: str
    number: str = ""
    supplier: str = ""
    expected: str = ""
    despite: str = ""
    reason: str = ""


@dataclass(frozen=True, slots=True)
class OrderWithdrawn:
    part: str
    reason: str = ""
    words: str = ""


@dataclass(frozen=True, slots=True)
class PartArrived:
    """The part is here; `where` it lies until it goes in. `number`: of one from the shop's stock,
    as it is counted there."""

    part: str
    words: str = ""
    where: str = ""
    number: str = ""


@dataclass(frozen=True, slots=True)
class AnswerAwaited:
    """The customer was asked; `by_date`: when to ask again."""

    question: str
    by_date: str = ""


@dataclass(frozen=True, slots=True)
class AnswerCame:
    """What the customer said."""

    answer: str


@dataclass(frozen=True, slots=True)
class Shelved:
    """The machine was put there: "shelf B2", "bin 3". "" takes it down."""

    place: str


@dataclass(frozen=True, slots=True)
class Promised:
    """What the customer was told it would be done by: a date, or words."""

    promised: str


ShelfEvent = (
    PartOrdered | OrderWithdrawn | PartArrived | AnswerAwaited | AnswerCame | Shelved | Promised
)


@dataclass(frozen=True, slots=True)
class Order:
    """A part on order, or here once `arrived`; `came_as`: the number of one from stock."""

    part: str
    words: str
    number: str
    supplier: str
    expected: str
    at: Stamp
    arrived: Stamp | None = None
    where: str = ""
    despite: str = ""
    reason: str = ""
    came_as: str = ""


@dataclass(frozen=True, slots=True)
class Shelf:
    """The waiting side of a job. `orders` by part; `asked` is None once the answer came."""

    orders: Mapping[str, Order] = field(default_factory=dict)
    question: str = ""
    asked: Stamp | None = None
    by_date: str = ""
    answer: str = ""
    answered: Stamp | None = None
    place: str = ""
    placed: Stamp | None = None
    promised: str = ""

    @property
    def on_order(self) -> tuple[Order, ...]:
        return tuple(order for order in self.orders.values() if order.arrived is None)

    @property
    def here(self) -> tuple[Order, ...]:
        return tuple(order for order in self.orders.values() if order.arrived is not None)


def _ordered(it: Shelf, event: PartOrdered, at: Stamp) -> Shelf:
    order = Order(
        event.part, event.words or event.part, event.number, event.supplier, event.expected, at,
        despite=event.despite, reason=event.reason,
    )  # fmt: skip
    return replace(it, orders={**it.orders, event.part: order})


def _not_ordered(it: Shelf, event: OrderWithdrawn, at: Stamp) -> Shelf:
    return replace(it, orders={p: o for p, o in it.orders.items() if p != event.part})


def _arrived(it: Shelf, event: PartArrived, at: Stamp) -> Shelf:
    words = event.words or event.part
    there = it.orders.get(event.part) or Order(event.part, words, "", "", "", at)  # from stock
    order = replace(there, arrived=at, where=event.where, came_as=event.number)
    return replace(it, orders={**it.orders, event.part: order})


def _awaited(it: Shelf, event: AnswerAwaited, at: Stamp) -> Shelf:
    return replace(
        it, question=event.question, asked=at, by_date=event.by_date, answer="", answered=None
    )


def _came(it: Shelf, event: AnswerCame, at: Stamp) -> Shelf:
    return replace(it, asked=None, answer=event.answer, answered=at)


def _shelved(it: Shelf, event: Shelved, at: Stamp) -> Shelf:
    return replace(it, place=event.place, placed=at)


def _promised(it: Shelf, event: Promised, at: Stamp) -> Shelf:
    return replace(it, promised=event.promised)


def _with(words: str, more: str) -> str:
    return f"{words} ({more})" if more else words


def _order_words(event: PartOrdered) -> str:
    named = " ".join(word for word in (event.words or event.part, event.number) if word)
    at = f" from {event.supplier}" if event.supplier else ""
    due = f", due {event.expected}" if event.expected else ""
    on = f", before the customer agreed: {event.despite}, {event.reason}" if event.despite else ""
    return f"ordered {named}{at}{due}{on}"


_FOLD: Mapping[type[Any], Callable[[Shelf, Any, Stamp], Shelf]] = {
    PartOrdered: _ordered,
    OrderWithdrawn: _not_ordered,
    PartArrived: _arrived,
    AnswerAwaited: _awaited,
    AnswerCame: _came,
    Shelved: _shelved,
    Promised: _promised,
}

_WORDS: Mapping[type[Any], Callable[[Any], str]] = {
    PartOrdered: _order_words,
    OrderWithdrawn: lambda e: _with(f"{e.words or e.part} is not on order after all", e.reason),
    PartArrived: lambda e: _with(f"{e.words or e.part} is here", e.where),
    AnswerAwaited: lambda e: f"asked the customer: {e.question}",
    AnswerCame: lambda e: f"the customer answered: {e.answer}",
    Shelved: lambda e: f"put at {e.place}" if e.place else "taken down",
    Promised: lambda e: f"promised {e.promised}" if e.promised else "nothing promised any more",
}

CHAPTER: Chapter[Shelf] = Chapter(Shelf(), _FOLD, _WORDS)
