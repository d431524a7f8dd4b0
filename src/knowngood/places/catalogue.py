"""The machines that a job can be opened on: the shipped files, and those that jobs have used.

A list of machines shows little of each file, and reading a whole one takes a second or so. So the
list reads the few sections that it shows; the file is read whole when a job is opened on it.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from importlib import resources
from typing import Any

from ruamel.yaml import YAML
from ruamel.yaml.error import YAMLError

from knowngood.job.own_machines import MachineKept
from knowngood.machines.bare import IDS as BARE
from knowngood.machines.machine import Machine
from knowngood.places.known import own_files
from knowngood.places.library import Known, find_machine, machine_from, shipped_machines
from knowngood.places.own_machines import kept_files, machine_of_shop
from knowngood.places.record import Record, Refused
from knowngood.store.problem import StoreProblem

_SHOWN = frozenset(
    ("machine", "words", "family", "makers", "models", "complaints", "told", "based_on", "drop")
)
_SECTION = re.compile(r"^(?=[A-Za-z_]+:)", re.MULTILINE)


@dataclass(frozen=True, slots=True)
class Line:
    """A complaint or an account of what was tried: its id and its words."""

    id: str
    words: str


@dataclass(frozen=True, slots=True)
class Face:
    """What a list shows of a machine's file."""

    id: str
    words: str
    family: str
    makers: tuple[str, ...]
    models: tuple[str, ...]
    complaints: tuple[Line, ...]
    told: tuple[Line, ...]


def faces(record: Record) -> tuple[Face, ...]:
    """Every machine of the catalogue, the shop's own files first."""
    shipped = _shipped()
    digests = {
        **_kept_digests(record),
        **{n: d for n, d in own_files(record).items() if n not in kept_files(record)},
    }
    known = {"", *shipped, *BARE}
    own = (_own_face(record, d) for name, d in digests.items() if name not in known)
    return (*_told_apart([f for f in own if f], shipped.values()), *shipped.values())


def _told_apart(own: Sequence[Face], shipped: Iterable[Face]) -> list[Face]:
    """The shop's own files, each with its id where another machine has the same title."""
    titles = Counter(face.words.casefold() for face in (*own, *shipped))
    return [
        f if titles[f.words.casefold()] < 2 else replace(f, words=f"{f.words} (own file {f.id})")
        for f in own
    ]


def _kept_digests(record: Record) -> dict[str, str]:
    """The text with all that its family says of each file that the shop keeps."""
    events = {id: e.event for id, e in kept_files(record).items()}
    return {id: event.whole for id, event in events.items() if isinstance(event, MachineKept)}


def face_named(record: Record, id: str) -> Face | None:
    """The machine with this id as a list shows it."""
    return next((face for face in faces(record) if face.id == id), None) if id else None


def machine_named(record: Record, id: str) -> Known[Machine] | None:
    """A machine of the catalogue by its id; None when it has none of that name, or only a file
    that got lost or cannot be read any more."""
    if not id:
        return None
    try:
        if id in _shipped():
            return _whole(id)
        if (kept := machine_of_shop(record, id)) is not None:
            return kept
        digest = own_files(record).get(id)
        if digest is None:
            return None
        text = record.files.text_of(digest)
        return Known(machine_from(text, "a machine file of the shop"), text)
    except (Refused, StoreProblem):
        return None


@lru_cache(maxsize=8)
def _whole(id: str) -> Known[Machine]:
    return find_machine(_file_of()[id])


@lru_cache(maxsize=1)
def _shipped() -> Mapping[str, Face]:
    return {face.id: face for face, _ in _read_shipped()}


@lru_cache(maxsize=1)
def _file_of() -> Mapping[str, str]:
    return {face.id: name for face, name in _read_shipped()}


@lru_cache(maxsize=1)
def _read_shipped() -> tuple[tuple[Face, str], ...]:
    read = ((face_of(_shipped_text(name)), name) for name in shipped_machines())
    return tuple((face, name) for face, name in read if face is not None)


def _shipped_text(name: str) -> str:
    folder = resources.files("knowngood.machines") / "shipped"
    return (folder / f"{name}.yaml").read_text("utf-8") if name in shipped_machines() else ""


_OWN: dict[str, Face | None] = {}


def _own_face(record: Record, digest: str) -> Face | None:
    if digest not in _OWN:
        try:
            _OWN[digest] = face_of(record.files.text_of(digest))
        except StoreProblem:
            return None
    return _OWN[digest]


def face_of(text: str) -> Face | None:
    """The face of a machine's file; None when it cannot be read. A variant shows what the shipped
    file that it stands on shows, with its own words in place of those."""
    data = _sections(text)
    if not data.get("machine"):
        return None
    base = data.get("based_on")
    family = _sections(_shipped_text(base)) if isinstance(base, str) else {}
    drop = data.get("drop")
    for name in ("complaints", "told"):
        own, theirs = data.get(name) or {}, family.get(name)
        if isinstance(theirs, dict) and isinstance(own, dict):
            gone = drop.get(name) if isinstance(drop, dict) else None
            stays = {k: v for k, v in theirs.items() if not isinstance(gone, list) or k not in gone}
            said = {k: v for k, v in own.items() if isinstance(v, dict)}
            data[name] = {**stays, **{k: {**(stays.get(k) or {}), **v} for k, v in said.items()}}
    data = {**family, **data}
    return Face(
        str(data["machine"]), str(data.get("words", "")), str(data.get("family", "")),
        _texts(data.get("makers")), _texts(data.get("models")), _lines(data.get("complaints")),
        _lines(data.get("told")),
    )  # fmt: skip


def _sections(text: str) -> dict[str, Any]:
    """The sections that a list shows; empty when they cannot be read."""
    shown = (one for one in _SECTION.split(text) if one.partition(":")[0] in _SHOWN)
    try:
        data = YAML(typ="safe", pure=True).load("".join(shown))
    except (YAMLError, ValueError):
        return {}
    return data if isinstance(data, dict) else {}


def _texts(value: object) -> tuple[str, ...]:
    return tuple(str(one) for one in value) if isinstance(value, list) else ()


def _lines(value: object) -> tuple[Line, ...]:
    if not isinstance(value, dict):
        return ()
    return tuple(
        Line(str(id), str(one.get("words", id))) for id, one in value.items()
        if isinstance(one, dict)
    )  # fmt: skip
