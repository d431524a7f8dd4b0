"""What the shop has learned, at the bench: known-good readings, the warmth, the lessons."""

from __future__ import annotations

from knowngood.cli import show
from knowngood.cli.learned import test_lines
from knowngood.cli.session import Session
from knowngood.machines.machine import Test
from knowngood.places import learning
from knowngood.places import teach as lessons_to_file
from knowngood.places.record import Refused


def known(session: Session, test: Test) -> None:
    """The known-good readings of a test on machines of this model."""
    view = session.opened
    opened = view.job.opened
    model = f"{opened.maker} {opened.model}" if opened and opened.model else ""
    try:
        one = learning.known_of_test(session.record, view.machine, test.id, model)
    except Refused:
        one = learning.known_of_test(session.record, view.machine, test.id)
    session.tell(test_lines(one))
    session.say(f"  this job is judged with {view.job.learning.words or 'the machine file alone'}")


def warm(session: Session, rest: str) -> None:
    """How warm it is at the bench."""
    celsius = learning.warmth_in(rest)
    session.moved(learning.note_warmth(session.record, session.job_id, celsius, session.at()))
    session.say(f"kept: {celsius:g} degC at the bench from here on")
    session._show()


def lessons(session: Session, rest: str) -> None:
    """Judge this job with what the shop knows by now, or by the machine file alone."""
    word = rest.casefold().strip()
    if word not in ("now", "none"):
        raise Refused("lessons now takes what the shop knows by now, lessons none the file alone")
    view = learning.use_latest(session.record, session.job_id, session.at(), word == "none")
    words = view.job.learning.words if view.job.learning.digest else "the machine file alone"
    session.tell([f"kept: judged with {words} from here on"])
    session.moved(view)
    session._show()


def teach(session: Session, rest: str = "") -> None:
    """`teach`: what this job may put into the machine's file; `teach STEP`: it is kept there;
    `teach STEP alone`: the step that came off next does not need it."""
    step, _, word = rest.strip().partition(" ")
    if word.strip() not in ("", "alone"):
        raise Refused("teach STEP, or teach STEP alone where the next step comes off without it")
    view = session.opened
    found = lessons_to_file.lessons(view.machine, view.job)
    if not found:
        raise Refused("this job has nothing new to keep in the machine's file")
    if not step:
        for one in found:
            kept = f" (in the file {one.taught})" if one.taught else ""
            session.tell(show.wrapped(f"{one.words}: {one.said}{kept}", f"  teach {one.step}: "))
        return
    view = lessons_to_file.teach(session.record, session.job_id, step, session.at(), bool(word))
    said = view.job.apart.taught[step]
    session.moved(view)
    session.say(f"kept in the machine file {said.machine_id}: {said.file_step}")
