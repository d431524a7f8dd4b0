"""``knowngood stock`` as typed: wanted, ordered, come, used, ordered again."""

from __future__ import annotations

from pathlib import Path

import pytest

from knowngood.cli import main
from knowngood.job.shop_sheet import ShopNoted
from knowngood.places import decision
from knowngood.places.bench import CheckIn, open_job, take_reading
from knowngood.places.library import find_machine, find_meter
from knowngood.places.parts import take_list, try_list
from knowngood.places.premises import note_shop
from knowngood.places.record import Record
from knowngood.places.stockroom import room_of
from tests.places.conftest import SMALL, at
from tests.shop.test_pricelist import LIST


@pytest.fixture(name="store")
def _store(tmp_path: Path) -> list[str]:
    with Record.open(tmp_path / "shop.db") as record:
        check_in = CheckIn(
            find_machine(str(SMALL)), "dead", "it is dead", find_meter("generic-6000"),
            serial="5120", model="BT-5", number="26-0001",
        )  # fmt: skip
        open_job(record, check_in, at(), "j")
        take_reading(record, "j", "pack_rest", "57.9 V", at(3))
        take_reading(record, "j", "box_ohms", "OL", at(9))
        take_reading(record, "j", "box_ohms", "OL", at(9))
        decision.decide(record, "j", at(10))
    return ["--store", str(tmp_path / "shop.db")]


def test_from_wanted_to_fitted(store: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    def typed(*words: str) -> str:
        code = main(["stock", *words, *store])
        out, err = capsys.readouterr()
        assert code == (2 if err else 0)
        return out or err

    assert "wanted of Brackwater: BW-210, 1 without a price" in typed("show")
    elsewhere = typed("order", "PO-1", "--supplier", "Tri-County", "--wanted")
    assert "nothing of Tri-County. They want of Brackwater BW-210: order it there" in elsewhere
    order = ("order", "PO-1", "--supplier", "Brackwater", "--currency", "USD")
    assert "an order needs" in typed(*order)
    said = typed(*order, "--wanted", "--line", "BW-100; 1; 189,00", "--expected", "2099-03-09")
    assert said == "order PO-1 at Brackwater: 1 BW-100, 1 BW-210\n"
    assert "order PO-1 (Brackwater): open 1 BW-100, 1 BW-210, expected 2099-03-09" in typed("show")
    said = typed("came", "PO-1", "--part", "BW-210; 1")
    assert "still open: 1 BW-100" in said
    assert "can go on now: 26-0001 BT-5 (Start box)" in said
    assert "wait for other jobs" in typed("use", "BW-210", "1")
    assert typed("use", "BW-210", "1", "--job", "26-0001") == "BW-210: 0 left\n"
    assert typed("came", "po-1") == "order PO-1 is complete\n"
    assert "has come already" in typed("came", "PO-1")
    assert typed("keep", "BW-100", "1", "--job", "26-0001") == "BW-100: 0 of 1 free\n"
    goes = ("back", "PO-1", "BW-100", "1", "--reason", "wrong one")
    assert "other jobs wait for what would be left; set it free first" in typed(*goes)
    assert typed("keep", "BW-100", "0", "--job", "26-0001") == "BW-100: 1 of 1 free\n"
    assert typed(*goes) == "BW-100: 0 left\n"
    assert "Nothing to order again" in typed("advice")
    assert typed("count", "BW-100", "4", "--bin", "A1", "--words", "Pack") == "BW-100: 4\n"
    assert "BW-100  Pack  4  A1" in typed("show")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("order", "P", "--supplier", "B", "--line", "BW-210"), "is no line"),
        (("order", "P", "--supplier", "B", "--line", "BW-210; 1", "--expected", "soon"), "the day"),
        (("order", "P", "--supplier", "B", "--line", "BW-210; 1", "--expected", "2020-01-01"),
         "2020-01-01, which has passed"),
        (("came", "P"), "no order 'P'"),
        (("use", "BW-210", "1"), "nothing yet"),
        (("count", "--", "-", "3"), "is no part number"),
        (("advice", "--service", "1.5"), "between 0 and 1"),
        (("last", "BW-210", "--months", "12", "--too-few", "1", "--too-many", "1"), "no BW-210"),
    ],
)
def test_bad_input(
    store: list[str], capsys: pytest.CaptureFixture[str], words: tuple[str, ...], said: str
) -> None:
    command, *rest = words
    assert main(["stock", command, *store, *rest]) == 2
    assert said in capsys.readouterr().err


def test_an_order_is_told_of_its_suppliers_terms(
    store: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    def order(number: str, price: str, currency: str) -> str:
        line = ("--line", f"BW-100; 2; {price}", "--currency", currency)
        assert main(["stock", "order", number, "--supplier", "Brackwater", *line, *store]) == 0
        return capsys.readouterr().out

    terms = ("--currency", "USD", "--minimum", "50")
    assert main(["stock", "supplier", "Brackwater", *terms, *store]) == 0
    below = order("PO-1", "24.99", "USD")
    assert "49.98 USD is 0.02 USD below the least order of Brackwater, 50.00 USD" in below
    assert "note" not in order("PO-2", "25.00", "USD")
    other = order("PO-3", "99.00", "EUR")
    assert "the order is in EUR, the terms of Brackwater in USD" in other


def test_a_job_without_a_decided_part_is_named_without_brackets(
    store: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    with Record.open(Path(store[1])) as record:
        open_job(record, CheckIn(
            find_machine(str(SMALL)), "dead", "it is dead", find_meter("generic-6000"),
            model="BT-5", number="26-0002",
        ), at(), "k")  # fmt: skip
    line = ("--supplier", "Brackwater", "--line", "BW-100; 1; ; 26-0002")
    assert main(["stock", "order", "PO-1", *line, *store]) == 0
    assert main(["stock", "came", "PO-1", *store]) == 0
    assert "can go on now: 26-0002 BT-5\n" in capsys.readouterr().out


def test_the_shops_currency_and_the_suppliers_freight_are_usual(
    store: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    with Record.open(Path(store[1])) as record:
        note_shop(record, ShopNoted(name="Alder Lane", currency="EUR"), at())
        trial = try_list(record, "Brackwater", "EUR", LIST.encode(), "list.csv", None)
        take_list(record, trial, LIST, at())
    terms = ("--currency", "EUR", "--minimum", "50", "--freight", "9,50")
    assert main(["stock", "supplier", "Brackwater", *terms, *store]) == 0
    assert main(["stock", "show", *store]) == 0
    assert "wanted of Brackwater: BW-212, 6.00 EUR below" in capsys.readouterr().out
    order = ("stock", "order", "PO-1", "--supplier", "Brackwater")
    assert main([*order, "--line", "BW-210; 1", *store]) == 2
    assert "if the old number is meant, say so: --old-numbers" in capsys.readouterr().err
    assert main([*order, "--wanted", *store]) == 0
    with Record.open(Path(store[1])) as record:
        placed = room_of(record).orders["PO-1"]
    assert (placed.currency, placed.freight) == ("EUR", "9.50")
    assert placed.lines[0]["price"] == "44.00"


def test_a_suppliers_terms_are_shown_and_another_currency_is_said(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    def typed(*words: str) -> str:
        code = main(["stock", "supplier", *words, "--store", str(tmp_path / "shop.db")])
        out, err = capsys.readouterr()
        assert code == (2 if err else 0)
        return out or err

    assert "in which currency are the terms of Tri-County" in typed("Tri-County", "--freight", "9")
    assert typed("Tri-County", "--currency", "usd", "--minimum", "60") == (
        "kept: Tri-County: least order 60.00 USD, freight none, orders in USD\n"
    )
    kept = "Tri-County: least order 60.00 USD, freight 9.50 USD, orders in USD\n"
    assert typed("Tri-County", "--freight", "9,50") == f"kept: {kept}"  # the least order stays
    assert "give --minimum in EUR as well" in typed("Tri-County", "--currency", "EUR")
    assert typed() == typed("Tri-County") == kept  # nothing was stored
    both = ("--currency", "EUR", "--minimum", "50", "--freight", "0")
    assert typed("Tri-County", *both) == (
        "kept: Tri-County: least order 50.00 EUR, freight none, orders in EUR; "
        "the currency changed: USD -> EUR\n"
    )
    assert "no terms of Tri are kept (there are: Tri-County)" in typed("Tri")


def test_a_line_that_its_job_does_not_want_is_told_and_so_is_one_ordered_twice(
    store: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    def order(number: str, line: str) -> str:
        given = ("--supplier", "Brackwater", "--currency", "USD", "--line", line)
        code = main(["stock", "order", number, *given, *store])
        out, err = capsys.readouterr()
        assert code == (2 if err else 0)
        return out or err

    assert "the price of a part is 0 or more" in order("PO-1", "BW-210; 1; -42,50; 26-0001")
    slip = order("PO-1", "BW-201; 1; 42,50; 26-0001")
    assert "job 26-0001 is not known to want BW-201" in slip and "it wants Start box BW-210" in slip
    assert "if that is a slip, take the order back" in slip
    assert "note" not in order("PO-2", "BW-210; 1; 42,50; 26-0001")
    assert "BW-210 for job 26-0001 is on order PO-2, too" in order("PO-3", "BW-210; 1; ; 26-0001")
