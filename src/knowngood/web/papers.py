"""Papers of a job, made when they are asked for."""

from __future__ import annotations

import os
import re
from datetime import datetime
from ipaddress import ip_address

from fastapi import APIRouter, Request
from fastapi.responses import Response

from knowngood.documents.claim import claim_document
from knowngood.documents.pdf import render
from knowngood.documents.slip import Size, Tag, claim_check_pdf, tag_pdf
from knowngood.job.job import Job
from knowngood.places.bill_paper import bill_paper
from knowngood.places.card import bench_card
from knowngood.places.claim_paper import given_of
from knowngood.places.counter import machine_of, off_words, pack_words
from knowngood.places.gather import evidence_of, load_job, setup_of
from knowngood.places.library import find_complaint
from knowngood.places.points import setup_as_read
from knowngood.places.premises import letterhead
from knowngood.places.record import Record, Refused
from knowngood.places.slips import came_on, claim_check_of, machine_named, promised_on, said_of
from knowngood.store.problem import StoreProblem
from knowngood.web.here import here_of

LOOKS = 600  # how far the card's plan looks ahead: somebody waits for it

router = APIRouter(include_in_schema=False)


@router.get("/job/{job}/claim.pdf")
def claim(request: Request, job: str) -> Response:
    """The warranty claim of a job."""
    here = here_of(request)
    record = here.record
    it = load_job(record, here.job_id(job))
    machine = setup_of(record, it).machine
    files = {p.digest: record.files.for_paper(p.digest) for p in it.pictures}
    now = here.now().replace(microsecond=0)
    given = given_of(record, it, now.date())
    data = render(claim_document(it, machine, letterhead(record), now, given), files, now)
    return _pdf(data, f"claim-{it.name}")


@router.get("/job/{job}/bill.pdf")
def bill(request: Request, job: str) -> Response:
    """The customer's estimate, once the job is closed the invoice."""
    here = here_of(request)
    it = load_job(here.record, here.job_id(job))
    now = here.now().replace(microsecond=0)
    name = "invoice" if it.closed else "estimate"
    return _pdf(render(bill_paper(here.record, it, now), {}, now), f"{name}-{it.name}")


@router.get("/job/{job}/card.pdf")
def card(request: Request, job: str) -> Response:
    """The plan from here on as one page, the wiring on its back."""
    here = here_of(request)
    with here.bench:
        it = load_job(here.record, here.job_id(job))
        setup = setup_as_read(setup_of(here.record, it), [r.test for r in it.readings])
        evidence = evidence_of(setup.machine, it)
    now = _now(here.now())
    complaint = it.opened.complaint if it.opened else ""
    words = find_complaint(setup.machine, complaint).words if complaint else ""
    paper, _ = bench_card(
        setup, words, letterhead(here.record), now=now, evidence=evidence, job=it.name, looks=LOOKS
    )
    return _pdf(render(paper, {}, now), f"card-{it.name}")


@router.get("/job/{job}/tag.pdf")
def tag(request: Request, job: str, size: Size = "62") -> Response:
    """The tag that hangs on the machine, on a 62 mm label or A6."""
    here = here_of(request)
    it = load_job(here.record, here.job_id(job))
    off = _off(here.record, it)
    slip = Tag(
        number=it.name,
        address=f"{address_of(request)}/job/{it.id}",
        machine=machine_named(it),
        customer=it.opened.customer if it.opened else "",
        complaint=said_of(it),
        came=came_on(it),
        promised=promised_on(it),
        shop=letterhead(here.record).name,
        in_pieces=bool(off),
        off=off,
        packs=tuple(pack_words(pack) for pack in it.counter.packs),
        unsafe=bool(it.counter.unsafe_packs),
    )
    return _pdf(tag_pdf(slip, size, _now(here.now())), f"tag-{it.name}")


@router.get("/job/{job}/claim-check.pdf")
def claim_check(request: Request, job: str) -> Response:
    """What the customer takes along; the receipt once it is handed back."""
    here = here_of(request)
    it = load_job(here.record, here.job_id(job))
    data = claim_check_pdf(claim_check_of(here.record, it), letterhead(here.record),
                           _now(here.now()))  # fmt: skip
    name = "receipt" if it.counter.handed else "claim-check"
    return _pdf(data, f"{name}-{it.name}")


def address_of(request: Request) -> str:
    """How a phone reaches this server: as this request did, or as it was announced."""
    announced = os.environ.get("KNOWNGOOD_ADDRESS", "")
    here = f"{request.url.scheme}://{request.url.netloc}"
    return announced if announced and _is_this_computer(request.url.hostname or "") else here


def _is_this_computer(name: str) -> bool:
    try:
        return ip_address(name).is_loopback
    except ValueError:
        return name == "localhost"


def _off(record: Record, it: Job) -> tuple[str, ...]:
    try:
        return off_words(machine_of(record, it), it)
    except (Refused, StoreProblem):
        return off_words(None, it)  # a tag is printed, also where the machine file got lost


def _now(now: datetime) -> datetime:
    return now.replace(microsecond=0)


def _pdf(data: bytes, name: str) -> Response:
    plain = re.sub(r"[^A-Za-z0-9._-]", "_", name)
    named = {"Content-Disposition": f'inline; filename="{plain}.pdf"'}
    return Response(data, media_type="application/pdf", headers=named)
