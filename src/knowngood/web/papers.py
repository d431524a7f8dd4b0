"""Papers of a job, made when they are asked for."""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.responses import Response

from knowngood.documents.claim import claim_document
from knowngood.documents.parties import Shop
from knowngood.documents.pdf import render
from knowngood.places.gather import load_job, setup_of
from knowngood.web.here import here_of

router = APIRouter(include_in_schema=False)


@router.get("/job/{job}/claim.pdf")
def claim(request: Request, job: str) -> Response:
    """The warranty claim of a job."""
    here = here_of(request)
    record = here.record
    it = load_job(record, here.job_id(job))
    machine = setup_of(record, it).machine
    files = {p.digest: record.files.path_of(p.digest) for p in it.pictures}
    now = here.now().replace(microsecond=0)
    data = render(claim_document(it, machine, Shop("Shop name not given"), now), files, now)
    named = {"Content-Disposition": f'inline; filename="claim-{it.name}.pdf"'}
    return Response(data, media_type="application/pdf", headers=named)
