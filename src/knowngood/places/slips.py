"""What the small papers of the counter print of a job: tag, claim check and receipt."""

from __future__ import annotations

from datetime import date

from knowngood.documents.slip import ClaimCheck
from knowngood.documents.wording import day
from knowngood.job.job import Job
from knowngood.job.waiting import waits_for
from knowngood.places.account import paid_words
from knowngood.places.counter import pack_words
from knowngood.places.days import day_of, day_words
from knowngood.places.record import Record


def claim_check_of(record: Record, it: Job) -> ClaimCheck:
    """What the customer takes along; the receipt once the machine is handed back."""
    at_counter, handed = it.counter, it.counter.handed
    rates = it.opened.rates if it.opened else {}
    packs = {pack.pack: pack_words(pack) for pack in at_counter.packs}
    return ClaimCheck(
        number=it.name,
        machine=machine_named(it),
        serial=it.opened.serial if it.opened else "",
        customer=it.opened.customer if it.opened else "",
        complaint=said_of(it),
        came=came_on(it),
        things=at_counter.accessories,
        packs=tuple(packs.values()),
        fee=at_counter.fee or str(rates.get("fee", "")),
        storage=at_counter.storage or str(rates.get("storage", "")),
        promised=promised_on(it),
        unsafe=bool(at_counter.unsafe_packs),
        handed=handed_words(it),
        back=(*handed.accessories, *(packs.get(p, p) for p in handed.packs)) if handed else (),
        stays=handed.stays if handed else (),
        paid=paid_words(record, it),
        overridden=tuple(
            f"{event.by}: {event.reason}. Held for: {'; '.join(event.words or event.checks)}"
            for event, _ in at_counter.overrides
        ),
    )  # fmt: skip


def handed_words(it: Job) -> str:
    """ "4 March 2026 to Mr. Vale"; "" while it is here."""
    handed, at = it.counter.handed, it.counter.handed_at
    if handed is None or at is None:
        return ""
    return f"{day(at.device_time)} to {handed.to or 'the customer, who signed'}"


def promised_on(it: Job) -> str:
    """The promise with its date; on paper a day of the week alone says too little."""
    waits = waits_for(it)
    on = day_of(waits.promised.strip())
    return f"{on:%A}, {day_words(on, date.min)}" if on else waits.promised


def machine_named(it: Job) -> str:
    """Maker and model, else the customer's name for it."""
    if it.opened is None:
        return it.counter.words
    named = f"{it.opened.maker} {it.opened.model}".strip()
    return named or it.counter.words or it.opened.machine_id


def said_of(it: Job) -> str:
    """What the customer said is wrong."""
    return (it.opened.customer_words or it.opened.complaint) if it.opened else ""


def came_on(it: Job) -> str:
    """The day it came in, in words."""
    return day(it.opened_at.device_time) if it.opened_at else ""
