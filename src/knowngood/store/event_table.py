"""The rows of the one table of events as envelopes."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from knowngood.job.events import Envelope
from knowngood.store.codec import decode
from knowngood.store.sql import Statements

COLUMNS = (
    "seq, job, kind, version, device, device_seq, based_on, "
    "device_time, server_time, zone, by_name, body"
)


def read_events(read: Statements, where: str, values: Sequence[object]) -> list[Envelope]:
    """The events that `where` picks. Raises StoreProblem, NewerStore."""
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
        for row in read.rows(f"SELECT {COLUMNS} FROM event WHERE {where}", values)
    ]


def number(read: Statements, what: str, where: str, values: Sequence[object]) -> int:
    """One number of the table, such as MAX(seq); 0 when there is none."""
    found = read.rows(f"SELECT {what} FROM event WHERE {where}", values)[0][0]
    return 0 if found is None else int(found)
