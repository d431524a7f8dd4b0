"""An estimate as it is typed: one line each, kind; words; price; tax."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from decimal import Decimal, InvalidOperation
from typing import cast, get_args

from knowngood.places.account import Newer
from knowngood.places.record import Refused
from knowngood.shop.estimate import Kind, Line
from knowngood.shop.money import Mode, MoneyProblem, Taxes, read_amount, step_of

NO_TAX = "none"
_COMMA = re.compile(r"(=[ \t]*\d+),(\d+)(?=[ \t]*%?[ \t]*(?:[,\n]|$))")
"""In "sales=8,25" the comma is a decimal one: a rate has a name."""
ROUNDING = "rounding"  # among the taxes: the step they are rounded to, and no rate


def line_of(text: str, currency: str, usual: Mapping[str, str] | None = None) -> Line:
    """ "part; drive board; 84.00; sales" as a line; without a tax it has the ``usual`` one of its
    kind, with "none" it has none. Raises Refused."""
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
    if kind != "credit" and amount.amount < 0:
        raise Refused(f"{text!r} is below zero; what is taken off is a credit: credit; {words}; "
                      f"{-amount.amount}")  # fmt: skip
    if kind == "credit" and amount.amount > 0:
        amount = -amount  # it is taken off, with or without its sign
    rate = tax[0] if tax else (usual or {}).get(kind, "")
    return Line(cast(Kind, kind), words, amount, tax="" if rate == NO_TAX else rate)


def lines_of(text: str, currency: str, usual: Mapping[str, str] | None = None) -> list[Line]:
    """Every line of a text, as `line_of` reads it. Raises Refused when there is none."""
    if len(currency) != 3 or not currency.isalpha():
        raise Refused(f"the currency is {currency!r}; write its three letters, as USD")
    lines = [line_of(line, currency, usual) for line in text.splitlines() if line.strip()]
    if not lines:
        raise Refused("an estimate needs a line, such as: labour; find and mend; 45.00")
    return lines


def taxes_of(text: str, on: str) -> Taxes:
    """ "sales=8.25, eco=1" as the shop's table; beside the rates "included" (prices are with tax),
    "half even" or "down", and "rounding=0.05", the step of the tax. Raises Refused."""
    if on not in ("line", "total"):
        raise Refused(f"tax is rounded on {on!r}; it may be line or total")
    percent: dict[str, Decimal] = {}
    mode: Mode = "half up"
    included = False
    for rate in _COMMA.sub(r"\1.\2", text).replace("\n", ",").split(","):
        said = " ".join(rate.split())
        if not said:
            continue
        if said in get_args(Mode):
            mode = cast(Mode, said)
            continue
        if said == "included":
            included = True
            continue
        name, sign, value = (part.strip() for part in rate.partition("="))
        try:
            percent[name] = Decimal(value.removesuffix("%").strip())
        except InvalidOperation:
            raise Refused(f"{rate.strip()!r} is no tax; write it like sales=8.25") from None
        if not (sign and name and percent[name].is_finite() and 0 <= percent[name] <= 100):
            raise Refused(f"{rate.strip()!r} is no tax; write it like sales=8.25, 0 to 100 percent")
    step = percent.pop(ROUNDING, None)
    if step is not None and not step:
        raise Refused("rounding to 0; give the step the tax is rounded to, as rounding=0.05")
    return Taxes(percent, "line" if on == "line" else "total", step, None, mode, included)


def taxes_text(taxes: Taxes, currency: str) -> str:
    """A table as it would be typed."""
    said = [f"{name}={percent}" for name, percent in taxes.percent.items()]
    if taxes.step not in (None, step_of(currency)):
        said.append(f"{ROUNDING}={taxes.step}")
    said += [taxes.mode] if taxes.mode != "half up" else []
    return ", ".join([*said, *(["included"] if taxes.included else [])])


def prices_of(
    typed: Sequence[str], decided: Sequence[tuple[str, str, str]], currency: str
) -> Mapping[str, Decimal]:
    """By id of the part: "84.00" is for the first one decided on, "main fuse=3.50" for the one of
    this name, number or id. `decided`: (id, words, number) each. Raises Refused."""
    found: dict[str, Decimal] = {}
    for text in typed:
        name, sign, price = (field.strip() for field in text.rpartition("="))
        known = {n.casefold(): one[0] for one in reversed(decided) for n in one if n}
        part = known.get(name.casefold()) if sign else decided[0][0] if decided else None
        there = ", ".join(words.lower() for _, words, _ in decided) or "none yet"
        if part is None or part in found:
            why = "is there twice" if part else "is the price of no part decided on"
            raise Refused(f"{text!r} {why} ({there}); write each once, as NAME=84.00")
        try:
            found[part] = read_amount(price, currency).amount
        except MoneyProblem as problem:
            raise Refused(str(problem)) from problem
    return found


def text_of(lines: Sequence[Line], usual: Mapping[str, str] | None = None) -> str:
    """Lines as they would be typed where these are the ``usual`` taxes."""
    return "\n".join(
        "; ".join(field for field in (x.kind, x.words.replace(";", ","), f"{x.amount.amount:.2f}",
                                      x.tax or ((usual or {}).get(x.kind) and NO_TAX)) if field)
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
