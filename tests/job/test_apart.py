"""Taking apart and putting together, folded from its old record and from events in any order."""

from __future__ import annotations

from pathlib import Path

from knowngood.job.job import Job, replay
from knowngood.store.export import events_in

RECORD = Path(__file__).parent.parent / "old_records" / "v0_1_0_apart.jsonl"


def job() -> Job:
    return replay(events_in(RECORD.read_text(encoding="utf-8"), RECORD.name))


def test_notes_add_up_and_can_be_cleared() -> None:
    noted = job().apart.noted["shell"]
    assert noted.fasteners == {
        "kinds": [{"count": 8, "drive": "T20", "length": "16 mm", "where": "tray 2"}]
    }
    assert noted.small == ("spring and bushing",), "a new list replaces the old one"
    assert noted.plugs == ("J1: red, black from the left",), "what was not said again stands"
    assert noted.routing == "", "cleared"
    assert noted.leads


def test_the_last_look_at_the_part_counts() -> None:
    it = job().apart
    seen = it.in_hand["trigger"][0]
    assert (seen.verdict, seen.chain) == ("right", "TS-114B -> TS-114C")
    assert it.tagged["trigger"].where == "shelf 3"


def test_a_tick_can_be_taken_back() -> None:
    tick = job().apart.ticks["pinch:shell"]
    assert (tick.result, tick.text) == ("good", "")


def test_minutes_put_right_replace_the_clock() -> None:
    it = job()
    assert [m.minutes for m in it.minutes] == [31.0], "what the clock said stays on the record"
    assert it.minutes_by_step()["shell"] == 9.0


def test_it_is_told_whatever_order_it_is_handed_over_in() -> None:
    events = events_in(RECORD.read_text(encoding="utf-8"), RECORD.name)
    assert replay(list(reversed(list(events)))) == job()
