"""Taking a machine apart and putting it together again, step by step, with its clock.

Gather, decide, write as at the bench. Every function raises Refused with the way out, or
StoreProblem when nothing could be stored.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import datetime
from typing import Any

from knowngood.diagnosis.steps import taking_off
from knowngood.job import apart as ap
from knowngood.job import events as ev
from knowngood.job.events import Event
from knowngood.job.job import Job
from knowngood.job.things import TeardownDone
from knowngood.machines.machine import ServicePart, TeardownStep
from knowngood.places.bench import find_step
from knowngood.places.gather import View, load_job, look, setup_of
from knowngood.places.library import find_part
from knowngood.places.rebuild import parts_to_fit, wrong_before
from knowngood.places.record import At, Record, Refused
from knowngood.shop.fasteners import Tally, tally
from knowngood.shop.off import off_steps, step_counts
from knowngood.shop.proofs import open_before
from knowngood.shop.proven import not_empty, not_proven, not_worked
from knowngood.shop.rebuild import put_back
from knowngood.shop.supersession import same_number
from knowngood.shop.worktime import worked

MOST_FASTENERS = 999
FIRST = "Put that back first"
SAME = "or say why it is closed all the same"
CONTROLS = "prove:controls"
"""The line at which the controls are worked that no other line proves."""
WAITS = ("discharge", "again")
"""Lines at which a capacitor is measured."""
_TURNS = (
    ev.StepOpened, ev.StepClosed, ev.ReadingTaken, ev.ReleaseChecked, ev.PartDecided,
    ev.CauseAnswered, ap.LineTicked, ap.PartInHand,
)  # fmt: skip
"""Events with which one piece of work ends and the next begins."""


def take_off(
    record: Record, job_id: str, step: str, at: At, *, words: str = "", where: str = "",
    since: datetime | None = None,
) -> View:  # fmt: skip
    """A step came off, after those it needs. A step that the file does not have is the job's own:
    ``words`` names it. ``since``: when the person began with it, by the same clock as ``at``."""
    job = load_job(record, job_id)
    machine = setup_of(record, job).machine
    off = frozenset(s.step for s in job.open_steps)
    if step in off:
        raise Refused(f"{_words(job, step)}: that is off already")
    known = {t.id: t for t in machine.teardown}
    events: list[Event] = []
    if step in known or (step not in job.apart.own and not words.strip()):
        wanted = find_step(machine, step)
        if wanted.id in off:
            raise Refused(f"{wanted.words}: that is off already")
        order = [known[o] for o in taking_off(machine, [wanted.id], off)]
    else:
        if step not in job.apart.own:
            inside = tuple(s.step for s in job.open_steps)
            events.append(ap.OwnStepMade(step, words.strip(), inside))
        order = [TeardownStep(step, words.strip() or job.apart.own[step].words, 0.0, 0.0)]
    for one in order:
        there = where.strip() if one is order[-1] else ""
        events.append(ev.StepOpened(one.id, one.words, one.minutes, there))
    events += _clock(record, job_id, {o.id: o.minutes for o in order}, at, since)
    record.append(job_id, events, at)
    return look(record, job_id)


def charged_before(record: Record, job_id: str, step: str) -> str:
    """The capacitor, in words, that is to be measured before this step and was not; "" for none."""
    job = load_job(record, job_id)
    machine = setup_of(record, job).machine
    known = {t.id: t for t in machine.teardown}
    try:
        wanted = find_step(machine, step).id
    except Refused:  # a step of the job's own
        return ""
    order = taking_off(machine, [wanted], frozenset(s.step for s in job.open_steps))
    return next((known[o].words for o in order if known[o].role == "discharge"), "")


def off_already(record: Record, job_id: str, step: str) -> TeardownDone | None:
    """The step when it is off now, as another phone may have said meanwhile."""
    return next((s for s in load_job(record, job_id).open_steps if s.step == step), None)


def back_already(record: Record, job_id: str, step: str) -> bool:
    """Whether the step was off and went back meanwhile."""
    mine = [s for s in load_job(record, job_id).steps if s.step == step]
    return bool(mine) and not any(s.is_open for s in mine)


def note_step(record: Record, job_id: str, note: ap.StepNoted, at: At) -> View:
    """What was noted on a step: fasteners, plugs, springs, routing, where it lies."""
    job = load_job(record, job_id)
    machine = setup_of(record, job).machine
    known = {t.id for t in machine.teardown} | set(job.apart.own) | {s.step for s in job.steps}
    if note.step not in known:
        raise Refused(f"there is no step {note.step!r} on this machine or this job; "
                      "start it as a new step, then note it")  # fmt: skip
    record.append(job_id, [note], at)
    return look(record, job_id)


def fasteners_noted(kinds: object) -> dict[str, Any]:
    """Fasteners as a phone sends them, checked: a list of count, drive, length, where."""
    if not isinstance(kinds, list) or len(kinds) > 20:
        raise Refused("fasteners should be a list of at most 20 kinds")
    found = []
    for kind in kinds:
        if not isinstance(kind, Mapping):
            raise Refused("each kind of fastener needs count, drive, length and where")
        count = kind.get("count", 0)
        if isinstance(count, bool) or not isinstance(count, int) or not 0 < count <= MOST_FASTENERS:
            raise Refused(f"a count of fasteners is 1 to {MOST_FASTENERS}, not {str(count)[:20]}")
        named = {n: str(kind.get(n, ""))[:80] for n in ("drive", "length", "where")}
        found.append({"count": count, **named})
    return {"kinds": found} if found else {}


def put_step_back(
    record: Record, job_id: str, step: str, at: At, *, back: int | None = None, over: int = 0,
    words: str = "", since: datetime | None = None, anyway: str = "", proofs_first: bool = False,
) -> View:  # fmt: skip
    """A step is back on. ``back``: fasteners that went in, None for all; ``over``: left over.

    Refused while something inside it is still off, and where it closes over a proof that was not
    good, or, with ``proofs_first``, not made; ``anyway``: the reason of who closes it all the
    same, which stays on the job as a note.
    """
    job = load_job(record, job_id)
    machine = setup_of(record, job).machine
    off = off_steps(machine, job)
    this = next((o for o in off if o.id == step), None)
    if this is None:
        raise Refused(f"{_words(job, step)}: that is not off; it may have gone back meanwhile")
    if this.nothing_to_shut:  # taken back: it is measured again before a hand is further inside
        record.append(job_id, [ev.StepClosed(step)], at)
        return look(record, job_id)
    events: list[Event] = []
    try:
        left = {o.id for o in put_back(off, step)}
    except ValueError as error:
        if not anyway.strip():
            raise Refused(f"{this.words} can't be back yet, {error}. {FIRST}") from error
        left = {o.id for o in off} - {step}
        left -= {o.id for o in off if o.nothing_to_shut and step in o.needs}
        events.append(ev.NoteAdded(f"Closed all the same: {this.words}; {error}. {anyway.strip()}"))
    if wrong := "; ".join(f"{one.line.words}: {one.said or 'not good'}"
                          for one in wrong_before(machine, job, step)):  # fmt: skip
        if not anyway.strip():
            raise Refused(f"{this.words} can't be back yet, not good: {wrong}. Mend it and prove "
                          f"it again, {SAME}")  # fmt: skip
        events.append(ev.NoteAdded(f"Closed all the same: {this.words}; not good: {wrong}. "
                                   f"{anyway.strip()}"))  # fmt: skip
    if unread := open_before(machine, job, step) if proofs_first else ():
        if not anyway.strip():
            how = "; ".join(f"{one.line.words} ({one.how})" for one in unread)
            raise Refused(f"{this.words} can't be back yet, not proven: {how}. Prove it first, "
                          f"{SAME}")  # fmt: skip
        named = "; ".join(one.line.words for one in unread)
        events.append(ev.NoteAdded(f"Closed all the same: {this.words}; not proven: {named}. "
                                   f"{anyway.strip()}"))  # fmt: skip
    events += [ev.StepClosed(o.id) for o in off if o.id not in left]
    went_in = this.count if back is None else back
    if not 0 <= went_in <= MOST_FASTENERS or not 0 <= over <= MOST_FASTENERS:
        raise Refused(f"a count of fasteners is 0 to {MOST_FASTENERS}")
    if this.count or went_in or over:
        events.append(ap.FastenersBack(step, went_in, over, words.strip()))
    events += _clock(record, job_id, {f"back {step}": this.back_minutes}, at, since)
    record.append(job_id, events, at)
    return look(record, job_id)


def tick(
    record: Record, job_id: str, line: str, words: str, result: ap.Tick, at: At, text: str = "",
    since: datetime | None = None,
) -> View:  # fmt: skip
    """A line of the rebuild is done. One called good without a reading, or by a
    reading that its own limit calls bad, is refused: either the reading is wrong or the part."""
    job = load_job(record, job_id)
    machine = setup_of(record, job).machine
    kind, _, about = line.partition(":")
    test = next((t for t in machine.tests if t.id == about), None) if kind == "prove" else None
    if result == "good":
        wrong = not_proven(test, text) if test is not None else ""
        if line == CONTROLS:
            wrong = not_worked(text)
        if kind in WAITS:
            wrong = not_empty(_words(job, about), text)
        if wrong:
            raise Refused(f"{wrong}: read it again and type what the meter says, or call it not "
                          "good and mend it before the cover closes")  # fmt: skip
    events: list[Event] = [ap.LineTicked(line, words, result, text.strip())]
    reckoned = test.minutes if test is not None else 1.0
    events += _clock(record, job_id, {f"{kind} {about}".strip(): reckoned}, at, since)
    record.append(job_id, events, at)
    return look(record, job_id)


def untick(record: Record, job_id: str, line: str, at: At, reason: str = "") -> View:
    """A line is not done after all."""
    if line not in load_job(record, job_id).apart.ticks:
        raise Refused("that line is not ticked; it may have been taken back meanwhile")
    record.append(job_id, [ap.LineUnticked(line, reason)], at)
    return look(record, job_id)


def part_in_hand(record: Record, job_id: str, seen: ap.PartInHand, at: At) -> View:
    """The new part as it was looked at. Plugs that do not agree are no right part without a
    reason, nor is another number than the ordered one or one that replaces it."""
    job = load_job(record, job_id)
    machine = setup_of(record, job).machine
    found = find_part(machine, seen.part)
    counted = min(seen.old_plugs, seen.new_plugs) >= 0
    differ = seen.verdict == "right" and counted and seen.old_plugs != seen.new_plugs
    if differ and not seen.reason.strip():
        plugs = f"the old part has {seen.old_plugs:g} plugs, this one {seen.new_plugs:g}"
        raise Refused(f"{plugs}: say why it is the right one all the same")
    ordered = next((p.number for p in parts_to_fit(machine, job) if p.id == found.id), "")
    explained = seen.reason.strip() or seen.chain.strip()
    if seen.verdict == "right" and not explained and not _fits(record, found, ordered, seen.number):
        raise Refused(f"{ordered} was ordered, this one is {seen.number.strip()}: say what the "
                      "slip says of it, or why it is the right one all the same")  # fmt: skip
    if seen.verdict == "wrong" and not seen.reason.strip():
        raise Refused("what is wrong with it? In a few words, for who sends it back")
    looked = ap.PartInHand(
        found.id, found.words, seen.verdict, seen.number.strip(), seen.chain.strip(), seen.beside,
        seen.old_plugs, seen.new_plugs, seen.reason.strip(),
    )  # fmt: skip
    record.append(job_id, [looked], at)
    return look(record, job_id)


def _fits(record: Record, part: ServicePart, ordered: str, number: str) -> bool:
    """Whether a number is the ordered one or replaces it, by the machine's file or a price list."""
    if not ordered.strip() or not number.strip():
        return True
    wanted, there = same_number(ordered), same_number(number)
    replaced = {same_number(n.number): {same_number(s) for s in n.supersedes} for n in part.numbers}
    lists = [p for p in record.log.prices.find(ordered) if same_number(p.chain[0]) == wanted]
    return wanted == there or wanted in replaced.get(there, set()) or any(
        there == same_number(n) for p in lists for n in p.chain
    )


def tag_part(record: Record, job_id: str, tag: ap.PartTagged, at: At) -> View:
    """The removed part is tagged, and where it can be, tested on the bench."""
    find_part(setup_of(record, load_job(record, job_id)).machine, tag.part)
    record.append(job_id, [tag], at)
    return look(record, job_id)


def mend_minutes(
    record: Record, job_id: str, what: str, minutes: float, at: At, reason: str = ""
) -> View:
    """The clock was wrong: the minutes of a step or task as a person says they were."""
    if not math.isfinite(minutes) or not 0 <= minutes <= 6000:
        raise Refused("minutes are a number from 0 to 6000")
    if what not in load_job(record, job_id).minutes_by_step():
        raise Refused(f"no minutes are noted for {what!r}")
    record.append(job_id, [ap.MinutesMended(what, round(minutes, 1), reason.strip())], at)
    return look(record, job_id)


def fastener_tally(view: View) -> Tally:
    """The count of all fasteners of this rebuild."""
    return tally(step_counts(view.machine, view.job))


def _clock(
    record: Record, job_id: str, planned: Mapping[str, float], at: At, since: datetime | None
) -> list[Event]:
    """Minutes that this person worked since the last piece of work ended, shared out."""
    now = at.device_time or at.now
    device = at.device or record.log.desk
    mine = [e for e in record.log.events(job_id) if e.by == at.by and e.device == device]
    begun = max((n for n, e in enumerate(mine) if isinstance(e.event, _TURNS)), default=0)
    times = [e.device_time for e in mine[begun:] if e.device_time <= now]
    if since is not None and since <= now and (not times or since > min(times)):
        times = [t for t in times if t >= since] + [since]
    reckoned = sum(planned.values())
    minutes = worked([*times, now], reckoned=reckoned)
    if minutes < 0.1 or not planned:
        return []
    share = {what: (m / reckoned if reckoned > 0 else 1 / len(planned))
             for what, m in planned.items()}  # fmt: skip
    return [
        ev.MinutesNoted(what, round(minutes * part, 1), measured=True)
        for what, part in share.items()
        if minutes * part >= 0.05
    ]


def _words(job: Job, step: str) -> str:
    own = job.apart.own.get(step)
    done = next((s.words for s in reversed(job.steps) if s.step == step), "")
    return done or (own.words if own else "") or step
