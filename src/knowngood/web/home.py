"""The first page, and the address that a tag carries."""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from knowngood.job.waiting import waits_for
from knowngood.places.gather import load_job
from knowngood.web.here import here_of

MOST_JOBS = 100

router = APIRouter(include_in_schema=False)


@router.get("/", response_class=HTMLResponse)
def home(request: Request) -> Response:
    """The places of the shop."""
    return here_of(request).page("home.html", request)


@router.get("/bench", response_class=HTMLResponse)
def machines_at_work(request: Request) -> Response:
    """The machines that are being worked on; those handed back are left out."""
    here = here_of(request)
    jobs = [job for job in here.record.log.jobs(MOST_JOBS) if not job.closed]
    return here.page("work.html", request, jobs=jobs)


@router.get("/job/{job}")
def job_address(request: Request, job: str) -> Response:
    """The address on the tag: to the place where the job stands."""
    here = here_of(request)
    it = load_job(here.record, here.job_id(job))
    place = "bench" if it.machine_digest else "sheet"  # without a machine file there is no bench
    waits = waits_for(it)
    if waits.place or waits.kind not in ("look", "prove"):
        place = "shelf"
    return RedirectResponse(f"/job/{it.id}/{place}", 303)


@router.get("/phone", response_class=HTMLResponse)
def phone(request: Request) -> Response:
    """What this phone has not sent yet."""
    return here_of(request).page("phone.html", request)
