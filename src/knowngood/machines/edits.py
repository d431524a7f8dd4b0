"""Changes to the text of a machine file that keep a person's comments and the order of the file."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import Any

from ruamel.yaml.comments import CommentedMap


def entry(file: CommentedMap, *path: str) -> CommentedMap:
    """The mapping at a path, made where it is missing."""
    at = file
    for name in path:
        if not isinstance(at.get(name), dict):
            at[name] = CommentedMap()
        at = at[name]
    return at


def write(file: CommentedMap, path: tuple[str, ...], value: Any) -> None:
    """The value at a path; ("elements", ref) is a whole element of the circuit, with a third name
    one field of it; ("drop", section) adds ids."""
    if path[0] == "elements":
        element(file, path[1], value if len(path) == 2 else {path[2]: value}, len(path) == 2)
    elif path[0] == "drop":
        drop(file, path[1], value)
    else:
        entry(file, *path[:-1])[path[-1]] = value


def take_out(file: CommentedMap, path: tuple[str, ...]) -> None:
    """What `write` wrote, and mappings that are empty without it."""
    if path[0] == "elements":
        elements = (file.get("circuit") or {}).get("elements") or []
        for one in [e for e in elements if e.get("ref") == path[1]]:
            elements.remove(one)
        if not elements and "circuit" in file:
            file["circuit"].pop("elements", None)
        _tidy(file, ("circuit",))
        return
    at: Any = file
    for name in path[:-1]:
        at = at.get(name) if isinstance(at, dict) else None
    if isinstance(at, dict):
        at.pop(path[-1], None)
    _tidy(file, path[:-1])


def _tidy(file: CommentedMap, path: tuple[str, ...]) -> None:
    """Mappings along the path that have become empty go, the innermost first."""
    while path:
        at: Any = file
        for name in path[:-1]:
            at = at.get(name) if isinstance(at, dict) else None
        if isinstance(at, dict) and path[-1] in at and not at[path[-1]]:
            del at[path[-1]]
        path = path[:-1]


def element(file: CommentedMap, ref: str, fields: Mapping[str, Any], whole: bool = False) -> None:
    """Fields of an element of the circuit by its ref; ``whole``: they are all it has."""
    elements = entry(file, "circuit").setdefault("elements", [])
    for one in elements:
        if one.get("ref") == ref:
            if whole:
                one.clear()
            one.update(fields)
            return
    elements.append(CommentedMap({"ref": ref, **fields}))


def drop(file: CommentedMap, section: str, ids: Iterable[str]) -> None:
    """Entries of the family that this machine has not."""
    kept = entry(file, "drop").setdefault(section, [])
    kept += [i for i in ids if i not in kept]


def keep(file: CommentedMap, section: str, ids: Iterable[str]) -> None:
    """What an earlier answer dropped is there again."""
    dropped, gone = file.get("drop") or {}, set(ids)
    if section in dropped:
        dropped[section] = [i for i in dropped[section] if i not in gone]
        _tidy(file, ("drop", section))


def listed(value: Any) -> list[Any]:
    """A list, also of one value alone."""
    return [value] if isinstance(value, str) else list(value or ())


def with_cells(parts: Mapping[str, Any], ratio: float) -> dict[str, Any]:
    """Parts of a family whose pack has ``ratio`` times as many cells here: the count decides above
    which volts a pack is left alone."""
    return {id: _counted(part, ratio) if isinstance(part, dict) else part
            for id, part in parts.items()}


def _counted(part: Mapping[str, Any], ratio: float) -> Mapping[str, Any]:
    try:
        old = int(part.get("cells") or 0)
    except (TypeError, ValueError):
        return part
    new = round(old * ratio)
    if old < 1 or new < 1 or new == old:
        return part
    contents = [in_words(c, old, new) for c in listed(part.get("contents"))]
    return {**part, "cells": new, **({"contents": contents} if contents else {})}


def in_words(text: Any, old: int, new: int) -> Any:
    """ "14 cells in series" with the new count."""
    return re.sub(rf"\b{old}(?= (groups of )?cells)", str(new), text) if isinstance(text, str) \
        else text
