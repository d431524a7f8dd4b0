"""The volts on a capacitor before a hand or a lead goes further: asked, judged, kept."""

from __future__ import annotations

from knowngood.diagnosis.steps import opening_order, way_there
from knowngood.job.events import Event, NoteAdded, StepClosed, StepOpened
from knowngood.job.job import Job
from knowngood.job.waiting import CAPACITOR
from knowngood.machines.machine import TeardownStep, Test
from knowngood.measure.typed import read_text
from knowngood.places.bench import find_step
from knowngood.places.gather import View, load_job, look, setup_of
from knowngood.places.minutes import minutes_by_clock
from knowngood.places.record import At, Record, Refused
from knowngood.shop.proven import not_empty


def to_discharge(view: View, test: Test) -> TeardownStep | None:
    """The step that shows the capacitor empty, if it stands on the way to this test."""
    opened = frozenset(s.step for s in view.job.open_steps)
    here = next((r.condition for r in reversed(view.job.live_readings)), "")
    way = way_there(view.machine, view.machine.state_of(test), opened, here)
    return next((t for t in way.off if t.role == "discharge"), None)


def read_capacitor(record: Record, job_id: str, step_id: str, text: str, at: At) -> View:
    """The reading is kept as a note; below the limit that the step names it counts as done, with
    the reading at it, and so do the steps that it needs; any later reading that is not undoes
    that. What is no reading in volts is kept as well and shows nothing; ``still_charged`` then
    says why. Raises Refused when the step is no such one."""
    job = load_job(record, job_id)
    machine = setup_of(record, job).machine
    step = find_step(machine, step_id)
    if step.role != "discharge":
        raise Refused(f"{step.words}: that measures no capacitor")
    if not text.strip():
        raise Refused("what does the meter show on the capacitor? 0.4 V")
    words = f"{CAPACITOR}{text.strip()}"
    events: list[Event] = [NoteAdded(words)]
    opened = frozenset(s.step for s in job.open_steps)
    if why_not_empty(step, text):
        events += [StepClosed(step.id)] if step.id in opened else []
    elif step.id not in opened:
        steps = {t.id: t for t in machine.teardown}
        order = opening_order(machine, [step.id], opened)
        events += [StepOpened(o, steps[o].words, steps[o].minutes, words if o == step.id else "")
                   for o in order]  # fmt: skip
        events += minutes_by_clock(job, {o: steps[o].minutes for o in order}, at)
    record.append(job_id, events, at)
    return look(record, job_id)


def why_not_empty(step: TeardownStep, text: str) -> str:
    """Why the reading does not show the capacitor empty, "" when it does."""
    if read_text(text, "volts", None).kind == "none":
        return f"{text.strip()!r} is no reading in volts"
    return not_empty(step.words, text)


def still_charged(job: Job, step: TeardownStep) -> str:
    """Why the last reading on the capacitor does not do, in words; "" when none was taken."""
    last = next((n.text for n in reversed(job.notes) if n.text.startswith(CAPACITOR)), "")
    return why_not_empty(step, last.removeprefix(CAPACITOR)) if last else ""
