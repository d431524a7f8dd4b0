"""What was entered at the bench and is put right: a reading taken back, the complaint."""

from __future__ import annotations

from knowngood.cli import show
from knowngood.cli.session import Session
from knowngood.places import bench, naming
from knowngood.places.record import Refused


def withdraw(session: Session, rest: str) -> None:
    """Take a reading back; why may be said in the same line or afterwards."""
    number, _, reason = rest.partition(" ")
    reason = reason.strip()
    if not (number.isascii() and number.isdigit()):
        raise Refused("which one? withdraw 3 the lead was not on bare metal")
    reading = bench.reading_numbered(session.opened.job, int(number))
    gone = any(r.id == reading and not r.live for r in session.opened.job.readings)
    view = bench.withdraw(session.record, session.job_id, reading, reason, session.at())
    if gone:
        session.tell(show.wrapped(f"reading {number} was withdrawn: {reason}", "kept: "))
        session.view = view
        return
    session.tell(show.wrapped(f"reading {number} is withdrawn; it stays on the record", "kept: "))
    if not reason:
        session.say(f"  no reason is kept; withdraw {number} WHY adds it")
    session.tell(show.standing(view))
    session.moved(view)
    session._show()


def complaint(session: Session, rest: str = "") -> None:
    """Which complaint the job is about: bare, the list; with a name or a number of it, another."""
    view = session.opened
    listed, now = view.machine.complaints, view.job.opened.complaint if view.job.opened else ""
    if not rest:
        session.tell(show.complaints(listed, "Complaints:"))
        words = next((c.words for c in listed if c.id == now), "none of these")
        session.tell(show.wrapped(f"Now: {words}. complaint N or NAME takes another"))
        return
    name = rest
    if rest.isascii() and rest.isdigit():
        if not 1 <= int(rest) <= len(listed):
            raise Refused(f"there are complaints 1 to {len(listed)}; complaint lists them")
        name = listed[int(rest) - 1].id
    after = naming.name_complaint(session.record, session.job_id, name, session.at())
    said = next(c.words for c in listed if after.job.opened and c.id == after.job.opened.complaint)
    session.tell(show.wrapped(f"the complaint is now: {said}", "kept: "))
    session.tell(show.standing(after))
    session.moved(after)
    session._show()
