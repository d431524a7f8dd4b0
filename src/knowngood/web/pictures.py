"""Pictures: kept by digest, shown small."""

from __future__ import annotations

import re

from fastapi import APIRouter, HTTPException, Request
from fastapi.responses import FileResponse, Response
from pydantic import BaseModel
from starlette.concurrency import run_in_threadpool

from knowngood.store.problem import StoreProblem
from knowngood.web.here import here_of

MOST_BYTES = 60_000_000
_DIGEST = re.compile(r"[0-9a-f]{64}")

router = APIRouter(tags=["pictures"])


class Kept(BaseModel):
    """`width` and `height` in pixels, as a person sees it."""

    digest: str
    width: int
    height: int


_BODY = {
    "requestBody": {
        "required": True,
        "content": {"image/*": {"schema": {"type": "string", "format": "binary"}}},
    }
}


@router.post("/api/pictures", summary="Keep a picture", openapi_extra=_BODY)
async def keep_picture(request: Request, name: str = "the picture") -> Kept:
    """Keep a picture and tell its digest; then an entry PictureAdded names it. Sending it twice
    keeps it once."""
    here = here_of(request)
    called = re.sub(r"[^\w .()-]", "_", name)[:80] or "the picture"
    announced = request.headers.get("content-length", "")
    if announced.isdigit() and int(announced) > MOST_BYTES:
        raise HTTPException(413, _too_big(called, int(announced)))
    data = bytearray()
    async for part in request.stream():
        data += part
        if len(data) > MOST_BYTES:
            raise HTTPException(413, _too_big(called, len(data)))
    if not data:
        raise HTTPException(422, f"{called} is empty. Take it again.")
    try:
        kept = await run_in_threadpool(here.record.files.keep_picture, bytes(data), called)
    except StoreProblem as problem:
        full = "disk" in str(problem) or "may not be written" in str(problem)
        raise HTTPException(503 if full else 422, str(problem)) from problem
    return Kept(digest=kept.digest, width=kept.width, height=kept.height)


@router.get(
    "/api/pictures/{digest}", summary="A picture, upright and small", response_class=Response,
    responses={200: {"content": {"image/jpeg": {}}}},
)  # fmt: skip
def show_picture(request: Request, digest: str, longest: int = 800) -> Response:
    """The picture as JPEG of at most 320, 800 or 1600 pixels a side, without its EXIF."""
    if not _DIGEST.fullmatch(digest):
        raise HTTPException(404, "A picture is named by its digest, 64 hexadecimal digits.")
    size = next((s for s in (320, 800) if longest <= s), 1600)
    try:
        path = here_of(request).record.files.preview(digest, size)
    except StoreProblem as problem:
        raise HTTPException(404, str(problem)) from problem
    forever = {"Cache-Control": "private, max-age=31536000, immutable"}
    return FileResponse(path, media_type="image/jpeg", headers=forever)


def _too_big(name: str, size: int) -> str:
    return (
        f"{name} has {size / 1e6:.0f} MB; at most {MOST_BYTES / 1e6:.0f} MB are kept. "
        f"Take it again with a lower setting of the camera. Nothing was stored."
    )
