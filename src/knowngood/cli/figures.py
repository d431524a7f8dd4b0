"""``knowngood job figures``: how the shop does over a time."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

from knowngood.cli.paperwork import moment, said
from knowngood.places.figures import shop_figures
from knowngood.places.record import Record, Refused
from knowngood.shop.csv_text import csv_text


def print_figures(store: Path, since: str, until: str, as_csv: bool) -> int:
    """Print the figures; exit code. Without days: the last 90."""

    def work() -> None:
        last = _day(until) if until else moment().date()
        first = _day(since) if since else last - timedelta(days=90)
        with Record.open(store, make=False) as record:
            found = shop_figures(record, first, last)
        if as_csv:
            rows = [(f.name, f.value, f.unit, f.of, f.how) for f in found]
            print(csv_text(("figure", "value", "unit", "of jobs", "how"), rows), end="")
            return
        print(f"Jobs handed back from {first} to {last}")
        for one in found:
            print(f"  {one.name}: {one.shown} of {one.of} ({one.how})")

    return said(work)


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise Refused(f"{text[:40]!r} is no day; write the day like 2026-05-04") from None
