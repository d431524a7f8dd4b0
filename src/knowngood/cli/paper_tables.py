"""The work behind ``knowngood paper claims`` and ``sheet``; each function returns the exit code."""

from __future__ import annotations

from pathlib import Path

from knowngood.cli.paperwork import moment, said
from knowngood.cli.to_read import to_read
from knowngood.places.claims import COLUMNS, all_claims, owed_by_age, refusals
from knowngood.places.day_paper import day_paper
from knowngood.places.premises import in_shop_time
from knowngood.places.record import Refused
from knowngood.shop.csv_text import csv_text
from knowngood.store.problem import not_written


def claims(store: Path | None, as_csv: bool) -> int:
    """Print every claim that went out, what is owed by age, and the reasons of denial."""

    def work() -> None:
        with to_read(store) as record:
            lines = all_claims(record)
            today = in_shop_time(record, moment()).date()
        if as_csv:
            print(csv_text(COLUMNS, [line.cells() for line in lines]), end="")
            return
        for one in lines:
            print(f"{one.job}  {one.programme}  sent {one.sent}: {one.asked} {one.currency} asked, "
                  f"{one.words}; {one.received} received")  # fmt: skip
        if not lines:
            print("No claim has gone out yet.")
        for currency, ages in owed_by_age(lines, today).items():
            for age, amount in ages.items():
                print(f"owed {age}: {amount} {currency}")
        for programme, reasons in refusals(lines).items():
            for reason, count in reasons.items():
                print(f"refused by {programme}: {count} for {reason or 'no reason noted'}")

    return said(work)


def sheet(out: Path, store: Path | None) -> int:
    """Write the day's sheet as a PDF."""

    def work() -> None:
        with to_read(store) as record:
            data = day_paper(record, in_shop_time(record, moment()))
        try:
            out.write_bytes(data)
        except OSError as error:
            raise Refused(not_written(out, error)) from error
        print(f"written: {out}")

    return said(work)
