"""Ids of the service parts there are: of the machine files that come along, and the shop's own."""

from __future__ import annotations

import re
from functools import lru_cache
from importlib import resources

from knowngood.job.own_machines import MachineKept
from knowngood.machines.tree import read_tree
from knowngood.places.known import own_files
from knowngood.places.own_machines import kept_files
from knowngood.places.record import Record
from knowngood.store.problem import StoreProblem

_SECTION = re.compile(r"^(?=[A-Za-z_]+:)", re.MULTILINE)
_FOLDERS = ("shipped", "bare")


def part_ids(record: Record | None) -> frozenset[str]:
    """Every part's id; of the shop's own files too, with its record. A file of the shop that cannot
    be read any more adds none."""
    found = set(_shipped())
    if record is None:
        return frozenset(found)
    events = [e.event for e in kept_files(record).values()]
    digests = {e.whole for e in events if isinstance(e, MachineKept)}
    for digest in digests | set(own_files(record).values()):
        try:
            found |= _named(record.files.text_of(digest))
        except StoreProblem:
            continue
    return frozenset(found)


@lru_cache(maxsize=1)
def _shipped() -> frozenset[str]:
    names = set[str]()
    for folder in _FOLDERS:
        for entry in (resources.files("knowngood.machines") / folder).iterdir():
            if entry.name.endswith(".yaml"):
                names |= _named(entry.read_text(encoding="utf-8"))
    return frozenset(names)


@lru_cache(maxsize=256)
def _named(text: str) -> frozenset[str]:
    """The ids under `parts:` of a machine file; only that section is read."""
    for section in _SECTION.split(text):
        if section.startswith("parts:"):
            data = read_tree(section, "parts").data
            parts = data.get("parts") if isinstance(data, dict) else None
            return frozenset(parts) if isinstance(parts, dict) else frozenset()
    return frozenset()
