"""Lists and searches over the rows of the jobs; none of them grows with the record."""

from __future__ import annotations

import difflib

from knowngood.store.problem import StoreProblem
from knowngood.store.rows import COLUMNS, JobSummary, key, summary_of
from knowngood.store.sql import Statements
from knowngood.store.words import matching

NEAR = 400  # latest jobs among which the nearest name is looked for


def all_jobs(read: Statements, limit: int) -> list[JobSummary]:
    return _rows(read, "1 ORDER BY stands DESC, last_seq DESC LIMIT ?", limit)


def waiting(read: Statements, limit: int) -> list[JobSummary]:
    return _rows(read, "stands = 'open' ORDER BY due, since, id LIMIT ?", limit)


def closed(read: Statements, limit: int) -> list[JobSummary]:
    return _rows(read, "stands = 'closed' ORDER BY last_seq DESC LIMIT ?", limit)


def count_open(read: Statements) -> int:
    return int(read.rows("SELECT COUNT(*) FROM job_row WHERE stands = 'open'")[0][0])


def search(read: Statements, text: str, limit: int, indexed: bool) -> list[JobSummary]:
    """A whole number of a tag names its job alone."""
    exact = _rows(read, "number_key = ? ORDER BY id DESC LIMIT 5", text.strip().casefold())
    return exact or [summary_of(row) for row in matching(read, COLUMNS, text, limit, indexed)]


def same_serial(read: Statements, serial: str, limit: int) -> list[JobSummary]:
    wanted = key(serial)
    if not wanted:
        return []
    return _rows(read, "serial_key = ? ORDER BY last_seq DESC LIMIT ?", wanted, limit)


def one(read: Statements, job: str) -> JobSummary | None:
    found = _rows(read, "job = ?", job)
    return found[0] if found else None


def find(read: Statements, name: str, place: str) -> str:
    wanted = name.strip().casefold()
    found = _rows(read, "(number_key = ? OR job_key = ?) AND ? <> ''", wanted, wanted, wanted)
    if not found and len(wanted) >= 4:
        found = _rows(read, "job_key >= ? AND job_key < ?", wanted, wanted + "\U0010ffff")
    if len(found) == 1:
        return found[0].job
    if found:
        ids = ", ".join(one.job for one in found)
        raise StoreProblem(f"{len(found)} jobs go by {name!r}; name one by its id: {ids}.")
    latest = _rows(read, "1 ORDER BY last_seq DESC LIMIT ?", NEAR)
    if not latest:
        raise StoreProblem(f"There is no job {name!r}: the record at {place} is empty.")
    known = {one.name.casefold(): one.name for one in latest}
    near = difflib.get_close_matches(wanted, known, n=3, cutoff=0.4) or list(known)[:3]
    raise StoreProblem(
        f"There is no job {name!r}. The nearest: {', '.join(known[one] for one in near)}."
    )


def _rows(read: Statements, where: str, *values: object) -> list[JobSummary]:
    return [
        summary_of(row) for row in read.rows(f"SELECT {COLUMNS} FROM job_row WHERE {where}", values)
    ]
