"""What the customer is handed: an estimate before the work, an invoice with payments after it."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from knowngood.documents.document import (
    Block,
    Box,
    Bullets,
    Cell,
    Column,
    Document,
    Fact,
    Facts,
    Paragraph,
    Row,
    Table,
)
from knowngood.documents.parties import Shop
from knowngood.documents.wording import day, day_and_time, money
from knowngood.shop.estimate import Bill, Line
from knowngood.shop.money import Money

_EXPECTED = re.compile(r", about [0-9]+ min(, [0-9]+ min of it done)?$")
LAW = (
    "Whether an estimate binds, by how much it may be passed, and what has to stand on an invoice "
    "differ by place: ask your local rule."
)


@dataclass(frozen=True, slots=True)
class Customer:
    """Who it is for and what: in words, "" where it is not known."""

    name: str
    machine: str
    serial: str
    complaint: str


@dataclass(frozen=True, slots=True)
class Payment:
    day: date
    amount: Money
    way: str = ""


def bill_document(
    number: str,
    final: bool,
    customer: Customer,
    bill: Bill,
    shop: Shop,
    now: datetime,
    payments: Sequence[Payment] = (),
    agreed: Sequence[str] = (),
    bad_case: Money | None = None,
    worthwhile: str = "",
    dated: date | None = None,
) -> Document:
    """An estimate, or with `final` an invoice. `agreed`: who agreed to what, a sentence each.
    ``dated``: the day it bears, the day of printing if left out."""
    who = (
        Fact("For", customer.name), Fact("Machine", customer.machine),
        Fact("Serial", customer.serial), Fact("Complaint", customer.complaint),
    )  # fmt: skip
    blocks: list[Block] = [Facts(tuple(f for f in who if f.text.strip()))]
    blocks.append(_lines(bill, final))
    said = []
    if not final:
        if bad_case is not None and bill.taxed.gross < bad_case:
            said.append(
                f"Expected {bill.taxed.gross}; in 9 of 10 such jobs at most {bad_case}. Above what "
                "you agree to we stop and ask."
            )
        if bill.deposit.amount:
            said.append(f"{bill.deposit} is asked as a deposit before a part is ordered.")
        if worthwhile:
            said.append(f"Repair or new? {worthwhile[:1].upper()}{worthwhile[1:]}.")
    said += agreed
    if said:
        blocks.append(Bullets(tuple(said)))
    if payments:
        blocks.append(_paid(payments))
    if final:
        left = bill.left
        words = f"Left to pay: {left}" if left.amount > 0 else "Paid in full."
        if left.amount < 0:
            words = f"{-left} is given back."
        blocks.append(Paragraph(words, "strong"))
    blocks.append(Paragraph(LAW, "small"))
    return Document(
        title="Invoice" if final else "Estimate", reference=f"job {number}", date=day(dated or now),
        sender=shop.name, sender_lines=shop.lines, blocks=tuple(blocks),
        closing=f"Printed {day_and_time(now)}",
    )  # fmt: skip


def _lines(bill: Bill, final: bool) -> Table:
    rows = [
        Row((Cell(_named(line, final)), Cell(line.tax or ""), Cell(_sum(line.amount))))
        for line in bill.lines
    ]
    rows.append(Row((Cell("Without tax"), Cell(""), Cell(_sum(bill.taxed.net)))))
    for name, tax in bill.taxed.tax.items():
        words = f"Tax: {name}, {bill.percent_of(name)}"
        rows.append(Row((Cell(words), Cell(""), Cell(_sum(tax)))))
    total = "Total" if final else "Estimated total"
    rows.append(Row((Cell(total), Cell(""), Cell(_sum(bill.taxed.gross)))))
    columns = (Column("For", 5), Column("Tax", 1.2), Column("Amount", 1.8, right=True))
    return Table(columns, tuple(rows), total=True)


def _named(line: Line, final: bool) -> str:
    """As it was typed, with a capital; what an estimate expects of time is not on an invoice."""
    words = line.words.strip()
    if final and line.kind == "labour":
        words = _EXPECTED.sub("", words) or words
    return f"{words[:1].upper()}{words[1:]}"


def _paid(payments: Sequence[Payment]) -> Box:
    rows = tuple(
        Row((Cell(day(p.day)), Cell(p.way), Cell(_sum(p.amount)))) for p in payments
    )
    columns = (Column("Day", 2), Column("How", 3), Column("Amount", 1.8, right=True))
    return Box("Paid so far", (Table(columns, rows),))


def _sum(amount: Money) -> str:
    return money(amount.amount, amount.currency)
