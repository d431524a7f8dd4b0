"""The rows that lists and searches read say what the events say, kept or made anew."""

from __future__ import annotations

import sqlite3
import time
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from knowngood.job import events as ev
from knowngood.job.shop_sheet import SHOP
from knowngood.store.log import Log
from knowngood.store.problem import NewerStore
from knowngood.store.rows import make_rows
from tests.job.test_replay_any_order import EVENTS
from tests.store.entries import NOW, OPENED, entry


def kept(log: Log) -> list[tuple[Any, ...]]:
    """All that the rows hold, the words of the index with them."""
    with log._database.reading() as read:
        rows = read.rows("SELECT * FROM job_row ORDER BY id")
        rows += read.rows("SELECT * FROM job_number ORDER BY 1, 2")
        if log._database.has_table(read, "job_words"):
            read.execute(
                "INSERT INTO job_words (job_words, rank) VALUES ('integrity-check', 1)"
            )  # https://www.sqlite.org/fts5.html#the_integrity_check_command: compares the content
        return rows


def made_anew(log: Log) -> list[tuple[Any, ...]]:
    with log._database.writing() as write:
        make_rows(log._database, write)
    return kept(log)


MORE = st.one_of(
    EVENTS,
    st.builds(ev.NumberGiven, st.sampled_from(["26-0007", "26-0009"])),
    st.builds(ev.DetailsNoted, st.text(max_size=5), st.text(max_size=5)),
    st.builds(ev.NoteAdded, st.text(max_size=8)),
)
SENDINGS = st.lists(
    st.tuples(st.sampled_from(["j1", "j2", "j3", SHOP]), st.lists(MORE, min_size=1, max_size=4)),
    max_size=12,
)


@given(SENDINGS)
@settings(max_examples=60, deadline=None)
def test_kept_is_as_made_anew(
    tmp_path_factory: pytest.TempPathFactory, sendings: list[tuple[str, list[ev.Event]]]
) -> None:
    with Log.open(tmp_path_factory.mktemp("rows") / "shop.db") as log:
        for job, events in sendings:
            log.append(job, [entry(event) for event in events], NOW)
        assert kept(log) == made_anew(log)
        assert {one.job for one in log.jobs()} == {job for job, _ in sendings} - {SHOP}


def test_a_sending_that_fails_leaves_the_rows_as_they_were(log: Log) -> None:
    log.append("j1", [entry(OPENED)], NOW)
    before = kept(log)
    bad = ev.ReadingJudged("r1", "good", "", {"when": NOW})
    with pytest.raises(TypeError):
        log.append("j1", [entry("a"), entry(bad)], NOW)
    assert kept(log) == before


def without_rows(path: Path) -> None:
    """A record as version 1 of the tables had it."""
    raw = sqlite3.connect(path)
    for name in ("job_words", "job_row", "job_number"):
        raw.execute(f"DROP TABLE {name}")
    raw.execute("DELETE FROM store_fact WHERE name = 'rows'")
    raw.execute("UPDATE store_fact SET value = '1' WHERE name = 'schema'")
    raw.commit()
    raw.close()


def test_an_older_record_is_brought_up_when_it_is_opened(tmp_path: Path) -> None:
    path = tmp_path / "shop.db"
    with Log.open(path) as log:
        log.append("a" * 32, [entry(OPENED), entry("note")], NOW)
        log.append("b" * 32, [entry(ev.JobOpened("26-0008", "m", "", "slow"))], NOW)
        before = kept(log)
    without_rows(path)
    with Log.open(path) as log:
        assert kept(log) == before
        assert [one.name for one in log.search("stopped")] == ["26-0007"]
    raw = sqlite3.connect(path)
    assert dict(raw.execute("SELECT name, value FROM store_fact"))["schema"] == "2"
    raw.execute("UPDATE store_fact SET value = '3' WHERE name = 'schema'")
    raw.commit()
    raw.close()
    with pytest.raises(NewerStore):
        Log.open(path)


def test_an_event_of_a_newer_program_does_not_lock_the_shop_out(tmp_path: Path) -> None:
    path = tmp_path / "shop.db"
    with Log.open(path) as log:
        log.append("a" * 32, [entry(OPENED)], NOW)
        log.append("b" * 32, [entry(ev.JobOpened("26-0008", "m", "", "slow"))], NOW)
    raw = sqlite3.connect(path)
    raw.execute("DROP TRIGGER event_is_not_changed")
    raw.execute("UPDATE event SET version = 99 WHERE job = ?", ("b" * 32,))
    raw.commit()
    raw.close()
    without_rows(path)
    with Log.open(path) as log:
        good, other = log.jobs()[::-1][0], log.jobs()[0]
        assert {good.name, other.name} == {"26-0007", "bbbbbbbb"}
        assert "version 99" in "".join(one.state for one in log.jobs())


FOUND = [
    ("26-0007", "26-0007"), ("0007", "26-0007"), ("7", "26-0007"), ("okafor", "26-0007"),
    ("oka", "26-0007"), ("Brackwater", "26-0007"), ("bm-561", "26-0007"), ("0417", "26-0007"),
    ("306A", "26-0007"), ("2306-A00417", "26-0007"), ("stopped hedge", "26-0007"),
    ("hedge  STOP", "26-0007"), ("pena", "26-0031"), ("Peña", "26-0031"), ("мотор", "26-0031"),
]  # fmt: skip
NOT_FOUND = ["", "  ", "-", "xyz", "okafor pena", "00418", '"', "NEAR", "*", "words:okafor", "%"]


def two_jobs(log: Log) -> None:
    first = ev.JobOpened(
        "26-0007", "mower-battery-56v", "d" * 64, "dead", "It just stopped at the hedge",
        "Mrs. Okafor", "Brackwater", "BM-561", "2306A00417",
    )  # fmt: skip
    second = ev.JobOpened(
        "26-0031", "rider", "d" * 64, "crank", "мотор will not turn", "Señor Peña", "Tolmin"
    )
    log.append("a" * 32, [entry(first)], NOW)
    log.append("b" * 32, [entry(second)], NOW)


@pytest.mark.parametrize("indexed", [True, False])
def test_a_job_is_found_by_what_a_person_has(
    log: Log, indexed: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    if not indexed:  # a Python whose SQLite has no FTS5
        monkeypatch.setattr("knowngood.store.rows.has_index", lambda read: False)
        with log._database.writing() as write:
            write.execute("DROP TABLE job_words")
            make_rows(log._database, write)
        log._indexed = False
    two_jobs(log)
    assert [(text, [one.name for one in log.search(text)]) for text, _ in FOUND] == [
        (text, [name]) for text, name in FOUND
    ]
    assert [text for text in NOT_FOUND if log.search(text)] == []


def test_words_follow_what_is_noted_later(log: Log) -> None:
    two_jobs(log)
    log.append("b" * 32, [entry(ev.DetailsNoted(serial="TX-99812", customer="Ines Roth"))], NOW)
    assert [one.name for one in log.search("roth 9981")] == ["26-0031"]
    assert log.search("pena") == []
    assert [one.name for one in log.same_serial("tx 99812")] == ["26-0031"]
    assert log.same_serial("") == []


def test_open_jobs_come_first_then_the_newest(log: Log) -> None:
    for n in range(6):
        opened = ev.JobOpened(f"26-000{n}", "m", "", "dead", "will not start")
        log.append(f"{n}" * 32, [entry(opened)], NOW)
    log.append("5" * 32, [entry(ev.JobClosed("repaired"))], NOW)
    assert [one.number[-1] for one in log.search("start")] == list("432105")
    assert [one.number[-1] for one in log.search("sta", limit=2)] == list("43")
    log.append("5" * 32, [entry(ev.JobReopened())], NOW)
    assert log.search("start")[0].number == "26-0005"


def test_the_first_page_does_not_replay_every_job(log: Log) -> None:
    """A list of the open jobs costs the same with closed ones behind it."""

    def took() -> float:
        best = 9.0
        for _ in range(5):
            start = time.perf_counter()
            log.waiting()
            log.search("start")
            best = min(best, time.perf_counter() - start)
        return best

    for n in range(20):
        log.append(f"o{n}", [entry(ev.JobOpened(f"o-{n}", "m", "", "d", "will not start"))], NOW)
    few = took()
    later = NOW + timedelta(days=1)
    from knowngood.job.events import Envelope

    start = log.last_seq("o19")
    log.import_events([
        Envelope(start + 2 * n + k, f"c{n}", type(e).__name__, 1, "filler", 2 * n + k, 0, later,
                 later, "UTC", "Sam", e)
        for n in range(3000)
        for k, e in enumerate((ev.JobOpened(f"c-{n}", "m", "", "d", "will not start"),
                               ev.JobClosed("repaired")), start=1)
    ])  # fmt: skip
    assert len(log.jobs()) == 3020
    assert took() < 4 * few + 0.01
