"""The work behind ``knowngood mail``, ``paper mail`` and ``paper part``; exit codes."""

from __future__ import annotations

import json
import sys
from dataclasses import dataclass, replace
from pathlib import Path
from typing import cast, get_args
from uuid import uuid4

import typer

from knowngood.cli.paperwork import moment, on_job, said
from knowngood.job.paperwork import MailFailed
from knowngood.job.shop_files import MailSafety, MailSet
from knowngood.places import mail
from knowngood.places.failed_part import Failed, failed_part, let_go, tag_failed
from knowngood.places.gather import load_job
from knowngood.places.record import At, Record, Refused
from knowngood.places.text_file import text_of
from knowngood.store.post import NotSent, keep_password, secret_of
from knowngood.store.where import keys_folder, mail_folder, store_path

LONGEST = 20_000  # bytes of a letter's text


@dataclass(frozen=True, slots=True)
class Changed:
    """What was given of the settings, None for what stays. `letters`: name=FILE each."""

    server: str | None
    port: int | None
    safety: str | None
    sender: str | None
    user: str | None
    secret: str | None
    password: bool
    letters: tuple[str, ...]


def set_mail(changed: Changed, store: Path | None, by: str) -> int:
    """Change what is given; then say how it stands."""

    def work() -> None:
        path = store_path(store)
        own = keys_folder(path.absolute()) / "mail-password"
        with Record.open(path) as record:
            after = _after(mail.mail_of(record), changed)
            if changed.password:
                after = _with_password(after, changed, own)
            mail.set_mail(record, after, At(moment(), by or "somebody"))
            if after.secret != f"file:{own}":
                own.unlink(missing_ok=True)  # needed no more
            _print_settings(record)

    return said(work)


def _with_password(after: MailSet, changed: Changed, own: Path) -> MailSet:
    if changed.secret is not None:
        raise Refused("--password or --secret, one of both")
    if not after.user:
        raise Refused("a password belongs to a user; give --user as well")
    after = replace(after, secret=f"file:{own}")
    mail.check_mail(after)
    try:
        keep_password(own, _password())
    except NotSent as problem:
        raise Refused(str(problem)) from problem
    return after


def show_mail(store: Path | None, json_out: bool) -> int:
    """How mail goes out."""

    def work() -> None:
        with Record.open(store_path(store), make=False) as record:
            it = mail.mail_of(record)
            if not json_out:
                _print_settings(record)
                return
            print(json.dumps({
                "server": it.server, "port": int(it.port), "safety": it.safety, "user": it.user,
                "secret": it.secret, "secret_problem": _secret_problem(it), "sender": it.sender,
                "own_letters": sorted(it.templates),
            }, ensure_ascii=False))  # fmt: skip

    return said(work)


def test_mail(to: str, store: Path | None) -> int:
    """Send a short message."""

    def work() -> None:
        with Record.open(store_path(store), make=False) as record:
            print(f"sent to {to.strip()} by {mail.try_out(record, to, moment())}")

    return said(work)


def _after(before: MailSet, changed: Changed) -> MailSet:
    if changed.safety is not None and changed.safety not in get_args(MailSafety):
        known = ", ".join(get_args(MailSafety))
        raise Refused(f"{changed.safety[:40]!r} is no safety; it may be {known}")
    it = before
    for name in ("server", "sender", "user", "secret"):
        value = getattr(changed, name)
        if value is not None:
            it = replace(it, **{name: value.strip()})
    if changed.port is not None:
        it = replace(it, port=float(changed.port))
    if changed.safety is not None:
        it = replace(it, safety=cast(MailSafety, changed.safety))
    templates = dict(it.templates)
    for text in changed.letters:
        name, sign, file = text.partition("=")
        if not sign or name not in mail.LETTERS:
            raise Refused(f"{text[:60]!r}: write NAME=FILE; names are {', '.join(mail.LETTERS)}")
        templates.pop(name, None)
        if file:
            templates[name] = text_of(Path(file), LONGEST, "letter").strip()
    return replace(it, templates=templates)


def _password() -> str:
    """Asked for unseen; a line of input where nobody sits at it."""
    if sys.stdin.isatty():
        return str(typer.prompt("Password at the mail server", hide_input=True))
    return sys.stdin.readline().rstrip("\r\n")


def _print_settings(record: Record) -> None:
    it = mail.mail_of(record)
    if not it.server:
        print(f"No mail server is set: letters become files in {mail_folder(record.files.folder)}")
    else:
        print(f"By {it.server}, port {int(it.port) or 'the usual one'}, safety {it.safety}, "
              f"from {it.sender}")  # fmt: skip
        print(f"User {it.user}, password from {it.secret}" if it.user else "Without a user")
    if problem := _secret_problem(it):
        print(f"! the password: {problem}")
    if it.templates:
        print(f"Own letters: {', '.join(sorted(it.templates))}")


def _secret_problem(it: MailSet) -> str:
    if not it.user:
        return ""
    try:
        return "" if secret_of(it.secret) else "it is empty"
    except NotSent as problem:
        return str(problem)


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
        failed = failed_part(record, load_job(record, job_id), at.now.date())
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
