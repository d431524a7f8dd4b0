"""What a job teaches its machine's file: steps that the file did not have, and of those that it
has the minutes, the fasteners counted and the pictures.

A file of the shop is changed where it stands, its comments and order kept; on a shipped family the
shop's own variant is written. The job itself stays with the file that it has pinned.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

from knowngood.job import apart as ap
from knowngood.job.job import Job
from knowngood.job.things import TeardownDone
from knowngood.machines.bare import IDS as BARE
from knowngood.machines.edit import EditError, Value, with_entry, with_field, written
from knowngood.machines.machine import Fastener, Machine, TeardownStep
from knowngood.machines.shipped import shipped_names
from knowngood.places.describe import free_name
from knowngood.places.gather import View, load_job, look, setup_of
from knowngood.places.library import sound_machine
from knowngood.places.own_machines import keep_file, kept_files, own_bases, own_file
from knowngood.places.record import At, Record, Refused
from knowngood.shop.off import all_needs, fasteners_from, fasteners_words

DIFFER = 0.25  # of the file's minutes, and a minute at least, before they are offered
MOST_PICTURES = 12


@dataclass(frozen=True, slots=True)
class Lesson:
    """What may go into the file. ``opens``: the step of the file that came off next, which then
    needs it; "" for none. ``minutes`` by the clock, -1 not measured or as in the file, to which
    ``was`` and ``back_was`` belong; ``had``: the fasteners the file has; ``taught``: the file in
    which it is already, with nothing new since; ``kept_as``: its id there, "" before."""

    step: str
    words: str
    new: bool
    minutes: float
    back_minutes: float = -1
    was: float = 0.0
    back_was: float = 0.0
    needs: tuple[str, ...] = ()
    opens: str = ""
    fasteners: tuple[dict[str, Value], ...] = ()
    had: tuple[Fastener, ...] = ()
    traps: tuple[str, ...] = ()
    pictures: tuple[str, ...] = ()
    said: str = ""
    taught: str = ""
    kept_as: str = ""

    @property
    def empty(self) -> bool:
        """Nothing of it would go into a file that has the step."""
        timed = self.minutes > 0 or self.back_minutes > 0
        return not (timed or self.fasteners or self.pictures)


def lessons(machine: Machine, job: Job) -> tuple[Lesson, ...]:
    """All that this job may teach, in the order it was done; nothing where there is no file."""
    if machine.id in BARE:
        return ()
    spent = {m.what for m in job.minutes if m.measured} | set(job.apart.mended)
    total = job.minutes_by_step()
    listed = {t.id: t for t in machine.teardown}
    found: list[Lesson] = []
    for id in dict.fromkeys(s.step for s in job.steps):
        minutes = round(total.get(id, -1), 1) if id in spent else -1.0
        back = f"back {id}"
        back_minutes = round(total[back], 1) if back in spent and back in total else -1.0
        own = job.apart.own.get(id)
        if own is not None and id not in listed:
            one = replace(_own(machine, job, own), minutes=minutes, back_minutes=back_minutes)
        elif id in listed:
            one = _of_the_file(job, listed[id], minutes, back_minutes)
        else:
            continue
        if id in job.apart.taught:
            found.append(_since(job, one))
        elif one.new or not one.empty:
            found.append(one)
    words = {t.id: t.words for t in machine.teardown}
    words |= {id: own.words for id, own in job.apart.own.items()}
    return tuple(replace(one, said=_said(one, words)) for one in found)


def _of_the_file(job: Job, step: TeardownStep, minutes: float, back_minutes: float) -> Lesson:
    """What this job has that the step of the file has not."""
    minutes = minutes if _differs(minutes, step.minutes) else -1.0
    back_minutes = back_minutes if _differs(back_minutes, step.back_minutes) else -1.0
    counted = _counted(job, step.id)
    if fasteners_from({"kinds": list(counted)}) == step.fasteners:
        counted = ()
    fresh = [d for d in _pictures(job, step.id) if d not in step.pictures]
    room = max(0, MOST_PICTURES - len(step.pictures))
    return Lesson(step.id, step.words, False, minutes, back_minutes, step.minutes,
                  step.back_minutes, fasteners=counted, had=step.fasteners,
                  pictures=tuple(fresh[:room]))  # fmt: skip


def _differs(minutes: float, was: float) -> bool:
    return minutes > 0 and abs(minutes - was) >= max(1.0, DIFFER * was)


def _since(job: Job, one: Lesson) -> Lesson:
    """Of a step that is in the file already, what came after it was kept there: minutes of putting
    it back, more pictures, fasteners counted anew."""
    when, taught = job.apart.at_teaching[one.step], job.apart.taught[one.step]
    later = {m.what for m in job.minutes if m.at.seq > when.seq}
    later |= {what for what, m in job.apart.mended.items() if m.at.seq > when.seq}
    noted = job.apart.noted.get(one.step, ap.StepNoted(one.step)).fasteners
    after = {p.digest for p in job.pictures if p.at.seq > when.seq}
    now = replace(
        one, new=False, needs=(), opens="", traps=(), kept_as=taught.file_step,
        minutes=one.minutes if one.step in later else -1,
        back_minutes=one.back_minutes if f"back {one.step}" in later else -1,
        fasteners=one.fasteners if noted != when.fasteners else (),
        pictures=tuple(d for d in one.pictures if d in after),
    )  # fmt: skip
    return replace(one, taught=taught.machine_id) if now.empty else now


def _counted(job: Job, step: str) -> tuple[dict[str, Value], ...]:
    """The fasteners that were noted on a step, as a file has them."""
    noted = job.apart.noted.get(step, ap.StepNoted(step))
    return tuple(
        {k: v for k, v in (("count", f.count), ("drive", f.drive or "screw"), ("length", f.length),
                           ("where", f.where)) if v}
        for f in fasteners_from(noted.fasteners)
    )  # fmt: skip


def _pictures(job: Job, step: str) -> tuple[str, ...]:
    return tuple(p.digest for p in job.pictures if p.about == step)[:MOST_PICTURES]


def _own(machine: Machine, job: Job, own: ap.OwnStepMade) -> Lesson:
    needs = {t.id: t.needs for t in machine.teardown} | {
        o.step: o.needs for o in job.apart.own.values()
    }
    aside = {t.id for t in machine.teardown if t.role in ("source out", "discharge")}
    before = [n for n in own.needs if n in needs and n not in aside]  # conditions ask for those
    under = all_needs(needs, [n for one in before for n in needs[one]])
    noted = job.apart.noted.get(own.step, ap.StepNoted(own.step))
    traps = (
        *noted.plugs, *(f"loose here: {one}" for one in noted.small),
        *((f"wires ran: {noted.routing}",) if noted.routing else ()),
        *((f"laid by: {noted.where}",) if noted.where else ()),
    )  # fmt: skip
    return Lesson(own.step, own.words, True, -1, needs=tuple(n for n in before if n not in under),
                  opens=_came_next(machine, job, own.step), fasteners=_counted(job, own.step),
                  traps=traps, pictures=_pictures(job, own.step))  # fmt: skip


def _came_next(machine: Machine, job: Job, own: str) -> str:
    """The step of the file that came off right after it, while it was off."""
    steps = list(job.steps)
    mine = next(s for s in steps if s.step == own)
    later = [s for s in steps if s.opened.seq > mine.opened.seq and _while_off(mine, s)]
    listed = {t.id: t.needs for t in machine.teardown if t.role not in ("source out", "discharge")}
    return next((s.step for s in later if s.step in listed), "")


def _while_off(mine: TeardownDone, other: TeardownDone) -> bool:
    return mine.closed is None or other.opened.seq < mine.closed.seq


def _said(one: Lesson, words: dict[str, str]) -> str:
    """What goes into the file, in a sentence."""
    if not one.new:
        return ". ".join(_said_of_the_file(one))
    said = [f"{one.minutes:g} min" if one.minutes > 0 else "minutes not measured"]
    screws = fasteners_words(fasteners_from({"kinds": list(one.fasteners)}))
    said += [screws] if screws else []
    said += [f"After: {'; '.join(words[n] for n in one.needs)}"] if one.needs else []
    said += [f"Before: {words[one.opens]}"] if one.opens else []
    said += _count_words(len(one.pictures), "")
    return ". ".join(said)


def _said_of_the_file(one: Lesson) -> list[str]:
    said = []
    for what, minutes, was in (("", one.minutes, one.was),
                               ("back on: ", one.back_minutes, one.back_was)):  # fmt: skip
        if minutes > 0:
            had = f"{was:g} min in the file, " if was else ""
            said.append(f"{what}{had}{minutes:g} min here")
    if one.fasteners and one.kept_as:
        said.append(fasteners_words(fasteners_from({"kinds": list(one.fasteners)})) + " here")
    elif one.fasteners:
        here = fasteners_words(fasteners_from({"kinds": list(one.fasteners)}))
        said.append(f"{fasteners_words(one.had) or 'no fasteners'} in the file, {here} here")
    return said + _count_words(len(one.pictures), "more ")


def _count_words(count: int, more: str) -> list[str]:
    return [f"{count} {more}{'picture' if count == 1 else 'pictures'}"] if count else []


def teach(record: Record, job_id: str, step: str, at: At, alone: bool = False) -> View:
    """Keep what this job has learned about a step in the machine's file. ``alone``: the step that
    came off next does not need it. Raises Refused with every problem; then nothing is changed."""
    job = load_job(record, job_id)
    machine = setup_of(record, job).machine
    one = next((x for x in lessons(machine, job) if x.step == step), None)
    if one is None:
        raise Refused("this job has nothing new to keep about that step")
    if one.taught:
        raise Refused(f"that is in the file {one.taught} already")
    id, text = _file_for(record, machine, job)
    source = f"measured in this shop, job {job.name}, {at.now:%Y-%m-%d}"
    desk = replace(at, device="", device_seq=None, based_on=None, device_time=None)
    try:
        name, text = _taught(record, job, one, id, text, source, alone)
    except EditError as error:
        raise Refused(f"{id} cannot be changed here: {error}. Open it in the Library") from error
    keep_file(record, text, id, desk, f"{one.words} (job {job.name})")
    said = ap.StepTaught(step, id, name, -1 if one.new else one.minutes)
    record.append(job_id, [said], at)
    return look(record, job_id)


def _taught(
    record: Record, job: Job, one: Lesson, id: str, text: str, source: str, alone: bool
) -> tuple[str, str]:
    """The id of the step in the file, and the text with it."""
    it = sound_machine(text, id, own_bases(record)).it
    steps = {t.id: t for t in it.teardown}
    if not one.new:
        name = one.kept_as or one.step
        if name not in steps:
            raise Refused(f"the file {id} has no step {one.words} any more; open it in the Library")
        return name, _more_of(text, steps[name], one, source)
    twin = next((t for t in it.teardown if t.words == one.words), None)
    if twin is not None:  # of an earlier job
        only = replace(one, minutes=-1, back_minutes=-1,
                       fasteners=() if twin.fasteners else one.fasteners)  # fmt: skip
        return twin.id, _more_of(text, twin, only, source)
    name = _free_id(one.words, steps)
    taught = {k: t.file_step for k, t in job.apart.taught.items()}
    minutes = one.minutes if one.minutes > 0 else 1.0
    fields: dict[str, Value] = {
        "words": one.words, "minutes": minutes,
        "back_minutes": one.back_minutes if one.back_minutes > 0 else minutes,
    }  # fmt: skip
    needs = [n for n in (taught.get(n, n) for n in one.needs) if n in steps]
    fields |= {k: v for k, v in (("needs", needs), ("fasteners", list(one.fasteners)),
                                 ("traps", list(one.traps)), ("pictures", list(one.pictures)))
               if v}  # fmt: skip
    fields["source"] = source if one.minutes > 0 else f"{source}; minutes not measured"
    text = with_entry(text, "teardown", name, fields)
    if one.opens in steps and not alone:
        more = [*steps[one.opens].needs, name]
        text = with_field(text, "teardown", one.opens, "needs", more)
    return name, text


def _more_of(text: str, step: TeardownStep, one: Lesson, source: str) -> str:
    """The text with what is new about a step that it has."""
    new: dict[str, Value] = {}
    if one.minutes > 0:
        new["minutes"] = one.minutes
    if one.back_minutes > 0:
        new["back_minutes"] = one.back_minutes
    if one.fasteners:
        new["fasteners"] = list(one.fasteners)
    new |= {"source": source} if new else {}
    if one.pictures:
        new["pictures"] = list(dict.fromkeys([*step.pictures, *one.pictures]))[:MOST_PICTURES]
    for field, value in new.items():
        text = with_field(text, "teardown", step.id, field, value)
    return text


def _free_id(words: str, taken: Iterable[str]) -> str:
    slug = re.sub(r"[^a-z0-9]+", "_", words.casefold()).strip("_")[:40].strip("_") or "step"
    slug = slug if slug[0].isalpha() else f"s_{slug}"
    ways = (slug if n == 1 else f"{slug}_{n}" for n in range(1, 1000))
    return next(name for name in ways if name not in set(taken))


def _file_for(record: Record, machine: Machine, job: Job) -> tuple[str, str]:
    """The shop's file that learns: the machine's own, else one for this model on its family."""
    if (own := own_file(record, machine.id)) is not None:
        return own.id, own.text
    if machine.id not in shipped_names():
        return machine.id, record.files.text_of(job.machine_digest)
    opened = job.opened
    maker, model = (opened.maker.strip(), opened.model.strip()) if opened else ("", "")
    for id in kept_files(record):
        file = own_file(record, id)
        if file is not None and file.base == machine.id and _is_model(record, file.text, id, model):
            return id, file.text
    plate = f"{maker} {model}".strip()
    id = free_name(record, plate, f"{machine.id} of this shop")
    words = f"{machine.words}, {plate}" if plate else machine.words
    lines: dict[str, Any] = {"machine": id, "based_on": machine.id, "words": words}
    lines |= {"makers": [maker]} if maker else {}
    lines |= {"models": [model]} if model else {}
    body = "".join(f"{k}: {written(v, flow=False)}\n" for k, v in lines.items())
    return id, f"# What this shop has learned; all that is not here is as in {machine.id}.\n{body}"


def _is_model(record: Record, text: str, id: str, model: str) -> bool:
    try:
        found = sound_machine(text, id, own_bases(record)).it
    except Refused:
        return False
    return not model or model in found.models
