"""Complaint, cause and correction of a claim: from the record, or as a person words them."""

from __future__ import annotations

from knowngood.documents.claim import from_record
from knowngood.job.job import Job
from knowngood.job.paperwork import ClaimWorded
from knowngood.places.gather import load_job, machine_file_of
from knowngood.places.record import At, Record, Refused

LONGEST = 600  # of each, so that page one stays a page


def recorded_words(record: Record, job: Job) -> ClaimWorded:
    """The three as the record tells them. Raises Refused without a machine file."""
    facts = from_record(job, machine_file_of(record, job))
    return ClaimWorded(*(fact.text for fact in facts))


def words_now(record: Record, job: Job) -> ClaimWorded:
    """The three as the claim prints them."""
    told = recorded_words(record, job)
    mine = job.paperwork.worded[0] if job.paperwork.worded else ClaimWorded()
    return ClaimWorded(
        mine.complaint or told.complaint, mine.cause or told.cause,
        mine.correction or told.correction,
    )  # fmt: skip


def word_claim(record: Record, job_id: str, words: ClaimWorded, at: At) -> ClaimWorded:
    """Keep these words; what is empty, or the same as the record tells, stays the record's. What
    is printed now. Raises Refused for words that do not fit."""
    job = load_job(record, job_id)
    told, kept = recorded_words(record, job), []
    for name in ("complaint", "cause", "correction"):
        text = " ".join(getattr(words, name).split())
        if text == " ".join(getattr(told, name).split()):
            kept.append("")
            continue
        if len(text) > LONGEST:
            raise Refused(f"the {name} has {len(text)} signs; at most {LONGEST} fit on page one")
        kept.append(text)
    record.append(job_id, [ClaimWorded(*kept)], at)
    return words_now(record, load_job(record, job_id))
