"""Pictures: kept by digest, shown small."""

from __future__ import annotations

import re
from typing import Any

from fastapi import APIRouter, HTTPException, Request
from fastapi.responses import FileResponse, Response
from pydantic import BaseModel
from starlette.concurrency import run_in_threadpool

from knowngood.store.problem import StoreProblem
from knowngood.web.here import here_of

MOST_BYTES = 60_000_000
MOST_VIDEO = 100_000_000
_DIGEST = re.compile(r"[0-9a-f]{64}")

router = APIRouter(tags=["pictures"])


class Kept(BaseModel):
    """`width` and `height` in pixels, as a person sees it."""

    digest: str
    width: int
    height: int


class KeptVideo(BaseModel):
    digest: str


def _body(kind: str) -> dict[str, Any]:
    content = {kind: {"schema": {"type": "string", "format": "binary"}}}
    return {"requestBody": {"required": True, "content": content}}


_BODY, _VIDEO = _body("image/*"), _body("video/*")


@router.post("/api/pictures", summary="Keep a picture", openapi_extra=_BODY)
async def keep_picture(request: Request, name: str = "the picture") -> Kept:
    """Keep a picture and tell its digest; then an entry PictureAdded names it. Sending it twice
    keeps it once."""
    here = here_of(request)
    called, data = await _received(request, name, MOST_BYTES)
    try:
        kept = await run_in_threadpool(here.record.files.keep_picture, data, called)
    except StoreProblem as problem:
        full = "disk" in str(problem) or "may not be written" in str(problem)
        raise HTTPException(503 if full else 422, str(problem)) from problem
    return Kept(digest=kept.digest, width=kept.width, height=kept.height)


@router.post("/api/videos", summary="Keep a video", openapi_extra=_VIDEO)
async def keep_video(request: Request, name: str = "the video") -> KeptVideo:
    """Keep a video whole and tell its digest; then an entry VideoAdded names it. Stills of it are
    pictures of their own and need it not."""
    here = here_of(request)
    called, data = await _received(request, name, MOST_VIDEO)
    try:
        return KeptVideo(digest=await run_in_threadpool(here.record.files.keep_video, data, called))
    except StoreProblem as problem:
        full = "disk" in str(problem) or "may not be written" in str(problem)
        raise HTTPException(503 if full else 422, str(problem)) from problem


@router.get("/api/videos/{digest}", summary="A video", response_class=Response,
            responses={200: {"content": {"video/*": {}}}})  # fmt: skip
def show_video(request: Request, digest: str) -> Response:
    """The video as it was kept, also in parts, so that a player can jump in it."""
    if not _DIGEST.fullmatch(digest):
        raise HTTPException(404, "A video is named by its digest, 64 hexadecimal digits.")
    try:
        path = here_of(request).record.files.path_of(digest)
    except StoreProblem as problem:
        raise HTTPException(404, str(problem)) from problem
    kind = {".webm": "video/webm", ".mp4": "video/mp4"}.get(path.suffix)
    if kind is None:
        raise HTTPException(404, "That is no video.")
    forever = {"Cache-Control": "private, max-age=31536000, immutable"}
    return FileResponse(path, media_type=kind, headers=forever)


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


async def _received(request: Request, name: str, most: int) -> tuple[str, bytes]:
    """What it is called and what it holds, told as soon as it is too much."""
    called = re.sub(r"[^\w .()-]", "_", name)[:80] or "the picture"
    announced = request.headers.get("content-length", "")
    if announced.isdigit() and int(announced) > most:
        raise HTTPException(413, _too_big(called, int(announced), most))
    data = bytearray()
    async for part in request.stream():
        data += part
        if len(data) > most:
            raise HTTPException(413, _too_big(called, len(data), most))
    if not data:
        raise HTTPException(422, f"{called} is empty. Take it again.")
    return called, bytes(data)


def _too_big(name: str, size: int, most: int) -> str:
    return (
        f"{name} has {size / 1e6:.0f} MB; at most {most / 1e6:.0f} MB are kept. "
        f"Take it again with a lower setting of the camera. Nothing was stored."
    )
