"""The operations of the interface as a page, made from its own description; nothing is fetched."""

from __future__ import annotations

import json
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response

from knowngood.web.here import here_of

router = APIRouter(include_in_schema=False)


@router.get("/api", response_class=HTMLResponse)
def operations(request: Request) -> Response:
    """Every operation with what it takes and answers."""
    description = request.app.openapi()
    found = [
        _operation(path, method, operation)
        for path, methods in description["paths"].items()
        for method, operation in methods.items()
    ]
    shapes = {
        name: json.dumps(shape, indent=1, ensure_ascii=False)
        for name, shape in description.get("components", {}).get("schemas", {}).items()
    }
    return here_of(request).page(
        "reference.html", request, about=description["info"], operations=found, shapes=shapes
    )


def _operation(path: str, method: str, operation: dict[str, Any]) -> dict[str, Any]:
    body = operation.get("requestBody", {}).get("content", {})
    return {
        "method": method.upper(),
        "path": path,
        "summary": operation.get("summary", ""),
        "words": operation.get("description", ""),
        "parameters": [
            {"name": p["name"], "in": p["in"], "needed": p.get("required", False)}
            for p in operation.get("parameters", [])
        ],
        "takes": [_shape(kind, content) for kind, content in body.items()],
        "answers": sorted(operation.get("responses", {})),
    }


def _shape(kind: str, content: dict[str, Any]) -> str:
    name = content.get("schema", {}).get("$ref", "").rsplit("/", 1)[-1]
    return f"{kind} {name}".strip()
