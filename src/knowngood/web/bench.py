"""The bench: one job on one screen, and what a phone asks about it."""

from __future__ import annotations

import json
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, JSONResponse, Response

from knowngood.places.gather import evidence_of, load_job, look, setup_of
from knowngood.places.outlook import outlook
from knowngood.places.plan import plan_tree, tree_json
from knowngood.places.premises import people_of
from knowngood.web.bench_view import bench_view, percent
from knowngood.web.capacitor_view import volts_faces
from knowngood.web.here import Refused, here_of
from knowngood.web.step_face import BLANK
from knowngood.web.step_view import test_face

MOST_PLACES = 63
PATIENCE = 1.0  # seconds to plan what is sent to the phone, and at most
STEPS = 12  # times what a step gets

router = APIRouter()


@router.get("/job/{job}/bench", response_class=HTMLResponse, include_in_schema=False)
def bench_page(request: Request, job: str) -> Response:
    """The screen; the job comes inside it, so that nothing has to be asked for first."""
    here = here_of(request)
    it = load_job(here.record, here.job_id(job))
    if it.opened is not None and not it.machine_digest:
        return here.page("no_file.html", request, job=it, seq=it.last_seq)
    with here.bench:
        view = bench_view(here.record, it.id)
    return here.page("bench.html", request, job=view, inside=as_data(view))


def as_data(value: Any) -> str:
    """JSON that can stand inside a page: no sign in it can end the element."""
    text = json.dumps(value, ensure_ascii=False, allow_nan=False)
    for sign in "<>&\u2028\u2029":
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return text


@router.get("/api/jobs/{job}", summary="A job as its screen", tags=["jobs"],
            responses={204: {"description": "Nothing new since `seen`."}})  # fmt: skip
def job_view(request: Request, job: str, seen: int | None = None) -> Response:
    """The screen of the bench as data; nothing when the job has not changed since `seen`."""
    here = here_of(request)
    id = here.job_id(job)
    if seen is not None and here.record.log.last_seq(id) == seen:
        return Response(status_code=204)
    with here.bench:
        return JSONResponse(bench_view(here.record, id))


@router.get("/api/jobs/{job}/plan", summary="The plan as a tree", tags=["jobs"])
def job_plan(request: Request, job: str) -> dict[str, Any]:
    """The plan from here on, for a phone that loses the network: band edges for one meter.

    `tests` tells how each of its tests is answered, `blank` what a step shows that says nothing.
    """
    here = here_of(request)
    with here.bench:
        it = load_job(here.record, here.job_id(job))
        setup = setup_of(here.record, it)
        evidence = evidence_of(setup.machine, it)
        plate = (it.opened.model, it.opened.serial) if it.opened else (None, "")
        step = here.record.patience
        most = PATIENCE if step is None else min(PATIENCE, STEPS * step)
        tree = tree_json(plan_tree(setup, evidence, most=MOST_PLACES, deadline=most, plate=plate))
    machine = setup.machine
    tests = {t.id: {**test_face(machine, t), "expect": t.good_reads} for t in machine.tests}
    return {
        "seq": it.last_seq, "meter": it.meter, "policy": tree["policy"], "again": tree["again"],
        "tests": tests, "volts": volts_faces(machine), "blank": BLANK,
    }  # fmt: skip


@router.get("/api/jobs/{job}/why/{test}", summary="Why this step", tags=["jobs"])
def job_why(request: Request, job: str, test: str) -> dict[str, Any]:
    """Each outcome of a test: its chance, and the parts it would leave."""
    here = here_of(request)
    with here.bench:
        view = look(here.record, here.job_id(job))
        if not any(t.id == test for t in view.machine.tests):
            raise Refused(f"the machine of this job has no test {test!r}")
        outcomes = outlook(view, test)
    return {
        "outcomes": [
            {
                "words": o.words,
                "chance": percent(o.chance),
                "left": [{"words": words, "belief": percent(p)} for words, p in o.left],
            }
            for o in outcomes
        ]
    }


@router.get("/api/people", summary="Who works here", tags=["jobs"])
def people(request: Request) -> list[str]:
    """The names of the shop's sheet and of the latest entries, to choose from with one tap."""
    return list(people_of(here_of(request).record))
