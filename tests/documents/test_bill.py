"""Estimate and invoice as PDF, their text taken out again by pdftotext (poppler)."""

from __future__ import annotations

import shutil
import subprocess
from datetime import UTC, date, datetime
from decimal import Decimal
from pathlib import Path

import pytest

from knowngood.documents.bill import Customer, Payment, bill_document
from knowngood.documents.document import Document
from knowngood.documents.pdf import render
from knowngood.shop.estimate import Line, bill, repair_or_replace
from knowngood.shop.money import Money, Taxes
from tests.documents.mower import SHOP

NOW = datetime(2026, 3, 4, 16, 30, tzinfo=UTC)
WHO = Customer("Rosa Okafor", "Brackwater BM-561", "2304A01175", "dead <b>& #let x = 1")


def usd(amount: str) -> Money:
    return Money(Decimal(amount), "USD")


LINES = (
    Line("labour", "find and mend, about 42 min, 12 min of it done", usd("63.00")),
    Line("part", "1 x start box BW-1322", usd("46.00"), tax="sales"),
    Line("fee", "diagnosis fee", usd("40.00")),
    Line("credit", "diagnosis fee, credited", usd("-40.00")),
)
TAXES = Taxes({"sales": Decimal("8.25")})


def text_of(document: Document, folder: Path) -> str:
    if shutil.which("pdftotext") is None:
        pytest.skip("pdftotext is not installed (poppler-utils)")
    (folder / "paper.pdf").write_bytes(render(document, {}, NOW))
    done = subprocess.run(
        ["pdftotext", "-layout", "paper.pdf", "-"], cwd=folder, capture_output=True, check=True
    )
    return " ".join(done.stdout.decode().split())


def test_an_estimate_says_the_sum_the_bad_case_and_repair_or_new(tmp_path: Path) -> None:
    """63 + 46 + 8.25 % of 46 (3.795, rounded up) = 112.80; a year: 112.80 / 4, 429 / 8."""
    made = bill(LINES, TAXES, "USD", deposit_percent=Decimal(50))
    worth = repair_or_replace(made.taxed.gross, usd("429"), Decimal(4), Decimal(8))
    paper = bill_document("26-0001", False, WHO, made, SHOP, NOW, bad_case=usd("171.20"),
                          worthwhile=worth.sentence)  # fmt: skip
    said = text_of(paper, tmp_path)
    for words in (
        "Estimate", "dead <b>& #let x = 1", "Find and mend, about 42 min",
        "Tax: sales, 8.25 % 3.80 USD",
        "Estimated total 112.80 USD", "in 9 of 10 such jobs at most 171.20 USD",
        "23.00 USD is asked as a deposit", "28.20 USD a year over 4 years",
        "53.63 USD a year over 8", "ask your local rule",
    ):  # fmt: skip
        assert words in said, words


def test_an_invoice_expects_nothing_any_more(tmp_path: Path) -> None:
    paid = (Payment(date(2026, 3, 2), usd("23"), "card"), Payment(date(2026, 3, 4), usd("60")))
    made = bill(LINES, TAXES, "USD", payments=[p.amount for p in paid])
    said = text_of(bill_document("26-0001", True, WHO, made, SHOP, NOW, paid), tmp_path)
    assert "Find and mend 63.00 USD" in said and "about 42 min" not in said
    assert "2 March 2026 card 23.00 USD" in said and "Left to pay: 29.80 USD" in said
    assert "Estimate" not in said
