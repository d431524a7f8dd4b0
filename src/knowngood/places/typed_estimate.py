"""An estimate as it is typed: one line each, kind; words; price; tax."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal, InvalidOperation
from typing import cast, get_args

from knowngood.places.account import Newer
from knowngood.places.record import Refused
from knowngood.shop.estimate import Kind, Line
from knowngood.shop.money import MoneyProblem, Taxes, read_amount


def line_of(text: str, currency: str) -> Line:
    """ "part; drive board; 84.00; sales" as a line. Raises Refused."""
    fields = [field.strip() for field in text.split(";")]
    if len(fields) not in (3, 4):
        raise Refused(f"{text!r} is no line; write it like: part; drive board; 84.00; sales")
    kind, words, price, *tax = fields
    if kind not in get_args(Kind):
        raise Refused(f"{kind!r} is no kind of line; it may be {', '.join(get_args(Kind))}")
    try:
        amount = read_amount(price, currency)
    except MoneyProblem as problem:
        raise Refused(str(problem)) from problem
    return Line(cast(Kind, kind), words, amount, tax=tax[0] if tax else "")


def lines_of(text: str, currency: str) -> list[Line]:
    """Every line of a text. Raises Refused when there is none."""
    if len(currency) != 3 or not currency.isalpha():
        raise Refused(f"the currency is {currency!r}; write its three letters, as USD")
    lines = [line_of(line, currency) for line in text.splitlines() if line.strip()]
    if not lines:
        raise Refused("an estimate needs a line, such as: labour; find and mend; 45.00")
    return lines


def taxes_of(text: str, on: str) -> Taxes:
    """ "sales=8.25, eco=1" as the shop's table. Raises Refused."""
    if on not in ("line", "total"):
        raise Refused(f"tax is rounded on {on!r}; it may be line or total")
    percent: dict[str, Decimal] = {}
    for rate in text.replace("\n", ",").split(","):
        if not rate.strip():
            continue
        name, sign, value = (part.strip() for part in rate.partition("="))
        try:
            percent[name] = Decimal(value)
        except InvalidOperation:
            raise Refused(f"{rate.strip()!r} is no tax; write it like sales=8.25") from None
        if not (sign and name and percent[name].is_finite() and 0 <= percent[name] <= 100):
            raise Refused(f"{rate.strip()!r} is no tax; write it like sales=8.25, 0 to 100 percent")
    return Taxes(percent, on="line" if on == "line" else "total")


def text_of(lines: Sequence[Line]) -> str:
    """Lines as they would be typed."""
    return "\n".join(
        "; ".join(field for field in (x.kind, x.words.replace(";", ","), f"{x.amount.amount:.2f}",
                                      x.tax) if field)
        for x in lines
    )  # fmt: skip


def percent_of(text: str) -> Decimal:
    """ "50", "50 %" or nothing. Raises Refused."""
    try:
        found = Decimal(text.strip().removesuffix("%").strip().replace(",", ".") or "0")
    except InvalidOperation:
        raise Refused(f"{text[:40]!r} is no share; write percent, as 50") from None
    if not (found.is_finite() and 0 <= found <= 100):
        raise Refused(f"{text[:40]!r} percent; give 0 to 100")
    return found


def newer_of(price: str, years: str, years_after_repair: str, currency: str) -> Newer | None:
    """A new machine to compare with, None when nothing was typed. Raises Refused."""
    if not (price.strip() or years.strip() or years_after_repair.strip()):
        return None
    if not (price.strip() and years.strip() and years_after_repair.strip()):
        raise Refused("repair or new needs all three: price of a new one, and years of each")
    spans = []
    for text in (years, years_after_repair):
        try:
            span = Decimal(text.strip().replace(",", "."))
        except InvalidOperation:
            raise Refused(f"{text[:40]!r} is no number of years") from None
        if not (span.is_finite() and 0 < span <= 100):
            raise Refused(f"{text[:40]!r} years; give more than 0, at most 100")
        spans.append(span)
    try:
        return Newer(read_amount(price, currency), spans[0], spans[1])
    except MoneyProblem as problem:
        raise Refused(str(problem)) from problem
