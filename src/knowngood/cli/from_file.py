"""At the terminal: the person's own file that a job's machine was read from."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from knowngood.cli import show
from knowngood.places.from_file import FileNow, file_now, lost_words, stay, take_newer

if TYPE_CHECKING:
    from knowngood.cli.session import Session
    from knowngood.job.job import Job


def file_lines(job: Job) -> Iterator[str]:
    """The file of a job that is gone on with, and how to take it as it is now; none for a job on a
    shipped machine."""
    now = file_now(job)
    if now is not None:
        yield f"Machine file: {now.path}"  # not wrapped, so that it can be copied
        if now.said:
            way = "" if job.closed is not None else _way(now)
            yield from show.wrapped(f"{now.said}{way}", "  ")


def _way(now: FileNow) -> str:
    if now.trouble:
        return ": newer FILE.yaml says where it is"
    return ": newer takes it, newer no stays"


def newer(session: Session, rest: str = "") -> None:
    """`newer`: the job goes over to its machine file as it is now; `newer FILE`, where it lies now;
    `newer no`: it stays with what it keeps, and is not asked again for this edit."""
    job = session.opened.job
    if rest.casefold() in ("no", "n"):
        stay(session.record, job.id, session.at())
        session.say("kept: the job stays with its machine file as it was; newer takes it later")
        return
    file = str(session.folder / rest) if rest and rest.casefold() not in ("yes", "y") else ""
    done = take_newer(session.record, job.id, session.at(), file)
    session.moved(done.view)
    session.say("kept: the file says what the job has already" if done.same else
                "kept: the job goes on with the file as it is now")  # fmt: skip
    if lost := lost_words(done.lost, done.view.job):
        session.tell(show.wrapped(lost, "  ", "    "))
    session.tell(show.standing(done.view))
    session._show()
