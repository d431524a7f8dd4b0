"""The claim's words as a person wrote them, held against the part they were written for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from knowngood.job.events import DecisionWithdrawn, Envelope, PartDecided
from knowngood.job.paperwork import ClaimWorded, Paperwork, SetAside
from knowngood.job.things import Decision


def words_that_hold(
    paper: Paperwork, history: Sequence[Envelope], decision: Decision | None
) -> Paperwork:
    """Cause and correction are set aside while another part than the one they were written for is
    decided on, or none; the complaint is the customer's and stays. They hold again once that part
    is decided on again."""
    if paper.worded is None:
        return paper
    event, at = paper.worded
    part = _decided_at(history, at.seq)
    now = decision.part if decision is not None else ""
    if part is None or part.part == now or not (event.cause or event.correction):
        return paper
    left = replace(event, cause="", correction="")
    return replace(
        paper,
        worded=(left, at) if left != ClaimWorded() else None,
        set_aside=SetAside(event.cause, event.correction, part.words or part.part),
    )


def _decided_at(history: Sequence[Envelope], seq: int) -> PartDecided | None:
    """What stood decided before this entry."""
    stood: PartDecided | None = None
    for envelope in history:
        if envelope.seq > seq:
            break
        if isinstance(envelope.event, PartDecided):
            stood = envelope.event
        elif isinstance(envelope.event, DecisionWithdrawn):
            stood = None
    return stood
