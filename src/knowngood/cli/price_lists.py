"""The work behind ``knowngood parts``; each function returns the exit code."""

from __future__ import annotations

import sys
from pathlib import Path

from knowngood.cli.paperwork import moment, said
from knowngood.cli.to_read import to_read
from knowngood.places.list_history import drop_list, take_back_list
from knowngood.places.parts import find_number, take_list, try_list
from knowngood.places.record import At, Record, Refused
from knowngood.shop.list_text import decoded
from knowngood.shop.pricelist import Columns
from knowngood.store.problem import not_read
from knowngood.store.where import store_path


def take(
    file: Path, maker: str, currency: str, columns: Columns | None, dry_run: bool,
    without_bad: bool, store: Path | None, by: str, decimals: str = "",
) -> int:  # fmt: skip
    """Print what changes; take the list unless it is a dry run or has problems."""

    def work() -> None:
        try:
            data = file.read_bytes()
        except OSError as error:
            raise Refused(not_read(file, error)) from error
        with Record.open(store_path(store)) as record:
            trial = try_list(record, maker, currency, data, file.name, columns, decimals)
            chosen = trial.listed.columns
            told = "remembered" if trial.remembered else "given" if columns else "by their names"
            print(f"Columns ({told}): number {chosen.number!r}, words {chosen.words!r}, "
                  f"price {chosen.price!r}, replaced by {chosen.became or 'no column'!r}; "
                  f"{trial.listed.encoding}, decimals with a {trial.listed.decimals}")  # fmt: skip
            for line in trial.changes.lines:
                print(f"  {line}")
            if trial.listed.repeated:
                print(f"  {trial.listed.repeated} lines stand twice and say the same")
            for note in trial.listed.notes:
                print(f"  {note}")
            for problem in trial.problems:
                print(problem, file=sys.stderr)
            if dry_run:
                print("Nothing was taken (dry run).")
                if count := len(trial.problems):
                    raise Refused(f"{count} problem{'s' * (count > 1)} in the list")
                return
            count = take_list(
                record, trial, decoded(data)[0], At(moment(), by or "somebody"), without_bad
            )
            print(f"Taken: {count} parts of {maker}.")

    return said(work)


def undo(maker: str, reason: str, drop: bool, store: Path | None, by: str) -> int:
    """Take the last list of a maker back, or drop all of them."""

    def work() -> None:
        with Record.open(store_path(store), make=False) as record:
            done = drop_list if drop else take_back_list
            print(done(record, maker, reason, At(moment(), by or "somebody")))

    return said(work)


def find(text: str, store: Path | None) -> int:
    """Print the parts that a number or words lead to."""

    def work() -> None:
        with to_read(store) as record:
            found = record.log.prices.search(text)
            if not found:
                find_number(record, text)  # says what is near
            for one in found:
                ends = record.log.prices.find(one.number, one.maker)
                end = ends[0] if ends else one
                print(f"{one.number}  {one.words}  {one.money}  ({one.maker})")
                if len(end.chain) > 1:
                    chain = ", then ".join(end.chain[1:])
                    print(f"  became {chain}: order {end.number} at {end.money}")

    return said(work)


def lists(store: Path | None) -> int:
    """Print the lists."""

    def work() -> None:
        with to_read(store) as record:
            known = record.log.prices.lists()
        for one in known:
            day = one.taken_at.date()
            print(f"{one.maker}: {one.parts} parts in {one.currency}, taken {day} by {one.by}")
        if not known:
            print("No price list yet: knowngood parts take FILE --maker NAME --currency USD")

    return said(work)
