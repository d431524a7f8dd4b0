"""A claim that is sent again: which one it was, what of it was granted, and what is open."""

from __future__ import annotations

from collections.abc import Sequence

from knowngood.documents.parties import Earlier
from knowngood.documents.wording import day, listed
from knowngood.job.job import Job
from knowngood.places.paperwork import ClaimPage, moves_of
from knowngood.shop.claim_check import Move, Paid, Replied, Sent, course


def earlier_of(job: Job, page: ClaimPage) -> Earlier | None:
    """What a paper printed now says of earlier sendings; None for a claim that goes out for the
    first time, that waits for its first answer, or that was granted whole at once."""
    moves = _before(moves_of(job), page)
    sent = [m for m in moves if isinstance(m, Sent)]
    if not sent:
        return None
    last = max(m.day for m in moves)
    stood = course(moves, None, last, page.programme.currency)
    granted = stood.granted or stood.before
    replies = [m for m in moves if isinstance(m, Replied)]
    named = listed([f"{m.number or 'no number given'}, sent on {day(m.day)}" for m in sent])
    said = f"This is a resubmission of claim {named}"
    if replies:
        why = f" ({replies[-1].reason})" if replies[-1].reason else ""
        word = "denied" if granted.amount <= 0 else f"{granted} of {stood.asked} granted"
        said += f"; {word} on {day(replies[-1].day)}{why}"
    said += f", of which {stood.received} came in." if granted.amount > 0 else "."
    reason = replies[-1].reason if replies else ""
    each = tuple((m.number, m.day.isoformat()) for m in sent)
    return Earlier(said, each, granted, stood.received, reason)


def _before(moves: Sequence[Move], page: ClaimPage) -> Sequence[Move]:
    """The moves that went before the paper which is printed now: up to the last sending while that
    is open or was granted whole, all of them once an answer leaves something open. Money counts up
    to today."""
    places = [n for n, move in enumerate(moves) if isinstance(move, Sent)]
    if not places:
        return ()
    if page.course.answer in ("short-paid", "denied"):
        return moves
    head = moves[: places[-1]]
    if not head:
        return ()
    open_now = page.course.granted is None
    later = [m for m in moves[places[-1] + 1 :] if isinstance(m, Paid)] if open_now else []
    return [*head, *later]
