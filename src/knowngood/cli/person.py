"""Who enters something at a terminal, where the person does not say."""

from __future__ import annotations

import getpass

from knowngood.places.record import Record

NOBODY = "somebody"


def person(record: Record, by: str) -> str:
    """The one who was named, else the only one in the record, else "somebody"."""
    known = people(record)
    return by or (known[0] if len(known) == 1 else NOBODY)


def people(record: Record) -> list[str]:
    """Who wrote in the record, the latest first."""
    return [name for name in record.log.people() if name != NOBODY]


def at_the_bench(record: Record, by: str, job_id: str, asks: bool) -> str:
    """Who signs what is entered: the one who was named, else the only one in the record, else who
    answers when asked; where nobody can be asked, or nobody is known yet, the login name."""
    known = people(record)
    if by or len(known) == 1:
        return by or known[0]
    if not known or not asks:
        return _login()
    on_job = [e.by for e in record.log.events(job_id) if e.by in known] if job_id else []
    last = on_job[-1] if on_job else known[0]
    try:
        said = input(f"who is at the bench: {', '.join(known[:6])} (Enter: {last})> ")
    except EOFError:
        return _login()
    return said.strip() or last


def _login() -> str:
    try:
        return getpass.getuser()
    except (KeyError, OSError, ImportError):
        return NOBODY
