"""What the counter shows, as plain data: the catalogue for a check-in, a job's counter sheet."""

from __future__ import annotations

from datetime import date
from typing import Any

from knowngood.job.job import Job
from knowngood.machines.bare import IDS as BARE
from knowngood.places.account import account_of
from knowngood.places.catalogue import Face, faces
from knowngood.places.counter import (
    ACCESSORIES,
    CONDITIONS,
    TROUBLES,
    holds,
    machine_of,
    off_words,
    pack_words,
    release_standing,
)
from knowngood.places.known import Visit, customers, models
from knowngood.places.premises import people_of, the_shop
from knowngood.places.programmes import notices_for, programmes
from knowngood.places.record import Record
from knowngood.places.shelf import promise_of

Json = dict[str, Any]

KNOWN_AT_HAND = 150  # customers that a phone keeps for when it is alone


def catalogue(record: Record) -> Json:
    """Everything that a check-in needs without asking again, so that a phone can do it alone."""
    shop = the_shop(record)
    known = faces(record)
    return {
        "machines": [_machine(machine) for machine in known],
        "models": _models(known, models(record)),
        "customers": [customer(visits) for visits in customers(record, most=KNOWN_AT_HAND)],
        "conditions": list(CONDITIONS),
        "troubles": list(TROUBLES),
        "accessories": list(ACCESSORIES),
        "shop": {"name": shop.name, "fee": shop.fee, "storage": shop.storage},
        "makers_with_programmes": sorted({p.maker for p in programmes(record)}),
    }


def _machine(machine: Face) -> Json:
    return {
        "id": machine.id, "words": machine.words, "family": machine.family,
        "complaints": [{"id": c.id, "words": c.words} for c in machine.complaints],
        "told": [{"id": t.id, "words": t.words} for t in machine.told],
    }  # fmt: skip


def _models(known: tuple[Face, ...], seen: tuple[Visit, ...]) -> list[Json]:
    """Maker and model of every machine that can be chosen with one tap, those seen here first."""
    found: dict[tuple[str, str], Json] = {}
    for visit in seen:
        found[visit.maker, visit.model] = {
            "maker": visit.maker, "model": visit.model, "machine": visit.machine_id,
        }  # fmt: skip
    for machine in known:
        # A file names makers and models side by side, or one of either for all of the other.
        pairs = (
            zip(machine.makers, machine.models, strict=True)
            if len(machine.makers) == len(machine.models)
            else ((maker, model) for maker in machine.makers for model in machine.models)
        )
        for maker, model in pairs:
            found.setdefault(
                (maker, model), {"maker": maker, "model": model, "machine": machine.id}
            )
    return list(found.values())


def customer(visits: tuple[Visit, ...]) -> Json:
    """A customer with their machines, the latest first."""
    contact = next((v.contact for v in visits if v.contact), "")
    return {
        "name": visits[0].customer,
        "contact": contact,
        "machines": [before(visit) for visit in visits],
    }


def before(visit: Visit) -> Json:
    """An earlier check-in of a machine."""
    return {
        "job": visit.job, "number": visit.number or visit.job[:8], "maker": visit.maker,
        "model": visit.model, "serial": visit.serial, "machine": visit.machine_id,
        "words": visit.words, "day": visit.day, "customer": visit.customer, "bought": visit.bought,
    }  # fmt: skip


def small_view(job: Job) -> Json:
    """A job as a phone tells it apart, where there is no more to show of it."""
    return {"id": job.id, "name": job.name, "number": job.number, "seq": job.last_seq,
            "small": True}  # fmt: skip


def counter_view(record: Record, job: Job, today: date) -> Json:
    """A job at the counter: what came in, what holds it, and what went out."""
    it, opened = job.counter, job.opened
    machine = machine_of(record, job)
    complaints = {c.id: c.words for c in machine.complaints} if machine else {}
    ids = [opened.complaint] if opened and opened.complaint else []
    standing = release_standing(machine, job)
    promised, too_early = promise_of(job, today)
    return {
        **small_view(job),
        "state": job.state,
        "customer": opened.customer if opened else "",
        "contact": it.contact,
        "maker": opened.maker if opened else "",
        "model": opened.model if opened else "",
        "serial": opened.serial if opened else "",
        "words": opened.customer_words if opened else "",
        "promised": promised, "too_early": too_early,
        "machine": {"id": machine.id, "words": machine.words} if machine else None,
        "bare": bool(machine and machine.id in BARE), "named": it.words,
        "complaints": [complaints.get(id, id) for id in (*ids, *it.also)],
        "conditions": list(it.conditions),
        "told": [one.words for one in job.told],
        "accessories": list(it.accessories),
        "packs": [_pack(job, pack) for pack in it.packs],
        "unsafe": bool(it.unsafe_packs),
        "unsafe_asked": it.unsafe_asked,
        "fee": it.fee,
        "storage": it.storage,
        "comeback": None if it.comeback is None else {
            "job": it.comeback.job, "number": it.comeback.number or it.comeback.job[:8],
            "words": it.comeback.words,
        },
        "plate": [p.digest for p in job.pictures if p.about == "plate"],
        "off": list(off_words(machine, job)),
        "notices": [] if opened is None else [
            {"id": n.id, "words": n.words, "stop_use": n.stop_use}
            for n in notices_for(record, opened.maker, opened.model, opened.serial)
        ],
        "holds": list(holds(machine, job)),
        "checks": [{"words": c.words, "result": c.result} for c in standing.checks],
        "overrides": [
            {"by": event.by, "reason": event.reason, "checks": list(event.words or event.checks)}
            for event, _ in it.overrides
        ],
        "paid": None if it.payment is None else {"paid": it.payment.paid,
                                                 "words": it.payment.words},
        "left": _left(record, job), "price_open": _price_open(record, job),
        "handed": None if it.handed is None else {
            "to": it.handed.to, "signature": it.handed.signature,
            "at": it.handed_at.device_time.date().isoformat() if it.handed_at else "",
            "stays": list(it.handed.stays),
        },
        "closed": job.closed.outcome if job.closed else None,
        "people": list(people_of(record)),
    }  # fmt: skip


def _left(record: Record, job: Job) -> str:
    """What is left to pay under the estimate, "84.00 USD"; "" without one or with nothing left."""
    account = account_of(record, job)
    return str(account.bill.left) if account and account.bill.left.amount > 0 else ""


def _price_open(record: Record, job: Job) -> str:
    """Why no sum is known that the customer agreed to; "" where one is, or a programme pays."""
    account = account_of(record, job)
    if account is None:
        return "" if job.paperwork.programme else "no estimate was made"
    return "" if account.gate.open else account.gate.sentence


def _pack(job: Job, pack: Any) -> Json:
    return {
        "pack": pack.pack, "serial": pack.serial, "words": pack.words,
        "trouble": list(pack.trouble), "said": pack_words(pack),
    }  # fmt: skip
