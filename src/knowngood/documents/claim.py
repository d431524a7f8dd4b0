"""The warranty claim of a job: complaint, cause, correction, and the reading that proves it.

Page one is for a person at a warranty desk who has half a minute and knows nothing of this program;
the record follows. Everything said about a reading or a part is printed as it was shown at the
bench; nothing is worked out again, so a later machine file or a later planner changes no claim.

Of `shown` (with a reading) these keys are printed when they are there: `reads`, `limits` (with
their source), `good` (a good one in words), `clears` (parts in words), `slip`. Of `proof` (with
the decision): `readings` (ids, most telling first), `missing`, `parts` (how each stood), `also`
(consequential parts), `shown_out` (other explanations), `mode` (failure mode) and `why`. What a
machine file says a part costs is an example, and no money of a claim.
"""

from __future__ import annotations

import re
from datetime import date, datetime, timedelta

from knowngood.documents import record
from knowngood.documents.claim_data import attached_claim
from knowngood.documents.claim_money import asked, money_box
from knowngood.documents.document import (
    Block,
    Box,
    Bullets,
    Document,
    Fact,
    Facts,
    NewPage,
    Paragraph,
)
from knowngood.documents.handback import override_lines, part_facts
from knowngood.documents.leads import leads_drawing
from knowngood.documents.parties import Given, Shop
from knowngood.documents.shown import (
    against,
    also,
    decided_words,
    failure_mode,
    fitted_number,
    measured_with,
    parts_standing,
    proof_readings,
    reading_words,
)
from knowngood.documents.wording import (
    NOT_GIVEN,
    TO_READ,
    day,
    day_and_time,
    day_of,
    listed,
    sentence,
)
from knowngood.job.job import Job
from knowngood.job.things import Decision, JobReading
from knowngood.job.waiting import fitted_at
from knowngood.machines.machine import Machine, ServicePart
from knowngood.shop.release import release_of_job

LITHIUM_CARE = (
    "Do not charge, open or wear down this pack, and do not keep it indoors if it is swollen, "
    "hot, wet, leaking, dropped or otherwise damaged: put it outdoors, away from buildings, in a "
    "non-combustible container.",
    "Take pictures, keep them with this claim, and ask the programme what it wants to see; a "
    "damaged pack is not sent in unasked.",
    "A damaged lithium pack ships only under the rules for damaged cells (in the United States "
    "49 CFR 173.185(f)), never by air, packed by trained people. Local fire and shipping rules "
    "come first.",
)
_A_PACK = re.compile(
    r"\b(pack|battery|batteries)\b(?!\s+(connector|terminal|contact|holder|bay|door|latch|lead|"
    r"cable|wire|switch|cradle|tray|clip|rail|receiver|socket|block))",
    re.IGNORECASE,
)
_CELLS = re.compile(r"\b(cells?|lithium|li-ion)\b", re.IGNORECASE)


def claim_document(
    job: Job, machine: Machine, shop: Shop, now: datetime, given: Given | None = None
) -> Document:
    """The claim from the job's record. `machine` gives words for ids and what was left blank."""
    given = given or Given()
    in_short = given.in_short or _in_short(job, machine, shop, given)
    said = [in_short, given.earlier.words if given.earlier is not None else ""]
    first = " ".join(text for text in said if text)
    short: list[Block] = [Box("In short", (Paragraph(first),))] if first else []
    blocks: list[Block] = [
        *_cautions(job, machine),
        *short,
        _facts(job, machine, given),
        Facts(_complaint_cause_correction(job, machine), strong=True),
    ]
    if job.decision is not None:
        blocks.append(_proof(job, job.decision))
        blocks.append(_causal_part(job, job.decision, machine, shop, now, given.keep))
    blocks.append(money_box(job, shop, given))
    blocks.append(NewPage())
    blocks += record.record_blocks(job, machine)
    blocks += _where_the_leads_were(job, machine)
    return Document(
        title="Warranty claim, resubmitted" if given.earlier is not None else "Warranty claim",
        reference=f"job {job.name}",
        date=day(now),
        sender=shop.name,
        sender_lines=shop.lines,
        blocks=tuple(blocks),
        closing=f"Printed {day_and_time(now)} from the job's record, as shown at the bench",
        attached=(attached_claim(job, machine, shop, given),),
    )


def _in_short(job: Job, machine: Machine, shop: Shop, given: Given) -> str:
    """One sentence where no programme has more to say; "" where there is nothing to ask for."""
    total = asked(job, shop, given)
    if job.decision is None:
        return ""
    its = fitted_number(job, job.decision.part, job.decision.number)
    number = f" {its.words}" if its.number else ""
    found = "proven by the readings below" if job.decision.proven else "not proven, see below"
    named = f"{decided_words(job.decision)}{number}, {found}."
    return f"We ask {total} before tax: {named}" if total else f"{named} The sum is not given yet."


def _where_the_leads_were(job: Job, machine: Machine) -> list[Block]:
    """The wiring around the reading that proves most, of those taken with two leads."""
    readings = proof_readings(job, job.decision) if job.decision is not None else ()
    found = (leads_drawing(machine, reading.test) for reading in readings)
    drawing = next((d for d in found if d is not None), None)
    return [drawing] if drawing else []


def is_pack(part: ServicePart | None, words: str) -> bool:
    """Whether the part holds cells; in doubt yes, since it decides where it is kept."""
    inside = " ".join(part.contents) if part else ""
    named = f"{words} {part.words}" if part else words
    return bool(_A_PACK.search(named) or _CELLS.search(inside))


def _cautions(job: Job, machine: Machine) -> list[Block]:
    """What a reader must know before believing the rest."""
    said: list[str] = []
    decision = job.decision
    if decision is None:
        said.append("No part has been decided on this job: this is a draft, not a claim.")
    elif not decision.proven:
        missing = str(decision.proof.get("missing", ""))
        said.append(
            f"Not proven: {decided_words(decision)} is the shop's own judgement, and the readings "
            f"do not show it to be the only explanation. {sentence(missing)}".strip()
        )
    said += [sentence(f"{look.what}: {look.why} ({day_of(look.at)})") for look in job.look_at_this]
    said += override_lines(job)
    holding = release_of_job(machine, job).holding
    shown = {check.check: check.words or check.check for check in job.release}
    failed = [shown.get(c.check, c.words) for c in holding if c.result == "fail"]
    if failed and not job.counter.handed:
        said.append(f"Held, not handed back: {listed(failed)} failed.")
    if not said:
        return []
    title = "Changed since, or not proven" if job.look_at_this else "Read this first"
    return [Box(title, (Bullets(tuple(said)),), "warning")]


def _facts(job: Job, machine: Machine, given: Given) -> Facts:
    opened = job.opened
    closed = day_of(job.closed.at) if job.closed else "not closed yet"
    identity = [
        Fact("Maker", opened.maker if opened else ""),
        Fact("Model", opened.model if opened else ""),
        Fact("Serial", opened.serial if opened else ""),
        Fact("Machine", machine.words),
        Fact("Customer", opened.customer if opened else ""),
        Fact("Use", given.use),
        Fact("Hours", given.hours),
        *(row for row in _of_the_programme(given) if row.text),
    ]
    dates = [
        Fact("Purchase proof", given.proof_of_purchase),
        Fact("In service", given.in_service),
        Fact("Failed", given.failed_on),
        Fact("Received", day_of(job.opened_at)),
        Fact("Closed", f"{closed}: {job.closed.outcome}" if job.closed else closed),
        Fact("Release checks", record.release_words(job, machine)),
        Fact("Pictures", _pictures(job)),
    ]
    rows = (Fact(row.label, row.text.strip() or NOT_GIVEN) for row in (*identity, *dates))
    return Facts(tuple(rows), columns=2, left=len(identity))


def _of_the_programme(given: Given) -> tuple[Fact, ...]:
    return (
        Fact("Programme", given.programme.strip()),
        Fact("Claim number", given.claim_number.strip()),
        Fact("Cover", given.cover.strip()),
        *([Fact("Notice", given.notices.strip())] if given.notices.strip() else []),
        Fact("Shown here", given.shows.strip()),
        Fact("Codes", given.failure_code.strip()),
    )


def _pictures(job: Job) -> str:
    if not job.pictures:
        return "none"
    about = {picture.about for picture in job.pictures}
    kinds = [kind for kind in ("plate", "damage", "meter") if kind in about]
    return f"{len(job.pictures)} ({', '.join(kinds)})" if kinds else str(len(job.pictures))


def _complaint_cause_correction(job: Job, machine: Machine) -> tuple[Fact, ...]:
    """As a person wrote them, said to be so, else from the record."""
    found = from_record(job, machine)
    if job.paperwork.worded is None:
        return found
    event, at = job.paperwork.worded
    by = f"worded by {at.by or 'the shop'} on {day_of(at)}"
    worded = (event.complaint, event.cause, event.correction)
    return tuple(Fact(fact.label, text, by) if text else fact
                 for fact, text in zip(found, worded, strict=True))  # fmt: skip


def from_record(job: Job, machine: Machine) -> tuple[Fact, Fact, Fact]:
    """Complaint, cause and correction as the record tells them."""
    complaint = job.opened.customer_words if job.opened else ""
    if complaint:
        told = f"“{complaint}”"
    else:
        named = job.opened.complaint if job.opened else ""
        words = next((c.words for c in machine.complaints if c.id == named), named)
        told = words or NOT_GIVEN
    return (
        Fact("Complaint", told, "the customer's own words" if complaint else ""),
        _cause(job, machine),
        _correction(job),
    )


def _cause(job: Job, machine: Machine) -> Fact:
    decision = job.decision
    if decision is None:
        return Fact("Cause", "not decided")
    mode = failure_mode(decision, machine)
    named = decided_words(decision)
    said = [sentence(f"{named}: {mode}" if mode else f"{named}. Failure mode: not recorded")]
    if why := decision.proof.get("why"):
        said.append(sentence(str(why)))
    found = [cause for cause in job.causes if cause.answer == "yes"]
    for cause in found:
        evidence = f" ({cause.evidence})" if cause.evidence else ""
        said.append(sentence(f"Why it failed: {cause.words or cause.cause}{evidence}"))
    asked = [cause.words or cause.cause for cause in job.causes if cause.answer == "no"]
    if asked:
        said.append(sentence(f"Looked for and not found: {listed(asked)}"))
    if not job.causes:
        said.append("Why it failed: not asked.")
    return Fact("Cause", " ".join(said))


def _correction(job: Job) -> Fact:
    decision = job.decision
    if decision is None:
        return Fact("Correction", "none yet")
    number = fitted_number(job, decision.part, decision.number).words or TO_READ
    part = f"{decided_words(decision)}, part number {number}"
    for other in also(decision):
        number = fitted_number(job, other.part, other.number).words or TO_READ
        part += f"; and {other.words}, which it took along, part number {number}"
    closed = job.closed
    repaired = closed is not None and closed.outcome.strip().lower() == "repaired"
    if repaired or fitted_at(job) is not None:
        said = [f"Replaced: {part}."]
    else:
        said = [f"To be replaced: {part}. The record does not show it fitted."]
    to_do = [cause.mend for cause in job.causes if cause.mend]
    if to_do:
        said.append(sentence(f"Also to do, so that the new one lasts: {listed(to_do)}"))
    if closed is not None and closed.words:
        said.append(sentence(closed.words))
    return Fact("Correction", " ".join(said))


def _proof(job: Job, decision: Decision) -> Box:
    rests = proof_readings(job, decision)
    telling = next((one for one in rests if one.verdict == "bad"), rests[0] if rests else None)
    named = decided_words(decision)
    said: list[Paragraph | Bullets] = []
    if decision.sentence and decision.proven:
        said.append(Paragraph(sentence(decision.sentence), "strong"))
    if telling is not None:
        strong = not (decision.sentence and decision.proven)
        said.append(Paragraph(_telling(telling), "strong" if strong else "plain"))
    if decision.proven and not decision.sentence:  # the sentence says so
        more = [one for one in rests if one is not telling]
        with_more = f", together with {_count(len(more), 'further reading')}" if more else ""
        said.append(
            Paragraph(
                f"Of the parts listed for this machine, no other than the {named} explains "
                f"this{with_more}."
            )
        )
    elif not decision.proven:
        said.append(
            Paragraph(f"This does not prove the {named}: something else may still explain it.")
        )
    if good := parts_standing(decision, "known good"):
        said.append(Paragraph(f"Shown good by a reading: {listed(good)}."))
    taken = [f"{part.words or part.part} (accepted by {part.by})" for part in job.accepted]
    if taken:
        said.append(Paragraph(f"Taken as good on a person's word, not measured: {listed(taken)}."))
    said.append(
        Paragraph("± is two standard uncertainties of meter and display, about 95 %.", "small")
    )
    return Box("Proof" if decision.proven else "Evidence, no proof", tuple(said), "proof")


def _telling(reading: JobReading) -> str:
    how = f"{reading.grade} with {measured_with(reading)}"
    if reading.grade == "seen" or not measured_with(reading):
        how = reading.grade
    by = f", by {reading.taken.by}" if reading.taken.by else ""
    said = sentence(f"{reading.question or reading.test}: {reading_words(reading)}, {how}{by}")
    good = against(reading)
    return f"{said} A good one reads {good}." if good else f"{said} {reading.sentence}".strip()


def _causal_part(
    job: Job, decision: Decision, machine: Machine, shop: Shop, now: datetime, keep: str
) -> Box:
    part = next((one for one in machine.parts if one.id == decision.part), None)
    serial = (job.opened.serial if job.opened else "") or NOT_GIVEN
    named = decided_words(decision)
    number = decision.number or f"number {TO_READ}"
    new = fitted_number(job, decision.part, decision.number)
    tag = f"{job.name} · {named} · {number} · serial {serial}"
    facts = [
        Fact("Part", f"1 x {named}"),
        Fact("Part number", decision.number or TO_READ),
        *[Fact("Number read at", str(at)) for at in [decision.proof.get("read_at")] if at],
        *[Fact("New part", new.words) for new in [new] if new.listed],
        Fact("Tag on it", tag),
        *part_facts(job, decision),
    ]
    facts += [
        Fact("It took along", f"1 x {other.words}, {its.words or f'number {TO_READ}'}")
        for other in also(decision)
        for its in [fitted_number(job, other.part, other.number)]
    ]
    if is_pack(part, named):
        return Box("The failed part", (Facts(tuple(facts)), Bullets(LITHIUM_CARE)))
    facts.append(Fact("Kept", keep or _kept(shop, now)))
    return Box("The failed part", (Facts(tuple(facts)),))


def _kept(shop: Shop, now: date) -> str:
    if shop.keep_days is None:
        return "tagged and held until the programme releases it"
    until = day(now + timedelta(days=shop.keep_days))
    return f"tagged and held at least until {until}, longer if the programme asks"


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}{'' if number == 1 else 's'}"
