"""HTTPS and what comes with it: the page that helps a phone to trust the shop's own authority, and
the worker that opens the pages without a network."""

from __future__ import annotations

import io
import json
import os
from pathlib import Path

from fastapi import APIRouter, HTTPException, Request
from fastapi.responses import HTMLResponse, Response

from knowngood import __version__
from knowngood.web.here import STATIC, here_of

SHELL = ("/", "/bench", "/shelf", "/phone")
"""Pages that a phone keeps before it has opened them."""

router = APIRouter(include_in_schema=False)


@router.get("/trust", response_class=HTMLResponse)
def trust_page(request: Request) -> Response:
    """How a phone comes to trust the shop's authority, in plain words for each kind of phone."""
    here = here_of(request)
    safe = os.environ.get("KNOWNGOOD_HTTPS", "")
    der = _authority()
    return here.page(
        "trust.html", request, safe=safe if der else "", print_of=_print_of(der),
        secure=request.url.scheme == "https",
    )  # fmt: skip


@router.get("/trust.svg")
def trust_code(request: Request) -> Response:
    """The address of that page as a QR code, for the camera of a phone."""
    import segno

    out = io.BytesIO()
    reached = f"{request.url.scheme}://{request.headers.get('host', '')}"
    if request.url.hostname in ("localhost", "127.0.0.1", "::1"):
        reached = os.environ.get("KNOWNGOOD_ADDRESS", reached)
    segno.make(f"{reached}/trust", error="m").save(
        out, kind="svg", scale=6, border=3, dark="#16201c"
    )
    return Response(out.getvalue(), media_type="image/svg+xml")


@router.get("/authority.crt")
def authority_file() -> Response:
    """The certificate of the authority, without its key."""
    der = _authority()
    if der is None:
        raise HTTPException(404, "There is no authority: start with knowngood serve --https.")
    named = {"Content-Disposition": 'attachment; filename="shop-authority.crt"'}
    return Response(der, media_type="application/x-x509-ca-cert", headers=named)


@router.get("/worker.js")
def worker() -> Response:
    """The worker with the list of files that it keeps from the start."""
    files = sorted(f"/static/{path.name}" for path in STATIC.iterdir() if path.is_file())
    kept = json.dumps([*SHELL, *files])
    text = (STATIC / "worker.js").read_text(encoding="utf-8")
    text = f"const SHELL = {kept};\nconst KEPT = {json.dumps(f'pages {__version__}')};\n{text}"
    return Response(text, media_type="text/javascript")


def _authority() -> bytes | None:
    named = os.environ.get("KNOWNGOOD_AUTHORITY", "")
    if not named:
        return None
    try:
        from knowngood.store.authority import as_der

        return as_der(Path(named).read_bytes())
    except (ImportError, OSError, ValueError):
        return None


def _print_of(der: bytes | None) -> str:
    if der is None:
        return ""
    from knowngood.store.authority import fingerprint

    return fingerprint(der)
