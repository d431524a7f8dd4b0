"""Entries for tests: notes of one device, a minute apart."""

from __future__ import annotations

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from knowngood.job.events import Event, JobOpened, NoteAdded
from knowngood.store.log import Entry

NOW = datetime(2026, 3, 2, 9, 0, tzinfo=ZoneInfo("America/New_York"))
OPENED = JobOpened("26-0007", "brackwater-bt20", "d" * 64, "dead", "It just stopped")


def entry(event: Event | str, device: str = "bench", number: int | None = None) -> Entry:
    event = NoteAdded(event) if isinstance(event, str) else event
    return Entry(event, device, number, None, NOW + timedelta(minutes=number or 0), "Sam")
