"""A job as a folder, and back into this record or another."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
from PIL import Image

from knowngood.job import events as ev
from knowngood.job.job import replay
from knowngood.store.export import EVENTS, read_export, write_export
from knowngood.store.files import Files
from knowngood.store.log import Log
from knowngood.store.problem import NewerStore, ResendConflict, StoreProblem
from tests.store.entries import NOW, entry


@pytest.fixture
def shop(tmp_path: Path) -> tuple[Log, Files]:
    """A record with two jobs, the second of them with a picture and a machine file."""
    files = Files(tmp_path / "files")
    out = io.BytesIO()
    Image.new("RGB", (30, 20), "red").save(out, "PNG")
    digest = files.keep_picture(out.getvalue()).digest
    machine = files.keep_text("id: brackwater-bt20\n")
    log = Log.open(tmp_path / "shop.db")
    log.append("other", [entry("x", "bench", 1)], NOW)
    opened = ev.JobOpened("26-0007", "brackwater-bt20", machine, "dead", meter_digest="5" * 64)
    later = [ev.PictureAdded(digest), ev.NoteAdded("line one\nline\u2028two")]
    log.append("j1", [entry(opened, "phone", 1)], NOW)
    log.append("j1", [entry(event, "phone", n) for n, event in enumerate(later, start=2)], NOW)
    log.append("j1", [entry("from the bench", "bench", 2)], NOW)
    return log, files


def test_there_and_back(shop: tuple[Log, Files], tmp_path: Path) -> None:
    log, files = shop
    done = write_export(log.events("j1"), files, tmp_path / "out")
    assert (done.events, done.pictures, done.files, done.missing) == (4, 1, 1, ("5" * 64,))
    there = Files(tmp_path / "files there")
    with Log.open(tmp_path / "there.db") as other:
        other.append("another", [entry("y", "their bench", 1)], NOW.replace(year=2027))
        for _ in range(2):  # again changes nothing
            read_export(tmp_path / "out", other, there)
        old, new = log.events("j1"), other.events("j1")
        assert [one.seq for one in old] == [2, 3, 4, 5]
        assert [one.seq for one in new] == [2, 3, 4, 5]
        for name in ("event", "device", "device_seq", "device_time", "server_time", "zone", "by"):
            assert [getattr(one, name) for one in old] == [getattr(one, name) for one in new]
        assert replay(new).notes[0].text == "line one\nline\u2028two"
    assert there.text_of(replay(old).machine_digest) == "id: brackwater-bt20\n"
    assert there.has(replay(old).pictures[0].digest)


def test_what_a_device_had_seen_follows_the_new_numbers(
    shop: tuple[Log, Files], tmp_path: Path
) -> None:
    log, files = shop
    write_export(log.events("j1"), files, tmp_path / "out")
    with Log.open(tmp_path / "there.db") as other:
        for number in range(20):
            other.append("another", [entry("y", "their bench", number)], NOW)
        read_export(tmp_path / "out", other, Files(tmp_path / "files there"))
        old, new = log.events("j1"), other.events("j1")
    assert [one.based_on for one in old] == [0, 2, 3, 4]
    assert [one.based_on for one in new] == [0, 21, 22, 23]


def test_another_job_under_the_same_device_number_is_refused(
    shop: tuple[Log, Files], tmp_path: Path
) -> None:
    log, files = shop
    write_export(log.events("j1"), files, tmp_path / "out")
    with Log.open(tmp_path / "there.db") as other:
        other.append("another", [entry("y", "phone", 2)], NOW)
        with pytest.raises(ResendConflict):
            read_export(tmp_path / "out", other, Files(tmp_path / "files there"))
        assert len(other.all_events()) == 1


def test_an_export_is_not_written_over(shop: tuple[Log, Files], tmp_path: Path) -> None:
    log, files = shop
    write_export(log.events("j1"), files, tmp_path / "out")
    with pytest.raises(StoreProblem, match="holds an exported job already"):
        write_export(log.events("other"), files, tmp_path / "out")
    (tmp_path / "file").write_text("")
    with pytest.raises(StoreProblem, match=r"cannot be written.*name a file in a folder"):
        write_export(log.events("other"), files, tmp_path / "file")


def test_every_line_that_is_off_is_listed(shop: tuple[Log, Files], tmp_path: Path) -> None:
    log, files = shop
    write_export(log.events("j1"), files, tmp_path / "out")
    written = tmp_path / "out" / EVENTS
    lines = written.read_text(encoding="utf-8").split("\n")
    lines[2], lines[4] = "{", lines[4].replace('"seq"', '"sequence"')
    written.write_text("\n".join(lines), encoding="utf-8")
    with Log.open(tmp_path / "there.db") as other:
        with pytest.raises(StoreProblem) as said:
            read_export(tmp_path / "out", other, Files(tmp_path / "files there"))
        assert other.all_events() == []
    told = str(said.value)
    assert "line 3" in told and "line 5" in told and "'seq' is missing" in told
    assert "line 2" not in told and told.endswith("Nothing was stored.")


def test_a_damaged_picture_stops_it(shop: tuple[Log, Files], tmp_path: Path) -> None:
    log, files = shop
    write_export(log.events("j1"), files, tmp_path / "out")
    (path,) = (tmp_path / "out" / "pictures").iterdir()
    path.write_bytes(b"rot")
    with Log.open(tmp_path / "there.db") as other:
        with pytest.raises(StoreProblem, match="is damaged"):
            read_export(tmp_path / "out", other, Files(tmp_path / "files there"))
        assert other.all_events() == []


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "line 1: this is not an exported job"),
        (b'{"a": 1}\n', "line 1: this is not an exported job"),
        (b'{"record": "knowngood job", "format": 1}\n\n', "has no events"),
        (b"\xff\xfe", "no UTF-8 text"),
    ],
)
def test_what_is_no_export_is_said(tmp_path: Path, content: bytes, said: str) -> None:
    (tmp_path / "e.jsonl").write_bytes(content)
    with Log.open(tmp_path / "there.db") as log, pytest.raises(StoreProblem, match=said):
        read_export(tmp_path / "e.jsonl", log, Files(tmp_path / "files"))


def test_an_export_of_a_newer_program(tmp_path: Path) -> None:
    (tmp_path / EVENTS).write_text(
        '{"record": "knowngood job", "format": 8, "written_by": "2.3.0"}\n'
    )
    with Log.open(tmp_path / "there.db") as log, pytest.raises(NewerStore, match=r"2\.3\.0"):
        read_export(tmp_path, log, Files(tmp_path / "files"))
