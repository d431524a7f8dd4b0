"""Taking back what was said last, whatever it was."""

from __future__ import annotations

from knowngood.job import events as ev
from knowngood.job.counter import PaymentWithdrawn
from knowngood.job.events import Event
from knowngood.job.waiting import CAPACITOR
from knowngood.job.words import in_words
from knowngood.places.fitted import reopened
from knowngood.places.gather import View, load_job, look
from knowngood.places.record import At, Record, Refused


def undo(record: Record, job_id: str, at: At) -> tuple[str, View]:
    """Take back what was said last: a reading, an account, an acceptance, a call, a cause
    answered, a check, volts on a capacitor, a note, a picture, details, the decision.

    Returns what was taken back, in words.
    """
    job = load_job(record, job_id)
    found: list[tuple[int, str, Event]] = [
        (r.taken.seq, f"{r.question} {r.text}", ev.ReadingWithdrawn(r.id, "undone"))
        for r in job.live_readings
    ]
    found += [(t.at.seq, t.words, ev.ToldWithdrawn(t.id, "undone")) for t in job.told]
    found += [
        (a.at.seq, f"{a.words} accepted", ev.AcceptWithdrawn(a.part, "undone"))
        for a in job.accepted
    ]
    found += [
        (c.at.seq, f"{c.words} called", ev.CallWithdrawn(c.part, "undone")) for c in job.called
    ]
    found += [
        (c.at.seq, f"{c.ask or c.words} {c.answer}", ev.EntryWithdrawn("cause", c.cause, "undone"))
        for c in job.causes
    ]
    found += [
        (c.at.seq, f"{c.words}: {c.result}", ev.EntryWithdrawn("check", c.check, "undone"))
        for c in job.release
    ]
    found += [
        (n.at.seq, n.text, ev.EntryWithdrawn("note", n.text, "undone"))
        for n in job.notes
        if not n.text.startswith("reopened")
    ]
    found += [  # the volts that showed a capacitor discharged: it is measured again
        (s.opened.seq, s.where, ev.StepClosed(s.step))
        for s in job.open_steps
        if s.where.startswith(CAPACITOR)
    ]
    found += [
        (p.at.seq, f"picture {p.caption}".strip(), ev.PictureWithdrawn(p.digest, "undone"))
        for p in job.pictures
    ]
    if job.counter.payment is not None and job.counter.paid_at is not None:
        paid, at_seq = job.counter.payment.paid, job.counter.paid_at.seq
        found.append((at_seq, f"payment: {paid}", PaymentWithdrawn("undone")))
    if job.details:
        last = job.details[-1]
        gone = ev.EntryWithdrawn("details", "", "undone")
        found.append((last.at.seq, in_words(last.noted), gone))
    if job.closed is not None:  # a closed job is opened again before anything else
        record.append_all(reopened(record, job, "undone"), at)
        return f"the closing ({job.closed.outcome}); the job is open again", look(record, job_id)
    if job.decision is not None:
        words = f"the decision for {job.decision.words}"
        found.append((job.decision.at.seq, words, ev.DecisionWithdrawn("undone")))
    if not found:
        raise Refused("there is nothing to take back; complaint NAME takes another complaint")
    _, words, event = max(found, key=lambda f: f[0])
    record.append(job_id, [event], at)
    return words, look(record, job_id)
