"""The shop's own machine files: kept, changed, put away; each may stand on a family or another.

Every function raises Refused with every problem, and then nothing is stored.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache

from knowngood.job import events as ev
from knowngood.job.events import Envelope, Event
from knowngood.job.own_machines import MachineDropped, MachineKept, own_machines
from knowngood.job.shop_sheet import SHOP
from knowngood.machines.machine import Machine
from knowngood.machines.shipped import shipped_names
from knowngood.machines.tree import read_tree
from knowngood.machines.variant import Bases, shipped_base
from knowngood.places.gather import load_job, setup_of
from knowngood.places.library import Known, make_setup, sound_machine
from knowngood.places.record import At, Record, Refused

MOST_OPEN = 400  # jobs looked through for those that stand on a file


@dataclass(frozen=True, slots=True)
class OwnFile:
    """A machine file of the shop. ``base``: what it stands on, "" for a file of its own."""

    id: str
    text: str
    base: str
    kept: Envelope


def kept_files(record: Record) -> Mapping[str, Envelope]:
    """The last keeping of each file, the latest first, by the machine's id."""
    return own_machines(record.log.events(SHOP))


def own_file(record: Record, id: str) -> OwnFile | None:
    """A file of the shop by the machine's id; None when there is none. Raises StoreProblem."""
    kept = kept_files(record).get(id)
    if kept is None:
        return None
    assert isinstance(kept.event, MachineKept)
    text = record.files.text_of(kept.event.digest)
    return OwnFile(id, text, base_of(text), kept)


def base_of(text: str) -> str:
    """The name of what a machine file stands on; "" when it stands alone or cannot be read."""
    data = read_tree(text, "").data
    found = data.get("based_on") if isinstance(data, dict) else None
    return found if isinstance(found, str) else ""


def own_bases(record: Record, instead: Mapping[str, str] | None = None) -> Bases:
    """What a variant of this shop may stand on: a shipped family, or a file of the shop's own;
    ``instead``: texts that count in place of those that are kept."""
    kept, own = kept_files(record), dict(instead or {})

    def base(name: str) -> str | None:
        shipped = shipped_base(name)
        if shipped is not None or name in own:
            return shipped or own.get(name)
        envelope = kept.get(name)
        if envelope is None:
            return None
        assert isinstance(envelope.event, MachineKept)
        return record.files.text_of(envelope.event.digest)

    return base


def machine_of_shop(record: Record, id: str) -> Known[Machine] | None:
    """The machine of an own file, written out; None when there is no such file."""
    chain: list[tuple[str, str]] = []
    name, bases = id, own_bases(record)
    while name in kept_files(record) and name not in dict(chain):
        chain.append((name, bases(name) or ""))
        name = base_of(chain[-1][1])
    return _sound(tuple(chain)) if chain else None


@lru_cache(maxsize=16)
def _sound(chain: tuple[tuple[str, str], ...]) -> Known[Machine]:
    """The machine of the first text, which stands on the next, and so on."""
    name, texts = chain[0][0], dict(chain)
    return sound_machine(texts[name], name, lambda base: shipped_base(base) or texts.get(base))


def keep_file(
    record: Record, text: str, name: str, at: At, reason: str = "", may_replace: bool = True
) -> Known[Machine]:
    """Keep a machine file under the id in its text. Files that stand on it must stay sound; they
    are kept anew with it. ``may_replace``: an older file of that id is replaced."""
    known = sound_machine(text, name, own_bases(record))
    id = known.it.id
    if id in shipped_names():
        raise Refused(
            f"{id} is the name of a family that comes with the program; give yours another after"
            " machine:, and write based_on: with the family's name"
        )
    kept = kept_files(record)
    if id in kept and not may_replace:
        raise Refused(f"there is a file {id} already; change that one, or choose another name")
    events = [_kept(record, id, text, known.text, reason)]
    bases = own_bases(record, {id: text})
    for other in _standing_on(record, id):
        try:
            whole = sound_machine(other.text, other.id, bases).text
        except Refused as problem:
            raise Refused(f"{other.id} stands on this file and would break:\n{problem}") from None
        events.append(_kept(record, other.id, other.text, whole, f"{id} changed"))
    record.append(SHOP, events, at)
    return known


def put_away(record: Record, id: str, at: At, reason: str = "") -> None:
    """The file is not offered any more; jobs on it go on."""
    if id not in kept_files(record):
        raise Refused(f"there is no file {id} of this shop")
    on_it = [other.id for other in _standing_on(record, id)]
    if on_it:
        raise Refused(f"{', '.join(on_it)} stand on {id}; put those away first")
    record.append(SHOP, [MachineDropped(id, reason)], at)


def open_on(record: Record, id: str) -> tuple[str, ...]:
    """Ids of the jobs that are open and stand on this machine's file."""
    open_jobs = (load_job(record, w.job) for w in record.log.waiting(MOST_OPEN) if w.machine_digest)
    return tuple(job.id for job in open_jobs if job.opened and job.opened.machine_id == id)


def adopt(
    record: Record, job_id: str, known: Known[Machine], at: At, reason: str = "",
    also: Iterable[Event] = (),
) -> None:  # fmt: skip
    """The job goes on with this file, ``also`` stored with it. Readings whose test has gone stay as
    they were noted."""
    job = load_job(record, job_id)
    setup = setup_of(record, job)
    complaint = job.opened.complaint if job.opened else ""
    make_setup(known.it, complaint, setup.bench.meter, setup.bench.prices)
    digest = record.files.keep_text(known.text)
    if digest != job.machine_digest:
        record.append(job_id, [ev.MachineAdopted(digest, reason), *also], at)


def _kept(record: Record, id: str, text: str, whole: str, reason: str) -> MachineKept:
    files = record.files
    return MachineKept(id, files.keep_text(text), files.keep_text(whole), reason[:200])


def _standing_on(record: Record, id: str) -> list[OwnFile]:
    """Files of the shop that stand on this one, at any depth, the nearest first."""
    found: list[OwnFile] = []
    files = [f for name in kept_files(record) if (f := own_file(record, name)) and f.id != id]
    wanted = {id}
    while near := [f for f in files if f.base in wanted and f not in found]:
        found += near
        wanted = {f.id for f in near}
    return found
