"""The web server of one shop: pages, the interface of the phones, and what to say in trouble."""

from __future__ import annotations

import os
from collections.abc import AsyncIterator, Awaitable, Callable, Iterable
from contextlib import asynccontextmanager
from pathlib import Path
from urllib.parse import urlsplit

from fastapi import FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse
from fastapi.staticfiles import StaticFiles
from fastapi.templating import Jinja2Templates
from starlette.exceptions import HTTPException
from starlette.middleware.gzip import GZipMiddleware

from knowngood import __version__
from knowngood.diagnosis.hazard import LOCAL, STOP, TO_DO
from knowngood.places.record import PATIENCE, Record, Refused
from knowngood.store.problem import StoreProblem
from knowngood.store.where import store_path
from knowngood.web import (
    apart,
    bench,
    copies,
    counter,
    entries,
    figures,
    home,
    learned,
    library,
    mail,
    offline,
    papers,
    paperwork,
    parts,
    pictures,
    reference,
    shelf,
    shop_files,
    sums,
    taxes,
    unknown,
)
from knowngood.web.here import FOLDER, STATIC, Here, Place, here_of
from knowngood.web.trouble import note_fault

SCREENS = (
    home.router, counter.router, bench.router, apart.router, shelf.router, entries.router,
    pictures.router, papers.router, paperwork.router, shop_files.router, parts.router,
    mail.router, figures.router,
    offline.router, copies.router, library.router, unknown.router, sums.router,
    learned.router, taxes.router,
)  # fmt: skip
PLACES = (
    Place("Counter", "/counter", "A machine comes in or is fetched"),
    Place("Bench", "/bench", "Find the fault: the machines that are being worked on"),
    Place("Shelf", "/shelf", "What waits, for what, and where it stands"),
    Place("Parts", "/parts", "Price lists, what lies there, what is on order"),
    Place("Paperwork", "/paperwork", "Cover, claims, estimates and money"),
    Place("Library", "/library", "Machine files, unknown machines, bench sums"),
)

POLICY = (
    "default-src 'self'; img-src 'self' blob: data:; media-src 'self' blob:; "
    "object-src 'none'; base-uri 'none'; "
    "frame-ancestors 'none'; form-action 'self'"
)
DESCRIPTION = (
    "What a phone at the bench sends and asks. There are no accounts: anyone on this network can "
    "read and write."
)


def create_app(store: Path, patience: float | None = PATIENCE) -> FastAPI:
    """The server on this record, opened when the server starts and closed when it stops."""
    templates = Jinja2Templates(FOLDER / "templates")
    templates.env.globals["stop"] = {"title": STOP, "to_do": TO_DO, "local": LOCAL}
    templates.env.filters["zip_words"] = zip_words

    @asynccontextmanager
    async def open_shop(app: FastAPI) -> AsyncIterator[None]:
        with Record.open(store, patience=patience) as record:
            app.state.here = Here(record, templates, PLACES)
            yield

    app = FastAPI(
        title="knowngood", version=__version__, description=DESCRIPTION, lifespan=open_shop,
        docs_url=None, redoc_url=None, openapi_url="/api/openapi.json",
    )  # fmt: skip
    app.add_middleware(GZipMiddleware, minimum_size=600)
    app.middleware("http")(_guard)
    for router in (*SCREENS, reference.router):
        app.include_router(router)
    app.mount("/static", StaticFiles(directory=STATIC), name="static")
    app.add_exception_handler(Refused, _refused)
    app.add_exception_handler(StoreProblem, _not_stored)
    app.add_exception_handler(HTTPException, _no_page)
    app.add_exception_handler(RequestValidationError, _not_understood)
    return app


def zip_words(values: Iterable[str], words: Iterable[str]) -> list[tuple[str, str]]:
    """For a template: values of a choice with their words."""
    return list(zip(values, words, strict=False))


def from_environment() -> FastAPI:
    """The server on the record that KNOWNGOOD_STORE names, else the person's own, planning for
    KNOWNGOOD_PATIENCE seconds at most.

    For `uvicorn knowngood.web.app:from_environment --factory`.
    """
    return create_app(
        store_path(None, os.environ), float(os.environ.get("KNOWNGOOD_PATIENCE", PATIENCE))
    )


async def _guard(request: Request, call_next: Callable[[Request], Awaitable[Response]]) -> Response:
    """No other site's page may write here; a fault of the program is said in one line."""
    origin = request.headers.get("origin")
    writes = request.method not in ("GET", "HEAD", "OPTIONS")
    if writes and origin and urlsplit(origin).netloc != request.headers.get("host", ""):
        return JSONResponse({"message": "A page of another site may not write here."}, 403)
    try:
        response = await call_next(request)
    except Exception as error:
        response = _say(request, 500, note_fault(error))
    response.headers["Content-Security-Policy"] = POLICY
    response.headers["X-Content-Type-Options"] = "nosniff"
    response.headers["Referrer-Policy"] = "same-origin"  # else a plain form names no origin
    if "cache-control" not in response.headers:
        response.headers["Cache-Control"] = "no-cache"
    return response


def _say(request: Request, status: int, message: str) -> Response:
    """A message in place: JSON for the phones' interface, a page for a person."""
    if request.url.path.startswith("/api/"):
        return JSONResponse({"message": message}, status)
    return here_of(request).page("message.html", request, status, message=message)


async def _refused(request: Request, error: Exception) -> Response:
    missing = str(error).startswith("there is no job")
    return _say(request, 404 if missing else 409, _sentence(error))


async def _not_stored(request: Request, error: Exception) -> Response:
    missing = str(error).startswith("There is no job")
    return _say(request, 404 if missing else 503, _sentence(error))


async def _no_page(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    message = str(error.detail)
    if error.status_code == 404 and message == "Not Found":
        message = f"There is no page {request.url.path}."
    said = _say(request, error.status_code, message)
    said.headers.update(error.headers or {})
    return said


async def _not_understood(request: Request, error: Exception) -> Response:
    assert isinstance(error, RequestValidationError)
    said = [
        f"{'.'.join(str(at) for at in one['loc'][1:]) or 'the request'}: {one['msg']}"
        for one in error.errors()[:5]
    ]
    return _say(request, 422, f"Not understood: {'; '.join(said)}")


def _sentence(error: Exception) -> str:
    text = str(error)
    return text[:1].upper() + text[1:]
