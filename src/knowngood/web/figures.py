"""The figures of the shop over a time, as tables, plots and CSV."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response

from knowngood.places.figures import COLUMNS, MONTH_COLUMNS, ShopTables, shop_tables
from knowngood.places.plots import month_names, plots_of
from knowngood.places.record import Refused
from knowngood.shop.csv_text import csv_text
from knowngood.web.here import here_of

DAYS = 90

router = APIRouter(include_in_schema=False)


@router.get("/paperwork/figures", response_class=HTMLResponse)
def figures_page(request: Request, since: str = "", until: str = "") -> Response:
    """Turnaround, first-time fix, comebacks, minutes sold, wrong parts; the last 90 days."""
    tables = _tables(request, since, until)
    months = list(zip(tables.months, month_names(tables.months), strict=True))
    return here_of(request).page(
        "figures.html", request, it=tables, months=months, plots=plots_of(tables)
    )


@router.get("/paperwork/figures.csv")
def figures_csv(request: Request, since: str = "", until: str = "") -> Response:
    """The same, a line each."""
    return _csv("figures", COLUMNS, _tables(request, since, until).rows())


@router.get("/paperwork/figures-by-month.csv")
def months_csv(request: Request, since: str = "", until: str = "") -> Response:
    """Month by month, a line for each month and figure."""
    return _csv("figures-by-month", MONTH_COLUMNS, _tables(request, since, until).month_rows())


@router.get("/paperwork/figures/{name}.svg")
def figures_svg(request: Request, name: str, since: str = "", until: str = "") -> Response:
    """One plot as a file."""
    made = {plot.name: plot for plot in plots_of(_tables(request, since, until))}
    if name not in made:
        there = ", ".join(made) or "none, for nothing is to be drawn in this time"
        raise Refused(f"there is no plot {name[:40]!r}; there are: {there}")
    named = {"Content-Disposition": f'attachment; filename="{name}.svg"'}
    return Response(made[name].svg, media_type="image/svg+xml", headers=named)


def _csv(name: str, columns: Sequence[str], rows: Sequence[Sequence[object]]) -> Response:
    named = {"Content-Disposition": f'attachment; filename="{name}.csv"'}
    text = csv_text(columns, rows)
    return Response(text, media_type="text/csv; charset=utf-8", headers=named)


def _tables(request: Request, since: str, until: str) -> ShopTables:
    here = here_of(request)
    return shop_tables(here.record, *_span(since, until, here.now().date()))


def _span(since: str, until: str, today: date) -> tuple[date, date]:
    try:
        last = date.fromisoformat(until) if until else today
        first = date.fromisoformat(since) if since else last - timedelta(DAYS)
    except (ValueError, OverflowError):
        raise Refused("write the days like 2026-05-04") from None
    return first, last
