"""The claim as data, attached to its PDF: what page one says, for a program at the other end.

Names of fields are plain words; days are ISO 8601, amounts exact decimals as text. `form` counts up
when a field changes its meaning.
"""

from __future__ import annotations

import json
from typing import Any

from knowngood.documents.document import Attached
from knowngood.documents.parties import Given, Shop
from knowngood.documents.shown import also, fitted_number, proof_readings
from knowngood.job.job import Job
from knowngood.job.things import JobReading
from knowngood.machines.machine import Machine

FORM = 1


def claim_data(job: Job, machine: Machine, shop: Shop, given: Given) -> dict[str, Any]:
    """The claim of a job as plain data."""
    opened, decision, paper = job.opened, job.decision, job.paperwork
    parts = []
    if decision is not None:
        parts = [
            _part(job, decision.part, decision.words, decision.number, True),
            *(_part(job, o.part, o.words, o.number, False) for o in also(decision)),
        ]
    worth = given.worth
    return {
        "form": FORM,
        "shop": shop.name,
        "job": job.name,
        "claim_number": given.claim_number,
        "programme": given.programme,
        "resubmission": _earlier(given) if given.earlier else None,
        "machine": {
            "words": machine.words,
            "maker": opened.maker if opened else "",
            "model": opened.model if opened else "",
            "serial": opened.serial if opened else "",
            "use": given.use,
            "hours": given.hours,
        },
        "days": {
            "in_service": given.in_service,
            "failed": given.failed_on,
            "received": job.opened_at.server_time.date().isoformat() if job.opened_at else "",
            "closed": job.closed.at.server_time.date().isoformat() if job.closed else "",
        },
        "proof_of_purchase": given.proof_of_purchase,
        "complaint": (opened.customer_words or opened.complaint) if opened else "",
        "worded": _worded(job),
        "causes": [
            {"cause": c.words or c.cause, "answer": c.answer, "evidence": c.evidence}
            for c in job.causes
        ],
        "codes": {
            "mode": paper.codes.mode, "cause": paper.codes.cause, "action": paper.codes.action,
            "labour": paper.codes.labour,
        },
        "proven": bool(decision and decision.proven),
        "proof": decision.sentence if decision else "",
        "readings": [_reading(r) for r in (proof_readings(job, decision) if decision else ())],
        "parts": parts,
        "minutes": job.minutes_by_step(),
        "asked": {
            "labour": None if worth.unrated else str(worth.labour.amount),
            "diagnosis": None if worth.unrated else str(worth.diagnosis.amount),
            "parts": None if worth.unpriced else str(worth.parts.amount),
            "total": str(worth.total.amount) if worth.known else None,
            "currency": worth.total.currency,
        } if worth else None,
    }  # fmt: skip


def _earlier(given: Given) -> dict[str, Any]:
    """Of which sendings, what was granted and came in, and what is open of the whole sum asked."""
    earlier, worth = given.earlier, given.worth
    assert earlier is not None
    left = earlier.open_of(worth.total) if worth is not None and worth.known else None
    return {
        "of": [{"claim_number": number, "sent": day} for number, day in earlier.sent],
        "granted": str(earlier.granted.rounded().amount),
        "received": str(earlier.received.rounded().amount),
        "reason": earlier.reason,
        "open": str(left.rounded().amount) if left is not None else None,
    }


def _part(job: Job, part: str, words: str, number: str, causal: bool) -> dict[str, Any]:
    """`number`: as it was ordered or fitted; `in_place_of`: as it was decided by, where another."""
    its = fitted_number(job, part, number)
    return {"part": words, "number": its.number, "in_place_of": its.listed, "causal": causal}


def _worded(job: Job) -> dict[str, str] | None:
    """What a person wrote in place of the record's words, None where they stand."""
    if job.paperwork.worded is None:
        return None
    event, at = job.paperwork.worded
    return {"complaint": event.complaint, "cause": event.cause, "correction": event.correction,
            "by": at.by}  # fmt: skip


def _reading(one: JobReading) -> dict[str, Any]:
    read = one.value()
    return {
        "question": one.question or one.test,
        "text": one.text,
        "kind": read.kind,
        "low": read.low,
        "high": read.high,
        "unit": read.unit,
        "meter": read.meter,
        "grade": one.grade,
        "verdict": one.verdict,
        "taken": one.taken.device_time.isoformat(),
        "by": one.taken.by,
    }


def attached_claim(job: Job, machine: Machine, shop: Shop, given: Given) -> Attached:
    """The same, as the file that goes into the PDF."""
    data = _finite(claim_data(job, machine, shop, given))
    text = json.dumps(data, indent=1, ensure_ascii=False, allow_nan=False)
    return Attached(f"claim-{job.name}.json", "The claim as data", text.encode("utf-8", "replace"))


def _finite(value: Any) -> Any:
    """Without the numbers that JSON cannot hold: an over-range reading has no upper end."""
    if isinstance(value, dict):
        return {k: _finite(v) for k, v in value.items()}
    if isinstance(value, list):
        return [_finite(v) for v in value]
    if isinstance(value, float) and not -1e300 < value < 1e300:
        return None
    return value
