"""Customers and machines that were here before, from the record's own check-ins.

The latest jobs are kept in memory and brought up to date with what came since the last question;
older ones are found by the record's own search. Nothing here grows with the record.
"""

from __future__ import annotations

import re
import threading
import weakref
from collections.abc import Iterable
from dataclasses import dataclass, field, replace

from knowngood.job.counter import CheckedIn, ContactNoted
from knowngood.job.events import DetailsNoted, Envelope, JobOpened, MachineNamed, NumberGiven
from knowngood.job.paperwork import CoverNoted
from knowngood.places.record import Record
from knowngood.store.log import Log

KINDS = ("JobOpened", "NumberGiven", "DetailsNoted", "MachineNamed", "CheckedIn", "ContactNoted",
         "CoverNoted")  # fmt: skip
FEW = 8
LATEST = 500  # jobs that are read when the first question is asked
FOUND = 60  # older jobs that a search may bring


@dataclass(frozen=True, slots=True)
class Visit:
    """One check-in as it stands: whose machine, which, and what was wrong. ``seq``: its latest."""

    job: str
    number: str
    customer: str
    contact: str
    maker: str
    model: str
    serial: str
    machine_id: str
    digest: str
    words: str
    day: str
    seq: int
    bought: str = ""


@dataclass
class _Index:
    """Visits by job; jobs by customer and by serial."""

    seen: int = 0
    visits: dict[str, Visit] = field(default_factory=dict)
    by_serial: dict[str, dict[str, None]] = field(default_factory=dict)
    by_customer: dict[str, dict[str, None]] = field(default_factory=dict)

    def add(self, envelope: Envelope) -> None:
        event, job = envelope.event, envelope.job
        self.seen = max(self.seen, envelope.seq)
        was = self.visits.get(job)
        if isinstance(event, JobOpened):
            if was is not None:
                return
            now = Visit(
                job, event.number, event.customer, "", event.maker, event.model, event.serial,
                event.machine_id, event.machine_digest, event.customer_words or event.complaint,
                envelope.device_time.date().isoformat(), envelope.seq,
            )  # fmt: skip
        elif was is None:
            return
        elif isinstance(event, NumberGiven):
            now = replace(was, number=event.number)
        elif isinstance(event, MachineNamed):
            now = replace(was, machine_id=event.machine_id, digest=event.digest)
        elif isinstance(event, CheckedIn | ContactNoted):
            now = replace(was, contact=event.contact or was.contact)
        elif isinstance(event, CoverNoted):
            now = replace(was, bought=event.purchased or was.bought)
        elif isinstance(event, DetailsNoted):
            now = replace(
                was,
                customer=event.customer or was.customer,
                maker=event.maker or was.maker,
                model=event.model or was.model,
                serial=event.serial or was.serial,
            )
        else:
            return
        now = replace(now, seq=envelope.seq)
        for table, old, new in (
            (self.by_serial, plain_serial(was.serial) if was else "", plain_serial(now.serial)),
            (self.by_customer, _plain(was.customer) if was else "", _plain(now.customer)),
        ):
            if old and old != new:
                table.get(old, {}).pop(job, None)
            if new:
                table.setdefault(new, {}).setdefault(job)
        self.visits[job] = now


_INDEXES: weakref.WeakKeyDictionary[Log, _Index] = weakref.WeakKeyDictionary()
_BUSY = threading.Lock()


def _index(record: Record) -> _Index:
    """The index as of now; the caller holds the lock."""
    index = _INDEXES.get(record.log)
    if index is None:
        index = _INDEXES[record.log] = _Index(record.log.newest())
        _read(record, index, (one.job for one in record.log.jobs(LATEST)))
    for envelope in record.log.of_kinds(KINDS, index.seen):
        index.add(envelope)
    return index


def _read(record: Record, index: _Index, jobs: Iterable[str]) -> None:
    """Take jobs into the index that are not in it yet."""
    new = [job for job in jobs if job not in index.visits]
    if new:
        seen = index.seen
        for envelope in record.log.of_kinds(KINDS, 0, new):
            index.add(envelope)
        index.seen = seen


def plain_serial(text: str) -> str:
    """A serial as it is compared: small letters and digits alone."""
    return re.sub(r"[^a-z0-9]", "", text.casefold())


def _plain(text: str) -> str:
    return " ".join(text.casefold().split())


def visits_of_serial(record: Record, serial: str, but: str = "") -> tuple[Visit, ...]:
    """Earlier check-ins with this serial, the latest first; ``but`` leaves one job out."""
    with _BUSY:
        index = _index(record)
        _read(record, index, (one.job for one in record.log.same_serial(serial)))
        jobs = index.by_serial.get(plain_serial(serial), {}) if plain_serial(serial) else {}
        return _latest(index.visits[job] for job in jobs if job != but)


def customers(record: Record, words: str = "", most: int = FEW) -> tuple[tuple[Visit, ...], ...]:
    """Customers whose name has words that begin so, each with the latest visits of each of their
    machines; the customer who was here last comes first. Without words the latest customers."""
    wanted = _plain(words).split()
    with _BUSY:
        index = _index(record)
        if wanted:
            _read(record, index, (one.job for one in record.log.search(words, FOUND)))
        found = []
        for name, jobs in index.by_customer.items():
            has = name.split()
            if jobs and all(any(one.startswith(w) for one in has) for w in wanted):
                found.append((max(index.visits[job].seq for job in jobs), jobs))
        found.sort(key=lambda one: -one[0])
        return tuple(_machines(index.visits[job] for job in jobs) for _, jobs in found[:most])


def models(record: Record, most: int = 40) -> tuple[Visit, ...]:
    """The latest visit of each maker and model among the latest jobs, the latest first."""
    with _BUSY:
        index = _index(record)
        found: dict[tuple[str, str], Visit] = {}
        for visit in index.visits.values():
            key = (_plain(visit.maker), _plain(visit.model))
            if any(key) and (key not in found or found[key].seq < visit.seq):
                found[key] = visit
        return _latest(found.values())[:most]


def own_files(record: Record) -> dict[str, str]:
    """Digest of the latest machine file that one of the latest jobs used, by the machine's id."""
    with _BUSY:
        index = _index(record)
        found: dict[str, tuple[int, str]] = {}
        for visit in index.visits.values():
            if visit.digest and found.get(visit.machine_id, (0, ""))[0] < visit.seq:
                found[visit.machine_id] = (visit.seq, visit.digest)
        return {machine: digest for machine, (_, digest) in found.items()}


def _machines(visits: Iterable[Visit]) -> tuple[Visit, ...]:
    """The latest visit of each machine of one customer."""
    found: dict[tuple[str, str, str], Visit] = {}
    for visit in _latest(visits):
        key = (_plain(visit.maker), _plain(visit.model), plain_serial(visit.serial))
        found.setdefault(key, visit)
    return tuple(found.values())[:FEW]


def _latest(visits: Iterable[Visit]) -> tuple[Visit, ...]:
    return tuple(sorted(visits, key=lambda visit: -visit.seq))
