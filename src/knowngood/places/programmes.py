"""What the shop goes by: makers' warranty programmes and its own list of notices, kept as files."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Collection, Sequence
from dataclasses import replace
from datetime import date
from typing import Final

from knowngood.job.job import Job
from knowngood.job.paperwork import ProgrammeChosen
from knowngood.job.shop_files import FileKind, ShopFileDropped, ShopFileKept, ShopFiles, shop_files
from knowngood.job.shop_sheet import SHOP
from knowngood.places.part_ids import part_ids
from knowngood.places.record import At, Record, Refused
from knowngood.shop.cover import Cover
from knowngood.shop.notice_file import parse_notices
from knowngood.shop.programme import Notice, Programme
from knowngood.shop.programme_file import parse_programme

NOTICES: Final = "notices"
"""The one list of notices a shop keeps goes by this name; a new one replaces it whole."""

_READ: OrderedDict[str, Programme] = OrderedDict()
_MOST_READ: Final = 60


def files_of(record: Record) -> ShopFiles:
    """The files the shop goes by."""
    return shop_files(record.log.events(SHOP))


def read_programme(
    text: str, name: str, parts: Collection[str] | None = None, kept: bool = False
) -> Programme:
    """The programme of a file's text. Raises Refused with every problem, a line each; among them,
    with `parts`, a group's part that is none of these (`part_ids`). `kept`: it was taken once."""
    programme, problems = parse_programme(text, name, parts, kept)
    if programme is None:
        raise Refused("\n".join(str(problem) for problem in problems))
    return programme


def read_notices(text: str, name: str) -> tuple[Notice, ...]:
    """The notices of a list. Raises Refused with every problem, a line each."""
    notices, problems = parse_notices(text, name)
    if problems:
        raise Refused("\n".join(str(problem) for problem in problems))
    return notices


def pinned_programme(record: Record, digest: str, name: str) -> Programme:
    """The programme with this digest; the last few are kept read. Raises Refused, StoreProblem."""
    if digest not in _READ:
        _READ[digest] = read_programme(record.files.text_of(digest), name, kept=True)
    _READ.move_to_end(digest)
    while len(_READ) > _MOST_READ:
        _READ.popitem(last=False)
    return _READ[digest]


def keep_programme(record: Record, text: str, name: str, at: At) -> Programme:
    """Go by this programme from now on: it is asked at check-in. Replaces one of the same id."""
    programme = read_programme(text, name, part_ids(record))
    digest = record.files.keep_text(text)
    kept = ShopFileKept("programme", programme.id, programme.words, programme.maker, digest)
    record.append(SHOP, [kept], at)
    return programme


def keep_notices(record: Record, text: str, name: str, at: At) -> tuple[Notice, ...]:
    """Go by this list of recalls and service notices; the list before is replaced."""
    notices = read_notices(text, name)
    digest = record.files.keep_text(text)
    kept = ShopFileKept("notices", NOTICES, "list of recalls and notices", "", digest)
    record.append(SHOP, [kept], at)
    return notices


def drop_file(record: Record, kind: FileKind, name: str, at: At, reason: str = "") -> None:
    """Go by this file no longer; jobs that are under it stay so."""
    kept = files_of(record).kept
    if (kind, name) not in kept:
        known = ", ".join(n for k, n in kept if k == kind) or "none"
        raise Refused(f"there is no {kind} {name!r}; there are: {known}")
    record.append(SHOP, [ShopFileDropped(kind, name, reason)], at)


def programmes(record: Record) -> tuple[Programme, ...]:
    """Every programme the shop goes by, by name."""
    kept = [f for (kind, _), f in files_of(record).kept.items() if kind == "programme"]
    return tuple(pinned_programme(record, f.digest, f.name) for f in sorted(kept, key=_name))


def _name(kept: ShopFileKept) -> str:
    return kept.name


def fitting(record: Record, maker: str, purchased: date | None) -> tuple[Programme, ...]:
    """Programmes that are for this maker's machines bought on that day, as far as is known."""
    if not maker.strip():
        return ()
    return tuple(p for p in programmes(record) if p.speaks_of(maker, purchased))


def chosen_from(record: Record, programme: Programme) -> ProgrammeChosen:
    """That a job is under this programme of the shop."""
    digest = files_of(record).kept["programme", programme.id].digest
    return ProgrammeChosen(programme.id, programme.words, digest)


def known_programmes(record: Record) -> tuple[ProgrammeChosen, ...]:
    """Every programme the shop goes by, and every other a job was ever put under, its latest."""
    latest: dict[str, ProgrammeChosen] = {}
    for job_id in record.log.jobs_with(("ProgrammeChosen",)):
        for envelope in record.log.events(job_id):
            if isinstance(envelope.event, ProgrammeChosen) and envelope.event.digest:
                latest[envelope.event.programme] = envelope.event
    for (kind, name), kept in files_of(record).kept.items():
        if kind == "programme":
            latest[name] = ProgrammeChosen(name, kept.words, kept.digest)
    return tuple(latest[name] for name in sorted(latest))


def notices_for(record: Record, maker: str, model: str, serial: str) -> tuple[Notice, ...]:
    """Recalls and service notices that mean a machine: of the shop's list and the programmes'."""
    if not serial.strip():
        return ()
    found = [n for n in _listed(record) if n.means(model, serial, maker)]
    known = {n.id for n in found}
    for programme in fitting(record, maker, None):
        found += [n for n in programme.notices if n.means(model, serial) and n.id not in known]
    return tuple(found)


def with_notices(record: Record, job: Job, cover: Cover) -> Cover:
    """A cover with the notices of the shop's own list as well."""
    opened = job.opened
    own = notices_for(record, opened.maker, opened.model, opened.serial) if opened else ()
    known = {one.id for one in own}
    return replace(cover, notices=(*own, *(n for n in cover.notices if n.id not in known)))


def _listed(record: Record) -> Sequence[Notice]:
    kept = files_of(record).kept.get(("notices", NOTICES))
    if kept is None:
        return ()
    return parse_notices(record.files.text_of(kept.digest), "notices", kept=True)[0]
