"""A copy of everything, saved by one key while the shop goes on working."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response, StreamingResponse

from knowngood.store.bundle import stream
from knowngood.web.here import here_of

router = APIRouter(include_in_schema=False)


@router.get("/backup", response_class=HTMLResponse)
def backup_page(request: Request) -> Response:
    """What the copy holds, the key that saves it, and how it is put back."""
    here = here_of(request)
    return here.page("backup.html", request, file=_name(request))


@router.get("/backup.zip")
def backup_file(request: Request) -> Response:
    """The copy as a file. Trouble is said before it begins; a copy cut off does not open."""
    here = here_of(request)
    pieces = stream(Path(here.record.log.place), here.now())
    first = next(pieces)

    def whole() -> Iterator[bytes]:
        yield first
        yield from pieces

    headers = {
        "Content-Disposition": f'attachment; filename="{_name(request)}"',
        "Content-Encoding": "identity",  # it is packed already
        "Cache-Control": "no-store",
    }
    return StreamingResponse(whole(), media_type="application/zip", headers=headers)


def _name(request: Request) -> str:
    return f"shop-{here_of(request).now():%Y-%m-%d}.zip"
