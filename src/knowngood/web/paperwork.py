"""Paperwork: what waits of all papers, and the papers of one job. Plain forms, for the desk.

What cannot be is said in place, with what was typed still there. A form carries a name of its own,
so that sending it twice enters nothing twice.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, cast, get_args
from urllib.parse import urlencode
from uuid import uuid4

from fastapi import APIRouter, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from starlette.datastructures import FormData, UploadFile

from knowngood.documents.day_sheet import LOCAL_LAW
from knowngood.job.job import Job
from knowngood.job.paperwork import UNSAID, ClaimReply, ClaimWorded, CodesChosen, CoverNoted
from knowngood.places import account, paperwork
from knowngood.places.checks_blank import checks_blank
from knowngood.places.claim_words import set_aside, take_again, word_claim, words_now
from knowngood.places.claims import COLUMNS, all_claims, owed_by_age, refusals
from knowngood.places.day_paper import day_paper
from knowngood.places.due import UNCOLLECTED
from knowngood.places.failed_part import ENDS, failed_part, let_go, tag_failed
from knowngood.places.gather import load_job, machine_file_of
from knowngood.places.life import age_words, life_here
from knowngood.places.paper_undo import take_back, to_take_back
from knowngood.places.papers_due import papers_due
from knowngood.places.paperwork import read_money
from knowngood.places.part_meant import parts_decided
from knowngood.places.plan_cost import money_of_plan
from knowngood.places.programme_word import agree_programme
from knowngood.places.programmes import known_programmes
from knowngood.places.proposal import proposal
from knowngood.places.record import At, Record, Refused
from knowngood.places.tax_table import kinds_for, shop_taxes
from knowngood.places.typed_estimate import (
    lines_of,
    newer_of,
    percent_of,
    taxes_of,
    taxes_text,
    text_of,
)
from knowngood.shop.codes import ACTION, CAUSE, MODE
from knowngood.shop.cover import ASK_LOCALLY
from knowngood.shop.csv_text import csv_text
from knowngood.shop.money import MoneyProblem
from knowngood.shop.programme import USES
from knowngood.store.problem import StoreProblem
from knowngood.web.here import Here, here_of

MOST_FIELDS = 60
LONGEST = 8000
MOST_FILE = 1_000_000

router = APIRouter(include_in_schema=False)

Fields = Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Typed:
    """What a form said. `file`: the text of an uploaded file."""

    fields: Fields
    file: str = ""
    file_name: str = ""
    many: Mapping[str, tuple[str, ...]] | None = None

    def get(self, name: str) -> str:
        return self.fields.get(name, "").strip()

    def all(self, name: str) -> tuple[str, ...]:
        return tuple(v for v in (self.many or {}).get(name, ()) if v.strip())


@router.get("/paperwork", response_class=HTMLResponse)
def due_page(request: Request) -> Response:
    """Every paper that waits, the late ones first."""
    here = here_of(request)
    today = here.now().date()
    lines = [(one, one.short(today)) for one in papers_due(here.record, today)]
    sent = all_claims(here.record)
    return here.page(
        "paperwork.html", request, lines=lines, owed=owed_by_age(sent, today),
        refusals=refusals(sent),
        law=LOCAL_LAW if any(one.about == UNCOLLECTED for one, _ in lines) else "",
    )  # fmt: skip


@router.get("/paperwork/find")
def find(request: Request, name: str = "") -> Response:
    """The papers of the job with this number; what is no number is looked for on the shelf."""
    try:
        return RedirectResponse(f"/job/{here_of(request).job_id(name)}/papers", 303)
    except (Refused, StoreProblem):
        return RedirectResponse(f"/shelf?{urlencode({'q': name[:200]})}", 303)


@router.get("/paperwork/sheet.pdf")
def sheet(request: Request) -> Response:
    """The day on one sheet."""
    here = here_of(request)
    data = day_paper(here.record, here.now())
    named = {"Content-Disposition": 'inline; filename="today.pdf"'}
    return Response(data, media_type="application/pdf", headers=named)


@router.get("/paperwork/claims.csv")
def claims(request: Request) -> Response:
    """Every claim that went out, a line each."""
    lines = all_claims(here_of(request).record)
    text = csv_text(COLUMNS, [line.cells() for line in lines])
    named = {"Content-Disposition": 'attachment; filename="claims.csv"'}
    return Response(text, media_type="text/csv; charset=utf-8", headers=named)


@router.get("/job/{job}/papers", response_class=HTMLResponse)
def papers_page(request: Request, job: str) -> Response:
    """Cover, claim, estimate and money of one job."""
    return _page(request, here_of(request).job_id(job), {}, "")


@router.post("/job/{job}/papers", response_class=HTMLResponse)
async def enter(request: Request, job: str) -> Response:
    """One form of the page."""
    here = here_of(request)
    typed = await typed_form(await request.form(max_files=1, max_fields=MOST_FIELDS))
    return await run_in_threadpool(_entered, request, here, here.job_id(job), typed)


def _entered(request: Request, here: Here, job_id: str, typed: Typed) -> Response:
    action = _ACTIONS.get(typed.get("action"))
    at = At(here.now(), typed.get("by") or "somebody")
    try:
        if action is None:
            raise Refused(f"there is no form {typed.get('action')!r}; reload the page")
        with here.bench:
            action(here.record, job_id, typed, at)
    except (Refused, MoneyProblem) as problem:
        text = str(problem)
        return _page(request, job_id, typed.fields, text[:1].upper() + text[1:], 409)
    return RedirectResponse(f"/job/{job_id}/papers#{typed.get('action')}", 303)


async def typed_form(form: FormData) -> Typed:
    """The fields of a form and the text of its file. Raises Refused."""
    fields: dict[str, str] = {}
    many: dict[str, list[str]] = {}
    file = name = ""
    for key, value in form.multi_items():
        if isinstance(value, UploadFile):
            data = await value.read(MOST_FILE + 1)
            if len(data) > MOST_FILE:
                raise Refused(f"the file is larger than {MOST_FILE:,} bytes")
            try:
                file, name = data.decode("utf-8"), (value.filename or "the file")[:80]
            except UnicodeDecodeError:
                raise Refused("the file is no text; save it as UTF-8") from None
            continue
        if len(value) > LONGEST:
            raise Refused(f"{key[:40]} has {len(value)} characters; at most {LONGEST} are taken")
        fields[key] = value
        many.setdefault(key, []).append(value)
    return Typed(fields, file, name, {k: tuple(v) for k, v in many.items()})


def _page(
    request: Request, job_id: str, typed: Fields, problem: str, status: int = 200
) -> Response:
    here = here_of(request)
    record, today = here.record, here.now().date()
    job = load_job(record, job_id)
    claim, trouble = None, problem
    try:
        claim = paperwork.claim_page(record, job_id, today) if job.paperwork.programme else None
    except Refused as refused:
        trouble = problem or str(refused)
    cover = paperwork.cover_of(record, job, today)
    programme = paperwork.programme_of(record, job)
    return here.page(
        "papers.html", request, status, job=job, machine=_machine(record, job),
        cover=cover, claim=claim, account=account.account_of(record, job), programme=programme,
        programmes=known_programmes(record), typed=typed, problem=trouble, uses=USES,
        replies=get_args(ClaimReply), modes=MODE, causes=CAUSE, actions=ACTION, law=ASK_LOCALLY,
        entry=uuid4().hex, paper=job.paperwork, planned=_planned(request, job),
        currency=money_of_plan(record, job),
        worded=words_now(record, job) if claim and job.machine_digest else None,
        set_aside=set_aside(job), blank=checks_blank(record, job),
        life=life_here(record, job, here.now()), age=age_words(job, today),
        failed=failed_part(record, job, today) if job.machine_digest else None, ends=ENDS,
        today=today, mistakes=to_take_back(record, job), own_taxes=_own_taxes(record, job),
    )  # fmt: skip


def _own_taxes(record: Record, job: Job) -> Mapping[str, str]:
    """The shop's table as the form of an estimate has it; empty without one."""
    currency = money_of_plan(record, job)
    usual = shop_taxes(record, currency)
    if usual is None:
        return {}
    return {"taxes": taxes_text(usual.taxes, currency), "tax_on": usual.taxes.on}


def _machine(record: Record, job: Job) -> str:
    if not job.machine_digest:  # without a machine file there are papers all the same
        return job.counter.words or "machine not named"
    return machine_file_of(record, job).words


def _planned(request: Request, job: Job) -> Mapping[str, Any]:
    """The estimate that the plan proposes, as the form has it; empty when it is not asked for."""
    asked = request.query_params
    if asked.get("from") != "plan":
        return {}
    here = here_of(request)
    currency = money_of_plan(here.record, job)
    fields = _price_fields(job)
    typed: dict[str, Decimal] = {}
    wrong: list[str] = []
    for name in ("rate", *fields):
        try:
            if text := asked.get(name, "").strip():
                typed[name] = read_money(text[:40], currency).amount
        except Refused as problem:  # asked again
            wrong.append(str(problem))
    try:
        said = {one[0]: typed[name] for name, one in fields.items() if name in typed}
        with here.bench:
            found = proposal(here.record, job, here.now().date(), typed.get("rate"), said)
    except Refused as problem:
        return {"sentence": str(problem)}
    cost = found.cost
    if cost.not_given:  # asked before it is written down as money
        open_now = {one.part for one in cost.unpriced}
        prices = [{"name": name, "words": words.lower(), "typed": asked.get(name, ""),
                   "open": part in open_now} for name, (part, words, _) in fields.items()]
        return {"ask": True, "ask_rate": not cost.rate_given, "prices": prices,
                "currency": found.currency, "rate": asked.get("rate", ""),
                "sentence": "; ".join([*wrong, *cost.not_given])}  # fmt: skip
    taxes = taxes_text(found.taxes, found.currency)
    kinds = kinds_for(shop_taxes(here.record, found.currency), found.taxes)
    return {
        "sentence": found.sentence, "currency": found.currency,
        "lines": text_of(found.lines, kinds),
        "taxes": taxes, "tax_on": found.taxes.on, "bad_case": str(found.bad_case.amount),
    }  # fmt: skip


def _price_fields(job: Job) -> Mapping[str, tuple[str, str, str]]:
    """The parts decided on by the field of their price: "price", and "price-2" of the next."""
    return {"price" if n == 1 else f"price-{n}": one
            for n, one in enumerate(parts_decided(job), 1)}  # fmt: skip


def _programme(record: Record, job_id: str, typed: Typed, at: At) -> None:
    if typed.file:
        paperwork.choose_programme(record, job_id, typed.file, typed.file_name, at)
        return
    digest = typed.get("programme")
    known = {one.digest: one for one in known_programmes(record)}
    if digest not in known:
        raise Refused("choose a programme, or the file of one")
    text = record.files.text_of(digest)
    paperwork.choose_programme(
        record, job_id, text, known[digest].programme, at, kept=True
    )


def _cover(record: Record, job_id: str, typed: Typed, at: At) -> None:
    answers = {
        name.removeprefix("answer-"): value
        for name, value in typed.fields.items()
        if name.startswith("answer-") and value
    }
    stood = typed.get("stood").split()  # what the form showed; emptied, it is taken back
    use, purchased, delivered, made, failed, hours = (
        typed.get(name) or (UNSAID if name in stood else "")
        for name in ("use", "purchased", "delivered", "made", "failed", "hours")
    )
    proof = typed.all("proof") or ((UNSAID,) if "proof" in stood else ())
    noted = CoverNoted(use, purchased, delivered, made, failed, hours, proof, answers)
    paperwork.note_cover(record, job_id, noted, at)


def _codes(record: Record, job_id: str, typed: Typed, at: At) -> None:
    chosen = CodesChosen(*(typed.get(name) for name in ("mode", "cause", "did", "labour")))
    paperwork.choose_codes(record, job_id, chosen, at)


def _words_again(record: Record, job_id: str, typed: Typed, at: At) -> None:
    take_again(record, job_id, at)


def _worded(record: Record, job_id: str, typed: Typed, at: At) -> None:
    words = ClaimWorded(*(typed.get(name) for name in ("complaint", "why", "correction")))
    word_claim(record, job_id, words, at)


def _send(record: Record, job_id: str, typed: Typed, at: At) -> None:
    paperwork.send_claim(record, job_id, at, typed.get("number"), typed.get("entry"),
                         typed.get("on"))  # fmt: skip


def _answer(record: Record, job_id: str, typed: Typed, at: At) -> None:
    reply = typed.get("reply")
    if reply not in get_args(ClaimReply):
        raise Refused("what did the programme answer? Choose one of the three")
    paperwork.answer_claim(
        record, job_id, cast(ClaimReply, reply), typed.get("granted"), typed.get("reason"), at,
        typed.get("entry"), typed.get("on"),
    )  # fmt: skip


def _paid(record: Record, job_id: str, typed: Typed, at: At) -> None:
    paperwork.claim_paid(
        record, job_id, typed.get("amount"), at, typed.get("entry"), typed.get("on")
    )


def _estimate(record: Record, job_id: str, typed: Typed, at: At) -> None:
    currency = typed.get("currency").upper()
    usual = shop_taxes(record, currency)
    if usual is not None and "taxes" not in typed.fields:
        taxes = usual.taxes
    else:
        taxes = taxes_of(typed.get("taxes"), typed.get("tax_on") or "total")
    lines = lines_of(typed.get("lines"), currency, kinds_for(usual, taxes))
    years = typed.get("repair_years")
    if typed.get("new_price") and not years:
        life = life_here(record, load_job(record, job_id), at.now)
        years = f"{life.years:.1f}" if life else ""
    newer = newer_of(
        typed.get("new_price"), typed.get("new_years"), years, currency
    )
    bad = read_money(typed.get("bad_case"), currency) if typed.get("bad_case") else None
    deposit = percent_of(typed.get("deposit"))
    account.make_estimate(record, job_id, lines, taxes, currency, at, bad, deposit, newer)


def _approved(record: Record, job_id: str, typed: Typed, at: At) -> None:
    agree_programme(
        record, job_id, typed.get("up_to"), typed.get("who"), typed.get("number"), at
    )


def _agree(record: Record, job_id: str, typed: Typed, at: At) -> None:
    account.agree(record, job_id, typed.get("who"), typed.get("how"),
                  typed.get("up_to"), at, bool(typed.get("no")))  # fmt: skip


def _took(record: Record, job_id: str, typed: Typed, at: At) -> None:
    account.take_money(
        record, job_id, typed.get("amount"), typed.get("way"), at, typed.get("entry"),
        typed.get("on"),
    )


def _tag(record: Record, job_id: str, typed: Typed, at: At) -> None:
    tag_failed(record, job_id, typed.get("where"), typed.get("tested"), at)


def _gone(record: Record, job_id: str, typed: Typed, at: At) -> None:
    let_go(record, job_id, typed.get("how"), typed.get("words"), at, typed.get("entry"))


def _undo(record: Record, job_id: str, typed: Typed, at: At) -> None:
    take_back(record, job_id, typed.get("which"), typed.get("reason"), at)


_ACTIONS: Mapping[str, Callable[[Record, str, Typed, At], Any]] = {
    "programme": _programme, "cover": _cover, "codes": _codes, "send": _send, "answer": _answer,
    "paid": _paid, "estimate": _estimate, "agree": _agree, "took": _took, "undo": _undo,
    "tag": _tag, "gone": _gone, "approved": _approved, "words": _worded,
    "words-again": _words_again,
}  # fmt: skip

