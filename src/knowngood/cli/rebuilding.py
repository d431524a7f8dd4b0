"""Putting together again at the terminal, and the checks before the machine is handed back."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from difflib import get_close_matches

from knowngood.cli import show
from knowngood.cli.release_checks import goes_back, in_the_way, release_left
from knowngood.cli.session import Session
from knowngood.job.apart import Tick
from knowngood.job.events import NoteAdded
from knowngood.places import apart, decision
from knowngood.places.complaints import good_answer
from knowngood.places.gather import View, look
from knowngood.places.rebuild import LineView, not_off, rebuild_of
from knowngood.places.record import Refused
from knowngood.shop.off import Off, fasteners_words
from knowngood.shop.proofs import proofs_of
from knowngood.shop.rebuild import PINCH, Line
from knowngood.shop.release import PROOFS, release_of_job, wrong_proofs

NEXT = "back puts the next one back, back NAME another"
PROVE = "prove lists what is proven before a cover closes"


def list_off(view: View) -> Iterator[str]:
    """What goes back, first things first, with what to mind; nothing when all is back."""
    order = goes_back(view)
    if order:
        yield ""
        yield "Goes back, in this order:"
    for number, one in enumerate(order, start=1):
        screws = f"; {words}" if (words := fasteners_words(one.fasteners)) else ""
        where = f"; lies in {one.where}" if one.where else ""
        yield from show.wrapped(
            f"{one.goes_back} (back {one.id}){screws}{where}", f"  {number}. ", "     "
        )
        if one.is_cover:
            yield from show.wrapped(PINCH, "     before it: ", "       ")
        for mind in (*one.traps, *one.notes, one.caution):
            if mind:
                yield from show.wrapped(mind, "     ! ", "       ")
    if order:
        yield from show.wrapped(f"{NEXT}; {PROVE}; then release asks the checks.")


def not_off_lines(view: View) -> Iterator[str]:
    """What nobody noted as off although the part that is noted as fitted needs it; a question, as
    the job goes on either way."""
    left = () if decision.not_fitted(view.job) else not_off(view.machine, view.job)
    if left:
        named = "; ".join(f"{t.words} (open {t.id})" for t in left)
        yield from show.wrapped(
            f"To fit it, this comes off, and nobody noted it: {named}. Was it off? Note it, then"
            " back says when it is on again, so that its screws and wires are asked", "  ? ",
        )


def off_named(view: View, words: str) -> Off:
    """Which of the things that are off is meant: by its id or its words, or the start of them.
    Raises Refused with what is off."""
    order = goes_back(view)
    if not order:
        raise Refused("nothing is off that goes back")
    wanted = words.strip().casefold().rstrip(" .")
    names = {name.casefold(): one for one in order
             for name in (one.goes_back, one.words, one.id)}  # fmt: skip
    if wanted in names:
        return names[wanted]
    found = {one.id: one for name, one in names.items() if wanted in name}
    if len(found) == 1:
        return next(iter(found.values()))
    close = get_close_matches(wanted, list(names), 1, 0.6)
    hint = f"Did you mean back {names[close[0]].id}? " if close and not found else ""
    off = "; ".join(f"{one.id} ({one.words})" for one in order)
    raise Refused(f"{'several are' if found else 'nothing that is off is'} called "
                  f"{words.strip()!r}. {hint}Off now: {off}")  # fmt: skip


def back(session: Session, rest: str = "") -> None:
    """One step goes back: the one named, else the one that is next."""
    named, _, why = f" {rest}".partition(" anyway")
    named = named.strip()
    view = look(session.record, session.job_id)
    order = goes_back(view)
    if not named and not order:
        raise Refused("nothing is off that goes back; open STEP says what came off")
    one = off_named(view, named) if named else order[0]
    try:
        view = apart.put_step_back(
            session.record, session.job_id, one.id, session.at(), anyway=why.strip(" :,"),
            proofs_first=True,
        )
    except Refused as error:
        if str(error).endswith(apart.SAME):
            raise Refused(f"{error}: back {one.id} anyway REASON") from error
        if apart.FIRST not in str(error):
            raise
        raise Refused(
            f"{error}, or close it all the same: back {one.id} anyway REASON"
        ) from error
    session.tell(show.wrapped(one.goes_back, "kept: put back: "))
    left = goes_back(view)
    if left:
        session.tell(show.wrapped(f"{left[0].goes_back} (back {left[0].id})", "  next: "))
    elif view.job.decision is not None:
        session.say("  all is back: release asks the checks")
    session.moved(view)
    session._show()


def release(session: Session, rest: str = "") -> None:
    """The checks, once all is back or with a reason; those that failed are made again."""
    word, _, reason = rest.partition(" ")
    if word.casefold().rstrip(":,") not in ("", "again", "anyway"):
        raise Refused("release asks the checks; release anyway REASON while something is off")
    view = look(session.record, session.job_id)
    if part := decision.not_fitted(view.job):
        session.tell(show.wrapped(
            f"Not noted as fitted yet: {part}. fitted notes it; a check made before the part is in"
            " is made again after it.", "! "
        ))  # fmt: skip
    session.tell(not_off_lines(view))
    waits = in_the_way(view)
    if waits:
        named = "; ".join(f"{one.words} (back {one.id})" for one in waits)
        if word.casefold().rstrip(":,") != "anyway" or not reason.strip():
            raise Refused(f"not put back yet: {named}. {NEXT}; "
                          "release anyway REASON begins the checks all the same")  # fmt: skip
        note = NoteAdded(f"Checks begun with parts off: {named}. {reason.strip()}")
        session.record.append(session.job_id, [note], session.at())
    if wrong := wrong_proofs(view.job):
        named = "; ".join(f"{one.words}: {one.reason}" for one in wrong)
        session.tell(show.wrapped(
            f"Not good while it was put together: {named}. It holds the machine, and nothing is "
            "run, until it is proven again: prove lists them.", "! "
        ))  # fmt: skip
    if left_out := [p for p in proofs_of(view.machine, view.job) if p.left_out]:
        named = "; ".join(f"{p.line.words} (before {p.before} went back)" for p in left_out)
        session.tell(show.wrapped(
            f"Left out while it was put together: {named}. The claim says so. To prove it after "
            f"all: open {left_out[0].step}, then {left_out[0].how}.", "! "
        ))  # fmt: skip
    session.releasing = True
    session.again = {c.check for c in release_of_job(view.machine, view.job).checks
                     if c.result == "fail"}  # fmt: skip
    session.moved(look(session.record, session.job_id))
    if release_left(session.opened, session.again) is None and not wrong:
        count = len(left_out)
        but = f", {count} proof{'' if count == 1 else 's'} left out" if count else ""
        session.say(f"All checks are made; none failed{but}. done repaired closes the job")
    session._show()


def prove(session: Session, rest: str = "") -> None:
    """What is proven while it is put together: the list, or the answer to one of it, judged by its
    own limit: `prove 2 0.4 ohm`, `prove 3 good`, `prove 3 not good: wire pinched`."""
    view = look(session.record, session.job_id)
    lines = [one for one in rebuild_of(view) if one.line.kind in PROOFS]
    if not lines:
        raise Refused("nothing is off, so nothing is to be proven while it goes together")
    number, _, text = rest.partition(" ")
    if not number:
        session.tell(_proofs(lines))
        return
    if not (number.isascii() and number.isdigit() and 1 <= int(number) <= len(lines)):
        raise Refused(f"which one? prove N READING, N from 1 to {len(lines)}; prove lists them")
    line, said = lines[int(number) - 1].line, text.strip()
    if not said:
        raise Refused(f"what was read? prove {number} {line.reads or 'good'}, or prove {number} "
                      "not good: WHY")  # fmt: skip
    told, result = _said(view, line, number, said)
    late = next((p for p in proofs_of(view.machine, view.job) if p.line.id == line.id), None)
    if result == "good" and late is not None and late.is_shut:
        raise Refused(f"{late.before} is back on, so it can't be read any more: open {late.step}, "
                      f"then {late.how}")  # fmt: skip
    view = apart.tick(session.record, session.job_id, line.id, line.words, result, session.at(),
                      told)  # fmt: skip
    session.tell(show.wrapped(f"{line.words}: {told or result}", "kept: "))
    if result != "good":
        session.say("  it holds the machine: mend it, then prove it again")
    session.moved(view)
    left = [one for one in rebuild_of(view) if one.line.kind in PROOFS and not one.done]
    session.say(f"  {len(left)} left to prove: prove lists them" if left else "  all is proven")
    session._show()


_WORDS = re.compile(r"(not (?:good|ok)|bad|failed|fails|fail|wrong|good|ok|done)\b[\s:,.-]*(.*)",
                    re.I)  # fmt: skip


def _said(view: View, line: Line, number: str, text: str) -> tuple[str, Tick]:
    """What was seen or read, and whether that is good. Where no number is judged it is said in so
    many words; Refused else."""
    match = _WORDS.match(text)
    if match:
        good = match[1].casefold() in ("good", "ok", "done")
        return match[2], "good" if good else "not good"
    test = next((t for t in view.machine.tests if line.id == f"prove:{t.id}"), None)
    seen = test is not None and test.quantity == "yes_no"
    if test is not None and seen and (word := re.match(r"(yes|no)\b", text, re.I)):
        return text, "good" if word[1].casefold() == good_answer(test) else "not good"
    if seen or line.kind in ("pinch", "direction"):
        raise Refused(f"good or not good? prove {number} good, or prove {number} not good: WHY")
    return text, "good"


def _proofs(lines: Sequence[LineView]) -> Iterator[str]:
    yield ""
    yield "Proven while it goes together, each before its cover closes:"
    for number, one in enumerate(lines, start=1):
        mark = "done" if one.done else "NOT GOOD" if one.wrong else "to do"
        said = f" ({one.said})" if one.said else ""
        yield from show.wrapped(f"{mark}{said}: {one.line.words}", f"  {number}. ", "     ")
        for hint in (*one.line.hints, one.line.caution):
            if hint and not one.done:
                yield from show.wrapped(hint, "     ! ", "       ")
    such = next((f"prove {n} {one.line.reads}" for n, one in enumerate(lines, start=1)
                 if one.line.reads), "prove 1 good")  # fmt: skip
    yield f"prove N READING answers one, such as {such}; prove N not good: WHY."
