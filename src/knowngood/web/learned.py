"""What this shop has learned: a page of all machines, and one of each with its readings."""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from knowngood.places import learning
from knowngood.places.gather import View
from knowngood.places.record import At, Record, Refused
from knowngood.web.here import here_of
from knowngood.web.learned_view import learned_view, question_view
from knowngood.web.takers import TAKERS, Body, text_in

LONGEST = 400

router = APIRouter(include_in_schema=False)


@router.get("/learned", response_class=HTMLResponse)
def all_machines(request: Request) -> Response:
    """Every machine file of which there are closed jobs, and what there is to ask."""
    here = here_of(request)
    found = learning.learned(here.record)
    asked = [question_view(q) for q in learning.questions(here.record)]
    return here.page("learned.html", request, found=found, asked=asked)


@router.get("/learned/{machine}", response_class=HTMLResponse)
def one_machine(request: Request, machine: str, model: str = "") -> Response:
    """Known-good readings here, test by test; `model` puts the readings of one first."""
    here = here_of(request)
    file = learning.machine_called(here.record, machine[:LONGEST]) if _is_name(machine) else None
    if file is None:
        raise Refused(f"there is no machine {machine[:40]!r} in the library")
    known = learning.known_good(here.record, file, model[:LONGEST])
    asked = [question_view(q) for q in known.questions]
    return here.page("known_good.html", request, it=learned_view(known), asked=asked)


def _is_name(text: str) -> bool:
    """A name of the library, and not the place of a file on this computer."""
    return not any(sign in text for sign in "/\\.") and bool(text.strip())


@router.post("/learned", response_class=HTMLResponse)
async def answered(request: Request) -> Response:
    """What a reading that stands out is."""
    form = await request.form(max_files=0, max_fields=12)
    fields = {k: v.strip()[:LONGEST] for k, v in form.items() if isinstance(v, str)}
    return await run_in_threadpool(_answer, request, fields)


def _answer(request: Request, fields: dict[str, str]) -> Response:
    here = here_of(request)
    number = fields.get("number", "")
    if not (number.isascii() and number.isdigit() and len(number) < 6):
        raise Refused("which reading of the job? reload the page")
    with here.bench:
        job = here.job_id(fields.get("job", ""))
        at = At(here.now(), fields.get("by") or "somebody")
        learning.answer(here.record, job, int(number), fields.get("standing", ""), at,
                        fields.get("reason", ""))  # fmt: skip
    return RedirectResponse("/learned#asked", 303)


def _stands(record: Record, job: str, body: Body, at: At) -> None:
    number = body.get("number")
    if isinstance(number, bool) or not isinstance(number, int):
        raise Refused("number should be the place of the reading on its job, from 1")
    learning.answer(record, job, number, text_in(body, "standing"), at,
                    text_in(body, "reason", needed=False))  # fmt: skip


def _warmth(record: Record, job: str, body: Body, at: At) -> View:
    if "text" in body:
        return learning.note_warmth(record, job, learning.warmth_in(text_in(body, "text")), at)
    celsius = body.get("celsius")
    if isinstance(celsius, bool) or not isinstance(celsius, int | float):
        raise Refused("celsius should be a number")
    return learning.note_warmth(record, job, float(celsius), at)


def _latest(record: Record, job: str, body: Body, at: At) -> View:
    return learning.use_latest(record, job, at, body.get("alone") is True)


TAKERS.update({"ReadingStands": _stands, "WarmthNoted": _warmth, "LessonsPinned": _latest})
