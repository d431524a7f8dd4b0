"""The counter: a machine comes in, and goes out again. Gather, decide, write.

Nothing that is missing stops a check-in: what is not known is asked where it matters.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from knowngood.job import counter as ct
from knowngood.job import events as ev
from knowngood.job.counter import Counter
from knowngood.job.events import Event
from knowngood.job.job import Job
from knowngood.job.stockroom import STOCKROOM
from knowngood.machines.machine import Machine
from knowngood.measure.meter import shipped_meters
from knowngood.places.catalogue import Face, faces, machine_named
from knowngood.places.cover_asked import at_check_in
from knowngood.places.decision import ASKED_NOTHING
from knowngood.places.ends import end_of
from knowngood.places.fitted import stock_of_closed
from knowngood.places.gather import load_job
from knowngood.places.known import Visit, plain_serial, visits_of_serial
from knowngood.places.lessons import pin
from knowngood.places.library import find_meter, machine_from
from knowngood.places.naming import listed_complaint
from knowngood.places.opening import CheckIn, opening
from knowngood.places.premises import prices_of, the_shop
from knowngood.places.record import At, Record, Refused
from knowngood.shop.off import off_steps
from knowngood.shop.release import Release, release_of_job

MOST_PACKS = 30
CONDITIONS = (
    "always", "now and then", "when cold", "when hot", "after a while", "under load", "after rain",
    "after it was dropped", "on slopes", "after storage",
)  # fmt: skip
TROUBLES = ("swollen", "hot", "leaking", "wet", "dropped")
NOT_SAID = "swollen, hot, leaking, wet or dropped"
"""The trouble of a pack that was called unsafe without a word of what it is."""
ACCESSORIES = ("charger", "key", "guard", "bag or box", "blade", "cable", "manual")
NO_CHECKS = "no release checks are known: this machine has no file"


@dataclass(frozen=True, slots=True)
class Sheet:
    """What was said at the counter. Every field may be empty.

    ``machine``: a machine of the catalogue; ``family``: what an unknown one is most like, whose
    file it is worked on with; ``named``: the machine in the customer's words;
    ``complaint`` and ``also``: ids of its file; ``told``: what the customer tried, ids of its file,
    ``told_asked`` when that was asked at all; ``unsafe``: a pack is swollen, hot, leaking, wet or
    was dropped, whether or not it is said which; ``meter``: the one this phone reads with;
    ``purchased``: the day it was bought, from which its maker's programme follows.
    """

    words: str = ""
    customer: str = ""
    contact: str = ""
    machine: str = ""
    maker: str = ""
    model: str = ""
    serial: str = ""
    named: str = ""
    complaint: str = ""
    also: tuple[str, ...] = ()
    conditions: tuple[str, ...] = ()
    told: tuple[str, ...] = ()
    told_asked: bool = False
    accessories: tuple[str, ...] = ()
    packs: tuple[ct.PackTaken, ...] = ()
    unsafe_asked: bool = False
    unsafe: bool = False
    meter: str = ""
    promised: str = ""
    purchased: str = ""
    family: str = ""


def check_in(record: Record, job_id: str, sheet: Sheet, at: At) -> None:
    """Open the job with all that was said, in one transaction. Raises Refused, StoreProblem."""
    before_it = record.log.events(job_id)
    if before_it:
        if at.device and before_it[0].device == at.device:
            return  # the page went away between keeping and knowing so; it is all there
        raise Refused("this machine is checked in already; nothing was stored twice")
    if len(sheet.packs) > MOST_PACKS:
        raise Refused(f"{len(sheet.packs)} packs at once; at most {MOST_PACKS} are kept")
    known = machine_named(record, sheet.machine) or machine_named(
        record, named_in(f"{sheet.model} {sheet.named}", faces(record))
    )
    like = known is None and bool(sheet.family)
    if like:
        known = machine_named(record, sheet.family)
    machine = known.it if known else None
    complaint = listed_complaint(machine, (sheet.complaint, *sheet.also), sheet.words)
    meter = find_meter(sheet.meter) if sheet.meter in shipped_meters() else None
    opened = opening(
        record,
        CheckIn(
            known, complaint, sheet.words, meter, prices_of(record), sheet.customer, sheet.maker,
            sheet.model, sheet.serial, sheet.promised,
        ),
        at,
    )  # fmt: skip
    if like:  # its family's makers and models are others
        opened = replace(opened, maker=sheet.maker, model=sheet.model)
    shop = the_shop(record)
    events: list[Event] = [
        opened,
        *pin(record, machine, meter.it if meter else None),
        ct.CheckedIn(
            contact=sheet.contact,
            conditions=sheet.conditions,
            also=tuple(c for c in sheet.also if c != complaint),
            accessories=sheet.accessories,
            fee=shop.fee,
            storage=shop.storage,
            unsafe_asked=sheet.unsafe_asked or sheet.unsafe or any(p.trouble for p in sheet.packs),
            words=sheet.named or (sheet.machine if machine is None else ""),
        ),
        *packs_of(sheet),
        *_told(machine, sheet),
    ]
    before = _earlier(record, opened.serial, opened.model, job_id)
    if before:
        events.append(_comeback(before[0]))
    events += at_check_in(record, opened.maker, sheet.purchased, before, at.now.date())
    record.append(job_id, events, at)


def packs_of(sheet: Sheet) -> tuple[ct.PackTaken, ...]:
    """The packs as they are kept. Called unsafe without a word of which or what, each may be the
    one; without a pack on the sheet there is one all the same."""
    if not sheet.unsafe or any(p.trouble for p in sheet.packs):
        return sheet.packs
    packs = sheet.packs or (ct.PackTaken("unsafe"),)
    return tuple(replace(p, trouble=(NOT_SAID,)) for p in packs)


def _told(machine: Machine | None, sheet: Sheet) -> list[Event]:
    known = {t.id: t.words for t in machine.told} if machine else {}
    ids = dict.fromkeys(sheet.told)
    found: list[Event] = [ev.ToldNoted(t, known[t]) for t in ids if t in known]
    found += [ev.NoteAdded(f"the customer tried: {t}") for t in ids if t not in known]
    if not ids and sheet.told_asked and known:
        found.append(ev.NoteAdded(ASKED_NOTHING))
    return found


def _earlier(record: Record, serial: str, model: str, job_id: str) -> list[Visit]:
    """Earlier visits of this machine: the same serial, and no other model where both are known."""
    return [
        visit for visit in visits_of_serial(record, serial, but=job_id)
        if not (model and visit.model) or plain_serial(model) == plain_serial(visit.model)
    ]  # fmt: skip


def _comeback(visit: Visit) -> ct.ComebackLinked:
    return ct.ComebackLinked(visit.job, visit.number, f"{visit.day}: {visit.words}".strip(": "))


def note_counter(
    record: Record, job_id: str, at: At, details: ev.DetailsNoted, noted: ct.CheckedIn,
    accessories: tuple[str, ...] | None = None,
) -> None:  # fmt: skip
    """What was not known at check-in, or was wrong; empty leaves what stands. A serial that was
    here before links the job to the older one."""
    job = load_job(record, job_id)
    events: list[Event] = []
    if details != ev.DetailsNoted():
        events.append(details)
    if noted != ct.CheckedIn():
        events.append(noted)
    if accessories is not None and accessories != job.counter.accessories:
        events.append(ct.AccessoriesNoted(accessories))
    model = details.model or (job.opened.model if job.opened else "")
    before = _earlier(record, details.serial, model, job_id)
    earlier = [visit for visit in before if visit.seq < (job.opened_at.seq if job.opened_at else 0)]
    if earlier and job.counter.comeback is None:
        events.append(_comeback(earlier[0]))
    record.append(job_id, events, at)


def take_pack(record: Record, job_id: str, pack: ct.PackTaken, at: At) -> None:
    """A pack that came along, or one of them said better."""
    job = load_job(record, job_id)
    new = all(p.pack != pack.pack for p in job.counter.packs)
    if new and len(job.counter.packs) >= MOST_PACKS:
        raise Refused(f"{MOST_PACKS} packs are on this job; no more are kept")
    record.append(job_id, [pack], at)


def machine_of(record: Record, job: Job) -> Machine | None:
    """The machine as the job has pinned it; None when no file was named."""
    if not job.machine_digest:
        return None
    return machine_from(record.files.text_of(job.machine_digest), "the job's machine file")


def release_standing(machine: Machine | None, job: Job) -> Release:
    """How the release checks of a job stand, with what was overridden."""
    return release_of_job(machine, job) if machine else Release(())


def holds(machine: Machine | None, job: Job) -> tuple[str, ...]:
    """Why the machine may not be handed back, each in words; empty when it may."""
    found = [
        f"{c.words}: {'failed' if c.result == 'fail' else 'not checked'}"
        + (f" ({c.stale})" if c.stale else "")
        for c in release_standing(machine, job).holding
    ]
    if machine is None and not job.counter.overrides:
        found.append(NO_CHECKS)
    return tuple(found)


def override_hold(record: Record, job_id: str, by: str, reason: str, at: At) -> None:
    """Let the machine go in spite of its checks: a person and a reason, which print on the
    papers."""
    job = load_job(record, job_id)
    machine = machine_of(record, job)
    why = holds(machine, job)
    if not why:
        raise Refused("nothing holds this machine; it needs no override")
    if not by.strip() or not reason.strip():
        raise Refused("an override needs the name of who takes it on, and the reason")
    checks = tuple(c.check for c in release_standing(machine, job).holding)
    record.append(job_id, [ct.HoldOverridden(checks, by.strip(), reason.strip(), why)], at)


def not_fetched(job: Job) -> bool:
    """Whether a closed job came over the counter and nobody has fetched it yet."""
    return job.closed is not None and job.counter.handed is None and job.counter != Counter()


def hand_back(record: Record, job_id: str, handed: ct.HandedBack, outcome: str, at: At) -> None:
    """The customer has it; the job is closed with this outcome unless it is closed already."""
    job = load_job(record, job_id)
    machine = machine_of(record, job)
    why = holds(machine, job)
    if why:
        raise Refused(f"held: {'; '.join(why)}. Check it, or override with a name and a reason")
    if job.counter.handed is not None:
        raise Refused("it is handed back already")
    if not handed.to.strip() and not handed.signature:
        raise Refused("who took it? A name, or a signature")
    if handed.signature and not record.files.has(handed.signature):
        raise Refused("the signature itself is not here; send it to /api/pictures first")
    off = off_words(machine, job)
    if off and outcome == "repaired" and job.closed is None:
        raise Refused(
            f"not complete: {'; '.join(off)} is off. Put it back at the bench, or hand it back "
            f"unrepaired"
        )
    handed = replace(handed, stays=handed.stays or left_here(job, handed))
    outcome = end_of(outcome) if outcome.strip() else ""
    events: list[Event] = [handed]
    stock: list[Event] = []
    if job.closed is None:
        events.append(ev.JobClosed(outcome or "handed back"))
        stock = stock_of_closed(record, job, outcome or "handed back")
    record.append_all([(job_id, events), (STOCKROOM, stock)], at)


def left_here(job: Job, handed: ct.HandedBack) -> tuple[str, ...]:
    """What came along and was not ticked off as handed back, in words."""
    things = [one for one in job.counter.accessories if one not in handed.accessories]
    packs = [pack_words(p) for p in job.counter.packs if p.pack not in handed.packs]
    return (*things, *packs)


def pack_words(pack: ct.PackTaken) -> str:
    """ "pack 5 Ah, serial BP40-1187 (swollen)"."""
    named = f"pack {pack.words}".strip()
    serial = f", serial {pack.serial}" if pack.serial else ", no serial noted"
    return f"{named}{serial}" + (f" ({', '.join(pack.trouble)})" if pack.trouble else "")


def off_words(machine: Machine | None, job: Job) -> tuple[str, ...]:
    """What is off the machine now, in words; empty when it is in one piece."""
    if machine is None:
        return tuple(step.words or step.step for step in job.open_steps)
    return tuple(off.words for off in off_steps(machine, job) if not off.nothing_to_shut)


def named_in(words: str, known: Sequence[Face]) -> str:
    """Id of the one machine of which a model stands in these words; "" for none or several."""
    said = words.casefold()
    fits = [m.id for m in known if any(model.casefold() in said for model in m.models if model)]
    return fits[0] if len(fits) == 1 else ""
