"""Letters of a job, read over before they go, and how the shop's mail goes out."""

from __future__ import annotations

from typing import cast, get_args
from uuid import uuid4

from fastapi import APIRouter, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from knowngood.job.paperwork import MailSent
from knowngood.job.shop_files import MailSafety, MailSet
from knowngood.places import mail
from knowngood.places.gather import load_job
from knowngood.places.mail import LETTERS, Letter
from knowngood.places.record import At, Refused
from knowngood.web.here import here_of
from knowngood.web.paperwork import Typed, typed_form

router = APIRouter(include_in_schema=False)


@router.get("/job/{job}/mail", response_class=HTMLResponse)
def letter_page(request: Request, job: str, about: str = "estimate") -> Response:
    """The letter as it would go out."""
    here = here_of(request)
    job_id = here.job_id(job)
    return _letter(request, job_id, mail.letter_for(here.record, job_id, about))


@router.post("/job/{job}/mail", response_class=HTMLResponse)
async def send_letter(request: Request, job: str) -> Response:
    """A person let it go."""
    here = here_of(request)
    typed = await typed_form(await request.form(max_files=0, max_fields=10))
    return await run_in_threadpool(_send, request, here.job_id(job), typed)


def _send(request: Request, job_id: str, typed: Typed) -> Response:
    here = here_of(request)
    letter = Letter(typed.get("about"), typed.get("to"), typed.get("subject"), typed.get("body"))
    at = At(here.now(), typed.get("by") or "somebody")
    entry = typed.get("entry") or uuid4().hex
    try:
        done = mail.post(here.record, job_id, letter, at, entry)
    except Refused as problem:
        return _letter(request, job_id, letter, str(problem))
    if isinstance(done, MailSent):
        return RedirectResponse(f"/job/{job_id}/papers#mails", 303)
    return _letter(request, job_id, letter, f"it did not go out: {done.reason}")


def _letter(request: Request, job_id: str, letter: Letter, problem: str = "") -> Response:
    here = here_of(request)
    way = mail.mail_of(here.record).server
    return here.page(
        "mail.html", request, 409 if problem else 200, job=load_job(here.record, job_id),
        letter=letter, problem=problem, way=way, letters=LETTERS, entry=uuid4().hex,
    )  # fmt: skip


@router.get("/paperwork/mail", response_class=HTMLResponse)
def settings_page(request: Request) -> Response:
    """How mail goes out."""
    return _settings(request, mail.mail_of(here_of(request).record))


@router.post("/paperwork/mail", response_class=HTMLResponse)
async def settings(request: Request) -> Response:
    """Keep how mail goes out."""
    typed = await typed_form(await request.form(max_files=0, max_fields=20))
    return await run_in_threadpool(_keep, request, typed)


def _keep(request: Request, typed: Typed) -> Response:
    here = here_of(request)
    port, safety = typed.get("port") or "0", typed.get("safety")
    own = {name: typed.get(f"letter-{name}").replace("\r\n", "\n") for name in LETTERS}
    said = MailSet(
        typed.get("server"), float(port) if port.isdecimal() else -1.0,
        cast(MailSafety, safety) if safety in get_args(MailSafety) else "starttls",
        typed.get("user"), typed.get("secret"), typed.get("sender"),
        {n: text for n, text in own.items() if text and text != LETTERS[n][1].strip()},
    )  # fmt: skip
    try:
        with here.bench:
            mail.set_mail(here.record, said, At(here.now(), typed.get("by") or "somebody"))
    except Refused as problem:
        return _settings(request, said, str(problem))
    return RedirectResponse("/paperwork/mail", 303)


def _settings(request: Request, said: MailSet, problem: str = "") -> Response:
    here = here_of(request)
    return here.page(
        "mail_set.html", request, 409 if problem else 200, mail=said, problem=problem,
        letters=LETTERS, safeties=get_args(MailSafety),
    )  # fmt: skip
