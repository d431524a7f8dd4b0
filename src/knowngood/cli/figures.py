"""``knowngood job figures``: how the shop does over a time."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

from knowngood.cli.paperwork import moment, said
from knowngood.cli.to_read import to_read
from knowngood.places.figures import COLUMNS, MONTH_COLUMNS, ShopTables, shop_tables
from knowngood.places.plots import month_names, plots_of
from knowngood.places.record import Refused
from knowngood.shop.csv_text import csv_text
from knowngood.store.problem import not_written


def print_figures(
    store: Path, since: str, until: str, as_csv: bool, months: bool, svg: Path | None
) -> int:
    """Print the figures, or draw them into a folder; exit code. Without days: the last 90."""

    def work() -> None:
        last = _day(until) if until else moment().date()
        first = _day(since) if since else last - timedelta(days=90)
        with to_read(store) as record:
            found = shop_tables(record, first, last)
        if svg is not None:
            _draw(found, svg)
        elif as_csv:
            names, rows = (
                (MONTH_COLUMNS, found.month_rows()) if months else (COLUMNS, found.rows())
            )
            print(csv_text(names, rows), end="")
        else:
            _print(found, months)

    return said(work)


def _print(found: ShopTables, months: bool) -> None:
    print(f"Jobs closed from {found.first} to {found.last}")
    if months:
        for month, name in zip(found.months, month_names(found.months), strict=True):
            print(name)
            for one in month.figures:
                print(f"  {one.name}: {one.shown} of {one.of}")
        return
    for one in (*found.whole, *found.owed):
        print(f"  {one.name}: {one.shown} of {one.of} ({one.how})")


def _draw(found: ShopTables, folder: Path) -> None:
    plots = plots_of(found)
    if not plots:
        print("Nothing to draw yet: no job was closed in this time and no claim is owed.")
        return
    for plot in plots:
        path = folder / f"{plot.name}.svg"
        try:
            folder.mkdir(parents=True, exist_ok=True)
            path.write_text(plot.svg, encoding="utf-8")
        except OSError as error:
            raise Refused(not_written(path, error)) from error
        print(f"written: {path}")


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise Refused(f"{text[:40]!r} is no day; write the day like 2026-05-04") from None
