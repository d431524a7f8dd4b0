"""The shop's record: one append-only list of events.

    log = Log.open("shop.db")
    log.append(job, [Entry(event, "bench phone", 7, 41, device_time, "Sam")], now)
    replay(log.events(job))

The store gives each event its `seq` inside one write transaction, and returns only after the disk
has it. A device that is not sure whether its entry arrived sends it again: the same device and
device_seq is stored once.
"""

from __future__ import annotations

import uuid
from collections.abc import Callable, Iterable, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import NamedTuple

from knowngood.job.events import Envelope, Event
from knowngood.job.job import Job, replay
from knowngood.store import finding
from knowngood.store.codec import encode, same
from knowngood.store.event_table import COLUMNS, number, read_events
from knowngood.store.prices import PriceBook
from knowngood.store.problem import ResendConflict, StoreProblem
from knowngood.store.rows import JobSummary, keep_rows
from knowngood.store.schema import bring_up, facts
from knowngood.store.sql import Database, SqliteDatabase, Statements


class Entry(NamedTuple):
    """What a device sends. `device_time` has an offset.

    `device_seq` None: the next one of this device (a program on the shop's own computer).
    `based_on` None: the device has seen all there is of the job.
    """

    event: Event
    device: str
    device_seq: int | None
    based_on: int | None
    device_time: datetime
    by: str


class Log:
    """An open record. Use it as a context, or call `close`. Safe for several threads.

    `place` is where it lies, `id` its own name, given when it was made.
    """

    def __init__(self, database: Database) -> None:
        self._database = database
        self.place = database.place
        with database.reading() as read:
            self.id = facts(read)["id"]
            self._indexed = database.has_table(read, "job_words")

    @property
    def desk(self) -> str:
        """The device name of programs on the shop's own computer; no other record has the same."""
        return f"desk {self.id[:8]}"

    @classmethod
    def open(cls, path_or_url: str | Path, make: bool = True) -> Log:
        """The record at a path. One that is not there is made, or refused if not `make`.

        Raises StoreProblem, NewerStore.
        """
        text = str(path_or_url)
        if text.startswith("sqlite:///"):
            path_or_url = text.removeprefix("sqlite:///")
        elif "://" in text:
            raise StoreProblem(
                f"A record at {text.split('://')[0]}:// is not supported by this version; "
                f"name a file, such as shop.db."
            )
        path = Path(path_or_url)
        if not make and not path.exists():
            raise StoreProblem(
                f"There is no record at {path} yet. A first entry makes it (a job checked in, a "
                f"price list taken), or name another place with --store."
            )
        if not make and path.is_file() and path.stat().st_size == 0:
            raise StoreProblem(
                f"{path} is an empty file, not a record. Nothing was written to it. Name the right "
                f"file with --store; if a record was there, put it back from the latest backup."
            )
        database = SqliteDatabase(path)
        try:
            bring_up(database)
        except BaseException:
            database.close()
            raise
        return cls(database)

    @property
    def prices(self) -> PriceBook:
        """The suppliers' price lists, kept beside the events."""
        return PriceBook(self._database)

    def __enter__(self) -> Log:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        self._database.close()

    def copy_to(self, target: Path) -> None:
        """A whole copy of the record as it is now, in a new file. Raises StoreProblem."""
        self._database.copy_to(target)

    def append(
        self, job: str, items: Iterable[Entry | tuple[object, ...]], now: datetime,
        also: Callable[[Statements], None] | None = None,
    ) -> list[Envelope]:  # fmt: skip
        """Store these entries of one job, all or none; the answer is in the order given. `also` is
        written in the same transaction.

        An entry that is already there comes back as it was stored. `now` has the shop's zone.
        Raises ResendConflict when a device's number is there with something else under it, and
        StoreProblem when nothing could be stored.
        """
        entries = [item if isinstance(item, Entry) else Entry(*item) for item in items]  # type: ignore[arg-type]
        _check(job, entries, now)
        return self._store([(job, entries)], now.astimezone(UTC), _zone(now), also)

    def append_all(
        self, parts: Sequence[tuple[str, Sequence[Entry]]], now: datetime
    ) -> list[Envelope]:
        """Store entries of several jobs, all or none; else as `append`."""
        for job, entries in parts:
            _check(job, entries, now)
        return self._store(parts, now.astimezone(UTC), _zone(now))

    def import_events(self, envelopes: Sequence[Envelope]) -> list[Envelope]:
        """Take over events from another record: each keeps its times, device and person.

        `seq` is given anew and `based_on` follows it. What is here already stays as it is.
        """
        stored: list[Envelope] = []
        with self._database.writing() as write:
            new_seq: dict[str, list[tuple[int, int]]] = {}
            for old in sorted(envelopes, key=lambda envelope: envelope.seq):
                seen = new_seq.setdefault(old.job, [])
                based_on = max((new for was, new in seen if was <= old.based_on), default=0)
                entry = Entry(
                    old.event, old.device, old.device_seq, based_on, old.device_time, old.by
                )
                one = _put(write, old.job, entry, old.server_time, old.zone)
                seen.append((old.seq, one.seq))
                stored.append(one)
            keep_rows(write, new_seq, self._indexed)
        return stored

    def events(self, job: str) -> list[Envelope]:
        """All of one job in the order of the record; empty for a job that is not there."""
        with self._database.reading() as read:
            return read_events(read, "job = ? ORDER BY seq", (job,))

    def all_events(self, after: int = 0) -> list[Envelope]:
        """The whole record after a seq, in order."""
        with self._database.reading() as read:
            return read_events(read, "seq > ? ORDER BY seq", (after,))

    def of_kinds(
        self, kinds: Sequence[str], after: int = 0, jobs: Sequence[str] | None = None
    ) -> list[Envelope]:
        """The events of these kinds after a seq, in order: of all jobs, or of the named ones."""
        where = f"seq > ? AND kind IN ({', '.join('?' * len(kinds))})"
        if jobs is not None:
            where += f" AND job IN ({', '.join('?' * len(jobs))})"
        with self._database.reading() as read:
            values = (after, *kinds, *(jobs or ()))
            return read_events(read, f"{where} ORDER BY seq", values)

    def newest(self) -> int:
        """The seq of what happened last in the whole record; 0 in an empty one."""
        with self._database.reading() as read:
            return number(read, "MAX(seq)", "seq > ?", (0,))

    def job(self, job: str) -> Job | None:
        """The job as it stands, or None if there is no such id."""
        events = self.events(job)
        return replay(events) if events else None

    def sent(self, device: str, device_seq: int) -> Envelope | None:
        """What a device sent under this number of its own, or None if that never arrived."""
        with self._database.reading() as read:
            there = read_events(read, "device = ? AND device_seq = ?", (device, device_seq))
        return there[0] if there else None

    def last_seq(self, job: str) -> int:
        """The seq of what happened last on a job; 0 when there is no such job."""
        with self._database.reading() as read:
            return number(read, "MAX(seq)", "job = ?", (job,))

    def jobs_with(self, kinds: Sequence[str]) -> list[str]:
        """Ids of the jobs on which something of these kinds ever happened, oldest first."""
        marks = ", ".join("?" for _ in kinds)
        with self._database.reading() as read:
            rows = read.rows(
                f"SELECT job, MIN(seq) FROM event WHERE kind IN ({marks}) GROUP BY job ORDER BY 2",
                tuple(kinds),
            )
        return [job for job, _ in rows]

    def people(self, latest: int = 2000) -> tuple[str, ...]:
        """Who wrote the latest entries of the record, the last one first."""
        with self._database.reading() as read:
            rows = read.rows(
                "SELECT by_name, MAX(seq) FROM (SELECT by_name, seq FROM event "
                "ORDER BY seq DESC LIMIT ?) GROUP BY by_name ORDER BY 2 DESC",
                (latest,),
            )
        return tuple(name for name, _ in rows if name)

    def jobs(self, limit: int = -1) -> list[JobSummary]:
        """Every job, the open ones first, each group by what happened last."""
        with self._database.reading() as read:
            return finding.all_jobs(read, limit)

    def waiting(self, limit: int = 200) -> list[JobSummary]:
        """Open jobs, what is due first, first; those without a date by how long they wait."""
        with self._database.reading() as read:
            return finding.waiting(read, limit)

    def closed(self, limit: int = 200) -> list[JobSummary]:
        """Closed jobs, the one touched last on top."""
        with self._database.reading() as read:
            return finding.closed(read, limit)

    def count_open(self) -> int:
        """How many jobs are open."""
        with self._database.reading() as read:
            return finding.count_open(read)

    def search(self, text: str, limit: int = 50) -> list[JobSummary]:
        """Jobs with all these words: number, customer, maker, model, serial, complaint.

        The start of a word will do, of a serial any piece of it. Open ones come first.
        """
        with self._database.reading() as read:
            return finding.search(read, text, limit, self._indexed)

    def same_serial(self, serial: str, limit: int = 20) -> list[JobSummary]:
        """Jobs on the machine with this serial, the latest first."""
        with self._database.reading() as read:
            return finding.same_serial(read, serial, limit)

    def summary(self, job: str) -> JobSummary | None:
        """One job by its id as a line, or None."""
        with self._database.reading() as read:
            return finding.one(read, job)

    def find(self, name: str) -> str:
        """The id of the job with this number or id (or the start of its id).

        Raises StoreProblem naming the nearest jobs.
        """
        with self._database.reading() as read:
            return finding.find(read, name, self.place)

    def new_job_number(self, prefix: str = "") -> str:
        """The next free number, such as "26-0007" for the prefix "26-"; never given twice."""
        with self._database.writing() as write:
            while True:
                last = write.rows(
                    "INSERT INTO counter (prefix, last) VALUES (?, 1) "
                    "ON CONFLICT (prefix) DO UPDATE SET last = counter.last + 1 RETURNING last",
                    (prefix,),
                )[0][0]
                given = f"{prefix}{last:04d}"
                if not write.rows("SELECT 1 FROM job_number WHERE number = ?", (given,)):
                    return given

    def _store(
        self, parts: Sequence[tuple[str, Sequence[Entry]]], server_time: datetime, zone: str,
        also: Callable[[Statements], None] | None = None,
    ) -> list[Envelope]:  # fmt: skip
        entries = [(job, entry) for job, some in parts for entry in some]
        # A device's own order is the order of its numbers, whatever order they arrive in.
        order = sorted(
            range(len(entries)),
            key=lambda at: (entries[at][1].device_seq is None, entries[at][1].device_seq or 0),
        )
        stored: dict[int, Envelope] = {}
        with self._database.writing() as write:
            if also is not None:
                also(write)
            for at in order:
                stored[at] = _put(write, *entries[at], server_time, zone)
            keep_rows(write, dict.fromkeys(job for job, _ in entries), self._indexed)
        return [stored[at] for at in range(len(entries))]


def new_job_id() -> str:
    """An id that a device can give without asking the store."""
    return uuid.uuid4().hex


def _check(job: str, entries: Sequence[Entry], now: datetime) -> None:
    if not job:
        raise ValueError("a job has an id; this one is empty")
    if now.tzinfo is None:
        raise ValueError(f"now = {now.isoformat()} has no zone; pass an aware time")
    for entry in entries:
        if not entry.device:
            raise ValueError("an entry names its device; this one is empty")
        if entry.device_seq is not None and not 0 <= entry.device_seq < 2**63:
            raise ValueError(f"device_seq {entry.device_seq} is not between 0 and 2^63 - 1")
        if entry.based_on is not None and not 0 <= entry.based_on < 2**63:
            raise ValueError(f"based_on {entry.based_on} is not between 0 and 2^63 - 1")
        if entry.device_time.tzinfo is None:
            raise ValueError(f"device_time {entry.device_time.isoformat()} has no zone")


def _put(write: Statements, job: str, entry: Entry, server_time: datetime, zone: str) -> Envelope:
    device_seq = entry.device_seq
    if device_seq is None:
        device_seq = 1 + number(write, "MAX(device_seq)", "device = ?", (entry.device,))
    else:
        there = read_events(write, "device = ? AND device_seq = ?", (entry.device, device_seq))
        if there:
            return _resent(there[0], job, entry)
    based_on = entry.based_on
    if based_on is None:
        based_on = number(write, "MAX(seq)", "job = ?", (job,))
    seq = 1 + number(write, "MAX(seq)", "seq > ?", (0,))
    kind, version, body = encode(entry.event)
    write.execute(
        f"INSERT INTO event ({COLUMNS}) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        (
            seq,
            job,
            kind,
            version,
            entry.device,
            device_seq,
            based_on,
            entry.device_time.isoformat(),
            server_time.isoformat(),
            zone,
            entry.by,
            body,
        ),
    )
    return read_events(write, "seq = ?", (seq,))[0]


def _resent(there: Envelope, job: str, entry: Entry) -> Envelope:
    if there.job == job and same(there.event, entry.event):
        return there
    raise ResendConflict(
        f"The device {entry.device!r} sent its entry {entry.device_seq} twice with different "
        f"content: {there.kind} on job {there.job} is stored (seq {there.seq}), and now came "
        f"{encode(entry.event)[0]} on job {job}. The stored one stands; nothing of this sending "
        f"was stored. Give the new entry the device's next number."
    )


def _zone(now: datetime) -> str:
    """The name of the zone (Europe/Vienna) where it has one, else its offset."""
    return str(getattr(now.tzinfo, "key", None) or now.tzname() or now.strftime("%z"))
