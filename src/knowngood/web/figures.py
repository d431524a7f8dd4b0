"""The figures of the shop over a time, as a table and as CSV."""

from __future__ import annotations

from datetime import date, timedelta

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response

from knowngood.places.figures import shop_figures
from knowngood.places.record import Refused
from knowngood.shop.csv_text import csv_text
from knowngood.web.here import here_of

DAYS = 90

router = APIRouter(include_in_schema=False)


@router.get("/paperwork/figures", response_class=HTMLResponse)
def figures_page(request: Request, since: str = "", until: str = "") -> Response:
    """Turnaround, first-time fix, comebacks, minutes sold, wrong parts; the last 90 days."""
    here = here_of(request)
    first, last = _span(since, until, here.now().date())
    found = shop_figures(here.record, first, last)
    return here.page("figures.html", request, found=found, first=first, last=last)


@router.get("/paperwork/figures.csv")
def figures_csv(request: Request, since: str = "", until: str = "") -> Response:
    """The same, a line each."""
    here = here_of(request)
    found = shop_figures(here.record, *_span(since, until, here.now().date()))
    rows = [(f.name, f.value, f.unit, f.of, f.how) for f in found]
    text = csv_text(("figure", "value", "unit", "of jobs", "how"), rows)
    named = {"Content-Disposition": 'attachment; filename="figures.csv"'}
    return Response(text, media_type="text/csv; charset=utf-8", headers=named)


def _span(since: str, until: str, today: date) -> tuple[date, date]:
    try:
        last = date.fromisoformat(until) if until else today
        first = date.fromisoformat(since) if since else last - timedelta(DAYS)
    except (ValueError, OverflowError):
        raise Refused("write the days like 2026-05-04") from None
    if last < first:
        raise Refused(f"{first} is after {last}; turn the two around")
    return first, last
