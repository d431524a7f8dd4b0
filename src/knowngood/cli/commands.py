"""The commands of a bench session, each a line of its own."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from functools import partial

from knowngood.cli import (
    answers,
    closing,
    from_file,
    not_seen,
    papers_at_bench,
    putting_right,
    rebuilding,
    show,
    taking_off,
    teaching,
)
from knowngood.cli.proof_told import why_proven
from knowngood.cli.session import Session
from knowngood.cli.show_suspects import suspects
from knowngood.diagnosis.assess import assess
from knowngood.diagnosis.gate import is_gated
from knowngood.diagnosis.hazard import barred
from knowngood.machines.machine import Test
from knowngood.machines.nearest import did_you_mean, nearest
from knowngood.measure.meter import shipped_meters
from knowngood.places import bench, decision
from knowngood.places.capacitor import to_discharge
from knowngood.places.complaints import verifying_test
from knowngood.places.doubt import doubt_of
from knowngood.places.gather import View, look
from knowngood.places.library import find_meter, find_test
from knowngood.places.outlook import outlook
from knowngood.places.plan import plan_lines, plan_tree
from knowngood.places.points import ask_points, points_line
from knowngood.places.record import Refused
from knowngood.places.undo import undo
from knowngood.store.problem import not_read

PLAN_PATIENCE = 2.0
# these also stand alone
BARE = ("decide", "order", "ordered", "arrived", "claim", "table", "do", "why", "known",
        "points")
PLAN_PLACES = 24
WHY_ASKED = {
    "told": "What was tried with what result makes suspects likelier or less likely; it shows none "
            "out, as nobody here saw it. why TEST says what a step would leave.",
    "look": "Each costs a glance: what looks good clears the faults that would be seen there, and "
            "what does not points at them. why TEST says what one of them would leave.",
}  # fmt: skip
MOST_PICTURE = 60_000_000


def command_in(session: Session, line: str) -> Callable[[], None] | None:
    """The command that this line is, or None when it answers what is asked."""
    named = re.fullmatch(r"([a-z][a-z0-9_]*)\s*:\s*(.+)", line)
    if named and session.view and any(t.id == named[1] for t in session.view.machine.tests):
        return partial(_read, session, named[1], named[2])
    if named and session.view and not session.ask.bare:
        no_such_test(session.view, named[1], session.ask.key)
    if session.view and (asked := _by_question(session.view, line)):
        return partial(_read, session, *asked)
    word, _, rest = line.partition(" ")
    word, rest = word.casefold(), rest.strip()
    if session.ask.bare and (word not in ("quit", "help", "exit") or rest):
        return None
    alone = ALONE.get(word)
    if alone is not None and not rest:
        return partial(alone, session)
    with_more = WITH_MORE.get(word)
    if with_more is not None and (rest or word in BARE):
        if word == "open" and not _names_step(session, rest):
            return None  # "open line" is a reading
        return partial(with_more, session, rest)
    if with_more is not None and word != "open":
        raise Refused(f"{word} what? {USAGE.get(word, 'help shows it')}")
    return None


def _by_question(view: View, line: str) -> tuple[str, str] | None:
    """(test, reading) of "main fuse: OL": a test by what it asks, or its id with blanks."""
    name, colon, text = line.partition(":")
    wanted, text = name.strip().casefold().rstrip("?").strip(), text.strip()
    if not colon or not text or " " not in wanted:
        return None
    found = [t.id for t in view.machine.tests
             if wanted in (t.question.casefold().rstrip("?"), t.id.casefold().replace("_", " "))]
    return (found[0], text) if len(found) == 1 else None


def no_such_test(view: View, name: str, asked: str) -> None:
    """Refuse "battery_rest: 12.6" where no test has that name, unless the word is an answer or
    names one of several readings to compare."""
    tests = {t.id: t for t in view.machine.tests}
    kind, _, about = asked.partition(" ")
    compared = {c.casefold() for c in tests[about].compare} if about in tests else set()
    answer = name in WORDS or name in answers.ANSWERS or name in answers.RESULTS
    if kind not in ("test", "agree", "order", "end", "done", "look", "told") or answer:
        return
    if name not in compared and ("_" in name or nearest(name, tests)):
        raise Refused(f"there is no test {name!r}. {did_you_mean(name, tests)} Nothing is kept; "
                      "steps all lists them")  # fmt: skip


def _names_step(session: Session, rest: str) -> bool:
    if session.view is None:
        return False
    named = rest.casefold().partition(" in ")[0].strip()
    return any(
        named in (t.id.casefold(), t.words.casefold()) for t in session.view.machine.teardown
    )


def _quit(session: Session) -> None:
    session.quit()


def _help(session: Session) -> None:
    session.tell(show.HELP.splitlines())


def _steps(session: Session, rest: str = "") -> None:
    if rest and rest.casefold() != "all":
        raise Refused("steps lists what is possible now, steps all every step with its id")
    session.tell(show.all_steps(session.opened) if rest else show.steps(session.opened))


def _verify(session: Session) -> None:
    """Ask again whether the complaint shows here."""
    opened = session.opened.job.opened
    test = verifying_test(session.opened.setup, opened.complaint if opened else "")
    if test is None:
        raise Refused("this machine's file has no step that shows the complaint")
    _do(session, test.id)


def _suspects(session: Session, rest: str = "") -> None:
    if rest not in ("", "all"):
        raise Refused("suspects lists what is likely, suspects all every one")
    session.tell(suspects(session.opened, every=bool(rest)))


def _readings(session: Session) -> None:
    session.tell(show.readings(session.opened))


def _plan(session: Session) -> None:
    view = session.opened
    opened = view.job.opened
    plate = (opened.model, opened.serial) if opened else ("", "")
    tree = plan_tree(
        view.setup, view.evidence, most=PLAN_PLACES, deadline=PLAN_PATIENCE, plate=plate
    )
    node, asked = tree.root.node, view.next
    if (node.kind == "test" and asked is not None and asked.id != node.id and not tree.again
            and session.ask.key == f"test {asked.id}"):  # fmt: skip
        session.tell(show.wrapped(
            "Planned for longer than after a reading, it begins with another step than the one "
            "asked now. Both lead on: what is asked next is planned anew each time."
        ))  # fmt: skip
    session.tell(plan_lines(tree))


def _undo(session: Session) -> None:
    words, view = undo(session.record, session.job_id, session.at())
    session.tell(show.wrapped(words, "taken back: "))
    session.tell(show.standing(view))
    _moved(session, view.job.id)


def _moved(session: Session, job_id: str) -> None:
    session.moved(look(session.record, job_id))
    session._show()


def _do(session: Session, rest: str) -> None:
    if not rest:
        raise Refused("do which test? steps lists them")
    session.chosen, session.agreed = _allowed(session, rest).id, ""
    session.put_aside()
    session._show()


def _read(session: Session, test_id: str, text: str) -> None:
    """A reading of a named test in one line; a live one in an open shell after a yes."""
    _take(session, _allowed(session, test_id), text)
    session._show()


def _take(session: Session, test: Test, text: str) -> None:
    """Keep a reading; of a step behind the capacitor only after the volts on that."""
    step = to_discharge(session.opened, test)
    word, _, rest = text.partition(" ")
    agreed = session.live_and_open(test) and word.casefold().rstrip(",:") in ("yes", "y")
    shown = rest if agreed else text
    if step is not None and answers.as_read(test, shown, session.opened.meter).is_evidence:
        view, said = session.opened, f"{test.question} {text}"
        session.wait_for(step, said, partial(_take_in, session, view, test, text))
        session.tell(show.wrapped(f"{said} waits for the capacitor."))
    elif session.live_and_open(test):
        session.agree(test, text)
    else:
        session.take(test, text)


def _take_in(session: Session, view: View, test: Test, text: str) -> None:
    """The reading that waited, with the points that were asked for it."""
    session.view = replace(session.opened, setup=view.setup)
    if session.live_and_open(test):
        session.chosen = test.id
        session.agree(test, text)
    else:
        session.take(test, text)


def _allowed(session: Session, test_id: str) -> Test:
    """The test, unless this is not the time for it."""
    view = session.opened
    return _may(view, find_test(view.machine, test_id))


def _may(view: View, test: Test) -> Test:
    """The same test. Refused where it is unsafe now, or nothing live may be taken yet."""
    held = view.assessment.held_back.get(test.id, "")
    condition = view.machine.state_of(test)
    if test.id in barred(view.machine, view.assessment.hazards):
        raise Refused(f"{test.question}: {held}")
    if test.alters and held.startswith("it alters"):
        raise Refused(f"{test.question}: {held}")
    if condition.energised and (held.startswith("first read") or is_gated(held)):
        raise Refused(f"{test.question} is live: {held}")
    return test


def _why(session: Session, rest: str) -> None:
    view = session.opened
    kind = session.ask.key.partition(" ")[0]
    if not rest and kind in WHY_ASKED:
        session.tell(show.wrapped(WHY_ASKED[kind]))
        return
    if not rest and (kind == "order" or (kind not in ("test", "agree") and view.job.decision)):
        session.tell(why_proven(view))
        return
    test = _test_asked(session, rest)
    session.tell(show.why(outlook(view, test), view.step(test)))
    known = find_test(view.machine, test)
    taken = [r.value() for r in view.job.live_readings if r.test == test]
    for doubt in doubt_of(known, view.meter, taken):
        session.tell(["", *doubt.lines])
    if known.compare and taken:
        session.tell(show.wrapped("Compared on one range, the part common to all falls out."))


def _table(session: Session, rest: str) -> None:
    view = session.opened
    session.tell(show.table(view, find_test(view.machine, _test_asked(session, rest))))


def _known(session: Session, rest: str) -> None:
    teaching.known(session, find_test(session.opened.machine, _test_asked(session, rest)))


def _points(session: Session, rest: str) -> None:
    """What to see between any two points; with a reading behind a colon it is kept."""
    view = session.opened
    asked = points_line(rest)
    found, setup = ask_points(view.setup, asked["red"], asked["black"], asked["read"],
                              asked["where"], view.evidence.opened)  # fmt: skip
    wider = assess(setup, view.evidence, deadline=0.0)
    _may(replace(view, setup=setup, assessment=wider), found.test)
    if not asked["text"]:
        condition = next(c for c in setup.machine.conditions if c.id == found.test.condition)
        session.tell(show.wrapped(f"in this state: {condition.words}"))
        cautions = [c for c in (found.test.caution, condition.caution) if c]
        session.tell(line for c in cautions for line in show.wrapped(c, "mind: "))
        session.tell(show.table(replace(view, setup=setup), found.test))
        return
    session.view = replace(view, setup=setup)
    _take(session, found.test, asked["text"])
    session._show()


def _test_asked(session: Session, rest: str) -> str:
    """The test named, else the one that is asked now."""
    if rest:
        return find_test(session.opened.machine, rest).id
    kind, _, test = session.ask.key.partition(" ")
    if kind not in ("test", "agree"):
        raise Refused("of which test? steps lists them")
    return test


def _call(session: Session, rest: str) -> None:
    view = decision.call(session.record, session.job_id, rest, session.at())
    called = view.job.called[-1]
    session.tell(show.wrapped(f"{called.words} called by {called.by}; its proof is left", "kept: "))
    proof = decision.proof_for(view, rest)
    if not proof.proven:
        session.tell(show.wrapped(f"Not proven: {proof.missing}.", "  "))
    _moved(session, view.job.id)


def _accept(session: Session, rest: str) -> None:
    match = re.fullmatch(r"(.+?)(?:\s+by\s+(.*))?", rest, re.I)
    part, by = (match[1], match[2] or "") if match else (rest, "")
    view = decision.accept(session.record, session.job_id, part, by, session.at())
    taken = view.job.accepted[-1]
    session.tell(show.wrapped(f"{taken.words} accepted as good by {taken.by}", "kept: "))
    session.tell(show.standing(view))
    _moved(session, view.job.id)


def _meter(session: Session, rest: str) -> None:
    view = bench.change_meter(session.record, session.job_id, find_meter(rest), session.at())
    title = view.meter.title if view.meter else rest
    session.tell(show.wrapped(f"meter {title} from here on", "kept: "))
    _moved(session, view.job.id)


def _meters(session: Session) -> None:
    """The meters that are known; which one is in use."""
    meter = session.opened.meter
    session.say(f"Meter: {meter.title}" if meter is not None else "Meter: none named")
    session.say(f"Known: {', '.join(shipped_meters())}; or a file. meter NAME takes another")


def _note(session: Session, rest: str) -> None:
    bench.note(session.record, session.job_id, rest, session.at())
    session.say("kept: the note")
    session.view = look(session.record, session.job_id)


def _picture(session: Session, rest: str) -> None:
    name, _, caption = rest.partition(" ")
    if (session.folder / rest).is_file():  # a name with blanks
        name, caption = rest, ""
    path = session.folder / name
    try:
        if path.stat().st_size > MOST_PICTURE:
            raise Refused(f"{name} is larger than {MOST_PICTURE // 1_000_000} MB")
        data = path.read_bytes()
    except OSError as error:
        raise Refused(not_read(name, error)) from error
    about = next((w for w in ("plate", "damage", "meter") if w in caption.casefold()), "")
    session.view = bench.picture(
        session.record, session.job_id, data, path.name, session.at(), caption.strip(), about
    )
    session.say(f"kept: picture {len(session.view.job.pictures)}")


def _decide(session: Session, rest: str) -> None:
    session.decide(rest)
    session._show()


ALONE: dict[str, Callable[[Session], None]] = {
    "quit": _quit, "exit": _quit, "help": _help, "steps": _steps, "suspects": _suspects,
    "readings": _readings, "plan": _plan, "undo": _undo, "verify": _verify, "meter": _meters,
    "fitted": closing.fitted, "done": closing.done, "cover": papers_at_bench.cover,
    "back": rebuilding.back, "release": rebuilding.release, "seen": not_seen.seen,
    "prove": rebuilding.prove, "teach": teaching.teach, "pickup": closing.pickup,
    "newer": from_file.newer, "complaint": putting_right.complaint,
}  # fmt: skip
WITH_MORE: dict[str, Callable[[Session, str], None]] = {
    "do": _do, "why": _why, "table": _table, "points": _points, "call": _call, "accept": _accept,
    "withdraw": putting_right.withdraw, "suspects": _suspects, "meter": _meter,
    "complaint": putting_right.complaint,
    "note": _note, "picture": _picture,
    "open": taking_off.came_off, "pickup": closing.pickup,
    "known": _known, "warm": teaching.warm, "lessons": teaching.lessons, "teach": teaching.teach,
    "back": rebuilding.back, "decide": _decide, "order": _decide, "ordered": closing.ordered,
    "arrived": closing.arrived, "claim": papers_at_bench.claim, "done": closing.done,
    "fitted": closing.fitted, "steps": _steps, "cover": papers_at_bench.cover,
    "codes": papers_at_bench.codes, "release": rebuilding.release,
    "seen": not_seen.seen, "prove": rebuilding.prove, "newer": from_file.newer,
    **{n: partial(closing.detail, n) for n in ("serial", "customer", "model", "maker")},
}  # fmt: skip
USAGE = {
    "call": "call PART names it; its proof is left", "accept": "accept PART by NAME",
    "withdraw": "withdraw N why it does not count", "note": "note WORDS",
    "picture": "picture FILE [WORDS]", "points": "points A B [volts] [in STATE] [: 12.1 V]",
    "codes": "codes MODE CAUSE ACTION [LABOUR]", "warm": "warm 22 C: how warm it is at the bench",
    "lessons": "lessons now: with what the shop knows by now; lessons none: the file alone",
    **{n: f"{n} X notes what was not known at check-in"
       for n in ("serial", "customer", "model", "maker")},
}  # fmt: skip
WORDS = frozenset(ALONE) | frozenset(WITH_MORE)
