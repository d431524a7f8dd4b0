"""What others enter on the job while it is open at the bench."""

from __future__ import annotations

from typing import TYPE_CHECKING

from knowngood.cli import show
from knowngood.cli.asking import next_ask
from knowngood.job.events import ReadingJudged
from knowngood.job.words import in_words
from knowngood.places.gather import look

if TYPE_CHECKING:
    from knowngood.cli.session import Session


def heed(session: Session) -> bool:
    """Say what was entered on the job from elsewhere since the last line and look at the job anew.
    True when something else is asked now, so that the line typed may not be its answer."""
    if session.view is None:
        return False
    job, record = session.job_id, session.record
    newest = record.log.last_seq(job)
    if newest <= session.seen:
        return False
    since = [e for e in record.log.events(job) if e.seq > session.seen]
    session.seen = newest
    others = [e for e in since if e.seq not in (record.written or ())]
    if not others:
        return False
    said = [f"{e.by or 'somebody'}: {in_words(e.event)}"
            for e in others if not isinstance(e.event, ReadingJudged)]  # fmt: skip
    session.tell(show.wrapped("; ".join(dict.fromkeys(said)), "meanwhile: "))
    session.view = look(record, job)
    was, session.ask = session.ask, next_ask(session)
    return (was.key, was.prompt) != (session.ask.key, session.ask.prompt)
