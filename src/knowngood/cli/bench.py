"""``knowngood bench``: the bench on a terminal, or typed from a file.

Exit codes: 0 done; 2 a name is wrong or the record cannot be used; 130 stopped by the person.

A session file holds the lines as typed; ``#`` starts a comment, ``@ 2026-03-01 10:05`` sets the
clock and ``@ +4`` moves it on by so many minutes.
"""

from __future__ import annotations

import contextlib
import io
import re
import shlex
import sys
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import datetime, timedelta, tzinfo
from pathlib import Path
from typing import TYPE_CHECKING

from knowngood.cli.guard import Stopped
from knowngood.cli.person import at_the_bench
from knowngood.cli.session import Session, Start
from knowngood.places.bench import change_meter, note_details
from knowngood.places.library import find_complaint, find_machine, find_meter
from knowngood.places.premises import the_shop, zone_of
from knowngood.places.record import Record, Refused
from knowngood.places.text_file import text_of
from knowngood.store.problem import StoreProblem

if TYPE_CHECKING:
    from knowngood.documents.parties import Shop

MOST_BYTES = 2_000_000


@dataclass
class Clock:
    """The time of this computer until a session file sets it."""

    zone: tzinfo | None = None
    set_to: datetime | None = None

    def __call__(self) -> datetime:
        time = self.set_to or datetime.now().astimezone(self.zone)
        return time.replace(microsecond=0)  # papers and records tell whole seconds

    def obey(self, text: str) -> None:
        """ "2026-03-01 10:05" or "+4" (minutes). Raises Refused."""
        text = text.strip()
        if re.fullmatch(r"\+[0-9]{1,6}(\.[0-9]{1,3})?", text):
            self.set_to = self() + timedelta(minutes=float(text[1:]))
            return
        try:
            time = datetime.fromisoformat(text)
        except ValueError as error:
            raise Refused(f"@ {text}: write it like @ 2026-03-01 10:05 or @ +4") from error
        if time.tzinfo is None:
            time = time.replace(tzinfo=self.zone) if self.zone else time.astimezone()
        self.set_to = time


def bench(
    machine: str | None,
    complaint: str | None,
    job: str | None,
    meter: str | None,
    store: Path,
    session_file: Path | None = None,
    serial: str = "",
    model: str = "",
    customer: str = "",
    by: str = "",
    shop: str = "",
    maker: str = "",
    store_named: bool = False,
) -> int:
    """Work through one machine, line by line; exit code.

    Lines come from the terminal, a pipe or ``session_file``.

    ``store``: where the record lies, ``store_named``: said by the person, so to be said again when
    the job is gone on with. A job is gone on with by its number or id. What cannot be stored ends
    a session that nobody types, with 2.
    """
    for stream in (sys.stdin, sys.stdout):  # a byte that is no text stops nobody
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")
    try:
        if job is not None and (machine or complaint):
            raise Refused(
                "--machine and --complaint are fixed when a job is opened; with --job give "
                "--serial, --model, --maker, --customer, --meter or --shop, or open a new job. A "
                "machine file that was edited since is taken at the job's bench: newer"
            )
        start = _start(machine, complaint, meter)
        start = replace(start, customer=customer, maker=maker, model=model, serial=serial)
        lines = None
        if session_file is not None:
            lines = session_lines(text_of(session_file, MOST_BYTES, "session file"))
        with Record.open(store, make=job is None) as record:
            letterhead = _letterhead(shop)
            clock = Clock(zone_of(the_shop(record)))
            again = f" --store {shlex.quote(str(store))}" if store_named else ""
            person = lines is None and sys.stdin.isatty()
            job_id = record.log.find(job) if job is not None else ""
            signs = at_the_bench(record, by, job_id, person)
            if person and not by:
                print_line(f"Signed as {signs}; --by NAME for another.")
            session = Session(record, start, signs, print_line, clock, letterhead, store=again)
            session.typed = person
            try:
                if job is not None:
                    note_details(record, job_id, session.at(), serial, customer, model, maker)
                    if start.meter is not None:
                        change_meter(record, job_id, start.meter, session.at())
                    session.go_on(job_id)
                else:
                    session.begin()
                feed = typed(session) if lines is None else echoed(session, lines)
                play(session, clock, feed, patient=person)
            except KeyboardInterrupt:
                raise Stopped(session.way_on(job or "")) from None
            if session.trouble and not person:
                return 2
    except (Refused, StoreProblem) as problem:
        print(problem, file=sys.stderr)
        return 2
    return 0


def play(
    session: Session, clock: Clock, lines: Iterable[str | None], patient: bool = True
) -> None:
    """Enter each line, as typed; None is the end. Says how to go on when they end. Unless
    ``patient`` the first line that cannot be stored is the last one entered."""
    for line in lines:
        if line is None:
            break
        text = line.strip()
        if text.startswith("#"):
            session.say(text)
            continue
        if text.startswith("@"):
            try:
                clock.obey(text[1:])
            except Refused as refused:
                session.say(str(refused))
            continue
        session.enter(line)
        if session.over:
            return
        if session.trouble and not patient:
            session.say("Stopped: that line and those after it are not kept.")
            break
    session.quit()


def echoed(session: Session, lines: Iterable[str]) -> Iterator[str]:
    """Lines that nobody types, shown after their prompt so that the whole can be read."""
    for line in lines:
        if not line.strip().startswith(("#", "@")):
            session.say(f"{session.prompt}{line.rstrip()}")
        yield line


def typed(session: Session) -> Iterator[str | None]:
    """Lines from a person with a prompt, or from a pipe with an echo."""
    if sys.stdin.isatty():
        with contextlib.suppress(ImportError):  # with it a person can go back in the line
            import readline  # noqa: F401
        while True:
            try:
                yield input(session.prompt)
            except EOFError:
                print()
                return
    yield from echoed(session, sys.stdin)


def print_line(line: str) -> None:
    """Each line at once: what was said is acknowledged."""
    print(line, flush=True)


def session_lines(text: str) -> list[str]:
    """The lines of a session file; empty ones are for the eye (type yes, not just Enter)."""
    return [line for line in text.splitlines() if line.strip()]


def _start(machine: str | None, complaint: str | None, meter: str | None) -> Start:
    """All that is wrong with the names, together. Raises Refused."""
    problems: list[str] = []
    found = sheet = None
    try:
        found = find_machine(machine) if machine else None
        if complaint and found is not None:
            find_complaint(found.it, complaint)
        elif complaint:
            problems.append("--complaint needs --machine, whose file lists the complaints")
    except Refused as refused:
        problems.append(str(refused))
    try:
        sheet = find_meter(meter) if meter else None
    except Refused as refused:
        problems.append(str(refused))
    if problems:
        raise Refused("\n".join(problems))
    return Start(found, complaint or "", sheet, file=machine or "")


def _letterhead(name: str) -> Shop | None:
    if not name:
        return None
    from knowngood.documents.parties import Shop

    return Shop(name)
