"""The Library: families, the shop's own machine files, what is in each, and what a check finds."""

from __future__ import annotations

from functools import lru_cache
from typing import Any
from urllib.parse import quote

from fastapi import APIRouter, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import HTMLResponse, PlainTextResponse, RedirectResponse, Response
from starlette.datastructures import FormData, UploadFile

from knowngood.diagnosis.audit import Audit, audit
from knowngood.machines.check import report_text
from knowngood.machines.shipped import load_shipped, shipped_names
from knowngood.machines.tree import LARGEST
from knowngood.places.catalogue import Face, faces, machine_named
from knowngood.places.describe import answered_of, questions_of, take_over
from knowngood.places.known import own_files
from knowngood.places.library import machine_from, wired
from knowngood.places.own_machines import (
    keep_file,
    kept_files,
    own_bases,
    own_file,
    put_away,
)
from knowngood.places.record import At, Record, Refused
from knowngood.places.wiring import wiring_picture
from knowngood.web.here import Here, here_of
from knowngood.web.library_view import found_in, machine_view, report_view

MOST_QUERY = 80
LONGEST = 400
MOST_FORM = LARGEST + 200_000

router = APIRouter(include_in_schema=False)


@router.get("/library", response_class=HTMLResponse)
def library_page(request: Request, q: str = "", said: str = "") -> Response:
    """Families and the shop's own files, or those with these words."""
    here = here_of(request)
    kept, shipped = kept_files(here.record), set(shipped_names())
    groups: dict[str, list[Face]] = {"Files of this shop": [], "Used by jobs, not kept here": [],
                                     "Families that come with the program": []}  # fmt: skip
    for face in faces(here.record):
        texts = (face.id, face.words, face.family, *face.makers, *face.models,
                 *(c.words for c in face.complaints))  # fmt: skip
        if found_in(q[:MOST_QUERY], texts):
            group = 0 if face.id in kept else 2 if face.id in shipped else 1
            list(groups.values())[group].append(face)
    return here.page("library.html", request, q=q[:MOST_QUERY], said=said[:LONGEST],
                     groups={n: g for n, g in groups.items() if g})  # fmt: skip


@router.get("/library/machine/{id}", response_class=HTMLResponse)
def machine_page(request: Request, id: str, said: str = "", job: str = "") -> Response:
    """What one file says, each figure with where it comes from. ``job``: the one that a person
    comes from."""
    here = here_of(request)
    return show_machine(request, here, id, said=said[:LONGEST], job=job[:MOST_QUERY])


def show_machine(request: Request, here: Here, id: str, **values: Any) -> Response:
    record = here.record
    known = machine_named(record, id)
    own = own_file(record, id)
    if known is None:
        if own is not None:  # kept, but its family has changed under it
            return _checked(request, here, own.text, id, "", 409)
        raise Refused(f"there is no machine file {id[:60]!r}; the list is at /library")
    values = {"problem": "", "said": "", "typed": {}, "job": "", "cells": ()} | values
    status = 409 if values["problem"] else 200
    return here.page(
        "machine.html", request, status, it=machine_view(wired(known.it, None)), own=own,
        questions=questions_of(record, id), answered=answered_of(record, id),
        shipped=id in shipped_names(), **values,
    )  # fmt: skip


@router.get("/library/machine/{id}/wiring.svg")
def wiring_file(request: Request, id: str) -> Response:
    """The picture of the wiring, as on the bench card."""
    known = machine_named(here_of(request).record, id)
    picture = wiring_picture(known.it) if known else None
    if picture is None:
        raise Refused(f"{id[:60]} has no wiring in its file")
    return Response(picture.svg, media_type="image/svg+xml")


@router.get("/library/machine/{id}/audit", response_class=HTMLResponse)
def audit_page(request: Request, id: str) -> Response:
    """What the tests of a file cannot tell, which never decide, and the minutes to proof."""
    here = here_of(request)
    known = machine_named(here.record, id)
    if known is None:
        raise Refused(f"there is no machine file {id[:60]!r}; the list is at /library")
    found = _audited(known.text, id)
    tests = {t.id: t.question for t in known.it.tests}
    words = {f.id: f.words for f in known.it.faults}
    return here.page("audit.html", request, it=known.it, audit=found, tests=tests, words=words)


@lru_cache(maxsize=32)
def _audited(text: str, id: str) -> Audit:
    return audit(machine_from(text, id))


@router.get("/library/machine/{id}/file.yaml")
def file_text(request: Request, id: str) -> Response:
    """The file as it was written, to be saved or copied."""
    text = _text_of(here_of(request).record, id)
    headers = {"Content-Disposition": f'attachment; filename="{quote(id)}.yaml"'}
    return PlainTextResponse(text, headers=headers)


@router.get("/library/file", response_class=HTMLResponse)
def file_page(request: Request, id: str = "") -> Response:
    """A machine file to write, to paste, or to send; one of the shop's to change."""
    here = here_of(request)
    text = _text_of(here.record, id) if id else ""
    return here.page("machine_file.html", request, id=id, text=text, report=None, problem="")


@router.post("/library/file", response_class=HTMLResponse)
async def file_sent(request: Request) -> Response:
    """Look at a file, or keep it; with any problem nothing is stored."""
    announced = request.headers.get("content-length", "")
    if announced.isdigit() and int(announced) > MOST_FORM:
        raise Refused(f"the file is larger than {LARGEST:,} bytes: no machine file")
    form = await request.form(max_files=1, max_fields=10, max_part_size=MOST_FORM)
    text, fields = await _typed(form)
    return await run_in_threadpool(_sent, request, text, fields)


async def _typed(form: FormData) -> tuple[str, dict[str, str]]:
    """The text, of the file where one was chosen, and the other fields. Raises Refused."""
    fields: dict[str, str] = {}
    data = b""
    for key, value in form.multi_items():
        if isinstance(value, UploadFile):
            data = await value.read(LARGEST + 1)
        else:
            fields[key] = value
    if len(data) > LARGEST:
        raise Refused(f"the file is larger than {LARGEST:,} bytes: no machine file")
    try:
        text = data.decode("utf-8-sig") if data else fields.pop("text", "").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise Refused(f"line {line} is not UTF-8 text; save the file as plain UTF-8") from error
    return text, {k: v.strip()[:LONGEST] for k, v in fields.items() if k != "text"}


def _sent(request: Request, text: str, fields: dict[str, str]) -> Response:
    here = here_of(request)
    id = fields.get("id", "")
    if fields.get("what") != "keep":
        return _checked(request, here, text, id, "")
    at = At(here.now(), fields.get("by") or "somebody")
    try:
        with here.bench:
            known = keep_file(here.record, text, id or "the file", at, fields.get("reason", ""),
                              may_replace=bool(id))  # fmt: skip
            if id and known.it.id == id:
                take_over(here.record, id, at, fields.get("reason", "") or "the file was changed")
    except Refused as problem:
        return _checked(request, here, text, id, str(problem), 409)
    return RedirectResponse(f"/library/machine/{quote(known.it.id)}?said=kept", 303)


def _checked(
    request: Request, here: Here, text: str, id: str, problem: str, status: int = 200
) -> Response:
    """The text with all that a check finds in it."""
    name = id or "the file"
    _, report = report_text(text, name, own_bases(here.record))
    return here.page(
        "machine_file.html", request, status, id=id, text=text[:LARGEST], problem=problem,
        report=report_view(report, text, name),
    )  # fmt: skip


@router.post("/library/machine/{id}/put-away")
async def put_file_away(request: Request, id: str) -> Response:
    """The file is not offered any more."""
    form = await request.form(max_files=0, max_fields=5)
    here = here_of(request)
    at = At(here.now(), str(form.get("by") or "somebody")[:80])
    try:
        with here.bench:
            put_away(here.record, id, at)
    except Refused as problem:
        return await run_in_threadpool(show_machine, request, here, id, problem=str(problem))
    return RedirectResponse("/library?said=put+away", 303)


def _text_of(record: Record, id: str) -> str:
    """The text of a machine file as it was written. Raises Refused."""
    own = own_file(record, id)
    if own is not None:
        return own.text
    if id in shipped_names():
        return load_shipped(id)
    digest = own_files(record).get(id)
    if digest is None:
        raise Refused(f"there is no machine file {id[:60]!r}; the list is at /library")
    return record.files.text_of(digest)
