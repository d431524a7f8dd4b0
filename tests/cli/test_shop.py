"""``knowngood shop`` as typed: the sheet that the phone's screen keeps, and what names it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from knowngood.cli import main
from knowngood.job.shop_sheet import ShopNoted
from knowngood.places.premises import letterhead, note_shop, the_shop
from knowngood.places.record import Record
from knowngood.shop.claim_check import SET_RATE
from tests.places.conftest import at


def test_everything_of_the_sheet_is_set_on_a_terminal(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """On a store that is not there yet; the names are those of the sheet itself."""
    store = ["--store", str(tmp_path / "shop.db")]
    assert main([
        "shop", "--name", "Alder Lane Small Engine & Cordless", "--address", "Alder Lane 3",
        "--address", "Tolmin", "--phone", "555 0100", "--rate", "84,50", "--currency", "usd",
        "--fee", "35 for a look", "--fee-amount", "35", "--credited", "--storage", "2 a day",
        "--keep-days", "60", "--fetch-days", "9", "--zone", "Europe/Vienna", "--person", "Ida",
        "--person", "Ben", *store,
    ]) == 0  # fmt: skip
    out = capsys.readouterr().out
    assert "rate an hour: 84.50 USD\n" in out and "address: Alder Lane 3, Tolmin\n" in out
    assert "diagnosis fee: 35.00 USD, credited when the repair goes ahead\n" in out
    wanted = ShopNoted(
        "Alder Lane Small Engine & Cordless", "Alder Lane 3\nTolmin", "555 0100", 84.5, "USD",
        "35 for a look", "2 a day", 60.0, "Europe/Vienna", ("Ida", "Ben"), 35.0, True, 9.0,
    )  # fmt: skip
    with Record.open(tmp_path / "shop.db") as record:
        assert the_shop(record) == wanted
        assert letterhead(record).lines == ("Alder Lane 3", "Tolmin", "555 0100")
    assert main(["shop", "--phone", "", "--not-credited", "--json", *store]) == 0
    assert json.loads(capsys.readouterr().out)["bench_rate"] == 84.5  # the rest stays
    assert main(["shop", *store]) == 0
    out = capsys.readouterr().out
    assert "phone: not set (--phone)\n" in out and "diagnosis fee: 35.00 USD\n" in out


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--rate", "ninety"), "'ninety' is no amount"),
        (("--rate", "-3"), "a bench rate of -3"),
        (("--currency", "dollars"), "write its three letters"),
        (("--keep-days", "soon"), "--keep-days is 'soon'; give whole days"),
        (("--zone", "Tolmin"), "is no time zone"),
        (("--name", "x" * 301), "--name has 301 characters"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_changes(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], words: tuple[str, ...], said: str
) -> None:
    with Record.open(tmp_path / "shop.db") as record:
        note_shop(record, ShopNoted(name="Alder Lane", bench_rate=60), at())
    store = ("--store", str(tmp_path / "shop.db"))
    assert main(["shop", "--phone", "1", *words, *store]) == 2
    assert said in capsys.readouterr().err
    with Record.open(tmp_path / "shop.db") as record:
        assert the_shop(record) == ShopNoted(name="Alder Lane", bench_rate=60)


def test_what_asks_for_the_rate_names_a_command_that_sets_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    typed = SET_RATE.partition("knowngood ")[2].split()
    assert main([*typed, "--store", str(tmp_path / "shop.db")]) == 0
    assert "rate an hour: 90.00, in no currency yet (--currency)" in capsys.readouterr().out
