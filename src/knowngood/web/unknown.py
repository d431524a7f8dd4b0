"""An unknown machine: its family and what is wrong; all else may be "not seen yet"."""

from __future__ import annotations

from urllib.parse import quote

from fastapi import APIRouter, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from knowngood.job.job import Job
from knowngood.machines.label_volts import Meant
from knowngood.machines.template import QUESTIONS
from knowngood.places.catalogue import face_named
from knowngood.places.complaints import closest_of
from knowngood.places.describe import (
    CellsUnclear,
    answer,
    describe,
    families_like,
    questions_of_family,
)
from knowngood.places.gather import load_job
from knowngood.places.own_machines import kept_files
from knowngood.places.record import At, Refused
from knowngood.web.here import Here, here_of
from knowngood.web.library import show_machine

LONGEST = 400

router = APIRouter(include_in_schema=False)


@router.get("/library/new", response_class=HTMLResponse)
def families_page(request: Request, job: str = "") -> Response:
    """Which family does it belong to? With ``job`` for a job that has no file, by its words."""
    here = here_of(request)
    kept, it = kept_files(here.record), job_of(here, job)
    found = families_like(here.record, words_said(it))
    own = [f for f in found if f.id in kept]
    rest = [f for f in found if f.id not in kept]
    return here.page("unknown.html", request, families=rest, own=own, job=it)


def job_of(here: Here, job: str) -> Job | None:
    """The job that a machine is described for; None without one. Raises Refused."""
    return load_job(here.record, here.job_id(job)) if job else None


def words_said(job: Job | None) -> str:
    """What was said of the machine at the counter."""
    opened = job.opened if job else None
    if job is None or opened is None:
        return ""
    return f"{job.counter.words} {opened.maker} {opened.model} {opened.customer_words}"


@router.get("/library/new/{family}", response_class=HTMLResponse)
def describe_page(request: Request, family: str, job: str = "") -> Response:
    """Its complaint, and what is seen of it already."""
    return _page(request, family, {"job": job}, "")


def _page(
    request: Request, family: str, typed: dict[str, str], problem: str,
    cells: tuple[Meant, ...] = (),
) -> Response:  # fmt: skip
    here = here_of(request)
    face, it = face_named(here.record, family), job_of(here, typed.get("job", ""))
    if it is not None and it.opened is not None and not problem:
        near = closest_of(face.complaints, it.opened.customer_words, True) if face else ()
        typed |= {"q-maker": it.opened.maker, "q-model": it.opened.model,
                  "complaint": near[0].id if near else ""}  # fmt: skip
    if face is None:
        raise Refused(f"there is no family {family[:60]!r}; the list is at /library/new")
    return here.page(
        "describe.html", request, 409 if problem else 200, face=face, typed=typed, problem=problem,
        job=it, cells=cells,
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
    if meant := typed.get("cells-meant"):
        answers["cells"] = meant
    complaint = typed.get("complaint", "")
    try:
        if not complaint and typed.get("what") != "file":
            raise Refused("tap what is wrong with it, or keep the file alone")
        complaint = "" if typed.get("what") == "file" else complaint
        with here.bench:
            made = describe(here.record, family, typed.get("words", ""), answers, complaint, at,
                            typed.get("said", ""), typed.get("customer", ""),
                            here.job_id(typed["job"]) if typed.get("job") else "")  # fmt: skip
    except CellsUnclear as asked:
        return _page(request, family, typed, str(asked), asked.options)
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
    except CellsUnclear as asked:
        return show_machine(request, here, id, problem=str(asked), typed=typed,
                            cells=asked.options, job=typed.get("job", ""))  # fmt: skip
    except Refused as problem:
        return show_machine(request, here, id, problem=str(problem), typed=typed,
                            job=typed.get("job", ""))
    said = "answered" + (f"; {len(jobs)} open job{'s go' if len(jobs) > 1 else ' goes'} on with it"
                         if jobs else "")  # fmt: skip
    back = f"&job={quote(typed['job'])}" if typed.get("job") else ""
    return RedirectResponse(f"/library/machine/{quote(id)}?said={quote(said)}{back}", 303)
