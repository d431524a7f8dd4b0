"""The machines that a job can be opened on: the shipped files, and those that jobs have used."""

from __future__ import annotations

from functools import lru_cache

from knowngood.machines.machine import Machine
from knowngood.places.known import own_files
from knowngood.places.library import Known, find_machine, machine_from, shipped_machines
from knowngood.places.record import Record, Refused
from knowngood.store.problem import StoreProblem


def machine_named(record: Record, name: str) -> Known[Machine] | None:
    """A machine of the catalogue by its id; None when it has none of that name."""
    if not name:
        return None
    shipped = _shipped()
    if name in shipped:
        return shipped[name]
    digest = own_files(record).get(name)
    return _own(record, digest) if digest else None


def machines(record: Record) -> tuple[Machine, ...]:
    """Every machine of the catalogue, the shop's own files first."""
    shipped = _shipped()
    own = [
        _own(record, digest)
        for name, digest in own_files(record).items()
        if name and name not in shipped
    ]
    return (*(known.it for known in own if known), *(known.it for known in shipped.values()))


@lru_cache(maxsize=1)
def _shipped() -> dict[str, Known[Machine]]:
    """By id and by the name of the file, which are the same in what is shipped."""
    found = (find_machine(name) for name in shipped_machines())
    return {known.it.id: known for known in found}


_OWN: dict[str, Known[Machine]] = {}


def _own(record: Record, digest: str) -> Known[Machine] | None:
    if digest not in _OWN:
        try:
            text = record.files.text_of(digest)
            _OWN[digest] = Known(machine_from(text, "a machine file of the shop"), text)
        except (Refused, StoreProblem):
            return None  # a file that got lost or is too old to be read opens no new job
    return _OWN[digest]
