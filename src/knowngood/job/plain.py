"""Plain data that events are made of, and the stamp of who said it when."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from knowngood.job.events import Envelope

Plain = Mapping[str, Any]
"""A mapping of plain data, as JSON can hold it."""

Words = tuple[str, ...]
"""Texts in an order; a list in JSON."""


@dataclass(frozen=True, slots=True)
class Stamp:
    """Who, when, from which device, and what that device had seen of the job."""

    seq: int
    based_on: int
    device: str
    device_time: datetime
    server_time: datetime
    zone: str
    by: str

    @classmethod
    def of(cls, envelope: Envelope) -> Stamp:
        return cls(
            envelope.seq,
            envelope.based_on,
            envelope.device,
            envelope.device_time,
            envelope.server_time,
            envelope.zone,
            envelope.by,
        )

    def knew(self, other: Stamp) -> bool:
        """Whether this device had seen `other` when it sent this."""
        if other.seq <= self.based_on:
            return True
        return other.device == self.device and other.seq <= self.seq
