"""What a phone at the counter sends: check-in, packs, what was noted later, pickup, the shop."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, cast

from knowngood.job import counter as ct
from knowngood.job import events as ev
from knowngood.job.counter import Paid
from knowngood.job.paperwork import CoverNoted
from knowngood.job.shop_sheet import SHOP, ShopNoted
from knowngood.places import counter, premises
from knowngood.places.account import pay_at_pickup
from knowngood.places.counter import NOT_SAID, TROUBLES, Sheet
from knowngood.places.cover_asked import note_asked
from knowngood.places.fitted import reopened
from knowngood.places.gather import load_job
from knowngood.places.naming import name_machine
from knowngood.places.record import At, Record, Refused
from knowngood.web.takers import Body, Taker, text_in

MOST_OF_A_LIST = 40
SHORT = 300


def short(body: Body, name: str, most: int = SHORT) -> str:
    """A text of one line or so; "" when it is missing. Raises Refused."""
    text = text_in(body, name, needed=False).strip()
    if len(text) > most:
        raise Refused(f"{name} has {len(text)} characters; at most {most} are kept")
    return text


def words_in(body: Body, name: str) -> tuple[str, ...]:
    """A list of short texts; empty when it is missing. Raises Refused."""
    items = body.get(name, [])
    if not isinstance(items, list) or len(items) > MOST_OF_A_LIST:
        raise Refused(f"{name} should be a list of at most {MOST_OF_A_LIST}")
    if not all(isinstance(one, str) and len(one) <= SHORT for one in items):
        raise Refused(f"{name} should hold texts of at most {SHORT} characters")
    return tuple(dict.fromkeys(one.strip() for one in items if one.strip()))


def number_in(body: Body, name: str) -> float:
    """A number; 0 when it is missing. Raises Refused."""
    value = body.get(name, 0)
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise Refused(f"{name} should be a number")
    return float(value)


def _pack(body: Mapping[str, Any]) -> ct.PackTaken:
    trouble = words_in(body, "trouble")
    wrong = [one for one in trouble if one not in (*TROUBLES, NOT_SAID)]
    if wrong:
        raise Refused(f"{wrong[0]!r} is no trouble of a pack; it is one of: {', '.join(TROUBLES)}")
    id = text_in(body, "pack")
    if len(id) > 60:
        raise Refused("the id of a pack has at most 60 characters")
    return ct.PackTaken(id, short(body, "serial"), short(body, "words"), trouble)


def _packs(body: Body) -> tuple[ct.PackTaken, ...]:
    items = body.get("packs", [])
    if not isinstance(items, list) or not all(isinstance(one, Mapping) for one in items):
        raise Refused("packs should be a list of packs")
    if len(items) > counter.MOST_PACKS:
        raise Refused(f"{len(items)} packs at once; at most {counter.MOST_PACKS} are kept")
    return tuple({pack.pack: pack for pack in map(_pack, items)}.values())


def _check_in(record: Record, job: str, body: Body, at: At) -> None:
    if job == SHOP or len(job) > 80:
        raise Refused(f"{job[:20]!r} is no id for a job")
    counter.check_in(
        record,
        job,
        Sheet(
            words=text_in(body, "words", needed=False).strip(),
            customer=short(body, "customer"),
            contact=short(body, "contact"),
            machine=short(body, "machine"),
            maker=short(body, "maker"),
            model=short(body, "model"),
            serial=short(body, "serial"),
            named=short(body, "named"),
            complaint=short(body, "complaint"),
            also=words_in(body, "also"),
            conditions=words_in(body, "conditions"),
            told=words_in(body, "told"),
            told_asked=body.get("told_asked") is True,
            accessories=words_in(body, "accessories"),
            packs=_packs(body),
            unsafe_asked=body.get("unsafe_asked") is True,
            unsafe=body.get("unsafe") is True,
            meter=short(body, "meter"),
            promised=short(body, "promised"),
            purchased=short(body, "purchased", 10),
            family=short(body, "family"),
        ),
        at,
    )


def _machine(record: Record, job: str, body: Body, at: At) -> None:
    name_machine(record, job, text_in(body, "machine"), short(body, "complaint"), at)


def _noted(record: Record, job: str, body: Body, at: At) -> None:
    """What was not known at check-in; an empty field leaves what stands."""
    details = ev.DetailsNoted(
        short(body, "serial"), short(body, "customer"), short(body, "model"), short(body, "maker")
    )
    noted = ct.CheckedIn(contact=short(body, "contact"), conditions=words_in(body, "conditions"))
    things = words_in(body, "accessories") if "accessories" in body else None
    counter.note_counter(record, job, at, details, noted, things)


def _cover(record: Record, job: str, body: Body, at: At) -> None:
    """An answer that cover depends on; what is not named stays as it stands."""
    given = body.get("answers", {})
    if not isinstance(given, Mapping) or not all(isinstance(a, str) for a in given.values()):
        raise Refused("answers should be yes or no by the name of the question")
    noted = CoverNoted(
        use=short(body, "use"), purchased=short(body, "purchased"),
        delivered=short(body, "delivered"), made=short(body, "made"),
        failed=short(body, "failed"), hours=short(body, "hours"),
        proof=words_in(body, "proof"), answers=dict(given),
    )  # fmt: skip
    note_asked(record, job, noted, at, short(body, "programme"))


def _take_pack(record: Record, job: str, body: Body, at: At) -> None:
    counter.take_pack(record, job, _pack(body), at)


def _no_pack(record: Record, job: str, body: Body, at: At) -> None:
    load_job(record, job)
    record.append(job, [ct.PackWithdrawn(text_in(body, "pack"), short(body, "reason"))], at)


def _no_comeback(record: Record, job: str, body: Body, at: At) -> None:
    load_job(record, job)
    record.append(job, [ct.ComebackWithdrawn(short(body, "reason"))], at)


def _payment(record: Record, job: str, body: Body, at: At) -> None:
    paid = text_in(body, "paid")
    if paid not in ("paid", "not paid", "nothing to pay"):
        raise Refused(f"{paid!r} should be one of: paid, not paid, nothing to pay")
    pay_at_pickup(record, job, cast(Paid, paid), short(body, "words"), at)


def _no_payment(record: Record, job: str, body: Body, at: At) -> None:
    if load_job(record, job).counter.payment is None:
        raise Refused("nothing is said of the payment")
    record.append(job, [ct.PaymentWithdrawn(short(body, "reason"))], at)


def _override(record: Record, job: str, body: Body, at: At) -> None:
    by = short(body, "by") or ("" if at.by == "somebody" else at.by)
    counter.override_hold(record, job, by, text_in(body, "reason", needed=False), at)


def _handed(record: Record, job: str, body: Body, at: At) -> None:
    signature = short(body, "digest") or short(body, "signature")
    handed = ct.HandedBack(
        short(body, "to"), signature, words_in(body, "accessories"), words_in(body, "packs")
    )
    counter.hand_back(record, job, handed, short(body, "outcome"), at)


def _not_handed(record: Record, job: str, body: Body, at: At) -> None:
    it = load_job(record, job)
    if it.counter.handed is None:
        raise Refused("it is not handed back")
    reason = short(body, "reason")
    parts: list[tuple[str, list[ev.Event]]] = [(job, [ct.HandBackWithdrawn(reason)])]
    if it.closed is not None:
        parts += reopened(record, it, reason or "came back to the counter")
    record.append_all(parts, at)


def _shop(record: Record, job: str, body: Body, at: At) -> None:
    if job != SHOP:
        raise Refused("the shop's sheet is not sent to a job")
    sheet = ShopNoted(
        name=short(body, "name"),
        address=short(body, "address"),
        phone=short(body, "phone"),
        bench_rate=number_in(body, "bench_rate"),
        currency=short(body, "currency", 12),
        fee=text_in(body, "fee", needed=False).strip(),
        storage=text_in(body, "storage", needed=False).strip(),
        keep_days=number_in(body, "keep_days"),
        zone=short(body, "zone"),
        people=words_in(body, "people"),
        fee_amount=number_in(body, "fee_amount"),
        fee_credited=body.get("fee_credited") is True,
        fetch_days=number_in(body, "fetch_days"),
    )
    premises.note_shop(record, sheet, at)


COUNTER_TAKERS: dict[str, Taker] = {
    "JobOpened": _check_in,
    "MachineNamed": _machine,
    "CounterNoted": _noted,
    "CoverNoted": _cover,
    "PackTaken": _take_pack,
    "PackWithdrawn": _no_pack,
    "ComebackWithdrawn": _no_comeback,
    "PaymentNoted": _payment,
    "HoldOverridden": _override,
    "HandedBack": _handed,
    "HandBackWithdrawn": _not_handed,
    "PaymentWithdrawn": _no_payment,
    "ShopNoted": _shop,
}

AT_COUNTER = frozenset(COUNTER_TAKERS) - {"HoldOverridden"}
"""Sent from the counter's own pages alone, which need no bench in the answer."""
