"""The shelf: every job that waits, as a line a person would say; overdue first.

The lines come from the rows that the record keeps, so that they cost the same however many jobs
are in it. What is written here are the events of `job.shelf`. Functions raise Refused with the way
out, or StoreProblem when nothing could be stored.
"""

from __future__ import annotations

from collections import OrderedDict
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from knowngood.diagnosis.hazard import STOP
from knowngood.job import shelf as sh
from knowngood.job.events import NoteAdded
from knowngood.job.job import Job
from knowngood.job.waiting import waits_for
from knowngood.machines.machine import Machine
from knowngood.places.account import before_ordering
from knowngood.places.days import day_of, day_words, said_date, since_words
from knowngood.places.gather import load_job
from knowngood.places.library import machine_from
from knowngood.places.part_meant import parts_decided
from knowngood.places.parts import number_now
from knowngood.places.record import At, Record, Refused
from knowngood.shop.release import release_of_job
from knowngood.store.problem import StoreProblem
from knowngood.store.rows import JobSummary

MOST_LINES = 200
ASK_AGAIN = 3  # days after which a customer who has not answered is asked again; common practice
LONGEST = 80
MOST_REASON = 400
CALL = "call the customer"


@dataclass(frozen=True, slots=True)
class Line:
    """One machine on the shelf. `says`: what it waits for; `by`: when that has to happen, in words.

    `pieces`: teardown steps that are open, those that leave nothing off not counted. `place` is ""
    where nobody said it. `clash`: the promise lies before the part comes. `ready`: every
    release check is made, and none failed. `unsafe`: that a pack may catch fire, and what is wrong
    with it.
    """

    job: str
    name: str
    machine: str
    customer: str
    says: str
    next: str
    by: str
    place: str
    pieces: int
    overdue: bool
    group: str
    kind: str
    closed: bool
    promised: str
    ready: bool
    clash: str = ""
    unsafe: str = ""


def waiting(record: Record, now: datetime, limit: int = MOST_LINES) -> list[Line]:
    """Every open job: overdue first, then by date, then those without one, the oldest first.

    now: with the shop's zone.
    """
    return [line_of(record, one, now) for one in record.log.waiting(limit)]


def found(record: Record, text: str, now: datetime, limit: int = 50) -> list[Line]:
    """Jobs that these words name, the open ones first: number, name, serial, model, complaint."""
    return [line_of(record, one, now) for one in record.log.search(text, limit)]


def line_of(record: Record, one: JobSummary, now: datetime) -> Line:
    """One job as its line today."""
    today = now.date()
    due = day_of(one.due)
    overdue = due is not None and due < today and not one.closed
    says, following = _said(record, one, now)
    promised = said_date(one.promised, today) if one.promised and not one.closed else ""
    own = day_of(one.own)
    by = _by(due, own, today) if not one.closed else ""
    return Line(
        one.job, one.name, one.machine or "machine not named", one.customer, says, following, by,
        one.place, _pieces(record, one), overdue, _group(one, due, overdue), one.waits, one.closed,
        promised, following == CALL,
        too_early(one.promised, one.own, today) if one.waits == "part" and not one.closed else "",
        f"{STOP} ({one.unsafe})" if one.unsafe else "",
    )  # fmt: skip


def too_early(promised: str, expected: str, today: date) -> str:
    """ "promised Friday, the part comes Monday", where the promise lies before the day the part is
    expected; else "". Both as dates (ISO 8601); other words are no date."""
    told, comes = day_of(promised.strip()), day_of(expected.strip())
    if told is None or comes is None or told >= comes:
        return ""
    return (f"promised {day_words(told, today)}, but the part comes {day_words(comes, today)}: "
            "call the customer, or promise a later day")  # fmt: skip


def promise_of(job: Job, today: date) -> tuple[str, str]:
    """What the customer was told, in words, and why it cannot be kept ("" if it can)."""
    waits = waits_for(job)
    if job.closed is not None or not waits.promised:
        return "", ""
    clash = too_early(waits.promised, waits.own, today) if waits.kind == "part" else ""
    return said_date(waits.promised, today), clash


def _by(due: date | None, own: date | None, today: date) -> str:
    """When what is next has to happen: "by Friday", "promised Friday", "2 days late"."""
    if due is None:
        return ""
    late = (today - due).days
    words = f"by {day_words(due, today)}" if due == own else f"promised {day_words(due, today)}"
    if late > 0:
        days = f"{late} day{'' if late == 1 else 's'} late"
        return days if due == own else f"{words}, {days}"
    return words


def _group(one: JobSummary, due: date | None, overdue: bool) -> str:
    if one.closed:
        return "Closed"
    if overdue:
        return "Overdue"
    return "By date" if due else "No date"


def _said(record: Record, one: JobSummary, now: datetime) -> tuple[str, str]:
    """What it waits for, and what is next."""
    today, own = now.date(), day_of(one.own)
    began = day_of(one.since, now.tzinfo)
    since = since_words(began, today)
    match one.waits:
        case "look":
            return f"nobody has looked at it {since}".strip(), "the first look"
        case "prove":
            return one.what, one.next
        case "order":
            return f"{one.what}, part not ordered yet", "order it"
        case "part":
            if own is None:
                ordered = f"ordered {day_words(began, today)}" if began else "ordered"
                return f"{one.what} {ordered}, no date given", "ask the supplier for a date"
            if own < today:
                return f"{one.what} was due {day_words(own, today)}, not here", "call the supplier"
            return f"{one.what} due {day_words(own, today)}", "wait for the part"
        case "answer":
            return f"nobody has answered {since}: {one.what}", "ask the customer again"
        case "fit":
            return f"{one.what} is here {since}".strip(), one.next
        case "held":
            return f"held: {one.what} failed", "mend it, then check again"
        case "ready":
            return _ready(record, one, since)
        case "closed":
            return one.state, ""
        case _:
            return one.state, "update the program on the shop's computer"


def _ready(record: Record, one: JobSummary, since: str) -> tuple[str, str]:
    """Ready only when no check of the machine's own file is left, however many were made."""
    try:
        job = load_job(record, one.job)
        release = release_of_job(pinned_machine(record, job.machine_digest), job)
        blank = [check.words for check in release.blank if check.override is None]
    except (Refused, StoreProblem):
        blank = ["its machine file could not be read"]
    if blank:
        count = f"{len(blank)} release check{'' if len(blank) == 1 else 's'} to do"
        return f"back together, {count}", f"check: {blank[0]}"
    return f"ready to go back {since}".strip(), CALL


def _pieces(record: Record, one: JobSummary) -> int:
    """Open steps that leave something off; letting a capacitor discharge leaves nothing off."""
    if not one.off or one.closed:
        return 0
    quiet = quiet_steps(record, one.machine_digest)
    return len([step for step in one.off if step not in quiet])


def quiet_steps(record: Record, digest: str) -> frozenset[str]:
    """Steps of a pinned machine that leave nothing off; none where its file can't be read."""
    try:
        machine = pinned_machine(record, digest)
    except (Refused, StoreProblem):
        return frozenset()
    return frozenset(t.id for t in machine.teardown if t.role == "discharge")


_MACHINES: OrderedDict[str, Machine] = OrderedDict()
_MOST_MACHINES = 24


def pinned_machine(record: Record, digest: str) -> Machine:
    """The machine file a job has pinned; the last few are kept. Raises Refused, StoreProblem."""
    if digest not in _MACHINES:
        if not digest:
            raise Refused("no machine file is named on this job")
        _MACHINES[digest] = machine_from(record.files.text_of(digest), "the job's machine file")
    _MACHINES.move_to_end(digest)
    while len(_MACHINES) > _MOST_MACHINES:
        _MACHINES.popitem(last=False)
    return _MACHINES[digest]


def places_used(record: Record, limit: int = 8) -> tuple[str, ...]:
    """Where machines stand now, to choose from with one tap."""
    named = [one.place for one in record.log.waiting(MOST_LINES) if one.place]
    return tuple(dict.fromkeys(sorted(named, key=str.casefold)))[:limit]


def order_part(
    record: Record, job_id: str, part: str, at: At,
    number: str = "", supplier: str = "", expected: str = "", despite: str = "", reason: str = "",
    old_number: bool = False,
) -> str:  # fmt: skip
    """A part is on order; "" is the (causal) part decided on. `expected` is a date or "". Where the
    customer has not agreed it takes a name (`despite`) and a reason. A number that became another
    by a price list is ordered as that one, unless the `old_number` is meant; what it became is
    returned, "" when nothing, and noted on the job."""
    job = load_job(record, job_id)
    words, typed = part, part.strip().casefold()
    for n, (id, named, its) in enumerate(parts_decided(job)):
        if typed in (id.casefold(), named.casefold()) or (not typed and n == 0):
            part, words, number = id, named, number or its
            break
    if not part.strip():
        raise Refused("name the part that was ordered; none is decided on yet")
    why = before_ordering(record, job)
    if why and not (despite.strip() and reason.strip()):
        half = "; a name and a reason are both needed" if despite.strip() or reason.strip() else ""
        raise Refused(f"stopped, nothing was ordered: {why}{half}")
    maker = supplier.strip() or (job.opened.maker if job.opened else "")
    number, told = (number, "") if old_number else number_now(record, number.strip(), maker)
    event = sh.PartOrdered(
        _short(part, "part"), _short(words or part, "part"), _short(number, "number"),
        _short(supplier, "supplier"), a_day(expected),
        *((_short(despite, "name"), reason.strip()[:MOST_REASON]) if why else ()),
    )  # fmt: skip
    record.append(job_id, [event, *([NoteAdded(told)] if told else [])], at)
    return told


def arrive(record: Record, job_id: str, part: str, at: At, where: str = "") -> None:
    """The part is here; "" is the one on order, or else the part decided on."""
    job = load_job(record, job_id)
    ordered = [o for o in job.shelf.on_order if not part or part in (o.part, o.words)]
    if len(ordered) > 1:
        raise Refused(f"which one is here? {', '.join(o.words for o in ordered)}")
    if ordered:
        part, words = ordered[0].part, ordered[0].words
    elif job.decision is not None and part in ("", job.decision.part, job.decision.words):
        part, words = job.decision.part, job.decision.words
    elif not part.strip():
        raise Refused("no part is on order; name the one that came")
    else:
        words = part
    event = sh.PartArrived(_short(part, "part"), words, _short(where, "place"))
    record.append(job_id, [event], at)


def await_answer(record: Record, job_id: str, question: str, at: At, by_date: str = "") -> None:
    """The customer was asked; without a date they are asked again in `ASK_AGAIN` days."""
    load_job(record, job_id)
    if not question.strip():
        raise Refused("what was the customer asked? Such as: 120 USD, go on?")
    day = a_day(by_date) or (at.now.date() + timedelta(days=ASK_AGAIN)).isoformat()
    record.append(job_id, [sh.AnswerAwaited(question.strip(), day)], at)


def answer(record: Record, job_id: str, words: str, at: At) -> None:
    """What the customer answered. Refused when nothing was asked."""
    job = load_job(record, job_id)
    if job.shelf.asked is None:
        raise Refused("the customer was not asked anything that is still open")
    if not words.strip():
        raise Refused("what did the customer say? Such as: yes, go on")
    record.append(job_id, [sh.AnswerCame(words.strip())], at)


def put(record: Record, job_id: str, place: str, at: At) -> None:
    """The machine stands at `place` now; "" takes it down."""
    load_job(record, job_id)
    record.append(job_id, [sh.Shelved(_short(place, "place"))], at)


def promise(record: Record, job_id: str, promised: str, at: At) -> None:
    """What the customer was told; "" takes the promise back."""
    load_job(record, job_id)
    record.append(job_id, [sh.Promised(_short(promised, "promise"))], at)


def cancel_order(record: Record, job_id: str, part: str, at: At, reason: str = "") -> None:
    """A part is not on order after all."""
    job = load_job(record, job_id)
    if part not in job.shelf.orders:
        known = ", ".join(o.words for o in job.shelf.orders.values()) or "nothing"
        raise Refused(f"{part} is not on order; {known} is")
    record.append(job_id, [sh.OrderWithdrawn(part, reason, job.shelf.orders[part].words)], at)


def a_day(text: str) -> str:
    """A date as 2026-03-06, or "". Raises Refused."""
    if not text.strip():
        return ""
    day = day_of(text.strip()[:10])
    if day is None:
        raise Refused(f"{text!r} is no date; give it as year-month-day, such as 2026-03-06")
    return day.isoformat()


def _short(text: str, what: str) -> str:
    clean = " ".join(text.split())
    if len(clean) > LONGEST:
        raise Refused(f"the {what} has {len(clean)} signs; at most {LONGEST} fit on a tag")
    return clean
