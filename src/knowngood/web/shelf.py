"""The shelf: what waits and for what, the search over all jobs, and one job as it is resumed."""

from __future__ import annotations

from datetime import timedelta
from itertools import groupby
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse, Response
from pydantic import BaseModel

from knowngood.job.job import Job
from knowngood.places import shelf
from knowngood.places.next_up import next_up, not_weighed, shared_out
from knowngood.places.parts import number_now
from knowngood.places.premises import people_of
from knowngood.places.price_first import price_first
from knowngood.places.record import At, Record, Refused
from knowngood.places.returning import returning
from knowngood.shop.order_of_work import Next
from knowngood.web.here import here_of
from knowngood.web.takers import TAKERS, Body, text_in

MOST_QUERY = 200
MOST_PEOPLE = 2000  # characters

router = APIRouter(tags=["shelf"])


class ShelfAnswer(BaseModel):
    """`open`: how many jobs are open in all; the lines are those first due, or those found."""

    open: int
    lines: list[shelf.Line]


@router.get("/shelf", response_class=HTMLResponse, include_in_schema=False)
def shelf_page(request: Request, q: str = "") -> Response:
    """What waits, overdue first; with `q` the jobs that these words name."""
    here = here_of(request)
    lines = _lines(here.record, q, here.now())
    groups = [(name, list(of)) for name, of in groupby(lines, key=lambda line: line.group)]
    return here.page(
        "shelf.html", request, groups=groups, q=q[:MOST_QUERY], count=len(lines),
        open=here.record.log.count_open(), overdue=sum(line.overdue for line in lines),
    )  # fmt: skip


@router.get("/shelf/next", response_class=HTMLResponse, include_in_schema=False)
def next_page(request: Request, people: str = "") -> Response:
    """Jobs that can go on now, in the order to take them; `people`: shared out, a person a line."""
    here = here_of(request)
    named = [line.strip() for line in people[:MOST_PEOPLE].splitlines() if line.strip()]
    found: tuple[Next, ...] = ()
    left = ""
    shared, problem = None, ""
    with here.bench:
        try:
            if named:
                shared = shared_out(here.record, here.now(), named)
                jobs = [turn.job.id for turn in shared.turns] + [job.id for job in shared.left]
            else:
                found = next_up(here.record, here.now())
                jobs = [one.job.id for one in found]
            left = not_weighed(here.record, jobs)
        except Refused as refused:
            problem = str(refused)
    return here.page(
        "next.html", request, 409 if problem else 200, found=found, shared=shared, problem=problem,
        left=left,
        people="\n".join(named) or "\n".join(people_of(here.record)),
    )  # fmt: skip


@router.get("/api/shelf", summary="What waits, or what is found")
def shelf_lines(
    request: Request,
    q: Annotated[
        str, Query(max_length=MOST_QUERY, description="Number, name, serial, model, complaint.")
    ] = "",
) -> ShelfAnswer:
    """Open jobs, overdue first; with `q` the jobs that have all these words, open ones first."""
    here = here_of(request)
    lines = _lines(here.record, q, here.now())
    return ShelfAnswer(open=here.record.log.count_open(), lines=lines)


@router.get("/job/{job}/shelf", response_class=HTMLResponse, include_in_schema=False)
def resume_page(request: Request, job: str) -> Response:
    """One job as it is picked up again."""
    here = here_of(request)
    now = here.now()
    it = returning(here.record, here.job_id(job), now)
    days = [(now + timedelta(days=n)).date().isoformat() for n in (1, 3, 7, 14)]
    address, words = _go_on(it.line, it.job)
    return here.page(
        "resume.html", request, it=it, line=it.line, job=it.job, days=days, go_on=address,
        go_words=words, price=price_first(here.record, it.job, now.date()),
        became=_became(here.record, it.job),
    )  # fmt: skip


def _became(record: Record, job: Job) -> str:
    """That the decided part's number became another one; "" if it did not."""
    if job.decision is None:
        return ""
    return number_now(record, job.decision.number, job.opened.maker if job.opened else "")[1]


def _go_on(line: shelf.Line, job: Job) -> tuple[str, str]:
    """Where the work goes on, and the words on the key."""
    if not job.machine_digest:  # without a machine file there is no bench
        return f"/job/{line.job}/sheet", "Go on at the counter"
    bench = f"/job/{line.job}/bench"
    match line.kind:
        case "fit":
            return f"{bench}#rebuild", "Go on: put it together"
        case "ready" if line.ready:
            return f"/job/{line.job}/pickup", "Hand it back"
        case "ready" | "held":
            return f"{bench}#release", "Go on: release checks"
        case _:
            return bench, "Go on at the bench"


def _lines(record: Record, q: str, now: Any) -> list[shelf.Line]:
    text = q[:MOST_QUERY].strip()
    return shelf.found(record, text, now) if text else shelf.waiting(record, now)


def _order(record: Record, job: str, body: Body, at: At) -> None:
    names = ("number", "supplier", "expected", "despite", "reason")
    part, more = text_in(body, "part", False), {n: text_in(body, n, False) for n in names}
    old = body.get("old_number") in (True, "yes")
    shelf.order_part(record, job, part, at, **more, old_number=old)


def _cancel(record: Record, job: str, body: Body, at: At) -> None:
    shelf.cancel_order(record, job, text_in(body, "part"), at, text_in(body, "reason", False))


def _arrived(record: Record, job: str, body: Body, at: At) -> None:
    shelf.arrive(record, job, text_in(body, "part", False), at, text_in(body, "where", False))


def _await(record: Record, job: str, body: Body, at: At) -> None:
    shelf.await_answer(record, job, text_in(body, "question"), at, text_in(body, "by_date", False))


def _answer(record: Record, job: str, body: Body, at: At) -> None:
    shelf.answer(record, job, text_in(body, "answer"), at)


def _put(record: Record, job: str, body: Body, at: At) -> None:
    shelf.put(record, job, text_in(body, "place", False), at)


def _promise(record: Record, job: str, body: Body, at: At) -> None:
    shelf.promise(record, job, text_in(body, "promised", False), at)


TAKERS.update(
    {
        "PartOrdered": _order,
        "OrderWithdrawn": _cancel,
        "PartArrived": _arrived,
        "AnswerAwaited": _await,
        "AnswerCame": _answer,
        "Shelved": _put,
        "Promised": _promise,
    }
)
