"""Cells that a table program would run."""

from __future__ import annotations

import csv
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from knowngood.shop.csv_text import csv_text, defused


@pytest.mark.parametrize(
    ("cell", "text"),
    [
        ("=1+1", "'=1+1"), ("@SUM(A1)", "'@SUM(A1)"), ("+49 30 1", "'+49 30 1"),
        ("-12.50", "-12.50"),
        ("-cmd", "'-cmd"), ("\t=1", "'\t'=1"), (12, "12"), (None, ""), ("plain", "plain"),
        ("-inf", "'-inf"), ("- 1", "'- 1"),
        ("cap;=1+1", "cap;'=1+1"), ("a\n@b", "a\n'@b"), ("a\t =1", "a\t' =1"), ("a;b=1", "a;b=1"),
        ('a;"=1"', "a;'\"=1\""),
    ],
)  # fmt: skip
def test_starts_of_formulas(cell: object, text: str) -> None:
    """The starts are those of OWASP's page on CSV injection."""
    assert defused(cell) == text


@given(st.lists(st.tuples(st.text(max_size=20), st.text(max_size=20)), max_size=8))
def test_read_back_by_the_library(rows: list[tuple[str, str]]) -> None:
    rows = [tuple(c.replace("\x00", "") for c in row) for row in rows]  # type: ignore[misc]
    read = list(csv.reader(io.StringIO(csv_text(("a", "b"), rows), newline="")))
    assert read == [["a", "b"], *[[defused(c) for c in row] for row in rows]]
    for row in read:
        for cell in row:
            assert not cell.startswith(("=", "@", "\t", "\r"))


@given(st.lists(st.tuples(st.text("a;=@ \t\n"), st.text("b;=@ ")), max_size=4))
def test_parted_by_semicolons_no_cell_begins_a_formula(rows: list[tuple[str, str]]) -> None:
    """As a table program reads it where commas are decimals: cells end at each semicolon and line
    end, whatever stands in quotes."""
    for cell in csv_text(("a", "b"), rows).replace("\n", ";").replace("\r", ";").split(";"):
        assert not cell.lstrip('" \t').startswith(("=", "@"))


def test_line_feeds_and_full_width_signs_start_no_formula() -> None:
    """OWASP, CSV injection: line feed, and the full-width forms of = + - @ (from memory)."""
    for start in ("\n", "\uff1d", "\uff0b", "\uff0d", "\uff20"):
        assert defused(f"{start}1+1") == f"'{start}1+1"
