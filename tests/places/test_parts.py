"""Price lists in the record: tried, taken, searched, followed."""

from __future__ import annotations

import os
import subprocess
import sys
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pytest

from knowngood.job.stockroom import STOCKROOM
from knowngood.places.list_history import drop_list, lists_taken, take_back_list
from knowngood.places.parts import find_number, take_list, try_list
from knowngood.places.record import Record, Refused
from knowngood.places.stockroom import Want, place_order, room_of
from knowngood.shop.pricelist import Columns, PriceLine, PriceList
from knowngood.store import log as store_log
from knowngood.store.log import Log
from knowngood.store.prices import taking
from knowngood.store.problem import StoreProblem
from tests.places.conftest import at
from tests.shop.test_pricelist import LIST


def take(record: Record, text: str = LIST, columns: Columns | None = None) -> int:
    trial = try_list(record, "Brackwater", "USD", text.encode(), "list.csv", columns)
    return take_list(record, trial, text, at())


def without_entry(
    record: Record, maker: str, currency: str, listed: PriceList, digest: str
) -> None:
    """A list as it was taken before lists had entries of the stockroom."""
    record.append(STOCKROOM, [], at(), taking(maker, currency, listed, digest, at().now, "Ana"))


def test_nothing_is_known_before_the_first_list(record: Record) -> None:
    assert record.log.prices.lists() == ()
    assert record.log.prices.search("box") == ()
    with pytest.raises(Refused, match=r"lists: none yet"):
        find_number(record, "BW-210")


def test_a_list_is_tried_without_taking_and_then_taken(record: Record, tmp_path: Path) -> None:
    trial = try_list(record, "Brackwater", "USD", LIST.encode(), "list.csv", None)
    assert trial.changes.added == ("BW-100", "BW-210", "BW-212", "BW-310")
    assert record.log.prices.lists() == ()
    assert take(record) == 4
    with Log.open(tmp_path / "shop.db") as other:  # it is on disk
        assert [(one.maker, one.parts) for one in other.prices.lists()] == [("Brackwater", 4)]
    again = try_list(record, "Brackwater", "USD", LIST.encode(), "list.csv", None)
    assert (again.remembered, again.changes.same) == (True, 4)


def test_a_number_leads_to_the_one_to_order(record: Record) -> None:
    take(record)
    (found,) = find_number(record, "bw 210")
    assert found.chain == ("BW-210", "BW-212")
    assert (found.number, str(found.price), found.words) == ("BW-212", "44.00", "Start box, sealed")
    with pytest.raises(Refused, match=r"Did you mean BW-310\?"):
        find_number(record, "BW-31")


def test_a_number_that_the_list_only_names(record: Record) -> None:
    take(record, LIST.replace("BW-212;Start box, sealed;44,00;\n", ""))
    (found,) = find_number(record, "BW-210")
    assert found.chain == ("BW-210", "BW-212")
    assert found.number == "BW-212"


@pytest.mark.parametrize(
    ("typed", "numbers"),
    [
        ("BW-2", ["BW-210", "BW-212"]), ("bw3", ["BW-310"]), ("start", ["BW-210", "BW-212"]),
        ("sta seal", ["BW-212"]), ("nothing", []), ("", []), ("%", []), ('"', []),
        ("pack OR box", []),
    ],
)  # fmt: skip
def test_search_as_one_types(record: Record, typed: str, numbers: list[str]) -> None:
    take(record)
    assert [p.number for p in record.log.prices.search(typed)] == numbers


def test_two_makers_with_one_number(record: Record) -> None:
    take(record)
    trial = try_list(record, "Tolmin", "EUR", LIST.replace("42,50", "9,00").encode(), "t.csv", None)
    take_list(record, trial, LIST, at())
    assert [(p.maker, p.currency) for p in find_number(record, "BW-100")] == [
        ("Brackwater", "USD"), ("Tolmin", "EUR"),
    ]  # fmt: skip
    assert len(record.log.prices.lines("Brackwater")) == 4


def test_a_bad_list_changes_nothing(record: Record) -> None:
    take(record)
    before = record.log.prices.lines("Brackwater")
    bad = LIST.replace("189,00", "cheap").replace("Battery pack", "Pack")
    trial = try_list(record, "Brackwater", "USD", bad.encode(), "list.csv", None)
    with pytest.raises(Refused, match="1 problem in the list, so nothing was taken"):
        take_list(record, trial, bad, at())
    assert record.log.prices.lines("Brackwater") == before
    assert take_list(record, trial, bad, at(), without_bad=True) == 3
    assert "BW100" not in record.log.prices.lines("Brackwater")
    assert [p.number for p in record.log.prices.search("pack")] == []


@pytest.mark.parametrize(
    ("maker", "currency", "text", "said"),
    [
        (" ", "USD", LIST, "whose list"), ("Tolmin", "$", LIST, "three letters"),
        ("Tolmin", "USD", "a;b;c\n1;2;3\n", "which columns"),
        ("Brackwater", "EUR", LIST, "is in USD, this one in EUR"),
    ],
)  # fmt: skip
def test_refused(record: Record, maker: str, currency: str, text: str, said: str) -> None:
    take(record)
    with pytest.raises(Refused, match=said):
        try_list(record, maker, currency, text.encode(), "l.csv", None)


def test_columns_of_ones_own_are_remembered(record: Record) -> None:
    odd = "a;b;c\n1;Box;2,50\n"
    take(record, odd, Columns("a", "b", "c"))
    assert take(record, odd.replace("2,50", "3,50")) == 1
    assert str(find_number(record, "1")[0].price) == "3.50"


def test_the_lists_go_into_a_backup(record: Record, tmp_path: Path) -> None:
    take(record)
    record.log.copy_to(tmp_path / "copy.db")
    with Log.open(tmp_path / "copy.db") as copy:
        assert [p.number for p in copy.prices.search("start box")] == ["BW-210", "BW-212"]


CIRCLE = """number,words,price,replaced by
LM-103,belt,9.00,
LM-104,bail switch,12.00,LM-105
LM-105,bail switch,13.00,LM-104
"""


def test_a_circle_is_never_taken_and_an_old_one_is_gone_round_once(record: Record) -> None:
    trial = try_list(record, "Lumen", "USD", CIRCLE.encode(), "l.csv", None)
    with pytest.raises(Refused, match="1 problem in the list, so nothing was taken"):
        take_list(record, trial, CIRCLE, at())
    assert take_list(record, trial, CIRCLE, at(), without_bad=True) == 1
    with pytest.raises(Refused, match="no list has the number 'LM-104'"):
        find_number(record, "LM-104")
    ring = {k: PriceLine(k, "switch", Decimal(p), b)
            for k, p, b in (("LM104", "12", "LM105"), ("LM105", "13", "LM104"))}  # fmt: skip
    old = replace(trial.listed, lines=ring)  # as a list was taken once
    without_entry(record, "Lumen", "USD", old, "d")
    (found,) = find_number(record, "LM-104")
    assert found.chain == ("LM104", "LM105", "LM104")
    assert (found.number, str(found.price)) == ("LM104", "12")


def test_an_order_of_an_old_number_says_what_it_became(record: Record) -> None:
    take(record)
    wants = [Want("BW-210", 1, Decimal("42.50"))]
    with pytest.raises(Refused, match=r"BW-210 became BW-212: order BW-212 \(list of Brackwater"):
        place_order(record, "PO-1", "Brackwater", wants, at(1))
    with pytest.raises(Refused, match="order BW-212"):  # bought elsewhere: the same part
        place_order(record, "PO-1", "Corner parts", wants, at(1))
    assert room_of(record).orders == {}
    placed = place_order(record, "PO-1", "Brackwater", wants, at(2), old_numbers=True)
    assert placed.open == {"BW210": 1}
    place_order(record, "PO-2", "Brackwater", [Want("BW-212", 1)], at(3))


def test_a_list_taken_by_mistake_is_taken_back(record: Record) -> None:
    """The one before stands again, read from its file with the columns and decimals it had."""
    first = LIST
    second = "Nr;Was;Preis netto\nBW-100;Pack;199.00\n"
    trial = try_list(record, "Brackwater", "USD", first.encode(), "a.csv", None)
    take_list(record, trial, first, at(1))
    before = record.log.prices.lines("Brackwater")
    trial = try_list(record, "Brackwater", "USD", second.encode(), "b.csv",
                     Columns("Nr", "Was", "Preis netto"))  # fmt: skip
    take_list(record, trial, second, at(2))
    take_list(record, trial, second, at(3))  # once more is no other list
    assert len(lists_taken(record, "Brackwater")) == 2
    said = take_back_list(record, "Brackwater", "an older one", at(4))
    assert said.endswith("the one before it stands again: 4 parts in USD")
    assert record.log.prices.lines("Brackwater") == before
    assert [p.number for p in record.log.prices.search("box")] == ["BW-210", "BW-212"]
    again = try_list(record, "Brackwater", "USD", first.encode(), "a.csv", None)
    assert again.remembered
    said = take_back_list(record, "Brackwater", "", at(5))
    assert said == "the list of Brackwater is taken back; there was none before it"
    assert (record.log.prices.lists(), record.log.prices.search("box")) == ((), ())
    with pytest.raises(Refused, match="no price list of 'Brackwater'; there are: none"):
        take_back_list(record, "Brackwater", "", at(6))


def test_a_list_from_before_there_were_entries_comes_back_too(record: Record) -> None:
    """As an older version took it: in the tables alone."""
    listed = try_list(record, "Brackwater", "USD", LIST.encode(), "a.csv", None).listed
    digest = record.files.keep_text(LIST)
    without_entry(record, "Brackwater", "USD", listed, digest)
    other = LIST.replace("189,00", "199,00")
    trial = try_list(record, "Brackwater", "USD", other.encode(), "b", None)
    take_list(record, trial, other, at(2))
    take_back_list(record, "Brackwater", "", at(3))
    assert str(record.log.prices.lines("Brackwater")["BW100"].price) == "189.00"


def test_a_list_from_before_that_may_be_meant_in_two_ways(record: Record) -> None:
    """Its way out is said, as its entry does not tell how its decimals were written."""
    text = "number;words;price\n1;a;1,250\n"
    listed = try_list(record, "Tolmin", "JPY", text.encode(), "l", None, "point").listed
    without_entry(record, "Tolmin", "JPY", listed, record.files.keep_text(text))
    other = text.replace("1,250", "13")
    take_list(record, try_list(record, "Tolmin", "JPY", other.encode(), "l", None), other, at(2))
    with pytest.raises(Refused, match=r"cannot be read again: .*take its file once more"):
        take_back_list(record, "Tolmin", "", at(3))
    assert str(record.log.prices.lines("Tolmin")["1"].price) == "13"


def test_the_lists_of_a_mistyped_maker_go(record: Record) -> None:
    take_list(record, try_list(record, "Brakwater", "USD", LIST.encode(), "a", None), LIST, at(1))
    with pytest.raises(Refused, match="why does the list of Brakwater go"):
        drop_list(record, "Brakwater", " ", at(2))
    drop_list(record, "Brakwater", "the name was mistyped", at(2))
    assert (record.log.prices.lists(), lists_taken(record, "Brakwater")) == ((), ())


def test_how_decimals_are_written_is_remembered_where_a_list_does_not_tell(record: Record) -> None:
    text = "number;words;price\n1;a;1.250\n"
    with pytest.raises(Refused, match="may be thousands or decimals"):
        try_list(record, "Tolmin", "USD", text.encode(), "l.csv", None)
    trial = try_list(record, "Tolmin", "USD", text.encode(), "l", None, "comma")
    take_list(record, trial, text, at())
    whole = text.replace("1.250", "12")  # tells nothing either, and forgets nothing
    take_list(record, try_list(record, "Tolmin", "USD", whole.encode(), "l", None), whole, at())
    again = try_list(record, "Tolmin", "USD", text.encode(), "l.csv", None)
    assert str(again.listed.lines["1"].price) == "1250"


@pytest.mark.parametrize("step", ["taken", "taken back", "dropped"])
def test_a_list_and_its_entry_are_written_both_or_neither(
    record: Record, step: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The write breaks off where the entry is put, as when the program is killed there."""
    take(record)
    take(record, LIST.replace("189,00", "199,00"))

    def stands() -> tuple[object, ...]:
        (pack,) = find_number(record, "BW-100")
        return pack.price, len(lists_taken(record, "Brackwater")), record.log.prices.lists()

    before = stands()

    def breaks(*_: object) -> None:
        raise StoreProblem("broken off")

    with monkeypatch.context() as broken:
        broken.setattr(store_log, "_put", breaks)
        with pytest.raises(StoreProblem, match="broken off"):
            match step:
                case "taken":
                    take(record, LIST.replace("189,00", "209,00"))
                case "taken back":
                    take_back_list(record, "Brackwater", "", at(1))
                case _:
                    drop_list(record, "Brackwater", "mistyped", at(1))
    assert stands() == before


KILLED = """
import os, signal, sys
from pathlib import Path
from knowngood.places.record import Record
from knowngood.store import log
from tests.places.test_parts import LIST, take

log._put = lambda *_: os.kill(os.getpid(), signal.SIGKILL)
with Record.open(Path(sys.argv[1])) as record:
    take(record, LIST.replace("189,00", "209,00"))
"""


def test_killed_between_a_list_and_its_entry_neither_is_there(
    record: Record, tmp_path: Path, root: Path
) -> None:
    take(record)
    path = {**os.environ, "PYTHONPATH": os.pathsep.join([str(root), *filter(None, sys.path)])}
    line = [sys.executable, "-c", KILLED, str(tmp_path / "shop.db")]
    assert subprocess.run(line, cwd=root, env=path).returncode == -9
    assert str(find_number(record, "BW-100")[0].price) == "189.00"
    assert len(lists_taken(record, "Brackwater")) == 1
