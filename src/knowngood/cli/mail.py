"""The work behind ``knowngood paper mail`` and ``knowngood paper part``; exit codes."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from uuid import uuid4

from knowngood.cli.paperwork import on_job
from knowngood.job.paperwork import MailFailed
from knowngood.places import mail
from knowngood.places.failed_part import Failed, failed_part, let_go, tag_failed
from knowngood.places.gather import load_job
from knowngood.places.record import At, Record, Refused


def letter(job: str, about: str, to: str, send: bool, store: Path | None, by: str) -> int:
    """Show a letter; with `send` let it go."""

    def work(record: Record, at: At, job_id: str) -> None:
        found = mail.letter_for(record, job_id, about)
        found = replace(found, to=to) if to else found
        if not send:
            print(f"To: {found.to or 'not known: give --to'}\nSubject: {found.subject}\n")
            print(found.body)
            print("\nNot sent. With --send it goes out.")
            return
        done = mail.post(record, job_id, found, at, uuid4().hex)
        if isinstance(done, MailFailed):
            raise Refused(f"it did not go out: {done.reason}")
        print(f"sent to {done.to} ({done.way})")

    return on_job(job, store, by, work)


def part(
    job: str, where: str, tested: str, gone: str, why: str, store: Path | None, by: str
) -> int:
    """How the failed part stands; tagged, or let go."""

    def work(record: Record, at: At, job_id: str) -> None:
        failed = failed_part(record, load_job(record, job_id))
        if where or tested:
            failed = tag_failed(record, job_id, where, tested, at)
        if gone:
            failed = let_go(record, job_id, gone, why, at)
        if failed is None:
            raise Refused("no part is decided on yet, so none has failed")
        _print(failed, at)

    return on_job(job, store, by, work)


def _print(failed: Failed, at: At) -> None:
    if failed.gone is not None:
        print(f"{failed.words} {failed.number}: {failed.gone.how} {failed.gone.words}".strip())
        return
    tag = failed.tag
    said = f"tagged {tag.tag} {tag.where} {tag.tested}".strip() if tag else "not tagged yet"
    print(f"{failed.words} {failed.number}: {said}")
    if failed.until is not None:
        print(failed.kept(at.now.date()))
    for line in failed.care:
        print(f"! {line}")
