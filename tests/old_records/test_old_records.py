"""Every record that a release wrote opens today and says what it said then."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from knowngood.job.events import ReadingTaken
from knowngood.job.job import Job, replay
from knowngood.job.own_machines import MachineKept, own_machines
from knowngood.job.shop_files import shop_files
from knowngood.job.stockroom import stockroom_of
from knowngood.job.words import in_words, next_in_words
from knowngood.store.codec import KINDS, from_line, to_line
from knowngood.store.export import events_in, lines
from knowngood.store.log import Log
from tests.old_records.make import record

HERE = Path(__file__).parent
RECORDS = sorted(HERE.glob("v*.jsonl"))


def events_of(path: Path) -> list[str]:
    return path.read_text(encoding="utf-8").splitlines()[1:]


def test_of_0_1_0() -> None:
    text = (HERE / "v0_1_0.jsonl").read_text(encoding="utf-8")
    check_0_1_0(replay(events_in(text, "v0_1_0.jsonl")))


def test_of_0_1_0_in_a_store(tmp_path: Path) -> None:
    text = (HERE / "v0_1_0.jsonl").read_text(encoding="utf-8")
    with Log.open(tmp_path / "shop.db") as log:
        log.import_events(events_in(text, "v0_1_0.jsonl"))
        job = log.job(log.find("26-0007"))
    assert job is not None
    check_0_1_0(job)


def check_0_1_0(job: Job) -> None:
    assert job.opened is not None
    assert (job.number, job.opened.serial, job.opened.promised) == (
        "26-0007",
        "BW20-004417",
        "2026-03-06",
    )
    assert job.opened.rates == {"bench_rate": 95.0, "currency": "USD", "diagnosis_fee": 45}
    assert (job.meter, job.machine_digest) == ("generic-6000", "9" * 64)
    assert [(r.id, r.verdict, r.live, r.corrected_by) for r in job.readings] == [
        ("r1", "fits nothing", False, "r2"),
        ("r2", "good", True, ""),
        ("r3", "", False, ""),
        ("r4", "bad", True, ""),
    ]
    assert [r.value().low for r in job.live_readings] == [20.1, 0.012]
    assert job.readings[2].value().kind == "over"
    assert job.readings[0].shown["belief"] == {"pack": 0.31, "trigger": 0.33}
    assert [t.id for t in job.told] == ["charged"]
    assert job.accepted == ()
    assert [c.part for c in job.called] == ["trigger"]
    assert job.decision is not None
    assert (job.decision.number, job.decision.proven) == ("TS-114C", True)
    assert job.decision.proof == {"readings": ["r2", "r4"], "belief": 0.988, "limit": 0.95}
    assert [(c.cause, c.answer) for c in job.causes] == [("dust", "yes")]
    assert [(s.step, s.where, s.is_open) for s in job.steps] == [
        ("shell", "tray 2, blue lid", False)
    ]
    assert job.minutes_by_step() == {"shell": 6.0, "pack-volts": 1.5}
    assert [(c.check, c.result) for c in job.release] == [
        ("trigger-off", "pass"),
        ("guard", "not applicable"),
    ]
    assert [p.caption for p in job.pictures] == ["The plate"]
    assert [n.text for n in job.notes] == [
        "Customer will bring the second pack too.",
        "reopened: second pack came in",
    ]
    assert job.look_at_this == ()
    assert job.state == "Trigger switch proven, 2 release checks done"
    assert next_in_words(job) == "the rest of the release checks, then close the job"
    assert job.last is not None
    assert job.last.device_time.isoformat() == "2026-03-02T09:46:00-05:00"
    assert job.last.server_time.isoformat() == "2026-03-02T14:46:00+00:00"


def test_what_was_taken_back_is_not_there_any_more() -> None:
    job = replay(events_in((HERE / "v0_1_0_undone.jsonl").read_text(encoding="utf-8"), "undone"))
    assert (job.causes, job.release, job.notes, job.details) == ((), (), (), ())
    assert job.opened is not None and job.opened.serial == "BW20-004417"


@pytest.mark.parametrize("path", RECORDS, ids=lambda path: path.stem)
def test_every_old_record_can_be_read_and_written_on(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    events = events_in(text, path.name)
    assert len(events) == len(events_of(path))
    for envelope in events:
        assert in_words(envelope.event)
        assert from_line(to_line(envelope)).event == envelope.event
        if isinstance(envelope.event, ReadingTaken):
            assert envelope.event.reading["text"]
    again = events_in("\n".join(lines(events)), "again")
    assert replay(again).readings == replay(events).readings


def test_the_old_records_have_every_kind() -> None:
    kinds = {json.loads(line)["kind"] for path in RECORDS for line in events_of(path)}
    assert kinds == set(KINDS)


def test_what_is_written_today_replays_to_the_same_job() -> None:
    """While the release is not out, the script that made its record must still make its like; what
    a reading says since then stands beside what it said."""
    today = replay(events_in("\n".join(record()), "today"))
    then = replay(events_in((HERE / "v0_1_0.jsonl").read_text(encoding="utf-8"), "then"))
    said = [
        replace(new, reading={k: new.reading[k] for k in old.reading})
        for new, old in zip(today.readings, then.readings, strict=True)
    ]
    assert replace(today, readings=tuple(said)) == then
    assert [r.value() for r in today.readings] == [r.value() for r in then.readings]


def test_the_machine_file_of_0_1_0() -> None:
    job = replay(events_in((HERE / "v0_1_0_path.jsonl").read_text(encoding="utf-8"), "path"))
    assert job.machine_file is not None
    assert (job.machine_file.path, job.machine_digest) == ("/machines/bt20.yaml", "a" * 64)


def test_papers_of_0_1_0() -> None:
    text = (HERE / "v0_1_0_papers.jsonl").read_text(encoding="utf-8")
    paper = replay(events_in(text, "v0_1_0_papers.jsonl")).paperwork
    assert paper.programme is not None
    assert (paper.programme.programme, paper.programme.digest) == ("brackwater_outdoor", "9" * 64)
    assert (paper.cover.use, paper.cover.answers) == ("household", {"water": "no"})
    assert (paper.codes.mode, paper.codes.labour) == ("M05", "L20")
    assert paper.programme_agreed is not None
    assert paper.estimate is not None
    assert [a.up_to for a, _ in paper.agreed] == ["60.00"]
    assert [move.entry for move in paper.moves] == ["c1", "c2", "c3"]
    assert [(one.entry, one.amount) for one in paper.taken] == [("m1", "45.00")]


def test_stockroom_of_0_1_0() -> None:
    text = (HERE / "v0_1_0_stock.jsonl").read_text(encoding="utf-8")
    room = stockroom_of(events_in(text, "v0_1_0_stock.jsonl"))
    assert room.kept["BW210"].count == 2
    assert dict(room.kept["BW210"].reserved) == {}
    assert dict(room.orders["o1"].open) == {"BW310": 1}
    assert (room.kept["BW310"].count, len(room.kept["BW310"].reserved)) == (1, 1)


def test_machine_files_of_0_1_0() -> None:
    text = (HERE / "v0_1_0_machines.jsonl").read_text(encoding="utf-8")
    kept = own_machines(events_in(text, "v0_1_0_machines.jsonl"))
    assert list(kept) == ["brackwater-bt20"]
    event = kept["brackwater-bt20"].event
    assert isinstance(event, MachineKept) and (event.digest, event.whole) == ("7" * 64, "6" * 64)


def test_taxes_and_what_was_taken_back_of_0_1_0() -> None:
    events = events_in((HERE / "v0_1_0_taxes.jsonl").read_text(encoding="utf-8"), "taxes")
    table = shop_files(events).taxes
    assert (dict(table.percent), table.on, table.step, table.mode, table.included) == (
        {"standard": "20", "reduced": "5.5"}, "line", "0.05", "half even", True,
    )  # fmt: skip
    assert table.kinds["part"] == "reduced"
    paper = replay(events).paperwork
    assert (paper.codes.mode, paper.codes.cause, paper.agreed) == ("M05", "C03", ())
