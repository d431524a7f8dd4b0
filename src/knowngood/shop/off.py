"""What is off a machine: each step of the teardown as it was done, from the file or the job's own.

Counts are pieces, minutes are minutes of work.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any, Final

from knowngood.job.job import Job
from knowngood.job.things import TeardownDone
from knowngood.machines.back import back_words
from knowngood.machines.machine import Fastener, Machine, StepRole, TeardownStep
from knowngood.shop.fasteners import StepCount

_LEADS: Final = re.compile(r"\b(lead|leads|plug|plugs|wire|wires|connector|brushes)\b", re.I)
_COVER: Final = re.compile(
    r"\b(covers?|shells?|housings?|lid|shroud|console|box|foot plate|open)\b", re.I
)
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
    back: str = ""

    @property
    def goes_back(self) -> str:
        """What is done when it goes back: as the file says, else by what came off."""
        return self.back or back_words(self.words)

    @property
    def count(self) -> int:
        """Fasteners that came out here."""
        return sum(f.count for f in self.fasteners)

    @property
    def is_cover(self) -> bool:
        """It closes over wires: by its role, or by its words where a step has no role."""
        return self.role == "shell" or (self.role == "" and bool(_COVER.search(self.words)))

    @property
    def nothing_to_shut(self) -> bool:
        """Waiting and measuring leaves nothing that goes back."""
        return self.role == "discharge"


def off_of(step: TeardownStep, where: str = "") -> Off:
    """A step of the machine file as it comes off, before anybody noted anything."""
    return Off(
        step.id, step.words, step.needs, step.role, step.fasteners, False, step.known_traps,
        step.caution, (), where, moves_leads(step.words), step.back_minutes,
        step.back,
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


def off_steps(machine: Machine, job: Job, done: bool = False) -> tuple[Off, ...]:
    """What is off, in the order it came off, with all that was noted; ``done``: what went back in
    this rebuild as well, each step as it came off last."""
    last: dict[str, TeardownDone] = {}
    for one in job.steps:
        last.pop(one.step, None)
        last[one.step] = one
    decided = job.decision.at.seq if job.decision else 0
    listed = {step.id: step for step in machine.teardown}
    found = []
    for one in last.values():
        since = one.closed is not None and one.closed.seq > decided
        if one.is_open or (done and since):
            found.append(_with_notes(job, _plain(job, listed.get(one.step), one), one))
    return tuple(found)


def _plain(job: Job, step: TeardownStep | None, one: TeardownDone) -> Off:
    if step is not None:
        return off_of(step, one.where)
    own = job.apart.own.get(one.step)
    words = (own.words if own else one.words) or one.step
    needs = own.needs if own else ()
    caution = own.caution if own else ""
    return Off(one.step, words, needs, where=one.where, caution=caution, leads=moves_leads(words))


def _with_notes(job: Job, off: Off, one: TeardownDone) -> Off:
    noted = job.apart.noted.get(off.id)
    if noted is None:
        return off
    kinds = fasteners_from(noted.fasteners)
    notes = tuple(filter(None, (*noted.plugs, *noted.small, noted.routing)))
    return replace(
        off, notes=notes, where=noted.where or off.where, leads=off.leads or noted.leads,
        fasteners=kinds or off.fasteners, counted=bool(kinds),
    )  # fmt: skip


def fasteners_from(noted: Mapping[str, Any]) -> tuple[Fastener, ...]:
    """Fasteners as an event has them: {"kinds": [{"count", "drive", "length", "where"}]}."""
    kinds = noted.get("kinds", [])
    return tuple(
        Fastener(int(k.get("count", 0)), str(k.get("drive", "")), str(k.get("length", "")),
                 str(k.get("where", "")))
        for k in kinds if isinstance(k, Mapping) and int(k.get("count", 0)) > 0
    ) if isinstance(kinds, list | tuple) else ()  # fmt: skip


def step_counts(machine: Machine, job: Job) -> tuple[StepCount, ...]:
    """Each step's fasteners, out and back. A step put back without a count had them all."""
    still = {one.step: one.opened.seq for one in job.open_steps}
    opened = {one.step: one.opened.seq for one in job.steps}
    found = []
    for off in off_steps(machine, job, done=True):
        back: int | None = None
        over = 0
        if off.id not in still:
            back = off.count
            said = job.apart.back.get(off.id)
            if said is not None and said[1].seq > opened[off.id]:
                back, over = int(said[0].back), int(said[0].over)
        if off.count or back or over:
            found.append(StepCount(off.words, off.count, back, over))
    return tuple(found)
