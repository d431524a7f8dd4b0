"""The jobs commands as a person and a script see them."""

from __future__ import annotations

import json
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from knowngood.cli.jobs import export, import_export, list_jobs, show
from knowngood.job import events as ev
from knowngood.job import shelf
from knowngood.job.events import Event
from knowngood.store.log import Entry, Log
from tests.job.record import volts

NOW = datetime(2026, 3, 2, 9, 0, tzinfo=ZoneInfo("America/New_York"))
EVENTS: list[Event] = [
    ev.JobOpened(
        "26-0007",
        "brackwater-bt20",
        "",
        "dead",
        "Worked on Sunday, nothing on Monday",
        "R. Okafor",
        "Brackwater",
        "BT-20",
        "BW20-004417",
        promised="Friday",
    ),
    volts("r1", 20.1),
    ev.ReadingJudged("r1", "good", "20.1 V is a charged pack.", {"next": "Open the shell"}),
    ev.StepOpened("shell", "Right half of the shell", 6, "tray 2"),
    ev.StepOpened("grip", "Rubber grip", 2),
    ev.PartCalled("trigger", "Trigger switch", "Sam"),
]
DECIDED = ev.PartDecided("trigger", "Trigger switch", "TS-114", True, "Only it is left.")


@pytest.fixture
def store(tmp_path: Path) -> Path:
    put(tmp_path / "shop.db", *EVENTS)
    return tmp_path / "shop.db"


def put(store: Path, *events: Event) -> None:
    with Log.open(store) as log:
        log.append("a" * 32, [Entry(one, "phone", None, None, NOW, "Sam") for one in events], NOW)


def test_one_job_on_one_screen(store: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert show(store, "26-0007") == 0
    assert capsys.readouterr().out == (
        "Job 26-0007, Brackwater BT-20, serial BW20-004417: "
        "Trigger switch called by Sam, not proven yet, 2 steps open\n"
        "In for:       Worked on Sunday, nothing on Monday\n"
        "              checked in 2026-03-02 by Sam for R. Okafor, promised Friday\n"
        "Proven:       nothing yet; Trigger switch called by Sam\n"
        "Reading:      Pack at its terminals? 20.1 V: 20.1 V is a charged pack.\n"
        "Taken off:    1. Right half of the shell; lies in tray 2\n"
        "              2. Rubber grip\n"
        "Last steps:   2026-03-02 09:00 Sam: opened: Right half of the shell (tray 2)\n"
        "              2026-03-02 09:00 Sam: opened: Rubber grip\n"
        "              2026-03-02 09:00 Sam: Sam called it: Trigger switch\n"
        "Next:         Open the shell\n"
    )


def test_what_was_proven_and_what_changed_since(
    store: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    put(store, DECIDED, ev.ReadingWithdrawn("r1", "wrong socket"))
    assert show(store, "aaaaaaaa") == 0
    out = capsys.readouterr().out
    assert "Proven:       Trigger switch, number TS-114. Only it is left.\n" in out
    assert "Look at this: decision: Trigger switch: it rests on the reading '20.1 V'" in out
    said = "order Trigger switch TS-114; once it is here fit it, then put it together again"
    assert f"Next:         {said}\n" in out
    put(store, shelf.PartOrdered("trigger", "Trigger switch", "TS-114"),
        shelf.PartArrived("trigger", "Trigger switch"))
    assert show(store, "aaaaaaaa") == 0
    out = capsys.readouterr().out
    assert "Next:         fit Trigger switch, then put it together again\n" in out


def test_a_long_job_still_fits_a_screen(store: Path, capsys: pytest.CaptureFixture[str]) -> None:
    put(store, *(volts(f"more{n}", 20 + n / 10) for n in range(30)), ev.NoteAdded("word " * 60))
    assert show(store, "26-0007") == 0
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) < 30 and max(map(len, lines[1:])) <= 96
    assert "              and 25 earlier" in lines


def test_a_job_for_a_script(store: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert show(store, "26-0007", json_out=True) == 0
    answer = json.loads(capsys.readouterr().out)
    assert answer["number"] == "26-0007" and answer["next"] == "Open the shell"
    assert answer["readings"][0]["reading"]["low"] == 20.1
    assert answer["readings"][0]["taken"]["device_time"] == "2026-03-02T09:00:00-05:00"
    assert [step["step"] for step in answer["steps"]] == ["shell", "grip"]


def test_the_list(store: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert list_jobs(store) == 0
    assert capsys.readouterr().out == (
        "26-0007  Brackwater BT-20; R. Okafor; Trigger switch called by Sam, not proven yet, "
        "2 steps open; next: Open the shell; promised Friday\n"
    )
    assert list_jobs(store, json_out=True) == 0
    (one,) = json.loads(capsys.readouterr().out)
    assert (one["number"], one["events"], one["closed"]) == ("26-0007", 6, False)
    assert one["last_at"] == "2026-03-02T14:00:00+00:00"


def test_no_record_yet(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert list_jobs(tmp_path / "shop.db") == 0
    assert "No jobs yet" in capsys.readouterr().out
    assert list_jobs(tmp_path / "shop.db", json_out=True) == 0
    assert json.loads(capsys.readouterr().out) == []
    assert show(tmp_path / "shop.db", "26-0007") == 2
    assert "There is no record at" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []  # looking makes nothing


def test_an_unknown_job_names_the_nearest(store: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for command in (show, export):
        assert command(store, "26-007") == 2
        out, err = capsys.readouterr()
        assert out == "" and err == "There is no job '26-007'. The nearest: 26-0007.\n"


def test_export_and_import(store: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = store.parent / "job"
    assert export(store, "26-0007", folder) == 0
    assert "6 events, 0 pictures" in capsys.readouterr().out
    other = store.parent / "other.db"
    for _ in range(2):
        assert import_export(other, folder) == 0
        assert capsys.readouterr().out.startswith("Job 26-0007: Trigger switch called by Sam")
    assert export(store, "26-0007", folder) == 2
    assert "already" in capsys.readouterr().err
    assert export(store, "26-0007") == 0
    lines = capsys.readouterr().out.split("\n")
    assert lines[:-1] == (folder / "events.jsonl").read_text(encoding="utf-8").split("\n")[:-1]
    assert import_export(other, store.parent / "nowhere") == 2
    assert "cannot be read" in capsys.readouterr().err
