"""A job opened again from a phone: its closing's entries in the stockroom go with the closing."""

from __future__ import annotations

from pathlib import Path

import pytest

from knowngood.job import stockroom as sr
from knowngood.job.counter import HandedBack
from knowngood.places import counter, decision, stockroom
from knowngood.places.bench import CheckIn, open_job
from knowngood.places.library import find_machine, find_meter
from knowngood.places.record import Record
from knowngood.web.counter_takers import COUNTER_TAKERS
from knowngood.web.takers import TAKERS
from tests.places.conftest import SMALL, at


@pytest.mark.parametrize("kind", ["JobReopened", "HandBackWithdrawn"])
def test_the_part_is_kept_for_it_again(tmp_path: Path, kind: str) -> None:
    with Record.open(tmp_path / "shop.db") as record:
        check_in = CheckIn(
            find_machine(str(SMALL)), "dead", "it is dead", find_meter("generic-6000"),
            number="26-0001",
        )  # fmt: skip
        open_job(record, check_in, at(), "j")
        stockroom.count(record, "BW-7", 1, at(1))
        stockroom.reserve(record, "BW-7", 1, "j", at(2))
        if kind == "JobReopened":
            decision.close_job(record, "j", "closed", at(3))
        else:
            counter.override_hold(record, "j", "Ana", "the customer waits", at(3))
            counter.hand_back(record, "j", HandedBack("Mr. Vale"), "", at(3))
        assert stockroom.room_of(record).kept["BW7"].count == 0
        {**TAKERS, **COUNTER_TAKERS}[kind](record, "j", {"reason": "it came back"}, at(4))
        kept = stockroom.room_of(record).kept["BW7"]
        assert (kept.count, dict(kept.reserved)) == (1, {"j": 1})
        undone = [e.event for e in record.log.events(sr.STOCKROOM)][-1]
        assert isinstance(undone, sr.StockWithdrawn)
        job = record.log.job("j")
        assert job is not None and job.closed is None and job.counter.handed is None
