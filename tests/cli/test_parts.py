"""``knowngood parts`` as typed."""

from __future__ import annotations

from pathlib import Path

import pytest

from knowngood.cli import main
from tests.shop.test_pricelist import LIST


def test_a_list_tried_taken_and_searched(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "list.csv").write_text(LIST, encoding="cp1252")
    store = ("--store", str(tmp_path / "shop.db"))
    take = ("parts", "take", str(tmp_path / "list.csv"), "--maker", "Brackwater",
            "--currency", "USD")  # fmt: skip
    assert main([*take, "--dry-run", *store]) == 0
    assert "4 added: BW-100, BW-210, BW-212, ..." in capsys.readouterr().out
    assert main(["parts", "lists", *store]) == 0
    assert "No price list yet" in capsys.readouterr().out
    assert main([*take, *store, "--by", "Ida"]) == 0
    assert "Taken: 4 parts of Brackwater." in capsys.readouterr().out
    assert main(["parts", "find", "start", *store]) == 0
    out = capsys.readouterr().out
    assert "BW-210  Start box  42.50 USD  (Brackwater)" in out
    assert "became BW-212: order BW-212 at 44.00 USD" in out
    assert main(["parts", "find", "BW-211", *store]) == 2
    assert "Did you mean BW-21" in capsys.readouterr().err


def test_bad_lines_are_listed_and_nothing_is_taken(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "list.csv").write_text(LIST.replace("189,00", "?"), encoding="utf-8")
    take = ["parts", "take", str(tmp_path / "list.csv"), "--maker", "B", "--currency", "USD",
            "--store", str(tmp_path / "shop.db")]  # fmt: skip
    assert main(take) == 2
    assert "list.csv, line 2: the price of BW-100 is '?'. Write it like 12.50" in (
        capsys.readouterr().err
    )
    assert main(take) == 2
    assert "take it without the bad lines (on a terminal --without-bad)" in capsys.readouterr().err
    assert main([*take, "--without-bad"]) == 0
    assert main(["parts", "take", "nowhere.csv", "--maker", "B", "--currency", "USD"]) == 2
    assert main([*take, "--number", "Part No"]) == 2


def test_what_is_to_be_said_names_its_option_and_money_has_its_cents(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "odd.csv").write_text("a,b,c\nX-1,Frame,1250\n", encoding="utf-8")
    store = ("--store", str(tmp_path / "shop.db"))
    take = ("parts", "take", str(tmp_path / "odd.csv"), "--maker", "Zco", "--currency", "EUR")
    assert main([*take, *store]) == 2
    assert "on a terminal --number, --words and --price" in capsys.readouterr().err
    named = ("--number", "a", "--words", "b", "--price", "c")
    assert main([*take, *named, *store]) == 0
    capsys.readouterr()
    assert main(["parts", "find", "X-1", *store]) == 0
    assert capsys.readouterr().out == "X-1  Frame  1250.00 EUR  (Zco)\n"


def test_a_dry_run_with_problems_says_so_to_a_script(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "list.csv").write_text(LIST.replace("189,00", "?"), encoding="utf-8")
    take = ["parts", "take", str(tmp_path / "list.csv"), "--maker", "B", "--currency", "USD",
            "--store", str(tmp_path / "shop.db"), "--dry-run"]  # fmt: skip
    assert main(take) == 2
    out, err = capsys.readouterr()
    assert "Nothing was taken (dry run)." in out and "1 problem in the list" in err
