"""Bench sums without a job: each with its formula, its doubt, its source and where it stops."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response

from knowngood.calculate.all_sums import GROUPS, SUMS
from knowngood.calculate.sums import Input, Sum, doubt_words, unit_words, work
from knowngood.places.record import Refused
from knowngood.web.here import here_of

LONGEST = 400

router = APIRouter(include_in_schema=False)


@router.get("/library/sums", response_class=HTMLResponse)
def sums_page(request: Request, q: str = "") -> Response:
    """All sums, or those with these words."""
    wanted = q[:LONGEST].casefold().split()
    groups = {
        name: [s for s in group
               if all(w in f"{s.name} {s.title} {s.formula}".casefold() for w in wanted)]
        for name, group in GROUPS.items()
    }  # fmt: skip
    found = {name: group for name, group in groups.items() if group}
    return here_of(request).page("sums.html", request, q=q[:LONGEST], groups=found)


@router.get("/library/sums/{name}", response_class=HTMLResponse)
def sum_page(request: Request, name: str) -> Response:
    """One sum; with inputs in the address also its answer."""
    done = SUMS.get(name)
    if done is None:
        raise Refused(f"there is no sum {name[:60]!r}; the list is at /library/sums")
    given = {k: v[:LONGEST] for k, v in request.query_params.items()}
    texts = {k: v for k, v in given.items() if v.strip() or _may_be_empty(done, k)}
    worked: Any = work(done, texts) if given else None
    problems = worked if isinstance(worked, list) else []
    return here_of(request).page(
        "sum.html", request, 409 if problems else 200, sum=done, given=given, problems=problems,
        worked=None if isinstance(worked, list) else worked,
        fields=[_field(i) for i in done.inputs],
        doubt=doubt_words(worked) if worked and not problems else "",
    )  # fmt: skip


def _may_be_empty(done: Sum, name: str) -> bool:
    """Whether an empty field is kept: one that is not known to the sum is told, not lost."""
    return name not in {i.name for i in done.inputs}


def _field(one: Input) -> dict[str, Any]:
    return {
        "name": one.name, "what": one.what, "takes": unit_words(one), "example": one.example,
        "choices": one.choices if one.kind == "word" else (), "default": one.default or "",
        "needed": one.default is None,
    }  # fmt: skip
