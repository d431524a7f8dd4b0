"""Decimals of a price list that were put right stand for the lists that come after."""

from __future__ import annotations

from decimal import Decimal

from knowngood.places.list_history import lists_taken, take_back_list
from knowngood.places.parts import take_list, try_list
from knowngood.places.record import Record
from tests.places.conftest import at

PRICES = "number;words;price\nOH-1;Pump;1.250\nOH-2;Ring;12\n"


def taken(record: Record, text: str, decimals: str, minute: int) -> None:
    trial = try_list(record, "Tolmin", "EUR", text.encode(), "list.csv", None, decimals)
    take_list(record, trial, text, at(minute))


def test_decimals_put_right_stand_for_the_lists_after(record: Record) -> None:
    taken(record, PRICES, "point", 1)
    taken(record, PRICES, "comma", 2)
    taken(record, PRICES, "comma", 3)  # the same once more is no entry
    assert [one.decimals for one in lists_taken(record, "Tolmin")] == ["point", "comma"]
    taken(record, PRICES.replace("1.250", "1.350"), "", 4)
    pump = record.log.prices.find("OH-1")
    assert [one.price for one in pump] == [Decimal(1350)]
    take_back_list(record, "Tolmin", "", at(5))
    assert [one.price for one in record.log.prices.find("OH-1")] == [Decimal(1250)]
