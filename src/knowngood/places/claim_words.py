"""Complaint, cause and correction of a claim: from the record, or as a person words them."""

from __future__ import annotations

from dataclasses import replace

from knowngood.documents.claim import from_record
from knowngood.job.job import Job
from knowngood.job.paperwork import ClaimWorded
from knowngood.places.gather import load_job, machine_file_of
from knowngood.places.record import At, Record, Refused
from knowngood.places.sentence import lower_first

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


def set_aside(job: Job) -> str:
    """What a person wrote for a part that is decided on no more, in words; "" when nothing is set
    aside."""
    aside = job.paperwork.set_aside
    if aside is None:
        return ""
    named = (("Cause", aside.cause), ("Correction", aside.correction))
    said = " ".join(f"{name}: {text.rstrip('.')}." for name, text in named if text)
    return f"Set aside and not printed, as it was written for the {lower_first(aside.part)}: {said}"


def take_again(record: Record, job_id: str, at: At) -> ClaimWorded:
    """The words that were set aside hold for the part decided on now. Raises Refused when nothing
    is set aside."""
    paper = load_job(record, job_id).paperwork
    if paper.set_aside is None:
        raise Refused("no words of this claim are set aside")
    mine = paper.worded[0] if paper.worded else ClaimWorded()
    again = replace(mine, cause=paper.set_aside.cause, correction=paper.set_aside.correction)
    return word_claim(record, job_id, again, at)


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
