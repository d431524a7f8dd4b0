"""The rebuild of a job as it stands: each line done, not right, or still to do."""

from __future__ import annotations

from dataclasses import dataclass

from knowngood.job.job import Job
from knowngood.job.things import Stamp
from knowngood.job.waiting import FITTED
from knowngood.machines.machine import Machine, TeardownStep
from knowngood.places.decision import causes_of, open_causes
from knowngood.places.gather import View
from knowngood.places.library import find_part, part_number
from knowngood.shop.off import all_needs, off_steps
from knowngood.shop.proofs import standing_tick
from knowngood.shop.rebuild import (
    CauseToClear,
    Line,
    PartToFit,
    bench_tests,
    control_proofs,
    rebuild_lines,
)

BEFORE_COVER = ("discharge", "prove", "pinch")
"""Lines that are proven while a cover is open."""


@dataclass(frozen=True, slots=True)
class LineView:
    """A line with how it stands. ``wrong``: looked at and not right; ``said``: what was read or
    seen there."""

    line: Line
    done: bool
    wrong: bool = False
    said: str = ""
    by: str = ""
    at: Stamp | None = None


def rebuild_of(view: View) -> tuple[LineView, ...]:
    """All lines, in order, from what came off, what failed and why it failed."""
    job, machine = view.job, view.machine
    parts = parts_to_fit(machine, job)
    causes = causes_to_clear(view)
    off = off_steps(machine, job, done=True)
    if not off and not parts:
        return ()
    lines = rebuild_lines(off, parts, causes, control_proofs(machine))
    return tuple(_standing(job, line) for line in lines)


def wrong_lines(lines: tuple[LineView, ...]) -> tuple[str, ...]:
    """Lines that were looked at and are not right, in words, but for the proofs, which stand with
    the release checks."""
    return tuple(f"{one.line.words}: {one.said or 'not good'}" for one in lines
                 if one.wrong and one.line.kind == "part")  # fmt: skip


def wrong_before(machine: Machine, job: Job, step: str) -> tuple[LineView, ...]:
    """Proofs that are not good and come before this step goes back, where the step closes over
    them or brings the source of energy in; else nothing."""
    off = off_steps(machine, job, done=True)
    lines = rebuild_lines(off, parts_to_fit(machine, job), (), control_proofs(machine))
    place = next((n for n, line in enumerate(lines) if line.id == f"back:{step}"), None)
    if place is None or not lines[place].closes:
        return ()
    before = (_standing(job, line) for line in lines[:place] if line.kind in BEFORE_COVER)
    return tuple(one for one in before if one.wrong)


def parts_to_fit(machine: Machine, job: Job) -> tuple[PartToFit, ...]:
    """What was decided to be fitted, the part that failed first before what it took along."""
    decision = job.decision
    if decision is None:
        return ()
    also = decision.proof.get("also", [])
    more = [str(one.get("part", "")) for one in also] if isinstance(also, list) else []
    listed = {p.id for p in machine.parts}
    opened = job.opened
    model, serial = (opened.model, opened.serial) if opened else ("", "")
    found = [PartToFit(decision.part, decision.words, decision.number,
                       _needs(machine, decision.part),
                       bench_tests(machine, decision.part))]  # fmt: skip
    for id in more:
        if id in listed:
            part = find_part(machine, id)
            number = part_number(part, model, serial)
            asks = bench_tests(machine, id)
            found.append(PartToFit(id, part.words, number, part.needs, asks))
    return tuple(found)


def not_off(machine: Machine, job: Job) -> tuple[TeardownStep, ...]:
    """What has to be off to fit what was decided, and what nobody noted as off since: nothing of it
    is asked when it goes back. Without the source of energy, and what leaves nothing to shut."""
    if job.decision is None:
        return ()
    since = job.decision.at.seq
    was = {s.step for s in job.steps if s.closed is None or s.closed.seq > since}
    needs = {t.id: t.needs for t in machine.teardown}
    wanted = all_needs(needs, [n for part in parts_to_fit(machine, job) for n in part.needs])
    return tuple(t for t in machine.teardown
                 if t.id in wanted - was and t.role not in ("source out", "discharge"))  # fmt: skip


def _needs(machine: Machine, part: str) -> tuple[str, ...]:
    return next((p.needs for p in machine.parts if p.id == part), ())


def causes_to_clear(view: View) -> tuple[CauseToClear, ...]:
    """Causes nobody answered yet, and those that were found."""
    if view.job.decision is None:
        return ()
    answers = {c.cause: c for c in view.job.causes}
    waiting = set(open_causes(view))
    found = []
    for cause in causes_of(view):
        said = answers.get(cause.id)
        if cause.id in waiting or (said is not None and said.answer == "yes"):
            found.append(CauseToClear(
                cause.id, cause.words, cause.ask, (said.mend if said else "") or cause.mend,
                said is not None, cause.caution,
            ))  # fmt: skip
    return tuple(found)


def _standing(job: Job, line: Line) -> LineView:
    match line.kind:
        case "back":
            return _step_back(job, line)
        case "part":
            return _in_hand(job, line)
        case "tag":
            tag = job.apart.tagged.get(line.about)
            said = "" if tag is None else ", ".join(filter(None, (tag.tag, tag.where, tag.tested)))
            return LineView(line, tag is not None, said=said)
        case "fit" if job.decision is not None and line.about == job.decision.part:
            decided = job.decision.at.seq
            for note in reversed(job.notes):
                if note.text.startswith(FITTED) and note.at.seq > decided:
                    return LineView(line, True, by=note.at.by, at=note.at)
            return LineView(line, False)
        case _:
            return _ticked(job, line)


def _step_back(job: Job, line: Line) -> LineView:
    last = next((s for s in reversed(job.steps) if s.step == line.about), None)
    if last is None or last.closed is None:
        return LineView(line, False)
    said = job.apart.back.get(line.about)
    over = ""
    if said is not None and said[1].seq > last.opened.seq:
        event = said[0]
        if event.over or event.back != line.count:
            over = f"{event.back:g} of {line.count} in, {event.over:g} left over"
    return LineView(line, True, False, over, last.closed.by, last.closed)


def _in_hand(job: Job, line: Line) -> LineView:
    seen = job.apart.in_hand.get(line.about)
    decided = job.decision.at.seq if job.decision else 0
    if seen is None or seen[1].seq < decided:
        return LineView(line, False)
    event, at = seen
    said = " ".join(filter(None, (event.number, event.chain, event.reason)))
    return LineView(line, event.verdict == "right", event.verdict == "wrong", said, at.by, at)


def _ticked(job: Job, line: Line) -> LineView:
    """A tick counts when it is younger than what it looked at: the machine opened again since
    is to be looked at again."""
    one = standing_tick(job, line)
    if one is None:
        return LineView(line, False)
    wrong = one.result == "not good"
    return LineView(line, not wrong, wrong, one.text, one.at.by, one.at)
