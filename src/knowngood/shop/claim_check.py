"""A claim before it is sent: what it lacks, what it should bring, and how it went.

Why claims are refused (common practice): late, no proof of purchase, a serial that differs, worn
parts, use outside the programme, a symptom written as the cause, no readings, the failed part gone.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Final, Literal

from knowngood.shop.days import after_days, days_between
from knowngood.shop.money import Money, nothing
from knowngood.shop.programme import Programme

WANTED: Final[Mapping[str, tuple[str, str]]] = {
    "model": ("the model", "read it off the plate"),
    "serial": ("the serial number", "read it off the plate"),
    "plate_picture": ("a picture of the plate", "take it before the machine goes back"),
    "damage_picture": ("a picture of the damage", "take it while the part is out"),
    "meter_picture": ("a picture of the meter with the proving reading", "read once more"),
    "proof_of_purchase": ("the proof of purchase", "ask the customer for the receipt"),
    "in_service": ("the day it was bought or handed over", "it stands on the receipt"),
    "failed_on": ("the day it failed", "ask the customer"),
    "hours": ("the hours of use", "ask the customer, or read the counter"),
    "reading": ("a reading that proves the part", "measure before the part is replaced"),
    "proof": ("the proof that it is this one part", "take the cheapest proof offered"),
    "cause": ("why it failed", "answer the causes to clear"),
    "part_number": ("the number of the causal part", "add it to the machine's file"),
    "codes": ("failure mode, cause and action codes", "choose one of each"),
    "part_kept": ("the failed part, tagged and kept", "tag it with the job's number"),
}
"""What a programme can ask a claim to show: id -> (words, how to get it)."""
PROOF: Final = "proof_of_purchase"
SET_RATE: Final = (
    'set it on the phone under Counter, "The shop\'s name, rates and people", or by knowngood shop '
    "--rate 90.00"
)
RATE: Final = ("shop_rate", "the shop's rate an hour", SET_RATE)
RATE_NOT_SET: Final = "not set: the shop's rate"
PRICE_NOT_GIVEN: Final = "price not given"
LABOUR_ONLY: Final = "labour only"
WAY: Final = "take the price list, or write the order down"
UNREAD: Final = f"note its number with the part's order first (nobody has read it), then {WAY}"
ALWAYS: Final = ("model", "serial", "part_number", "cause", "reading")


@dataclass(frozen=True, slots=True)
class Lack:
    """One thing missing; `at_risk`: what the shop loses if the claim is refused for it."""

    id: str
    words: str
    fix: str
    at_risk: Money


@dataclass(frozen=True, slots=True)
class Worth:
    """What a claim should bring. `notes` say what is not paid and why; `rules` say of labour,
    diagnosis and parts by which rule they are paid ("25 min by code L12, start box, at 72.00").
    `unrated`: labour and diagnosis have no money, as neither programme nor shop set a rate.
    `unpriced`: parts, in words, that have no price of the shop's, `unread` those of them whose
    number nobody has read; `likely`: what the machine file's examples would make of these, for
    weighing and never asked for. `other_rate`: where it is `unrated` as the shop's rate is
    in another currency, that and the way out."""

    labour: Money
    diagnosis: Money
    parts: Money
    notes: tuple[str, ...]
    rules: tuple[str, str, str] = ("", "", "")
    unrated: bool = False
    unpriced: tuple[str, ...] = ()
    likely: Money | None = None
    unread: tuple[str, ...] = ()
    other_rate: str = ""

    @property
    def known(self) -> bool:
        """Whether all of it has a figure, so that a sum can be asked for."""
        return not self.unrated and not self.unpriced

    @property
    def total(self) -> Money:
        """Of what has a figure: without labour and diagnosis while they are `unrated`, and without
        the parts that are `unpriced`."""
        return self.labour + self.diagnosis + self.parts

    @property
    def at_stake(self) -> Money:
        """The total with the likely price of what is `unpriced`."""
        return self.total + self.likely if self.likely else self.total

    @property
    def words(self) -> tuple[str, str, str, str]:
        """Labour, diagnosis, parts and the total as they are printed."""
        labour = RATE_NOT_SET if self.unrated else str(self.labour)
        diagnosis = RATE_NOT_SET if self.unrated else str(self.diagnosis)
        none = self.unpriced and not self.parts.amount
        open_ = [f"labour ({RATE_NOT_SET})"] if self.unrated else []
        open_ += [f"{part} ({PRICE_NOT_GIVEN})" for part in self.unpriced]
        parts = PRICE_NOT_GIVEN if none else str(self.parts)
        return labour, diagnosis, parts, " and ".join([str(self.total), *open_])


def lacks(
    programme: Programme, having: Collection[str], at_risk: Money, worth: Worth | None = None
) -> tuple[Lack, ...]:
    """What the claim does not show yet, of what this programme or any programme asks, and what has
    no money yet of what it is `worth`."""
    money = []
    if worth and worth.unrated:
        money.append(Lack(*RATE[:2], worth.other_rate or RATE[2], at_risk))
    for part in worth.unpriced if worth else ():
        fix = UNREAD if worth and part in worth.unread else WAY
        money.append(Lack("part_price", f"the price of the {part}", fix, at_risk))
    shown = (Lack(i, *_wanted(i), at_risk) for i in asked_for(programme) if i not in having)
    return (*money, *shown)


def asked_for(programme: Programme) -> tuple[str, ...]:
    """Ids of `WANTED` that this programme or any programme asks a claim to show; where it asks for
    several proofs of purchase, each of them by `proof_id`."""
    wanted = [i for i in dict.fromkeys([*ALWAYS, *programme.wants]) if i != PROOF]
    if len(programme.proof) > 1:
        return (*wanted, *(proof_id(one) for one in programme.proof))
    return (*wanted, PROOF) if programme.proof or PROOF in programme.wants else tuple(wanted)


def proof_id(proof: str) -> str:
    """The id of one of several proofs."""
    return f"{PROOF}: {proof}"


def _wanted(id_: str) -> tuple[str, str]:
    """Words of a thing asked for, and how to get it."""
    first, _, one = id_.partition(": ")
    words, fix = WANTED[first]
    return (f"{words}, {one}" if one else words, fix if not one else "ask the customer for it")


def worth(
    programme: Programme,
    shop_rate: Decimal | None,
    minutes: Decimal,
    parts: Iterable[Decimal],
    code: str = "",
    diagnosis_minutes: Decimal = Decimal(0),
    measured: Decimal | None = None,
) -> Worth:
    """Labour by the flat rate of `code`, or by measured minutes up to the cap; parts with markup.

    `measured`: of the repair's minutes those by a clock, None for all. `minutes` are those of the
    repair, `diagnosis_minutes` those of finding the fault. `shop_rate`: money an hour, None when
    the shop set none; a rate of the programme's goes first, 0 too: it pays no labour. Raises
    ValueError for a code that the programme lacks.
    """
    labour = programme.labour
    known_rate = shop_rate if labour.rate is None else labour.rate
    rate = known_rate or Decimal(0)
    notes: list[str] = []
    flat = labour.flat or {}
    if code and code not in flat:
        known = ", ".join(sorted(flat)) or "none"
        raise ValueError(f"{programme.words} has no labour code {code!r}; it has: {known}")
    if code:
        paid = flat[code][1]
        by = f"by code {code}, {flat[code][0]}"
        if minutes > paid:
            notes.append(f"{_plain(minutes - paid)} min more than the flat rate are not paid")
    elif labour.by_minutes:
        by = f"of {_plain(minutes)} {clock_words(minutes, measured)}"
        paid = minutes if labour.cap_minutes is None else min(minutes, labour.cap_minutes)
        if paid < minutes:
            notes.append(f"{_plain(minutes - paid)} min above the cap of {labour.cap_minutes} min "
                         "are not paid")  # fmt: skip
    else:
        paid, by = Decimal(0), "by code, none chosen"
        notes.append("labour is paid by code only, and none is chosen")
    found = min(diagnosis_minutes, labour.diagnosis_minutes)
    if found < diagnosis_minutes:
        notes.append(f"{_plain(diagnosis_minutes - found)} min of diagnosis are not paid")
    priced = list(parts)
    cost = sum(priced, Decimal(0)) * (1 + programme.parts_markup / 100)
    currency = programme.currency
    unrated = known_rate is None and bool(paid or found)
    hour = RATE_NOT_SET if unrated else f"at {Money(rate, currency).rounded()} an hour"
    listed = " + ".join(f"{price:.2f}" for price in priced)
    markup = f" + {_plain(programme.parts_markup)} % handling" if programme.parts_markup else ""
    by_price = f"{listed}{markup}" if listed else PRICE_NOT_GIVEN
    return Worth(
        Money(paid * rate / 60, currency).rounded(), Money(found * rate / 60, currency).rounded(),
        Money(cost, currency).rounded(), tuple(notes),
        (f"{_plain(paid)} min {by}, {hour}",
         f"{_plain(found)} of {_plain(diagnosis_minutes)} min, {hour}", by_price),
        unrated,
    )  # fmt: skip


def clock_words(minutes: Decimal, measured: Decimal | None) -> str:
    """How the minutes are known: "measured", "estimated", "(4 measured, 13 estimated)"."""
    if measured is None or measured >= minutes:
        return "measured"
    if measured <= 0:
        return "estimated"
    return f"({_plain(measured)} measured, {_plain(minutes - measured)} estimated)"


def _plain(amount: Decimal) -> str:
    """33.0 as 33, 14.50 as 14.5."""
    return f"{amount.normalize():f}"


Reply = Literal["accepted", "short-paid", "denied"]


@dataclass(frozen=True, slots=True)
class Sent:
    day: date
    asked: Money
    number: str = ""


@dataclass(frozen=True, slots=True)
class Replied:
    day: date
    reply: Reply
    granted: Money
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Paid:
    day: date
    amount: Money


Move = Sent | Replied | Paid


@dataclass(frozen=True, slots=True)
class Course:
    """How a claim stands. `owed`: granted (or asked, while unanswered) less what came in.
    `before`: granted on an earlier sending, which a later denial does not take away."""

    words: str
    asked: Money
    granted: Money | None
    received: Money
    owed: Money
    reason: str
    before: Money

    @property
    def answer(self) -> str:
        """What the claim has come to: "" while unanswered, else accepted, short-paid or denied. One
        that brought something and was denied when it was sent again was paid short."""
        if self.granted is None:
            return ""
        if self.granted.amount == 0:
            return "denied"
        return "short-paid" if self.granted < self.asked else "accepted"


def course(moves: Sequence[Move], claim_by: date | None, today: date, currency: str) -> Course:
    """The claim's story in one line, from its moves in the order they happened.

    A second `Sent` is the claim sent again: what was denied or paid short is open once more.
    """
    none = nothing(currency)
    asked, granted, received, reason, before = none, None, none, "", none
    sent, last, denied = 0, today, False
    for move in moves:
        if isinstance(move, Sent):
            if granted is not None and before < granted:
                before = granted
            asked, granted, reason, sent, last = move.asked, None, "", sent + 1, move.day
        elif isinstance(move, Replied):
            granted, reason, denied = move.granted, move.reason, move.reply == "denied"
            if granted < before:
                granted = before
        else:
            received = received + move.amount
    if not sent:
        due = "" if claim_by is None else f", due {days_between(today, claim_by)}"
        if claim_by is not None and claim_by < today:
            due = f", its last day was {days_between(today, claim_by)}"
        return Course(f"not sent yet{due}", asked, None, received, none, "", none)
    owed = (granted if granted is not None else asked) - received
    again = " again" if sent > 1 else ""
    if granted is None:
        words = f"sent{again} {days_between(today, last)}, no answer yet"
        if received < before:
            words += f"; {before - received} granted before is not here yet"
    elif granted.amount == 0:
        words = "denied" + (f": {reason}" if reason else "")
    elif granted < asked:
        rest = ", the rest denied" if denied else ""
        words = f"{granted} of {asked} granted{rest}" + (f": {reason}" if reason else "")
    else:
        words = "accepted"
    if granted is not None and granted.amount > 0:
        words += ", paid" if owed.amount <= 0 else f", {owed} not here yet"
    return Course(words, asked, granted, received, owed, reason, before)


def keep_until(programme: Programme, replaced: date) -> date:
    """The last day the failed part is kept for the programme."""
    return after_days(replaced, programme.keep_days)
