"""Cover asked at the counter, before anything is torn down or ordered.

The programme follows from maker and day of purchase. It warns and never blocks the bench.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Final, Literal

from knowngood.job.events import Event
from knowngood.job.job import Job
from knowngood.job.paperwork import CoverNoted
from knowngood.places.days import day_of
from knowngood.places.gather import load_job
from knowngood.places.known import Visit
from knowngood.places.paperwork import at_stake, check_noted, facts_of, programme_of
from knowngood.places.programmes import chosen_from, fitting, notices_for
from knowngood.places.record import At, Record, Refused
from knowngood.shop.cover import ASK_LOCALLY, Answer, Cover, judge_cover
from knowngood.shop.programme import REST, USES, Notice, Programme

QuestionKind = Literal["day", "choice", "yes_no", "in_hand"]
TONE: Final[dict[Answer, str]] = {
    "covered": "good", "not covered": "loud", "needs approval": "mind", "can't say": "mind",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Question:
    """One thing cover depends on. `field`: which of `CoverNoted`, or "answer:ID"; `options` to
    choose from; `answer` "" while not known; `evidence`: what to take as evidence."""

    kind: QuestionKind
    field: str
    ask: str
    options: tuple[str, ...] = ()
    answer: str = ""
    evidence: str = ""


@dataclass(frozen=True, slots=True)
class CoverCard:
    """What the counter shows of cover. `programme` "" where none is chosen: then `questions` ask
    for what would choose one, or are empty where the shop has no programme of this maker.

    `other_groups`: where a group of parts stands otherwise than the rest.
    """

    programme: str
    answer: Answer | None
    sentence: str
    tone: str
    missing: tuple[str, ...]
    other_groups: tuple[str, ...]
    questions: tuple[Question, ...]
    notices: tuple[Notice, ...]
    law: str


def at_check_in(
    record: Record, maker: str, purchased: str, before: Sequence[Visit], today: date
) -> list[Event]:
    """Events that put a new job under its maker's programme. `before`: earlier visits of the same
    machine, from which the day of purchase and the use are taken over when none is given. Raises
    Refused for a day to come."""
    bought = _bought(purchased.strip(), today)
    earlier = CoverNoted()
    for visit in before:
        was = load_job(record, visit.job).paperwork.cover
        if was.purchased:
            earlier = CoverNoted(was.use, was.purchased, was.delivered, was.made, proof=was.proof)
            break
    noted = replace(earlier, purchased=bought.isoformat()) if bought else earlier
    if not noted.purchased:
        return []
    events: list[Event] = [noted]
    fits = fitting(record, maker, date.fromisoformat(noted.purchased))
    if len(fits) == 1:
        events.insert(0, chosen_from(record, fits[0]))
    return events


def _bought(text: str, today: date) -> date | None:
    """The day; None where it is none, and then it is asked beside the tag."""
    bought = day_of(text[:10]) if text else None
    if bought is not None and bought > today:
        raise Refused(
            f"bought on {bought} is still to come, today is {today}; mend the day, or leave it "
            "empty"
        )
    return bought


def note_asked(
    record: Record, job_id: str, noted: CoverNoted, at: At, programme_id: str = ""
) -> None:
    """An answer at the counter; with it the programme, where maker and day of purchase name one
    (or `programme_id` says which of several). Raises Refused for what cannot be."""
    job = load_job(record, job_id)
    programme, events = programme_of(record, job), list[Event]()
    maker = job.opened.maker if job.opened else ""
    if programme is None:
        bought = day_of(noted.purchased or job.paperwork.cover.purchased)
        fits = fitting(record, maker, bought)
        chosen = [p for p in fits if p.id == programme_id or len(fits) == 1]
        if programme_id and not chosen:
            raise Refused(f"there is no programme {programme_id!r} for {maker or 'this machine'}")
        if chosen and (bought or programme_id):
            programme = chosen[0]
            events.append(chosen_from(record, programme))
    check_noted(programme, noted, at.now.date())
    if noted != CoverNoted():
        events.append(noted)
    record.append(job_id, events, at)


def cover_card(record: Record, job: Job, today: date) -> CoverCard:
    """What the counter shows of a job's cover today."""
    opened = job.opened
    named = (opened.maker, opened.model, opened.serial) if opened else ("", "", "")
    notices = notices_for(record, *named)
    programme = programme_of(record, job)
    if programme is None:
        fits = fitting(record, named[0], day_of(job.paperwork.cover.purchased))
        asked = _which(job, fits)
        waits = f"{named[0]} has a warranty programme: when was it bought?" if asked else ""
        return CoverCard("", None, waits, "mind", (), (), asked, notices, ASK_LOCALLY)
    price = at_stake(record, programme, job)
    cover = judge_cover(programme, facts_of(programme, job, price), today)
    groups = _other_groups(programme, job, cover, today) if job.decision is None else ()
    questions = _questions(programme, job)
    said_below = {q.ask for q in questions} | {f"proof: {q.ask}" for q in questions}
    missing = tuple(m for m in cover.missing if m not in said_below)
    known = {n.id for n in notices}
    return CoverCard(
        programme.words, cover.answer, _sentence(cover, questions), TONE[cover.answer], missing,
        groups, questions, (*notices, *(n for n in cover.notices if n.id not in known)),
        ASK_LOCALLY,
    )  # fmt: skip


def _sentence(cover: Cover, questions: Sequence[Question]) -> str:
    """The answer; where it can't be said, how much is missing, since the questions stand beside."""
    if cover.answer != "can't say":
        return cover.sentence
    left = sum(not q.answer for q in questions)
    said = f"Can't say yet: {left} answer{'' if left == 1 else 's'} missing"
    return f"{said}; by its days it would run until {cover.ends}" if cover.ends else said


def _which(job: Job, fits: Sequence[Programme]) -> tuple[Question, ...]:
    if not fits:
        return ()
    bought = Question("day", "purchased", "Bought on", answer=job.paperwork.cover.purchased)
    if len(fits) == 1 or not bought.answer:
        return (bought,)
    return (Question("choice", "programme", "Which programme?", tuple(p.id for p in fits)),)


def _questions(programme: Programme, job: Job) -> tuple[Question, ...]:
    """What the programme asks, what is not answered yet first."""
    noted = job.paperwork.cover
    starts = {line.counted_from for line in programme.cover if line.months and line.group == REST}
    others = {line.counted_from for line in programme.cover if line.months} - starts
    days = {"purchase": ("purchased", "Bought on"), "delivery": ("delivered", "Handed over on"),
            "manufacture": ("made", "Made on")}  # fmt: skip
    found = [Question("choice", "use", "Used for", USES, noted.use)]
    for start, (name, words) in days.items():
        if start in starts:
            found.append(Question("day", name, words, answer=getattr(noted, name)))
    found.append(Question("day", "failed", "Failed on", answer=noted.failed))
    found += [
        Question("in_hand", "proof", one, answer="yes" if one in noted.proof else "")
        for one in programme.proof
    ]
    found += [
        Question("yes_no", f"answer:{e.id}", e.ask, ("no", "yes"),
                 str(noted.answers.get(e.id, "")), e.evidence)
        for e in programme.exclusions
    ]  # fmt: skip
    for start, (name, words) in days.items():
        if start in others:
            groups = {c.group for c in programme.cover if c.counted_from == start and c.months}
            ask = f"{words} (for {', '.join(sorted(groups))})"
            found.append(Question("day", name, ask, answer=getattr(noted, name)))
    return tuple(sorted(found, key=lambda q: bool(q.answer)))


def _other_groups(
    programme: Programme, job: Job, rest: Cover, today: date
) -> tuple[str, ...]:
    """Groups of parts whose answer or last day is another than that for everything else."""
    found = []
    for group, parts in programme.groups.items():
        if not parts or group == REST:
            continue
        facts = replace(facts_of(programme, job), part=parts[0])
        cover = judge_cover(programme, facts, today)
        if (cover.answer, cover.ends) != (rest.answer, rest.ends):
            until = f" until {cover.ends}" if cover.ends and cover.answer == "covered" else ""
            first = cover.reasons[0].removeprefix(f"{group}: ") if cover.reasons else ""
            why = f": {first}" if cover.answer == "not covered" else ""
            found.append(f"{group}: {cover.answer}{until}{why}")
    return tuple(found)
