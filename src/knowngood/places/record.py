"""What every place in the shop works with: the record, its files, and who does what when."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from types import TracebackType

from knowngood.job.events import Envelope, Event
from knowngood.store.files import Files
from knowngood.store.log import Entry, Log
from knowngood.store.sql import Statements
from knowngood.store.where import files_folder

PATIENCE = 0.09  # seconds; with the belief worked out a step is there within 0.15 s


class Refused(Exception):
    """Something a person asked for that cannot be done; the message says the way out."""


@dataclass(frozen=True, slots=True)
class At:
    """Who does it and when. ``now`` has the shop's zone.

    ``device`` "" is the desk of this computer. ``device_seq`` numbers the entries of a device that
    may send them again; of several events in one go the first has it, the next ones follow.
    ``based_on``: the last seq the device had seen, None for all there is.
    """

    now: datetime
    by: str
    device: str = ""
    device_seq: int | None = None
    based_on: int | None = None
    device_time: datetime | None = None


@dataclass(frozen=True, slots=True)
class Record:
    """The shop's record with the files beside it. A context that closes it.

    ``patience``: seconds to plan after each reading; more where the computer is slow. ``written``
    takes the seq of each entry made through this, where it is a set.
    """

    log: Log
    files: Files
    patience: float | None = PATIENCE
    written: set[int] | None = field(default=None, compare=False)

    @classmethod
    def open(cls, path: Path, make: bool = True, patience: float | None = PATIENCE) -> Record:
        """The record at a path; made if need be. Raises StoreProblem."""
        log = Log.open(path, make=make)
        return cls(log, Files(files_folder(path)), patience)

    def __enter__(self) -> Record:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        value: BaseException | None,
        at: TracebackType | None,
    ) -> None:
        self.log.close()

    def append(
        self, job: str, events: Iterable[Event], at: At,
        also: Callable[[Statements], None] | None = None,
    ) -> list[Envelope]:  # fmt: skip
        """Store these in one transaction, `also` in the same one. Raises StoreProblem; then nothing
        is stored."""
        entries = [self._entry(event, at, step) for step, event in enumerate(events)]
        stored = self.log.append(job, entries, at.now, also) if entries or also else []
        return self._noted(stored)

    def append_all(self, parts: Iterable[tuple[str, Iterable[Event]]], at: At) -> None:
        """Store events of several jobs in one transaction. Raises StoreProblem; then nothing is
        stored."""
        step, told = 0, []
        for job, events in parts:
            some = [self._entry(event, at, step + more) for more, event in enumerate(events)]
            step += len(some)
            if some:
                told.append((job, some))
        if told:
            self._noted(self.log.append_all(told, at.now))

    def _noted(self, stored: list[Envelope]) -> list[Envelope]:
        if self.written is not None:
            self.written.update(one.seq for one in stored)
        return stored

    def _entry(self, event: Event, at: At, step: int) -> Entry:
        return Entry(
            event,
            at.device or self.log.desk,
            None if at.device_seq is None else at.device_seq + step,
            at.based_on,
            at.device_time or at.now,
            at.by,
        )
