"""What happens at the counter: check-in, the packs and things that came along, and the pickup."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal

from knowngood.job.chapter import Chapter
from knowngood.job.plain import Stamp, Words

Paid = Literal["paid", "not paid", "nothing to pay"]


@dataclass(frozen=True, slots=True)
class CheckedIn:
    """What was asked at the counter beside the machine itself; all of it may be missing.

    `conditions`: when it happens. `also`: further complaints of the machine's file that come near.
    `fee` and `storage`: the terms as the customer was told. `unsafe_asked`: whether the question
    for a swollen, hot, leaking, wet or dropped pack was answered. `words`: the machine as the
    customer names it, where it is not in a file.
    """

    contact: str = ""
    conditions: Words = ()
    also: Words = ()
    accessories: Words = ()
    fee: str = ""
    storage: str = ""
    unsafe_asked: bool = False
    words: str = ""


@dataclass(frozen=True, slots=True)
class ContactNoted:
    """How the customer is reached; what stood before is replaced."""

    contact: str


@dataclass(frozen=True, slots=True)
class AccessoriesNoted:
    """All that came along beside the packs; replaces the list."""

    accessories: Words


@dataclass(frozen=True, slots=True)
class PackTaken:
    """A pack that came along. `pack` is its id on this job; sent again it replaces.

    `trouble`: swollen, hot, leaking, wet, dropped; empty when none was seen.
    """

    pack: str
    serial: str = ""
    words: str = ""
    trouble: Words = ()


@dataclass(frozen=True, slots=True)
class PackWithdrawn:
    pack: str
    reason: str = ""


@dataclass(frozen=True, slots=True)
class ComebackLinked:
    """The same machine was here before. `job`, `number`: the older job; `words`: what it was."""

    job: str
    number: str = ""
    words: str = ""


@dataclass(frozen=True, slots=True)
class ComebackWithdrawn:
    reason: str = ""


@dataclass(frozen=True, slots=True)
class PaymentNoted:
    """`words`: amount and way as it was said; `amount`: what of it counts against the estimate, an
    exact decimal as text in `currency`, "" where there is no estimate."""

    paid: Paid
    words: str = ""
    amount: str = ""
    currency: str = ""


@dataclass(frozen=True, slots=True)
class PaymentWithdrawn:
    """What was said of the payment does not stand."""

    reason: str = ""


@dataclass(frozen=True, slots=True)
class HoldOverridden:
    """The machine leaves although these release checks failed or are blank.

    `checks`: their ids, `words` the same for people; `by` takes it on, for `reason`. It prints on
    the papers.
    """

    checks: Words
    by: str
    reason: str
    words: Words = ()


@dataclass(frozen=True, slots=True)
class HandedBack:
    """The customer has it. `to` and `signature` (digest of a picture): one of both is there.

    `accessories` and `packs` (ids): what went back; `stays`: what did not, in words.
    """

    to: str = ""
    signature: str = ""
    accessories: Words = ()
    packs: Words = ()
    stays: Words = ()


@dataclass(frozen=True, slots=True)
class HandBackWithdrawn:
    reason: str = ""


CounterEvent = (
    CheckedIn
    | ContactNoted
    | AccessoriesNoted
    | PackTaken
    | PackWithdrawn
    | ComebackLinked
    | ComebackWithdrawn
    | PaymentNoted
    | PaymentWithdrawn
    | HoldOverridden
    | HandedBack
    | HandBackWithdrawn
)


@dataclass(frozen=True, slots=True)
class Counter:
    """The counter's side of a job. `packs` in the order they were taken."""

    contact: str = ""
    conditions: Words = ()
    also: Words = ()
    accessories: Words = ()
    fee: str = ""
    storage: str = ""
    unsafe_asked: bool = False
    words: str = ""
    packs: tuple[PackTaken, ...] = ()
    comeback: ComebackLinked | None = None
    payment: PaymentNoted | None = None
    paid_at: Stamp | None = None
    overrides: tuple[tuple[HoldOverridden, Stamp], ...] = ()
    handed: HandedBack | None = None
    handed_at: Stamp | None = None

    @property
    def unsafe_packs(self) -> tuple[PackTaken, ...]:
        """Packs that must not be charged, opened or kept indoors."""
        return tuple(pack for pack in self.packs if pack.trouble)


def _checked_in(it: Counter, event: CheckedIn, at: Stamp) -> Counter:
    return replace(
        it,
        contact=event.contact or it.contact,
        conditions=event.conditions or it.conditions,
        also=event.also or it.also,
        accessories=event.accessories or it.accessories,
        fee=event.fee or it.fee,
        storage=event.storage or it.storage,
        unsafe_asked=event.unsafe_asked or it.unsafe_asked,
        words=event.words or it.words,
    )


def _contact(it: Counter, event: ContactNoted, at: Stamp) -> Counter:
    return replace(it, contact=event.contact)


def _accessories(it: Counter, event: AccessoriesNoted, at: Stamp) -> Counter:
    return replace(it, accessories=event.accessories)


def _pack(it: Counter, event: PackTaken, at: Stamp) -> Counter:
    if any(pack.pack == event.pack for pack in it.packs):
        packs = tuple(event if pack.pack == event.pack else pack for pack in it.packs)
        return replace(it, packs=packs)
    return replace(it, packs=(*it.packs, event))


def _no_pack(it: Counter, event: PackWithdrawn, at: Stamp) -> Counter:
    return replace(it, packs=tuple(pack for pack in it.packs if pack.pack != event.pack))


def _comeback(it: Counter, event: ComebackLinked, at: Stamp) -> Counter:
    return replace(it, comeback=event)


def _no_comeback(it: Counter, event: ComebackWithdrawn, at: Stamp) -> Counter:
    return replace(it, comeback=None)


def _payment(it: Counter, event: PaymentNoted, at: Stamp) -> Counter:
    return replace(it, payment=event, paid_at=at)


def _no_payment(it: Counter, event: PaymentWithdrawn, at: Stamp) -> Counter:
    return replace(it, payment=None, paid_at=None)


def _override(it: Counter, event: HoldOverridden, at: Stamp) -> Counter:
    return replace(it, overrides=(*it.overrides, (event, at)))


def _handed(it: Counter, event: HandedBack, at: Stamp) -> Counter:
    return replace(it, handed=event, handed_at=at)


def _not_handed(it: Counter, event: HandBackWithdrawn, at: Stamp) -> Counter:
    return replace(it, handed=None, handed_at=None)


def _with(words: str, more: str) -> str:
    return f"{words} ({more})" if more else words


def _pack_words(event: PackTaken) -> str:
    named = " ".join(word for word in ("pack", event.words, event.serial) if word)
    return _with(f"took in a {named}", ", ".join(event.trouble))


_FOLD: Mapping[type[Any], Callable[[Counter, Any, Stamp], Counter]] = {
    CheckedIn: _checked_in,
    ContactNoted: _contact,
    AccessoriesNoted: _accessories,
    PackTaken: _pack,
    PackWithdrawn: _no_pack,
    ComebackLinked: _comeback,
    ComebackWithdrawn: _no_comeback,
    PaymentNoted: _payment,
    PaymentWithdrawn: _no_payment,
    HoldOverridden: _override,
    HandedBack: _handed,
    HandBackWithdrawn: _not_handed,
}

_WORDS: Mapping[type[Any], Callable[[Any], str]] = {
    CheckedIn: lambda e: _with(
        "counter sheet filled in", "; ".join((*e.conditions, *e.accessories))
    ),
    ContactNoted: lambda e: f"reached by {e.contact or 'nothing known'}",
    AccessoriesNoted: lambda e: f"came along: {', '.join(e.accessories) or 'nothing'}",
    PackTaken: _pack_words,
    PackWithdrawn: lambda e: _with(f"no pack {e.pack}", e.reason),
    ComebackLinked: lambda e: _with(f"was here before as {e.number or e.job[:8]}", e.words),
    ComebackWithdrawn: lambda e: _with("not the machine that was here before", e.reason),
    PaymentNoted: lambda e: _with(e.paid, e.words),
    PaymentWithdrawn: lambda e: _with("took back what was said of the payment", e.reason),
    HoldOverridden: lambda e: _with(
        f"hold overridden by {e.by}: {e.reason}", "; ".join(e.words or e.checks)
    ),
    HandedBack: lambda e: f"handed back to {e.to or 'the customer, signed'}",
    HandBackWithdrawn: lambda e: _with("not handed back after all", e.reason),
}

CHAPTER: Chapter[Counter] = Chapter(Counter(), _FOLD, _WORDS)
