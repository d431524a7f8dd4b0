"""What is proven while a machine is put together: which proof stands, is open, or was left out.

Each belongs before a step that goes back: once that is on, the proof can't be made any more.
"""

from __future__ import annotations

from dataclasses import dataclass

from knowngood.job.apart import Ticked
from knowngood.job.job import Job
from knowngood.machines.machine import Machine
from knowngood.shop.off import off_steps
from knowngood.shop.rebuild import Line, control_proofs, rebuild_lines
from knowngood.shop.release import PROOFS


@dataclass(frozen=True, slots=True)
class Proof:
    """``number``: its place in the list, from 1. ``before``: the step, in words, that closes over
    it (``step`` its id), "" for one made when all is on. ``made``: its tick, while it counts."""

    number: int
    line: Line
    step: str
    before: str
    is_shut: bool
    made: Ticked | None

    @property
    def left_out(self) -> bool:
        """Its step went back, and nobody made it."""
        return self.made is None and self.is_shut

    @property
    def how(self) -> str:
        """ "prove 2 0.4 ohm": how it is answered."""
        return f"prove {self.number} {self.line.reads or 'good'}"


def proofs_of(machine: Machine, job: Job) -> tuple[Proof, ...]:
    """The proofs of this rebuild in their order; none before a part is decided on."""
    if job.decision is None:
        return ()
    off = {one.id: one for one in off_steps(machine, job, done=True)}
    still = {one.step for one in job.open_steps}
    lines = rebuild_lines(tuple(off.values()), (), (), control_proofs(machine))
    found: list[Proof] = []
    for place, line in enumerate(lines):
        if line.kind in PROOFS:
            step = next((x.about for x in lines[place:] if x.kind == "back"), "")
            before = off[step].words if step else ""
            shut = bool(step) and step not in still
            found.append(Proof(len(found) + 1, line, step, before, shut, standing_tick(job, line)))
    return tuple(found)


def open_before(machine: Machine, job: Job, step: str) -> tuple[Proof, ...]:
    """Proofs that nobody made and that can't be made any more once this step is on."""
    return tuple(one for one in proofs_of(machine, job) if one.step == step and one.made is None
                 and not one.line.id.startswith("discharge:"))  # fmt: skip


def standing_tick(job: Job, line: Line) -> Ticked | None:
    """The tick of a line, while it is younger than what it looked at: the machine opened again
    since is to be looked at again."""
    one = job.apart.ticks.get(line.id)
    if one is None or line.kind not in PROOFS:
        return one
    seen = {s.step: s.opened.seq for s in job.steps}
    about = [seen.get(line.about, 0)] if line.kind == "pinch" else list(seen.values())
    return one if one.at.seq >= max(about, default=0) else None
