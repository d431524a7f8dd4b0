"""What a phone sends: entries in its own order, each stored once however often it is sent.

A phone numbers its entries 1, 2, 3 ... (`device_seq`). One entry may become several events of the
record, all in one transaction, so that the record keeps them as device_seq times `ROOM`, and the
numbers after it. Whether an entry is there already is told by its first.
"""

from __future__ import annotations

from datetime import datetime
from typing import Any, Literal

from fastapi import APIRouter, Request
from pydantic import AwareDatetime, BaseModel, ConfigDict, Field

from knowngood.job.events import MachineAdopted, MachineNamed
from knowngood.job.job import replay
from knowngood.job.shop_sheet import SHOP
from knowngood.places.gather import View
from knowngood.places.record import At, Refused
from knowngood.store.codec import version_of
from knowngood.store.problem import ResendConflict, StoreProblem
from knowngood.web.bench_view import bench_view
from knowngood.web.counter_takers import AT_COUNTER
from knowngood.web.counter_view import small_view
from knowngood.web.here import Here, here_of
from knowngood.web.takers import TAKERS
from knowngood.web.trouble import note_fault

ROOM = 1000
"""Numbers of the record that one entry of a device may take."""

NO_JOB = (
    "there is no job {job!r} here yet. If it was checked in on another phone, send that phone's "
    "queue first, then this one again; it stays on this phone"
)

CLOCK_OFF = 600.0  # seconds by which a phone's clock may differ before it is said

router = APIRouter(prefix="/api", tags=["entries"])


class EntryIn(BaseModel):
    """One thing a person did. `based_on`: the last seq of the record that the phone had seen."""

    model_config = ConfigDict(extra="forbid")
    device_seq: int = Field(ge=1, le=2**53 - 1)
    kind: str = Field(min_length=1, max_length=60)
    version: int = Field(default=1, ge=1, le=1000)
    device_time: AwareDatetime
    based_on: int | None = Field(default=None, ge=0, le=2**53 - 1)
    by: str = Field(default="", max_length=80)
    body: dict[str, Any]


class Batch(BaseModel):
    """Entries of one phone on one job, in its order; `sent_at` is its clock now."""

    model_config = ConfigDict(extra="forbid")
    device: str = Field(min_length=4, max_length=80, pattern=r"^[A-Za-z0-9 _-]+$")
    sent_at: AwareDatetime | None = None
    events: list[EntryIn] = Field(min_length=1, max_length=50)


class Result(BaseModel):
    """stored: now; already: it was there; refused: it cannot be, see message; later: send again."""

    device_seq: int
    status: Literal["stored", "already", "refused", "later"]
    message: str = ""


class Answer(BaseModel):
    """`job` is the job's screen after the last entry, null when there is no such job. After
    entries of the counter, and where there is no bench, only its id, number and `small`."""

    results: list[Result]
    job: dict[str, Any] | None
    clock: str = Field(default="", description="What to say when the phone's clock is off.")


@router.post("/jobs/{job}/events", summary="Send entries of one job")
def send_entries(request: Request, job: str, batch: Batch) -> Answer:
    """Each entry is stored once; a refused one is not, and the ones after it are still tried."""
    here = here_of(request)
    now = here.now()
    results: list[Result] = []
    view: View | None = None
    with here.bench:
        for entry in batch.events:
            result, seen = _take(here, job, batch.device, entry)
            results.append(result)
            view = seen or view
            if result.status == "later":
                break
        seq = here.record.log.last_seq(job)
        shown = None
        if seq and all(entry.kind in AT_COUNTER for entry in batch.events):
            shown = _small(here, job)  # the counter asks for what it shows itself
        elif seq:
            shown = _shown(here, job, view, seq)
    return Answer(results=results, job=shown, clock=clock_words(batch.sent_at, now))


def _shown(here: Here, job: str, view: View | None, seq: int) -> dict[str, Any] | None:
    try:
        if view is not None and view.job.last_seq == seq:
            return bench_view(here.record, view)
        return bench_view(here.record, job)
    except (Refused, StoreProblem):  # entries are stored; only the bench cannot be shown
        return _small(here, job)


def _small(here: Here, job: str) -> dict[str, Any] | None:
    events = here.record.log.events(job) if job != SHOP else []
    return small_view(replay(events)) if events else None


def _take(here: Here, job: str, device: str, entry: EntryIn) -> tuple[Result, View | None]:
    seq, log = entry.device_seq, here.record.log
    if log.sent(device, seq * ROOM) is not None:
        return Result(device_seq=seq, status="already"), None
    at = At(
        here.now(), entry.by or "somebody", device, seq * ROOM, entry.based_on, entry.device_time
    )
    try:
        taker = TAKERS.get(entry.kind)
        if taker is None:
            raise Refused(f"this program takes no {entry.kind} from a phone; reload the page")
        if entry.version > version_of(entry.kind):
            raise Refused("the page is newer than the program on the shop's computer; reload it")
        if entry.kind not in AT_COUNTER and job != SHOP and not log.last_seq(job):
            raise Refused(NO_JOB.format(job=job[:20]))
        view = taker(here.record, job, entry.body, at)
    except Refused as error:
        said = f"{_sentence(error)}{_file_changed(here, job, entry.based_on)}"
        return Result(device_seq=seq, status="refused", message=said), None
    except ResendConflict as error:
        return Result(device_seq=seq, status="refused", message=str(error)), None
    except StoreProblem as error:
        return Result(device_seq=seq, status="later", message=str(error)), None
    except Exception as error:
        return Result(device_seq=seq, status="refused", message=note_fault(error)), None
    return Result(device_seq=seq, status="stored"), view


def _file_changed(here: Here, job: str, based_on: int | None) -> str:
    """What to add when the job has another complaint or machine file than the phone had seen."""
    if based_on is None or job == SHOP:
        return ""
    since = [e for e in here.record.log.events(job) if e.seq > based_on]
    other = [e for e in since if isinstance(e.event, MachineAdopted | MachineNamed)]
    if not other:
        return ""
    by = other[-1].by or "somebody"
    return (f". The job went over to another complaint or machine file meanwhile (by {by}): enter "
            "it anew where it belongs now; until then it stays on this phone")


def clock_words(theirs: datetime | None, ours: datetime) -> str:
    """ "This phone's clock is 1 year ahead ...", or nothing when it is about right."""
    if theirs is None:
        return ""
    off = (theirs - ours).total_seconds()
    if abs(off) < CLOCK_OFF:
        return ""
    for size, word in ((31_536_000, "year"), (86_400, "day"), (3600, "hour"), (60, "minute")):
        if abs(off) >= size:
            count = round(abs(off) / size)
            much = f"{count} {word}{'' if count == 1 else 's'}"
            break
    side = "ahead" if off > 0 else "behind"
    return (
        f"This phone's clock is {much} {side}. Entries are kept in the order they were made, with "
        f"the shop's own time beside the phone's; set the clock."
    )


def _sentence(error: Exception) -> str:
    text = str(error)
    return text[:1].upper() + text[1:]
