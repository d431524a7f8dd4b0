"""The files the shop goes by, on the Paperwork screen: programmes and its list of notices."""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from knowngood.job.shop_files import FileKind
from knowngood.places import programmes
from knowngood.places.record import At, Record, Refused
from knowngood.web.here import here_of
from knowngood.web.paperwork import Typed, typed_form

router = APIRouter(include_in_schema=False)


@router.get("/paperwork/programmes", response_class=HTMLResponse)
def programmes_page(request: Request) -> Response:
    """What the shop goes by."""
    return _page(request, "")


@router.post("/paperwork/programmes", response_class=HTMLResponse)
async def enter(request: Request) -> Response:
    """A file kept, or dropped."""
    try:
        typed = await typed_form(await request.form(max_files=1, max_fields=10))
    except Refused as problem:
        return _page(request, str(problem), 409)
    return await run_in_threadpool(_entered, request, typed)


def _entered(request: Request, typed: Typed) -> Response:
    here = here_of(request)
    at = At(here.now(), typed.get("by") or "somebody")
    try:
        with here.bench:
            _ACT.get(typed.get("action"), _nothing)(here.record, typed, at)
    except Refused as problem:
        return _page(request, str(problem), 409)
    return RedirectResponse("/paperwork/programmes", 303)


def _programme(record: Record, typed: Typed, at: At) -> None:
    _needs_file(typed)
    programmes.keep_programme(record, typed.file, typed.file_name, at)


def _notices(record: Record, typed: Typed, at: At) -> None:
    _needs_file(typed)
    programmes.keep_notices(record, typed.file, typed.file_name, at)


def _drop(record: Record, typed: Typed, at: At) -> None:
    kind: FileKind = "notices" if typed.get("kind") == "notices" else "programme"
    programmes.drop_file(record, kind, typed.get("name"), at, typed.get("reason"))


def _nothing(record: Record, typed: Typed, at: At) -> None:
    raise Refused(f"there is no form {typed.get('action')!r}; reload the page")


_ACT = {"programme": _programme, "notices": _notices, "drop": _drop}


def _needs_file(typed: Typed) -> None:
    if not typed.file.strip():
        raise Refused("choose the file first")


def _page(request: Request, problem: str, status: int = 200) -> Response:
    here = here_of(request)
    kept = sorted(programmes.files_of(here.record).kept.values(), key=lambda f: (f.kind, f.name))
    lines = [(problem[:1].upper() + problem[1:])] if problem else []
    return here.page("programmes.html", request, status, kept=kept, problems=lines)
