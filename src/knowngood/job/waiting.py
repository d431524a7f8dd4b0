"""What a job waits for, since when, and by when something has to happen."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from knowngood.job.job import Job
from knowngood.job.plain import Stamp

FITTED = "fitted: "
"""How a note begins that says that the part is in."""
CAPACITOR = "volts on the capacitor: "
"""How a note, and the place of the step, begins that keeps what was read on a capacitor."""


@dataclass(frozen=True, slots=True)
class Waits:
    """What a job waits for; `kind` is one of

    look    nobody has looked at it        prove   it is being looked at
    order   a part is named, not ordered   part    a part is on its way
    answer  the customer was asked         fit     the part is here, or the work goes on
    held    a release check failed         ready   checked, nothing off
    closed

    `what`: the part, the question or the check. `since`: a time with its offset, `due` and `own`:
    dates, all ISO 8601 or ""; `own` is when the thing itself is due, `due` the earlier of that and
    what was promised. `place`: where the machine stands, "" at the bench or not said.
    """

    kind: str
    what: str = ""
    since: str = ""
    own: str = ""
    due: str = ""
    place: str = ""
    promised: str = ""


def waits_for(job: Job) -> Waits:
    """Where a job stands, as its events tell it."""
    kind, what, at, own = _kind(job)
    promised = job.shelf.promised or (job.opened.promised if job.opened else "")
    dates = [day for day in (own, a_date(promised)) if day and kind != "closed"]
    return Waits(
        kind, what, at.device_time.isoformat() if at else "", own, min(dates, default=""),
        place_of(job), promised,
    )  # fmt: skip


def place_of(job: Job) -> str:
    """Where the machine was put, unless it has been worked on since."""
    put = job.shelf.placed
    if put is None:
        return ""
    worked = [r.taken.seq for r in job.readings] + [s.opened.seq for s in job.steps]
    worked += [s.closed.seq for s in job.steps if s.closed]
    return job.shelf.place if put.seq > max(worked, default=0) else ""


def _kind(job: Job) -> tuple[str, str, Stamp | None, str]:
    """kind, what, since, the date of its own."""
    shelf, decision = job.shelf, job.decision
    if job.closed is not None:
        return "closed", job.closed.outcome, job.closed.at, ""
    failed = [check for check in job.release if check.result == "fail"]
    if failed:
        words = ", ".join(check.words or check.check for check in failed)
        return "held", words, failed[-1].at, ""
    if shelf.asked is not None:
        return "answer", shelf.question, shelf.asked, a_date(shelf.by_date)
    if shelf.on_order:
        last = max(shelf.on_order, key=lambda order: order.expected or "9999")
        return "part", last.words, last.at, a_date(last.expected)
    if job.release and not job.open_steps:
        return "ready", "", job.release[-1].at, ""
    came = shelf.here[-1] if shelf.here else None
    if came is not None and came.arrived is not None:
        return "fit", came.words, came.arrived, ""
    if decision is not None:
        words = decision.words or decision.part
        if _in_hand(job, decision.at):
            return "fit", words, job.last, ""
        day = decision.at.device_time.date().isoformat()
        how = "proven" if decision.proven else "decided without proof"
        return "order", f"{words} {how}", decision.at, day
    if job.live_readings or job.called or job.open_steps:
        return "prove", job.state, job.last, ""
    return "look", "", job.opened_at or job.last, ""


def _in_hand(job: Job, decided: Stamp) -> bool:
    """Whether the part decided on is there without an order: from stock, or fitted already."""
    part = job.decision.part if job.decision else ""
    if part in job.apart.in_hand and job.apart.in_hand[part][0].verdict == "right":
        return True
    if job.release:
        return True
    return any(n.text.startswith(FITTED) and n.at.seq > decided.seq for n in job.notes)


def fitted_at(job: Job) -> Stamp | None:
    """When the part decided on was noted as fitted, the last time; None if it was not."""
    decided = job.decision
    if decided is None:
        return None
    noted = [n.at for n in job.notes if n.text.startswith(FITTED) and n.at.seq > decided.at.seq]
    return noted[-1] if noted else None


def replaced_on(job: Job) -> date | None:
    """The day the part decided on was replaced: when its fitting was noted, else when the job was
    closed; None before that."""
    if job.decision is None:
        return None
    if (fitted := fitted_at(job)) is not None:
        return fitted.device_time.date()
    return job.closed.at.device_time.date() if job.closed is not None else None


def a_date(text: str) -> str:
    """The text if it begins with a date (2026-03-06), else ""."""
    try:
        return date.fromisoformat(text.strip()[:10]).isoformat()
    except ValueError:
        return ""
