"""Price lists as suppliers send them."""

from __future__ import annotations

import csv
import io
from datetime import datetime
from decimal import Decimal

import openpyxl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from knowngood.shop.list_text import decoded
from knowngood.shop.pricelist import Columns, PriceLine, difference, guess, read_prices

LIST = """\
Part No;Description;List price;Superseded by
BW-100;Battery pack;189,00;
BW-210;Start box;42,50;BW-212
BW-212;Start box, sealed;44,00;
BW-310;Controller;1.160,00;
"""


def test_a_list_with_decimal_commas() -> None:
    found = read_prices(LIST.encode(), "list.csv")
    assert found.problems == ()
    assert (found.encoding, found.decimals) == ("utf-8", "comma")
    assert found.columns == Columns("Part No", "Description", "List price", "Superseded by")
    assert found.lines["BW210"] == PriceLine("BW-210", "Start box", Decimal("42.50"), "BW-212")
    assert found.lines["BW310"].price == Decimal("1160.00")


@pytest.mark.parametrize(
    ("encoding", "mark", "named"),
    [("utf-8", b"", "utf-8"), ("utf-8-sig", b"", "utf-8-sig"), ("utf-16", b"", "utf-16"),
     ("cp1252", b"", "cp1252"), ("latin-1", b"", "cp1252")],
)  # fmt: skip
def test_encodings(encoding: str, mark: bytes, named: str) -> None:
    text = "number,words,price\r\n1,Höhenschraube für Griff,2.50\r\n"
    found = read_prices(mark + text.encode(encoding), "l.csv")
    assert found.lines["1"].words == "Höhenschraube für Griff"
    assert found.encoding == named


@pytest.mark.parametrize(
    ("body", "line", "message"),
    [
        ("1,a,1.00\n1,a,1.10\n", 3,
         "1 stands twice (first in line 2, 'a' at 1.00) and differs"),
        ("1,a,1.00\n2,b,2,00\n", 3, "4 cells instead of 3"),
        ('1,a,1.00\n3,c,3.00\n2,b,"2,00"\n', 4, "'2,00' is written in another way"),
        ("1,a,cheap\n", 2, "the price of 1 is 'cheap'"),
        ("1,a,1e3\n", 2, "the price of 1 is '1e3'"),
        ('1,a,"1,23,4"\n', 2, "the price of 1 is '1,23,4'"),
        ("1,a,12..50\n", 2, "the price of 1 is '12..50'"),
        ("1,a,-1.00\n", 2, "the price of 1 is '-1.00'"),
        ("1,a,NaN\n", 2, "the price of 1 is 'NaN'"),
        (",a,1.00\n", 2, "a line without a part number"),
        ("4-May,a,1.00\n", 2, "looks like a day"),
        ("2026-05-04,a,1.00\n", 2, "looks like a day"),
        ("May-04,a,1.00\n", 2, "looks like a day"),
        ("12. Mai,a,1.00\n", 2, "looks like a day"),
        ("05.04.2026,a,1.00\n", 2, "looks like a day"),
        ("1,a\n", 2, "2 cells instead of 3"),
    ],
)
def test_each_bad_line_is_named(body: str, line: int, message: str) -> None:
    found = read_prices(("number,words,price\n" + body).encode(), "l.csv")
    assert [(p.line, message in p.message, bool(p.fix)) for p in found.problems] == [
        (line, True, True)
    ]


def test_the_same_line_twice_is_counted_and_no_problem() -> None:
    found = read_prices(b"number,words,price\n1,a,1.00\n1,a,1.00\n", "l.csv")
    assert (len(found.lines), found.repeated, found.problems) == (1, 1, ())


def test_a_circle_of_numbers_is_named() -> None:
    text = "number,words,price,replaced by\n1,a,1.00,2\n2,b,1.00,3\n3,c,1.00,1\n4,d,1.00,4\n"
    found = read_prices(text.encode(), "l.csv")
    assert [p.message for p in found.problems] == [
        "these numbers replace each other in a circle: 1 -> 2 -> 3"
    ]
    assert found.lines["4"].became == ""  # itself is no replacement
    assert list(found.lines) == ["4"]  # nobody can say which of the others is to be ordered


def test_a_price_written_the_other_way_is_not_taken_for_another() -> None:
    """ "2,00" among points would be 200."""
    found = read_prices(b'number,words,price\n1,a,1.00\n3,c,3.00\n2,b,"2,00"\n', "l.csv")
    assert [str(one.price) for one in found.lines.values()] == ["1.00", "3.00"]


def test_ten_thousand_bad_lines_do_not_flood() -> None:
    found = read_prices(b"number,words,price\n" + b"1,a,x\n" * 10_000, "l.csv")
    assert len(found.problems) == 201
    assert found.problems[-1].message == "and 9800 problems more"


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "no list in text"), (b"PK\x03\x04\x00\x00a,b", "workbook cannot be read"),
        (b"only one column\n1\n", "one column only"),
        (b"a,b,c\n1,2,3\n", "which columns are number, words and price? The list has: a, b, c"),
    ],
)  # fmt: skip
def test_what_is_no_list(data: bytes, said: str) -> None:
    with pytest.raises(ValueError, match=said.replace("?", r"\?")):
        read_prices(data, "l.csv")


def test_a_column_that_is_not_there() -> None:
    with pytest.raises(ValueError, match="no column 'Nr'; it has: number, words, price"):
        read_prices(b"number,words,price\n1,a,1\n", "l.csv", Columns("Nr", "words", "price"))


def test_columns_told_by_their_names() -> None:
    assert guess(["Artikelnummer", "Bezeichnung", "Preis"]) == Columns(
        "Artikelnummer", "Bezeichnung", "Preis"
    )
    assert guess(["x", "y", "z"]) is None


def test_what_a_new_list_changes() -> None:
    old = read_prices(LIST.encode(), "old").lines
    new = read_prices(
        LIST.replace("189,00", "199").replace("Controller", "Drive board")
        .replace("BW-212;Start box, sealed;44,00;\n", "BW-213;Start box;40,00;\n").encode(), "new",
    ).lines  # fmt: skip
    found = difference(old, new, "USD")
    assert found.added == ("BW-213",)
    assert found.gone == ("BW-212",)
    assert found.dearer == ("BW-100 (189.00 -> 199.00)",)
    assert found.renamed == ("BW-310",)
    assert (found.cheaper, found.superseded, found.same) == ((), (), 1)
    assert found.lines[-1] == "1 as they were"


@given(
    st.dictionaries(
        st.text("ABC0123456789", min_size=1, max_size=8),
        st.tuples(st.text("abc ;,\"'\n", max_size=12), st.decimals(0, 99_999, places=2)),
        max_size=30,
    ),
    st.sampled_from([";", ",", "\t"]), st.booleans(),
)  # fmt: skip
def test_what_the_library_writes_is_read_back(
    parts: dict[str, tuple[str, Decimal]], separator: str, comma: bool
) -> None:
    """The csv module of Python writes it, with text in quotes where needed (RFC 4180)."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, delimiter=separator)
    writer.writerow(["number", "words", "price"])
    for number, (words, price) in parts.items():
        writer.writerow([number, words, str(price).replace(".", "," if comma else ".")])
    found = read_prices(out.getvalue().encode(), "l.csv")
    assert found.problems == ()
    assert {k: (one.words, one.price) for k, one in found.lines.items()} == {
        k: (w.strip(), p) for k, (w, p) in parts.items()
    }


def test_decoding_never_fails() -> None:
    assert decoded(b"\x81\x8d")[1] == "cp1252"


def test_a_workbook_as_another_library_writes_it() -> None:
    """openpyxl writes it, with a part number that a table program made a day of."""
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    for row in (
        ["Part No", "Description", "Price"], ["BW-210", "Start box, sealed", 42.5],
        [100200, "Bolt", 0.1], [datetime(2026, 5, 4), "Washer", 1], ["BW-9", "Nut", 1160],
    ):  # fmt: skip
        sheet.append(row)
    out = io.BytesIO()
    book.save(out)
    found = read_prices(out.getvalue(), "list.xlsx")
    assert found.encoding == "workbook"
    assert {one.number: str(one.price) for one in found.lines.values()} == {
        "BW-210": "42.5", "100200": "0.1", "BW-9": "1160",
    }  # fmt: skip
    assert found.lines["BW210"].words == "Start box, sealed"
    assert [(p.line, "looks like a day" in p.message) for p in found.problems] == [(4, True)]


def test_of_two_prices_the_one_that_counts_is_named() -> None:
    found = read_prices(b"number,words,price\n1,a,1.00\n1,a,1.10\n", "l.csv")
    assert found.problems[0].fix == "Keep the right one; as it is, line 2 counts"
    assert found.lines["1"].price == Decimal("1.00")


def test_lines_of_two_encodings_in_one_file_are_each_read() -> None:
    """One line of Windows western among UTF-8 ones, as when two lists were put together."""
    lines = [f"{n},Höhe {n},2.50\n".encode() for n in range(1, 9)]
    lines[5] = "6,Größe,2.50\n".encode("cp1252")
    found = read_prices(b"number,words,price\n" + b"".join(lines), "l.csv")
    assert [one.words for one in found.lines.values()][4:7] == ["Höhe 5", "Größe", "Höhe 7"]
    assert (found.encoding, found.problems) == ("utf-8 and cp1252", ())
    assert found.notes == (
        "line 7: another encoding than the rest, read as Windows western; look at the words",
    )


def test_a_sign_that_no_encoding_has_is_told() -> None:
    found = read_prices(b"number,words,price\n1,a\x81,1.50\n2\x81,b,1.50\n", "l.csv")
    assert list(found.lines) == ["1"]
    assert found.notes == ("lines 2, 3: a sign could not be read; look at the words",)
    assert [(p.line, "could not be read" in p.message) for p in found.problems] == [(3, True)]


AMBIGUOUS = b"number;words;price\n1;a;1.250\n2;b;12\n"


def test_thousands_or_decimals_is_asked_where_nothing_tells() -> None:
    with pytest.raises(ValueError, match=r"'1\.250' in line 2 may be thousands or decimals"):
        read_prices(AMBIGUOUS, "l.csv")
    for said, price in (("comma", "1250"), ("point", "1.250")):
        assert str(read_prices(AMBIGUOUS, "l.csv", None, said).lines["1"].price) == price
        assert str(read_prices(AMBIGUOUS, "l.csv", None, "", said).lines["1"].price) == price
    told = read_prices(AMBIGUOUS + b"3;c;3,50\n", "l.csv", None, "", "point")
    assert str(told.lines["1"].price) == "1250"  # the column tells
    wrong = read_prices(AMBIGUOUS + b"3;c;3,50\n", "l.csv", None, "point")
    (problem,) = wrong.problems
    assert problem.line == 4 and "not written with a point" in problem.message
    with pytest.raises(ValueError, match="say comma or point"):
        read_prices(AMBIGUOUS, "l.csv", None, "dot")


def test_a_quote_that_is_not_closed_is_named() -> None:
    """Once it runs past what the csv module takes for one cell, once it ends at the next quote."""
    body = 'number;words;price\n1;a;1.50\n2;"12 inch bar;2.50\n'
    long = body + "".join(f"{n};bolt;3.50\n" for n in range(3, 20_000))
    with pytest.raises(ValueError, match=r"line 3 cannot be read .*look for a quote"):
        read_prices(long.encode(), "l.csv")
    for between in ("", "3;b;1.50\n"):
        short = body + between + '4;"14" bar;4.50\n5;c;5.50\n'
        found = read_prices(short.encode(), "l.csv")
        assert list(found.lines) == ["1", "5"]
        (problem,) = found.problems
        assert problem.line == 3 and "a quote in this line" in problem.message
    fine = read_prices(b'number;words;price\n1;"a\nb; c";1.50\n2;d;x\n', "l.csv")
    assert fine.lines["1"].words == "a\nb; c"
    assert [p.line for p in fine.problems] == [4]  # counted as an editor counts lines
