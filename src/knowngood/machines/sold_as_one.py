"""Parts of a family that are sold as one on this machine: joined in its file, and apart again when
another answer says so. What a person wrote by hand about a part that stays as it is is kept."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from ruamel.yaml.comments import CommentedMap

from knowngood.machines.edits import entry, listed, take_out

Base = Mapping[str, Any]
Parts = Mapping[str, Any]


def groups_of(parts: Parts, whole: Parts) -> dict[str, tuple[str, ...]]:
    """By the part that stands for them all: the parts of the family that it took in. ``parts``: of
    the file as it is; ``whole``: of the family. What the file lacks for another reason is in none.
    """
    gone = [id for id in whole if id not in parts]
    found = {}
    for id, part in parts.items():
        taken = tuple(g for g in gone if id in whole and _holds(part, whole[id], whole[g]))
        if taken:
            found[id] = taken
    return found


def _holds(part: Mapping[str, Any], was: Mapping[str, Any], other: Mapping[str, Any]) -> bool:
    """Whether a part, which was one alone, has the other in it."""
    inside, of_other = listed(part.get("contents")), listed(other.get("contents"))
    if of_other and all(c in inside for c in of_other):
        return not all(c in listed(was.get("contents")) for c in of_other)
    return f" with {str(other.get('words')).casefold()}" in str(part.get("words")).casefold()


def apart(file: CommentedMap, base: Base, whole: Parts) -> None:
    """Each part that was joined is the family's again, its faults with it."""
    parts: Parts = file.get("parts") or {}
    groups = groups_of(parts, whole)
    if not groups:
        return
    joined = {*groups, *(g for gone in groups.values() for g in gone)}
    ids = [id for id in whole if id in parts or id in joined]
    now = {id: whole[id] if id in joined else parts[id]
           for id in (*ids, *(i for i in parts if i not in whole))}  # fmt: skip
    if now == dict(whole):
        take_out(file, ("parts",))
    else:
        file["parts"] = CommentedMap(now)
    gone_now = {g: id for id, gone in groups.items() for g in gone}
    for fault, said in base["faults"].items():
        named = listed(said.get("parts"))
        own = ((file.get("faults") or {}).get(fault) or {}).get("parts")
        if own is not None and listed(own) == _through(named, gone_now):
            take_out(file, ("faults", str(fault), "parts"))
    for section, id, key, named in _besides(base):
        own = ((file.get(section) or {}).get(id) or {}).get(key)
        if own is not None and listed(own) == _through(named, gone_now):
            take_out(file, (section, id, key))


def together(file: CommentedMap, base: Base, parts: Parts, ids: Sequence[str]) -> None:
    """These parts are one, under the first of them: prices added, no numbers, the faults named."""
    first, rest = ids[0], ids[1:]
    merged = dict(parts[first])
    for other in rest:
        more = parts[other]
        merged["words"] = f"{merged['words']} with {str(more['words']).lower()}"
        merged["contents"] = [*listed(merged.get("contents")), *listed(more.get("contents"))]
        merged["price"] = float(merged["price"]) + float(more["price"])
        merged["needs"] = list(dict.fromkeys([*listed(merged.get("needs")),
                                              *listed(more.get("needs"))]))  # fmt: skip
        if "cells" in more:  # what a pack is feared for it is feared for in the whole, too
            merged.setdefault("cells", more["cells"])
    merged.pop("numbers", None)  # the numbers were those of the pieces
    file["parts"] = CommentedMap(
        (id, merged if id == first else part) for id, part in parts.items() if id not in rest)
    into = dict.fromkeys(rest, first)
    own = file.get("faults") or {}
    for id in (*base["faults"], *(f for f in own if f not in base["faults"])):
        fault = {**base["faults"].get(id, {}), **own.get(id, {})}
        named = listed(fault.get("parts"))
        if set(named) & set(rest):
            entry(file, "faults", str(id))["parts"] = _through(named, into)
    for section, name, key, was in _besides(base):
        named = listed(((file.get(section) or {}).get(name) or {}).get(key, was))
        if set(named) & set(rest):
            entry(file, section, name)[key] = (
                into[named[0]] if key == "hazard" else _through(named, into)
            )


def _besides(base: Base) -> Iterator[tuple[str, str, str, list[str]]]:
    """(section, id, key, parts) wherever the family names parts beside those of a fault."""
    for section, keys in (("conditions", ("uses",)), ("tests", ("uses", "hazard"))):
        for id, said in (base.get(section) or {}).items():
            yield from ((section, str(id), key, listed(said[key])) for key in keys if said.get(key))


def _through(named: Sequence[str], into: Mapping[str, str]) -> list[str]:
    return list(dict.fromkeys(into.get(p, p) for p in named))
