"""What was entered on a job's papers and can be taken back, each by an event of its own."""

from __future__ import annotations

from dataclasses import dataclass

from knowngood.job import paperwork as pw
from knowngood.job.job import Job
from knowngood.job.words import in_words
from knowngood.places.gather import load_job
from knowngood.places.paperwork import withdraw_entry
from knowngood.places.record import At, Record, Refused

ENTRIES = pw.ClaimSent | pw.ClaimAnswered | pw.ClaimPaid | pw.MoneyTaken | pw.PartLetGo


@dataclass(frozen=True, slots=True)
class ToTakeBack:
    """`key`: what to hand to `take_back`; `day`: on which it happened, as text."""

    key: str
    day: str
    words: str
    seq: int
    event: pw.PaperEvent


def to_take_back(record: Record, job: Job) -> tuple[ToTakeBack, ...]:
    """Every entry that stands, and the last estimate, word of the customer, codes, programme, word
    of the programme and wording of the claim; in the order they were entered."""
    paper = job.paperwork
    entries = {one.entry for one in (*paper.moves, *paper.taken)}
    entries |= {one.entry for one, _ in paper.let_go}
    found: dict[str, ToTakeBack] = {}
    for envelope in record.log.events(job.id) if entries else ():
        event = envelope.event
        if isinstance(event, ENTRIES) and event.entry in entries and event.entry not in found:
            day = "" if isinstance(event, pw.PartLetGo) else event.day
            day = day or f"{envelope.device_time:%Y-%m-%d}"
            found[event.entry] = ToTakeBack(event.entry, day, in_words(event), envelope.seq, event)
    for what, one in {one.what: one for one in paper.said}.items():
        key, day = f"{what}-{one.at.seq}", f"{one.at.device_time:%Y-%m-%d}"
        found[key] = ToTakeBack(key, day, in_words(one.event), one.at.seq, one.event)
    return tuple(sorted(found.values(), key=lambda one: one.seq))


def take_back(record: Record, job_id: str, key: str, reason: str, at: At) -> None:
    """Take back one of `to_take_back`; it stays in the record. Raises Refused where something else
    stands on it, or where it stands no more."""
    paper = load_job(record, job_id).paperwork
    last = {one.what: one for one in paper.said}
    said = next((one for one in last.values() if key == f"{one.what}-{one.at.seq}"), None)
    if said is None:
        withdraw_entry(record, job_id, key, reason, at)
        return
    if on_it := _stands_on(paper, said):
        raise Refused(f"{on_it} stands on this one: take that back first")
    record.append(job_id, [pw.PaperTakenBack(said.what, reason)], at)


def _stands_on(paper: pw.Paperwork, said: pw.Said) -> str:
    """What means nothing any more without this; "" for nothing."""
    if said.what == "programme" and paper.moves:
        return "the claim that was sent"
    if said.what != "estimate":
        return ""
    if paper.agreed and paper.agreed[-1][1].seq > said.at.seq:
        return f"the word of {paper.agreed[-1][0].who}"
    if paper.taken and said.before["estimate"] is None:
        return "money of the customer"
    return ""
