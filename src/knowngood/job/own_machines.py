"""The shop's own machine files, as somebody kept them last.

Kept in the record under the id `SHOP` beside the shop's sheet; the texts lie with the files, by
digest. A job pins the text that it was opened with, so a file that changes here changes no job.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from knowngood.job.events import Envelope


@dataclass(frozen=True, slots=True)
class MachineKept:
    """A machine file of the shop as it stands from here on. `digest`: the text as it was written;
    `whole`: the same with all that its family says, equal to `digest` for a file of its own.
    `reason`: what was changed."""

    machine_id: str
    digest: str
    whole: str
    reason: str = ""


@dataclass(frozen=True, slots=True)
class MachineDropped:
    """The file is not offered any more; jobs that stand on it keep it."""

    machine_id: str
    reason: str = ""


OwnMachineEvent = MachineKept | MachineDropped


def own_machines(events: Iterable[Envelope]) -> Mapping[str, Envelope]:
    """The last `MachineKept` of each file that is still offered, by the machine's id; the latest
    first."""
    found: dict[str, Envelope] = {}
    for envelope in sorted(events, key=lambda e: e.seq):
        match envelope.event:
            case MachineKept(machine_id=id):
                found.pop(id, None)
                found[id] = envelope
            case MachineDropped(machine_id=id):
                found.pop(id, None)
    return dict(reversed(found.items()))


def machine_words(event: OwnMachineEvent) -> str:
    """The event in words."""
    what = "kept" if isinstance(event, MachineKept) else "put away"
    more = f" ({event.reason})" if event.reason else ""
    return f"machine file {event.machine_id} was {what}{more}"
