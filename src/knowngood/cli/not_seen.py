"""What is not seen yet of an unknown machine, answered at the bench where it comes in sight."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path

from knowngood.cli import show
from knowngood.cli.session import Session
from knowngood.machines.machine import TeardownStep
from knowngood.machines.template import BY_ID, Question, asked_by
from knowngood.places.describe import answer, answer_of_job
from knowngood.places.from_file import lost_words, no_longer_read
from knowngood.places.gather import look
from knowngood.places.library import MOST_BYTES, bases_beside
from knowngood.places.own_machines import own_file
from knowngood.places.record import Refused
from knowngood.places.text_file import text_of


def of_step(step: TeardownStep) -> Iterator[str]:
    """What to mind at a step that was just done, and what it lets one see."""
    for trap in step.known_traps:
        yield from show.wrapped(trap, "  mind: ")
    yield from _lines(asked_by(step.traps))


def seen(session: Session, rest: str = "") -> None:
    """Keep one answer in the machine's file, the job goes on with it; alone, list what is open."""
    named, _, said = rest.partition(" ")
    named, said = named.strip(" :"), said.strip(" :\"'")
    said, beside, file = said.rpartition(" in ") if said.endswith(".yaml") else (said, "", "")
    view = session.opened
    left = asked_by(t for s in view.machine.teardown for t in s.traps)
    if not named:
        session.tell(_lines(left))
        if not left:
            session.say("Nothing of this machine's file is left to be seen.")
        return
    if named not in BY_ID or not said:
        known = ", ".join(q.id for q in left or BY_ID.values())
        raise Refused(f"seen what? seen QUESTION ANSWER, such as seen cells 10 S; open are {known}")
    opened = view.job.opened
    if opened is not None and own_file(session.record, opened.machine_id) is not None:
        answer(session.record, opened.machine_id, named, said, session.at())
    else:
        kept = view.job.machine_file
        own = str(session.folder / file) if beside else kept.path if kept is not None else ""
        _into_file(session, own, named, said)
    session.say(f"kept: {named}: {said}. The job goes on with it")
    session.moved(look(session.record, session.job_id))
    if lost := lost_words(no_longer_read(view, session.opened), session.opened.job):
        session.tell(show.wrapped(lost, "  ", "    "))
    session._show()


def _into_file(session: Session, named: str, question: str, said: str) -> None:
    """Into a person's own file, and the job over to it; the file is written last."""
    if not named:
        raise Refused(
            "this job is on a file that is not in the Library: name yours, seen"
            f" {question} {said} in FILE.yaml; machine new writes one on top of a shipped family"
        )
    path = Path(named)
    text = text_of(path, MOST_BYTES, "machine file")
    text = answer_of_job(session.record, session.job_id, text, str(path), bases_beside(str(path)),
                         question, said, session.at())  # fmt: skip
    _write(path, text)


def _write(path: Path, text: str) -> None:
    try:
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        raise Refused(f"the job goes on with it, but {path} cannot be written"
                      f" ({error.strerror or error})") from error


def _lines(questions: Iterable[Question]) -> Iterator[str]:
    for q in questions:
        yield from show.wrapped(f"{q.ask}. seen {q.id} {q.example}", "  not seen yet: ", "    ")
