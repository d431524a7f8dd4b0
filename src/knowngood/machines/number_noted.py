"""A part number into a machine file: by model and serial range, with where it was read."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

from knowngood.machines.edit import EditError, Value, with_item
from knowngood.machines.edits import listed
from knowngood.machines.nearest import did_you_mean
from knowngood.machines.tree import read_tree
from knowngood.machines.variant import Bases, is_variant, read_whole, shipped_base

LISTS: Final = ("models", "supersedes")


class NumberError(ValueError):
    """A number that cannot be written; the text says why and what to do."""


def part_named(parts: Mapping[str, Any], name: str) -> str:
    """The id of the part that a person names by its id or its words. Raises NumberError."""
    wanted = _plain(name)
    words = {id: str(part.get("words", "")) for id, part in parts.items()}
    for id, said in words.items():
        if wanted in (_plain(id), _plain(said)):
            return id
    raise NumberError(f"there is no part {name[:60]!r}. {did_you_mean(name, parts, 30)}")


def with_part_number(
    text: str, part: str, number: str, models: Sequence[str] = (), serial_from: str = "",
    serial_to: str = "", read_at: str = "", bases: Bases = shipped_base,
) -> str:  # fmt: skip
    """The text of a sound machine file with one more part number, every other sign of it as it
    was: in ``numbers`` of a variant, with the part itself in a whole file. A number that is there
    for the same model is changed where it stands; what is not given now it keeps. ``part``: id or
    words. Raises NumberError."""
    number = " ".join(number.split())
    if not number:
        raise NumberError("the number has no sign in it; write it as it is printed: OX-4410")
    whole = read_whole(text, "", bases).data
    id = part_named(whole["parts"], part)
    given: dict[str, Any] = {"number": number, "models": list(models), "serial_from": serial_from,
                             "serial_to": serial_to, "read_at": read_at}  # fmt: skip
    path = ("numbers", id) if is_variant(text) else ("parts", id, "numbers")
    there: Any = read_tree(text, "").data
    for name in path:
        there = (there or {}).get(name)
    place = next((n for n, one in enumerate(there or ()) if _same(one, number, models)), -1)
    old = {k: _texts(k, v) for k, v in there[place].items() if v is not None} if place >= 0 else {}
    fields: dict[str, Value] = {**old, **{k: v for k, v in given.items() if v}}
    try:
        return with_item(text, path, fields, place)
    except EditError as error:
        raise NumberError(f"{error}: write it by hand") from error


def _same(one: Mapping[str, Any], number: str, models: Sequence[str]) -> bool:
    had = {_plain(str(m)) for m in _texts("models", one.get("models"))}
    return _plain(str(one.get("number"))) == _plain(number) and (
        not had or not models or bool(had & {_plain(m) for m in models}))


def _texts(field: str, value: Any) -> Any:
    """A field as text, or a list of texts: numbers of digits only are text as well."""
    if field not in LISTS:
        return str(value)
    return [str(v) for v in (listed(value) if isinstance(value, list | str) else [value] * (
        value is not None))]


def _plain(name: str) -> str:
    return " ".join(name.replace("_", " ").split()).casefold()
