"""The counter: check-in, a job's counter sheet, pickup, and the shop's own sheet."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from knowngood.places.catalogue import face_named
from knowngood.places.complaints import closest_of
from knowngood.places.cover_asked import cover_card
from knowngood.places.describe import families_like
from knowngood.places.gather import load_job
from knowngood.places.known import customers, plain_serial, visits_of_serial
from knowngood.places.premises import the_shop
from knowngood.places.programmes import notices_for
from knowngood.places.record import Refused
from knowngood.places.shelf_due import still_here
from knowngood.shop.programme import Notice
from knowngood.store.problem import StoreProblem
from knowngood.web.bench import as_data
from knowngood.web.counter_takers import COUNTER_TAKERS
from knowngood.web.counter_view import before, catalogue, counter_view, customer
from knowngood.web.here import here_of
from knowngood.web.takers import TAKERS

MOST_WORDS = 2000
MOST_ROWS = 200

router = APIRouter()
TAKERS.update(COUNTER_TAKERS)


@router.get("/counter", response_class=HTMLResponse, include_in_schema=False)
def counter_page(request: Request) -> Response:
    """Check a machine in, or find one that is fetched."""
    here = here_of(request)
    log = here.record.log
    jobs = still_here(here.record)[:MOST_ROWS] + log.waiting(MOST_ROWS)
    return here.page("counter.html", request, jobs=jobs)


@router.get("/counter/find", include_in_schema=False)
def find(request: Request, name: str = "") -> Response:
    """The counter sheet of the job with this number; what is no number is looked for."""
    try:
        return RedirectResponse(f"/job/{here_of(request).job_id(name)}/sheet", 303)
    except (Refused, StoreProblem):
        return RedirectResponse(f"/shelf?{urlencode({'q': name[:200]})}", 303)


@router.get("/counter/new", response_class=HTMLResponse, include_in_schema=False)
def check_in_page(request: Request) -> Response:
    """The form; all it needs comes inside it."""
    here = here_of(request)
    return here.page("check_in.html", request, inside=as_data(catalogue(here.record)))


@router.get("/job/{job}/sheet", response_class=HTMLResponse, include_in_schema=False)
def sheet_page(request: Request, job: str) -> Response:
    """What came in with a machine, to be read and mended."""
    return _of_job(request, job, "sheet.html")


@router.get("/job/{job}/pickup", response_class=HTMLResponse, include_in_schema=False)
def pickup_page(request: Request, job: str) -> Response:
    """The machine goes back to its owner."""
    return _of_job(request, job, "pickup.html")


def _of_job(request: Request, job: str, template: str) -> Response:
    here = here_of(request)
    it = load_job(here.record, here.job_id(job))
    view = counter_view(here.record, it, here.now().date())
    return here.page(template, request, job=view, inside=as_data(view))


@router.get("/api/shop", summary="The shop's own sheet", tags=["counter"])
def shop_data(request: Request) -> dict[str, Any]:
    """Name, address, rate, terms, zone, people. To change it, send ShopNoted to the job `shop`."""
    sheet = the_shop(here_of(request).record)
    return {
        "name": sheet.name, "address": sheet.address, "phone": sheet.phone,
        "bench_rate": sheet.bench_rate, "currency": sheet.currency, "fee": sheet.fee,
        "storage": sheet.storage, "keep_days": sheet.keep_days, "zone": sheet.zone,
        "people": list(sheet.people), "fee_amount": sheet.fee_amount,
        "fee_credited": sheet.fee_credited, "fetch_days": sheet.fetch_days,
    }  # fmt: skip


@router.get("/api/counter", summary="What a check-in can choose from", tags=["counter"])
def choices(request: Request) -> dict[str, Any]:
    """Machines with their complaints, the latest customers, the words of the lists."""
    return catalogue(here_of(request).record)


@router.get("/api/counter/known", summary="What is known of a customer, a serial, a complaint",
            tags=["counter"])  # fmt: skip
def known(
    request: Request, customer_name: str = "", serial: str = "", machine: str = "",
    words: str = "", maker: str = "", model: str = "",
) -> dict[str, Any]:
    """Customers whose name begins so, earlier visits of the serial, recalls and service notices
    that mean it, and the complaints of the machine that share words with the customer's; for an
    unknown machine the families by what they share with these words."""
    record = here_of(request).record
    face = face_named(record, machine)
    near = closest_of(face.complaints, words[:MOST_WORDS], sharing=True) if face else ()
    return {
        "customers": [customer(v) for v in customers(record, customer_name)]
        if customer_name.strip() else [],
        "before": [before(v) for v in visits_of_serial(record, serial)[:5]]
        if plain_serial(serial) else [],
        "notices": [notice(n) for n in notices_for(record, maker, model, serial)]
        if plain_serial(serial) else [],
        "complaints": [c.id for c in near],
        "families": [f.id for f in families_like(record, f"{model} {words[:MOST_WORDS]}")]
        if words.strip() or model.strip() else [],
    }  # fmt: skip


@router.get("/api/jobs/{job}/cover", summary="Is it covered, and what would settle it",
            tags=["counter"])  # fmt: skip
def job_cover(request: Request, job: str) -> dict[str, Any]:
    """The answer with its reasons, what the programme asks, recalls and notices that mean it."""
    here = here_of(request)
    it = load_job(here.record, here.job_id(job))
    card = cover_card(here.record, it, here.now().date())
    return {
        "id": it.id, "programme": card.programme, "answer": card.answer, "tone": card.tone,
        "sentence": card.sentence, "missing": list(card.missing), "law": card.law,
        "other_groups": list(card.other_groups),
        "questions": [asdict(q) for q in card.questions],
        "notices": [notice(n) for n in card.notices],
    }  # fmt: skip


def notice(one: Notice) -> dict[str, Any]:
    """A recall or service notice as it is shown."""
    return {"id": one.id, "words": one.words, "stop_use": one.stop_use}


@router.get("/api/jobs/{job}/counter", summary="A job at the counter", tags=["counter"])
def job_at_counter(request: Request, job: str) -> dict[str, Any]:
    """What came in with it, what holds it, what went out."""
    here = here_of(request)
    return counter_view(here.record, load_job(here.record, here.job_id(job)), here.now().date())
