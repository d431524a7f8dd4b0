"""The shop's record: one append-only list of events.

    log = Log.open("shop.db")
    log.append(job, [Entry(event, "bench phone", 7, 41, device_time, "Sam")], now)
    replay(log.events(job))

The store gives each event its `seq` inside one write transaction, and returns only after the disk
has it. A device that is not sure whether its entry arrived sends it again: the same device and
device_seq is stored once.
"""

from __future__ import annotations

import difflib
import uuid
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import NamedTuple

from knowngood.job.events import Envelope, Event, JobOpened, NumberGiven
from knowngood.job.job import Job, replay
from knowngood.store.codec import decode, encode, same
from knowngood.store.problem import ResendConflict, StoreProblem
from knowngood.store.schema import bring_up, facts
from knowngood.store.sql import Database, SqliteDatabase, Statements

_COLUMNS = (
    "seq, job, kind, version, device, device_seq, based_on, "
    "device_time, server_time, zone, by_name, body"
)


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


@dataclass(frozen=True, slots=True)
class JobSummary:
    """One line of the list of jobs. `last_at` is in UTC."""

    job: str
    number: str
    machine: str
    customer: str
    complaint: str
    state: str
    closed: bool
    promised: str
    events: int
    last_seq: int
    last_at: datetime

    @property
    def name(self) -> str:
        return self.number or self.job[:8]


class Log:
    """An open record. Use it as a context, or call `close`. Safe for several threads.

    `place` is where it lies, `id` its own name, given when it was made.
    """

    def __init__(self, database: Database) -> None:
        self._database = database
        self.place = database.place
        with database.reading() as read:
            self.id = facts(read)["id"]

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
                f"There is no record at {path} yet. Check in a first job, or name another place "
                f"with --store."
            )
        database = SqliteDatabase(path)
        try:
            bring_up(database)
        except BaseException:
            database.close()
            raise
        return cls(database)

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
        self, job: str, items: Iterable[Entry | tuple[object, ...]], now: datetime
    ) -> list[Envelope]:
        """Store these entries of one job, all or none; the answer is in the order given.

        An entry that is already there comes back as it was stored. `now` has the shop's zone.
        Raises ResendConflict when a device's number is there with something else under it, and
        StoreProblem when nothing could be stored.
        """
        entries = [item if isinstance(item, Entry) else Entry(*item) for item in items]  # type: ignore[arg-type]
        _check(job, entries, now)
        return self._store(job, entries, now.astimezone(UTC), _zone(now))

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
        return stored

    def events(self, job: str) -> list[Envelope]:
        """All of one job in the order of the record; empty for a job that is not there."""
        with self._database.reading() as read:
            return _read(read, "job = ? ORDER BY seq", (job,))

    def all_events(self, after: int = 0) -> list[Envelope]:
        """The whole record after a seq, in order."""
        with self._database.reading() as read:
            return _read(read, "seq > ? ORDER BY seq", (after,))

    def job(self, job: str) -> Job | None:
        """The job as it stands, or None if there is no such id."""
        events = self.events(job)
        return replay(events) if events else None

    def sent(self, device: str, device_seq: int) -> Envelope | None:
        """What a device sent under this number of its own, or None if that never arrived."""
        with self._database.reading() as read:
            there = _read(read, "device = ? AND device_seq = ?", (device, device_seq))
        return there[0] if there else None

    def last_seq(self, job: str) -> int:
        """The seq of what happened last on a job; 0 when there is no such job."""
        with self._database.reading() as read:
            return _number(read, "MAX(seq)", "job = ?", (job,))

    def people(self, latest: int = 2000) -> tuple[str, ...]:
        """Who wrote the latest entries of the record, the last one first."""
        with self._database.reading() as read:
            rows = read.rows(
                "SELECT by_name, MAX(seq) FROM (SELECT by_name, seq FROM event "
                "ORDER BY seq DESC LIMIT ?) GROUP BY by_name ORDER BY 2 DESC",
                (latest,),
            )
        return tuple(name for name, _ in rows if name)

    def jobs(self) -> list[JobSummary]:
        """Every job, the open ones first, each group by what happened last."""
        with self._database.reading() as read:
            heads = read.rows(
                "SELECT job, COUNT(*), MAX(seq), "
                "MAX(CASE WHEN kind = 'JobClosed' THEN seq ELSE 0 END), "
                "MAX(CASE WHEN kind = 'JobReopened' THEN seq ELSE 0 END) "
                "FROM event GROUP BY job"
            )
            found = [
                _summary(read, job, count, last, closed > reopened)
                for job, count, last, closed, reopened in heads
            ]
        return sorted(found, key=lambda one: (one.closed, -one.last_seq))

    def find(self, name: str) -> str:
        """The id of the job with this number or id (or the start of its id).

        Raises StoreProblem naming the nearest jobs.
        """
        jobs = self.jobs()
        wanted = name.strip().casefold()
        exact = [one for one in jobs if wanted in (one.number.casefold(), one.job.casefold())]
        start = [one for one in jobs if len(wanted) >= 4 and one.job.casefold().startswith(wanted)]
        matching = exact or start
        if len(matching) == 1:
            return matching[0].job
        if matching:
            ids = ", ".join(one.job for one in matching)
            raise StoreProblem(f"{len(matching)} jobs go by {name!r}; name one by its id: {ids}.")
        if not jobs:
            raise StoreProblem(f"There is no job {name!r}: the record at {self.place} is empty.")
        known = {one.name.casefold(): one.name for one in jobs}
        near = difflib.get_close_matches(wanted, known, n=3, cutoff=0.4) or list(known)[:3]
        raise StoreProblem(
            f"There is no job {name!r}. The nearest: {', '.join(known[one] for one in near)}."
        )

    def new_job_number(self, prefix: str = "") -> str:
        """The next free number, such as "26-0007" for the prefix "26-"; never given twice."""
        with self._database.writing() as write:
            taken = {
                event.number
                for (kind, version, body) in write.rows(
                    "SELECT kind, version, body FROM event "
                    "WHERE kind IN ('JobOpened', 'NumberGiven')"
                )
                if isinstance(event := decode(kind, version, body), JobOpened | NumberGiven)
            }
            while True:
                last = write.rows(
                    "INSERT INTO counter (prefix, last) VALUES (?, 1) "
                    "ON CONFLICT (prefix) DO UPDATE SET last = counter.last + 1 RETURNING last",
                    (prefix,),
                )[0][0]
                number = f"{prefix}{last:04d}"
                if number not in taken:
                    return number

    def _store(
        self, job: str, entries: Sequence[Entry], server_time: datetime, zone: str
    ) -> list[Envelope]:
        # A device's own order is the order of its numbers, whatever order they arrive in.
        order = sorted(
            range(len(entries)),
            key=lambda at: (entries[at].device_seq is None, entries[at].device_seq or 0),
        )
        stored: dict[int, Envelope] = {}
        with self._database.writing() as write:
            for at in order:
                stored[at] = _put(write, job, entries[at], server_time, zone)
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
        device_seq = 1 + _number(write, "MAX(device_seq)", "device = ?", (entry.device,))
    else:
        there = _read(write, "device = ? AND device_seq = ?", (entry.device, device_seq))
        if there:
            return _resent(there[0], job, entry)
    based_on = entry.based_on
    if based_on is None:
        based_on = _number(write, "MAX(seq)", "job = ?", (job,))
    seq = 1 + _number(write, "MAX(seq)", "seq > ?", (0,))
    kind, version, body = encode(entry.event)
    write.execute(
        f"INSERT INTO event ({_COLUMNS}) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
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
    return _read(write, "seq = ?", (seq,))[0]


def _resent(there: Envelope, job: str, entry: Entry) -> Envelope:
    if there.job == job and same(there.event, entry.event):
        return there
    raise ResendConflict(
        f"The device {entry.device!r} sent its entry {entry.device_seq} twice with different "
        f"content: {there.kind} on job {there.job} is stored (seq {there.seq}), and now came "
        f"{encode(entry.event)[0]} on job {job}. The stored one stands; nothing of this sending "
        f"was stored. Give the new entry the device's next number."
    )


def _number(read: Statements, what: str, where: str, values: Sequence[object]) -> int:
    found = read.rows(f"SELECT {what} FROM event WHERE {where}", values)[0][0]
    return 0 if found is None else int(found)


def _read(read: Statements, where: str, values: Sequence[object]) -> list[Envelope]:
    return [
        Envelope(
            seq=row[0],
            job=row[1],
            kind=row[2],
            version=row[3],
            device=row[4],
            device_seq=row[5],
            based_on=row[6],
            device_time=datetime.fromisoformat(row[7]),
            server_time=datetime.fromisoformat(row[8]),
            zone=row[9],
            by=row[10],
            event=decode(row[2], row[3], row[11]),
        )
        for row in read.rows(f"SELECT {_COLUMNS} FROM event WHERE {where}", values)
    ]


def _summary(read: Statements, job: str, count: int, last: int, closed: bool) -> JobSummary:
    where = "job = ? ORDER BY seq"
    if closed:  # its state is one word; what happened in between need not be read
        kinds = "'JobOpened', 'NumberGiven', 'JobClosed', 'JobReopened'"
        where = f"job = ? AND (kind IN ({kinds}) OR seq = {last}) ORDER BY seq"
    events = _read(read, where, (job,))
    it = replay(events)
    opened = it.opened
    named = f"{opened.maker} {opened.model}".strip() if opened else ""
    return JobSummary(
        job=job,
        number=it.number,
        machine=named or (opened.machine_id if opened else ""),
        customer=opened.customer if opened else "",
        complaint=(opened.customer_words or opened.complaint) if opened else "",
        state=it.state,
        closed=it.closed is not None,
        promised=opened.promised if opened else "",
        events=count,
        last_seq=last,
        last_at=events[-1].server_time,
    )


def _zone(now: datetime) -> str:
    """The name of the zone (Europe/Vienna) where it has one, else its offset."""
    return str(getattr(now.tzinfo, "key", None) or now.tzname() or now.strftime("%z"))
