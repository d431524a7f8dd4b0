"""What rested on something that has since changed.

Two phones on one job both append, so a decision can be sent by a device that had not yet seen a
withdrawal. Nothing is refused for that; it is shown, until the decision or check is made again.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from knowngood.job import events as ev
from knowngood.job.events import Envelope
from knowngood.job.things import Check, Closed, Decision, JobReading, Look, Stamp


def look_at_this(
    history: Sequence[Envelope],
    readings: Sequence[JobReading],
    decision: Decision | None,
    release: Sequence[Check],
    closed: Closed | None,
) -> tuple[Look, ...]:
    """In the order of the changes. Empty when all that was decided still rests on what it did."""
    looks: list[Look] = []
    if decision is not None:
        looks += _on_decision(history, readings, decision)
    for check in release:
        if check.result != "fail":
            looks += _on_check(history, check)
    if closed is not None:
        looks += _on_closed(history, closed)
    return tuple(sorted(looks, key=lambda look: look.at.seq))


def _on_decision(
    history: Sequence[Envelope], readings: Sequence[JobReading], decision: Decision
) -> Iterator[Look]:
    what = f"decision: {decision.words or decision.part}"
    basis = decision.proof.get("readings")
    for reading in readings:
        rests = (
            reading.id in basis
            if isinstance(basis, list | tuple)
            else decision.at.knew(reading.taken)
        )
        gone = reading.withdrawn
        if gone is not None:
            if rests and not decision.at.knew(gone):
                how = "corrected" if reading.corrected_by else "withdrawn"
                why = f"it rests on the reading {_quoted(reading)}, which was {how}"
                yield Look(what, why, gone)
        elif _unseen(decision.at, reading.taken) and not rests:
            yield Look(what, f"made without the reading {_quoted(reading)}", reading.taken)
        elif reading.taken.seq > decision.at.seq and reading.shown.get("fits") is False:
            why = f"the later reading {_quoted(reading)} fits nothing on the list"
            yield Look(what, why, reading.taken)
    for envelope in history:
        at, event = Stamp.of(envelope), envelope.event
        if decision.at.knew(at):
            continue
        if isinstance(event, ev.MachineAdopted):
            yield Look(what, "a newer machine file was adopted", at)
        elif isinstance(event, ev.AcceptWithdrawn):
            yield Look(what, f"{event.part} is no longer accepted as good", at)
        elif isinstance(event, ev.PartDecided) and event.part != decision.part:
            words = event.words or event.part
            yield Look(what, f"{words} was decided on another device meanwhile", at)


def _on_check(history: Sequence[Envelope], check: Check) -> Iterator[Look]:
    what = f"release check: {check.words or check.check}"
    for envelope in history:
        at, event = Stamp.of(envelope), envelope.event
        if check.at.knew(at):
            continue
        if isinstance(event, ev.StepOpened):
            yield Look(what, f"{event.words or event.step} was opened after it", at)
        elif isinstance(event, ev.MachineAdopted):
            yield Look(what, "a newer machine file was adopted", at)
        elif isinstance(event, ev.DecisionWithdrawn):
            yield Look(what, "the decision was withdrawn after it", at)
        elif isinstance(event, ev.PartDecided):
            yield Look(what, f"{event.words or event.part} was decided after it", at)


def _on_closed(history: Sequence[Envelope], closed: Closed) -> Iterator[Look]:
    what = f"closed: {closed.outcome}"
    for envelope in history:
        at, event = Stamp.of(envelope), envelope.event
        if closed.at.knew(at):
            continue
        why = _after_closing(event)
        if why:
            yield Look(what, why, at)


def _after_closing(event: ev.Event) -> str:
    match event:
        case ev.ReadingTaken():
            return f"the reading {event.text!r} ({event.test}) came in after it"
        case ev.ReadingWithdrawn():
            return "a reading was withdrawn after it"
        case ev.StepOpened():
            return f"{event.words or event.step} was opened after it"
        case ev.ReleaseChecked(result="fail"):
            return f"the release check {event.words or event.check} failed after it"
        case ev.MachineAdopted():
            return "a newer machine file was adopted"
        case ev.PartDecided():
            return f"{event.words or event.part} was decided after it"
        case ev.DecisionWithdrawn():
            return "the decision was withdrawn after it"
        case ev.AcceptWithdrawn():
            return f"{event.part} is no longer accepted as good"
        case _:
            return ""


def _unseen(by: Stamp, other: Stamp) -> bool:
    """`other` was already in the record, and the device did not know."""
    return other.seq < by.seq and not by.knew(other)


def _quoted(reading: JobReading) -> str:
    return f"{reading.text!r} ({reading.question or reading.test})"
