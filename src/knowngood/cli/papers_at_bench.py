"""The papers of the open job, from the bench's own lines: cover, codes, claim."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Final

from knowngood.cli import show
from knowngood.cli.session import Session
from knowngood.job.paperwork import CodesChosen, CoverNoted
from knowngood.places import decision
from knowngood.places.checks_blank import checks_blank
from knowngood.places.claim_paper import given_of, prices_of_parts
from knowngood.places.claim_words import set_aside
from knowngood.places.cover_asked import CoverCard, cover_card, note_asked
from knowngood.places.gather import load_job
from knowngood.places.paperwork import choose_codes, claim_page
from knowngood.places.part_meant import parts_decided
from knowngood.places.record import Refused
from knowngood.places.shop_rate import rate_of
from knowngood.shop.claim_check import UNREAD, WAY
from knowngood.store.problem import not_written

NOTES: Final[dict[str, Callable[[str], CoverNoted]]] = {
    "bought": lambda day: CoverNoted(purchased=day),
    "purchased": lambda day: CoverNoted(purchased=day),
    "delivered": lambda day: CoverNoted(delivered=day),
    "made": lambda day: CoverNoted(made=day),
    "failed": lambda day: CoverNoted(failed=day),
    "use": lambda use: CoverNoted(use=use.casefold()),
    "hours": lambda hours: CoverNoted(hours=hours),
    "proof": lambda proof: CoverNoted(proof=(proof,)),
    "no": lambda question: CoverNoted(answers={question: "no"}),
    "yes": lambda question: CoverNoted(answers={question: "yes"}),
}
USAGE: Final = (
    "cover alone says how it stands; cover bought 2024-04-19, cover failed 2026-02-28, cover use "
    "household, cover proof RECEIPT, cover hours 41, cover no QUESTION, cover yes QUESTION note it"
)


def cover(session: Session, rest: str = "") -> None:
    """How cover stands; with more, one thing that it depends on."""
    if rest:
        note_asked(session.record, session.job_id, _noted(rest), session.at())
    job = load_job(session.record, session.job_id)
    session.tell(_lines(cover_card(session.record, job, session.now().date())))
    if job.paperwork.programme is not None and job.decision is not None:
        page = claim_page(session.record, session.job_id, session.now().date())
        if page.worth is not None:
            labour, diagnosis, parts, total = page.worth.words
            session.say(
                f"  a claim should bring {total}: labour {labour}, diagnosis "
                f"{diagnosis}, parts {parts}"
            )
        for lack in page.lacks:
            said = f"{lack.words} ({lack.fix}); at risk {lack.at_risk}"
            session.tell(show.wrapped(said, "  missing: "))


def _noted(rest: str) -> CoverNoted:
    word, _, more = rest.partition(" ")
    word, more = word.casefold(), more.strip()
    if not more or word not in NOTES:
        raise Refused(USAGE)
    return NOTES[word](more)


def _lines(card: CoverCard) -> list[str]:
    found: list[str] = []
    for n in card.notices:
        said = f"{n.words}: do not run it" if n.stop_use else n.words
        found += show.wrapped(said, f"  NOTICE {n.id}: ")
    named = f"{card.programme}: " if card.programme else ""
    said = card.sentence or "no programme of this maker is kept: knowngood paper keep FILE"
    found += show.wrapped(f"{named}{said}", hang="  ")
    found += [f"  {one}" for one in card.other_groups]
    for one in card.missing if card.answer != "can't say" else ():
        found += show.wrapped(one, "  not known yet: ")
    open_now = [q for q in card.questions if not q.answer]
    called = {"purchased": "bought"}  # as it is typed here
    names = [q.field.removeprefix("answer:") for q in open_now]
    found += [f"  ? {called.get(name, name)}: {q.ask}"
              for name, q in zip(names, open_now, strict=True)]  # fmt: skip
    return found


def codes(session: Session, rest: str) -> None:
    """Mode, cause, action and the programme's labour code, in this order: codes M05 C04 A01."""
    named = rest.split()
    if not 1 <= len(named) <= 4:
        raise Refused("codes MODE CAUSE ACTION [LABOUR], such as codes M05 C04 A01")
    chosen = CodesChosen(*named)
    choose_codes(session.record, session.job_id, chosen, session.at())
    session.say(f"kept: {', '.join(named)}")


def claim(session: Session, rest: str) -> None:
    """Write the claim as PDF."""
    from knowngood.documents.pdf import write_claim
    from knowngood.places.premises import letterhead

    job, files = session.opened.job, session.record.files
    out = session.folder / (rest or f"claim-{job.name}.pdf")
    pictures = {p.digest: files.for_paper(p.digest) for p in job.pictures if files.has(p.digest)}
    shop = session.shop or letterhead(session.record)
    given = session.given or given_of(session.record, job, session.now().date())
    if not given.prices:
        currency = rate_of(session.record, job).currency
        given = replace(given, prices=prices_of_parts(session.record, job), currency=currency)
    try:
        written = write_claim(
            job, session.opened.machine, shop, pictures, out, session.now(), given=given
        )
    except OSError as error:
        raise Refused(not_written(out, error)) from error
    session.say(f"written: {written if out.parent.name else out.resolve()}")
    if aside := set_aside(job):
        way = f"Taken again by: knowngood paper words --job {job.name} --again"
        session.tell(show.wrapped(f"{aside} {way}", "  ! "))
    if missing := _missing(session):
        session.tell(show.wrapped(f"{'; '.join(missing)}.", "  still missing: "))
    else:
        session.say("  nothing is missing that the bench knows of")


def _missing(session: Session) -> list[str]:
    """What a reader of the claim will ask for and the job does not have yet."""
    view, job = session.opened, session.opened.job
    found = []
    if job.decision is None:
        found.append("the part decided on (order)")
    elif not job.decision.proven:
        found.append(f"the proof: {view.assessment.proof.missing or 'it was decided without'}")
    if job.decision is not None and decision.open_causes(view):
        found.append("why it failed (the causes still to be asked)")
    if blank := checks_blank(session.record, job):
        found.append(blank)
    if job.opened is None or not job.opened.serial:
        found.append("the serial number (serial NUMBER)")
    if job.opened is None or not job.opened.customer:
        found.append("the customer (customer NAME)")
    if not job.pictures:
        found.append("pictures of plate, meter and failed part (picture FILE)")
    priced = prices_of_parts(session.record, job) if job.paperwork.programme is None else {}
    for part, words, number in parts_decided(job) if job.paperwork.programme is None else ():
        if part not in priced:
            found.append(f"the price of {words} ({WAY if number else UNREAD})")
    if job.paperwork.programme is not None and job.decision is not None:
        try:
            page = claim_page(session.record, job.id, session.now().date())
        except Refused as problem:
            return [*found, str(problem)]
        found += [lack.words for lack in page.lacks]
    return found
