"""What was entered at the bench and is put right: a reading taken back."""

from __future__ import annotations

from knowngood.cli import show
from knowngood.cli.session import Session
from knowngood.places import bench
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
