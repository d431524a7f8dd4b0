"""What each kind of entry from a phone does: the function of a place that takes it.

The phone says what a person did ("this text was read at this test"); what it proves, which steps
had to be opened for it and what it is worth are worked out here and stored with it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, cast, get_args

from knowngood.job import events as ev
from knowngood.job.events import Answer, CheckResult
from knowngood.places import bench, decision
from knowngood.places.capacitor import read_capacitor
from knowngood.places.fitted import reopened
from knowngood.places.gather import View, load_job
from knowngood.places.library import find_meter
from knowngood.places.record import At, Record, Refused

Body = Mapping[str, Any]
Taker = Callable[[Record, str, Body, At], View | None]

MOST_TEXT = 4000


def text_in(body: Body, name: str, needed: bool = True) -> str:
    """A text of the entry. Raises Refused when it is missing, no text, or too long."""
    value = body.get(name, "")
    if not isinstance(value, str):
        raise Refused(f"{name} should be text; it is {type(value).__name__}")
    if needed and not value.strip():
        raise Refused(f"the entry lacks its {name}")
    if len(value) > MOST_TEXT:
        raise Refused(f"{name} has {len(value)} characters; at most {MOST_TEXT} are kept")
    return value


def one_of(body: Body, name: str, words: object) -> str:
    """A word out of a few. Raises Refused naming them."""
    value, known = text_in(body, name), get_args(words)
    if value not in known:
        raise Refused(f"{name} is {value!r}; it should be one of: {', '.join(known)}")
    return value


def _reading(record: Record, job: str, body: Body, at: At) -> View:
    test, text = text_in(body, "test"), text_in(body, "text", needed=False)
    reading_id = text_in(body, "reading_id")
    if (there := load_job(record, job).reading(reading_id)) is not None:
        raise Refused(f"reading {reading_id} is there already: {there.text}")
    return bench.take_reading(record, job, test, text, at, reading_id)[1]


def _readings(record: Record, job: str, body: Body, at: At) -> View:
    """Several at once, as from the list of what can be seen without a tool."""
    items = body.get("readings")
    if not isinstance(items, list) or not 1 <= len(items) <= 60:
        raise Refused("readings should be a list of 1 to 60 of them")
    if not all(isinstance(item, Mapping) for item in items):
        raise Refused("each of the readings needs reading_id, test and text")
    read = [(text_in(item, "test"), text_in(item, "text", needed=False)) for item in items]
    ids = [text_in(item, "reading_id") for item in items]
    return bench.take_readings(record, job, read, at, ids)[1]


def _withdraw(record: Record, job: str, body: Body, at: At) -> View:
    reason = text_in(body, "reason", needed=False)
    return bench.withdraw(record, job, text_in(body, "reading_id"), reason, at)


def _meter(record: Record, job: str, body: Body, at: At) -> View:
    name = text_in(body, "name")
    if "/" in name or "\\" in name or "." in name:
        raise Refused(f"{name} is no name of a known meter")
    return bench.change_meter(record, job, find_meter(name), at)


def _told(record: Record, job: str, body: Body, at: At) -> View:
    if body.get("nothing") is True:
        return decision.tell(record, job, (), at)
    return decision.tell(record, job, [text_in(body, "told_id")], at)


def _accept(record: Record, job: str, body: Body, at: At) -> View:
    by = text_in(body, "by", needed=False) or at.by
    return decision.accept(record, job, text_in(body, "part"), by, at)


def _call(record: Record, job: str, body: Body, at: At) -> View:
    return decision.call(record, job, text_in(body, "part"), at)


def _decide(record: Record, job: str, body: Body, at: At) -> View:
    return decision.decide(record, job, at, text_in(body, "part", needed=False))


def _cause(record: Record, job: str, body: Body, at: At) -> View:
    answer = cast(Answer, one_of(body, "answer", Answer))
    return decision.answer_cause(
        record, job, text_in(body, "cause"), answer, at,
        text_in(body, "evidence", needed=False), text_in(body, "mend", needed=False),
    )  # fmt: skip


def _note(record: Record, job: str, body: Body, at: At) -> View:
    return bench.note(record, job, text_in(body, "text"), at)


def _picture(record: Record, job: str, body: Body, at: At) -> None:
    digest = text_in(body, "digest")
    if not record.files.has(digest):
        raise Refused("the picture itself is not here; send it to /api/pictures first")
    load_job(record, job)
    caption, about = text_in(body, "caption", False), text_in(body, "about", False)
    record.append(job, [ev.PictureAdded(digest, caption, about)], at)


def _volts(record: Record, job: str, body: Body, at: At) -> View:
    return read_capacitor(record, job, text_in(body, "step"), text_in(body, "text", False), at)


def _check(record: Record, job: str, body: Body, at: At) -> View:
    result = cast(CheckResult, one_of(body, "result", CheckResult))
    reason = text_in(body, "reason", needed=False)
    return decision.check_release(record, job, text_in(body, "check"), result, at, reason, True)


def _reopen(record: Record, job: str, body: Body, at: At) -> None:
    record.append_all(reopened(record, load_job(record, job), _reason(body)), at)


def _plain(make: Callable[[Body], ev.Event]) -> Taker:
    """An entry that is stored as it is said."""

    def take(record: Record, job: str, body: Body, at: At) -> None:
        load_job(record, job)
        record.append(job, [make(body)], at)

    return take


def _reason(body: Body) -> str:
    return text_in(body, "reason", needed=False)


TAKERS: dict[str, Taker] = {
    "ReadingTaken": _reading,
    "ReadingsTaken": _readings,
    "ReadingWithdrawn": _withdraw,
    "CapacitorRead": _volts,
    "MeterChosen": _meter,
    "ToldNoted": _told,
    "ToldWithdrawn": _plain(lambda b: ev.ToldWithdrawn(text_in(b, "told_id"), _reason(b))),
    "Accepted": _accept,
    "AcceptWithdrawn": _plain(lambda b: ev.AcceptWithdrawn(text_in(b, "part"), _reason(b))),
    "PartCalled": _call,
    "CallWithdrawn": _plain(lambda b: ev.CallWithdrawn(text_in(b, "part"), _reason(b))),
    "PartDecided": _decide,
    "DecisionWithdrawn": _plain(lambda b: ev.DecisionWithdrawn(_reason(b))),
    "CauseAnswered": _cause,
    "NoteAdded": _note,
    "PictureAdded": _picture,
    "PictureWithdrawn": _plain(lambda b: ev.PictureWithdrawn(text_in(b, "digest"), _reason(b))),
    "ReleaseChecked": _check,
    "JobReopened": _reopen,
}
"""By kind. Another screen adds its own."""
