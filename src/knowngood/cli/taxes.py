"""The work behind ``knowngood paper taxes``; the exit code."""

from __future__ import annotations

from pathlib import Path

from knowngood.cli.paperwork import moment, said
from knowngood.cli.to_read import to_read
from knowngood.places.record import At, Record, Refused
from knowngood.places.tax_table import set_taxes, table_of, table_words
from knowngood.store.where import store_path


def taxes(
    rates: tuple[str, ...], kinds: tuple[str, ...], on: str, none: bool, store: Path | None,
    by: str,
) -> int:  # fmt: skip
    """Set the shop's table where rates are given; say how it stands."""

    def work() -> None:
        if none and (rates or kinds):
            raise Refused("--none or --tax, one of both")
        if kinds and not rates:
            raise Refused("--for is set along with the rates: --tax sales=8.25 --for labour=none")
        changed = bool(rates) or none
        with Record.open(store_path(store)) if changed else to_read(store) as record:
            if changed:
                at = At(moment(), by or "somebody")
                set_taxes(record, ",".join(rates), kinds, on, at)
            print("\n".join(table_words(table_of(record))))

    return said(work)
