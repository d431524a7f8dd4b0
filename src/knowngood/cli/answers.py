"""Answers that take a list: what was tried, what looked good, why it failed, release checks."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator
from difflib import get_close_matches
from functools import partial
from typing import TYPE_CHECKING

from knowngood.cli import show
from knowngood.cli.question import Ask
from knowngood.cli.release_checks import still_off
from knowngood.job.events import Answer, CheckResult
from knowngood.job.waiting import CAPACITOR
from knowngood.machines.nearest import did_you_mean
from knowngood.measure.reading import Reading
from knowngood.measure.typed import SAME, read_text
from knowngood.places import bench, decision
from knowngood.places.capacitor import read_capacitor, why_not_empty
from knowngood.places.complaints import as_expected, good_answer, looks_left
from knowngood.places.record import Refused
from knowngood.places.taking import read_for
from knowngood.shop.proven import empty_below

if TYPE_CHECKING:
    from knowngood.cli.session import Session
    from knowngood.machines.machine import Machine, TeardownStep, Test
    from knowngood.measure.meter import MeterSheet
    from knowngood.shop.release import Standing

RESULTS: dict[str, CheckResult] = {
    "pass": "pass", "p": "pass", "yes": "pass", "ok": "pass", "y": "pass", "passed": "pass",
    "fail": "fail", "f": "fail",
    "no": "fail", "n/a": "not applicable", "na": "not applicable",
}  # fmt: skip
NO_NOTE = frozenset({
    "and", "or", "yes", "no", "idea", "clue", "way", "answer", "reading", "access",
})  # fmt: skip
ANSWERS: dict[str, Answer] = {"y": "yes", "yes": "yes", "n": "no", "no": "no"}


def told(session: Session, text: str) -> None:
    """What the customer tried, by numbers."""
    machine = session.opened.machine
    low = text.casefold()
    if low in ("skip", "not asked"):
        chosen: list[str] = []
    else:
        chosen = [machine.told[i].id for i, _ in ticks(text, len(machine.told), "nothing")]
    asked = low not in ("skip", "not asked")
    view = decision.tell(session.record, session.job_id, chosen, session.at(), asked)
    words = [t.words for t in view.job.told] or ["nothing" if asked else "not asked"]
    session.tell(show.wrapped("; ".join(words), "kept: "))
    session.moved(view)


def looked(session: Session, text: str) -> None:
    """The list of what can be seen, ticked: those not named are good."""
    tests = looks_left(session.opened)
    if text.casefold() == "skip":
        session.passed.add("look")
        return
    off = dict(ticks(text, len(tests)))
    answers = []
    for i, test in enumerate(tests):
        good = good_answer(test)
        bad = "no" if good == "yes" else "yes"
        answers.append((test.id, off.get(i, good) if off.get(i) != "bad" else bad))
    taken, view = bench.take_readings(session.record, session.job_id, answers, session.at())
    bad_ones = [t for i, t in enumerate(taken) if i in off]
    for one in bad_ones:
        session.tell(show.taken(view, one))
    numbers = f"[{taken[0].number}] to [{taken[-1].number}]"
    session.tell(show.wrapped(f"{len(taken) - len(bad_ones)} looked good", f"{numbers} "))
    session.tell(show.standing(view))
    session.moved(view)


def cause(session: Session, cause_id: str, text: str) -> None:
    """A root cause: yes, no or can't tell, then what was seen."""
    match = re.match(r"(yes|y|no|n|can't tell|cant tell|skip)\b[\s:,.-]*(.*)", text, re.I)
    if not match:
        raise Refused("start with yes, no or can't tell, then what you saw: no, deck is clean")
    word, seen = match[1].casefold(), match[2].strip()
    answer = ANSWERS.get(word, "can't tell")
    against = decision.cause_against(session.opened, cause_id, answer)
    if against and (cause_id, answer) not in session.sure:
        session.sure.add((cause_id, answer))
        raise Refused(f"that does not go with {against}. {word} once more keeps it all the same")
    view = decision.answer_cause(
        session.record, session.job_id, cause_id, answer, session.at(), seen
    )
    asked = next(c for c in view.job.causes if c.cause == cause_id)
    session.tell(show.wrapped(f"{asked.words}: {asked.answer}", "kept: "))
    if asked.answer != "can't tell" and not asked.evidence:
        session.say("  nothing noted of what you saw: the papers say not measured")
    if asked.answer == "yes" and asked.mend:
        session.tell(show.wrapped(asked.mend, "  to do: "))
    session.moved(view)


def release(session: Session, check: Standing, text: str) -> None:
    """Pass, fail or n/a with its reason."""
    word, _, reason = text.partition(" ")
    result = RESULTS.get(word.casefold().rstrip(":,"))
    if result is None:
        hint = f" A reading alone is no result: pass {text} or fail {text}?" if text[:1].isdigit(
        ) else ""
        raise Refused(f"type pass, fail REASON or n/a REASON.{hint}")
    if result == "pass" and (off := still_off(session.opened, check)):
        named = "; ".join(f"{o.words} (back {o.id})" for o in off)
        raise Refused(f"{check.words}: it waits until the machine is together; still off: {named}. "
                      "Or n/a REASON, fail REASON")  # fmt: skip
    view = decision.check_release(
        session.record, session.job_id, check.check, result, session.at(), reason.strip(), True
    )
    session.again.discard(check.check)
    said = ", ".join(filter(None, (result, reason.strip())))
    session.tell(show.wrapped(f"{check.words}: {said}", "kept: "))
    if result == "fail":
        session.releasing = False
        session.say("  Stop: take the source out, nothing more is run.")
        session.say("  it holds the machine: mend it, then release asks it again")
    session.moved(view)


def ask_volts(session: Session, step: TeardownStep, lines: Callable[[], Iterable[str]]) -> Ask:
    """The volts on the capacitor, before a hand or a lead goes further."""
    def with_step() -> Iterator[str]:
        yield from lines()
        yield from show.wrapped(f"{step.words}. Type the volts it reads, or do another step.", "  ")

    return Ask(
        f"volts {step.id}", "volts on the capacitor", partial(volts, session, step), with_step
    )


def volts(session: Session, step: TeardownStep, text: str) -> None:
    """Kept as a note; below the limit the step counts as done. Raises Refused."""
    reading = read_text(text, "volts", session.opened.meter)
    if reading.kind == "none" or reading.high is None or reading.low is None:
        raise Refused(f"what does the meter show on the capacitor? {reading.note or '0.4 V'}")
    words = f"{CAPACITOR}{text}"
    view = read_capacitor(session.record, session.job_id, step.id, text, session.at())
    if why_not_empty(step, text):
        raise Refused(f"kept: {words}. Not empty: it must read below {empty_below(step.words):g} V."
                      f" {step.caution} Then type what it reads")  # fmt: skip
    session.tell(show.wrapped(f"{words}; capacitor shown discharged", "kept: "))
    session.view = view
    waiting, session.waiting = session.waiting, None
    if waiting is not None:
        waiting.go_on()


def reading(session: Session, test: Test, text: str) -> None:
    """What was typed where a test is asked; `open` alone may be the command. Raises Refused."""
    if text.strip(" .!").casefold() == "open" and test.quantity in ("ohms", "continuity", "diode"):
        raise Refused("OL, or open which step? A meter that shows no way through: OL; a step that "
                      "came off: open STEP. Nothing is kept")  # fmt: skip
    session.take(test, text)


def as_read(test: Test, text: str, meter: MeterSheet | None) -> Reading:
    """The reading that the text would be, nothing kept."""
    return read_for(test, as_said(test, text)[0], meter)


def as_said(test: Test, text: str) -> tuple[str, bench.Said | None]:
    """The text to read, and how it was put where that says more: "as expected" is seen, no
    figure; "no, stopped after 40 s" is a no with a remark. Raises Refused."""
    if text.casefold() in ("as expected", "as it should", "good"):
        expected = as_expected(test)
        if expected is None:
            raise Refused("what is expected here is no single range; type what it reads")
        if test.quantity == "yes_no":
            return expected, None
        words = "as expected, no figure taken"
        return expected, bench.Said(words, f"taken as {expected}", "seen")
    match = re.fullmatch(r"(yes|y|no|n)(?:\s*[,;:.]\s*|\s+)(\S.*)", text, re.I)
    if match and test.quantity == "yes_no" and not _one_phrase(text):
        return match[1], bench.Said(text, match[2])
    return text, None


def _one_phrase(text: str) -> bool:
    """Whether the words behind yes or no belong to it: "yes it does", "no idea", "yes and no"."""
    second = text.replace(",", " ").split()[1].casefold().strip(" .!?")
    return second in NO_NOTE or not bench.unread(read_text(text, "yes_no", None))


def no_command_slip(machine: Machine, test: Test, text: str, meter: MeterSheet | None) -> None:
    """Refuse what is no reading at all, so that nothing is kept of it: a command word mistyped, a
    name that the machine does not have, or other words where yes or no is asked. Whatever has the
    look of a reading passes."""
    from knowngood.cli.commands import WORDS

    reading = read_for(test, text, meter)
    words = text.strip(" .!").casefold()
    if words in SAME or words.startswith("same") or not bench.unread(reading):
        return
    word = text.split()[0].casefold() if text.split() else ""
    if word == "open" and (step := text[len(word) :].partition(" in ")[0].strip()):
        hint = did_you_mean(step, (t.id for t in machine.teardown))
        raise Refused(f"there is no step {step!r} to open. {hint} Nothing is kept")
    named = re.match(r"([^\W\d][\w ]*?)\s*:\s*\S", text)
    if named and not test.compare:
        hint = did_you_mean(named[1], (t.id for t in machine.tests))
        raise Refused(f"there is no test {named[1]!r}. {hint} Nothing is kept")
    close = get_close_matches(word, WORDS, 1, 0.7)
    if text.strip().casefold() in WORDS:
        raise Refused(f"{word} needs more behind it; help says what. Nothing is kept")
    if close:
        raise Refused(f"{text!r} is not understood. Did you mean {close[0]}? Nothing is kept")
    bare = test.quantity == "yes_no" and text.isdigit()  # "12 V" may be what another step reads
    if (re.search("[0-9]", text) and not bare) or "still to read" in reading.note:
        return
    if test.quantity == "yes_no":
        raise Refused(f"{text!r} is not understood; type yes, no or can't tell. Nothing is kept")
    raise Refused(f"{reading.note}, or skip. Nothing is kept")


def ticks(text: str, most: int, none: str = "none") -> list[tuple[int, str]]:
    """ "2 5, 3?" as places from 0 with "bad" or "can't tell"; none/nothing/all good are none.

    Raises Refused.
    """
    if text.casefold().strip(" .") in ("none", "nothing", "all good", "0", "no"):
        return []
    found: list[tuple[int, str]] = []
    for word in re.split(r"[\s,;]+", text.strip()):
        match = re.fullmatch(r"([0-9]{1,3})(\??)", word)
        if not match or not 1 <= int(match[1]) <= most:
            raise Refused(f'numbers from 1 to {most}, such as "2 5", or "{none}"; not {word!r}')
        found.append((int(match[1]) - 1, "can't tell" if match[2] else "bad"))
    return found
