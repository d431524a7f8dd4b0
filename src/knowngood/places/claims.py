"""All claims of the shop: as a table, what is owed by age, and why they were denied."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal

from knowngood.job.job import Job, replay
from knowngood.job.paperwork import ClaimAnswered, ClaimSent
from knowngood.places.paperwork import moves_of
from knowngood.places.part_meant import parts_fitted
from knowngood.places.record import Record
from knowngood.shop.claim_check import course

COLUMNS = (
    "job", "programme", "claim number", "serial", "part", "part number", "sent", "asked", "answer",
    "granted", "received", "currency", "reason",
)  # fmt: skip
AGES = (30, 60, 90)  # days
AGE_NAMES = (*(f"up to {limit} days" for limit in AGES), "older")


@dataclass(frozen=True, slots=True)
class ClaimLine:
    """One claim that went out. Amounts in `currency`; `granted` None while unanswered."""

    job: str
    programme: str
    number: str
    serial: str
    part: str
    part_number: str
    sent: date
    asked: Decimal
    answer: str
    granted: Decimal | None
    received: Decimal
    currency: str
    reason: str
    words: str = ""
    """The answer as the job's own page tells it."""
    refused: tuple[str, ...] = ()
    """The reason of each answer that denied it or paid it short, in order: sent again and accepted
    in the end, it was refused all the same."""

    @property
    def owed(self) -> Decimal:
        """What should still come: asked while unanswered, then what was granted."""
        return (self.asked if self.granted is None else self.granted) - self.received

    def cells(self) -> tuple[object, ...]:
        return (
            self.job, self.programme, self.number, self.serial, self.part, self.part_number,
            self.sent.isoformat(), self.asked, self.answer, self.granted, self.received,
            self.currency, self.reason,
        )  # fmt: skip


def all_claims(record: Record) -> tuple[ClaimLine, ...]:
    """Every claim that went out, in the order the jobs came in."""
    lines = []
    for job_id in record.log.jobs_with(("ClaimSent",)):
        line = _line(replay(record.log.events(job_id)))
        if line is not None:
            lines.append(line)
    return tuple(lines)


def _line(job: Job) -> ClaimLine | None:
    paper = job.paperwork
    sent = [m for m in paper.moves if isinstance(m, ClaimSent)]
    if not sent:
        return None
    last_sent = sent[-1]
    day, currency = date.fromisoformat(last_sent.day), last_sent.currency
    in_one = replace(paper, moves=tuple(m for m in paper.moves if m.currency == currency))
    how = course(moves_of(replace(job, paperwork=in_one)), None, day, currency)
    numbers = [m.number for m in sent if m.number]
    return ClaimLine(
        job.name,
        paper.programme.words if paper.programme else "",
        numbers[-1] if numbers else "",
        job.opened.serial if job.opened else "",
        job.decision.words if job.decision else "",
        parts_fitted(job)[0][2].number if job.decision else "",
        day,
        how.asked.amount,
        how.answer,
        how.granted.amount if how.granted is not None else None,
        how.received.amount,
        currency,
        how.reason,
        how.words if how.answer else "no answer yet",
        tuple(m.reason for m in paper.moves
              if isinstance(m, ClaimAnswered) and m.reply != "accepted"),
    )  # fmt: skip


def owed_by_age(lines: tuple[ClaimLine, ...], today: date) -> Mapping[str, Mapping[str, Decimal]]:
    """Currency -> "up to 30 days", ..., "older" -> money owed on claims sent so long ago."""
    found: dict[str, dict[str, Decimal]] = {}
    for line in lines:
        if line.owed <= 0:
            continue
        age = age_of(line, today)
        ages = found.setdefault(line.currency, {})
        ages[age] = ages.get(age, Decimal(0)) + line.owed
    return found


def age_of(line: ClaimLine, today: date) -> str:
    """Which of `AGE_NAMES` the claim has reached since it was sent last."""
    days = (today - line.sent).days
    return next((f"up to {limit} days" for limit in AGES if days <= limit), AGE_NAMES[-1])


def refusals(lines: tuple[ClaimLine, ...]) -> Mapping[str, Mapping[str, int]]:
    """Programme -> reason -> how often a claim was denied or paid short for it."""
    found: dict[str, dict[str, int]] = {}
    for line in lines:
        for reason in line.refused:
            reasons = found.setdefault(line.programme, {})
            reasons[reason] = reasons.get(reason, 0) + 1
    return found
