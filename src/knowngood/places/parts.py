"""The parts counter: price lists taken with a look at what they change, and parts found in them."""

from __future__ import annotations

import re
from dataclasses import dataclass

from knowngood.job.stockroom import STOCKROOM
from knowngood.machines.nearest import did_you_mean
from knowngood.measure.problem import Problem
from knowngood.places.list_history import history_after, lists_taken
from knowngood.places.record import At, Record, Refused
from knowngood.shop.list_text import decoded, table_of
from knowngood.shop.pricelist import (
    Columns,
    Difference,
    PriceList,
    difference,
    read_prices,
)
from knowngood.shop.supersession import Chain, same_number
from knowngood.store.prices import Priced, taking

MOST_BYTES = 200_000_000


@dataclass(frozen=True, slots=True)
class Trial:
    """A list looked at but not taken. `remembered`: its columns were those of the list before."""

    maker: str
    currency: str
    listed: PriceList
    changes: Difference
    remembered: bool

    @property
    def problems(self) -> tuple[Problem, ...]:
        return self.listed.problems


def try_list(
    record: Record, maker: str, currency: str, data: bytes, name: str, columns: Columns | None,
    decimals: str = "",
) -> Trial:  # fmt: skip
    """What a list would change. Columns not given are those remembered, else told by their names;
    `decimals` ("comma", "point") not given are told by the prices, else those remembered.

    Raises Refused when it is no list or its columns cannot be told.
    """
    if not maker.strip():
        raise Refused("whose list is it? Name the maker")
    if not re.fullmatch(r"[A-Z]{3}", currency):
        raise Refused(f"the currency is {currency!r}; write its three letters, as USD")
    if len(data) > MOST_BYTES:
        raise Refused(f"{name} has {len(data):,} bytes; the most is {MOST_BYTES:,}")
    before = next((one for one in record.log.prices.lists() if one.maker == maker), None)
    if before is not None and before.currency != currency:
        raise Refused(
            f"the list of {maker} is in {before.currency}, this one in {currency}: give it another "
            "maker's name, as in 'Tolmin (USD)'"
        )
    remembered = columns is None and before is not None and _fits(before.columns, data)
    chosen = before.columns if remembered and before is not None else columns
    try:
        taken = lists_taken(record, maker)
        usual = taken[-1].decimals if taken else ""
        listed = read_prices(data, name, chosen, decimals, usual)
    except ValueError as error:
        raise Refused(f"{name}: {error}") from error
    changes = difference(record.log.prices.lines(maker), listed.lines, currency)
    return Trial(maker, currency, listed, changes, remembered)


def _fits(columns: Columns, data: bytes) -> bool:
    try:
        names, _ = table_of(decoded(data)[0])
    except ValueError:
        return False
    wanted = {columns.number, columns.words, columns.price, columns.became} - {""}
    return wanted <= set(names)


def take_list(record: Record, trial: Trial, text: str, at: At, without_bad: bool = False) -> int:
    """Take a list that was looked at; how many parts it has.

    Raises Refused while it has problems, unless its bad lines are left out on purpose.
    """
    if trial.problems and not without_bad:
        count = len(trial.problems)
        raise Refused(
            f"{count} problem{'s' * (count > 1)} in the list, so nothing was taken; mend them, or "
            "take it without the bad lines (on a terminal --without-bad)"
        )
    if not trial.listed.lines:
        raise Refused("the list has no part in it, so nothing was taken")
    digest = record.files.keep_text(text)
    entries = history_after(record, trial.maker, trial.currency, trial.listed, digest)
    table = taking(trial.maker, trial.currency, trial.listed, digest, at.now, at.by)
    record.append(STOCKROOM, entries, at, table)
    return len(trial.listed.lines)


def find_number(record: Record, number: str, maker: str = "") -> tuple[Priced, ...]:
    """What to order for a number, its chain followed. Raises Refused naming near ones."""
    found = record.log.prices.find(number, maker)
    if not found:
        near = [p.number for p in record.log.prices.search(number[:4], 200)]
        lists = ", ".join(one.maker for one in record.log.prices.lists()) or "none yet"
        hint = did_you_mean(number, near, 5) if near else ""
        raise Refused(f"no list has the number {number!r} (lists: {lists}). {hint}".strip())
    return found


def lines_of(record: Record, number: str, maker: str) -> tuple[Priced, ...]:
    """What the lists say of a number, its chain followed: this maker's list, or else any."""
    if not number:
        return ()
    return record.log.prices.find(number, maker) or record.log.prices.find(number)


def number_now(record: Record, number: str, maker: str) -> tuple[str, str]:
    """The number to order for this one, and that it became another ("" if it is still itself)."""
    for one in lines_of(record, number, maker):
        if sentence := Chain(one.chain).sentence:
            return one.number, f"{sentence} (list of {one.maker})"
    return number, ""


def became(record: Record, number: str, maker: str) -> str:
    """That a number became another one; "" if it did not."""
    sentence = number_now(record, number, maker)[1]
    meant = "if the old number is meant, say so: --old-numbers on a terminal, the tick on the phone"
    return f"{sentence}; {meant}" if sentence else ""


def same_part(record: Record, one: str, other: str, maker: str) -> bool:
    """Whether two numbers are the same part by now: alike, or one became the other."""
    return bool(numbers_of(record, one, maker) & numbers_of(record, other, maker))


def numbers_of(record: Record, number: str, maker: str) -> frozenset[str]:
    """The number and all that it became, as numbers are compared."""
    chain = (n for one in lines_of(record, number, maker) for n in one.chain)
    return frozenset(same_number(n) for n in (number, *chain)) - {""}
