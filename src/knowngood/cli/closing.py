"""The end of a job at the terminal: the part ordered, here and fitted, the job closed."""

from __future__ import annotations

from knowngood.cli import show
from knowngood.cli.rebuilding import list_off, not_off_lines
from knowngood.cli.session import Session
from knowngood.job.things import ANYWAY, LEFT
from knowngood.places import bench, decision, shelf
from knowngood.places.account import account_of
from knowngood.places.ends import OFFERED, end_of, unrepaired
from knowngood.places.gather import look
from knowngood.places.pickup import fetched, pickup_lines
from knowngood.places.record import Refused
from knowngood.shop.release import release_of_job

OLD_NUMBER = "old number"


def fitted(session: Session, rest: str = "") -> None:
    """The part is in the machine."""
    view = decision.fit(session.record, session.job_id, session.at(), rest)
    session.tell([f"kept: {view.job.notes[-1].text}"])
    session.tell(not_off_lines(view))
    session.tell(list_off(view))
    session.moved(view)
    session._show()


def ordered(session: Session, rest: str = "") -> None:
    """The part decided on is on order: `ordered 2026-03-06 from Brackwater`, both may lack. A
    number that became another is ordered as that, unless `old number` ends the line."""
    text = rest.strip()
    old = text.casefold().endswith(OLD_NUMBER)
    day, _, supplier = f" {text[:-len(OLD_NUMBER)] if old else text}".partition(" from ")
    told = shelf.order_part(
        session.record, session.job_id, "", session.at(), supplier=supplier.strip(" ,"),
        expected=day.strip(" ,"), old_number=old,
    )  # fmt: skip
    if told:
        session.tell([f"{told}; is the old number meant: ordered ... old number"])
    _kept_on_shelf(session)


def arrived(session: Session, rest: str = "") -> None:
    """The part on order is here: `arrived in bin 3`, the place may lack."""
    words, _, where = f" {rest}".partition(" in ")
    shelf.arrive(session.record, session.job_id, words.strip(), session.at(), where.strip())
    _kept_on_shelf(session)


def _kept_on_shelf(session: Session) -> None:
    session.moved(look(session.record, session.job_id))
    session._show()


def detail(name: str, session: Session, rest: str) -> None:
    """The serial, model, maker or customer of the job that is open."""
    bench.note_details(session.record, session.job_id, session.at(), **{name: rest})
    session.tell([f"kept: {name} {rest}"])
    session.moved(look(session.record, session.job_id))
    session._show()


def done(session: Session, rest: str = "") -> None:
    """Close the job. What goes out mended goes with nothing blank, or with a reason on paper."""
    if not rest:
        raise Refused(f"how does it end? {', '.join(f'done {end}' for end in OFFERED)}")
    first, _, reason = rest.partition(" ")
    anyway, reason = first.casefold().rstrip(":,") == "anyway", reason.strip()
    outcome, words = rest if anyway else end_of(rest), ""
    view = look(session.record, session.job_id)
    holding = release_of_job(view.machine, view.job).holding
    failed = [c.words for c in holding if c.result == "fail"]
    stays = unrepaired(rest)
    left = () if stays and not anyway else decision.left_to_close(view)
    if view.job.closed is None and failed and not stays:
        raise Refused(
            f"it may not leave: failed {'; '.join(failed)}. Mend it; release asks it again. "
            "Or done returned unrepaired, done scrapped"
        )
    if anyway and not reason:
        raise Refused("why? done anyway REASON; the reason is printed on the papers")
    if anyway:
        outcome = "closed with blanks" if left else "closed"
        words = f"{ANYWAY}{reason}" + (f"{LEFT}{'. '.join(left)}" if left else "")
    elif left and view.job.closed is None:
        raise Refused(
            f"{'. '.join(left)}. release asks the checks, back puts the next one back, fitted "
            "says the part is in; `done anyway REASON` closes it and prints the reason on the "
            "papers"
        )
    view = decision.close_job(session.record, session.job_id, outcome, session.at(), words)
    session.tell([f"kept: {view.job.state}"])
    session.moved(view)
    session.say("  It is fetched: pickup NAME hands it back. On paper:")
    papers = [f"job pickup {view.job.name} --out receipt.pdf"]
    if account_of(session.record, view.job) is not None:
        papers.append(f"paper estimate --job {view.job.name} --out invoice.pdf")
    session.tell(f"    knowngood {command}{session.store}" for command in papers)
    session._show()


def pickup(session: Session, rest: str = "") -> None:
    """The customer fetches it: `pickup NAME`; bare, how it stands."""
    if rest:
        fetched(session.record, session.job_id, rest, (), session.at())
    session.moved(look(session.record, session.job_id))
    for line in pickup_lines(session.record, session.opened.job):
        session.tell(show.wrapped(line, "kept: " if rest else "  "))
    if not rest and session.opened.job.counter.handed is None:
        session.say("  pickup NAME: who took it")
