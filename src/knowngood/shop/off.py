"""What is off a machine: each step of the teardown as it was done, from the file or the job's own.

Counts are pieces, minutes are minutes of work.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final

from knowngood.machines.machine import Fastener, StepRole, TeardownStep

_LEADS: Final = re.compile(r"\b(lead|leads|plug|plugs|wire|wires|connector|brushes)\b", re.I)
_TURNING: Final = re.compile(r"\b(motor|phase|phases|starter|rotor|stator|fan)\b", re.I)


@dataclass(frozen=True, slots=True)
class Off:
    """A step that is off.

    ``needs``: steps that had to be off before it, so that it goes back before them. ``counted``:
    a person counted the fasteners; else they are as the machine file has them, or none. ``where``
    it lies; ``notes``: routing, wire colours, springs, in words. ``leads``: leads that set the
    direction of rotation were moved.
    """

    id: str
    words: str
    needs: tuple[str, ...] = ()
    role: StepRole = ""
    fasteners: tuple[Fastener, ...] = ()
    counted: bool = False
    traps: tuple[str, ...] = ()
    caution: str = ""
    notes: tuple[str, ...] = ()
    where: str = ""
    leads: bool = False
    back_minutes: float = 0.0

    @property
    def count(self) -> int:
        """Fasteners that came out here."""
        return sum(f.count for f in self.fasteners)

    @property
    def nothing_to_shut(self) -> bool:
        """Waiting and measuring leaves nothing that goes back."""
        return self.role == "discharge"


def off_of(step: TeardownStep, where: str = "") -> Off:
    """A step of the machine file as it comes off, before anybody noted anything."""
    return Off(
        step.id, step.words, step.needs, step.role, step.fasteners, False, step.traps,
        step.caution, (), where, moves_leads(step.words), step.back_minutes,
    )  # fmt: skip


def moves_leads(words: str) -> bool:
    """Whether the words of a step name leads of something that turns ("three phase leads")."""
    return bool(_LEADS.search(words)) and bool(_TURNING.search(words))


def all_needs(needs: Mapping[str, Iterable[str]], wanted: Iterable[str]) -> frozenset[str]:
    """The wanted steps and all they rest on. Names that are not listed are left out."""
    found: set[str] = set()
    waiting = list(wanted)
    while waiting:
        id = waiting.pop()
        if id in needs and id not in found:
            found.add(id)
            waiting += needs[id]
    return frozenset(found)


def fasteners_words(fasteners: Iterable[Fastener]) -> str:
    """ "6 x T25, 20 mm (rim of the cover); 2 x T25, 35 mm (rear corners)"."""
    return "; ".join(
        f"{f.count} x {', '.join(filter(None, (f.drive, f.length)))}"
        + (f" ({f.where})" if f.where else "")
        for f in fasteners
    )
