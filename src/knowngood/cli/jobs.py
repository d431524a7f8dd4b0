"""``knowngood job``: the list of jobs, one job on one screen, a job as a folder and back.

Exit codes: 0 done; 2 no such job, or the record cannot be used (said with the way out).
"""

from __future__ import annotations

import json
import math
import sys
import textwrap
from collections.abc import Callable, Mapping
from dataclasses import fields, is_dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from knowngood.job.events import ReadingJudged
from knowngood.job.job import Job, replay
from knowngood.job.things import JobReading
from knowngood.job.waiting import CAPACITOR
from knowngood.job.words import in_words, next_in_words
from knowngood.places.from_file import file_now
from knowngood.places.record import Record
from knowngood.places.shelf import line_of
from knowngood.store import backup
from knowngood.store.bundle import restore_file
from knowngood.store.export import lines, read_export, write_export
from knowngood.store.files import Files
from knowngood.store.log import Log
from knowngood.store.problem import StoreProblem
from knowngood.store.where import files_folder

WIDTH = 96
MOST_READINGS = 6


def list_jobs(store: Path, json_out: bool = False) -> int:
    """Print every job, open ones first, the one touched last on top; exit code."""
    return _said(lambda: _list(store, json_out))


def show(store: Path, job: str, json_out: bool = False) -> int:
    """Print one job, by number or id, on one screen; exit code.

    What it came in for, what was proven, what was taken off and where it lies, the last three
    steps, and what is next.
    """
    return _said(lambda: _show(store, job, json_out))


def export(store: Path, job: str, out: Path | None = None) -> int:
    """Write a job as a folder with its events, pictures and files; exit code.

    Without a folder the events alone go to standard output, one JSON object a line.
    """
    return _said(lambda: _export(store, job, out))


def import_export(store: Path, folder: Path) -> int:
    """Take over a job that `export` wrote; repeating it changes nothing. Exit code."""
    return _said(lambda: _import(store, folder))


def back_up(store: Path, folder: Path) -> int:
    """Copy the record with its pictures and files into a new folder, and read the copy; exit code.

    1 when the copy was made but a file was found damaged.
    """
    damaged: list[str] = []
    code = _said(lambda: damaged.extend(_back_up(store, folder)))
    return code or int(bool(damaged))


def put_back(store: Path, folder: Path) -> int:
    """Put a copy that `back_up` made where the record is looked for; exit code.

    1 when the record is back but a file of the copy is damaged.
    """
    damaged: list[str] = []
    code = _said(lambda: damaged.extend(_put_back(store, folder)))
    return code or int(bool(damaged))


def _said(command: Callable[[], None]) -> int:
    try:
        command()
    except StoreProblem as problem:
        print(problem, file=sys.stderr)
        return 2
    return 0


def _list(store: Path, json_out: bool) -> None:
    """Open jobs with what they wait for, in the shelf's own words."""
    now = datetime.now().astimezone()
    if not store.exists():
        print("[]" if json_out else f"No jobs yet: there is no record at {store}.")
        return
    with Log.open(store, make=False) as log:
        jobs = log.jobs()
    if json_out:
        print(json.dumps(_plain(jobs), ensure_ascii=False, allow_nan=False))
        return
    if not jobs:
        print("No jobs yet.")
    wide = max((len(one.name) for one in jobs), default=0)
    with Record.open(store, make=False) as record:
        waits = {one.job: line_of(record, one, now) for one in jobs if not one.closed}
    for one in jobs:
        words = [one.machine, one.customer, one.state]
        if line := waits.get(one.job):
            words[:0] = [f"▲ {line.unsafe}"] if line.unsafe else []
            words += [line.says, f"next: {line.next}" if line.next else "", line.by, line.place]
            if one.promised and "promised" not in line.by:
                words.append(f"promised {line.promised}")
        words = list(dict.fromkeys(words))
        print(f"{one.name:{wide}}  {'; '.join(word for word in words if word)}")


def _show(store: Path, name: str, json_out: bool) -> None:
    with Log.open(store, make=False) as log:
        events = log.events(log.find(name))
    job = replay(events)
    if json_out:
        answer = {**_plain(job), "state": job.state, "next": next_in_words(job)}
        print(json.dumps(answer, ensure_ascii=False, allow_nan=False))
        return
    print("\n".join(_head(job)))
    for look in job.look_at_this:
        _line("Look at this", f"{look.what}: {look.why}")
    _line("Proven", _proven(job))
    for part in job.accepted:
        _line("Accepted", f"{part.words or part.part}, by {part.by}")
    readings = job.live_readings
    for reading in readings[-MOST_READINGS:]:
        _line("Reading", _reading(reading))
    if len(readings) > MOST_READINGS:
        _line("", f"and {len(readings) - MOST_READINGS} earlier")
    for number, step in enumerate(job.open_steps, start=1):
        lies = "" if step.where.startswith(CAPACITOR) else "lies in "
        where = f"; {lies}{step.where}" if step.where else ""
        _line("Taken off" if number == 1 else "", f"{number}. {step.words or step.step}{where}")
    told = [one for one in events if not isinstance(one.event, ReadingJudged)]
    for number, one in enumerate(told[-3:]):
        when = f"{one.device_time:%Y-%m-%d %H:%M}"
        words = f"{when} {one.by or 'somebody'}: {in_words(one.event)}"
        _line("Last steps" if number == 0 else "", words)
    _line("Next", next_in_words(job))


def _head(job: Job) -> list[str]:
    opened, at = job.opened, job.opened_at
    if opened is None or at is None:
        return [f"Job {job.name}: {job.state}", "Its check-in is not in this record."]
    machine = f"{opened.maker} {opened.model}".strip() or opened.machine_id
    serial = f", serial {opened.serial}" if opened.serial else ""
    promised = f", promised {opened.promised}" if opened.promised else ""
    customer = f" for {opened.customer}" if opened.customer else ""
    return [
        f"Job {job.name}, {machine}{serial}: {job.state}",
        *_wrapped("In for", opened.customer_words or opened.complaint),
        *_wrapped("", f"checked in {at.device_time:%Y-%m-%d} by {at.by}{customer}{promised}"),
        *_file_lines(job),
    ]


def _file_lines(job: Job) -> list[str]:
    file = file_now(job)
    if file is None:
        return []
    return [f"{'Machine file:':14}{file.path}", *(_wrapped("", file.said) if file.said else ())]


def _proven(job: Job) -> str:
    decision = job.decision
    if decision is None:
        called = "; ".join(f"{part.words or part.part} called by {part.by}" for part in job.called)
        return f"nothing yet{'; ' if called else ''}{called}"
    number = f", number {decision.number}" if decision.number else ""
    words = f"{decision.words or decision.part}{number}. {decision.sentence}".strip()
    return words if decision.proven else f"nothing yet; decided without proof: {words}"


def _reading(reading: JobReading) -> str:
    grade = "" if reading.grade == "measured" else f" ({reading.grade})"
    said = reading.sentence or reading.verdict
    return f"{reading.question or reading.test} {reading.text}{grade}{': ' if said else ''}{said}"


def _export(store: Path, name: str, out: Path | None) -> None:
    with Log.open(store, make=False) as log:
        job = log.find(name)
        events = log.events(job)
    if out is None:
        print("\n".join(lines(events)))
        return
    done = write_export(events, Files(files_folder(store)), out)
    print(f"{out}: {done.events} events, {done.pictures} pictures, {done.files} files")
    if done.missing:
        print(f"Not in this record and so not exported: {', '.join(done.missing)}")


def _import(store: Path, folder: Path) -> None:
    with Log.open(store) as log:
        stored = read_export(folder, log, Files(files_folder(store)))
        names = [log.job(job) for job in sorted({one.job for one in stored})]
    for job in names:
        if job is not None:
            print(f"Job {job.name}: {job.state}")


def _back_up(store: Path, folder: Path) -> tuple[str, ...]:
    done = backup.back_up(store, folder)
    print(f"{done.store}: {done.events} events, {done.files} pictures and files")
    for name in done.damaged:
        print(f"damaged here, and not copied: {name}", file=sys.stderr)
    return done.damaged


def _put_back(store: Path, folder: Path) -> tuple[str, ...]:
    take = restore_file if folder.is_file() else backup.restore
    done = take(folder, store)
    print(f"{done.store}: {done.events} events, {done.files} pictures and files are back")
    for name in done.damaged:
        print(f"damaged in the copy, and not put back: {name}", file=sys.stderr)
    return done.damaged


def _line(label: str, words: str) -> None:
    print("\n".join(_wrapped(label, words)))


def _wrapped(label: str, words: str) -> list[str]:
    lead = f"{label + ':' if label else '':14}"
    return textwrap.wrap(words, WIDTH, initial_indent=lead, subsequent_indent=" " * 14) or [lead]


def _plain(value: object) -> Any:
    """Values for JSON: times as ISO 8601, a number that is not finite as null."""
    if is_dataclass(value) and not isinstance(value, type):
        return {f.name: _plain(getattr(value, f.name)) for f in fields(value)}
    if isinstance(value, datetime):
        return value.isoformat()
    if isinstance(value, Mapping):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value
