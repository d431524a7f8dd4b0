"""Envelopes for tests: a line of text a step would hide the times, so they are made here."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone

from knowngood.job.events import Envelope, Event, JobOpened, ReadingTaken
from knowngood.measure.reading import Reading

START = datetime(2026, 3, 2, 9, 0, tzinfo=timezone(timedelta(hours=-5)))
OPENED = JobOpened("26-0007", "brackwater-bt20", "d" * 64, "dead", "It just stopped")


def told(*events: Event | tuple[Event, str] | tuple[Event, str, int]) -> list[Envelope]:
    """Events one minute apart, as (event, device, based_on); by default all on one device."""
    made: list[Envelope] = []
    sent: dict[str, int] = {}
    for seq, item in enumerate(events, start=1):
        event, device, based_on = (
            (item, "bench", seq - 1)
            if not isinstance(item, tuple)
            else (item[0], item[1], item[2] if len(item) == 3 else seq - 1)
        )
        sent[device] = sent.get(device, 0) + 1
        at = START + timedelta(minutes=seq)
        made.append(
            Envelope(
                seq=seq,
                job="j1",
                kind=type(event).__name__,
                version=1,
                device=device,
                device_seq=sent[device],
                based_on=based_on,
                device_time=at,
                server_time=at.astimezone(UTC),
                zone="America/New_York",
                by="Sam",
                event=event,
            )
        )
    return made


def volts(reading_id: str, value: float, text: str = "", corrects: str = "") -> ReadingTaken:
    text = text or f"{value:g} V"
    reading = Reading(
        "value", "voltage", value, value, "V", text, 0.003, 0.08, 0.01, "generic-6000"
    )
    return ReadingTaken(
        reading_id,
        "pack-volts",
        "Pack at its terminals?",
        text,
        reading.to_dict(),
        corrects=corrects,
    )
