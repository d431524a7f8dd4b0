"""What the shop's record promises, on every kind of store."""

from __future__ import annotations

import sqlite3
import threading
from datetime import UTC, datetime
from pathlib import Path

import pytest

from knowngood.job import events as ev
from knowngood.store.log import Entry, Log, new_job_id
from knowngood.store.problem import ResendConflict, StoreProblem
from tests.store.entries import NOW, OPENED, entry


def test_what_is_stored_comes_back_as_it_was(log: Log) -> None:
    shown = {"belief": {"trigger": 0.91, "board": 0.05}, "fits": True, "slip": None}
    events = [OPENED, ev.ReadingJudged("r1", "bad", "12 mV is too low.", shown)]
    stored = log.append(
        "j1", [Entry(e, "phone", n, 0, NOW, "Ida") for n, e in enumerate(events)], NOW
    )
    assert [one.event for one in stored] == events
    assert log.events("j1") == stored
    assert list(stored[1].event.shown["belief"]) == ["trigger", "board"]  # type: ignore[union-attr]
    first = stored[0]
    assert (first.seq, first.kind, first.device, first.by) == (1, "JobOpened", "phone", "Ida")
    assert first.device_time == NOW and first.device_time.utcoffset() == NOW.utcoffset()
    assert first.server_time.isoformat() == "2026-03-02T14:00:00+00:00"
    assert first.zone == "America/New_York"


def test_it_is_there_after_closing_and_opening(place: str) -> None:
    with Log.open(place) as log:
        stored = log.append("j1", [entry(OPENED)], NOW)
        name = log.id
    with Log.open(place) as again:
        assert again.events("j1") == stored
        assert again.id == name and again.desk == f"desk {name[:8]}"


def test_a_plain_tuple_will_do(log: Log) -> None:
    assert log.append("j1", [(OPENED, "phone", 1, 0, NOW, "Ida")], NOW)[0].device_seq == 1


def test_sending_again_is_harmless(log: Log) -> None:
    first = log.append("j1", [entry(OPENED, "phone", 1), entry("a", "phone", 2)], NOW)
    later = NOW.replace(hour=11)
    again = log.append("j1", [entry("a", "phone", 2), entry("b", "phone", 3)], later)
    assert again[0] == first[1]  # with the time it was first stored
    assert [one.seq for one in log.events("j1")] == [1, 2, 3]


def test_the_same_number_with_something_else_is_refused_whole(log: Log) -> None:
    log.append("j1", [entry("a", "phone", 1)], NOW)
    for job, text in (("j1", "b"), ("j2", "a")):
        with pytest.raises(ResendConflict, match=r"'phone' sent its entry 1 twice.*seq 1"):
            log.append(job, [entry("new", "phone", 5), entry(text, "phone", 1)], NOW)
    assert [one.event for one in log.all_events()] == [ev.NoteAdded("a")]


def test_a_sending_is_stored_in_the_devices_own_order(log: Log) -> None:
    answer = log.append("j1", [entry("third", number=3), entry("first", number=1)], NOW)
    assert [one.event.text for one in answer] == ["third", "first"]  # type: ignore[union-attr]
    assert [one.device_seq for one in log.events("j1")] == [1, 3]


def test_numbers_are_given_to_a_program_that_has_none(log: Log) -> None:
    stored = log.append("j1", [entry(OPENED), entry("a")], NOW)
    stored += log.append("j2", [entry("b")], NOW)
    assert [one.device_seq for one in stored] == [1, 2, 3]
    assert [one.based_on for one in stored] == [0, 1, 0]  # all there was of that job


@pytest.mark.parametrize(
    "wrong",
    [
        Entry(OPENED, "", 1, 0, NOW, ""),
        Entry(OPENED, "phone", -1, 0, NOW, ""),
        Entry(OPENED, "phone", 2**63, 0, NOW, ""),
        Entry(OPENED, "phone", 1, -1, NOW, ""),
        Entry(OPENED, "phone", 1, 0, datetime(2026, 3, 2), ""),
    ],
)
def test_an_entry_that_cannot_be_right_is_refused(log: Log, wrong: Entry) -> None:
    with pytest.raises(ValueError):
        log.append("j1", [entry("a"), wrong], NOW)
    assert log.all_events() == []


def test_nothing_is_stored_of_a_sending_with_data_that_is_not_plain(log: Log) -> None:
    bad = ev.ReadingJudged("r1", "good", "", {"when": datetime(2026, 3, 2, tzinfo=UTC)})
    with pytest.raises(TypeError, match=r"ReadingJudged.shown\['when'\] is a datetime"):
        log.append("j1", [entry("a"), entry(bad)], NOW)
    assert log.all_events() == []


def test_text_from_any_keyboard_is_kept(log: Log) -> None:
    text = "Läuft nicht 🔋 \u2028 \x00 ''; DROP TABLE event; -- \n\ttab"
    log.append("j1", [entry(text)], NOW)
    assert log.events("j1")[0].event == ev.NoteAdded(text)
    log.append("j1", [entry("half \ud83d pair")], NOW)  # no text at all; a page may send it
    assert log.events("j1")[1].event == ev.NoteAdded("half ? pair")


def test_the_list_of_jobs(log: Log) -> None:
    log.append("a" * 32, [entry(OPENED), entry(ev.JobClosed("repaired"))], NOW)
    opened = ev.JobOpened(
        "26-0008", "m", "", "dead", maker="Tolmin", model="T4", promised="Thursday"
    )
    log.append("b" * 32, [entry(opened)], NOW)
    log.append("c" * 32, [entry(ev.JobOpened("", "m", "", "slow"))], NOW)
    log.append("b" * 32, [entry(ev.StepOpened("deck", "Deck"))], NOW)
    listed = [(one.name, one.state, one.machine, one.events, one.closed) for one in log.jobs()]
    assert listed == [
        ("26-0008", "checked in, nothing measured yet, 1 step open", "Tolmin T4", 2, False),
        ("c" * 8, "checked in, nothing measured yet", "m", 1, False),
        ("26-0007", "closed: repaired", "brackwater-bt20", 2, True),
    ]
    assert log.jobs()[0].promised == "Thursday"
    assert log.jobs()[2].last_at == NOW


def test_finding_a_job(log: Log) -> None:
    with pytest.raises(StoreProblem, match="is empty"):
        log.find("26-0007")
    log.append("a" * 32, [entry(OPENED)], NOW)
    log.append("b" * 32, [entry(ev.JobOpened("26-0070", "m", "", "dead"))], NOW)
    assert log.find("26-0007") == log.find("aaaa") == log.find("A" * 32) == "a" * 32
    with pytest.raises(StoreProblem, match=r"no job '26-0008'. The nearest: .*26-0007"):
        log.find("26-0008")
    log.append("c" * 32, [entry(OPENED)], NOW)
    with pytest.raises(StoreProblem, match="2 jobs go by"):
        log.find("26-0007")
    assert log.job("nothing") is None and log.events("nothing") == []


def test_numbers_are_never_given_twice(log: Log, place: str) -> None:
    log.append("j1", [entry(ev.JobOpened("26-0002", "m", "", "dead"))], NOW)  # given by hand
    with Log.open(place) as other:
        given = [log.new_job_number("26-"), other.new_job_number("26-"), log.new_job_number("26-")]
    assert given == ["26-0001", "26-0003", "26-0004"]
    assert log.new_job_number("27-") == "27-0001"
    assert len({new_job_id() for _ in range(50)}) == 50


def test_many_writers_at_once(place: str) -> None:
    def write(device: str) -> None:
        with Log.open(place) as mine:
            for number in range(10):
                mine.append("j1", [entry(f"{device} {number}", device, number)], NOW)

    threads = [threading.Thread(target=write, args=(f"phone {n}",)) for n in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    with Log.open(place) as log:
        events = log.events("j1")
    assert [one.seq for one in events] == list(range(1, 41))  # no gap, none twice
    assert len({(one.device, one.device_seq) for one in events}) == 40


def test_the_record_is_only_added_to(tmp_path: Path) -> None:
    with Log.open(tmp_path / "shop.db") as log:
        log.append("j1", [entry(OPENED)], NOW)
    raw = sqlite3.connect(tmp_path / "shop.db")
    for statement in ("UPDATE event SET by_name = 'x'", "DELETE FROM event"):
        with pytest.raises(sqlite3.IntegrityError, match="only added to"):
            raw.execute(statement)
    raw.close()


def test_a_commit_waits_for_the_disk(tmp_path: Path) -> None:
    # https://www.sqlite.org/pragma.html#pragma_synchronous: 2 is FULL; "with synchronous=FULL
    # in WAL mode ... transactions are durable across a power loss" (pragma_synchronous, NORMAL).
    with Log.open(tmp_path / "shop.db") as log, log._database.reading() as read:
        assert read.rows("PRAGMA synchronous") == [(2,)]
        assert read.rows("PRAGMA journal_mode") == [("wal",)]
        assert read.rows("PRAGMA foreign_keys") == [(1,)]
