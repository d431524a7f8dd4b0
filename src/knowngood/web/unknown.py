"""An unknown machine: its family and what is wrong; all else may be "not seen yet"."""

from __future__ import annotations

from urllib.parse import quote

from fastapi import APIRouter, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from knowngood.machines.template import QUESTIONS
from knowngood.places.catalogue import face_named, faces
from knowngood.places.describe import answer, describe, questions_of_family
from knowngood.places.own_machines import kept_files
from knowngood.places.record import At, Refused
from knowngood.web.here import here_of
from knowngood.web.library import show_machine

LONGEST = 400

router = APIRouter(include_in_schema=False)


@router.get("/library/new", response_class=HTMLResponse)
def families_page(request: Request) -> Response:
    """Which family does it belong to?"""
    here = here_of(request)
    kept = kept_files(here.record)
    own = [f for f in faces(here.record) if f.id in kept]
    rest = [f for f in faces(here.record) if f.id not in kept and f.complaints]
    return here.page("unknown.html", request, families=rest, own=own)


@router.get("/library/new/{family}", response_class=HTMLResponse)
def describe_page(request: Request, family: str) -> Response:
    """Its complaint, and what is seen of it already."""
    return _page(request, family, {}, "")


def _page(request: Request, family: str, typed: dict[str, str], problem: str) -> Response:
    here = here_of(request)
    face = face_named(here.record, family)
    if face is None:
        raise Refused(f"there is no family {family[:60]!r}; the list is at /library/new")
    return here.page(
        "describe.html", request, 409 if problem else 200, face=face, typed=typed, problem=problem,
        questions=questions_of_family(here.record, family),
    )  # fmt: skip


@router.post("/library/new/{family}", response_class=HTMLResponse)
async def described(request: Request, family: str) -> Response:
    """The file is kept; with a complaint the machine is on the bench."""
    form = await request.form(max_files=0, max_fields=40)
    typed = {k: str(v).strip()[:LONGEST] for k, v in form.items()}
    return await run_in_threadpool(_described, request, family, typed)


def _described(request: Request, family: str, typed: dict[str, str]) -> Response:
    here = here_of(request)
    at = At(here.now(), typed.get("by") or "somebody")
    answers = {q.id: typed.get(f"q-{q.id}", "") for q in QUESTIONS}
    complaint = typed.get("complaint", "")
    try:
        if not complaint and typed.get("what") != "file":
            raise Refused("tap what is wrong with it, or keep the file alone")
        complaint = "" if typed.get("what") == "file" else complaint
        with here.bench:
            made = describe(here.record, family, typed.get("words", ""), answers, complaint, at,
                            typed.get("said", ""), typed.get("customer", ""))  # fmt: skip
    except Refused as problem:
        return _page(request, family, typed, str(problem))
    if made.job:
        return RedirectResponse(f"/job/{made.job}/bench", 303)
    return RedirectResponse(f"/library/machine/{quote(made.machine)}?said=kept", 303)


@router.post("/library/machine/{id}/answer", response_class=HTMLResponse)
async def answered(request: Request, id: str) -> Response:
    """One more answer into the file; open jobs on it go over to it."""
    form = await request.form(max_files=0, max_fields=10)
    typed = {k: str(v).strip()[:LONGEST] for k, v in form.items()}
    return await run_in_threadpool(_answered, request, id, typed)


def _answered(request: Request, id: str, typed: dict[str, str]) -> Response:
    here = here_of(request)
    at = At(here.now(), typed.get("by") or "somebody")
    try:
        with here.bench:
            jobs = answer(here.record, id, typed.get("question", ""), typed.get("answer", ""), at)
    except Refused as problem:
        return show_machine(request, here, id, problem=str(problem), typed=typed,
                            job=typed.get("job", ""))
    said = "answered" + (f"; {len(jobs)} open job{'s go' if len(jobs) > 1 else ' goes'} on with it"
                         if jobs else "")  # fmt: skip
    back = f"&job={quote(typed['job'])}" if typed.get("job") else ""
    return RedirectResponse(f"/library/machine/{quote(id)}?said={quote(said)}{back}", 303)
