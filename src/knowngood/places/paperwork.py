"""The papers of a job: what is covered, what a claim lacks and should bring, what is owed.

Gather, decide, write, as at the bench. Nothing here blocks the bench: it warns, and says by when.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from typing import cast
from uuid import uuid4

from knowngood.job import paperwork as pw
from knowngood.job.events import Event
from knowngood.job.job import Job
from knowngood.job.waiting import replaced_on
from knowngood.places.claim_worth import worth_of
from knowngood.places.gather import load_job
from knowngood.places.number_offered import with_number
from knowngood.places.paper_days import claim_day, day_text, read_day
from knowngood.places.part_ids import part_ids
from knowngood.places.part_price import labour_only
from knowngood.places.programmes import pinned_programme, read_programme, with_notices
from knowngood.places.record import At, Record, Refused
from knowngood.shop import claim_check
from knowngood.shop.claim_check import SET_RATE, UNREAD, WAY, Course, Lack, Worth
from knowngood.shop.codes import ACTION, CAUSE, MODE
from knowngood.shop.cover import Cover, judge_cover
from knowngood.shop.money import Money, MoneyProblem, nothing, read_amount
from knowngood.shop.programme import USES, Facts, Programme, Use
from knowngood.store.problem import StoreProblem

APPROVAL = (
    "the programme's word before the work", "ask, then note up to how much, who and its number",
)  # fmt: skip
NO_PROGRAMME = "no programme is chosen on this job"


@dataclass(frozen=True, slots=True)
class ClaimPage:
    """All that is known of a job's claim today. `worth` is None before a part is decided."""

    programme: Programme
    cover: Cover
    worth: Worth | None
    lacks: tuple[Lack, ...]
    course: Course
    keep_until: date | None


def choose_programme(
    record: Record, job_id: str, text: str, name: str, at: At, kept: bool = False
) -> Programme:
    """Put the job under the programme of this file; the file is kept as it is today. `kept`: it is
    one the shop went by before, whose parts are not looked for again."""
    job = load_job(record, job_id)
    programme = read_programme(text, name, None if kept else part_ids(record), kept)
    for move in job.paperwork.moves:
        if move.currency != programme.currency:
            raise Refused(
                f"a claim of this job is in {move.currency}, {programme.words} pays in "
                f"{programme.currency}: take the claim back first (undo)"
            )
    digest = record.files.keep_text(text)
    record.append(job_id, [pw.ProgrammeChosen(programme.id, programme.words, digest)], at)
    return programme


def programme_of(record: Record, job: Job) -> Programme | None:
    """The programme as it stood when the job was put under it."""
    chosen = job.paperwork.programme
    return pinned_programme(record, chosen.digest, chosen.programme) if chosen else None


def note_cover(record: Record, job_id: str, noted: pw.CoverNoted, at: At) -> None:
    """What cover depends on; blanks leave what stands. Raises Refused for what cannot be."""
    check_noted(programme_of(record, load_job(record, job_id)), noted, at.now.date())
    record.append(job_id, [noted], at)


def check_noted(programme: Programme | None, noted: pw.CoverNoted, today: date) -> None:
    """Raises Refused for what cannot be: a day to come, a proof or a question there is not."""
    if noted.use not in ("", pw.UNSAID, *USES):
        raise Refused(f"use is {noted.use!r}; it may be {', '.join(USES)}")
    for name in ("purchased", "delivered", "made", "failed"):
        typed = getattr(noted, name)
        day = None if typed == pw.UNSAID else read_day(typed, name)
        if day is not None and day > today:
            raise Refused(f"{name} on {day} is still to come, today is {today}; mend the day")
    if noted.hours not in ("", pw.UNSAID) and not re.match(r"(about |~ ?)?[0-9]", noted.hours):
        raise Refused(f"hours of use are {noted.hours!r}; write a number, as 41")
    for proof in noted.proof if programme and programme.proof else ():
        if programme and proof not in (pw.UNSAID, *programme.proof):
            raise Refused(f"no proof {proof!r}; there are: {', '.join(programme.proof)}")
    for id_, answer in noted.answers.items():
        known = {e.id for e in programme.exclusions} if programme else set()
        if id_ not in known:
            there = f"there are: {', '.join(sorted(known))}" if known else NO_PROGRAMME
            raise Refused(f"no question {id_!r}; {there}")
        if answer not in ("yes", "no", pw.UNSAID):
            raise Refused(f"the answer to {id_} is {answer!r}; it may be yes or no")


def choose_codes(record: Record, job_id: str, chosen: pw.CodesChosen, at: At) -> None:
    """Codes of the claim; "" leaves what stands. Ours are checked, and the programme's labour code.

    A mode, cause or action that does not begin as ours do is taken as the programme's own.
    """
    programme = programme_of(record, load_job(record, job_id))
    for code, known in ((chosen.mode, MODE), (chosen.cause, CAUSE), (chosen.action, ACTION)):
        like_ours = code[:1] in "MCA" and code[1:].isdigit()
        if code and like_ours and code not in known:
            raise Refused(f"there is no code {code} here; there are: {', '.join(known)}")
    if chosen.labour and programme is None:
        raise Refused(f"{NO_PROGRAMME}, so its labour codes are not known; choose it first")
    flat = programme.labour.flat if programme else None
    if chosen.labour and programme and chosen.labour not in (flat or {}):
        there = ", ".join(flat or {}) or "none: its labour goes by minutes"
        raise Refused(f"{programme.words} has no labour code {chosen.labour!r}; it has: {there}")
    record.append(job_id, [chosen], at)


def cover_of(record: Record, job: Job, today: date) -> Cover | None:
    """What the programme says of this job; None without a programme."""
    programme = programme_of(record, job)
    if programme is None:
        return None
    price = at_stake(record, programme, job)
    cover = judge_cover(programme, facts_of(programme, job, price), today)
    return with_notices(record, job, cover)


def at_stake(record: Record, programme: Programme, job: Job) -> Decimal | None:
    """What the claim comes to by now, against which approval is judged; None before a part is
    decided, and where it cannot be worked out."""
    try:
        return worth_of(record, programme, job).at_stake.amount if job.decision else None
    except (Refused, StoreProblem):
        return None


def facts_of(programme: Programme, job: Job, price: Decimal | None = None) -> Facts:
    """What the job knows of its cover."""
    noted, opened, agreed = job.paperwork.cover, job.opened, job.paperwork.programme_agreed
    return Facts(
        model=opened.model if opened else "",
        serial=opened.serial if opened else "",
        use=cast(Use, noted.use) if noted.use else None,
        purchased=read_day(noted.purchased, "purchased"),
        delivered=read_day(noted.delivered, "delivered"),
        made=read_day(noted.made, "made"),
        failed=read_day(noted.failed, "failed"),
        proof=noted.proof,
        answers={id_: answer == "yes" for id_, answer in noted.answers.items()},
        part=job.decision.part if job.decision else "",
        price=price,
        approved_up_to=Decimal(agreed.up_to) if agreed else None,
        approved_by=", ".join(x for x in (agreed.by, agreed.number) if x) if agreed else "",
        claimed=next((date.fromisoformat(m.day) for m in job.paperwork.moves
                      if isinstance(m, pw.ClaimSent)), None),
        causes=_causes(job),
    )  # fmt: skip


def _causes(job: Job) -> tuple[tuple[str, str], ...]:
    """(id, words) of the causes that were found, the chosen code among them."""
    found = [(c.cause, c.words) for c in job.causes if c.answer == "yes"]
    code = job.paperwork.codes.cause
    return (*found, (code, CAUSE[code])) if code in CAUSE else tuple(found)


def claim_page(record: Record, job_id: str, today: date) -> ClaimPage:
    """The claim as it stands today. Raises Refused without a programme."""
    job = load_job(record, job_id)
    programme = programme_of(record, job)
    if programme is None:
        raise Refused(f"{NO_PROGRAMME}; choose one (paper under), or write an estimate")
    worth = worth_of(record, programme, job) if job.decision else None
    price = worth.at_stake if worth else None
    cover = judge_cover(programme, facts_of(programme, job, price.amount if price else None), today)
    cover = with_notices(record, job, cover)
    at_risk = price or nothing(programme.currency)
    try:
        how = claim_check.course(moves_of(job), cover.claim_by, today, programme.currency)
    except MoneyProblem as problem:  # an old record: a claim in another currency
        raise Refused(f"{problem}, or take the claim back (undo)") from problem
    kept = (replaced_on(job) or today) if job.decision else None
    no_number = job.decision is not None and labour_only(record, job, job.decision.part)
    shown = having(job, programme) | ({"part_number"} if no_number else frozenset())
    granted = how.granted is not None and not how.granted < how.asked  # nothing is at risk any more
    asks_first = cover.answer == "needs approval"
    before_work = (Lack("approval", *APPROVAL, at_risk),) if asks_first else ()
    return ClaimPage(
        programme, cover, worth,
        () if granted else (*before_work, *with_number(record, job, claim_check.lacks(
            programme, shown, at_risk, worth
        ))),
        how,
        claim_check.keep_until(programme, kept) if kept else None,
    )  # fmt: skip


def having(job: Job, programme: Programme | None = None) -> frozenset[str]:
    """What the record of a job shows already, of what a claim can be asked for."""
    opened, paper, decision = job.opened, job.paperwork, job.decision
    proofs = {proof: proof in paper.cover.proof for proof in (programme.proof if programme else ())}
    about = {picture.about.split(":")[0] for picture in job.pictures}
    there: Mapping[str, bool] = {
        "model": bool(opened and opened.model),
        "serial": bool(opened and opened.serial),
        "plate_picture": "plate" in about,
        "damage_picture": "damage" in about,
        "meter_picture": bool(about & {"meter", "reading"}),
        claim_check.PROOF: all(proofs.values()) if proofs else bool(paper.cover.proof),
        "in_service": bool(paper.cover.purchased or paper.cover.delivered),
        "failed_on": bool(paper.cover.failed),
        "hours": bool(paper.cover.hours),
        "reading": any(r.grade == "measured" for r in job.live_readings),
        "proof": bool(decision and decision.proven),
        "cause": any(c.answer != "can't tell" for c in job.causes),
        "part_number": bool(decision and decision.number),
        "codes": bool(paper.codes.mode and paper.codes.cause and paper.codes.action),
        "part_kept": bool(decision and decision.part in job.apart.tagged)
        or any(n.text.lower().startswith(("kept:", "tagged:")) for n in job.notes),
        **{claim_check.proof_id(proof): here for proof, here in proofs.items()},
    }
    return frozenset(id_ for id_, is_there in there.items() if is_there)


def moves_of(job: Job) -> list[claim_check.Move]:
    """The claim's moves, in the order they happened."""
    out: list[claim_check.Move] = []
    for move in job.paperwork.moves:
        day = date.fromisoformat(move.day)
        if isinstance(move, pw.ClaimSent):
            out.append(claim_check.Sent(day, money_of(move.asked, move.currency), move.number))
        elif isinstance(move, pw.ClaimAnswered):
            granted = money_of(move.granted, move.currency)
            out.append(claim_check.Replied(day, move.reply, granted, move.reason))
        else:
            out.append(claim_check.Paid(day, money_of(move.amount, move.currency)))
    return out


def send_claim(
    record: Record, job_id: str, at: At, number: str = "", entry: str = "", on: str = ""
) -> ClaimPage:
    """Note that the claim went out, `on` a day or today, for what it is worth. Late or thin, it
    warns only. `entry`: a name of its own, so that the same entry sent twice counts once.
    """
    page = claim_page(record, job_id, at.now.date())
    if entered(record, job_id, entry):
        return page
    if page.worth is None:
        raise Refused("no part is decided on yet; a claim names one")
    if page.worth.unrated:
        raise Refused(
            "the sum of the claim is not known yet, its labour has no money (not set: the shop's "
            f"rate): {page.worth.other_rate or SET_RATE}, then enter the sending again"
        )
    if page.worth.unpriced:
        parts = " and ".join(page.worth.unpriced)
        raise Refused(
            f"the sum of the claim is not known yet, the price of the {parts} is not given: "
            f"{UNREAD if page.worth.unread else WAY}, then enter the sending again"
        )
    job = load_job(record, job_id)
    moves = job.paperwork.moves
    before = [move.day for move in moves if isinstance(move, pw.ClaimSent)]
    if before and page.course.granted is None:
        raise Refused(
            f"this claim went out on {before[-1]} and has no answer yet: note the answer "
            "first; was it entered by mistake, or did it get lost on the way, take that sending "
            "back (undo) and enter this one"
        )
    total = page.worth.total
    asked = str(total.amount)
    sent = pw.ClaimSent(entry or new_entry(), day_text(at, on, job), asked, total.currency, number)
    record.append(job_id, [sent], at)
    return claim_page(record, job_id, at.now.date())


def answer_claim(
    record: Record, job_id: str, reply: pw.ClaimReply, granted: str, reason: str, at: At,
    entry: str = "", on: str = "",
) -> ClaimPage:  # fmt: skip
    """What the programme answered. A denial and a short payment need their reason."""
    page = claim_page(record, job_id, at.now.date())
    if entered(record, job_id, entry):
        return page
    job = load_job(record, job_id)
    if not any(isinstance(move, pw.ClaimSent) for move in job.paperwork.moves):
        raise Refused("no claim was sent yet")
    currency = page.programme.currency
    asked = page.course.asked
    given = asked if reply == "accepted" and not granted else nothing(currency)
    if reply != "denied" and granted:
        given = read_money(granted, currency)
    if reply != "accepted" and not reason.strip():
        raise Refused(f"{reply} needs the reason as the programme gave it (--reason)")
    if asked < given:
        raise Refused(f"{given} granted, but {asked} was asked for; mend the amount")
    stands = page.course.before if page.course.before.amount else page.course.received
    if given < stands and not (reply == "denied" and page.course.before.amount):
        raise Refused(
            f"{given} granted, but {stands} was granted or came in before: give all that is "
            "granted by now; was an earlier entry a mistake, take it back first (undo)"
        )
    if reply == "short-paid" and not (given.amount > 0 and given < asked):
        raise Refused(f"short-paid is more than nothing and less than {asked}")
    answered = pw.ClaimAnswered(
        entry or new_entry(), claim_day(at, on, job, True), reply, str(given.amount), currency,
        reason.strip(),
    )  # fmt: skip
    told = [m for m in job.paperwork.moves if not isinstance(m, pw.ClaimPaid)][-1]
    if isinstance(told, pw.ClaimAnswered) and replace(
        told, entry=answered.entry, day=answered.day, granted=answered.granted
    ) == answered and Decimal(told.granted) == given.amount:
        raise Refused("this answer of the programme is noted already")
    record.append(job_id, [answered], at)
    return claim_page(record, job_id, at.now.date())


def claim_paid(
    record: Record, job_id: str, amount: str, at: At, entry: str = "", on: str = ""
) -> ClaimPage:
    """Money of the programme came in. More than is owed is refused."""
    page = claim_page(record, job_id, at.now.date())
    if entered(record, job_id, entry):
        return page
    money = read_money(amount, page.programme.currency)
    if money.amount <= 0:
        raise Refused(f"{money} came in? Give an amount above 0; a mistake is withdrawn")
    if page.course.owed < money:
        raise Refused(f"{money} came in, but only {page.course.owed} is owed on this claim")
    day = claim_day(at, on, load_job(record, job_id))
    paid = pw.ClaimPaid(entry or new_entry(), day, str(money.amount), money.currency)
    record.append(job_id, [paid], at)
    return claim_page(record, job_id, at.now.date())


def withdraw_entry(record: Record, job_id: str, entry: str, reason: str, at: At) -> None:
    """Take back a claim's move or a payment; it stays in the record as withdrawn."""
    job = load_job(record, job_id)
    paper = job.paperwork
    entries = {one.entry for one in (*paper.moves, *paper.taken)}
    entries |= {one.entry for one, _ in paper.let_go}
    if entry not in entries:
        raise Refused(f"there is no entry {entry!r} to take back on job {job.name}")
    if later := _stands_on(paper.moves, entry):
        raise Refused(f"{later} stands on this one: take that back first")
    event: Event = pw.PaperWithdrawn(entry, reason)
    record.append(job_id, [event], at)


def _stands_on(moves: Sequence[pw.Move], entry: str) -> str:
    """The last later move of a claim that means nothing without this one; "" for none. Money that
    came in carries nothing; on an answer stands what was sent again after it."""
    at = next((n for n, move in enumerate(moves) if move.entry == entry), None)
    if at is None or isinstance(moves[at], pw.ClaimPaid):
        return ""
    later = moves[at + 1 :]
    if isinstance(moves[at], pw.ClaimAnswered) and not any(
        isinstance(move, pw.ClaimSent) for move in later
    ):
        return ""
    named = {pw.ClaimSent: "a later sending", pw.ClaimAnswered: "the programme's answer",
             pw.ClaimPaid: "the programme's money"}  # fmt: skip
    return f"{named[type(later[-1])]} of {later[-1].day}" if later else ""


def entered(record: Record, job_id: str, entry: str) -> bool:
    """Whether this entry has been made already, withdrawn or not."""
    if not entry:
        return False
    made = (pw.ClaimSent, pw.ClaimAnswered, pw.ClaimPaid, pw.MoneyTaken)
    events = (e.event for e in record.log.events(job_id))
    return any(isinstance(event, made) and event.entry == entry for event in events)


def new_entry() -> str:
    """A name for an entry that has none of its own."""
    return uuid4().hex


def money_of(amount: str, currency: str) -> Money:
    """The money that an event carries as text."""
    return Money(Decimal(amount), currency)


def read_money(text: str, currency: str) -> Money:
    """What a person typed. Raises Refused."""
    try:
        return read_amount(text, currency)
    except MoneyProblem as problem:
        raise Refused(str(problem)) from problem
