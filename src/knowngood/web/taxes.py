"""The shop's taxes on its page: shown, and set anew by a form."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, get_args

from fastapi import APIRouter, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from knowngood.job.shop_files import TaxesSet
from knowngood.places.record import At, Refused
from knowngood.places.tax_table import set_taxes, table_of, table_words
from knowngood.places.typed_estimate import NO_TAX, ROUNDING
from knowngood.shop.money import Mode
from knowngood.web.bench import as_data
from knowngood.web.counter import shop_data
from knowngood.web.here import here_of
from knowngood.web.paperwork import Typed, typed_form

ASKED = ("labour", "part", "fee")
"""Kinds of lines whose tax the form asks; a credit is taxed as the fee."""

router = APIRouter(include_in_schema=False)


@router.get("/shop", response_class=HTMLResponse)
def shop_page(request: Request) -> Response:
    """The shop's own sheet, and its taxes."""
    return _page(request, _as_typed(table_of(here_of(request).record)))


@router.post("/shop/taxes", response_class=HTMLResponse)
async def set_table(request: Request) -> Response:
    """Keep the shop's taxes."""
    typed = await typed_form(await request.form(max_files=0, max_fields=12))
    return await run_in_threadpool(_keep, request, typed)


def _keep(request: Request, typed: Typed) -> Response:
    here = here_of(request)
    said = [typed.get("rates")]
    said += ["included"] if typed.get("included") else []
    said += [typed.get("mode")] if typed.get("mode") not in ("", "half up") else []
    said += [f"{ROUNDING}={typed.get('step')}"] if typed.get("step") else []
    kinds = [f"{kind}={typed.get(kind)}" for kind in ASKED if typed.get(kind)]
    rates = ", ".join(said) if typed.get("rates") else ""
    try:
        with here.bench:
            set_taxes(here.record, rates, kinds if rates else (), typed.get("on") or "total",
                      At(here.now(), typed.get("by") or "somebody"))  # fmt: skip
    except Refused as problem:
        return _page(request, typed.fields, str(problem))
    return RedirectResponse("/shop#taxes", 303)


def _as_typed(table: TaxesSet) -> Mapping[str, str]:
    """The table as the form's fields have it."""
    kinds = {kind: table.kinds.get(kind, "") or NO_TAX for kind in ASKED} if table.percent else {}
    rates = ", ".join(f"{name}={percent}" for name, percent in table.percent.items())
    return {"rates": rates, "on": table.on, "mode": table.mode, "step": table.step,
            "included": "yes" if table.included else "", **kinds}  # fmt: skip


def _page(request: Request, typed: Mapping[str, str], problem: str = "") -> Response:
    here = here_of(request)
    more: dict[str, Any] = {"typed": typed, "problem": problem, "asked": ASKED}
    return here.page(
        "shop.html", request, 409 if problem else 200, inside=as_data(shop_data(request)),
        words=table_words(table_of(here.record)), modes=get_args(Mode), **more,
    )  # fmt: skip
