"""The shop's table of taxes: its rates, which kind of line has which, how they are rounded."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Final, get_args

from knowngood.job.shop_files import TaxesSet
from knowngood.job.shop_sheet import SHOP
from knowngood.places.premises import the_shop
from knowngood.places.programmes import files_of
from knowngood.places.record import At, Record, Refused
from knowngood.places.typed_estimate import NO_TAX, taxes_of
from knowngood.shop.estimate import Kind
from knowngood.shop.money import Taxes

KINDS: Final[tuple[str, ...]] = get_args(Kind)
AS_THE: Final = {"fee": "labour", "credit": "fee"}
"""A kind of line that nothing is said of is taxed as this one."""


@dataclass(frozen=True, slots=True)
class Usual:
    """What an estimate is made with when nothing else is said; `kinds`: kind of line -> rate."""

    taxes: Taxes
    kinds: Mapping[str, str]


def table_of(record: Record) -> TaxesSet:
    """The table as it stands; without rates when the shop has set none."""
    return files_of(record).taxes


def shop_taxes(record: Record, currency: str) -> Usual | None:
    """The shop's taxes for an estimate in this currency; None where it has no table. The step
    of the tax is one of the shop's own currency, so in another one it is left out."""
    table = table_of(record)
    if not table.percent:
        return None
    own = the_shop(record).currency in ("", currency)
    step = Decimal(table.step) if table.step and own else None
    percent = {name: Decimal(said) for name, said in table.percent.items()}
    taxes = Taxes(percent, table.on, step, None, table.mode, table.included)
    return Usual(taxes, dict(table.kinds))


def kinds_for(usual: Usual | None, taxes: Taxes) -> Mapping[str, str]:
    """The usual rate of each kind of line, where these taxes have one of that name."""
    kinds = usual.kinds if usual is not None else {}
    return {kind: rate for kind, rate in kinds.items() if rate in taxes.percent}


def set_taxes(record: Record, rates: str, kinds: Sequence[str], on: str, at: At) -> TaxesSet:
    """Keep the table. ``rates`` as `taxes_of` reads them ("sales=8.25, included, half even,
    rounding=0.05"; empty: no table any more); ``kinds``: "labour=none", "part=sales", each kind of
    line once. Raises Refused."""
    table = read_table(rates, kinds, on)
    record.append(SHOP, [table], at)
    return table


def read_table(rates: str, kinds: Sequence[str], on: str) -> TaxesSet:
    """The table that was typed. Raises Refused naming what is off."""
    taxes = taxes_of(rates, on)
    for name in taxes.percent:
        if name == NO_TAX or ";" in name or len(name) > 40:
            raise Refused(f"{name[:40]!r} is no name of a tax; write a short word, as sales=8.25")
    if not taxes.percent and (rates.strip() or any(one.strip() for one in kinds)):
        raise Refused("no rate is given; write one, like sales=8.25")
    step = str(taxes.step) if taxes.step is not None else ""
    percent = {name: str(rate) for name, rate in taxes.percent.items()}
    of_kinds = _of_kinds(tuple(percent), kinds) if percent else {}
    return TaxesSet(percent, of_kinds, taxes.on, step, taxes.mode, taxes.included)


def _of_kinds(rates: Sequence[str], typed: Sequence[str]) -> Mapping[str, str]:
    said: dict[str, str] = {}
    for text in typed:
        kind, sign, rate = (field.strip() for field in text.partition("="))
        if not sign or kind not in KINDS or kind in said:
            why = "is there twice" if kind in said else "is no kind of line with its tax"
            raise Refused(f"{text!r} {why}; write each once, as {KINDS[0]}={rates[0]}; there are "
                          f"{', '.join(KINDS)}")  # fmt: skip
        if rate not in (*rates, NO_TAX):
            raise Refused(f"there is no tax {rate!r} for {kind}; the table has: "
                          f"{', '.join(rates)}, and {NO_TAX}")  # fmt: skip
        said[kind] = "" if rate == NO_TAX else rate
    for kind in KINDS:
        if kind in said:
            continue
        if len(rates) > 1 and kind not in AS_THE:
            raise Refused(f"which of {', '.join(rates)} is for {kind}? Write {kind}={rates[0]}, or "
                          f"{kind}={NO_TAX}")  # fmt: skip
        said[kind] = said[AS_THE[kind]] if kind in AS_THE else rates[0]
    return said


def table_words(table: TaxesSet) -> tuple[str, ...]:
    """The table in lines a person reads."""
    if not table.percent:
        return ("no taxes are set: an estimate proposes those of the one before",)
    lines = [
        f"{name} {percent} %: " + (", ".join(k for k, r in table.kinds.items() if r == name)
                                   or "only where a line names it")
        for name, percent in table.percent.items()
    ]  # fmt: skip
    if untaxed := ", ".join(kind for kind, rate in table.kinds.items() if not rate):
        lines.append(f"no tax: {untaxed}")
    where = "each line" if table.on == "line" else "the total of a rate"
    coin = f" to {table.step}" if table.step else ""
    prices = "prices are with tax" if table.included else "tax comes on top"
    return (*lines, f"{prices}; rounded on {where}, {table.mode}{coin}")
